"""The detector: dark current and warmth, its terms by EMVA 1288, gain and read noise, clipping, flats."""

from workbook.sensor.clipping import ClippedStars, brightest_pixel_share, clipped_stars, clipping_star_e_s
from workbook.sensor.dark import (
    DOUBLING_RANGE_K,
    DarkRange,
    DoublingFit,
    Mismatch,
    dark_e_s_px,
    dark_mismatch,
    dark_noise_e,
    dark_range_e_s_px,
    doubling_from_darks,
    doubling_k,
)
from workbook.sensor.emva import (
    QUANTISATION_ADU,
    dark_noise_of_counts_e,
    dynamic_range_db,
    dynamic_range_stops,
    largest_snr,
    quantisation_noise_e,
    saturation_e,
    sensitivity_threshold_e,
)
from workbook.sensor.flats import FlatCheck, check_flats
from workbook.sensor.transfer import PairGain, PhotonTransfer, pair_gain, photon_transfer
from workbook.sensor.warm import Cooling, cooling_gain, sensor_temperature_degc, wait_min

__all__ = [
    "DOUBLING_RANGE_K", "QUANTISATION_ADU", "ClippedStars", "Cooling", "DarkRange", "DoublingFit", "FlatCheck",
    "Mismatch", "PairGain", "PhotonTransfer", "brightest_pixel_share", "check_flats", "clipped_stars",
    "clipping_star_e_s", "cooling_gain", "dark_e_s_px", "dark_mismatch", "dark_noise_e",
    "dark_noise_of_counts_e", "dark_range_e_s_px", "doubling_from_darks", "doubling_k", "dynamic_range_db",
    "dynamic_range_stops", "largest_snr", "pair_gain", "photon_transfer", "quantisation_noise_e",
    "saturation_e", "sensitivity_threshold_e", "sensor_temperature_degc", "wait_min",
]  # fmt: skip
