"""The answer check: planted wrong answers name their slip, right and random ones name none.

The planted answers are made here from the definitions of the units (60′ in a degree, π/180, SI prefixes),
not by the code under test.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from workbook.lesson import Attempts, check, slips_of

HINTS = ("write the small-angle form", "206,265 arcseconds in a radian")


def ask(answer, expected, attempts=None, **how):
    how = {"tolerance": 0.01, "hints": HINTS} | how
    return check(answer, expected=expected, attempts=attempts or Attempts(), **how)


PLANTED = [
    # answer, expected, unit, key, words that must be said
    (math.radians(41.7), 41.7, "deg", "radians", "radians where degrees are asked"),
    (math.degrees(41.7), 41.7, "deg", "radians", "in degrees already"),
    (2.256 / 3600 * math.pi / 180, 2.256, "arcsec", "radians", "radians where arcseconds are asked"),
    (3.5e-3 / 320, 2.25598, "arcsec_px", "radians", "radians where ″/px are asked"),
    (3.5 / 320, 2.25598, "arcsec_px", "radians", "206.265 is missing"),
    (math.degrees(0.9), 0.9, "rad", "radians", "degrees where radians are needed"),
    (math.radians(41.7), 41.7, "", "radians", "radians where degrees are needed"),
    (1.5 * 60, 1.5, "deg", "factor 60", "arcminutes where degrees are asked"),
    (90 / 60, 90.0, "arcmin", "factor 60", "degrees where arcminutes are asked"),
    (90 * 60, 90.0, "arcmin", "factor 60", "arcseconds where arcminutes are asked"),
    (420.3 / 60, 420.3, "s", "factor 60", "minutes where seconds are asked"),
    (3 * 3600, 3.0, "h", "factor 3,600", "seconds where hours are asked"),
    (15 * 3, 3.0, "h", "factor 15", "15° in one hour"),
    (0.0035, 3.5, "um", "factor 1,000", "mm where µm are asked"),
    (320_000, 320.0, "mm", "factor 1,000", "µm where mm are asked"),
    (0.32, 320.0, "mm", "factor 1,000", "metres where mm are asked"),
    (500e-9 * 1e3, 500.0, "nm", "factor 1,000,000", "mm where nm are asked"),
    (2.4, 2.4e-3, "px", "factor 1,000", "prefixes"),
    (0.844 * 60, 0.844, "arcsec_min", "factor 60", "60 times too large"),
    (90.0, 0.9, "", "factor 100", "per cent and share"),
    (0.9, 9.0, "px", "factor 10", "decimal point"),
    (29.0, 58.0, "", "factor 2", "radius and diameter"),
    (116.0, 58.0, "mm", "factor 2", "2 times too large"),
    (-0.844, 0.844, "arcsec_min", "sign", "the sign is not"),
    (0.844, -0.844, "arcsec_min", "sign", "the sign is not"),
    (-1.5 * 60, 1.5, "deg", "sign and factor 60", "the sign is wrong, and it looks like arcminutes"),
    (-math.radians(41.7), 41.7, "deg", "sign and radians", "the sign is wrong, and"),
    (1 / 5.52, 5.52, "", "inverse", "numerator and denominator"),
    (5.52**2, 5.52, "", "square", "a root is missing"),
    (math.sqrt(5.52), 5.52, "", "root", "a square is missing"),
    ([0.5, 1.0], [30.0, 60.0], "arcmin", "factor 60", "degrees where arcminutes are asked"),
    ([1.0, -2.0], [1.0, 2.0], "px", "sign", "some have the wrong sign"),
]


@pytest.mark.parametrize(("answer", "expected", "unit", "key", "words"), PLANTED)
def test_a_planted_slip_is_named(answer, expected, unit, key, words):
    told = ask(answer, expected, unit=unit)
    assert not told.correct
    assert told.slip == key
    assert words in told.text
    assert f"Hint 1 of 2: {HINTS[0]}" in told.text


@pytest.mark.parametrize(("answer", "expected", "unit"), [(row[0], row[1], row[2]) for row in PLANTED])
def test_no_slip_is_named_for_the_right_answer(answer, expected, unit):
    told = ask(np.asarray(expected) * 1.005, expected, unit=unit)
    assert (told.correct, told.slip, told.attempt) == (True, "", 0)
    assert told.text.startswith("Right: ")


@pytest.mark.parametrize("unit", ["", "deg", "arcsec_px", "mm", "s", "px"])
def test_random_wrong_answers_are_seldom_taken_for_a_slip(unit):
    """Wrong by a factor drawn evenly in the logarithm from 1/3000 to 3000: fewer than one in ten is named.

    Each factor is met within 1 %, so the 20 or so factors of a unit cover about 20 × 0.02 / ln(9e6) = 2.5 %
    of the range; inverse, square and root add about as much.
    """
    rng = np.random.default_rng(7)
    ratios = np.exp(rng.uniform(-np.log(3000), np.log(3000), 2000)) * rng.choice([-1, 1], 2000)
    named = sum(bool(slips_of(7.3 * ratio, 7.3, unit=unit)) for ratio in ratios)
    assert 0 < named < 0.06 * len(ratios)


@pytest.mark.parametrize("ratio", [1.2, 0.7, 3.0, 5.0, 0.3, 7.0, 42.0, 0.04, 250.0, -1.4, -4.0, 1.93, 62.0])
@pytest.mark.parametrize("unit", ["deg", "mm", "s", "e", ""])
def test_a_wrong_answer_far_from_every_slip_names_none(ratio, unit):
    told = ask(7.3 * ratio, 7.3, unit=unit)
    assert not told.correct
    assert told.slip == ""
    assert "no slip known" in told.text


@pytest.mark.parametrize("blank", [None, ..., "", "  ", "...", "…", [], [1.0, None], (...,)])
def test_a_blank_is_named_and_costs_no_attempt(blank):
    attempts = Attempts()
    for _ in range(3):
        told = ask(blank, 2.256, attempts, unit="arcsec_px")
        assert (told.correct, told.slip, told.attempt) == (False, "blank", 0)
    assert "put your answer in ″/px" in told.text
    assert ask(5.0, 2.256, attempts).attempt == 1


@pytest.mark.parametrize(
    ("answer", "slip", "words"),
    [
        ("2.256", "not a number", "without quotes"),
        (math.nan, "NaN", "root or logarithm of a negative"),
        (math.inf, "infinite", "divided by zero"),
        (-np.inf, "infinite", "divided by zero"),
        (True, "not a number", "bool"),
        ({"a": 1}, "not a number", "dict"),
        (1 + 2j, "not a number", "complex"),
        (math.sqrt, "not a number", "that is a function"),
        (10**400, "infinite", "too large"),
        ([1.0, 2.0], "shape", "one number asked, 2 numbers received"),
        ([[1, 2], [3]], "not a number", "list"),
    ],
)
def test_what_is_no_number_is_said(answer, slip, words):
    told = ask(answer, 2.256)
    assert (told.correct, told.slip) == (False, slip)
    assert words in told.text


def test_a_quantity_is_asked_for_its_plain_number():
    from astropy import units as u

    told = ask(2.256 * u.arcsec, 2.256, unit="arcsec")
    assert (told.slip, told.correct) == ("not a number", False)
    assert "give the plain number in ″" in told.text


@pytest.mark.parametrize(
    "answer", [2, 2.0, np.float32(2), np.int64(2), np.array(2.0), [2.0], Fraction(2), Decimal(2)]
)
def test_every_kind_of_number_is_taken(answer):
    assert ask(answer, 2.0).correct


def test_hints_come_one_by_one_then_the_answer_and_where_the_solution_is():
    attempts = Attempts()
    told = [
        ask(9.9, 2.256, attempts, unit="arcsec_px", name="scale", formula="206.265 p / f") for _ in range(4)
    ]
    assert [one.attempt for one in told] == [1, 2, 3, 4]
    assert f"Hint 1 of 2: {HINTS[0]}" in told[0].text
    assert f"Hint 2 of 2: {HINTS[1]}" in told[1].text
    assert all("2.256" not in one.text for one in told[:2])
    for one in told[2:]:
        assert "The answer is 2.256 ″/px: 206.265 p / f." in one.text
        assert "folded in the cell right below" in one.text
    assert ask(9.9, 2.256, attempts, name="field").attempt == 1


def test_right_says_why_and_tolerance_is_a_share_or_absolute():
    assert ask(2.25, 2.256, because="A pixel is 3.5 µm.").text == "Right: 2.25.\nA pixel is 3.5 µm."
    assert ask(102, 100, tolerance=0.02).correct
    assert not ask(102.1, 100, tolerance=0.02).correct
    assert ask(-98, -100, tolerance=0.02).correct
    assert ask(0.4, 0.0, tolerance=0.0, absolute=0.5).correct
    assert not ask(0.6, 0.0, tolerance=0.0, absolute=0.5).correct
    assert ask(100.5, 100, tolerance=0.001, absolute=0.5).correct


def test_arrays_count_what_is_right_and_expected_nan_is_met_by_nan():
    assert "2 of 3 values are right" in ask([1, 2, 9.3], [1, 2, 3]).text
    assert ask([1.0, math.nan], [1.0, math.nan]).correct
    told = ask([1.0, math.nan], [1.0, 2.0])
    assert not told.correct
    assert "1 of 2" in told.text


def test_a_mistake_the_lesson_foresees_is_said_in_its_words():
    wrong = math.cos(52.4)
    told = ask(wrong, math.cos(math.radians(52.4)), mistakes={"np.cos wants radians.": wrong})
    assert (told.slip, told.text.splitlines()[0]) == ("mistake", "Not yet: np.cos wants radians.")


def test_two_slips_that_fit_alike_are_both_told():
    told = ask(3600.0, 60.0, unit="")
    assert told.slip == "factor 60"
    keys = [slip.key for slip in slips_of(15.0, 1.0, unit="deg")]
    assert keys == ["factor 15"]


def test_a_lesson_without_a_tolerance_or_with_one_hint_text_is_refused():
    with pytest.raises(ValueError, match="give a tolerance"):
        ask(1.0, 1.0, tolerance=0.0)
    with pytest.raises(ValueError, match="tolerance must be a number of 0 or more, received -1"):
        ask(1.0, 1.0, tolerance=-1)
    with pytest.raises(TypeError, match="hints must be a tuple"):
        ask(1.0, 1.0, hints="one text")


def test_feedback_has_html_and_a_plain_twin_with_the_same_words():
    told = ask("<b>2</b>", 2.256)
    page = told._repr_html_()
    assert repr(told) == told.text
    assert "<b>2</b>" not in page
    assert "&lt;b&gt;" in page
    assert "role='note'" in page
