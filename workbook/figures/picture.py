"""What will be in my picture: the frame with its target and stars, and its middle pixel by pixel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.patches import Circle, PathPatch, Polygon, Rectangle
from matplotlib.path import Path

from workbook.figures import look as looks

ZOOM_PX = 48  # pixels along a side of the detail
RIM = 0.045  # sky that is shown around the frame, in frame widths
BELOW = 0.085  # room for the words under it
NOTHING = np.empty((2, 0))


class Picture(NamedTuple):
    """What falls on the sensor. Places count from the middle of the frame, x to the right and y up.

    `shared` is the outline of what all frames of a turning stack share, in frame widths; `low` and `high` are
    the factors between which, two times in three, the pixels that a target spans lie for the uncertain focal
    length. Fields of the target keep their defaults where the catalogue gives it no size.
    """

    target: str
    scale_arcsec_px: float
    width_px: int
    height_px: int
    field_deg: tuple[float, float]
    turn_deg: float
    shared: np.ndarray
    shared_share: float
    crop_side: float
    low: float
    high: float
    star_x_px: np.ndarray
    star_y_px: np.ndarray
    star_mag: np.ndarray
    synthetic: np.ndarray
    faintest_mag: float
    trouble: str
    zoom_e: np.ndarray
    sky_e: float
    target_e: float
    star_fwhm_px: float
    long_px: float | None = None
    short_px: float | None = None
    outline_px: tuple = tuple(NOTHING)
    box_px: tuple[float, float] = (0.0, 0.0)
    fits: bool = True
    fits_turned: bool = True
    panels: tuple[int, int] = (1, 1)
    longest_focal_mm: float | None = None


class Artists(NamedTuple):
    """What moves."""

    real: object
    synthetic: object
    moon: object
    outline: object
    name: object
    shared: object
    shared_words: object
    shade: object
    frame: object
    mark: object
    across: object
    upward: object
    stars_words: object
    ghost: object
    ghost_words: object
    detail: object
    bar: object
    bar_words: object
    star_words: object


def create(figure, look):
    """The frame on the left, always as wide as the page allows; forty-eight of its pixels on the right."""
    sky, detail = figure.subplots(1, 2, width_ratios=[1.75, 1.0])
    sky.set(aspect="equal", anchor="N", xticks=[], yticks=[])
    sky.set_title("Your picture")
    words = look.words() | {"ha": "center", "va": "center"}
    paper = {"boxstyle": "round,pad=0.15", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}
    real = sky.scatter([], [], color=look.ink, linewidths=0, zorder=2)
    synthetic = sky.scatter([], [], facecolors="none", edgecolors=look.quiet, linewidths=0.8, zorder=2)
    moon = Circle((0, 0), 0.1, facecolor=look.band, edgecolor=look.ink, linewidth=1.5, zorder=3)
    shade = PathPatch(_hole(1.0), facecolor=look.ground, edgecolor="none", alpha=0.7, zorder=4)
    frame = Rectangle((-0.5, 0), 1, 1, fill=False, edgecolor=look.accent, linewidth=3, zorder=5)
    shared = Polygon(np.zeros((3, 2)), fill=False, zorder=5, **_edge(look, "third"))
    mark = Rectangle((0, 0), 0.01, 0.01, fill=False, edgecolor=look.ink, zorder=6, linewidth=1.4)
    for patch in (moon, shade, frame, shared, mark):
        sky.add_patch(patch)
    outline = sky.plot([], [], zorder=3, **look.line("second"))[0]
    ghost = Circle((0, 0), 0.1, fill=False, visible=False, zorder=6, **_edge(look, "ghost"))
    sky.add_patch(ghost)
    inside = {"zorder": 7, "clip_on": True, "bbox": paper, **words}
    detail.set(xticks=[], yticks=[], anchor="N")
    detail.set_title(f"{ZOOM_PX} × {ZOOM_PX} of its pixels")
    image = detail.imshow(
        np.zeros((ZOOM_PX, ZOOM_PX)), origin="lower", interpolation="nearest", vmin=0.0, vmax=1.0,
        cmap="gray" if look.name == looks.LIGHT.name else look.colour_map,
    )  # fmt: skip
    below = {"transform": detail.transAxes, "ha": "left", "va": "center", **look.words()}
    bar = detail.plot([0.02, 0.02 + 10 / ZOOM_PX], [-0.055] * 2, transform=detail.transAxes, color=look.ink,
                      linewidth=4, solid_capstyle="butt", clip_on=False)[0]  # fmt: skip
    artists = Artists(
        real, synthetic, moon, outline,
        name=sky.text(0, 0, "", **inside),
        shared=shared,
        shared_words=sky.text(0, 0, "all frames of the stack", visible=False, **inside),
        shade=shade, frame=frame, mark=mark,
        across=sky.text(0, 0, "", **inside),
        upward=sky.text(0, 0, "", rotation=90, **inside),
        stars_words=sky.text(0, 0, "", **(inside | {"color": look.quiet})),
        ghost=ghost,
        ghost_words=sky.text(0, 0, "your guess", visible=False, **inside),
        detail=image,
        bar=bar,
        bar_words=detail.text(0.05 + 10 / ZOOM_PX, -0.055, "10 px = 23.4″", **below),
        star_words=detail.text(0.02, -0.125, "sample star: 1.7 px wide at half height", **below),
    )  # fmt: skip
    _compass(sky, look, paper)
    looks.apply(look, figure)
    for spine in sky.spines.values():
        spine.set_visible(False)
    return artists


def update(artists, result, ghost):
    """Set the sky into the frame. All places are in frame widths; True where the frame's shape has changed."""
    width, shape = result.width_px, result.height_px / result.width_px
    for points, which in ((artists.real, ~result.synthetic), (artists.synthetic, result.synthetic)):
        points.set_offsets(np.column_stack((result.star_x_px[which], result.star_y_px[which])) / width)
        points.set_sizes(1.5 + 2.2 * np.clip(result.faintest_mag - result.star_mag[which], 0, 9) ** 1.5)
    is_moon = result.target == "Moon"
    artists.moon.set_visible(is_moon)
    if is_moon:
        artists.moon.set_radius(0.5 * result.long_px / width)
    x, y = (np.asarray(along) / width for along in result.outline_px)
    artists.outline.set_data(([], []) if is_moon else (x, y))
    artists.frame.set_bounds(-0.5, -0.5 * shape, 1, shape)
    artists.shade.set_path(_hole(shape))
    _place_words(artists, result, shape)
    turned = result.turn_deg > 0
    for artist in (artists.shared, artists.shared_words):
        artist.set_visible(turned)
    if turned:
        artists.shared.set_xy(result.shared)
        artists.shared_words.set_position((0, -0.41 * shape * _inner_height(result, shape)))
    side = ZOOM_PX / width
    artists.mark.set_bounds(*_mark(result, side), side, side)
    seen = ghost is not None and is_moon
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(seen)
    if seen:
        artists.ghost.set_radius(0.5 * ghost / width)
        larger = 0.5 * max(ghost, result.long_px) / width
        artists.ghost_words.set_position((0, -min(larger + 0.035, 0.5 * shape - 0.035)))
    artists.detail.set_data(_shown(result))
    ax = artists.frame.axes
    limits = (-0.5 - RIM, 0.5 + RIM, -0.5 * shape - RIM - BELOW, 0.5 * shape + RIM)
    changed = not np.allclose(
        (*ax.get_xlim(), *ax.get_ylim()), limits, atol=0.01
    )  # the height is rounded to pixels
    if changed:
        ax.set(xlim=limits[:2], ylim=limits[2:])
    return changed


def _place_words(artists, result, shape):
    """Sizes at the edges of the frame, the target's name at its outline, the stars below."""
    across, up = (degrees(side) for side in result.field_deg)
    artists.across.set_text(f"{across} = {result.width_px:,} px")
    artists.across.set_position((0, -0.5 * shape - 0.03))
    artists.upward.set_text(f"{up} = {result.height_px:,} px")
    artists.upward.set_position((-0.5 - 0.026, 0))
    kinds = "real stars" if not result.synthetic.any() else "dots: real stars; rings: synthetic"
    kinds += f", to magnitude {result.faintest_mag:.1f}"
    artists.stars_words.set_text("no star catalogue: every star is synthetic" if result.trouble else kinds)
    artists.stars_words.set_position((0, -0.5 * shape - 0.09))
    artists.name.set_text(name_words(result))
    top = 0.5 * result.box_px[1] / result.width_px
    artists.name.set_position((0, min(top + 0.035, 0.5 * shape - 0.035)))
    artists.bar_words.set_text(f"10 px = {10 * result.scale_arcsec_px:.1f}″")
    artists.star_words.set_text(f"sample star: {result.star_fwhm_px:.1f} px wide at half height")


def describe(result):
    """The picture in one sentence."""
    where = "not drawn, since the catalogue gives no size"
    if result.long_px is not None:
        where = f"{size_words(result)} large"
        where += "" if result.fits else ", reaching beyond the frame"
    stars = f"{len(result.star_mag)} stars to magnitude {result.faintest_mag:.1f}"
    if result.synthetic.any():
        stars += f", of which {int(result.synthetic.sum())} are synthetic"
    stars += f" ({result.trouble})" if result.trouble else ""
    return (
        f"A frame of {degrees(result.field_deg[0])} by {degrees(result.field_deg[1])} with {stars}, and "
        f"{result.target} in its middle, {where}; beside it {ZOOM_PX} by {ZOOM_PX} pixels of one raw frame, "
        f"where a star is {result.star_fwhm_px:.1f} px wide."
    )


def table(result):
    """The numbers of the picture."""
    rows = [
        ("what", "value"),
        ("one pixel", f"{result.scale_arcsec_px:.2f}″"),
        ("picture, across", f"{degrees(result.field_deg[0])}, {result.width_px:,} px"),
        ("picture, up", f"{degrees(result.field_deg[1])}, {result.height_px:,} px"),
        (f"{result.target}, size", size_words(result)),
    ]
    if result.long_px is not None:
        rows += [
            (f"{result.target} fits", "yes" if result.fits else "no"),
            ("longest focal length at which it fits", f"{result.longest_focal_mm:.0f} mm"),
            ("panels, across × up", "{} × {}".format(*result.panels)),
        ]
    return [
        *rows,
        ("a star, at half its height", f"{result.star_fwhm_px:.1f} px"),
        ("sky in a pixel of the raw frame", f"{result.sky_e:.0f} e⁻"),
        ("light of the target in it, on average", _light_words(result)),
        ("share of the frame that the whole stack has", f"{100 * result.shared_share:.0f} %"),
    ]


def name_words(result):
    """The target with its size in pixels."""
    return f"{result.target}: {size_words(result)}"


def size_words(result):
    """Long and short axis in pixels, or that nobody gives them."""
    if result.long_px is None:
        return "no size in the catalogue"
    if abs(result.long_px - result.short_px) < 0.5:
        return f"{result.long_px:,.0f} px"
    return f"{result.long_px:,.0f} × {result.short_px:,.0f} px"


def degrees(angle_deg):
    """A field with the digits that mean something; below a degree in arcminutes."""
    return f"{angle_deg:.1f}°" if angle_deg >= 1.0 else f"{60.0 * angle_deg:.0f}′"


def _light_words(result):
    if not result.target_e:
        return "not known"
    return "more than a pixel holds" if result.target_e > 1e5 else f"{result.target_e:.1f} e⁻"


def _shown(result):
    """The detail as brightness from 0 to 1, compressed so that noise and star are both seen."""
    noise = np.sqrt(result.sky_e + 4.0)
    above = np.arcsinh((result.zoom_e - result.sky_e) / (3.0 * noise) + 1.0)
    peak = np.arcsinh(max(2000.0, 8.0 * noise) / (3.0 * noise))
    return np.clip(above / peak, 0.0, 1.0)


def _mark(result, side):
    """The lower left corner of the detail: in the middle, for the Moon on its edge."""
    right = 0.5 * result.long_px / result.width_px if result.target == "Moon" else 0.0
    return right - 0.45 * side if right else -0.5 * side, -0.5 * side


def _inner_height(result, shape):
    y = result.shared[:, 1]
    return float(np.ptp(y)) / shape


def _edge(look, role):
    stroke = look.strokes[role]
    return {"edgecolor": stroke.colour, "linestyle": stroke.dash, "linewidth": stroke.width}


def _hole(shape):
    """Everything around the frame, as one shape with a hole: the inner corners run the other way round."""
    codes = [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY]
    outer = [(-2, -2), (2, -2), (2, 2), (-2, 2), (-2, -2)]
    inner = [(-1, -1), (-1, 1), (1, 1), (1, -1), (-1, -1)]
    return Path(outer + [(0.5 * x, 0.5 * shape * y) for x, y in inner], codes * 2)


def _compass(ax, look, paper):
    """North up and east left, in the upper right corner of the frame."""
    for letter, tip in (("N", (0.93, 0.905)), ("E", (0.855, 0.785))):
        ax.annotate(
            letter, xy=(0.93, 0.785), xytext=tip, xycoords="axes fraction", textcoords="axes fraction",
            ha="center", va="center", zorder=7, arrowprops={"arrowstyle": "<|-", "color": look.quiet},
            color=look.quiet, fontsize=look.text_pt, bbox=paper,
        )  # fmt: skip
