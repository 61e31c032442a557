"""The night ribbon's panel: start, heater, pack and air against every minute of one night."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook import catalogue, horizon, power
from workbook.figures import ribbon as figure
from workbook.panels.controls import choice, slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.power import HeaterPlan
from workbook.verdict import LOST, conditions, hours
from workbook.verdict.evening import LATEST_START_MIN, evening
from workbook.verdict.words import duration

TARGETS = ("M 45", "M 33", "M 31", "M 42", "M 8", "NGC 253")
DRAWS = 200  # for minutes; ten times as many for batteries
BASIS_KEYS = ("power.pack_wh", "power.computer_w", "power.camera_w", "power.pack_usable", "power.pack_cold")


def build_ribbon(passport, *, target=None) -> Panel:
    """The panel for one passport; the target is that of its plan where not given.

    Raises ValueError where the night never gets dark: there is nothing to move.
    """
    target, date = target or passport["plan.target"], passport["plan.date"]
    if conditions(passport, target=target, date=date) is None:
        raise ValueError(
            f"the night of {date} has no astronomical darkness at this site: choose another date"
        )
    duty, pack_wh = passport["power.heater_duty"], float(passport["power.pack_wh"])
    air_degc = float(passport["night.air_end_degc"])
    later_min = 5.0 * round(_middle_start_min(passport, target) / 5.0)
    return Panel(
        figure,
        partial(_ribbon, passport),
        {
            "start_min": slider("Start later by", 0.0, 0.0, float(LATEST_START_MIN), step=5.0),
            "heater_duty": slider("Heater duty", float(duty), 0.0, 1.0, step=0.01),
            "pack_wh": slider("Pack", pack_wh, min(20.0, pack_wh), max(300.0, pack_wh), step=1.0),
            "air_end_degc": slider(
                "Air at dawn", air_degc, min(-15.0, air_degc), max(25.0, air_degc), step=0.5
            ),
            "target": choice(
                "Target", target, tuple(dict.fromkeys((target, passport["plan.target"], *TARGETS)))
            ),
        },
        partial(_readout, "partly measured" if any(map(passport.is_measured, BASIS_KEYS)) else "assumed"),
        presets={
            "Start for this target": {"start_min": later_min, "target": target},
            "Heater off": {"heater_duty": 0.0},
            "Ten degrees of frost": {"air_end_degc": -10.0},
        },
        slow=lambda result, **values: _ribbon(passport, draws=DRAWS, **values),
        title=f"Night ribbon: {date}",
        height_px=630,
    )


def _ribbon(passport, *, target, draws=0, **values) -> figure.NightRibbon:
    seen = evening(passport, target=target, draws=draws, **values)
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    floor_deg = mask.floor_deg(seen.ribbon.azimuth_deg)
    return figure.NightRibbon(seen, _name(target), floor_deg, passport["site.ceiling_deg"])


def _middle_start_min(passport, target):
    """The start that the ribbon itself advises, 0 where nothing is to be gained."""
    seen = evening(
        passport,
        target=target,
        start_min=0.0,
        heater_duty=float(passport["power.heater_duty"]),
        pack_wh=float(passport["power.pack_wh"]),
        air_end_degc=float(passport["night.air_end_degc"]),
        draws=1,
    )
    return seen.best_start_min or 0.0


def _name(target):
    """What is drawn, with the catalogue's name where it differs."""
    found = catalogue.find(target).name
    return target if found.replace(" ", "") == target.replace(" ", "") else f"{target} ({found})"


def _readout(basis, result):
    seen, night = result.evening.ribbon, result.evening
    low, high = night.usable_68_h or (None, None)
    return Readout("Usable", seen.usable_h, "h", basis, _verdict(night, seen), digits=1, low=low, high=high)


def _verdict(night, seen):
    """What ends the night, how far the pack goes, and whether another start would give more."""
    if seen.usable.any():
        last = seen.times_utc[np.flatnonzero(seen.usable)[-1]] + np.timedelta64(30, "s")
        words = f"Ends at {str(last)[11:16]} UTC: {_which(seen, seen.ended_by())}"
    else:
        words = f"No minute: {_which(seen, seen.why_none())}"
    words += f"; {duration(seen.finished_h)} finished. The pack lasts {seen.pack_h:.1f} h"
    if night.pack_68_h:
        words += f" ({night.pack_68_h[0]:.1f} to {night.pack_68_h[1]:.1f})"
    words += f"; dawn comes after {night.dawn_h:.1f} h"
    if night.pack_chance:
        words += f", reached in {_chance(night.pack_chance.probability)} nights"
    words += "."
    better_h = night.best_finished_h or 0.0
    if better_h > 1.1 * seen.finished_h:
        words += f" Start later by {night.best_start_min:.0f} min: {duration(better_h)} finished."
    return words


def _which(seen, reason):
    """The reason, with the name of the battery that is empty first."""
    if reason != LOST["battery"]:
        return reason
    return "the pack is empty" if seen.pack_h <= seen.mount_h else "the mount's cells are empty"


def _chance(probability):
    if probability < 0.0005:
        return "none of 2,000 drawn"
    return f"{100 * probability:.{1 if probability < 0.1 else 0}f} % of drawn"


def heater_night(passport, *, margin_k) -> HeaterPlan:
    """The least heat that keeps the lens of this passport `margin_k` above dew or frost through its dark hours [K]."""
    night = conditions(passport, target=passport["plan.target"], date=passport["plan.date"])
    rig = passport.central()
    air_degc, humidity_pct = hours.air(rig, night)
    return power.heater_plan(
        times_h=night.since_set_up_min / 60.0,
        air_degc=air_degc,
        humidity_pct=humidity_pct,
        cooling_k=rig["night.lens_cooling_k"],
        heater_w=rig["power.heater_w"],
        lift_k_w=rig["night.heater_lift_k_w"],
        margin_k=margin_k,
    )
