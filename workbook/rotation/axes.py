"""How fast the two axes of a mount must turn to follow a star, where they cannot, and how the cables wind.

The primary axis m points anywhere: at the zenith its angle is the azimuth, at the pole the hour angle. It
counts positive clockwise for somebody who looks down along the elevated end, so azimuth and, in the north,
hour angle grow; in the south an equatorial mount turns the other way. The secondary angle is the height above
the plane square to m. In the notes p is the north celestial pole, s the star, c = m·p, σ = m·s and π = p·s,
which is the sine of the declination and stays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, positive
from workbook.constants import ARCSEC_PER_RAD, SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import ON_AXIS_RAD, pole
from workbook.rotation.law import SIDEREAL_RATE_DEG_H, _about_axis, _axis, _from_the_axis, _turned

SIDEREAL_RATE_RAD_S = SIDEREAL_RATE_ARCSEC_S / ARCSEC_PER_RAD


class AxisRates(NamedTuple):
    """What a star asks of both axes: rates [″/s] and accelerations [″/s²], of the shafts, not on the sky."""

    primary_arcsec_s: float | np.ndarray
    secondary_arcsec_s: float | np.ndarray
    primary_arcsec_s2: float | np.ndarray
    secondary_arcsec_s2: float | np.ndarray


def axis_rates(
    *, altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg=90.0, axis_azimuth_deg=0.0
) -> AxisRates:
    """How fast both axes of a mount turn, and how fast that changes, while they follow a star.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude of the star [°].
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
    AxisRates
        primary_arcsec_s and secondary_arcsec_s [″/s], primary_arcsec_s2 and secondary_arcsec_s2 [″/s²]; NaN
        where the star stands on the axis.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Notes
    -----
    Primary Ω (c − πσ)/(1 − σ²), secondary σ̇/√(1 − σ²), σ̇ = −Ω m·(p × s); their derivatives by the product
    rule, with σ̈ = Ω² (cπ − σ). For an upright axis these are Ω (sin φ − cos φ cos A tan a) in azimuth and
    Ω cos φ sin A in altitude. Refraction is ignored.

    References
    ----------
    Derivation; reference rows ALT-06 to ALT-08, and central differences of ERFA's places in the tests.

    Examples
    --------
    >>> rates = axis_rates(altitude_deg=40, azimuth_deg=135, latitude_deg=50)
    >>> print(round(rates.primary_arcsec_s, 2), round(rates.secondary_arcsec_s, 2))
    17.26 6.84
    """
    seen = _about_axis(altitude_deg, azimuth_deg, latitude_deg, axis_altitude_deg, axis_azimuth_deg)
    height = np.sqrt(seen.square)
    turn = seen.across / seen.square
    turn_change = seen.slope * (2.0 * seen.axis_star * turn - seen.pole_star) / seen.square
    bend = seen.axis_pole * seen.pole_star - seen.axis_star
    lift_change = bend / height + seen.slope**2 * seen.axis_star / (seen.square * height)
    square_rate = SIDEREAL_RATE_ARCSEC_S * SIDEREAL_RATE_RAD_S
    return AxisRates(
        SIDEREAL_RATE_ARCSEC_S * turn,
        SIDEREAL_RATE_ARCSEC_S * seen.slope / height,
        square_rate * turn_change,
        square_rate * lift_change,
    )


def zenith_zone_deg(*, highest_rate_arcsec_s, latitude_deg, axis_altitude_deg=90.0, axis_azimuth_deg=0.0):
    """How near to its primary axis a mount loses a star: the radius of the zone that it cannot follow.

    Parameters
    ----------
    highest_rate_arcsec_s : float or array
        Highest rate of the primary axis while it follows [″/s].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Radius of the smallest circle about the axis outside which no star asks for more [°].

    Raises
    ------
    ValueError
        If the highest rate is not above what a star 90° from the axis asks for, Ω |c|, or an angle is outside
        its range.

    Notes
    -----
    At a distance r from the axis the primary rate is Ω (c − √(1 − c²) cot r cos β), β the bearing from the
    axis against the pole, so at most Ω (|c| + √(1 − c²) cot r). Within the circle the zone is largest on the
    side where the two parts add, towards the equator for an alt-az mount. With the axis on the pole there is
    none. The secondary axis never needs more than Ω √(1 − c²).

    References
    ----------
    Derivation; reference row ALT-08 backwards.

    Examples
    --------
    >>> print(round(zenith_zone_deg(highest_rate_arcsec_s=240, latitude_deg=50), 2))
    2.42
    """
    highest = positive("highest_rate_arcsec_s", highest_rate_arcsec_s) / SIDEREAL_RATE_ARCSEC_S
    c, s = _axis_and_pole(latitude_deg, axis_altitude_deg, axis_azimuth_deg)
    _refuse_slow(highest, c)
    return np.degrees(np.arctan2(s, highest - np.abs(c)))


def zenith_zone_min(
    *, dec_deg, latitude_deg, highest_rate_arcsec_s, axis_altitude_deg=90.0, axis_azimuth_deg=0.0
):
    """How long a mount loses a star at each passage near its primary axis.

    Parameters
    ----------
    dec_deg : float or array
        Declination of the star [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    highest_rate_arcsec_s : float or array
        Highest rate of the primary axis while it follows [″/s].
    axis_altitude_deg : float or array
        Altitude of the primary axis [°]; by default 90, an alt-az mount set up level.
    axis_azimuth_deg : float or array
        Azimuth of the primary axis [°]; without meaning, and 0 by default, where the axis is upright.

    Returns
    -------
    float or array
        Time in which the primary axis would have to turn faster, centred on the star's passage of the axis
        [min]; 0 where it never does.

    Raises
    ------
    ValueError
        If the highest rate is not above what a star 90° from the axis asks for, or an angle is outside its
        range.

    Notes
    -----
    |c − πσ| = L (1 − σ²), L the highest rate in sidereal rates, is a quadratic in σ, and σ = cπ + √(1 − c²)
    cos δ cos H, H counted from the axis' hour circle: exact. Only the entered end of the axis counts. A star
    straight through the axis asks for no fast turn, but for a jump by half a turn.

    References
    ----------
    Derivation; in the tests the minutes are counted along ERFA's places.

    Examples
    --------
    >>> zenith_zone_min(dec_deg=[49, 40], latitude_deg=50, highest_rate_arcsec_s=240).round(1).tolist()
    [14.5, 0.0]
    """
    dec = np.radians(between("dec_deg", dec_deg, -90, 90, cure="is this the right ascension?"))
    highest = positive("highest_rate_arcsec_s", highest_rate_arcsec_s) / SIDEREAL_RATE_ARCSEC_S
    c, s = _axis_and_pole(latitude_deg, axis_altitude_deg, axis_azimuth_deg)
    _refuse_slow(highest, c)
    along = np.sin(dec)
    lowest = [  # the σ above which the axis turns too fast, forwards and backwards
        (side * along + np.sqrt(along**2 + 4.0 * highest * (highest - side * c))) / (2.0 * highest)
        for side in (1.0, -1.0)
    ]
    reach = s * np.cos(dec)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = (np.minimum(*lowest) - c * along) / reach
    cosine = np.where(reach < ON_AXIS_RAD, np.where(np.isnan(reach), np.nan, 1.0), cosine)
    return 2.0 * 60.0 * np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / SIDEREAL_RATE_DEG_H


def cable_turn_deg(
    *,
    dec_deg,
    latitude_deg,
    start_hour_angle_deg,
    end_hour_angle_deg,
    axis_altitude_deg=90.0,
    axis_azimuth_deg=0.0,
):
    """By how much the primary axis, and a cable about it, winds while the mount follows a star.

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
        Turn of the primary axis, clockwise seen down along its elevated end positive; it may pass 180° [°].

    Raises
    ------
    ValueError
        If an angle is outside its range, or the star passes through the axis.

    Notes
    -----
    The angle at the axis in the triangle of pole, axis and star: that at the star, which `rotation_deg`
    follows, with axis and star exchanged. A star between pole and zenith swings to and fro: give the end as
    an array to see the widest turn. A slew from star to star adds its own.

    References
    ----------
    Derivation; in the tests the azimuth of ERFA, unwound.

    Examples
    --------
    >>> print(round(cable_turn_deg(dec_deg=20, latitude_deg=50, start_hour_angle_deg=-45,
    ...                            end_hour_angle_deg=45), 1))
    133.0
    """
    first, last, dec, axis_dec = _from_the_axis(
        dec_deg, latitude_deg, start_hour_angle_deg, end_hour_angle_deg, axis_altitude_deg, axis_azimuth_deg
    )
    return _turned(first, axis_dec, dec) - _turned(last, axis_dec, dec)


def _axis_and_pole(latitude_deg, axis_altitude_deg, axis_azimuth_deg):
    """Cosine and sine of the angle between the axis and the north celestial pole."""
    axis, north = _axis(axis_altitude_deg, axis_azimuth_deg), pole(latitude_deg=latitude_deg)
    return np.sum(axis * north, axis=-1), np.linalg.norm(np.cross(axis, north), axis=-1)


def _refuse_slow(highest, c):
    slow = np.broadcast_to(highest <= np.abs(c) + 1e-12, np.broadcast_shapes(np.shape(highest), np.shape(c)))
    if slow.any():
        least = SIDEREAL_RATE_ARCSEC_S * np.broadcast_to(np.abs(c), slow.shape)[slow].max()
        raise ValueError(
            f"highest_rate_arcsec_s must be above {least:.2f} ″/s, the rate of a star 90° from the axis, received "
            f"{SIDEREAL_RATE_ARCSEC_S * np.broadcast_to(highest, slow.shape)[slow].min():g} ″/s: give the "
            "highest rate while following, in arcseconds a second"
        )
