"""The teaching shell used by every notebook: set-up, predict and lock, answer check, ledger, safety gates."""

from __future__ import annotations

from workbook.lesson.adopt import adopt_passport, passport_report
from workbook.lesson.answers import Attempts, Feedback, check
from workbook.lesson.calibration import in_ledger_words
from workbook.lesson.functions import Published, check_function
from workbook.lesson.gates import Gate, GateClosed, safety
from workbook.lesson.home import find_rig, home_folder
from workbook.lesson.ledger import Ledger
from workbook.lesson.predict import Prediction
from workbook.lesson.shell import Lesson, setup
from workbook.lesson.slips import Slip, slips_of
from workbook.lesson.words import Note, recall

__all__ = [
    "Attempts",
    "Feedback",
    "Gate",
    "GateClosed",
    "Ledger",
    "Lesson",
    "Note",
    "Prediction",
    "Published",
    "Slip",
    "adopt_passport",
    "check",
    "check_function",
    "find_rig",
    "home_folder",
    "in_ledger_words",
    "passport_report",
    "recall",
    "safety",
    "setup",
    "slips_of",
]
