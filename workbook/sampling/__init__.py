"""Pixels and blur: the width of a star, its budget, sampling, and what fits on the frame."""

from workbook.sampling.budget import TERMS, BlurBudget, blur_budget
from workbook.sampling.clips import (
    ORBIT_H,
    SPIN_H,
    Motion,
    allowed_smear_arcsec,
    drift_limit_s,
    drive_rate_arcsec_s,
    own_motion,
    spin_limit_s,
)
from workbook.sampling.critical import (
    Sampling,
    critical_f_ratio,
    critical_pixel_um,
    focal_for_sampling_mm,
    sampling_verdict,
)
from workbook.sampling.frame import CommonField, common_field, panel_overlap, panels_needed, target_px
from workbook.sampling.short_frames import short_frame_fwhm_arcsec
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
    "MOSAIC_VARIANCE", "ORBIT_H", "SPIN_H", "TERMS", "BlurBudget", "CommonField", "Motion", "Sampling",
    "TrailedWidth", "allowed_smear_arcsec", "blur_budget", "common_field", "critical_f_ratio",
    "critical_pixel_um", "drift_limit_s", "drive_rate_arcsec_s", "focal_for_sampling_mm",
    "fwhm_of_sigma_px", "mosaic_sigma_px", "own_motion", "panel_overlap", "panels_needed",
    "sampling_verdict", "seeing_fwhm_arcsec", "short_frame_fwhm_arcsec", "sigma_of_fwhm_px", "spin_limit_s",
    "star_sigma_px", "target_px", "trailed_sigma_px",
]  # fmt: skip
