"""Checking a formula the learner wrote as a function, against the workbook's and a published value."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from workbook.lesson.answers import (
    Attempts,
    Feedback,
    agrees,
    allowed_error,
    explain,
    hints_of,
    is_blank,
    read_numbers,
)
from workbook.lesson.words import in_words
from workbook.units import unit_of


class Published(NamedTuple):
    """One value from outside: the inputs, the value as printed, where it stands, and half its last digit."""

    case: Mapping
    value: float
    source: str
    absolute: float


def check_function(
    f,
    *,
    against,
    cases,
    tolerance: float = 1e-3,
    hints=(),
    name: str = "",
    because: str = "",
    formula: str = "",
    published: Published | None = None,
    attempts: Attempts,
) -> Feedback:
    """Compare the learner's function with the workbook's on several cases, and with a published value.

    Parameters
    ----------
    f : callable
        The learner's function, called with the keywords of each case; whatever it raises is said in one line.
    against : callable
        The function of a topic; the suffix of its name gives the unit.
    cases : sequence of dict
        Keyword arguments, different enough that no wrong formula passes them all.
    tolerance : float
        Allowed distance as a share of the workbook's value (one part in a thousand for rounded constants).
    hints, because, formula
        As in `check`.
    name : str
        Exercise the attempts are counted for; the name of `against` where it is left out.
    published : Published, optional
        A printed value that the function must give too.
    attempts : Attempts
        The counts of this run.

    Returns
    -------
    Feedback
    """
    cases = [dict(case) for case in cases]
    if not cases:
        raise ValueError("cases must hold at least one dict of keyword arguments, received none")
    hints = hints_of(hints)
    name = name or against.__name__
    unit = unit_of(against.__name__)
    expected = [np.asarray(against(**copy.deepcopy(case)), dtype=float) for case in cases]
    solved = [f"The formula is {formula}."] if formula else [f"Compare with {against.__name__}."]

    def wrong(slip, lines):
        return attempts.wrong(name, slip, lines, hints=hints, answer_lines=solved)

    if not callable(f):
        if is_blank(f):
            return attempts.blank("Nothing filled in yet: write the function first.")
        return wrong(
            "not a function", ["Not yet: hand over the function itself, without brackets after its name."]
        )
    answers = []
    for case, want in zip(cases, expected, strict=True):
        value, slip, text = _call(f, case, want.shape)
        if slip == "blank":
            return attempts.blank(text)
        if slip:
            return wrong(slip, [f"Not yet: {text}"])
        answers.append(value)
    limits = [allowed_error(want, tolerance=tolerance, absolute=0.0) for want in expected]
    right = [bool(agrees(*three).all()) for three in zip(answers, expected, limits, strict=True)]
    if not all(right):
        first = right.index(False)
        shown = (
            f"For {_said(cases[first])} yours gives {in_words(answers[first], unit)}, "
            f"the workbook {in_words(expected[first], unit)}."
        )
        count = f"{sum(right)} of {len(right)} cases agree."
        if _right_in_radians(f, cases, expected, limits):
            text = (
                "the formula is right, but takes its angles as radians: use np.radians on what ends in _deg."
            )
            return wrong("radians", [f"Not yet: {text}", shown, count])
        slip, lines = explain(_flat(answers), _flat(expected), _flat(limits), unit=unit)
        if not slip:
            lines = ["Not yet: the ratio to the workbook's value is no known slip."]
        return wrong(slip, [*lines, shown, count])
    if published is not None:
        published = Published(*published)
        case = dict(published.case)
        value, slip, text = _call(f, case, ())
        if slip:
            return wrong(slip, [f"Not yet: {text}"])
        if not abs(value - published.value) <= published.absolute:
            text = (
                f"for {_said(case)} it is printed as {in_words(published.value, unit)} ({published.source})"
            )
            return wrong("", [f"Not yet: {text}, yours gives {in_words(value, unit)}."])
    number = f"all {len(cases)} cases" if len(cases) > 1 else "the case"
    lines = [f"Right: your function agrees with {against.__name__} on {number}."]
    if published is not None:
        lines.append(f"It gives the published {in_words(published.value, unit)} too ({published.source}).")
    return attempts.right([*lines, because])


def _call(f, case, shape):
    """(value, slip, text) of the learner's function on one case; a raising one gives words, no traceback."""
    try:
        answer = f(**copy.deepcopy(case))
    except Exception as error:
        text = f"for {_said(case)} your function stopped with {type(error).__name__}: {_first_line(error)}"
        if isinstance(error, TypeError) and "argument" in str(error):
            text += f" It is called with the names {', '.join(case)}."
        return None, type(error).__name__, text
    if is_blank(answer):
        return (
            None,
            "blank",
            "Nothing comes back yet: let the function return its value in place of the three dots.",
        )
    value, fault = read_numbers(answer, shape)
    return (
        (None, fault.key, f"for {_said(case)} the function gives {fault.text}") if fault else (value, "", "")
    )


def _first_line(error):
    text = str(error).strip()
    return (text.splitlines()[0].rstrip(".") if text else "no message") + "."


def _right_in_radians(f, cases, expected, limits):
    """Whether the function gives the workbook's values once its angles are handed over in radians."""
    if not any(key.endswith("_deg") for case in cases for key in case):
        return False
    for case, want, limit in zip(cases, expected, limits, strict=True):
        turned = {key: np.radians(value) if key.endswith("_deg") else value for key, value in case.items()}
        value, slip, _ = _call(f, turned, want.shape)
        if slip or not agrees(value, want, limit).all():
            return False
    return True


def _said(case):
    return ", ".join(f"{key}={_plain(value)}" for key, value in case.items()) or "no argument"


def _plain(value):
    return repr(value) if isinstance(value, (str, bool)) or value is None else in_words(value)


def _flat(arrays):
    return np.concatenate([np.ravel(array) for array in arrays])
