"""What a star's width is made of: one stacked bar, what halving each part would gain, and the star itself."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.patches import Circle

from workbook.figures import look as looks
from workbook.sampling import TERMS, BlurBudget, Sampling

STAR_PX = 21  # pixels along a side of the star's picture
WORTH_PCT = 5.0
HATCHES = ("", "///", "...", "xx", "\\\\\\", "ooo", "---")
NAMES = tuple("unrest" if term == "guiding" else term for term in TERMS)  # as the slider calls it


class Blur(NamedTuple):
    """The budget of one star; the FWHM lies between the two ends two times in three; the star in pixels."""

    budget: BlurBudget
    sampling: Sampling
    fwhm_68_px: tuple[float, float]
    scale_arcsec_px: float
    mosaic: str
    star: np.ndarray


class Artists(NamedTuple):
    """What moves."""

    parts: list
    labels: list
    gains: list
    gain_words: list
    star: object
    rings: tuple
    star_words: object
    ghosts: tuple
    ghost_words: object


def create(figure, look):
    """The stacked bar over the gains on the left, the star on the right."""
    grid = figure.add_gridspec(2, 2, width_ratios=[1.9, 1.0], height_ratios=[1.0, 3.1])
    stack, gain, star = (figure.add_subplot(grid[place]) for place in ((0, 0), (1, 0), (slice(None), 1)))
    fill = [look.band, look.grid]
    parts = [
        stack.barh([0], [0], height=1.0, edgecolor=look.ink, linewidth=1.2, zorder=3, hatch=hatch,
                   facecolor=fill[k % 2])[0]
        for k, hatch in enumerate(HATCHES)
    ]  # fmt: skip
    paper = {"boxstyle": "round,pad=0.12", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.9}
    labels = [
        stack.text(0, 0, "", ha="center", va="center", zorder=6, bbox=paper, **look.words()) for _ in TERMS
    ]
    stack.set(xlim=(0, 100), ylim=(-0.55, 0.55), yticks=[], xlabel="share of the star's width, squared [%]")
    rows = np.arange(len(TERMS))[::-1]
    gains = [
        gain.barh([y], [0], height=0.62, edgecolor=look.ink, linewidth=1.0, zorder=3, hatch=hatch,
                  facecolor=fill[k % 2])[0]
        for k, (y, hatch) in enumerate(zip(rows, HATCHES, strict=True))
    ]  # fmt: skip
    gain_words = [gain.text(0, y, "", ha="left", va="center", zorder=5, **look.words()) for y in rows]
    gain.axvline(WORTH_PCT, zorder=4, **look.line("limit"))
    gain.set(
        xlim=(0, 75),
        ylim=(-0.6, len(TERMS) - 0.4),
        xlabel="the star shrinks by so much if one part alone is halved [%];\n"
        "below 5 %, the dashed line, that is not worth the trouble",
    )
    gain.set_yticks(rows, NAMES)
    gain.tick_params(axis="y", length=0)
    gain.grid(True, axis="x")
    star.set(xticks=[], yticks=[], anchor="C")
    star.set_title("The star in pixels")
    picture = star.imshow(
        np.zeros((STAR_PX, STAR_PX)), origin="lower", interpolation="nearest", vmin=0.0, vmax=1.0,
        cmap="gray" if look.name == looks.LIGHT.name else look.colour_map,
    )  # fmt: skip
    rings, ghosts = _rings(star, look, "second"), _rings(star, look, "ghost")
    words = {"transform": star.transAxes, "ha": "center", "va": "top", **look.words()}
    star_words = star.text(0.5, -0.04, "ring: 2.8 px, without the trail", **words)
    ghost_words = star.text(0.5, 0.98, "your guess", visible=False, zorder=5, bbox=paper, **words)
    looks.apply(look, figure)
    return Artists(parts, labels, gains, gain_words, picture, rings, star_words, ghosts, ghost_words)


def update(artists, result, ghost):
    """Set the bars, the star and its ring."""
    budget, left = result.budget, 0.0
    gains = 100.0 * budget.gains_px / budget.fwhm_px
    for k, share in enumerate(100.0 * budget.shares):
        artists.parts[k].set_x(left)
        artists.parts[k].set_width(share)
        name = NAMES[k]
        room = 1.55 * len(name) + 2.0  # per cent that the name takes
        artists.labels[k].set_text(name if share > room else "")
        artists.labels[k].set_x(left + 0.5 * share)
        left += share
        artists.gains[k].set_width(gains[k])
        worth = "  worth improving" if budget.terms[k] == budget.worth_improving else ""
        worth = "  not in your hands" if name == "seeing" else worth
        artists.gain_words[k].set_text(f" {gains[k]:.0f} %{worth}")
        artists.gain_words[k].set_x(max(gains[k], WORTH_PCT) + 0.5)
    artists.star.set_data((result.star / result.star.max()) ** 0.7)
    for ring in artists.rings:
        ring.set_radius(0.5 * float(budget.across_px))
    artists.star_words.set_text(f"ring: {float(budget.across_px):.1f} px, without the trail")
    for artist in (*artists.ghosts, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        for ring in artists.ghosts:
            ring.set_radius(0.5 * ghost)


def describe(result):
    """The picture in one sentence."""
    budget = result.budget
    order = np.argsort(-budget.shares)[:3]
    parts = ", ".join(f"{NAMES[k]} {100 * budget.shares[k]:.0f} %" for k in order)
    return (
        f"A star {budget.fwhm_px:.1f} px wide, {budget.fwhm_arcsec:.1f}″; the largest parts of its squared width are "
        f"{parts}; worth improving: {_name(budget.worth_improving)}."
    )


def table(result):
    """The numbers of the picture."""
    budget = result.budget
    rows = [("part", "width", "share of the square", "gain if halved")]
    for name, sigma, share, gain in zip(NAMES, budget.sigma_px, budget.shares, budget.gains_px, strict=True):
        width = 2.3548 * sigma
        rows.append((name, f"{width:.2f} px", f"{100 * share:.0f} %", f"{100 * gain / budget.fwhm_px:.0f} %"))
    rows.append(("the star, along the trail", f"{budget.fwhm_px:.2f} px", "100 %", "–"))
    rows.append(("the star, across it", f"{budget.across_px:.2f} px", "–", "–"))
    return rows


def _name(term):
    """A part as the page calls it; "nothing" and "unknown" stay as they are."""
    return NAMES[TERMS.index(term)] if term in TERMS else term


def _rings(ax, look, role):
    """A dark ring and on it the dashed one, so that it stands out from star and sky in both looks."""
    stroke, middle = look.strokes[role], (STAR_PX // 2, STAR_PX // 2)
    seen = {"fill": False, "visible": role != "ghost"}
    # On black the bright red is the only colour that reads; the roles are told apart by dash there.
    colour = stroke.colour if look.name == looks.LIGHT.name else look.ink
    width = stroke.width + 0.4
    dark = Circle(middle, 1.0, zorder=4, edgecolor="#000000", linewidth=width + 4.0, **seen)
    ring = Circle(middle, 1.0, zorder=5, edgecolor=colour, linestyle=stroke.dash, linewidth=width, **seen)
    for circle in (dark, ring):
        ax.add_patch(circle)
    return dark, ring
