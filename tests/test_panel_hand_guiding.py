"""Lesson 06: the hand box. Buttons pressed in Python, dead time, play, the common night, both players' stars."""

from __future__ import annotations

import ipywidgets as widgets
import numpy as np
import pytest

from workbook import passport
from workbook.figures import hand_guiding as figure
from workbook.lesson import Ledger, Prediction
from workbook.panels import build_hand_guiding
from workbook.panels.hand_guiding import FRAMES

BALCONY = passport.scenario("balcony")
WAYS = {"east": (1, 0), "west": (-1, 0), "north": (0, 1), "south": (0, -1)}
SPEED = 1.0 / 0.13297  # reference row TRK-11: ″/s of a correction at half the sidereal rate


@pytest.fixture
def hand():
    return build_hand_guiding(BALCONY)


def buttons(box):
    """All buttons of a panel by their words."""
    if isinstance(box, widgets.Button):
        return {box.description: box}
    return {
        words: button for child in getattr(box, "children", ()) for words, button in buttons(child).items()
    }


def by_rule(hand):
    """A calm player: a press against what the newest frame shows, if it shows more than one arcsecond."""
    while hand.result.frames < FRAMES:
        ra, dec = hand.result.you.seen_ra_arcsec[-1], hand.result.you.seen_dec_arcsec[-1]
        if max(abs(ra), abs(dec)) < 1:
            hand.wait()
        elif abs(ra) > abs(dec):
            hand.press("west" if ra > 0 else "east")
        else:
            hand.press("south" if dec > 0 else "north")


@pytest.mark.parametrize("way", list(WAYS))
@pytest.mark.parametrize("dead", [0.0, 2.0, 4.0])
def test_one_press_moves_the_mount_after_the_dead_time(hand, way, dead):
    """Derivation: 0.2 s at the guide speed of row TRK-11; along right ascension × cos 30°; from 2 s + dead time on."""
    hand.set(dead_time_s=dead)
    hand.press(way)
    hand.wait(9)
    you, nobody = hand.result.you, hand.result.nobody
    moved = np.stack([you.ra_arcsec - nobody.ra_arcsec, you.dec_arcsec - nobody.dec_arcsec])
    late = you.seconds >= 2.0 + dead + 0.2
    np.testing.assert_allclose(moved[:, you.seconds <= 2.0 + dead], 0.0, atol=1e-9)
    share = (np.cos(np.pi / 6), 1.0)
    wanted = [0.2 * SPEED * s * w for s, w in zip(share, WAYS[way], strict=True)]
    np.testing.assert_allclose(moved[:, late], np.outer(wanted, np.ones(late.sum())), atol=1e-4)
    np.testing.assert_allclose(hand.result.reach_arcsec, 0.2 * SPEED * np.array(share), rtol=1e-4)


def test_the_buttons_on_the_page_do_the_same(hand):
    found = buttons(hand.box)
    for words in ("← East", "→ West", "↑ North", "↓ South", "Wait 1 frame"):
        before, picture = hand.result.frames, hand.picture
        found[words].click()
        assert hand.result.frames == before + 1
        assert hand.picture != picture
    found["Wait 5 frames"].click()
    assert hand.result.frames == 11
    assert hand.result.presses == 4
    found["Reset"].click()
    assert (hand.result.frames, hand.result.presses) == (1, 0)
    assert hand._timer is None or not hand._timer.is_alive()  # nothing runs by itself


def test_play_swallows_the_first_presses(hand):
    """Derivation: the wheel stands in the middle of 25″ of play: 12.5″ are 8.3 presses of 1.504″ before it moves."""
    hand.set(play=True)
    for _ in range(8):
        hand.press("south")
    hand.wait(5)
    np.testing.assert_allclose(hand.result.you.dec_arcsec, hand.result.nobody.dec_arcsec, atol=1e-9)
    hand.press("south")
    hand.wait(5)
    moved = hand.result.you.dec_arcsec[-1] - hand.result.nobody.dec_arcsec[-1]
    assert moved == pytest.approx(-(9 * 0.2 * SPEED - 12.5), abs=1e-3)


def test_the_class_plays_one_night(hand):
    other = build_hand_guiding(BALCONY)
    for panel in (hand, other):
        panel.press("east")
        panel.wait(10)
    np.testing.assert_array_equal(hand.result.you.seen_ra_arcsec, other.result.you.seen_ra_arcsec)
    np.testing.assert_array_equal(hand.result.controller.ra_arcsec, other.result.controller.ra_arcsec)


def test_a_frame_shows_the_past_only(hand):
    """Derivation: what was seen does not change by what is pressed later."""
    hand.wait(10)
    seen = hand.result.you.seen_ra_arcsec.copy()
    for _ in range(5):
        hand.press("east")
    np.testing.assert_array_equal(hand.result.you.seen_ra_arcsec[:11], seen)
    assert hand.result.you.seen_ra_arcsec.size == 16


def test_rms_and_growth_by_hand(hand):
    """Derivation: root of the mean square from the cross; width from the variance about the mean, 8 ln 2 times."""
    by_rule(hand)
    for player in (hand.result.you, hand.result.controller, hand.result.nobody):
        assert player.ra_rms_arcsec == pytest.approx(np.sqrt(np.mean(player.ra_arcsec**2)), rel=0.01)
        assert player.rms_arcsec == pytest.approx(np.hypot(player.ra_rms_arcsec, player.dec_rms_arcsec))
        star = hand.night.star_arcsec(3.0)
        ra, dec = (np.sqrt(star**2 + 5.545177 * path.var()) for path in (player.ra_arcsec, player.dec_arcsec))
        assert player.growth.growth == pytest.approx(np.sqrt(ra * dec) / star, rel=0.01)


def test_calm_play_beats_nobody_by_far_and_long_presses_swing(hand):
    """Derivation: a press of 3.8″ on an error of one, seen too late, overshoots: the dead time is felt."""
    by_rule(hand)
    calm = hand.result.you.rms_arcsec
    assert calm < 0.2 * hand.result.nobody.rms_arcsec
    hand.reset()
    hand.set(press_s=0.5)
    by_rule(hand)
    assert hand.result.you.rms_arcsec > 2.0 * calm
    text = str(hand)
    assert "The end. As one sub of 120 s your star grows by" in text
    assert "Nobody: 15.3″" in text
    hand.reset()
    hand.set(press_s=0.5, dead_time_s=4.0)
    by_rule(hand)
    late = hand.result.you.rms_arcsec
    hand.set(dead_time_s=0.0)
    by_rule(hand)
    assert late > 2.0 * hand.result.you.rms_arcsec


def test_the_controller_keeps_its_own_dead_time(hand):
    hand.wait(60)
    before = hand.result.controller.rms_arcsec
    hand.set(dead_time_s=4.0)
    hand.wait(60)
    assert hand.result.controller.rms_arcsec == before
    assert before < 0.2 * hand.result.nobody.rms_arcsec


def test_the_game_ends_and_begins_anew(hand):
    hand.wait(200)
    assert hand.result.frames == FRAMES
    hand.press("east")
    assert hand.result.presses == 0
    hand.set(dead_time_s=4.0)  # other rules, new game
    assert hand.result.frames == 1
    hand.press("east")
    hand.set(press_s=0.5)  # the same rules: the game goes on
    assert (hand.result.frames, hand.result.presses) == (2, 1)
    with pytest.raises(
        ValueError, match="way must be one of 'east', 'west', 'north', 'south', received 'up'"
    ):
        hand.press("up")


def test_the_guess_is_compared_at_the_end_only(hand, tmp_path):
    guess = Prediction(
        "06-guiding", "hand", "?", ledger=Ledger(tmp_path), unit="arcsec", low=1, high=15, step=1
    )
    guess.lock(5)
    hand.follow(guess)
    assert hand.ghost == 5
    assert "Play to the end first: 1 of 60" in hand.finish(guess).text
    hand.wait(60)
    text = hand.finish(guess).text
    assert "You guessed 5″; the answer is 15.3″" in text
    assert "The controller: 1.5″" in text


def test_where_the_newest_frame_stands(hand):
    """East is drawn to the left and north up; the pictures hold what was seen."""
    hand.wait(30)
    x, y = hand._artists.now.get_data()
    assert (x[0], y[0]) == (hand.result.you.seen_ra_arcsec[-1], hand.result.you.seen_dec_arcsec[-1])
    left, right = hand._artists.target.get_xlim()
    assert left > 0 > right
    assert left >= abs(x[0])
    assert figure.place(-1.23, "east", "west") == "1.2″ west"
    assert f"{abs(x[0]):.1f}″ {'east' if x[0] > 0 else 'west'}" in hand.alt
