"""Signal-to-noise in depth, useful subs, hours with their range, nights, calibration frames and clipping."""

import numpy as np
import pytest
from astropy.stats import sigma_clip, sigma_clipped_stats, signal_to_noise_oir_ccd
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import norm
from support import assert_broadcasts, assert_row, rows

import workbook.exposure.calibration as calibration
import workbook.exposure.frames as frames
import workbook.exposure.hours as hours
import workbook.exposure.nights as nights
import workbook.exposure.snr as ccd
import workbook.exposure.subs as subs

LIGHT = rows("light.csv")
ESTIMATED = {
    "star_e_s": 50,
    "sky_e_s_px": 0.8,
    "dark_e_s_px": 0.1,
    "read_noise_e": 3,
    "pixels": 25,
    "background_pixels": 200,
    "gain_e_adu": 1,
    "sub_s": 60,
}
PATCH = {
    "object_e_s_px": 0.05,
    "sky_e_s_px": 0.4761,
    "dark_e_s_px": 0.05,
    "read_noise_e": 1.5,
    "pixels": 1,
    "sub_s": 120,
}
HOURS = {
    "snr": 10.0,
    "object_e_s_px": 0.084,
    "sky_e_s_px": 1.93,
    "dark_e_s_px": 0.03,
    "read_noise_e": 1.6,
    "pixels": 4.0,
    "sub_s": 30.0,
    "frame_yield": 0.8,
    "overhead_s": 5.25,
}
UNSURE = {"object_sigma_mag": 0.2, "sky_sigma_mag": 0.3}


# Signal-to-noise


def test_measured_background():
    """Source: reference row SNR-05 (Merline & Howell 1995)."""
    assert_row(LIGHT["SNR-05"], ccd.snr_star_estimated(**ESTIMATED))


def test_endless_background_is_the_plain_equation():
    """Source: astropy's CCD equation (sky and dark per pixel, gain 1) in the limit of many background pixels."""
    ours = ccd.snr_star_estimated(**ESTIMATED | {"background_pixels": 1e12, "gain_e_adu": 1e-9})
    theirs = signal_to_noise_oir_ccd(60, 50, 0.8, 0.1, 3, 25)
    np.testing.assert_allclose(ours, theirs, rtol=1e-9)


def test_measured_background_on_simulated_pixels():
    """Derivation: 20,000 stars of 9 pixels less a mean of 18 others, read in whole counts of 4 e⁻; to 2 %."""
    rng = np.random.default_rng(1)
    n, gain = 20_000, 4.0

    def counts(light, shape):
        return np.rint((rng.poisson(light, shape) + rng.normal(0, 2.0, shape)) / gain) * gain

    star = counts((30 / 9 + 0.6 + 0.1) * 40, (n, 9)).sum(1)
    background = counts((0.6 + 0.1) * 40, (n, 18)).mean(1)
    ours = ccd.snr_star_estimated(
        star_e_s=30,
        sky_e_s_px=0.6,
        dark_e_s_px=0.1,
        read_noise_e=2.0,
        pixels=9,
        background_pixels=18,
        gain_e_adu=gain,
        sub_s=40,
    )
    np.testing.assert_allclose(ours, 30 * 40 / np.std(star - 9 * background), rtol=0.02)


def test_patch():
    """Source: reference row SNR-13; averaging p pixels and n subs gains √(p n) (row SNR-14)."""
    stack = ccd.snr_patch(**PATCH, subs=100)
    assert_row(LIGHT["SNR-13"], stack)
    assert_row(LIGHT["SNR-14"], stack / ccd.snr_patch(**PATCH))
    np.testing.assert_allclose(ccd.snr_patch(**PATCH | {"pixels": 9}, subs=100), 3 * stack, rtol=1e-12)


def test_patch_on_simulated_pixels():
    """Derivation: 5000 patches of 25 pixels; the mean's signal over its spread, to 3 %."""
    rng = np.random.default_rng(2)
    shape = (5000, 25)
    mean = (rng.poisson((0.05 + 0.4761 + 0.05) * 120, shape) + rng.normal(0, 1.5, shape)).mean(1)
    ours = ccd.snr_patch(**PATCH | {"pixels": 25})
    np.testing.assert_allclose(ours, 0.05 * 120 / mean.std(), rtol=0.03)


def test_faintest_star():
    """Source: reference row SNR-11; and the star found has the ratio asked for in astropy's equation."""
    own = {"sky_e_s_px": 1, "dark_e_s_px": 0, "read_noise_e": 0, "pixels": 1, "sub_s": 100}
    assert_row(LIGHT["SNR-11"], ccd.faintest_star_e_s(snr=3, **own))
    rig = {"sky_e_s_px": 1.9, "dark_e_s_px": 0.1, "read_noise_e": 1.6, "pixels": 12, "sub_s": 30}
    star = ccd.faintest_star_e_s(snr=5, **rig)
    np.testing.assert_allclose(signal_to_noise_oir_ccd(30, star, 1.9, 0.1, 1.6, 12), 5, rtol=1e-9)
    stacked = ccd.faintest_star_e_s(snr=5, **rig, subs=64)
    np.testing.assert_allclose(ccd.snr_star(star_e_s=stacked, **rig, subs=64), 5, rtol=1e-9)


def test_error_in_magnitudes():
    """Source: reference row SNR-12."""
    assert_row(LIGHT["SNR-12"], ccd.brightness_error_mag(84.4))


# Useful subs


def hill(t, overhead=6.0, knee=1.3, gear=100.0):
    return t / (t + overhead) * t / (t + knee) * np.exp(-t / gear)


def test_useful_subs_of_a_known_hill():
    """Source: scipy's optimiser and root finder on the curve itself; 120 points a grid, so 1 %."""
    t = np.geomspace(1, 600, 120)
    found = subs.useful_subs(sub_s=t, efficiency=hill(t))
    best = minimize_scalar(lambda x: -hill(np.exp(x)), bounds=(0, 6), method="bounded").x
    top = hill(np.exp(best))
    low, high = (
        brentq(lambda x: hill(np.exp(x)) - 0.95 * top, *ends) for ends in ((0, best), (best, np.log(600)))
    )
    np.testing.assert_allclose(found[:3], np.exp([low, best, high]), rtol=0.01)
    np.testing.assert_allclose(found.efficiency, top, rtol=1e-4)


def test_useful_subs_at_the_ends():
    """Derivation: a curve that only grows has its best at the end; one that never falls by 5 % is useful whole."""
    t = np.geomspace(1, 100, 30)
    growing = subs.useful_subs(sub_s=t, efficiency=t / (t + 10))
    assert growing.best_s == pytest.approx(100)
    assert growing.longest_s == pytest.approx(100)
    np.testing.assert_allclose(growing.shortest_s / (growing.shortest_s + 10), 0.95 * 100 / 110, rtol=2e-3)
    level = subs.useful_subs(sub_s=t, efficiency=1 - 0.001 * np.log(t) ** 2)
    np.testing.assert_allclose(level[:3], [1, 1, 100], rtol=1e-9)
    holed = subs.useful_subs(sub_s=t, efficiency=np.where(t > 50, np.nan, 0.5))
    assert np.isnan(holed.best_s)


# Hours


def test_hours():
    """Derivation: at the hours found, astropy's equation gives the ratio asked for.

    Kept subs in those hours: clock · yield · duty / sub; 4 pixels together read as one patch.
    """
    found = hours.hours_to_snr_h(**HOURS)
    n = found * 3600 * 0.8 / 35.25
    per_sub = signal_to_noise_oir_ccd(30, 4 * 0.084, 1.93, 0.03, 1.6, 4)
    np.testing.assert_allclose(per_sub * np.sqrt(n), 10, rtol=1e-9)


def test_hours_of_a_published_problem():
    """Source: reference row SNR-02: signal-to-noise 30 of a source of 1 on a sky of 2 photons/s in 2700 s."""
    found = hours.hours_to_snr_h(
        snr=30,
        object_e_s_px=1,
        sky_e_s_px=2,
        dark_e_s_px=0,
        read_noise_e=0,
        pixels=1,
        sub_s=100,
        frame_yield=1,
        overhead_s=0,
    )
    assert_row(LIGHT["SNR-02"], 3600 * found)


def test_hours_limits():
    """Derivation: twice the ratio is four times the hours; four pixels a quarter; no kept frame never."""
    base = hours.hours_to_snr_h(**HOURS)
    np.testing.assert_allclose(hours.hours_to_snr_h(**HOURS | {"snr": 20}), 4 * base, rtol=1e-12)
    np.testing.assert_allclose(hours.hours_to_snr_h(**HOURS | {"pixels": 16}), base / 4, rtol=1e-12)
    assert hours.hours_to_snr_h(**HOURS | {"frame_yield": 0.0}) == np.inf


def test_range_of_hours_by_monte_carlo():
    """Derivation: 400,000 draws of both brightnesses (JCGM 101:2008), formula written out; to 1 %."""
    rng = np.random.default_rng(3)
    n = 400_000
    o = 0.084 * 10 ** (-0.4 * rng.normal(0, 0.2, n))
    b = 1.93 * 10 ** (-0.4 * rng.normal(0, 0.3, n))
    drawn = 100 * (o + b + 0.03 + 1.6**2 / 30) / (o**2 * 4) / 3600 / (0.8 * 30 / 35.25)
    expected = np.quantile(drawn, [0.5, 0.1587, 0.8413])
    np.testing.assert_allclose(hours.hours_range(**HOURS, **UNSURE), expected, rtol=0.01)


def test_range_of_hours_where_sky_rules():
    """Derivation: hours go with 10^(0.8 Δo − 0.4 Δb): a log-normal of known width, the 16 and 84 % to 1 %."""
    bright = HOURS | {"sky_e_s_px": 1e5, "dark_e_s_px": 0, "read_noise_e": 0}
    found = hours.hours_range(**bright, **UNSURE)
    width = 10 ** np.hypot(0.8 * 0.2, 0.4 * 0.3)
    np.testing.assert_allclose(
        [found.high_h, found.low_h], found.middle_h * width ** np.array([1, -1]), rtol=0.01
    )
    sure = hours.hours_range(**HOURS, object_sigma_mag=0, sky_sigma_mag=0)
    np.testing.assert_allclose(sure, hours.hours_to_snr_h(**HOURS), rtol=1e-9)


def test_equal_depth():
    """Source: reference row SKY-12 without dark and read noise; and equal hours_to_snr for a faint object."""
    ideal = {"hours_h": 1.0, "dark_e_s_px": 0, "read_noise_e": 0, "sub_s": 30, "other_sub_s": 30}
    ratio = hours.equal_depth_h(**ideal, sky_e_s_px=1.0, other_sky_e_s_px=10**0.4)
    assert_row(LIGHT["SKY-12"], ratio)
    faint = HOURS | {"object_e_s_px": 1e-6, "frame_yield": 1, "overhead_s": 0}
    here = hours.hours_to_snr_h(**faint)
    there = hours.hours_to_snr_h(**faint | {"sky_e_s_px": 0.1, "sub_s": 90})
    found = hours.equal_depth_h(
        hours_h=here,
        sky_e_s_px=1.93,
        other_sky_e_s_px=0.1,
        dark_e_s_px=0.03,
        read_noise_e=1.6,
        sub_s=30,
        other_sub_s=90,
    )
    np.testing.assert_allclose(found, there, rtol=1e-4)


def test_the_simple_rule_fails_where_the_rig_is_noisy():
    """Derivation: with dark current or read noise a darker sky saves less than its own ratio."""
    at = {"hours_h": 10.0, "sky_e_s_px": 2.0, "other_sky_e_s_px": 0.2, "sub_s": 30, "other_sub_s": 30}
    simple = hours.equal_depth_h(**at, dark_e_s_px=0, read_noise_e=0)
    assert simple == pytest.approx(1.0)
    for rig in ({"dark_e_s_px": 0.1, "read_noise_e": 0}, {"dark_e_s_px": 0, "read_noise_e": 2}):
        assert hours.equal_depth_h(**at, **rig) > 1.3 * simple


# Nights


def test_nights_by_simulation():
    """Derivation: 40,000 stacks of 8 clear and 8 hazy subs; noise of the weighted and of the plain mean to 2 %."""
    rng = np.random.default_rng(4)
    n, transmission, noise = 8, np.array([1.0, 0.5]), np.array([8.0, 11.0])
    found = nights.combine_nights(subs=[n, n], transmission=transmission, noise_e=noise)
    pixels = [t * 5.0 + rng.normal(0, s, (40_000, n)) for t, s in zip(transmission, noise, strict=True)]
    scaled = [p / t for p, t in zip(pixels, transmission, strict=True)]
    weighted = sum(w * p.sum(1) for w, p in zip(found.weights, scaled, strict=True)) / (
        n * found.weights.sum()
    )
    plain = (pixels[0].sum(1) + pixels[1].sum(1)) / (2 * n)
    one_sub = 5.0 / 8.0
    np.testing.assert_allclose(found.weighted_snr * one_sub, weighted.mean() / weighted.std(), rtol=0.02)
    np.testing.assert_allclose(found.plain_snr * one_sub, plain.mean() / plain.std(), rtol=0.02)
    np.testing.assert_allclose(found.snr_without[::-1], np.sqrt(n * found.weights), rtol=1e-12)


def test_weights_are_the_best_there_are():
    """Source: scipy.optimize: no other weight of the second night gives less noise."""
    found = nights.combine_nights(subs=[10, 30], transmission=[1, 0.6], noise_e=[8, 9])

    def variance(w):
        s2 = np.array([8.0, 9 / 0.6]) ** 2
        return (10 * s2[0] + 30 * w**2 * s2[1]) / (10 + 30 * w) ** 2

    best = minimize_scalar(variance, bounds=(0, 2), method="bounded", options={"xatol": 1e-9}).x
    np.testing.assert_allclose(found.weights, [1, best], rtol=1e-5)


def test_is_this_hazy_night_worth_adding():
    """Derivation: weighted, any night helps; in a plain mean a hazy one under a bright sky harms."""
    found = nights.combine_nights(subs=[100, 100], transmission=[1, 0.3], noise_e=[8, 16])
    assert found.weighted_snr > found.snr_without[1]
    assert found.plain_snr < found.snr_without[1]
    np.testing.assert_allclose(found.worth_share.sum(), 1, rtol=1e-12)
    np.testing.assert_allclose(found.worth_share[1] / found.worth_share[0], (0.3 * 8 / 16) ** 2, rtol=1e-12)
    same = nights.combine_nights(subs=[50, 50], transmission=[0.7, 0.7], noise_e=[8, 8])
    np.testing.assert_allclose([same.weighted_snr, same.plain_snr], 10, rtol=1e-12)


# Calibration frames


def test_master():
    """Source: reference row SNR-15: one light less a mean of 20 darks."""
    master = calibration.master_noise_e(frame_noise_e=3, frames=20)
    assert_row(LIGHT["SNR-15"], np.hypot(3, master))
    one = calibration.calibrated_noise(
        light_noise_e=3,
        lights=1,
        dark_noise_e=3,
        darks=20,
        light_level_e=0,
        flat_level_e=1,
        flats=1,
        positions=1,
    )
    assert_row(LIGHT["SNR-15"], one.noise_e)


@pytest.mark.parametrize("positions", [1, 4])
def test_calibrated_stack_by_simulation(positions):
    """Derivation: 400 × 400 pixels, 16 lights, 5 darks, 4 faint flats by numpy, with and without dither; to 3 %."""
    rng = np.random.default_rng(5)
    shape, n, level, flat_level = (400, 400), 16, 300.0, 2000.0
    dark = np.mean([rng.normal(0, 12, shape) for _ in range(5)], axis=0)
    flat = np.mean([rng.poisson(flat_level, shape) for _ in range(4)], axis=0) / flat_level
    stack = np.zeros(shape)
    for i in range(n):
        light = level + rng.normal(0, 20, shape)
        calibrated = (light - dark) / flat
        stack += np.roll(calibrated, 7 * (i % positions), axis=1) / n  # each position: other pixels
    ours = calibration.calibrated_noise(
        light_noise_e=20,
        lights=n,
        dark_noise_e=12,
        darks=5,
        light_level_e=level,
        flat_level_e=flat_level,
        flats=4,
        positions=positions,
    )
    np.testing.assert_allclose(ours.noise_e, stack.std(), rtol=0.03)
    np.testing.assert_allclose(
        np.hypot(np.hypot(ours.lights_e, ours.darks_e), ours.flats_e), ours.noise_e, rtol=1e-12
    )
    np.testing.assert_allclose(ours.times_worse, ours.noise_e / ours.lights_e, rtol=1e-12)


def test_number_of_darks():
    """Derivation: put back into the stack it costs just the share asked for; row SNR-08 for its factor."""
    at = {"light_noise_e": 9.0, "lights": 200, "dark_noise_e": 5.0, "positions": 4}
    needed = calibration.darks_for(**at, noise_increase=0.05)
    stack = calibration.calibrated_noise(**at, darks=needed, light_level_e=0, flat_level_e=1e4, flats=10)
    np.testing.assert_allclose(stack.times_worse, 1.05, rtol=1e-9)
    alike = calibration.darks_for(light_noise_e=3, lights=1, dark_noise_e=3, positions=1, noise_increase=0.05)
    assert_row(LIGHT["SNR-08"], alike)


# Number of frames


@pytest.mark.parametrize(("limit", "rounds"), [(2.0, 1), (2.0, 2), (2.0, 30), (2.5, 30), (3.0, 30)])
def test_clipped_mean_by_monte_carlo(limit, rounds):
    """Source: astropy.stats.sigma_clipped_stats on 4000 stacks of 600 bell-curve values; to 6 %.

    A ratio of two variances of 4000 is known to 2.2 % or better; the rest is for 600 not being endless.
    """
    values = np.random.default_rng(6).normal(0, 1, (4000, 600))
    means = sigma_clipped_stats(values, sigma=limit, maxiters=rounds, cenfunc="mean", axis=1)[0]
    measured = values.mean(1).var() / means.var()
    ours = frames.clipped_mean_efficiency(limit_sigma=limit, rounds=rounds)
    np.testing.assert_allclose(ours, measured, rtol=0.06)


def test_clipped_mean_limits():
    """Derivation: far limits clip nothing; one round by hand from the bell curve's integrals, by scipy.

    With e = 2cφ(c) and P the share inside, the pull is (1 + e)/P inside and e/P outside.
    """
    np.testing.assert_allclose(frames.clipped_mean_efficiency(limit_sigma=9, rounds=5), 1, rtol=1e-5)
    c = 2.2
    e, share = 2 * c * norm.pdf(c), 2 * norm.cdf(c) - 1
    variance = ((1 + e) ** 2 * (share - e) + e**2 * (1 - share + e)) / share**2
    ours = frames.clipped_mean_efficiency(limit_sigma=c, rounds=1)
    np.testing.assert_allclose(ours, 1 / variance, rtol=5e-4)  # 4000 slices


def test_median_by_monte_carlo():
    """Derivation: 4000 medians of 301 bell-curve values, to 7 %."""
    values = np.random.default_rng(7).normal(0, 1, (4000, 301))
    measured = values.mean(1).var() / np.median(values, axis=1).var()
    np.testing.assert_allclose(frames.MEDIAN_EFFICIENCY, measured, rtol=0.07)


@pytest.mark.parametrize("limit", [2.0, 2.5, 3.0, 4.0])
def test_fewest_frames(limit):
    """Source: astropy.stats.sigma_clip: one wild value among equal ones is clipped with n frames, not with n − 1."""
    n = frames.fewest_frames(limit)
    for count, clips in ((n, True), (n - 1, False)):
        values = np.zeros(count)
        values[0] = 1e9
        clipped = sigma_clip(values, sigma=limit, maxiters=1, cenfunc="mean", stdfunc="std").mask
        assert bool(np.any(clipped)) == clips


def test_smallest_clipped_trail():
    """Source: astropy.stats.sigma_clip on frames of exact spread: just above the limit it goes, just below it stays."""
    n, sigma, limit = 20, 8.0, 3.0
    rest = np.random.default_rng(8).normal(0, 1, n - 1)
    rest = (
        (rest - rest.mean()) / rest.std() * sigma * np.sqrt(n / (n - 1))
    )  # variance σ² with the trail's own place
    smallest = frames.smallest_clipped_e(noise_e=sigma, frames=n, limit_sigma=limit)
    for factor, clips in ((1.01, True), (0.99, False)):
        values = np.append(rest, factor * smallest)
        mask = sigma_clip(values, sigma=limit, maxiters=1, cenfunc="mean", stdfunc="std").mask
        assert bool(np.ravel(mask)[-1] if np.ndim(mask) else mask) == clips
    assert frames.smallest_clipped_e(noise_e=8, frames=10, limit_sigma=3) == np.inf
    many = frames.smallest_clipped_e(noise_e=8, frames=1e9, limit_sigma=3)
    np.testing.assert_allclose(many, 24, rtol=1e-6)


# Shapes and errors


def test_shapes():
    assert_broadcasts(ccd.snr_star_estimated, **ESTIMATED, subs=3)
    assert_broadcasts(ccd.snr_patch, **PATCH, subs=3)
    rig = {"sky_e_s_px": 1.9, "dark_e_s_px": 0.1, "read_noise_e": 1.6, "pixels": 12, "sub_s": 30}
    assert_broadcasts(ccd.faintest_star_e_s, snr=5, **rig, subs=4)
    assert_broadcasts(lambda ratio: ccd.brightness_error_mag(ratio), ratio=9)
    assert_broadcasts(hours.hours_to_snr_h, **HOURS)
    assert_broadcasts(hours.equal_depth_h, **DEPTH)
    assert_broadcasts(calibration.master_noise_e, frame_noise_e=3, frames=20)
    assert_broadcasts(lambda **k: calibration.calibrated_noise(**k).noise_e, **STACK)
    assert_broadcasts(calibration.darks_for, **DARKS)
    assert_broadcasts(lambda limit: frames.clipped_mean_efficiency(limit_sigma=limit, rounds=2), limit=3)
    assert_broadcasts(frames.smallest_clipped_e, noise_e=8, frames=20, limit_sigma=3)


DEPTH = {
    "hours_h": 5,
    "sky_e_s_px": 2,
    "other_sky_e_s_px": 1,
    "dark_e_s_px": 0.1,
    "read_noise_e": 2,
    "sub_s": 30,
    "other_sub_s": 60,
}
STACK = {
    "light_noise_e": 3,
    "lights": 100,
    "dark_noise_e": 2,
    "darks": 20,
    "light_level_e": 50,
    "flat_level_e": 6000,
    "flats": 20,
    "positions": 5,
}
DARKS = {"light_noise_e": 3, "lights": 100, "dark_noise_e": 2, "positions": 5, "noise_increase": 0.05}
NIGHT = {"subs": [1, 2], "transmission": [1, 0.5], "noise_e": [8, 9]}
CURVE = {"sub_s": [1, 2, 3], "efficiency": [0.1, 0.2, 0.1]}


@pytest.mark.parametrize(
    ("function", "good", "bad", "message"),
    [
        (
            ccd.snr_star_estimated,
            ESTIMATED,
            {"background_pixels": 0},
            r"background_pixels must be above 0, received 0",
        ),
        (ccd.snr_star_estimated, ESTIMATED, {"gain_e_adu": 0}, r"gain_e_adu must be above 0 e⁻/ADU"),
        (ccd.snr_patch, PATCH, {"object_e_s_px": -1}, r"object_e_s_px must be 0 or more e⁻/s/px"),
        (ccd.snr_patch, PATCH, {"pixels": 0}, r"pixels must be above 0"),
        (subs.useful_subs, CURVE, {"sub_s": [3, 2, 1]}, r"sub_s must rise"),
        (subs.useful_subs, CURVE, {"sub_s": [1, 2]}, r"must be alike, three or more: received 2, 3"),
        (
            subs.useful_subs,
            CURVE,
            {"efficiency": [0, 0, 0]},
            r"efficiency must be above 0 .*nothing|no sub gains",
        ),
        (hours.hours_to_snr_h, HOURS, {"object_e_s_px": 0}, r"object_e_s_px must be above 0 .*never seen"),
        (hours.hours_to_snr_h, HOURS, {"snr": 0}, r"snr must be above 0"),
        (hours.hours_to_snr_h, HOURS, {"frame_yield": 80}, r"frame_yield must be 0 to 1"),
        (hours.hours_range, HOURS | UNSURE, {"sky_sigma_mag": -1}, r"sky_sigma_mag must be 0 or more mag"),
        (hours.hours_range, HOURS | UNSURE, {"object_sigma_mag": -1}, r"object_sigma_mag must be 0 or more"),
        (
            hours.equal_depth_h,
            DEPTH,
            {"sky_e_s_px": 0, "dark_e_s_px": 0, "read_noise_e": 0},
            r"sky_e_s_px must be above 0 .*never zero",
        ),
        (hours.equal_depth_h, DEPTH, {"hours_h": -1}, r"hours_h must be 0 or more h"),
        (nights.combine_nights, NIGHT, {"subs": [1]}, r"one of each for every night: received 1, 2 and 2"),
        (nights.combine_nights, NIGHT, {"transmission": [1, 0]}, r"transmission must be above 0"),
        (calibration.calibrated_noise, STACK, {"positions": 101}, r"positions must be no more than lights"),
        (calibration.calibrated_noise, STACK, {"darks": 0}, r"frames must be above 0"),
        (calibration.calibrated_noise, STACK, {"flats": 0}, r"flats must be above 0"),
        (calibration.darks_for, DARKS, {"noise_increase": 0}, r"noise_increase must be above 0.*5 % more"),
        (frames.clipped_mean_efficiency, {"rounds": 1}, {"limit_sigma": 0.5}, r"limit_sigma must be 1 to 10"),
        (frames.clipped_mean_efficiency, {"limit_sigma": 3}, {"rounds": 0}, r"rounds must be 1 to 50"),
        (frames.fewest_frames, {}, {"limit_sigma": 11}, r"limit_sigma must be 1 to 10"),
        (
            frames.smallest_clipped_e,
            {"noise_e": 8, "limit_sigma": 3},
            {"frames": 1},
            r"frames must be above 0, received 0: two or more",
        ),
    ],
)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
