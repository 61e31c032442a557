"""Good enough where you shoot, and still good later: alignment on one target, and the re-check in the night.

A drift of nothing in one direction does not mean an axis on the pole: it may still stand off along the star's
own hour circle. And an axis that was right at dusk may leave when a leg settles or a wedge slips.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.alignment.cost import axis_cost
from workbook.alignment.drift import LARGEST_LATITUDE_DEG, SIDEREAL_RATE_ARCSEC_MIN
from workbook.checks import between, chosen, number, positive, turned
from workbook.pointing import ARCMIN_PER_RAD

SCREWS = ("azimuth", "altitude")
MOVED_SIGMA = 3.0


class OneTarget(NamedTuple):
    """What is left when one screw was turned until one star stopped drifting in declination.

    azimuth_error_arcmin and altitude_error_arcmin of the axis [′]; drift_east_arcsec_min, the drift in right
    ascension that stays [″/min]; spin_guided_deg_h and spin_unguided_deg_h, the rotation that stays [°/h];
    later_drift_arcsec_min, the drift in declination when the star stands at the later hour angle [″/min].
    """

    azimuth_error_arcmin: float
    altitude_error_arcmin: float
    drift_east_arcsec_min: float
    spin_guided_deg_h: float
    spin_unguided_deg_h: float
    later_drift_arcsec_min: float


class Recheck(NamedTuple):
    """Whether the axis stands still.

    azimuth_error_arcmin and altitude_error_arcmin at the last measurement [′]; azimuth_slope_arcmin_h and
    altitude_slope_arcmin_h, how fast they change [′/h]; covariance of the four, in this order; moved_sigma,
    how many standard deviations the change stands from none; moving, whether that is three or more.
    """

    azimuth_error_arcmin: float
    altitude_error_arcmin: float
    azimuth_slope_arcmin_h: float
    altitude_slope_arcmin_h: float
    covariance: np.ndarray
    moved_sigma: float
    moving: bool


def one_target(
    *,
    azimuth_error_arcmin,
    altitude_error_arcmin,
    screw,
    hour_angle_deg,
    later_hour_angle_deg,
    dec_deg,
    latitude_deg,
) -> OneTarget:
    """Turn one screw until your target stops drifting in declination: what stays of the axis error.

    Parameters
    ----------
    azimuth_error_arcmin : float
        Error in azimuth before, positive to the east [′].
    altitude_error_arcmin : float
        Error in altitude before, positive high [′].
    screw : str
        The screw that is turned, "azimuth" or "altitude".
    hour_angle_deg : float
        Hour angle of the target while the screw is turned, positive west [°].
    later_hour_angle_deg : float
        Hour angle of the target at the end of the exposures [°].
    dec_deg : float
        Declination of the target [°].
    latitude_deg : float
        Latitude of the place, south negative, up to 88 either way [°].

    Returns
    -------
    OneTarget
        The errors that stay, and the drift and the rotation they leave.

    Raises
    ------
    ValueError
        If that screw cannot stop the drift there (azimuth near hour angle ±90°, altitude near the meridian),
        or a number is outside its range.

    Notes
    -----
    No drift in declination means m·E = 0, E east at the star: the axis lies in the plane of the star's hour
    circle. Solved exactly for the azimuth, or the altitude, of m. The other error stays whole; guided it turns
    the field by Ω ε/cos δ, and the drift in declination comes back as Ω ε sin ΔH.

    References
    ----------
    Derivation; in the tests the screw is turned step by step in a rigid-body simulation.

    Examples
    --------
    >>> left = one_target(azimuth_error_arcmin=40, altitude_error_arcmin=20, screw="azimuth",
    ...     hour_angle_deg=-30, later_hour_angle_deg=30, dec_deg=30, latitude_deg=52.4)
    >>> print(round(left.azimuth_error_arcmin, 1), round(left.later_drift_arcsec_min, 2))
    19.1 -5.26
    """
    latitude = between("latitude_deg", latitude_deg, -LARGEST_LATITUDE_DEG, LARGEST_LATITUDE_DEG)
    azimuth = between("azimuth_error_arcmin", azimuth_error_arcmin, -5400, 5400)
    altitude = between("altitude_error_arcmin", altitude_error_arcmin, -5400, 5400)
    hour = turned("hour_angle_deg", hour_angle_deg)
    chosen("screw", screw, SCREWS)
    # The south is the north seen in a mirror: the same screws, the same hour angles, |φ|.
    phi, turn = np.radians(abs(latitude)), np.radians(hour)
    east, north, up = np.cos(turn), -np.sin(turn) * np.sin(phi), np.sin(turn) * np.cos(phi)
    if screw == "azimuth":
        height = phi + altitude / ARCMIN_PER_RAD
        sine = -np.tan(height) * up / np.hypot(east, north)
        if abs(sine) > 1.0 or abs(east) < np.sin(np.radians(5.0)):
            raise ValueError(_cure(screw, hour, "within 85° of the meridian, or turn the altitude screw"))
        # east sin A + north cos A = hypot · sin(A + bearing of the pair)
        first = np.arcsin(sine) - np.arctan2(north, east)
        both = np.array([first, np.pi - np.arcsin(sine) - np.arctan2(north, east)])
        both = (both + np.pi) % (2.0 * np.pi) - np.pi
        azimuth = float(both[np.argmin(np.abs(both))] * ARCMIN_PER_RAD)
    else:
        if abs(np.sin(turn)) < np.sin(np.radians(5.0)):
            raise ValueError(_cure(screw, hour, "5° or more from the meridian, or turn the azimuth screw"))
        across = np.sin(azimuth / ARCMIN_PER_RAD) * east + np.cos(azimuth / ARCMIN_PER_RAD) * north
        height = np.arctan2(-across * np.sign(up), abs(up))
        altitude = float((height - phi) * ARCMIN_PER_RAD)
    cost = {
        "azimuth_error_arcmin": azimuth,
        "altitude_error_arcmin": altitude,
        "dec_deg": dec_deg,
        "latitude_deg": latitude,
        "sub_s": 60.0,
        "scale_arcsec_px": 1.0,
        "radius_px": 0.0,
    }
    now, later = (axis_cost(hour_angle_deg=h, **cost) for h in (hour, later_hour_angle_deg))
    return OneTarget(
        azimuth,
        altitude,
        float(now.drift_east_arcsec_min),
        float(now.spin_guided_deg_h),
        float(now.spin_unguided_deg_h),
        float(later.drift_north_arcsec_min),
    )


def recheck(*, times_h, hour_angles_deg, drifts_arcsec_min, drift_sigma_arcsec_min, latitude_deg) -> Recheck:
    """Whether the axis still stands where it stood, from drifts measured again through the night.

    Parameters
    ----------
    times_h : sequence
        Hours since any moment, one for each measurement [h].
    hour_angles_deg : sequence
        Hour angles of the stars, positive west [°].
    drifts_arcsec_min : sequence
        Their drifts in declination, positive north [″/min].
    drift_sigma_arcsec_min : float or sequence
        Standard deviation of the drifts [″/min].
    latitude_deg : float
        Latitude of the place, south negative, up to 88 either way [°].

    Returns
    -------
    Recheck
        The errors at the last time, their slopes, and whether the axis moves.

    Raises
    ------
    ValueError
        If there are fewer than five measurements, the lists differ in length, a value is not finite, or times
        and hour angles are too much alike to tell a slope.

    Notes
    -----
    Weighted least squares of −Ω ((x₀ + x₁ t) cos H + (y₀ + y₁ t) sin H), x to the east and y up on the sky at
    the elevated pole (in the south with the other sign). A star followed for hours changes its hour angle, so
    a steady axis gives a changing drift: only what that cannot explain is movement. Refraction should be
    taken off first, since it changes with the hour angle too.

    References
    ----------
    Derivation; simulated nights with and without a slipping wedge in the tests.

    Examples
    --------
    >>> from workbook.alignment import dec_drift_arcsec_min
    >>> hours = np.array([-60, 20, -50, 30, -40, 40])
    >>> steady = dec_drift_arcsec_min(azimuth_error_arcmin=6, altitude_error_arcmin=2, hour_angle_deg=hours,
    ...                               latitude_deg=52.4)
    >>> night = recheck(times_h=[0, 0.2, 1, 1.2, 2, 2.2], hour_angles_deg=hours, drifts_arcsec_min=steady,
    ...                 drift_sigma_arcsec_min=0.1, latitude_deg=52.4)
    >>> print(round(night.azimuth_error_arcmin, 1), night.moving)
    6.0 False
    """
    latitude = between("latitude_deg", latitude_deg, -LARGEST_LATITUDE_DEG, LARGEST_LATITUDE_DEG)
    times = np.atleast_1d(number("times_h", times_h))
    turn = np.radians(np.atleast_1d(turned("hour_angles_deg", hour_angles_deg)))
    drifts = np.atleast_1d(number("drifts_arcsec_min", drifts_arcsec_min))
    if times.ndim != 1 or times.size < 5 or not times.shape == turn.shape == drifts.shape:
        raise ValueError(
            "times_h, hour_angles_deg and drifts_arcsec_min must be lists of one length, five measurements or "
            f"more, received {times.size}, {turn.size} and {drifts.size}"
        )
    sigma = np.broadcast_to(positive("drift_sigma_arcsec_min", drift_sigma_arcsec_min), times.shape)
    if not np.isfinite(times + turn + drifts + sigma).all():
        raise ValueError("times, angles, drifts and sigmas must be finite, received NaN or inf")
    since = times - times.max()  # so that the errors are those of the last measurement
    columns = np.stack([np.cos(turn), np.sin(turn), since * np.cos(turn), since * np.sin(turn)], axis=-1)
    side = -1.0 if latitude < 0 else 1.0
    per_arcmin = -side * SIDEREAL_RATE_ARCSEC_MIN / ARCMIN_PER_RAD
    azimuth_scale = np.cos(np.radians(latitude))
    design = per_arcmin * columns * np.array([azimuth_scale, 1.0, azimuth_scale, 1.0]) / sigma[:, None]
    values = np.linalg.svd(design / np.linalg.norm(design, axis=0).clip(1e-300), compute_uv=False)
    if values[-1] < 0.02 * values[0]:
        raise ValueError(
            "times_h and hour_angles_deg must let a slope be told from an error, received measurements too much "
            "alike: measure two directions about 90° apart in hour angle, each early and late"
        )
    covariance = np.linalg.inv(design.T @ design)
    found = covariance @ design.T @ (drifts / sigma)
    moved = float(np.sqrt(found[2:] @ np.linalg.solve(covariance[2:, 2:], found[2:])))
    return Recheck(*map(float, found), covariance, moved, moved >= MOVED_SIGMA)


def recheck_after_h(
    *,
    azimuth_error_arcmin,
    altitude_error_arcmin,
    azimuth_slope_arcmin_h,
    altitude_slope_arcmin_h,
    tolerance_arcmin,
    latitude_deg,
):
    """When a creeping axis will leave its tolerance: the latest time for the next check.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth now [′].
    altitude_error_arcmin : float or array
        Error in altitude now [′].
    azimuth_slope_arcmin_h : float or array
        How fast the error in azimuth grows [′/h].
    altitude_slope_arcmin_h : float or array
        How fast the error in altitude grows [′/h].
    tolerance_arcmin : float or array
        Axis error that is still accepted, on the sky [′].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    float or array
        Hours from now [h]; 0 where the axis is outside already, infinite where it stands still.

    Raises
    ------
    ValueError
        If the tolerance is not above zero or the latitude beyond ±90°.

    Notes
    -----
    The larger root of |e + v t| = tolerance, e and v on the sky, azimuth counted by cos φ. Small errors, an
    even pace.

    References
    ----------
    Derivation; in the tests the axis is carried on minute by minute.

    Examples
    --------
    >>> print(recheck_after_h(azimuth_error_arcmin=0, altitude_error_arcmin=2, azimuth_slope_arcmin_h=0,
    ...     altitude_slope_arcmin_h=2, tolerance_arcmin=6, latitude_deg=52.4))
    2.0
    """
    scale = np.cos(np.radians(between("latitude_deg", latitude_deg, -90, 90)))
    east = scale * number("azimuth_error_arcmin", azimuth_error_arcmin)
    high = number("altitude_error_arcmin", altitude_error_arcmin)
    east_speed = scale * number("azimuth_slope_arcmin_h", azimuth_slope_arcmin_h)
    high_speed = number("altitude_slope_arcmin_h", altitude_slope_arcmin_h)
    tolerance = positive("tolerance_arcmin", tolerance_arcmin)
    inside = tolerance**2 - (east**2 + high**2)
    square = east_speed**2 + high_speed**2
    along = east * east_speed + high * high_speed
    still = square == 0
    root = np.sqrt(np.maximum(along**2 + square * inside, 0.0))
    hours = np.where(still, np.inf, (root - along) / np.where(still, 1.0, square))
    return np.where(np.isnan(inside + square), np.nan, np.where(inside < 0, 0.0, hours))[()]


def _cure(screw, hour, words):
    return (
        f"hour_angle_deg must be where the {screw} screw acts on the drift, received {hour:g} °: choose a star "
        f"{words}"
    )
