"""Numbers, units and short notes as a reader sees them: each note is HTML with a plain-text twin."""

from __future__ import annotations

import html

import numpy as np

from workbook.units import SUFFIXES

_MARKS_WITHOUT_SPACE = ("°", "′", "″")


def unit_label(unit: str) -> str:
    """The label of a unit given as suffix or as label.

    >>> unit_label("arcsec_px"), unit_label("times")
    ('″/px', 'times')
    """
    return SUFFIXES[unit].label if unit in SUFFIXES else unit


def in_words(value, unit: str = "") -> str:
    """A number, a short array or an option with its unit, to four figures.

    >>> in_words(2.25598, "arcsec_px"), in_words(-13000, "e"), in_words(52.4, "°"), in_words("same")
    ('2.256 ″/px', '−13,000 e⁻', '52.4°', 'same')
    """
    if isinstance(value, str):
        return value
    unit = unit_label(unit)
    array = np.asarray(value, dtype=float)
    if array.ndim:
        shown = [_figures(one) for one in array.flat[:6]]
        text = "[" + ", ".join(shown) + (", …" if array.size > 6 else "") + "]"
    else:
        text = _figures(float(array))
    degc = unit == "°C"
    glue = "" if not unit or (unit.startswith(_MARKS_WITHOUT_SPACE) and not degc and "/" not in unit) else " "
    return text + glue + unit


def _figures(value: float) -> str:
    size = abs(value)
    if size and np.isfinite(value) and (size < 1e-4 or size >= 1e7):
        text = f"{value:.4g}"
    elif size >= 1000 and np.isfinite(value):
        text = f"{float(f'{value:.4g}'):,.0f}"
    else:
        text = f"{value:.4g}"
    return text.replace("-", "−")


def as_paragraphs(text: str) -> str:
    """Plain text as HTML, one paragraph a line, every sign escaped."""
    return "".join(f"<p style='margin:0.3em 0'>{html.escape(line)}</p>" for line in text.splitlines() if line)


class Note:
    """A few sentences for the reader: HTML in a notebook, the same words as plain text elsewhere."""

    def __init__(self, text: str, body_html: str | None = None):
        self.text = text
        self._body_html = as_paragraphs(text) if body_html is None else body_html

    def __repr__(self) -> str:
        return self.text

    def _repr_html_(self) -> str:
        return (
            "<div role='note' style='border-left:4px solid currentColor;padding:0.1em 0.8em;margin:0.4em 0'>"
            f"{self._body_html}</div>"
        )


def recall(questions) -> Note:
    """Recall questions with folded answers.

    Parameters
    ----------
    questions : sequence of (question, answer)
        Two in every lesson; any number of one or more is taken.

    Returns
    -------
    Note
        Each answer folded under its question; in the plain-text twin the answers follow all the questions.
    """
    pairs = [tuple(pair) for pair in questions]
    if not pairs or any(len(pair) != 2 or not all(isinstance(x, str) for x in pair) for pair in pairs):
        raise ValueError("recall takes one or more (question, answer) pairs of texts")
    asked = [f"Recall {i}: {question}" for i, (question, _) in enumerate(pairs, 1)]
    answered = [f"Answer {i}: {answer}" for i, (_, answer) in enumerate(pairs, 1)]
    folded = "".join(
        f"<p style='margin:0.3em 0'>{html.escape(line)}</p>"
        f"<details><summary>Show answer {i}</summary>{as_paragraphs(answer)}</details>"
        for i, (line, (_, answer)) in enumerate(zip(asked, pairs, strict=True), 1)
    )
    return Note("\n".join([*asked, *answered]), folded)
