"""One exposure: what reading and pauses add to the noise over the sub, and two stacks of the same hour."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.figures import look as looks
from workbook.verdict.words import percent, seconds

SHORTEST_S, LONGEST_S = 1.0, 600.0
LOWEST_PCT, HIGHEST_PCT = 0.1, 1000.0


class OneExposure(NamedTuple):
    """One sub under one sky, and the two stacks of the same clock time.

    Chosen sub and pause [s]; rates of sky and dark current [e⁻/s/px]; read noise [e⁻]; the curves over `subs_s`
    [s] of the noise added by reading alone and with the pauses (shares); their values at the sub and the clock
    time added (shares); shortest sub for 5 % [s]; knee of the gears without guiding [s]; the two stacks
    [e⁻/s/px], signal-to-noise of a pixel of the inner patch in each; how bright a star clips [mag];
    range of the clock time added, None while unknown.
    """

    sub_s: float
    overhead_s: float
    sky_e_s_px: float
    dark_e_s_px: float
    read_noise_e: float
    subs_s: np.ndarray
    read_curve: np.ndarray
    all_curve: np.ndarray
    read_share: float
    noise_share: float
    time_share: float
    shortest_s: float
    knee_s: float
    stack: np.ndarray
    endless: np.ndarray
    object_e_s_px: float
    snr: float
    endless_snr: float
    subs: int
    clipped_mag: float
    time_68: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    curves: list
    shortest: object
    shortest_words: object
    knee: object
    knee_words: object
    here: list
    ghost: object
    ghost_words: object
    pictures: list
    captions: list


def create(figure, look):
    """The two curves on the left, the two stacks above each other on the right."""
    grid = figure.add_gridspec(2, 2, width_ratios=[1.75, 1.0])
    left, above, below = (figure.add_subplot(part) for part in (grid[:, 0], grid[0, 1], grid[1, 1]))
    curves = [
        left.plot([], [], label=words, zorder=3, **look.line(role))[0]
        for role, words in (("first", "read noise alone"), ("second", "with the pauses"))
    ]
    left.axhline(5.0, color=look.quiet, linewidth=1.0, zorder=1)
    shortest = left.plot([], [], zorder=5, **(look.dots("limit") | {"markersize": 11}))[0]
    shortest_words = left.text(1.0, 5.0, "", va="bottom", zorder=6, **look.words())
    knee = left.axvline(1.0, zorder=2, **look.line("limit"))
    knee_words = left.text(1.0, 0.12, "gears, unguided", rotation=90, va="bottom", zorder=6, **look.words())
    here = [
        left.plot([], [], zorder=5, clip_on=False, **(look.dots(role) | {"markersize": 12}))[0]
        for role in ("first", "second")
    ]
    ghost = left.axhline(1.0, visible=False, zorder=2, **look.line("ghost"))
    ghost_words = left.text(
        LONGEST_S * 0.94, 1.0, "your guess", ha="right", va="bottom", visible=False, zorder=6, **look.words()
    )
    left.set_xscale("log")
    left.set_yscale("log")
    left.set(
        xlim=(SHORTEST_S, LONGEST_S),
        ylim=(LOWEST_PCT, HIGHEST_PCT),
        xlabel="length of one sub [s]",
        ylabel="noise above one endless exposure [%]",
    )
    left.set_xticks([1, 3, 10, 30, 100, 300], ["1", "3", "10", "30", "100", "300"])
    left.set_yticks([0.1, 1, 10, 100, 1000], ["0.1", "1", "10", "100", "1000"])
    left.set_xticks([], minor=True)
    left.set_yticks([], minor=True)
    left.grid(True)
    left.legend(loc="upper right")
    pictures = []
    for ax, title in ((above, "One hour of your subs"), (below, "One endless exposure")):
        pictures.append(ax.imshow(np.zeros((2, 2)), cmap="gray" if look is looks.LIGHT else look.colour_map,
                                  interpolation="nearest", origin="lower"))  # fmt: skip
        ax.set_title(title)
        ax.set(xticks=[], yticks=[])
    captions = [
        ax.text(0.5, 0.03, "", transform=ax.transAxes, ha="center", va="bottom", zorder=5,
                bbox={"facecolor": look.ground, "edgecolor": "none", "pad": 2.5}, **look.words())
        for ax in (above, below)
    ]  # fmt: skip
    looks.apply(look, figure)
    return Artists(
        curves, shortest, shortest_words, knee, knee_words, here, ghost, ghost_words, pictures, captions
    )


def update(artists, result, ghost):
    """Set curves, marks and stacks; the ghost is a guess of the noise added by reading alone [%]."""
    for curve, share in zip(artists.curves, (result.read_curve, result.all_curve), strict=True):
        curve.set_data(result.subs_s, 100.0 * share)
    seen = SHORTEST_S <= result.shortest_s <= LONGEST_S
    artists.shortest.set_data([result.shortest_s] if seen else [], [5.0] if seen else [])
    # beside the mark where no curve runs: above on its right, below on its left
    right = result.shortest_s < 100.0
    artists.shortest_words.set_text(f"5 % at {seconds(result.shortest_s)}" if seen else "")
    artists.shortest_words.set_position(
        (result.shortest_s * (1.13 if right else 0.85) if seen else 1.0, 5.4 if right else 4.6)
    )
    artists.shortest_words.set_ha("left" if right else "right")
    artists.shortest_words.set_va("bottom" if right else "top")
    knee = min(result.knee_s, LONGEST_S)
    artists.knee.set_xdata([knee, knee])
    artists.knee_words.set_x(knee * (1.04 if knee < 200 else 0.96))
    artists.knee_words.set_ha("left" if knee < 200 else "right")
    for dot, share in zip(artists.here, (result.read_share, result.noise_share), strict=True):
        dot.set_data([result.sub_s], [np.clip(100.0 * share, LOWEST_PCT, HIGHEST_PCT)])
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        level = float(np.clip(ghost, LOWEST_PCT, HIGHEST_PCT))
        artists.ghost.set_ydata([level, level])
        artists.ghost_words.set_y(level * 1.08)
    top = result.object_e_s_px
    for picture, data in zip(artists.pictures, (result.stack, result.endless), strict=True):
        picture.set_data(data)
        picture.set_clim(-0.9 * top, 1.9 * top)
        picture.set_extent((0, data.shape[1], 0, data.shape[0]))
    for caption, snr in zip(artists.captions, (result.snr, result.endless_snr), strict=True):
        caption.set_text(f"signal to noise of a pixel {snr:.1f}")


def describe(result):
    """The picture in one sentence."""
    return (
        f"Noise added over the length of the sub: at {seconds(result.sub_s)} reading adds "
        f"{percent(result.read_share)}, with pauses of {seconds(result.overhead_s)} "
        f"{percent(result.noise_share)}; reading adds 5 % at {seconds(result.shortest_s)}. Two stacks of one hour: "
        f"a pixel of the inner patch has a signal to noise of {result.snr:.1f} in {result.subs} subs and "
        f"{result.endless_snr:.1f} in one endless exposure."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("sub", "noise by reading", "noise with pauses", "time added")]
    for sub_s in (1, 3, 10, 30, 60, 100, 300, 600):
        read, both = (
            float(np.interp(sub_s, result.subs_s, c)) for c in (result.read_curve, result.all_curve)
        )
        rows.append((f"{sub_s} s", percent(read), percent(both), percent((1 + both) ** 2 - 1)))
    rows += [
        ("sky", f"{result.sky_e_s_px:.3g} e⁻/s/px", "–", "–"),
        ("dark current", f"{result.dark_e_s_px:.3g} e⁻/s/px", "–", "–"),
        ("star that clips in this sub", f"brighter than {result.clipped_mag:.1f} mag", "–", "–"),
    ]
    return rows
