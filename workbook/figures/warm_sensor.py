"""A warm sensor: the stack so far with its dots or streaks, and its noise over the number of subs."""

from __future__ import annotations

from typing import NamedTuple

import matplotlib
import numpy as np

from workbook.figures import look as looks

MOST_SUBS = 100
LOWEST, HIGHEST = 0.8, 30.0
TOP_MARK = 22.0  # where the mark of a stack above the scale stands
DRIFT_DEG = 20.0  # direction of the drift in the picture
GREYS = 24
SHOWN = (-4.0, 7.0)  # what is black and white, in the noise with ideal darks
STREAKY = 1.5  # even noise has a streak ratio of 1.0, give or take 0.1


class WarmSensor(NamedTuple):
    """One stack of sky from a sensor without a cooler.

    Temperature of the sensor [°C]; how much warmer it was than in the darks [K]; dither and drift [px]; places that
    the dither gave, 1 without a step; subs and darks; the sky that was chosen; rates of sky and dark current
    [e⁻/s/px]; share of the dark pattern that calibration leaves; the stack in the noise of an ideal one (even
    pixels, matched darks without noise); numbers of subs, and the noise of stacks without and with dither over that
    of ideal ones; the same for this stack; streak ratio (NaN without drift); share of a sub's squared noise that is
    dark current's; picture and noise of a clipped mean, and range of the noise, None while not worked out.
    """

    sensor_degc: float
    warmer_k: float
    dither_px: float
    drift_px: float
    places: int
    subs: int
    darks: int
    sky_name: str
    sky_e_s_px: float
    dark_e_s_px: float
    left_share: float
    picture: np.ndarray
    counts: np.ndarray
    still_curve: np.ndarray
    dithered_curve: np.ndarray
    noise_ratio: float
    streak_ratio: float
    dark_share: float
    clipped: np.ndarray | None = None
    clipped_ratio: float | None = None
    ratio_68: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    picture: object
    caption: object
    arrow: list
    clipped_words: object
    curves: list
    here: object
    above: object
    clipped: object
    ghost: object
    ghost_words: object


def create(figure, look):
    """The stack on the left, above as a mean and below as a clipped mean; its noise on the right."""
    left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": [1.6, 1.0]})
    grey = matplotlib.colormaps["gray"] if look is looks.LIGHT else look.colour_map
    picture = left.imshow(
        np.zeros((2, 2)),
        cmap=grey.resampled(GREYS),  # few levels: noise is what makes a picture heavy
        interpolation="nearest",
        origin="lower",
        extent=(0, 240, 0, 160),
        vmin=SHOWN[0],
        vmax=SHOWN[1],
    )
    left.set(xticks=[], yticks=[], title="Your stack so far: sky without stars")
    plain = {"facecolor": look.ground, "edgecolor": "none", "pad": 2.5}
    within = {"zorder": 5, "bbox": plain, **look.words()}
    left.plot([0, 240], [80, 80], color=look.ground, linewidth=4.0, zorder=4)
    left.plot([0, 240], [80, 80], color=look.ink, linewidth=1.2, zorder=4)
    caption = left.text(4, 87, "", va="bottom", **within)
    clipped_words = left.text(4, 73, "", va="top", **within)
    arrow = [
        left.annotate(
            "", xy=(14 + 40, 136 + 40 * np.tan(np.radians(DRIFT_DEG))), xytext=(14, 136), zorder=5,
            arrowprops={"arrowstyle": "-|>,head_width=0.5,head_length=0.9", "lw": width, "color": colour,
                        "shrinkA": 0, "shrinkB": 0, "mutation_scale": 14},
        )
        for width, colour in ((6.0, look.ground), (2.6, look.ink))
    ]  # fmt: skip
    arrow.append(left.text(60, 145, "drift", va="center", **within))
    right.axhline(1.0, zorder=2, **look.line("limit"))
    right.text(1.0, 0.96, "ideal darks", va="top", zorder=7, **look.words())
    curves = [
        right.plot([], [], zorder=3, label=words, **look.line(role))[0]
        for role, words in (("second", "without dither"), ("first", "with your dither"))
    ]
    here = right.plot([], [], zorder=5, label="this stack", **(look.dots("first") | {"markersize": 11}))[0]
    clipped = right.plot([], [], zorder=6, label="clipped mean", **(look.dots("fourth") | {"markersize": 9}))[
        0
    ]
    above = right.text(0.5, 0.985, "", transform=right.transAxes, ha="center", va="top", **within)
    ghost = right.axhline(1.0, visible=False, zorder=4, **look.line("ghost"))
    ghost_words = right.text(0.03, 0.9, "", transform=right.transAxes, va="top", visible=False, **within)
    right.set_xscale("log")
    right.set_yscale("log")
    right.set(
        xlim=(0.92, MOST_SUBS * 1.15),
        ylim=(LOWEST, HIGHEST),
        xlabel="subs in the stack",
        ylabel="noise, with ideal darks being 1",
    )
    right.set_xticks([1, 3, 10, 30, 100], ["1", "3", "10", "30", "100"])
    right.set_yticks([1, 1.5, 2, 3, 5, 10, 20], ["1", "1.5", "2", "3", "5", "10", "20"])
    right.set_xticks([], minor=True)
    right.set_yticks([], minor=True)
    right.grid(True)
    figure.legend(loc="lower left", bbox_to_anchor=(0.0, 0.01), ncols=2, columnspacing=1.4)
    looks.apply(look, figure)
    return Artists(picture, caption, arrow, clipped_words, curves, here, above, clipped, ghost, ghost_words)


def update(artists, result, ghost):
    """Set stack, curves and marks; the ghost is a guess of the noise above that with ideal darks [%]."""
    shown, known = result.picture, result.clipped_ratio is not None
    if known:
        half = len(shown) // 2
        shown = np.concatenate([result.clipped[:half], shown[half:]])
    artists.picture.set_data(shown)
    streaks = f", streaks {result.streak_ratio:.1f} ×" if np.isfinite(result.streak_ratio) else ""
    artists.caption.set_text(f"mean of {result.subs} sub{'s' * (result.subs > 1)}{streaks}")
    artists.clipped_words.set_text("clipped mean" if known else "clipped mean follows")
    for part in artists.arrow:
        part.set_visible(result.drift_px > 0)
    for curve, noise in zip(artists.curves, (result.still_curve, result.dithered_curve), strict=True):
        curve.set_data(result.counts, noise)
    artists.here.set_data([result.subs], [_mark(result.noise_ratio)])
    artists.above.set_text(
        f"this stack: {times(result.noise_ratio)}, above the scale" if result.noise_ratio > HIGHEST else ""
    )
    artists.clipped.set_data([result.subs] * known, [_mark(result.clipped_ratio)] if known else [])
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        level = np.clip(1 + ghost / 100.0, LOWEST, 0.8 * HIGHEST)
        artists.ghost.set_ydata([level, level])
        artists.ghost_words.set_text(f"dash-dotted: your guess, {times(level)}")


def describe(result):
    """The picture in one sentence."""
    if np.isfinite(result.streak_ratio):
        walk = (
            f"{result.drift_px:g} px of drift a sub, streaks along it {result.streak_ratio:.1f} × even grain"
        )
    else:
        walk = "no drift"
    return (
        f"A stack of {result.subs} subs of sky, {walk}, dither ±{result.dither_px:g} px: its noise is "
        f"{times(result.noise_ratio)} what ideal darks would leave. Beside it the noise over the number of subs: at "
        f"{MOST_SUBS} subs {times(result.still_curve[-1])} that without dither, "
        f"{times(result.dithered_curve[-1])} with it."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("subs", "ideal darks, one sub being 1", "without dither", "with your dither")]
    for count, still, dithered in zip(result.counts, result.still_curve, result.dithered_curve, strict=True):
        rows.append((f"{count}", f"{count**-0.5:.2f}", times(still), times(dithered)))
    clipped = "–" if result.clipped_ratio is None else times(result.clipped_ratio)
    rows += [
        ("this stack, mean", times(result.noise_ratio), "clipped mean", clipped),
        ("sky", f"{result.sky_e_s_px:.3g} e⁻/s/px", "dark current", f"{result.dark_e_s_px:.3g} e⁻/s/px"),
        ("pattern left by the darks", f"{100 * result.left_share:.0f} %", "–", "–"),
    ]
    return rows


def _mark(ratio):
    """Where a mark stands, for a ratio above the scale near its top."""
    return TOP_MARK if ratio > HIGHEST else ratio


def times(ratio):
    """A ratio with the digits that mean something."""
    return f"{ratio:.2f} ×" if ratio < 9.95 else f"{ratio:.0f} ×"
