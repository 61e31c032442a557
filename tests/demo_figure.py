"""A figure for the tests of looks and panels: a colour map with contours, three curves, a legend and a grid.

It has about what the heaviest lesson shows, so that the measured times mean something. Invented, no physics.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.figures import look as looks
from workbook.panels import Panel, Readout, choice, slider, switch

X_H = np.linspace(-6.0, 6.0, 241)
GRID_X, GRID_Y = np.meshgrid(np.linspace(-6, 6, 90), np.linspace(0, 90, 70))


class Result(NamedTuple):
    curves: np.ndarray
    field: np.ndarray
    peak: float
    low: float | None = None
    high: float | None = None


class Artists(NamedTuple):
    lines: list
    mesh: object
    band: object
    ghost: object
    look: looks.Look


def compute(*, sub_s, height_deg, mode, wide):
    """Three curves, a field and the height of the first curve."""
    width = 3.0 if wide else 1.5
    first = np.exp(-0.5 * (X_H / width) ** 2) * sub_s / 300
    second = 0.5 * first + height_deg / 200
    third = np.full_like(X_H, 0.2 if mode == "tilted" else 0.6)
    field = np.cos(np.radians(GRID_Y - height_deg)) * np.exp(-((GRID_X / (2 * width)) ** 2))
    return Result(np.array([first, second, third]), field, float(first.max()))


def with_range(result, *, sub_s, **_):
    """The range, from seeded draws."""
    draws = result.peak + 0.05 * np.random.default_rng(7).standard_normal(2000)
    low, high = np.quantile(draws, [0.16, 0.84])
    return result._replace(low=float(low), high=float(high))


def readout(result):
    verdict = "A long sub pays here." if result.peak > 0.3 else "A long sub hardly pays here."
    return Readout("Peak", result.peak, "h", "assumed", verdict, digits=2, low=result.low, high=result.high)


def create(figure, look):
    left, right = figure.subplots(1, 2)
    mesh = left.pcolormesh(GRID_X, GRID_Y, np.zeros_like(GRID_X), cmap=look.colour_map, vmin=-1, vmax=1)
    left.contour(GRID_X, GRID_Y, GRID_Y * np.cos(GRID_X / 4), levels=5, colors=look.grid, linewidths=0.8)
    left.set(xlabel="hour angle [h]", ylabel="altitude [°]", title="Whole sky")
    lines = [
        right.plot(X_H, 0 * X_H, label=name, **look.line(role))[0]
        for name, role in (("first", "first"), ("second", "second"), ("limit", "limit"))
    ]
    band = right.axhspan(0, 0, color=look.band, zorder=1)
    ghost = right.plot([], [], label="your guess", **look.line("ghost"))[0]
    right.set(xlim=(-6, 6), ylim=(0, 1.2), xlabel="hour angle [h]", ylabel="share", title="Curves")
    right.grid(True)
    right.legend(loc="upper left")
    looks.apply(look, figure)
    return Artists(lines, mesh, band, ghost, look)


def update(artists, result, ghost):
    for line, curve in zip(artists.lines, result.curves, strict=True):
        line.set_ydata(curve)
    artists.mesh.set_array(result.field)
    known = result.low is not None
    artists.band.set_visible(known)
    if known:
        artists.band.set_y(result.low)
        artists.band.set_height(result.high - result.low)
    artists.ghost.set_data(([-6, 6], [ghost, ghost]) if ghost is not None else ([], []))


def describe(result):
    return f"Three curves over the hour angle; the first peaks at {result.peak:.2f} on the meridian."


def table(result):
    return [("hour angle", "first", "second")] + [
        (f"{X_H[k]:.0f} h", f"{result.curves[0, k]:.2f}", f"{result.curves[1, k]:.2f}")
        for k in (0, 60, 120, 180, 240)
    ]


def build(**changes):
    """The demonstration panel; `changes` replace parts of it."""
    import demo_figure

    parts = {
        "figure": demo_figure,
        "compute": compute,
        "slow": with_range,
        "readout": readout,
        "title": "Demonstration: one night",
        "controls": {
            "sub_s": slider("Sub length", 120, 1, 300),
            "height_deg": slider("Height of the axis", 52.4, 0.0, 90.0, step=0.1),
            "mode": choice("Mode", "alt-az", ("alt-az", "tilted")),
            "wide": switch("Wide", False),
        },
        "presets": {
            "Balcony": {"sub_s": 60, "height_deg": 52.4},
            "Island": {"sub_s": 200, "height_deg": 30.0},
        },
    }
    return Panel(**(parts | changes))
