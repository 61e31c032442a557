"""The night ribbon again and again: one target, with another start, heater, battery or air, fast enough for a slider.

The path of a star in a sub, and with it the frame yield, knows nothing of batteries and dew. It is followed once for
a target; what a move changes is worked out anew: which minutes are open, how bright the background is, on which side
the tube hangs, and how far the batteries go.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np

from workbook import power
from workbook.checks import between, fraction, not_negative, positive
from workbook.verdict import hours
from workbook.verdict.answer import drawn_rigs
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.lanes import LEAST_MM, SWAP_MIN, Unmoved, lane_ranges, unmoved, with_lanes
from workbook.verdict.rates import minute_rates, worth_of_minutes
from workbook.verdict.ribbon import ribbon
from workbook.verdict.ribbon_record import Ribbon

PACKS_V = {
    "iron phosphate": 3.2,
    "lithium ion": 3.6,
    "lead": 12.0,
}  # nominal voltages whose multiples tell the kind
MORE = 10  # so many more draws for what costs little: how long the batteries last
START_STEP_MIN, LATEST_START_MIN, NEARLY_BEST = 15, 480, 0.98


@dataclasses.dataclass(frozen=True)
class Evening:
    """One evening as it was set: its ribbon and its moments.

    since_min, minutes since the earliest moment of the evening; dawn_h, from the start of the set-up to the end of
    darkness [h]; ready_min, from the earliest moment until the first sub [min]. Ranges are None until they are asked.
    """

    ribbon: Ribbon
    since_min: np.ndarray = None
    dawn_h: float = 0.0
    ready_min: float = 0.0
    pack_68_h: tuple | None = None
    mount_68_h: tuple | None = None
    usable_68_h: tuple | None = None
    pack_chance: power.Chance | None = None  # of the pack's reaching dawn
    best_start_min: float | None = None
    best_finished_h: float | None = None


def evening(
    passport, *, target, start_min, heater_duty, pack_wh, air_end_degc, draws: int = 0, seed: int = 1
) -> Evening:
    """The ribbon of one target for another start, heater, battery or air.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power, habits and the plan's date, mode and guiding.
    target : str
        A name in the open deep-sky catalogue.
    start_min : float
        How long after the earliest moment the set-up begins [min].
    heater_duty : float
        Share of the time the heater is on.
    pack_wh : float
        Energy printed on the pack [Wh].
    air_end_degc : float
        Air at dawn; the air at dusk moves with it, the humidity stays [°C].
    draws, seed : int
        Draws over the passport's spreads for the ranges, ten times as many for the batteries; 0 for none, and then no
        search for the best start.

    Returns
    -------
    Evening
        Its ribbon is `verdict.ribbon` of the passport with these values, at the sub length that is best for the
        passport as it stands. Where the night is not dark, its ribbon says so and there is nothing else.

    Notes
    -----
    The share that the cold leaves of the pack is the passport's, times `power.cold_share` of the pack's kind at the
    mean air of the night over that at the passport's own air, at most 1. The kind is told from the pack's voltage. The
    mount's own cells are taken to suffer as the pack does.
    """
    positive("pack_wh", pack_wh), fraction("heater_duty", heater_duty)
    between("air_end_degc", air_end_degc, -20, 45, cure="no share of charge is known beyond")
    start_min = not_negative("start_min", float(start_min))
    begun = _begun(passport, target)
    if begun is None:
        return Evening(ribbon(passport, target=target, draws=0))
    changes = _changes(passport, float(heater_duty), float(pack_wh), float(air_end_degc))
    seen = _at(begun, passport.central() | changes, start_min)
    if not draws:
        return seen
    other = passport.replace(changes)
    return _with_ranges(seen, other, begun, start_min, draws, seed)


@dataclasses.dataclass(frozen=True)
class _Begun:
    """What no slider of the evening changes."""

    base: Ribbon
    night: Conditions
    still: Unmoved
    frame_yield: np.ndarray
    sub_s: float


@functools.lru_cache(maxsize=16)
def _begun(passport, target) -> _Begun | None:
    date, mode, guided = (passport[f"plan.{key}"] for key in ("date", "mode", "guided"))
    night = conditions(passport, target=target, date=date)
    if night is None:
        return None
    base = ribbon(passport, target=target, draws=0)
    still = unmoved(passport, target=target, date=date, mode=mode, guided=guided, overhang_mm=0.0)
    seen = still.hold_s[np.isfinite(still.hold_s)]
    sub_s = base.sub_s or float(np.median(seen) if seen.size else 0.0)
    rates = minute_rates(passport.central(), night, mode=mode, guided=guided, sub_s=sub_s or None)
    return _Begun(base, night, still, rates.frame_yield, sub_s)


def _changes(passport, heater_duty, pack_wh, air_end_degc):
    start, end = passport["night.air_start_degc"], passport["night.air_end_degc"]
    volts = passport["power.pack_v"]
    kind = min(PACKS_V, key=lambda name: abs(volts - PACKS_V[name] * max(1, round(volts / PACKS_V[name]))))
    middle = 0.5 * (start - end)
    now, then = (
        power.cold_share(chemistry=kind, temperature_degc=float(np.clip(degc + middle, -20.0, 50.0))).central
        for degc in (air_end_degc, end)
    )
    return {
        "power.heater_duty": heater_duty,
        "power.pack_wh": pack_wh,
        "power.pack_cold": min(passport["power.pack_cold"] * now / then, 1.0),
        "night.air_end_degc": air_end_degc,
        "night.air_start_degc": air_end_degc + start - end,
    }


def _at(begun, rig, start_min) -> Evening:
    """The evening for the central numbers."""
    base, night = begun.base, begun.night.begun_later(start_min)
    rates = worth_of_minutes(
        rig, night, begun.frame_yield, mode=base.mode, guided=base.guided, sub_s=begun.sub_s
    )
    base = dataclasses.replace(base, start_min=start_min)
    return Evening(
        ribbon=with_lanes(base, rig, night, begun.still, rates, least_mm=LEAST_MM, swap_min=SWAP_MIN),
        since_min=begun.night.since_set_up_min,
        dawn_h=float(night.since_set_up_min[-1] + 0.5) / 60.0,
        ready_min=start_min + float(hours.set_up_min(rig, base.mode)),
    )


def _with_ranges(seen, passport, begun, start_min, draws, seed) -> Evening:
    mode, guided = begun.base.mode, begun.base.guided
    later = begun.night.begun_later(start_min)
    many = drawn_rigs(passport, MORE * draws, seed)
    pack_h, mount_h = (
        np.broadcast_to(np.ravel(end), MORE * draws) for end in hours.supply_h(many, guided=guided)
    )
    drawn = drawn_rigs(passport, draws, seed)
    tests = hours.open_minutes(drawn, later, mode=mode, guided=guided)
    open_ = np.logical_and.reduce(np.broadcast_arrays(*tests.values(), seen.ribbon.clear_of_legs))
    usable_h = np.broadcast_to(open_, (draws, open_.shape[-1])).sum(axis=-1) / 60.0
    rig = passport.central()
    tried = {
        start: _at(begun, rig, float(start)).ribbon.finished_h
        for start in range(0, LATEST_START_MIN + 1, START_STEP_MIN)
    }
    top = max(tried.values())
    good = [start for start, finished_h in tried.items() if finished_h >= NEARLY_BEST * top]
    best = good[len(good) // 2] if top else None  # the middle of the good ones stands every delay best
    return dataclasses.replace(
        seen,
        ribbon=dataclasses.replace(
            seen.ribbon, **lane_ranges(passport, later, guided=guided, draws=draws, seed=seed)
        ),
        pack_68_h=_ends(pack_h),
        mount_68_h=_ends(mount_h),
        usable_68_h=_ends(usable_h),
        pack_chance=power.dawn_chance(ends_h=pack_h, dawn_h=seen.dawn_h),
        best_start_min=None if best is None else float(best),
        best_finished_h=tried.get(best, 0.0),
    )


def _ends(values):
    return tuple(float(end) for end in np.percentile(values, [16.0, 84.0]))
