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
    "build_first_look",
    "build_flat_field",
    "build_how_far",
    "build_level_point",
    "build_picture",
    "build_pole_drift",
    "build_turning_field",
    "choice",
    "drift_place",
    "slider",
    "sweep",
    "switch",
]

_BUILDERS = {
    "build_blur": "blur",
    "build_first_look": "first_look",
    "build_flat_field": "flat_field",
    "build_how_far": "how_far",
    "build_level_point": "level_point",
    "build_picture": "picture",
    "build_pole_drift": "pole_drift",
    "build_turning_field": "turning_field",
    "drift_place": "two_drifts",
}  # the lessons' panels, loaded on first use


def __getattr__(name: str):
    if name in _BUILDERS:
        return getattr(importlib.import_module(f"workbook.panels.{_BUILDERS[name]}"), name)
    raise AttributeError(f"workbook.panels has no {name!r}")
