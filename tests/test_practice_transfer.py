"""Practice flats, biases and darks: the invented camera, found again by photon transfer from the files."""

from __future__ import annotations

import re
import shutil

import numpy as np
import pytest
from astropy.io import fits

from workbook import frames, passport, practice

BALCONY = passport.scenario("balcony")


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    return practice.write_transfer_frames(tmp_path_factory.mktemp("practice") / "new", BALCONY, seed=3)


def test_the_files_hold_the_invented_camera(files):
    """Derivation: from the files by numpy alone, one green plane: gain = (ΣF − ΣB)/(var ΔF − var ΔB), Howell 2006,
    eq. 4.17; 86,400 pixels know a variance to 0.5 %, four planes' mean to 0.25 %: 1 % is four sigmas.
    """
    camera = practice.invented_night(BALCONY, seed=3).camera
    flats, biases = (
        [fits.getdata(path).astype(float) for path in kind] for kind in (files.flats, files.biases)
    )
    gains = []
    for row, column in ((0, 0), (0, 1), (1, 0), (1, 1)):
        one, two, dark, dim = (picture[row::2, column::2] for picture in (*flats[2:], *biases))
        light = one.mean() + two.mean() - dark.mean() - dim.mean()
        gains.append(light / (np.var(one - two) - np.var(dark - dim)))
    assert np.mean(gains) == pytest.approx(camera.gain_e_adu, rel=0.01)
    assert gains == pytest.approx([camera.gain_e_adu] * 4, rel=0.02)
    read = np.std(biases[0] - biases[1]) / np.sqrt(2) * camera.gain_e_adu
    assert read == pytest.approx(np.hypot(camera.read_noise_e, camera.gain_e_adu / np.sqrt(12)), rel=0.01)
    assert [fits.getheader(p)["EXPTIME"] for p in (*files.flats, *files.darks)] == [1.0] * 4 + [60.0] * 2


def test_flats_are_those_of_a_lens_and_a_mosaic(files):
    """Derivation: corners at 0.75 of the middle, red pixels at 0.55 of the green ones, two levels 0.2 and 0.5."""
    camera = practice.invented_night(BALCONY, seed=3).camera
    planes = frames.colour_planes(fits.getdata(files.flats[2]), mosaic="RGGB")
    green, red = (planes[colour][0].astype(float) - camera.offset_adu for colour in "GR")
    assert red.mean() / green.mean() == pytest.approx(0.55, rel=0.003)
    assert green[:6, :6].mean() / green[115:125, 175:185].mean() == pytest.approx(0.75, rel=0.015)
    full = camera.saturation_adu - camera.offset_adu
    assert green[115:125, 175:185].mean() / full == pytest.approx(0.5, rel=0.01)


@pytest.mark.parametrize("rig", ["balcony", "school"])
def test_a_reading_finds_the_truth_within_its_error(rig, tmp_path):
    """Derivation: six cameras; each number within three of its own uncertainties, read noise with the rounding to
    whole counts, gain/√12 (reference row DET-01), in it.
    """
    owner = passport.scenario(rig)
    for seed in range(6):
        night = practice.invented_night(owner, seed=seed)
        seen = practice.read_transfer(owner, practice.write_transfer_frames(tmp_path, owner, seed=seed))
        truth = night.camera
        assert abs(seen.camera.gain_e_adu - truth.gain_e_adu) < 3 * seen.camera.gain_sigma_e_adu
        rounded = np.hypot(truth.read_noise_e, truth.gain_e_adu / np.sqrt(12))
        assert abs(seen.camera.read_noise_e - rounded) < 3 * seen.camera.read_noise_sigma_e
        assert abs(seen.dark_e_s_px - night.dark_e_s_px) < 3 * seen.dark_sigma_e_s_px
        assert seen.camera.gain_sigma_e_adu < 0.02 * truth.gain_e_adu
        assert seen.pairs == (8 if truth.mosaic else 2)


def test_two_cameras_differ_and_files_are_kept(files, tmp_path):
    before = files.flats[0].stat().st_mtime_ns
    assert practice.write_transfer_frames(files.flats[0].parent, BALCONY, seed=3) == files
    assert files.flats[0].stat().st_mtime_ns == before
    other = practice.write_transfer_frames(tmp_path, BALCONY, seed=4)
    assert practice.transfer_reading(BALCONY, other) != practice.transfer_reading(BALCONY, files)
    assert not np.array_equal(*(fits.getdata(path) for path in files.flats[:2]))


def test_the_words_hold_lines_that_the_passport_takes(files, tmp_path):
    """The printed lines, with the day put in, replace those of a real passport file."""
    said = practice.transfer_reading(BALCONY, files)
    assert practice.transfer_reading(BALCONY, files._asdict()) == said
    seen = practice.read_transfer(BALCONY, files)
    lines = dict(re.findall(r"^  (\w+) = (\{[^}]*\})", said.replace("the day, as ", ""), flags=re.M))
    assert set(lines) == {"gain_e_adu", "read_noise_e", "dark_e_s_px"}
    text = BALCONY.text
    for name, line in lines.items():
        text, changed = re.subn(
            rf"(?s)(\[camera\].*?\n{name} = )\{{[^}}]*\}}", rf"\g<1>{line}", text, count=1
        )
        assert changed == 1
    (tmp_path / "passport.toml").write_text(text, encoding="utf-8")
    mine = passport.load(tmp_path / "passport.toml")
    assert mine["camera.gain_e_adu"] == pytest.approx(seen.camera.gain_e_adu, abs=0.0006)
    assert mine["camera.read_noise_e"] == pytest.approx(seen.camera.read_noise_e, abs=0.006)
    assert mine.is_measured("camera.dark_e_s_px")


def test_the_brightest_flats_are_judged(files):
    """Derivation: the middle of a corner's tile of 12 × 12 lies at 11/12 of each half side, the middle of those round
    the centre at 1/12: (1 − 0.25 · (11/12)²)/(1 − 0.25/144) = 0.791. The light is numpy's median less the bias.
    """
    seen = practice.read_transfer(BALCONY, files).flats
    assert seen.good
    assert seen.corner_share == pytest.approx(0.791, rel=0.01)
    bright, bias = (fits.getdata(path).astype(float) for path in (files.flats[2], files.biases[0]))
    top = practice.invented_night(BALCONY, seed=3).camera.saturation_adu
    assert seen.level_share == pytest.approx(
        (np.median(bright) - bias.mean()) / (top - bias.mean()), rel=0.01
    )
    turned = practice.read_transfer(
        BALCONY, {"flats": files.flats[2:] + files.flats[:2], "biases": files.biases}
    )
    assert turned.flats.corner_share == seen.corner_share
    dim = practice.transfer_reading(BALCONY, {"flats": files.flats[:2], "biases": files.biases})
    assert "% of saturation, expose longer" in dim
    assert "good to flatten with" in practice.transfer_reading(BALCONY, files)


def test_without_darks_there_is_no_dark_current(files):
    said = practice.transfer_reading(BALCONY, {"flats": files.flats, "biases": files.biases})
    assert "read noise" in said
    assert "dark" not in said.lower()


def test_a_flickering_pair_is_left_out_and_said(files, tmp_path):
    """One of the bright flats 5 % dimmer: its four colour pairs go, the other four still tell the gain."""
    frame = frames.read_frame(files.flats[3])
    dimmed = 500 + 0.95 * (frame.adu.astype(float) - 500)
    other = frames.Frame(adu=np.rint(dimmed).astype(np.uint16), exposure_s=1.0, mosaic=frame.mosaic)
    frames.write_frame(tmp_path / "dim.fits", other, overwrite=False)
    mixed = {"flats": (*files.flats[:3], tmp_path / "dim.fits"), "biases": files.biases}
    seen = practice.read_transfer(BALCONY, mixed)
    assert seen.pairs == 4
    assert "flickers, levels 5" in practice.transfer_reading(BALCONY, mixed)
    truth = practice.invented_night(BALCONY, seed=3).camera.gain_e_adu
    assert seen.camera.gain_e_adu == pytest.approx(truth, rel=0.02)


def test_faults_are_one_line(files, tmp_path):
    def said(**change):
        words = practice.transfer_reading(BALCONY, files._asdict() | change)
        assert words.startswith("No reading: ")
        assert "\n" not in words
        return words

    assert "there is no file nothing.fits" in said(biases=(tmp_path / "nothing.fits",) * 2)
    assert "flats must come in pairs, received 3" in said(flats=files.flats[:3])
    assert "flats must come in pairs, received 0" in said(flats=())
    assert "the same frame twice" in said(flats=files.flats[:1] * 2)
    assert "darks must all have the same time" in said(darks=files.biases)
    assert "no brighter than the bias" in said(flats=files.biases)
    small = frames.read_frame(files.biases[0])
    for name in ("a.fits", "b.fits"):
        frames.write_frame(
            tmp_path / name, frames.Frame(adu=small.adu[:100], exposure_s=0.0001), overwrite=False
        )
    assert "differ in size" in said(biases=(tmp_path / "a.fits", tmp_path / "b.fits"))
    shutil.copy(files.biases[0], tmp_path / "c.fits")
    (tmp_path / "text.fits").write_text("not a picture")
    assert "text.fits cannot be read" in said(darks=(tmp_path / "text.fits",) * 2)


def test_a_file_without_its_end_uses_that_of_the_passport(files, tmp_path):
    """Derivation: 14 bits end at 16,383; the balcony's well of 13,000 e⁻ at 0.8 e⁻/ADU and 500 ADU at 16,750."""
    from workbook.practice import transfer

    assert transfer._top_adu(BALCONY) == 16383
    assert transfer._top_adu(BALCONY.replace({"camera.full_well_e": 8000.0})) == 10500
