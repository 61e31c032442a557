"""Spacing, focus, tilt: nine stars in true pixels, the map of widths, and the corners over the spacing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.figures import look as looks
from workbook.nine_stars.picture import CENTRE, PLACES, SPACINGS_MM, TILE_PX

NUMBERS = np.array([3, 14, 25]), np.array([3, 10, 17])  # columns and rows of the map with a number
ORDER = (6, 7, 8, 3, 4, 5, 0, 1, 2)  # places as they are read: top left first
WIDEST_SHOWN = 2.0  # the map's last colour, in faultless widths
CURVE_TOP = 4.4


class Artists(NamedTuple):
    """What moves."""

    tiles: object
    tile_words: list
    map: object
    map_words: list
    inks: tuple
    curve: object
    band: object
    here: object
    ghost: object
    ghost_words: object


def create(figure, look):
    """Nine tiles on the left; the map of the sensor above the curve over spacing on the right."""
    grid = figure.add_gridspec(2, 2, width_ratios=[1.12, 1.0], height_ratios=[1.25, 1.0])
    left, above, below = (figure.add_subplot(part) for part in (grid[:, 0], grid[0, 1], grid[1, 1]))
    columns, rows = TILE_PX
    width, height = 3 * columns, 3 * rows
    tiles = left.imshow(
        np.zeros((height, width)),
        origin="lower",
        extent=(0, width, 0, height),
        cmap=look.colour_map,
        interpolation="nearest",
    )
    bright = look.colour_map(0.999)
    for share in (1, 2):
        left.axvline(share * columns, color=bright, linewidth=1.5)
        left.axhline(share * rows, color=bright, linewidth=1.5)
    words = {"color": bright, "fontsize": look.text_pt, "ha": "center", "va": "bottom", "zorder": 5}
    tile_words = [
        left.text(columns * (k % 3 + 0.5), rows * (k // 3) + 0.4, "", **words) for k in range(len(PLACES))
    ]
    left.set_title("Nine stars: length × width [px]")
    left.set(xticks=[], yticks=[])
    map_image = above.imshow(
        np.zeros((2, 2)),
        origin="lower",
        aspect="auto",
        extent=(-1, 1, -1, 1),
        cmap=look.colour_map,
        interpolation="bilinear",
    )
    above.set_title("Star width over the whole sensor [px]")
    above.set(xticks=[], yticks=[])
    across, up = (np.linspace(-1, 1, count) for count in (29, 21))
    map_words = [
        above.text(
            across[column],
            up[row],
            "",
            ha="center",
            va="center",
            zorder=5,
            fontsize=look.text_pt,
            weight="bold",
        )
        for row in NUMBERS[1]
        for column in NUMBERS[0]
    ]
    band = below.axvspan(-1, 1, color=look.band, zorder=1)
    curve = below.plot([], [], zorder=3, **look.line("first"))[0]
    here = below.plot([], [], zorder=5, **(look.dots("first") | {"markersize": 12}))[0]
    ghost = below.axvline(0.0, visible=False, zorder=2, **look.line("ghost"))
    ghost_words = below.text(0, CURVE_TOP - 0.2, "", va="top", visible=False, zorder=6, **look.words())
    below.set(
        xlim=(SPACINGS_MM[0], SPACINGS_MM[-1]),
        ylim=(0.9, CURVE_TOP),
        xlabel="spacing error [mm]:  − sensor too close,  + too far",
        ylabel="times faultless",
    )
    below.set_yscale("log")
    below.set_yticks([1, 1.5, 2, 3, 4], ["1", "1.5", "2", "3", "4"])
    below.set_yticks([], minor=True)
    below.set_title("Corner width; the band is the tolerance")
    below.grid(True)
    looks.apply(look, figure)
    return Artists(
        tiles, tile_words, map_image, map_words, (look.colour_map(0.999), look.colour_map(0.0)),
        curve, band, here, ghost, ghost_words,
    )  # fmt: skip


def update(artists, result, ghost):
    """Set stars, map, curve; the ghost is a guess of how much longer the spacer must become for a filter."""
    stars, faultless = result.stars, float(result.train.faultless_px)
    artists.tiles.set_data(np.sqrt(np.maximum(result.tiles_e, 0.0)))
    artists.tiles.set_clim(0.0, 1.05 * np.sqrt(result.peak_e))
    for words, long, short in zip(artists.tile_words, stars.long_px, stars.short_px, strict=True):
        words.set_text(f"{long:.1f} × {short:.1f}")
    artists.map.set_data(result.map_px)
    low, high = faultless, WIDEST_SHOWN * faultless
    artists.map.set_clim(low, high)
    chosen = result.map_px[np.ix_(NUMBERS[1], NUMBERS[0])].ravel()
    for words, width in zip(artists.map_words, chosen, strict=True):
        words.set_text(f"{width:.1f}")
        words.set_color(artists.inks[int(width > 0.5 * (low + high))])
    times = np.clip(result.curve_px / faultless, None, CURVE_TOP)
    artists.curve.set_data(SPACINGS_MM, times)
    here = result.causes.spacing_error_mm
    artists.here.set_data([here], [np.interp(here, SPACINGS_MM, times)])
    tolerance = float(result.train.tolerance_mm)
    artists.band.set_x(-tolerance)
    artists.band.set_width(2 * tolerance)
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        place = float(np.clip(ghost - result.filter_shift_mm, SPACINGS_MM[0], SPACINGS_MM[-1]))
        artists.ghost.set_xdata([place, place])
        artists.ghost_words.set_text(" your guess " if place < 1.5 else "your guess ")
        artists.ghost_words.set_ha("left" if place < 1.5 else "right")
        artists.ghost_words.set_x(place)


def describe(result):
    """The picture in one sentence."""
    stars = result.stars
    corner = max((0, 2, 6, 8), key=lambda place: stars.width_px[place])
    faultless = float(result.train.faultless_px)
    return (
        f"Nine stars: the centre {_size(stars, CENTRE)}, the widest corner ({PLACES[corner]}) "
        f"{_size(stars, corner)}, {points(stars, corner)}; a faultless star is {faultless:.1f} px wide; "
        f"over the sensor widths run from {result.map_px.min():.1f} to {result.map_px.max():.1f} px."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("place", "length × width", "direction of the long axis", "it")]
    stars = result.stars
    for place in ORDER:
        angle = stars.angle_deg[place]
        long = stars.long_px[place] > ROUND * stars.short_px[place] and np.isfinite(angle)
        direction = f"{round(float(angle))}°" if long else "–"  # a whole number has no minus zero
        rows.append((PLACES[place], _size(stars, place), direction.replace("-", "−"), points(stars, place)))
    return rows


ROUND = 1.08  # a star at most this much longer than wide looks round


def points(stars, place):
    """Whether a star is round, points to the centre, circles it, or neither."""
    if stars.long_px[place] <= ROUND * stars.short_px[place]:
        return "round"
    if place == CENTRE:
        return "long"
    if abs(stars.stretch[place]) < 0.02:
        return "askew"
    return "points to the centre" if stars.stretch[place] > 0 else "circles the centre"


def _size(stars, place):
    return f"{stars.long_px[place]:.1f} × {stars.short_px[place]:.1f} px"
