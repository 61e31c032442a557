"""The words of a panel: the key number with unit, range and standing, a plain verdict, and the table twin."""

from __future__ import annotations

import html
from typing import NamedTuple


class Readout(NamedTuple):
    """What a panel says in words.

    `value` is None where there is no number to give (the verdict then says why). `basis` tells whether the
    number rests on assumed or on measured values. `low` and `high` are None while the range is not known.
    """

    name: str
    value: float | None
    unit: str
    basis: str
    verdict: str
    digits: int = 1
    low: float | None = None
    high: float | None = None
    share: str = "68 %"

    def number(self) -> str:
        """The key number with its unit."""
        return "no number" if self.value is None else f"{_round(self.value, self.digits)}{_unit(self.unit)}"

    def standing(self, waiting: bool = False) -> str:
        """Its range and what it rests on; `waiting` says that the range is still being worked out."""
        if self.low is not None and self.high is not None:
            low, high = (_round(end, self.digits) for end in (self.low, self.high))
            return f"{self.share} range {low} to {high}{_unit(self.unit)}, {self.basis}"
        return f"range follows, {self.basis}" if waiting else self.basis

    def text(self, waiting: bool = False) -> str:
        """All of it as one line."""
        return f"{self.name}: {self.number()} ({self.standing(waiting)}). {self.verdict}"

    def html(self, accent: str, waiting: bool = False) -> str:
        """The same for the page, in the same words, announced by a screen reader when it changes."""
        say = html.escape
        return _status(
            accent,
            f'{say(self.name)}: <span style="font-size:24px;font-weight:600">{say(self.number())}</span> '
            f"({say(self.standing(waiting))}).<br>{say(self.verdict)}",
        )


def no_answer_html(accent: str) -> str:
    """What stands in place of the readout while the panel has no answer."""
    return _status(accent, '<span style="font-size:24px;font-weight:600">No answer for these values.</span>')


def alert_html(line: str) -> str:
    """A fault in one line, announced at once by a screen reader."""
    style = "font-size:15px;line-height:1.4;padding:4px 12px;border:2px solid currentColor"
    return f'<div role="alert" style="{style}">{html.escape(line)}</div>'


def table_html(rows, caption: str) -> str:
    """The table twin: header first, one caption that says what the picture shows."""
    head, *body = rows
    cell = 'style="padding:2px 12px 2px 0;text-align:left"'
    top = "".join(f'<th scope="col" {cell}>{html.escape(str(word))}</th>' for word in head)
    rest = "".join(
        "<tr>" + "".join(f"<td {cell}>{html.escape(str(word))}</td>" for word in row) + "</tr>"
        for row in body
    )
    return (
        '<table style="font-size:15px;line-height:1.4;border-collapse:collapse">'
        f'<caption style="text-align:left;padding:4px 0">{html.escape(caption)}</caption>'
        f"<thead><tr>{top}</tr></thead><tbody>{rest}</tbody></table>"
    )


def table_text(rows) -> str:
    """The table twin as plain text, one row a line."""
    return "\n".join(" | ".join(str(word) for word in row) for row in rows)


def _status(accent, inner):
    style = f"font-size:16px;line-height:1.45;padding:2px 12px;border-left:5px solid {accent}"
    return f'<div role="status" style="{style}">{inner}</div>'


def _round(value, digits):
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def _unit(unit):
    if not unit:
        return ""
    return unit if unit in "°′″" else f" {unit}"
