"""How the field turns on the sensor, for a mount whose primary axis points anywhere.

An axis at the zenith is an alt-az head, at the pole an equatorial mount, in between a tilted wedge. The sky
turns at −Ω p, p the north celestial pole. A mount that follows a star s on both axes keeps the great circle
from the star to its primary axis m upright in the picture, so the field spins at −Ω (p·n)/(s·n), with n the
unit vector in the plane of m and s perpendicular to m, towards s. A drive about a misaligned axis alone
spins the field at Ω (m − p)·s.

Spin is positive right-handed about the outward line of sight: when the parallactic angle grows, clockwise on
the sky as seen from inside. Enter the end of the axis that stands above the horizon.
"""

from __future__ import annotations

import numpy as np

from workbook.alignment import axis_direction, pole
from workbook.checks import between, not_negative, number, positive, turned
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import ON_AXIS_RAD, direction, hour_angle_dec

SIDEREAL_RATE_DEG_H = SIDEREAL_RATE_ARCSEC_S  # an arcsecond a second is a degree an hour
RAD_S_PER_DEG_H = np.pi / 180.0 / 3600.0


def rotation_rate_deg_h(
    *, altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg=90.0, axis_azimuth_deg=0.0
):
    """How fast the field turns on the sensor while a two-axis mount follows, or guides on, a star.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude of the star; guided, of the guide star, about which the field turns [°].
    azimuth_deg : float or array
        Its azimuth from north through east [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Rate of the field rotation [°/h]; NaN where the star stands on the axis.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    −Ω (p·n)/(s·n). Both ends of an axis give the same rate, so the elevated end serves in the south too. For
    an upright axis it is −Ω cos φ cos A / cos a = dq/dt: none due east and west, without bound near the
    zenith. With the axis on the pole it is zero. Refraction is ignored.

    References
    ----------
    Derivation above; for alt-az the time derivative of Meeus, J. (1998), Astronomical Algorithms, 2nd ed.,
    eq. 14.1. Reference rows ALT-01, ALT-10 and POL-11.

    Examples
    --------
    >>> print(round(rotation_rate_deg_h(altitude_deg=40, azimuth_deg=135, latitude_deg=50), 2))
    8.92
    """
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis = _axis(axis_altitude_deg, axis_azimuth_deg)
    along_n = star - np.sum(star * axis, axis=-1, keepdims=True) * axis  # n times its length, s·n
    square = np.sum(along_n**2, axis=-1)
    pole_part = np.sum(pole(latitude_deg=latitude_deg) * along_n, axis=-1)
    square = np.where(square < ON_AXIS_RAD**2, np.nan, square)
    return -SIDEREAL_RATE_DEG_H * pole_part / square


def rotation_deg(
    *,
    dec_deg,
    latitude_deg,
    start_hour_angle_deg,
    end_hour_angle_deg,
    axis_altitude_deg=90.0,
    axis_azimuth_deg=0.0,
):
    """By how much the field turns on the sensor between two hour angles of a star.

    Parameters
    ----------
    dec_deg : float or array
        Declination of the star [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    start_hour_angle_deg : float or array
        Hour angle at the start, positive west [°].
    end_hour_angle_deg : float or array
        Hour angle at the end [°]. A path past 180° goes on counting: 170 to 190, not to −170.
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Signed integral of the rotation rate; it may pass 180° [°].

    Raises
    ------
    ValueError
        If an angle is outside its range, or the star passes through the axis, where the field jumps.

    Notes
    -----
    The mount is an alt-az mount of another place: one whose zenith is the axis. There the angle at the star
    between axis and pole is q = atan2(x, y) with x = cos δm sin H, y = sin δm cos δ − cos δm sin δ cos H,
    where δm is the axis' declination and H counts from the axis' hour circle. In each half turn of H the
    sign of x stays, so q is followed there without doubt, and whole half turns add up: the result is exact.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., eq. 14.1, unwrapped; in the tests the integral of the
    rate by adaptive quadrature.

    Examples
    --------
    >>> print(round(rotation_deg(dec_deg=20, latitude_deg=50, start_hour_angle_deg=-45,
    ...                          end_hour_angle_deg=45), 2))
    77.69
    """
    dec = np.radians(between("dec_deg", dec_deg, -90, 90, cure="is this the right ascension?"))
    start = turned("start_hour_angle_deg", start_hour_angle_deg)
    end = turned("end_hour_angle_deg", end_hour_angle_deg)
    axis = hour_angle_dec(
        altitude_deg=between("axis_altitude_deg", axis_altitude_deg, -90, 90),
        azimuth_deg=between("axis_azimuth_deg", axis_azimuth_deg, -360, 360),
        latitude_deg=latitude_deg,
    )
    axis_dec = np.radians(axis.dec_deg)
    first, last = start - axis.hour_angle_deg, end - axis.hour_angle_deg
    _refuse_the_axis(first, last, dec, axis_dec)
    return _turned(last, dec, axis_dec) - _turned(first, dec, axis_dec)


def spin_one_axis_deg_h(
    *, altitude_deg, azimuth_deg, latitude_deg, azimuth_error_arcmin, altitude_error_arcmin
):
    """How fast the field spins while a drive turns about a misaligned axis only, nothing else correcting.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude of the middle of the field [°].
    azimuth_deg : float or array
        Its azimuth from north through east [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    azimuth_error_arcmin : float or array
        Error of the axis in azimuth, of its elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error of the axis in altitude, of its elevated end, positive high [′].

    Returns
    -------
    float or array
        Rate of the spin about the middle of the field [°/h].

    Raises
    ------
    ValueError
        If an angle or an error is outside its range.

    Notes
    -----
    Ω (m − p)·s. The star also drifts through the frame (`alignment.drift_arcsec_min`); once that is guided
    away the field turns about the guide star at the two-axis rate instead.

    References
    ----------
    Derivation above; a rigid-body simulation in the tests.

    Examples
    --------
    >>> print(round(spin_one_axis_deg_h(altitude_deg=60, azimuth_deg=90, latitude_deg=50,
    ...                                 azimuth_error_arcmin=60, altitude_error_arcmin=0), 3))
    0.084
    """
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis = axis_direction(
        azimuth_error_arcmin=azimuth_error_arcmin,
        altitude_error_arcmin=altitude_error_arcmin,
        latitude_deg=latitude_deg,
    )
    return SIDEREAL_RATE_DEG_H * np.sum((axis - pole(latitude_deg=latitude_deg)) * star, axis=-1)


def corner_smear_px(*, rate_deg_h, sub_s, radius_px):
    """How far a star far from the middle of rotation is smeared in one exposure.

    Parameters
    ----------
    rate_deg_h : float or array
        Rate of the field rotation, of either sign [°/h].
    sub_s : float or array
        Length of the exposure [s].
    radius_px : float or array
        Distance from the middle of rotation: the guide star, or half the diagonal [px].

    Returns
    -------
    float or array
        Length of the arc [px].

    Raises
    ------
    ValueError
        If a length is negative.

    Notes
    -----
    |rate| × time × radius. Only pixels count, not the focal length. The rate is taken as steady over the sub.

    References
    ----------
    Arc of a circle; reference row ALT-04.

    Examples
    --------
    >>> print(round(corner_smear_px(rate_deg_h=9, sub_s=10, radius_px=2441), 2))
    1.07
    """
    rate = np.abs(number("rate_deg_h", rate_deg_h)) * RAD_S_PER_DEG_H
    return rate * not_negative("sub_s", sub_s) * not_negative("radius_px", radius_px)


def longest_sub_s(*, rate_deg_h, radius_px, tolerance_px):
    """The exposure in which the smear of field rotation grows to the tolerance.

    Parameters
    ----------
    rate_deg_h : float or array
        Rate of the field rotation, of either sign [°/h].
    radius_px : float or array
        Distance from the middle of rotation: the guide star, or half the diagonal [px].
    tolerance_px : float or array
        Smear that is still accepted [px].

    Returns
    -------
    float or array
        Exposure [s]; infinite where nothing turns.

    Raises
    ------
    ValueError
        If the radius is negative or the tolerance not above zero.

    Notes
    -----
    `corner_smear_px` solved for the time.

    References
    ----------
    Arc of a circle; reference row ALT-05.

    Examples
    --------
    >>> print(round(longest_sub_s(rate_deg_h=9, radius_px=2441, tolerance_px=1.5), 1))
    14.1
    """
    speed_px_s = corner_smear_px(rate_deg_h=rate_deg_h, sub_s=1.0, radius_px=radius_px)
    tolerance = positive("tolerance_px", tolerance_px)
    return np.where(
        speed_px_s == 0, np.inf * tolerance, tolerance / np.where(speed_px_s == 0, 1, speed_px_s)
    )[()]


def _axis(axis_altitude_deg, axis_azimuth_deg):
    return direction(
        altitude_deg=between("axis_altitude_deg", axis_altitude_deg, -90, 90),
        azimuth_deg=between("axis_azimuth_deg", axis_azimuth_deg, -360, 360, cure="one turn is 360°"),
    )


def _turned(hour_deg, dec, axis_dec):
    """q followed without a jump from the axis' hour circle (H = 0) to `hour_deg` [°]."""
    turns = np.floor(hour_deg / 180.0)
    odd = turns % 2 == 1
    rest = hour_deg - 180.0 * turns
    rest = np.radians(
        np.where(odd, 180.0 - rest, rest)
    )  # an odd half turn runs the even one backwards, mirrored
    x = np.cos(axis_dec) * np.sin(rest)
    y = np.sin(axis_dec) * np.cos(dec) - np.cos(axis_dec) * np.sin(dec) * np.cos(rest)
    q = np.degrees(np.arctan2(np.abs(x), y))
    q_at_0 = np.where(np.sin(axis_dec - dec) > 0, 0.0, 180.0)
    q_at_180 = np.where(np.sin(axis_dec + dec) > 0, 0.0, 180.0)
    return turns * (q_at_180 - q_at_0) + np.where(odd, q_at_180 - q, q - q_at_0)


def _refuse_the_axis(first, last, dec, axis_dec):
    """ValueError where the path from `first` to `last`, hour angles from the axis [°], meets an end of it."""
    low, high = np.minimum(first, last), np.maximum(first, last)
    slack = np.degrees(ON_AXIS_RAD)
    meets_upper = np.floor((high + slack) / 360.0) > np.floor(
        (low - slack) / 360.0
    )  # a multiple of 360° inside
    meets_lower = np.floor((high + slack + 180.0) / 360.0) > np.floor((low - slack + 180.0) / 360.0)
    through = meets_upper & (np.abs(dec - axis_dec) < ON_AXIS_RAD)
    through |= meets_lower & (np.abs(dec + axis_dec) < ON_AXIS_RAD)
    at_both_poles = (np.cos(dec) < ON_AXIS_RAD) & (np.cos(axis_dec) < ON_AXIS_RAD)
    through |= at_both_poles
    if np.any(through):
        where, _ = np.broadcast_arrays(np.degrees(dec), through)
        raise ValueError(
            f"dec_deg must not lead the star through the mount's axis, received {where[through][0]:g} °: "
            "there the field jumps; start after it or end before it, or turn the axis a little"
        )
