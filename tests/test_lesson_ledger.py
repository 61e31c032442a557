"""The ledger: restart, damage, a folder that refuses, two writers at once, and the summary in words."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import workbook
from workbook.lesson import Ledger, in_ledger_words
from workbook.lesson.calibration import miss_factor

DAY = "2026-11-02"


def ledger_in(folder):
    return Ledger(folder, today=lambda: DAY)


def guess(ledger, key="moon", value=400.0, **more):
    return ledger.guess("01-picture", key, question="How wide?", guess=value, unit="px", **more)


def on_disk(folder):
    return json.loads((folder / "ledger.json").read_text(encoding="utf-8"))


def test_nothing_is_made_before_the_first_guess(tmp_path):
    home = tmp_path / "deep" / "home"
    ledger = ledger_in(home)
    assert not home.exists()
    guess(ledger, confidence=0.7)
    assert on_disk(home) == [
        {
            "lesson": "01-picture",
            "key": "moon",
            "question": "How wide?",
            "guess": 400.0,
            "unit": "px",
            "confidence": 0.7,
            "when": DAY,
        }
    ]
    assert ledger.notes() == []


def test_it_survives_a_restart_and_keeps_the_first_guess(tmp_path):
    guess(ledger_in(tmp_path))
    again = ledger_in(tmp_path)
    assert again.find("01-picture", "moon")["guess"] == 400.0
    guess(again, value=300.0)
    again.answer("01-picture", "moon", answer=420.0, hits=True)
    entry = ledger_in(tmp_path).find("01-picture", "moon")
    assert (entry["guess"], entry["later"], entry["answer"], entry["hits"]) == (400.0, [300.0], 420.0, True)
    assert len(on_disk(tmp_path)) == 1


def test_only_the_ledger_and_its_lock_are_left_in_the_folder(tmp_path):
    guess(ledger_in(tmp_path))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ledger.json", "ledger.json.lock"]


def test_the_date_is_utc_by_default(tmp_path):
    from datetime import UTC, datetime

    before = datetime.now(UTC).date().isoformat()
    when = Ledger(tmp_path).guess("a", "b", question="?", guess=1.0)["when"]
    assert before <= when <= datetime.now(UTC).date().isoformat()


GOOD = {"lesson": "a", "key": "b", "question": "?", "guess": 1.0, "unit": "px", "when": DAY}


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (b"", "line 1"),
        (b'[{"lesson": "a",\n  "key"', "line 2"),
        (b"\xff\xfe\x00broken", "no JSON text"),
        (b'{"lesson": "a"}', "it is no list"),
        (b"[" * 100_000, "no JSON text"),
        (b'[{"lesson": "a", "key": "b", "question": "?", "guess": [1], "unit": ""}]', "1 of 1 entries"),
        (b'[{"lesson": "a", "key": "b", "question": "?", "guess": NaN, "unit": ""}]', "1 of 1 entries"),
        (
            b'[{"lesson": "a", "key": "b", "question": "?", "guess": 1, "unit": "", "later": 3}]',
            "1 of 1 entries",
        ),
    ],
)
def test_a_damaged_file_is_moved_aside_and_said_in_one_line(tmp_path, damage, told):
    path = tmp_path / "ledger.json"
    path.write_bytes(damage)
    ledger = ledger_in(tmp_path)
    (line,) = ledger.notes()
    assert told in line
    assert "moved to ledger.json.damaged-1" in line
    assert "\n" not in line
    assert str(tmp_path) not in line
    assert (tmp_path / "ledger.json.damaged-1").read_bytes() == damage
    guess(ledger)
    assert [entry["key"] for entry in on_disk(tmp_path)] == ["moon"]
    assert ledger.notes() == []


def test_what_can_be_read_of_a_damaged_file_is_kept_and_older_ones_are_not_overwritten(tmp_path):
    (tmp_path / "ledger.json.damaged-1").write_text("older")
    (tmp_path / "ledger.json").write_text(json.dumps([GOOD, {"rubbish": 1}]))
    ledger = ledger_in(tmp_path)
    assert ledger.find("a", "b") == GOOD
    assert on_disk(tmp_path) == [GOOD]
    assert (tmp_path / "ledger.json.damaged-1").read_text() == "older"
    assert "rubbish" in (tmp_path / "ledger.json.damaged-2").read_text()
    assert "Guesses kept from it: 1." in ledger.notes()[0]


def test_unknown_fields_of_an_entry_stay(tmp_path):
    (tmp_path / "ledger.json").write_text(json.dumps([GOOD | {"remark": "mine"}]))
    guess(ledger_in(tmp_path))
    assert on_disk(tmp_path)[0]["remark"] == "mine"


def test_a_folder_that_cannot_be_made_leaves_the_ledger_in_memory(tmp_path):
    (tmp_path / "file").write_text("in the way")
    ledger = ledger_in(tmp_path / "file" / "home")
    guess(ledger)
    guess(ledger, key="second", value=2.0)
    assert [entry["key"] for entry in ledger.entries] == ["moon", "second"]
    assert ledger.notes() == [
        "The ledger cannot be written: your guesses are kept until this notebook is closed."
    ]
    assert ledger.notes() == []


@pytest.mark.parametrize("damaged", [False, True])
def test_a_read_only_folder_is_read_and_left_as_it_is(tmp_path, monkeypatch, damaged):
    """Refused as a read-only disk does: root, who runs tests in containers, may write anywhere."""
    path = tmp_path / "ledger.json"
    path.write_text("broken" if damaged else json.dumps([GOOD]))

    def refuse(*args, **kwargs):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("workbook.lesson.ledger.open", refuse, raising=False)
    monkeypatch.setattr(os, "replace", refuse)
    before = path.read_bytes()
    ledger = ledger_in(tmp_path)
    guess(ledger)
    ledger.answer("01-picture", "moon", answer=1.0, hits=False)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["ledger.json"]
    assert ledger.find("01-picture", "moon")["answer"] == 1.0
    assert (ledger.find("a", "b") is None) == damaged
    notes = " ".join(ledger.notes())
    assert "cannot be written" in notes
    assert ("left as it is" in notes) == damaged
    monkeypatch.undo()
    if not damaged:  # once it can be written, what was only in memory is saved with the next guess
        guess(ledger, key="second")
        assert [entry["key"] for entry in on_disk(tmp_path)] == ["b", "moon", "second"]


def test_a_file_that_may_not_be_read_is_not_written_over(tmp_path, monkeypatch):
    path = tmp_path / "ledger.json"
    path.write_text(json.dumps([GOOD]))

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    ledger = ledger_in(tmp_path)
    guess(ledger)
    monkeypatch.undo()
    assert on_disk(tmp_path) == [GOOD]
    assert "cannot be written" in ledger.notes()[0]


def test_a_write_that_breaks_off_leaves_the_old_file_whole(tmp_path, monkeypatch):
    ledger = ledger_in(tmp_path)
    guess(ledger)
    before = (tmp_path / "ledger.json").read_bytes()

    def full(fd):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    guess(ledger, key="second")
    assert (tmp_path / "ledger.json").read_bytes() == before
    assert not list(tmp_path.glob("*.new"))
    assert "cannot be written" in ledger.notes()[0]


WRITER = """
import sys
from workbook.lesson.ledger import Ledger
ledger = Ledger(sys.argv[1])
for n in range(40):
    ledger.guess(sys.argv[2], f"q{n}", question="?", guess=float(n))
"""


def test_two_processes_lose_no_guess(tmp_path):
    root = str(Path(workbook.__file__).parents[1])
    env = os.environ | {"PYTHONPATH": root}
    runs = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), name], env=env) for name in ("a", "b")
    ]
    assert [run.wait(timeout=60) for run in runs] == [0, 0]
    entries = on_disk(tmp_path)
    assert {(entry["lesson"], entry["key"]) for entry in entries} == {
        (x, f"q{n}") for x in "ab" for n in range(40)
    }
    assert len(entries) == 80


def test_two_threads_lose_no_guess(tmp_path):
    """Widget callbacks run in a second thread of the kernel."""
    ledger = ledger_in(tmp_path)
    threads = [
        threading.Thread(target=lambda x=x: [guess(ledger, key=f"{x}{n}") for n in range(20)]) for x in "ab"
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(on_disk(tmp_path)) == 40


def test_two_threads_lose_no_guess_in_memory_either(tmp_path):
    """No lock file can be made here, so only the lock inside the process is left."""
    (tmp_path / "file").write_text("in the way")
    ledger = ledger_in(tmp_path / "file")
    threads = [
        threading.Thread(target=lambda x=x: [guess(ledger, key=f"{x}{n}") for n in range(60)]) for x in "ab"
    ]
    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        sys.setswitchinterval(interval)
    assert len(ledger.entries) == 120


def entry(guess, answer=None, hits=None, confidence=None):
    row = {"lesson": "a", "key": str(guess), "question": "?", "guess": guess, "unit": ""}
    row |= {} if answer is None else {"answer": answer, "hits": hits}
    return row | ({} if confidence is None else {"confidence": confidence})


def test_the_summary_counts_and_says_which_way_the_guesses_lean():
    entries = [
        entry(30.0, 45.0, False, 0.9),  # a factor of 1.5: within
        entry(10.0, 40.0, False, 0.5),  # 4
        entry(90.0, 100.0, True),  # 1.1
        entry(-1.0, 2.0, False),  # across zero: never within
        entry("same", "worse", False),
        entry("worse", "worse", True, 0.7),
        entry(5.0),
    ]
    assert in_ledger_words(entries).splitlines() == [
        "Predictions made: 7, compared with their answer: 6.",
        "Within a factor of 1.5: 2 of 4 numbers.",
        "Your middle guess is 1.5 times too low.",
        "Right choices: 1 of 2.",
        "You were 70 % sure on average, and hit 1 of 3 (33 %).",
    ]


def test_the_summary_of_few_or_no_guesses():
    assert in_ledger_words([]) == "No prediction made yet."
    assert in_ledger_words([entry(5.0)]) == "Predictions made: 1, compared with their answer: 0."
    even = [entry(1.0, 1.0, True), entry(2.0, 2.0, True)]
    assert "lean neither high nor low" in in_ledger_words(even)
    assert "2 times too high" in in_ledger_words([entry(2.0, 1.0, False), entry(4.0, 2.0, False)])


@pytest.mark.parametrize(("guess", "answer"), [(3.0, 7.0), (-3.0, -7.0), (1e-9, 1e9)])
def test_the_factor_is_the_same_either_way(guess, answer):
    assert miss_factor(guess, answer) == pytest.approx(miss_factor(answer, guess))
    assert miss_factor(guess, answer) > 1
