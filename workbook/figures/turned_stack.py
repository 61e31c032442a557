"""A night of a turning field: the longest sub minute by minute, and the stack with its soft edge."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Rectangle

from workbook.figures import look as looks
from workbook.figures.turning_field import seconds

SHARES = (0.0, 0.25, 0.5, 0.75, 0.9999, 1.0)  # of the subs: bands of the stack, the last one holds all
FIRST_H, LAST_H = -6.0, 8.0
LOW_S, HIGH_S = 0.35, 3600.0  # of the left picture; the ribbon lies below 1 s
RIBBON_S = (0.42, 0.8)
HIDDEN, KEPT, TURNING, ZONE = range(4)  # what becomes of a sub
WORDS = ("not in view", "kept", "turns too fast", "head too slow")


class TurnedStack(NamedTuple):
    """One target through one night, and the stack of its kept subs.

    Entries minute by minute: `hours_h` from the meridian, `altitude_deg`, `rate_deg_h`, `rotation_deg` since the
    start, `longest_s`, `state` (`HIDDEN`, `KEPT`, `TURNING` or `ZONE`). `coverage` is the share of the kept subs over a
    square of `half_px` either way about the middle, as the first kept sub framed it. `common` and
    `half_depth` are the parts of a frame that all, and at least half, of the kept subs hold; None where none is kept,
    `cable_deg` is the widest turn of the primary axis. All is None or empty where the star passes through the axis.
    """

    target: str
    sub_s: float
    tolerance_px: float
    width_px: int
    height_px: int
    axis_from_pole_deg: float
    zone_deg: float
    half_px: float
    hours_h: np.ndarray
    altitude_deg: np.ndarray
    rate_deg_h: np.ndarray
    rotation_deg: np.ndarray
    longest_s: np.ndarray
    state: np.ndarray
    coverage: np.ndarray
    cable_deg: float | None = None
    common: float | None = None
    half_depth: float | None = None
    common_range: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    curve: object
    faint: object
    sub: object
    sub_words: object
    ribbons: list
    ghost: object
    ghost_words: object
    image: object
    frame: object
    nothing: object


def create(figure, look):
    """The night on the left, the stack with its scale on the right."""
    left, right = figure.subfigures(1, 2, width_ratios=[1.75, 1.0])
    artists = Artists(*_night(left.subplots(), look, left), *_stack(right, look))
    for part in (figure, left, right):
        looks.apply(look, part)
    return artists


def _night(ax, look, figure):
    ax.set_yscale("log")
    ax.set(xlim=(FIRST_H, LAST_H), ylim=(LOW_S, HIGH_S))
    ax.set(xlabel="hours from the meridian: before −, after +", ylabel="longest sub [s]")
    ax.set_xticks(range(-6, 9, 2), [f"{hour}".replace("-", "−") for hour in range(-6, 9, 2)])
    ax.set_yticks([1, 10, 100, 1000], ["1", "10", "100", "1000"])
    ax.set_yticks([], minor=True)
    ax.set_title("The night, minute by minute")
    ax.grid(True)
    ax.axhline(1.0, color=look.quiet, linewidth=1.0, zorder=2)
    faint = ax.plot([], [], zorder=3, color=look.quiet, linewidth=1.2, linestyle=(0, (1, 2)))[0]
    curve = ax.plot([], [], zorder=4, **(look.line("first") | {"linewidth": 3}))[0]
    sub = ax.plot([FIRST_H, LAST_H], [1, 1], zorder=3, **look.line("second"))[0]
    ghost = ax.plot([FIRST_H, LAST_H], [1, 1], zorder=3, visible=False, **look.line("ghost"))[0]
    paper = {"boxstyle": "round,pad=0.12", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}
    inside = {"va": "center", "zorder": 6, "clip_on": True, "bbox": paper, **look.words()}
    ribbons = [
        PolyCollection([], edgecolor=look.quiet, linewidth=0.8, zorder=5, facecolor=colour, hatch=hatch)
        for colour, hatch in ((look.accent, None), (look.ground, "////"), (look.band, "xxx"))
    ]
    for ribbon in ribbons:
        ax.add_collection(ribbon, autolim=False)
    figure.legend(
        [curve, sub, *ribbons], ["longest, in view", "your sub", *WORDS[1:]], loc="outside lower center",
        ncols=3, frameon=False, handlelength=2.0, columnspacing=1.0, borderpad=0.1,
    )  # fmt: skip
    return (
        curve,
        faint,
        sub,
        ax.text(LAST_H - 0.2, 1, "", ha="right", **inside),
        ribbons,
        ghost,
        ax.text(FIRST_H + 0.2, 1, "your guess", ha="left", visible=False, **inside),
    )


def _stack(figure, look):
    ax, scale = figure.subplots(2, 1, height_ratios=[12, 1])
    colours = look.colour_map(np.linspace(0.15, 1.0, len(SHARES) - 1))  # the darkest still seen on black
    image = ax.imshow(
        np.zeros((2, 2)), origin="lower", extent=(-1, 1, -1, 1), interpolation="nearest", zorder=1,
        cmap=ListedColormap(colours), norm=BoundaryNorm(SHARES, len(SHARES) - 1, clip=True),
    )  # fmt: skip
    ax.set(xlim=(-1, 1), ylim=(-1, 1), xticks=[], yticks=[], aspect="equal")
    ax.set_title("The stack")
    frame = Rectangle(
        (0, 0), 0, 0, fill=False, edgecolor=look.strokes["second"].colour, linewidth=2.5, zorder=3
    )
    ax.add_patch(frame)
    paper = {"boxstyle": "round,pad=0.2", "facecolor": look.ground, "edgecolor": "none"}
    nothing = ax.text(0, 0, "", ha="center", va="center", zorder=5, bbox=paper, **look.words())
    scale.set(xlim=(0, len(SHARES) - 1), ylim=(0, 1), yticks=[])
    scale.set_xticks(np.arange(1, len(SHARES) - 1), ["0.5", "0.71", "0.87", "1"])
    scale.set_xlabel("signal-to-noise against the middle")
    for place, colour in enumerate(colours):
        scale.axvspan(place, place + 1, color=colour, linewidth=0)
    return image, frame, nothing


def update(artists, result, ghost):
    """Move the curve, the ribbon, the sub and the stack."""
    seen = result.state != HIDDEN
    longest = np.clip(result.longest_s, LOW_S, 0.8 * HIGH_S)  # an endless one stays in the picture
    artists.faint.set_data(result.hours_h, longest)
    artists.curve.set_data(result.hours_h, np.where(seen, longest, np.nan))
    artists.sub.set_ydata([result.sub_s] * 2)
    artists.sub_words.set(text=f"{seconds(result.sub_s)}", y=_clear_of_ends(1.6 * result.sub_s))
    for state, ribbon in zip((KEPT, TURNING, ZONE), artists.ribbons, strict=True):
        low, high = RIBBON_S
        ribbon.set_verts(
            [
                [(a, low), (a, high), (b, high), (b, low)]
                for a, b in spans(result.hours_h, result.state == state)
            ]
        )
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        artists.ghost.set_ydata([ghost] * 2)
        artists.ghost_words.set_y(_clear_of_ends(1.6 * ghost))
    artists.image.set_data(np.where(result.coverage > 0.0, result.coverage, np.nan))
    width, height = result.width_px / result.half_px, result.height_px / result.half_px
    artists.frame.set_bounds(-0.5 * width, -0.5 * height, width, height)
    artists.nothing.set_text("no sub is kept" if result.common is None else "")


def _clear_of_ends(value_s):
    return float(np.clip(value_s, 1.6, 0.5 * HIGH_S))


def spans(hours_h, chosen):
    """The runs of minutes that are chosen, as pairs of first and last hour."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(int)))
    half = 0.5 * (hours_h[1] - hours_h[0]) if len(hours_h) > 1 else 0.0
    return [(hours_h[a] - half, hours_h[b - 1] + half) for a, b in edges.reshape(-1, 2)]


def describe(result):
    """The picture in one sentence."""
    start = f"{result.target} with the axis {result.axis_from_pole_deg:.1f}° from the pole"
    if not len(result.hours_h):
        return f"{start}: it passes through the axis, where no head can follow."
    if result.common is None:
        return f"{start}, subs of {seconds(result.sub_s)}: none is kept, so there is no stack."
    return (
        f"{start}, subs of {seconds(result.sub_s)}: the field turns by {turned_deg(result):.0f}° in all; all kept subs "
        f"share {100 * result.common:.0f} % of the frame, at least half of them {100 * result.half_depth:.0f} % of its "
        f"area, and from there the stack fades outwards."
    )


def table(result):
    """The numbers of the picture: the night hour by hour, then the stack."""
    rows = [("hours from the meridian", "altitude", "field turns", "longest sub", "becomes")]
    for at in _whole_hours(result.hours_h):
        rows.append(
            (
                clock(result.hours_h[at]),
                f"{result.altitude_deg[at]:.0f}°".replace("-", "−"),
                f"{result.rate_deg_h[at]:.1f}°/h".replace("-", "−").replace("−0.0", "0.0"),
                seconds(result.longest_s[at]),
                WORDS[result.state[at]],
            )
        )
    rest = ("–", "–", "–")
    if result.common is not None:
        rows.append(("common to all kept subs", f"{100 * result.common:.0f} % of the frame", *rest))
        rows.append(("held by half of them", f"{100 * result.half_depth:.0f} % of its area", *rest))
        rows.append(("field turned in all", f"{turned_deg(result):.0f}°", *rest))
    if result.cable_deg is not None:
        rows.append(("cable winds by", f"{result.cable_deg:.0f}°", *rest))
        rows.append(("head cannot follow nearer to its axis than", f"{result.zone_deg:.1f}°", *rest))
    return rows


def turned_deg(result):
    """From the least to the most turned kept sub [°]."""
    return float(np.ptp(result.rotation_deg[result.state == KEPT]))


def clock(time_h):
    """Hours and minutes before or after the meridian."""
    minutes = round(60.0 * abs(time_h))
    sign = "" if not minutes else "−" if time_h < 0 else "+"
    return f"{sign}{minutes // 60}:{minutes % 60:02d}"


def _whole_hours(hours_h):
    near = np.abs(hours_h - np.round(hours_h)) < 0.5 / 60.0
    firsts = [group[0] for _, group in _grouped(np.flatnonzero(near), np.round(hours_h))]
    return firsts


def _grouped(places, keys):
    return ((key, list(group)) for key, group in itertools.groupby(places, key=lambda at: keys[at]))
