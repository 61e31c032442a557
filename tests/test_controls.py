"""The controls of a panel, each with its label, unit and number field; and the words of its readout."""

from __future__ import annotations

import re

import demo_figure
import pytest

from workbook.panels import Readout, choice, slider, switch


@pytest.fixture
def demo():
    return demo_figure.build()


# Controls


def test_a_label_carries_the_unit_of_the_name(demo):
    named = [re.sub("<[^>]+>", "", (c.field or c.widget).description) for c in demo.controls.values()]
    assert named == ["Sub length [s]", "Height of the axis [°]", "Mode", "Wide"]


def test_slider_and_number_field_hold_the_same_value(demo):
    control = demo.controls["height_deg"]
    control.widget.value = 30.5
    assert control.field.value == 30.5
    moves = demo.moves
    control.field.value = 61.2
    assert control.widget.value == 61.2
    assert demo.moves == moves + 1


def test_a_typed_number_outside_the_range_goes_to_the_end(demo):
    demo.controls["sub_s"].field.value = 5000
    assert demo.values["sub_s"] == 300


def test_a_logarithmic_slider_gives_three_digits_and_its_ends():
    control = slider("Sub length", 30, 1, 300, log=True)
    assert control.options == (1, 300, 17.3)  # the geometric middle, √300
    control.widget.value = 10**1.5
    assert control.value == 31.6
    assert control.field.value == 31.6
    control.field.value = 45
    assert control.value == 45
    control.widget.value = 300
    assert control.value == 300


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: slider("Sub", 0, 1, 300), "Sub: start 0 must lie between 1 and 300"),
        (lambda: slider("Sub", 1, 1, 1), "must lie between 1 and 1"),
        (lambda: slider("Sub", 0, 0, 300, log=True), "a logarithmic slider must start above 0, received 0"),
        (lambda: choice("Mode", "a", ["a"]), "Mode: a choice needs two options or more, received 1"),
    ],
)
def test_an_impossible_control_is_refused(make, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        make()


def test_a_choice_may_name_its_values():
    control = choice("Hemisphere", -1, {"north": 1, "south": -1})
    assert control.value == -1
    assert control.options == (1, -1)
    assert switch("Guided", True).options == (True, False)


# Words


def test_the_readout_is_announced_and_says_the_same_on_the_page_and_in_text():
    words = Readout("Finished hours", 3.44, "h", "measured", "Go out.", low=2.61, high=4.08)
    assert words.text() == "Finished hours: 3.4 h (68 % range 2.6 to 4.1 h, measured). Go out."
    page = words.html("#000")
    assert 'role="status"' in page
    assert re.sub("<[^>]+>", "", page.replace("<br>", " ")) == words.text()


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (Readout("Drift", -0.04, "″", "assumed", "Fine."), "Drift: 0.0″ (assumed). Fine."),
        (Readout("Drift", -1.26, "″/min", "assumed", "Fine."), "Drift: −1.3 ″/min (assumed). Fine."),
        (Readout("Share", 0.5, "", "assumed", "Half.", digits=2), "Share: 0.50 (assumed). Half."),
        (Readout("Voltage", None, "V", "assumed", "Brown-out."), "Voltage: no number (assumed). Brown-out."),
        (Readout("A <b>", 1, "h", "assumed", "x & y"), "A <b>: 1.0 h (assumed). x & y"),
    ],
    ids=["no minus zero", "minus sign", "no unit", "no number", "angle brackets"],
)
def test_numbers_read_as_a_person_writes_them(words, text):
    assert words.text() == text
    assert "<b>" not in words.html("#000")
