"""The lift of the air."""

from __future__ import annotations

import erfa
import numpy as np

from workbook.checks import between
from workbook.constants import ARCMIN_PER_DEG
from workbook.night.clock import plain

# Middle values of what hardly matters: from dry to damp air the lift at 45° changes by 0.05″, from blue to
# red light by 1 %.
HUMIDITY = 0.5
WAVELENGTH_UM = 0.55

LOWEST_DEG = -1.0
LOW_DEG, HIGH_DEG = 5.0, 10.0  # the horizon's formula below, ERFA's above, a straight mix between


def refraction_arcmin(*, altitude_deg, pressure_hpa, temperature_degc):
    """How far the air lifts a star above its true place.

    Parameters
    ----------
    altitude_deg : float or array
        True altitude, as `altaz` gives it [°].
    pressure_hpa : float or array
        Air pressure at the place, not reduced to sea level [hPa]; 0 for no air.
    temperature_degc : float or array
        Air temperature [°C].

    Returns
    -------
    float or array
        Lift, to be added to the true altitude [′]. NaN below −1° of true altitude, where the star has set.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Above 10°: A tan z + B tan³ z of the *lifted* zenith distance z, found by iteration, with ERFA's constants
    for humidity 0.5 and 0.55 µm; within 1″ of ray tracing through a standard atmosphere. That series fails
    towards the horizon, so below 5° stands Saemundsson's formula, within 0.1′ of Bennett's (it is 3 % too
    high at 10°), and between them a straight mix. Real air at the horizon differs from any formula by minutes
    of arc.

    References
    ----------
    Routine refco of ERFA, note 2, for ray tracing; Þ. Sæmundsson, 1986, Sky and Telescope 72, 70, in
    J. Meeus, Astronomical Algorithms, 2nd ed., 1998, eq. 16.4.
    Reference rows REF-02, REF-04, REF-05, REF-07, REF-08 and NIG-01 to NIG-04.

    Examples
    --------
    >>> round(60 * refraction_arcmin(altitude_deg=45, pressure_hpa=1010, temperature_degc=10), 1)
    57.9
    """
    altitude_deg = between("altitude_deg", altitude_deg, -90, 90)
    pressure_hpa = between("pressure_hpa", pressure_hpa, 0, 1100, cure="hectopascal: 101.3 kPa is 1013 hPa")
    temperature_degc = between("temperature_degc", temperature_degc, -90, 60, cure="celsius: 283 K is 10 °C")
    high = _by_constants(np.maximum(altitude_deg, LOW_DEG), pressure_hpa, temperature_degc)
    low = _saemundsson1986(np.clip(altitude_deg, LOWEST_DEG, HIGH_DEG), pressure_hpa, temperature_degc)
    share = np.clip((altitude_deg - LOW_DEG) / (HIGH_DEG - LOW_DEG), 0.0, 1.0)
    lift = share * high + (1.0 - share) * low
    return plain(np.where(np.less(altitude_deg, LOWEST_DEG), np.nan, lift))


def _by_constants(altitude_deg, pressure_hpa, temperature_degc):
    with np.errstate(invalid="ignore"):
        a, b = erfa.refco(pressure_hpa, temperature_degc, HUMIDITY, WAVELENGTH_UM)
    true = np.radians(90.0 - altitude_deg)
    lift = 0.0
    for _ in range(4):  # each turn leaves less than 1/50 of the error of the one before
        tangent = np.tan(true - lift)
        lift = a * tangent + b * tangent**3
    return np.degrees(lift) * ARCMIN_PER_DEG


def _saemundsson1986(altitude_deg, pressure_hpa, temperature_degc):
    lift = 1.02 / np.tan(np.radians(altitude_deg + 10.3 / (altitude_deg + 5.11)))
    return lift * pressure_hpa / 1010.0 * 283.0 / (273.0 + temperature_degc)
