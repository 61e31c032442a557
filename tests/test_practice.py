"""Practice frames: an invented night written to files, and read back by the learner's own cell."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.io import fits
from astropy.stats import sigma_clipped_stats

from workbook import frames, passport, practice

BALCONY = passport.scenario("balcony")


@pytest.fixture
def files(tmp_path):
    return practice.write_sky_frames(tmp_path / "new folder", BALCONY, seed=3)


def test_the_files_hold_the_invented_night(files):
    """Against astropy's own clipped statistics of the files, colour by colour of the mosaic."""
    night = practice.invented_night(BALCONY, seed=3)
    sky, dark, bias = (fits.getdata(path).astype(float) for path in files)
    level = [sigma_clipped_stats(picture, sigma=3.0)[0] for picture in (sky, dark, bias)]
    rate = (level[0] - level[1]) * night.camera.gain_e_adu / 20.0
    assert rate == pytest.approx(night.sky_e_s_px, rel=0.02)
    assert (level[1] - level[2]) * night.camera.gain_e_adu / 20.0 == pytest.approx(
        night.dark_e_s_px, abs=0.004
    )
    assert level[2] == pytest.approx(night.camera.offset_adu, abs=0.6)
    assert fits.getheader(files.sky)["EXPTIME"] == 20.0


def test_a_reading_finds_the_truth_within_its_error(tmp_path):
    """Derivation: eight nights; each within three of its own uncertainties, and together not all too high."""
    apart = []
    for seed in range(8):
        night = practice.invented_night(BALCONY, seed=seed)
        seen = practice.read_sky(BALCONY, practice.write_sky_frames(tmp_path, BALCONY, seed=seed))
        assert seen.sky_e_s_px == pytest.approx(night.sky_e_s_px, rel=0.02)
        assert seen.dark_e_s_px == pytest.approx(
            night.dark_e_s_px, abs=0.008
        )  # a median of few electrons is skewed
        apart.append((seen.sky_mag_arcsec2 - night.sky_mag_arcsec2) / seen.sky_sigma_mag_arcsec2)
    assert np.abs(apart).max() < 3.0
    assert np.std(apart) > 0.3  # the nights differ, as their optics are drawn
    assert min(apart) < 0 < max(apart)


def test_magnitudes_by_hand(files):
    """Derivation: the rate of the passport's own 18.6 sky is 1.932 e⁻/s/px; 1 mag is a factor of 2.5119."""
    seen = practice.read_sky(BALCONY, files)
    expected = 18.6 - 2.5 * np.log10(seen.sky_e_s_px / 1.9321)
    assert seen.sky_mag_arcsec2 == pytest.approx(expected, abs=0.002)
    assert 0.1 < seen.sky_sigma_mag_arcsec2 < 0.25  # throughput 12 % and gain 5 % alone are 0.14 mag


def test_nights_differ_and_repeat():
    first, again, other = (practice.invented_night(BALCONY, seed=seed) for seed in (1, 1, 2))
    assert first == again
    assert first.sky_mag_arcsec2 != other.sky_mag_arcsec2


def test_files_that_are_there_are_kept(files):
    before = files.sky.stat().st_mtime_ns
    files.dark.unlink()
    again = practice.write_sky_frames(files.sky.parent, BALCONY, seed=3)
    assert again == files
    assert files.sky.stat().st_mtime_ns == before
    assert files.dark.exists()


def test_the_words_hold_a_line_for_the_passport(files):
    said = practice.sky_reading(BALCONY, files)
    seen = practice.read_sky(BALCONY, files)
    assert f"sky_mag_arcsec2 = {{ value = {seen.sky_mag_arcsec2:.2f}" in said
    assert practice.sky_reading(BALCONY, files._asdict()) == said


def test_faults_are_one_line(files, tmp_path):
    def said(**change):
        words = practice.sky_reading(BALCONY, files._asdict() | change)
        assert words.startswith("No reading: ")
        assert "\n" not in words
        return words

    assert "there is no file nothing.fits" in said(dark=tmp_path / "nothing.fits")
    assert "take a dark of the same time" in said(dark=files.bias)
    (tmp_path / "text.fits").write_text("not a picture")
    assert "text.fits cannot be read" in said(sky=tmp_path / "text.fits")
    small = frames.read_frame(files.dark)
    small = frames.Frame(adu=small.adu[:100], exposure_s=20.0)
    frames.write_frame(tmp_path / "small.fits", small, overwrite=False)
    assert "same camera?" in said(dark=tmp_path / "small.fits")
    assert "sky" in practice.sky_reading(BALCONY, {"dark": files.dark, "bias": files.bias})
    assert "is the bias still in" in said(sky=files.dark, dark=files.sky)
