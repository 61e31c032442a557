"""The warmth of a sensor: how an uncooled one heats up, and whether cooling is worth it here."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.sensor.dark import _DEGC


def sensor_temperature_degc(*, air_degc, elapsed_min, warm_up_k, warm_up_min):
    """Temperature of an uncooled sensor some minutes after the camera was switched on.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    elapsed_min : float or array
        Time since the camera was switched on [min].
    warm_up_k : float or array
        How far the running sensor ends above the air [K].
    warm_up_min : float or array
        Time after which 95 % of that rise is reached [min].

    Returns
    -------
    float or array
        Temperature of the sensor [°C].

    Raises
    ------
    ValueError
        If the temperature lies outside −100 to 100 °C, a time or the rise is negative, or the warm-up time 0.

    Notes
    -----
    T = T_air + rise (1 − exp(−3 t/t₉₅)): one heat capacity, one resistance, constant power. "Warms 7 K in
    30 min" is read as 95 % of 7 K after 30 min, a time constant of 10 min. The camera is taken to follow the
    slow cooling of the night without delay.

    References
    ----------
    Derivation: Newton's law of cooling, C dT/dt = P − (T − T_air)/R; exp(−3) is 0.05.

    Examples
    --------
    >>> print(round(sensor_temperature_degc(air_degc=8, elapsed_min=30, warm_up_k=7, warm_up_min=30), 2))
    14.65
    """
    air = between("air_degc", air_degc, **_DEGC)
    times = not_negative("elapsed_min", elapsed_min) / positive("warm_up_min", warm_up_min)
    return air + not_negative("warm_up_k", warm_up_k) * (1 - np.exp(-3 * times))


class Cooling(NamedTuple):
    """What a colder sensor is worth under one sky.

    Noise of the background warm over cold; time warm over time cold for the same depth; share of the background's
    noise (as variance) that dark current makes when warm.
    """

    noise_ratio: float
    time_ratio: float
    dark_share: float


def wait_min(*, warm_up_k, warm_up_min, within_k):
    """How long to wait after switching on until the sensor is nearly as warm as it will get.

    Parameters
    ----------
    warm_up_k : float or array
        How far the running sensor ends above the air [K].
    warm_up_min : float or array
        Time after which 95 % of that rise is reached [min].
    within_k : float or array
        How near to the end is near enough, for instance 1 K so that darks match [K].

    Returns
    -------
    float or array
        Time [min]; 0 where the whole rise is smaller than that.

    Raises
    ------
    ValueError
        If the rise is negative, or the warm-up time or the nearness is not positive.

    Notes
    -----
    t₉₅/3 · ln(rise/nearness), the inverse of `sensor_temperature_degc`. The air goes on cooling: after the wait
    the sensor follows it.

    References
    ----------
    Derivation: Newton's law of cooling turned round; tested with `sensor_temperature_degc` and scipy's root.

    Examples
    --------
    >>> print(round(wait_min(warm_up_k=7, warm_up_min=30, within_k=1), 1))
    19.5
    """
    rise = not_negative("warm_up_k", warm_up_k) / positive("within_k", within_k)
    return positive("warm_up_min", warm_up_min) / 3 * np.log(np.maximum(rise, 1.0))


def cooling_gain(*, sky_e_s_px, warm_e_s_px, cold_e_s_px, read_noise_e, sub_s) -> Cooling:
    """Is cooling worth it here? The noise of a warm sensor against a cold one, under one's own sky.

    Parameters
    ----------
    sky_e_s_px : float or array
        Sky through the filter in use [e⁻/s/px].
    warm_e_s_px : float or array
        Dark current of the warm sensor [e⁻/s/px].
    cold_e_s_px : float or array
        Dark current of the cold one [e⁻/s/px].
    read_noise_e : float or array
        Read noise [e⁻].
    sub_s : float or array
        Length of a sub [s].

    Returns
    -------
    Cooling
        noise_ratio, time_ratio and dark_share.

    Raises
    ------
    ValueError
        If a rate or the read noise is negative, the sub is not positive, or there is no noise at all.

    Notes
    -----
    √((sky + warm + R²/t)/(sky + cold + R²/t)); the time ratio is its square. For objects fainter than the
    background. Hot pixels and a temperature that wanders are further reasons to cool that this leaves out.

    References
    ----------
    Derivation: variances add (Howell 2006, sec. 4.4); tested by counting simulated electrons.

    Examples
    --------
    >>> town = cooling_gain(sky_e_s_px=5.8, warm_e_s_px=0.05, cold_e_s_px=0.005, read_noise_e=1.6, sub_s=30)
    >>> narrow = cooling_gain(sky_e_s_px=0.03, warm_e_s_px=0.05, cold_e_s_px=0.005, read_noise_e=1.6, sub_s=120)
    >>> print(round(town.noise_ratio, 3), round(narrow.noise_ratio, 2))
    1.004 1.34
    """
    sky = not_negative("sky_e_s_px", sky_e_s_px)
    reading = not_negative("read_noise_e", read_noise_e) ** 2 / positive("sub_s", sub_s)
    dark = not_negative("warm_e_s_px", warm_e_s_px)
    warm = positive("sky_e_s_px", sky + dark + reading, cure="sky, dark and read noise cannot all be zero")
    cold = positive(
        "sky_e_s_px",
        sky + not_negative("cold_e_s_px", cold_e_s_px) + reading,
        cure="sky, dark and read noise cannot all be zero",
    )
    return Cooling(np.sqrt(warm / cold), warm / cold, dark / warm)
