"""How many hours in all: three pictures of one nebula, and the hours for a clear picture over the sky."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.figures import look as looks
from workbook.verdict.words import duration

DARKEST, BRIGHTEST = 22.0, 17.0
SHORTEST_H, LONGEST_H = 0.01, 10000.0


class HowManyHours(NamedTuple):
    """One target under one sky.

    Chosen target and sky [mag/″²] and hours on the clock [h]; the reference sky [mag/″²]; hours until a
    signal-to-noise of 10, under this sky and the reference's [h]; the curve of these hours over `skies`
    [mag/″²], and what one magnitude = 2.5 times would make of it; signal-to-noise after the chosen hours here and
    there; the three pictures (this sky, the reference, this sky until it matches) in lights of the inner patch,
    and the hours of the third [h]; hours of the planned night [h]; sub [s]; ranges, None while unknown.
    """

    target_mag: float
    sky_mag: float
    hours_h: float
    dark_mag: float
    needed_h: float
    dark_needed_h: float
    skies: np.ndarray
    curve_h: np.ndarray
    rule_h: np.ndarray
    snr: float
    dark_snr: float
    pictures: tuple
    matched_h: float
    night_h: float
    sub_s: float
    binning: int
    needed_68_h: tuple[float, float] | None = None
    curve_68_h: np.ndarray | None = None


class Artists(NamedTuple):
    """What moves."""

    pictures: list
    captions: list
    curve: object
    rule: object
    band: object
    here: object
    dark: object
    ghost: object
    ghost_words: object
    outside: object


def create(figure, look):
    """Three pictures in a row above the curve over the sky."""
    grid = figure.add_gridspec(2, 3, height_ratios=[1.0, 1.12])
    tops = [figure.add_subplot(grid[0, k]) for k in range(3)]
    below = figure.add_subplot(grid[1, :])
    pictures, captions = [], []
    titles = ("Your sky, your hours", "Dark country, your hours", "Your sky, until it matches")
    for ax, title in zip(tops, titles, strict=True):
        pictures.append(
            ax.imshow(
                np.zeros((2, 2)),
                cmap="gray" if look is looks.LIGHT else look.colour_map,
                interpolation="nearest",
                origin="lower",
            )
        )
        ax.set_title(title)
        ax.set(xticks=[], yticks=[])
        captions.append(
            ax.text(
                0.5, 0.03, "", transform=ax.transAxes, ha="center", va="bottom", zorder=5,
                bbox={"facecolor": look.ground, "edgecolor": "none", "pad": 2.5}, **look.words(),
            )
        )  # fmt: skip
    band = below.fill_between([], [], [], color=look.band, zorder=1)
    curve = below.plot([], [], zorder=3, label="your rig", **look.line("first"))[0]
    rule = below.plot([], [], zorder=2, label="2.5 times for each magnitude", **look.line("second"))[0]
    here = below.plot([], [], zorder=5, **(look.dots("first") | {"markersize": 12}))[0]
    dark = below.plot([], [], zorder=5, **(look.dots("third") | {"markersize": 11}))[0]
    ghost = below.plot([], [], visible=False, zorder=4, **look.line("ghost"))[0]
    ghost_words = below.text(
        0, 1, "your guess", ha="right", va="top", visible=False, zorder=6, **look.words()
    )
    below.set_yscale("log")
    below.set(
        xlim=(BRIGHTEST, DARKEST),
        ylim=(SHORTEST_H, LONGEST_H),
        xlabel="sky [mag/″²]:  city on the left, dark country on the right",
        ylabel="hours to 10",
    )
    below.set_yticks([0.1, 1, 10, 100, 1000, 10000], ["6 min", "1 h", "10 h", "100 h", "1000 h", "10,000 h"])
    below.set_yticks([], minor=True)
    below.grid(True)
    below.legend(loc="lower left", ncols=2)
    outside = below.text(
        0.5, 0.9, "", ha="center", va="top", transform=below.transAxes, zorder=6, **look.words()
    )
    looks.apply(look, figure)
    return Artists(pictures, captions, curve, rule, band, here, dark, ghost, ghost_words, outside)


def update(artists, result, ghost):
    """Set pictures and curve; the ghost is a guess of how many times less the dark sky needs."""
    snrs = (result.snr, result.dark_snr, result.dark_snr)
    hours = (result.hours_h, result.hours_h, result.matched_h)
    parts = zip(artists.pictures, artists.captions, result.pictures, snrs, hours, strict=True)
    for picture, caption, data, snr, hours_h in parts:
        picture.set_data(data)
        picture.set_extent((0, data.shape[1], 0, data.shape[0]))
        picture.set_clim(-0.9, 1.9)
        caption.set_text(f"{long_duration(hours_h)}: signal to noise {figures(snr)}")
    artists.curve.set_data(result.skies, result.curve_h)
    artists.rule.set_data(result.skies, result.rule_h)
    beyond = []
    for mark, name, mag, hours_h in (
        (artists.here, "your sky", result.sky_mag, result.needed_h),
        (artists.dark, "dark country", result.dark_mag, result.dark_needed_h),
    ):
        inside = SHORTEST_H <= hours_h <= LONGEST_H
        mark.set_data([mag] if inside else [], [hours_h] if inside else [])
        much = f"over {LONGEST_H:,.0f} h" if hours_h > LONGEST_H else long_duration(hours_h)
        beyond += [] if inside else [f"{name}: {much}"]
    artists.outside.set_text(f"off the scale, {', '.join(beyond)}" if beyond else "")
    low, high = (result.curve_h, result.curve_h) if result.curve_68_h is None else result.curve_68_h
    artists.band.set_data(result.skies, low, high)
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        first = float(np.interp(GUESS_FROM_MAG, result.skies, result.curve_h))
        end = float(np.clip(first / ghost, SHORTEST_H, LONGEST_H))
        artists.ghost.set_data([GUESS_FROM_MAG, result.dark_mag], [first, end])
        artists.ghost_words.set_position((result.dark_mag - 0.1, end))


GUESS_FROM_MAG = 18.0


def long_duration(hours_h):
    """Hours in words; a number without decimals from a hundred hours."""
    return f"{hours_h:.0f} h" if hours_h >= 99.5 else duration(hours_h)


def figures(snr):
    """A signal to noise with the digits that mean something."""
    return f"{snr:.1f}" if snr < 9.95 else f"{snr:.0f}"


def describe(result):
    """The picture in one sentence."""
    return (
        f"A nebula of {result.target_mag:.1f} mag/″² in boxes of {result.binning} × {result.binning} px: after "
        f"{long_duration(result.hours_h)} its signal to noise is {figures(result.snr)} under "
        f"{result.sky_mag:.1f} mag/″² and {figures(result.dark_snr)} under {result.dark_mag:.1f}; the first needs "
        f"{long_duration(result.matched_h)} to match the second. Hours to a signal to noise of 10: "
        f"{long_duration(result.needed_h)} here, {long_duration(result.dark_needed_h)} there."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("sky", "hours to 10", "68 % range", "by 2.5 for each magnitude")]
    ends = result.curve_68_h
    for mag in (17.0, 18.0, 18.6, 19.5, 20.5, 21.0, 21.5, 22.0):
        at = [float(np.interp(mag, result.skies, line)) for line in (result.curve_h, result.rule_h)]
        low, high = (None, None) if ends is None else (float(np.interp(mag, result.skies, e)) for e in ends)
        span = "–" if low is None else f"{long_duration(low)} to {long_duration(high)}"
        rows.append((f"{mag:.1f} mag/″²", long_duration(at[0]), span, long_duration(at[1])))
    return rows
