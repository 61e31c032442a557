"""Water in the air: vapour, dew point and frost point."""

from __future__ import annotations

import numpy as np

from workbook.checks import between

# Alduchov & Eskridge 1996: pressure at 0 °C [hPa], factor, offset [°C] of e = e₀ exp(a T/(b + T)).
WATER = (6.1094, 17.625, 243.04)
ICE = (6.1121, 22.587, 273.86)

_AIR = {"low": -40, "high": 50, "cure": "did you pass kelvins or degrees Fahrenheit?"}
_HUMIDITY = {"low": 1, "high": 100, "cure": "give per cent: a share of 0.8 is 80"}


def saturation_over_water_hpa(*, temperature_degc):
    """Pressure of water vapour at which dew forms.

    Parameters
    ----------
    temperature_degc : float or array
        Temperature of air or of a surface [°C].

    Returns
    -------
    float or array
        Vapour pressure over liquid water, below 0 °C over supercooled water [hPa].

    Raises
    ------
    ValueError
        If the temperature lies outside −40 to 50 °C.

    Notes
    -----
    6.1094 exp(17.625 T/(243.04 + T)), within 0.4 % from −40 to 50 °C. Ignores that air raises the pressure by
    0.4 %.

    References
    ----------
    Alduchov, O. A. & Eskridge, R. E. (1996), Improved Magnus form approximation of saturation vapor pressure,
    J. Appl. Meteor. 35, 601; reference rows DEW-05a and DEW-05b.

    Examples
    --------
    >>> print(round(saturation_over_water_hpa(temperature_degc=5), 2))
    8.72
    """
    return _saturation(between("temperature_degc", temperature_degc, **_AIR), WATER)


def saturation_over_ice_hpa(*, temperature_degc):
    """Pressure of water vapour at which frost forms.

    Parameters
    ----------
    temperature_degc : float or array
        Temperature of air or of a surface [°C]. NaN comes back above 0 °C, where there is no ice.

    Returns
    -------
    float or array
        Vapour pressure over ice [hPa].

    Raises
    ------
    ValueError
        If the temperature lies outside −40 to 50 °C.

    Notes
    -----
    6.1121 exp(22.587 T/(273.86 + T)), below the pressure over water at the same temperature.

    References
    ----------
    Alduchov, O. A. & Eskridge, R. E. (1996), J. Appl. Meteor. 35, 601; reference row DEW-05c.

    Examples
    --------
    >>> print(round(saturation_over_ice_hpa(temperature_degc=-5), 2))
    4.02
    """
    t = between("temperature_degc", temperature_degc, **_AIR)
    return np.where(np.greater(t, 0), np.nan, _saturation(t, ICE))[()]


def dew_point_degc(*, air_degc, humidity_pct):
    """The temperature at which a surface starts to collect dew.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    humidity_pct : float or array
        Relative humidity over water, as weather services and sensors give it [%].

    Returns
    -------
    float or array
        Dew point [°C].

    Raises
    ------
    ValueError
        If the air lies outside −40 to 50 °C or the humidity outside 1 to 100 %.

    Notes
    -----
    The Magnus form e = 6.1094 exp(17.625 T/(243.04 + T)) solved for T. Below 0 °C frost comes first, at the
    higher frost_point_degc. A dew point below −40 °C leaves the range of the formula.

    References
    ----------
    Alduchov, O. A. & Eskridge, R. E. (1996), J. Appl. Meteor. 35, 601; reference rows DEW-01 to DEW-06.

    Examples
    --------
    >>> print(round(dew_point_degc(air_degc=10, humidity_pct=85), 1))
    7.6
    """
    return _inverse(_vapour(air_degc, humidity_pct), WATER)


def frost_point_degc(*, air_degc, humidity_pct):
    """The temperature at which a surface starts to collect frost.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    humidity_pct : float or array
        Relative humidity over water, as weather services and sensors give it [%].

    Returns
    -------
    float or array
        Frost point [°C]. NaN where it would lie above 0 °C: the air then leaves dew.

    Raises
    ------
    ValueError
        If the air lies outside −40 to 50 °C or the humidity outside 1 to 100 %.

    Notes
    -----
    Humidity stays "over water" below 0 °C, by the convention of the WMO; only the deposit is ice. The frost
    point lies above the dew point by about a tenth of its distance from 0 °C.

    References
    ----------
    Alduchov, O. A. & Eskridge, R. E. (1996), J. Appl. Meteor. 35, 601, ice coefficients; World Meteorological
    Organization, Guide to Instruments (WMO No. 8), ch. 4; reference row DEW-07.

    Examples
    --------
    >>> print(round(frost_point_degc(air_degc=-5, humidity_pct=80), 1))
    -7.0
    """
    vapour = _vapour(air_degc, humidity_pct)
    return np.where(np.greater(vapour, ICE[0]), np.nan, _inverse(vapour, ICE))[()]


def _saturation(temperature_degc, coefficients):
    pressure, factor, offset = coefficients
    return pressure * np.exp(factor * temperature_degc / (offset + temperature_degc))


def _vapour(air_degc, humidity_pct):
    share = between("humidity_pct", humidity_pct, **_HUMIDITY) / 100
    return share * _saturation(between("air_degc", air_degc, **_AIR), WATER)


def _inverse(vapour_hpa, coefficients):
    pressure, factor, offset = coefficients
    ratio = np.log(vapour_hpa / pressure)
    return offset * ratio / (factor - ratio)
