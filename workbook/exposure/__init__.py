"""One exposure and many: signal-to-noise, read noise, hours, nights, calibration frames, and the one efficiency."""

from workbook.exposure.calibration import StackNoise, calibrated_noise, darks_for, master_noise_e
from workbook.exposure.frames import (
    MEDIAN_EFFICIENCY,
    clipped_mean_efficiency,
    fewest_frames,
    smallest_clipped_e,
)
from workbook.exposure.hours import HoursRange, equal_depth_h, hours_range, hours_to_snr_h
from workbook.exposure.nights import Nights, combine_nights
from workbook.exposure.snr import (
    brightness_error_mag,
    faintest_star_e_s,
    snr_patch,
    snr_star,
    snr_star_estimated,
)
from workbook.exposure.subs import (
    NEAR_PEAK,
    UsefulSubs,
    duty,
    efficiency,
    noise_increase,
    shortest_sub_s,
    useful_subs,
)

__all__ = [
    "MEDIAN_EFFICIENCY", "NEAR_PEAK", "HoursRange", "Nights", "StackNoise", "UsefulSubs",
    "brightness_error_mag", "calibrated_noise", "clipped_mean_efficiency", "combine_nights", "darks_for", "duty",
    "efficiency", "equal_depth_h", "faintest_star_e_s", "fewest_frames", "hours_range", "hours_to_snr_h",
    "master_noise_e", "noise_increase", "shortest_sub_s", "smallest_clipped_e", "snr_patch", "snr_star",
    "snr_star_estimated", "useful_subs",
]  # fmt: skip
