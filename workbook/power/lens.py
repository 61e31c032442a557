"""The front lens at night: how far it cools under the sky, and how far it stays from dew or frost."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, chosen, fraction, not_negative, number, positive
from workbook.power.air import _AIR, dew_point_degc, frost_point_degc

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m²/K⁴, CODATA 2018, exact by the definition of its factors
KELVIN = 273.15


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
    deposit = deposit_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    mean_w = not_negative("heater_w", heater_w) * fraction("heater_duty", heater_duty)
    lens = number("air_degc", air_degc) - not_negative(
        "cooling_k", cooling_k, cure="give it as a positive number"
    )
    return (lens + mean_w * not_negative("lift_k_w", lift_k_w) - deposit)[()]


def deposit_point_degc(*, air_degc, humidity_pct):
    """The temperature at which a lens mists over or frosts, whichever comes first.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    humidity_pct : float or array
        Relative humidity over water [%].

    Returns
    -------
    float or array
        Frost point where the dew point lies below 0 °C, else the dew point [°C].

    Raises
    ------
    ValueError
        If air or humidity leaves its range.

    Notes
    -----
    frost_point_degc where it exists, dew_point_degc elsewhere. Supercooled dew is ignored: glass seldom
    carries it long.

    References
    ----------
    Derivation: the higher of two published points; reference rows DEW-03 and DEW-07.

    Examples
    --------
    >>> print(round(deposit_point_degc(air_degc=-5, humidity_pct=80), 1))
    -7.0
    """
    dew = dew_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    frost = frost_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    return np.where(np.isnan(frost), dew, frost)[()]


def clear_sky_degc(*, air_degc, humidity_pct, model="swinbank1963"):
    """The temperature that a cloudless night sky shows to a warm surface.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air near the ground [°C].
    humidity_pct : float or array
        Relative humidity over water [%]; swinbank1963 does not use it.
    model : str
        "swinbank1963" or "berdahl1984"; the first by default, as it asks for the least.

    Returns
    -------
    float or array
        Temperature of a black sky with the same radiation [°C].

    Raises
    ------
    ValueError
        If air or humidity leaves its range, or the model is unknown.

    Notes
    -----
    swinbank1963: 0.0552 T^1.5 with T in kelvins. berdahl1984: T ε^¼ with ε = 0.711 + 0.56 (Td/100) +
    0.73 (Td/100)², Td the dew point in °C. The two differ by several kelvins: humid air radiates more. Both
    average the whole sky; cloud and haze make it warmer.

    References
    ----------
    Swinbank, W. C. (1963), Long-wave radiation from clear skies, QJRMS 89, 339; reference row DEW-09.
    Berdahl, P. & Martin, M. (1984), Emissivity of clear skies, Solar Energy 32, 663; reference row DEW-14.

    Examples
    --------
    >>> print(round(clear_sky_degc(air_degc=10, humidity_pct=85), 1))
    -10.1
    """
    chosen("model", model, ("swinbank1963", "berdahl1984"))
    kelvin = between("air_degc", air_degc, **_AIR) + KELVIN
    dew = dew_point_degc(air_degc=air_degc, humidity_pct=humidity_pct)
    if model == "swinbank1963":
        return 0.0552 * kelvin**1.5 - KELVIN + 0.0 * dew
    return kelvin * (0.711 + 0.56 * (dew / 100) + 0.73 * (dew / 100) ** 2) ** 0.25 - KELVIN


def radiative_loss_w_m2(*, surface_degc, sky_degc, emissivity):
    """What a surface loses by looking at the sky.

    Parameters
    ----------
    surface_degc : float or array
        Temperature of the surface [°C].
    sky_degc : float or array
        Temperature of the sky as clear_sky_degc gives it [°C].
    emissivity : float or array
        Share of a black body's radiation; glass about 0.9.

    Returns
    -------
    float or array
        Net loss [W/m²]; negative under a sky warmer than the surface.

    Raises
    ------
    ValueError
        If the surface leaves −90 to 90 °C, the sky −150 to 60 °C, or the emissivity is no share.

    Notes
    -----
    ε σ (T⁴ − T_sky⁴) for a surface that sees nothing but sky.

    References
    ----------
    Stefan-Boltzmann law; reference row DEW-10.

    Examples
    --------
    >>> print(round(radiative_loss_w_m2(surface_degc=10, sky_degc=-10, emissivity=0.9), 1))
    83.3
    """
    warm = between("surface_degc", surface_degc, -90, 90, cure="did you pass kelvins?") + KELVIN
    sky = between("sky_degc", sky_degc, -150, 60, cure="did you pass kelvins?") + KELVIN
    return fraction("emissivity", emissivity) * STEFAN_BOLTZMANN * (warm**4 - sky**4)


def sky_cooling_k(*, air_degc, sky_degc, emissivity, transfer_w_m2_k, open_sky):
    """How far an unheated lens ends below the air, between the cold sky and the warmer air.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    sky_degc : float or array
        Temperature of the clear sky [°C].
    emissivity : float or array
        Share of a black body's radiation; glass about 0.9.
    transfer_w_m2_k : float or array
        Heat the air gives each square metre for each kelvin [W/m²/K]: about 5 in still air behind a dew
        shield, 10 in the open, 20 in a breeze.
    open_sky : float or array
        Share of what the lens sees that is clear sky; a dew shield, a roof and clouds take from it, and
        radiate like the air.

    Returns
    -------
    float or array
        Cooling below the air [K]; the `cooling_k` of lens_margin_k.

    Raises
    ------
    ValueError
        If a temperature leaves its range, a share its 0 to 1, or the transfer is not positive.

    Notes
    -----
    Solves ε σ [F (T⁴ − T_sky⁴) + (1 − F)(T⁴ − T_air⁴)] = h (T_air − T) by Newton's method. A steady state; the
    heat of the tube behind the lens and the heat of dew that condenses are left out.

    References
    ----------
    Derivation: heat balance of a thin plate; reference row DEW-12.

    Examples
    --------
    >>> print(round(sky_cooling_k(
    ...     air_degc=10, sky_degc=-10, emissivity=0.9, transfer_w_m2_k=10, open_sky=0.4), 1))
    2.3
    """
    air = between("air_degc", air_degc, **_AIR) + KELVIN
    sky = between("sky_degc", sky_degc, -150, 60, cure="did you pass kelvins?") + KELVIN
    seen = fraction("open_sky", open_sky)
    glow = fraction("emissivity", emissivity) * STEFAN_BOLTZMANN
    transfer = positive("transfer_w_m2_k", transfer_w_m2_k, cure="5 to 20 W/m²/K is usual outdoors")
    lens = air + 0.0 * (sky + seen + glow + transfer)
    for _ in range(6):  # the balance bends so little that four steps reach 1e-9 K
        excess = glow * (lens**4 - seen * sky**4 - (1 - seen) * air**4) - transfer * (air - lens)
        lens = lens - excess / (4 * glow * lens**3 + transfer)
    return air - lens
