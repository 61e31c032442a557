"""Lesson 05: one turn of the worm, the yield with its wander, the hill, the ranges, and what the panel says."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from test_lesson_answers_planted import lesson_of

from workbook import drive, passport
from workbook.figures import gears as figure
from workbook.panels import build_gears, gear_case, with_gears
from workbook.panels.gears import verdict
from workbook.panels.one_gear import CREDITS, STARTS, SUBS_S, efficiencies, top_of, yields

BALCONY = passport.scenario("balcony")
CASE = gear_case(BALCONY)
SCALE = 206.265 * 3.5 / 320  # ″/px of the balcony
CLEAN = {"second": 0.0, "wander": False}
TRK_10 = {"peak_to_peak_arcsec": 40.0, "period_s": 480.0, "tolerance_px": 1.5 / SCALE}
SAFE_S = 5.7309  # reference row TRK-10: ±20″ in 480 s run 1.5″ in this time where they are fastest


@pytest.fixture(scope="module")
def panel():
    return build_gears(BALCONY)


# One turn and its trails


@pytest.mark.parametrize("sub_s", [5.7309, 20.0, 100.0])
def test_longest_and_shortest_trail_of_a_clean_wave(sub_s):
    """Reference row TRK-10 (5.7309 s give 1.5″) and its closed form P-P sin(πt/P); about the turning point the wave
    runs up and down by P-P/2 (1 − cos(πt/P)). Tolerance: half a step of 0.94 s between starts, at up to 0.16″/s.
    """
    seen = CASE.own(sub_s=sub_s, **TRK_10, **CLEAN)
    half_turn = math.pi * sub_s / 480.0
    assert seen.trail_px.max() * SCALE == pytest.approx(40.0 * math.sin(half_turn), rel=0.001)
    assert seen.trail_px.min() * SCALE == pytest.approx(20.0 * (1.0 - math.cos(half_turn)), abs=0.08)
    assert np.ptp(seen.error_arcsec) == pytest.approx(40.0, rel=1e-4)
    assert (seen.turn[0], seen.turn[-1]) == (0.0, 1.25)
    assert (seen.starts[0], seen.starts[-1]) == (0.0, 1.0)


def test_the_turn_wanders_as_a_random_walk():
    """Derivation: the steps of a Brownian motion over Δt have the standard deviation walk √Δt (1,024 steps: 2.2 %)."""
    walked = CASE.own().error_arcsec - CASE.own(wander=False).error_arcsec
    step_s = 420.3 / 1024
    assert walked[0] == 0.0
    assert np.diff(walked).std() == pytest.approx(0.3 * math.sqrt(step_s), rel=0.07)
    still = CASE.own(sub_s=90.0).error_arcsec
    np.testing.assert_array_equal(still, CASE.own(sub_s=3.0).error_arcsec)


def test_a_trail_with_wander_is_the_extent_of_its_path():
    """Derivation: largest minus smallest error within the sub, start by start, in plain numpy."""
    seen = CASE.own(sub_s=40.0)
    times = seen.turn * seen.period_s
    for k in (0, 100, 333):
        begin = seen.starts[k] * seen.period_s
        path = np.interp(np.linspace(begin, begin + 40.0, 4000), times, seen.error_arcsec)
        assert seen.trail_px[k] * SCALE == pytest.approx(np.ptp(path), abs=0.02)


# The yield


@pytest.mark.parametrize(("times_safe", "expected"), [(1.0, 1.0), (math.sqrt(2.0), 0.5), (2.0, 1 / 3)])
def test_yield_of_a_clean_wave_is_the_arcsine_law(times_safe, expected):
    """Reference row TRK-10 for the safe length; arcsine law (Feller I, III.4): (2/π) asin(1/√2) = 1/2 and
    (2/π) asin(1/2) = 1/3. Tolerance 0.004: the library's 0.002, and a sub that is not endlessly short.
    """
    seen = CASE.own(sub_s=times_safe * SAFE_S, **TRK_10, **CLEAN)
    assert seen.kept == pytest.approx(expected, abs=0.004)


def test_knee_of_a_clean_wave():
    """Derivation: nine in ten where sin(πt/P) = tolerance/(P-P sin(0.45π)); 0.2 % for turning points."""
    seen = CASE.own(**TRK_10, **CLEAN)
    expected = 480.0 / math.pi * math.asin(1.5 / (40.0 * math.sin(0.45 * math.pi)))
    assert seen.knee_s == pytest.approx(expected, rel=0.002)


@pytest.mark.parametrize("sub_s", [8.0, 15.0, 30.0])
def test_yield_with_wander_against_paths_followed_in_fine_steps(sub_s):
    """Derivation: 4,000 random starts, each path in steps of 0.05 s with its own Brownian motion, by numpy alone.
    Tolerance: 2.5 σ of both samples (0.8 % and 1.6 %) and 0.01 that fine steps and the bridge differ.
    """
    dice = np.random.default_rng(11)
    time = np.arange(0.0, sub_s + 1e-9, 0.05)
    starts = dice.uniform(0.0, 420.3, (4000, 1))
    turn = 2.0 * np.pi * (starts + time) / 420.3
    path = 25.0 * np.sin(turn) + 6.0 * np.sin(2.0 * turn + math.radians(60.0))
    steps = 0.3 * math.sqrt(0.05) * dice.standard_normal((4000, time.size - 1))
    path[:, 1:] += np.cumsum(steps, axis=1)
    good = (np.ptp(path, axis=1) <= 1.5 * SCALE).mean()
    assert CASE.own(sub_s=sub_s).kept == pytest.approx(good, abs=0.035)


def test_the_curve_with_wander_is_smooth_and_falls():
    """Derivation: the yield never rises with the length; the same dice for all lengths leave steps below 0.02."""
    kept = CASE.own().frame_yield
    assert kept[0] > 0.999
    assert kept[-1] < 0.001
    assert np.diff(kept).max() < 0.02


@pytest.mark.parametrize(("starts", "error"), [(STARTS, 0.004), (64, 0.02)])
def test_the_subs_of_a_drawn_turn_begin_all_over_it(starts, error):
    """Derivation: without wander worth the name the counted yield is the exact one, within one start or so at each
    end of what is kept: 64 starts are 1.6 % each, and a stride that meets a part of them only is 5 % off.
    """
    gear = {"peak_to_peak_arcsec": [50.0, 12.0], "period_s": [420.3, 210.15], "phase_deg": [0.0, 60.0]}
    exact = drive.frame_yield(sub_s=SUBS_S, tolerance_arcsec=3.384, **gear)
    np.testing.assert_allclose(yields(gear, 1e-9, 3.384, SUBS_S, starts), exact, atol=error)


# The hill


def test_efficiency_by_hand():
    """Source: the hand estimate of lesson 14 (Howell 2006, sec. 4.4): 8 s, 5.25 s of pauses, 2.2 e⁻/s/px, 1.6 e⁻;
    3 %: the sky there is that of a field 40° high, here of the zenith.
    """
    by_hand = 8.0 / 13.25 * 2.2 / (2.2 + 1.6**2 / 8.0)
    assert efficiencies(CASE.rig, 18.6, [8.0], [1.0])[0] == pytest.approx(by_hand, rel=0.03)
    seen = CASE.own()
    np.testing.assert_allclose(seen.efficiency, seen.frame_yield * seen.rest, rtol=1e-9)


def test_top_of_a_known_hill():
    """Derivation: 1 − (ln t/7)² peaks at 7 and is 0.95 at 7 exp(±√0.05); straight lines between points: 2 %."""
    subs = np.geomspace(1.0, 300.0, 61)
    best, low, high = top_of(subs, 1.0 - np.log(subs / 7.0) ** 2, smooth=True)
    reach = math.exp(math.sqrt(0.05))
    assert best == pytest.approx(7.0, rel=1e-6)
    assert (low, high) == pytest.approx((7.0 / reach, 7.0 * reach), rel=0.02)
    assert top_of(subs, np.linspace(0.0, 1.0, 61), smooth=True)[0] == pytest.approx(300.0)


@pytest.mark.parametrize("sky", [18.6, 21.5])
def test_best_sub_of_a_clean_wave(sky):
    """Derivation: scipy's minimiser on the arcsine law × duty × read-noise factor; 3 %, a step of the finer curve."""
    seen = CASE.own(sky_mag_arcsec2=sky, **TRK_10, **CLEAN)

    def lost(log_t):
        t = math.exp(log_t)
        kept = 2.0 / math.pi * math.asin(min(1.0, SAFE_S / t))
        return -kept * efficiencies(CASE.rig, sky, [t], [1.0])[0]

    found = min(
        (minimize_scalar(lost, bounds=ends, method="bounded") for ends in ((0, 2), (1, 3))),
        key=lambda r: r.fun,
    )
    assert seen.best_sub_s == pytest.approx(math.exp(found.x), rel=0.03)
    assert seen.efficiency.max() == pytest.approx(-found.fun, rel=0.02)


def test_the_numbers_of_the_lesson():
    """Derivation: the paths in fine steps above, for the balcony as it stands; knee alone by `drive.knee_s`."""
    own, alone = CASE.own(), CASE.own(wander=False)
    assert alone.knee_s == pytest.approx(7.2, abs=0.05)
    assert alone.kept == pytest.approx(0.85, abs=0.005)
    assert own.usable_low_s < own.best_sub_s < own.usable_high_s
    assert own.knee_s < alone.knee_s
    half = CASE.own(peak_to_peak_arcsec=25.0)
    assert 1.4 < half.best_sub_s / own.best_sub_s < 2.0


# Ranges


def test_range_of_the_knee_of_a_clean_wave():
    """Derivation: the knee goes as one over the swing, whose spread is lognormal: median 50″, 20 %, so the range is
    knee × exp(±0.994 √ln(1.04)); of 80 draws the ends are known within 12 %.
    """
    values = CASE.values | CLEAN
    seen = CASE.with_ranges(CASE.gear_hill(**values), **values)
    reach = math.exp(0.994 * math.sqrt(math.log(1.04)))
    assert seen.knee_68_s == pytest.approx((seen.knee_s / reach, seen.knee_s * reach), rel=0.12)
    assert seen.kept_68[0] < seen.kept <= seen.kept_68[1]
    assert seen.best_68_s[0] < seen.best_sub_s < seen.best_68_s[1]


def test_a_measured_gear_has_a_narrower_range():
    """Derivation: the school measured its gear: 48 ± 3″ against the balcony's 50 ± 10″ (same law of the knee)."""
    widths = []
    for name in ("balcony", "school"):
        case = gear_case(passport.scenario(name))
        values = case.values | {"wander": False}
        low, high = case.with_ranges(case.gear_hill(**values), **values).knee_68_s
        widths.append(high / low)
    assert math.log(widths[1]) < 0.6 * math.log(widths[0])


# Partial credit


def test_lowest_ratio_of_a_tolerance():
    """Derivation: an even trail L adds L²/12 to the variance along it, σ/√(σ² + L²/12); σ by the blur budget."""
    sigma = CASE.star_sigma_px()
    assert (
        2.2 < 2.3548 * sigma < 2.6
    )  # lesson 01: a star is 2.4 to 2.7 px wide with the unrest of the mount in it
    for tolerance_px in (1.0, 3.0):
        ratio = CASE.best_subs_s(tolerance_px)["lowest ratio"]
        assert ratio == pytest.approx(sigma / math.sqrt(sigma**2 + tolerance_px**2 / 12.0), rel=1e-9)


def test_partial_credit_stops_the_best_sub_from_growing():
    """Derivation: a long star is worth less before it is worth nothing, so the best sub comes earlier, never later."""
    picky, easy = CASE.best_subs_s(1.5), CASE.best_subs_s(6.0)
    for best in (picky, easy):
        assert best["axis ratio"] <= best["good or bad"]
        assert best["width"] <= best["good or bad"] * 1.03
    grown = {credit: easy[credit] / picky[credit] for credit in CREDITS}
    assert grown["axis ratio"] < grown["width"] < grown["good or bad"]
    assert grown["good or bad"] == pytest.approx(4.0, rel=0.1)  # the law of the safe length: as the tolerance


# A measured series


def test_an_invented_series_is_found_again():
    """Derivation: what `separate` and `fit_gears` say of the series, within three of their own deviations."""
    series = CASE.invented_series(5)
    fit = drive.fit_gears(
        times_s=series.times_s, errors_arcsec=series.ra_arcsec, shortest_s=200, longest_s=700
    )
    assert abs(fit.period_s - 420.3) < 3.0 * fit.period_sigma_s
    assert (np.abs(fit.peak_to_peak_arcsec - [50.0, 12.0]) < 3.0 * fit.peak_to_peak_sigma_arcsec).all()
    parts = drive.separate(
        times_s=series.times_s, ra_errors_arcsec=series.ra_arcsec, dec_errors_arcsec=series.dec_arcsec,
        period_s=fit.period_s, dec_deg=0, axis_ra_drift_arcsec_min=0,
    )  # fmt: skip
    assert abs(parts.rate_arcsec_min - 2.0) < 3.0 * parts.rate_sigma_arcsec_min
    assert abs(parts.dec_drift_arcsec_min + 1.2) < 3.0 * parts.dec_drift_sigma_arcsec_min
    again = CASE.invented_series(5)
    np.testing.assert_array_equal(series.ra_arcsec, again.ra_arcsec)


@pytest.mark.parametrize(("period_s", "teeth"), [(420.3, 205), (598.36, 144)])
def test_a_measured_gear_replaces_the_assumed_one(period_s, teeth):
    """Reference row TRK-07: 144 teeth turn the worm in 598.36 s. The wave itself comes back, whatever its phase."""
    times = np.arange(0.0, 5.0 * period_s, 4.0)
    wave = {
        "peak_to_peak_arcsec": [30.0, 9.0],
        "period_s": [period_s, period_s / 2.0],
        "phase_deg": [130.0, 300.0],
    }
    errors = drive.gear_error_arcsec(time_s=times, **wave)
    fit = drive.fit_gears(times_s=times, errors_arcsec=errors, shortest_s=200, longest_s=800)
    rig = with_gears(BALCONY, fit, measured=dt.date(2026, 11, 2))
    assert rig["drive.gear_teeth"] == teeth
    assert rig["drive.gear_error_arcsec"] == pytest.approx(30.0, rel=1e-3)
    assert rig["drive.second_harmonic_phase_deg"] == pytest.approx(300.0 - 2 * 130.0, abs=0.5)
    assert rig.is_measured("drive.gear_error_arcsec")
    assert "gear measured" in str(build_gears(rig))
    seen = gear_case(rig).own(wander=False).error_arcsec
    # the same shape, begun at another moment: highest and lowest error agree
    assert (seen.max(), seen.min()) == pytest.approx((errors.max(), errors.min()), abs=0.1)


def test_the_report_tells_both_ways_with_ranges():
    text = CASE.report()
    assert "assumed" in text
    assert "gear alone: knee 7.2 s (" in text
    assert text.count(" to ") == 7
    assert "measured;" in gear_case(passport.scenario("school")).report()


# What the panel says


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({}, "As good as any"),
        ({"sub_s": 60.0}, "Too long"),
        ({"sub_s": 2.0}, "Too short"),
        ({"peak_to_peak_arcsec": 2.0, "wander": False, "second": 0.0, "sub_s": 200.0}, "set no limit"),
        ({"peak_to_peak_arcsec": 2.0, "wander": False, "second": 0.0}, "Too short"),
        ({"peak_to_peak_arcsec": 120.0, "period_s": 60.0, "tolerance_px": 0.5}, "Knee under 1 s"),
        ({"peak_to_peak_arcsec": 2.0, "wander": False}, "Knee over 300 s"),
    ],
)
def test_verdict(values, said):
    assert said in verdict(CASE.own(**values))


def test_where_no_sub_is_good_the_verdict_says_so():
    none = CASE.own()._replace(efficiency=np.zeros(3))
    assert verdict(none) == "No sub of a second or longer stays within this tolerance."


def test_presets_do_what_their_names_say(panel):
    knees = {}
    for words, values in panel.presets.items():
        panel.reset()
        panel.set(**values)
        knees[words] = panel.result.knee_s
    panel.reset()
    assert knees["Strong second wave"] < 7.2 < knees["One clean wave"]
    assert knees["Dark country sky"] == panel.result.knee_s


def test_words_and_table_hold_the_numbers(panel):
    panel.reset()
    result, text = panel.result, str(panel)
    assert f"Good subs of 8.0 s: {100 * result.kept:.0f} of 100 (68 % range" in text
    assert f"knee | {result.knee_s:.1f} s | {result.knee_68_s[0]:.1f} to {result.knee_68_s[1]:.1f} s" in text
    assert "tolerance | 1.5 px or 3.4″" in text
    assert "with a second wave of 12″" in figure.describe(result)
    assert "second wave" not in figure.describe(CASE.own(second=0.0))


def test_shaded_runs_cover_what_is_kept():
    bars = figure._bars(np.array([0.0, 0.1, 0.2, 0.3, 0.4]), np.array([True, True, False, True, False]))
    edges = [(bar[0][0], bar[2][0]) for bar in bars]
    np.testing.assert_allclose(edges, [(-0.05, 0.15), (0.25, 0.35)])
    assert figure._bars(np.array([0.0, 0.1]), np.array([False, False])) == []


def test_the_function_of_the_lesson(monkeypatch, tmp_path):
    """The folded solution passes; a blank, a sign, degrees, a missing 2 and ± for peak to peak are wrong."""
    lesson = lesson_of("05-gears", monkeypatch, tmp_path)

    def good(*, sub_s, peak_to_peak_arcsec, period_s, tolerance_arcsec):
        inner = tolerance_arcsec * period_s / (math.pi * peak_to_peak_arcsec * sub_s)
        return 2 / math.pi * math.asin(min(1, inner))

    assert lesson.answer("yield", good).correct
    for wrong in (
        lambda **_: None,
        lambda **k: -good(**k),
        lambda **k: math.degrees(good(**k)),
        lambda **k: good(**k) / 2,
        lambda **k: good(**(k | {"peak_to_peak_arcsec": k["peak_to_peak_arcsec"] / 2})),
        lambda **k: 1 / 0,
    ):
        feedback = lesson.answer("yield", wrong)
        assert not feedback.correct
        assert "Traceback" not in feedback.text
