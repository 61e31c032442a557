"""Guiding declination in one direction only: an axis set off on purpose keeps the play on one side."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.alignment import dec_drift_arcsec_min
from workbook.checks import between, not_negative, number
from workbook.constants import ARCMIN_PER_DEG, SIDEREAL_RATE_ARCSEC_S

SIDEREAL_DEG_H = SIDEREAL_RATE_ARCSEC_S  # ″/s are °/h


class OneWay(NamedTuple):
    """An axis error that makes one declination drift for a session, and its price.

    Azimuth error (east positive), altitude error (high positive) and distance from the pole [′]; the least
    drift during the session, with the wanted sign [″/min]; fastest spin of the field [°/h] and the largest turn
    away from the middle of the session [′], both about the guide star.
    """

    azimuth_error_arcmin: float
    altitude_error_arcmin: float
    pole_error_arcmin: float
    lowest_drift_arcsec_min: float
    spin_deg_h: float
    turn_arcmin: float


def one_way_offset(*, drift_arcsec_min, hour_angle_deg, dec_deg, latitude_deg, session_h) -> OneWay:
    """The smallest axis error that makes a star drift as you want, and what it costs.

    Parameters
    ----------
    drift_arcsec_min : float
        Wanted drift in declination in the middle of the session, positive north [″/min].
    hour_angle_deg : float
        Hour angle in the middle of the session, positive west [°].
    dec_deg : float
        Declination of the star, −85 to 85 [°].
    latitude_deg : float
        Latitude, −89 to 89 [°].
    session_h : float
        Length of the session, 0 to 11 [h].

    Returns
    -------
    OneWay
        Axis errors and turn [′], drift [″/min], spin [°/h].

    Raises
    ------
    ValueError
        If a value is out of its range.

    Notes
    -----
    A distance b of the axis from the pole drifts a star by at most Ω b, in the middle of the session if b stands
    across the star's hour circle; the drift goes as cos ΔH. The field then turns about the guide star at Ω b
    sin ΔH / cos δ, by b (1 − cos ΔH) / cos δ in all: little, as long as b is a few arcminutes. The error that the
    axis has already adds to this one: measure the drift, then move the axis.

    References
    ----------
    Derivation: the drift Ω (m − p) × s of `alignment`, and the two-axis spin of `rotation` for a small error.

    Examples
    --------
    >>> plan = one_way_offset(drift_arcsec_min=1, hour_angle_deg=0, dec_deg=30, latitude_deg=50, session_h=4)
    >>> print(round(plan.azimuth_error_arcmin, 2), round(plan.pole_error_arcmin, 2), round(plan.turn_arcmin, 2))
    -5.93 3.81 0.59
    """
    wanted = number("drift_arcsec_min", float(drift_arcsec_min))
    dec = between("dec_deg", float(dec_deg), -85, 85, cure="near the pole the drift law has no hour circle")
    latitude = between("latitude_deg", float(latitude_deg), -89, 89)
    half_deg = between("session_h", float(session_h), 0, 11) / 2.0 * SIDEREAL_DEG_H
    place = {"hour_angle_deg": hour_angle_deg, "latitude_deg": latitude}
    turn = dec_drift_arcsec_min(azimuth_error_arcmin=1.0, altitude_error_arcmin=0.0, **place)
    lift = dec_drift_arcsec_min(azimuth_error_arcmin=0.0, altitude_error_arcmin=1.0, **place)
    shrink = np.cos(np.radians(latitude))  # an error in azimuth moves the axis less, the higher the pole
    slope2 = (turn / shrink) ** 2 + lift**2
    azimuth, altitude = wanted * turn / shrink**2 / slope2, wanted * lift / slope2
    pole = float(np.hypot(azimuth * shrink, altitude))
    hours = number("hour_angle_deg", float(hour_angle_deg)) + np.linspace(-half_deg, half_deg, 41)
    drifts = dec_drift_arcsec_min(
        azimuth_error_arcmin=azimuth,
        altitude_error_arcmin=altitude,
        hour_angle_deg=hours,
        latitude_deg=latitude,
    )
    steepest = np.sin(np.radians(min(half_deg, 90.0)))
    on_sky = np.cos(np.radians(dec))
    return OneWay(
        azimuth_error_arcmin=float(azimuth),
        altitude_error_arcmin=float(altitude),
        pole_error_arcmin=pole,
        lowest_drift_arcsec_min=float(drifts.min() if wanted >= 0 else drifts.max()),
        spin_deg_h=float(SIDEREAL_DEG_H * np.radians(pole / ARCMIN_PER_DEG) * steepest / on_sky),
        turn_arcmin=float(pole * (1.0 - np.cos(np.radians(half_deg))) / on_sky),
    )


def drift_back_s(*, overshoot_arcsec, drift_arcsec_min):
    """How long a star that was pushed too far stays off, if only the drift may bring it back.

    Parameters
    ----------
    overshoot_arcsec : float or array
        How far it was pushed too far [″].
    drift_arcsec_min : float or array
        Drift that carries it back [″/min].

    Returns
    -------
    float or array
        Time until it is back [s]; infinite without drift.

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    overshoot / drift. The drift should be so fast that this is a few guide cycles, and so slow that a cycle's drift
    stays well below the tolerance.

    References
    ----------
    Derivation: distance over speed.

    Examples
    --------
    >>> print(drift_back_s(overshoot_arcsec=0.5, drift_arcsec_min=1))
    30.0
    """
    way = not_negative("overshoot_arcsec", overshoot_arcsec)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.divide(60.0 * way, not_negative("drift_arcsec_min", drift_arcsec_min))[()]
