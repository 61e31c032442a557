"""Which two directions show the axis best from a limited view, and the ellipse of what two drifts leave unknown.

A drift tells one component of the axis' offset, that along east at the star, and this turns with the hour
angle only. So two stars ΔH apart know the axis 1/sin ΔH times worse than two that stand 90° apart.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.alignment.drift import SIDEREAL_RATE_ARCSEC_MIN, SMALLEST_SPREAD_DEG, solve_drifts
from workbook.checks import between, chosen, positive, turned
from workbook.pointing import ARCMIN_PER_RAD, altaz

ARCSEC_MIN_PER_ARCMIN = SIDEREAL_RATE_ARCSEC_MIN / ARCMIN_PER_RAD  # of drift, for each arcminute of offset
CRITERIA = ("area", "axes")


class ErrorEllipse(NamedTuple):
    """Where the axis may be, one standard deviation, on the sky about where it was found.

    semi_major_arcmin and semi_minor_arcmin [′]; angle_deg, of the long axis from east towards the zenith,
    −90 to 90, without meaning where both are equal [°].
    """

    semi_major_arcmin: float
    semi_minor_arcmin: float
    angle_deg: float


class PairChoice(NamedTuple):
    """Two directions, the first the more easterly, and what they promise.

    hour_angles_deg, decs_deg, altitudes_deg and azimuths_deg, two each [°]; amplification, 1 at best; the
    expected ellipse of the axis, as in ErrorEllipse: semi_major_arcmin and semi_minor_arcmin [′], angle_deg
    [°]; covariance_arcmin2 of the errors in azimuth and altitude [′²].
    """

    hour_angles_deg: np.ndarray
    decs_deg: np.ndarray
    altitudes_deg: np.ndarray
    azimuths_deg: np.ndarray
    amplification: float
    semi_major_arcmin: float
    semi_minor_arcmin: float
    angle_deg: float
    covariance_arcmin2: np.ndarray


def amplification(*, first_hour_angle_deg, second_hour_angle_deg):
    """How many times worse two drift stars know the axis than two that stand 90° apart in hour angle.

    Parameters
    ----------
    first_hour_angle_deg : float or array
        Hour angle of one star, positive west [°].
    second_hour_angle_deg : float or array
        Hour angle of the other [°].

    Returns
    -------
    float or array
        1 at best; infinite for stars on one hour circle.

    Raises
    ------
    ValueError
        If an hour angle is beyond ten turns.

    Notes
    -----
    1/|sin ΔH|, the growth of the area of the error ellipse for drifts of equal quality.

    References
    ----------
    Derivation: the determinant of the two equations is sin ΔH.

    Examples
    --------
    >>> amplification(first_hour_angle_deg=-60, second_hour_angle_deg=[30, -30]).round(2).tolist()
    [1.0, 2.0]
    """
    first = turned("first_hour_angle_deg", first_hour_angle_deg)
    second = turned("second_hour_angle_deg", second_hour_angle_deg)
    sine = np.abs(np.sin(np.radians(np.subtract(second, first))))
    with np.errstate(divide="ignore"):
        return np.where(sine < 1e-12, np.inf * (1.0 + sine), 1.0 / np.where(sine < 1e-12, 1.0, sine))[()]


def error_ellipse(*, covariance_arcmin2, latitude_deg) -> ErrorEllipse:
    """The ellipse in which the axis stands, from the covariance that `solve_drifts` returns.

    Parameters
    ----------
    covariance_arcmin2 : array
        2 × 2 covariance of the errors in azimuth and altitude, azimuth first [′²].
    latitude_deg : float
        Latitude of the place, south negative [°].

    Returns
    -------
    ErrorEllipse
        semi_major_arcmin, semi_minor_arcmin [′] and angle_deg [°], one standard deviation. 39 % of all cases
        lie inside, 86 % within twice and 99 % within three times its size.

    Raises
    ------
    ValueError
        If the covariance is no 2 × 2 matrix of finite numbers, or the latitude beyond ±90°.

    Notes
    -----
    Eigenvectors of the covariance on the sky, where the azimuth counts by cos φ. Small errors only.

    References
    ----------
    Derivation; the scatter of simulated solves in the tests.

    Examples
    --------
    >>> seen = error_ellipse(covariance_arcmin2=[[4, 0], [0, 4]], latitude_deg=60)
    >>> print(round(seen.semi_major_arcmin, 2), round(seen.semi_minor_arcmin, 2), round(seen.angle_deg))
    2.0 1.0 90
    """
    covariance = np.asarray(covariance_arcmin2, dtype=float)
    if covariance.shape != (2, 2) or not np.isfinite(covariance).all():
        raise ValueError(f"covariance_arcmin2 must be 2 × 2 finite numbers, received {covariance_arcmin2!r}")
    to_sky = np.diag([np.cos(np.radians(between("latitude_deg", latitude_deg, -90, 90))), 1.0])
    values, vectors = np.linalg.eigh(to_sky @ covariance @ to_sky)
    east, up = vectors[:, 1]
    angle = (np.degrees(np.arctan2(up, east)) + 90.0) % 180.0 - 90.0
    angle = 90.0 if angle <= -90.0 + 1e-9 else angle
    return ErrorEllipse(float(np.sqrt(values[1])), float(np.sqrt(max(values[0], 0.0))), float(angle))


def best_pair(
    *, hour_angles_deg, decs_deg, reachable, latitude_deg, drift_sigma_arcsec_min, criterion
) -> PairChoice:
    """The two directions within reach from which drifts tell the axis best.

    Parameters
    ----------
    hour_angles_deg : sequence
        Hour angles to choose from, positive west [°]; every 10° is fine enough.
    decs_deg : sequence
        Declinations to choose from [°].
    reachable : callable or array of bool
        What the place sees: a function of altitude_deg and azimuth_deg, such as the `open` of a horizon mask,
        or an array with a row for each declination and a column for each hour angle.
    latitude_deg : float
        Latitude of the place, south negative [°].
    drift_sigma_arcsec_min : float or array
        Standard deviation of a measured drift [″/min]; one, or one for each place of the grid where low
        stars are worse.
    criterion : str
        "area" for the smallest area of the ellipse (D-optimal), "axes" for the smallest sum of the squared
        semi-axes (A-optimal).

    Returns
    -------
    PairChoice
        The pair with its amplification, ellipse and covariance. Among equals the pair with the higher lower
        star is taken, since air troubles low ones most.

    Raises
    ------
    ValueError
        If fewer than two directions 5° apart in hour angle are within reach, a grid does not fit, the place
        is within 2° of a pole of the Earth, or a number is outside its range.

    Notes
    -----
    Area ∝ σ₁σ₂/|sin ΔH|, sum of squares = (σ₁² + σ₂²)/(Ω sin ΔH)². At each hour angle only the best
    declination can be part of a best pair, so the pairs of columns are all there is to try. The altitude is
    the true one; a mask in apparent altitude is met within the refraction, 2′ at 30°.

    References
    ----------
    Atkinson, A. C., Donev, A. N., Tobias, R. D. (2007), Optimum Experimental Designs, with SAS, chapter 10
    (criteria; recalled). In the tests every pair of the grid is solved.

    Examples
    --------
    >>> pair = best_pair(hour_angles_deg=range(-90, 91, 10), decs_deg=range(-30, 81, 10),
    ...     reachable=lambda altitude_deg, azimuth_deg: altitude_deg > 30, latitude_deg=52.4,
    ...     drift_sigma_arcsec_min=0.1, criterion="area")
    >>> pair.hour_angles_deg.tolist(), round(pair.amplification, 2), round(pair.semi_major_arcmin, 2)
    ([-50.0, 40.0], 1.0, 0.38)
    """
    chosen("criterion", criterion, CRITERIA)
    hours = np.atleast_1d(turned("hour_angles_deg", hour_angles_deg))
    decs = np.atleast_1d(between("decs_deg", decs_deg, -90, 90))
    place = altaz(hour_angle_deg=hours, dec_deg=decs[:, None], latitude_deg=latitude_deg)
    within = _within(reachable, place) & (place.altitude_deg > 0.0)
    sigma = positive("drift_sigma_arcsec_min", drift_sigma_arcsec_min)
    if np.shape(sigma) not in ((), within.shape):
        raise ValueError(
            f"drift_sigma_arcsec_min must be one number or have the grid's shape {within.shape}, received the "
            f"shape {np.shape(sigma)}"
        )
    sigma = np.where(within, sigma, np.inf)
    column = np.arange(hours.size)
    best = np.argmin(np.where(sigma <= sigma.min(axis=0), 90.0 - place.altitude_deg, np.inf), axis=0)
    sigma, altitude = sigma[best, column], place.altitude_deg[best, column]
    first, second = _pair(hours, sigma, altitude, criterion)
    pair = np.array([first, second])
    found = solve_drifts(
        hour_angles_deg=hours[pair],
        drifts_arcsec_min=[0.0, 0.0],
        latitude_deg=latitude_deg,
        drift_sigma_arcsec_min=sigma[pair],
    ).covariance_arcmin2
    return PairChoice(
        hours[pair],
        decs[best[pair]],
        altitude[pair],
        place.azimuth_deg[best[pair], pair],
        float(amplification(first_hour_angle_deg=hours[first], second_hour_angle_deg=hours[second])),
        *error_ellipse(covariance_arcmin2=found, latitude_deg=latitude_deg),
        found,
    )


def _within(reachable, place):
    """The places of the grid that can be seen."""
    if callable(reachable):
        reachable = reachable(altitude_deg=place.altitude_deg, azimuth_deg=place.azimuth_deg)
    within = np.asarray(reachable)
    if within.shape != place.altitude_deg.shape or within.dtype != bool:
        raise ValueError(
            f"reachable must be true or false for each of {place.altitude_deg.shape} declinations and hour "
            f"angles, received {within.dtype} of the shape {within.shape}"
        )
    return within


def _pair(hours, sigma, altitude, criterion):
    """The best two columns, the more easterly one first."""
    turn = np.radians(hours[:, None] - hours)
    apart = np.abs(np.sin(turn)) >= np.sin(np.radians(SMALLEST_SPREAD_DEG))
    usable = apart & np.isfinite(sigma[:, None] + sigma)
    if not usable.any():
        seen = hours[np.isfinite(sigma)]
        words = f"hour angles {seen.min():g} to {seen.max():g} °" if seen.size else "none"
        raise ValueError(
            f"reachable must leave two directions {SMALLEST_SPREAD_DEG:g}° or more apart in hour angle, received "
            f"{words}: wait until other stars come into view, or find the axis from solved pictures"
        )
    quality = sigma[:, None] ** 2, sigma**2
    spread = quality[0] * quality[1] if criterion == "area" else quality[0] + quality[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        badness = np.where(usable, spread / np.sin(turn) ** 2, np.inf)
    equal = badness <= badness.min() * (1.0 + 1e-9)
    lowest = np.round(np.minimum(altitude[:, None], altitude), 6)  # so that rounding decides nothing
    lower = np.where(equal, lowest, -np.inf)
    first, second = np.unravel_index(np.argmax(lower), lower.shape)
    return (first, second) if hours[first] <= hours[second] else (second, first)
