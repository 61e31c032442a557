"""The turning field: star trails on the chip for one sub, and the longest sub all over the sky."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Circle, Rectangle

from workbook.figures import look as looks

SUB_S = 60.0  # the sub whose trails are drawn
EXAGGERATION = 20.0  # and how many times too long they are drawn
EDGES_S = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0)  # bands of the map; the outer two stand for all beyond
MARGIN, BELOW = 0.025, 0.09  # room around the chip and for the words under it, in chip widths
SHAPE = 0.785  # height of the left picture over its width
RIM = 1.15
# Fixed places: a layout that is solved anew differs in the last digit from run to run, and so would the picture.
PLACES = ((0.005, 0.262, 0.528, 0.68), (0.005, 0.112, 0.528, 0.132), (0.548, 0.066, 0.442, 0.876))


class TurningField(NamedTuple):
    """One star on the chip, the sky around it, and what that allows.

    Places on the chip count from its middle, x to the right and y towards the mount's primary axis [px].
    `trails_px` holds the trails as drawn (star, step, xy), `map_s` the longest sub over a square around the
    zenith, north up and east left, `path` and `view` lines in that square (horizon at radius 1). Rate, smear
    and longest sub are None where the star stands below the horizon or on the axis.
    """

    target: str
    latitude_deg: float
    axis_altitude_deg: float
    axis_azimuth_deg: float
    axis_from_pole_deg: float
    altitude_deg: float
    azimuth_deg: float
    middle_px: tuple[float, float]
    radius_px: float
    width_px: int
    height_px: int
    tolerance_px: float
    trails_px: np.ndarray
    star_sizes: np.ndarray
    map_s: np.ndarray
    path: np.ndarray
    view: np.ndarray
    rate_deg_h: float | None = None
    smear_px: float | None = None
    longest_s: float | None = None
    longest_68_s: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    frame: object
    trails: object
    ends: object
    middle: object
    middle_words: object
    chip_words: object
    image: object
    path: list
    view: list
    axis: object
    pole: object
    target: object
    now: object
    now_words: object
    ghost: list
    ghost_words: object


def create(figure, look):
    """The chip with the scale of seconds below it on the left, the whole sky on the right."""
    chip, scale, sky = axes = figure.subplots(1, 3)
    for ax, place in zip(axes, PLACES, strict=True):
        ax.set_position(place)
    artists = Artists(*_chip(chip, look), *_sky(sky, look, figure), *_scale(scale, look))
    looks.apply(look, figure)
    for side in ("left", "right", "top"):
        scale.spines[side].set_visible(False)
    return artists


def _chip(ax, look):
    ax.set(xlim=(-1, 1), ylim=(-SHAPE, SHAPE), xticks=[], yticks=[], aspect="equal")
    ax.axis("off")
    ax.set_anchor("N")
    ax.set_title(f"On the chip: a {SUB_S:.0f} s sub, trails drawn {EXAGGERATION:.0f} × too long")
    paper = {"boxstyle": "round,pad=0.15", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}
    frame = Rectangle((0, 0), 1, 1, fill=False, edgecolor=look.accent, linewidth=3, zorder=4)
    ax.add_patch(frame)
    trails = LineCollection([], colors=look.quiet, linewidths=1.5, zorder=2)
    ax.add_collection(trails, autolim=False)
    ends = ax.scatter([], [], color=look.ink, linewidths=0, zorder=3)
    middle = ax.plot(
        [], [], zorder=5, **(look.dots("second") | {"marker": "+", "markersize": 15, "markeredgewidth": 2.5})
    )[0]
    inside = {"zorder": 6, "va": "center", "clip_on": True, **look.words()}
    return (
        *(frame, trails, ends, middle),
        ax.text(0, 0, "", ha="center", bbox=paper, **inside),
        ax.text(0, 0, "", ha="left", **inside),
    )


def _sky(ax, look, figure):
    ax.set(xlim=(-RIM, RIM), ylim=(-RIM, RIM), aspect="equal")
    ax.axis("off")
    ax.set_anchor("N")
    ax.set_title("The whole sky: longest sub")
    image = ax.imshow(
        np.ones((2, 2)), extent=(-1, 1, -1, 1), origin="lower", interpolation="bilinear",
        interpolation_stage="data", zorder=1,
        cmap=_bands(look), norm=BoundaryNorm(np.log10(EDGES_S), len(EDGES_S) - 1, clip=True),
    )  # fmt: skip
    rim = Circle((0, 0), 1.0, fill=False, edgecolor=look.ink, linewidth=1.5, zorder=3)
    ax.add_patch(rim)
    image.set_clip_path(rim)
    for letter, x, y in (("N", 0, 1), ("E", -1, 0), ("S", 0, -1), ("W", 1, 0)):
        figure.text(1.1 * x, 1.1 * y, letter, transform=ax.transData, ha="center", va="center")
    halo = {"markeredgecolor": look.ground, "markeredgewidth": 1.5}
    casing, inside = {"color": look.ink, "linewidth": 4.0}, {"color": look.ground, "linewidth": 2.0}
    path = [ax.plot([], [], zorder=4, **how)[0] for how in (casing, inside)]
    view = [ax.plot([], [], zorder=4, **how)[0] for how in (casing, inside | {"linestyle": (0, (4, 2.5))})]
    for line in path:
        line.set_clip_path(rim)
    pole = ax.plot(
        [], [], zorder=5, label="pole", **(look.dots("first") | {"marker": "D", "markersize": 13} | halo)
    )[0]
    axis = ax.plot(
        [], [], zorder=6, label="axis", **(look.dots("second") | {"marker": "X", "markersize": 12} | halo)
    )[0]
    target = ax.plot(
        [], [], zorder=7, label="target", **(look.dots("fourth") | {"marker": "o", "markersize": 11} | halo)
    )[0]
    figure.legend(
        [axis, pole, target, tuple(view)], ["axis", "pole", "target", "your view"], loc="lower center",
        bbox_to_anchor=(0.769, 0.0), ncols=4, frameon=False, handlelength=1.6, columnspacing=1.2,
        handletextpad=0.5, borderpad=0.1,
    )  # fmt: skip
    return image, path, view, axis, pole, target


def _scale(ax, look):
    ax.set_xscale("log")
    ax.set(xlim=(EDGES_S[0], EDGES_S[-1]), ylim=(0, 3.3), xlabel="longest sub for the farthest corner [s]")
    ax.set_xticks(EDGES_S, ["", *(f"{edge:.0f}" for edge in EDGES_S[1:-1]), ""])
    ax.set_xticks([], minor=True)
    ax.set_yticks([])
    colours = _bands(look)
    for number, (low, high) in enumerate(itertools.pairwise(EDGES_S)):
        ax.axvspan(low, high, 0, 0.33, color=colours(number), linewidth=0, zorder=1)
    now = ax.plot(
        [], [], zorder=4, **(look.dots("fourth") | {"marker": "v", "markersize": 13, "clip_on": False})
    )[0]
    paper = {"boxstyle": "square,pad=0.1", "facecolor": look.ground, "edgecolor": "none"}
    now_words = ax.text(1, 1.7, "", va="center", zorder=5, bbox=paper, **look.words())
    casing = {"color": look.ground, "linewidth": 6.0}
    ghost = [ax.plot([], [], visible=False, zorder=3, **how)[0] for how in (casing, look.line("ghost"))]
    ghost_words = ax.text(1, 2.75, "", va="center", visible=False, zorder=5, **look.words())
    return now, now_words, ghost, ghost_words


def update(artists, result, ghost):
    """Move trails, map and marks; True where the chip's picture had to zoom out for a guide star beside it."""
    _update_chip(artists, result)
    artists.image.set_data(np.log10(np.clip(result.map_s, EDGES_S[0], EDGES_S[-1])))
    for line in artists.path:
        line.set_data(*result.path)
    for line in artists.view:
        line.set_data(*result.view)
    for artist, altitude_deg, azimuth_deg in (
        (artists.axis, result.axis_altitude_deg, result.axis_azimuth_deg),
        (artists.pole, abs(result.latitude_deg), 180.0 if result.latitude_deg < 0 else 0.0),
        (artists.target, result.altitude_deg, result.azimuth_deg),
    ):
        artist.set_data(*([end] for end in on_map(altitude_deg, azimuth_deg)))
    artists.target.set_visible(result.altitude_deg >= 0)
    seen = result.longest_s is not None
    for artist in (artists.now, artists.now_words):
        artist.set_visible(seen)
    if seen:
        x = _beside(artists.now_words, result.longest_s, f"{result.target} now: {seconds(result.longest_s)}")
        artists.now.set_data([x], [1.7])
    for artist in (*artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        x = _beside(artists.ghost_words, ghost, "your guess")
        for line in artists.ghost:
            line.set_data([x, x], [0.0, 3.1])
    return _zoom(artists, result)


def _update_chip(artists, result):
    width, height = result.width_px, result.height_px
    artists.frame.set_bounds(-0.5 * width, -0.5 * height, width, height)
    artists.trails.set_segments(result.trails_px)
    artists.ends.set_offsets(result.trails_px[:, -1])
    artists.ends.set_sizes(result.star_sizes)
    for artist in (artists.trails, artists.ends):
        artist.set_clip_path(artists.frame)
    artists.middle.set_data([result.middle_px[0]], [result.middle_px[1]])
    guided = result.middle_px != (0.0, 0.0)
    artists.middle_words.set_text("guide star" if guided else "")
    artists.middle_words.set_position((result.middle_px[0], result.middle_px[1] - 0.06 * width))
    artists.chip_words.set_position((-0.5 * width, -0.5 * height - 0.55 * BELOW * width))
    artists.chip_words.set_text(
        "no trails: nothing to follow here"
        if result.smear_px is None
        else f"true length in the farthest corner: {pixels(result.smear_px)}"
    )


def _zoom(artists, result):
    """Show the whole chip and the point it turns about, in the shape that the axes have."""
    ax = artists.frame.axes
    width, height, (x, y) = result.width_px, result.height_px, result.middle_px
    room, words = MARGIN * width, 0.13 * width if (x, y) != (0.0, 0.0) else 0.0  # of the guide star
    left, right = min(-0.5 * width, x - words) - room, max(0.5 * width, x + words) + room
    low, high = min(-0.5 * height - BELOW * width, y - words), max(0.5 * height + room, y + room)
    half = max(0.5 * (right - left), 0.5 * (high - low) / SHAPE)
    middle = 0.5 * (left + right), high - SHAPE * half
    wanted = (middle[0] - half, middle[0] + half, middle[1] - SHAPE * half, middle[1] + SHAPE * half)
    if np.allclose((*ax.get_xlim(), *ax.get_ylim()), wanted, atol=1.0):
        return False
    ax.set(xlim=wanted[:2], ylim=wanted[2:])
    return True


def _beside(words, value_s, text):
    """Where a time stands on the scale; its words go to the side where there is room."""
    x = float(np.clip(value_s, 1.03 * EDGES_S[0], EDGES_S[-1] / 1.03))
    right = x < 40.0
    words.set(text=text, x=x * (1.22 if right else 1 / 1.22), ha="left" if right else "right")
    return x


def describe(result):
    """The picture in one sentence."""
    place = f"{result.target} at altitude {result.altitude_deg:.0f}°, azimuth {result.azimuth_deg:.0f}°"
    axis = f"the axis {result.axis_from_pole_deg:.1f}° from the pole"
    if result.rate_deg_h is None:
        return f"{place}, latitude {result.latitude_deg:.1f}°, {axis}: nothing that could be followed."
    return (
        f"{place}, latitude {result.latitude_deg:.1f}°, {axis}: the stars turn on the chip "
        f"{turn_words(result)}, {pixels(result.smear_px)} in the farthest corner in {SUB_S:.0f} s; beside it a map "
        f"of the whole sky, where the longest sub for {result.tolerance_px:g} px is {seconds(result.longest_s)} at the "
        f"target and between {seconds(_above(result).min())} and {seconds(_above(result).max())} anywhere."
    )


def table(result):
    """The numbers of the picture."""
    known = result.rate_deg_h is not None
    rows = [
        ("what", "value"),
        ("latitude", f"{result.latitude_deg:.1f}°"),
        ("axis, altitude", f"{result.axis_altitude_deg:.1f}°"),
        ("axis, distance from the pole", f"{result.axis_from_pole_deg:.1f}°"),
        (f"{result.target}, altitude", f"{result.altitude_deg:.1f}°"),
        (f"{result.target}, azimuth", f"{result.azimuth_deg:.1f}°"),
        ("field turns", f"{abs(result.rate_deg_h):.2f}°/h, {_way(result)}" if known else "–"),
        ("farthest corner from the point it turns about", f"{result.radius_px:.0f} px"),
        (f"smear there in {SUB_S:.0f} s", pixels(result.smear_px) if known else "–"),
        (f"longest sub for {result.tolerance_px:g} px", seconds(result.longest_s) if known else "–"),
    ]
    size = len(result.map_s)
    for altitude_deg in (30.0, 60.0):
        for name, azimuth_deg in (("north", 0.0), ("east", 90.0), ("south", 180.0)):
            x, y = on_map(altitude_deg, azimuth_deg)
            cell = (int(np.clip(0.5 * (1 + along) * size, 0, size - 1)) for along in (y, x))
            rows.append((f"longest sub {name}, {altitude_deg:.0f}° high", seconds(result.map_s[tuple(cell)])))
    return rows


def on_map(altitude_deg, azimuth_deg):
    """Where a place in the sky stands on the map: zenith in the middle, north up, east left."""
    radius, azimuth = (90.0 - np.asarray(altitude_deg)) / 90.0, np.radians(azimuth_deg)
    return -radius * np.sin(azimuth), radius * np.cos(azimuth)


def seconds(time_s):
    """A sub length with the digits that mean something."""
    if time_s > 3600.0:
        return "over an hour"
    return f"{time_s:.1f} s" if time_s < 9.95 else f"{time_s:.0f} s"


def pixels(length_px):
    """A smear with the digits that mean something."""
    return f"{length_px:.1f} px" if length_px < 99.5 else f"{length_px:.0f} px"


def turn_words(result):
    """How fast the field turns, and which way."""
    if abs(result.rate_deg_h) < 0.005:
        return "not at all"
    return f"{abs(result.rate_deg_h):.1f}°/h {_way(result)}"


def _way(result):
    return "clockwise" if result.rate_deg_h > 0 else "anticlockwise"


def _above(result):
    """The longest subs above the horizon."""
    middles = (np.arange(len(result.map_s)) + 0.5) * 2.0 / len(result.map_s) - 1.0
    return result.map_s[np.hypot(middles, middles[:, None]) < 1.0]


def _bands(look):
    """One colour for each band, the longest subs brightest."""
    count = len(EDGES_S) - 1
    return ListedColormap(look.colour_map(np.linspace(0.0, 1.0, count)))
