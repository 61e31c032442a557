"""The ranking of a night as a record: what a picture must reach, and the list in words with its ranges."""

from __future__ import annotations

import dataclasses
from datetime import date as Date

import numpy as np

from workbook import catalogue
from workbook.checks import not_negative, positive
from workbook.passport import Passport
from workbook.verdict import verdict
from workbook.verdict.answer import Verdict

RANGED, RANGE_DRAWS = 3, 200  # so many of a list are given a range, from so many draws


@dataclasses.dataclass(frozen=True)
class Wish:
    """What a picture must reach to be worth a night; judgements to be changed by the learner.

    snr: signal-to-noise in a patch of `detail_arcsec` by as much, at the mean surface brightness; least_px: pixels
    along the long axis below which a target is called too small.
    """

    snr: float = 5.0
    detail_arcsec: float = 15.0
    least_px: float = 100.0

    def __post_init__(self):
        positive("snr", self.snr)
        positive("detail_arcsec", self.detail_arcsec)
        not_negative("least_px", self.least_px)


@dataclasses.dataclass(frozen=True)
class Ranking:
    """The whole catalogue for one night; arrays run over its objects, best first, those not ranked at the end.

    `reason` is "" where an object is ranked, else why it is not, in words; `rank` is 1 for the best, 0 for the rest.
    Hours are NaN where they were not worked out.
    """

    date: Date
    mode: str
    guided: bool
    wish: Wish
    note: str
    name: np.ndarray
    kind: np.ndarray
    rank: np.ndarray
    reason: np.ndarray
    finished_h: np.ndarray
    needed_h: np.ndarray  # finished hours for the wish
    view_h: np.ndarray  # dark and behind the mask
    usable_h: np.ndarray
    best_sub_s: np.ndarray
    highest_deg: np.ndarray  # apparent, while usable
    moon_deg: np.ndarray  # nearest distance of the Moon while usable
    surface_mag_arcsec2: np.ndarray
    size_px: np.ndarray
    passport: Passport | None = dataclasses.field(default=None, repr=False)  # for the ranges in words

    def top(self, count: int = 10) -> Ranking:
        """The first `count` ranked objects."""
        keep = self.rank[:count] > 0
        rows = {k: v[:count][keep] for k, v in self.__dict__.items() if isinstance(v, np.ndarray)}
        return dataclasses.replace(self, **rows)

    def why(self, name: str) -> str:
        """Where an object stands, or why it is not ranked, in one sentence."""
        found = np.flatnonzero(self.name == catalogue.find(name).name)
        if not found.size:
            return f"{name}: not ranked, because the catalogue does not list it as an object of its own"
        at = found[0]
        if not self.rank[at]:
            return f"{self.name[at]}: not ranked, because {self.reason[at]}"
        return (
            f"{self.name[at]}: place {self.rank[at]} of {int((self.rank > 0).sum())}, "
            f"{self._finished(at)} finished{_needed(self.needed_h[at])}"
        )

    def as_text(self, count: int = 8) -> str:
        """The first few as lines of text, the first three with their 68 % range, which the rest share in proportion."""
        how = f"{self.mode}, {'guided' if self.guided else 'unguided'}"
        first = f"Night of {self.date.isoformat()}, {how}: "
        shown = self.top(int(positive("count", int(count))))
        total = int((self.rank > 0).sum())
        if not total:
            return f"{first}no target is ranked{': ' + self.note if self.note else ''}"
        lines = [f"{first}{total} targets, by finished time; (a to b) holds 68 of 100 cases"]
        known = ()
        if self.passport is not None:
            known = top_with_ranges(self.passport, self, min(RANGED, len(shown.name)), RANGE_DRAWS)
        for at, name in enumerate(shown.name):
            about = f"about {in_words(shown.finished_h[at])}"
            finished = _with_range(known[at]) if at < len(known) else about
            lines.append(
                f"{shown.rank[at]:>3}  {name:<8} {shown.kind[at]:<17} {finished} finished"
                f"{_needed(shown.needed_h[at])}; {shown.size_px[at]:.0f} px long"
            )
        spreads = [[end / one.finished_h for end in one.finished_68_h] for one in known if one.finished_h]
        if spreads and len(shown.name) > len(known):
            low, high = np.mean(spreads, axis=0)
            lines.append(f"about: as well known as the first, {low:.1f} to {high:.1f} times the number")
        lines.append("needed: from the catalogue's brightness, for large nebulae often a guess")
        return "\n".join(lines)

    def _finished(self, at):
        """Finished time of one object with its range; "about" where the rig is not known."""
        if self.passport is None:
            return f"about {in_words(self.finished_h[at])}"
        how = {"date": self.date, "mode": self.mode, "guided": self.guided}
        name = str(self.name[at])
        return _with_range(verdict(self.passport, target=name, draws=RANGE_DRAWS, causes=False, **how))


def top_with_ranges(passport, ranking: Ranking, count: int = 5, draws: int = 500) -> tuple[Verdict, ...]:
    """The verdicts of the first few, with ranges: the ranking itself has the central values only."""
    how = {"date": ranking.date, "mode": ranking.mode, "guided": ranking.guided}
    return tuple(
        verdict(passport, target=str(name), draws=draws, causes=False, **how)
        for name in ranking.top(count).name
    )


def _with_range(answer: Verdict) -> str:
    low, high = (in_words(end).split() for end in answer.finished_68_h)
    low = low[:-1] if low[-1] == high[-1] else low
    return f"{in_words(answer.finished_h)} ({' '.join(low)} to {' '.join(high)})"


def _needed(needed_h) -> str:
    return f" of about {in_words(needed_h)} needed" if needed_h > 0.0 else ", stars: none needed"


def in_words(value_h) -> str:
    """Hours in the unit that fits: min below one hour."""
    if value_h < 1.0:
        return f"{60.0 * value_h:.1f} min"
    return f"{value_h:.1f} h" if value_h < 100.0 else "over 100 h"
