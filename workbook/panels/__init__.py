"""Hands on the figures: one shared panel class, and one file for each lesson that fills it."""

import importlib

from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.sweep import sweep

__all__ = [
    "Panel",
    "Readout",
    "build_blur",
    "build_discs",
    "build_first_look",
    "build_flat_field",
    "build_gears",
    "build_guiding",
    "build_hand_guiding",
    "build_horizon_mask",
    "build_how_far",
    "build_how_many_hours",
    "build_level_point",
    "build_one_exposure",
    "build_picture",
    "build_pole_drift",
    "build_ribbon",
    "build_stand",
    "build_turned_stack",
    "build_turning_field",
    "build_warm_sensor",
    "choice",
    "clipped_in_field",
    "darks_off",
    "day_place",
    "drift_place",
    "exposure_noise",
    "gear_case",
    "guide_night",
    "heater_night",
    "hours_to_clear_h",
    "moonlit_mag",
    "slider",
    "stack_noise",
    "sweep",
    "switch",
    "with_gears",
    "worth_of_cooling",
]

_BUILDERS = {
    "build_blur": "blur",
    "build_discs": "discs",
    "build_first_look": "first_look",
    "build_flat_field": "flat_field",
    "build_gears": "gears",
    "build_guiding": "guiding",
    "build_hand_guiding": "hand_guiding",
    "build_horizon_mask": "horizon_mask",
    "build_how_far": "how_far",
    "build_how_many_hours": "how_many_hours",
    "build_level_point": "level_point",
    "build_one_exposure": "one_exposure",
    "build_picture": "picture",
    "build_pole_drift": "pole_drift",
    "build_ribbon": "ribbon",
    "build_stand": "stand",
    "build_turned_stack": "turned_stack",
    "build_turning_field": "turning_field",
    "build_warm_sensor": "warm_sensor",
    "clipped_in_field": "one_exposure",
    "darks_off": "warm_sensor",
    "day_place": "discs",
    "drift_place": "two_drifts",
    "exposure_noise": "one_exposure",
    "gear_case": "one_gear",
    "guide_night": "one_night",
    "with_gears": "one_gear",
    "heater_night": "ribbon",
    "hours_to_clear_h": "how_many_hours",
    "moonlit_mag": "how_many_hours",
    "stack_noise": "warm_sensor",
    "worth_of_cooling": "warm_sensor",
}  # the lessons' panels, loaded on first use


def __getattr__(name: str):
    if name in _BUILDERS:
        return getattr(importlib.import_module(f"workbook.panels.{_BUILDERS[name]}"), name)
    raise AttributeError(f"workbook.panels has no {name!r}")
