"""Which stars clip: how much of a star falls into its brightest pixel, and what that pixel can hold."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, positive
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA


class ClippedStars(NamedTuple):
    """How many stars of a field clip: those that do wherever they fall on the pixels, and those that may."""

    at_least: int
    at_most: int
    stars: int


def brightest_pixel_share(*, fwhm_px):
    """The share of a star's light in the pixel on which it is centred.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star before it falls on the pixels: seeing, optics, tracking [px].

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If the width is not positive.

    Notes
    -----
    erf(1/(2√2 σ))² for a Gaussian in the middle of a pixel, the worst case. Real stars have wings, which take
    10 to 30 % from the core. A colour mosaic measures the light behind one colour only.

    References
    ----------
    Derivation: Gaussian integrated over a square; tested against scipy's numerical integral.

    Examples
    --------
    >>> print(round(brightest_pixel_share(fwhm_px=2.0), 3))
    0.197
    """
    from scipy.special import erf

    sigma = positive("fwhm_px", fwhm_px) / GAUSSIAN_FWHM_PER_SIGMA
    return erf(1 / (2 * np.sqrt(2) * sigma)) ** 2


def clipping_star_e_s(*, fwhm_px, sub_s, saturation_e, background_e_s_px):
    """The star that just clips when it is centred on a pixel.

    Parameters
    ----------
    fwhm_px : float or array
        Width of the star before it falls on the pixels [px].
    sub_s : float or array
        Length of a sub [s].
    saturation_e : float or array
        Electrons at saturation, see `saturation_e` [e⁻].
    background_e_s_px : float or array
        Sky and dark current together [e⁻/s/px].

    Returns
    -------
    float or array
        Light of the star [e⁻/s]; 0 where the background alone fills the pixel.

    Raises
    ------
    ValueError
        If width, sub or saturation is not positive, or the background is negative.

    Notes
    -----
    (saturation/t − background)/share, with the share of `brightest_pixel_share`. Half the sub, twice the star
    (0.75 mag brighter). Noise and the trembling of the air from sub to sub blur the limit by some 20 %.

    References
    ----------
    Derivation: saturation = (share · star + background) t; tested on simulated stars.

    Examples
    --------
    >>> print(round(clipping_star_e_s(fwhm_px=2.0, sub_s=30, saturation_e=12706, background_e_s_px=1.93)))
    2139
    """
    room = positive("saturation_e", saturation_e) / positive("sub_s", sub_s) - not_negative(
        "background_e_s_px", background_e_s_px
    )
    return np.maximum(room, 0.0) / brightest_pixel_share(fwhm_px=fwhm_px)


def clipped_stars(*, star_e_s, fwhm_px, sub_s, saturation_e, background_e_s_px) -> ClippedStars:
    """How many stars of one's own field clip.

    Parameters
    ----------
    star_e_s : array
        Light of the stars in the field [e⁻/s].
    fwhm_px : float
        Width of the stars before they fall on the pixels [px].
    sub_s : float
        Length of a sub [s].
    saturation_e : float
        Electrons at saturation [e⁻].
    background_e_s_px : float
        Sky and dark current together [e⁻/s/px].

    Returns
    -------
    ClippedStars
        at_least, at_most and stars.

    Raises
    ------
    ValueError
        As `clipping_star_e_s`, or if a star gives negative light.

    Notes
    -----
    At most: every star centred on a pixel. At least: every star on the corner between four, where the
    brightest pixel holds (½ erf(1/(√2 σ)))² of it. Clipped stars lose their colour and bend a flux
    measurement; the nebula around them keeps its own.

    References
    ----------
    Derivation: as `clipping_star_e_s`; tested on simulated stars at random places.

    Examples
    --------
    >>> clipped_stars(star_e_s=[100, 2000, 2300, 9000], fwhm_px=2.0, sub_s=30, saturation_e=12706,
    ...               background_e_s_px=1.93)
    ClippedStars(at_least=1, at_most=2, stars=4)
    """
    from scipy.special import erf

    stars = np.atleast_1d(not_negative("star_e_s", star_e_s))
    centred = clipping_star_e_s(
        fwhm_px=fwhm_px, sub_s=sub_s, saturation_e=saturation_e, background_e_s_px=background_e_s_px
    )
    sigma = positive("fwhm_px", fwhm_px) / GAUSSIAN_FWHM_PER_SIGMA
    cornered = centred * brightest_pixel_share(fwhm_px=fwhm_px) / (0.5 * erf(1 / (np.sqrt(2) * sigma))) ** 2
    return ClippedStars(int(np.sum(stars >= cornered)), int(np.sum(stars >= centred)), int(stars.size))
