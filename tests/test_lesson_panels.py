"""The lessons' panels without a notebook: every control at both ends, words, table twin, looks, and the numbers."""

from __future__ import annotations

import numpy as np
import pytest

from workbook import optics, panels, passport, verdict
from workbook.figures import first_look, how_far, look
from workbook.panels import build_how_far, sweep
from workbook.panels.first_look import moon_on_sensor

# Every panel of the workbook but the horizon's, which has points instead of controls and tests of its own.
BUILDERS = [
    getattr(panels, name)
    for name in panels.__all__
    if name.startswith("build_") and name != "build_horizon_mask"
]


@pytest.fixture(scope="module", params=BUILDERS, ids=lambda build: build.__name__)
def panel(request):
    return request.param(passport.scenario("balcony"))


def test_every_control_to_both_ends(panel):
    assert sweep(panel) >= 10


@pytest.mark.parametrize("name", passport.SCENARIOS)
@pytest.mark.parametrize("build", BUILDERS, ids=lambda build: build.__name__)
def test_it_opens_for_every_demo_rig(build, name):
    panel = build(passport.scenario(name))
    assert not panel.problem
    assert panel.result is not None


def test_both_looks_draw(panel):
    light = panel.picture
    panel.wear(look.RED)
    try:
        red = panel.picture
        pixels = np.asarray(panel.canvas.image())
        assert pixels[..., 1:3].max() == 0
        assert pixels[..., 0].max() > 200
        assert red != light
    finally:
        panel.wear(look.LIGHT)


def test_words_table_and_description_hold_the_same_numbers(panel):
    panel.reset()
    text = str(panel)
    assert panel.alt in text
    assert "assumed" in text
    assert len(text.split("Table:\n")[1].splitlines()) >= 6


def test_the_ghost_of_a_guess_is_drawn(panel):
    panel.reset()
    before = panel.picture
    panel.ghost = 5.0
    try:
        assert panel.picture != before
    finally:
        panel.ghost = None
    assert panel.picture == before


def test_the_moon_on_the_sensor():
    """Source: mean apparent diameter of the Moon 31.09′ (D. R. Williams, NASA Moon fact sheet: 1866″ at mean distance
    of centre 384,400 km seen from the Earth's centre, from memory); reference row SAM-01 for the scale.
    """
    seen = moon_on_sensor(focal_mm=250.0, pixel_um=3.76, width_px=1000, height_px=500)
    assert seen.scale_arcsec_px == pytest.approx(3.10222, abs=0.0005)
    moon_arcmin = 60.0 * first_look.MOON_DEG
    assert moon_arcmin == pytest.approx(31.08, abs=0.02)
    assert seen.moon_px * seen.scale_arcsec_px == pytest.approx(3600.0 * first_look.MOON_DEG)
    assert seen.width_deg == pytest.approx(optics.field_of_view_deg(sensor_mm=3.76, focal_mm=250.0))


def test_how_far_says_what_the_verdict_says():
    """Derivation: the panel at the best sub is the verdict; the two sample the path differently (3 %)."""
    rig = passport.scenario("school")
    answer = verdict.verdict(rig, draws=1000)
    panel = build_how_far(rig)
    panel.set(sub_s=answer.best_sub_s)
    assert panel.result.finished_h == pytest.approx(answer.finished_h, rel=0.03)
    assert panel.result.kept_h == pytest.approx(answer.kept_h, rel=0.03)
    np.testing.assert_allclose(panel.result.finished_68_h, answer.finished_68_h, rtol=0.05)
    assert panel.result.costs[0].cause.key == answer.costs_most.cause.key
    assert "As good as any" in str(panel)


def test_how_far_names_too_short_and_too_long():
    panel = build_how_far(passport.scenario("balcony"))
    panel.set(sub_s=1.0)
    assert "Too short" in str(panel)
    panel.set(sub_s=200.0)
    assert "Too long" in str(panel)
    panel.set(tolerance_px=0.5, sky_mag_arcsec2=17.0, gear_error_arcsec=100.0)
    assert not panel.problem


def test_how_far_with_no_usable_minute_says_so():
    rig = passport.scenario("balcony").replace({"habits.set_up_tilted_min": 600.0})
    panel = build_how_far(rig)
    assert "No minute of this night can be used" in str(panel)
    assert how_far.describe(panel.result).startswith("No hill")
    panel.set(mode="alt-az")
    assert panel.result.finished_h > 0


def test_how_far_refuses_a_night_without_darkness():
    import datetime as dt

    with pytest.raises(ValueError, match="no astronomical darkness"):
        build_how_far(passport.scenario("balcony"), target="M 13", date=dt.date(2026, 6, 21))


def test_measured_numbers_are_said_to_be_so():
    """The southern club's sky was measured, the balcony's was not."""
    assert "partly measured" in str(build_how_far(passport.scenario("southern-club")))
    assert "partly measured" not in str(build_how_far(passport.scenario("balcony")))
