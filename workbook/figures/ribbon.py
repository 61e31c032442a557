"""The night ribbon: view, hold time, sky, batteries, dew and stand on one time axis, and the fate of each minute."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch

from workbook.figures import look as looks
from workbook.figures.ribbon_words import (
    LANES,
    NightRibbon,
    clock,
    describe,
    moment,
    moon_words,
    signed,
    table,
)
from workbook.verdict.words import seconds

__all__ = ["NightRibbon", "create", "describe", "table", "update"]

HOLD_STEPS_S = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
GAP_STEPS_MM = (100.0, 200.0, 400.0, 800.0)
MARGIN_STEPS_K = (6.0, 12.0, 24.0, 60.0)
FAINTEST_MAG, SKY_SPAN_MAG = 22.0, 5.0
LEAST_MM = 10.0


class Artists(NamedTuple):
    """What moves."""

    axes: dict
    shades: list
    wall: object
    curves: dict
    ranges: dict
    words: dict
    named: object
    also: object
    ghost: object
    ghost_words: object
    nothing: object


def create(figure, look):
    """Six rows and the lanes of minutes over one time axis."""
    names = ("view", "hold", "sky", "power", "dew", "stand", "lanes")
    rows = figure.subplots(7, 1, sharex=True, height_ratios=[1.15, 0.9, 1.0, 1.15, 0.9, 0.9, 2.45])
    axes = dict(zip(names, rows, strict=True))
    titles = (
        "height\n[°]", "longest sub\n[s]", "sky\n[mag/″²]", "battery left\n[%]", "above dew\n[K]",
        "gap to stand\n[mm]", "",
    )  # fmt: skip
    shades = []
    for ax, title in zip(rows, titles, strict=True):
        ax.set_ylabel(title, rotation=0, ha="right", va="center", linespacing=1.15)
        ax.yaxis.set_label_coords(-0.062, 0.5)
        ax.tick_params(axis="x", length=0 if title else 4)
        shade = PolyCollection(
            [], facecolor=look.band, linewidth=0, transform=ax.get_xaxis_transform(), zorder=0.6
        )
        shades.append(ax.add_collection(shade, autolim=False))
    lanes = axes["lanes"]
    lanes.tick_params(axis="y", length=0)
    lanes.set(
        ylim=(-0.6, len(LANES) - 0.4), xlabel="clock [UTC]; a thin bar: this, too, would close the minute"
    )
    lanes.set_yticks(np.arange(len(LANES))[::-1], [words for words, _ in LANES])
    axes["view"].set(ylim=(0, 90))
    axes["view"].set_yticks([0, 45, 90])
    axes["power"].set(ylim=(0, 105))
    axes["power"].set_yticks([0, 50, 100])
    wall = PolyCollection(
        [], facecolor=look.grid, edgecolor=look.quiet, hatch="///", linewidth=0.0, zorder=1.0
    )
    axes["view"].add_collection(wall, autolim=False)
    curves = {
        name: axes[row].plot([], [], zorder=3, **look.line(role))[0]
        for name, row, role in (
            ("altitude", "view", "fourth"), ("seen", "view", "first"), ("hold", "hold", "first"),
            ("moonless", "sky", "second"), ("sky", "sky", "first"), ("mount", "power", "second"),
            ("pack", "power", "first"), ("margin", "dew", "first"), ("gap", "stand", "first"),
        )
    }  # fmt: skip
    curves["seen"].set_linewidth(4.0)
    curves["altitude"].set_linewidth(1.6)
    axes["dew"].axhline(0.0, zorder=2, **look.line("limit"))
    axes["stand"].axhline(LEAST_MM, zorder=2, **look.line("limit"))
    ranges = {
        name: axes[row].add_collection(
            PolyCollection(
                [],
                facecolor=look.strokes[role].colour,
                edgecolor=look.strokes[role].colour,
                alpha=0.28,
                linewidth=1.0,
                zorder=1.5,
            ),
            autolim=False,
        )
        for name, row, role in (
            ("mount", "power", "second"),
            ("pack", "power", "first"),
            ("margin", "dew", "first"),
        )
    }
    box = {"facecolor": look.ground, "edgecolor": "none", "alpha": 0.8, "pad": 1.0}
    words = {
        name: axes[row].text(0, 0, "", zorder=6, bbox=box, **look.words())
        for name, row in (
            ("view", "view"), ("hold", "hold"), ("sky", "sky"), ("pack", "power"), ("mount", "power"),
            ("dew", "dew"), ("stand", "stand"),
        )
    }  # fmt: skip
    for name, x, y, ha, va in (
        ("view", 0.008, 0.9, "left", "top"), ("hold", 0.008, 0.1, "left", "bottom"), ("sky", 0.008, 0.9, "left", "top"),
        ("dew", 0.992, 0.9, "right", "top"), ("stand", 0.008, 0.06, "left", "bottom"),
    ):  # fmt: skip
        words[name].set(transform=axes[name].transAxes, position=(x, y), ha=ha, va=va)
    named = PolyCollection([], facecolor=look.accent, linewidth=0, zorder=3)
    also = PolyCollection([], facecolor=look.quiet, linewidth=0, zorder=2)
    for bars in (named, also):
        lanes.add_collection(bars, autolim=False)
    for y in range(len(LANES)):
        lanes.axhline(y, color=look.grid, linewidth=0.8, zorder=1)
    ghost = axes["power"].axvline(0.0, visible=False, zorder=5, **look.line("ghost"))
    ghost_words = axes["power"].text(
        0, 4, "your guess", va="bottom", visible=False, zorder=7, bbox=box, **look.words()
    )
    nothing = axes["sky"].text(
        0.5, 0.5, "", transform=axes["sky"].transAxes, ha="center", va="center", zorder=7, **look.words()
    )
    figure.legend(
        handles=[
            Patch(facecolor=look.band, edgecolor=look.quiet, label="columns: usable"),
            Patch(facecolor=look.grid, edgecolor=look.quiet, hatch="///", label="hatched: hidden"),
            Patch(facecolor=look.strokes["first"].colour, edgecolor=look.ink, alpha=0.35, label="bands: 68 % range"),
            *axes["dew"].plot([], [], label="long dashes: limit", **look.line("limit")),
        ],
        loc="outside upper left", ncols=4, frameon=False, handlelength=2.6, columnspacing=1.3,
    )  # fmt: skip
    looks.apply(look, figure)
    return Artists(axes, shades, wall, curves, ranges, words, named, also, ghost, ghost_words, nothing)


def update(artists, result, ghost):
    """Move all curves, bars and words; True where the time axis is another one."""
    evening, seen = result.evening, result.evening.ribbon
    artists.nothing.set_text(seen.reason and f"nothing to draw: {seen.reason}")
    if seen.reason:
        return False
    hours = evening.since_min / 60.0
    moved = _axis(artists.axes["lanes"], hours, seen.times_utc)
    usable = _bars(hours, seen.usable, 0.0, 1.0)
    for shade in artists.shades[:-1]:
        shade.set_verts(usable)
    artists.wall.set_verts(_wall(hours, result.floor_deg, result.ceiling_deg))
    curves, axes = artists.curves, artists.axes
    curves["altitude"].set_data(hours, seen.altitude_deg)
    curves["seen"].set_data(hours, np.where(seen.in_view, seen.altitude_deg, np.nan))
    artists.words["view"].set_text(result.name)
    curves["hold"].set_data(hours, seen.hold_s)
    top = _step(HOLD_STEPS_S, np.nanmax(seen.hold_s, initial=0.0))
    moved |= _limits(axes["hold"], 0.0, top, (0.0, top))
    set_up = f"set-up {clock(moment(evening, seen.start_min))} to {clock(moment(evening, evening.ready_min))}"
    artists.words["hold"].set_text(f"{set_up}, subs of {seconds(seen.sub_s)}" if seen.sub_s else set_up)
    for name, values in (("sky", seen.sky_mag_arcsec2), ("moonless", seen.moonless_mag_arcsec2)):
        curves[name].set_data(hours, values)
    artists.words["sky"].set_text(moon_words(seen))
    middle = np.nanmedian(seen.sky_mag_arcsec2)
    low = np.clip(np.floor(middle) - 1.0, 14.0, FAINTEST_MAG - 2.0)
    moved |= _limits(axes["sky"], low, low + 3.0, (low, low + 3.0))
    start = seen.start_min / 60.0
    for name, left, ends in (
        ("pack", seen.pack_left, seen.pack_left_68), ("mount", seen.mount_left, seen.mount_left_68),
    ):  # fmt: skip
        curves[name].set_data(np.r_[0.0, min(start, hours[0]), hours], 100.0 * np.r_[1.0, 1.0, left])
        artists.ranges[name].set_verts(_band(hours, ends, 100.0, min(start, float(hours[0]))))
    ends = {"pack": ("pack", seen.pack_h), "mount": ("mount's cells", seen.mount_h)}
    first, last = sorted(ends, key=lambda name: ends[name][1])
    _place(artists.words[first], ends[first][0], start + 0.52 * ends[first][1], 38.0, hours, "right")
    _place(artists.words[last], ends[last][0], start + 0.42 * ends[last][1], 80.0, hours, "left")
    curves["margin"].set_data(hours, seen.dew_margin_k)
    artists.ranges["margin"].set_verts(_band(hours, seen.dew_margin_68_k, 1.0))
    reach = _step(MARGIN_STEPS_K, float(np.abs(seen.dew_margin_k).max()) * 1.05)
    moved |= _limits(axes["dew"], -0.5 * reach, reach, (0.0, reach))
    dry = seen.dew_margin_k[-1] > 0.3 * reach  # else the words would lie on the curve
    artists.words["dew"].set(y=0.05 if dry else 0.92, va="bottom" if dry else "top")
    artists.words["dew"].set_text(f"least {signed(seen.dew_margin_k.min())} K")
    curves["gap"].set_data(hours, np.where(seen.in_view, np.clip(seen.gap_mm, -2000.0, 2000.0), np.nan))
    far = _step(GAP_STEPS_MM, float(np.nanmax(np.where(seen.in_view, seen.gap_mm, 0.0), initial=0.0)))
    moved |= _limits(axes["stand"], -0.8 * far, 1.1 * far, (0.0, far))
    artists.words["stand"].set_text(f"tube on the {seen.side} side" if seen.in_view.any() else "")
    artists.named.set_verts(_lanes(evening, hours, named=True))
    artists.also.set_verts(_lanes(evening, hours, named=False))
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        beyond = start + ghost > artists.axes["lanes"].get_xlim()[1]
        x = float(np.clip(start + ghost, *artists.axes["lanes"].get_xlim()))
        artists.ghost_words.set_text("your guess: after dawn" if beyond else "your guess")
        artists.ghost.set_xdata([x, x])
        right = x < 0.5 * (hours[0] + hours[-1])
        artists.ghost_words.set(x=x + (0.08 if right else -0.08), ha="left" if right else "right")
    return moved


def _axis(ax, hours, times_utc):
    """Whole hours of the clock on an axis that counts hours since the evening's earliest moment."""
    low, high = 0.0, float(hours[-1]) + 1.0 / 60.0
    if ax.get_xlim() == (low, high):
        return False
    first = times_utc[0] - np.timedelta64(round(3600e3 * float(hours[0])), "ms")
    clock = np.arange(first.astype("M8[h]") + 1, times_utc[-1].astype("M8[h]") + 1)
    ax.set_xlim(low, high)
    ax.set_xticks((clock - first) / np.timedelta64(3600_000, "ms"), [str(at)[11:13] for at in clock])
    return True


def _limits(ax, low, high, ticks):
    if ax.get_ylim() == (low, high):
        return False
    ax.set_ylim(low, high)
    ax.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    return True


def _runs(flags):
    edges = np.flatnonzero(np.diff(np.r_[0, np.asarray(flags, int), 0]))
    return zip(edges[::2], edges[1::2], strict=True)


def _bars(hours, flags, low, high):
    """A rectangle for each run of minutes."""
    half = 1.0 / 120.0
    bars = []
    for first, end in _runs(flags):
        left, right = hours[first] - half, hours[end - 1] + half
        bars.append([(left, low), (left, high), (right, high), (right, low)])
    return bars


def _wall(hours, floor_deg, ceiling_deg):
    """What the horizon hides at the target's azimuth: from the ground up, and above the ceiling."""
    below = np.clip(floor_deg, 0.0, 90.0)
    polygons = [[(hours[0], 0.0), *zip(hours, below, strict=True), (hours[-1], 0.0)]]
    if ceiling_deg < 90.0:
        ends = hours[0], hours[-1]
        polygons.append([(ends[0], ceiling_deg), (ends[0], 90.0), (ends[1], 90.0), (ends[1], ceiling_deg)])
    return polygons


def _band(hours, ends, factor, full_until=None):
    """The area between two curves; `full_until`, where both begin at 100 %."""
    if ends is None:
        return []
    low, high = factor * np.asarray(ends)
    begin = [] if full_until is None else [(full_until, factor)]
    return [[*begin, *zip(hours, low, strict=True), *zip(hours[::-1], high[::-1], strict=True)]]


def _lanes(evening, hours, *, named):
    """Thick bars where a cause is the one named, thin ones where it closes the minute as well."""
    seen, bars = evening.ribbon, []
    half = 0.36 if named else 0.09
    for y, (_, keys) in zip(range(len(LANES) - 1, -1, -1), LANES, strict=True):
        if named:
            flags = np.isin(seen.lost, keys)
        else:
            flags = np.logical_or.reduce(
                [evening.ribbon.closed.get(key, np.zeros(len(hours), bool)) for key in keys]
            )
        bars += _bars(hours, flags, y - half, y + half)
        if not named and keys == ("set-up",):  # the work itself, which may lie in twilight
            begin, end = seen.start_min / 60.0, evening.ready_min / 60.0
            bars.append([(begin, y - half), (begin, y + half), (end, y + half), (end, y - half)])
    return bars


def _place(text, words, x, y, hours, side):
    """A label beside its curve, kept inside the picture."""
    gap = 0.06 * (hours[-1] - hours[0]) / 10.0
    x = x - gap if side == "right" else x + gap
    low, high = 0.2, float(hours[-1]) - 0.1
    text.set(text=words, x=float(np.clip(x, low, high)), y=y, va="center", ha=side)
    width = 0.13 * (hours[-1] - hours[0])
    if side == "right" and x < low + width:
        text.set(x=low, ha="left")
    elif side == "left" and x > high - width:
        text.set(x=high, ha="right")


def _step(steps, value):
    return next((step for step in steps if step >= value), steps[-1])
