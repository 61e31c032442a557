"""Lesson 10: hours until a picture is clear, against the hand calculation, and what the panel says."""

from __future__ import annotations

import numpy as np
import pytest
from test_lesson_answers_planted import lesson_of

from workbook import exposure, passport
from workbook.figures import how_many_hours as figure
from workbook.panels import build_how_many_hours, hours_to_clear_h, moonlit_mag
from workbook.panels.nebula import OUTER, binned_nebula, made_up_nebula

BALCONY = passport.scenario("balcony")


@pytest.fixture(scope="module")
def kept_panel():
    return build_how_many_hours(BALCONY)


@pytest.fixture
def panel(kept_panel):
    kept_panel.reset()
    return kept_panel


def test_hours_by_hand(panel):
    """Derivation, by hand. The town's 1.932 e⁻/s/px at 18.6 is 0.0843 at 22.0, × 0.722 of the air at 45° (0.25 mag,
    airmass 1.413) = 0.0609; b = 1.932 + 0.042; 1.6²/7.553 = 0.339; 100 · (0.0609 + 1.974 + 0.339)/(0.0609² · 9) =
    7,112 s of open shutter; duty 7.553/12.803, yield 0.879 → 3.81 h.
    """
    assert panel.result.sub_s == pytest.approx(7.553, rel=2e-3)
    light = 1.9321 * 10 ** (-0.4 * 3.4) * 10 ** (-0.4 * 0.25 * 1.413)
    open_s = 100 * (light + 1.9741 + 2.56 / 7.553) / (light**2 * 9)
    expected = open_s / (7.553 / 12.803) / 0.8787 / 3600
    assert panel.result.needed_h == pytest.approx(expected, rel=3e-3)
    assert panel.result.snr == pytest.approx(10 * np.sqrt(3.0 / expected), rel=2e-3)


def test_matched_hours_give_the_signal_to_noise_of_dark_country(panel):
    """Derivation: signal to noise grows with the root of the time."""
    before = panel.result
    panel.set(hours_h=float(f"{before.matched_h:.3g}"))
    assert panel.result.snr == pytest.approx(before.dark_snr, rel=0.005)


@pytest.mark.parametrize("binning", [1, 2, 3, 4])
def test_boxes_win_their_side(panel, binning):
    """Derivation: n² pixels have n times the signal to noise; the boxes' noise stays standard normal within 3 %."""
    panel.set(binning=1)
    single = panel.result.snr
    panel.set(binning=binning)
    assert panel.result.snr == pytest.approx(binning * single)
    shape, dice = binned_nebula(binning)
    assert dice.std() == pytest.approx(1.0, abs=2.5 / np.sqrt(2 * dice.size))
    assert shape.shape == panel.result.pictures[0].shape


def test_the_pictures_have_the_noise_that_their_captions_say(panel):
    """Derivation: outside the nebula the scatter of a picture is one over its signal to noise."""
    result = panel.result
    empty = binned_nebula(3)[0] < 1e-3
    spread = binned_nebula(3)[1][empty].std()
    for picture, snr in zip(result.pictures, (result.snr, result.dark_snr, result.dark_snr), strict=True):
        assert picture[empty].std() == pytest.approx(spread / snr, rel=1e-3)  # a trace of light is left


def test_the_made_up_nebula():
    shape, dice = made_up_nebula()
    assert shape.max() == pytest.approx(1.0, abs=1e-3)
    assert shape[36, 52] == pytest.approx(1.0, abs=1e-3)  # it stands in the middle, on an empty ground
    assert max(shape[0, 0], shape[0, -1], shape[-1, 0], shape[-1, -1]) < 1e-3
    y, x = (np.sum(index * shape) / shape.sum() for index in np.indices(shape.shape))
    assert (y, x) == pytest.approx((36, 52), abs=5)
    assert 0.05 < (shape > 0.5).mean() < 0.3
    np.testing.assert_allclose(binned_nebula(2)[0][18, 26], shape[36:38, 52:54].mean())
    np.testing.assert_allclose(binned_nebula(2)[1][18, 26], 2 * dice[36:38, 52:54].mean())
    assert OUTER * 0.9 < np.median(shape[(shape > 0.05) & (shape < 0.5)]) < OUTER * 1.1


def test_the_rule_holds_where_the_sky_rules_and_fails_where_reading_does(panel):
    """Derivation: without read noise, dark current and target, time follows the sky exactly."""
    silent = BALCONY.replace({"camera.read_noise_e": 0.1, "camera.dark_e_s_px": 0.0})
    quiet = build_how_many_hours(silent)
    quiet.set(target_mag_arcsec2=25.0)
    result = quiet.result
    faint = [hours_to_clear_h(silent, target_mag_arcsec2=25.0, sky_mag_arcsec2=mag) for mag in (18.0, 21.5)]
    assert faint[0] / faint[1] == pytest.approx(10 ** (0.4 * 3.5), rel=0.1)
    assert result.curve_h[-1] < 1.3 * result.rule_h[-1]
    assert panel.result.curve_h[-1] > 3.0 * panel.result.rule_h[-1]
    np.testing.assert_allclose(
        np.interp(18.6, panel.result.skies, panel.result.rule_h), panel.result.needed_h, rtol=1e-3
    )


def test_one_magnitude_of_target_is_six_times():
    """Derivation: 10^0.8 = 6.31 where the target's own noise is small."""
    ratio = hours_to_clear_h(BALCONY, target_mag_arcsec2=24.0) / hours_to_clear_h(
        BALCONY, target_mag_arcsec2=23.0
    )
    assert ratio == pytest.approx(10**0.8, rel=0.02)


def test_filters_by_hand(panel):
    """Derivation: 20 nm of 300 nm at 0.88 is 0.0587 of the sky; a nebula keeps 0.88, a galaxy 0.0587 as well."""
    light, noise = 0.060925, 2.56 / 7.5528
    plain = (light + 1.9741 + noise) / light**2
    for words, share in (("dual band on a nebula", 0.88), ("dual band on a galaxy", 0.058667)):
        behind = (light * share + 1.9321 * 0.058667 + 0.042045 + noise) / (light * share) ** 2
        panel.set(filters=words)
        needed = panel.result.needed_h
        panel.set(filters="none")
        assert needed / panel.result.needed_h == pytest.approx(behind / plain, rel=2e-3)


def test_moonlit_skies():
    """Source: Krisciunas & Schaefer 1991, PASP 103, 1033, table 3 gives a full Moon's sky of 17.8 to 18.6 mag/″² in V
    at 60° from it over a dark site; here 21.4 without, at another altitude and extinction, ±0.3 mag allowed.
    """
    assert moonlit_mag(BALCONY, 21.4, phase_angle_deg=0.0) == pytest.approx(18.2, abs=0.4)
    town = [moonlit_mag(BALCONY, 18.6, phase_angle_deg=angle) for angle in (0.0, 90.0)]
    assert town[0] < town[1] < 18.6


def test_moonlight_is_added_to_the_sky_at_the_target():
    """Derivation: a new Moon changes nothing; moonlight adds as light, so what is added is the same over any sky.
    By hand, K&S 1991 eqs 15 to 21 at 45° with the Moon at z = 50°, 60° away, k = 0.25: I = 10^(−0.4 (−12.73 +
    16.57)) = 0.0291; f = 10^5.36 (1.06 + 0.25) + 10^(6.15 − 1.5) = 344,800; paths (1 − 0.96 sin² z)^−0.5 = 1.387
    and 1.513; 344,800 · 0.0291 · 10^(−0.4 · 0.25 · 1.513) · (1 − 10^(−0.4 · 0.25 · 1.387)) = 1,938 nL; V of a
    sky of B nL is 26.33 − 2.5 log B to 0.02 mag (34.08 e^(20.7233 − 0.92104 V) = B).
    """
    assert moonlit_mag(BALCONY, 18.6, phase_angle_deg=180.0) == pytest.approx(18.6, abs=0.002)
    light = [
        10 ** (-0.4 * moonlit_mag(BALCONY, mag, phase_angle_deg=0.0)) - 10 ** (-0.4 * mag)
        for mag in (18.0, 21.5)
    ]
    assert light[0] == pytest.approx(light[1], rel=1e-6)
    by_hand = (20.7233 - np.log(1938 / 34.08)) / 0.92104
    assert -2.5 * np.log10(light[0]) == pytest.approx(by_hand, abs=0.01)


def test_range_comes_from_the_spreads(panel):
    panel.reset()
    low, high = panel.result.needed_68_h
    assert low < panel.result.needed_h < high
    ends = panel.result.curve_68_h
    assert (ends[0] < panel.result.curve_h).all()
    assert (ends[1] > panel.result.curve_h).all()
    sharp = BALCONY.replace(
        {
            "site.sky_mag_arcsec2": passport.Entry(18.6, 0.02, None),
            "optics.throughput": passport.Entry(0.45, 0.01, None),
        }
    )
    other = build_how_many_hours(sharp).result.needed_68_h
    assert np.log(other[1] / other[0]) < 0.85 * np.log(high / low)


@pytest.mark.parametrize(
    "values", [{}, {"binning": 1}, {"filters": "dual band on a nebula"}, {"sky_mag_arcsec2": 21.5}]
)
def test_the_range_lies_about_the_value(panel, values):
    """Derivation: the median of factors drawn about their centres is the value, the ends symmetric in factors, 8 %."""
    panel.set(**values)
    low, high = panel.result.needed_68_h
    assert np.sqrt(low * high) == pytest.approx(panel.result.needed_h, rel=0.08)
    np.testing.assert_allclose(
        np.sqrt(np.prod(panel.result.curve_68_h, axis=0)), panel.result.curve_h, rtol=0.1
    )


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "is 10: 3.8 h (68 % range 2.3 to 6.2 h, assumed). 3.0 h give a signal to noise of 8.9."),
        ({"target_mag_arcsec2": 20.0}, "is 10: 6.5 min (68 % range 4.2 to 10.2 min, assumed)"),
        ({"target_mag_arcsec2": 24.0}, "is 10: 148 h ("),
        ({"target_mag_arcsec2": 24.0}, "that is 36 nights like the planned one"),
        ({}, "Dark country needs 4.1 times less"),
        ({}, "At 4.1 usable hours a night that is one night"),
        ({"target_mag_arcsec2": 25.0}, "That is more than a season"),
        ({"target_mag_arcsec2": 20.0}, "Clear enough"),
        ({"sky_mag_arcsec2": 22.0, "target_mag_arcsec2": 24.0}, "usable hours a night that is"),
    ],
)
def test_the_verdict(panel, values, words):
    panel.set(**values)
    assert words in str(panel)
    if values.get("sky_mag_arcsec2") == 22.0:
        assert "Dark country" not in str(panel).split("Picture:")[0]


def test_a_night_without_darkness_still_gives_hours():
    """Source: no astronomical night at 52.4° N in June; the sub is then the gears' knee, nine in ten kept."""
    import datetime as dt

    summer = build_how_many_hours(BALCONY.replace({"plan.date": dt.date(2026, 6, 21)}))
    assert summer.result.needed_h > 0
    assert "usable hours a night" not in str(summer)
    assert summer.result.sub_s == pytest.approx(7.4, abs=0.6)


def test_a_mark_off_the_scale_is_said_not_bent(panel):
    panel.set(target_mag_arcsec2=25.0, filters="dual band on a galaxy")
    assert "your sky: over 10,000 h" in panel._artists.outside.get_text()
    assert len(panel._artists.here.get_xdata()) == 0
    panel.reset()
    assert panel._artists.outside.get_text() == ""
    assert panel._artists.here.get_ydata()[0] == pytest.approx(panel.result.needed_h)


def test_the_guess_is_a_line_from_the_city(panel):
    panel.ghost = 25.0
    x, y = panel._artists.ghost.get_data()
    assert tuple(x) == (18.0, 21.5)
    assert y[0] / y[1] == pytest.approx(25.0)
    panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_words_for_hours():
    assert [figure.long_duration(h) for h in (0.5, 3.81, 934.2)] == ["30.0 min", "3.8 h", "934 h"]
    assert [figure.figures(s) for s in (2.34, 17.8)] == ["2.3", "18"]


def test_slips_of_this_lesson_are_named(monkeypatch, tmp_path):
    """Derivation: twice as clear taken for twice as long; light taken for its worth."""
    lesson = lesson_of("10-how-many-hours", monkeypatch, tmp_path)
    assert "four times" in lesson.answer("clearer", 18.0).text
    assert "square" in lesson.answer("hazy", 70.0).text

    def right(*, snr, object_e_s_px, background_e_s_px, read_noise_e, pixels, sub_s):
        return exposure.hours_to_snr_h(
            snr=snr, object_e_s_px=object_e_s_px, sky_e_s_px=background_e_s_px, dark_e_s_px=0.0,
            read_noise_e=read_noise_e, pixels=pixels, sub_s=sub_s, frame_yield=1.0, overhead_s=0.0,
        )  # fmt: skip

    assert lesson.answer("hours", right).correct
    assert (
        "3600" in lesson.answer("hours", lambda **k: 3600 * right(**k)).text
        or "hour" in lesson.answer("hours", lambda **k: 3600 * right(**k)).text
    )
    assert not lesson.answer("hours", lambda **_: ...).correct
    assert not lesson.answer("hours", lambda **k: -right(**k)).correct
