"""The learner's own horizon: what hides the sky, azimuth against altitude, and the way of one target behind it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import PolyCollection

from workbook.figures import look as looks
from workbook.horizon import Mask

NAMES = ("N", "NE", "E", "SE", "S", "SW", "W", "NW", "N")


class HorizonView(NamedTuple):
    """A mask and what of a target's way it leaves.

    `path_deg` holds the way of the target (azimuth, altitude) at even steps of hour angle, where it is above
    the level horizon, `seen` whether the mask leaves it open. `hours_h` is how long that is in a day, `low_h` and
    `high_h` the same where every edge reaches 1° into the open sky, or 1° less.
    """

    target: str
    mask: Mask
    path_deg: np.ndarray
    seen: np.ndarray
    open_share: float
    hours_h: float
    low_h: float
    high_h: float


class Artists(NamedTuple):
    """What moves."""

    floor: object
    edge: object
    roof: object
    hidden: object
    open: object
    name: object


def create(figure, look):
    """The whole horizon unrolled, north at both ends."""
    ax = figure.subplots()
    ax.set(xlim=(0, 360), ylim=(0, 90), xlabel="azimuth [°]", ylabel="altitude [°]")
    ax.set_xticks(np.arange(0, 361, 45), [f"{45 * place} {name}" for place, name in enumerate(NAMES)])
    ax.set_yticks(np.arange(0, 91, 15))
    ax.set_title("What hides the sky: click along your roofs and trees")
    ax.grid(True)
    shade = {"facecolor": look.band, "edgecolor": "none"}
    floor = PolyCollection([], zorder=2.2, **shade)
    roof = PolyCollection(
        [], zorder=2.2, **(shade | {"edgecolor": look.quiet, "linewidth": 0, "hatch": "//"})
    )
    for area in (floor, roof):
        ax.add_collection(area, autolim=False)
    edge = ax.plot(
        [], [], zorder=4, label="floor", **(look.line("first") | {"marker": "o", "markersize": 7})
    )[0]
    hidden = ax.plot([], [], zorder=3, color=look.quiet, linewidth=1.2, linestyle=(0, (1, 2)))[0]
    seen = ax.plot([], [], zorder=3.5, **(look.line("second") | {"linestyle": "-", "linewidth": 3.5}))[0]
    paper = {"boxstyle": "round,pad=0.12", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}
    name = ax.text(180, 45, "", ha="center", va="center", zorder=5, bbox=paper, clip_on=True, **look.words())
    figure.legend(
        [edge, roof, seen, hidden],
        ["floor", "ceiling", "target in view", "target hidden"],
        loc="outside lower center", ncols=4, frameon=False, handlelength=2.2, columnspacing=1.4, borderpad=0.1,
    )  # fmt: skip
    looks.apply(look, figure)
    return Artists(floor, edge, roof, hidden, seen, name)


def update(artists, result, ghost):
    """Move floor, ceiling and the way of the target."""
    azimuth, altitude = outline(result.mask)
    artists.floor.set_verts([[(0.0, -1.0), *zip(azimuth, altitude, strict=True), (360.0, -1.0)]])
    artists.edge.set_data(azimuth, altitude)
    count = len(result.mask.azimuth_deg)
    artists.edge.set_markevery(slice(1, 1 + count) if count > 1 or altitude[0] else [])
    ceiling = result.mask.ceiling_deg
    artists.roof.set_verts(
        [[(0.0, ceiling), (0.0, 91.0), (360.0, 91.0), (360.0, ceiling)]] if ceiling < 90.0 else []
    )
    path = _unrolled(result.path_deg)
    artists.hidden.set_data(*path)
    artists.open.set_data(*np.where(_unrolled_mask(result), path, np.nan))
    artists.name.set_visible(bool(result.path_deg.size))
    if result.path_deg.size:
        highest = int(np.argmax(np.where(result.seen, result.path_deg[1], -90.0)))
        if not result.seen.any():
            highest = int(np.argmax(result.path_deg[1]))
        x, y = result.path_deg[:, highest]
        artists.name.set(text=result.target, position=(np.clip(x, 24, 336), y - 7.0 if y > 45.0 else y + 7.0))


def outline(mask):
    """The floor from 0° to 360° as a line, its own points with the two ends at north [°]."""
    low, high = mask.floor_deg([0.0, 360.0])
    return (
        np.concatenate([[0.0], mask.azimuth_deg, [360.0]]),
        np.concatenate([[low], mask.altitude_deg, [high]]),
    )


def describe(result):
    """The picture in one sentence."""
    mask = result.mask
    ceiling = f", a ceiling at {mask.ceiling_deg:.0f}°" if mask.ceiling_deg < 90.0 else ""
    return (
        f"A floor of {_points(len(mask.azimuth_deg))} from {mask.altitude_deg.min():.0f}° to "
        f"{mask.altitude_deg.max():.0f}° of altitude{ceiling}: {100 * result.open_share:.0f} % of the sky is open, and "
        f"{result.target} is in view for {result.hours_h:.1f} h of the day."
    ).replace("-", "−")


def table(result):
    """The numbers of the picture: every point of the floor."""
    rows = [("point", "azimuth", "altitude of what hides the sky")]
    for place, (azimuth, altitude) in enumerate(
        zip(result.mask.azimuth_deg, result.mask.altitude_deg, strict=True), start=1
    ):
        rows.append((f"{place}", f"{azimuth:g}°", f"{altitude:g}°".replace("-", "−")))
    rows.append(("ceiling", "–", f"{result.mask.ceiling_deg:g}°" if result.mask.ceiling_deg < 90 else "none"))
    rows.append(("sky that is open", f"{100 * result.open_share:.0f} %", "–"))
    span = f"{result.low_h:.1f} to {result.high_h:.1f} h"
    rows.append((f"{result.target} in view, a day", f"{result.hours_h:.1f} h", span))
    return rows


def _points(count):
    return "one point" if count == 1 else f"{count} points"


def _unrolled(path_deg):
    """The way as a line that is not drawn right across the picture where it passes north."""
    azimuth, altitude = path_deg
    jump = np.concatenate([[False], np.abs(np.diff(azimuth)) > 180.0])
    return np.where(jump, np.nan, azimuth), altitude


def _unrolled_mask(result):
    return np.broadcast_to(result.seen, (2, *result.seen.shape))
