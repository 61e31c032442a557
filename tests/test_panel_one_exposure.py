"""Lesson 09: noise and time of a sub, the two stacks, and what the panel says about them."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from scipy.integrate import quad
from test_lesson_answers_planted import lesson_of

from workbook import catalogue, exposure, passport
from workbook.figures import one_exposure as figure
from workbook.panels import build_one_exposure, clipped_in_field, exposure_noise
from workbook.panels.nebula import made_up_nebula

BALCONY = passport.scenario("balcony")


@pytest.fixture(scope="module")
def kept_panel():
    return build_one_exposure(BALCONY)


@pytest.fixture
def panel(kept_panel):
    kept_panel.reset()
    return kept_panel


def test_rates_by_hand(panel):
    """Derivation, by hand: area π 2.9² cm² = 26.42e-4 m²; scale 2.256″; photons of V = 0 in the zero point of the
    sky's tests. Ratio town to reference: 10^(0.4 (21.5 − 18.6)) = 14.45; dark 0.1 · 2^((12.5 − 20)/6) = 0.0420.
    """
    panel.set(sky_mag_arcsec2=21.5)
    dark_country = panel.result.sky_e_s_px
    panel.reset()
    assert panel.result.sky_e_s_px / dark_country == pytest.approx(14.454, rel=1e-3)
    assert panel.result.dark_e_s_px == pytest.approx(0.1 * 2 ** (-7.5 / 6), rel=1e-6)


def test_the_stack_has_the_noise_that_the_curve_promises(panel):
    """Derivation: the scatter of the made stack outside the nebula, against one endless exposure, is the noise
    added; the same random numbers in both, so the ratio is exact where the nebula gives no light.
    """
    panel.set(sub_s=10.0)
    result, empty = panel.result, made_up_nebula()[0] < 1e-3
    assert empty.sum() > 200
    ratio = result.stack[empty].std() / result.endless[empty].std()
    assert ratio == pytest.approx(1 + result.noise_share, rel=2e-3)
    assert result.endless[empty].std() == pytest.approx(
        np.sqrt((result.sky_e_s_px + result.dark_e_s_px) / 3600), rel=0.06
    )


def test_signal_to_noise_is_that_of_the_ccd_equation(panel):
    """Against exposure.snr_star, which the tests hold against published values, for one pixel and 351 subs."""
    result = panel.result
    single = exposure.snr_star(
        star_e_s=result.object_e_s_px, sky_e_s_px=result.sky_e_s_px, dark_e_s_px=result.dark_e_s_px,
        read_noise_e=result.read_noise_e, pixels=1, sub_s=result.sub_s, subs=3600 / (5 + 5.25),
    )  # fmt: skip
    assert result.snr == pytest.approx(single, rel=1e-6)
    rates = result.object_e_s_px + result.sky_e_s_px + result.dark_e_s_px
    assert result.endless_snr == pytest.approx(60.0 * result.object_e_s_px / np.sqrt(rates))  # √3600 s


def test_shares_by_hand(panel):
    """Derivation: 1.6²/(1.974 · 5) = 0.2594 more variance → 12.2 % of noise; 5.25/5 of pauses → √2.05."""
    result = panel.result
    assert result.read_share == pytest.approx(np.sqrt(1.2594) - 1, abs=3e-4)
    assert 1 + result.noise_share == pytest.approx(np.sqrt(1.2594 * 2.05), rel=1e-3)
    assert result.time_share == pytest.approx(1.2594 * 2.05 - 1, rel=1e-3)
    assert result.shortest_s == pytest.approx(9.756 * 2.56 / 1.974, rel=1e-3)
    where = np.argmin(abs(result.subs_s - 5.0))
    assert result.read_curve[where] == pytest.approx(result.read_share, rel=0.03)
    assert result.all_curve[where] == pytest.approx(result.noise_share, rel=0.03)


def test_a_filter_stops_the_sky_and_not_the_dark_current(panel):
    """Derivation: 7 nm of 300 nm at a peak of 0.88 is 0.0205 of an even sky; the sensor's own electrons stay."""
    open_sky = panel.result
    panel.set(filters="narrow, 7 nm")
    assert panel.result.sky_e_s_px == pytest.approx(open_sky.sky_e_s_px * 0.88 * 7 / 300, rel=1e-6)
    assert panel.result.dark_e_s_px == open_sky.dark_e_s_px
    assert panel.result.object_e_s_px == pytest.approx(0.88 * open_sky.object_e_s_px)
    panel.set(filters="dual band, 2 × 10 nm")
    assert panel.result.sky_e_s_px == pytest.approx(open_sky.sky_e_s_px * 0.88 * 20 / 300, rel=1e-6)


def test_a_clipped_star(panel):
    """Derivation, by hand: a centred star of sigma 0.680 px puts erf(0.5/(√2 · 0.680))² = 0.289 of its light on its
    brightest pixel; with 12,706 e⁻ of room (14 bits end before the well) less 10 of sky, 5 s → 8,783 e⁻/s, and
    V = 0 gives 10.7e6 e⁻/s.
    """
    room = min(13000.0, (16383 - 500) * 0.8)
    zero = panel.result.sky_e_s_px * 10 ** (0.4 * 18.6) / 2.256**2
    expected = 2.5 * np.log10(zero / ((room / 5 - 1.974) / 0.2893))
    assert panel.result.clipped_mag == pytest.approx(expected, abs=0.02)
    brighter = panel.result.clipped_mag
    panel.set(sub_s=50.0)
    assert panel.result.clipped_mag - brighter == pytest.approx(2.5, abs=0.03)


def test_the_range_grows_with_the_spread_of_the_sky():
    """Derivation: with nothing uncertain but the sky, ±0.3 mag is a factor 1.32 in the sky's part of reading."""
    panel = build_one_exposure(BALCONY)
    low, high = panel.result.time_68
    assert low < panel.result.time_share < high
    narrow = BALCONY.replace({"site.sky_mag_arcsec2": passport.Entry(18.6, 0.05, None)})
    other = build_one_exposure(narrow).result.time_68
    assert other[1] - other[0] < high - low


@pytest.mark.parametrize(
    "values", [{}, {"filters": "narrow, 7 nm"}, {"sky_mag_arcsec2": 22.0}, {"overhead_s": 20.0, "sub_s": 1.0}]
)
def test_the_range_lies_about_the_value(panel, values):
    """Derivation: small spreads of factors, drawn about their centres, leave the value in the middle within 6 %."""
    panel.set(**values)
    low, high = panel.result.time_68
    assert np.sqrt((1 + low) * (1 + high)) == pytest.approx(1 + panel.result.time_share, rel=0.06)
    assert low < panel.result.time_share < high


def test_the_width_of_the_range_by_hand(panel):
    """Derivation: without pauses time added is R²/(b t); ±8 % of R counts twice, sky ±0.3 mag is ±28 %, light ±12 %:
    together ±34 % in the logarithm, so the ends are exp(2 · 0.34) apart; 2,000 draws know that to 4 %.
    """
    panel.set(overhead_s=0.0)
    low, high = panel.result.time_68
    spread = np.sqrt((2 * 0.08) ** 2 + (0.3 * 0.921) ** 2 + 0.12**2)
    assert np.log(high / low) == pytest.approx(2 * spread, rel=0.1)


def test_a_rig_without_pauses_has_a_range():
    quick = BALCONY.replace({"camera.overhead_s": 0.0, "camera.dither_overhead_s": 0.0})
    result = build_one_exposure(quick).result
    assert result.overhead_s == 0.0
    assert result.time_68[0] < result.time_share < result.time_68[1]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "being 1: 2.58 (68 % range 2.33 to 2.88, assumed). The pauses cost most (105 % more time)"),
        ({"sky_mag_arcsec2": 22.0}, "Reading costs most"),
        ({"sub_s": 300.0}, "Long enough"),
        ({"sub_s": 300.0}, "Without guiding your gears hold only 7.2 s"),
        ({"sub_s": 5.0, "read_noise_e": 0.5}, "Your gears hold that even without guiding"),
    ],
)
def test_the_verdict(panel, values, words):
    panel.set(**values)
    assert words in str(panel)


def test_the_guess_stands_at_its_height(panel):
    panel.ghost = 40.0
    assert panel._artists.ghost.get_ydata()[0] == 40.0
    assert panel._artists.ghost.get_visible()
    panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_the_two_neighbours():
    """Derivation: √(1.2594/1.00432) − 1 = 12.0 %."""
    anna, ben = (exposure_noise(BALCONY, sub_s=t) for t in (5.0, 300.0))
    assert (1 + anna) / (1 + ben) - 1 == pytest.approx(np.sqrt(1.2594 / 1.00432) - 1, abs=5e-4)
    assert exposure_noise(BALCONY, sub_s=5.0, with_pauses=True) > 4 * anna


def test_times_and_shares_in_words():
    assert [figure.seconds(v) for v in (2.94, 13.2, 7200.0)] == ["2.9 s", "13 s", "2.0 h"]
    assert [figure.percent(v) for v in (0.0512, 1.2)] == ["5.1 %", "120 %"]


def test_slips_of_this_lesson_are_named(monkeypatch, tmp_path):
    """Derivation: the read noise not squared; the dark current forgotten; noise taken for time."""
    lesson = lesson_of("09-one-exposure", monkeypatch, tmp_path)
    assert "squared" in lesson.answer("faded", 1.6 / (0.5 * 0.1025)).text
    assert "dark current" in lesson.answer("filter", 2.56 / (1.974 * 0.0205 * 0.1025)).text
    assert "square" in lesson.answer("time", 20.0).text
    assert lesson.answer("shortest", exposure.shortest_sub_s).correct
    wrong = lesson.answer("shortest", lambda **k: -exposure.shortest_sub_s(**k))
    assert "sign" in wrong.text
    assert not lesson.answer("shortest", lambda **_: ...).correct


def test_the_clipped_stars_of_the_plans_field(monkeypatch):
    """Four stars in the field and two outside its short side, against astropy's places and a numerical integral of a
    Gaussian over a pixel (scipy). The scale is 206.265 · 3.5 μm/320 mm = 2.256″; the frame 2.507° × 1.755°.
    Magnitudes stand 0.15 mag to either side of the two limits, centred and on a corner.
    """
    star_sigma = np.hypot(BALCONY["night.seeing_arcsec"], 2.013) / 2.256 / 2.3548
    pixel = (
        quad(lambda x: np.exp(-0.5 * (x / star_sigma) ** 2), -0.5, 0.5)[0] / star_sigma / np.sqrt(2 * np.pi)
    )
    corner = (
        quad(lambda x: np.exp(-0.5 * (x / star_sigma) ** 2), 0.0, 1.0)[0] / star_sigma / np.sqrt(2 * np.pi)
    )
    room_e_s = (13000 if 13000 < (16383 - 500) * 0.8 else (16383 - 500) * 0.8) / 60 - 1.974
    zero_e_s = 1.9321 * 10**7.44 / 2.256**2
    limits = [2.5 * np.log10(zero_e_s / (room_e_s / share**2)) for share in (pixel, corner)]
    target = SkyCoord(23.462, 30.660, unit="deg")  # M 33
    away = [(0.0, 0.1), (90.0, 1.2), (180.0, 0.8), (270.0, 1.2), (0.0, 0.95), (180.0, 0.95)]
    mags = [limits[1] - 0.15, limits[1] + 0.15, limits[0] - 0.15, limits[0] + 0.15, 3.0, 3.0]
    places = [target.directional_offset_by(angle * u.deg, far * u.deg) for angle, far in away]
    made = catalogue.StarField(
        *(np.array([getattr(place, axis).deg for place in places]) for axis in ("ra", "dec")),
        np.array(mags), np.zeros(6, bool), (),
    )  # fmt: skip
    monkeypatch.setattr(catalogue, "stars_in_field", lambda **field: made)
    seen = clipped_in_field(BALCONY, sub_s=60.0)
    assert (seen.at_least, seen.at_most, seen.stars) == (1, 3, 4)
    assert seen.low <= 1
    assert 3 <= seen.high <= 4


def test_longer_subs_and_a_fuller_field_clip_more():
    """The field's own catalogue: more with time; by the Poisson law of counts the range holds the central numbers."""
    town, longer = (clipped_in_field(BALCONY, sub_s=sub_s) for sub_s in (13.0, 300.0))
    assert town.low <= town.at_least <= town.at_most <= town.high < longer.low < longer.at_most < longer.stars
    assert str(town).startswith(f"M 33, 13 s: {town.at_least} to {town.at_most} clipped stars (range ")
