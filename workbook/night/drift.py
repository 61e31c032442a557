"""What refraction does to drift alignment: low stars drift on a perfect axis, and the correction.

The air lifts a star towards the zenith, and less so the higher it climbs. A mount whose axis stands on the
true pole follows the true star, so the seen one drifts by the change of the lift.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.alignment import ARCMIN_PER_RAD, SIDEREAL_RATE_ARCSEC_MIN, AxisErrors, solve_drifts
from workbook.checks import number
from workbook.night.clock import plain
from workbook.night.refraction import refraction_arcmin
from workbook.pointing import altaz, parallactic_angle_deg

HALF_STEP_DEG = 0.25  # of hour angle, a minute of time either way
LOWEST_DEG = 10.0  # below, the lift is not known well enough for a drift


class RefractionDrift(NamedTuple):
    """What refraction alone makes of a star on a perfect axis.

    east_arcsec_min and north_arcsec_min, its drift in angles on the sky [″/min]; equivalent_arcmin, the axis
    error that would make the same drift in declination at its worst hour angle [′]; altitude_deg, true [°].
    """

    east_arcsec_min: float | np.ndarray
    north_arcsec_min: float | np.ndarray
    equivalent_arcmin: float | np.ndarray
    altitude_deg: float | np.ndarray


def refraction_drift(
    *, hour_angle_deg, dec_deg, latitude_deg, pressure_hpa, temperature_degc
) -> RefractionDrift:
    """The drift that the air alone makes, on a mount whose axis stands on the true pole.

    Parameters
    ----------
    hour_angle_deg : float or array
        Hour angle of the star, positive west [°].
    dec_deg : float or array
        Declination of the star [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    pressure_hpa : float or array
        Air pressure at the place, not reduced to sea level [hPa].
    temperature_degc : float or array
        Air temperature [°C].

    Returns
    -------
    RefractionDrift
        east_arcsec_min, north_arcsec_min [″/min], equivalent_arcmin [′] and altitude_deg [°]; NaN below 10°
        of true altitude.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    The lift R points to the zenith, at the parallactic angle q from north: it shifts the star by R sin q to
    the east and R cos q to the north, along the true star's own east and north, which the mount carries
    along. The drift is the change of both in a minute, taken over a minute either way. R is that of
    `refraction_arcmin`; the short formulas of the almanacs are a few per cent off in slope.

    References
    ----------
    Derivation; in the tests the observed places of ERFA's atioq with its own refraction.

    Examples
    --------
    >>> low = refraction_drift(hour_angle_deg=-60, dec_deg=22, latitude_deg=50, pressure_hpa=1010,
    ...                        temperature_degc=10)
    >>> print(round(low.altitude_deg, 1), round(low.north_arcsec_min, 2), round(low.equivalent_arcmin, 1))
    35.8 -0.31 1.2
    """
    air = {"pressure_hpa": pressure_hpa, "temperature_degc": temperature_degc}
    hour = number("hour_angle_deg", hour_angle_deg)
    shifts = []
    for step in (HALF_STEP_DEG, -HALF_STEP_DEG):
        star = {"hour_angle_deg": hour + step, "dec_deg": dec_deg, "latitude_deg": latitude_deg}
        lift = 60.0 * refraction_arcmin(altitude_deg=altaz(**star).altitude_deg, **air)
        q = np.radians(parallactic_angle_deg(**star))
        shifts.append(np.stack([lift * np.sin(q), lift * np.cos(q)]))
    east, north = (shifts[0] - shifts[1]) / (2.0 * HALF_STEP_DEG) * (SIDEREAL_RATE_ARCSEC_MIN / 3600.0)
    altitude = altaz(hour_angle_deg=hour, dec_deg=dec_deg, latitude_deg=latitude_deg).altitude_deg
    low = np.less(altitude, LOWEST_DEG)
    east, north = np.where(low, np.nan, east), np.where(low, np.nan, north)
    worth = np.abs(north) * ARCMIN_PER_RAD / SIDEREAL_RATE_ARCSEC_MIN
    return RefractionDrift(plain(east), plain(north), plain(worth), plain(altitude + 0.0 * north))


def corrected_drifts_arcsec_min(
    *, drifts_arcsec_min, hour_angles_deg, decs_deg, latitude_deg, pressure_hpa, temperature_degc
):
    """Measured drifts in declination with the part of the air taken off, ready for `alignment.solve_drifts`.

    Parameters
    ----------
    drifts_arcsec_min : float or array
        Drifts in declination as measured, positive north [″/min].
    hour_angles_deg : float or array
        Hour angles of the stars, in the middle of the measurement [°].
    decs_deg : float or array
        Their declinations [°].
    latitude_deg : float
        Latitude of the place, south negative [°].
    pressure_hpa : float
        Air pressure at the place [hPa].
    temperature_degc : float
        Air temperature [°C].

    Returns
    -------
    float or array
        Drifts of a misaligned axis alone [″/min].

    Raises
    ------
    ValueError
        If a star stands below 10°, or a value is outside its range.

    Notes
    -----
    Measured less `refraction_drift`. The axis is then brought to the true pole; some prefer the refracted pole,
    an arcminute higher, about which low stars near it seem to turn.

    References
    ----------
    As `refraction_drift`.

    Examples
    --------
    >>> corrected_drifts_arcsec_min(drifts_arcsec_min=[1.0, 0.5], hour_angles_deg=[-60, 30], decs_deg=[22, -10],
    ...     latitude_deg=50, pressure_hpa=1010, temperature_degc=10).round(2).tolist()
    [1.31, 0.15]
    """
    air = refraction_drift(
        hour_angle_deg=hour_angles_deg,
        dec_deg=decs_deg,
        latitude_deg=latitude_deg,
        pressure_hpa=pressure_hpa,
        temperature_degc=temperature_degc,
    )
    if np.any(air.altitude_deg < LOWEST_DEG) or np.any(np.isnan(air.north_arcsec_min)):
        raise ValueError(
            f"decs_deg must belong to stars above {LOWEST_DEG:g}°, received one at "
            f"{_lowest(hour_angles_deg, decs_deg, latitude_deg):.1f} °: choose higher stars, best above 30°"
        )
    return number("drifts_arcsec_min", drifts_arcsec_min) - air.north_arcsec_min


def refraction_axis_error(
    *, hour_angles_deg, decs_deg, latitude_deg, drift_sigma_arcsec_min, pressure_hpa, temperature_degc
) -> AxisErrors:
    """The axis error that refraction fakes: what a solve of uncorrected drifts would be off by.

    Parameters
    ----------
    hour_angles_deg : sequence
        Hour angles of the drift stars, positive west [°].
    decs_deg : sequence
        Their declinations [°].
    latitude_deg : float
        Latitude of the place, south negative [°].
    drift_sigma_arcsec_min : float or sequence
        Standard deviation of the drifts [″/min].
    pressure_hpa : float
        Air pressure at the place [hPa].
    temperature_degc : float
        Air temperature [°C].

    Returns
    -------
    AxisErrors
        The faked errors and the covariance of the solve, as `alignment.solve_drifts` gives them.

    Raises
    ------
    ValueError
        As `alignment.solve_drifts` and `corrected_drifts_arcsec_min`.

    References
    ----------
    As `refraction_drift`.

    Examples
    --------
    >>> trap = refraction_axis_error(hour_angles_deg=[-80, 0], decs_deg=[20, 0], latitude_deg=52.4,
    ...     drift_sigma_arcsec_min=0.1, pressure_hpa=1010, temperature_degc=10)
    >>> print(round(trap.altitude_error_arcmin, 1))
    -3.3
    """
    fake = -corrected_drifts_arcsec_min(
        drifts_arcsec_min=np.zeros(np.shape(hour_angles_deg)),
        hour_angles_deg=hour_angles_deg,
        decs_deg=decs_deg,
        latitude_deg=latitude_deg,
        pressure_hpa=pressure_hpa,
        temperature_degc=temperature_degc,
    )
    return solve_drifts(
        hour_angles_deg=hour_angles_deg,
        drifts_arcsec_min=fake,
        latitude_deg=latitude_deg,
        drift_sigma_arcsec_min=drift_sigma_arcsec_min,
    )


def _lowest(hour_angles_deg, decs_deg, latitude_deg):
    place = altaz(hour_angle_deg=hour_angles_deg, dec_deg=decs_deg, latitude_deg=latitude_deg)
    return float(np.min(place.altitude_deg))
