"""The share of subs in which a star's path stays short enough: all that moves it, followed through time.

A sub is kept while the largest extent of the path, at every corner of the sensor, stays within the tolerance.
A path of many start phases is followed in small steps and projected on a fan of directions; the largest
projected range over the fan is the diameter of the path. Since the extent only grows with time, one pass
gives the yield of every shorter sub at once. Between steps the random walk may reach further than at the
steps themselves: the extreme of each Brownian bridge is drawn from its known law,
max = (a + b + √((b − a)² − 2 σ² Δt ln U)) / 2 (Asmussen, Glynn & Pitman 1995, Ann. Appl. Probab. 5, 875).
The same draw serves the top and the bottom of a bridge; with eight steps the range of a pure random walk then
follows its exact law (Feller 1951) within 0.01, where two separate draws would be 0.03 off (tested).
"""

from __future__ import annotations

import itertools

import numpy as np

from workbook.verdict.terms import PathTerms

DIRECTIONS = 8  # fan over 180°: the diameter is at most 1.9 % short, 0.6 % on average
BLOCK = 40_000  # numbers in a working array: small enough for the cache


def path_yield(terms: PathTerms, *, sub_s, phases: int, seed: int):
    """The share of subs whose path stays short enough, for each node and each sub length.

    Parameters
    ----------
    terms : PathTerms
        What moves the star, for nodes of any shape (…).
    sub_s : array (subs,)
        Sub lengths, rising [s].
    phases : int
        Start phases of the gear followed for each node, spread evenly.
    seed : int
        Seed of the random walk and of the offset of the phases.

    Returns
    -------
    array (…, subs)
        Share of subs kept, gusts included (dimensionless, 0 … 1).
    """
    sub_s = np.atleast_1d(np.asarray(sub_s, dtype=float))
    shape = terms.slow_tolerance_arcsec.shape
    nodes = int(np.prod(shape))
    rng = np.random.default_rng(seed)
    block = max(1, BLOCK // (phases * DIRECTIONS))
    kept = np.empty((nodes, len(sub_s)), dtype=np.float32)
    flat = [
        np.asarray(v, dtype=np.float32).reshape(nodes, *v.shape[len(shape) :])
        for v in terms.__dict__.values()
    ]
    fan = np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    fan = np.stack([np.cos(fan), np.sin(fan)], -1).astype(np.float32)
    for first in range(0, nodes, block):
        _follow(
            kept[first : first + block], [v[first : first + block] for v in flat], sub_s, phases, fan, rng
        )
    gusts, gust_s = (v[:, None] for v in flat[-2:])
    return (kept * np.exp(-gusts * (sub_s + gust_s))).reshape(*shape, len(sub_s))


def _steps(sub_s, shortest_period_s):
    """Times at which to look at the path: every sub length, and at least ten to the shortest period."""
    edges = np.concatenate([[0.0], sub_s])
    least = 8 if len(sub_s) == 1 else 1
    times, wanted = [], []
    for low, high in itertools.pairwise(edges):
        count = max(least, int(np.ceil((high - low) / (0.1 * shortest_period_s))))
        times.extend(np.linspace(low, high, count + 1)[1:])
        wanted.append(len(times) - 1)
    return np.array(times), wanted


def _follow(kept, terms, sub_s, phases, fan, rng):
    """Fill `kept` (nodes, subs) by following every phase of a block of nodes through time."""
    amplitude, omega, phase, walk, ramp, tolerance = terms[:6]
    nodes = len(tolerance)
    if np.ptp(ramp, axis=1).max() * sub_s[-1] < 0.01 * max(float(tolerance.min()), 1e-9):
        ramp = ramp[:, :1]  # the field does not turn: every corner tells the same
    f32 = np.float32
    turn = (
        2.0 * np.pi * ((np.arange(phases) + rng.random((nodes, 1))) / phases)
    )  # evenly spread, shifted per node
    turns = np.stack([turn, (turn * phases * 0.6180339887) % (2.0 * np.pi)], 1).astype(
        f32
    )  # (nodes, axis, phases)
    turning = bool(amplitude.any())
    walking = bool(walk.any())

    def gear(time):
        angle = omega[..., 0, None] * f32(time) + turns
        first = amplitude[..., 0, None] * np.sin(angle + phase[:, None, :1])
        return first + amplitude[..., 1, None] * np.sin(2.0 * angle + phase[:, None, 1:])

    slope = np.einsum("nca,qa->ncq", ramp, fan)[..., None]  # (nodes, corners, fan, 1)
    spread2 = np.einsum("na,qa->nq", walk**2, fan**2)[:, None, :, None]  # variance per second
    times, wanted = _steps(sub_s, 2.0 * np.pi / max(float(omega.max()), 1e-9))
    start = gear(0.0) if turning else np.zeros((nodes, 2, phases), f32)
    wandered = np.zeros((nodes, 2, phases), f32)
    before = np.zeros((nodes, ramp.shape[1], len(fan), phases), f32)
    high, low = before.copy(), before.copy()
    alive = np.ones((nodes, phases), bool)
    at = 0
    for j, time in enumerate(times):
        step = f32(time - (times[j - 1] if j else 0.0))
        moved = wandered
        if walking:
            wandered = wandered + walk[..., None] * np.sqrt(step) * rng.standard_normal(wandered.shape, f32)
            moved = wandered
        if turning:
            moved = moved + gear(time) - start
        now = np.einsum("nak,qa->nqk", moved, fan)[:, None] + slope * f32(time)
        if walking:
            middle, half = 0.5 * (before + now), 0.5 * (now - before)
            half *= half
            reach = np.sqrt(
                half + 0.5 * step * spread2 * rng.standard_exponential((nodes, 1, 1, phases), f32)
            )
            np.maximum(high, middle + reach, out=high)
            np.minimum(low, middle - reach, out=low)
        else:
            np.maximum(high, now, out=high)
            np.minimum(low, now, out=low)
        before = now
        if j == wanted[at]:
            alive &= (high - low).max((1, 2)) <= tolerance[:, None]
            kept[:, at] = alive.mean(1)
            at += 1
            if not alive.any():
                kept[:, at:] = 0.0
                return
