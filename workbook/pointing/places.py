"""Where a star stands: hour angle and declination to altitude and azimuth and back, q, and unit vectors.

Azimuth runs from north through east, the hour angle grows to the west, q is the parallactic angle. Vectors
are in the right-handed local frame east, north, up. All altitudes are true ones, without refraction.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, turned

# Nearer to an axis or to the zenith than this the angle about it has no meaning: 0.02 milliarcseconds, far
# below any mount and far above the rounding of the arithmetic.
ON_AXIS_RAD = 1e-10


class Horizontal(NamedTuple):
    """A place in the sky as the ground sees it [°]."""

    altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray


class Equatorial(NamedTuple):
    """A place in the sky as the turning Earth sees it [°]."""

    hour_angle_deg: float | np.ndarray
    dec_deg: float | np.ndarray


def altaz(*, hour_angle_deg, dec_deg, latitude_deg):
    """Altitude and azimuth of a star.

    Parameters
    ----------
    hour_angle_deg : float or array
        Hour angle, positive west of the meridian [°].
    dec_deg : float or array
        Declination [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    Horizontal
        altitude_deg [°], and azimuth_deg from north through east, 0 to 360 [°]. In the zenith and the nadir,
        where no azimuth exists, it is 0.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    The star's unit vector is turned from the equator to the horizon and its angles are taken with atan2, so
    that nothing is lost near the zenith. Refraction, polar motion and the height of the observer are ignored.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., eqs. 13.5 and 13.6 (there the azimuth counts from the
    south); ERFA routine hd2ae. Reference rows AST-06 and AST-07.

    Examples
    --------
    >>> star = altaz(hour_angle_deg=-45, dec_deg=20, latitude_deg=50)
    >>> print(round(star.altitude_deg, 2), round(star.azimuth_deg, 2))
    43.56 113.52
    """
    hour, dec, latitude = _equatorial_rad(hour_angle_deg, dec_deg, latitude_deg)
    east = -np.cos(dec) * np.sin(hour)
    north = np.sin(dec) * np.cos(latitude) - np.cos(dec) * np.cos(hour) * np.sin(latitude)
    up = np.sin(dec) * np.sin(latitude) + np.cos(dec) * np.cos(hour) * np.cos(latitude)
    level = np.hypot(east, north)
    azimuth = np.where(level < ON_AXIS_RAD, 0.0, np.degrees(np.arctan2(east, north)) % 360.0 % 360.0)
    return Horizontal(np.degrees(np.arctan2(up, level)), azimuth[()])


def hour_angle_dec(*, altitude_deg, azimuth_deg, latitude_deg):
    """Hour angle and declination of a star seen at an altitude and azimuth: `altaz` backwards.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude [°].
    azimuth_deg : float or array
        Azimuth from north through east [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    Equatorial
        hour_angle_deg, −180 to 180, positive west [°], and dec_deg [°].

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    tan H = −cos a sin A / (sin a cos φ − cos a cos A sin φ); sin δ = sin a sin φ + cos a cos A cos φ, taken
    with atan2. At the pole itself the hour angle has no meaning. Refraction is ignored.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., chapter 13; ERFA routine ae2hd. Reference row AST-07.

    Examples
    --------
    >>> star = hour_angle_dec(altitude_deg=43.56, azimuth_deg=113.52, latitude_deg=50)
    >>> print(round(star.hour_angle_deg, 1), round(star.dec_deg, 1))
    -45.0 20.0
    """
    latitude = np.radians(_latitude(latitude_deg))
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    east, north, up = star[..., 0], star[..., 1], star[..., 2]
    west = -east
    meridian = up * np.cos(latitude) - north * np.sin(latitude)
    along_pole = up * np.sin(latitude) + north * np.cos(latitude)
    dec = np.arctan2(along_pole, np.hypot(west, meridian))
    return Equatorial(np.degrees(np.arctan2(west, meridian)), np.degrees(dec))


def parallactic_angle_deg(*, hour_angle_deg, dec_deg, latitude_deg):
    """The parallactic angle q: how far the zenith stands from north, at the star, counted through east.

    Parameters
    ----------
    hour_angle_deg : float or array
        Hour angle, positive west of the meridian [°].
    dec_deg : float or array
        Declination [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].

    Returns
    -------
    float or array
        q, −180 to 180, positive west of the meridian [°]. NaN where the star stands in the zenith or nadir.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    q = atan2(cos φ sin H, sin φ cos δ − cos φ sin δ cos H). A picture taken on an alt-az mount is turned by q
    against the sky, so q growing is the field turning on the sensor. The plain arctangent of Meeus loses the
    quadrant for a star between zenith and pole.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., eq. 14.1; ERFA routine hd2pa. Reference rows AST-07c
    and ALT-09.

    Examples
    --------
    >>> print(round(parallactic_angle_deg(hour_angle_deg=45, dec_deg=20, latitude_deg=50), 2))
    38.85
    """
    hour, dec, latitude = _equatorial_rad(hour_angle_deg, dec_deg, latitude_deg)
    side = np.cos(latitude) * np.sin(hour)
    along = np.sin(latitude) * np.cos(dec) - np.cos(latitude) * np.sin(dec) * np.cos(hour)
    return np.where(np.hypot(side, along) < ON_AXIS_RAD, np.nan, np.degrees(np.arctan2(side, along)))[()]


def direction(*, altitude_deg, azimuth_deg):
    """The unit vector towards a place in the sky.

    Parameters
    ----------
    altitude_deg : float or array
        Altitude [°].
    azimuth_deg : float or array
        Azimuth from north through east [°].

    Returns
    -------
    array
        Unit vectors of shape (…, 3): east, north, up.

    Raises
    ------
    ValueError
        If the altitude is beyond ±90° or the azimuth beyond ±360°.

    Notes
    -----
    (cos a sin A, cos a cos A, sin a). East, north, up is a right-handed frame, so `np.cross` turns the right
    way; in north, east, up it would not.

    References
    ----------
    Derivation: two projections, first on the horizon, then on its east and north lines.

    Examples
    --------
    >>> direction(altitude_deg=30, azimuth_deg=90).round(3).tolist()
    [0.866, 0.0, 0.5]
    """
    altitude = np.radians(between("altitude_deg", altitude_deg, -90, 90))
    azimuth = np.radians(between("azimuth_deg", azimuth_deg, -360, 360, cure="one turn is 360°"))
    level = np.cos(altitude)
    parts = level * np.sin(azimuth), level * np.cos(azimuth), np.sin(altitude)
    return np.stack(np.broadcast_arrays(*parts), axis=-1)


def _equatorial_rad(hour_angle_deg, dec_deg, latitude_deg):
    hour = turned("hour_angle_deg", hour_angle_deg)
    dec = between("dec_deg", dec_deg, -90, 90, cure="is this the right ascension?")
    return np.radians(hour), np.radians(dec), np.radians(_latitude(latitude_deg))


def _latitude(latitude_deg):
    return between("latitude_deg", latitude_deg, -90, 90, cure="is this the longitude?")
