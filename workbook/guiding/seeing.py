"""The air moves a small telescope's star about: how far, how long it takes to average out, over what angle.

One model serves all: frozen turbulence carried past the telescope by the wind, with the spectrum of von
Kármán. The power of the motion in one axis, wind from any side, is
S(f) = c [0.6 (f² + f₀²)^(−1/3) + 0.4 f² (f² + f₀²)^(−4/3)], f₀ = wind / outer scale, up to wind / aperture.
For an endless outer scale it goes as f^(−2/3), and the motion of two apertures a distance d apart has the
correlation 0.675 (D/d)^(1/3): both are known laws, and fix c.
"""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, positive
from workbook.constants import ARCSEC_PER_RAD

SEEING_NM = 500.0  # the wavelength at which seeing is quoted
FRIED = 0.98  # seeing = 0.98 λ / r0 (Fried 1966; reference row SEE-01)
NOLL_TILT = 0.182  # tilt variance of one axis in (λ/D)² (D/r0)^(5/3) (Noll 1976; reference row SEE-07)
# Mean over both directions of 1 − (1 − 0.541 (d/D)^(−1/3)) and 1 − (1 − 0.811 (d/D)^(−1/3)), the differential
# motion of two apertures (Sarazin & Roddier 1990, A&A 227, 294, recalled).
APART = 0.675
# ∫ f^(−2/3) cos(2πfτ) df over all f ≥ 0 is Γ(1/3) cos(π/6) (2πτ)^(−1/3).
COSINE_INTEGRAL = 2.6789385347077476 * np.sqrt(0.75) / (2.0 * np.pi) ** (1.0 / 3.0)
SPECTRUM = APART / COSINE_INTEGRAL  # c in σ² (D/wind)^(1/3)
CUT_OFF = (1.0 / (3.0 * SPECTRUM)) ** 3  # of the spectrum in wind/D: its integral is then σ²
POINTS = 600  # of an integral over the spectrum: good to 0.1 %
FOLDS = 8  # multiples of the sampling rate whose power is folded back into a series


def tilt_sigma_arcsec(*, aperture_mm, seeing_arcsec):
    """How far the air moves the star at any instant: one axis.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the telescope [mm].
    seeing_arcsec : float or array
        Width of a star in a long exposure by the air alone, at 500 nm [″].

    Returns
    -------
    float or array
        Motion, one sigma in each axis [″].

    Raises
    ------
    ValueError
        If a value is not above zero.

    Notes
    -----
    0.182 (λ/D)² (D/r0)^(5/3) is the variance, with r0 = 0.98 λ/seeing. It is the same in all colours, and falls
    with the aperture only as D^(−1/6): a small guide telescope sees nearly all of it. For an outer scale far
    above the aperture.

    References
    ----------
    Noll, R. J. (1976), J. Opt. Soc. Am. 66, 207 (recalled); reference rows SEE-01 and SEE-07.

    Examples
    --------
    >>> print(round(tilt_sigma_arcsec(aperture_mm=32, seeing_arcsec=3), 2))
    1.32
    """
    aperture = 1e-3 * positive("aperture_mm", aperture_mm)
    wavelength = 1e-9 * SEEING_NM
    fried = FRIED * wavelength * ARCSEC_PER_RAD / positive("seeing_arcsec", seeing_arcsec)
    return ARCSEC_PER_RAD * wavelength / aperture * np.sqrt(NOLL_TILT) * (aperture / fried) ** (5.0 / 6.0)


def averaged_tilt_sigma_arcsec(*, aperture_mm, seeing_arcsec, exposure_s, wind_m_s, outer_scale_m):
    """How far the air moves the star from exposure to exposure: what a guide camera chases.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the telescope [mm].
    seeing_arcsec : float or array
        Width of a star in a long exposure by the air alone, at 500 nm [″].
    exposure_s : float or array
        Length of the exposure [s].
    wind_m_s : float or array
        Speed of the turbulent air [m/s].
    outer_scale_m : float or array
        Largest whirls that still have the full strength [m].

    Returns
    -------
    float or array
        Motion of the mean place, one sigma in each axis [″].

    Raises
    ------
    ValueError
        If a value is not above zero.

    Notes
    -----
    √∫ S(f) sinc²(f t) df. Slow: up to t = outer scale/wind it falls only as t^(−1/6), then as t^(−1/2). Where most
    of the bad air is near the ground, the wind is low and the averaging takes longer.

    References
    ----------
    Martin, H. M. (1987), PASP 99, 1360 (motion against exposure, recalled); Sarazin, M. & Roddier, F. (1990), A&A
    227, 294 (recalled).

    Examples
    --------
    >>> print(round(averaged_tilt_sigma_arcsec(aperture_mm=32, seeing_arcsec=3, exposure_s=2, wind_m_s=8,
    ...     outer_scale_m=25), 2))
    0.22
    """
    exposure = positive("exposure_s", exposure_s)
    wind, outer = positive("wind_m_s", wind_m_s), positive("outer_scale_m", outer_scale_m)
    sigma = tilt_sigma_arcsec(aperture_mm=aperture_mm, seeing_arcsec=seeing_arcsec)
    aperture = 1e-3 * np.asarray(aperture_mm, dtype=float)
    sigma, aperture, exposure, wind, outer = np.broadcast_arrays(sigma, aperture, exposure, wind, outer)
    f, weight, power = _spectrum(sigma, aperture, wind, outer)
    return np.sqrt(np.sum(weight * power * np.sinc(f * exposure[..., None]) ** 2, axis=-1))[()]


def tilt_correlation(*, separation_deg, layer_m, exposure_s, wind_m_s, outer_scale_m):
    """How much of the motion two guide stars share.

    Parameters
    ----------
    separation_deg : float or array
        Angle between the stars [°].
    layer_m : float or array
        Height of the turbulent air above you [m].
    exposure_s : float or array
        Length of the exposure [s].
    wind_m_s : float or array
        Speed of the turbulent air [m/s].
    outer_scale_m : float or array
        Largest whirls that still have the full strength [m].

    Returns
    -------
    float or array
        Correlation: 1 for the same motion, 0 for none in common.

    Raises
    ------
    ValueError
        If the separation or height is negative, or another value not above zero.

    Notes
    -----
    The beams cross the layer height × angle apart; the wind carries one pattern to the other in that length /
    wind, so ∫ S sinc²(f t) cos(2πfτ) df / ∫ S sinc²(f t) df. For stars along the wind; across it is much alike.
    Near the ground all stars move together, high up each on its own: real air has both.

    References
    ----------
    Taylor, G. I. (1938), Proc. R. Soc. A 164, 476 (frozen turbulence); the spectrum of this file.

    Examples
    --------
    >>> far = {"separation_deg": 0.5, "exposure_s": 2, "wind_m_s": 8, "outer_scale_m": 25}
    >>> print(round(tilt_correlation(layer_m=50, **far), 2), round(tilt_correlation(layer_m=5000, **far), 2))
    0.99 -0.0
    """
    apart = np.radians(not_negative("separation_deg", separation_deg)) * not_negative("layer_m", layer_m)
    exposure = positive("exposure_s", exposure_s)
    wind, outer = positive("wind_m_s", wind_m_s), positive("outer_scale_m", outer_scale_m)
    apart, exposure, wind, outer = np.broadcast_arrays(apart, exposure, wind, outer)
    f, weight, power = _spectrum(np.ones(wind.shape), 1e-3 * wind * exposure, wind, outer)
    seen = weight * power * np.sinc(f * exposure[..., None]) ** 2
    shared = np.sum(seen * np.cos(2.0 * np.pi * f * (apart / wind)[..., None]), axis=-1)
    return (shared / np.sum(seen, axis=-1))[()]


def tilt_series_arcsec(*, times_s, tilt_sigma_arcsec, aperture_mm, wind_m_s, outer_scale_m, seed):
    """One night's motion of the star by the air, in both axes, averaged over each step of time.

    Parameters
    ----------
    times_s : array
        Times with even steps [s].
    tilt_sigma_arcsec : float
        Motion at any instant, one sigma in each axis [″].
    aperture_mm : float
        Clear diameter of the telescope [mm].
    wind_m_s : float
        Speed of the turbulent air [m/s].
    outer_scale_m : float
        Largest whirls that still have the full strength [m].
    seed : int or numpy Generator
        Makes the same air again.

    Returns
    -------
    array (2, times)
        Motion in right ascension and in declination on the sky [″].

    Raises
    ------
    ValueError
        If the times are not even, or a value is not above zero (the motion may be 0).

    Notes
    -----
    Random phases under √(S(f) sinc²(f Δt)), turned into time by an FFT; what is faster than the steps is folded
    back, as sampling does. The series is twice as long as asked,
    so that its end does not join its beginning.

    References
    ----------
    Timmer, J. & König, M. (1995), A&A 300, 707 (noise of a given spectrum).

    Examples
    --------
    >>> air = tilt_series_arcsec(times_s=np.arange(0, 600, 0.1), tilt_sigma_arcsec=1.3, aperture_mm=32,
    ...     wind_m_s=8, outer_scale_m=25, seed=1)
    >>> air.shape, bool(0.5 < air.std() < 1.3)
    ((2, 6000), True)
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=float))
    steps = np.diff(times)
    if times.size < 2 or steps[0] <= 0 or np.abs(steps - steps[0]).max() > 1e-6 * steps[0] * times.size:
        raise ValueError("times_s must rise in even steps: make them with numpy's arange")
    sigma = not_negative("tilt_sigma_arcsec", float(tilt_sigma_arcsec))
    aperture = 1e-3 * positive("aperture_mm", float(aperture_mm))
    wind, outer = positive("wind_m_s", float(wind_m_s)), positive("outer_scale_m", float(outer_scale_m))
    step, count = float(steps[0]), 2 ** int(np.ceil(np.log2(2 * times.size)))
    f = np.fft.rfftfreq(count, step)
    folded = np.abs(f[:, None] + np.arange(-FOLDS, FOLDS + 1) / step)
    power = np.sum(_power(folded, sigma, aperture, wind, outer) * np.sinc(folded * step) ** 2, axis=1)
    power[0] = 0.0
    random = np.random.default_rng(seed)
    noise = random.standard_normal((2, 2, f.size))
    amplitude = np.sqrt(power * count / (4.0 * step)) * (noise[0] + 1j * noise[1])
    return np.fft.irfft(amplitude, count)[:, : times.size]


def _power(f, sigma, aperture, wind, outer):
    """Power of the motion in one axis at frequencies, zero above the cut-off [″²/Hz]."""
    f2, bend = f**2, f**2 + (wind / outer) ** 2
    shape = 0.6 * bend ** (-1.0 / 3.0) + 0.4 * f2 * bend ** (-4.0 / 3.0)
    return np.where(
        f <= CUT_OFF * wind / aperture, SPECTRUM * sigma**2 * (aperture / wind) ** (1.0 / 3.0) * shape, 0.0
    )


def _spectrum(sigma, aperture, wind, outer):
    """Frequencies (…, points), weights of an integral over them, and the power there.

    The points lie evenly in the cube root of the frequency, in which the integral of f^(−2/3) is even.
    """
    sigma, aperture, wind, outer = (v[..., None] for v in (sigma, aperture, wind, outer))
    middle = (np.arange(POINTS) + 0.5) / POINTS
    top = CUT_OFF * wind / aperture
    f = top * middle**3
    return f, top * 3.0 * middle**2 / POINTS, _power(f, sigma, aperture, wind, outer)
