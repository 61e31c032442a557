"""The longest sub over the whole sky and along one night, for a mount whose primary axis points anywhere.

In one sub the field turns by r τ + ṙ τ²/2, r the rate in its middle and ṙ how fast the rate changes. Where
the field turns back within the sub, as due east and west of an alt-az mount, the change alone limits it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, positive
from workbook.pointing import altaz
from workbook.rotation.axes import SIDEREAL_RATE_RAD_S
from workbook.rotation.law import SIDEREAL_RATE_DEG_H, _about_axis, _from_the_axis, _turned


class NightTrack(NamedTuple):
    """A star through a night, one entry for each hour angle.

    hour_angle_deg, altitude_deg, azimuth_deg [°]; the rate of the field rotation, rate_deg_h [°/h]; the
    rotation since the first entry, rotation_deg [°]; the smear in one sub, smear_px [px]; and the longest sub
    within the tolerance, longest_sub_s [s].
    """

    hour_angle_deg: np.ndarray
    altitude_deg: np.ndarray
    azimuth_deg: np.ndarray
    rate_deg_h: np.ndarray
    rotation_deg: np.ndarray
    smear_px: np.ndarray
    longest_sub_s: np.ndarray


def longest_sub_on_sky_s(
    *,
    altitude_deg,
    azimuth_deg,
    latitude_deg,
    radius_px,
    tolerance_px,
    axis_altitude_deg=90.0,
    axis_azimuth_deg=0.0,
):
    """The longest sub towards any place in the sky: the map behind "where can I point tonight?".

    Parameters
    ----------
    altitude_deg : float or array
        True altitude of the middle of the field; guided, of the guide star [°].
    azimuth_deg : float or array
        Its azimuth from north through east [°]; a column of altitudes and a row of azimuths give a map.
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    radius_px : float or array
        Distance from the middle of rotation: half the diagonal, or the guide star to the far corner [px].
    tolerance_px : float or array
        Smear that is still accepted [px].
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Longest sub, centred on the moment at which the star stands there [s]. Infinite with the axis on the
        pole, NaN where the star stands on the axis.

    Raises
    ------
    ValueError
        If an angle is outside its range, the radius negative or the tolerance not above zero.

    Notes
    -----
    θ/|r| with θ = tolerance/radius; where the field turns back within the sub, 2 (√(2 |ṙ| θ) − |r|)/|ṙ|. The
    rate alone would promise an endless sub due east and west. Third order is left out: within 5 % while the
    sub is shorter than 10 min and than the star's way to the axis. Below the horizon the law holds as well.

    References
    ----------
    Derivation; in the tests ERFA's parallactic angle followed through each sub.

    Examples
    --------
    >>> map_s = longest_sub_on_sky_s(altitude_deg=[[30], [60]], azimuth_deg=[90, 135, 180], latitude_deg=50,
    ...                              radius_px=2441, tolerance_px=1.5)
    >>> map_s.round(1).tolist()
    [[1275.1, 16.1, 11.4], [968.9, 9.3, 6.6]]
    """
    seen = _about_axis(altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg, axis_azimuth_deg)
    return _longest_s(*_rate_and_change(seen), radius_px, tolerance_px)


def night_track(
    *,
    hour_angles_deg,
    dec_deg,
    latitude_deg,
    sub_s,
    radius_px,
    tolerance_px,
    axis_altitude_deg=90.0,
    axis_azimuth_deg=0.0,
) -> NightTrack:
    """One target through a night: how fast the field turns, how far it has turned, and what that allows.

    Parameters
    ----------
    hour_angles_deg : sequence
        Hour angles of the middles of the subs, in the order of time, positive west [°]; past 180° go on
        counting.
    dec_deg : float
        Declination of the target [°].
    latitude_deg : float
        Latitude of the place, south negative [°].
    sub_s : float
        Length of one sub [s].
    radius_px : float
        Distance from the middle of rotation [px].
    tolerance_px : float
        Smear that is still accepted [px].
    axis_altitude_deg : float
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    NightTrack
        One entry for each hour angle, with rates, rotation, smear and longest sub.

    Raises
    ------
    ValueError
        If a number is outside its range, hour_angles_deg is no list, or the star passes through the axis.

    Notes
    -----
    The rotation is exact (`rotation_deg`). The smear is the widest turn between start, middle and end of the
    sub, through a parabola where the field turns back in between. For the rate guided on a star away from the
    middle, give that star's declination and hour angles.

    References
    ----------
    Derivation; in the tests ERFA's parallactic angle followed through the night.

    Examples
    --------
    >>> night = night_track(hour_angles_deg=[-30, 0, 30], dec_deg=20, latitude_deg=50, sub_s=10,
    ...                     radius_px=2441, tolerance_px=1.5)
    >>> night.smear_px.round(2).tolist(), night.rotation_deg.round(1).tolist()
    ([1.2, 2.29, 1.2], [0.0, 31.3, 62.5])
    """
    hours = np.asarray(hour_angles_deg, dtype=float)
    if hours.ndim != 1 or not hours.size:
        raise ValueError(f"hour_angles_deg must be a list of hour angles, received {hour_angles_deg!r}")
    half = 0.5 * positive("sub_s", sub_s) * SIDEREAL_RATE_DEG_H / 3600.0
    radius = not_negative("radius_px", radius_px)
    start, middle, dec, axis_dec = _from_the_axis(
        dec_deg, latitude_deg, hours[0], hours, axis_altitude_deg, axis_azimuth_deg
    )
    place = altaz(hour_angle_deg=hours, dec_deg=dec_deg, latitude_deg=latitude_deg)
    rate, change = _rate_and_change(_about_axis(*place, latitude_deg, axis_altitude_deg, axis_azimuth_deg))
    turned = _turned(np.stack([middle - half, middle, middle + half]), dec, axis_dec)
    return NightTrack(
        hours,
        *place,
        np.degrees(rate) * 3600.0,
        turned[1] - _turned(start, dec, axis_dec),
        np.radians(_extent(*turned)) * radius,
        _longest_s(rate, change, radius, tolerance_px),
    )


def _rate_and_change(seen):
    """Spin [rad/s] and its change [rad/s²]."""
    spin = -seen.along / seen.square
    change = seen.slope * (seen.axis_pole + 2.0 * seen.axis_star * spin) / seen.square
    return SIDEREAL_RATE_RAD_S * spin, SIDEREAL_RATE_RAD_S**2 * change


def _longest_s(rate, change, radius_px, tolerance_px):
    """The time in which a turn of rate and change, taken from its middle, spans tolerance / radius."""
    radius, tolerance = not_negative("radius_px", radius_px), positive("tolerance_px", tolerance_px)
    rate, change = np.abs(rate) * radius, np.abs(change) * radius
    with np.errstate(divide="ignore", invalid="ignore"):
        steady = tolerance / rate
        back = 2.0 * (np.sqrt(2.0 * change * tolerance) - rate) / change
    turns_back = change * tolerance > 2.0 * rate**2
    return np.where(np.isnan(rate), np.nan, np.where(turns_back, back, steady))[()]


def _extent(start, middle, end):
    """The widest span of a parabola through three values at even steps."""
    slope, bend = (end - start) / 2.0, start - 2.0 * middle + end
    inside = np.abs(slope) < np.abs(bend)
    top = middle - slope**2 / np.where(inside, 2.0 * bend, 1.0)
    three = np.stack([start, end, np.where(inside, top, start)])
    return three.max(axis=0) - three.min(axis=0)
