"""The lines of a field card on alignment: which directions, which signs, which way, and when it is enough."""

from __future__ import annotations

import numpy as np

from workbook import alignment, catalogue, horizon, night, optics, pointing
from workbook.plan.card_words import Line, about, mark_of
from workbook.verdict.words import seconds

HOURS_DEG, DECS_DEG = np.arange(-90, 91, 3), np.arange(-75, 76, 3)
WATCH_MIN, JITTER_ARCSEC, FRAMES = 10.0, 2.0, 61  # a watch of ten minutes, a frame every ten seconds
STAY_DEG = 5.0  # of hour angle: a drift star stays in view for so long, twenty minutes
HIGH_DEG, SENSIBLE_DEG = 30.0, 45.0
INSIDE_68 = float(np.sqrt(-2.0 * np.log(1.0 - 0.68)))  # two dimensions: 68 % lie within so many deviations
BUDGET = 0.5  # of the tolerance for the axis; gear and wind need the rest
ON_EQUATOR_DEG = 0.1  # a place on the equator counts as a little north of it: it has to choose a pole
LOW_POLE_DEG = 5.0


def alignment_lines(passport, *, mode, guided, target, sub_s, dark_utc, clock) -> tuple[str, list[Line]]:
    """Title and steps: from the rough axis to the stop, or the start of a go-to in alt-az.

    Parameters
    ----------
    passport : Passport
        Site, horizon, habits and optics.
    mode : {"alt-az", "tilted"}
        Which head.
    guided : bool
        Decides how well the axis must stand.
    target : str
        A name in the open deep-sky catalogue.
    sub_s : float
        Length of one sub; 0 where there is none yet [s].
    dark_utc : datetime64 or None
        A moment at which the pole star is told; None leaves it out [UTC].
    clock : callable
        Moments as words.

    Returns
    -------
    tuple
        The title of the section and its lines.
    """
    latitude = float(passport["site.latitude_deg"]) or ON_EQUATOR_DEG
    if mode == "alt-az":
        return "Start the go-to", _go_to(passport, latitude)
    name = "south" if latitude < 0 else "north"
    title = f"Put the axis on the {name} pole"
    if abs(latitude) > alignment.LARGEST_LATITUDE_DEG:
        words = (
            "Within 2° of a pole of the Earth an azimuth means nothing: stand the axis upright, by a level."
        )
        return title, [Line("", words)]
    high = abs(passport["site.latitude_deg"])
    rough = about(passport, "habits.axis_error_rough_arcmin", 0, "′")
    lines = [
        Line(
            "",
            f"Upper end to true {name}, {high:.1f}° high; rough leaves {rough}.",
            mark_of(passport, "habits.axis_error_rough_arcmin"),
        )
    ]
    if abs(latitude) < LOW_POLE_DEG:
        lines.append(
            Line(
                "",
                f"The pole stands only {high:.1f}° above the horizon: no pole star helps, the axis lies "
                "nearly flat. The two screws work as anywhere.",
            )
        )
    elif passport["site.pole_visible"] and dark_utc is not None:
        lines.append(_pole_star(passport, latitude, dark_utc, clock))
    return title, lines + _enough(passport, latitude, target, sub_s, guided) + _drifts(passport, latitude)


def pair_in_view(passport) -> alignment.PairChoice | None:
    """The two best directions that stay inside the mask for a watch; None where the view holds no two."""
    latitude = float(passport["site.latitude_deg"]) or ON_EQUATOR_DEG
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    view, high = True, True
    for later in (0.0, 0.5 * STAY_DEG, STAY_DEG):
        place = pointing.altaz(
            hour_angle_deg=HOURS_DEG + later, dec_deg=DECS_DEG[:, None], latitude_deg=latitude
        )
        view = view & mask.open(**place._asdict()) & (place.altitude_deg > 0.0)
        high = high & (place.altitude_deg >= HIGH_DEG)
    seen = HOURS_DEG[(view & high).any(axis=0)]
    frames = FRAMES * (FRAMES**2 - 1.0)
    try:
        return alignment.best_pair(
            hour_angles_deg=HOURS_DEG,
            decs_deg=DECS_DEG,
            reachable=view & high if seen.size and np.ptp(seen) >= SENSIBLE_DEG else view,
            latitude_deg=latitude,
            drift_sigma_arcsec_min=JITTER_ARCSEC * np.sqrt(12.0 / frames) * (FRAMES - 1.0) / WATCH_MIN,
            criterion="area",
        )
    except ValueError:  # a view without two directions
        return None


def _pole_star(passport, latitude, dark_utc, clock):
    name = "sigma Octantis" if latitude < 0 else "Polaris"
    star = night.pole_star(
        name=name,
        latitude_deg=latitude,
        longitude_deg=passport["site.longitude_deg"],
        height_m=passport["site.height_m"],
        times_utc=dark_utc,
    )
    beside = f"{abs(star.east_arcmin):.0f}′ {'east' if star.east_arcmin > 0 else 'west'}"
    above = f"{abs(star.high_arcmin):.0f}′ {'above' if star.high_arcmin > 0 else 'below'}"
    faint = " (5.5 mag)" if latitude < 0 else ""
    return Line("", f"Check at {clock(dark_utc)}: {name}{faint} stands {beside} of the pole and {above} it.")


def _enough(passport, latitude, target, sub_s, guided):
    """How well the axis must stand for tonight's subs, and whether the rough set-up does."""
    if not sub_s:
        return []
    keys = ("optics.focal_mm", "guide.star_offset_deg") if guided else ("optics.focal_mm",)
    middle = _tolerance_arcmin(passport, latitude, target, sub_s, guided)
    swings = []
    for key in keys:
        low, high = (
            _tolerance_arcmin(
                passport, latitude, target, sub_s, guided, **{key.split(".")[1]: passport[key] + step}
            )
            for step in (-(passport.entry(key).sigma or 0.0), passport.entry(key).sigma or 0.0)
        )
        swings.append(0.5 * (high - low))
    swing = float(np.hypot.reduce(swings))
    rough, spread = (
        passport["habits.axis_error_rough_arcmin"],
        passport.entry("habits.axis_error_rough_arcmin").sigma,
    )
    if rough + (spread or 0.0) <= middle:
        advice = "rough is enough, skip the rest"
    elif rough <= middle:
        advice = "rough mostly does, go on if there is time"
    else:
        advice = "rough is too little, go on"
    most = alignment.LARGEST_ERROR_ARCMIN
    within = (
        f"{most:.0f}′ or more"
        if middle >= most
        else f"{middle:.0f}′ ({max(middle - swing, 0.0):.0f} to {middle + swing:.0f})"
    )
    how = "guided" if guided else "unguided"
    words = f"{seconds(sub_s)} {how} allow {within}: {advice}."
    return [Line("", words, mark_of(passport, *keys, "habits.axis_error_rough_arcmin"))]


def _tolerance_arcmin(passport, latitude, target, sub_s, guided, focal_mm=None, star_offset_deg=None):
    dec = float(catalogue.find(target).dec_deg)
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    path = pointing.altaz(hour_angle_deg=HOURS_DEG, dec_deg=dec, latitude_deg=latitude)
    seen = HOURS_DEG[mask.open(**path._asdict()) & (path.altitude_deg > 0.0)]
    start, end = (seen.min(), seen.max()) if seen.size else (-60.0, 60.0)
    focal_mm = passport["optics.focal_mm"] if focal_mm is None else focal_mm
    offset_deg = passport["guide.star_offset_deg"] if star_offset_deg is None else max(star_offset_deg, 0.0)
    scale = optics.image_scale_arcsec_px(pixel_um=passport["camera.pixel_um"], focal_mm=focal_mm)
    corner = 0.5 * np.hypot(passport["camera.width_px"], passport["camera.height_px"])
    beside = 3600.0 * offset_deg / scale if guided else 0.0
    return alignment.axis_tolerance(
        sub_s=sub_s,
        dec_deg=dec,
        latitude_deg=latitude,
        start_hour_angle_deg=float(start),
        end_hour_angle_deg=float(end),
        guided=guided,
        scale_arcsec_px=scale,
        radius_px=corner + beside,
        tolerance_px=passport["habits.tolerance_px"],
        budget=BUDGET,
    ).any_arcmin


def _drifts(passport, latitude):
    """Two stars, the sums that give both errors, and which way the axis goes."""
    pair = pair_in_view(passport)
    if pair is None:
        words = "Your view holds no two directions for drifts: find the axis from solved pictures, or another place."
        return [Line("", words)]
    stars = [
        f"{name}: azimuth {azimuth:.0f}°, {altitude:.0f}° high, declination {dec:+.0f}°"
        for name, dec, altitude, azimuth in zip("AB", *pair[1:4], strict=True)
    ]
    columns = [
        alignment.solve_drifts(
            hour_angles_deg=pair.hour_angles_deg,
            drifts_arcsec_min=drifts,
            latitude_deg=latitude,
            drift_sigma_arcsec_min=0.1,
        )
        for drifts in ((1.0, 0.0), (0.0, 1.0))
    ]
    east, high = (
        f"{one:+.1f} A {two:+.1f} B".replace(" +", " + ")
        .replace(" -", " − ")
        .replace("-", "−")
        .removeprefix("+")
        for one, two in ((columns[0][row], columns[1][row]) for row in (0, 1))
    )
    move = alignment.screw_turns(
        azimuth_error_arcmin=1.0,
        altitude_error_arcmin=1.0,
        response_arcmin_turn=[[1.0, 0.0], [0.0, 1.0]],
        latitude_deg=latitude,
    )
    back = {"left": "right", "right": "left", "west": "east", "up": "down", "down": "up"}
    axes = sorted(INSIDE_68 * axis for axis in (pair.semi_major_arcmin, pair.semi_minor_arcmin))
    known = f"{axes[1]:.1f}′" if axes[1] < 1.05 * axes[0] else f"{axes[0]:.1f} by {axes[1]:.1f}′"
    return [
        Line(
            "",
            f"Watch drift in declination, {WATCH_MIN:.0f} min each, near\n"
            + "\n".join(stars).replace("-", "−"),
        ),
        Line(
            "",
            f"A and B in ″/min, north plus. Upper end\ntoo far east [′] = {east}\ntoo high [′] = {high}\n"
            f"give or take {known} on the sky, at {JITTER_ARCSEC:.0f}″ of jitter",
            "assumed",
        ),
        Line(
            "",
            f"East plus: by the azimuth screw the upper end goes {move.azimuth_move} ({move.seen_from_behind}, looking "
            f"along the axis to the pole); minus: {back[move.azimuth_move]} ({back[move.seen_from_behind]}).",
        ),
        Line(
            "",
            f"High plus: the upper end goes {move.altitude_move}; minus: {back[move.altitude_move]}. Watch again.\n"
            "One turn: azimuth ____ ′, altitude ____ ′.",
        ),
    ]


def _go_to(passport, latitude):
    """Level, clock, two stars: what each is worth here."""
    leaning = alignment.level_effect(
        tilt_deg=1.0,
        tilt_azimuth_deg=90.0,
        altitude_deg=45.0,
        azimuth_deg=0.0 if latitude < 0 else 180.0,
        latitude_deg=latitude,
        mode="level and north",
    )
    longitude = passport["site.longitude_deg"]
    place = f"{abs(latitude):.1f}° {'S' if latitude < 0 else 'N'}, "
    place += f"{abs(longitude):.1f}° {'W' if longitude < 0 else 'E'}"
    stars = star_azimuths_deg(passport)
    where = (
        f"near azimuth {stars[0]:.0f}° and {stars[1]:.0f}°, 30 to 60° high"
        if stars
        else "as far apart as your view allows"
    )
    return [
        Line(
            "",
            "Level the head: comfort with two stars; without, 1° of lean misses by "
            f"{leaning.pointing_error_arcmin:.0f}′ and drifts {leaning.drift_arcsec_min:.0f}″/min at 45°.",
        ),
        Line("", f"Enter {place}, date, time and zone. One hour wrong is 15° of sky."),
        Line(
            "",
            f"Centre two bright stars {where}. End each centring in one sense: the gears have "
            f"{about(passport, 'drive.backlash_arcsec', 0, '″')} of play.",
            mark_of(passport, "drive.backlash_arcsec"),
        ),
        Line(
            "",
            f"This leaves {about(passport, 'habits.model_error_arcmin', 0, '′')}. There is no pole to align.",
            mark_of(passport, "habits.model_error_arcmin"),
        ),
    ]


def star_azimuths_deg(passport) -> tuple[float, float] | None:
    """Two azimuths, as near to 90° apart as the mask allows and 10° inside it, for stars 30 to 60° high."""
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    azimuths = np.arange(0.0, 360.0, 5.0)
    open_ = np.array(
        [
            bool(
                mask.open(
                    altitude_deg=np.full(3, 45.0), azimuth_deg=azimuth + np.array([-10.0, 0.0, 10.0])
                ).all()
            )
            for azimuth in azimuths
        ]
    )
    good = azimuths[open_]
    if good.size < 2:
        return None
    apart = np.abs((good[:, None] - good + 180.0) % 360.0 - 180.0)
    first, second = np.unravel_index(np.argmin(np.abs(apart - 90.0)), apart.shape)
    return tuple(sorted((float(good[first]), float(good[second]))))
