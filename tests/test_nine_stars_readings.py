"""A learner's readings in words, against the stars that the optical train itself draws."""

from __future__ import annotations

import numpy as np
import pytest

import workbook as wb
from workbook.nine_stars import Causes, focus_reading, nine_stars, stars_at, train, width_reading

RIG = train(wb.passport.scenario("balcony").central())
SCALE_MM = np.array([9.85, 9.92, 10.0, 10.08, 10.15])


def rows(causes):
    """Widths as a learner writes them down: the upper row first."""
    return nine_stars(RIG, causes).stars.width_px.reshape(3, 3)[::-1].round(1)


def test_focus_is_found_where_the_drawn_stars_are_narrowest():
    """Derivation: stars drawn at known distances from focus; a sharp centre has the train's faultless width."""
    off_um = 1e3 * (SCALE_MM - 10.013)
    widths = [float(stars_at(RIG, Causes(focus_um=um), across=[0.0], up=[0.0]).width_px[0]) for um in off_um]
    said = focus_reading(RIG, positions_mm=SCALE_MM, fwhm_px=np.round(widths, 1), fwhm_sigma_px=0.1)
    best, sigma, width = (float(said.split()[k]) for k in (2, 4, 7))
    assert best == pytest.approx(10.013, abs=0.004)
    assert 0.0 < sigma < 0.012
    assert width == pytest.approx(RIG.faultless_px, abs=0.1)
    assert "good enough" in said


def test_coarse_readings_are_not_good_enough():
    said = focus_reading(RIG, positions_mm=SCALE_MM, fwhm_px=[6, 4, 2.5, 4, 6], fwhm_sigma_px=1.2)
    assert "not good enough: read more positions" in said


@pytest.mark.parametrize(
    ("causes", "words", "part", "sign"),
    [
        (Causes(tilt_x_arcmin=25.0, focus_um=30.0), "a lean", "rise to the right", "+"),
        (Causes(tilt_x_arcmin=-25.0, focus_um=30.0), "a lean", "rise to the right", "−"),
        (Causes(tilt_y_arcmin=30.0, focus_um=30.0), "a lean", "upwards", "+"),
        (Causes(spacing_error_mm=2.0), "a bowl: spacing", "to all corners", "+"),
    ],
)
def test_a_cause_shows_where_it_was_put(causes, words, part, sign):
    """Derivation: nine_stars' own convention, its right and upper side lean away from the lens where positive."""
    said = width_reading(RIG, rows_px=rows(causes), fwhm_sigma_px=0.05)
    assert words in said
    assert f"{part} {sign}" in said


def test_a_faultless_rig_is_flat():
    assert "flat within" in width_reading(RIG, rows_px=[[2.3] * 3] * 3, fwhm_sigma_px=0.1)


@pytest.mark.parametrize(
    ("read", "numbers", "words"),
    [
        (focus_reading, {"positions_mm": [1, 2, 3], "fwhm_px": [2, 3, 4]}, "no minimum"),
        (focus_reading, {"positions_mm": [1, 2, 3], "fwhm_px": [4, np.nan, 4]}, "one of them is missing"),
        (
            width_reading,
            {"rows_px": [[2, 3, 2]]},
            r"three rows of three widths are needed, received the shape",
        ),
        (width_reading, {"rows_px": [[2, 3, 2], [2, -3, 2], [2, 3, 2]]}, "above 0 px"),
        (width_reading, {"rows_px": [[2, 3, 2], [2, np.nan, 2], [2, 3, 2]]}, "one of them is missing"),
    ],
)
def test_faults_are_a_line(read, numbers, words):
    assert words in read(RIG, fwhm_sigma_px=0.1, **numbers)
