"""The efficiency hill: frame yield, duty and read-noise factor against sub length, over the real night."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from workbook.verdict import hours
from workbook.verdict.conditions import Conditions
from workbook.verdict.path import path_yield
from workbook.verdict.terms import path_terms

SUBS_S = np.geomspace(1.0, 600.0, 49)
NODES = 16  # minutes of the night at which the path is followed; between them the yield is interpolated
PHASES = 64
SEED = 20261010
NEAR_PEAK = 0.95
KNEE_YIELD = 0.9


class AtSub(NamedTuple):
    """The night at one sub length."""

    frame_yield: float
    duty: float
    read_noise_factor: float
    efficiency: float
    kept_h: float
    finished_h: float


@dataclass(frozen=True)
class Curve:
    """One night against sub length; arrays (subs,). Efficiency is the product of its three factors."""

    sub_s: np.ndarray
    efficiency: np.ndarray
    frame_yield: np.ndarray
    duty: np.ndarray
    read_noise_factor: np.ndarray
    kept_h: np.ndarray
    finished_h: np.ndarray
    best_sub_s: float
    usable_low_s: float
    usable_high_s: float
    knee_s: float

    def at(self, sub_s: float) -> AtSub:
        """Everything at one sub length, straight lines in log time between the points of the curve."""
        names = AtSub._fields
        return AtSub(*(float(np.interp(np.log(sub_s), np.log(self.sub_s), getattr(self, n))) for n in names))


def node_minutes(night: Conditions, count: int, *, free_horizon: bool = False):
    """Indices of the minutes at which to follow the path: spread over the minutes in view, ends included."""
    open_ = np.flatnonzero(night.apparent_altitude_deg > 0.0 if free_horizon else night.in_view)
    if open_.size == 0:
        return open_
    return np.unique(open_[np.linspace(0, open_.size - 1, min(count, open_.size)).round().astype(int)])


def spread_over_minutes(nodes, count: int):
    """Linear weights (nodes, minutes) that carry values at the nodes to every minute; flat outside."""
    weights = np.empty((len(nodes), count))
    for row, unit in enumerate(np.eye(len(nodes))):
        weights[row] = np.interp(np.arange(count), nodes, unit)
    return weights


def efficiency_curve(
    rig: dict,
    night: Conditions,
    *,
    mode: str,
    guided: bool,
    without: frozenset = frozenset(),
    sub_s=SUBS_S,
    nodes: int = NODES,
    phases: int = PHASES,
) -> Curve | None:
    """The hill for one rig and night, or None where no minute can be used.

    Efficiency is the ratio of finished hours to those of a perfect rig (every frame kept, no overhead, no
    read noise) in the same minutes under the same sky: frame yield × duty × b/(b + RN²/t), each averaged
    over the night with the weight w · b_ref / b of its minutes.

    Parameters
    ----------
    rig : dict
        Passport numbers as floats.
    night : Conditions
        One night, one target.
    mode, guided, without
        As in `path_terms` and `hours.minutes`.
    sub_s : array (subs,)
        Sub lengths to try [s].
    """
    at = node_minutes(night, nodes, free_horizon="horizon" in without)
    worth = hours.minutes(rig, night, mode=mode, guided=guided, without=without)
    if at.size == 0 or not worth.usable.any():
        return None
    terms = path_terms(rig, night.at(at), mode=mode, guided=guided, without=without)
    kept = path_yield(terms, sub_s=sub_s, phases=phases, seed=SEED)  # (nodes, subs)
    kept = kept.T @ spread_over_minutes(at, len(night.times_utc))  # (subs, minutes)
    column = sub_s[:, None]
    read_noise_e = 0.0 if "read-noise" in without else rig["camera.read_noise_e"]
    duty = hours.duty(rig, sub_s, without)
    finished = hours.finished_h(worth, kept, duty, read_noise_e, column)
    all_kept = hours.finished_h(worth, 1.0, 1.0, read_noise_e, column)
    perfect = hours.finished_h(worth, 1.0, 1.0, 0.0, column)
    efficiency = finished / perfect
    frame_yield = finished / (all_kept * duty)
    peak = int(np.argmax(efficiency))
    near = NEAR_PEAK * efficiency[peak]
    return Curve(
        sub_s=sub_s,
        efficiency=efficiency,
        frame_yield=frame_yield,
        duty=duty,
        read_noise_factor=all_kept / perfect,
        kept_h=hours.kept_h(worth, kept, duty),
        finished_h=finished,
        best_sub_s=_peak_s(sub_s, efficiency, peak),
        usable_low_s=_crossing_s(sub_s[: peak + 1][::-1], efficiency[: peak + 1][::-1], near),
        usable_high_s=_crossing_s(sub_s[peak:], efficiency[peak:], near),
        knee_s=_crossing_s(sub_s, frame_yield, KNEE_YIELD) if frame_yield[0] >= KNEE_YIELD else 0.0,
    )


def _peak_s(sub_s, efficiency, peak):
    """The top of a parabola through the highest point and its neighbours, in log time."""
    if efficiency[peak] <= 0.0 or peak in (0, len(sub_s) - 1):
        return float(sub_s[peak])
    x, (left, top, right) = np.log(sub_s[peak - 1 : peak + 2]), efficiency[peak - 1 : peak + 2]
    shift = 0.5 * (left - right) / (left - 2.0 * top + right)
    return float(np.exp(x[1] + shift * (x[2] - x[0]) / 2.0))


def _crossing_s(sub_s, values, level):
    """Where values first fall below the level (straight lines in log time); the last sub if never."""
    below = np.flatnonzero(values < level)
    if below.size == 0:
        return float(sub_s[-1])
    after = int(below[0])
    share = (values[after - 1] - level) / (values[after - 1] - values[after])
    low, high = np.log(sub_s[[after - 1, after]])
    return float(np.exp(low + share * (high - low)))
