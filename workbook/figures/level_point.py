"""Level, tilt, point: a cloud of axes about the pole, and the bars of the budget that made it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.ticker import MaxNLocator

from workbook.figures import look as looks

CAUSES = ("compass", "inclinometer", "base tilt", "azimuth turn")
CURES = (
    "buy a better north, sight a star",
    "buy a better inclinometer",
    "buy a better level",
    "buy nothing: read the altitude again",
)
LIMITS_ARCMIN = (50.0, 100.0, 250.0, 350.0, 600.0, 1200.0, 2500.0)  # half the picture
SHARES = (0.68, 0.95)
CIRCLE = np.linspace(0.0, 2.0 * np.pi, 73)
EVERY = 5  # of the cloud's axes one in so many is drawn


class LevelPoint(NamedTuple):
    """One way to set up, what it leaves, and what that costs.

    `cloud_arcmin` holds places of the axis beside the pole on the sky (draw; east, high) [′], `covariance_arcmin2`
    their covariance, `parts_arcmin` the standard deviation that each of `CAUSES` gives alone, `total_arcmin` all
    of them together by root-sum-square. `full_arcmin` is the same before anybody asked the sky. `missed_arcmin` is
    by how far a go-to misses a star in the meridian, 45° high, where the base leans to the east by its
    standard deviation; `climb_arcmin` how far the axis climbs in a turn of 10° of the azimuth screw then.
    """

    start: str
    base_tilt_deg: float
    azimuth_turn_deg: float
    latitude_deg: float
    cloud_arcmin: np.ndarray
    covariance_arcmin2: np.ndarray
    parts_arcmin: tuple[float, float, float, float]
    total_arcmin: float
    full_arcmin: float
    low_arcmin: float
    high_arcmin: float
    drift_arcsec_min: float
    drift_per_arcmin: float
    tolerance_px: float
    trailed_s: float | None
    missed_arcmin: float
    climb_arcmin: float
    faster_deg_h: float

    @property
    def largest(self) -> int | None:
        """Which cause gives most; None where nothing is left."""
        return int(np.argmax(self.parts_arcmin)) if self.total_arcmin > 0 else None

    @property
    def shares(self) -> np.ndarray:
        """The share of each cause in the sum of squares."""
        squares = np.square(self.parts_arcmin)
        return squares / squares.sum() if squares.sum() > 0 else squares


class Artists(NamedTuple):
    """What moves."""

    cloud: object
    ellipses: list
    ghost: list
    ghost_words: object
    bars: object
    bar_words: list
    best: object


def create(figure, look):
    """The cloud about the pole on the left, the budget on the right."""
    sky, budget = figure.subplots(1, 2, width_ratios=[1.08, 1.1])
    sky.set(aspect="equal", xlabel="axis, east of the pole [′]", ylabel="axis, above the pole [′]")
    sky.yaxis.set_label_coords(-0.19, 0.5)  # clear of the widest number that any scale needs
    sky.set_title("Where the axis may point")
    sky.set(xlim=(-250, 250), ylim=(-250, 250))
    for along in (sky.xaxis, sky.yaxis):
        along.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    sky.set_anchor("N")
    sky.grid(True)
    cloud = sky.plot(
        [], [], zorder=2, linestyle="none", marker=".", markersize=4, color=look.quiet, alpha=0.45
    )[0]
    ellipses = [
        sky.plot([], [], zorder=4, label=f"{100 * share:.0f} %", **look.line(role))[0]
        for share, role in zip(SHARES, ("first", "second"), strict=True)
    ]
    pole = look.dots("fourth") | {"marker": "+", "markersize": 16, "markeredgewidth": 2.5}
    sky.plot([0], [0], zorder=6, label="pole", **pole)
    casing = {"color": look.ground, "linewidth": 5.5}
    ghost = [sky.plot([], [], zorder=5, visible=False, **how)[0] for how in (casing, look.line("ghost"))]
    paper = {"boxstyle": "square,pad=0.15", "facecolor": look.ground, "edgecolor": "none"}
    ghost_words = sky.text(
        0.5, 0.03, "", ha="center", va="bottom", visible=False, zorder=7, bbox=paper,
        transform=sky.transAxes, **look.words(),
    )  # fmt: skip
    places = np.arange(len(CAUSES))[::-1]
    budget.set(xlim=(0, 100), ylim=(-0.6, 4.3), xlabel="share in the sum of squares [%]")
    budget.set_title("What the error is made of")
    budget.set_yticks(places, CAUSES)
    budget.tick_params(axis="y", length=0)
    budget.set_xticks([0, 25, 50, 75, 100])
    budget.grid(True, axis="x")
    bars = budget.barh(
        places,
        np.zeros(len(CAUSES)),
        height=0.5,
        color=look.band,
        edgecolor=look.accent,
        linewidth=2,
        zorder=3,
    )
    bar_words = [budget.text(2, y, "", va="center", zorder=5, **look.words()) for y in places]
    best = budget.text(50, 3.85, "", ha="center", va="center", zorder=5, **look.words())
    best.set_fontweight("bold")
    figure.legend(loc="outside upper left", ncols=3, frameon=False, handlelength=2.2, columnspacing=1.2)
    looks.apply(look, figure)
    return Artists(cloud, ellipses, ghost, ghost_words, bars, bar_words, best)


def update(artists, result, ghost):
    """Move cloud, ellipses, bars and guess; True where the left picture had to take another scale."""
    artists.cloud.set_data(*result.cloud_arcmin[::EVERY].T)
    outlines = [ellipse(result.covariance_arcmin2, share) for share in SHARES]
    for line, outline in zip(artists.ellipses, outlines, strict=True):
        line.set_data(*outline)
    circle = None if ghost is None else ghost / result.drift_per_arcmin
    farthest = max(np.abs(outlines[-1]).max(), 1.2 * (circle or 0.0))
    limit = next((step for step in LIMITS_ARCMIN if farthest <= 0.95 * step), LIMITS_ARCMIN[-1])
    for artist in (*artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        radius = min(max(circle, 0.025 * limit), 1.3 * limit)  # a guess of nothing is a small ring
        for line in artists.ghost:
            line.set_data(radius * np.cos(CIRCLE), radius * np.sin(CIRCLE))
        artists.ghost_words.set_text(f"ring: your guess, {ghost:g}″/min")
    for bar, words, share, part in zip(
        artists.bars, artists.bar_words, result.shares, result.parts_arcmin, strict=True
    ):
        bar.set_width(100.0 * share)
        words.set_text(f"{minutes(part)}, {100 * share:.0f} %")
        inside = share > 0.6  # else the words would leave the axes
        words.set(x=100.0 * share + (-2.0 if inside else 2.0), ha="right" if inside else "left")
    artists.best.set_text(advice(result))
    ax = artists.cloud.axes
    if ax.get_xlim()[1] == limit:
        return False
    ax.set(xlim=(-limit, limit), ylim=(-limit, limit))
    return True


def ellipse(covariance_arcmin2, share):
    """The outline that holds a share of a normal cloud: k² = −2 ln(1 − share) times the covariance."""
    values, axes = np.linalg.eigh(covariance_arcmin2)
    reach = np.sqrt(-2.0 * np.log(1.0 - share) * np.maximum(values, 0.0))
    return axes @ (reach[:, None] * np.stack([np.cos(CIRCLE), np.sin(CIRCLE)]))


def describe(result):
    """The picture in one sentence."""
    if result.largest is None:
        return (
            f"A start {result.start}: the whole cloud has shrunk onto the pole and every bar is empty; without the "
            f"sky it would be {minutes(result.full_arcmin)}."
        )
    widths = np.sqrt(np.diag(result.covariance_arcmin2))
    return (
        f"A cloud of axes about the pole, {minutes(widths[0])} wide to the east and west and {minutes(widths[1])} up "
        f"and down (one standard deviation each), with its 68 % and 95 % ellipses; beside it the budget, of which "
        f"{CAUSES[result.largest]} is {100 * result.shares[result.largest]:.0f} %: {advice(result)}."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("what", "axis on the sky", "share")]
    for cause, part, share in zip(CAUSES, result.parts_arcmin, result.shares, strict=True):
        rows.append((cause, minutes(part), f"{100 * share:.0f} %"))
    rows += [
        (
            "all together, root-sum-square",
            minutes(result.total_arcmin),
            "100 %" if result.total_arcmin else "0 %",
        ),
        ("middle 68 % of the cloud", f"{minutes(result.low_arcmin)} to {minutes(result.high_arcmin)}", "–"),
        ("before the sky was asked", minutes(result.full_arcmin), "–"),
        ("drift, at most", f"{result.drift_arcsec_min:.1f}″/min", "–"),
    ]
    if result.trailed_s is not None:
        rows.append((f"time for {result.tolerance_px:g} px of drift", f"{result.trailed_s:.1f} s", "–"))
    rows.append(("go-to misses a star 45° high by", minutes(result.missed_arcmin), "–"))
    rows.append(("axis climbs in 10° of the azimuth screw", minutes(result.climb_arcmin), "–"))
    return rows


def advice(result):
    """What to buy, or that nothing is to be bought."""
    return "nothing left to buy" if result.largest is None else CURES[result.largest]


def minutes(angle_arcmin):
    """An angle with the digits that mean something, a true minus and no negative zero."""
    size = abs(angle_arcmin)
    words = f"{size:.1f}′" if 0.05 < size < 9.95 else f"{size:.0f}′"
    return f"−{words}" if angle_arcmin < 0 and words != "0′" else words
