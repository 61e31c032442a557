"""A mount's axis beside the pole: what its error costs, and how to find it, remove it and keep it small."""

from workbook.alignment.choice import (
    CRITERIA,
    ErrorEllipse,
    PairChoice,
    amplification,
    best_pair,
    error_ellipse,
)
from workbook.alignment.cost import AxisCost, axis_cost, field_trails_px
from workbook.alignment.drift import (
    LARGEST_LATITUDE_DEG,
    SIDEREAL_RATE_ARCSEC_MIN,
    SMALLEST_SPREAD_DEG,
    AxisErrors,
    Drift,
    dec_drift_arcsec_min,
    drift_arcsec_min,
    drift_sigma_arcsec_min,
    solve_drifts,
)
from workbook.alignment.frames import AxisFit, fit_axis, frame_directions
from workbook.alignment.keep import OneTarget, Recheck, one_target, recheck, recheck_after_h
from workbook.alignment.level import MODES, LevelEffect, level_effect
from workbook.alignment.rough import RoughBudget, RoughDraws, rough_budget, rough_draws
from workbook.alignment.screws import (
    ScrewTurns,
    bolt_arcmin_turn,
    learnt_response_arcmin_turn,
    screw_response_arcmin_turn,
    screw_turns,
)
from workbook.alignment.tolerance import (
    LARGEST_ERROR_ARCMIN,
    AxisTolerance,
    axis_tolerance,
    stop_error_arcmin,
)
from workbook.pointing import ARCMIN_PER_RAD, AxisOffset, axis_direction, axis_errors, pole, pole_error_arcmin

__all__ = [
    "ARCMIN_PER_RAD", "CRITERIA", "LARGEST_ERROR_ARCMIN", "LARGEST_LATITUDE_DEG", "MODES",
    "SIDEREAL_RATE_ARCSEC_MIN", "SMALLEST_SPREAD_DEG", "AxisCost", "AxisErrors", "AxisFit", "AxisOffset",
    "AxisTolerance", "Drift", "ErrorEllipse", "LevelEffect", "OneTarget", "PairChoice", "Recheck",
    "RoughBudget", "RoughDraws", "ScrewTurns", "amplification", "axis_cost", "axis_direction", "axis_errors",
    "axis_tolerance", "best_pair", "bolt_arcmin_turn", "dec_drift_arcsec_min", "drift_arcsec_min",
    "drift_sigma_arcsec_min", "error_ellipse", "field_trails_px", "fit_axis", "frame_directions",
    "learnt_response_arcmin_turn", "level_effect", "one_target", "pole", "pole_error_arcmin", "recheck",
    "recheck_after_h", "rough_budget", "rough_draws", "screw_response_arcmin_turn", "screw_turns",
    "solve_drifts", "stop_error_arcmin",
]  # fmt: skip
