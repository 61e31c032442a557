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

from typing import NamedTuple

import numpy as np

from workbook.checks import between, turned
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import ON_AXIS_RAD, axis_direction, direction, hour_angle_dec, pole

SIDEREAL_RATE_DEG_H = SIDEREAL_RATE_ARCSEC_S  # an arcsecond a second is a degree an hour


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
    seen = _about_axis(altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg, axis_azimuth_deg)
    return -SIDEREAL_RATE_DEG_H * seen.along / seen.square


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
    first, last, dec, axis_dec = _from_the_axis(
        dec_deg, latitude_deg, start_hour_angle_deg, end_hour_angle_deg, axis_altitude_deg, axis_azimuth_deg
    )
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


class _AboutAxis(NamedTuple):
    """A star s, the pole p and an axis m, as cosines: what rates and accelerations are made of."""

    axis_pole: np.ndarray  # m·p
    axis_star: np.ndarray  # m·s
    pole_star: np.ndarray  # p·s
    along: np.ndarray  # p·(s − (m·s) m)
    across: np.ndarray  # p·(m − (m·s) s)
    square: np.ndarray  # 1 − (m·s)², NaN where the star stands on the axis
    slope: np.ndarray  # −m·(p × s): how fast m·s grows, in sidereal rates


def _about_axis(altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg, axis_azimuth_deg):
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis, north = _axis(axis_altitude_deg, axis_azimuth_deg), pole(latitude_deg=latitude_deg)
    cosine = np.sum(axis * star, axis=-1)
    beside = star - cosine[..., None] * axis
    square = np.sum(beside**2, axis=-1)
    return _AboutAxis(
        axis_pole=np.sum(axis * north, axis=-1),
        axis_star=cosine,
        pole_star=np.sum(north * star, axis=-1),
        along=np.sum(north * beside, axis=-1),
        across=np.sum(north * (axis - cosine[..., None] * star), axis=-1),
        square=np.where(square < ON_AXIS_RAD**2, np.nan, square)[()],
        slope=-np.sum(axis * np.cross(north, star), axis=-1),
    )


def _from_the_axis(
    dec_deg, latitude_deg, start_hour_angle_deg, end_hour_angle_deg, axis_altitude_deg, axis_azimuth_deg
):
    """Hour angles of start and end from the axis' hour circle [°], declinations of star and axis [rad]."""
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
    return first, last, dec, axis_dec


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
