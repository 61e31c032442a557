"""Pixels against blur: critical sampling, and a verdict that counts the colour mosaic."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, positive
from workbook.constants import ARCSEC_PER_RAD, GAUSSIAN_FWHM_PER_SIGMA
from workbook.optics.diffraction import WAVELENGTH

# Distance between samples in pixels: of the coarsest colour for a colour camera. Green lies on a diamond grid,
# whose finest direction-free spacing is √2; red and blue lie on every second pixel.
SAMPLE_PITCH = {"mono": 1.0, "colour": 2.0, "green": 2**0.5, "red": 2.0, "blue": 2.0}

# Samples across the FWHM: below 2 more than 3 % of the contrast at the grid's limit folds back into the
# picture; above 4 less than a millionth does, and finer pixels only add read noise (conventions).
COARSE_BELOW = 2.0
FINE_ABOVE = 4.0


class Sampling(NamedTuple):
    """How finely the grid samples a star.

    Samples across the FWHM in the coarsest colour; the contrast that a star still has at the grid's limit, and
    which folds back as false detail; and the verdict: "coarse", "well sampled" or "fine".
    """

    samples_per_fwhm: float | np.ndarray
    alias_contrast: float | np.ndarray
    verdict: str | np.ndarray


def critical_pixel_um(*, f_ratio, wavelength_nm):
    """The largest pixel that records all detail of a perfect optic without air.

    Parameters
    ----------
    f_ratio : float or array
        Focal length over aperture, extender included.
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Pixel pitch [µm].

    Raises
    ------
    ValueError
        If the focal ratio is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    λ N/2: an aperture passes no detail finer than λ N, and two samples for each period catch it. For the Moon
    and planets, where thousands of short frames beat the seeing; deep-sky stars are as wide as the seeing, so
    larger pixels lose nothing there. With a colour mosaic red and blue sample half as finely.

    References
    ----------
    Shannon, C. E. (1949), Proc. IRE 37, 10, theorem 1; reference rows SAM-12 and SAM-13.

    Examples
    --------
    >>> print(round(critical_pixel_um(f_ratio=6, wavelength_nm=550), 2))
    1.65
    """
    wavelength_um = 1e-3 * between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    return wavelength_um * positive("f_ratio", f_ratio) / 2


def critical_f_ratio(*, pixel_um, wavelength_nm):
    """The focal ratio at which a pixel just records all detail of a perfect optic without air.

    Parameters
    ----------
    pixel_um : float or array
        Pixel pitch [µm].
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Focal length over aperture.

    Raises
    ------
    ValueError
        If the pixel is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    2 p/λ, the inverse of `critical_pixel_um`: 3.6 times the pixel in µm for green light. More only dims the
    planet; "five times the pixel" is a margin for red light and a good night, not a law.

    References
    ----------
    Shannon, C. E. (1949), Proc. IRE 37, 10, theorem 1; reference row SAM-13.

    Examples
    --------
    >>> print(round(critical_f_ratio(pixel_um=3.5, wavelength_nm=550), 1))
    12.7
    """
    wavelength_um = 1e-3 * between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    return 2 * positive("pixel_um", pixel_um, cure="pixels of cameras are about 1 to 15 µm") / wavelength_um


def focal_for_sampling_mm(*, fwhm_arcsec, pixel_um, pixels_per_fwhm):
    """The focal length at which a star is so many pixels wide.

    Parameters
    ----------
    fwhm_arcsec : float or array
        Full width at half maximum of the stars, on the sky [″].
    pixel_um : float or array
        Pixel pitch [µm].
    pixels_per_fwhm : float or array
        Wanted number of pixels across it, 2 for critical sampling of a Gaussian.

    Returns
    -------
    float or array
        Focal length [mm].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    206.265 p n/FWHM. A small mount may do better with less: a shorter focal length forgives more tracking
    error, shows a wider field and leaves more light in each pixel; dithered frames win part of the lost
    detail back.

    References
    ----------
    Derivation: the image scale solved for the focal length; reference row SAM-14.

    Examples
    --------
    >>> print(round(focal_for_sampling_mm(fwhm_arcsec=3, pixel_um=3.5, pixels_per_fwhm=2)))
    481
    """
    pixel_um = positive("pixel_um", pixel_um, cure="pixels of cameras are about 1 to 15 µm")
    samples = positive("pixels_per_fwhm", pixels_per_fwhm)
    return ARCSEC_PER_RAD * 1e-3 * pixel_um * samples / positive("fwhm_arcsec", fwhm_arcsec)


def sampling_verdict(*, fwhm_px, mosaic) -> Sampling:
    """Whether the pixels are coarse, right or fine for the stars that fall on them.

    Parameters
    ----------
    fwhm_px : float or array
        Full width at half maximum of the stars, without the part that filling in colours adds [px].
    mosaic : str
        "mono", "colour" (its coarsest channel), "green", "red" or "blue".

    Returns
    -------
    Sampling
        samples_per_fwhm, alias_contrast (0 … 1), and the verdict; "unknown" where the width is NaN.

    Raises
    ------
    ValueError
        If the width is not positive or the mosaic unknown.

    Notes
    -----
    FWHM/pitch, with a pitch of 1 px for mono, √2 for green, 2 for red and blue. The contrast left at the
    finest period that the grid can hold (two pitches) is exp(−π² σ²/2 pitch²) for a Gaussian. "Coarse" is a
    choice, no error: it costs position and false colour of faint stars, and buys field, light in each pixel
    and patience of the mount. Dithering by several pixels and combining on a finer grid wins part of it back.

    References
    ----------
    Derivation: Fourier transform of a Gaussian at the limit of Shannon's theorem (1949, Proc. IRE 37, 10);
    tested against the discrete transform of a drawn star.

    Examples
    --------
    >>> grid = sampling_verdict(fwhm_px=2.2, mosaic="colour")
    >>> print(round(grid.samples_per_fwhm, 2), round(grid.alias_contrast, 2), grid.verdict)
    1.1 0.34 coarse
    """
    fwhm = positive("fwhm_px", fwhm_px)
    samples = fwhm / SAMPLE_PITCH[chosen("mosaic", mosaic, SAMPLE_PITCH)]
    contrast = np.exp(-((np.pi * samples / GAUSSIAN_FWHM_PER_SIGMA) ** 2) / 2)
    words = np.select(
        [np.isnan(samples), samples < COARSE_BELOW, samples > FINE_ABOVE],
        ["unknown", "coarse", "fine"],
        "well sampled",
    )
    return Sampling(samples, contrast, str(words) if words.ndim == 0 else words)
