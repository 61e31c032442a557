"""Telescope and sensor as geometry: scale on the sky, field, diffraction, focus, spacing, corners."""

from workbook.optics.corners import (
    corner_widening,
    curvature_defocus_um,
    flat_circle_mm,
    lens_curvature_radius_mm,
    tilt_at_corner_um,
    tilt_tolerance_arcmin,
)
from workbook.optics.diffraction import (
    airy_disc_um,
    airy_fwhm_arcsec,
    dawes_limit_arcsec,
    defocus_strehl,
    rayleigh_limit_arcsec,
)
from workbook.optics.focus import (
    EXPANSION,
    Expansion,
    FocusFit,
    best_focus,
    defocus_blur_um,
    defocus_for_blur_um,
    defocus_sigma_um,
    focus_half_zone_um,
    refocus_after_k,
    thermal_focus_shift_um,
)
from workbook.optics.scale import field_of_view_deg, image_scale_arcsec_px, sensor_diagonal_mm
from workbook.optics.shapes import Ellipse, StarShape, ellipse, field_defocus_um, radial_stretch, star_shape
from workbook.optics.spacing import filter_shift_mm, spacer_mm, spacing_defocus_um, spacing_error_mm
from workbook.optics.widthmap import WidthMap, fit_width_map

__all__ = [
    "EXPANSION", "Ellipse", "Expansion", "FocusFit", "StarShape", "WidthMap", "airy_disc_um", "airy_fwhm_arcsec",
    "best_focus", "corner_widening", "curvature_defocus_um", "dawes_limit_arcsec", "defocus_blur_um",
    "defocus_for_blur_um", "defocus_sigma_um", "defocus_strehl", "ellipse", "field_defocus_um",
    "field_of_view_deg", "filter_shift_mm", "fit_width_map", "flat_circle_mm", "focus_half_zone_um",
    "image_scale_arcsec_px", "lens_curvature_radius_mm", "radial_stretch", "rayleigh_limit_arcsec", "refocus_after_k",
    "sensor_diagonal_mm", "spacer_mm", "spacing_defocus_um", "spacing_error_mm", "star_shape",
    "thermal_focus_shift_um", "tilt_at_corner_um", "tilt_tolerance_arcmin",
]  # fmt: skip
