"""The width of a star, and the parts it is made of.

Widths are second moments: squares of standard deviations add, exactly, whatever the shapes. The full width at
half maximum (FWHM) quoted from them is that of the Gaussian with the same second moment.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, not_negative, positive
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA

PIXEL_VARIANCE = 1 / 12  # of a box one pixel wide, px²

# Variance that filling in the missing colours by averaging neighbours adds on each axis, px². Green is missing
# in half of the pixels and is the mean of four neighbours there: 1/2 · 1/2. Red and blue lie on a grid of
# 2 px; the weights along a row are 1/4, 1/2, 1/4: 2 · 1/4. "colour" is grey mixed of red, two greens and blue.
# Cleverer fillings that follow edges lie between 0 and these.
MOSAIC_VARIANCE = {"mono": 0.0, "colour": 0.375, "green": 0.25, "red": 0.5, "blue": 0.5}

SEEING_REFERENCE_NM = 500.0  # the wavelength at which seeing is quoted by custom


class TrailedWidth(NamedTuple):
    """Standard deviations of a trailed star, along the trail and across it [px]."""

    along_px: float | np.ndarray
    across_px: float | np.ndarray


def fwhm_of_sigma_px(sigma_px):
    """The width at half maximum of a Gaussian star with a standard deviation.

    Parameters
    ----------
    sigma_px : float or array
        Standard deviation along one axis [px].

    Returns
    -------
    float or array
        Full width at half maximum [px].

    Raises
    ------
    ValueError
        If the standard deviation is negative.

    Notes
    -----
    2 √(2 ln 2) σ = 2.3548 σ. For a star that is no Gaussian it is a convention: a Gaussian of σ 1 px seen by
    2 px wide pixels has a second moment of "2.72 px" and a true width of 2.77 px.

    References
    ----------
    Derivation: exp(−x²/2σ²) = 1/2; reference rows PSF-01, PSF-03 and PSF-04.

    Examples
    --------
    >>> print(round(fwhm_of_sigma_px(1.5), 2))
    3.53
    """
    return GAUSSIAN_FWHM_PER_SIGMA * not_negative("sigma_px", sigma_px)


def sigma_of_fwhm_px(fwhm_px):
    """The standard deviation of a Gaussian star with a width at half maximum.

    Parameters
    ----------
    fwhm_px : float or array
        Full width at half maximum [px].

    Returns
    -------
    float or array
        Standard deviation along one axis [px].

    Raises
    ------
    ValueError
        If the width is negative.

    Notes
    -----
    FWHM/2.3548, the inverse of `fwhm_of_sigma_px`, for Gaussians.

    References
    ----------
    Derivation: exp(−x²/2σ²) = 1/2; reference row PSF-01.

    Examples
    --------
    >>> print(round(sigma_of_fwhm_px(3.53), 2))
    1.5
    """
    return not_negative("fwhm_px", fwhm_px) / GAUSSIAN_FWHM_PER_SIGMA


def trailed_sigma_px(*, star_sigma_px, trail_px) -> TrailedWidth:
    """The widths of a star that moved evenly along a line during the exposure.

    Parameters
    ----------
    star_sigma_px : float or array
        Standard deviation of the star at rest, pixel box included [px].
    trail_px : float or array
        Length of the way it moved [px].

    Returns
    -------
    TrailedWidth
        along_px = √(σ² + L²/12) and across_px = σ [px].

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    An even trail is a box of length L, whose variance is L²/12. A trail as long as the FWHM makes the star
    21 % longer (25 % in true FWHM), not 41 %: lengths do not add in squares, second moments do. Motion that
    swings back and forth is no box: its variance is that of the path itself.

    References
    ----------
    Derivation: second moment of a box; reference row PSF-13.

    Examples
    --------
    >>> width = trailed_sigma_px(star_sigma_px=1, trail_px=2)
    >>> print(round(width.along_px, 4), width.across_px)
    1.1547 1.0
    """
    sigma, trail = not_negative("star_sigma_px", star_sigma_px), not_negative("trail_px", trail_px)
    return TrailedWidth(along_px=np.sqrt(sigma**2 + trail**2 / 12), across_px=sigma + 0.0 * trail)


def mosaic_sigma_px(mosaic):
    """What the mosaic of colour filters adds to the width of a star, when missing colours are averaged in.

    Parameters
    ----------
    mosaic : str
        "mono" for a camera without mosaic, "colour" for the grey picture of a colour camera, or one of its
        channels "green", "red", "blue".

    Returns
    -------
    float
        Standard deviation along one axis [px].

    Raises
    ------
    ValueError
        If the name is none of these.

    Notes
    -----
    √0.25 for green, √0.5 for red and blue, √0.375 for the grey mix, averaged over where in the mosaic the
    star falls. Range: from 0, where many dithered frames are combined from each colour's own pixels, to
    these values of plain averaging; fillings that follow edges lie between. It is a property of the
    processing, not of the lens.

    References
    ----------
    Derivation: second moments of the averaging weights on the 2 × 2 mosaic of B. E. Bayer, US patent
    3,971,065 (1976); tested by filling in the colours of drawn stars.

    Examples
    --------
    >>> print(round(mosaic_sigma_px("colour"), 3))
    0.612
    """
    return MOSAIC_VARIANCE[chosen("mosaic", mosaic, MOSAIC_VARIANCE)] ** 0.5


def seeing_fwhm_arcsec(*, zenith_fwhm_arcsec, airmass, wavelength_nm):
    """The seeing at the height and in the colour of your target.

    Parameters
    ----------
    zenith_fwhm_arcsec : float or array
        Seeing overhead at 500 nm, as forecasts and monitors give it [″].
    airmass : float or array
        Airmass of the target, 1 overhead.
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Full width at half maximum of a star in a long exposure [″].

    Raises
    ------
    ValueError
        If the seeing is negative, the airmass outside 1 to 40 or the wavelength outside 100 to 30,000 nm.

    Notes
    -----
    zenith × X^0.6 (λ/500 nm)^−0.2, the law of turbulence after Kolmogorov for a long exposure and a large
    aperture. Heat of the balcony wall, the tube or the roof below you is not in it and often is the larger part.

    References
    ----------
    Fried, D. L. (1966), J. Opt. Soc. Am. 56, 1372; Roddier, F. (1981), Progress in Optics 19, 281 (recalled);
    reference rows SEE-03 and SEE-04.

    Examples
    --------
    >>> print(round(seeing_fwhm_arcsec(zenith_fwhm_arcsec=2.0, airmass=2, wavelength_nm=500), 2))
    3.03
    """
    zenith = not_negative("zenith_fwhm_arcsec", zenith_fwhm_arcsec)
    airmass = between("airmass", airmass, 1, 40, cure="airmass is 1 overhead and 2 at 30° of altitude")
    colour = between("wavelength_nm", wavelength_nm, 100, 30000, cure="visible light is 400 to 700 nm")
    return zenith * airmass**0.6 * (colour / SEEING_REFERENCE_NM) ** -0.2


def star_sigma_px(*, fwhm_arcsec, scale_arcsec_px):
    """The standard deviation in pixels of a round blur whose width on the sky is known.

    Parameters
    ----------
    fwhm_arcsec : float or array
        Full width at half maximum [″].
    scale_arcsec_px : float or array
        Image scale [″/px].

    Returns
    -------
    float or array
        Standard deviation along one axis [px].

    Raises
    ------
    ValueError
        If the width is negative or the scale not positive.

    Notes
    -----
    FWHM/(2.3548 scale), before the pixel adds its own. Seeing and diffraction have wings whose true second
    moment has no bound; here each stands for the Gaussian of the same FWHM.

    References
    ----------
    Derivation: the width of a Gaussian over the scale; reference row PSF-01.

    Examples
    --------
    >>> print(round(star_sigma_px(fwhm_arcsec=3, scale_arcsec_px=2.256), 3))
    0.565
    """
    width = not_negative("fwhm_arcsec", fwhm_arcsec)
    return width / (GAUSSIAN_FWHM_PER_SIGMA * positive("scale_arcsec_px", scale_arcsec_px))
