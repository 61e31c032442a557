"""The night ribbon: all limits of one night on one time axis, minute by minute, as arrays to draw and to read."""

from __future__ import annotations

import dataclasses
import functools
from datetime import date as Date
from typing import NamedTuple

import numpy as np

from workbook import balance, rotation, sky
from workbook.checks import chosen, not_negative
from workbook.verdict import hours
from workbook.verdict.answer import MODES, drawn_rigs
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.rates import hold_s, minute_rates

# Why a minute is lost, in the order of the evening; the first that applies is named.
LOST = {
    "horizon": "outside the view",
    "set-up": "still setting up",
    "zenith": "in the drive's zenith zone",
    "battery": "a battery is empty",
    "dew": "dew or frost on the lens",
    "legs": "the camera would meet the stand",
    "swap": "swapping the tube to the other side",
}


class Span(NamedTuple):
    """A stretch of the night with one answer: start and end [UTC], why it is lost ("" where usable), its length [h]."""

    start_utc: np.datetime64
    end_utc: np.datetime64
    reason: str
    length_h: float


@dataclasses.dataclass(frozen=True)
class Ribbon:
    """One night for one rig and target; arrays run over the minutes of astronomical darkness.

    Pairs of arrays (2, minutes) are the 68 % range over the passport's spreads. `lost` holds for each minute a key of
    LOST, or "" where it is usable. `reason` says why there is nothing to draw: then all arrays are empty.
    """

    target: str
    date: Date
    mode: str
    guided: bool
    start_min: float
    reason: str = ""
    times_utc: np.ndarray = None
    altitude_deg: np.ndarray = None  # apparent
    azimuth_deg: np.ndarray = None
    in_view: np.ndarray = None
    hold_s: np.ndarray = None  # longest sub of which nine in ten are kept; NaN out of view
    rotation_rate_deg_h: np.ndarray = None  # of the field; 0 when tilted
    sky_mag_arcsec2: np.ndarray = None  # at the target, Moon included
    moonless_mag_arcsec2: np.ndarray = None  # at the target without the Moon
    moon_altitude_deg: np.ndarray = None
    moon_lit_fraction: np.ndarray = None
    pack_left: np.ndarray = None  # shares 0 … 1
    pack_left_68: np.ndarray = None
    mount_left: np.ndarray = None
    mount_left_68: np.ndarray = None
    dew_margin_k: np.ndarray = None  # lens above dew or frost
    dew_margin_68_k: np.ndarray = None
    gap_mm: np.ndarray = None  # between camera and stand
    side: str = ""  # on which the tube hangs; "west, then east" where it is swapped once
    swap_utc: np.datetime64 | None = None
    clear_of_legs: np.ndarray = None
    usable: np.ndarray = None  # as in `verdict`, and clear of the legs
    lost: np.ndarray = None
    sub_s: float = 0.0
    frame_yield: np.ndarray = None
    finished_rate: np.ndarray = None  # finished hours per hour, in every minute in view
    finished_h: float = 0.0  # over the usable minutes
    finished_any_legs_h: float = 0.0  # as `verdict` counts, legs not looked at
    kept_h: float = 0.0
    pack_h: float = 0.0  # from the start of the set-up
    mount_h: float = 0.0

    @property
    def usable_h(self) -> float:
        """Usable hours [h]."""
        return float(np.sum(self.usable)) / 60.0 if self.usable is not None else 0.0

    def spans(self) -> list[Span]:
        """The night as stretches of one answer each, in order."""
        if self.times_utc is None or not len(self.times_utc):
            return []
        starts = np.flatnonzero(np.r_[True, self.lost[1:] != self.lost[:-1]])
        ends = np.r_[starts[1:], len(self.lost)]
        half = np.timedelta64(30, "s")
        return [
            Span(
                self.times_utc[a] - half,
                self.times_utc[b - 1] + half,
                str(self.lost[a]),
                float(b - a) / 60.0,
            )
            for a, b in zip(starts, ends, strict=True)
        ]

    def ended_by(self) -> str:
        """What ends the night in words: what follows the last usable minute."""
        if self.reason:
            return self.reason
        if not self.usable.any():
            keys, counts = np.unique(self.lost, return_counts=True)
            return f"no minute is usable: {LOST[str(keys[np.argmax(counts)])]}"
        last = int(np.flatnonzero(self.usable)[-1])
        return "dawn" if last == len(self.usable) - 1 else LOST[str(self.lost[last + 1])]

    def as_text(self) -> str:
        """The ribbon as lines of text."""
        if self.reason:
            return f"{self.target}, {self.date.isoformat()}: nothing to show, {self.reason}."
        lines = [f"{self.target}, night of {self.date.isoformat()}, {self.mode}, times in UTC"]
        for span in self.spans():
            ends = " to ".join(str(end)[11:16] for end in span[:2])
            lines.append(f"{ends}  {span.length_h:4.1f} h  {LOST.get(span.reason, 'usable')}")
        lines.append(
            f"{self.usable_h:.1f} h usable, {60 * self.finished_h:.0f} min finished; ends by: {self.ended_by()}."
        )
        return "\n".join(lines)


def ribbon(
    passport,
    *,
    target=None,
    date=None,
    mode=None,
    guided=None,
    start_min: float = 0.0,
    draws: int = 200,
    seed: int = 1,
    overhang_mm: float = 0.0,
    least_mm: float = 10.0,
    swap_min: float = 10.0,
) -> Ribbon:
    """All limits of one night on one time axis.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    target, date, mode, guided : optional
        As in `verdict`.
    start_min : float
        How long after the passport's earliest moment (the Sun at `habits.set_up_sun_deg`) the set-up begins [min]. The
        batteries count from there.
    draws, seed : int
        Draws over the passport's spreads for the ranges of battery and dew; 0 for none.
    overhang_mm : float
        How far the crossing of the axes stands beside the plumb line of the stand [mm]; 0, above its middle, unless you
        measured it.
    least_mm : float
        Distance of camera and stand that you want to keep [mm].
    swap_min : float
        What swapping the tube to the other side of the axis takes, centring included [min].

    Returns
    -------
    Ribbon
        Its `finished_any_legs_h` is that of `verdict` (for start_min 0); `finished_h` leaves out the minutes in which
        the camera would meet the stand.

    Notes
    -----
    The tube hangs on the side that gives more finished hours, and is swapped once where that gives more than the swap
    costs. Ranges of the battery are those of its end, drawn as straight lines from full; the mean load is used, not its
    steps.
    """
    plan = {"target": target, "date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    start_min = not_negative("start_min", float(start_min))
    known = plan | {"start_min": start_min}
    night = conditions(passport, target=plan["target"], date=plan["date"])
    if night is None:
        return Ribbon(reason="the Sun does not sink 18° below the horizon: no astronomical night", **known)
    known["target"] = night.target.name
    fixed = _fixed(passport, plan["target"], plan["date"], plan["mode"], plan["guided"], overhang_mm)
    later = dataclasses.replace(night, since_set_up_min=night.since_set_up_min - start_min)
    how = {"mode": plan["mode"], "guided": plan["guided"]}
    rig = passport.central()
    tests = hours.open_minutes(rig, later, **how)
    open_ = np.logical_and.reduce(np.broadcast_arrays(*tests.values()))
    rates = minute_rates(rig, later, **how)
    room = {name: gap >= least_mm for name, gap in fixed.gaps_mm.items()}
    hung = _sides(room, open_ * rates.finished_rate, round(not_negative("swap_min", float(swap_min))))
    gap_mm = np.where(hung.east, fixed.gaps_mm["east"], fixed.gaps_mm["west"])
    clear = np.where(hung.east, room["east"], room["west"])
    tests |= {"legs": clear | hung.swapping, "swap": ~hung.swapping}
    clear = clear & ~hung.swapping
    _, target_nl = hours.glow_nl(rig, later)
    _, moonless_nl = hours.glow_nl(rig, later, frozenset({"moon"}))
    usable = open_ & clear
    pack, mount = hours.supply_h(rig, guided=plan["guided"])
    ranges = _ranges(passport, later, plan["guided"], draws, seed)
    return Ribbon(
        **known,
        times_utc=night.times_utc,
        altitude_deg=night.apparent_altitude_deg,
        azimuth_deg=night.azimuth_deg,
        in_view=night.in_view,
        hold_s=fixed.hold_s,
        rotation_rate_deg_h=fixed.rotation_rate_deg_h,
        sky_mag_arcsec2=sky.sky_mag_arcsec2(brightness_nl=target_nl),
        moonless_mag_arcsec2=sky.sky_mag_arcsec2(brightness_nl=moonless_nl),
        moon_altitude_deg=90.0 - night.moon_zenith_distance_deg,
        moon_lit_fraction=(1.0 + np.cos(np.radians(night.moon_phase_angle_deg))) / 2.0,
        pack_left=_left(later, pack),
        mount_left=_left(later, mount),
        dew_margin_k=hours.lens_margin_k(rig, later) + np.zeros(len(night.times_utc)),
        **ranges,
        gap_mm=gap_mm,
        side=hung.words,
        swap_utc=night.times_utc[np.argmax(hung.swapping)] if hung.swapping.any() else None,
        clear_of_legs=clear,
        usable=usable,
        lost=_reasons(tests, len(night.times_utc)),
        sub_s=rates.sub_s,
        frame_yield=rates.frame_yield,
        finished_rate=rates.finished_rate,
        finished_h=float(np.sum(rates.finished_rate * usable)) / 60.0,
        finished_any_legs_h=rates.finished_h,
        kept_h=float(np.sum(rates.kept_rate * usable)) / 60.0,
        pack_h=float(pack),
        mount_h=float(mount),
    )


class _Hung(NamedTuple):
    """On which side the tube hangs in each minute, and in which it is being swapped."""

    east: np.ndarray
    swapping: np.ndarray
    words: str


def _sides(room, worth, swap_min) -> _Hung:
    """The side, or the one swap, that leaves most of what the minutes are worth."""
    count = len(worth)
    summed = {name: np.r_[0.0, np.cumsum(worth * clear)] for name, clear in room.items()}
    minutes = np.arange(count)
    first, second = max(balance.SIDES, key=lambda name: summed[name][-1]), None
    most, at = summed[first][-1], 0
    if swap_min < count:
        for before, after in (balance.SIDES, balance.SIDES[::-1]):
            split = summed[before][: count - swap_min + 1] + summed[after][-1] - summed[after][swap_min:]
            if split.max() > most + 1e-9:
                most, at, first, second = split.max(), int(split.argmax()), before, after
    swapping = np.zeros(count, bool)
    if second is None:
        return _Hung(np.full(count, first == "east"), swapping, first)
    swapping[at : at + swap_min] = True
    return _Hung(
        np.where(minutes < at, first == "east", second == "east"), swapping, f"{first}, then {second}"
    )


class _Fixed(NamedTuple):
    """What does not change with the start of the evening."""

    hold_s: np.ndarray
    rotation_rate_deg_h: np.ndarray
    gaps_mm: dict


@functools.lru_cache(maxsize=16)
def _fixed(passport, target, date, mode, guided, overhang_mm) -> _Fixed:
    night: Conditions = conditions(passport, target=target, date=date)
    rig = passport.central()
    tilted = mode == "tilted"
    latitude_deg = night.latitude_deg
    turning = np.zeros(len(night.times_utc))
    if not tilted:
        turning = rotation.rotation_rate_deg_h(
            altitude_deg=night.altitude_deg, azimuth_deg=night.azimuth_deg, latitude_deg=latitude_deg
        )
    south = latitude_deg < 0
    gaps_mm = {
        side: balance.clearance_mm(
            turn_deg=night.hour_angle_deg if tilted else night.azimuth_deg - 180.0,
            rise_deg=(-night.dec_deg if south else night.dec_deg) if tilted else night.altitude_deg,
            axis_altitude_deg=abs(latitude_deg) if tilted else 90.0,
            side=side,
            arm_mm=rig["stand.load_arm_mm"],
            overhang_mm=overhang_mm,
            camera_outline_mm=rig["stand.camera_outline_mm"],
            leg_outline_mm=rig["stand.leg_outline_mm"],
        )
        for side in balance.SIDES
    }
    return _Fixed(hold_s(rig, night, mode=mode, guided=guided), turning, gaps_mm)


def _left(night, runtime_h):
    """Share of a battery that is left in each minute, full until the set-up begins."""
    return 1.0 - np.clip(night.since_set_up_min / 60.0 / runtime_h, 0.0, 1.0)


def _ranges(passport, night, guided, draws, seed):
    """68 % ranges of the batteries and of the dew margin; None without draws."""
    if not draws:
        return {}
    drawn = drawn_rigs(passport, draws, seed)
    ranges = {}
    for name, runtime_h in zip(("pack", "mount"), hours.supply_h(drawn, guided=guided), strict=True):
        ends = np.percentile(runtime_h, [16.0, 84.0])
        ranges[f"{name}_left_68"] = np.stack([_left(night, end) for end in ends])
    minutes = np.unique(np.linspace(0, len(night.times_utc) - 1, 40).astype(int))
    margin_k = hours.lens_margin_k(drawn, night.at(minutes)) + np.zeros((draws, len(minutes)))
    ends = np.percentile(margin_k, [16.0, 84.0], axis=0)
    every = np.arange(len(night.times_utc))
    ranges["dew_margin_68_k"] = np.stack([np.interp(every, minutes, end) for end in ends])
    return ranges


def _reasons(tests, count):
    lost = np.full(count, "", dtype="U8")
    for key in LOST:
        if key in tests:
            closed = ~np.broadcast_to(tests[key], count)
            lost[closed & (lost == "")] = key
    return lost
