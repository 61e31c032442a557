"""Which target for this rig tonight: every object of the open catalogue, ranked by finished hours, with reasons."""

from __future__ import annotations

import dataclasses

import numpy as np

from workbook import catalogue, horizon, night, optics, pointing
from workbook.checks import chosen
from workbook.constants import ARCMIN_PER_DEG, REFERENCE_SKY_MAG_ARCSEC2
from workbook.night.many import local_vectors
from workbook.plan.fields import yield_map
from workbook.plan.ranked import Ranking, Wish, in_words
from workbook.verdict import hours, light
from workbook.verdict.answer import MODES
from workbook.verdict.conditions import Conditions

STEP_S = 300.0  # a night is looked at every five minutes here, every minute in `verdict`
SAME = 1.1  # finished hours within a tenth of each other count as equal
GALAXY_B_MINUS_V = (
    0.75  # mean of spiral and elliptical galaxies, 0.5 to 0.95 (Roberts & Haynes 1994, ARA&A 32, 115)
)
NO_TARGETS = {"Star", "Double star", "Nova star", "Object of other/unknown type"}
OF_STARS = {
    "Open Cluster",
    "Globular Cluster",
    "Association of stars",
}  # points: their mean brightness says little


def rank(passport, *, date=None, mode=None, guided=None, wish: Wish | None = None) -> Ranking:
    """Every object of the open deep-sky catalogue for this rig and night, by finished hours.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    date, mode, guided : optional
        As in `verdict.verdict`; the passport's plan where not given.
    wish : Wish, optional
        Least size and depth of a picture.

    Returns
    -------
    Ranking
        Ranked: objects of known size and brightness that fit the frame, are large enough, come into view and
        reach the wished depth in this night. By finished hours, most first; what lies within a tenth
        of the best counts as equal, and then the larger picture comes first, and so on downwards.

    Raises
    ------
    ValueError
        As `verdict.verdict`.

    Notes
    -----
    The same sums as in `verdict`, in a cheaper form: minutes in steps of five, the frame yield from a map of the sky,
    25 sub lengths. Finished hours agree with `verdict` within 6 % or 20 s, whichever is more. A target's needed
    hours are snr² (s + b)/(s² n) with s its own electrons and b those of the reference sky in a pixel, n the pixels of
    a patch. A galaxy without a V magnitude is taken as 0.75 brighter than in B. No cluster is called too faint: its
    stars are points. Total magnitudes of large nebulae are often guesses.

    References
    ----------
    Objects: OpenNGC, see `catalogue.CREDIT`. Colours of galaxies: M. S. Roberts, M. P. Haynes, 1994, Annual Review of
    Astronomy and Astrophysics 32, 115.
    """
    wish = wish or Wish()
    plan = {"date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    rig = passport.central()
    objects = catalogue.all_objects()
    fit = _fit(rig, objects, wish)
    reason = fit.reason
    count = len(objects)
    table = {
        "finished_h": np.full(count, np.nan),
        "view_h": np.full(count, np.nan),
        "usable_h": np.full(count, np.nan),
        "best_sub_s": np.full(count, np.nan),
        "highest_deg": np.full(count, np.nan),
        "moon_deg": np.full(count, np.nan),
    }
    looked = np.flatnonzero(reason == "")
    note = ""
    grid = _night(passport, plan["date"])
    if grid is None:
        note = "no astronomical night: the Sun does not sink 18° below the horizon"
        reason[looked] = note
    elif looked.size:
        _over_the_night(passport, rig, plan, grid, objects[looked], looked, table)
        nothing = looked[table["finished_h"][looked] <= 0.0]
        unseen = nothing[table["view_h"][nothing] <= 0.0]
        reason[nothing] = "set-up, batteries, dew or the drive leave no minute while it is in view"
        reason[unseen] = "it never stands behind the mask's opening in the dark hours"
        short = looked[table["finished_h"][looked] < fit.needed_h[looked]]
        for at in short[reason[short] == ""]:
            reason[at] = (
                f"too faint for one night: it needs {in_words(fit.needed_h[at])} finished, "
                f"this night gives {in_words(table['finished_h'][at])}"
            )
    ranked = reason == ""
    order = np.lexsort((-np.nan_to_num(fit.size_px), _bands(table["finished_h"], ranked), ~ranked))
    place = np.where(ranked[order], np.arange(1, count + 1), 0)
    return Ranking(
        **plan,
        wish=wish,
        note=note,
        name=objects["name"][order],
        kind=objects["kind"][order],
        rank=place,
        reason=reason[order],
        needed_h=fit.needed_h[order],
        surface_mag_arcsec2=fit.surface_mag_arcsec2[order],
        size_px=fit.size_px[order],
        passport=passport,
        **{key: value[order] for key, value in table.items()},
    )


@dataclasses.dataclass(frozen=True)
class _Fit:
    reason: np.ndarray
    needed_h: np.ndarray
    surface_mag_arcsec2: np.ndarray
    size_px: np.ndarray


def _fit(rig, objects, wish) -> _Fit:
    """What can be said of an object without a night: kind, brightness, size, depth wanted."""
    scale = light.scale_arcsec_px(rig)
    major = objects["major_arcmin"]
    minor = np.where(np.isnan(objects["minor_arcmin"]), major, objects["minor_arcmin"])
    kind = objects["kind"]
    galaxy = np.char.startswith(kind, "Gal")
    magnitude = np.where(
        np.isnan(objects["v_mag"]) & galaxy, objects["b_mag"] - GALAXY_B_MINUS_V, objects["v_mag"]
    )
    surface = catalogue.mean_surface_mag_arcsec2(magnitude=magnitude, major_arcmin=major, minor_arcmin=minor)
    field = [
        ARCMIN_PER_DEG
        * optics.field_of_view_deg(
            sensor_mm=rig[f"camera.{side}_px"] * rig["camera.pixel_um"] / 1000.0,
            focal_mm=rig["optics.focal_mm"],
        )
        for side in ("width", "height")
    ]
    long, short = max(field), min(field)
    size_px = major * 60.0 / scale
    own = light.surface_e_s_px(rig, surface)
    reference = light.surface_e_s_px(rig, REFERENCE_SKY_MAG_ARCSEC2)
    patch_px = (wish.detail_arcsec / scale) ** 2
    needed_h = wish.snr**2 * (own + reference) / (own**2 * patch_px) / 3600.0
    needed_h = np.where(np.isin(kind, sorted(OF_STARS)), 0.0, needed_h)
    reason = np.full(len(objects), "", dtype="U120")
    for test, words in (
        (np.isin(kind, sorted(NO_TARGETS)), "it is a star or of unknown kind"),
        (np.isnan(magnitude), "the catalogue gives no brightness"),
        (~(major > 0), "the catalogue gives no size"),
        (
            (major > long) | (minor > short),
            f"it is larger than the field of {long:.0f}′ × {short:.0f}′: a mosaic",
        ),
        (size_px < wish.least_px, f"it is smaller than {wish.least_px:.0f} px in this rig"),
    ):
        reason[test & (reason == "")] = words
    return _Fit(reason, needed_h, surface, size_px)


@dataclasses.dataclass(frozen=True)
class _Grid:
    """The night every few minutes, without a target."""

    times_utc: np.ndarray
    since_set_up_min: np.ndarray
    night_share: np.ndarray
    moon: night.Moon


def _night(passport, date) -> _Grid | None:
    place = {key: passport[f"site.{key}"] for key in ("latitude_deg", "longitude_deg")}
    dark = night.dark_window(**place, date=date)
    if dark is None:
        return None
    dusk = night.dark_window(**place, date=date, sun_altitude_deg=passport["habits.set_up_sun_deg"]) or dark
    times_utc = night.minutes_utc(start_utc=dark.start_utc, end_utc=dark.end_utc, step_s=STEP_S)
    start, set_up = (np.datetime64(w.start_utc.replace(tzinfo=None), "ms") for w in (dark, dusk))
    return _Grid(
        times_utc,
        (times_utc - set_up) / np.timedelta64(60_000, "ms"),
        (times_utc - start) / np.timedelta64(1000, "ms") / (len(times_utc) * STEP_S),
        night.moon(**place, height_m=passport["site.height_m"], times_utc=times_utc),
    )


def _over_the_night(passport, rig, plan, grid, objects, looked, table):
    """Fill the table for some objects: positions, mask, worth of each step, sums."""
    site = {key: passport[f"site.{key}"] for key in ("latitude_deg", "longitude_deg", "height_m")}
    east, north, up = local_vectors(
        ra_deg=objects["ra_deg"], dec_deg=objects["dec_deg"], times_utc=grid.times_utc, **site
    )
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    lowest = np.sin(np.radians(max(float(mask.altitude_deg.min()), 0.0) - 0.6))
    which, step = np.nonzero(up > lowest)  # the lift of the air at the horizon is 0.6° at most
    seen = [part[which, step] for part in (east, north, up)]
    altitude = np.degrees(np.arctan2(seen[2], np.hypot(seen[0], seen[1])))
    azimuth = np.degrees(np.arctan2(seen[0], seen[1])) % 360.0
    apparent = altitude + _lift_deg(passport, altitude)
    in_view = (apparent > 0.0) & mask.open(altitude_deg=apparent, azimuth_deg=azimuth)
    which, step, altitude, apparent, azimuth = (
        part[in_view] for part in (which, step, altitude, apparent, azimuth)
    )
    count, step_h = len(objects), STEP_S / 3600.0
    table["view_h"][looked] = np.bincount(which, minlength=count) * step_h
    moon = grid.moon
    moon_vector = pointing.direction(altitude_deg=moon.altitude_deg, azimuth_deg=moon.azimuth_deg)
    nearness = sum(part[in_view] * moon_vector[step, axis] for axis, part in enumerate(seen))
    separation = np.degrees(np.arccos(np.clip(nearness, -1.0, 1.0)))
    rows = _rows(grid, step, altitude, apparent, azimuth, separation)
    how = {"mode": plan["mode"], "guided": plan["guided"]}
    worth = hours.minutes(rig, rows, **how)
    good = worth.usable > 0
    table["usable_h"][looked] = np.bincount(which[good], minlength=count) * step_h
    table["finished_h"][looked], table["best_sub_s"][looked] = _sums(
        passport, rig, how, worth, good, which, altitude, azimuth, count
    )
    for key, values, pick in (
        ("highest_deg", apparent, np.maximum),
        ("moon_deg", np.where(moon.altitude_deg[step] > 0.0, separation, 180.0), np.minimum),
    ):
        best = np.full(count, -np.inf if pick is np.maximum else np.inf)
        pick.at(best, which[good], values[good])
        table[key][looked] = np.where(np.isfinite(best), best, np.nan)


def _rows(grid, step, altitude, apparent, azimuth, separation) -> Conditions:
    """Targets and moments in one long row, as far as `hours.minutes` looks."""
    nothing = np.broadcast_to(np.nan, altitude.shape)
    return Conditions(
        target=None,
        latitude_deg=np.nan,
        times_utc=np.broadcast_to(np.datetime64("NaT", "ms"), altitude.shape),
        since_set_up_min=grid.since_set_up_min[step],
        night_share=grid.night_share[step],
        altitude_deg=altitude,
        apparent_altitude_deg=apparent,
        azimuth_deg=azimuth,
        dec_deg=nothing,
        hour_angle_deg=nothing,
        airmass=pointing.airmass(apparent_altitude_deg=np.clip(apparent, 0.0, 90.0)),
        altitude_rate_arcsec_s=nothing,
        azimuth_rate_arcsec_s=nothing,
        refraction_rate_arcsec_s=nothing,
        moon_zenith_distance_deg=90.0 - grid.moon.altitude_deg[step],
        moon_separation_deg=separation,
        moon_phase_angle_deg=grid.moon.phase_angle_deg[step],
        in_view=np.broadcast_to(True, altitude.shape),
    )


def _lift_deg(passport, altitude_deg):
    """Refraction from a table of the night's air, every 0.05°."""
    nodes = np.concatenate([np.arange(-1.0, 15.0, 0.05), np.arange(15.0, 90.5, 0.5)])
    air_degc = 0.5 * (passport["night.air_start_degc"] + passport["night.air_end_degc"])
    lift = night.refraction_arcmin(
        altitude_deg=np.minimum(nodes, 90.0),
        pressure_hpa=passport["night.pressure_hpa"],
        temperature_degc=air_degc,
    )
    return np.interp(altitude_deg, nodes, np.nan_to_num(lift)) / ARCMIN_PER_DEG


def _sums(passport, rig, how, worth, good, which, altitude, azimuth, count):
    """Finished hours at the best sub, and that sub, for every object."""
    field = yield_map(passport, how["mode"], how["guided"])
    cells = field.rows(altitude_deg=altitude[good], azimuth_deg=azimuth[good])
    kept = field.kept.reshape(-1, len(field.sub_s))
    weight = worth.weight[good].astype(np.float32)
    background = worth.background_e_s_px[good].astype(np.float32)
    owner = which[good]
    finished = np.zeros((count, len(field.sub_s)))
    for at, sub_s in enumerate(field.sub_s):
        noise = np.float32(rig["camera.read_noise_e"] ** 2 / sub_s)
        value = kept[cells, at] * (weight / (background + noise))
        duty = float(hours.duty(rig, sub_s))
        finished[:, at] = np.bincount(owner, weights=value, minlength=count) * duty * STEP_S / 3600.0
    return _peaks(np.log(field.sub_s), finished)


def _peaks(log_sub, finished):
    """The top of a parabola through the best sub of each row and its neighbours, in log time."""
    best = np.clip(finished.argmax(axis=1), 1, len(log_sub) - 2)
    rows = np.arange(len(finished))
    left, middle, right = (finished[rows, best + shift] for shift in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    shift = np.clip(shift, -1.0, 1.0)
    top = middle - 0.25 * (left - right) * shift
    step = log_sub[1] - log_sub[0]
    return np.maximum(top, 0.0), np.where(top > 0, np.exp(log_sub[best] + shift * step), np.nan)


def _bands(finished_h, ranked):
    """0 for the best tenth of finished hours, 1 for the next, and so on: less is no difference."""
    most = float(np.max(finished_h[ranked], initial=0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.log(most / np.where(finished_h > 0, finished_h, np.nan)) / np.log(SAME)
    return np.where(ranked, np.floor(np.nan_to_num(below, nan=1e6)), 1e6)
