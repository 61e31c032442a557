"""Periodic error and frame yield, against closed forms of the sine and a brute-force count of subs."""

from __future__ import annotations

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.drive.gears as gears
import workbook.drive.kept as kept

ROWS = rows("drive.csv")
TWO = {"peak_to_peak_arcsec": [50, 12], "period_s": [420.3, 210.15]}
ONE = {"peak_to_peak_arcsec": 50, "period_s": 420.3}


def sine_yield(*, sub_s, peak_to_peak_arcsec, period_s, tolerance_arcsec):
    """The share of starts for which A sin stays within the tolerance, in closed form.

    Let the sub span the phase 2w = 2π t / P and let d, 0 to π/2, be the phase from its middle to the nearest
    crest or trough. All d are equally frequent.
    - d > w: no turning point within; the extent is the difference of the ends, 2A sin d sin w.
    - d ≤ w: one turning point within; the far end lies d + w beyond it, so the extent is A (1 − cos(d + w)),
      and 2A once d + w reaches π.
    Both grow with d and meet at d = w, so the kept share is d* / (π/2), d* where the extent is the tolerance.
    """
    ratio = tolerance_arcsec / (peak_to_peak_arcsec / 2)
    w = np.pi * min(sub_s / period_s, 1)
    if ratio >= 2:
        return 1.0
    if ratio < 1 - np.cos(w):
        return 0.0
    d = np.arccos(1 - ratio) - w
    if d > w:
        d = np.arcsin(min(1, ratio / (2 * np.sin(w))))
    return min(d / (np.pi / 2), 1)


def counted_yield(*, sub_s, peak_to_peak_arcsec, period_s, tolerance_arcsec, phases_deg, seed=5, subs=20_000):
    """Subs started at random, 300 looks each: error about 0.004 (one sigma, 20,000 subs)."""
    random = np.random.default_rng(seed)
    cycle = max(period_s)
    start = random.uniform(0, cycle, subs)
    if phases_deg is None:  # no common cycle: every phase is free
        phases = random.uniform(0, 2 * np.pi, (subs, len(period_s)))
    else:
        phases = np.broadcast_to(np.radians(phases_deg), (subs, len(period_s)))
    low, high = np.full(subs, np.inf), np.full(subs, -np.inf)
    for look in np.linspace(0, sub_s, 300):
        error = np.zeros(subs)
        for k, (swing, period) in enumerate(zip(peak_to_peak_arcsec, period_s, strict=True)):
            error += swing / 2 * np.sin(2 * np.pi * (start + look) / period + phases[:, k])
        low, high = np.minimum(low, error), np.maximum(high, error)
    return np.mean(high - low <= tolerance_arcsec)


@pytest.mark.parametrize("tolerance", [0.1, 0.5, 1.5, 3, 8, 20, 35, 49, 49.9])
def test_yield_of_one_sine_is_the_closed_form(tolerance):
    """From half a second to more than a turn; ±0.002 is the stated accuracy."""
    subs = np.concatenate([np.geomspace(0.5, 600, 60), [105.075, 210.15, 420.3]])
    found = kept.frame_yield(sub_s=subs, tolerance_arcsec=tolerance, **ONE)
    wanted = [sine_yield(sub_s=s, tolerance_arcsec=tolerance, **ONE) for s in subs]
    np.testing.assert_allclose(found, wanted, rtol=0, atol=0.002)


@pytest.mark.parametrize("phases", [(0, 0), (0, 90), (30, 200)])
@pytest.mark.parametrize(("sub", "tolerance"), [(5, 3), (12, 3), (30, 8), (120, 40)])
def test_yield_of_two_harmonics_is_that_of_counted_subs(phases, sub, tolerance):
    """Brute force; 0.012 is three sigma of 20,000 subs."""
    asked = {"sub_s": sub, "tolerance_arcsec": tolerance} | TWO
    found = kept.frame_yield(**asked, phase_deg=phases)
    assert found == pytest.approx(counted_yield(**asked, phases_deg=phases), abs=0.012)


@pytest.mark.parametrize("periods", [[420.3, 163.7], [420.3, 3.1], [120.0, 80.0]])
def test_yield_where_the_periods_do_not_divide(periods):
    """No common cycle in the first two: all phases count; the third meets again after two turns."""
    asked = {"sub_s": 10, "tolerance_arcsec": 3.5, "peak_to_peak_arcsec": [50, 2], "period_s": periods}
    if periods[0] == 120:
        asked["sub_s"], asked["tolerance_arcsec"] = 3, 3.3
    counted = counted_yield(**asked, phases_deg=None)
    assert 0.1 < counted < 0.9
    assert kept.frame_yield(**asked) == pytest.approx(counted, abs=0.015)


def test_yield_of_a_harmonic_slightly_off_a_half_takes_all_phases():
    """The second period slides against the first: one turn would show one phase, and be wrong by 0.07."""
    asked = {"sub_s": 30, "tolerance_arcsec": 8, "peak_to_peak_arcsec": [50, 25], "period_s": [420.3, 207.0]}
    assert kept.frame_yield(**asked) == pytest.approx(counted_yield(**asked, phases_deg=None), abs=0.015)


def test_phase_matters_between_harmonics_only():
    base = {"sub_s": 12, "tolerance_arcsec": 3}
    alone = kept.frame_yield(**base, **ONE)
    assert kept.frame_yield(**base, **ONE, phase_deg=77) == pytest.approx(alone, abs=0.002)
    both = kept.frame_yield(**base, **TWO, phase_deg=[0, 90])
    assert kept.frame_yield(**base, **TWO, phase_deg=[40, 90 + 80]) == pytest.approx(both, abs=0.002)
    assert abs(both - kept.frame_yield(**base, **TWO)) > 0.01
    none = {"peak_to_peak_arcsec": [50, 0], "period_s": [420.3, 210.15]}
    assert kept.frame_yield(**base, **none) == pytest.approx(alone, abs=0.002)


def test_yield_falls_with_time_and_gears_and_rises_with_tolerance_and_declination():
    by_sub = kept.frame_yield(sub_s=np.linspace(0.5, 430, 200), tolerance_arcsec=5, **TWO)
    assert (np.diff(by_sub) <= 1e-12).all()
    assert by_sub[0] == 1
    assert by_sub[-1] == 0
    by_tolerance = kept.frame_yield(sub_s=20, tolerance_arcsec=np.linspace(0.5, 60, 100), **TWO)
    assert (np.diff(by_tolerance) >= -1e-12).all()
    gears = [
        kept.frame_yield(sub_s=20, tolerance_arcsec=5, peak_to_peak_arcsec=p, period_s=420.3)
        for p in (60, 50, 40)
    ]
    assert gears == sorted(gears)
    assert gears[0] < gears[-1]
    at_60 = kept.frame_yield(sub_s=20, tolerance_arcsec=3, dec_deg=60, **TWO)
    assert at_60 == pytest.approx(kept.frame_yield(sub_s=20, tolerance_arcsec=6, **TWO))
    assert at_60 == kept.frame_yield(sub_s=20, tolerance_arcsec=3, dec_deg=-60, **TWO)
    assert kept.frame_yield(sub_s=900, tolerance_arcsec=0.1, dec_deg=90, **TWO) == 1
    assert kept.frame_yield(sub_s=900, tolerance_arcsec=0.1, peak_to_peak_arcsec=0, period_s=420.3) == 1


def test_yield_of_one_sine_derivation():
    """Derivation: one case of the closed form above, by hand: half a turn holds the whole swing's half or more."""
    half_turn = {"sub_s": 210.15, "peak_to_peak_arcsec": 50, "period_s": 420.3}
    assert kept.frame_yield(**half_turn, tolerance_arcsec=24.9) == 0
    assert kept.frame_yield(**half_turn, tolerance_arcsec=50.1) == 1


def test_longest_sub_that_is_always_good_row_trk_10():
    """The worst start is the steepest place: the yield leaves 1 at 2A sin(π t / P) = 1.5″."""
    gear = {"peak_to_peak_arcsec": 40, "period_s": 480, "tolerance_arcsec": 1.5}
    good, bad = 1.0, 60.0
    while bad - good > 1e-5:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if kept.frame_yield(sub_s=middle, **gear) == 1 else (good, middle)
    assert_row(ROWS["TRK-10"], good)


@pytest.mark.parametrize("tolerance", [0.3, 1.5, 3, 12, 45])
def test_knee_of_one_sine_is_the_closed_form(tolerance):
    """Derivation: at the knee the closed form of a sine gives 0.9, within the accuracy of the yield."""
    knee = kept.knee_s(tolerance_arcsec=tolerance, **ONE)
    assert sine_yield(sub_s=knee, tolerance_arcsec=tolerance, **ONE) == pytest.approx(0.9, abs=0.002)


def test_knee_limits():
    """Nine in ten kept on this side, fewer on that; no knee where the whole swing is allowed."""
    knee = kept.knee_s(tolerance_arcsec=3, **TWO, phase_deg=[0, 30], dec_deg=41)
    sides = kept.frame_yield(
        sub_s=[knee * 0.999, knee * 1.001], tolerance_arcsec=3, **TWO, phase_deg=[0, 30], dec_deg=41
    )
    assert sides[0] >= 0.9 > sides[1]
    assert kept.knee_s(tolerance_arcsec=50.1, **ONE) == np.inf
    assert kept.knee_s(tolerance_arcsec=1, peak_to_peak_arcsec=0, period_s=420.3) == np.inf
    assert np.isfinite(kept.knee_s(tolerance_arcsec=49.9, **ONE))
    longer = kept.knee_s(tolerance_arcsec=[1, 2, 4], **TWO)
    assert (np.diff(longer) > 0).all()


def test_gear_error_by_hand_and_row_trk_09():
    """Rms A/√2 over a turn; at a quarter turn the first harmonic is at its top, the second crosses zero."""
    turn = np.arange(1000) * 0.48
    wave = gears.gear_error_arcsec(time_s=turn, peak_to_peak_arcsec=40, period_s=480, phase_deg=33)
    assert_row(ROWS["TRK-09"], np.sqrt(np.mean(wave**2)))
    assert np.ptp(wave) == pytest.approx(40, rel=1e-4)
    quarter = 420.3 / 4
    assert gears.gear_error_arcsec(time_s=quarter, **TWO) == pytest.approx(25)
    assert gears.gear_error_arcsec(time_s=0, **TWO, phase_deg=[90, -90]) == pytest.approx(25 - 6)
    eighth = gears.gear_error_arcsec(time_s=420.3 / 8, **TWO)
    assert eighth == pytest.approx(25 * np.sqrt(0.5) + 6)
    assert gears.gear_error_arcsec(time_s=np.zeros((4, 3)), **TWO).shape == (4, 3)


def test_largest_rate_row_trk_08():
    """±20″ are 40″ peak to peak; the slope of the error itself never passes it."""
    rate = gears.largest_rate_arcsec_s(peak_to_peak_arcsec=40, period_s=480)
    assert_row(ROWS["TRK-08"], rate)
    wave = gears.gear_error_arcsec(time_s=np.arange(0, 480, 0.1), peak_to_peak_arcsec=40, period_s=480)
    assert np.abs(np.diff(wave)).max() / 0.1 == pytest.approx(rate, rel=1e-5)


def test_worm_period_row_trk_07():
    assert_row(ROWS["TRK-07"], gears.worm_period_s(teeth=144))


def test_shapes_ints_and_nan():
    assert_broadcasts(lambda time_s: gears.gear_error_arcsec(time_s=time_s, **TWO), time_s=50)
    assert_broadcasts(gears.largest_rate_arcsec_s, peak_to_peak_arcsec=50, period_s=400)
    assert_broadcasts(gears.worm_period_s, teeth=205)
    assert_broadcasts(lambda **k: kept.frame_yield(**TWO, **k), sub_s=9, tolerance_arcsec=3, dec_deg=20)
    assert_broadcasts(lambda **k: kept.knee_s(**TWO, **k), tolerance_arcsec=3, dec_deg=20)
    for name in ("peak_to_peak_arcsec", "period_s", "phase_deg"):
        gear = {"peak_to_peak_arcsec": [50, 12], "period_s": [420, 210], "phase_deg": [0, 0]}
        gear[name] = [gear[name][0], np.nan]
        assert np.isnan(kept.frame_yield(sub_s=9, tolerance_arcsec=3, **gear))
        assert np.isnan(kept.knee_s(tolerance_arcsec=3, **gear))
        assert np.isnan(gears.gear_error_arcsec(time_s=9, **gear))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"sub_s": 0}, r"sub_s must be above 0 s, received 0 s"),
        ({"tolerance_arcsec": -1}, r"tolerance_arcsec must be above 0 ″, received -1 ″"),
        ({"peak_to_peak_arcsec": -3}, r"peak_to_peak_arcsec must be 0 or more ″, received -3 ″"),
        ({"period_s": [420, 0]}, r"period_s must be above 0 s, received 0 s"),
        ({"phase_deg": np.inf}, r"phase_deg must be -3600 to 3600 °, received inf °: one turn is 360°"),
        ({"dec_deg": 99}, r"dec_deg must be -90 to 90 °, received 99 °"),
        (
            {"phase_deg": [1, 2, 3]},
            r"lists of one length, one number a harmonic, received the shapes \(2,\), \(2,\), \(3,\)",
        ),
        (
            {"peak_to_peak_arcsec": [[1, 2]]},
            r"one number a harmonic, received the shapes \(1, 2\), \(2,\), \(1,\)",
        ),
    ],
)
def test_errors_say_what_was_received_and_the_cure(changed, words):
    with pytest.raises(ValueError, match=words):
        kept.frame_yield(**{"sub_s": 9, "tolerance_arcsec": 3} | TWO | changed)
    if "sub_s" not in changed:
        with pytest.raises(ValueError, match=words):
            kept.knee_s(**{"tolerance_arcsec": 3} | TWO | changed)


def test_errors_of_the_small_functions():
    with pytest.raises(ValueError, match=r"teeth must be above 0, received 0: the worm's wheel"):
        gears.worm_period_s(teeth=0)
    with pytest.raises(ValueError, match=r"period_s must be above 0 s, received -1 s"):
        gears.largest_rate_arcsec_s(peak_to_peak_arcsec=5, period_s=-1)
    with pytest.raises(TypeError, match=r"time_s must be a number in s, received None"):
        gears.gear_error_arcsec(time_s=None, **ONE)
