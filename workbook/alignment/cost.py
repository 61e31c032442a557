"""What an axis error costs in one sub: drift, trail and rotation, in the middle, at a radius, over the field.

Unguided, the drive turns about the misaligned axis m alone: the middle of the field drifts by Ω (m − p) × s and
the field spins about it at Ω (m − p)·s. Guided, the guide star stays and the field turns about it at the
two-axis rate. Rates are taken as steady within the sub.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.alignment.drift import drift_arcsec_min
from workbook.checks import not_negative, number, positive
from workbook.pointing import altaz, axis_direction
from workbook.rotation import corner_smear_px, rotation_rate_deg_h, spin_one_axis_deg_h


class AxisCost(NamedTuple):
    """What an axis error does to one sub.

    The drift of the middle of the field, drift_east_arcsec_min and drift_north_arcsec_min [″/min], and its
    trail, trail_px [px]; the spin of the field when one axis drives alone, spin_unguided_deg_h, and when a
    guide star holds both, spin_guided_deg_h [°/h]; the longest trail on a circle about the middle of
    rotation, edge_unguided_px and edge_guided_px [px].
    """

    drift_east_arcsec_min: float | np.ndarray
    drift_north_arcsec_min: float | np.ndarray
    trail_px: float | np.ndarray
    spin_unguided_deg_h: float | np.ndarray
    spin_guided_deg_h: float | np.ndarray
    edge_unguided_px: float | np.ndarray
    edge_guided_px: float | np.ndarray


def axis_cost(
    *,
    azimuth_error_arcmin,
    altitude_error_arcmin,
    hour_angle_deg,
    dec_deg,
    latitude_deg,
    sub_s,
    scale_arcsec_px,
    radius_px,
) -> AxisCost:
    """What a misaligned axis costs in one sub, with and without a guide star.

    Parameters
    ----------
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    hour_angle_deg : float or array
        Hour angle of the middle of the field, positive west [°].
    dec_deg : float or array
        Its declination [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    sub_s : float or array
        Length of the sub [s].
    scale_arcsec_px : float or array
        Image scale [″/px].
    radius_px : float or array
        Unguided, from the middle of the field to its corner; guided, from the guide star to the far corner
        [px].

    Returns
    -------
    AxisCost
        Drift, trail, both spins, and the longest trail at the radius for both cases.

    Raises
    ------
    ValueError
        If a number is outside its range.

    Notes
    -----
    Unguided the longest trail on the circle is |drift| + |spin| × radius, on the side where the two add up.
    Guided the guide star is taken as near the middle of the field. Gear error and refraction are ignored.

    References
    ----------
    Derivation; reference rows POL-03, POL-11 and POL-13, and a rigid-body simulation in the tests.

    Examples
    --------
    >>> cost = axis_cost(azimuth_error_arcmin=0, altitude_error_arcmin=40, hour_angle_deg=-60, dec_deg=30,
    ...                  latitude_deg=52.4, sub_s=60, scale_arcsec_px=2.256, radius_px=2441)
    >>> print(round(cost.trail_px, 2), round(cost.edge_unguided_px, 2), round(cost.edge_guided_px, 2))
    4.2 4.26 0.07
    """
    errors = {"azimuth_error_arcmin": azimuth_error_arcmin, "altitude_error_arcmin": altitude_error_arcmin}
    star = {"hour_angle_deg": hour_angle_deg, "dec_deg": dec_deg, "latitude_deg": latitude_deg}
    drift = drift_arcsec_min(**errors, **star)
    alone, guided = _spins(errors, star)
    sub_s = not_negative("sub_s", sub_s)
    trail = np.hypot(*drift) * sub_s / 60.0 / positive("scale_arcsec_px", scale_arcsec_px)
    sub = {"sub_s": sub_s, "radius_px": radius_px}
    return AxisCost(
        *drift,
        trail,
        alone,
        guided,
        trail + corner_smear_px(rate_deg_h=alone, **sub),
        corner_smear_px(rate_deg_h=guided, **sub),
    )


def field_trails_px(
    *,
    east_px,
    north_px,
    guided,
    guide_east_px,
    guide_north_px,
    azimuth_error_arcmin,
    altitude_error_arcmin,
    hour_angle_deg,
    dec_deg,
    latitude_deg,
    sub_s,
    scale_arcsec_px,
):
    """The trail that an axis error leaves at each place of the field: the map behind "one corner is worst".

    Parameters
    ----------
    east_px : float or array
        Place east of the middle of the field [px].
    north_px : float or array
        Place north of the middle of the field [px].
    guided : bool
        Whether a guide star is held.
    guide_east_px : float or array
        Place of the guide star east of the middle, inside the field or not; unguided it does not matter [px].
    guide_north_px : float or array
        Place of the guide star north of the middle [px].
    azimuth_error_arcmin : float or array
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float or array
        Error in altitude of the elevated end, positive high [′].
    hour_angle_deg : float or array
        Hour angle of the middle of the field, positive west [°].
    dec_deg : float or array
        Its declination [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    sub_s : float or array
        Length of the sub [s].
    scale_arcsec_px : float or array
        Image scale [″/px].

    Returns
    -------
    float or array
        Length of the trail [px].

    Raises
    ------
    ValueError
        If a number is outside its range.

    Notes
    -----
    Drift plus spin × place, a right-handed turn about the line of sight: (−north, east) × spin. Guided, the
    place counts from the guide star and the drift is taken away. The curvature of the sky over the field is
    ignored.

    References
    ----------
    Derivation; in the tests stars around the middle carried by a rigid-body simulation.

    Examples
    --------
    >>> field_trails_px(east_px=[-2000, 2000], north_px=0, guided=True, guide_east_px=2000, guide_north_px=0,
    ...     azimuth_error_arcmin=0, altitude_error_arcmin=40, hour_angle_deg=0, dec_deg=60, latitude_deg=52.4,
    ...     sub_s=180, scale_arcsec_px=2.256).round(2).tolist()
    [1.25, 0.0]
    """
    errors = {"azimuth_error_arcmin": azimuth_error_arcmin, "altitude_error_arcmin": altitude_error_arcmin}
    star = {"hour_angle_deg": hour_angle_deg, "dec_deg": dec_deg, "latitude_deg": latitude_deg}
    alone, held = _spins(errors, star)
    east, north = number("east_px", east_px), number("north_px", north_px)
    sub_s, scale = not_negative("sub_s", sub_s), positive("scale_arcsec_px", scale_arcsec_px)
    if guided:
        turn = np.radians(held * sub_s / 3600.0)
        away = np.hypot(
            east - number("guide_east_px", guide_east_px), north - number("guide_north_px", guide_north_px)
        )
        return np.abs(turn) * away
    turn = np.radians(alone * sub_s / 3600.0)
    drift = drift_arcsec_min(**errors, **star)
    shift_east, shift_north = (part * sub_s / 60.0 / scale for part in drift)
    return np.hypot(shift_east - turn * north, shift_north + turn * east)


def _spins(errors, star):
    """Spin of the field [°/h] when one axis drives alone, and when a guide star is held."""
    place = altaz(**star)._asdict()
    axis = axis_direction(**errors, latitude_deg=star["latitude_deg"])
    east, north, up = (axis[..., part] for part in range(3))
    guided = rotation_rate_deg_h(
        **place,
        latitude_deg=star["latitude_deg"],
        axis_altitude_deg=np.degrees(np.arctan2(up, np.hypot(east, north))),
        axis_azimuth_deg=np.degrees(np.arctan2(east, north)),
    )
    return spin_one_axis_deg_h(**place, latitude_deg=star["latitude_deg"], **errors), guided
