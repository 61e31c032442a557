"""Dark current: how it grows with warmth, its noise, and what a dark frame of another temperature leaves."""

from __future__ import annotations

from typing import NamedTuple

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


# Doubling of dark current near 20 °C, from full-gap (diffusion) to half-gap behaviour: reference row DET-12 and
# Widenhorn et al. 2002, Proc. SPIE 4669, 193.
DOUBLING_RANGE_K = (4.5, 9.0)
_BOLTZMANN_EV_K = 8.617333262e-5  # CODATA 2018
_ZERO_DEGC_K = 273.15


class DarkRange(NamedTuple):
    """Dark current at another temperature: lowest, usual, highest that the doubling range allows [e⁻/s/px]."""

    low_e_s_px: float
    usual_e_s_px: float
    high_e_s_px: float


class DoublingFit(NamedTuple):
    """Dark current from darks at several temperatures.

    Doubling and its uncertainty [K], at the mean temperature [°C]; dark current there and its uncertainty
    [e⁻/s/px]; activation energy [eV].
    """

    doubling_k: float
    doubling_sigma_k: float
    middle_degc: float
    middle_e_s_px: float
    middle_sigma_e_s_px: float
    activation_ev: float


class Mismatch(NamedTuple):
    """What is left after subtracting a dark of another temperature.

    Level of the residue [e⁻]; its pattern from pixel to pixel, one sigma [e⁻]; noise of sky, dark and reading in
    one sub [e⁻]; pattern over noise; and pattern over noise in the whole stack, where the pattern stays and the
    noise averages down.
    """

    level_e: float
    pattern_e: float
    noise_e: float
    share_of_sub: float
    share_of_stack: float


def doubling_k(*, activation_ev, temperature_degc):
    """How much colder a sensor must be to halve its dark current, by its activation energy.

    Parameters
    ----------
    activation_ev : float or array
        Activation energy [eV].
    temperature_degc : float or array
        Temperature of the sensor [°C].

    Returns
    -------
    float or array
        Doubling [K].

    Raises
    ------
    ValueError
        If the energy is not positive or the temperature lies outside −100 to 100 °C.

    Notes
    -----
    ln 2 · k T²/(E + ln 2 · k T) for d = d₀ exp(−E/kT). Half the gap of silicon is 0.56 eV, the whole gap 1.12
    eV; sensors lie between. In the cold it is shorter: 7.9 K at 20 °C is 5.9 K at −20 °C.

    References
    ----------
    Widenhorn, R. et al. (2002), Proc. SPIE 4669, 193; reference rows DET-10, DET-11 and DET-12.

    Examples
    --------
    >>> print(round(doubling_k(activation_ev=0.63, temperature_degc=20), 2))
    7.93
    """
    kelvin = _ZERO_DEGC_K + between("temperature_degc", temperature_degc, **_DEGC)
    halving_ev = np.log(2) * _BOLTZMANN_EV_K * kelvin
    return halving_ev * kelvin / (positive("activation_ev", activation_ev) + halving_ev)


def dark_range_e_s_px(*, reference_e_s_px, reference_degc, temperature_degc, doubling_k) -> DarkRange:
    """Dark current at another temperature with the honest range of an unmeasured doubling.

    Parameters
    ----------
    reference_e_s_px : float or array
        Dark current at the reference temperature [e⁻/s/px].
    reference_degc : float or array
        Reference temperature [°C].
    temperature_degc : float or array
        Temperature of the sensor [°C].
    doubling_k : float or array
        The doubling that is thought usual [K].

    Returns
    -------
    DarkRange
        low_e_s_px, usual_e_s_px and high_e_s_px [e⁻/s/px].

    Raises
    ------
    ValueError
        As `dark_e_s_px`.

    Notes
    -----
    `dark_e_s_px` with doublings of 4.5 and 9 K for the ends, and with the one given. At the reference all three
    are equal; 20 K away they differ by a factor of 22/4.7: measure two darks.

    References
    ----------
    Widenhorn, R. et al. (2002), Proc. SPIE 4669, 193; reference rows DET-12 and DET-13.

    Examples
    --------
    >>> dark = dark_range_e_s_px(reference_e_s_px=0.1, reference_degc=20, temperature_degc=5, doubling_k=6)
    >>> print(round(dark.low_e_s_px, 3), round(dark.usual_e_s_px, 3), round(dark.high_e_s_px, 3))
    0.01 0.018 0.031
    """
    at = {
        "reference_e_s_px": reference_e_s_px,
        "reference_degc": reference_degc,
        "temperature_degc": temperature_degc,
    }
    usual, *ends = (dark_e_s_px(**at, doubling_k=k) for k in (doubling_k, *DOUBLING_RANGE_K))
    everything = np.broadcast_arrays(usual, *ends)
    return DarkRange(np.min(everything, axis=0)[()], usual, np.max(everything, axis=0)[()])


def dark_noise_e(*, dark_e_s_px, sub_s):
    """The shot noise of dark current: subtracting a dark removes its level, never this.

    Parameters
    ----------
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    sub_s : float or array
        Length of the sub [s].

    Returns
    -------
    float or array
        Noise, one sigma [e⁻].

    Raises
    ------
    ValueError
        If the current is negative or the sub not positive.

    Notes
    -----
    √(d t): electrons come free one by one, as photons come. Subtracting one dark adds the same once more.

    References
    ----------
    Poisson's law; Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., sec. 3.5; reference row DET-15.

    Examples
    --------
    >>> print(round(dark_noise_e(dark_e_s_px=0.05, sub_s=120), 2))
    2.45
    """
    return np.sqrt(not_negative("dark_e_s_px", dark_e_s_px) * positive("sub_s", sub_s))


def dark_mismatch(
    *, dark_light_e_s_px, dark_dark_e_s_px, unevenness, sky_e_s_px, read_noise_e, sub_s, subs
) -> Mismatch:
    """What stays in a stack when the darks were taken warmer or colder than the lights.

    Parameters
    ----------
    dark_light_e_s_px : float
        Dark current while the lights were taken [e⁻/s/px].
    dark_dark_e_s_px : float
        Dark current while the darks were taken [e⁻/s/px].
    unevenness : float
        Spread of dark current from pixel to pixel as a share of its mean, hot pixels left out.
    sky_e_s_px : float
        Sky [e⁻/s/px].
    read_noise_e : float
        Read noise [e⁻].
    sub_s : float
        Length of a sub [s].
    subs : float
        Number of subs in the stack; 1 by default would hide what matters, so it has none.

    Returns
    -------
    Mismatch
        level_e, pattern_e, noise_e [e⁻], share_of_sub, share_of_stack.

    Raises
    ------
    ValueError
        If a rate, the noise or the unevenness is negative, or sub or subs not positive.

    Notes
    -----
    Level (d_light − d_dark) t, negative where the darks were warmer; pattern = unevenness · |level|; noise
    √((sky + d_light) t + R²) in one sub. On subs that lie pixel on pixel the noise of the mean falls with √n and
    the pattern does not. Dithering spreads the pattern, and it then falls as well.

    References
    ----------
    Derivation: dark current is a fixed map times a factor of temperature; variances add (Howell 2006, sec.
    4.4). Tested on simulated frames.

    Examples
    --------
    >>> left = dark_mismatch(dark_light_e_s_px=0.06, dark_dark_e_s_px=0.05, unevenness=0.5, sky_e_s_px=1.9,
    ...                      read_noise_e=1.6, sub_s=30, subs=240)
    >>> print(round(left.level_e, 2), round(left.share_of_sub, 3), round(left.share_of_stack, 2))
    0.3 0.019 0.3
    """
    light = not_negative("dark_light_e_s_px", dark_light_e_s_px)
    sub, count = positive("sub_s", sub_s), positive("subs", subs)
    level = (light - not_negative("dark_dark_e_s_px", dark_dark_e_s_px)) * sub
    pattern = not_negative("unevenness", unevenness) * np.abs(level)
    rate = not_negative("sky_e_s_px", sky_e_s_px) + light
    noise = np.sqrt(rate * sub + not_negative("read_noise_e", read_noise_e) ** 2)
    return Mismatch(level, pattern, noise, pattern / noise, pattern / noise * np.sqrt(count))


def doubling_from_darks(*, temperatures_degc, dark_e_s_px, dark_sigma_e_s_px) -> DoublingFit:
    """The doubling of one's own sensor, from darks at two or more temperatures.

    Parameters
    ----------
    temperatures_degc : array
        Temperature of each dark; two or more different ones [°C].
    dark_e_s_px : array
        Dark current of each [e⁻/s/px].
    dark_sigma_e_s_px : float or array
        Uncertainty of the dark currents [e⁻/s/px].

    Returns
    -------
    DoublingFit
        doubling_k and doubling_sigma_k [K], middle_degc [°C], middle_e_s_px and middle_sigma_e_s_px [e⁻/s/px],
        activation_ev [eV].

    Raises
    ------
    ValueError
        If fewer than two different temperatures are given, lengths differ, a current or an uncertainty is not
        positive, or the current does not grow with warmth.

    Notes
    -----
    Weighted straight line of ln d against temperature. Keep the temperatures within some 20 K: further apart
    the doubling itself changes. A camera that writes no temperature gives that of the air, which is not enough.

    References
    ----------
    Derivation: least squares of ln d = a + T ln 2/ΔT; energy k T² times the slope. Tested by Monte Carlo and
    against numpy.polyfit.

    Examples
    --------
    >>> fit = doubling_from_darks(temperatures_degc=[5, 20], dark_e_s_px=[0.018, 0.1], dark_sigma_e_s_px=0.002)
    >>> print(round(fit.doubling_k, 1), round(fit.doubling_sigma_k, 1))
    6.1 0.4
    """
    t = np.atleast_1d(between("temperatures_degc", temperatures_degc, **_DEGC))
    dark = np.atleast_1d(positive("dark_e_s_px", dark_e_s_px, cure="take longer darks"))
    sigma = np.atleast_1d(positive("dark_sigma_e_s_px", dark_sigma_e_s_px))
    if t.shape != dark.shape or t.ndim != 1 or sigma.shape not in ((1,), t.shape):
        raise ValueError(f"one dark_e_s_px for each temperature: received {dark.size} and {t.size}")
    if len(np.unique(t)) < 2:
        raise ValueError("temperatures_degc must hold two different ones")
    weight = np.broadcast_to((dark / sigma) ** 2, t.shape)
    middle = np.sum(weight * t) / np.sum(weight)
    spread = np.sum(weight * (t - middle) ** 2)
    height = np.sum(weight * np.log(dark)) / np.sum(weight)
    slope = np.sum(weight * (t - middle) * np.log(dark)) / spread
    if slope <= 0:
        raise ValueError("dark_e_s_px does not grow with warmth: are the temperatures those of the sensor?")
    doubling, current = np.log(2) / slope, np.exp(height)
    kelvin = _ZERO_DEGC_K + middle
    return DoublingFit(
        doubling_k=float(doubling),
        doubling_sigma_k=float(doubling / slope / np.sqrt(spread)),
        middle_degc=float(middle),
        middle_e_s_px=float(current),
        middle_sigma_e_s_px=float(current / np.sqrt(np.sum(weight))),
        activation_ev=float(slope * _BOLTZMANN_EV_K * kelvin**2),
    )
