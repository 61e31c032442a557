"""Gears found in a measured series, or honestly not found: simulated series with a known answer."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

import workbook.drive.series as series
from workbook.drive import linear

TRUE = 420.3


def measured(seed, *, span=2400, step=2.0, walk=0.3, noise=0.5, swing=(50, 12), rate=0.02, uneven=False):
    """A series made here, of nothing but numpy: two sines, a line, a wander, white noise."""
    random = np.random.default_rng(seed)
    t = np.arange(0, span, step)
    if uneven:
        t = np.sort(random.uniform(0, span, t.size))
    wander = np.concatenate([[0], np.cumsum(walk * np.sqrt(np.diff(t)) * random.standard_normal(t.size - 1))])
    gear = swing[0] / 2 * np.sin(2 * np.pi * t / TRUE + 0.4) + swing[1] / 2 * np.sin(
        4 * np.pi * t / TRUE + 1.0
    )
    return t, gear + rate * t + wander + noise * random.standard_normal(t.size)


def fit(seed, low=60, high=900, harmonics=2, **how):
    t, e = measured(seed, **how)
    return series.fit_gears(times_s=t, errors_arcsec=e, shortest_s=low, longest_s=high, harmonics=harmonics)


def test_fit_without_noise_is_exact():
    """Derivation: the series' own numbers come back, phase included."""
    found = fit(1, walk=0, noise=0)
    assert found.period_s == pytest.approx(TRUE, rel=1e-6)
    np.testing.assert_allclose(found.peak_to_peak_arcsec, [50, 12], rtol=1e-5)
    np.testing.assert_allclose(found.phase_deg, np.degrees([0.4, 1.0]), atol=1e-3)
    assert found.rate_arcsec_s == pytest.approx(0.02, abs=1e-6)
    assert found.turns == pytest.approx(2398 / TRUE, rel=1e-6)


def test_fit_agrees_with_another_least_squares():
    """Source: scipy's curve_fit on the same series, from near the answer."""
    t, e = measured(7, walk=0.1)

    def model(t, p, a, b, c, d, f, g):
        w = 2 * np.pi / p
        return (
            a + b * t + c * np.sin(w * t) + d * np.cos(w * t) + f * np.sin(2 * w * t) + g * np.cos(2 * w * t)
        )

    best, covariance = curve_fit(model, t, e, p0=[415, 0, 0, 20, 10, 3, 3])
    found = series.fit_gears(times_s=t, errors_arcsec=e, shortest_s=60, longest_s=900)
    assert found.period_s == pytest.approx(best[0], rel=1e-6)
    assert found.rate_arcsec_s == pytest.approx(best[2], rel=1e-5)
    np.testing.assert_allclose(found.peak_to_peak_arcsec, 2 * np.hypot(best[[3, 5]], best[[4, 6]]), rtol=1e-5)
    assert found.period_sigma_s > 1.5 * np.sqrt(covariance[0, 0])  # white noise alone promises too much


@pytest.mark.parametrize(
    "how", [{}, {"span": 1400}, {"span": 4800, "walk": 0.1}, {"walk": 0.1, "noise": 2}, {"uneven": True}]
)
def test_uncertainties_are_honest(how):
    """Derivation: over 60 series the error divided by its sigma scatters by about one.

    0.6 to 1.45 is what 60 draws leave of one (±0.09 each) and a wander estimated from the same series.
    """
    found = [fit(seed, **how) for seed in range(60)]
    scatter = np.std([(f.period_s - TRUE) / f.period_sigma_s for f in found])
    assert 0.6 < scatter < 1.45
    assert 0.5 < np.std([(f.rate_arcsec_s - 0.02) / f.rate_sigma_arcsec_s for f in found]) < 1.45
    swings = np.array([(f.peak_to_peak_arcsec - [50, 12]) / f.peak_to_peak_sigma_arcsec for f in found])
    assert ((swings.std(axis=0) > 0.6) & (swings.std(axis=0) < 1.5)).all()
    walk = np.mean([f.walk_arcsec_sqrt_s for f in found])
    assert walk == pytest.approx(how.get("walk", 0.3), abs=0.06)
    if how.get("noise", 0.5) == 0.5 and not how.get("uneven"):
        assert np.mean([f.noise_arcsec for f in found]) == pytest.approx(0.5, abs=0.05)


def test_uncertainty_without_wander_is_not_too_small():
    """A wander that cannot be seen counts as its own uncertainty: the error never passes two sigma here."""
    found = [fit(seed, walk=0) for seed in range(40)]
    assert max(abs(f.period_s - TRUE) / f.period_sigma_s for f in found) < 2
    assert max(f.walk_arcsec_sqrt_s for f in found) < 0.05


@pytest.mark.parametrize("span", [500, 800, 1100, 1240])
def test_fewer_than_three_turns_are_refused(span):
    for seed in range(8):
        with pytest.raises(
            ValueError, match=r"turns of its best period, .* Three turns are needed: measure for"
        ):
            fit(seed, span=span, walk=0.05)


def test_three_turns_are_enough():
    assert fit(3, span=1300, walk=0.05).turns == pytest.approx(3.09, abs=0.03)


@pytest.mark.parametrize("span", [1300, 2400, 4800])
def test_a_wander_is_no_gear(span):
    """Of 80 wanders at most two may pass for a gear."""
    answers = [refusal(seed, span=span, swing=(0, 0)) for seed in range(80)]
    assert answers.count(None) <= 2
    reasons = ("turns of its best", "stands out", "repeats in this series")
    assert all(any(reason in answer for reason in reasons) for answer in answers if answer)


def refusal(seed, **how):
    """The words with which a series is refused, None where a period is claimed."""
    try:
        fit(seed, **how)
    except ValueError as error:
        return str(error)
    return None


def test_coarse_sampling_is_refused():
    """Samples 40 s apart see a worm of 420 s, with two harmonics, but nothing of 100 s."""
    with pytest.raises(
        ValueError, match=r"samples 40 s apart are too coarse for a period of 100 s with 2 harm.*20 s or"
    ):
        fit(1, span=4000, step=40, low=100)
    assert fit(1, span=4000, step=40, low=201).period_s == pytest.approx(TRUE, abs=3)


def test_the_shorter_of_two_periods_is_taken():
    """What repeats every P repeats every 2P: with both in range the answer is P; nor is it P/2."""
    assert fit(2, span=4800, low=60, high=1500).period_s == pytest.approx(TRUE, abs=2)
    assert fit(2, span=4800, low=60, high=1500, harmonics=4).period_s == pytest.approx(TRUE, abs=2)
    assert fit(2, span=4800, swing=(20, 20)).period_s == pytest.approx(TRUE, abs=2)


def test_fit_errors():
    t, e = measured(1)
    good = {"times_s": t, "errors_arcsec": e, "shortest_s": 60, "longest_s": 900}
    for changed, words in [
        ({"times_s": t[:-1]}, "must be series of one length, received 1199, 1200 values"),
        ({"times_s": t[::-1]}, r"times_s must rise, received 2396 s after 2398 s: sort"),
        ({"errors_arcsec": np.where(t == 10, np.nan, e)}, "missing values: leave out"),
        ({"longest_s": 50}, "shortest_s must be below longest_s, received 60 s and 50 s"),
        ({"shortest_s": 850}, "lasts 2398 s: three turns of even the shortest period take 2550 s"),
        ({"harmonics": 0}, "harmonics must be 1 to 8"),
        ({"times_s": t[:10], "errors_arcsec": e[:10]}, "the series has 10 samples: 15 or more"),
    ]:
        with pytest.raises(ValueError, match=words):
            series.fit_gears(**good | changed)


def axes(seed=0, dec_deg=0.0, walk=0.0, noise=0.0, span=1800):
    """Both axes on the sky: rate 0.8″/min about the axis, gears, axis drift −0.6″/min, and 0.2 in right ascension."""
    t, about_axis = measured(seed, span=span, walk=walk, noise=noise, rate=0.8 / 60)
    ra = about_axis * np.cos(np.radians(dec_deg)) + 0.2 / 60 * t
    return {"times_s": t, "ra_errors_arcsec": ra, "dec_errors_arcsec": -0.6 / 60 * t, "dec_deg": dec_deg}


@pytest.mark.parametrize("dec", [0, 55, -40])
def test_separation_gives_back_what_went_in(dec):
    """Derivation: rate, gear and axis put in one by one come out one by one, about the axis."""
    found = series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0.2, **axes(dec_deg=dec))
    assert found.rate_arcsec_min == pytest.approx(0.8, abs=1e-6)
    np.testing.assert_allclose(found.peak_to_peak_arcsec, [50, 12], rtol=1e-6)
    assert found.dec_drift_arcsec_min == pytest.approx(-0.6, abs=1e-9)
    assert found.left_ra_arcsec < 1e-6
    unknown = series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0, **axes(dec_deg=dec))
    assert unknown.rate_arcsec_min == pytest.approx(0.8 + 0.2 / np.cos(np.radians(dec)), abs=1e-6)


def test_separation_has_honest_uncertainties():
    """Derivation: 60 series with a wander: errors over sigma scatter by about one."""
    found = [
        series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0.2, **axes(seed, walk=0.3, noise=0.5))
        for seed in range(60)
    ]
    assert 0.6 < np.std([(f.rate_arcsec_min - 0.8) / f.rate_sigma_arcsec_min for f in found]) < 1.5
    assert (
        0.6 < np.std([(f.peak_to_peak_arcsec[0] - 50) / f.peak_to_peak_sigma_arcsec[0] for f in found]) < 1.5
    )
    assert 0.5 < np.mean([f.left_ra_arcsec for f in found]) < 6
    noisy = axes(1, walk=0, noise=0)
    noise = 0.4 * np.random.default_rng(1).standard_normal(noisy["times_s"].size)
    noisy["dec_errors_arcsec"] = noisy["dec_errors_arcsec"] + noise
    one = series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0.2, **noisy)
    assert abs(one.dec_drift_arcsec_min + 0.6) < 4 * one.dec_drift_sigma_arcsec_min < 0.5
    assert one.left_dec_arcsec == pytest.approx(0.4, rel=0.08)


def test_separation_errors():
    with pytest.raises(ValueError, match=r"has 200 samples over 398 s: .* over a whole turn of 420\.3 s"):
        series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0, **axes(span=400))
    with pytest.raises(ValueError, match="dec_deg must be -85 to 85 °, received 88 °"):
        series.separate(period_s=TRUE, axis_ra_drift_arcsec_min=0, **axes() | {"dec_deg": 88})


@pytest.mark.parametrize("dec", [0, 60])
def test_trails_by_cause_by_brute_force(dec):
    """Derivation: mean extent of 2,000 subs looked at 300 times; rate and drift times the time."""
    starts = np.arange(2000) / 2000 * TRUE
    t = starts[:, None] + np.linspace(0, 30, 300)
    path = 25 * np.sin(2 * np.pi * t / TRUE) + 6 * np.sin(4 * np.pi * t / TRUE + np.radians(60))
    found = series.trails_by_cause(
        sub_s=30, peak_to_peak_arcsec=[50, 12], period_s=[TRUE, TRUE / 2], phase_deg=[0, 60],
        rate_arcsec_min=-1.2, dec_drift_arcsec_min=0.5, dec_deg=dec,
    )  # fmt: skip
    on_sky = np.cos(np.radians(dec))
    assert found.gear_arcsec == pytest.approx(np.ptp(path, axis=1).mean() * on_sky, rel=0.003)
    assert found.rate_arcsec == pytest.approx(0.6 * on_sky)
    assert found.axis_arcsec == pytest.approx(0.25)


def test_noise_and_wander_are_told_apart():
    """Derivation: residuals of known noise and wander, 40 series of 2,000 samples each."""
    random = np.random.default_rng(2)
    t = np.arange(2000.0)
    found = []
    for _ in range(40):
        left = 0.7 * random.standard_normal(2000) + np.cumsum(0.2 * random.standard_normal(2000))
        found.append(linear._noise(t, left))
    white, walk = np.mean(found, axis=0)
    assert white == pytest.approx(0.49, rel=0.05)
    assert walk == pytest.approx(0.04, rel=0.15)
    assert linear._noise(t, np.zeros(2000)) == (0, 0)


def test_covariance_is_the_full_matrix_product():
    """Derivation: C = σ² 1 + walk² min(tᵢ, tⱼ), written out, between the inverses; uneven times."""
    t = np.sort(np.random.default_rng(4).uniform(0, 50, 40))
    table = linear._columns(t, 0.4, 1)
    inverse = np.linalg.inv(table.T @ table)
    noise = 0.3 * np.eye(40) + 0.09 * (np.minimum.outer(t, t) - t[0])
    wanted = inverse @ table.T @ noise @ table @ inverse
    np.testing.assert_allclose(
        linear._covariance(t, table, inverse, 0.3, 0.09), wanted, rtol=1e-9, atol=1e-12
    )
