"""The sky out of one's own frame: from simulated frames with a known sky, stars and camera."""

import numpy as np
import pytest
from astropy.stats import sigma_clipped_stats
from support import assert_broadcasts

import workbook.sky.own_frame as own
from workbook.sky import sky_electrons_s_px

RATE = {
    "light_adu": 573.0,
    "light_sigma_adu": 0.5,
    "bias_adu": 500.0,
    "bias_sigma_adu": 0.2,
    "dark_adu": 1.0,
    "dark_sigma_adu": 0.3,
    "gain_e_adu": 0.8,
    "gain_sigma_e_adu": 0.04,
    "sub_s": 30.0,
}
FOUND = {
    "sky_e_s_px": 1.92,
    "sky_sigma_e_s_px": 0.1,
    "zero_mag": 17.55,
    "zero_sigma_mag": 0.1,
    "scale_arcsec_px": 2.256,
}


def frame(rng, electrons, *, gain=0.8, offset=500.0, read=1.6, size=(300, 400), stars=0):
    """Counts of a frame with an even level of electrons and some stars, by numpy alone."""
    light = np.full(size, float(electrons))
    y, x = np.mgrid[: size[0], : size[1]]
    for _ in range(stars):
        place = rng.uniform(0, size[0]), rng.uniform(0, size[1])
        flux = 10 ** rng.uniform(2.5, 5)
        light += flux / (2 * np.pi) * np.exp(-((y - place[0]) ** 2 + (x - place[1]) ** 2) / 2)
    counts = (rng.poisson(light) + rng.normal(0, read, size)) / gain + offset
    return np.rint(counts)


# Level


def test_level_against_an_independent_library():
    """Source: astropy.stats.sigma_clipped_stats on the same frame with stars.

    The frames hold whole counts: astropy's median is one of them, so half a count; noise to 3 %.
    """
    counts = frame(np.random.default_rng(2), 58, stars=40)
    ours = own.sky_level(pixels_adu=counts)
    _, median, std = sigma_clipped_stats(counts, sigma=3, maxiters=10)
    assert abs(ours.level_adu - median) <= 0.5
    np.testing.assert_allclose(ours.noise_adu, std, rtol=0.03)


def test_level_is_the_one_that_was_drawn():
    """Derivation: 200 simulated frames of known level; mean to 3 standard errors, spread as stated to 15 %.

    A median lies a sixth of σ times the skewness below the mean (Pearson's rule): λ/(6 (λ + R²)) electrons.
    """
    rng = np.random.default_rng(4)
    levels = [own.sky_level(pixels_adu=frame(rng, 58, size=(60, 60), read=1.6)) for _ in range(200)]
    found = np.array([level.level_adu for level in levels])
    stated = np.mean([level.level_sigma_adu for level in levels])
    skew_e = 58 / (6 * (58 + 1.6**2))
    assert abs(found.mean() - (500 + (58 - skew_e) / 0.8)) < 3 * found.std() / np.sqrt(200)
    np.testing.assert_allclose(found.std(), stated, rtol=0.15)


def test_stars_do_not_lift_the_level():
    """Derivation: 40 bright stars on 120,000 pixels change the level by less than a tenth of the noise."""
    clean = own.sky_level(pixels_adu=frame(np.random.default_rng(6), 58))
    starry = own.sky_level(pixels_adu=frame(np.random.default_rng(6), 58, stars=40))
    assert abs(starry.level_adu - clean.level_adu) < 0.1 * clean.noise_adu
    assert starry.pixels < clean.pixels
    assert np.mean(frame(np.random.default_rng(6), 58, stars=40)) > clean.level_adu + clean.noise_adu / 3


def test_level_of_few_counts():
    """Derivation: a noise below one count: the middle is found within the count, to 0.1."""
    rng = np.random.default_rng(8)
    counts = np.rint(rng.normal(500.3, 0.6, (200, 200)))
    np.testing.assert_allclose(own.sky_level(pixels_adu=counts).level_adu, 500.3, atol=0.05)
    flat = own.sky_level(pixels_adu=np.full((20, 20), 500))
    assert flat.level_adu == 500
    assert flat.noise_adu > 0.28


# Rate


def test_rate_by_hand():
    """Derivation: (573 − 500 − 1) · 0.8/30, and the law of propagation written out."""
    rate = own.sky_rate(**RATE)
    np.testing.assert_allclose(rate.sky_e_s_px, 72 * 0.8 / 30, rtol=1e-12)
    expected = np.sqrt((0.8**2) * (0.5**2 + 0.2**2 + 0.3**2) + (72 * 0.04) ** 2) / 30
    np.testing.assert_allclose(rate.sky_sigma_e_s_px, expected, rtol=1e-12)


def test_rate_and_its_error_by_drawing_everything():
    """Derivation: 200,000 draws of all four readings (JCGM 101:2008); mean and spread to 1 %."""
    rng = np.random.default_rng(9)
    n = 200_000
    light, bias, dark = (
        rng.normal(RATE[f"{k}_adu"], RATE[f"{k}_sigma_adu"], n) for k in ("light", "bias", "dark")
    )
    drawn = (light - bias - dark) * rng.normal(0.8, 0.04, n) / 30
    rate = own.sky_rate(**RATE)
    np.testing.assert_allclose(rate.sky_e_s_px, drawn.mean(), rtol=0.002)
    np.testing.assert_allclose(rate.sky_sigma_e_s_px, drawn.std(), rtol=0.01)


def test_rate_from_simulated_frames():
    """Derivation: light, bias and dark frames with 1.9 e⁻/s of sky and 0.1 of dark; sky back within 3 sigmas."""
    rng = np.random.default_rng(10)
    sub = 30.0
    light = own.sky_level(pixels_adu=frame(rng, (1.9 + 0.1) * sub, stars=20))
    bias = own.sky_level(pixels_adu=frame(rng, 0))
    dark = own.sky_level(pixels_adu=frame(rng, 0.1 * sub))
    rate = own.sky_rate(
        light_adu=light.level_adu,
        light_sigma_adu=light.level_sigma_adu,
        bias_adu=bias.level_adu,
        bias_sigma_adu=bias.level_sigma_adu,
        dark_adu=dark.level_adu - bias.level_adu,
        dark_sigma_adu=np.hypot(dark.level_sigma_adu, bias.level_sigma_adu),
        gain_e_adu=0.8,
        gain_sigma_e_adu=0.01,
        sub_s=sub,
    )
    assert abs(rate.sky_e_s_px - 1.9) < 3 * rate.sky_sigma_e_s_px
    assert rate.sky_sigma_e_s_px < 0.05


# Zero point


def field(rng, n=40, *, zero=17.5, scatter=0.15, k=0.25, airmass=1.3):
    magnitude = rng.uniform(7, 12, n)
    rate = 10 ** (-0.4 * (magnitude + k * airmass - zero + rng.normal(0, scatter, n)))
    sigma = 0.02 * rate
    return {
        "star_e_s": rate + rng.normal(0, sigma),
        "star_sigma_e_s": sigma,
        "magnitude": magnitude,
        "extinction_mag": k,
        "airmass": airmass,
    }


def test_zero_point_by_monte_carlo():
    """Derivation: 300 invented fields of 40 stars: no bias beyond 3 errors, spread as stated to 12 %."""
    rng = np.random.default_rng(12)
    fits = [own.zero_point(**field(rng)) for _ in range(300)]
    found = np.array([fit.zero_mag for fit in fits])
    assert abs(found.mean() - 17.5) < 3 * found.std() / np.sqrt(300)
    np.testing.assert_allclose(found.std(), np.mean([f.zero_sigma_mag for f in fits]), rtol=0.12)
    np.testing.assert_allclose(np.mean([f.scatter_mag for f in fits]), 0.15, rtol=0.05)


def test_zero_point_of_stars_with_noise_alone():
    """Derivation: 300 fields that scatter only by their 5 % noise: spread as stated to 15 %, 5.4 %/√40 of a mag."""
    rng = np.random.default_rng(16)
    fits = []
    for _ in range(300):
        stars = field(rng, scatter=0.0)
        exact = 10 ** (-0.4 * (stars["magnitude"] + 0.325 - 17.5))
        stars["star_sigma_e_s"] = 0.05 * exact
        stars["star_e_s"] = exact * (1 + rng.normal(0, 0.05, 40))
        fits.append(own.zero_point(**stars))
    found = np.std([fit.zero_mag for fit in fits])
    stated = np.mean([fit.zero_sigma_mag for fit in fits])
    np.testing.assert_allclose(found, stated, rtol=0.15)
    np.testing.assert_allclose(stated, 1.0857 * 0.05 / np.sqrt(40), rtol=0.15)


def test_zero_point_of_perfect_stars():
    """Derivation: Pogson's law by hand, with extinction added back: 9 + 0.25 · 1.2 + 2.5 log10(1000)."""
    stars = {"magnitude": np.array([9.0, 10.5, 12.0]), "extinction_mag": 0.25, "airmass": 1.2}
    rate = 1000 * 10 ** (-0.4 * (stars["magnitude"] - 9))
    fit = own.zero_point(**stars, star_e_s=rate, star_sigma_e_s=0.01)
    np.testing.assert_allclose(fit.zero_mag, 9 + 0.3 + 7.5, rtol=1e-9)
    assert (fit.kept, fit.left_out) == (3, 0)


def test_noisy_stars_weigh_little():
    """Derivation: a star known to 50 %, 0.8 mag off, moves a mean of stars known to 1 % by less than 0.01."""
    good = {"magnitude": np.array([9.0, 9.0, 9.0, 9.0]), "extinction_mag": 0, "airmass": 1}
    rate = np.array([1000.0, 1003, 997, 2089])
    fit = own.zero_point(**good, star_e_s=rate, star_sigma_e_s=np.array([10.0, 10, 10, 1045]))
    np.testing.assert_allclose(fit.zero_mag, 16.5, atol=0.01)


def test_clipped_stars_are_left_out():
    """Derivation: two saturated stars, 1.5 mag too faint, among 20 that scatter by 0.05."""
    rng = np.random.default_rng(13)
    stars = field(rng, 20, scatter=0.05)
    stars["star_e_s"][:2] /= 4
    fit = own.zero_point(**stars)
    assert fit.left_out >= 2
    assert abs(fit.zero_mag - 17.5) < 0.05


# Magnitude of the sky


def test_sky_magnitude_turns_the_sky_rate_round():
    """Derivation: stars and sky through one rig by Pogson's law: the sky comes back exactly.

    The zero point of a V rig is the magnitude of one electron a second, from row PHO-02 by arithmetic.
    """
    rig = {"aperture_mm": 58, "throughput": 0.45}
    zero = 2.5 * np.log10(8.794e9 * np.pi * 0.029**2 * 0.45)
    rate = sky_electrons_s_px(sky_mag_arcsec2=18.6, scale_arcsec_px=2.256, **rig)
    found = own.sky_from_frame(
        sky_e_s_px=rate, sky_sigma_e_s_px=0, zero_mag=zero, zero_sigma_mag=0.1, scale_arcsec_px=2.256
    )
    np.testing.assert_allclose(found, [18.6, 0.1], rtol=1e-9)


def test_sky_magnitude_error_by_drawing():
    """Derivation: 200,000 draws of rate and zero point; spread to 2 % (a 5 % error of a rate is nearly linear)."""
    rng = np.random.default_rng(14)
    n = 200_000
    drawn = rng.normal(17.55, 0.1, n) - 2.5 * np.log10(rng.normal(1.92, 0.1, n) / 2.256**2)
    found = own.sky_from_frame(**FOUND)
    np.testing.assert_allclose(found.sky_mag_arcsec2, drawn.mean(), atol=0.003)
    np.testing.assert_allclose(found.sigma_mag_arcsec2, drawn.std(), rtol=0.02)


def test_from_frame_to_sky_brightness():
    """Derivation: a simulated frame of 18.6 mag/″² and stars through the same rig; sky back to ±0.1 mag."""
    rng = np.random.default_rng(15)
    rig = {"aperture_mm": 58, "throughput": 0.45}
    sub, gain = 30.0, 0.8
    rate = sky_electrons_s_px(sky_mag_arcsec2=18.6, scale_arcsec_px=2.256, **rig)
    level = own.sky_level(pixels_adu=frame(rng, rate * sub, stars=30))
    sky = own.sky_rate(
        light_adu=level.level_adu,
        light_sigma_adu=level.level_sigma_adu,
        bias_adu=500.0,
        bias_sigma_adu=0.1,
        dark_adu=0.0,
        dark_sigma_adu=0.1,
        gain_e_adu=gain,
        gain_sigma_e_adu=0.01,
        sub_s=sub,
    )
    zero = 2.5 * np.log10(8.794e9 * np.pi * 0.029**2 * 0.45)
    fit = own.zero_point(**field(rng, 30, zero=zero, scatter=0.1))
    found = own.sky_from_frame(
        sky_e_s_px=sky.sky_e_s_px,
        sky_sigma_e_s_px=sky.sky_sigma_e_s_px,
        zero_mag=fit.zero_mag,
        zero_sigma_mag=fit.zero_sigma_mag,
        scale_arcsec_px=2.256,
    )
    assert abs(found.sky_mag_arcsec2 - 18.6) < 0.1
    assert found.sigma_mag_arcsec2 < 0.1


# Shapes and errors


def test_shapes():
    plain = {k: v for k, v in RATE.items() if "sigma" not in k}
    errors = {k: v for k, v in RATE.items() if "sigma" in k}
    assert_broadcasts(lambda **k: own.sky_rate(**k, **errors).sky_e_s_px, **plain)
    assert_broadcasts(lambda **k: own.sky_rate(**k).sky_sigma_e_s_px, **RATE)
    light = {k: FOUND[k] for k in ("sky_e_s_px", "zero_mag", "scale_arcsec_px")}
    unsure = {k: FOUND[k] for k in ("sky_sigma_e_s_px", "zero_sigma_mag")}
    assert_broadcasts(lambda **k: own.sky_from_frame(**k, **unsure).sky_mag_arcsec2, **light)
    zero = {k: FOUND[k] for k in ("zero_mag", "scale_arcsec_px")}
    unsure["sky_e_s_px"] = 1.92
    assert_broadcasts(lambda **k: own.sky_from_frame(**k, **zero).sigma_mag_arcsec2, **unsure)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: own.sky_level(pixels_adu=np.ones(50)),
            r"pixels_adu must hold 100 pixels or more, received 50",
        ),
        (lambda: own.sky_level(pixels_adu=np.full(500, np.nan)), r"100 pixels or more, received 0"),
        (lambda: own.sky_rate(**RATE | {"sub_s": 0}), r"sub_s must be above 0 s"),
        (lambda: own.sky_rate(**RATE | {"gain_e_adu": 0}), r"gain_e_adu must be above 0 e⁻/ADU"),
        (lambda: own.sky_rate(**RATE | {"dark_adu": -3}), r"dark_adu must be 0 or more ADU"),
        (lambda: own.sky_rate(**RATE | {"light_sigma_adu": -3}), r"light_sigma_adu must be 0 or more ADU"),
        (
            lambda: own.zero_point(
                star_e_s=[1, 2], star_sigma_e_s=1, magnitude=[1, 2], extinction_mag=0, airmass=1
            ),
            r"star_e_s must hold 3 stars or more, received 2",
        ),
        (
            lambda: own.zero_point(
                star_e_s=[1, 2, 3], star_sigma_e_s=1, magnitude=[1, 2], extinction_mag=0, airmass=1
            ),
            r"one magnitude for each star: received 3 stars and 2 magnitudes",
        ),
        (
            lambda: own.zero_point(
                star_e_s=[1, 2, -3], star_sigma_e_s=1, magnitude=[1, 2, 3], extinction_mag=0, airmass=1
            ),
            r"star_e_s must be above 0 e⁻/s, received -3 e⁻/s: leave out",
        ),
        (lambda: own.sky_from_frame(**FOUND | {"sky_e_s_px": -0.1}), r"sky_e_s_px must be above 0 .*bias"),
        (lambda: own.sky_from_frame(**FOUND | {"scale_arcsec_px": 0}), r"scale_arcsec_px must be above 0"),
        (
            lambda: own.sky_from_frame(**FOUND | {"zero_sigma_mag": -1}),
            r"zero_sigma_mag must be 0 or more mag",
        ),
    ],
)
def test_errors(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_nan_passes():
    stars = field(np.random.default_rng(1))
    stars["magnitude"][3] = np.nan
    assert np.isnan(own.zero_point(**stars).zero_mag)
    holed = frame(np.random.default_rng(1), 58)
    holed[:50, :50] = np.nan
    assert own.sky_level(pixels_adu=holed).pixels <= holed.size - 2500
