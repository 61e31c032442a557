"""Naming the slip: which common mistake turns the right number into the one that was given.

Nothing here knows notebooks. A slip is named from the ratio answer / expected, which must be the same over
all elements. Each is matched to within `CLOSE` (or the exercise's own tolerance where that is tighter): the
nearest two of the ratios that can be asked together, 1/60 and π/180, lie 4.7 % apart, so a hundredth keeps
them apart and names few wrong answers that only happen to lie near a factor.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from workbook.constants import ARCSEC_PER_RAD
from workbook.lesson.words import unit_label

CLOSE = 0.01
ARCMIN_PER_RAD = ARCSEC_PER_RAD / 60.0
_RADIANS = {"°": 180.0 / math.pi, "′": ARCMIN_PER_RAD, "″": ARCSEC_PER_RAD}
_SIXTIES = {"°": 1.0, "′": 60.0, "″": 3600.0}
_HOURS = {"h": 1.0, "min": 60.0, "s": 3600.0}
_LENGTHS = {"m": 1.0, "mm": 1e3, "µm": 1e6, "nm": 1e9}


class Slip(NamedTuple):
    """One named slip: a short key, and the sentence said to the learner."""

    key: str
    text: str


def slips_of(answer, expected, *, unit: str = "", close: float = CLOSE) -> tuple[Slip, ...]:
    """The slips that explain a wrong numeric answer, likeliest first; empty where none does.

    Parameters
    ----------
    answer, expected : float or array
        Finite numbers of one shape. Elements that should be zero or NaN are left out of the comparison.
    unit : str
        Unit of the expected value, as suffix or label; it words the slip and adds the ones of that unit.
    close : float
        Largest relative distance from the slip's own ratio.

    Returns
    -------
    tuple of Slip
        At most two.

    Examples
    --------
    >>> [slip.key for slip in slips_of(0.0376, 2.256, unit="arcmin")]
    ['factor 60']
    >>> [slip.key for slip in slips_of(-41.0, 41.0)]
    ['sign']
    """
    answer = np.atleast_1d(np.asarray(answer, dtype=float)).ravel()
    expected = np.atleast_1d(np.asarray(expected, dtype=float)).ravel()
    use = np.isfinite(expected) & (expected != 0)
    answer, expected = answer[use], expected[use]
    if not answer.size or not np.isfinite(answer).all() or (answer == 0).any():
        return ()
    label = unit_label(unit)
    found = _by_ratio(answer, expected, label, close) or _by_power(answer, expected, close)
    return tuple(found[:2])


def _by_ratio(answer, expected, label, close):
    ratios = answer / expected
    negative = bool((ratios < 0).all())
    size = abs(ratios)
    if not (negative or (ratios > 0).all()):
        if np.allclose(size, 1.0, rtol=close, atol=0.0):
            return [
                Slip(
                    "sign", "the sizes are right, but some have the wrong sign: check which way is positive."
                )
            ]
        return []
    if negative and np.allclose(size, 1.0, rtol=close, atol=0.0):
        return [Slip("sign", "the size is right, the sign is not: check which way counts as positive.")]
    found = []
    for factor, key, text in _candidates(label):
        if np.allclose(size, factor, rtol=close, atol=0.0):
            if negative:
                key, text = f"sign and {key}", f"the sign is wrong, and {text}"
            found.append(Slip(key, text))
    return found


def _candidates(label):
    """(ratio answer / expected, key, words) for the unit asked, likeliest first."""
    rows = []
    angle = label.split("/")[0]  # the rates and scales too: ″/px, °/h, ″/min
    if angle in _RADIANS:
        per_rad = _RADIANS[angle]
        rows.append((1 / per_rad, "radians", f"it looks like radians where {_name(label)} are asked."))
        if angle == "″":
            rows.append((1e3 / per_rad, "radians", "206.265 is missing: radians, and µm over mm besides."))
        if angle == "°":
            rows.append((per_rad, "radians", "it was multiplied by 180/π though it was in degrees already."))
    elif label in ("", "rad"):
        rows.append(
            (180 / math.pi, "radians", "it is 180/π times too large: degrees where radians are needed.")
        )
        rows.append(
            (math.pi / 180, "radians", "it is 180/π times too small: radians where degrees are needed.")
        )
    for table in (_SIXTIES, _HOURS, _LENGTHS):
        if label in table:
            rows += _other_units(label, table)
    if label in ("°", "h"):
        rows += [
            (15.0, "factor 15", "it is 15 times too large: the sky turns 15° in one hour."),
            (1 / 15, "factor 15", "it is 15 times too small: the sky turns 15° in one hour."),
        ]
    known = [row[0] for row in rows]
    for factor, why in _PLAIN:
        for ratio, way in ((factor, "large"), (1 / factor, "small")):
            if not any(math.isclose(ratio, other, rel_tol=1e-9) for other in known):
                rows.append((ratio, f"factor {factor:,}", f"it is {factor:,} times too {way}: {why}"))
    return rows


_PLAIN = (
    (60, "minutes and seconds, hours and minutes, or degrees and arcminutes mixed up?"),
    (3600, "seconds and hours, or arcseconds and degrees mixed up?"),
    (1000, "check the prefixes (µm, mm, m; m and kilo)."),
    (100, "per cent and share, or cm and m, mixed up?"),
    (10, "a slipped decimal point, or cm for mm?"),
    (2, "radius and diameter, half and whole, or there and back mixed up?"),
    (1_000_000, "a step of two prefixes, such as µm and m."),
)


def _other_units(label, table):
    rows = []
    for other, per in table.items():
        ratio = per / table[label]
        if other != label:
            factor = round(max(ratio, 1 / ratio))
            rows.append(
                (ratio, f"factor {factor:,}", f"it looks like {_name(other)} where {_name(label)} are asked.")
            )
    return rows


def _name(label):
    return {
        "°": "degrees",
        "′": "arcminutes",
        "″": "arcseconds",
        "h": "hours",
        "min": "minutes",
        "s": "seconds",
        "m": "metres",
    }.get(label, label)


_POWERS = (
    (-1.0, "inverse", "it is the inverse of the answer: numerator and denominator are swapped."),
    (2.0, "square", "it is the square of the answer: a root is missing, or a square too many."),
    (0.5, "root", "it is the square root of the answer: a square is missing, or a root too many."),
)


def _by_power(answer, expected, close):
    found = []
    for power, key, text in _POWERS:
        if (expected < 0).any() and power == 0.5:
            continue
        with np.errstate(over="ignore", under="ignore"):
            wanted = expected**power
        if np.allclose(answer, wanted, rtol=close, atol=0.0):
            found.append(Slip(key, text))
    return found
