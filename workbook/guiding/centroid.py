"""How exactly a star's place can be read from one exposure, and how faint a guide star may be."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA

PHASES = 4  # places of the star within a pixel, along each side
FINE_SIGMA_PX = 2.0  # a star wider than this does not feel where in the pixel it stands
WINDOW_SIGMA = 6.0  # half of the window in which light is counted
FWHM_CURE = "a star is 1 to 6 pixels wide; below half a pixel one pixel holds it all"


def centroid_sigma_px(*, fwhm_px, star_e, background_e_px, read_noise_e):
    """The smallest error with which the place of a star can be read: one axis, one exposure.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star before the pixels, full width at half maximum, 0.5 to 60 [px].
    star_e : float or array
        Electrons of the star [e⁻].
    background_e_px : float or array
        Electrons of sky and dark current in a pixel [e⁻/px].
    read_noise_e : float or array
        Read noise of a pixel [e⁻].

    Returns
    -------
    float or array
        Error, one sigma in each axis [px].

    Raises
    ------
    ValueError
        If the width is out of range, the star not above zero, or background or read noise negative.

    Notes
    -----
    The Cramér–Rao bound of a round Gaussian, its light counted in square pixels: 1/σ² = Σ (∂m/∂x)²/(m + b +
    R²) over the pixels, m the star's electrons in one; variance in the mean over the places within a pixel. No
    method does better; a fit weighted by the noise comes within a few per cent, the centre of light in a box
    does far worse under a bright sky. Uneven pixels, hot pixels and seeing come on top.

    References
    ----------
    Winick, K. A. (1986), J. Opt. Soc. Am. A 3, 1809; Mortensen, K. I. et al. (2010), Nature Methods 7, 377;
    reference rows CEN-01 to CEN-05. The formula of Thompson et al. (2002), Biophys. J. 82, 2775 lies 9 % below
    this bound where the sky rules.

    Examples
    --------
    >>> print(round(centroid_sigma_px(fwhm_px=3, star_e=1000, background_e_px=91, read_noise_e=3), 4))
    0.1006
    """
    fwhm = between("fwhm_px", fwhm_px, 0.5, 60, cure=FWHM_CURE)
    star = positive("star_e", star_e)
    noise = not_negative("background_e_px", background_e_px) + not_negative("read_noise_e", read_noise_e) ** 2
    fwhm, star, noise = np.broadcast_arrays(fwhm, star, noise)
    sigma = np.empty(fwhm.shape)
    for index in np.ndindex(fwhm.shape):
        sigma[index] = _bound(
            float(fwhm[index]) / GAUSSIAN_FWHM_PER_SIGMA, float(star[index]), float(noise[index])
        )
    return sigma[()]


def photon_limit_px(*, fwhm_px, star_e):
    """The error of a star's place on fine pixels, without sky or read noise: the light itself sets it.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star, full width at half maximum [px].
    star_e : float or array
        Electrons of the star [e⁻].

    Returns
    -------
    float or array
        Error, one sigma in each axis [px].

    Raises
    ------
    ValueError
        If a value is not above zero.

    Notes
    -----
    σ/√N = FWHM/(2.355 √N); with √N read as the signal-to-noise ratio it is the rule FWHM/(2.355 SNR), which holds
    in this case only: under a bright sky the error is larger than the rule says.

    References
    ----------
    King, I. R. (1983), PASP 95, 163 (recalled); reference rows CEN-01 and CEN-06.

    Examples
    --------
    >>> print(round(photon_limit_px(fwhm_px=3, star_e=1000), 4))
    0.0403
    """
    return positive("fwhm_px", fwhm_px) / GAUSSIAN_FWHM_PER_SIGMA / np.sqrt(positive("star_e", star_e))


def centroid_fit_px(*, fwhm_px, star_e, background_e_px, read_noise_e):
    """The error of a plain fit that gives every pixel the same weight.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star before the pixels, full width at half maximum [px].
    star_e : float or array
        Electrons of the star [e⁻].
    background_e_px : float or array
        Electrons of sky and dark current in a pixel [e⁻/px].
    read_noise_e : float or array
        Read noise of a pixel [e⁻].

    Returns
    -------
    float or array
        Error, one sigma in each axis [px].

    Raises
    ------
    ValueError
        If width or star is not above zero, or background or read noise negative.

    Notes
    -----
    s²/N (16/9 + 8π s² (b + R²)/N) with s² = σ² + 1/12. For stars of two pixels and more.

    References
    ----------
    Mortensen, K. I. et al. (2010), Nature Methods 7, 377, eq. 3; reference row CEN-03.

    Examples
    --------
    >>> print(round(centroid_fit_px(fwhm_px=3, star_e=1000, background_e_px=100, read_noise_e=0), 4))
    0.1017
    """
    s2 = (positive("fwhm_px", fwhm_px) / GAUSSIAN_FWHM_PER_SIGMA) ** 2 + 1.0 / 12.0
    star = positive("star_e", star_e)
    noise = not_negative("background_e_px", background_e_px) + not_negative("read_noise_e", read_noise_e) ** 2
    return np.sqrt(s2 / star * (16.0 / 9.0 + 8.0 * np.pi * s2 * noise / star))


def faintest_star_e(*, fwhm_px, background_e_px, read_noise_e, centroid_sigma_px):
    """The light a star must give in one exposure to be placed so exactly.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star before the pixels, full width at half maximum, 0.5 to 60 [px].
    background_e_px : float or array
        Electrons of sky and dark current in a pixel [e⁻/px].
    read_noise_e : float or array
        Read noise of a pixel [e⁻].
    centroid_sigma_px : float or array
        Error that you accept, one sigma in each axis [px].

    Returns
    -------
    float or array
        Electrons of the star [e⁻].

    Raises
    ------
    ValueError
        If the width is out of range, the error not above zero, or background or read noise negative.

    Notes
    -----
    centroid_sigma_px turned round by halving the interval in the logarithm.

    References
    ----------
    Derivation: the bound of centroid_sigma_px falls steadily with the light.

    Examples
    --------
    >>> print(round(faintest_star_e(fwhm_px=3, background_e_px=91, read_noise_e=3, centroid_sigma_px=0.1006)))
    1000
    """
    fwhm = between("fwhm_px", fwhm_px, 0.5, 60, cure=FWHM_CURE)
    noise = not_negative("background_e_px", background_e_px) + not_negative("read_noise_e", read_noise_e) ** 2
    wanted = positive("centroid_sigma_px", centroid_sigma_px)
    fwhm, noise, wanted = np.broadcast_arrays(fwhm, noise, wanted)
    star = np.empty(fwhm.shape)
    for index in np.ndindex(fwhm.shape):
        star[index] = _light(
            float(fwhm[index]) / GAUSSIAN_FWHM_PER_SIGMA, float(noise[index]), float(wanted[index])
        )
    return star[()]


def _light(sigma, noise, wanted):
    if np.isnan(sigma + noise + wanted):
        return np.nan
    low = high = np.log(sigma**2 / wanted**2)  # the photon limit, a lower bound
    while _bound(sigma, np.exp(high), noise) > wanted:
        high += 2.0
    while _bound(sigma, np.exp(low), noise) < wanted:
        low -= 2.0
    while high - low > 1e-9:
        middle = (low + high) / 2.0
        low, high = (middle, high) if _bound(sigma, np.exp(middle), noise) > wanted else (low, middle)
    return np.exp(high)


def _bound(sigma, star, noise):
    """Root mean square of the Cramér–Rao bound over places within a pixel."""
    if np.isnan(sigma + star + noise):
        return np.nan
    shares, slopes = _shares(sigma)
    light = star * shares[None, :, :, None] * shares[:, None, None, :]  # (x place, y place, y pixel, x pixel)
    move = star * shares[None, :, :, None] * slopes[:, None, None, :]
    with np.errstate(invalid="ignore", divide="ignore"):
        each = np.where(light + noise > 0.0, move**2 / (light + noise), 0.0)
    return float(np.sqrt(np.mean(1.0 / each.sum(axis=(2, 3)))))


def _shares(sigma):
    """Share of the light in each column of pixels and its change with the star's place, (places, pixels)."""
    half = int(np.ceil(WINDOW_SIGMA * sigma + 1.0))
    places = [0.0] if sigma > FINE_SIGMA_PX else (np.arange(PHASES) + 0.5) / PHASES - 0.5
    edges = (np.arange(-half, half + 2) - 0.5 - np.reshape(places, (-1, 1))) / sigma
    below = _normal_share(edges)
    height = np.exp(-(edges**2) / 2.0) / (np.sqrt(2.0 * np.pi) * sigma)
    return np.diff(below, axis=1), -np.diff(height, axis=1)


def _normal_share(z):
    """The share of a normal distribution below z."""
    from math import erf, sqrt

    return 0.5 * (1.0 + np.array([erf(v / sqrt(2.0)) for v in z.ravel()]).reshape(z.shape))
