"""Terms of EMVA 1288, dark current in depth, cooling, and stars that clip."""

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import brentq
from support import assert_broadcasts, assert_row, rows

import workbook.sensor.clipping as clipping
import workbook.sensor.dark as dark
import workbook.sensor.emva as emva
import workbook.sensor.warm as warm

LIGHT = rows("light.csv")
EV_K = 8.617333262e-5  # CODATA 2018

# EMVA 1288


def test_rounding():
    """Source: reference rows DET-01 and DET-14; and 200,000 rounded values by numpy, to 1 %."""
    assert_row(LIGHT["DET-01"], emva.QUANTISATION_ADU)
    assert_row(LIGHT["DET-14"], emva.quantisation_noise_e(gain_e_adu=3.663))
    values = np.random.default_rng(1).normal(100, 3, 200_000)
    spread = 3.663 * np.std(np.rint(values) - values)
    np.testing.assert_allclose(emva.quantisation_noise_e(gain_e_adu=3.663), spread, rtol=0.01)


def test_dark_noise():
    """Source: reference row DET-02; the standard's K = 0.5 DN/e⁻ is 2 e⁻/ADU here."""
    assert_row(LIGHT["DET-02"], emva.dark_noise_of_counts_e(dark_noise_adu=2.0, gain_e_adu=2.0))


def test_threshold():
    """Source: reference rows DET-04 and DET-03 (σ + ½, within 0.04 of the exact form); root by scipy."""
    exact = emva.sensitivity_threshold_e(dark_noise_e=4.0)
    assert_row(LIGHT["DET-04"], exact)
    np.testing.assert_allclose(exact, LIGHT["DET-03"]["expected"], atol=0.04)
    root = brentq(lambda mu: mu / np.sqrt(mu + 1.6**2) - 1, 0.1, 50)
    np.testing.assert_allclose(emva.sensitivity_threshold_e(dark_noise_e=1.6), root, rtol=1e-9)
    assert emva.sensitivity_threshold_e(dark_noise_e=0) == 1


def test_dynamic_range():
    """Source: reference rows DET-05 and DET-06, over the threshold and not over the read noise."""
    light = {"saturation_e": 15000, "threshold_e": LIGHT["DET-03"]["expected"]}
    assert_row(LIGHT["DET-06"], emva.dynamic_range_stops(**light))
    assert_row(LIGHT["DET-05"], emva.dynamic_range_db(**light))


def test_largest_snr():
    """Source: reference row DET-07, in decibels."""
    assert_row(LIGHT["DET-07"], 20 * np.log10(emva.largest_snr(saturation_e=15000)))


def test_saturation():
    """Derivation: whichever ends first, and row DET-14's step: 12 bits over 15000 e⁻ is 3.663 e⁻ a count."""
    pixel = {"full_well_e": 13000, "gain_e_adu": 0.8, "offset_adu": 500, "adc_bits": 14}
    np.testing.assert_allclose(emva.saturation_e(**pixel), 0.8 * (16383 - 500), rtol=1e-12)
    assert emva.saturation_e(**pixel | {"gain_e_adu": 2.0}) == 13000
    whole = emva.saturation_e(full_well_e=1e9, gain_e_adu=3.663, offset_adu=0, adc_bits=12)
    np.testing.assert_allclose(whole, 15000, atol=1)  # 3.663 has four digits


# Dark current


def test_doubling():
    """Source: reference rows DET-11 and DET-12 (half gap; the whole gap gives 4.5 K)."""
    assert_row(LIGHT["DET-11"], dark.doubling_k(activation_ev=0.63, temperature_degc=20))
    assert_row(LIGHT["DET-12"], dark.doubling_k(activation_ev=0.56, temperature_degc=20))
    np.testing.assert_allclose(dark.doubling_k(activation_ev=1.12, temperature_degc=20), 4.5, atol=0.05)


def test_doubling_halves_the_exponential_law():
    """Source: scipy root of exp(−E/kT) = half of it, Widenhorn et al. 2002; and the drop of row DET-10."""
    for ev, degc in ((0.63, 20.0), (0.9, -15.0)):
        t = degc + 273.15
        half = brentq(lambda d, t=t, ev=ev: np.exp(-ev / EV_K * (1 / (t - d) - 1 / t)) - 0.5, 1, 40)
        ours = dark.doubling_k(activation_ev=ev, temperature_degc=degc)
        np.testing.assert_allclose(ours, half, rtol=1e-6)
    drop = 2 ** (11 / dark.doubling_k(activation_ev=0.633, temperature_degc=21))
    assert_row(LIGHT["DET-10"], drop)


def test_dark_range():
    """Derivation: powers of two with 4.5 and 9 K by hand, either side of the reference (row DET-12 for both)."""
    at = {"reference_e_s_px": 0.1, "reference_degc": 20, "doubling_k": 6}
    cold = dark.dark_range_e_s_px(**at, temperature_degc=2)
    np.testing.assert_allclose(cold, [0.1 / 2**4, 0.1 / 2**3, 0.1 / 2**2], rtol=1e-12)
    hot = dark.dark_range_e_s_px(**at, temperature_degc=38)
    np.testing.assert_allclose(hot, [0.1 * 2**2, 0.1 * 2**3, 0.1 * 2**4], rtol=1e-12)
    same = dark.dark_range_e_s_px(**at, temperature_degc=20)
    np.testing.assert_allclose(same, 0.1, rtol=1e-12)
    both = dark.dark_range_e_s_px(**at, temperature_degc=[2, 38])
    np.testing.assert_allclose(both.low_e_s_px, [0.1 / 16, 0.4], rtol=1e-12)


def test_shot_noise_of_dark():
    """Source: reference row DET-15."""
    assert_row(LIGHT["DET-15"], dark.dark_noise_e(dark_e_s_px=0.05, sub_s=120))


def test_mismatch_by_simulated_frames():
    """Derivation: 12 lights less a mean of 400 darks taken 2 K colder, pixel maps by numpy; pattern to 5 %."""
    rng = np.random.default_rng(3)
    shape, sub, n = (200, 200), 60.0, 12
    uneven = np.clip(rng.normal(1, 0.3, shape), 0, None)
    warm_, cold, sky, read = 0.20, 0.14, 0.3, 1.6
    lights = [rng.poisson((sky + warm_ * uneven) * sub) + rng.normal(0, read, shape) for _ in range(n)]
    stack = np.mean(lights, axis=0) - cold * uneven * sub  # a dark without noise of its own
    left = dark.dark_mismatch(
        dark_light_e_s_px=warm_,
        dark_dark_e_s_px=cold,
        unevenness=0.3,
        sky_e_s_px=sky,
        read_noise_e=read,
        sub_s=sub,
        subs=n,
    )
    np.testing.assert_allclose(stack.mean() - sky * sub, left.level_e, rtol=0.02)
    noise = np.std(lights[0] - lights[1]) / np.sqrt(2)
    np.testing.assert_allclose(left.noise_e, noise, rtol=0.02)
    pattern = np.sqrt(stack.var() - noise**2 / n)
    np.testing.assert_allclose(left.pattern_e, pattern, rtol=0.05)
    np.testing.assert_allclose(left.share_of_sub, left.pattern_e / left.noise_e, rtol=1e-12)
    np.testing.assert_allclose(left.share_of_stack, pattern / (noise / np.sqrt(n)), rtol=0.07)


def test_mismatch_limits():
    """Derivation: equal temperatures leave nothing; darks warmer than lights make a hole, a negative level."""
    at = {"unevenness": 0.3, "sky_e_s_px": 1, "read_noise_e": 1, "sub_s": 60, "subs": 9}
    same = dark.dark_mismatch(dark_light_e_s_px=0.1, dark_dark_e_s_px=0.1, **at)
    assert same.level_e == same.share_of_stack == 0
    hole = dark.dark_mismatch(dark_light_e_s_px=0.1, dark_dark_e_s_px=0.2, **at)
    assert hole.level_e < 0 < hole.pattern_e


def test_doubling_from_darks_by_monte_carlo():
    """Derivation: 4000 sets of three darks with known doubling; no bias beyond 1 %, spread as stated to 6 %."""
    rng = np.random.default_rng(4)
    t = np.array([6.0, 14.0, 21.0])
    true = 0.1 * 2 ** ((t - 20) / 6)
    fits = [
        dark.doubling_from_darks(
            temperatures_degc=t, dark_e_s_px=rng.normal(true, 0.001), dark_sigma_e_s_px=0.001
        )
        for _ in range(4000)
    ]
    found = np.array([fit.doubling_k for fit in fits])
    np.testing.assert_allclose(found.mean(), 6, rtol=0.01)
    np.testing.assert_allclose(found.std(), np.mean([fit.doubling_sigma_k for fit in fits]), rtol=0.06)
    middle = np.array([fit.middle_e_s_px / (0.1 * 2 ** ((fit.middle_degc - 20) / 6)) for fit in fits])
    np.testing.assert_allclose(middle.mean(), 1, atol=2e-3)
    stated = np.mean([fit.middle_sigma_e_s_px / fit.middle_e_s_px for fit in fits])
    np.testing.assert_allclose(middle.std(), stated, rtol=0.06)


def test_doubling_from_darks_against_polyfit():
    """Source: numpy.polyfit of ln d with the same weights; the energy of exp(−E/kT) to 3 % (a bend over 15 K)."""
    t, d = np.array([0.0, 5, 10, 15]), np.array([0.011, 0.02, 0.034, 0.06])
    sigma = np.array([0.001, 0.001, 0.002, 0.003])
    fit = dark.doubling_from_darks(temperatures_degc=t, dark_e_s_px=d, dark_sigma_e_s_px=sigma)
    slope = np.polyfit(t, np.log(d), 1, w=d / sigma)[0]
    np.testing.assert_allclose(fit.doubling_k, np.log(2) / slope, rtol=1e-9)
    law = 0.05 * np.exp(-0.63 / EV_K * (1 / (t + 273.15) - 1 / 280.65))
    exact = dark.doubling_from_darks(temperatures_degc=t, dark_e_s_px=law, dark_sigma_e_s_px=1e-4)
    np.testing.assert_allclose(exact.activation_ev, 0.63, rtol=0.03)


# Warmth


def test_wait():
    """Source: scipy root of the warm-up curve; and nothing to wait for where the rise is small."""

    def above(minutes):
        left = warm.sensor_temperature_degc(air_degc=8, elapsed_min=minutes, warm_up_k=7, warm_up_min=30)
        return 15 - left - 1

    ours = warm.wait_min(warm_up_k=7, warm_up_min=30, within_k=1)
    np.testing.assert_allclose(ours, brentq(above, 0.1, 200), rtol=1e-9)
    assert warm.wait_min(warm_up_k=0.5, warm_up_min=30, within_k=1) == 0


def test_cooling_by_counting_electrons():
    """Derivation: 400,000 pixels warm and cold, Poisson and Gauss by numpy; noise ratio to 1 %."""
    rng = np.random.default_rng(5)
    n, sub, sky, hot, cold, read = 400_000, 120.0, 0.03, 0.05, 0.005, 1.6
    noise = [np.std(rng.poisson((sky + rate) * sub, n) + rng.normal(0, read, n)) for rate in (hot, cold)]
    ours = warm.cooling_gain(sky_e_s_px=sky, warm_e_s_px=hot, cold_e_s_px=cold, read_noise_e=read, sub_s=sub)
    np.testing.assert_allclose(ours.noise_ratio, noise[0] / noise[1], rtol=0.01)
    np.testing.assert_allclose(ours.time_ratio, ours.noise_ratio**2, rtol=1e-12)
    np.testing.assert_allclose(ours.dark_share, hot / (sky + hot + read**2 / sub), rtol=1e-12)


def test_cooling_breaks_folklore_both_ways():
    """Derivation: the brighter the sky, the less it is worth: 1 in the limit, warm over cold without a sky."""
    at = {"warm_e_s_px": 0.08, "cold_e_s_px": 0.01, "read_noise_e": 0, "sub_s": 60}
    skies = warm.cooling_gain(sky_e_s_px=np.array([0, 0.1, 1, 10]), **at)
    assert (np.diff(skies.time_ratio) < 0).all()
    np.testing.assert_allclose(skies.time_ratio[[0, 3]], [8, 10.08 / 10.01], rtol=1e-12)


# Clipping


def test_brightest_pixel():
    """Source: scipy.integrate.dblquad of a Gaussian over the pixel."""
    for fwhm in (1.0, 2.0, 4.0):
        s = fwhm / 2.3548200450309493
        whole = dblquad(
            lambda y, x, s=s: np.exp(-(x * x + y * y) / (2 * s * s)) / (2 * np.pi * s * s),
            *(-0.5, 0.5, -0.5, 0.5),
        )[0]
        np.testing.assert_allclose(clipping.brightest_pixel_share(fwhm_px=fwhm), whole, rtol=1e-7)


def star_grid(star_e, fwhm_px, dy, dx):
    """A star on 15 × 15 pixels by summing 21 × 21 points in each, no code of ours."""
    s = fwhm_px / 2.3548200450309493
    fine = (np.arange(15 * 21) + 0.5) / 21 - 7.5
    profile = [np.exp(-((fine - d) ** 2) / (2 * s * s)).reshape(15, 21).sum(1) for d in (dy, dx)]
    light = np.outer(*profile)
    return star_e * light / light.sum()


def test_clipping_stars_on_simulated_pixels():
    """Derivation: stars just below and above the limit, drawn on pixels; corners hold less than centres."""
    at = {"fwhm_px": 2.4, "sub_s": 30.0, "saturation_e": 12706.0, "background_e_s_px": 1.93}
    limit = clipping.clipping_star_e_s(**at)
    for factor, clips in ((0.99, False), (1.01, True)):
        pixels = star_grid(limit * factor * 30, 2.4, 0, 0) + 1.93 * 30
        assert (pixels.max() >= 12706) == clips
    rng = np.random.default_rng(7)
    stars = limit * np.geomspace(0.5, 3, 80)
    counted = clipping.clipped_stars(star_e_s=stars, **at)
    for _ in range(5):
        places = rng.uniform(-0.5, 0.5, (80, 2))
        clipped = sum(
            (star_grid(e * 30, 2.4, *place) + 1.93 * 30).max() >= 12706
            for e, place in zip(stars, places, strict=True)
        )
        assert counted.at_least <= clipped <= counted.at_most
    cornered = sum((star_grid(e * 30, 2.4, 0.5, 0.5) + 1.93 * 30).max() >= 12706 for e in stars)
    centred = sum((star_grid(e * 30, 2.4, 0, 0) + 1.93 * 30).max() >= 12706 for e in stars)
    assert (counted.at_least, counted.at_most, counted.stars) == (cornered, centred, 80)


def test_clipping_limits():
    """Derivation: half the sub, twice the star (no background); a full sky leaves no room."""
    at = {"fwhm_px": 2.0, "saturation_e": 1e4, "background_e_s_px": 0.0}
    twice = clipping.clipping_star_e_s(**at, sub_s=10) / clipping.clipping_star_e_s(**at, sub_s=20)
    np.testing.assert_allclose(twice, 2, rtol=1e-12)
    assert clipping.clipping_star_e_s(**at | {"background_e_s_px": 1e4}, sub_s=20) == 0


# Shapes and errors


def test_shapes():
    assert_broadcasts(emva.quantisation_noise_e, gain_e_adu=0.8)
    assert_broadcasts(emva.dark_noise_of_counts_e, dark_noise_adu=2, gain_e_adu=0.8)
    assert_broadcasts(emva.sensitivity_threshold_e, dark_noise_e=2)
    assert_broadcasts(emva.dynamic_range_stops, saturation_e=13000, threshold_e=2)
    assert_broadcasts(emva.largest_snr, saturation_e=13000)
    assert_broadcasts(dark.doubling_k, activation_ev=0.63, temperature_degc=10)
    assert_broadcasts(dark.dark_noise_e, dark_e_s_px=0.1, sub_s=60)
    assert_broadcasts(warm.wait_min, warm_up_k=7, warm_up_min=30, within_k=1)
    assert_broadcasts(
        lambda **k: warm.cooling_gain(**k).noise_ratio,
        **WARM,
    )
    assert_broadcasts(clipping.brightest_pixel_share, fwhm_px=2)
    assert_broadcasts(
        clipping.clipping_star_e_s, fwhm_px=2, sub_s=30, saturation_e=12000, background_e_s_px=2
    )


PIXEL = {"full_well_e": 13000, "gain_e_adu": 0.8, "offset_adu": 500, "adc_bits": 14}
WARM = {"sky_e_s_px": 1, "warm_e_s_px": 0.1, "cold_e_s_px": 0.01, "read_noise_e": 2, "sub_s": 60}
CLIP = {"star_e_s": [9], "fwhm_px": 2, "sub_s": 30, "saturation_e": 12000, "background_e_s_px": 2}
DARKS = {"temperatures_degc": [5, 20], "dark_e_s_px": [0.02, 0.1], "dark_sigma_e_s_px": 0.002}
LEFT = {
    "dark_light_e_s_px": 0.1,
    "dark_dark_e_s_px": 0.1,
    "unevenness": 0.3,
    "sky_e_s_px": 1,
    "read_noise_e": 1,
    "sub_s": 60,
    "subs": 9,
}


@pytest.mark.parametrize(
    ("function", "good", "bad", "message"),
    [
        (emva.quantisation_noise_e, {}, {"gain_e_adu": 0}, r"gain_e_adu must be above 0 e⁻/ADU"),
        (
            emva.dark_noise_of_counts_e,
            {"gain_e_adu": 1},
            {"dark_noise_adu": 0.2},
            r"dark_noise_adu must be 0.289 ADU or more, received 0.2 ADU: rounding",
        ),
        (emva.sensitivity_threshold_e, {}, {"dark_noise_e": -1}, r"dark_noise_e must be 0 or more e⁻"),
        (emva.largest_snr, {}, {"saturation_e": 0}, r"saturation_e must be above 0 e⁻"),
        (emva.saturation_e, PIXEL, {"offset_adu": 20000}, r"offset_adu must be above 0 .*largest count"),
        (emva.saturation_e, PIXEL, {"adc_bits": 40}, r"adc_bits must be 1 to 24"),
        (emva.saturation_e, PIXEL, {"full_well_e": 0}, r"full_well_e must be above 0 e⁻"),
        (
            dark.doubling_k,
            {"temperature_degc": 20},
            {"activation_ev": 0},
            r"activation_ev must be above 0 eV",
        ),
        (dark.doubling_k, {"activation_ev": 0.6}, {"temperature_degc": 293}, r"temperature_degc .*kelvins"),
        (dark.dark_noise_e, {"sub_s": 9}, {"dark_e_s_px": -1}, r"dark_e_s_px must be 0 or more e⁻/s/px"),
        (dark.dark_mismatch, LEFT, {"unevenness": -1}, r"unevenness must be 0 or more"),
        (dark.dark_mismatch, LEFT, {"subs": 0}, r"subs must be above 0"),
        (dark.doubling_from_darks, DARKS, {"temperatures_degc": [5, 5]}, r"must hold two different ones"),
        (dark.doubling_from_darks, DARKS, {"temperatures_degc": [5, 6, 7]}, r"one dark_e_s_px for each"),
        (dark.doubling_from_darks, DARKS, {"dark_e_s_px": [0.1, 0.02]}, r"does not grow with warmth"),
        (
            dark.doubling_from_darks,
            DARKS,
            {"dark_e_s_px": [0, 0.02]},
            r"dark_e_s_px must be above 0 .*longer",
        ),
        (warm.wait_min, {"warm_up_k": 7, "warm_up_min": 30}, {"within_k": 0}, r"within_k must be above 0 K"),
        (
            warm.cooling_gain,
            WARM,
            {"sky_e_s_px": 0, "warm_e_s_px": 0, "read_noise_e": 0},
            r"sky_e_s_px must be above 0 .*cannot all be zero",
        ),
        (warm.cooling_gain, WARM, {"cold_e_s_px": -1}, r"cold_e_s_px must be 0 or more"),
        (clipping.clipped_stars, CLIP, {"star_e_s": [-1]}, r"star_e_s must be 0 or more e⁻/s"),
        (clipping.clipped_stars, CLIP, {"fwhm_px": 0}, r"fwhm_px must be above 0 px"),
        (clipping.clipped_stars, CLIP, {"saturation_e": 0}, r"saturation_e must be above 0 e⁻"),
    ],
)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
