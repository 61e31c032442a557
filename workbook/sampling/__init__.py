"""Pixels and blur: the width of a star, its budget, sampling, and what fits on the frame."""

from workbook.sampling.budget import TERMS, BlurBudget, blur_budget
from workbook.sampling.critical import (
    Sampling,
    critical_f_ratio,
    critical_pixel_um,
    focal_for_sampling_mm,
    sampling_verdict,
)
from workbook.sampling.frame import CommonField, common_field, panel_overlap, panels_needed, target_px
from workbook.sampling.width import (
    MOSAIC_VARIANCE,
    TrailedWidth,
    fwhm_of_sigma_px,
    mosaic_sigma_px,
    seeing_fwhm_arcsec,
    sigma_of_fwhm_px,
    star_sigma_px,
    trailed_sigma_px,
)

__all__ = [
    "MOSAIC_VARIANCE", "TERMS", "BlurBudget", "CommonField", "Sampling", "TrailedWidth", "blur_budget",
    "common_field", "critical_f_ratio", "critical_pixel_um", "focal_for_sampling_mm", "fwhm_of_sigma_px",
    "mosaic_sigma_px", "panel_overlap", "panels_needed", "sampling_verdict", "seeing_fwhm_arcsec",
    "sigma_of_fwhm_px", "star_sigma_px", "target_px", "trailed_sigma_px",
]  # fmt: skip
