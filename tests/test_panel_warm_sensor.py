"""Lesson 11: the live stack and its noise, and what the panel says about dark current, darks, dither and cooling."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from astropy.stats import sigma_clip
from test_lesson_answers_planted import lesson_of

from workbook import frames, passport, sensor
from workbook.figures import warm_sensor as figure
from workbook.panels import build_warm_sensor, darks_off, stack_noise, worth_of_cooling
from workbook.panels.warm_sensor import left_share

BALCONY = passport.scenario("balcony")
DARK_COUNTRY = "21.4 mag/″²"


@pytest.fixture
def panel():
    return build_warm_sensor(BALCONY)


def test_rates_by_hand(panel):
    """Derivation: mid-night air 5.5 °C and 7 K of its own warmth are 12.5 °C: 0.1 · 2^(−7.5/6) = 0.0420. A sky of
    21.4 instead of 18.6 mag/″² is a factor 10^(0.4 · 2.8) = 13.18 darker.
    """
    assert panel.values["sensor_degc"] == 12.5
    assert panel.result.dark_e_s_px == pytest.approx(0.1 * 2 ** (-7.5 / 6), rel=1e-6)
    dark_country = panel.result.sky_e_s_px
    panel.set(sky_name="yours", ranges=False)
    assert panel.result.sky_e_s_px / dark_country == pytest.approx(13.183, rel=1e-3)
    town = panel.result.sky_e_s_px
    panel.set(sky_name="yours, narrow filter", ranges=False)
    assert panel.result.sky_e_s_px == pytest.approx(town * 0.88 * 7 / 300, rel=1e-6)
    assert panel.result.dark_share == pytest.approx(
        0.04204 * 30 / (panel.result.sky_e_s_px * 30 + 0.04204 * 30 + 1.6**2), rel=1e-3
    )


def test_what_darks_of_another_warmth_leave():
    """Derivation: 6 K colder darks hold half of the subs' dark current, 6 K warmer ones twice it; the same as
    sensor.dark_mismatch gives for two dark currents (its own tests count electrons).
    """
    assert [left_share(warmer_k=k, doubling_k=6.0) for k in (0.0, 6.0, -6.0)] == [0.0, 0.5, -1.0]
    light, dark = (
        sensor.dark_e_s_px(reference_e_s_px=0.1, reference_degc=20, temperature_degc=t, doubling_k=6)
        for t in (14.5, 12.5)
    )
    left = sensor.dark_mismatch(
        dark_light_e_s_px=light,
        dark_dark_e_s_px=dark,
        unevenness=0.3,
        sky_e_s_px=1,
        read_noise_e=1,
        sub_s=30,
        subs=1,
    )
    assert left.level_e / (30 * light) == pytest.approx(left_share(warmer_k=2.0, doubling_k=6.0))


def test_matched_darks_add_noise_and_dither_takes_it_away():
    """Derivation, by hand: 8.22/100 of the subs and 3.82/20 of the darks, the same in every sub: √(0.2733/0.0822) =
    1.82 for even pixels. Warm pixels (mean 1.3 of the median, so 4.2 for a dark, 8.6 for a sub) make it 1.92.
    """
    matched = stack_noise(BALCONY, sky_name=DARK_COUNTRY, darks=20)
    sky_e, dark_e, read2 = matched.sky_e_s_px * 30, matched.dark_e_s_px * 30, 1.6**2
    floor = sky_e + dark_e + read2
    mean = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=1.0, seed=1).mean(dtype=float)
    expected = (sky_e + mean * dark_e + read2) / 100 + (mean * dark_e + read2) / 20
    assert matched.noise_ratio == pytest.approx(np.sqrt(expected / (floor / 100)), rel=0.02)
    assert matched.noise_ratio > 1.8
    more = stack_noise(BALCONY, sky_name=DARK_COUNTRY, darks=100)
    dithered = stack_noise(BALCONY, sky_name=DARK_COUNTRY, darks=20, dither_px=8.0)
    assert dithered.noise_ratio < more.noise_ratio < matched.noise_ratio


def test_drift_draws_streaks_and_dither_scatters_them(panel):
    """Exact limit: an even picture has a streak ratio of 1, scattering by some 5 % (the ratio's own tests)."""
    drifting = panel.result
    assert drifting.streak_ratio > 4
    panel.set(dither_px=8.0, ranges=False)
    assert panel.result.streak_ratio < figure.STREAKY
    assert panel.result.noise_ratio < drifting.noise_ratio
    panel.set(drift_px=0.0, ranges=False)
    assert np.isnan(panel.result.streak_ratio)
    assert not any(part.get_visible() for part in panel._artists.arrow)


def test_the_picture_has_the_noise_and_the_direction_that_are_said(panel):
    """Derivation: the scatter of the shown picture is the ratio, drawn as it is in units of an ideal stack; its
    own autocorrelation is largest along the arrow: 20° above the row, (8, 3) px on, and not (8, −3).
    """
    picture = panel.result.picture
    assert picture.std() == pytest.approx(panel.result.noise_ratio, rel=1e-4)
    cut = np.clip(picture, -3, 3)
    along, against = (np.mean(cut[20:-20, :-8] * np.roll(cut, -up, axis=0)[20:-20, 8:]) for up in (3, -3))
    assert along > against + 0.02


def test_the_curves_end_where_the_stack_is(panel):
    """The curve is worked out without drawn noise, the stack with it: 3 % (the scatter of hot pixels)."""
    for change in ({}, {"dither_px": 8.0}, {"darks": 0}, {"drift_px": 1.0}):
        panel.reset()
        panel.set(ranges=False, **change)
        result = panel.result
        assert result.counts[-1] == result.subs == 100
        assert result.dithered_curve[-1] == pytest.approx(result.noise_ratio, rel=0.03)
    for subs, dither_px in ((12, 0.0), (12, 8.0), (30, 8.0)):
        panel.reset()
        panel.set(subs=subs, dither_px=dither_px, ranges=False)
        where = list(panel.result.counts).index(subs)
        assert panel.result.dithered_curve[where] == pytest.approx(panel.result.noise_ratio, rel=0.03)


def test_a_clip_needs_movement(panel):
    """Derivation: a hot pixel that lies under the same sky in every sub is no outlier there."""
    panel.set(drift_px=0.0, dither_px=0.0)
    assert panel.result.clipped_ratio == pytest.approx(panel.result.noise_ratio, rel=0.01)
    panel.set(dither_px=8.0)
    assert panel.result.clipped_ratio < 1.15 < panel.result.noise_ratio
    half = panel._artists.picture.get_array()
    np.testing.assert_array_equal(half[:80], panel.result.clipped[:80])
    np.testing.assert_array_equal(half[80:], panel.result.picture[80:])
    panel.set(dither_px=7.0, ranges=False)
    assert panel._artists.clipped_words.get_text() == "clipped mean follows"


def test_the_range(panel):
    """Derivation: matched darks and no movement leave (1.3 d + R²)/20 against (s + d + R²)/100; drawn here anew from
    the same spreads. A sky known better and a camera known better leave a narrower range.
    """
    panel.set(warmer_k=0.0, drift_px=0.0)
    low, high = panel.result.ratio_68
    assert low < panel.result.noise_ratio < high
    rig = BALCONY.replace({"site.sky_mag_arcsec2": 21.4}).draw(4000, 7)
    dark = 30 * rig["camera.dark_e_s_px"] * 2 ** (-7.5 / rig["camera.dark_doubling_k"])
    read2 = rig["camera.read_noise_e"] ** 2
    light_e = (
        panel.result.sky_e_s_px * 30
        * 10 ** (-0.4 * (rig["site.sky_mag_arcsec2"] - 21.4))
        * (rig["optics.aperture_mm"] / 58) ** 2 * (320 / rig["optics.focal_mm"]) ** 2
        * rig["optics.throughput"] / 0.45
    )  # fmt: skip
    ratio = np.sqrt((light_e + 1.3 * dark + read2 + 5 * (1.3 * dark + read2)) / (light_e + dark + read2))
    np.testing.assert_allclose((low, high), np.percentile(ratio, [16, 84]), rtol=0.02)
    panel.set(warmer_k=2.0)
    low, high = panel.result.ratio_68
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=1.0, seed=1).std(
        dtype=float
    )
    left = 1 - 2 ** (-2.0 / rig["camera.dark_doubling_k"])
    fixed = (pattern * left * dark) ** 2 + (1.3 * dark * (1 - left) + read2) / 20
    ratio = np.sqrt((light_e + 1.3 * dark + read2 + 100 * fixed) / (light_e + dark + read2))
    expected = np.percentile(ratio, [16, 84])
    assert high / low == pytest.approx(expected[1] / expected[0], rel=0.03)
    np.testing.assert_allclose((low, high), expected, rtol=0.1)  # the piece shown holds so many hot pixels
    known = {
        key: passport.Entry(BALCONY[key], 1e-3, None) for key in ("camera.dark_e_s_px", "camera.read_noise_e")
    }
    narrow = build_warm_sensor(BALCONY.replace(known))
    narrow.set(warmer_k=0.0, drift_px=0.0)
    assert narrow.result.ratio_68[1] - narrow.result.ratio_68[0] < high - low


def test_worth_of_cooling_by_hand():
    """Derivation: reading 1.6²/30 = 0.0853; at −10 °C 0.1/2⁵ = 0.0031. Narrow filter in town: 0.0396 + 0.0420 +
    0.0853 over 0.0396 + 0.0031 + 0.0853 = 1.304. A town, warm: 1.932 + 0.2245 + 0.0853 over 2.0204 = 1.110.
    """
    narrow = worth_of_cooling(BALCONY, sky_name="yours, narrow filter", air_degc=5.5, cold_degc=-10)
    assert 1 + narrow.time_share == pytest.approx(0.1669 / 0.1280, rel=2e-3)
    town = worth_of_cooling(BALCONY, sky_name="yours", air_degc=20.0, cold_degc=-10)
    assert 1 + town.time_share == pytest.approx(2.2418 / 2.0204, rel=2e-3)
    assert narrow.low < narrow.time_share < narrow.high
    known = {
        key: passport.Entry(BALCONY[key], 1e-3, None) for key in ("camera.dark_e_s_px", "camera.read_noise_e")
    }
    better = worth_of_cooling(
        BALCONY.replace(known), sky_name="yours, narrow filter", air_degc=5.5, cold_degc=-10
    )
    assert better.high - better.low < narrow.high - narrow.low


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "walking noise. Dither: random steps of several px"),
        ({"dither_px": 2.0}, "Wider random steps"),
        ({"drift_px": 0.0}, "more subs do not help"),
        ({"dither_px": 8.0}, "No streaks, but"),
        ({"warmer_k": 2.0}, "The darks leave 21 % of the pattern"),
        ({"warmer_k": -5.0}, "The darks take 78 % too much of the pattern"),
        ({"warmer_k": 0.0, "dither_px": 8.0}, "Nearly as good as with ideal darks"),
        ({"darks": 0}, "Take darks."),
        ({}, "Dark current makes 15 % of a sub's squared noise"),
        ({"dither_px": 8.0}, "A clipped mean of the same subs: 1.0"),
        ({"dither_px": 8.0, "subs": 5}, "A clip needs 8 subs or more"),
        ({"dither_px": 8.0, "subs": 3, "drift_px": 0.0}, "before the first step of the dither"),
    ],
)
def test_the_verdict(panel, values, words):
    panel.set(**values)
    assert words in str(panel)


def test_measured_only_where_it_is(panel):
    assert "assumed" in str(panel)
    measured = {
        key: passport.Entry(BALCONY[key], 0.01, date(2026, 11, 2))
        for key in ("site.sky_mag_arcsec2", "camera.dark_e_s_px")
    }
    mine = build_warm_sensor(BALCONY.replace(measured))
    assert "assumed)" in str(mine)  # the sky of the dark country is nobody's measurement
    mine.set(sky_name="yours")
    assert "measured)" in str(mine)


def test_the_guess_stands_at_its_height(panel):
    panel.ghost = 50.0
    assert panel._artists.ghost.get_ydata()[0] == 1.5
    panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_a_stack_above_the_scale_says_so(panel):
    """Derivation: no darks, nothing moves, 40 °C: the pattern's scatter (5 and more medians) against √(dark/100)."""
    panel.set(darks=0, drift_px=0.0, sensor_degc=40.0)
    assert panel.result.noise_ratio > 100
    assert panel._artists.above.get_text() == f"this stack: {panel.result.noise_ratio:.0f} ×, above the scale"
    assert panel._artists.curves[0].get_ydata()[-1] > 100
    panel.reset()
    assert panel._artists.above.get_text() == ""


def test_a_clip_begins_to_work_at_eight():
    """Derivation: N/√(N − 1) is 2.86 at 7 and 3.02 at 8."""
    from workbook.panels.warm_sensor import FEWEST_TO_CLIP

    assert [n / np.sqrt(n - 1) > 3 for n in (FEWEST_TO_CLIP - 1, FEWEST_TO_CLIP)] == [False, True]
    assert (
        frames.subs_to_remove_trail(trail_sigmas=100, clip_sigmas=3, left_sigmas=0.5, seed=1)
        == FEWEST_TO_CLIP
    )


def test_other_sensors_and_other_steps():
    """The lesson says: another invented pattern moves the noise by some 5 %, other random steps of 8 px leave streaks
    of 1.0 to 1.4. Ten of each, against `frames.walking_noise` itself.
    """
    rig = {
        "subs": 100, "exposure_s": 30.0, "sky_e_s_px": 0.1466, "dark_e_s_px": 0.04204, "read_noise_e": 1.6, "darks": 20,
        "mismatch": 1 - 2 ** (-2 / 6), "drift_x_px": 0.1 * np.cos(np.radians(20)),
        "drift_y_px": 0.1 * np.sin(np.radians(20)), "dither_every": 4, "method": "mean",
    }  # fmt: skip
    still = [frames.walking_noise(**rig, dither_px=0.0, seed=seed) for seed in range(1, 11)]
    noise = np.array([made.noise_e / made.floor_e for made in still])
    assert noise[0] == pytest.approx(stack_noise(
        BALCONY, sky_name=DARK_COUNTRY, darks=20, warmer_k=2.0, drift_px=0.1
    ).noise_ratio, rel=2e-3)  # fmt: skip
    assert 0.03 < noise.std() / noise.mean() < 0.06
    streaks = [frames.walking_noise(**rig, dither_px=8.0, seed=seed).streak_ratio for seed in range(1, 11)]
    assert min(streaks) == pytest.approx(1.0, abs=0.1)
    assert max(streaks) == pytest.approx(1.35, abs=0.1)


def test_unknown_changes_are_named():
    with pytest.raises(ValueError, match="unknown tilt"):
        stack_noise(BALCONY, tilt=3)


def test_ratios_in_words():
    assert [figure.times(v) for v in (1.234, 12.6)] == ["1.23 ×", "13 ×"]


def test_slips_of_this_lesson_are_named(monkeypatch, tmp_path):
    """Derivation: noises added straight; the dark's own noise forgotten; a doubling taken as a product."""
    lesson = lesson_of("11-warm-sensor", monkeypatch, tmp_path)
    assert "squares" in lesson.answer("pair", 6.0).text
    assert "the noise stays" in lesson.answer("pair", 0.0).text
    assert "doublings multiply" in lesson.answer("faded", 0.1 * 2 * 7 / 6).text
    assert "warmer means more" in lesson.answer("faded", 0.1 * 2 ** (-7 / 6)).text
    assert "a third" in lesson.answer("wait", 20 * np.log(10)).text
    assert lesson.answer("dark", sensor.dark_e_s_px).correct
    wrong = lesson.answer("dark", lambda **k: -sensor.dark_e_s_px(**k))
    assert "sign" in wrong.text
    assert not lesson.answer("dark", lambda **_: ...).correct


def test_darks_of_another_warmth_in_electrons_by_hand():
    """By hand: 0.1 · 2^(−7.5/6) e⁻/s · 30 s = 1.2613 e⁻, of which darks 2 K colder leave 1 − 2^(−2/ΔT): for 6 K 0.2063,
    for 4.5 K 0.2651, for 9 K 0.1428 (Widenhorn et al. 2002). The sky of 18.6 mag/″² gives 1.932 e⁻/s: √(1.932 · 30) =
    7.61 e⁻; optics (0.12) and sky (0.3 mag, so 0.28) spread its square by about 0.3. 1e-3: digits of the constants.
    """
    left = darks_off(BALCONY, warmer_k=2.0)
    np.testing.assert_allclose(left.level_e, 1.2613 * np.array([0.2063, 0.1428, 0.2651]), rtol=1e-3)
    assert left.sky_noise_e[0] == pytest.approx(7.613, rel=1e-3)
    assert left.sky_noise_e[1:] == pytest.approx((7.61 * 0.85, 7.61 * 1.15), rel=0.02)
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=1.0, seed=1).astype(float)
    usual = sigma_clip(pattern, sigma=3.0, maxiters=5)  # astropy's: hot and warm pixels masked
    np.testing.assert_allclose(np.array(left.pattern_e) / left.level_e, usual.std() / usual.mean(), rtol=0.01)
    assert "colder leave 0.26 e⁻ (0.18 to 0.33)" in str(left)
    assert "noise is 7.61 e⁻" in str(left)


def test_warmer_darks_take_too_much_and_the_sky_is_the_chosen_one():
    """By hand: 2^(2/6) − 1 = 0.2599, for 9 K 0.1665, for 4.5 K 0.3608, of 1.2613 e⁻; 2.8 mag are a factor of 13.183."""
    left = darks_off(BALCONY, warmer_k=-2.0, sky_name=DARK_COUNTRY)
    np.testing.assert_allclose(left.level_e, -1.2613 * np.array([0.2599, 0.3608, 0.1665]), rtol=1e-3)
    assert left.sky_noise_e[0] == pytest.approx(7.613 / np.sqrt(13.183), rel=1e-3)
    assert left.sky_noise_e[1] < left.sky_noise_e[0] < left.sky_noise_e[2]
    assert "warmer take 0.33 e⁻ (0.21 to 0.46) too much" in str(left)
    narrow = darks_off(BALCONY, warmer_k=2.0, sky_name="yours, narrow filter")
    assert narrow.sky_noise_e[0] == pytest.approx(7.613 * np.sqrt(0.88 * 7 / 300), rel=1e-3)
