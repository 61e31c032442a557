"""The command line: a readable answer or JSON; bad input ends with 2 and a clear line for each fault."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest

from workbook import passport, verdict
from workbook.__main__ import main


def run(capsys, *arguments):
    code = main(["verdict", *arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_a_scenario_by_name_prints_the_answer(capsys):
    code, out, err = run(capsys, "balcony")
    answer = verdict.verdict(passport.scenario("balcony"))
    assert (code, err) == (0, "")
    assert out.startswith("M 33 (NGC 598) from balcony, night of 2026-10-10, tilted, unguided\n")
    assert re.search(rf"^best sub +{answer.best_sub_s:.1f} s  usable ", out, re.MULTILINE)
    assert re.search(rf"^finished hours +{60 * answer.finished_h:.1f} min  68 %: ", out, re.MULTILINE)
    assert f"Costs most: {answer.costs_most.cause.words}." in out
    assert "uncertain numbers are measured, the rest assumed" in out
    assert all(
        way in out for way in ("alt-az, unguided", "alt-az, guided", "tilted, unguided", "tilted, guided")
    )


def test_json_says_the_same_as_the_function(capsys):
    code, out, _ = run(capsys, "southern-club", "--target", "NGC 55", "--date", "2026-10-04", "--json")
    plain = json.loads(out)
    assert code == 0
    assert plain["target"] == "NGC 55"
    assert plain["date"] == "2026-10-04"
    low, high = plain["finished_68_h"]
    assert plain["finished_95_h"][0] <= low <= high <= plain["finished_95_h"][1]
    assert plain["costs_most"] == plain["costs"][0]["cause"]
    assert len(plain["curve"]["sub_s"]) == len(plain["curve"]["efficiency"])
    assert {(way["mode"], way["guided"]) for way in plain["ways"]} == {
        (mode, guided) for mode in ("alt-az", "tilted") for guided in (True, False)
    }


def test_a_file_of_ones_own(tmp_path, capsys):
    own = tmp_path / "mine.toml"
    own.write_text(passport.scenario("school").text)
    code, out, _ = run(capsys, str(own))
    assert code == 0
    assert out.startswith("M 31 (NGC 224) from mine, night of 2026-11-06")


def test_a_night_without_darkness_is_an_answer(capsys):
    code, out, err = run(capsys, "balcony", "--target", "M 13", "--date", "2026-06-21")
    assert (code, err) == (0, "")
    assert "No finished hours: no astronomical night" in out
    plain = json.loads(run(capsys, "balcony", "--target", "M 13", "--date", "2026-06-21", "--json")[1])
    assert plain["finished_h"] == 0.0
    assert plain["reason"].startswith("no astronomical night")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["balcny"], "balcny: neither a file nor a scenario: the nearest scenario is balcony"),
        (["balcony", "--target", "NGC 73311"], "'NGC 73311' is not in the catalogue"),
        (["balcony", "--target", ""], "name"),
        (
            ["balcony", "--date", "10.10.2026"],
            "--date: received '10.10.2026', allowed a date such as 2026-10-10",
        ),
        (["balcony", "--date", "0001-01-01"], "1"),
        (["no/such/file.toml"], "no/such/file.toml"),
    ],
)
def test_bad_input_ends_with_2_and_a_line(capsys, arguments, words):
    code, out, err = run(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert words in err
    assert err.count("\n") == 1


def test_every_fault_of_a_file_has_its_line(tmp_path, capsys):
    text = passport.scenario("balcony").text
    text = text.replace("focal_mm = { value = 320", "focal_mm = { value = 0.32", 1)
    text = text.replace("read_noise_e = { value = 1.6", "read_noize_e = { value = 1.6", 1)
    own = tmp_path / "mine.toml"
    own.write_text(text)
    code, out, err = run(capsys, str(own))
    assert (code, out) == (2, "")
    assert "optics.focal_mm: received 0.32 mm" in err
    assert "read_noise_e" in err
    assert err.count("\n") >= 2
    assert all(re.search(r"mine\.toml line \d+: ", line) for line in err.splitlines())


@pytest.mark.parametrize("arguments", [["balcny"], ["balcony", "--date", "soon"]])
def test_no_traceback_from_a_shell(arguments):
    command = [sys.executable, "-W", "error", "-m", "workbook", "verdict", *arguments]
    run = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert run.returncode == 2
    assert "Traceback" not in run.stderr


def test_a_reader_that_leaves_early_is_no_fault():
    """As `python -m workbook verdict balcony | head -1` does."""
    command = [sys.executable, "-W", "error", "-m", "workbook", "verdict", "balcony", "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as run:
        run.stdout.readline()
        run.stdout.close()
        assert "Traceback" not in run.stderr.read()
