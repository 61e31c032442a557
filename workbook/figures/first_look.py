"""The practice panel: the Moon, always the same size on the sky, in the window that a telescope opens on it."""

from __future__ import annotations

import math
from typing import NamedTuple

from matplotlib.patches import Circle, Rectangle

from workbook.constants import MOON_DISTANCE_KM, MOON_RADIUS_KM
from workbook.figures import look as looks

HALF_WIDTH_DEG, HALF_HEIGHT_DEG = 4.3, 2.2


MOON_DEG = 2.0 * math.degrees(math.asin(MOON_RADIUS_KM / MOON_DISTANCE_KM))


class FirstLook(NamedTuple):
    """The field of one telescope and sensor, and the Moon in it."""

    width_deg: float
    height_deg: float
    scale_arcsec_px: float
    moon_deg: float
    moon_px: float


class Artists(NamedTuple):
    """What moves."""

    frame: object
    words: object
    moon_words: object
    ghost: object
    ghost_words: object


def create(figure, look):
    """One map of the sky in degrees, the Moon in its middle."""
    ax = figure.subplots()
    ax.set(
        xlim=(-HALF_WIDTH_DEG, HALF_WIDTH_DEG),
        ylim=(-HALF_HEIGHT_DEG, HALF_HEIGHT_DEG),
        aspect="equal",
        xlabel="across the sky [°]",
        ylabel="up the sky [°]",
    )
    ax.grid(True)
    moon = Circle((0, 0), 0.5 * MOON_DEG, facecolor=look.band, edgecolor=look.ink, linewidth=1.5, zorder=3)
    ax.add_patch(moon)
    frame = Rectangle((0, 0), 1, 1, fill=False, edgecolor=look.accent, linewidth=3, zorder=4)
    ax.add_patch(frame)
    ghost = Rectangle(
        (0, 0), 1, 1, fill=False, zorder=3, visible=False,
        edgecolor=look.strokes["ghost"].colour, linestyle=look.strokes["ghost"].dash, linewidth=2.2,
    )  # fmt: skip
    ax.add_patch(ghost)
    words = ax.text(0, 0, "", ha="center", va="bottom", zorder=5, **look.words())
    ghost_words = ax.text(0, 0, "your guess", ha="center", va="top", visible=False, zorder=5, **look.words())
    moon_words = ax.text(0.02, 0.03, "", transform=ax.transAxes, zorder=5, **look.words())
    looks.apply(look, figure)
    return Artists(frame, words, moon_words, ghost, ghost_words)


def update(artists, result, ghost):
    """Set the frame around the Moon; the ghost is a guess of how many Moons fit across."""
    _place(artists.frame, result.width_deg, result.height_deg)
    top = min(0.5 * result.height_deg, HALF_HEIGHT_DEG - 0.4)
    artists.words.set_position((0, top + 0.08))
    beyond = " (wider than this map)" if result.width_deg > 2 * HALF_WIDTH_DEG else ""
    artists.words.set_text(f"your picture: {result.width_deg:.1f}° × {result.height_deg:.1f}°{beyond}")
    artists.moon_words.set_text(f"the circle is the Moon, {result.moon_px:.0f} px wide")
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        width_deg = ghost * result.moon_deg
        height_deg = width_deg * result.height_deg / result.width_deg
        _place(artists.ghost, width_deg, height_deg)
        artists.ghost_words.set_position((0, max(-0.5 * height_deg, -HALF_HEIGHT_DEG + 0.5) - 0.06))


def describe(result):
    """The picture in one sentence."""
    return (
        f"The Moon, {result.moon_deg:.2f}° wide, in the middle of a picture of {result.width_deg:.1f}° by "
        f"{result.height_deg:.1f}°, which it would fill {result.width_deg / result.moon_deg:.1f} times across."
    )


def table(result):
    """The numbers of the picture."""
    return [
        ("what", "value"),
        ("picture, across", f"{result.width_deg:.2f}°"),
        ("picture, up", f"{result.height_deg:.2f}°"),
        ("one pixel", f"{result.scale_arcsec_px:.2f} ″"),
        ("Moon, across", f"{result.moon_px:.0f} px"),
        ("Moons across the picture", f"{result.width_deg / result.moon_deg:.1f}"),
    ]


def _place(patch, width_deg, height_deg):
    patch.set_xy((-0.5 * width_deg, -0.5 * height_deg))
    patch.set_width(width_deg)
    patch.set_height(height_deg)
