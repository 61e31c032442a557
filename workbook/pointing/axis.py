"""The pole of the sky and a mount's axis beside it: their directions, and the errors of an axis from the pole.

p is the *north* celestial pole, below the horizon in the south, m the end of the axis near it, both unit
vectors east, north, up. Errors are those of the end of the axis that stands above the horizon, in both
hemispheres: the azimuth error is positive to the east, the altitude error positive high.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, number
from workbook.constants import ARCMIN_PER_DEG
from workbook.pointing.places import direction

ARCMIN_PER_RAD = ARCMIN_PER_DEG * 180.0 / np.pi


class AxisOffset(NamedTuple):
    """How far an axis stands from the pole, as the two screws of a mount see it [′]."""

    azimuth_error_arcmin: float | np.ndarray
    altitude_error_arcmin: float | np.ndarray


def pole(*, latitude_deg):
    """The unit vector towards the north celestial pole.

    Parameters
    ----------
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    array
        Unit vectors of shape (…, 3): east, north, up. In the south it points below the horizon.

    Raises
    ------
    ValueError
        If the latitude is beyond ±90°.

    Notes
    -----
    (0, cos φ, sin φ): the altitude of the pole is the latitude. Refraction lifts the seen pole by about an
    arcminute; this is the true one, about which the sky turns.

    References
    ----------
    Derivation: the axis of the Earth stands φ above the level of a place at latitude φ.

    Examples
    --------
    >>> pole(latitude_deg=30).round(3).tolist()
    [0.0, 0.866, 0.5]
    """
    return direction(altitude_deg=between("latitude_deg", latitude_deg, -90, 90), azimuth_deg=0.0)


def axis_direction(*, azimuth_error_arcmin, altitude_error_arcmin, latitude_deg):
    """The unit vector along a misaligned axis, towards its end near the north celestial pole.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east, turned on the mount's base [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    latitude_deg : float or array
        Latitude of the place, south negative [°]. At 0 the end near the north point counts as elevated.

    Returns
    -------
    array
        Unit vectors m of shape (…, 3), east, north, up, with m·p ≥ 0.

    Raises
    ------
    ValueError
        If an error is beyond ±5400′, a quarter turn, or the latitude beyond ±90°.

    Notes
    -----
    The elevated end stands |φ| plus the altitude error high, at the azimuth error in the north and at 180°
    less the azimuth error in the south; there it is turned round to point near the north celestial pole.

    References
    ----------
    Derivation from the signs settled above; the tests turn the same axis with two screws, step by step.

    Examples
    --------
    >>> axis_direction(azimuth_error_arcmin=60, altitude_error_arcmin=0, latitude_deg=-30).round(3).tolist()
    [-0.015, 0.866, -0.5]
    """
    azimuth, altitude, latitude = _errors(azimuth_error_arcmin, altitude_error_arcmin, latitude_deg)
    south = np.less(latitude, 0)
    azimuth = azimuth / ARCMIN_PER_RAD
    altitude = np.radians(np.abs(latitude)) + altitude / ARCMIN_PER_RAD
    azimuth = np.where(south, np.pi - azimuth, azimuth)
    level = np.cos(altitude)  # below zero where an error carries the axis over the zenith
    parts = level * np.sin(azimuth), level * np.cos(azimuth), np.sin(altitude)
    elevated = np.stack(np.broadcast_arrays(*parts), axis=-1)
    along_pole = np.sum(elevated * pole(latitude_deg=latitude), axis=-1, keepdims=True)
    return np.where(along_pole < 0, -elevated, elevated)


def pole_error_arcmin(*, azimuth_error_arcmin, altitude_error_arcmin, latitude_deg):
    """How far the axis stands from the pole: the one number behind the two screws.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    float or array
        Angle between the axis and the celestial pole [′].

    Raises
    ------
    ValueError
        If an error is beyond ±5400′ or the latitude beyond ±90°.

    Notes
    -----
    2 arcsin(|m − p| / 2), the exact angle between the two; for small errors √((ΔA cos φ)² + Δh²). It is not
    the hypotenuse of the two errors, because the circles of azimuth shrink with altitude.

    References
    ----------
    Derivation; reference row POL-08.

    Examples
    --------
    >>> print(round(pole_error_arcmin(azimuth_error_arcmin=10, altitude_error_arcmin=5, latitude_deg=50), 2))
    8.14
    """
    axis = axis_direction(
        azimuth_error_arcmin=azimuth_error_arcmin,
        altitude_error_arcmin=altitude_error_arcmin,
        latitude_deg=latitude_deg,
    )
    off = axis - pole(latitude_deg=latitude_deg)
    return 2.0 * ARCMIN_PER_RAD * np.arcsin(np.linalg.norm(off, axis=-1) / 2.0)


def axis_errors(*, axis, latitude_deg) -> AxisOffset:
    """The errors of an axis from its direction: `axis_direction` backwards.

    Parameters
    ----------
    axis : array
        Vectors of shape (…, 3) along the axis, east, north, up; either end, any length.
    latitude_deg : float or array
        Latitude of the place, south negative [°]. At 0 the end near the north point counts as elevated.

    Returns
    -------
    AxisOffset
        azimuth_error_arcmin, positive to the east, and altitude_error_arcmin, positive high, of the elevated
        end [′].

    Raises
    ------
    ValueError
        If the latitude is beyond ±90° or a vector is none.

    Notes
    -----
    The end with m·p ≥ 0 is taken, turned round in the south, and its azimuth is counted from the elevated
    pole. At a pole of the Earth the azimuth says only which way the axis leans.

    References
    ----------
    Derivation; in the tests the same axis is turned by two screws, step by step.

    Examples
    --------
    >>> found = axis_errors(axis=[-0.015, 0.866, -0.5], latitude_deg=-30)
    >>> print(round(found.azimuth_error_arcmin), round(found.altitude_error_arcmin))
    60 0
    """
    axis = number("axis", axis)
    if np.ndim(axis) < 1 or np.shape(axis)[-1] != 3 or not np.all(np.linalg.norm(axis, axis=-1) != 0):
        raise ValueError(f"axis must be vectors east, north, up, received {axis!r}")
    latitude = between("latitude_deg", latitude_deg, -90, 90, cure="is this the longitude?")
    side = np.where(np.less(latitude, 0), -1.0, 1.0)
    along_pole = np.sum(axis * pole(latitude_deg=latitude), axis=-1)
    end = side * np.where(along_pole < 0, -1.0, 1.0)  # of the two, the elevated one
    east, north, up = (end * axis[..., part] for part in range(3))
    azimuth = np.arctan2(east, side * north)
    altitude = np.arctan2(up, np.hypot(east, north)) - np.radians(np.abs(latitude))
    return AxisOffset(azimuth * ARCMIN_PER_RAD, altitude * ARCMIN_PER_RAD)


def _errors(azimuth_error_arcmin, altitude_error_arcmin, latitude_deg):
    cure = "a quarter turn is 5400′; any axis at all is the business of rotation"
    return (
        between("azimuth_error_arcmin", azimuth_error_arcmin, -5400, 5400, cure=cure),
        between("altitude_error_arcmin", altitude_error_arcmin, -5400, 5400, cure=cure),
        between("latitude_deg", latitude_deg, -90, 90, cure="is this the longitude?"),
    )
