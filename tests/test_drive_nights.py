"""Partial credit, many nights, one night's error, motor steps and standing mounts: brute force and published rows."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.drive.gears as gears
import workbook.drive.kept as kept
import workbook.drive.nights as many

ROWS = rows("drive.csv")
TWO = {"peak_to_peak_arcsec": [50, 12], "period_s": [420.3, 210.15], "phase_deg": [0, 60]}
STAR = {"star_sigma_arcsec": 1.6, "lowest_ratio": 0.6}
NIGHT = {
    "nights": 300,
    "subs": 60,
    "sub_s": 8.0,
    "overhead_s": 5.25,
    "rate_error_arcsec_s": 0.0,
    "random_walk_arcsec_sqrt_s": 0.0,
    "tolerance_arcsec": 3.38,
    "seed": 3,
}


def wave(time, phase_deg=(0, 60)):
    """The gear written out for the demo's two sines; nothing of the package in it."""
    main = 25 * np.sin(2 * np.pi * time / 420.3 + np.radians(phase_deg[0]))
    return main + 6 * np.sin(2 * np.pi * time / 210.15 + np.radians(phase_deg[1]))


@pytest.mark.parametrize("credit", ["axis ratio", "width"])
@pytest.mark.parametrize(("sub", "dec"), [(8, 0), (15, 40), (60, 0), (700, -60)])
def test_credit_is_that_of_paths_followed_in_steps(credit, sub, dec):
    """Derivation: the worth by its definition, for 4,000 subs looked at 400 times; ±0.003."""
    starts = np.arange(4000) / 4000 * 420.3
    path = wave(starts[:, None] + (np.arange(400) + 0.5) / 400 * sub) * np.cos(np.radians(dec))
    ratio = 1.6 / np.sqrt(1.6**2 + path.var(axis=1))
    worth = np.clip((ratio - 0.6) / 0.4, 0, 1) if credit == "axis ratio" else np.where(ratio < 0.6, 0, ratio)
    found = kept.credited_yield(sub_s=sub, credit=credit, dec_deg=dec, **STAR, **TWO)
    assert found == pytest.approx(worth.mean(), abs=0.003)


def test_ratio_of_a_straight_trail_is_that_of_second_moments():
    """Source: reference row PSF-13 in another dress: a trail of 2 σ gives the ratio 1/1.1547."""
    gear = {"peak_to_peak_arcsec": 1000, "period_s": 1e5, "phase_deg": 0}
    trail = 2.0 * np.pi * 500 / 1e5 * 60  # at its steepest, in 60 s
    steep = kept._path_variance(60.0, np.array([1000.0]), np.array([1e5]), np.array([0.0])).max()
    sigma = trail / 2
    assert np.sqrt(1 + steep / sigma**2) == pytest.approx(1.1547, abs=1e-4)
    assert kept.credited_yield(sub_s=60, star_sigma_arcsec=1e5, lowest_ratio=0, credit="width", **gear) == (
        pytest.approx(1, abs=1e-6)
    )


def test_credit_limits():
    """A sharp line at 1 keeps nothing that moves; at 0 by ratio and by width agree; harder lines give less."""
    same = [kept.credited_yield(sub_s=20, star_sigma_arcsec=1.6, lowest_ratio=0, credit=c, **TWO)
            for c in ("axis ratio", "width")]  # fmt: skip
    assert same[0] == pytest.approx(same[1], rel=1e-12)
    assert kept.credited_yield(sub_s=20, star_sigma_arcsec=1.6, lowest_ratio=1, credit="width", **TWO) == 0
    still = {"peak_to_peak_arcsec": 0, "period_s": 400}
    for least in (0.5, 1):
        assert kept.credited_yield(
            sub_s=20, star_sigma_arcsec=1.6, lowest_ratio=least, credit="axis ratio", **still
        ) == pytest.approx(1)
    harder = kept.credited_yield(
        sub_s=20, star_sigma_arcsec=1.6, lowest_ratio=[0, 0.3, 0.6, 0.9], credit="axis ratio", **TWO
    )
    assert (np.diff(harder) < 0).all()
    longer = kept.credited_yield(sub_s=[5, 10, 20, 40, 80], credit="width", **STAR, **TWO)
    assert (np.diff(longer) < 0).all()


def followed(*, nights, subs, sub_s, overhead_s, rate, walk, tolerance, seed, looks=400):
    """Nights by brute force: every sub in fine steps, wander and all."""
    random = np.random.default_rng(seed)
    shares = []
    for _ in range(nights):
        begin = random.uniform(0, 420.3)
        good = 0
        for sub in range(subs):
            t = np.linspace(0, sub_s, looks + 1)
            path = wave(begin + sub * (sub_s + overhead_s) + t) + rate * t
            path[1:] += np.cumsum(walk * np.sqrt(sub_s / looks) * random.standard_normal(looks))
            good += np.ptp(path) <= tolerance
        shares.append(good / subs)
    return np.array(shares)


@pytest.mark.parametrize(("rate", "walk", "sub"), [(0, 0, 8), (0.15, 0, 8), (0, 0.3, 8), (-0.1, 0.2, 15)])
def test_nights_are_those_followed_in_fine_steps(rate, walk, sub):
    """Derivation: brute force, 18,000 subs each; 0.012 is three sigma of both and the stated 0.01 of the wander."""
    found = many.night_yields(
        **NIGHT | {"rate_error_arcsec_s": rate, "random_walk_arcsec_sqrt_s": walk, "sub_s": sub}, **TWO
    )
    wanted = followed(
        nights=300, subs=60, sub_s=sub, overhead_s=5.25, rate=rate, walk=walk, tolerance=3.38, seed=8
    )
    assert found.shape == (300,)
    assert found.mean() == pytest.approx(wanted.mean(), abs=0.012 + (0.008 if walk else 0))
    assert found.std() == pytest.approx(wanted.std(), rel=0.2)


def test_nights_of_gears_alone_have_the_mean_of_frame_yield():
    """Derivation: every phase is as frequent; 20,000 subs of one each night leave 0.01."""
    one = NIGHT | {"nights": 20_000, "subs": 1}
    for sub in (5, 15, 40):
        found = many.night_yields(**one | {"sub_s": sub}, **TWO, dec_deg=30).mean()
        wanted = kept.frame_yield(sub_s=sub, tolerance_arcsec=3.38, dec_deg=30, **TWO)
        assert found == pytest.approx(wanted, abs=0.012)


def test_nights_repeat_and_take_one_number_a_night():
    both = [many.night_yields(**NIGHT | {"random_walk_arcsec_sqrt_s": 0.3}, **TWO) for _ in range(2)]
    np.testing.assert_array_equal(*both)
    assert (many.night_yields(**NIGHT | {"seed": 4}, **TWO) != many.night_yields(**NIGHT, **TWO)).any()
    walks = np.repeat([0.0, 2.0], 150)
    split = many.night_yields(**NIGHT | {"random_walk_arcsec_sqrt_s": walks}, **TWO)
    assert split[:150].mean() > 0.8 > 0.2 > split[150:].mean()
    pole = many.night_yields(**NIGHT | {"random_walk_arcsec_sqrt_s": walks}, **TWO, dec_deg=90)
    np.testing.assert_array_equal(pole, 1)


def test_error_of_a_night_is_the_sum_of_its_parts():
    """Derivation: gear by hand, the rate a line, the wander with variance walk² t (8,000 nights: ±5 %)."""
    t = np.array([0, 100.0, 150, 400])
    still = {"rate_error_arcsec_s": 0.02, "random_walk_arcsec_sqrt_s": 0, "seed": 1}
    np.testing.assert_allclose(
        gears.drive_error_arcsec(times_s=t, **still, **TWO), wave(t) + 0.02 * t, rtol=1e-9
    )
    none = {"peak_to_peak_arcsec": 0, "period_s": 400, "rate_error_arcsec_s": 0}
    random = np.random.default_rng(5)
    nights = np.array(
        [
            gears.drive_error_arcsec(times_s=t, random_walk_arcsec_sqrt_s=0.3, seed=random, **none)
            for _ in range(8000)
        ]
    )
    np.testing.assert_allclose(nights.var(axis=0)[1:], 0.09 * t[1:], rtol=0.05)
    np.testing.assert_array_equal(nights[:, 0], 0)
    gap = nights[:, 3] - nights[:, 2]
    assert abs(np.corrcoef(gap, nights[:, 2])[0, 1]) < 0.05


def test_motor_step_row_trk_14():
    assert_row(ROWS["TRK-14"], gears.motor_step_arcsec(steps_per_turn=3200, gear_ratio=300))


def test_untracked_star_rows_trk_01_to_03():
    """The distance of two places by ERFA; for pixels the short form at the equator."""
    assert_row(ROWS["TRK-01"], gears.untracked_drift_arcsec(time_s=10, dec_deg=41.27))
    turn = 2 * np.pi / 86164.09053
    for dec, time in [(0, 3600), (70, 20000), (-55, 43000)]:
        apart = erfa.seps(0, np.radians(dec), turn * time, np.radians(dec))
        found = gears.untracked_drift_arcsec(time_s=time, dec_deg=dec)
        assert found == pytest.approx(np.degrees(apart) * 3600, rel=1e-6)
    pixel = 206.264806 * 3.76 / 250
    assert_row(ROWS["TRK-02"], pixel / gears.untracked_drift_arcsec(time_s=1, dec_deg=0))
    assert_row(ROWS["TRK-03"], gears.untracked_drift_arcsec(time_s=500 / 250, dec_deg=0) / pixel)


def test_shapes_and_nan():
    assert_broadcasts(gears.motor_step_arcsec, steps_per_turn=200, gear_ratio=300)
    assert_broadcasts(gears.untracked_drift_arcsec, time_s=100, dec_deg=20)
    for credit in ("axis ratio", "width"):
        assert_broadcasts(
            lambda credit=credit, **k: kept.credited_yield(credit=credit, **TWO, **k),
            sub_s=9,
            dec_deg=20,
            **STAR,
        )


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"nights": 0}, "nights must be a whole number of at least 1, received 0"),
        ({"subs": 2.5}, r"subs must be a whole number of at least 1, received 2\.5"),
        ({"sub_s": 0}, "sub_s must be above 0 s, received 0 s"),
        ({"overhead_s": -1}, "overhead_s must be 0 or more s"),
        ({"random_walk_arcsec_sqrt_s": -1}, "random_walk_arcsec_sqrt_s must be 0 or more ″/√s"),
        ({"tolerance_arcsec": 0}, "tolerance_arcsec must be above 0 ″"),
        ({"dec_deg": 100}, "dec_deg must be -90 to 90 °"),
    ],
)
def test_errors_of_many_nights(changed, words):
    with pytest.raises(ValueError, match=words):
        many.night_yields(**NIGHT | changed, **TWO)


def test_other_errors():
    with pytest.raises(ValueError, match="credit must be one of 'axis ratio', 'width', received 'half'"):
        kept.credited_yield(sub_s=9, credit="half", **STAR, **TWO)
    with pytest.raises(ValueError, match="lowest_ratio must be 0 to 1, received 2"):
        kept.credited_yield(sub_s=9, credit="width", **STAR | {"lowest_ratio": 2}, **TWO)
    still = {"rate_error_arcsec_s": 0, "random_walk_arcsec_sqrt_s": 0, "seed": 1}
    with pytest.raises(ValueError, match="times_s must rise"):
        gears.drive_error_arcsec(times_s=[0, 2, 1], **still, **TWO)
    with pytest.raises(ValueError, match="gear_ratio must be above 0"):
        gears.motor_step_arcsec(steps_per_turn=200, gear_ratio=0)
    with pytest.raises(ValueError, match="time_s must be 0 or more s"):
        gears.untracked_drift_arcsec(time_s=-1, dec_deg=0)
