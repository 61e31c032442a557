"""How good the axis must be tonight, and when to stop adjusting: the cost of an axis error, solved for it.

The cost grows in proportion to the error as long as that is small; the search here follows the exact law.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, not_negative, positive, turned
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import ARCMIN_PER_RAD, altaz, direction, pole

# A larger error is no small one any more: a tolerance beyond it means "any rough set-up will do".
LARGEST_ERROR_ARCMIN = 1800.0
HALVINGS = 30  # to a part in 10⁸ of the bracket
DIRECTIONS_DEG = np.arange(0.0, 360.0, 10.0)
HOURS = 25


class AxisTolerance(NamedTuple):
    """How far off the axis may be [′].

    any_arcmin, the axis from the pole in whatever direction; east_arcmin, if all of it is an error of the
    azimuth (an angle on the sky; on the azimuth scale it is larger by 1/cos φ);
    high_arcmin, if all of it is an error of the altitude. 1800 stands for "or more".
    """

    any_arcmin: float
    east_arcmin: float
    high_arcmin: float


def axis_tolerance(
    *,
    sub_s,
    dec_deg,
    latitude_deg,
    start_hour_angle_deg,
    end_hour_angle_deg,
    guided,
    scale_arcsec_px,
    radius_px,
    tolerance_px,
    budget,
) -> AxisTolerance:
    """How well the axis must be aligned for the subs of one target tonight.

    Parameters
    ----------
    sub_s : float
        Length of one sub [s].
    dec_deg : float
        Declination of the target [°].
    latitude_deg : float
        Latitude of the place, south negative [°].
    start_hour_angle_deg : float
        Hour angle at which the exposures start, positive west [°].
    end_hour_angle_deg : float
        Hour angle at which they end, not before the start [°].
    guided : bool
        Whether a guide star is held.
    scale_arcsec_px : float
        Image scale [″/px].
    radius_px : float
        Unguided, from the middle of the field to its corner; guided, from the guide star to the far corner
        [px].
    tolerance_px : float
        Longest trail that is still kept [px].
    budget : float
        Share of the tolerance that the axis may use, above 0 to 1; gear and wind need the rest.

    Returns
    -------
    AxisTolerance
        any_arcmin, east_arcmin and high_arcmin [′].

    Raises
    ------
    ValueError
        If a number is outside its range, the end is before the start, or the guide star stands at a pole of
        the sky.

    Notes
    -----
    Unguided the trail of the worst corner is Ω t (|e × s| + |e·s| R), guided Ω t R |e·n|/cos δ, with e = m − p
    and R the radius; the largest over the hours, and for any_arcmin over all directions of e, equals the
    budget. Unguided and in the worst direction this is 3.81 × trail/time, almost the same at every
    declination. Guided, no more than 0.9 of the guide star's distance from the pole is allowed. Refraction
    is ignored.

    References
    ----------
    Derivation; reference rows POL-11 and POL-13, and in the tests a search over the exact cost.

    Examples
    --------
    >>> tonight = axis_tolerance(sub_s=60, dec_deg=30.7, latitude_deg=52.4, start_hour_angle_deg=-60,
    ...     end_hour_angle_deg=20, guided=False, scale_arcsec_px=2.256, radius_px=2441, tolerance_px=1.5,
    ...     budget=0.5)
    >>> print(round(tonight.any_arcmin, 1), round(tonight.east_arcmin, 1), round(tonight.high_arcmin, 1))
    6.4 6.4 7.0
    """
    share = positive("budget", fraction("budget", budget))
    target = positive("tolerance_px", tolerance_px) * share
    asked = _asked(
        sub_s,
        dec_deg,
        latitude_deg,
        start_hour_angle_deg,
        end_hour_angle_deg,
        guided,
        scale_arcsec_px,
        radius_px,
    )
    return AxisTolerance(
        *(_error_for(target, asked, lean) for lean in (DIRECTIONS_DEG, np.array([0.0]), np.array([90.0])))
    )


def stop_error_arcmin(
    *,
    sub_s,
    dec_deg,
    latitude_deg,
    start_hour_angle_deg,
    end_hour_angle_deg,
    guided,
    scale_arcsec_px,
    radius_px,
    other_trail_px,
    growth,
):
    """When to stop adjusting: the axis error that lets the other trails of a sub grow by a given share.

    Parameters
    ----------
    sub_s : float
        Length of one sub [s].
    dec_deg : float
        Declination of the target [°].
    latitude_deg : float
        Latitude of the place, south negative [°].
    start_hour_angle_deg : float
        Hour angle at which the exposures start, positive west [°].
    end_hour_angle_deg : float
        Hour angle at which they end, not before the start [°].
    guided : bool
        Whether a guide star is held.
    scale_arcsec_px : float
        Image scale [″/px].
    radius_px : float
        Unguided, from the middle of the field to its corner; guided, from the guide star to the far corner
        [px].
    other_trail_px : float
        Trail that gear, wind and guiding leave in the same sub [px].
    growth : float
        Share by which the whole may grow, above 0 to 1: 0.1 is ten per cent.

    Returns
    -------
    float
        Axis error in the worst direction; below it adjusting goes on costing time and gains less than that
        share [′]. 1800 stands for "or more".

    Raises
    ------
    ValueError
        As `axis_tolerance`.

    Notes
    -----
    Independent trails add in quadrature: the axis may use √((1 + growth)² − 1) of the other trail.

    References
    ----------
    Derivation; reference row POL-13.

    Examples
    --------
    >>> print(round(stop_error_arcmin(sub_s=60, dec_deg=30.7, latitude_deg=52.4, start_hour_angle_deg=-60,
    ...     end_hour_angle_deg=20, guided=False, scale_arcsec_px=2.256, radius_px=2441, other_trail_px=3,
    ...     growth=0.1), 1))
    11.8
    """
    share = positive("growth", fraction("growth", growth))
    target = positive("other_trail_px", other_trail_px) * np.sqrt((1.0 + share) ** 2 - 1.0)
    asked = _asked(
        sub_s,
        dec_deg,
        latitude_deg,
        start_hour_angle_deg,
        end_hour_angle_deg,
        guided,
        scale_arcsec_px,
        radius_px,
    )
    return _error_for(target, asked, DIRECTIONS_DEG)


class _Asked(NamedTuple):
    """The subs of a night: star directions along the hours, and what turns an angle into a trail."""

    stars: np.ndarray
    latitude: float
    guided: bool
    turn: float  # by how much the sky turns in one sub [rad]
    px_per_rad: float
    radius_px: float


def _asked(sub_s, dec_deg, latitude_deg, start, end, guided, scale_arcsec_px, radius_px):
    dec = between("dec_deg", dec_deg, -90, 90, cure="is this the right ascension?")
    start = turned("start_hour_angle_deg", start)
    end = turned("end_hour_angle_deg", end)
    if end < start:
        raise ValueError(
            f"end_hour_angle_deg must not be before the start at {start:g} °, received {end:g} °: "
            "past 180° go on counting"
        )
    if guided and abs(dec) > 89.9:
        raise ValueError(
            f"dec_deg must be within ±89.9° where a guide star is held, received {dec:g} °: at the pole itself "
            "any error of the axis turns the field without end"
        )
    place = altaz(hour_angle_deg=np.linspace(start, end, HOURS), dec_deg=dec, latitude_deg=latitude_deg)
    turn = np.radians(SIDEREAL_RATE_ARCSEC_S * positive("sub_s", sub_s) / 3600.0)
    px_per_rad = ARCMIN_PER_RAD * 60.0 / positive("scale_arcsec_px", scale_arcsec_px)
    return _Asked(
        direction(**place._asdict()),
        latitude_deg,
        bool(guided),
        turn,
        px_per_rad,
        not_negative("radius_px", radius_px),
    )


def _error_for(target_px, asked, lean_deg):
    """The error whose worst trail, over hours and leans, is the target [′], by halving a bracket."""
    north = pole(latitude_deg=asked.latitude)
    to_pole = np.arccos(np.clip(np.abs(asked.stars @ north).max(), 0.0, 1.0)) * ARCMIN_PER_RAD
    highest = min(LARGEST_ERROR_ARCMIN, 0.9 * to_pole) if asked.guided else LARGEST_ERROR_ARCMIN
    if _worst_px(highest, asked, lean_deg) <= target_px:
        return float(highest)
    first = target_px / _worst_px(1.0, asked, lean_deg)  # the cost is nearly a straight line
    low, high = 0.0, highest
    for middle in (0.9 * first, 1.1 * first):
        if low < middle < high:
            low, high = (middle, high) if _worst_px(middle, asked, lean_deg) <= target_px else (low, middle)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _worst_px(middle, asked, lean_deg) <= target_px else (low, middle)
    return float(low)


def _worst_px(error_arcmin, asked, lean_deg):
    """The longest trail over the hours, for an axis that stands off by an error towards each lean."""
    north, lean = pole(latitude_deg=asked.latitude), np.radians(lean_deg)[:, None, None]
    east = np.array([1.0, 0.0, 0.0])
    side = -1.0 if asked.latitude < 0 else 1.0  # in the south m is minus the elevated end
    towards = side * (np.cos(lean) * east + np.sin(lean) * np.cross(east, north))
    error = error_arcmin / ARCMIN_PER_RAD
    axis = np.cos(error) * north + np.sin(error) * towards
    off, stars = axis - north, asked.stars
    if asked.guided:
        along = np.sum(axis * stars, axis=-1, keepdims=True)
        beside = stars - along * axis
        turn = np.abs(np.sum(north * beside, axis=-1)) / np.sum(beside**2, axis=-1)
        return float(np.max(turn) * asked.turn * asked.radius_px)
    drift = np.linalg.norm(np.cross(off, stars), axis=-1) * asked.px_per_rad
    spin = np.abs(np.sum(off * stars, axis=-1)) * asked.radius_px
    return float(np.max(drift + spin) * asked.turn)
