"""The notebooks: built as a lesson should be, the same after a run; and proof that the checks can fail."""

from __future__ import annotations

import os
from pathlib import Path

import nbformat
import notebook_checks as checks
import pytest
import tidy
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
CODE, TEXT = nbformat.v4.new_code_cell, nbformat.v4.new_markdown_cell


def run(notebook, folder, learner, monkeypatch):
    """Run all cells as a learner with an empty folder would, warnings being errors."""
    monkeypatch.setenv("PYTHONWARNINGS", "error")
    monkeypatch.setenv("WORKBOOK_HOME", str(learner))
    monkeypatch.delenv("WORKBOOK_PASSPORT", raising=False)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), str(ROOT / "tests")]))
    client = NotebookClient(notebook, kernel_name="python3", timeout=120, store_widget_state=False)
    client.execute(cwd=str(folder))
    return notebook


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_built_as_it_should(path):
    text = path.read_text(encoding="utf-8")
    assert checks.faults(nbformat.reads(text, as_version=4), text, path.stem) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_run_and_a_tidy_leave_an_empty_diff(path, tmp_path, monkeypatch):
    text = path.read_text(encoding="utf-8")
    assert not tidy.tidy(path, check=True), "run tests/tidy.py on it"
    again = run(nbformat.reads(text, as_version=4), path.parent, tmp_path, monkeypatch)
    assert tidy.tidied(again) == text


# The checks themselves


def lesson():
    """A sound lesson: 9 parts, 10 code cells, 1,400 words, the demonstration panel, a solution, a sweep."""
    cells = []
    for part in checks.PARTS:
        prose = TEXT("word " * 155, metadata={"tags": [f"part-{part}"]})
        cells += [prose, CODE("1 + 1", metadata={"tags": [f"part-{part}"]})]
    cells[5] = CODE(
        "import demo_figure\npanel = demo_figure.build()\npanel", metadata={"tags": ["part-play"]}
    )
    hidden = {"jupyter": {"source_hidden": True}}
    cells.append(CODE("2 + 2", metadata={"tags": ["solution"], **hidden}))
    cells.append(
        CODE("from workbook.panels import sweep\nsweep(panel)", metadata={"tags": ["sweep"], **hidden})
    )
    for number, cell in enumerate(cells):
        cell["id"] = f"cell-{number}"
    return nbformat.v4.new_notebook(cells=cells)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """The sound lesson, run and tidied, as text."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("lesson")
        return tidy.tidied(run(lesson(), folder, folder / "learner", patch))


def test_a_sound_lesson_has_no_fault(sound):
    assert checks.faults(nbformat.reads(sound, as_version=4), sound, "lesson") == []


def test_a_second_run_of_the_sound_lesson_gives_the_same_file(sound, tmp_path, monkeypatch):
    again = run(nbformat.reads(sound, as_version=4), tmp_path, tmp_path / "learner", monkeypatch)
    assert tidy.tidied(again) == sound


def test_the_stored_panel_has_no_widget_and_keeps_picture_alt_text_and_table(sound):
    assert tidy.VIEW not in sound
    (output,) = nbformat.reads(sound, as_version=4).cells[5].outputs
    assert output.metadata["image/png"]["alt"].startswith("Three curves over the hour angle")
    assert output.data["text/plain"].startswith("Peak: 0.40 h (68 % range 0.35 to 0.45 h, assumed).")
    assert "-3 h | 0.05 | 0.29" in output.data["text/plain"]
    assert len(output.data["image/png"]) < 80_000


def cut(cells, k):
    del cells[k]


def sweep_first(cells):
    cells.insert(0, cells.pop())


PLANTED = {
    "a part is missing": (lambda cells: [cut(cells, 8), cut(cells, 8)], "no cell is tagged part-write"),
    "two parts change places": (lambda cells: cells.insert(0, cells.pop(6)), "the parts stand in the order"),
    "a misspelt tag": (
        lambda cells: cells[0].metadata.update(tags=["part-promis"]),
        "unknown tag part-promis",
    ),
    "too few words": (
        lambda cells: [cells[k].update(source="") for k in (0, 2)],
        "words, allowed 1200 to 2000",
    ),
    "too many words": (lambda cells: cells[0].update(source="word " * 900), "words, allowed 1200 to 2000"),
    "too few code cells": (lambda cells: [cut(cells, 1), cut(cells, 2)], "9 code cells, allowed 10 to 25"),
    "a long cell": (lambda cells: cells[1].update(source="1\n" * 13), "code cell 1 has 13 lines"),
    "long cells throughout": (
        lambda cells: [cell.update(source="1\n" * 6) for cell in cells if cell.cell_type == "code"],
        "a typical code cell has 6 lines",
    ),
    "an image without words": (
        lambda cells: cells[0].update(source="word " * 155 + "![](a.png)"),
        "an image without",
    ),
    "an img without words": (
        lambda cells: cells[0].update(source="word " * 155 + "<img src=a>"),
        "an image without",
    ),
    "no alt text": (lambda cells: cells[5].outputs[0].metadata.clear(), "a picture without alt text"),
    "no table": (
        lambda cells: cells[5].outputs[0].data.update({"text/plain": "Panel"}),
        "a picture without a table twin",
    ),
    "no solution": (lambda cells: cells[-2].metadata.update(tags=["setup"]), "no cell is tagged solution"),
    "an open solution": (lambda cells: cells[-2].metadata.pop("jupyter"), "an open solution"),
    "a hidden idea": (
        lambda cells: cells[7].metadata.update(jupyter={"source_hidden": True}),
        "a hidden cell that is neither",
    ),
    "no sweep": (lambda cells: cut(cells, -1), "the last cell does not sweep"),
    "the sweep in the wrong place": (sweep_first, "the last cell does not sweep"),
    "an open sweep": (lambda cells: cells[-1].metadata.pop("jupyter"), "the sweep is not hidden"),
    "not run": (lambda cells: cells[1].update(execution_count=None), "cell 2 was not run"),
    "an error": (
        lambda cells: cells[1].outputs.append(nbformat.v4.new_output("error", ename="E", evalue="planted")),
        "cell 2 failed: planted",
    ),
    "stderr": (
        lambda cells: cells[1].outputs.append(
            nbformat.v4.new_output("stream", name="stderr", text="planted")
        ),
        "cell 2 wrote to stderr",
    ),
    "a panel without an answer": (
        lambda cells: (
            cells[5].outputs[0].data.update({"text/plain": "No answer for these values.\nTable:\n"})
        ),
        "a panel without an answer",
    ),
    "a star import": (lambda cells: cells[1].update(source="from numpy import *"), "star import"),
}


@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_fault_is_named(sound, kind):
    change, words = PLANTED[kind]
    notebook = nbformat.reads(sound, as_version=4)
    change(notebook.cells)
    found = checks.faults(notebook, sound, "lesson")
    assert any(words in fault for fault in found), found


def test_a_notebook_that_is_too_large_is_named(sound):
    assert any(
        "kB, allowed 300" in fault for fault in checks.faults(lesson(), sound + " " * 300_000, "lesson")
    )


def test_words_counts_prose_only():
    source = "Two words. ```\ncode here\n``` $x = 3$ <b>and</b> [a link](http://127.0.0.1/x) 2,000 don't"
    assert checks.words(nbformat.v4.new_notebook(cells=[TEXT(source)])) == 7


def test_tidy_takes_out_what_changes_and_leaves_what_is_taught(tmp_path, capsys):
    notebook = lesson()
    cell = notebook.cells[1]
    cell.metadata["execution"] = {"iopub.execute_input": "2026-11-02"}
    cell.execution_count = 17
    data = {tidy.VIEW: {"model_id": "a"}, "text/plain": "2"}
    cell.outputs = [nbformat.v4.new_output("execute_result", data=data, execution_count=17)]
    notebook.metadata["widgets"] = {"state": {}}
    path = tmp_path / "a.ipynb"
    nbformat.write(notebook, path)
    assert tidy.main(["--check", str(path)]) == 1
    assert tidy.main([str(path)]) == 0
    after = nbformat.read(path, as_version=4)
    assert "widgets" not in after.metadata
    assert "execution" not in after.cells[1].metadata
    assert after.cells[1].execution_count == 1
    assert dict(after.cells[1].outputs[0].data) == {"text/plain": "2"}
    assert after.cells[1].metadata.tags == ["part-promise"]
    assert [cell.source for cell in after.cells] == [cell.source for cell in notebook.cells]
    assert tidy.main(["--check", str(path)]) == 0
    assert capsys.readouterr().out == f"untidy: {path}\ntidied: {path}\n"


def test_printed_lines_that_came_in_pieces_are_joined():
    out = nbformat.v4.new_output
    cell = CODE("print(1)\nprint(2)")
    cell.outputs = [out("stream", name="stdout", text=t) for t in ("1\n", "2\n")]
    cell.outputs.append(out("stream", name="stderr", text="3\n"))
    cell["id"] = "cell"
    again = nbformat.reads(tidy.tidied(nbformat.v4.new_notebook(cells=[cell])), as_version=4).cells[0].outputs
    assert [(o.name, o.text) for o in again] == [("stdout", "1\n2\n"), ("stderr", "3\n")]
