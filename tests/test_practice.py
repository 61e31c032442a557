"""Practice frames: an invented night written to files, and read back by the learner's own cell."""

from __future__ import annotations

import re

import numpy as np
import pytest
from astropy.io import fits
from astropy.stats import sigma_clipped_stats

from workbook import catalogue, frames, passport, practice
from workbook.passport.schema import Entry
from workbook.practice.night import DEC_DEG, RA_DEG, _stars

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
    assert seen.sky_sigma_e_s_px == pytest.approx(0.05 * seen.sky_e_s_px, rel=0.03)  # gain 0.04 of 0.8
    assert seen.sky_sigma_mag_arcsec2 == pytest.approx(
        1.0857 * np.hypot(0.12, 0.05), rel=0.1
    )  # throughput, gain


def test_the_scatter_of_a_reading_by_hand(tmp_path):
    """With a gain known exactly: a median of N pixels errs by √(π/2) σ/√N (Kenney & Keeping 1962, ch. 13), the sky's
    for each colour of the mosaic with its share of the pixels, and the dark's on top, in squares; σ from astropy.
    2 %: whole counts are clipped at slightly other ends. Without the dark's own error a fifth would be missing.
    """
    exact = BALCONY.replace({"camera.gain_e_adu": Entry(0.8, 0.0), "site.sky_mag_arcsec2": Entry(21.8, 0.1)})
    files = practice.write_sky_frames(tmp_path, exact, seed=3)
    seen = practice.read_sky(exact, files)
    sky, dark = (fits.getdata(path).astype(float) for path in (files.sky, files.dark))
    red, blue = sky[::2, ::2].ravel(), sky[1::2, 1::2].ravel()
    green = np.concatenate([sky[::2, 1::2].ravel(), sky[1::2, ::2].ravel()])
    squares = [
        share**2 * sigma_clipped_stats(plane, sigma=3.0)[2] ** 2 / plane.size
        for share, plane in ((0.25, red), (0.5, green), (0.25, blue))
    ]
    squares.append(sigma_clipped_stats(dark, sigma=3.0)[2] ** 2 / dark.size)
    gain = fits.getheader(files.sky)["GAIN"]
    assert seen.sky_sigma_e_s_px == pytest.approx(np.sqrt(np.pi / 2 * sum(squares)) * gain / 20.0, rel=0.02)
    assert np.sqrt(1 - squares[-1] / sum(squares)) < 0.85  # so that the dark's part cannot hide


def test_the_stars_of_a_night_by_hand():
    """Derivation. Width: 1.029 λ/D = 2.013″ for 550 nm and 58 mm, with the drawn seeing in squares, over 2.3548.
    Scale: 206.265 pixel/focal length, as drawn. Number: area of 720 × 480 px in square degrees times the
    catalogue's count, within four roots of it. Light: between that of 6.0 and of 14.5 mag. Rates: those of the
    drawn optics.
    """
    night, drawn = practice.invented_night(BALCONY, seed=3), BALCONY.draw(2, 3)
    seeing = drawn["night.seeing_arcsec"][1]
    pixel_um, focal_mm, aperture_mm = (
        np.broadcast_to(drawn[key], 2)[1]
        for key in ("camera.pixel_um", "optics.focal_mm", "optics.aperture_mm")
    )
    scale = 206.265 * pixel_um / focal_mm
    assert night.scale_arcsec_px == pytest.approx(scale, rel=1e-4)
    width = night.star_sigma_px * night.scale_arcsec_px * 2.3548
    assert width == pytest.approx(np.hypot(seeing, 2.013 * 58.0 / aperture_mm), rel=5e-3)
    x, y, light = _stars(night, 3)
    latitude = catalogue.galactic_latitude_deg(ra_deg=RA_DEG, dec_deg=DEC_DEG)
    per_deg2 = float(catalogue.star_count_deg2(galactic_latitude_deg=latitude, g_mag=14.5))
    many = per_deg2 * 720 * 480 * (scale / 3600) ** 2
    assert len(light) == pytest.approx(many, abs=4 * np.sqrt(many))
    assert night.zero_e_s * 10**-5.8 * 0.999 < light.min() < light.max() < night.zero_e_s * 10**-2.4
    assert np.median(light) < night.zero_e_s * 10**-4.8  # most are fainter than 12 mag
    assert 500 < np.ptp(x) < 720  # some thirty stars, all over the frame
    assert 330 < np.ptp(y) < 480
    passed = drawn["optics.throughput"][1] / 0.45 * (aperture_mm / 58.0) ** 2
    assert night.zero_e_s == pytest.approx(passed * 1.9321 * 10**7.44 / 2.256**2, rel=2e-3)
    sky = passed * (scale / 2.256) ** 2 * 1.9321 * 10 ** (0.4 * (18.6 - night.sky_mag_arcsec2))
    assert night.sky_e_s_px == pytest.approx(sky, rel=2e-3)


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


def test_practice_subs_stacked(tmp_path):
    """Against numpy: a mean of eight subs moved back by their known whole pixels. Even noise falls to 1/√8 = 0.354; the
    fixed pattern of the dark current keeps it a little above, 5 % at most under a town's sky.
    """
    subs = practice.write_subs(tmp_path / "new", BALCONY, seed=3, dither_px=6)
    assert len(set(subs)) == 8
    job = frames.stack_files(subs, method="mean", resampling="whole pixels", on_fault="stop")
    said = practice.stack_reading(job)
    share, error = (float(found) for found in re.search(r"(0\.\d+) ± (0\.\d+) of it", said).groups())
    steps = frames.sub_shifts_px(subs=8, drift_x_px=0, drift_y_px=0, dither_px=6, dither_every=1, seed=3)
    for axis in ("x_px", "y_px"):  # the stars stand where the steps say; 0.1 px: their places in one sub
        moved = [getattr(each, f"shift_{axis}") for each in job.stack.alignments]
        np.testing.assert_allclose(moved, getattr(steps, axis) - getattr(steps, axis)[0], atol=0.1)
    back = np.round([np.subtract(steps.x_px, steps.x_px[0]), np.subtract(steps.y_px, steps.y_px[0])]).astype(
        int
    )
    pictures = [fits.getdata(path).astype(float) for path in subs]
    inner = [
        picture[20 + up : -20 + up, 20 + right : -20 + right]
        for picture, right, up in zip(pictures, *back, strict=True)
    ]
    by_hand = (
        sigma_clipped_stats(np.mean(inner, axis=0), sigma=3.0)[2]
        / sigma_clipped_stats(inner[0], sigma=3.0)[2]
    )
    assert share == pytest.approx(by_hand, rel=0.01)
    assert 1 / np.sqrt(8) - 3 * error < share < 1.05 / np.sqrt(8)
    assert error == pytest.approx(share / np.sqrt(inner[0].size), abs=5e-4)  # three digits printed
    wide, high = (np.ptp(np.append(one, 0)) for one in back)
    part = (720 - wide) * (480 - high) / (720 * 480)
    assert f"; {100 * part:.0f} % of the picture lies in all subs" in said
    written = frames.write_stack(tmp_path / "stack.fits", job, on_exists="number")
    assert fits.getheader(written)["NCOMBINE"] == 8


def test_subs_that_are_there_are_kept_and_faults_are_said(tmp_path):
    subs = practice.write_subs(tmp_path, BALCONY, seed=1, count=3)
    before = subs[0].read_bytes()
    subs[1].write_bytes(b"not a picture")
    again = practice.write_subs(tmp_path, BALCONY, seed=1, count=3)
    assert again == subs
    assert subs[0].read_bytes() == before
    job = frames.stack_files(subs, method="mean", resampling="whole pixels", on_fault="skip")
    assert re.search(r"^2 subs.*left out: .*sub-1-dither-6-02\.fits", practice.stack_reading(job))
    other = practice.write_subs(tmp_path / "other", BALCONY, seed=1, count=2)
    assert (
        other[0].read_bytes() == before
    )  # the same night for a whole class, and more subs begin with the fewer
    with pytest.raises(ValueError, match="count"):
        practice.write_subs(tmp_path, BALCONY, seed=1, count=1)


def test_without_common_pixels_there_is_no_reading(tmp_path):
    subs = practice.write_subs(tmp_path, BALCONY, seed=1, count=2)
    apart = [frames.Alignment(x, 0.0, 0.0, 359.5, 239.5) for x in (0.0, 800.0)]
    job = frames.stack_files(
        subs, method="mean", resampling="whole pixels", on_fault="stop", alignments=apart
    )
    assert practice.stack_reading(job).startswith("No part of the picture is in all 2 subs")
