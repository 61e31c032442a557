"""The questions of the lessons themselves, run as they stand in the notebooks, with planted wrong answers."""

from __future__ import annotations

from pathlib import Path

import nbformat
import numpy as np
import pytest

from workbook.lesson.words import unit_label

NOTEBOOKS = Path(__file__).parents[1] / "notebooks"


def lesson_of(stem, monkeypatch, tmp_path):
    """Run the set-up cells of a notebook and return its lesson."""
    monkeypatch.setenv("WORKBOOK_HOME", str(tmp_path))
    monkeypatch.delenv("WORKBOOK_PASSPORT", raising=False)
    notebook = nbformat.read(NOTEBOOKS / f"{stem}.ipynb", as_version=4)
    names: dict = {}
    for cell in notebook.cells:
        if cell.cell_type == "code" and "setup" in cell.metadata.get("tags", []):
            exec(cell.source, names)
    return names["lesson"]


VALUES = {
    "01-picture": {"small nebula": 33.8, "guide scale": 5.893, "focal length": 314.15},
    "02-turning-field": {"equator": 4.216, "focal length": 17.6, "south": -24.94},
    "03-level-tilt-point": {"faded": 102.49, "clock": 29.92, "base": 48.0},
    "04-pole-from-a-balcony": {"faded": -7.99, "meridian": -5.62, "area": 2.0},
    "05-gears": {"faded": 7.142, "rate": 0.2618, "rule": 9.697},
    "07-stiff-balanced-upright": {"faded": 147.0, "settle": 3.258, "overhang": 45.96},
    "06-guiding": {"faded": 6.583, "allowed": 0.6811, "flexure": 22.56},
    "08-flat-field": {"faded": 15.526, "kelvin": 5.876, "tilt": 4.911},
    "09-one-exposure": {"faded": 49.95, "time": 44.0, "filter": 306.1},
    "10-how-many-hours": {"faded": 0.4878, "clearer": 36.0, "hazy": 49.0},
    "13-moon-sun-planets": {"faded": 302.5, "red": 8.923, "rim": 20.03},
    "11-warm-sensor": {"faded": 0.22449, "pair": 4.2426, "wait": 15.351},
    "12-tonight-on-batteries": {"faded": 8.416, "rule": 172.8, "drop": 1.0525},
    "14-how-far": {"faded": 2.28, "two magnitudes": 6.31, "duty": 0.75},
}
IN_ONE_RADIAN = {"°": 180 / np.pi, "′": 180 * 60 / np.pi, "″": 180 * 3600 / np.pi}
ASKED = [(stem, name, value) for stem, asked in VALUES.items() for name, value in asked.items()]


@pytest.mark.parametrize(("stem", "name", "right"), ASKED)
def test_the_right_answer_is_right_and_slips_are_named(stem, name, right, monkeypatch, tmp_path):
    lesson = lesson_of(stem, monkeypatch, tmp_path)
    assert lesson.answer(name, right).correct
    planted = {
        "blank": ...,
        "sign": -right,
        "60": right * 60,
        "1000": right * 1000,
    }
    for slip, wrong in planted.items():
        feedback = lesson.answer(name, wrong)
        assert not feedback.correct
        assert feedback.slip, (slip, feedback.text)
    assert "Nothing filled in yet" in lesson.answer(name, None).text
    assert "sign" in lesson.answer(name, -right).text
    sixty = lesson.answer(name, right * 60).text
    unit = unit_label(lesson._questions[name].get("unit", "")).split("/")[0]  # of a rate the angle
    if unit in IN_ONE_RADIAN:
        in_radians = lesson.answer(name, right / IN_ONE_RADIAN[unit])
        assert not in_radians.correct
        assert in_radians.slip == "radians", in_radians.text
        assert not lesson.answer(name, right * np.pi / 180).correct  # as if in degrees
    pairs = ("seconds where minutes", "minutes where hours", "arcseconds where arcminutes")
    assert any(words in sixty for words in ("60", *pairs)), sixty


def efficiency(*, sub_s, frame_yield, overhead_s, background_e_s_px, read_noise_e):
    duty = sub_s / (sub_s + overhead_s)
    return frame_yield * duty * background_e_s_px / (background_e_s_px + read_noise_e**2 / sub_s)


def test_the_function_of_the_capstone(monkeypatch, tmp_path):
    """The folded solution passes; a blank, a sign, a factor and a missing square are wrong."""
    lesson = lesson_of("14-how-far", monkeypatch, tmp_path)
    assert lesson.answer("efficiency", efficiency).correct
    assert not lesson.answer("efficiency", lambda **_: None).correct
    for wrong in (
        lambda **k: -efficiency(**k),
        lambda **k: 60.0 * efficiency(**k),
        lambda **k: 100.0 * efficiency(**k),
        lambda **k: efficiency(**(k | {"read_noise_e": np.sqrt(k["read_noise_e"])})),
        lambda **k: 1 / 0,
    ):
        feedback = lesson.answer("efficiency", wrong)
        assert not feedback.correct
        assert "Traceback" not in feedback.text
    assert "sign" in lesson.answer("efficiency", lambda **k: -efficiency(**k)).text


def test_every_question_of_every_lesson_has_planted_answers(monkeypatch, tmp_path):
    for path in NOTEBOOKS.glob("*.ipynb"):
        lesson = lesson_of(path.stem, monkeypatch, tmp_path)
        asked = {name for name, how in lesson._questions.items() if "expected" in how}
        assert asked == set(VALUES.get(path.stem, {})), path.stem
