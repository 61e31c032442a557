"""Polar alignment from two drifts: where the axis stands beside the pole, and the drift at every hour angle."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.collections import PolyCollection
from matplotlib.patches import FancyArrowPatch

from workbook.figures import look as looks

HALF_ARCMIN = 16.0  # of the left picture
TOP_ARCSEC_MIN = 4.2  # of the right one
HOURS_DEG = np.arange(-90, 91)
EDGE_DEG = 97  # of the right picture: a star at 90° is not cut by the frame
ROUND = np.radians(np.arange(0.0, 361.0, 5.0))


class PoleDrift(NamedTuple):
    """Two drift stars and what they tell.

    Two numbers each: `hour_angles_deg`, `decs_deg`, `altitudes_deg`, `in_view`, `drifts_arcsec_min` as used
    in the solution, and what the air adds, `air_arcsec_min`. `curves_arcsec_min` holds the drift at
    `HOURS_DEG` from the azimuth error, the altitude error and both; `view_deg` and `high_deg` the runs of hour
    angles in view, and those above 30°. Places of the axis are lengths on the sky to the east and up [′]. The
    ellipse holds 68 %; against a pair 90° apart its area is `amplification` times, its long axis `lengthened`
    times as large. What is None was not to be found.
    """

    latitude_deg: float
    hour_angles_deg: np.ndarray
    decs_deg: np.ndarray
    altitudes_deg: np.ndarray
    in_view: np.ndarray
    watch_min: float
    sigma_arcsec_min: float
    drifts_arcsec_min: np.ndarray
    air_arcsec_min: np.ndarray
    corrected: bool
    curves_arcsec_min: np.ndarray
    view_deg: list
    high_deg: list
    true_arcmin: tuple[float, float]
    unguided_arcmin: float
    guided_arcmin: float
    azimuth_error_arcmin: float | None = None
    altitude_error_arcmin: float | None = None
    found_arcmin: tuple[float, float] | None = None
    semi_major_arcmin: float | None = None
    semi_minor_arcmin: float | None = None
    angle_deg: float | None = None
    amplification: float | None = None
    lengthened: float | None = None
    air_arcmin: float | None = None
    turns: object = None
    semi_major_68_arcmin: tuple[float, float] | None = None


class Artists(NamedTuple):
    """What moves."""

    tolerance: object
    tolerance_words: object
    ghost: object
    ghost_words: object
    ellipse: object
    true: object
    arrows: list
    arrow_words: list
    sides: list
    nothing: object
    views: list
    curves: list
    stars: list
    bars: list
    numbers: list


def create(figure, look):
    """The pole with the ellipse on the left, the drift against hour angle on the right."""
    left, right = figure.subfigures(1, 2, width_ratios=[1.0, 1.22])
    artists = Artists(*_pole(left.subplots(), look, left), *_drifts(right.subplots(), look, right))
    for part in (figure, left, right):
        looks.apply(look, part)
    return artists


def _paper(look):
    return {"boxstyle": "round,pad=0.12", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}


def _pole(ax, look, figure):
    half, steps = HALF_ARCMIN, np.arange(-15, 16, 5)
    ax.set(xlim=(-half, half), ylim=(-half, half), aspect="equal", xlabel="on the sky, from the pole [′]")
    ax.set_xticks(steps, [f"{abs(step)}" for step in steps])
    ax.set_yticks(steps, [f"{abs(step)}" for step in steps])
    ax.set_title("The axis beside the pole")
    ax.grid(True)
    tolerance = ax.plot([], [], zorder=2, label="enough, 60 s unguided", **look.line("limit"))[0]
    ghost = ax.plot([], [], zorder=2, visible=False, **look.line("ghost"))[0]
    ellipse = ax.plot([], [], zorder=6, label="68 % ellipse", **(look.line("first") | {"linewidth": 3}))[0]
    for y, word in ((0.93 * half, "high"), (-0.93 * half, "low")):
        ax.text(0, y, word, ha="center", va="center", zorder=7, bbox=_paper(look), **look.words())
    true = ax.plot(
        [], [], zorder=5, label="true axis",
        **(look.dots("second") | {"marker": "x", "markersize": 11, "markeredgewidth": 2.6}),
    )[0]  # fmt: skip
    pole = ax.plot(
        [0], [0], zorder=4, label="pole", **(look.dots("fourth") | {"marker": "P", "markersize": 11})
    )[0]
    arrows = [
        FancyArrowPatch((0, 0), (0, 0), arrowstyle="-|>", mutation_scale=18, shrinkA=0, shrinkB=0,
                        color=look.ink, linewidth=1.8, zorder=3)
        for _ in range(2)
    ]  # fmt: skip
    for arrow in arrows:
        ax.add_patch(arrow)
    inside = {"zorder": 7, "clip_on": True, "bbox": _paper(look), **look.words()}
    figure.legend(
        [pole, true, ellipse, tolerance], ["pole", "true axis", "68 % ellipse", "enough, 60 s unguided"],
        loc="outside lower center", ncols=2, frameon=False, handlelength=2.2, columnspacing=1.2, borderpad=0.1,
    )  # fmt: skip
    return (
        tolerance,
        ax.text(0, 0, "", ha="center", va="center", **inside),
        ghost,
        ax.text(0, 0, "", ha="center", va="center", visible=False, **inside),
        ellipse,
        true,
        arrows,
        [ax.text(0, 0, "", va="center", **inside) for _ in range(2)],
        [
            ax.text(x * (half - 0.6), 0.0, "", ha=ha, va="center", **inside)
            for x, ha in ((-1, "left"), (1, "right"))
        ],
        ax.text(0, 0.78 * half, "", ha="center", va="center", **inside),
    )


def _drifts(ax, look, figure):
    ax.set(xlim=(-EDGE_DEG, EDGE_DEG), ylim=(-TOP_ARCSEC_MIN, TOP_ARCSEC_MIN))
    ax.set(xlabel="hour angle [°]: east of the meridian −, west +", ylabel="drift, north + [″/min]")
    ax.set_xticks(range(-90, 91, 30), [f"{hour}".replace("-", "−") for hour in range(-90, 91, 30)])
    ax.set_title("Drift in declination")
    ax.grid(True)
    ax.axhline(0.0, color=look.quiet, linewidth=1.0, zorder=2)
    views = [  # the high hours lie over the others: striped is what is in view, but low
        PolyCollection([], facecolor=look.ground, edgecolor=look.quiet, linewidth=0, hatch="//", zorder=0.5),
        PolyCollection([], facecolor=look.band, edgecolor="none", zorder=0.6),
    ]
    for view in views:
        ax.add_collection(view, autolim=False)
    words = ("azimuth alone", "altitude alone", "both")
    curves = [
        ax.plot(HOURS_DEG, 0.0 * HOURS_DEG, zorder=3, label=label, **look.line(role))[0]
        for role, label in zip(("second", "third", "first"), words, strict=True)
    ]
    bars = [ax.plot([], [], color=look.ink, linewidth=2.2, zorder=5)[0] for _ in range(2)]
    stars = [
        ax.plot([], [], zorder=6, **(look.dots("fourth") | {"marker": marker, "markersize": 10}))[0]
        for marker in ("o", "s")
    ]
    numbers = [
        ax.text(0, 0, f"star {number}", ha="center", va="center", zorder=7, bbox=_paper(look), **look.words())
        for number in (1, 2)
    ]
    figure.legend(
        [*curves, *views], [*words, "view below 30°", "view above 30°"], loc="outside lower center", ncols=3,
        frameon=False, handlelength=1.9, columnspacing=0.9, borderpad=0.1,
    )  # fmt: skip
    return views, curves, stars, bars, numbers


def update(artists, result, ghost):
    """Move the ellipse, the cross, the arrows, the curves and the two stars."""
    side = -1.0 if result.latitude_deg < 0 else 1.0  # who looks at the southern pole has east on the left
    circle = np.array([np.cos(ROUND), np.sin(ROUND)])
    artists.tolerance.set_data(*(result.unguided_arcmin * circle))
    artists.tolerance_words.set(text=f"{result.unguided_arcmin:.1f}′", position=(0.0, result.unguided_arcmin))
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None and not isinstance(ghost, str))
    if artists.ghost.get_visible():
        artists.ghost.set_data(*(ghost * circle))
        corner = float(np.clip(0.71 * ghost, 2.2, 0.78 * HALF_ARCMIN))
        artists.ghost_words.set(text="your guess", position=(-corner, corner))
    artists.true.set_data([side * result.true_arcmin[0]], [result.true_arcmin[1]])
    for text, word in zip(artists.sides, ("west", "east") if side > 0 else ("east", "west"), strict=True):
        text.set_text(word)
    _update_found(artists, result, side, circle)
    for view, spans in zip(artists.views, (result.view_deg, result.high_deg), strict=True):
        top = TOP_ARCSEC_MIN
        view.set_verts([[(low, -top), (low, top), (high, top), (high, -top)] for low, high in spans])
    for line, curve in zip(artists.curves, result.curves_arcsec_min, strict=True):
        line.set_ydata(curve)
    drifts = np.nan_to_num(result.drifts_arcsec_min)
    for place, (hour, drift) in enumerate(zip(result.hour_angles_deg, drifts, strict=True)):
        artists.stars[place].set_data([hour], [drift])
        ends = drift + np.array([-1.0, 1.0]) * result.sigma_arcsec_min
        artists.bars[place].set_data([hour, hour], ends)
        aside = (0.75, -0.75)[place]
        if abs(drift + aside) > 0.92 * TOP_ARCSEC_MIN:
            aside = -aside  # the words would cover the star at the edge
        y = np.clip(drift + aside, -0.92 * TOP_ARCSEC_MIN, 0.92 * TOP_ARCSEC_MIN)
        text = f"star {place + 1}, {result.altitudes_deg[place]:.0f}° high"
        artists.numbers[place].set(text=text, position=(np.clip(hour, -60, 60), y))


def _update_found(artists, result, side, circle):
    found = result.found_arcmin is not None
    for artist in (artists.ellipse, *artists.arrows, *artists.arrow_words):
        artist.set_visible(found)
    beyond = not found or max(np.abs(result.found_arcmin)) > HALF_ARCMIN
    artists.nothing.set_text(
        "" if not beyond else "the axis is found outside this picture" if found else "no axis to be found"
    )
    if not found:
        return
    x, y = side * result.found_arcmin[0], result.found_arcmin[1]
    artists.ellipse.set_data(*ellipse(result, side, circle))
    artists.arrows[0].set_positions((x, y), (0.0, y))
    artists.arrows[1].set_positions((0.0, y), (0.0, 0.0))
    below = -1.0 if y < 0 else 1.0
    beside = -1.0 if x > 0 else 1.0
    drop = max(1.5, abs(artists.ellipse.get_ydata() - y).max() + 1.2) if abs(x) < 12.0 else 1.5
    azimuth, altitude = artists.arrow_words
    azimuth.set(
        text=f"azimuth {abs(result.azimuth_error_arcmin):.1f}′ {result.turns.azimuth_move}",
        position=(0.45 * x, np.clip(y + below * drop, -0.8 * HALF_ARCMIN, 0.8 * HALF_ARCMIN)),
        ha="center",
    )
    altitude.set(
        text=f"altitude {abs(result.altitude_error_arcmin):.1f}′ {result.turns.altitude_move}",
        position=(0.6 * beside, 0.6 * y),
        ha="right" if beside < 0 else "left",
    )
    for text in artists.arrow_words:
        text.set_visible(not beyond)


def ellipse(result, side, circle):
    """The outline of the 68 % ellipse as drawn [′]."""
    turn = np.radians(result.angle_deg)
    along, across = result.semi_major_arcmin * circle[0], result.semi_minor_arcmin * circle[1]
    x = result.found_arcmin[0] + along * np.cos(turn) - across * np.sin(turn)
    return side * x, result.found_arcmin[1] + along * np.sin(turn) + across * np.cos(turn)


def describe(result):
    """The picture in one sentence."""
    hours = " and ".join(f"{hour:.0f}°".replace("-", "−") for hour in result.hour_angles_deg)
    pair = f"Two drift stars at the hour angles {hours}, {result.watch_min:g} min each, latitude "
    pair += f"{result.latitude_deg:.1f}°".replace("-", "−")
    if result.semi_major_arcmin is None:
        return f"{pair}: they do not tell the axis."
    turns = result.turns
    return (
        f"{pair}: the axis is found {abs(result.azimuth_error_arcmin):.1f}′ too far "
        f"{'west' if turns.azimuth_move == 'east' else 'east'} and {abs(result.altitude_error_arcmin):.1f}′ too "
        f"{'low' if turns.altitude_move == 'up' else 'high'}, inside a 68 % ellipse of "
        f"{result.semi_major_arcmin:.1f}′ by {result.semi_minor_arcmin:.1f}′; the true axis stands "
        f"{miss_arcmin(result):.1f}′ from its middle, and 60 s "
        f"unguided allow {result.unguided_arcmin:.1f}′ from the pole."
    )


def table(result):
    """The numbers of the picture."""
    rows = [("what", "star 1", "star 2")]
    for words, values, form in (
        ("hour angle", result.hour_angles_deg, "{:.0f}°"),
        ("declination", result.decs_deg, "{:.0f}°"),
        ("altitude", result.altitudes_deg, "{:.0f}°"),
        ("drift used", result.drifts_arcsec_min, "{:+.2f} ″/min"),
        ("drift of the air", result.air_arcsec_min, "{:+.2f} ″/min"),
    ):
        rows.append((words, *("–" if np.isnan(v) else form.format(v).replace("-", "−") for v in values)))
    rows.append(("in view", *("yes" if seen else "no" for seen in result.in_view)))
    rows.append(("drift, standard deviation", *2 * (f"{result.sigma_arcsec_min:.2f} ″/min",)))
    if result.semi_major_arcmin is not None:
        errors = result.azimuth_error_arcmin, result.altitude_error_arcmin
        rows.append(
            ("error in azimuth (east +) and altitude", *(f"{v:+.1f}′".replace("-", "−") for v in errors))
        )
        axes = result.semi_major_arcmin, result.semi_minor_arcmin
        rows.append(("68 % ellipse, long and short half-axis", *(f"{v:.2f}′" for v in axes)))
        worse = result.amplification, result.lengthened
        rows.append(("against a pair 90° apart: area, long axis", *(f"{v:.2f} times" for v in worse)))
        rows.append(("shifted by the air", f"{result.air_arcmin:.1f}′", "–"))
    limits = result.unguided_arcmin, result.guided_arcmin
    rows.append(("enough: 60 s unguided, 180 s guided", *(f"{v:.1f}′" for v in limits)))
    return rows


def miss_arcmin(result):
    """From the true axis to the axis found, on the sky [′]."""
    return float(np.hypot(*np.subtract(result.found_arcmin, result.true_arcmin)))
