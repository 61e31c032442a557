"""Guiding by hand: the star beside the cross, both axes through time, you and the controller."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.ticker import MaxNLocator

from workbook.figures import look as looks
from workbook.verdict import words as spoken

HALVES_ARCSEC = (8.0, 16.0, 32.0, 64.0)  # of all three pictures: the first that holds what was seen
TAIL = 8  # places seen before, in the left picture
ROUND = np.radians(np.arange(0.0, 361.0, 5.0))


class Player(NamedTuple):
    """How one guided so far: path with its times, places seen; rms from the middle in each axis; the star's growth."""

    seconds: np.ndarray
    ra_arcsec: np.ndarray
    dec_arcsec: np.ndarray
    seen_ra_arcsec: np.ndarray
    seen_dec_arcsec: np.ndarray
    ra_rms_arcsec: float
    dec_rms_arcsec: float
    growth: object

    @property
    def rms_arcsec(self):
        """Both axes together."""
        return float(np.hypot(self.ra_rms_arcsec, self.dec_rms_arcsec))


class HandGuiding(NamedTuple):
    """A game so far: frames seen of all, what one press does and when, and the three players."""

    frames: int
    all_frames: int
    exposure_s: float
    press_s: float
    reach_arcsec: tuple[float, float]
    dead_time_s: float
    backlash_arcsec: float
    presses: int
    you: Player
    controller: Player
    nobody: Player


class Artists(NamedTuple):
    """What moves."""

    target: object
    now: object
    tail: object
    reach: object
    ghost: object
    ghost_words: object
    rules: object
    traces: list
    seen: list


def create(figure, look):
    """The guide camera's picture on the left, both axes through time on the right."""
    left, right = figure.subfigures(1, 2, width_ratios=[1.0, 1.35])
    target = left.subplots()
    target.set(aspect="equal", xlabel="east − west [″]", ylabel="north − south [″]")
    target.yaxis.set_label_coords(-0.12, 0.5)  # room for the widest numbers
    target.set_title("The guide camera's newest frame")
    for axis in (target.xaxis, target.yaxis):
        axis.set_major_locator(MaxNLocator(nbins=8, integer=True, symmetric=True))
    target.grid(True)
    for line in (target.axhline, target.axvline):
        line(0.0, color=look.quiet, linewidth=1.4, zorder=2)
    tail = target.plot([], [], zorder=3, linewidth=1.2, color=look.quiet, marker=".", markersize=6)[0]
    reach = target.plot([], [], zorder=3, **look.line("limit"))[0]
    now = target.plot([], [], zorder=5, **(look.dots("second") | {"marker": "o", "markersize": 13}))[0]
    ghost = target.plot([], [], zorder=2, visible=False, **look.line("ghost"))[0]
    paper = {"boxstyle": "round,pad=0.12", "facecolor": look.ground, "edgecolor": "none", "alpha": 0.85}
    inside = {"ha": "center", "va": "center", "zorder": 6, "bbox": paper, "clip_on": True, **look.words()}
    ghost_words = target.text(0, 0, "your guess", visible=False, **inside)
    rules = target.text(
        0.02, 0.02, "", transform=target.transAxes, **(inside | {"ha": "left", "va": "bottom"})
    )
    traces, seen = [], []
    axes = right.subplots(2, 1, sharex=True)
    for ax, words in zip(axes, ("east − west [″]", "north − south [″]"), strict=True):
        ax.set(xlim=(0, 120), ylabel=words)
        ax.yaxis.set_label_coords(-0.1, 0.5)
        ax.grid(True)
        traces.append(
            [
                ax.plot([], [], zorder=height, **look.line(role))[0]
                for role, height in (("first", 4), ("third", 3), ("fourth", 2))
            ]
        )
        seen.append(ax.plot([], [], zorder=5, **(look.dots("second") | {"markersize": 3}))[0])
    axes[0].set_title("Off the target")
    axes[1].set_xlabel("time [s]")
    right.legend(
        [*traces[0], seen[0]], ["you", "controller", "nobody", "seen by you"], loc="outside lower center", ncols=4,
        frameon=False, handlelength=1.8, columnspacing=1.0, borderpad=0.1,
    )  # fmt: skip
    for part in (figure, left, right):
        looks.apply(look, part)
    return Artists(target, now, tail, reach, ghost, ghost_words, rules, traces, seen)


def update(artists, result, ghost):
    """Set the star, its tail, what one press can do, and the three paths."""
    you = result.you
    half = half_arcsec(result)
    ax = artists.target
    ax.set(xlim=(half, -half), ylim=(-half, half))
    ra, dec = you.seen_ra_arcsec[-1], you.seen_dec_arcsec[-1]
    artists.now.set_data([ra], [dec])
    artists.tail.set_data(you.seen_ra_arcsec[-TAIL:], you.seen_dec_arcsec[-TAIL:])
    along, up = result.reach_arcsec
    artists.reach.set_data([ra - along, ra + along, np.nan, ra, ra], [dec, dec, np.nan, dec - up, dec + up])
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        artists.ghost.set_data(ghost * np.cos(ROUND), ghost * np.sin(ROUND))
        artists.ghost_words.set_position((0.0, min(ghost, 0.9 * half)))
    when = f"after {result.dead_time_s:g} s" if result.dead_time_s else "at once"
    play = f"{result.backlash_arcsec:g}″ of backlash" if result.backlash_arcsec else "no backlash"
    artists.rules.set_text(f"dashes: what one press does, {when}\nnorth–south gear: {play}")
    for axis, (lines, dots) in enumerate(zip(artists.traces, artists.seen, strict=True)):
        for line, player in zip(lines, (you, result.controller, result.nobody), strict=True):
            line.set_data(player.seconds, (player.ra_arcsec, player.dec_arcsec)[axis])
        places = (you.seen_ra_arcsec, you.seen_dec_arcsec)[axis]
        dots.set_data(result.exposure_s * (np.arange(places.size) + 0.5), places)
        dots.axes.set_ylim(-half, half)


def half_arcsec(result):
    """Half the side of the pictures: as far as you or the controller went."""
    players = result.you, result.controller
    reach = max(np.abs(path).max() for p in players for path in (p.ra_arcsec, p.dec_arcsec))
    reach = max(reach, np.abs(result.you.seen_ra_arcsec).max(), np.abs(result.you.seen_dec_arcsec).max())
    return next((half for half in HALVES_ARCSEC if half >= 1.05 * reach), HALVES_ARCSEC[-1])


def describe(result):
    """The picture in one sentence."""
    you = result.you
    ra, dec = you.seen_ra_arcsec[-1], you.seen_dec_arcsec[-1]
    return (
        f"Frame {result.frames} of {result.all_frames}: the mount is seen {place(ra, 'east', 'west')} and "
        f"{place(dec, 'north', 'south')} of its target; so far you are {you.rms_arcsec:.1f}″ RMS from it, the "
        f"controller {result.controller.rms_arcsec:.1f}″, and without corrections it would be "
        f"{result.nobody.rms_arcsec:.1f}″."
    )


def place(value_arcsec, plus, minus):
    """A distance in one axis with its direction."""
    return f"{abs(value_arcsec):.1f}″ {plus if value_arcsec >= 0 else minus}"


def table(result):
    """The numbers of the picture."""
    rows = [("so far", "you", "controller", "nobody")]
    players = result.you, result.controller, result.nobody
    for words, value in (
        ("RMS, east–west", lambda p: f"{p.ra_rms_arcsec:.2f}″"),
        ("RMS, north–south", lambda p: f"{p.dec_rms_arcsec:.2f}″"),
        ("RMS, both axes", lambda p: f"{p.rms_arcsec:.2f}″"),
        ("star grows by", lambda p: percent(p.growth.growth)),
        ("roundness", lambda p: f"{p.growth.roundness:.2f}"),
    ):
        rows.append((words, *(value(player) for player in players)))
    rows.append(("frames", f"{result.frames} of {result.all_frames}", "–", "–"))
    rows.append(("presses", f"{result.presses}", "–", "–"))
    ra, dec = result.you.seen_ra_arcsec[-1], result.you.seen_dec_arcsec[-1]
    rows.append(
        ("newest frame shows", f"{place(ra, 'east', 'west')}, {place(dec, 'north', 'south')}", "–", "–")
    )
    return rows


def percent(growth):
    """A growth in per cent."""
    return spoken.percent(growth - 1.0)
