"""Hands on the figures: one shared panel class, and one file for each lesson that fills it."""

from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.sweep import sweep

__all__ = ["Panel", "Readout", "choice", "slider", "sweep", "switch"]
