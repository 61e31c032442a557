"""The Moon, the Sun and planets in true pixels, with what blurs them and how long a clip or a frame may run."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from matplotlib.patches import Circle
from matplotlib.patheffects import withStroke

from workbook.figures import look as looks
from workbook.verdict import words as spoken

BLUR_ROWS = ("diffraction", "air, short frames", "pixels, colours", "together", "one long exposure")
LIMIT_ROWS = ("clip: spin", "clip: field turns", "frame: motion", "frame: gears")
WIDEST_ARCSEC = 9.0
SHORTEST_S, LONGEST_S = 0.1, 3600.0
BARS_ARCSEC = (1, 2, 5, 10, 20, 50, 100, 200, 500)


class Discs(NamedTuple):
    """One body through one telescope on one night.

    Body; what stands for the night in words; diameter [″] and its pixels; scale [″/px]; picture, its side [px] and
    whether the body is whole on it; focal ratio, aperture in units of Fried's r0, the critical ratio and the extender
    that reaches it; FWHM of diffraction, of the air in short frames, of pixel and colours, of all, and of a long
    exposure [″]; smear that is allowed [″]; limits of the clip by spin and field turning, of a frame by own motion
    and gears [s], infinite where nothing moves, NaN where nothing was computed; the clip and its longest [s]; own
    motion [″/s], rate of the field [°/h], altitude and azimuth [°]; why the place is missing, in words; range of the
    longest clip [s].
    """

    body: str
    when: str
    diameter_arcsec: float
    disc_px: float
    scale_arcsec_px: float
    image: np.ndarray
    side_px: int
    whole: bool
    f_ratio: float
    aperture_r0: float
    critical_f: float
    critical_extender: float
    diffraction_arcsec: float
    air_arcsec: float
    pixel_arcsec: float
    total_arcsec: float
    long_arcsec: float
    smear_arcsec: float
    spin_s: float
    turn_s: float
    own_s: float
    gear_s: float
    clip_s: float
    longest_s: float
    motion_arcsec_s: float
    rate_deg_h: float
    altitude_deg: float
    azimuth_deg: float
    reason: str
    longest_68_s: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves, and the ground colour for words inside bars."""

    picture: object
    size_words: object
    scale_line: object
    scale_words: object
    ghost: object
    ghost_words: object
    blurs: list
    blur_words: list
    limits: list
    limit_words: list
    clip: object
    colours: tuple


def create(figure, look):
    """The picture on the left; on the right the blur meter above the limits."""
    grid = figure.add_gridspec(2, 2, width_ratios=[1.0, 1.12], height_ratios=[1.12, 1.0])
    sky = figure.add_subplot(grid[:, 0])
    meter, time = figure.add_subplot(grid[0, 1]), figure.add_subplot(grid[1, 1])
    picture = sky.imshow(np.zeros((2, 2)), cmap="gray" if look is looks.LIGHT else look.colour_map,
                         interpolation="nearest", origin="lower", extent=(0, 1, 0, 1), vmin=0.0, vmax=1.0)  # fmt: skip
    sky.set(xticks=[], yticks=[])
    sky.set_title("In your camera's pixels")
    white = "#ffffff" if look is looks.LIGHT else look.ink
    inside = {"color": white, "fontsize": look.text_pt, "zorder": 6}
    box = {"facecolor": "#000000", "edgecolor": "none", "alpha": 0.85, "pad": 3.0}
    size_words = sky.text(0.03, 0.97, "", va="top", bbox=box, **inside)
    scale_line = sky.plot([], [], color=white, linewidth=3.5, solid_capstyle="butt", zorder=5)[0]
    scale_words = sky.text(0.03, 0.055, "", va="bottom", bbox=box, **inside)
    pale = "#f0e442" if look is looks.LIGHT else look.strokes["first"].colour
    ghost = Circle((0.5, 0.5), 0.1, fill=False, edgecolor=pale, linestyle=look.strokes["ghost"].dash, linewidth=2.2,
                   visible=False, zorder=5)  # fmt: skip
    sky.add_patch(ghost)
    ghost_words = sky.text(
        0.97, 0.97, "", ha="right", va="top", visible=False, bbox=box, **(inside | {"color": pale})
    )
    places = np.arange(len(BLUR_ROWS))[::-1]
    blurs = list(meter.barh(places, 1.0, height=0.62, color=look.band, edgecolor=look.quiet, zorder=2))
    blurs[3].set(facecolor=look.accent, edgecolor=look.accent)
    blurs[4].set(hatch="///", edgecolor=look.quiet)
    blur_words = [meter.text(0.0, y, "", va="center", zorder=4, **look.words()) for y in places]
    meter.set(xlim=(0.0, WIDEST_ARCSEC), ylim=(-0.6, len(BLUR_ROWS) - 0.4))
    meter.set_yticks(places, BLUR_ROWS)
    meter.set_title("Blur: full width at half height [″]")
    meter.grid(True, axis="x")
    places = np.arange(len(LIMIT_ROWS))[::-1]
    limits = list(
        time.barh(places, 1.0, left=SHORTEST_S, height=0.62, color=look.band, edgecolor=look.quiet, zorder=2)
    )
    for bar in limits[:2]:
        bar.set(facecolor=look.accent, edgecolor=look.accent)
    limit_words = [
        time.text(1.0, y, "", va="center", zorder=5, bbox={"edgecolor": "none", "pad": 1.0}, **look.words())
        for y in places
    ]
    clip = time.axvline(1.0, zorder=4, label="your clip", **(look.line("second") | {"linewidth": 2.6}))
    clip.set_path_effects([withStroke(linewidth=6.0, foreground=look.ground)])  # so that it shows on the bars
    time.set_xscale("log")
    time.set(xlim=(SHORTEST_S, LONGEST_S), ylim=(-0.6, len(LIMIT_ROWS) - 0.4))
    time.set_xticks([0.1, 1, 10, 60, 600, 3600], ["0.1 s", "1 s", "10 s", "1 min", "10 min", "1 h"])
    time.set_xticks([], minor=True)
    time.set_yticks(places, LIMIT_ROWS)
    time.set_title("How long? Dashed: your clip")
    time.grid(True, axis="x")
    for ax in (meter, time):
        ax.tick_params(axis="y", length=0)
    looks.apply(look, figure)
    colours = (look.ink, look.ground, look.accent, look.band)
    return Artists(
        picture, size_words, scale_line, scale_words, ghost, ghost_words, blurs, blur_words, limits, limit_words,
        clip, colours,
    )  # fmt: skip


def update(artists, result, ghost):
    """Set the picture and the bars; the ghost is a guess of Jupiter's width in the picture [px]."""
    artists.picture.set_data(result.image)
    part = "" if result.whole else "\nonly a piece of it is shown"
    artists.size_words.set_text(f"{result.body}: {result.disc_px:.0f} px wide{part}")
    length = _scale_bar_arcsec(result)
    share = length / (result.side_px * result.scale_arcsec_px)
    artists.scale_line.set_data([0.03, 0.03 + share], [0.035, 0.035])
    artists.scale_words.set_text(f"{length:g}″ = {length / result.scale_arcsec_px:.0f} px")
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None and result.body == "Jupiter")
    if ghost is not None:
        artists.ghost.set_radius(0.5 * ghost / result.side_px)
        beyond = "\nwider than this picture" if ghost > result.side_px else ""
        artists.ghost_words.set_text(f"your guess: {ghost:.0f} px{beyond}")
    for bar, words, value in zip(artists.blurs, artists.blur_words, _blurs(result), strict=True):
        shown = min(value, WIDEST_ARCSEC)
        bar.set_width(shown)
        _beside(
            words, f"{value:.1f}″", shown, shown > 0.8 * WIDEST_ARCSEC, 0.12, bar is artists.blurs[3], artists
        )
    for k, (bar, words, value) in enumerate(
        zip(artists.limits, artists.limit_words, _limits(result), strict=True)
    ):
        known = not math.isnan(value)
        shown = float(np.clip(value, SHORTEST_S, LONGEST_S)) if known else SHORTEST_S
        bar.set_width(shown - SHORTEST_S)
        _beside(words, limit_words(value, result, k), shown, shown > 150.0, 1.12, k < 2, artists)
    artists.clip.set_xdata([result.clip_s, result.clip_s])


def _beside(words, text, end, inside, gap, solid, artists):
    """Words just past the end of a bar, or just inside where there is no room."""
    words.set_text(text)
    log = gap > 1.0
    words.set_x((end / gap if inside else end * gap) if log else (end - gap if inside else end + gap))
    words.set_ha("right" if inside else "left")
    ink, ground, accent, band = artists.colours
    words.set_color(ground if inside and solid else ink)
    if words.get_bbox_patch() is not None:  # so that the line of the clip does not cross the number
        words.get_bbox_patch().set_facecolor((accent if solid else band) if inside else ground)


def _blurs(result):
    return (
        result.diffraction_arcsec, result.air_arcsec, result.pixel_arcsec, result.total_arcsec, result.long_arcsec,
    )  # fmt: skip


def _limits(result):
    return result.spin_s, result.turn_s, result.own_s, result.gear_s


def limit_words(value, result, row):
    """A limit in words: a time, no limit, or why there is none."""
    if math.isnan(value):
        return result.reason or "not computed"
    if math.isinf(value):
        return "no limit"
    if value > LONGEST_S:
        return "over 1 h"
    return seconds(value) if row < 2 else f"{seconds(value)} for 1 px"


def seconds(time_s):
    """A time with the digits that mean something."""
    return f"{time_s / 60.0:.1f} min" if 99.5 <= time_s < 3600.0 else spoken.seconds(time_s)


def _scale_bar_arcsec(result):
    """The longest round length below two fifths of the picture."""
    room = 0.4 * result.side_px * result.scale_arcsec_px
    return max((length for length in BARS_ARCSEC if length <= room), default=BARS_ARCSEC[0])


def describe(result):
    """The picture in one sentence."""
    limits = ", ".join(
        f"{name} {limit_words(value, result, k)}"
        for k, (name, value) in enumerate(zip(LIMIT_ROWS, _limits(result), strict=True))
    )
    shown = "whole" if result.whole else "in part"
    return (
        f"{result.body}, {result.when}: {result.diameter_arcsec:.1f}″ or {result.disc_px:.0f} px wide, shown {shown} "
        f"with an invented face; blur {result.total_arcsec:.1f}″, of which diffraction "
        f"{result.diffraction_arcsec:.1f}″, air {result.air_arcsec:.1f}″ and pixels "
        f"{result.pixel_arcsec:.1f}″; limits: {limits}; clip {seconds(result.clip_s)}."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("what", "value"), ("apparent diameter", f"{result.diameter_arcsec:.1f}″")]
    rows.append(("width in pixels", f"{result.disc_px:.1f} px of {result.scale_arcsec_px:.3f}″"))
    rows += [
        (f"blur: {name}", f"{value:.2f}″") for name, value in zip(BLUR_ROWS, _blurs(result), strict=True)
    ]
    rows.append(("blurs across the disc", f"{result.diameter_arcsec / result.total_arcsec:.1f}"))
    rows.append(("smear allowed in a clip, for 5 % more blur", f"{result.smear_arcsec:.2f}″"))
    rows += [
        (name, limit_words(value, result, k))
        for k, (name, value) in enumerate(zip(LIMIT_ROWS, _limits(result), strict=True))
    ]
    rows.append(("your clip", seconds(result.clip_s)))
    rows.append(("focal ratio", f"f/{result.f_ratio:.1f}, critical f/{result.critical_f:.1f}"))
    if not math.isnan(result.motion_arcsec_s):
        rows.append(("own motion against the stars", f"{result.motion_arcsec_s:.3f}″/s"))
    if not math.isnan(result.altitude_deg):
        rows.append(("altitude, azimuth", f"{result.altitude_deg:.0f}°, {result.azimuth_deg:.0f}°"))
    if not math.isnan(result.rate_deg_h):
        rows.append(("field turns by", f"{result.rate_deg_h:.1f} °/h"))
    return rows
