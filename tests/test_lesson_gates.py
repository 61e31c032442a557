"""The Sun gate, the safety notes and the recall questions."""

from __future__ import annotations

import pytest

from workbook.lesson import Gate, GateClosed, recall, safety


def test_the_gate_opens_only_with_all_six_ticked():
    gate = Gate("sun")
    assert len(gate.checklist.items) == 6
    for index in range(6):
        assert not gate.open
        with pytest.raises(GateClosed, match="The Sun gate is closed, so nothing is computed"):
            gate.require_open()
        gate.tick(index)
    assert gate.open
    gate.require_open()
    assert gate.missing == []


@pytest.mark.parametrize("index", range(6))
def test_one_item_missing_keeps_it_closed_and_is_named(index):
    gate = Gate("sun")
    for other in set(range(6)) - {index}:
        gate.tick(other)
    assert not gate.open
    with pytest.raises(GateClosed, match=gate.checklist.items[index].short):
        gate.require_open()


def test_a_tick_taken_away_closes_it_again_and_listeners_hear_both():
    gate, heard = Gate("sun"), []
    gate.on_change(heard.append)
    for index in range(6):
        gate.tick(index)
    gate.tick(3, False)
    gate.tick(2, False)
    assert heard == [True, False]
    assert not gate.open


def test_a_new_gate_is_closed_whatever_was_ticked_before():
    gate = Gate("sun")
    for index in range(6):
        gate.tick(index)
    assert not Gate("sun").open


def test_a_notebook_shows_the_closed_gate_as_one_line():
    error = GateClosed("closed")
    assert error._render_traceback_() == ["closed"]


def test_the_tick_boxes_follow_and_lead():
    gate = Gate("sun")
    assert len(gate.box.children) == 9  # title, six rows, remark, status
    for box in gate._box.boxes:
        assert not gate.open
        assert box.description
        box.value = True
    assert gate.open
    assert "the gate is open" in gate._box.status.value
    gate._box.boxes[0].value = False
    assert not gate.open
    gate.tick(0)
    assert gate._box.boxes[0].value
    assert gate.open


def test_the_text_twin_lists_every_item_with_its_tick():
    gate = Gate("sun")
    gate.tick(0)
    lines = repr(gate).splitlines()
    assert sum(line.startswith("[ ]") for line in lines) == 5
    assert sum(line.startswith("[x]") for line in lines) == 1
    assert lines[-1] == "The Sun gate is closed: 5 of 6 not ticked yet."
    assert gate._repr_mimebundle_()["text/plain"] == repr(gate)


@pytest.mark.parametrize(
    "word",
    [
        "filter",
        "pinholes",
        "wind",
        "child",
        "finder",
        "eyepiece",
        "slew",
        "shadow",
        "alone",
        "12312-2",
        "Caps",
    ],
)
def test_the_sun_checklist_names_each_danger(word):
    assert word in repr(Gate("sun"))
    assert word in safety("sun").text


@pytest.mark.parametrize(
    ("topic", "words"),
    [
        ("lithium", ("0 °C", "fuse", "100 Wh", "cabin")),
        ("mains", ("indoors", "residual-current", "electrician")),
        ("lifting", ("apart", "safety screw", "tether")),
        ("laser", ("aircraft", "torch")),
        ("cold", ("layers", "thunder")),
        ("everywhere", ("not electrical, structural, aviation or medical advice",)),
    ],
)
def test_each_safety_note_says_what_matters(topic, words):
    note = safety(topic)
    assert note.text.startswith("Safety. ")
    for word in words:
        assert word in note.text
        assert word in note._repr_html_()


def test_unknown_gates_and_topics_list_the_known_ones():
    with pytest.raises(ValueError, match="gate must be one of 'sun', received 'moon'"):
        Gate("moon")
    with pytest.raises(ValueError, match="topic must be one of 'lithium', 'mains'"):
        safety("fire")
    with pytest.raises(IndexError, match="items 0 to 5, received 6"):
        Gate("sun").tick(6)


def test_recall_folds_the_answers_and_its_twin_puts_them_last():
    note = recall([("What is <scale>?", "206.265 p / f"), ("Why?", "Small angles.\nAlways.")])
    assert note.text.splitlines() == [
        "Recall 1: What is <scale>?",
        "Recall 2: Why?",
        "Answer 1: 206.265 p / f",
        "Answer 2: Small angles.",
        "Always.",
    ]
    page = note._repr_html_()
    assert page.count("<details>") == 2
    assert "&lt;scale&gt;" in page
    assert "<details open" not in page


@pytest.mark.parametrize("wrong", [[], [("only a question",)], ["ab"], [("q", 3)]])
def test_recall_refuses_what_is_no_pair_of_texts(wrong):
    if wrong == ["ab"]:
        wrong = ["a question"]
    with pytest.raises(ValueError, match="pairs of texts"):
        recall(wrong)
