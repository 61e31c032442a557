"""Predict and lock, with and without its widgets; the widgets are driven from code, without a notebook."""

from __future__ import annotations

from pathlib import Path

import ipywidgets as widgets
import numpy as np
import pytest

from workbook.lesson import Ledger, Prediction
from workbook.lesson import predict as predict_module


def number(folder, **how):
    how = {"unit": "px", "low": 0, "high": 100, "step": 1} | how
    return Prediction("13-moon", "jupiter", "How wide is Jupiter?", ledger=Ledger(folder), **how)


def choice(folder, options=("worse", "same", "better"), **how):
    return Prediction(
        "02-turning", "focal", "Twice the focal?", ledger=Ledger(folder), options=options, **how
    )


def test_locking_commits_and_a_second_lock_changes_nothing(tmp_path):
    prediction = number(tmp_path)
    assert (prediction.locked, prediction.value) == (False, None)
    assert repr(prediction) == "Predict: How wide is Jupiter?\nGuess: 0 px to 100 px. No guess locked yet."
    assert prediction.lock(30).text == "Your guess is locked: 30 px."
    assert prediction.lock(60).text == "Your guess is locked: 30 px."
    assert (prediction.locked, prediction.value) == (True, 30.0)
    assert Ledger(tmp_path).find("13-moon", "jupiter")["guess"] == 30.0


def test_start_over_opens_it_and_the_ledger_keeps_the_first(tmp_path):
    prediction = number(tmp_path)
    prediction.lock(30)
    prediction.start_over()
    assert prediction.value is None
    assert "The ledger keeps your first: 30 px." in prediction.status()
    assert prediction.lock(60).text == "Your guess is locked: 60 px. (The ledger keeps your first: 30 px.)"
    prediction.reveal(60.0)
    entry = Ledger(tmp_path).find("13-moon", "jupiter")
    assert (entry["guess"], entry["later"], entry["hits"]) == (30.0, [60.0], False)


def test_a_restart_shows_the_earlier_guess_and_says_so(tmp_path):
    number(tmp_path).lock(30)
    again = number(tmp_path)
    assert (again.locked, again.value) == (True, 30.0)
    assert "Your guess from an earlier run is locked: 30 px." in repr(again)
    again.start_over()
    again.lock(45)
    assert number(tmp_path).value == 45.0


def test_an_earlier_guess_that_the_question_no_longer_allows_is_left_out(tmp_path):
    number(tmp_path).lock(90)
    assert not number(tmp_path, high=50).locked


def test_callbacks_get_the_guess_and_none_at_a_start_over(tmp_path):
    prediction, heard, late = number(tmp_path), [], []
    prediction.on_lock(heard.append)
    assert heard == []
    prediction.lock(30)
    prediction.on_lock(late.append)
    prediction.start_over()
    assert heard == [30.0, None]
    assert late == [30.0, None]


@pytest.mark.parametrize(
    ("guess", "answer", "words"),
    [
        (30, 45.0, "You guessed 30 px; the answer is 45 px: your guess is 1.5 times too small."),
        (90, 30.0, "You guessed 90 px; the answer is 30 px: your guess is 3 times too large."),
        (44, 40.0, "You guessed 44 px; the answer is 40 px: near enough, your guess is 10 % too high."),
        (28, 40.0, "You guessed 28 px; the answer is 40 px: your guess is 30 % too low."),
        (40, 40.1, "You guessed 40 px; the answer is 40.1 px: near enough, your guess is less than 1 % off."),
        (40, 40.0, "You guessed 40 px, and that is the answer."),
        (0, 20.0, "You guessed 0 px; the answer is 20 px: you are 20 px off."),
    ],
)
def test_reveal_compares_in_one_sentence(tmp_path, guess, answer, words):
    prediction = number(tmp_path)
    prediction.lock(guess)
    assert prediction.reveal(answer, 0.2).text == words
    entry = Ledger(tmp_path).find("13-moon", "jupiter")
    assert entry["answer"] == answer
    assert entry["hits"] == (abs(guess - answer) <= 0.2 * answer)


def test_the_same_words_for_negative_numbers(tmp_path):
    prediction = number(tmp_path, low=-10, high=10)
    prediction.lock(-2)
    assert "2 times too small" in prediction.reveal(-4.0).text
    prediction.start_over()
    prediction.lock(3)
    assert "you are 7 px off" in prediction.reveal(-4.0).text
    prediction.start_over()
    prediction.lock(-3)
    assert "25 % too high" in prediction.reveal(-4.0, 0.01).text


def test_reveal_tells_nothing_before_the_lock(tmp_path):
    told = number(tmp_path).reveal(45.0).text
    assert "Lock your guess first" in told
    assert "45" not in told
    assert not (tmp_path / "ledger.json").exists()


def test_choices(tmp_path):
    prediction = choice(tmp_path)
    assert "Choose: worse, same, better." in repr(prediction)
    prediction.lock("worse")
    told = prediction.reveal("same", because="Pixels from the centre decide.")
    assert told.text == "You guessed “worse”; the answer is “same”.\nPixels from the centre decide."
    assert Ledger(tmp_path).find("02-turning", "focal")["hits"] is False
    number_choice = choice(tmp_path / "b", options=(100, 400, 900), unit="px")
    number_choice.lock(400)
    assert number_choice.reveal(900).text == (
        "You guessed 400 px; the answer is 900 px: your guess is 2.2 times too small."
    )


@pytest.mark.parametrize(
    ("how", "error", "words"),
    [
        ({"low": 5, "high": 5}, ValueError, "low must be below high"),
        ({"low": None}, ValueError, "give low and high"),
        ({"step": 0}, ValueError, "step must be above 0"),
        ({"step": 1000}, ValueError, "step must be above 0 and within the range"),
        ({"high": float("inf")}, ValueError, "low must be below high"),
        ({"options": ("a", "b")}, ValueError, "either options or low"),
        ({"start": 200}, ValueError, "the guess must be 0 px to 100 px, received 200 px"),
    ],
)
def test_a_question_that_makes_no_sense_is_refused(tmp_path, how, error, words):
    with pytest.raises(error, match=words):
        number(tmp_path, **how)


def test_options_must_differ_and_be_texts_or_numbers(tmp_path):
    with pytest.raises(ValueError, match="two or more different"):
        choice(tmp_path, options=("a", "a"))
    with pytest.raises(ValueError, match="two or more different"):
        choice(tmp_path, options=("a",))
    with pytest.raises(TypeError, match="texts or numbers"):
        choice(tmp_path, options=(None, "a"))


def test_impossible_guesses_and_answers_are_refused(tmp_path):
    prediction = number(tmp_path)
    with pytest.raises(ValueError, match="the guess must be 0 px to 100 px, received 101 px"):
        prediction.lock(101)
    with pytest.raises(TypeError, match="must be a number in px"):
        prediction.lock("30")
    with pytest.raises(ValueError, match="confidence must be a share"):
        prediction.lock(30, confidence=70)
    assert not prediction.locked
    with pytest.raises(ValueError, match="finite"):
        prediction.reveal(np.nan)
    with pytest.raises(TypeError, match="must be a number"):
        prediction.reveal("same")
    with pytest.raises(ValueError, match="one of worse, same, better"):
        choice(tmp_path).lock("none")
    with pytest.raises(ValueError, match="one of the options"):
        choice(tmp_path).reveal("none")


def test_a_ledger_that_cannot_be_written_is_said_when_locking(tmp_path):
    (tmp_path / "file").write_text("")
    prediction = number(tmp_path / "file")
    assert "cannot be written" in prediction.lock(30).text
    assert prediction.value == 30.0


# the widgets


def parts(prediction):
    assert isinstance(prediction.box, widgets.VBox)
    return prediction._box


def test_slide_then_click_locks_and_greys_the_controls(tmp_path):
    prediction = number(tmp_path)
    box = parts(prediction)
    assert isinstance(box.control, widgets.FloatSlider)
    assert box.control.value == 50
    assert box.again.disabled
    box.control.value = 37
    assert box.number.value == 37
    box.number.value = 38
    assert box.control.value == 38
    assert prediction.value is None
    box.lock.click()
    assert prediction.value == 38.0
    assert all(control.disabled for control in (box.control, box.number, box.lock))
    assert "Your guess is locked: 38 px." in box.status.value
    box.again.click()
    assert prediction.value is None
    assert not any(control.disabled for control in (box.control, box.number, box.lock))
    assert box.again.disabled


@pytest.mark.parametrize("end", ["min", "max"])
def test_both_ends_of_the_slider_can_be_locked(tmp_path, end):
    prediction = number(tmp_path, low=0.1, high=0.7, step=0.1)
    box = parts(prediction)
    box.control.value = getattr(box.control, end)
    box.lock.click()
    assert prediction.value == {"min": 0.1, "max": 0.7}[end]


def test_every_choice_can_be_clicked(tmp_path):
    for n, option in enumerate(("worse", "same", "better")):
        prediction = choice(tmp_path / str(n))
        box = parts(prediction)
        box.control.value = option
        box.lock.click()
        assert prediction.value == option


def test_locking_from_code_moves_the_slider(tmp_path):
    prediction = number(tmp_path)
    box = parts(prediction)
    prediction.lock(12)
    assert (box.control.value, box.control.disabled) == (12, True)


def test_each_control_has_a_written_label_with_its_unit(tmp_path):
    box = parts(number(tmp_path))
    assert "[px]" in box.control.description
    assert "[px]" in box.number.description
    assert box.control.layout.width  # without one the track of the slider vanishes beside a long label
    assert parts(choice(tmp_path)).control.description
    assert "Lock my guess" in box.lock.description
    assert "role='status'" in box.status.value


def test_an_error_in_a_listener_is_shown_and_raised_again(tmp_path):
    prediction = number(tmp_path)
    box = parts(prediction)

    def broken(value):
        raise RuntimeError("picture <gone>")

    prediction.on_lock(broken)
    with pytest.raises(RuntimeError, match="picture"):
        box.guarded(lambda: prediction.lock(30))
    assert "role='alert'" in box.status.value
    assert "picture &lt;gone&gt;" in box.status.value
    second = parts(number(tmp_path / "b"))
    second.prediction.on_lock(broken)
    second.lock.click()  # without a kernel the button only logs what is raised; the reader sees the alert
    assert "role='alert'" in second.status.value


def test_the_bundle_has_the_widget_and_its_text_twin_without_ids(tmp_path):
    prediction = number(tmp_path)
    bundle = prediction._repr_mimebundle_()
    assert bundle["text/plain"] == repr(prediction)
    assert "How wide is Jupiter?" in bundle["text/html"]
    model = bundle["application/vnd.jupyter.widget-view+json"]["model_id"]
    assert model not in bundle["text/plain"] + bundle["text/html"]
    assert prediction.box is prediction.box


def test_the_logic_itself_imports_no_widgets():
    """The module names ipywidgets nowhere; the box is loaded when it is first shown."""
    assert not hasattr(predict_module, "widgets")
    assert "ipywidgets" not in Path(predict_module.__file__).read_text(encoding="utf-8")
