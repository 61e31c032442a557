"""A night simulated sub by sub: an oracle for the verdict that shares no code with the workbook.

Geometry comes from astropy (once a minute, kept for repeated calls). Star paths come from rigid rotations of
vectors: the sky turns about the pole, an equatorial mount about its own misplaced axis, an alt-azimuth or a
guided mount carries its frame along with the star. No closed rate of drift or field rotation is used.

The random walk is exact at any step along any one direction: between two samples the extremes of a Brownian
bridge are drawn from their own law, hi = (a + b + √((b − a)² − 2 σ² h ln U))/2, so that no discrete maximum
is left to correct. The largest extent is the largest width over directions: 8 first, 128 wherever those 8
cannot decide.
"""

from __future__ import annotations

import functools
import warnings
from collections import namedtuple
from typing import NamedTuple

import astropy.units as u
import erfa
import numpy as np
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body, get_sun
from astropy.time import Time
from astropy.utils import iers

ARCSEC = 3600 * 180 / np.pi  # ″ in one rad
OMEGA_RAD_S = 15.041067 / ARCSEC  # sidereal rate
COARSE, FINE = 8, 128  # directions over half a circle
UP = np.array([0.0, 0.0, 1.0])


class Night(NamedTuple):
    """What a night gave, mean over the simulated nights."""

    kept_h: float
    finished_h: float
    subs: float
    kept_subs: float


class Geometry(NamedTuple):
    """One target from one place, minute by minute from local mean noon to the next; vectors east-north-up."""

    minute: np.ndarray
    target: np.ndarray
    sun_alt_deg: np.ndarray
    moon_alt_deg: np.ndarray
    moon_phase_angle_deg: np.ndarray
    moon_distance_deg: np.ndarray
    refraction: tuple[np.ndarray, np.ndarray]  # true altitude, refraction [°]


# many subs, sampled: centre path x, y [″] and the turn of the field (cosine − 1, sine) from x to y
Paths = namedtuple("Paths", ["x", "y", "turn_c", "turn_s"])


def number(rig, name, section=None):
    """A rig's number by its bare name; the section only where optics and guide share a name."""
    if section:
        return rig[f"{section}.{name}"]
    (key,) = (key for key in rig if key.split(".")[-1] == name)
    return rig[key]


def scale_arcsec_px(rig):
    """Image scale of the camera [″/px]."""
    return 206.265 * number(rig, "pixel_um", "camera") / number(rig, "focal_mm", "optics")


def refraction_table(height_m):
    """Refraction [°] over true altitude [°], ERFA's A tan z + B tan³ z in a standard atmosphere at 10 °C."""
    a, b = erfa.refco(1013.25 * (1 - 2.25577e-5 * height_m) ** 5.25588, 10.0, 0.5, 0.55)
    apparent = np.linspace(2, 90, 8801)
    t = np.tan(np.radians(90 - apparent))
    lift = np.degrees(a * t + b * t**3)
    return apparent - lift, lift


@functools.lru_cache(maxsize=64)
def geometry(ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, date):
    """Places of target, Sun and Moon through the night that begins on the evening of the date."""
    with warnings.catch_warnings(), iers.conf.set_temp("auto_download", False):
        warnings.filterwarnings("ignore", message="Tried to get polar motions for times after IERS data")
        warnings.filterwarnings("ignore", message=".*dubious year", category=erfa.ErfaWarning)
        with iers.conf.set_temp("auto_max_age", None):
            place = EarthLocation.from_geodetic(longitude_deg, latitude_deg, height_m)
            minute = np.arange(1441.0)
            times = Time(f"{date}T12:00:00", scale="utc") + (minute - 4 * longitude_deg) * u.min
            frame = AltAz(obstime=times, location=place)
            target = SkyCoord(ra_deg * u.deg, dec_deg * u.deg).transform_to(frame)
            sun, moon = get_sun(times).transform_to(frame), get_body("moon", times, place).transform_to(frame)
    # astropy's x, y, z of this frame are north, east, up
    star = target.cartesian.xyz[[1, 0, 2]].T.value
    sun_km, moon_km = (body.cartesian.xyz[[1, 0, 2]].T.to_value(u.km) for body in (sun, moon))
    phase, distance = _between_deg(sun_km - moon_km, -moon_km), _between_deg(star, moon_km)
    return Geometry(minute, star, sun.alt.deg, moon.alt.deg, phase, distance, refraction_table(height_m))


def _between_deg(a, b):
    return np.degrees(np.arccos(np.sum(_unit(a) * _unit(b), axis=-1)))


def _unit(v):
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def rotation(axis, angle_rad):
    """Matrices of right-handed turns about one axis, one for each angle."""
    k = np.cross(np.eye(3), axis)  # k @ v = axis × v
    s, c = np.sin(angle_rad)[..., None, None], np.cos(angle_rad)[..., None, None]
    return np.eye(3) + s * k + (1 - c) * (k @ k)


def pole_and_axis(latitude_deg, error_arcmin, direction_deg):
    """North celestial pole and the mount's polar axis (unit vectors, both at the pole's end)."""
    lat, err, direction = np.radians([latitude_deg, error_arcmin / 60, direction_deg])
    pole = np.array([0, np.cos(lat), np.sin(lat)])
    sign = 1.0 if latitude_deg >= 0 else -1.0  # the elevated end is p in the north, −p in the south
    elevated = sign * pole
    higher = _unit(UP - elevated[2] * elevated) if abs(latitude_deg) < 90 else np.array([0.0, 1.0, 0.0])
    shift = np.cos(direction) * np.array([1.0, 0, 0]) + np.sin(direction) * higher
    return pole, sign * (np.cos(err) * elevated + np.sin(err) * shift)


def frame_about(axis, s, mode):
    """x (growing azimuth, or growing right ascension) and y (away from the horizon or to the north) at s."""
    x = np.cross(s, axis) if mode == "alt-az" else np.cross(axis, s)
    return _unit(x), _unit(axis - np.sum(axis * s, axis=-1, keepdims=True) * s)


def sky_paths(rig, s, tau, *, mode, guided, pole, axis, table):
    """Paths of the star without the gears (drift, refraction, flexure), and the turn of the field.

    s are the star's places at the middle of each sub, tau the sample times from there [s].
    """
    sky = rotation(pole, -OMEGA_RAD_S * tau)
    star = np.einsum("tij,kj->kti", sky, s)
    own_axis = UP if mode == "alt-az" else pole
    ex, ey = frame_about(own_axis, s, mode)
    left = rotation(axis, OMEGA_RAD_S * tau) @ sky  # what a mount that turns about m leaves of the sky's turn
    seen = np.einsum("tij,kj->kti", left, s)
    if mode == "tilted" and not guided:
        field = np.einsum("tij,kj->kti", left, ex)
        fx, fy = (np.einsum("kti,ki->kt", field, e) for e in (ex, ey))
    else:  # the frame is carried along: about the zenith, or (guided) about the mount's own polar axis
        carrier = UP if mode == "alt-az" else axis
        field = np.einsum("tij,kj->kti", sky, frame_about(carrier, s, mode)[0])
        ax, ay = frame_about(carrier, star, mode)
        fx, fy = np.sum(field * ax, axis=-1), np.sum(field * ay, axis=-1)
    if guided:
        x = np.zeros(fx.shape)
        y = x + number(rig, "flexure_arcsec_min") / 60 * tau
    else:
        x, y = (ARCSEC * np.einsum("kti,ki->kt", seen - s[:, None], e) for e in (ex, ey))
        lift = 3600 * np.interp(np.degrees(np.arcsin(star[..., 2])), *table)
        lift -= 3600 * np.interp(np.degrees(np.arcsin(s[:, 2])), *table)[:, None]
        up = frame_about(UP, s, "alt-az")[1]
        x = x + lift * np.sum(up * ex, axis=-1)[:, None]
        y = y + lift * np.sum(up * ey, axis=-1)[:, None]
    return star, Paths(x, y, fx - 1, fy)


def axis_angles(star, mode, tau):
    """Angle turned by each driven axis since the first sample [rad], always growing: (subs, times) each."""
    if mode == "tilted":
        return [np.broadcast_to(OMEGA_RAD_S * (tau - tau[0]), star.shape[:2])]
    az = np.unwrap(np.arctan2(star[..., 0], star[..., 1]), axis=1)
    steps = [np.abs(np.diff(angle, axis=1)) for angle in (az, np.arcsin(star[..., 2]))]
    return [np.concatenate([np.zeros((len(d), 1)), np.cumsum(d, axis=1)], axis=1) for d in steps]


def gear_error(rig, phase, rate, guided):
    """The error of an axis [″] at gear phases [rad]; rate is the gear's ω [rad/s], for guiding."""
    lag, psi, total = number(rig, "lag_s"), np.radians(number(rig, "second_harmonic_phase_deg")), 0.0
    for k, name, shift in ((1, "gear_error_arcsec", 0.0), (2, "second_harmonic_arcsec", psi)):
        half, angle = number(rig, name) / 2, k * phase + shift
        total += half * (np.minimum(1, k * rate * lag) * np.cos(angle) if guided else np.sin(angle))
    return total


def _widths(paths, corner, angles, walk2, bridges):
    """Largest width [″] of each path at one corner over the directions [rad]."""
    cx, cy = corner
    x = paths.x + cx * paths.turn_c - cy * paths.turn_s
    y = paths.y + cx * paths.turn_s + cy * paths.turn_c
    best = np.zeros(len(x))
    for angle in angles:
        p = np.cos(angle) * x + np.sin(angle) * y
        if bridges is None:
            best = np.maximum(best, np.ptp(p, axis=1))
            continue
        total, d2 = p[:, 1:] + p[:, :-1], (p[:, 1:] - p[:, :-1]) ** 2
        q = (np.cos(angle) ** 2 * walk2[0] + np.sin(angle) ** 2 * walk2[1])[:, None]
        reach = np.sqrt(d2 + q * bridges)
        best = np.maximum(best, ((total + reach).max(axis=1) - (total - reach).min(axis=1)) / 2)
    return best


def within(paths, corners, limit, walk2=None, bridges=None):
    """Which paths keep their largest extent at every corner within the limit [″].

    walk2 is the variance rate of the walk [″²/s] in x and y of each path, bridges holds 2 h times an
    exponential variate for each step, one for both sides and all directions so that opposite ones agree.
    """
    walk2 = np.zeros((2, len(paths.x))) if walk2 is None else walk2
    slack = np.cos(np.pi / (2 * COARSE)) * (1 if bridges is None else 0.98)
    coarse, fine = (np.arange(n) * np.pi / n for n in (COARSE, FINE))

    def widths(index, corner, angles):
        part = None if bridges is None else bridges[index]
        return _widths(Paths(*(a[index] for a in paths)), corner, angles, walk2[:, index], part)

    alive = np.arange(len(paths.x))
    for corner in corners:
        width = widths(alive, corner, coarse)
        alive, width = alive[width <= limit], width[width <= limit]
        unsure = alive[width > limit * slack]
        alive = np.setdiff1d(alive, unsure[widths(unsure, corner, fine) > limit])
    kept = np.zeros(len(paths.x), bool)
    kept[alive] = True
    return kept


def dry(air_degc, humidity, lens_degc):
    """Is the lens above its dew point (or, below 0 °C, frost point)? Magnus over water and over ice."""
    pressure_hpa = humidity * 6.1094 * np.exp(17.625 * air_degc / (243.04 + air_degc))
    water, ice = np.log(pressure_hpa / 6.1094), np.log(pressure_hpa / 6.1121)
    frost = 273.86 * ice / (22.587 - ice)
    return lens_degc > np.where(lens_degc < 0, frost, 243.04 * water / (17.625 - water))


def moon_nl(phase_angle_deg, distance_deg, moon_zenith_deg, zenith_deg, extinction_mag):
    """Moonlight in nanolambert, Krisciunas & Schaefer 1991, equations 3, 15, 16, 18, 20 and 21."""
    a, rho = np.abs(phase_angle_deg), np.maximum(distance_deg, 0.25)
    light = 10 ** (-0.4 * (3.84 + 0.026 * a + 4e-9 * a**4))
    rayleigh = 10**5.36 * (1.06 + np.cos(np.radians(rho)) ** 2)
    mie = np.where(rho >= 10, 10 ** (6.15 - rho / 40), 6.2e7 / rho**2)
    sine2 = np.sin(np.radians([np.broadcast_to(moon_zenith_deg, np.shape(zenith_deg)), zenith_deg])) ** 2
    through, depth = 10 ** (-0.4 * extinction_mag / np.sqrt(1 - 0.96 * sine2))
    return np.where(moon_zenith_deg < 90, (rayleigh + mie) * light * through * (1 - depth), 0.0)


def sub_rates(rig, geo, minute, apparent_deg, air_degc, since_set_up_min):
    """Sky and dark electrons per second and pixel, the 21.5 mag reference and the weight, at each minute."""
    k = number(rig, "extinction_mag")
    area = np.pi / 4 * (number(rig, "aperture_mm", "optics") / 1000 * scale_arcsec_px(rig)) ** 2

    def electrons(mag):
        return 8.794e9 * 10 ** (-0.4 * mag) * area * number(rig, "throughput", "optics")

    zenith = 90 - apparent_deg
    x = (1 - 0.96 * np.sin(np.radians(zenith)) ** 2) ** -0.5
    mag = number(rig, "sky_mag_arcsec2")
    seen = (geo.moon_phase_angle_deg, geo.moon_distance_deg, 90 - geo.moon_alt_deg)
    moon = moon_nl(*(np.interp(minute, geo.minute, series) for series in seen), zenith, k)
    sky = electrons(mag) * (10 ** (-0.4 * k * (x - 1)) * x + moon / (34.08 * np.exp(20.7233 - 0.92104 * mag)))
    warm = number(rig, "warm_up_k") * (1 - np.exp(-3 * since_set_up_min / number(rig, "warm_up_min")))
    doublings = (air_degc + warm - number(rig, "dark_reference_degc")) / number(rig, "dark_doubling_k")
    dark = number(rig, "dark_e_s_px") * 2**doublings
    pickering = 1 / np.sin(np.radians(apparent_deg + 244 / (165 + 47 * apparent_deg**1.1)))
    return sky, dark, electrons(21.5), 10 ** (-0.8 * k * pickering)


def lives_h(rig, guided):
    """Hours from the start of the set-up until the pack, or the mount's own cells, are empty."""
    share = number(rig, "pack_usable") * number(rig, "pack_cold")
    loads_w = ["computer_w", "camera_w", "light_w"] + (["guide_camera_w"] if guided else [])
    load = sum(number(rig, name) for name in loads_w) + number(rig, "heater_w") * number(rig, "heater_duty")
    cells = number(rig, "mount_cells") * number(rig, "cell_v") * number(rig, "cell_ah") * share
    pack = number(rig, "pack_wh") * share * number(rig, "converter")
    return min(pack / load, cells / (number(rig, "mount_w") * number(rig, "mount_duty")))


def gust_lost(rng, rig, start_s, sub_s, limit_arcsec, until_s):
    """Which subs a gust spoils: events on the time line from before the first sub to the end of the night."""
    gust_s, wind = number(rig, "gust_s"), number(rig, "wind_m_s")
    count = rng.poisson(number(rig, "gusts_per_h") * (until_s + gust_s) / 3600)
    when = rng.uniform(-gust_s, until_s, count)
    peak = rng.uniform(wind, number(rig, "gust_m_s"), count)
    push = 0.5 * 1.225 * 1.2 * number(rig, "wind_area_m2") * (peak**2 - wind**2)
    swing = ARCSEC * push * number(rig, "wind_arm_m") / number(rig, "stiffness_n_m_rad")
    bad = np.sort(when[swing > limit_arcsec])
    return np.searchsorted(bad, start_s + sub_s, "right") > np.searchsorted(bad, start_s - gust_s, "left")


def simulate(
    rig, *, ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, horizon_deg, ceiling_deg, date,
    mode, guided, sub_s, seed, nights=1,
):  # fmt: skip
    """Real sequences of subs through a night: a `Night` with the mean over `nights` random nights.

    The rig is a dict "section.key" → number (`habits.alignment`: a name), the date that of the evening.
    A sub counts where its middle is usable.
    """
    assert mode in ("alt-az", "tilted"), mode
    geo = geometry(ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, str(date))
    rng = np.random.default_rng(seed)
    view, t = (horizon_deg, ceiling_deg), float(sub_s)
    each = [_night(rig, geo, rng, latitude_deg, view, mode, guided, t) for _ in range(nights)]
    return Night(*np.mean(each, axis=0).tolist())


def _crossing(minute, altitude, limit, falling):
    """Minute at which the Sun passes a limit, downwards in the evening or upwards in the morning; or None."""
    below = altitude < limit
    if not below.any():
        return None
    i = int(np.argmax(below)) if falling else len(below) - int(np.argmax(below[::-1]))
    if i in (0, len(below)):
        return minute[min(i, len(below) - 1)]
    share = (limit - altitude[i - 1]) / (altitude[i] - altitude[i - 1])
    return minute[i - 1] + share * (minute[i] - minute[i - 1])


def usable_minutes(rig, geo, minute, s, view, mode, guided, dark):
    """Which minutes can be used; with apparent altitude [°], air [°C] and minutes since the set-up ended.

    view is the horizon mask (azimuth, altitude in °) and the ceiling [°], dark the darkness in minutes.
    """
    begin = _crossing(geo.minute, geo.sun_alt_deg, number(rig, "set_up_sun_deg"), True)
    alt = np.degrees(np.arcsin(s[:, 2]))
    apparent = alt + np.interp(alt, *geo.refraction)
    share = (minute - dark[0]) / (dark[1] - dark[0])
    air = (1 - share) * number(rig, "air_start_degc") + share * number(rig, "air_end_degc")
    humidity = (1 - share) * number(rig, "humidity_start") + share * number(rig, "humidity_end")
    lift = number(rig, "heater_lift_k_w") * number(rig, "heater_w") * number(rig, "heater_duty")
    ready = begin + number(rig, "set_up_altaz_min" if mode == "alt-az" else "set_up_tilted_min")
    mask_az, mask_alt = np.transpose(np.asarray(view[0], float))
    floor = np.interp(np.degrees(np.arctan2(s[:, 0], s[:, 1])) % 360, mask_az, mask_alt)
    good = (apparent > floor) & (apparent < view[1]) & (apparent > 0) & (minute >= ready)
    good &= (minute - begin <= 60 * lives_h(rig, guided)) & dry(
        air, humidity, air - number(rig, "lens_cooling_k") + lift
    )
    if mode == "alt-az":
        good &= alt <= number(rig, "altaz_highest_deg")
    return good, apparent, air, np.maximum(minute - ready, 0)


def _night(rig, geo, rng, latitude_deg, view, mode, guided, t):
    dark = [_crossing(geo.minute, geo.sun_alt_deg, -18.0, falling) for falling in (True, False)]
    if dark[0] is None:
        return np.zeros(4)
    cycle = t + number(rig, "overhead_s") + number(rig, "dither_overhead_s") / number(rig, "dither_every")
    night_s = 60 * (dark[1] - dark[0])
    start_s = np.arange(rng.uniform(-cycle, 0), night_s, cycle)  # from the start of darkness
    minute = dark[0] + (start_s + t / 2) / 60
    s = _unit(np.stack([np.interp(minute, geo.minute, geo.target[:, i]) for i in range(3)], axis=-1))
    good, apparent, air, since = usable_minutes(rig, geo, minute, s, view, mode, guided, dark)
    good &= (minute >= dark[0]) & (minute < dark[1])
    axis_phase = [rng.uniform(0, 2 * np.pi) for _ in range(2)]
    start_s, minute, s, apparent, air, since = (a[good] for a in (start_s, minute, s, apparent, air, since))
    if not len(s):
        return np.zeros(4)

    steps = int(np.ceil(t / min(0.5, t / 20)))
    tau = np.linspace(-t / 2, t / 2, steps + 1)
    name = f"axis_error_{rig['habits.alignment']}_arcmin" if mode == "tilted" else "model_error_arcmin"
    pole, axis = pole_and_axis(latitude_deg, number(rig, name), number(rig, "axis_direction_deg"))
    star, paths = sky_paths(rig, s, tau, mode=mode, guided=guided, pole=pole, axis=axis, table=geo.refraction)
    x, y = paths.x, paths.y
    turned = axis_angles(star, mode, tau)
    if mode == "tilted":
        before = [OMEGA_RAD_S * start_s]
        shrink = [np.sqrt(1 - (s @ pole) ** 2)]
    else:  # the worm's own count since noon, read at the start of each sub
        whole = axis_angles(geo.target[None], mode, geo.minute)
        before = [np.interp(minute - t / 120, geo.minute, a[0]) for a in whole]
        shrink = [np.sqrt(1 - s[:, 2] ** 2), np.ones(len(s))]
    worm = 2 * np.pi / (number(rig, "gear_period_s") * OMEGA_RAD_S)  # gear radians per axis radian
    walk2, noise = np.zeros((2, len(s))), number(rig, "random_walk_arcsec_sqrt_s")
    for i, (angle, first, factor) in enumerate(zip(turned, before, shrink, strict=True)):
        rate = worm * angle[:, -1:] / t
        error = gear_error(rig, axis_phase[i] + worm * (first[:, None] + angle), rate, guided)
        walk2[i] = (noise * factor) ** 2
        error = factor[:, None] * error
        if noise and not guided:
            hop = rng.standard_normal((len(s), steps)) * (noise * np.sqrt(t / steps) * factor)[:, None]
            error[:, 1:] += np.cumsum(hop, axis=1)
        x, y = (x + error, y) if i == 0 else (x, y + error)
    walks = noise and not guided
    bridges = 2 * t / steps * rng.standard_exponential((len(s), steps)) if walks else None

    scale = scale_arcsec_px(rig)
    tolerance = number(rig, "tolerance_px") * scale
    residue2 = 0.65 * walk2.max(axis=0)[0] * number(rig, "lag_s") + number(rig, "noise_arcsec") ** 2
    square = tolerance**2 - (12 * residue2 if guided else 0)
    wide, high = number(rig, "width_px") * scale / 2, number(rig, "height_px") * scale / 2
    pivot = np.zeros(2)
    if guided:
        angle = np.radians(number(rig, "star_direction_deg"))
        pivot = 3600 * number(rig, "star_offset_deg") * np.array([np.cos(angle), np.sin(angle)])
    corners = [np.array([a * wide, b * high]) - pivot for a in (1, -1) for b in (1, -1)]
    limit = np.sqrt(square) if square >= 0 else -1.0  # no path is shorter than that
    kept = within(paths._replace(x=x, y=y), corners, limit, walk2, bridges)
    kept &= ~gust_lost(rng, rig, start_s, t, tolerance, night_s)

    sky, dark_e, reference, weight = sub_rates(rig, geo, minute, apparent, air, since)
    worth = weight * reference / (sky + dark_e + number(rig, "read_noise_e", "camera") ** 2 / t)
    return np.array([kept.sum() * t / 3600, (kept * worth).sum() * t / 3600, len(s), kept.sum()])
