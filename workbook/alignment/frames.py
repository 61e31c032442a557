"""The axis of a mount from three or more solved pictures, taken while it turns about that axis.

While the primary axis turns and the other is clamped, the middle of the picture runs along a circle about the
axis. In the local frame, which stands with the ground, these middles lie in a plane, and the axis is square
to it. No drift is timed and no pole is seen; the wider the turn, the better.
"""

from __future__ import annotations

import warnings
from typing import NamedTuple

import numpy as np

from workbook.checks import between, number, positive
from workbook.constants import ARCSEC_PER_RAD
from workbook.pointing import altaz, axis_errors, direction, pole

WIDE_ENOUGH_DEG = 30.0
NARROWEST_DEG = 1.0
LEAST_SPREAD_SIGMAS = 100.0


class AxisFit(NamedTuple):
    """An axis found from solved pictures.

    azimuth_error_arcmin and altitude_error_arcmin of the elevated end [′]; covariance_arcmin2 from the
    bootstrap, azimuth first [′²]; span_deg, the turn about the axis that the pictures cover [°]; radius_deg,
    from the axis to the pictures [°]; residual_arcsec, how far the pictures lie off the circle, r.m.s. [″].
    """

    azimuth_error_arcmin: float
    altitude_error_arcmin: float
    covariance_arcmin2: np.ndarray
    span_deg: float
    radius_deg: float
    residual_arcsec: float


def frame_directions(*, ra_deg, dec_deg, sidereal_time_deg, latitude_deg):
    """Where the middles of solved pictures stood over the ground.

    Parameters
    ----------
    ra_deg : float or array
        Right ascension of the middle, of the date [°]: a solution in the coordinates of a catalogue (J2000)
        is 0.3° off by now, so take it to the date first.
    dec_deg : float or array
        Declination of the middle, of the date [°].
    sidereal_time_deg : float or array
        Local sidereal time of the middle of the exposure [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    array
        Unit vectors of shape (…, 3): east, north, up.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    Hour angle = sidereal time − right ascension, then altitude and azimuth. Refraction is left out; it lifts
    low pictures, by 1′ at 45°, and pulls the axis with them.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., chapter 13; ERFA's hd2ae in the tests.

    Examples
    --------
    >>> frame_directions(ra_deg=80, dec_deg=20, sidereal_time_deg=35, latitude_deg=50).round(3).tolist()
    [0.664, -0.289, 0.689]
    """
    hour = between("sidereal_time_deg", sidereal_time_deg, -3600, 3600) - between("ra_deg", ra_deg, -360, 720)
    return direction(**altaz(hour_angle_deg=hour, dec_deg=dec_deg, latitude_deg=latitude_deg)._asdict())


def fit_axis(*, directions, latitude_deg, position_sigma_arcsec, draws, seed) -> AxisFit:
    """The axis from the directions of three or more pictures taken while the mount turned about it.

    Parameters
    ----------
    directions : array
        Unit vectors of shape (n, 3) towards the middles of the pictures, east, north, up, in any order; n is
        3 or more.
    latitude_deg : float
        Latitude of the place, south negative [°].
    position_sigma_arcsec : float
        Standard deviation of a middle, each way: the solution, and the play of the mount [″].
    draws : int
        Repeats of the bootstrap, 20 to 20,000; 400 know a standard deviation within 4 %.
    seed : int
        Of the random numbers of the bootstrap.

    Returns
    -------
    AxisFit
        Errors and their covariance, span, radius and residual.

    Raises
    ------
    ValueError
        If there are fewer than three pictures, they cover less than 1° of turn or lie within 100 sigma, a
        vector has not length one, or a number is outside its range.

    Warns
    -----
    UserWarning
        Where the pictures cover less than 30° of turn: then small errors of the solution tilt the plane a lot.

    Notes
    -----
    The normal of the plane of least squares through the end points of the vectors (smallest singular vector).
    Bootstrap: the fit is repeated with each picture moved at random on the sky, by position_sigma_arcsec or by
    what the residuals show (n − 3 degrees of freedom), whichever is larger. Three pictures leave no residual,
    so there the given sigma alone counts.

    References
    ----------
    Efron, B., Tibshirani, R. (1993), An Introduction to the Bootstrap, chapter 6, parametric form (recalled);
    in the tests a mount turned by Rodrigues' formula, and the scatter of many simulated nights.

    Examples
    --------
    >>> turns = np.radians([-40, 0, 40])
    >>> views = np.stack([np.cos(turns), np.full(3, 0.0), np.sin(turns)], axis=-1)
    >>> found = fit_axis(directions=views, latitude_deg=0, position_sigma_arcsec=2, draws=100, seed=1)
    >>> print(round(found.azimuth_error_arcmin, 3) + 0.0, round(found.span_deg, 1), round(found.radius_deg))
    0.0 80.0 90
    """
    views = _checked(directions)
    sigma = positive("position_sigma_arcsec", position_sigma_arcsec) / ARCSEC_PER_RAD
    draws = int(between("draws", draws, 20, 20_000))
    north = pole(latitude_deg=latitude_deg)
    axis, height, off = _plane(views, north)
    span = _span_deg(views, axis)
    widest = 2.0 * np.linalg.norm(views - views.mean(axis=0), axis=-1).max()
    if span < NARROWEST_DEG or widest < LEAST_SPREAD_SIGMAS * sigma:
        raise ValueError(
            f"directions must cover {NARROWEST_DEG:g}° of turn or more and lie well apart, received {span:.2g} ° "
            f"and {widest * ARCSEC_PER_RAD:.2g} ″ apart: turn the mount about its primary axis between the pictures"
        )
    if span < WIDE_ENOUGH_DEG:
        warnings.warn(
            f"the pictures cover {span:.0f}° of turn, less than {WIDE_ENOUGH_DEG:g}°: the axis is poorly known; "
            "turn the mount farther",
            stacklevel=2,
        )
    radius = np.sqrt(1.0 - height**2)  # a step along the sky lifts a view by so much off the plane
    residual = np.sqrt(np.mean(off**2)) / radius
    if len(views) > 3:
        sigma = max(sigma, residual * np.sqrt(len(views) / (len(views) - 3)))
    shaken = views + sigma * np.random.default_rng(seed).standard_normal((draws, *views.shape))
    shaken /= np.linalg.norm(shaken, axis=-1, keepdims=True)
    repeats = axis_errors(axis=_plane(shaken, north)[0], latitude_deg=latitude_deg)
    found = axis_errors(axis=axis, latitude_deg=latitude_deg)
    return AxisFit(
        float(found.azimuth_error_arcmin),
        float(found.altitude_error_arcmin),
        np.cov(np.stack(repeats)),
        float(span),
        float(np.degrees(np.arccos(height))),
        float(residual * ARCSEC_PER_RAD),
    )


def _checked(directions):
    views = number("directions", directions)
    shape = np.shape(views)
    if len(shape) != 2 or shape[1] != 3 or shape[0] < 3:
        raise ValueError(
            "directions must be three or more vectors east, north, up, received the shape "
            f"{shape}: two pictures leave the circle undecided, take a third"
        )
    length = np.linalg.norm(views, axis=-1)
    if not (np.abs(length - 1.0) < 1e-6).all():
        raise ValueError(f"directions must be vectors of length 1, received lengths {length}")
    return views / length[:, None]


def _plane(views, north):
    """The normal with m·p ≥ 0, the plane's height along it, and how far each view lies off the plane."""
    middle = views.mean(axis=-2, keepdims=True)
    spread = views - middle
    _, vectors = np.linalg.eigh(np.swapaxes(spread, -1, -2) @ spread)
    axis = vectors[..., :, 0]
    axis = np.where(np.sum(axis * north, axis=-1, keepdims=True) < 0, -axis, axis)
    off = np.sum(spread * axis[..., None, :], axis=-1)
    return axis, np.sum(middle[..., 0, :] * axis, axis=-1), off


def _span_deg(views, axis):
    """The turn about the axis that holds all views: a whole turn less the widest gap [°]."""
    first = views[0] - (views[0] @ axis) * axis
    if np.linalg.norm(first) < 1e-9:
        return 0.0
    first /= np.linalg.norm(first)
    angle = np.sort(np.degrees(np.arctan2(views @ np.cross(axis, first), views @ first)))
    return 360.0 - np.max(np.diff(np.append(angle, angle[0] + 360.0)))
