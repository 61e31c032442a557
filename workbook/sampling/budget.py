"""The blur budget: what a star's width is made of, and which single part is worth improving."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA
from workbook.optics.diffraction import airy_fwhm_arcsec
from workbook.optics.focus import defocus_sigma_um
from workbook.optics.scale import image_scale_arcsec_px
from workbook.sampling.width import PIXEL_VARIANCE, mosaic_sigma_px, star_sigma_px

TERMS = ("seeing", "diffraction", "pixel", "colour mosaic", "focus", "guiding", "trail")
NOT_YOURS = "seeing"  # the one term that no purchase and no care changes tonight

# A star 5 % narrower covers 10 % less sky, which saves 10 % of the time for the same signal-to-noise of a faint
# star: below that, an improvement is not worth its trouble (a convention of this workbook).
WORTH_SHARE = 0.05


class BlurBudget(NamedTuple):
    """The parts of a star's width; arrays hold one row for each of `terms`.

    Standard deviations along the trail sigma_px [px]; shares of the variance along the trail, which sum to 1;
    gains_px, by how much the FWHM along the trail would shrink if that term alone were halved [px]. Then the
    FWHM along and across the trail, fwhm_px and across_px [px], the first also on the sky, fwhm_arcsec [″], the
    name of the largest term, and the term worth improving: the one with the largest gain among those in your
    hands, or "nothing" where even that gains less than 5 % of the width.
    """

    terms: tuple[str, ...]
    sigma_px: np.ndarray
    shares: np.ndarray
    gains_px: np.ndarray
    fwhm_px: float | np.ndarray
    across_px: float | np.ndarray
    fwhm_arcsec: float | np.ndarray
    largest: str | np.ndarray
    worth_improving: str | np.ndarray


def blur_budget(
    *,
    seeing_fwhm_arcsec,
    aperture_mm,
    focal_mm,
    wavelength_nm,
    pixel_um,
    mosaic,
    defocus_um,
    guiding_rms_arcsec,
    trail_px,
) -> BlurBudget:
    """What the width of a star is made of, and which single part is worth improving.

    Parameters
    ----------
    seeing_fwhm_arcsec : float or array
        Seeing at the target [″].
    aperture_mm : float or array
        Clear diameter of the lens [mm].
    focal_mm : float or array
        Focal length with flattener or extender [mm].
    wavelength_nm : float or array
        Middle of the band [nm].
    pixel_um : float or array
        Pixel pitch [µm].
    mosaic : str
        "mono", "colour", "green", "red" or "blue", see `mosaic_sigma_px`.
    defocus_um : float or array
        Distance of the sensor from the focus, on either side [µm].
    guiding_rms_arcsec : float or array
        Fast unrest of the mount in each axis; a "total" over both axes is √2 larger [″].
    trail_px : float or array
        Length of an even trail within one sub [px].

    Returns
    -------
    BlurBudget
        terms; sigma_px, gains_px, fwhm_px, across_px [px]; fwhm_arcsec [″]; shares, largest, worth_improving.
        "unknown" stands for a name where a value is NaN.

    Raises
    ------
    ValueError
        If an aperture, focal length or pixel is not positive, another width negative, or the mosaic unknown.

    Notes
    -----
    Second moments add: σ² = seeing² + diffraction² + p²/12 + mosaic + (Δz/4N)² + guiding² + L²/12, the last
    along the trail only. Seeing and diffraction stand for Gaussians of their FWHM, because their wings have no
    finite second moment; pixel and defocus disc are boxes. The budget's FWHM is a convention and
    always a little narrower than the true one: by up to 5 % where seeing rules, by up to 11 % while pixel, disc
    and trail together hold half of the variance, by 32 % for such a box alone. Halving one term alone leaves
    the rest as it is: halving the pixel here does not change the scale of the picture.

    References
    ----------
    Derivation: variances of independent shifts add; reference rows PSF-02, PSF-04, PSF-13 and PSF-16; tested by
    throwing photons, and by convolving the true patterns.

    Examples
    --------
    >>> budget = blur_budget(
    ...     seeing_fwhm_arcsec=3,
    ...     aperture_mm=58,
    ...     focal_mm=320,
    ...     wavelength_nm=550,
    ...     pixel_um=3.5,
    ...     mosaic="colour",
    ...     defocus_um=40,
    ...     guiding_rms_arcsec=0.5,
    ...     trail_px=1.5,
    ... )
    >>> print(round(budget.fwhm_px, 2), budget.largest, "/", budget.worth_improving)
    2.81 colour mosaic / colour mosaic
    """
    scale = image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm)
    airy = airy_fwhm_arcsec(aperture_mm=aperture_mm, wavelength_nm=wavelength_nm)
    f_ratio = np.divide(focal_mm, aperture_mm)
    trail = not_negative("trail_px", trail_px)
    seeing = not_negative("seeing_fwhm_arcsec", seeing_fwhm_arcsec)
    variances = np.stack(
        np.broadcast_arrays(
            star_sigma_px(fwhm_arcsec=seeing, scale_arcsec_px=scale) ** 2,
            star_sigma_px(fwhm_arcsec=airy, scale_arcsec_px=scale) ** 2,
            PIXEL_VARIANCE,
            mosaic_sigma_px(mosaic) ** 2,
            (defocus_sigma_um(defocus_um=defocus_um, f_ratio=f_ratio) / pixel_um) ** 2,
            (not_negative("guiding_rms_arcsec", guiding_rms_arcsec) / scale) ** 2,
            trail**2 / 12,
        )
    )
    total = variances.sum(axis=0)
    fwhm = GAUSSIAN_FWHM_PER_SIGMA * np.sqrt(total)
    halved = total - 0.75 * variances  # half the width is a quarter of the variance
    gains = fwhm - GAUSSIAN_FWHM_PER_SIGMA * np.sqrt(halved)
    known = np.isfinite(total)
    yours = np.where(np.array(TERMS).reshape(-1, *[1] * total.ndim) == NOT_YOURS, -1.0, gains)
    best = np.where(yours.max(axis=0) >= WORTH_SHARE * fwhm, _names(yours), "nothing")
    return BlurBudget(
        terms=TERMS,
        sigma_px=np.sqrt(variances),
        shares=variances / total,
        gains_px=gains,
        fwhm_px=fwhm,
        across_px=GAUSSIAN_FWHM_PER_SIGMA * np.sqrt(total - variances[-1]),
        fwhm_arcsec=fwhm * scale,
        largest=_plain(np.where(known, _names(variances), "unknown")),
        worth_improving=_plain(np.where(known, best, "unknown")),
    )


def _names(values):
    """The name of the largest term, for each place."""
    return np.array(TERMS)[np.argmax(values, axis=0)]


def _plain(names):
    """One name as plain text, several as an array."""
    return str(names) if names.ndim == 0 else names
