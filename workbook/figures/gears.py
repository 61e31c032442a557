"""The longest honest sub: one turn of the worm with what becomes of each sub, and the efficiency hill beside it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.patches import Patch, Rectangle

from workbook.figures import look as looks
from workbook.verdict.words import seconds

LONGEST_S = 300.0
CURVES = (
    ("efficiency", "first", "efficiency"),
    ("frame_yield", "second", "frame yield"),
    ("rest", "third", "pauses, read noise"),
)
ERROR_STEPS = (6.0, 12.0, 30.0, 60.0, 120.0)  # half heights of the upper picture [″]
TRAIL_STEPS = (3.0, 6.0, 12.0, 30.0, 80.0)  # heights of the lower one [px]
OVERHANG = 0.25  # of a turn: so far beyond its end the error is known, for subs that begin late
QUARTERS = (0.0, 0.25, 0.5, 0.75, 1.0)
GUESS_SUB_S = 30.0  # the sub that the prediction asks about


class GearHill(NamedTuple):
    """One gear at one sub length: its turn, start by start, and the hill over all sub lengths.

    Trails run over one turn of the worm, errors over a turn and a quarter; `turn` and `starts` are shares of
    it. Best sub, ends of the usable range and knee in s (knee: 0 below the shortest sub, infinite where nine
    in ten survive any sub); ranges are None until they are worked out.
    """

    sub_s: float
    period_s: float
    tolerance_px: float
    scale_arcsec_px: float
    turn: np.ndarray
    error_arcsec: np.ndarray
    starts: np.ndarray
    trail_px: np.ndarray
    kept_here: float
    subs_s: np.ndarray
    frame_yield: np.ndarray
    rest: np.ndarray
    efficiency: np.ndarray
    kept: float
    worth: float
    best_sub_s: float
    usable_low_s: float
    usable_high_s: float
    knee_s: float
    wander: bool
    second_arcsec: float
    kept_68: tuple[float, float] | None = None
    best_68_s: tuple[float, float] | None = None
    knee_68_s: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    error_axes: object
    trail_axes: object
    strips: list
    error: object
    boxes: list
    box_words: object
    times: list
    trail: object
    tolerance: object
    curves: list
    span: object
    sub: list
    peak: object
    knee: object
    words: dict
    ghost: object
    ghost_words: object


def create(figure, look):
    """The turn of the worm on the left, error over trail; the hill on the right."""
    parts = figure.subplot_mosaic([["error", "hill"], ["trail", "hill"]], width_ratios=[1.25, 1.0])
    top, low, hill = parts["error"], parts["trail"], parts["hill"]
    strips = [
        ax.add_collection(
            PolyCollection(
                [], facecolor=look.band, linewidth=0, transform=ax.get_xaxis_transform(), zorder=0.5
            ),
            autolim=False,
        )
        for ax in (top, low)
    ]
    error = top.plot([], [], zorder=3, **look.line("first"))[0]
    boxes = [
        Rectangle((0, 0), 0, 0, fill=False, edgecolor=look.ink, linewidth=2.0, linestyle=dash, zorder=4)
        for dash in ("-", (0, (2, 1)))
    ]
    for box in boxes:
        top.add_patch(box)
    box = {"facecolor": look.ground, "edgecolor": "none", "alpha": 0.75, "pad": 1.5}
    box_words = top.text(0.02, 0.05, "", transform=top.transAxes, zorder=5, bbox=box, **look.words())
    trail = low.plot([], [], zorder=3, **look.line("first"))[0]
    tolerance = low.axhline(1.0, zorder=3, label="tolerance", **look.line("limit"))
    for ax, name in ((top, "error of the gears [″]"), (low, "trail of the sub [px]")):
        ax.set(xlim=(0, 1), ylabel=name)
        ax.yaxis.set_label_coords(-0.135, 0.5)  # clear of the longest number that a step may bring
        ax.set_xticks(QUARTERS, [""] * len(QUARTERS))
    times = [
        low.text(share, -0.07, "", transform=low.get_xaxis_transform(), ha="center", va="top", **look.words())
        for share in QUARTERS
    ]
    low.set_xlabel("moment at which a sub begins, one turn of the worm [s]", labelpad=20)
    curves = [hill.plot([], [], label=words, zorder=3, **look.line(role))[0] for _, role, words in CURVES]
    curves[0].set_linewidth(3.6)
    edge = {"markeredgecolor": look.ground}  # tells marks apart where they lie on each other
    span = hill.axvspan(1.0, 1.0, color=look.band, zorder=1)
    sub = [
        hill.axvline(1.0, color=look.ink, linewidth=1.4, zorder=2),
        hill.plot([], [], zorder=6, **(look.dots("first") | edge | {"markersize": 13}))[0],
    ]
    peak = hill.plot([], [], zorder=6.5, **(look.dots("third") | edge | {"markersize": 10}))[0]
    knee = hill.plot([], [], zorder=6.5, **(look.dots("second") | edge | {"markersize": 9}))[0]
    words = {
        name: hill.text(1, 0, "", zorder=7, bbox=box, **look.words()) for name in ("sub", "knee", "peak")
    }
    ghost = hill.plot([], [], zorder=6, visible=False, **(look.dots("ghost") | {"markersize": 12}))[0]
    ghost_words = hill.text(
        GUESS_SUB_S * 1.2, 0, "your guess", va="center", visible=False, zorder=7, bbox=box, **look.words()
    )
    hill.set_xscale("log")
    hill.set(
        xlim=(1.0, LONGEST_S), ylim=(0.0, 1.03), xlabel="sub length [s]", ylabel="share of a faultless rig"
    )
    hill.set_xticks([1, 3, 10, 30, 100, 300], ["1", "3", "10", "30", "100", "300"])
    hill.set_xticks([], minor=True)
    hill.grid(True)
    kept = Patch(facecolor=look.band, edgecolor=look.quiet, label="kept / within 5 % of best")
    figure.legend(
        handles=[*curves, tolerance, kept], loc="outside upper left", ncols=5, frameon=False,
        handlelength=2.6, columnspacing=0.9,
    )  # fmt: skip
    looks.apply(look, figure)
    return Artists(
        top, low, strips, error, boxes, box_words, times, trail, tolerance, curves,
        span, sub, peak, knee, words, ghost, ghost_words,
    )  # fmt: skip


def update(artists, result, ghost):
    """Move the turn, its two windows, the hill and its marks."""
    bars = _bars(result.starts, result.trail_px <= result.tolerance_px)
    for strip in artists.strips:
        strip.set_verts(bars)
    half = _step(ERROR_STEPS, 1.4 * np.abs(result.error_arcsec).max())
    artists.error_axes.set_ylim(-half, half)
    artists.error.set_data(result.turn, result.error_arcsec)
    ends = int(result.trail_px.argmax()), int(result.trail_px.argmin())
    for box, first in zip(artists.boxes, ends, strict=True):
        _window(box, result, first, 0.02 * half)
    longest, shortest = (result.trail_px[first] for first in ends)
    shown = artists.boxes[0].get_visible()
    words = "box: longest trail" if shown else "longest trail", "dashed: shortest" if shown else "shortest"
    artists.box_words.set_text(f"{words[0]}, {longest:.1f} px; {words[1]}, {shortest:.1f} px")
    tall = _step(TRAIL_STEPS, 1.1 * max(result.trail_px.max(), 1.3 * result.tolerance_px))
    artists.trail_axes.set_ylim(0.0, tall)
    artists.trail.set_data(result.starts, result.trail_px)
    artists.tolerance.set_ydata([result.tolerance_px] * 2)
    for share, text in zip(QUARTERS, artists.times, strict=True):
        text.set_text(f"{share * result.period_s:.0f}")
    for line, (name, _, _) in zip(artists.curves, CURVES, strict=True):
        line.set_data(result.subs_s, getattr(result, name))
    artists.span.set_x(result.usable_low_s)
    artists.span.set_width(result.usable_high_s - result.usable_low_s)
    artists.sub[0].set_xdata([result.sub_s] * 2)
    artists.sub[1].set_data([result.sub_s], [result.worth])
    top = float(result.efficiency.max())
    artists.peak.set_data([result.best_sub_s], [top])
    shown = 0.0 < result.knee_s < np.inf
    artists.knee.set_data(([result.knee_s], [0.9]) if shown else ([], []))
    _words(artists.words, result, top, shown)
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        artists.ghost.set_data([GUESS_SUB_S], [0.01 * ghost])
        artists.ghost_words.set_y(np.clip(0.01 * ghost, 0.03, 0.97))


def _bars(starts, kept):
    """A rectangle of the full height for each run of starts whose subs are kept."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], kept, [False]]).astype(int)))
    half = 0.5 * (starts[1] - starts[0])
    return [
        [(low, 0), (low, 1), (high, 1), (high, 0)]
        for low, high in zip(starts[edges[::2]] - half, starts[edges[1::2] - 1] + half, strict=True)
    ]


def _window(box, result, first, least):
    """The box of one sub: as wide as it lasts, as high as its star runs."""
    begin, share = result.starts[first], result.sub_s / result.period_s
    box.set_visible(share <= OVERHANG)  # a longer one would cover the picture
    within = (result.turn >= begin - 1e-9) & (result.turn <= begin + share + 1e-9)
    low, high = result.error_arcsec[within].min(), result.error_arcsec[within].max()
    # A little larger than the sub, so that the shortest stays visible.
    box.set_bounds(begin - 0.004, low - least, share + 0.008, high - low + 2.0 * least)


def _words(words, result, top, shown):
    """Labels of the three marks, kept apart from each other and inside the picture."""
    words["sub"].set_text(f"set: {seconds(result.sub_s)}")
    words["peak"].set_text(f"best: {seconds(result.best_sub_s)}")
    words["knee"].set_text(f"knee: {seconds(result.knee_s)}" if shown else "")
    left = result.sub_s < 60.0
    words["sub"].set_position((result.sub_s * (1.07 if left else 0.93), 0.03))
    words["sub"].set_ha("left" if left else "right")
    left = result.best_sub_s < 60.0
    words["peak"].set_position((result.best_sub_s * (1.0 if left else 0.93), top + 0.05))
    words["peak"].set_ha("left" if left else "right")
    if shown:
        left = result.knee_s < 60.0
        words["knee"].set_position((result.knee_s * (1.15 if left else 0.87), 0.9))
        words["knee"].set_ha("left" if left else "right")
    for text in words.values():
        text.set_va("bottom")


def describe(result):
    """The picture in one sentence."""
    wave = f", with a second wave of {result.second_arcsec:.0f}″" if result.second_arcsec else ""
    swing = float(np.ptp(result.error_arcsec[result.turn <= 1.0]))
    return (
        f"One turn of the worm of {result.period_s:.0f} s carries the star over {swing:.0f}″{wave}; a sub of "
        f"{seconds(result.sub_s)} draws a trail of {result.trail_px.min():.1f} to {result.trail_px.max():.1f} px, "
        f"depending on when it begins, and {100 * result.kept:.0f} of 100 stay within {result.tolerance_px:.1f} px; "
        f"the hill beside it peaks at {seconds(result.best_sub_s)} with {result.efficiency.max():.2f}, is within 5 % "
        f"of that from {seconds(result.usable_low_s)} to {seconds(result.usable_high_s)}, and the knee is "
        f"{knee_words(result.knee_s)}."
    )


def table(result):
    """The numbers of the picture."""

    kept_68, best_68, knee_68 = "–", "–", "–"
    if result.kept_68 is not None:
        kept_68 = f"{100 * result.kept_68[0]:.0f} to {100 * result.kept_68[1]:.0f}"
        best_68, knee_68 = ends_words(result.best_68_s), ends_words(result.knee_68_s)
    rows = [
        ("what", "value", "68 % range"),
        ("good subs of 100", f"{100 * result.kept:.0f}", kept_68),
        ("good starts in the turn on the left", f"{100 * result.kept_here:.0f} of 100", "–"),
        ("best sub", seconds(result.best_sub_s), best_68),
        ("knee", knee_words(result.knee_s), knee_68),
        ("within 5 % of the best", ends_words((result.usable_low_s, result.usable_high_s)), "–"),
        (
            "shortest and longest trail",
            f"{result.trail_px.min():.1f} and {result.trail_px.max():.1f} px",
            "–",
        ),
        (
            "tolerance",
            f"{result.tolerance_px:.1f} px or {result.tolerance_px * result.scale_arcsec_px:.1f}″",
            "–",
        ),
    ]
    for sub_s in (2.0, 4.0, 8.0, 15.0, 30.0, 60.0, 120.0):
        kept, worth = (
            np.interp(np.log(sub_s), np.log(result.subs_s), values)
            for values in (result.frame_yield, result.efficiency)
        )
        rows.append((f"yield and efficiency at {seconds(sub_s)}", f"{kept:.2f} and {worth:.2f}", "–"))
    return rows


def knee_words(knee_s):
    """The knee in words, also where it lies outside what is drawn."""
    if knee_s <= 0.0:
        return "under 1 s"
    return seconds(knee_s) if knee_s < np.inf else f"over {LONGEST_S:.0f} s"


def ends_words(ends_s):
    """A range of lengths, the unit once."""
    low, high = map(knee_words, ends_s)
    return (
        f"{low.removesuffix(' s')} to {high}"
        if "under" not in low and "over" not in low
        else f"{low} to {high}"
    )


def _step(steps, needed):
    return next((step for step in steps if step >= needed), needed)
