"""The second panel of lesson 01: what makes a star wide, beside sums by hand and the drawn star's own moments."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbook import passport
from workbook.figures import blur as blur_figure
from workbook.panels import build_blur


@pytest.fixture(scope="module")
def blurred():
    return build_blur(passport.scenario("balcony"))


def test_blur_of_the_balcony_by_hand(blurred):
    """Derivation: variances in px² added by hand: seeing 3″, Airy 1.029 λ/D, 1/12, mosaic 3/8, disc of 20 µm at
    f/5.52 as (Δz/4N)², unrest 0.3″, trail 1²/12.
    """
    blurred.reset()
    scale = 206.2648 * 3.5 / 320
    airy = 1.029 * 550e-9 / 0.058 * 206265
    variance = (3.0 / 2.35482 / scale) ** 2 + (airy / 2.35482 / scale) ** 2 + 1 / 12 + 3 / 8
    variance += (20 / (4 * 320 / 58) / 3.5) ** 2 + (0.3 / scale) ** 2 + 1 / 12
    assert blurred.result.budget.fwhm_px == pytest.approx(2.35482 * math.sqrt(variance), rel=2e-3)
    assert blurred.result.budget.worth_improving == "colour mosaic"
    across = 2.35482 * math.sqrt(variance - 3 / 8 - 1 / 12)
    assert blurred.result.sampling.samples_per_fwhm == pytest.approx(across / 2, rel=2e-3)


def test_the_drawn_star_has_the_budgets_moments(blurred):
    """Derivation: second moments of the picture itself, along and across; STEPS points leave 1/81 of L²/12 out."""
    blurred.set(trail_px=4.0)
    star, budget = blurred.result.star, blurred.result.budget
    y, x = np.indices(star.shape) - blur_figure.STAR_PX // 2
    assert star.sum() == pytest.approx(1.0, abs=1e-3)
    across = 2.35482 * math.sqrt((star * y**2).sum() / star.sum())
    along = 2.35482 * math.sqrt((star * x**2).sum() / star.sum())
    assert across == pytest.approx(budget.across_px, rel=2e-3)
    assert along == pytest.approx(budget.fwhm_px, rel=5e-3)
    blurred.reset()


def test_blur_names_what_to_improve(blurred):
    for values, words in (
        ({"defocus_um": 100.0}, "Worth improving: focus"),
        ({"trail_px": 6.0}, "Worth improving: trail"),
        ({"unrest_arcsec": 3.0}, "Worth improving: unrest"),
        ({"mosaic": "mono", "seeing_arcsec": 6.0}, "No single part in your hands"),
        ({"focal_mm": 960.0}, "Worth improving: diffraction"),
    ):
        blurred.reset()
        blurred.set(**values)
        assert words in str(blurred), values
    blurred.reset()


def test_the_stack_is_whole_and_in_order(blurred):
    blurred.set(trail_px=3.0)
    parts = blurred._artists.parts
    widths = [part.get_width() for part in parts]
    assert sum(widths) == pytest.approx(100.0)
    np.testing.assert_allclose([part.get_x() for part in parts], np.append(0.0, np.cumsum(widths)[:-1]))
    blurred.reset()


def test_blur_without_seeing_or_unrest():
    rig = passport.scenario("balcony").replace({"guide.noise_arcsec": 0.0})
    panel = build_blur(rig)
    panel.set(unrest_arcsec=2.0)
    assert not panel.problem
