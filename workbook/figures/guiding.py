"""A guided night: where the mount points in both axes, what it makes of the star, and which settings are as good."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.colors import ListedColormap, to_rgb
from matplotlib.patches import Ellipse
from matplotlib.ticker import MaxNLocator

from workbook.figures import look as looks

EXPOSURES_S = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0)  # columns of the map
AGGRESSIVENESS = (0.2, 0.4, 0.6, 0.8, 1.0)  # and its rows
FLAT = 0.02  # growths so close to the best one are as good
ALLOWED = 0.10  # guide until it adds less than a tenth to the star
HALF_ARCSEC, COARSER = 6.0, 3.0  # of the traces: the finest scale, and how much coarser the next ones are
STAR_ARCSEC = 5.5  # half of the picture of the star
PER_AXIS = float(np.sqrt((1.0 + ALLOWED) ** 2 - 1.0) / 2.354820045)  # rms over width that adds a tenth


class Guided(NamedTuple):
    """A night under one setting.

    Path and places seen around the dither, with their times from it; rms of the places seen in both axes; the
    star's growth; its width without guide errors; time to settle after the dither (None: not within the picture);
    noise of the guide star's place. Growth for every exposure and aggressiveness, and the 68 % range, may
    follow later.
    """

    exposure_s: float
    aggressiveness: float
    backlash_arcsec: float
    seeing_arcsec: float
    directions: str
    gear: float
    minutes: np.ndarray
    ra_arcsec: np.ndarray
    dec_arcsec: np.ndarray
    seen_minutes: np.ndarray
    seen_ra_arcsec: np.ndarray
    seen_dec_arcsec: np.ndarray
    seen_rms_arcsec: tuple[float, float]
    growth: object
    star_fwhm_arcsec: float
    scale_arcsec_px: float
    settle_s: float | None
    noise_arcsec: float
    map_growth: np.ndarray | None = None
    growth_68: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    traces: list
    seen: list
    star: object
    grown: object
    star_words: object
    ghost: object
    cells: object
    numbers: list
    edge: object
    setting: object
    map_words: object
    shown: list  # the table on the map


def create(figure, look):
    """Both axes on the left; the star and the map on the right."""
    left, right = figure.subfigures(1, 2, width_ratios=[1.15, 1.0])
    traces, seen = _traces(left, look)
    top, bottom = right.subplots(2, 1, height_ratios=[0.8, 1.0])
    parts = *_star(top, look), *_map(bottom, look)
    for part in (figure, left, right):
        looks.apply(look, part)
    return Artists(traces, seen, *parts, shown=[None])


def _traces(figure, look):
    axes = figure.subplots(2, 1, sharex=True)
    traces, seen = [], []
    for ax, words in zip(axes, ("east − west [″]", "north − south [″]"), strict=True):
        ax.set(xlim=(-5, 3), ylim=(-HALF_ARCSEC, HALF_ARCSEC), ylabel=words)
        ax.yaxis.set_major_locator(MaxNLocator(nbins=6, symmetric=True))
        ax.yaxis.set_label_coords(-0.135, 0.5)  # room for the widest numbers
        ax.grid(True)
        ax.axvline(0.0, color=look.quiet, linewidth=1.2, zorder=2)
        dots = look.dots("second") | {"markersize": 2.6, "markeredgewidth": 0, "alpha": 0.8}
        seen.append(ax.plot([], [], zorder=3, **dots)[0])
        traces.append(ax.plot([], [], zorder=4, **look.line("first"))[0])
    axes[0].set_title("Off the target; a sub lasts one minute")
    axes[1].set_xlabel("minutes from the dither")
    axes[0].text(0.64, 0.94, "dither", transform=axes[0].transAxes, va="top", zorder=5, **look.words())
    figure.legend(
        [traces[0], seen[0]],
        ["mount", "seen by the guide camera"],
        loc="outside lower center", ncols=2, frameon=False, handlelength=1.8, columnspacing=1.0, borderpad=0.1,
        markerscale=2.5,
    )  # fmt: skip
    return traces, seen


def _star(ax, look):
    half = STAR_ARCSEC
    ax.set(xlim=(-half, 3.6 * half), ylim=(-half, half), aspect="equal")
    ax.axis("off")
    ax.set_title("The star in the picture")
    grown = Ellipse(
        (0, 0), 1, 1, facecolor=look.band, edgecolor=look.strokes["first"].colour, linewidth=2.4, zorder=3
    )
    star = Ellipse(
        (0, 0), 1, 1, fill=False, edgecolor=look.strokes["fourth"].colour, linewidth=1.8,
        linestyle=look.strokes["fourth"].dash, zorder=4,
    )  # fmt: skip
    ghost = Ellipse(
        (0, 0), 1, 1, fill=False, edgecolor=look.strokes["ghost"].colour, linewidth=2.2,
        linestyle=look.strokes["ghost"].dash, visible=False, zorder=5,
    )  # fmt: skip
    for patch in (grown, star, ghost):
        ax.add_patch(patch)
    words = ax.text(1.05 * half, 0.0, "", va="center", zorder=5, linespacing=1.4, **look.words())
    return star, grown, words, ghost


def _map(ax, look):
    columns, rows = len(EXPOSURES_S), len(AGGRESSIVENESS)
    ax.set(xlim=(0, columns), ylim=(0, rows + 0.8), xlabel="guide exposure [s]", ylabel="aggressiveness")
    ax.set_title("Growth of the star, %")
    ax.set_xticks(np.arange(columns) + 0.5, [f"{t:g}" for t in EXPOSURES_S])
    ax.set_yticks(np.arange(rows) + 0.5, [f"{g:g}" for g in AGGRESSIVENESS])
    ax.tick_params(length=0)
    shades = ListedColormap([look.ground, _between(look.ground, look.band, 0.45), look.band])
    cells = ax.pcolormesh(
        np.arange(columns + 1), np.arange(rows + 1), np.zeros((rows, columns)), cmap=shades, vmin=-0.5, vmax=2.5,
        zorder=1,
    )  # fmt: skip
    numbers = [
        [
            ax.text(x + 0.5, y + 0.47, "", ha="center", va="center", zorder=2.2, **look.words())
            for x in range(columns)
        ]
        for y in range(rows)
    ]
    edge = LineCollection([], colors=look.strokes["first"].colour, linewidths=2.8, zorder=2.4)
    ax.add_collection(edge, autolim=False)
    setting = ax.plot(
        [], [], zorder=6, marker="s", markersize=21, markerfacecolor="none", markeredgewidth=2.4, linestyle="none",
        color=look.strokes["second"].colour,
    )[0]  # fmt: skip
    words = ax.text(0.15, rows + 0.38, "follows when you let go", va="center", zorder=2.2, **look.words())
    cells.set_visible(False)
    for still in (
        cells,
        edge,
        words,
        *(text for row in numbers for text in row),
    ):  # below the frame's lines, 2.5
        still.set_gid(looks.STILL)
    return cells, numbers, edge, setting, words


def _between(first, second, share):
    return tuple((1 - share) * a + share * b for a, b in zip(to_rgb(first), to_rgb(second), strict=True))


def update(artists, result, ghost):
    """Move both traces, the star, and the setting on its map; the ghost is a guess of the growth in per cent.

    True where the map itself is another one.
    """
    paths = (result.ra_arcsec, result.dec_arcsec)
    places = (result.seen_ra_arcsec, result.seen_dec_arcsec)
    for trace, seen, path, place in zip(artists.traces, artists.seen, paths, places, strict=True):
        trace.set_data(result.minutes, path)
        seen.set_data(result.seen_minutes, place)
    half = half_arcsec(result)
    for trace in artists.traces:
        if result.growth_68 is None:  # in a drag the scale only grows: each of its steps redraws everything
            half = max(half, trace.axes.get_ylim()[1])
        trace.axes.set_ylim(-half, half)
    growth = result.growth
    widths = [growth.ra_fwhm_arcsec, growth.dec_fwhm_arcsec]
    guessed = result.star_fwhm_arcsec * (1.0 + (ghost or 0.0) / 100.0)
    shown = 1.0 / max(1.0, max(*widths, guessed) / (1.9 * STAR_ARCSEC))  # so that it fits
    artists.star.width = artists.star.height = shown * result.star_fwhm_arcsec
    artists.grown.width, artists.grown.height = (shown * width for width in widths)
    artists.ghost.width = artists.ghost.height = shown * guessed
    artists.ghost.set_visible(ghost is not None)
    guess = "" if ghost is None else f"\ndash-dots: guess, {ghost:g} %"
    artists.star_words.set_text(
        f"{pixels(growth.ra_fwhm_arcsec, result)} × {pixels(growth.dec_fwhm_arcsec, result)} px\n"
        f"{percent(growth.growth)} wider, roundness {growth.roundness:.2f}\n"
        f"dots: still mount, {pixels(result.star_fwhm_arcsec, result)} px{guess}"
    )
    x = np.interp(result.exposure_s, EXPOSURES_S, np.arange(len(EXPOSURES_S)) + 0.5)
    y = np.interp(result.aggressiveness, AGGRESSIVENESS, np.arange(len(AGGRESSIVENESS)) + 0.5)
    artists.setting.set_data([x], [y])
    if result.map_growth is artists.shown[0]:
        return False
    artists.shown[0] = result.map_growth
    _update_map(artists, result.map_growth)
    return True


def half_arcsec(result):
    """Half the height of the traces: the finest scale that holds what stands before the dither."""
    before = result.minutes < 0.0
    reach = max(np.abs(path[before]).max() for path in (result.ra_arcsec, result.dec_arcsec))
    steps = np.ceil(np.log(max(reach / HALF_ARCSEC, 1.0)) / np.log(COARSER))
    return float(HALF_ARCSEC * COARSER**steps)


def _update_map(artists, table):
    artists.map_words.set_text(
        "follows when you let go" if table is None else "outlined: as good as the best"
    )
    artists.cells.set_visible(table is not None)
    artists.edge.set_segments([] if table is None else outline(flat(table)))
    for y, row in enumerate(artists.numbers):
        for x, text in enumerate(row):
            text.set_text("" if table is None else cell_words(table[y, x]))
    if table is not None:
        artists.cells.set_array(np.where(flat(table), 2.0, np.where(table <= 1.0 + ALLOWED, 1.0, 0.0)))


def flat(table):
    """The settings that are as good as the best."""
    return table <= table.min() + FLAT


def outline(inside):
    """The line around the cells that are inside, as pieces ((x, y), (x, y))."""
    framed = np.pad(inside, 1)
    pieces = []
    for y, x in np.argwhere(framed[:, 1:] != framed[:, :-1]):
        pieces.append(((x, y - 1), (x, y)))
    for y, x in np.argwhere(framed[1:] != framed[:-1]):
        pieces.append(((x - 1, y), (x, y)))
    return pieces


def cell_words(growth):
    """A growth in a cell of the map: per cent without its sign."""
    share = 100.0 * (growth - 1.0)
    return f"{share:.1f}" if share < 9.95 else f"{share:.0f}"


def percent(growth):
    """A growth in per cent."""
    return f"{cell_words(growth)} %"


def pixels(width_arcsec, result):
    """A width in pixels of the main camera."""
    return f"{width_arcsec / result.scale_arcsec_px:.2f}"


def settling(result):
    """The time after the dither in words."""
    return "more than 170 s" if result.settle_s is None else f"{result.settle_s:.0f} s"


def best(result):
    """Exposure, aggressiveness and growth of the best setting on the map."""
    y, x = np.unravel_index(np.argmin(result.map_growth), result.map_growth.shape)
    return EXPOSURES_S[x], AGGRESSIVENESS[y], float(result.map_growth[y, x])


def describe(result):
    """The picture in one sentence."""
    growth = result.growth
    words = (
        f"A guided night with exposures of {result.exposure_s:g} s and aggressiveness {result.aggressiveness:g}: the "
        f"mount moves by {growth.ra_rms_arcsec:.2f}″ RMS along right ascension and {growth.dec_rms_arcsec:.2f}″ along "
        f"declination within a sub of one minute, which makes the star {percent(growth.growth)} wider, with a "
        f"roundness of {growth.roundness:.2f}; after a dither it settles in {settling(result)}"
    )
    if result.map_growth is None:
        return f"{words}."
    exposure, gain, grown = best(result)
    many = int(flat(result.map_growth).sum())
    return (
        f"{words}; best of {result.map_growth.size} settings: {exposure:g} s at {gain:g} with {percent(grown)}, and "
        f"{many} settings are as good."
    )


def table(result):
    """The numbers of the picture."""
    growth, seen = result.growth, result.seen_rms_arcsec
    rows = [
        ("what", "right ascension", "declination"),
        ("mount, RMS within a sub", f"{growth.ra_rms_arcsec:.2f}″", f"{growth.dec_rms_arcsec:.2f}″"),
        ("guide camera sees, RMS", f"{seen[0]:.2f}″", f"{seen[1]:.2f}″"),
        ("allowed by the 10 % rule, RMS", *2 * (f"{PER_AXIS * result.star_fwhm_arcsec:.2f}″",)),
        ("width of the star", f"{growth.ra_fwhm_arcsec:.2f}″", f"{growth.dec_fwhm_arcsec:.2f}″"),
        ("width without guide errors", *2 * (f"{result.star_fwhm_arcsec:.2f}″",)),
        ("noise of the guide star's place", *2 * (f"{result.noise_arcsec:.2f}″",)),
        ("roundness", f"{growth.roundness:.2f}", "–"),
        ("settled after the dither", settling(result), "–"),
    ]
    if result.map_growth is not None:
        for y, gain in enumerate(AGGRESSIVENESS):
            cells = (f"{t:g} s {percent(result.map_growth[y, x])}" for x, t in enumerate(EXPOSURES_S))
            rows.append((f"growth at aggressiveness {gain:g}", ", ".join(cells), "–"))
    return rows
