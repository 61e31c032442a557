"""The stand: balance, counterweight, bars, trembling, wind, tipping over, wedge and column, camera against legs."""

from workbook.balance.bars import (
    GRAVITY_M_S2,
    MATERIALS,
    PITCH_MM,
    Material,
    Thread,
    bar_deflection_mm,
    bar_mass_kg_m,
    bar_own_sag_mm,
    bar_slope_arcsec,
    bar_stress_mpa,
    second_moment_mm4,
    thread,
)
from workbook.balance.clearance import SIDES, SafeSpan, clearance_mm, safe_spans
from workbook.balance.counterweight import (
    Choice,
    choose_counterweight,
    counterweight_arm_mm,
    counterweight_arm_with_bar_mm,
    leaning_torque_n_m,
)
from workbook.balance.moments import Part, Torques, largest_torque_n_m, load_moment_n_m, torques
from workbook.balance.settle import Tap, fit_tap, frequency_from_sag_hz, settle_time_s
from workbook.balance.stand import (
    Centre,
    Stand,
    column_stiffness_n_m_rad,
    series_stiffness_n_m_rad,
    wedge_centre,
    with_part,
)
from workbook.balance.tipping import Stability, best_leg_deg, stability, tipping_distance_m, tipping_wind_m_s
from workbook.balance.wind import gust_to_lose_frame_m_s, wind_deflection_arcsec, wind_torque_n_m, wind_yield

__all__ = [
    "GRAVITY_M_S2", "MATERIALS", "PITCH_MM", "SIDES", "Centre", "Choice", "Material", "Part", "SafeSpan",
    "Stability", "Stand", "Tap", "Thread", "Torques", "bar_deflection_mm", "bar_mass_kg_m", "bar_own_sag_mm",
    "bar_slope_arcsec", "bar_stress_mpa", "best_leg_deg", "choose_counterweight", "clearance_mm",
    "column_stiffness_n_m_rad", "counterweight_arm_mm", "counterweight_arm_with_bar_mm", "fit_tap",
    "frequency_from_sag_hz", "gust_to_lose_frame_m_s", "largest_torque_n_m", "leaning_torque_n_m",
    "load_moment_n_m", "safe_spans", "second_moment_mm4", "series_stiffness_n_m_rad", "settle_time_s",
    "stability", "thread", "tipping_distance_m", "tipping_wind_m_s", "torques", "wedge_centre",
    "wind_deflection_arcsec", "wind_torque_n_m", "wind_yield", "with_part",
]  # fmt: skip
