"""Guiding: how exactly a star is placed, what the air does to it, the controller, and what it leaves."""

from workbook.guiding.centroid import centroid_fit_px, centroid_sigma_px, faintest_star_e, photon_limit_px
from workbook.guiding.flexure import Flexure, fit_flexure, flexure_trail_px, longest_sub_s
from workbook.guiding.one_way import OneWay, drift_back_s, one_way_offset
from workbook.guiding.outcome import Growth, Left, grown_star, left_by_guiding, left_in_run, star_growth
from workbook.guiding.seeing import (
    averaged_tilt_sigma_arcsec,
    tilt_correlation,
    tilt_series_arcsec,
    tilt_sigma_arcsec,
)
from workbook.guiding.servo import DIRECTIONS, Run, guide, guide_by_hand, pulse_s
from workbook.guiding.stars import faintest_star_mag, guide_star_chance, several_stars_sigma_arcsec

__all__ = [
    "DIRECTIONS", "Flexure", "Growth", "Left", "OneWay", "Run", "averaged_tilt_sigma_arcsec", "centroid_fit_px",
    "centroid_sigma_px", "drift_back_s", "faintest_star_e", "faintest_star_mag", "fit_flexure",
    "flexure_trail_px", "grown_star", "guide", "guide_by_hand", "guide_star_chance", "left_by_guiding",
    "left_in_run", "longest_sub_s", "one_way_offset", "photon_limit_px", "pulse_s",
    "several_stars_sigma_arcsec", "star_growth", "tilt_correlation", "tilt_series_arcsec", "tilt_sigma_arcsec",
]  # fmt: skip
