"""The record of a field card: its lines, its sections, its text, and where its numbers come from."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date as Date
from typing import NamedTuple

import numpy as np

from workbook import night
from workbook.verdict import Ribbon
from workbook.verdict.words import duration, seconds

SIGNS = {"": "", "assumed": "○", "partly measured": "◐", "measured": "●"}
LEGEND = (
    "○ assumed   ◐ partly measured   ● measured   (a to b): holds 68 of 100 cases",
    "Finished: hours of a faultless rig above the air under 21.5 mag/″². On safety licensed people decide.",
)


class Line(NamedTuple):
    """One line of the card: what it is about, the words, and where its numbers come from, a key of SIGNS."""

    label: str
    text: str
    mark: str = ""

    @property
    def words(self) -> str:
        """The words with their sign."""
        return f"{self.text} {SIGNS[self.mark]}".rstrip()


class Section(NamedTuple):
    """A part of the card; its lines are numbered steps, or have labels."""

    title: str
    lines: tuple[Line, ...]
    steps: bool = False


class Key(NamedTuple):
    """A number that is printed large: label, number, its range, and where it comes from."""

    label: str
    value: str
    range_text: str
    mark: str = ""


@dataclass(frozen=True)
class Card:
    """One night on one page: made by `field_card`; `figures.fieldcard` prints it, `as_text` says the same.

    `ribbon` holds the night for the strip; `reason` says why there is nothing to expose, "" where there is.
    """

    title: str
    subtitle: str
    target: str
    date: Date
    zone: str
    keys: tuple[Key, ...]
    sections: tuple[Section, ...]
    reason: str = ""
    legend: tuple[str, ...] = LEGEND
    ribbon: Ribbon | None = field(default=None, repr=False)

    def section(self, title: str) -> Section:
        """The section whose title begins so."""
        return next(part for part in self.sections if part.title.startswith(title))

    def as_text(self) -> str:
        """The card as lines of text: every word of the page, in its order."""
        lines = [self.title, self.subtitle, *self.legend, ""]
        for key in self.keys:
            lines.append(f"{key.label}: {key.value} {key.range_text} {SIGNS[key.mark]}".rstrip())
        lines += [f"Nothing to expose: {self.reason}."] if self.reason else []
        for part in self.sections:
            lines += ["", part.title.upper()]
            for count, line in enumerate(part.lines, 1):
                lead = f"{count}. " if part.steps else f"{line.label}: "
                lines.append(lead + line.words.replace("\n", "\n   "))
        return "\n".join(lines)


class Clock:
    """Moments as the clock on the wall shows them; a star marks those after the clocks have changed in the night."""

    def __init__(self, zone: str, times_utc):
        first, *_, last = (
            text[-6:].replace("-", "−") for text in night.clock_times(times_utc=times_utc, zone=zone)
        )
        self.zone, self._first = zone, first
        self.words = "UTC" if zone == "UTC" else f"{zone}, UTC{first}"
        if last != first:
            self.words += f", with * UTC{last}"

    def __call__(self, moment) -> str:
        text = night.clock_times(times_utc=moment, zone=self.zone)[0]
        return text[11:16] + ("" if text[-6:].replace("-", "−") == self._first else "*")


def mark_of(passport, *keys) -> str:
    """Where a number comes from that rests on these fields, or on all fields of these sections."""
    fields = [
        key for key in passport.uncertain_keys() if any(key == k or key.split(".")[0] == k for k in keys)
    ]
    measured = sum(map(passport.is_measured, fields))
    if not fields:
        return ""
    return "measured" if measured == len(fields) else "partly measured" if measured else "assumed"


def between(values, digits: int = 0, unit: str = "") -> str:
    """The middle 68 % of draws in brackets.

    >>> between(np.arange(101.0), 0, " mm")
    '(16 to 84 mm)'
    """
    low, high = np.percentile(values, [16.0, 84.0])
    return f"({low:.{digits}f} to {high:.{digits}f}{unit})".replace("-", "−")


def about(passport, key: str, digits: int = 0, unit: str = "") -> str:
    """A passport number with its range, the value give or take its spread."""
    value, sigma = passport[key], passport.entry(key).sigma
    low = max(value - sigma, 0.0) if value >= 0 else value - sigma
    if not sigma:
        return f"{value:.{digits}f}{unit}"
    return f"{value:.{digits}f}{unit} ({low:.{digits}f} to {value + sigma:.{digits}f})".replace("-", "−")


def hours_between(ends) -> str:
    """Two durations in brackets, the unit once where both share it.

    >>> hours_between((1.6, 2.2)), hours_between((0.5, 1.2))
    ('(1.6 to 2.2 h)', '(30.0 min to 1.2 h)')
    """
    low, high = map(duration, ends)
    same = low.split()[1] == high.split()[1]
    return f"({low.split()[0] if same else low} to {high})"


def subs_between(ends) -> str:
    """Two sub lengths in brackets.

    >>> subs_between((6.55, 8.25)), subs_between((8.2, 10.9))
    ('(6.5 to 8.2 s)', '(8.2 to 11 s)')
    """
    low, high = map(seconds, ends)
    return f"({low.removesuffix(' s')} to {high})"


def joined(words) -> str:
    """Words in a row with commas.

    >>> joined(["a", "b", "c"])
    'a, b and c'
    """
    words = list(words)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""
