"""What a go-to start makes of a wrong clock, zone or place, and how the camera lies on the sky.

A go-to turns right ascension into an hour angle with the clock, the zone and the longitude that somebody
typed: hour angle = sidereal time − right ascension. One hour of clock is 15° on the sky.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, number
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.pointing.axis import pole
from workbook.pointing.places import ON_AXIS_RAD, altaz, direction

SIDEREAL_RATE_DEG_H = SIDEREAL_RATE_ARCSEC_S  # an arcsecond a second is a degree an hour


class StartError(NamedTuple):
    """Where a go-to that was told something wrong points instead [°].

    hour_angle_error_deg, positive too far west; altitude_error_deg, positive too high; azimuth_error_deg,
    positive too far clockwise; separation_deg, the angle between the star and the middle of the field.
    """

    hour_angle_error_deg: float | np.ndarray
    altitude_error_deg: float | np.ndarray
    azimuth_error_deg: float | np.ndarray
    separation_deg: float | np.ndarray


def hour_angle_error_deg(*, clock_error_s, zone_error_h, longitude_error_deg):
    """By how much a go-to sends the telescope too far west, from errors of clock, zone and longitude.

    Parameters
    ----------
    clock_error_s : float or array
        Clock fast, positive [s].
    zone_error_h : float or array
        Time zone entered too far east, positive: summer time ticked where there is none is +1 [h].
    longitude_error_deg : float or array
        Longitude entered too far east, positive [°]. Entered with the wrong sign it is −2 × the longitude.

    Returns
    -------
    float or array
        Error of the hour angle, positive west, not brought within one turn [°].

    Raises
    ------
    ValueError
        If a clock is off by more than 10 days, a zone by more than 26 h or a longitude by more than 360°.

    Notes
    -----
    Δ = 15.041 °/h (clock − zone) + longitude. A zone too far east takes an hour too many from the clock, so
    the universal time is too early and the telescope stops too far east. A whole day of clock is 0.986°.

    References
    ----------
    Definition of the local sidereal time; ERFA's sidereal time in the tests.

    Examples
    --------
    >>> print(round(hour_angle_error_deg(clock_error_s=0, zone_error_h=1, longitude_error_deg=0), 2))
    -15.04
    """
    clock = between("clock_error_s", clock_error_s, -864_000, 864_000)
    zone = between("zone_error_h", zone_error_h, -26, 26, cure="hours, not minutes")
    longitude = between("longitude_error_deg", longitude_error_deg, -360, 360)
    return SIDEREAL_RATE_DEG_H * (clock / 3600.0 - zone) + longitude


def start_error(
    *,
    clock_error_s,
    zone_error_h,
    longitude_error_deg,
    latitude_error_deg,
    hour_angle_deg,
    dec_deg,
    latitude_deg,
) -> StartError:
    """Where a go-to head that was set up well, but told something wrong, points instead of at a star.

    Parameters
    ----------
    clock_error_s : float or array
        Clock fast, positive [s].
    zone_error_h : float or array
        Time zone entered too far east, positive [h].
    longitude_error_deg : float or array
        Longitude entered too far east, positive [°].
    latitude_error_deg : float or array
        Latitude entered too far north, positive [°].
    hour_angle_deg : float or array
        True hour angle of the star, positive west [°].
    dec_deg : float or array
        Its declination [°].
    latitude_deg : float or array
        True latitude of the place, south negative [°].

    Returns
    -------
    StartError
        hour_angle_error_deg, altitude_error_deg, azimuth_error_deg and separation_deg [°]; the azimuth error
        within ±180.

    Raises
    ------
    ValueError
        If a number is outside its range, or the latitude as entered beyond ±90°.

    Notes
    -----
    The altitude and azimuth that the head works out from what it was told, less the true ones. A start on one
    star takes the offset away there; for an equatorial mount that removes the error of the hour angle
    everywhere, for an alt-az head it does not (`left_after_centring_deg`).

    References
    ----------
    Derivation from `altaz`; ERFA's sidereal time and hd2ae in the tests.

    Examples
    --------
    >>> off = start_error(clock_error_s=3600, zone_error_h=0, longitude_error_deg=0, latitude_error_deg=0,
    ...                   hour_angle_deg=-20, dec_deg=10, latitude_deg=52.4)
    >>> print(round(off.separation_deg, 1), round(off.azimuth_error_deg, 1))
    14.8 21.0
    """
    late = hour_angle_error_deg(
        clock_error_s=clock_error_s, zone_error_h=zone_error_h, longitude_error_deg=longitude_error_deg
    )
    true = altaz(hour_angle_deg=hour_angle_deg, dec_deg=dec_deg, latitude_deg=latitude_deg)
    told = _told(late, latitude_error_deg, hour_angle_deg, dec_deg, latitude_deg)
    across = _within_half_a_turn(told.azimuth_deg - true.azimuth_deg)
    return StartError(
        late + 0.0 * across, told.altitude_deg - true.altitude_deg, across, _separation_deg(true, told)
    )


def left_after_centring_deg(
    *,
    hour_angle_error_deg,
    latitude_error_deg,
    hour_angle_deg,
    dec_deg,
    centred_hour_angle_deg,
    centred_dec_deg,
    latitude_deg,
):
    """How far off an alt-az head still points after one star was centred (or one picture solved) elsewhere.

    Parameters
    ----------
    hour_angle_error_deg : float or array
        Error of the hour angle from clock, zone and longitude, positive west [°].
    latitude_error_deg : float or array
        Latitude entered too far north, positive [°].
    hour_angle_deg : float or array
        Hour angle of the target, positive west [°].
    dec_deg : float or array
        Declination of the target [°].
    centred_hour_angle_deg : float or array
        Hour angle of the star that was centred [°].
    centred_dec_deg : float or array
        Declination of the star that was centred [°].
    latitude_deg : float or array
        True latitude of the place, south negative [°].

    Returns
    -------
    float or array
        Angle between target and middle of the field [°].

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    Centring shifts altitude and azimuth by the two offsets at the centred star. Close to it little is left,
    far away the error of the clock comes back: solve and centre again near the target, or mend the clock.

    References
    ----------
    Derivation from `altaz`; in the tests the shifted places by ERFA.

    Examples
    --------
    >>> print(round(left_after_centring_deg(hour_angle_error_deg=15, latitude_error_deg=0, hour_angle_deg=-20,
    ...     dec_deg=10, centred_hour_angle_deg=30, centred_dec_deg=40, latitude_deg=52.4), 1))
    12.3
    """
    late = between("hour_angle_error_deg", hour_angle_error_deg, -3600, 3600)
    star = altaz(hour_angle_deg=centred_hour_angle_deg, dec_deg=centred_dec_deg, latitude_deg=latitude_deg)
    told_star = _told(late, latitude_error_deg, centred_hour_angle_deg, centred_dec_deg, latitude_deg)
    true = altaz(hour_angle_deg=hour_angle_deg, dec_deg=dec_deg, latitude_deg=latitude_deg)
    told = _told(late, latitude_error_deg, hour_angle_deg, dec_deg, latitude_deg)
    altitude = told.altitude_deg - (told_star.altitude_deg - star.altitude_deg)
    azimuth = told.azimuth_deg - (told_star.azimuth_deg - star.azimuth_deg)
    over = np.abs(altitude) > 90.0  # the head would have to pass over the top
    altitude = np.where(over, np.sign(altitude) * 180.0 - altitude, altitude)
    azimuth = _within_half_a_turn(np.where(over, azimuth + 180.0, azimuth))
    return _separation_deg(true, type(true)(altitude, azimuth))


def framing_angle_deg(
    *,
    altitude_deg,
    azimuth_deg,
    latitude_deg,
    camera_angle_deg,
    axis_altitude_deg=90.0,
    axis_azimuth_deg=0.0,
):
    """How the camera lies on the sky: the position angle of the upper edge of its picture.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude of the middle of the field [°].
    azimuth_deg : float or array
        Its azimuth from north through east [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    camera_angle_deg : float or array
        Turn of the camera in its holder, from "upper edge towards the primary axis", counter-clockwise in the
        picture as the sky is seen [°].
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Position angle, from north through east, 0 to 360 [°]. NaN where the star stands on the axis or at a
        pole.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    The bearing of the axis at the star, atan2(m·E, m·N), plus the camera's turn. For an alt-az mount the
    bearing is the parallactic angle and changes through the night; with the axis on the pole it stays at 0,
    in the south at 180. To frame at an angle P turn the camera to P less the result for camera_angle_deg=0.

    References
    ----------
    Derivation; reference row ALT-09 for an upright axis.

    Examples
    --------
    >>> place = altaz(hour_angle_deg=45, dec_deg=20, latitude_deg=50)
    >>> print(round(framing_angle_deg(**place._asdict(), latitude_deg=50, camera_angle_deg=10), 2))
    48.85
    """
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis = direction(
        altitude_deg=between("axis_altitude_deg", axis_altitude_deg, -90, 90),
        azimuth_deg=between("axis_azimuth_deg", axis_azimuth_deg, -360, 360),
    )
    camera = number("camera_angle_deg", camera_angle_deg)
    east = np.cross(pole(latitude_deg=latitude_deg), star)
    north = np.cross(star, east)  # as long as east, cos δ
    side, along = np.sum(axis * east, axis=-1), np.sum(axis * north, axis=-1)
    short = (np.hypot(side, along) < ON_AXIS_RAD) | (np.linalg.norm(east, axis=-1) < ON_AXIS_RAD)
    bearing = np.degrees(np.arctan2(side, along))
    return np.where(short, np.nan, (bearing + camera) % 360.0 % 360.0)[()]


def _told(late_deg, latitude_error_deg, hour_angle_deg, dec_deg, latitude_deg):
    """Altitude and azimuth as a head works them out that was told a wrong time or place."""
    error = between("latitude_error_deg", latitude_error_deg, -180, 180)
    return altaz(
        hour_angle_deg=number("hour_angle_deg", hour_angle_deg) + late_deg,
        dec_deg=dec_deg,
        latitude_deg=number("latitude_deg", latitude_deg) + error,
    )


def _within_half_a_turn(angle_deg):
    return (angle_deg + 180.0) % 360.0 - 180.0


def _separation_deg(one, other):
    """The angle between two places, by half of the chord: exact for small angles too."""
    chord = np.linalg.norm(direction(**one._asdict()) - direction(**other._asdict()), axis=-1)
    return np.degrees(2.0 * np.arcsin(np.minimum(chord / 2.0, 1.0)))
