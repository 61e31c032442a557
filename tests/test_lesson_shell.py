"""Setting a lesson up: whose rig, which folder, and one run of predictions, answers and gates."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

import workbook
from workbook.lesson import Ledger, Lesson, find_rig, home_folder, setup
from workbook.lesson import home as home_module
from workbook.lesson.words import in_words
from workbook.passport.schema import Fault, PassportError


class Rig(dict):
    """A passport as far as the shell looks at it."""

    def __init__(self, wanted):
        path = Path(wanted)
        super().__init__({"rig.name": f"rig of {path.stem}"})
        self.name = path.stem
        self.path = path if path.suffix else None


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("WORKBOOK_HOME", str(tmp_path / "mine"))
    monkeypatch.delenv("WORKBOOK_PASSPORT", raising=False)
    return tmp_path / "mine"


@pytest.fixture
def asked(monkeypatch):
    """Passports answered by name, so that the order of asking is seen by itself."""
    names = []

    def find(wanted):
        names.append(str(wanted))
        if "broken" in str(wanted):
            faults = [Fault(3, "optics.focal_mm", "received -320 mm"), Fault(5, "optics.fcal", "unknown key")]
            raise PassportError(faults, str(wanted))
        return Rig(wanted)

    monkeypatch.setattr(home_module.passports, "find", find)
    return names


def test_the_order_of_asking_is_argument_environment_own_folder_balcony(asked, home, monkeypatch):
    find_rig()
    home.mkdir()
    (home / "passport.toml").write_text("")
    find_rig()
    monkeypatch.setenv("WORKBOOK_PASSPORT", "/elsewhere/club.toml")
    find_rig()
    find_rig("island-traveller")
    assert asked == ["balcony", str(home / "passport.toml"), "/elsewhere/club.toml", "island-traveller"]


def test_one_line_says_whose_rig_is_read(asked, home):
    assert find_rig()[1] == ["This lesson reads the demo rig balcony."]
    assert find_rig("school")[1] == ["This lesson reads the demo rig school."]
    assert find_rig("/elsewhere/club.toml")[1] == [
        "This lesson reads your own rig “rig of club” from club.toml."
    ]


def test_a_faulty_passport_gives_a_line_a_fault_and_the_balcony(asked, monkeypatch):
    monkeypatch.setenv("WORKBOOK_PASSPORT", "/secret/broken.toml")
    rig, said = find_rig()
    assert rig.name == "balcony"
    assert len(said) == 3
    assert said[0] == "broken.toml line 3: optics.focal_mm: received -320 mm"
    assert said[1] == "broken.toml line 5: optics.fcal: unknown key"
    assert said[2] == "This lesson reads the demo rig balcony instead, until the passport is mended."
    assert "/secret" not in " ".join(said)


def test_a_passport_that_is_not_there_is_said(tmp_path):
    rig, said = find_rig(tmp_path / "absent.toml")
    assert rig.name == "balcony"
    assert said[0].startswith("absent.toml: no such file")
    assert "balkony" in find_rig("balkony")[1][0]


def test_the_real_balcony_is_read_and_said(capsys):
    lesson = setup("14-how-far")
    assert capsys.readouterr().out == "This lesson reads the demo rig balcony.\n"
    assert lesson.passport["optics.focal_mm"] == 320  # the invented demo rig: 320 mm with flattener
    assert repr(lesson).startswith("Lesson 14-how-far, rig ")


def test_a_real_faulty_passport_falls_back(tmp_path, capsys):
    path = tmp_path / "own.toml"
    path.write_text("[optics]\nfocal_mm = -320\nnonsense = 3\n")
    lesson = setup("14-how-far", passport=path)
    said = capsys.readouterr().out.splitlines()
    assert lesson.passport["optics.focal_mm"] == 320
    assert any("focal_mm" in line for line in said[:-1])
    assert any("nonsense" in line for line in said[:-1])
    assert "demo rig balcony instead" in said[-1]
    assert str(tmp_path) not in "".join(said)


def test_the_home_folder(home, tmp_path, monkeypatch):
    assert home_folder() == home
    monkeypatch.delenv("WORKBOOK_HOME")
    (tmp_path / "notebooks").mkdir()
    monkeypatch.chdir(tmp_path / "notebooks")
    assert home_folder() == tmp_path / "my-workbook"
    monkeypatch.chdir(tmp_path)
    assert home_folder() == tmp_path / "my-workbook"


def test_setup_says_a_damaged_ledger(asked, home, capsys):
    home.mkdir()
    (home / "ledger.json").write_text("{")
    setup("14-how-far")
    said = capsys.readouterr().out.splitlines()
    assert "moved to ledger.json.damaged-1" in said[1]
    assert (home / "ledger.json.damaged-1").read_text() == "{"


def lesson_in(folder, name="14-how-far"):
    return Lesson(name, passport=SimpleNamespace(name="demo"), ledger=Ledger(folder))


def test_running_the_cell_again_keeps_the_prediction(tmp_path):
    lesson = lesson_in(tmp_path)
    first = lesson.predict("share", "How many?", low=0, high=1, step=0.1)
    first.lock(0.3)
    assert lesson.predict("share", "How many?", low=0, high=1, step=0.1) is first
    changed = lesson.predict("share", "How many now?", low=0, high=1, step=0.1)
    assert changed is not first
    assert changed.value == 0.3
    assert lesson.predictions == {"share": changed}


def test_a_whole_run_ends_in_the_summary(tmp_path):
    lesson = lesson_in(tmp_path)
    lesson.predict("share", "How many?", low=0, high=1, step=0.1).lock(0.5)
    lesson.predictions["share"].reveal(0.4)
    assert repr(lesson.ledger_summary()) == (
        "Predictions made: 1, compared with their answer: 1.\nWithin a factor of 1.5: 1 of 1 numbers."
    )
    other = lesson_in(tmp_path, "01-picture")
    assert other.ledger_summary().text == lesson.ledger_summary().text


def test_attempts_are_counted_by_name_and_start_anew_with_the_lesson(tmp_path):
    lesson = lesson_in(tmp_path)
    how = {"expected": 2.0, "tolerance": 0.01, "hints": ("one", "two"), "name": "a"}
    assert [lesson.check(9, **how).attempt for _ in range(2)] == [1, 2]
    assert lesson_in(tmp_path).check(9, **how).attempt == 1
    wrong = lesson.check_function(
        lambda pixel_um, focal_mm: 1.0,
        against=workbook.optics.image_scale_arcsec_px,
        cases=[{"pixel_um": 3.5, "focal_mm": 320}],
        name="a",
    )
    assert wrong.attempt == 3


def test_a_lesson_has_one_gate_that_a_new_lesson_does_not_inherit(tmp_path):
    lesson = lesson_in(tmp_path)
    for index in range(6):
        lesson.gate("sun").tick(index)
    assert lesson.gate("sun").open
    assert not lesson_in(tmp_path).gate("sun").open
    assert lesson.safety("laser").text.startswith("Safety.")
    assert "Recall 1" in repr(lesson.recall([("q", "a")]))


def test_a_lesson_needs_a_name(tmp_path):
    with pytest.raises(ValueError, match="file stem"):
        lesson_in(tmp_path, " ")


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (12345.6, "s", "12,350 s"),
        (0.00001234, "m", "1.234e−05 m"),
        (-5, "degc", "−5 °C"),
        (52.4, "deg", "52.4°"),
        (15.04, "arcsec_s", "15.04 ″/s"),
        (30.0, "arcmin", "30′"),
        ([1.0, 2.5], "px", "[1, 2.5] px"),
        (list(range(9)), "", "[0, 1, 2, 3, 4, 5, …]"),
        (0.0, "", "0"),
        (float("nan"), "mm", "nan mm"),
    ],
)
def test_numbers_in_words(value, unit, words):
    assert in_words(value, unit) == words


def test_a_question_is_kept_out_of_sight_and_answered_by_name(home):
    lesson = setup("14-how-far")
    lesson.question("duty", expected=0.75, tolerance=0.01, hints=("first", "second"))
    lesson.question("double", against=lambda *, x: 2 * x, cases=[{"x": 1.0}, {"x": 3.0}])
    assert lesson.answer("duty", 0.75).correct
    assert not lesson.answer("duty", ...).correct
    assert "100" in lesson.answer("duty", 75).text
    assert lesson.answer("double", lambda *, x: x + x).correct
    assert not lesson.answer("double", lambda *, x: x).correct


def test_a_question_that_is_not_there_or_not_whole_is_refused(home):
    lesson = setup("14-how-far")
    with pytest.raises(
        ValueError, match="no question is named 'duty'; there are none yet: run the first cell"
    ):
        lesson.answer("duty", 1)
    with pytest.raises(ValueError, match="question 'duty' needs expected="):
        lesson.question("duty", tolerance=0.1)
