"""Energy for the night, and the dew that spends it."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, fraction, not_negative, number, positive

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


def lens_margin_k(*, air_degc, humidity_pct, cooling_k, heater_w, heater_duty, lift_k_w):
    """How far the front lens stays above the temperature at which it mists over or frosts.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    humidity_pct : float or array
        Relative humidity over water [%].
    cooling_k : float or array
        How far the unheated lens cools below the air by looking at the sky [K].
    heater_w : float or array
        Heater power while it is on [W].
    heater_duty : float or array
        Share of the time it is on.
    lift_k_w : float or array
        Warming of the lens for each watt of mean power [K/W].

    Returns
    -------
    float or array
        Margin [K]. Negative: the lens is wet or white.

    Raises
    ------
    ValueError
        If air or humidity leaves its range, the duty is no share, or another value is negative.

    Notes
    -----
    (air − cooling + power × duty × lift) − deposit point, which is the frost point where the dew point lies
    below 0 °C and the dew point elsewhere. A steady state: the minutes a lens takes to follow are left out.

    References
    ----------
    Derivation: heat balance of a lens, linear in heater power (row DEW-11), against dew_point_degc and
    frost_point_degc.

    Examples
    --------
    >>> margin = lens_margin_k(
    ...     air_degc=3, humidity_pct=90, cooling_k=3, heater_w=2, heater_duty=0.5, lift_k_w=2
    ... )
    >>> print(round(margin, 2))
    0.48
    """
    dew = dew_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    frost = frost_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    deposit = np.where(np.isnan(frost), dew, frost)
    mean_w = not_negative("heater_w", heater_w) * fraction("heater_duty", heater_duty)
    lens = number("air_degc", air_degc) - not_negative(
        "cooling_k", cooling_k, cure="give it as a positive number"
    )
    return (lens + mean_w * not_negative("lift_k_w", lift_k_w) - deposit)[()]


def cells_energy_wh(*, cells, cell_v, cell_ah):
    """Nameplate energy of equal cells, in a row or side by side.

    Parameters
    ----------
    cells : float or array
        Number of cells.
    cell_v : float or array
        Nominal voltage of one cell [V].
    cell_ah : float or array
        Capacity of one cell [Ah].

    Returns
    -------
    float or array
        Energy [Wh].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    n · V · Ah. Ampere-hours alone are no energy: they count only together with the voltage.

    References
    ----------
    Derivation: energy is charge times voltage; nominal 1.2 V of a NiMH cell from IEC 61951-2; reference rows
    PWR-08 and PWR-15.

    Examples
    --------
    >>> print(round(cells_energy_wh(cells=8, cell_v=1.2, cell_ah=2.0), 1))
    19.2
    """
    volts = positive("cells", cells) * positive("cell_v", cell_v)
    return volts * positive("cell_ah", cell_ah, cure="did you pass milliampere-hours? 2000 mAh are 2 Ah")


def runtime_h(*, energy_wh, usable, cold, converter, load_w):
    """How long a battery carries a load.

    Parameters
    ----------
    energy_wh : float or array
        Energy on the nameplate [Wh].
    usable : float or array
        Share that may be drawn before the pack switches off or takes harm.
    cold : float or array
        Share that is left at the temperature of the night.
    converter : float or array
        Share that passes the voltage converter; 1 without one.
    load_w : float or array
        Power at the devices [W].

    Returns
    -------
    float or array
        Run time [h].

    Raises
    ------
    ValueError
        If energy or load is not positive, or a share lies outside 0 to 1.

    Notes
    -----
    energy × usable × cold × converter / load. Ignores that fast discharge costs some chemistries extra, and
    loss in the lead.

    References
    ----------
    Derivation: energy balance; reference row PWR-14.

    Examples
    --------
    >>> print(round(runtime_h(energy_wh=96, usable=0.9, cold=0.85, converter=0.95, load_w=11.5), 1))
    6.1
    """
    shares = fraction("usable", usable) * fraction("cold", cold) * fraction("converter", converter)
    return (
        positive("energy_wh", energy_wh)
        * shares
        / positive("load_w", load_w, cure="a load of 0 W never ends")
    )


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
