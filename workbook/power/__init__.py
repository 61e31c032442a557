"""Energy for the night, the leads that carry it, and the dew that spends it."""

from workbook.power.air import (
    dew_point_degc,
    frost_point_degc,
    saturation_over_ice_hpa,
    saturation_over_water_hpa,
)
from workbook.power.cable import (
    brown_out_margin_v,
    lead_resistance_ohm,
    load_current_a,
    load_voltage_v,
    wire_area_mm2,
    wire_diameter_mm,
)
from workbook.power.cells import (
    CellRow,
    InputFit,
    SeriesVoltage,
    cells_energy_wh,
    compare_aa,
    input_fit_v,
    mean_cell_v,
    runtime_h,
    series_voltage_v,
)
from workbook.power.charge import Travel, charging_h, travel
from workbook.power.chemistry import (
    AA_AH,
    CHEMISTRIES,
    Chemistry,
    Span,
    cell_voltage_v,
    cold_share,
    drawn_at_voltage,
)
from workbook.power.energy import (
    Chance,
    Load,
    LoadRow,
    SupplyRow,
    dawn_chance,
    drawn_wh,
    load_table,
    runs_out_h,
    store_wh,
    supply_table,
)
from workbook.power.heater import HeaterPlan, heater_at_voltage_w, heater_lift_k_w, heater_need_w, heater_plan
from workbook.power.lead import lead_cold_share, peukert_hours
from workbook.power.leads import (
    USB_PORTS,
    Lead,
    LeadRow,
    lead_loss_w,
    rank_leads,
    thinnest_gauge_awg,
    usb_limit_w,
)
from workbook.power.lens import (
    clear_sky_degc,
    deposit_point_degc,
    lens_margin_k,
    radiative_loss_w_m2,
    sky_cooling_k,
)

__all__ = [
    "AA_AH", "CHEMISTRIES", "USB_PORTS", "CellRow", "Chance", "Chemistry", "HeaterPlan", "InputFit", "Lead",
    "LeadRow", "Load", "LoadRow", "SeriesVoltage", "Span", "SupplyRow", "Travel", "brown_out_margin_v",
    "cell_voltage_v", "cells_energy_wh", "charging_h", "clear_sky_degc", "cold_share", "compare_aa",
    "dawn_chance", "deposit_point_degc", "dew_point_degc", "drawn_at_voltage", "drawn_wh", "frost_point_degc",
    "heater_at_voltage_w", "heater_lift_k_w", "heater_need_w", "heater_plan", "input_fit_v", "lead_cold_share",
    "lead_loss_w", "lead_resistance_ohm", "lens_margin_k", "load_current_a", "load_table", "load_voltage_v",
    "mean_cell_v", "peukert_hours", "radiative_loss_w_m2", "rank_leads", "runs_out_h", "runtime_h",
    "saturation_over_ice_hpa", "saturation_over_water_hpa", "series_voltage_v", "sky_cooling_k", "store_wh",
    "supply_table", "thinnest_gauge_awg", "travel", "usb_limit_w", "wire_area_mm2", "wire_diameter_mm",
]  # fmt: skip
