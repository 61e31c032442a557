"""What each minute of a night is worth: finished hours per hour at one sub length, and its longest sub."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.verdict import hours
from workbook.verdict.conditions import Conditions
from workbook.verdict.curve import (
    KNEE_YIELD,
    NODES,
    PHASES,
    SEED,
    SUBS_S,
    _crossing_s,
    efficiency_curve,
    node_minutes,
    spread_over_minutes,
)
from workbook.verdict.path import path_yield
from workbook.verdict.terms import path_terms


class MinuteRates(NamedTuple):
    """A night at one sub length, minute by minute.

    sub_s [s]; usable, whether a frame can be taken; frame_yield; finished_rate and kept_rate, hours per hour,
    also for minutes that are not usable, 0 out of view.
    """

    sub_s: float
    usable: np.ndarray
    frame_yield: np.ndarray
    finished_rate: np.ndarray
    kept_rate: np.ndarray

    @property
    def finished_h(self) -> float:
        """Finished hours of the night [h]."""
        return float(np.sum(self.usable * self.finished_rate)) / 60.0

    @property
    def kept_h(self) -> float:
        """Kept hours of the night [h]."""
        return float(np.sum(self.usable * self.kept_rate)) / 60.0


def minute_rates(rig: dict, night: Conditions, *, mode, guided, sub_s=None) -> MinuteRates:
    """What each minute is worth at one sub length, the best of the night where none is given.

    Parameters
    ----------
    rig : dict
        Passport numbers as floats.
    night : Conditions
        One night, one target.
    mode, guided
        As in `path_terms`.
    sub_s : float, optional
        Sub length [s]; the peak of `efficiency_curve` where not given.

    Returns
    -------
    MinuteRates
        The sum over usable minutes is the finished hours of `verdict` within a few per cent: both follow the path at
        some minutes of the night and draw straight lines between them, at different ones. Without a usable minute the
        sub is 0 s and all rates are 0.
    """
    count = len(night.times_utc)
    if sub_s is None:
        curve = efficiency_curve(rig, night, mode=mode, guided=guided)
        sub_s = curve.best_sub_s if curve else 0.0
    at = node_minutes(night, NODES)
    if at.size == 0 or not sub_s:
        return worth_of_minutes(rig, night, np.zeros(count), mode=mode, guided=guided, sub_s=0.0)
    terms = path_terms(rig, night.at(at), mode=mode, guided=guided)
    kept = path_yield(terms, sub_s=[sub_s], phases=4 * PHASES, seed=SEED)[:, 0] @ spread_over_minutes(
        at, count
    )
    kept = np.where(night.in_view, kept, 0.0)
    return worth_of_minutes(rig, night, kept, mode=mode, guided=guided, sub_s=sub_s)


def worth_of_minutes(rig: dict, night: Conditions, frame_yield, *, mode, guided, sub_s) -> MinuteRates:
    """What each minute is worth once its frame yield is known: light, pauses, and which minutes are usable.

    Parameters
    ----------
    rig, night, mode, guided
        As in `minute_rates`.
    frame_yield : array (minutes,)
        Share of the subs that are kept; it holds as long as path and sub length stay, whatever becomes of batteries,
        dew and start.
    sub_s : float
        Sub length [s]; 0 gives rates of 0.
    """
    if not sub_s:
        nothing = np.zeros(len(night.times_utc))
        return MinuteRates(0.0, nothing > 0, nothing, nothing, nothing)
    worth = hours.minutes(rig, night, mode=mode, guided=guided)
    duty = float(hours.duty(rig, sub_s))
    depth = worth.weight / (worth.background_e_s_px + rig["camera.read_noise_e"] ** 2 / sub_s)
    return MinuteRates(
        float(sub_s), worth.usable > 0, frame_yield, frame_yield * duty * depth, frame_yield * duty
    )


def hold_s(rig: dict, night: Conditions, *, mode, guided) -> np.ndarray:
    """The longest sub of which nine in ten are kept, for each minute in view; NaN elsewhere [s].

    Parameters
    ----------
    rig : dict
        Passport numbers as floats.
    night : Conditions
        One night, one target.
    mode, guided
        As in `path_terms`.

    Returns
    -------
    array (minutes,)
        The knee of each minute by itself, 1 to 600 s: 1 where even a second is too long, 600 where ten minutes would
        hold [s].
    """
    at = node_minutes(night, 2 * NODES)
    if at.size == 0:
        return np.full(len(night.times_utc), np.nan)
    terms = path_terms(rig, night.at(at), mode=mode, guided=guided)
    kept = path_yield(terms, sub_s=SUBS_S, phases=PHASES, seed=SEED)
    knees = [_crossing_s(SUBS_S, row, KNEE_YIELD) if row[0] >= KNEE_YIELD else SUBS_S[0] for row in kept]
    held = np.exp(np.log(knees) @ spread_over_minutes(at, len(night.times_utc)))
    return np.where(night.in_view, held, np.nan)
