"""What a verdict's hours do not look at, one line each: voltages that do not fit, and a camera that meets the stand."""

from __future__ import annotations

import numpy as np

from workbook import power
from workbook.verdict.ribbon import ribbon

LEFT_SHARE = (
    0.9  # of the pack's voltage at the far end of its lead: assumed, no passport names the devices' limit
)
LATE_SHARE = 0.9  # of the cells' charge that should come out before the mount's input switches off
STAND_SHARE = 0.9  # of the finished hours that should stand clear of the stand
TOLD_APART = ("nimh", "alkaline", "lead", "iron phosphate", "lithium ion")  # by the voltage printed on a cell


def voltage_remarks(passport, *, guided: bool) -> tuple[str, ...]:
    """What the energy of pack and cells does not show: an input that refuses, a lead that eats the voltage.

    Parameters
    ----------
    passport : Passport
        Its section `power`, and the air of the night.
    guided : bool
        Whether the guide camera hangs on the pack as well.

    Returns
    -------
    tuple of str
        One line for the mount's own cells and one for the pack's lead, each with its cure; none where both fit.

    Notes
    -----
    The kind of cell is guessed from `power.cell_v`, the nearest nominal voltage. The lead carries everything at once,
    the heater full on, through the converter. Nine tenths of the pack's voltage at its far end are assumed to do;
    plugs, and a pack that is nearly empty, cost more.
    """
    return tuple(filter(None, (_cells(passport), _lead(passport, guided))))


def stand_remark(passport, **plan) -> str:
    """One line where the camera would meet the stand in more than a tenth of the finished time, "" elsewhere.

    `plan` is target, date, mode and guided as in `ribbon`.
    """
    seen = ribbon(passport, draws=0, **plan)
    if seen.finished_h >= STAND_SHARE * seen.finished_any_legs_h:
        return ""
    left = f"{100.0 * seen.finished_h / seen.finished_any_legs_h:.0f} %"
    return (
        f"the camera would meet the stand or the tube be swapped in part of these hours, and about {left} of the "
        "finished ones are left: see the night ribbon or the field card"
    )


def _cells(passport):
    one_v, cells = passport["power.cell_v"], passport["power.mount_cells"]
    kind = min(TOLD_APART, key=lambda name: abs(power.CHEMISTRIES[name].nominal_v - one_v))
    row = power.series_voltage_v(chemistry=kind, cells=cells)
    told = (
        f"mount's cells, by their {one_v:g} V taken for {power.CHEMISTRIES[kind].words} "
        f"({row.fresh_v:.1f} V fresh, {row.empty_v:.1f} V empty)"
    )
    lowest_v = passport["power.mount_lowest_v"]
    try:
        fit = power.input_fit_v(
            chemistry=kind, cells=cells, lowest_v=lowest_v, highest_v=passport["power.mount_highest_v"]
        )
    except ValueError as refused:
        return f"{told}: {refused}"
    if fit.reached >= LATE_SHARE:
        return ""
    left = f"{100.0 * (1.0 - fit.reached):.0f} % of their charge"
    return f"{told}: the input switches off below {lowest_v:g} V, with about {left} unused: count on so much less"


def _lead(passport, guided):
    load_w = (
        sum(passport[f"power.{name}_w"] for name in ("computer", "camera", "heater", "light"))
        + (passport["power.guide_camera_w"] if guided else 0.0)
    ) / passport["power.converter"]
    pack_v, cable_m = passport["power.pack_v"], passport["power.lead_m"]
    air_degc = 0.5 * (passport["night.air_start_degc"] + passport["night.air_end_degc"])
    wire = {"battery_v": pack_v, "load_w": load_w, "cable_m": cable_m, "cable_temperature_degc": air_degc}
    own = wire | {"gauge_awg": passport["power.lead_awg"]}
    wanted_v = LEFT_SHARE * pack_v
    if load_w == 0.0 or power.brown_out_margin_v(**own, lowest_v=wanted_v) >= 0.0:
        return ""
    far_v = power.load_voltage_v(**own)
    leaves = "cannot carry it" if np.isnan(far_v) else f"leave {far_v:.1f} V"
    gauge = power.thinnest_gauge_awg(**wire, lowest_v=wanted_v)
    thicker = "" if np.isnan(gauge) else f"take {gauge:.0f} AWG or thicker (a smaller number), or "
    return (
        f"pack's lead: with all of {load_w:.0f} W on, {cable_m:g} m of {own['gauge_awg']} AWG {leaves}; "
        f"{wanted_v:.1f} V of the pack's {pack_v:g} V should arrive (nine tenths, assumed): {thicker}shorten it"
    )
