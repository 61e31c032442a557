"""The lanes of a night ribbon: stand, batteries and dew over the minutes, and what closes each of them.

Used by the ribbon of one night and by the evening that a slider moves.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import NamedTuple

import numpy as np

from workbook import balance, rotation, sky
from workbook.verdict import hours
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.hours import drawn_rigs
from workbook.verdict.rates import MinuteRates, hold_s
from workbook.verdict.ribbon_record import LOST, Ribbon

LEAST_MM = 10.0  # room between camera and stand that one wants to keep
SWAP_MIN = 10.0  # what swapping the tube to the other side takes, centring included
DEW_MINUTES = (
    40  # so many minutes of the night carry the range of the dew margin, straight lines between them
)


class Unmoved(NamedTuple):
    """What neither the start of the evening nor batteries nor air change; arrays over the minutes.

    hold_s, the longest sub [s]; rotation_rate_deg_h, of the field [°/h]; gaps_mm, for each side on which the tube may
    hang the room between camera and stand [mm].
    """

    hold_s: np.ndarray
    rotation_rate_deg_h: np.ndarray
    gaps_mm: dict


class Hung(NamedTuple):
    """On which side the tube hangs in each minute, in which it is being swapped, and both in words."""

    east: np.ndarray
    swapping: np.ndarray
    words: str


@functools.lru_cache(maxsize=16)
def unmoved(passport, *, target, date, mode, guided, overhang_mm) -> Unmoved:
    """What stays through every start of an evening; parameters as in `ribbon`."""
    night = conditions(passport, target=target, date=date)
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
    return Unmoved(hold_s(rig, night, mode=mode, guided=guided), turning, gaps_mm)


def with_lanes(
    base: Ribbon, rig: dict, night: Conditions, still: Unmoved, rates: MinuteRates, *, least_mm, swap_min
) -> Ribbon:
    """A ribbon with everything that start, batteries, heater and air decide.

    Parameters
    ----------
    base : Ribbon
        Gives target, mode, guiding and the sky; its lanes are replaced.
    rig : dict
        Passport numbers as floats.
    night : Conditions
        The minutes, counted from the start of this evening (`Conditions.begun_later`).
    still : Unmoved
        Of the same night.
    rates : MinuteRates
        What each of these minutes is worth.
    least_mm, swap_min : float
        As in `ribbon` [mm] and [min].
    """
    tests = hours.open_minutes(rig, night, mode=base.mode, guided=base.guided)
    open_ = np.logical_and.reduce(np.broadcast_arrays(*tests.values()))
    room = {side: gap >= least_mm for side, gap in still.gaps_mm.items()}
    worth = open_ * rates.finished_rate
    if not worth.any():  # nothing to gain: the side that leaves most of the view
        worth = base.in_view * 1.0
    hung = hang(room, worth, swap_min=round(swap_min))
    clear = np.where(hung.east, room["east"], room["west"])
    tests |= {"legs": clear | hung.swapping, "swap": ~hung.swapping}
    clear = clear & ~hung.swapping
    usable = open_ & clear
    count = len(night.times_utc)
    closed = {key: ~np.broadcast_to(test, count) for key, test in tests.items()}
    pack_h, mount_h = (float(end_h) for end_h in hours.supply_h(rig, guided=base.guided))
    return dataclasses.replace(
        base,
        pack_left=share_left(night, pack_h),
        mount_left=share_left(night, mount_h),
        dew_margin_k=hours.lens_margin_k(rig, night, heated_h=pack_h) + np.zeros(count),
        gap_mm=np.where(hung.east, still.gaps_mm["east"], still.gaps_mm["west"]),
        side=hung.words,
        swap_utc=night.times_utc[np.argmax(hung.swapping)] if hung.swapping.any() else None,
        clear_of_legs=clear,
        usable=usable,
        lost=first_cause(closed, count),
        closed=closed,
        sub_s=rates.sub_s,
        frame_yield=rates.frame_yield,
        finished_rate=rates.finished_rate,
        finished_h=float(np.sum(rates.finished_rate * usable)) / 60.0,
        finished_any_legs_h=rates.finished_h,
        kept_h=float(np.sum(rates.kept_rate * usable)) / 60.0,
        pack_h=pack_h,
        mount_h=mount_h,
    )


def hang(room: dict, worth, *, swap_min: int) -> Hung:
    """The side of the axis, or the one swap, that leaves most of what the minutes are worth.

    Parameters
    ----------
    room : dict
        For "east" and "west" whether the camera clears the stand in each minute.
    worth : array (minutes,)
        What each minute is worth, 0 where it is closed anyway.
    swap_min : int
        Minutes that a swap takes [min].
    """
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
        return Hung(np.full(count, first == "east"), swapping, first)
    swapping[at : at + swap_min] = True
    return Hung(
        np.where(minutes < at, first == "east", second == "east"), swapping, f"{first}, then {second}"
    )


def share_left(night: Conditions, runtime_h):
    """Share of a battery that is left in each minute, full until the set-up begins."""
    return 1.0 - np.clip(night.since_set_up_min / 60.0 / runtime_h, 0.0, 1.0)


def first_cause(closed: dict, count: int):
    """For each minute the first cause of LOST that closes it, "" where none does."""
    lost = np.full(count, "", dtype="U8")
    for key in LOST:
        if key in closed:
            lost[closed[key] & (lost == "")] = key
    return lost


def lane_ranges(passport, night: Conditions, *, guided, draws, seed) -> dict:
    """The fields of a ribbon that hold 68 % ranges of batteries, dew margin and sky; empty without draws."""
    if not draws:
        return {}
    drawn = drawn_rigs(passport, draws, seed)
    ranges = {}
    for name, runtime_h in zip(("pack", "mount"), hours.supply_h(drawn, guided=guided), strict=True):
        ends = np.percentile(runtime_h, [16.0, 84.0])
        ranges[f"{name}_left_68"] = np.stack([share_left(night, end) for end in ends])
    heated_h = float(hours.supply_h(passport.central(), guided=guided)[0])  # its range is that of the pack
    last = len(night.times_utc) - 1
    cold = int(np.searchsorted(night.since_set_up_min / 60.0, heated_h, side="right"))
    minutes = np.unique(
        np.r_[np.linspace(0, last, DEW_MINUTES), np.clip([cold - 1, cold], 0, last)].astype(int)
    )
    margin_k = hours.lens_margin_k(drawn, night.at(minutes), heated_h=heated_h)
    margin_k = margin_k + np.zeros((draws, len(minutes)))
    ends = np.percentile(margin_k, [16.0, 84.0], axis=0)
    every = np.arange(len(night.times_utc))
    ranges["dew_margin_68_k"] = np.stack([np.interp(every, minutes, end) for end in ends])
    away_mag = _sky_away_mag(passport.central(), drawn, night.at(minutes), draws, seed)
    central_mag = sky.sky_mag_arcsec2(brightness_nl=hours.glow_nl(passport.central(), night)[1])
    ranges["sky_mag_68"] = central_mag + np.stack([np.interp(every, minutes, end) for end in away_mag])
    return ranges


def _sky_away_mag(rig, drawn, night, draws, seed):
    """By how much the sky's 68 % range departs from the central sky: brightest and darkest [mag/″²].

    The moonlight of a draw is off by one share all night, normal in magnitudes: 23 % for one sigma, the largest error
    that the authors of the model state, or 0.4 mag where `sky.moonlight_departures` has a reason.
    """
    doubtful = np.logical_or.reduce(list(_departures(night).values()))
    sigma_mag = np.where(doubtful, sky.DEPARTURE_MAG, 2.5 * np.log10(1.0 + sky.STATED_ERROR[1]))
    factor = 10 ** (0.4 * sigma_mag * np.random.default_rng([seed, draws]).standard_normal((draws, 1)))
    moonless_nl = hours.glow_nl(drawn, night, frozenset({"moon"}))[1]
    moonlight_nl = hours.glow_nl(drawn, night)[1] - moonless_nl
    many_mag = sky.sky_mag_arcsec2(brightness_nl=moonless_nl + factor * moonlight_nl)
    central_mag = sky.sky_mag_arcsec2(brightness_nl=hours.glow_nl(rig, night)[1])
    return np.percentile(many_mag, [16.0, 84.0], axis=0) - central_mag


def moon_warning(night: Conditions) -> str:
    """Why the moonlight in some minute in view may be off by more than the model's authors state, "" for never."""
    found = [words for words, true in _departures(night).items() if (true & night.in_view).any()]
    if "the Moon is high and near" in found and "the Moon is near" in found:
        found.remove("the Moon is near")
    return f"moonlight good to {sky.DEPARTURE_MAG:g} mag only: {', '.join(found)}" if found else ""


def _departures(night):
    return sky.moonlight_departures(
        zenith_distance_deg=90.0 - night.apparent_altitude_deg,
        moon_zenith_distance_deg=night.moon_zenith_distance_deg,
        separation_deg=night.moon_separation_deg,
        phase_angle_deg=night.moon_phase_angle_deg,
    )
