"""Alt-az or tilted tonight: finished hours of both, set-up minutes in, and how sure the advice is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook.verdict import Verdict, compare, conditions
from workbook.verdict.answer import DRAW_NODES, DRAW_PHASES, MODES, drawn_rigs, night_sums


@dataclass(frozen=True)
class ModeAdvice:
    """The better mode for one night, and the four ways behind it.

    best is "alt-az", "tilted" or "" where neither gives anything; ways are the verdicts of both modes, unguided and
    guided; finished_h and finished_68_h by mode for the guiding asked for [h]; chance, the share of draws over the
    passport's spreads in which `best` gives more; gain_68_h, how much more, 68 % range [h]; words, why.
    """

    best: str
    guided: bool
    ways: tuple[Verdict, ...]
    finished_h: dict[str, float]
    finished_68_h: dict[str, tuple[float, float]]
    chance: float
    gain_68_h: tuple[float, float]
    words: str


def mode_advice(
    passport, *, target=None, date=None, guided=None, draws: int = 500, seed: int = 1
) -> ModeAdvice:
    """Which mode gives more finished hours on one target in one night.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits: minutes of set-up for both modes, quality of alignment.
    target, date, guided : optional
        As in `verdict.verdict`.
    draws, seed : int
        Draws over the passport's spreads; both modes see the same draws, so their difference is a fair one.

    Returns
    -------
    ModeAdvice
        `chance` near 0.5 says that the numbers do not tell the modes apart: take the one that is set up sooner.

    Notes
    -----
    Each mode runs at its own best sub. The set-up minutes of the passport shorten both nights; a pole behind a wall
    shows in the passport's axis error and in the minutes of a drift alignment, not here.
    """
    guided = passport["plan.guided"] if guided is None else guided
    target = passport["plan.target"] if target is None else target
    date = passport["plan.date"] if date is None else date
    ways = compare(passport, target=target, date=date)
    asked = {way.mode: way for way in ways if way.guided == guided}
    finished = {mode: asked[mode].finished_h for mode in MODES}
    if not any(finished.values()):
        words = f"Neither mode: {asked['alt-az'].reason or asked['tilted'].reason}."
        nothing = dict.fromkeys(MODES, (0.0, 0.0))
        return ModeAdvice("", guided, ways, finished, nothing, 0.0, (0.0, 0.0), words)
    best = max(MODES, key=finished.get)
    other = next(mode for mode in MODES if mode != best)
    drawn = _drawn_finished(passport, target, date, guided, asked, draws, seed)
    ranges = {mode: tuple(np.percentile(values, [16.0, 84.0]).tolist()) for mode, values in drawn.items()}
    gain = drawn[best] - drawn[other]
    chance = float(np.mean(gain > 0.0))
    words = _words(passport, best, other, asked, finished, ranges, chance)
    gain_68 = tuple(np.percentile(gain, [16.0, 84.0]).tolist())
    return ModeAdvice(best, guided, ways, finished, ranges, chance, gain_68, words)


def _drawn_finished(passport, target, date, guided, asked, draws, seed):
    night = conditions(passport, target=target, date=date)
    rigs = drawn_rigs(passport, draws, seed)
    drawn = {}
    for mode, way in asked.items():
        drawn[mode] = np.zeros(draws)
        if way.best_sub_s:
            _, drawn[mode] = night_sums(
                rigs, night, sub_s=way.best_sub_s, mode=mode, guided=guided, nodes=DRAW_NODES,
                phases=DRAW_PHASES, seed=seed,
            )  # fmt: skip
    return drawn


def _words(passport, best, other, asked, finished, ranges, chance):
    minutes = {
        "alt-az": passport["habits.set_up_altaz_min"],
        "tilted": passport["habits.set_up_tilted_min"],
    }
    ends = {mode: " to ".join(f"{60 * end:.1f}" for end in ranges[mode]) for mode in MODES}
    lines = [
        f"{best.capitalize()} tonight: {60 * finished[best]:.1f} finished minutes ({ends[best]}) against "
        f"{60 * finished[other]:.1f} ({ends[other]}) {other}; more in {100 * chance:.0f} of 100 draws.",
        f"Set-up takes {minutes[best]:.0f} min {best} and {minutes[other]:.0f} min {other}; both are counted.",
    ]
    if asked[other].reason:
        lines.append(f"{other.capitalize()} gives nothing: {asked[other].reason}.")
    if 0.3 < chance < 0.7:
        lines.append("The difference is within the spread of the passport: take what is set up sooner.")
    if not passport["site.pole_visible"]:
        lines.append("The pole is not in view: the tilted axis must be aligned by drift or from frames.")
    return " ".join(lines)
