"""The field card as files, in a lesson and from the command line: whole, printable, and never over something else."""

from __future__ import annotations

import io
import os
from datetime import date

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from workbook import passport
from workbook.__main__ import main
from workbook.figures import fieldcard_files, look
from workbook.lesson import home_folder, setup
from workbook.plan.card import field_card

STEM = "field-card-NGC-598-2026-10-10"
NAMES = {f"{STEM}.txt", *(f"{STEM}{red}.{ending}" for red in ("", "-red") for ending in ("pdf", "png"))}
A4_PT = 595.276, 841.890  # 210 mm × 297 mm, ISO 216, at 72 points to the inch of 25.4 mm


@pytest.fixture(scope="module", autouse=True)
def few_draws():
    """Half of a card's time goes into the range of its sub; these tests look at files, not at ranges."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("workbook.plan.card.SUB_DRAWS", 4)
        yield


@pytest.fixture(scope="module")
def card():
    return field_card(passport.scenario("balcony"))


@pytest.fixture(scope="module")
def folder(card, tmp_path_factory):
    where = tmp_path_factory.mktemp("cards") / "new"
    fieldcard_files.save(card, where)
    return where


def test_five_files_and_nothing_left_over(folder):
    assert {path.name for path in folder.iterdir()} == NAMES


@pytest.mark.parametrize("red", ["", "-red"])
def test_a_pdf_reader_opens_one_page_of_a4_with_the_same_picture(folder, red):
    """PDFium, a PDF reader of its own, against the PNG that matplotlib's raster drew."""
    document = pypdfium2.PdfDocument(folder / f"{STEM}{red}.pdf")
    assert len(document) == 1
    np.testing.assert_allclose(document[0].get_size(), A4_PT, atol=0.01)
    drawn = Image.open(folder / f"{STEM}{red}.png").convert("L")
    read = document[0].render(scale=drawn.width / A4_PT[0]).to_pil().convert("L").resize(drawn.size)
    small = [np.asarray(one.resize((83, 117), Image.Resampling.BOX), float) for one in (drawn, read)]
    assert (
        np.corrcoef(small[0].ravel(), small[1].ravel())[0, 1] > 0.95
    )  # cells of 2.5 mm: letters are hinted otherwise
    assert np.ptp(small[0]) > 40


def test_the_red_page_stays_red_in_a_pdf_reader(folder):
    pixels = np.asarray(
        pypdfium2.PdfDocument(folder / f"{STEM}-red.pdf")[0].render(scale=1.5).to_pil().convert("RGB")
    )
    assert pixels[..., 1:].max() == 0
    assert pixels[..., 0].max() > 200
    drawn = np.asarray(Image.open(folder / f"{STEM}-red.png").convert("RGB"))
    assert drawn[..., 1:].max() == 0


def test_the_text_twin_is_the_card(folder, card):
    assert (folder / f"{STEM}.txt").read_text(encoding="utf-8") == card.as_text() + "\n"


def test_the_same_card_again_writes_nothing(folder, card):
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    files = fieldcard_files.save(card, folder)
    assert {path.name: path.stat().st_mtime_ns for path in folder.iterdir()} == before
    assert {path.name for path in files} == NAMES


def test_another_content_is_numbered_and_the_old_one_kept(tmp_path, card):
    own = tmp_path / f"{STEM}.pdf"
    own.write_bytes(b"my notes")
    (tmp_path / f"{STEM}-2.pdf").mkdir()  # a folder of that name is left alone, too
    files = fieldcard_files.save(card, tmp_path, both=False)
    assert own.read_bytes() == b"my notes"
    assert {path.name for path in files} == {f"{STEM}.txt", f"{STEM}-3.pdf", f"{STEM}.png"}


def test_a_disk_that_fails_leaves_no_half_file(tmp_path, card, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        fieldcard_files.save(card, tmp_path, both=False)
    assert list(tmp_path.iterdir()) == []


def test_the_picture_is_small_and_keeps_its_look(card):
    for one, bound in ((look.LIGHT, 255), (look.RED, 0)):
        png = fieldcard_files.picture(card, one)
        assert len(png) < 200_000
        picture = Image.open(io.BytesIO(png)).convert("RGB")
        assert picture.size == (826, 1169)
        assert np.asarray(picture)[..., 1:].max() == bound


# In a lesson


def test_one_line_in_a_lesson_shows_and_keeps_the_card(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("WORKBOOK_HOME", str(tmp_path / "my-workbook"))
    shown = setup("12-tonight-on-batteries").field_card(passport.scenario("balcony"))
    assert {path.name for path in home_folder().iterdir()} >= NAMES
    data, about = shown._repr_mimebundle_()
    assert set(data) == {"text/plain", "image/png"}
    assert about["image/png"]["alt"].startswith("Field card: M 33 (NGC 598)")
    assert data["text/plain"].endswith(shown.said)
    assert f"{STEM}-red.pdf" in shown.said
    assert str(tmp_path) not in data["text/plain"]


def test_a_lesson_reads_its_own_rig_and_other_plans(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("WORKBOOK_HOME", str(tmp_path))
    monkeypatch.setenv("WORKBOOK_PASSPORT", "island-traveller")
    shown = setup("14-how-far").field_card(mode="tilted", save=False)
    assert shown.card.subtitle.startswith("Travel rig, 30.0° N, tilted")
    assert shown.said == "Nothing written."
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_said_and_the_card_still_shown(tmp_path, monkeypatch, capsys):
    wall = tmp_path / "a-file"
    wall.write_text("not a folder")
    monkeypatch.setenv("WORKBOOK_HOME", str(wall / "inside"))
    shown = setup("14-how-far").field_card(passport.scenario("balcony"))
    assert shown.said.startswith("The card could not be written: Not a directory.")
    assert shown._repr_mimebundle_()[0]["image/png"]


# From the command line


def test_the_command_prints_the_twin_and_names_the_files(tmp_path, capsys, card):
    assert main(["card", "balcony", "--out", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith(card.as_text())
    assert {line.rsplit("/", 1)[1] for line in out.splitlines() if line.startswith("written: ")} == NAMES
    assert {path.name for path in tmp_path.iterdir()} == NAMES


def test_red_only_with_another_target_date_and_zone(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("WORKBOOK_HOME", str(tmp_path))
    asked = ["--target", "M 31", "--date", "2026-11-10", "--zone", "Europe/Berlin", "--red"]
    assert main(["card", "balcony", *asked]) == 0
    out, _ = capsys.readouterr()
    assert "M 31 (NGC 224), evening of 10 November 2026" in out
    assert "Times in Europe/Berlin, UTC+01:00." in out
    assert {path.suffix for path in tmp_path.iterdir()} == {".txt", ".pdf", ".png"}
    assert all("-red." in path.name for path in tmp_path.iterdir() if path.suffix != ".txt")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["balcny"], "the nearest scenario is balcony"),
        (["balcony", "--target", "NGC 73311"], "'NGC 73311' is not in the catalogue"),
        (["balcony", "--date", "10.10.2026"], "--date: received '10.10.2026'"),
        (["balcony", "--zone", "Atlantis"], "zone must be a name of the time-zone database"),
    ],
)
def test_bad_input_ends_with_2_and_a_line(tmp_path, capsys, arguments, words):
    assert main(["card", *arguments, "--out", str(tmp_path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_a_file_ends_with_2(tmp_path, capsys):
    wall = tmp_path / "wall"
    wall.write_text("")
    assert main(["card", "balcony", "--date", str(date(2026, 10, 10)), "--out", str(wall)]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "cannot be written" in err
