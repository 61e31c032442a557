"""When cloud comes: wait under the cover, or set down? How much clear sky must come back to pay for the waiting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook.checks import not_negative
from workbook.night.clock import as_datetime64
from workbook.verdict import ribbon

WAITS_MIN = np.arange(0.0, 241.0, 15.0)


@dataclass(frozen=True)
class CloudStop:
    """Waiting against setting down, from one moment on; arrays run over `wait_min`.

    wait_min, how long the cloud stays [min]; clear_left_min, usable minutes that are then left tonight, resuming taken
    off [min]; clear_needed_min, of these, how many must really be clear to pay for the wait [min], inf where there is
    nothing to gain; break_even_chance, the chance of all of them being clear above which waiting pays, above 1: never;
    latest_wait_min, the longest wait that can still pay [min]; words, the decision.
    """

    at_utc: np.datetime64
    wait_min: np.ndarray
    clear_left_min: np.ndarray
    clear_needed_min: np.ndarray
    break_even_chance: np.ndarray
    latest_wait_min: float
    words: str


def cloud_stop(
    passport,
    *,
    at_utc,
    resume_min,
    worth_min_per_h,
    target=None,
    date=None,
    mode=None,
    guided=None,
) -> CloudStop:
    """How long to wait for a hole in the clouds before setting down.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    at_utc : datetime or datetime64
        When the cloud came [UTC].
    resume_min : float
        From the first clear sky to the first kept sub: uncover, focus, centre [min].
    worth_min_per_h : float
        The finished minutes that make an hour of waiting worth it to you. Nobody can work this out; 0 for one who likes
        to sit outside [finished minutes per hour].
    target, date, mode, guided : optional
        As in `verdict.verdict`.

    Returns
    -------
    CloudStop
        For waits of 0 to 240 minutes.

    Raises
    ------
    ValueError
        If a number is negative, the moment naive, or it lies outside the dark hours of the night.

    Notes
    -----
    Clear minutes needed = wait · worth/rate, with the rate at which the remaining usable minutes bring finished hours.
    Setting down and the drive home come either way and cancel. Batteries, dew, mask and legs end the night
    as in `verdict.ribbon`; the batteries run on while you wait. The weather itself is not forecast: what you get is the
    break-even, to be held against your own forecast. Rain, thunder or a rising wind are no matter of minutes: set down
    at once.
    """
    resume = not_negative("resume_min", float(resume_min))
    price = not_negative("worth_min_per_h", float(worth_min_per_h))
    night = ribbon(passport, target=target, date=date, mode=mode, guided=guided, draws=0)
    at = as_datetime64("at_utc", at_utc).astype("M8[ms]")
    if night.reason:
        raise ValueError(f"at_utc lies in no night to plan: {night.reason}")
    first, last = night.times_utc[[0, -1]]
    half = np.timedelta64(30_000, "ms")
    if not first - half <= at <= last + half:
        raise ValueError(
            f"at_utc must lie in the dark hours, {str(first - half)[:16]} to {str(last + half)[:16]} UTC, "
            f"received {str(at)[:16]}"
        )
    after_min = (night.times_utc - at) / np.timedelta64(60_000, "ms")
    left, needed, chance = (np.empty(len(WAITS_MIN)) for _ in range(3))
    for place, wait in enumerate(WAITS_MIN):
        good = night.usable & (after_min >= wait + resume)
        left[place] = good.sum()
        gain_min = float(np.sum(night.finished_rate[good]))  # finished minutes, all of it clear
        cost_min = wait / 60.0 * price
        with np.errstate(divide="ignore", invalid="ignore"):
            share = cost_min / gain_min if gain_min > 0 else np.inf
        chance[place] = share
        needed[place] = share * left[place] if gain_min > 0 else np.inf
    pays = chance <= 1.0
    latest = float(WAITS_MIN[np.flatnonzero(pays)[-1]]) if pays.any() else 0.0
    return CloudStop(at, WAITS_MIN, left, needed, chance, latest, _words(night, at, left, latest, pays))


def _words(night, at, left, latest, pays):
    if not left[0]:
        return f"Set down now: no usable minute is left tonight ({night.ended_by()})."
    if not pays[1:].any():
        return "Set down now: what is left tonight would not pay for a quarter of an hour of waiting."
    until = str(at + np.timedelta64(int(latest * 60_000), "ms"))[11:16]
    return (
        f"Waiting can pay until {until} UTC, if the rest of the night is clear then; "
        f"{left[0]:.0f} usable minutes are left now, and the night ends by: {night.ended_by()}. "
        "Rain, thunder or gusts: set down at once."
    )
