"""Checking a learner's number: right, or the slip named, two hints, then the answer."""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Mapping

import numpy as np

from workbook.lesson.slips import CLOSE, Slip, slips_of
from workbook.lesson.words import Note, as_paragraphs, in_words, unit_label

SOLUTION = "The worked solution is folded in the cell right below."


class Feedback(Note):
    """What is said about one answer.

    Attributes
    ----------
    correct : bool
    slip : str
        Key of the slip that was named, "" where none was.
    attempt : int
        Which wrong attempt of this run it was; 0 for a right or a blank answer.
    text : str
        The words, as plain text.
    """

    def __init__(self, *, correct: bool, slip: str, attempt: int, lines):
        self.correct, self.slip, self.attempt = correct, slip, attempt
        lines = [line for line in lines if line]
        head, rest = lines[0], "\n".join(lines[1:])
        super().__init__(
            "\n".join(lines),
            f"<p style='margin:0.3em 0'><strong>{html.escape(head)}</strong></p>{as_paragraphs(rest)}",
        )


class Attempts:
    """Counts the wrong attempts at each exercise of one run, and says which hint is due."""

    def __init__(self):
        self._wrong = Counter()

    def right(self, lines) -> Feedback:
        return Feedback(correct=True, slip="", attempt=0, lines=lines)

    def blank(self, line) -> Feedback:
        """A blank costs no attempt: cells are run before they are filled in."""
        return Feedback(correct=False, slip="blank", attempt=0, lines=[line])

    def wrong(self, name, slip, lines, *, hints, answer_lines) -> Feedback:
        self._wrong[name] += 1
        attempt = self._wrong[name]
        if attempt <= len(hints):
            after = [f"Hint {attempt} of {len(hints)}: {hints[attempt - 1]}"]
        else:
            after = [*answer_lines, SOLUTION]
        return Feedback(correct=False, slip=slip, attempt=attempt, lines=[*lines, *after])


def allowed_error(expected, *, tolerance: float, absolute: float):
    """The largest allowed distance: a share of the expected value or an absolute one, the larger counts."""
    for name, value in (("tolerance", tolerance), ("absolute", absolute)):
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < float("inf"):
            raise ValueError(f"{name} must be a number of 0 or more, received {value!r}")
    if not tolerance and not absolute:
        raise ValueError("give a tolerance (a share, 0.02 is 2 %) or an absolute one in the answer's unit")
    return np.maximum(tolerance * np.abs(expected), absolute)


def hints_of(hints) -> tuple[str, ...]:
    """The hints as a tuple; one bare text would be taken letter by letter, so it is refused."""
    if isinstance(hints, str) or not all(isinstance(hint, str) for hint in hints):
        raise TypeError(f"hints must be a tuple of texts, received {hints!r}")
    return tuple(hints)


def check(
    answer,
    *,
    expected,
    tolerance: float = 0.0,
    absolute: float = 0.0,
    unit: str = "",
    hints=(),
    name: str = "answer",
    because: str = "",
    formula: str = "",
    mistakes: Mapping | None = None,
    attempts: Attempts,
) -> Feedback:
    """Compare a learner's answer with the expected one, and name the slip where it is wrong.

    Parameters
    ----------
    answer : anything
        What the learner typed; never raises for what is in it.
    expected : float or array
        The right value, from a topic function.
    tolerance : float
        Allowed distance as a share of the expected value (0.02 is 2 %).
    absolute : float
        Allowed distance in the answer's own unit; the larger of the two counts. One of them is needed.
    unit : str
        Unit of the answer, as suffix (`"arcsec_px"`) or label.
    hints : tuple of str
        Said after the first and second wrong answer; after them comes the answer.
    name : str
        Exercise the attempts are counted for.
    because : str
        One sentence said with a right answer.
    formula : str
        The rule in symbols, said together with the answer.
    mistakes : mapping of str to float or array, optional
        Further wrong values worth naming: what to say → the value that mistake gives.
    attempts : Attempts
        The counts of this run.

    Returns
    -------
    Feedback
    """
    expected = np.asarray(expected, dtype=float)
    limit = allowed_error(expected, tolerance=tolerance, absolute=absolute)
    hints, label = hints_of(hints), unit_label(unit)
    if is_blank(answer):
        return attempts.blank(
            f"Nothing filled in yet: put your answer{f' in {label}' if label else ''} in place of the three dots, "
            "then press Shift + Enter."
        )
    solved = [f"The answer is {in_words(expected, unit)}{f': {formula}' if formula else ''}."]

    def wrong(slip, lines):
        return attempts.wrong(name, slip, lines, hints=hints, answer_lines=solved)

    value, fault = read_numbers(answer, expected.shape, label)
    if fault:
        return wrong(fault.key, [f"Not yet: {fault.text}"])
    if agrees(value, expected, limit).all():
        return attempts.right([f"Right: {in_words(value, unit)}.", because])
    return wrong(*explain(value, expected, limit, unit=unit, mistakes=mistakes))


def explain(value, expected, limit, *, unit: str = "", mistakes: Mapping | None = None):
    """(slip key, lines) for a wrong numeric answer."""
    finite = np.asarray(limit)[np.isfinite(limit) & (expected != 0)]
    share = finite / np.abs(expected[np.isfinite(limit) & (expected != 0)])
    close = float(min(CLOSE, share.min())) if share.size else CLOSE
    close = max(close, 1e-3)  # a slip is named even where the rounding of the answer would not pass
    for text, given in (mistakes or {}).items():
        if np.shape(given) == np.shape(value) and np.allclose(value, given, rtol=close, atol=0.0):
            return "mistake", [f"Not yet: {text}"]
    slips = slips_of(value, expected, unit=unit, close=close)
    if slips:
        return slips[0].key, ["Not yet: " + " Or: ".join(slip.text for slip in slips)]
    right = int(agrees(value, expected, limit).sum())
    if right:
        return "", [f"Not yet: {right} of {expected.size} values are right."]
    return "", ["Not yet: that is not the value, and it is no slip known here."]


def agrees(value, expected, limit):
    """Where the value is within the limit; NaN agrees with an expected NaN."""
    return (np.abs(value - expected) <= limit) | (np.isnan(value) & np.isnan(expected))


def is_blank(answer) -> bool:
    """Whether nothing was filled in: None, Ellipsis, blank text, or a list with such a thing in it."""
    if answer is None or answer is Ellipsis:
        return True
    if isinstance(answer, str):
        return answer.strip(" .…_?") == ""
    return isinstance(answer, (list, tuple)) and (not answer or any(is_blank(one) for one in answer))


def read_numbers(answer, shape, label: str = ""):
    """(array, None) of the asked shape, or (None, Slip) saying what is wrong with the thing given."""
    if callable(answer):
        return None, Slip("not a number", "that is a function; call it, with its numbers in the brackets.")
    if hasattr(answer, "unit") and hasattr(answer, "to_value"):
        return None, Slip(
            "not a number", f"that carries a unit; give the plain number{f' in {label}' if label else ''}."
        )
    if isinstance(answer, (str, bytes)):
        return None, Slip("not a number", f"{answer!r} is a text; give a number without quotes and unit.")
    try:
        array = np.asarray(answer)
        if array.dtype == object and not array.ndim and hasattr(answer, "__float__"):
            array = np.asarray(float(answer))  # fractions, decimals, whole numbers beyond 64 bits
        if array.dtype.kind not in "iuf":
            raise TypeError
        array = array.astype(float)
    except OverflowError:
        return None, Slip("infinite", "far too large for a number here.")
    except (TypeError, ValueError):
        return None, Slip(
            "not a number", f"a {type(answer).__name__} is not a number{f' in {label}' if label else ''}."
        )
    if array.size == 1 == np.prod(shape, dtype=int):
        array = array.reshape(shape)
    if array.shape != shape:
        return None, Slip("shape", f"{_count(shape)} asked, {_count(array.shape)} received.")
    if np.isinf(array).any():
        return None, Slip("infinite", "infinite: something was divided by zero, or a power ran away.")
    if np.isnan(array).all():
        return None, Slip("NaN", "NaN (not a number): a root or logarithm of a negative, or 0/0, on the way.")
    return array, None


def _count(shape):
    if np.prod(shape, dtype=int) == 1:
        return "one number"
    return f"{shape[0]} numbers" if len(shape) == 1 else " × ".join(map(str, shape)) + " numbers"
