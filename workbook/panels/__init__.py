"""Hands on the figures: one shared panel class, and one file for each lesson that fills it."""

import importlib

from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.sweep import sweep

__all__ = ["Panel", "Readout", "build_first_look", "build_how_far", "choice", "slider", "sweep", "switch"]

_BUILDERS = {
    "build_first_look": "first_look",
    "build_how_far": "how_far",
}  # the lessons' panels, loaded on first use


def __getattr__(name: str):
    if name in _BUILDERS:
        return getattr(importlib.import_module(f"workbook.panels.{_BUILDERS[name]}"), name)
    raise AttributeError(f"workbook.panels has no {name!r}")
