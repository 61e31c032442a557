"""The detector: dark current, how it warms, and its dynamic range."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, positive

_DEGC = {"low": -100, "high": 100, "cure": "did you pass kelvins?"}


def dark_e_s_px(*, reference_e_s_px, reference_degc, temperature_degc, doubling_k):
    """Dark current of a sensor at another temperature than the one it was measured at.

    Parameters
    ----------
    reference_e_s_px : float or array
        Dark current at the reference temperature [e⁻/s/px].
    reference_degc : float or array
        Reference temperature [°C].
    temperature_degc : float or array
        Temperature of the sensor [°C].
    doubling_k : float or array
        Warming that doubles the dark current [K].

    Returns
    -------
    float or array
        Dark current [e⁻/s/px].

    Raises
    ------
    ValueError
        If a temperature lies outside −100 to 100 °C, the current is negative, or the doubling not positive.

    Notes
    -----
    d = d₀ 2^((T − T₀)/ΔT). The true law is exponential in 1/T, so the doubling itself depends on temperature:
    4.5 to 9 K at 20 °C. Take it from darks within 15 K of the night's temperatures. Hot pixels follow laws of
    their own.

    References
    ----------
    Widenhorn, R. et al. (2002), Temperature dependence of dark current in a CCD, Proc. SPIE 4669, 193;
    reference rows DET-10, DET-11 and DET-13.

    Examples
    --------
    >>> cold = dark_e_s_px(reference_e_s_px=0.1, reference_degc=20, temperature_degc=8, doubling_k=6)
    >>> print(round(cold, 3))
    0.025
    """
    warmer = between("temperature_degc", temperature_degc, **_DEGC) - between(
        "reference_degc", reference_degc, **_DEGC
    )
    reference = not_negative("reference_e_s_px", reference_e_s_px)
    return reference * 2 ** (warmer / positive("doubling_k", doubling_k))


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


def dynamic_range_db(*, saturation_e, threshold_e):
    """From the faintest light to the brightest that one exposure can tell apart.

    Parameters
    ----------
    saturation_e : float or array
        Electrons at saturation [e⁻].
    threshold_e : float or array
        Sensitivity threshold: the signal at which signal-to-noise is 1 [e⁻].

    Returns
    -------
    float or array
        Dynamic range [dB].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    20 log₁₀(saturation/threshold). The threshold is larger than the read noise: with noise σ it is
    √(σ² + ¼) + ½. One stop (a factor of 2) is 6.02 dB.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), Characterization of image sensors and cameras, dynamic range;
    reference rows DET-03 and DET-06.

    Examples
    --------
    >>> print(round(dynamic_range_db(saturation_e=13000, threshold_e=2.2), 1))
    75.4
    """
    saturation = positive("saturation_e", saturation_e)
    return 20 * np.log10(saturation / positive("threshold_e", threshold_e))
