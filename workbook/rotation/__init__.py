"""How a two-axis mount follows the sky, and how the field turns on the sensor meanwhile."""

from workbook.rotation.axes import (
    SIDEREAL_RATE_RAD_S,
    AxisRates,
    axis_rates,
    cable_turn_deg,
    zenith_zone_deg,
    zenith_zone_min,
)
from workbook.rotation.law import SIDEREAL_RATE_DEG_H, rotation_deg, rotation_rate_deg_h, spin_one_axis_deg_h
from workbook.rotation.smear import RAD_S_PER_DEG_H, corner_smear_px, longest_sub_s
from workbook.rotation.stack import StackMap, deep_share, relative_snr, stack_coverage, stack_map
from workbook.rotation.track import NightTrack, longest_sub_on_sky_s, night_track

__all__ = [
    "RAD_S_PER_DEG_H", "SIDEREAL_RATE_DEG_H", "SIDEREAL_RATE_RAD_S", "AxisRates", "NightTrack", "StackMap",
    "axis_rates", "cable_turn_deg", "corner_smear_px", "deep_share", "longest_sub_on_sky_s", "longest_sub_s",
    "night_track", "relative_snr", "rotation_deg", "rotation_rate_deg_h", "spin_one_axis_deg_h",
    "stack_coverage", "stack_map", "zenith_zone_deg", "zenith_zone_min",
]  # fmt: skip
