"""How stars drift while a drive turns about a misaligned axis, and the axis from the drifts of two stars.

One law: the sky turns at −Ω p and a drive turns at −Ω m, so a star moves through the frame at
Ω (m − p) × s. Here p is the *north* celestial pole, below the horizon in the south, m the end of the axis
near it and s the star, all unit vectors east, north, up.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, number, positive, turned
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import ARCMIN_PER_RAD, axis_direction, axis_errors, pole

SIDEREAL_RATE_ARCSEC_MIN = 60.0 * SIDEREAL_RATE_ARCSEC_S

# Two drift stars closer in hour angle than this, or closer to 180° apart, hold one equation and not two.
SMALLEST_SPREAD_DEG = 5.0
# Nearer to the ends of the Earth the azimuth of an axis means next to nothing.
LARGEST_LATITUDE_DEG = 88.0


class Drift(NamedTuple):
    """Motion of a star through the frame, in angles on the sky [″/min]."""

    east_arcsec_min: float | np.ndarray
    north_arcsec_min: float | np.ndarray


class AxisErrors(NamedTuple):
    """An axis found from drifts: its errors [′] and their covariance [′²], azimuth first."""

    azimuth_error_arcmin: float
    altitude_error_arcmin: float
    covariance_arcmin2: np.ndarray


def drift_arcsec_min(
    *, azimuth_error_arcmin, altitude_error_arcmin, hour_angle_deg, dec_deg, latitude_deg
) -> Drift:
    """How a star moves through the frame while a drive turns about a misaligned axis.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    hour_angle_deg : float or array
        Hour angle of the star, positive west of the meridian [°].
    dec_deg : float or array
        Declination of the star [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    Drift
        east_arcsec_min and north_arcsec_min, both angles on the sky [″/min].

    Raises
    ------
    ValueError
        If an error is beyond ±5400′ or an angle outside its range.

    Notes
    -----
    The vector Ω (m − p) × s, laid along east E = (cos H, −sin H sin φ, sin H cos φ) and north N = s × E at
    the star. The north part is the same at every declination, the east part grows with sin δ. At the pole
    itself E and N are those of the star's hour circle. Gear error and refraction are ignored.

    References
    ----------
    Derivation; reference rows POL-03, POL-05, POL-06 and POL-07, and a rigid-body simulation in the tests.

    Examples
    --------
    >>> star = drift_arcsec_min(azimuth_error_arcmin=5, altitude_error_arcmin=5, hour_angle_deg=-60,
    ...                         dec_deg=60, latitude_deg=50)
    >>> print(round(star.east_arcsec_min, 2), round(star.north_arcsec_min, 2))
    -1.2 0.72
    """
    off = _off_the_pole(azimuth_error_arcmin, altitude_error_arcmin, latitude_deg)
    dec = np.radians(between("dec_deg", dec_deg, -90, 90))
    east, equator = _hour_circle(hour_angle_deg, latitude_deg)
    star = np.cos(dec)[..., None] * equator + np.sin(dec)[..., None] * pole(latitude_deg=latitude_deg)
    motion = SIDEREAL_RATE_ARCSEC_MIN * np.cross(off, star)
    return Drift(np.sum(motion * east, axis=-1), np.sum(motion * np.cross(star, east), axis=-1))


def dec_drift_arcsec_min(*, azimuth_error_arcmin, altitude_error_arcmin, hour_angle_deg, latitude_deg):
    """How fast a star drifts in declination while a drive turns about a misaligned axis.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    hour_angle_deg : float or array
        Hour angle of the star, positive west of the meridian [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    float or array
        Drift, positive north in both hemispheres [″/min].

    Raises
    ------
    ValueError
        If an error is beyond ±5400′ or an angle outside its range.

    Notes
    -----
    The north part of Ω (m − p) × s is −Ω (m − p)·E, E east at the star: the same at every declination. For
    small errors it is −Ω (ΔA cos φ cos H + Δh sin H) in the north and the opposite in the south. Low stars
    drift by refraction as well, about 0.5″/min at 34° of altitude, up to 0.4 of it in declination, and lead
    astray.

    References
    ----------
    Derivation; reference rows POL-01, POL-03, POL-05, POL-12 and POL-13.

    Examples
    --------
    >>> print(round(dec_drift_arcsec_min(azimuth_error_arcmin=5, altitude_error_arcmin=0, hour_angle_deg=0,
    ...                                  latitude_deg=50), 3))
    -0.844
    """
    off = _off_the_pole(azimuth_error_arcmin, altitude_error_arcmin, latitude_deg)
    east, _ = _hour_circle(hour_angle_deg, latitude_deg)
    return -SIDEREAL_RATE_ARCSEC_MIN * np.sum(off * east, axis=-1)


def drift_sigma_arcsec_min(*, watch_min, jitter_arcsec, cadence_s):
    """How well a watch of some minutes knows a drift: the spread of a straight line through its frames.

    Parameters
    ----------
    watch_min : float or array
        From the first frame to the last [min].
    jitter_arcsec : float or array
        Standard deviation of one measured place of the star, in declination [″].
    cadence_s : float or array
        From frame to frame [s].

    Returns
    -------
    float or array
        Standard deviation of the drift [″/min].

    Raises
    ------
    ValueError
        If a number is not above zero, or the watch is shorter than one step from frame to frame.

    Notes
    -----
    σ √(12/(N(N² − 1))) / Δt with N frames a step Δt apart, close to σ √12/(T √N). Jitter is taken as independent
    from frame to frame; slow wander of the air makes it larger.

    References
    ----------
    Variance of a slope, Draper & Smith, Applied Regression Analysis, 3rd ed., 1998, section 1.4 (recalled), with
    the sum of squares of even steps, N(N² − 1)/12; numpy's covariance of a fitted line in the tests.

    Examples
    --------
    >>> print(round(drift_sigma_arcsec_min(watch_min=10, jitter_arcsec=2, cadence_s=10), 3))
    0.087
    """
    watch, step = positive("watch_min", watch_min), positive("cadence_s", cadence_s) / 60.0
    if np.any(watch < step * (1.0 - 1e-9)):
        raise ValueError(
            f"watch_min must hold two frames or more, received {np.min(watch):g} min: watch at least "
            f"{np.max(step):g} min"
        )
    frames = np.floor(watch / step + 1e-9) + 1.0
    return positive("jitter_arcsec", jitter_arcsec) * np.sqrt(12.0 / (frames * (frames**2 - 1.0))) / step


def solve_drifts(*, hour_angles_deg, drifts_arcsec_min, latitude_deg, drift_sigma_arcsec_min) -> AxisErrors:
    """The errors of the axis from the declination drifts of two or more stars.

    Parameters
    ----------
    hour_angles_deg : sequence
        Hour angles of the stars, positive west of the meridian [°]; best about 90° apart.
    drifts_arcsec_min : sequence
        Their drifts in declination, positive north [″/min].
    latitude_deg : float
        Latitude of the place, south negative [°].
    drift_sigma_arcsec_min : float or sequence
        Standard deviation of the drifts, one for all or one each [″/min].

    Returns
    -------
    AxisErrors
        azimuth_error_arcmin and altitude_error_arcmin of the elevated end [′], and covariance_arcmin2, their
        2 × 2 covariance [′²].

    Raises
    ------
    ValueError
        If there are fewer than two stars, the stars stand at nearly the same or opposite hour angles, the
        place is within 2° of a pole of the Earth, a value is NaN, or no axis near the pole fits.

    Notes
    -----
    Weighted least squares. The drift −Ω (x cos H + y sin H) is linear in x, the part of the axis towards
    east, and y, its part towards the meridian above the north pole; with the third part from m·m = 1 the axis
    and its errors follow exactly, large ones too. The covariance comes from the given standard deviations,
    not from the scatter of the fit.

    References
    ----------
    Derivation; round trips through `dec_drift_arcsec_min`, and the scatter of a Monte Carlo, in the tests.

    Examples
    --------
    >>> axis = solve_drifts(hour_angles_deg=[0, -90], drifts_arcsec_min=[-0.843, 1.313], latitude_deg=50,
    ...                     drift_sigma_arcsec_min=0.1)
    >>> print(round(axis.azimuth_error_arcmin, 2), round(axis.altitude_error_arcmin, 2))
    5.0 5.0
    """
    hours, drifts, sigmas = _measured(hour_angles_deg, drifts_arcsec_min, drift_sigma_arcsec_min)
    cure = "near a pole of the Earth an axis has no azimuth; tilt it along two directions instead"
    latitude = between("latitude_deg", latitude_deg, -LARGEST_LATITUDE_DEG, LARGEST_LATITUDE_DEG, cure=cure)
    if np.ndim(latitude) or np.isnan(latitude):
        raise ValueError(f"latitude_deg must be one number, received {latitude_deg!r}")
    turn = np.radians(hours)
    directions = np.column_stack([np.cos(turn), np.sin(turn)])
    widest, narrowest = np.linalg.svd(directions, compute_uv=False)
    if narrowest < widest * np.tan(np.radians(SMALLEST_SPREAD_DEG / 2)):
        raise ValueError(
            f"hour_angles_deg must differ by {SMALLEST_SPREAD_DEG:g}° or more, and not stand opposite by "
            f"180°, received {', '.join(f'{h:g}' for h in hours)} °: such stars tell only one of the two "
            "errors; add a star about 90° away in hour angle"
        )
    solve = np.linalg.pinv(-SIDEREAL_RATE_ARCSEC_MIN * directions / sigmas[:, None])
    x, y = offset = solve @ (drifts / sigmas)
    if np.hypot(x, y) > 0.5:
        raise ValueError(
            f"drifts_arcsec_min must belong to an axis within 30° of the pole, received up to "
            f"{np.abs(drifts).max():g} ″/min: are they in ″/min, and the hour angles in degrees?"
        )
    side, phi = (-1.0 if latitude < 0 else 1.0), np.radians(latitude)
    across = np.array([[1.0, 0.0, 0.0], [0.0, -np.sin(phi), np.cos(phi)]])  # east and meridian at the pole
    axis = offset @ across + np.sqrt(1.0 - offset @ offset) * pole(latitude_deg=latitude)
    east, north, up = elevated = side * axis
    level = np.hypot(east, north)
    by_azimuth = side * np.array([north, -east, 0.0])  # how the elevated end moves with each error
    by_altitude = np.array([0.0, 0.0, 1.0 / level]) - up / level * elevated
    solve = (
        np.linalg.solve(side * across @ np.column_stack([by_azimuth, by_altitude]), solve) * ARCMIN_PER_RAD
    )
    found = axis_errors(axis=axis, latitude_deg=latitude)
    return AxisErrors(float(found.azimuth_error_arcmin), float(found.altitude_error_arcmin), solve @ solve.T)


def _off_the_pole(azimuth_error_arcmin, altitude_error_arcmin, latitude_deg):
    """m − p."""
    axis = axis_direction(
        azimuth_error_arcmin=azimuth_error_arcmin,
        altitude_error_arcmin=altitude_error_arcmin,
        latitude_deg=latitude_deg,
    )
    return axis - pole(latitude_deg=latitude_deg)


def _hour_circle(hour_angle_deg, latitude_deg):
    """East on an hour circle, the same at every declination, and the point where it meets the equator."""
    hour, latitude = np.radians(turned("hour_angle_deg", hour_angle_deg)), np.radians(latitude_deg)
    east = np.cos(hour), -np.sin(hour) * np.sin(latitude), np.sin(hour) * np.cos(latitude)
    equator = -np.sin(hour), -np.cos(hour) * np.sin(latitude), np.cos(hour) * np.cos(latitude)
    return tuple(np.stack(np.broadcast_arrays(*vector), axis=-1) for vector in (east, equator))


def _measured(hour_angles_deg, drifts_arcsec_min, drift_sigma_arcsec_min):
    hours = np.atleast_1d(turned("hour_angles_deg", hour_angles_deg))
    drifts = np.atleast_1d(number("drifts_arcsec_min", drifts_arcsec_min))
    sigmas = np.atleast_1d(positive("drift_sigma_arcsec_min", drift_sigma_arcsec_min))
    stars = hours.size
    if hours.ndim > 1 or stars < 2 or hours.shape != drifts.shape:
        raise ValueError(
            "hour_angles_deg and drifts_arcsec_min must be lists of one length, two stars or more, received "
            f"{stars} and {drifts.size}: one star tells only one of the two errors"
        )
    if sigmas.shape not in ((1,), hours.shape):
        text = f"drift_sigma_arcsec_min must be one number or {stars}, one a star, received {sigmas.size}"
        raise ValueError(text)
    if not np.isfinite(hours + drifts + sigmas).all():
        raise ValueError("angles, drifts and sigmas must be finite, received NaN or inf: leave that star out")
    return hours, drifts, np.broadcast_to(sigmas, hours.shape)
