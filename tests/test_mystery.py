"""The mysteries of lesson 08: the same for everybody, answered from the physics, scored by tests and not by luck."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from workbook.lesson import mystery
from workbook.lesson.mystery import CENTRE, CORNER, KINDS, SUSPECTS, TESTS, Case

NUMBERS = range(1, 25)
CASES = {kind: next(n for n in NUMBERS if Case(n)._kind == kind) for kind in KINDS}


def case(kind):
    return Case(CASES[kind])


# Which case


def test_a_number_is_the_same_case_for_a_whole_class():
    first, second = Case(5), Case(5)
    assert repr(first) == repr(second)
    for test in TESTS:
        assert first.test(test).text == second.test(test).text
    assert repr(Case(17)) != repr(Case(5))


def test_each_dozen_holds_each_kind_once_and_begins_with_a_star_to_complain_about():
    assert len(KINDS) >= 6 + 1
    assert {letter for kind in KINDS for letter in kind} == set(SUSPECTS)
    for first in (1, 13, 25):
        assert sorted(Case(n)._kind for n in range(first, first + len(KINDS))) == sorted(KINDS)
    assert [Case(n)._kind for n in range(1, 13)] != [Case(n)._kind for n in range(13, 25)]
    assert all("sharp" not in repr(Case(n)).split("\n")[1] for n in NUMBERS)


@pytest.mark.parametrize("number", [0, -3])
def test_numbers_below_one_are_refused(number):
    with pytest.raises(ValueError, match="1 or more"):
        Case(number)


@pytest.mark.parametrize("number", [True, 2.5, "3"])
def test_what_is_no_whole_number_is_refused(number):
    with pytest.raises(TypeError, match="whole number"):
        Case(number)


def test_the_answer_is_not_shown_before_it_is_found():
    """Everything a player can print before the end names all suspects or none."""
    for number in NUMBERS:
        seen = repr(Case(number))
        assert all(f"{letter}: {words}" in seen for letter, words in SUSPECTS.items())
        told = " ".join(Case(number).test(test).text for test in TESTS)
        assert not any(words in told for words in SUSPECTS.values())


# What the tests answer, from the physics


def test_a_short_sub_takes_the_drift_and_nothing_else():
    """Derivation: a trail is as long as the sub; optics do not know the time."""
    short = case("G")._looks[3]
    np.testing.assert_allclose(short.long_px[CENTRE], mystery._rig().faultless_px, rtol=0.01)
    for kind in "ABCDEF":
        looks = case(kind)._looks
        np.testing.assert_array_equal(looks[3].width_px, looks[0].width_px)


def test_refocusing_cures_focus_alone():
    """Derivation: with the focus back, the centre of a focus case is faultless and the corners are alike and round."""
    after = case("E")._looks[4]
    np.testing.assert_allclose(after.width_px[CENTRE], mystery._rig().faultless_px, rtol=1e-9)
    np.testing.assert_allclose(after.long_px[1:], after.short_px[1:], rtol=1e-6)
    for kind in "ABCDFG":
        looks = case(kind)._looks
        np.testing.assert_array_equal(looks[4].width_px, looks[0].width_px)


@pytest.mark.parametrize("kind", ["A", "B", "BC", "E", "BE", "AG", "D"])
def test_refocusing_for_the_corners_finds_their_best(kind):
    """Derivation: no focus in steps of 1 µm about it makes the mean square of the four corners smaller."""
    causes = mystery.draw_causes(kind, 1, seed=CASES[kind])
    rig = mystery._rig()
    places = {"across": mystery.ACROSS[1:], "up": mystery.UP[1:]}
    best = mystery.situations(causes)[5].width_px[0, 1:]
    trials = causes._replace(focus_um=np.arange(-150.0, 151.0))
    squares = (mystery.stars_at(rig, trials, **places).width_px ** 2).mean(axis=-1)
    assert (best**2).mean() <= squares.min() + 1e-3


def test_refocusing_for_the_corners_spoils_the_centre_of_a_wrong_spacing():
    """Derivation: a curved field is sharp in a ring or in the centre, not in both."""
    for kind in "AB":
        looks = case(kind)._looks
        assert looks[5].width_px[CORNER] < looks[0].width_px[CORNER]
        assert looks[5].width_px[CENTRE] > 1.15 * looks[0].width_px[CENTRE]


def test_a_turned_camera_turns_trail_and_flare_but_not_the_tilt():
    """Derivation: mount and lens stay behind when the camera turns by 90°; its own sensor does not."""
    for kind in "FG":
        looks = case(kind)._looks
        np.testing.assert_allclose(looks[6].width_px[CENTRE], looks[0].width_px[CENTRE])
        many = mystery.situations(mystery.draw_causes(kind, 60, seed=1))
        before, after = many[0].shape[:, CORNER], many[6].shape[:, CORNER]
        clear = np.isin(before, [1, 3]) & (after > 0)
        assert clear.sum() > 20
        np.testing.assert_array_equal(after[clear], 4 - before[clear])  # pointing and circling change places
    for kind in "ABCDE":
        looks = case(kind)._looks
        np.testing.assert_allclose(looks[6].long_px, looks[0].long_px)
        np.testing.assert_array_equal(looks[6].shape, looks[0].shape)


def test_more_spacer_helps_where_it_was_too_short():
    """Derivation: 0.3 mm more is 12.6 µm less curvature at the corner, towards nought from too close."""
    for kind, word in (("A", "narrower"), ("B", "wider"), ("F", "as wide"), ("G", "as wide")):
        answer = case(kind).test(7).text.split("\n")[1]  # coma and drift hardly change by it
        assert word in answer or kind in "FG", (kind, answer)
    looks = {kind: case(kind)._looks for kind in "AB"}
    assert all(looks["A"][7].width_px[1:] < looks["A"][0].width_px[1:])
    assert all(looks["B"][7].width_px[1:] > looks["B"][0].width_px[1:])
    assert all(looks[kind][7].width_px[0] == looks[kind][0].width_px[0] for kind in "AB")


def test_a_tilt_shows_in_opposite_corners():
    """Derivation: left against right (C), bottom against top (D): one pair points, the other circles."""
    right, left, below = [1, 4], [2, 3], [3, 4]
    shape = case("C")._looks[0].shape
    assert len(set(shape[right])) == len(set(shape[left])) == 1
    assert {int(shape[1]), int(shape[2])} == {1, 3}
    shape = case("D")._looks[0].shape
    assert len(set(shape[below])) == len(set(shape[[1, 2]])) == 1
    assert {int(shape[1]), int(shape[4])} == {1, 3}


# Solving and scoring


@pytest.mark.parametrize("number", NUMBERS)
def test_all_tests_together_leave_one_kind(number):
    """A case that cannot be told from another by any test would be a lottery."""
    mystery_case = Case(number)
    assert mystery.possible(mystery_case._words, tuple(TESTS)) <= {mystery_case._kind}


@pytest.mark.parametrize("kind", KINDS)
def test_proof_costs_its_tests_and_luck_costs_the_same(kind):
    """The score of a bare accusation is that of the shortest proof; a longer proof costs what was made."""
    lucky, proven, thorough = case(kind), case(kind), case(kind)
    lucky.accuse(kind)
    best = mystery.missing_tests(kind, proven._words, ())
    for test in best:
        proven.test(test)
    proven.accuse(kind[::-1].lower())
    for test in TESTS:
        thorough.test(test)
    thorough.accuse(kind)
    assert lucky.score == proven.score == len(best) >= 1
    assert thorough.score == len(TESTS)
    assert lucky.solved
    assert "was still missing and is counted" in (case(kind).accuse(kind).text)


@pytest.mark.parametrize("kind", ["A", "D", "F", "BC"])
def test_missing_tests_are_the_fewest(kind):
    """Derivation: no smaller set leaves the accused alone."""
    words = case(kind)._words
    best = mystery.missing_tests(kind, words, ())
    assert mystery.possible(words, best) <= {kind}
    for fewer in itertools.combinations(TESTS, len(best) - 1):
        assert mystery.possible(words, fewer) - {kind}


def test_a_wrong_accusation_costs_two_and_says_what_speaks_against_it():
    found = case("G")
    found.test(3)
    other = "A" if "pointing" in repr(found).split("\n")[1] else "B"  # what the corner alone would suggest
    said = found.accuse(other).text
    assert "counts as 2 tests" in said
    assert "Test 3 speaks against it" in said
    assert not found.solved
    assert found.score is None
    assert "None of the cases has these two" in found.accuse("CE").text
    found.accuse("G")
    assert found.score == 1 + 2 * 2
    assert "is solved" in found.accuse("A").text
    assert found.wrong == 2


def test_an_accusation_before_the_evidence_is_told_so():
    found = case("A")
    assert "speaks against it yet" in found.accuse("G").text
    assert "corner you began with speaks against it" in found.accuse("B").text


def test_repeats_blanks_and_slips_of_the_keyboard_are_free():
    found = Case(3)
    assert "No test made" in found.test(...).text
    assert "Nobody accused" in found.accuse(...).text
    for nonsense in (0, 8, "x", "", 2.5, [1]):
        assert "no test" in found.test(nonsense).text
    for nonsense in ("", "H", "ABC", 7):
        assert "no such suspect" in found.accuse(nonsense).text
    assert (found.made, found.wrong) == ([], 0)
    assert found.test(2).text == found.test("2").text
    assert found.made == [2]
    found.accuse(f"{found._kind[0]}, {found._kind[-1]}")
    assert found.solved
    found.test(4)
    assert found.made == [2]


def test_it_can_be_played_in_words():
    """Every place of every answer has its size in px, a word for its width and one for its shape."""
    found = Case(7)
    for test in TESTS:
        lines = found.test(test).text.splitlines()
        stars = [line for line in lines if " px, " in line]
        assert len(stars) == {1: 3, 2: 1, 4: 2, 5: 2}.get(test, 1)
        assert all(any(word in line for word in ("sharp", "wide")) for line in stars)
        assert all(any(word in line for word in (*mystery.SHAPES, "long")) for line in stars)
        assert lines[-1].endswith("so far.")
