"""The check of a formula written as a function: against the workbook, and the definition of the radian."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbook.lesson import Attempts, Published, check_function
from workbook.optics import image_scale_arcsec_px

CASES = [
    {"pixel_um": 3.5, "focal_mm": 320.0},
    {"pixel_um": 4.0, "focal_mm": 140.0},
    {"pixel_um": 9.0, "focal_mm": 2000.0},
]
# A 10 µm pixel at 2062.65 mm sees one arcsecond by the definition of the radian, 206,264.8″.
ROUND = Published({"pixel_um": 10.0, "focal_mm": 2062.65}, 1.0, "definition of the radian", 0.001)


def ask(f, attempts=None, **how):
    how = {"against": image_scale_arcsec_px, "cases": CASES, "hints": ("h one", "h two")} | how
    return check_function(f, attempts=attempts or Attempts(), **how)


def cosine(*, latitude_deg):
    return math.cos(math.radians(latitude_deg))


def test_a_right_function_is_told_so_with_the_published_value():
    told = ask(
        lambda pixel_um, focal_mm: 206.265 * pixel_um / focal_mm, published=ROUND, because="Small angles."
    )
    assert told.correct
    assert told.text.splitlines() == [
        "Right: your function agrees with image_scale_arcsec_px on all 3 cases.",
        "It gives the published 1 ″/px too (definition of the radian).",
        "Small angles.",
    ]


def test_a_function_that_misses_the_published_value_is_wrong():
    off = tuple(ROUND._replace(value=1.5))  # a plain tuple will do
    told = ask(image_scale_arcsec_px, published=off)
    assert not told.correct
    assert "printed as 1.5 ″/px (definition of the radian), yours gives 1 ″/px" in told.text


@pytest.mark.parametrize(
    ("f", "slip"),
    [
        (lambda pixel_um, focal_mm: pixel_um / focal_mm, "radians"),
        (lambda pixel_um, focal_mm: 206265 * pixel_um / focal_mm, "factor 1,000"),
        (lambda pixel_um, focal_mm: 206.265 * pixel_um / focal_mm / 60, "factor 60"),
        (lambda pixel_um, focal_mm: -206.265 * pixel_um / focal_mm, "sign"),
        (lambda pixel_um, focal_mm: focal_mm / pixel_um / 206.265, "inverse"),
        (lambda pixel_um, focal_mm: 206.265 * pixel_um, ""),
        (lambda pixel_um, focal_mm: 2.25598, ""),
        (lambda pixel_um, focal_mm: "2.3", "not a number"),
        (lambda pixel_um, focal_mm: math.nan, "NaN"),
        (lambda pixel_um, focal_mm: [1.0, 2.0], "shape"),
    ],
)
def test_the_slip_is_named_where_the_ratio_is_the_same_in_every_case(f, slip):
    told = ask(f)
    assert not told.correct
    assert told.slip == slip
    assert "Hint 1 of 2: h one" in told.text


def test_the_first_wrong_case_is_shown():
    told = ask(lambda pixel_um, focal_mm: 2.25598)
    assert "For pixel_um=4, focal_mm=140 yours gives 2.256 ″/px, the workbook 5.893 ″/px." in told.text
    assert "1 of 3 cases agree." in told.text


def test_degrees_fed_to_the_cosine_are_named_though_the_ratio_varies():
    cases = [{"latitude_deg": x} for x in (10.0, 34.0, 52.4)]
    told = ask(lambda latitude_deg: math.cos(latitude_deg), against=cosine, cases=cases)
    assert told.slip == "radians"
    assert "use np.radians" in told.text
    assert ask(lambda latitude_deg: math.cos(np.radians(latitude_deg)), against=cosine, cases=cases).correct
    assert ask(lambda latitude_deg: math.sin(latitude_deg), against=cosine, cases=cases).slip == ""


@pytest.mark.parametrize(
    ("f", "words"),
    [
        (lambda pixel_um, focal_mm: pixel_um / 0, "ZeroDivisionError: "),
        (lambda pixel_um, focal_mm: unknown, "NameError: "),  # noqa: F821 planted
        (lambda pixel, focal: pixel / focal, "It is called with the names pixel_um, focal_mm."),
        (lambda pixel_um, focal_mm: np.sqrt(np.float64(-pixel_um)), "RuntimeWarning: "),
    ],
)
def test_a_raising_function_gives_one_line_and_no_traceback(f, words):
    told = ask(f)
    assert not told.correct
    assert words in told.text
    assert "for pixel_um=3.5, focal_mm=320 your function stopped with" in told.text
    assert "Traceback" not in told.text
    assert len(told.text.splitlines()) == 2  # the fault and the hint


def test_blanks_cost_no_attempt_and_a_value_instead_of_a_function_is_said():
    attempts = Attempts()
    assert ask(..., attempts).slip == "blank"
    assert ask(lambda pixel_um, focal_mm: ..., attempts).slip == "blank"
    assert ask(lambda pixel_um, focal_mm: None, attempts).slip == "blank"
    told = ask(2.256, attempts)
    assert (told.slip, told.attempt) == ("not a function", 1)
    assert "Hint 2 of 2" in ask(2.256, attempts).text
    assert "The formula is p/f." in ask(2.256, attempts, formula="p/f").text


def test_the_learners_function_cannot_change_the_cases():
    case = {"pixel_um": np.array([3.5, 4.0]), "focal_mm": 320.0}

    def greedy(pixel_um, focal_mm):
        pixel_um *= 2
        return 206.265 * pixel_um / focal_mm

    assert ask(greedy, cases=[case]).slip == "factor 2"
    np.testing.assert_array_equal(case["pixel_um"], [3.5, 4.0])


def test_no_cases_are_refused():
    with pytest.raises(ValueError, match="at least one dict"):
        ask(image_scale_arcsec_px, cases=[])
