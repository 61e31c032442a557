"""Sums over one night for many draws of the passport: kept and finished hours at one sub length."""

from __future__ import annotations

import numpy as np

from workbook.verdict import hours
from workbook.verdict.conditions import Conditions
from workbook.verdict.curve import node_minutes, spread_over_minutes
from workbook.verdict.path import path_yield
from workbook.verdict.terms import path_terms

DRAW_NODES = 12
DRAW_PHASES = 8


def night_sums(rig, night: Conditions, *, sub_s, mode, guided, nodes, phases, seed):
    """Kept and finished hours at one sub length, for each draw."""
    at = node_minutes(night, nodes)
    seen = night.at(np.flatnonzero(night.in_view))
    worth = hours.minutes(rig, seen, mode=mode, guided=guided)
    terms = path_terms(rig, night.at(at), mode=mode, guided=guided)
    kept = path_yield(terms, sub_s=[sub_s], phases=phases, seed=seed)[..., 0]
    spread = spread_over_minutes(at, len(night.times_utc))[:, night.in_view]
    kept = np.atleast_2d(kept) @ spread
    duty = np.atleast_1d(np.squeeze(hours.duty(rig, sub_s)))
    return (
        hours.kept_h(worth, kept, duty),
        hours.finished_h(worth, kept, duty, np.asarray(rig["camera.read_noise_e"]), sub_s),
    )
