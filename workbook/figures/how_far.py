"""How far can I go: the efficiency hill with its three factors, and the way from dark to finished hours."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.figures import look as looks
from workbook.verdict.words import duration, seconds

FACTORS = (
    ("efficiency", "first", "efficiency"),
    ("frame_yield", "second", "frame yield"),
    ("duty", "third", "duty"),
    ("read_noise_factor", "fourth", "read-noise factor"),
)
STEPS = ("dark", "in view", "usable", "kept", "finished")
SHORTEST_H = 1.0 / 600.0  # the left end of the time axis: six seconds


class Artists(NamedTuple):
    """What moves."""

    curves: list
    span: object
    sub_line: object
    sub_dot: object
    sub_label: object
    ghost: object
    ghost_label: object
    dots: object
    ranges: list
    labels: list
    nothing: object


def create(figure, look):
    """Lay out the hill on the left and the way down on the right."""
    hill, way = figure.subplots(1, 2, width_ratios=[1.7, 1.0])
    curves = [hill.plot([], [], label=words, zorder=3, **look.line(role))[0] for _, role, words in FACTORS]
    curves[0].set_linewidth(3.6)
    span = hill.axvspan(1.0, 1.0, color=look.band, zorder=1, label="within 5 % of best")
    sub_line = hill.axvline(1.0, color=look.ink, linewidth=1.4, zorder=2)
    sub_dot = hill.plot([], [], zorder=5, **(look.dots("first") | {"markersize": 12}))[0]
    sub_label = hill.text(1.0, 0.0, "", zorder=6, **look.words())
    ghost = hill.axvline(1.0, visible=False, zorder=2, **look.line("ghost"))
    ghost_label = hill.text(
        1.0, 0.5, "your guess", rotation=90, ha="right", va="center", visible=False, zorder=6, **look.words()
    )
    hill.set_xscale("log")
    hill.set(
        xlim=(1.0, 600.0),
        ylim=(0.0, 1.03),
        xlabel="sub length [s]",
        ylabel="share of a faultless rig, same sky",
    )
    hill.set_xticks([1, 3, 10, 30, 100, 300], ["1", "3", "10", "30", "100", "300"])
    hill.set_xticks([], minor=True)
    hill.grid(True)
    places = np.arange(len(STEPS))[::-1]
    way.set_xscale("log")
    way.set(xlim=(SHORTEST_H, 16.0), ylim=(-0.7, len(STEPS) - 0.4), xlabel="time")
    way.set_title("What becomes of the night")
    way.set_xticks([1 / 60, 0.1, 1.0, 10.0], ["1 min", "6 min", "1 h", "10 h"])
    way.set_xticks([], minor=True)
    way.set_yticks(places, STEPS)
    way.tick_params(axis="y", length=0)
    way.grid(True, axis="x")
    dots = way.plot([], [], zorder=4, **(look.dots("first") | {"markersize": 10}))[0]
    bar = look.line("limit") | {"linestyle": "-", "linewidth": 7, "solid_capstyle": "butt"}
    ranges = [way.plot([], [], zorder=3, label=label, **bar)[0] for label in ("68 % range", None)]
    labels = [way.text(1.0, y + 0.2, "", ha="center", va="bottom", zorder=5, **look.words()) for y in places]
    nothing = hill.text(
        0.5,
        0.5,
        "no minute of this night can be used",
        transform=hill.transAxes,
        ha="center",
        zorder=6,
        **look.words(),
    )
    figure.legend(loc="outside upper left", ncols=6, frameon=False, handlelength=2.0, columnspacing=0.9)
    looks.apply(look, figure)
    return Artists(
        curves, span, sub_line, sub_dot, sub_label, ghost, ghost_label, dots, ranges, labels, nothing
    )


def update(artists, result, ghost):
    """Move the curves, the sub, the guess and the dots."""
    curve = result.curve
    artists.nothing.set_visible(curve is None)
    for line, (name, _, _) in zip(artists.curves, FACTORS, strict=True):
        line.set_data(([], []) if curve is None else (curve.sub_s, getattr(curve, name)))
    artists.span.set_visible(curve is not None)
    if curve is not None:
        artists.span.set_x(curve.usable_low_s)
        artists.span.set_width(curve.usable_high_s - curve.usable_low_s)
    artists.sub_line.set_xdata([result.sub_s, result.sub_s])
    artists.sub_dot.set_data([result.sub_s], [result.efficiency])
    right = result.sub_s < 150.0  # else the label would leave the axes
    artists.sub_label.set_text(f"  {seconds(result.sub_s)}  ")
    artists.sub_label.set_ha("left" if right else "right")
    artists.sub_label.set_position((result.sub_s, min(result.efficiency + 0.03, 0.95)))
    for artist in (artists.ghost, artists.ghost_label):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        artists.ghost.set_xdata([ghost, ghost])
        artists.ghost_label.set_x(ghost)
    places = np.arange(len(STEPS))[::-1]
    times = np.array(_times(result))
    shown = np.clip(times, SHORTEST_H, None)
    artists.dots.set_data(shown, places)
    for label, time_h, x in zip(artists.labels, times, shown, strict=True):
        label.set_text(duration(time_h))
        label.set_x(np.clip(x, 3.0 * SHORTEST_H, 7.0))
    for line, ends, y in zip(
        artists.ranges, (result.kept_68_h, result.finished_68_h), places[-2:], strict=True
    ):
        line.set_data(([], []) if ends is None else (np.clip(ends, SHORTEST_H, None), [y, y]))


def describe(result):
    """The picture in one sentence."""
    if result.curve is None:
        return f"No hill: of {result.dark_h:.1f} dark hours none can be used."
    curve = result.curve
    return (
        f"The efficiency hill over sub length peaks at {seconds(curve.best_sub_s)} with "
        f"{curve.efficiency.max():.2f}; at {seconds(result.sub_s)} it is {result.efficiency:.2f}, the product of "
        f"frame yield {result.frame_yield:.2f}, duty {result.duty:.2f} and read-noise factor "
        f"{result.read_noise_factor:.2f}; of {result.dark_h:.1f} dark hours {duration(result.usable_h)} are usable, "
        f"{duration(result.kept_h)} kept and {duration(result.finished_h)} finished."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("step of the night", "time", "68 % range")]
    ranges = (None, None, None, result.kept_68_h, result.finished_68_h)
    for name, time_h, ends in zip(STEPS, _times(result), ranges, strict=True):
        rows.append((name, duration(time_h), f"{duration(ends[0])} to {duration(ends[1])}" if ends else "–"))
    if result.curve is not None:
        for sub_s in (2.0, 5.0, 10.0, 20.0, 50.0, 120.0, 300.0):
            efficiency = np.interp(np.log(sub_s), np.log(result.curve.sub_s), result.curve.efficiency)
            rows.append((f"efficiency at {seconds(sub_s)}", f"{efficiency:.2f}", "–"))
    for cost in (result.costs or ())[:4]:
        rows.append((f"without {cost.cause.words}", f"+{duration(cost.gain_h)}", "–"))
    return rows


def _times(result):
    return result.dark_h, result.view_h, result.usable_h, result.kept_h, result.finished_h
