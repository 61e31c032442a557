"""The game of lesson 04: the same mount for everybody, drifts from the physics, won by those who stop in time."""

from __future__ import annotations

import re

import numpy as np
import pytest

from workbook.lesson.hidden_screws import HiddenScrews, open_mount

RATE = 0.26252  # reference row POL-01: ″/min of drift for each arcminute
COS = np.cos(np.radians(52.4))


def heard(note):
    """Drift and its standard deviation as a player reads them."""
    text = note.text.replace("−", "-")
    return float(re.search(r"off: ([-+.\d]+) ″/min", text)[1]), float(
        re.search(r"deviation (\d+\.\d+)", text)[1]
    )


def off_arcmin(note):
    return float(re.search(r"stands ([.\d]+)′", note.text)[1])


def found(hours_deg, drifts):
    """Derivation: two equations −RATE (ΔA cos φ cos H + Δh sin H) solved by numpy, in turns of 30′ and 20′."""
    turn = np.radians(hours_deg)
    return np.linalg.solve(-RATE * np.column_stack([30 * COS * np.cos(turn), 20 * np.sin(turn)]), drifts)


@pytest.mark.parametrize("number", range(1, 25))
def test_a_game_played_by_the_numbers_that_are_heard(number):
    """Derivation: ten minutes on two stars 90° apart know the axis within 0.33′ each way: 4 σ in both is 1.9′."""
    game = open_mount(number)
    drifts = [heard(game.watch(hour, 10))[0] for hour in (-63, 27)]
    game.turn(*-found([-63, 27], drifts))
    end = game.stop()
    assert off_arcmin(end) < 1.9
    assert "Good enough" in end.text
    assert "You used 26 minutes; fewer is better" in end.text


def test_a_hidden_axis_is_heard_with_its_sign():
    """Derivation: 1 turn of 30′ too far east drifts 0.2625 × 30 × cos φ = 4.8″/min south on the meridian; 1 turn too
    high drifts 0.2625 × 20 × sin 63° = 4.7″/min north in the east. Half an hour knows it within 0.02″/min.
    """
    game = HiddenScrews(3)
    assert "Hidden" in game.hide(1.0, 0.0).text
    drift, sigma = heard(game.watch(0, 30))
    assert drift == pytest.approx(-RATE * 30 * COS, abs=0.1)
    assert sigma == pytest.approx(2 * np.sqrt(12) / (30 * np.sqrt(181)), abs=0.006)
    high = HiddenScrews(3)
    high.hide(0.0, 1.0)
    assert heard(high.watch(-63, 30))[0] == pytest.approx(RATE * 20 * np.sin(np.radians(63)), abs=0.1)
    game.turn(-1.0, 0)
    assert abs(heard(game.watch(0, 30))[0]) < 0.1


def test_a_number_is_the_same_mount_for_a_whole_class():
    first, second, other = HiddenScrews(5), HiddenScrews(5), HiddenScrews(6)
    assert first.watch(-63, 6).text == second.watch(-63, 6).text != other.watch(-63, 6).text
    assert first.watch(-63, 6).text != second.watch(-63, 7).text
    texts = {HiddenScrews(number).watch(0, 20).text for number in range(1, 13)}
    assert len(texts) == 12


def test_stopping_too_early_does_not_count():
    game = HiddenScrews(4)
    game.watch(0, 2)
    text = game.stop().text
    assert "Not good enough" in text
    assert "do not count" in text
    assert off_arcmin(game.stop()) >= 12.0
    assert game.over


def test_the_hidden_turns_are_not_shown_before_the_end():
    game = HiddenScrews(8)
    game.hide(1.3, -0.9)
    said = [repr(game), game.watch(-63, 5).text, game.turn(0.1, 0.1).text]
    assert not any("1.3" in text or "0.9 " in text for text in said)
    assert "+1.3 (azimuth) and −0.9 (altitude)" in game.stop().text


def test_the_clock_counts_minutes_and_handling():
    """Derivation: 2 minutes to find each star, 2 for each turn of the screws."""
    game = HiddenScrews(2)
    game.watch(-63, 6)
    game.watch(27, 4)
    game.turn(0.1, 0)
    assert game.minutes == 6 + 2 + 4 + 2 + 2


def test_slips_of_the_keyboard_are_free():
    game = HiddenScrews(9)
    assert "Nothing watched" in game.watch(..., ...).text
    assert "Nothing turned" in game.turn(..., ...).text
    assert "Two plain numbers" in game.watch("east", 5).text
    assert "Two plain numbers" in game.turn("a lot", 0).text
    assert "Not in view: this balcony sees hour angles from −73° to 33°" in game.watch(60, 5).text
    assert "2 to 30 minutes" in game.watch(0, 90).text
    assert "it would come out" in game.turn(7, 0).text
    assert "it would come out" in game.turn(float("nan"), 0).text
    assert "watch two stars first" in game.stop().text
    assert "Too little to find" in game.hide(0.1, 0.1).text
    assert game.minutes == 0
    game.watch(0, 5)
    assert "Too late" in game.hide(1, 1).text
    game.stop()
    assert all("is over" in note.text for note in (game.watch(0, 5), game.turn(1, 1)))


@pytest.mark.parametrize(
    ("number", "error", "words"),
    [(0, ValueError, "1 or more"), (True, TypeError, "whole number"), ("3", TypeError, "whole number")],
)
def test_what_is_no_number_of_a_mount_is_refused(number, error, words):
    with pytest.raises(error, match=words):
        HiddenScrews(number)
