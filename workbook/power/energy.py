"""Energy through the night in steps: what each load draws, what each battery holds, and which ends first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from workbook.checks import fraction, not_negative, number, positive

WILSON_Z = 1.959964  # two-sided 95 % of a normal distribution


class Load(NamedTuple):
    """One device: its name, `power_w` while it is on [W], share of the time `duty`, the supply that feeds it."""

    name: str
    power_w: float
    duty: float
    supply: str


class LoadRow(NamedTuple):
    """One device's night: mean power `mean_w` [W], `energy_wh` [Wh], and its share of its supply's energy."""

    name: str
    supply: str
    mean_w: float
    energy_wh: float
    share: float


class SupplyRow(NamedTuple):
    """One battery's night: `store_wh` for its loads [Wh], `drawn_wh` by the end [Wh], share of it, `ends_h` [h]."""

    name: str
    store_wh: float
    drawn_wh: float
    share: float
    ends_h: float


class Chance(NamedTuple):
    """A share of draws, and the 95 % range that the number of draws leaves."""

    probability: float
    low: float
    high: float


def drawn_wh(*, load_w, times_h):
    """Energy that a load has drawn since the first moment.

    Parameters
    ----------
    load_w : float or array
        Mean power from each time to the next, times on the last axis; the last value is not used [W].
    times_h : array
        Start of each step and, last, the end, rising [h].

    Returns
    -------
    array
        Energy drawn until each time, 0 at the first [Wh].

    Raises
    ------
    ValueError
        If a load is negative or the times do not rise.

    Notes
    -----
    Σ P Δt: the power holds until the next time, as a switch does.

    References
    ----------
    Derivation: energy is power times time.

    Examples
    --------
    >>> drawn_wh(load_w=[10, 4, 4], times_h=[0, 1, 3]).tolist()
    [0.0, 10.0, 18.0]
    """
    times = _rising("times_h", times_h)
    load = np.broadcast_arrays(not_negative("load_w", load_w), times)[0]
    steps = np.cumsum(load[..., :-1] * np.diff(times), axis=-1)
    return np.concatenate([np.zeros((*steps.shape[:-1], 1)), steps], axis=-1)


def store_wh(*, energy_wh, usable, cold, converter):
    """What of a battery's printed energy reaches the devices.

    Parameters
    ----------
    energy_wh : float or array
        Energy on the nameplate [Wh].
    usable : float or array
        Share that may be drawn before the pack switches off or takes harm.
    cold : float or array
        Share that is left at the temperature of the night.
    converter : float or array
        Share that passes the voltage converter; 1 without one.

    Returns
    -------
    float or array
        Energy for the devices [Wh].

    Raises
    ------
    ValueError
        If the energy is not positive or a share lies outside 0 to 1.

    Notes
    -----
    energy × usable × cold × converter.

    References
    ----------
    Derivation: energy balance; reference row PWR-14 is this over its load.

    Examples
    --------
    >>> print(round(store_wh(energy_wh=96, usable=0.9, cold=0.9, converter=0.92), 1))
    71.5
    """
    shares = fraction("usable", usable) * fraction("cold", cold) * fraction("converter", converter)
    return positive("energy_wh", energy_wh) * shares


def runs_out_h(*, drawn_wh, times_h, store_wh):
    """The moment at which a battery is empty.

    Parameters
    ----------
    drawn_wh : array
        Energy drawn until each time, times on the last axis [Wh].
    times_h : array
        The times, rising [h].
    store_wh : float or array
        What the battery gives its loads, one for each night of `drawn_wh` [Wh].

    Returns
    -------
    float or array
        Hour [h]; infinite where the battery outlasts the times.

    Raises
    ------
    ValueError
        If the times do not rise, energy is negative, or the energy drawn falls.

    Notes
    -----
    Linear between the times, which is exact where the power holds from each time to the next.

    References
    ----------
    Derivation: drawn_wh solved for the time; reference row PWR-14.

    Examples
    --------
    >>> print(runs_out_h(drawn_wh=[0, 10, 18], times_h=[0, 1, 3], store_wh=14))
    2.0
    """
    times = _rising("times_h", times_h)
    store = np.asarray(not_negative("store_wh", store_wh))[..., None]
    drawn, store = np.broadcast_arrays(not_negative("drawn_wh", drawn_wh) + 0.0 * times, store)
    if (np.diff(drawn, axis=-1) < 0).any():
        raise ValueError("drawn_wh must not fall from one time to the next: give the sum, not the power")
    store = store[..., :1]
    after = np.minimum((drawn < store).sum(axis=-1, keepdims=True), times.size - 1)
    before = np.maximum(after - 1, 0)
    low, high = np.take_along_axis(drawn, before, -1), np.take_along_axis(drawn, after, -1)
    step = np.where(high > low, (store - low) / np.where(high > low, high - low, 1.0), 0.0)
    hours = times[before] + step * (times[after] - times[before])
    hours = np.where(drawn[..., -1:] >= store, hours, np.inf)
    return np.where(np.isnan(store + drawn[..., -1:]), np.nan, hours)[..., 0][()]


def dawn_chance(*, ends_h, dawn_h):
    """The chance that a battery reaches dawn, from many drawn nights.

    Parameters
    ----------
    ends_h : array
        Hour at which the battery ends in each drawn night, infinite where it outlasts it [h].
    dawn_h : float or array
        Hour of dawn, or of whatever it must reach [h].

    Returns
    -------
    Chance
        Share of the draws, with its 95 % range.

    Raises
    ------
    ValueError
        If there is no draw, or a draw is NaN.

    Notes
    -----
    Share of draws with end ≥ dawn. The range is Wilson's score interval: it says how far the number of draws
    alone leaves the share open, not whether the spreads of the inputs are right.

    References
    ----------
    Wilson, E. B. (1927), Probable inference, JASA 22, 209.

    Examples
    --------
    >>> chance = dawn_chance(ends_h=[5.0, 7.0, 8.0, float("inf")], dawn_h=6.5)
    >>> print(chance.probability, round(chance.low, 2), round(chance.high, 2))
    0.75 0.3 0.95
    """
    ends, dawn = np.broadcast_arrays(np.asarray(ends_h, dtype=float), number("dawn_h", dawn_h))
    if not ends.size or np.isnan(ends + np.where(np.isinf(ends), 0.0, dawn)).any():
        raise ValueError("ends_h must hold one end for each drawn night, none of them NaN")
    n, share = ends.size, float((ends >= dawn).mean())
    z2 = WILSON_Z**2
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = WILSON_Z * np.sqrt(share * (1 - share) / n + z2 / (4 * n**2)) / (1 + z2 / n)
    return Chance(share, max(0.0, float(middle - half)), min(1.0, float(middle + half)))


def load_table(*, loads, times_h):
    """What each device takes from its supply in a night, the hungriest first.

    Parameters
    ----------
    loads : sequence of Load
        The devices; power and duty may be arrays with times on the last axis.
    times_h : array
        Start of each step and, last, the end of the night, rising [h].

    Returns
    -------
    tuple of LoadRow
        Name, supply, mean power, energy, share of the energy that leaves the same supply; units in LoadRow.

    Raises
    ------
    ValueError
        If a power is negative, a duty no share, or the times do not rise.

    Notes
    -----
    Energy = Σ power × duty × Δt. Arrays with draws on the first axes give their means.

    References
    ----------
    Derivation: energy is power times time.

    Examples
    --------
    >>> loads = [Load("mount", 4, 0.3, "cells"), Load("computer", 6, 1, "pack"), Load("camera", 2, 1, "pack")]
    >>> [(row.name, row.energy_wh, row.share) for row in load_table(loads=loads, times_h=[0, 8])]
    [('computer', 48.0, 0.75), ('camera', 16.0, 0.25), ('mount', 9.6, 1.0)]
    """
    times = _rising("times_h", times_h)
    energies = [float(np.mean(_load_drawn_wh(load, times)[..., -1])) for load in loads]
    sums = dict.fromkeys((load.supply for load in loads), 0.0)
    for load, energy in zip(loads, energies, strict=True):
        sums[load.supply] += energy
    rows = [
        LoadRow(
            load.name,
            load.supply,
            energy / (times[-1] - times[0]),
            energy,
            energy / sums[load.supply] if sums[load.supply] else 0.0,
        )
        for load, energy in zip(loads, energies, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -row.energy_wh))


def supply_table(*, loads, stores, times_h):
    """What each battery has given by the end of the night, the one that ends first in front.

    Parameters
    ----------
    loads : sequence of Load
        The devices, each with the name of its supply.
    stores : mapping
        Name of each supply to the energy it can give, as store_wh computes it.
    times_h : array
        Start of each step and, last, the end of the night, rising [h].

    Returns
    -------
    tuple of SupplyRow
        Name, store, drawn by the end, share of the store, hour at which it is empty, units in SupplyRow; floats,
        or arrays where loads or stores carry draws. Supplies stand in the order of their mean share.

    Raises
    ------
    ValueError
        If a load names a supply that has no store, or a value leaves its range.

    Notes
    -----
    The loads of a supply are added step by step. A share above 1 is a night that ends early. A mount on its own
    cells and the rest on a pack keep each other's voltage still: a motor's start then resets no camera.

    References
    ----------
    Derivation: sums of drawn_wh against store_wh; reference row PWR-14.

    Examples
    --------
    >>> loads = [Load("mount", 4, 0.3, "cells"), Load("computer", 10, 1, "pack")]
    >>> for row in supply_table(loads=loads, stores={"cells": 16, "pack": 60}, times_h=[0, 4, 8]):
    ...     print(row.name, round(row.share, 2), row.ends_h)
    pack 1.33 6.0
    cells 0.6 inf
    """
    times = _rising("times_h", times_h)
    if not isinstance(stores, Mapping):
        raise TypeError(f"stores must map the name of each supply to its energy, received {stores!r}")
    for load in loads:
        if load.supply not in stores:
            known = ", ".join(stores) or "none"
            raise ValueError(f"{load.name} hangs on the supply {load.supply!r}, the supplies are: {known}")
    rows = []
    for name, store in stores.items():
        drawn = sum((_load_drawn_wh(load, times) for load in loads if load.supply == name), 0.0 * times)
        ends = runs_out_h(drawn_wh=drawn, times_h=times, store_wh=positive("store_wh", store))
        total = drawn[..., -1][()]
        rows.append(SupplyRow(name, store, total, total / number("store_wh", store), ends))
    return tuple(sorted(rows, key=lambda row: -float(np.mean(row.share))))


def _rising(name, times):
    """Times as an array, refused where there are fewer than two or they do not rise."""
    array = np.atleast_1d(number(name, times))
    if array.ndim != 1 or array.size < 2 or not (np.diff(array) > 0).all():
        raise ValueError(f"{name} must hold two times or more that rise, received {array[:4]}")
    return array


def _load_drawn_wh(load, times):
    power = not_negative("power_w", load.power_w)
    return drawn_wh(load_w=power * fraction("duty", load.duty), times_h=times)
