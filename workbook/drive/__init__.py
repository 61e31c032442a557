"""The gears of the drive: periodic error, how many subs it leaves, the longest sub, and what a series tells."""

from workbook.drive.gears import (
    drive_error_arcsec,
    gear_error_arcsec,
    largest_rate_arcsec_s,
    motor_step_arcsec,
    untracked_drift_arcsec,
    worm_period_s,
)
from workbook.drive.kept import KNEE_YIELD, credited_yield, frame_yield, knee_s
from workbook.drive.nights import night_yields
from workbook.drive.series import GearFit, Separation, Trails, fit_gears, separate, trails_by_cause

__all__ = [
    "KNEE_YIELD", "GearFit", "Separation", "Trails", "credited_yield", "drive_error_arcsec", "fit_gears",
    "frame_yield", "gear_error_arcsec", "knee_s", "largest_rate_arcsec_s", "motor_step_arcsec", "night_yields",
    "separate", "trails_by_cause", "untracked_drift_arcsec", "worm_period_s",
]  # fmt: skip
