"""Signal-to-noise, read noise and the one efficiency."""

import numpy as np
import pytest
from astropy.stats import signal_to_noise_oir_ccd
from support import assert_broadcasts, assert_row, rows

import workbook.exposure.snr as ccd
import workbook.exposure.subs as subs

LIGHT = rows("light.csv")
STAR = {
    "star_e_s": 50,
    "sky_e_s_px": 0.8,
    "dark_e_s_px": 0.1,
    "read_noise_e": 3,
    "pixels": 25,
    "sub_s": 60,
}
SUB = {
    "sub_s": 30.0,
    "frame_yield": 0.8,
    "overhead_s": 6.0,
    "background_e_s_px": 1.93,
    "read_noise_e": 1.6,
}


# Signal-to-noise


def test_snr_of_a_star():
    """Source: reference rows SNR-04 and SNR-03 (counts turned into electrons, dark an hour into a second)."""
    assert_row(LIGHT["SNR-04"], ccd.snr_star(**STAR))
    example = ccd.snr_star(
        star_e_s=24013 * 5 / 300,
        sky_e_s_px=620 * 5 / 300,
        dark_e_s_px=22 / 3600,
        read_noise_e=5,
        pixels=1,
        sub_s=300,
    )
    assert_row(LIGHT["SNR-03"], example)


def test_noise_of_a_point_source():
    """Source: reference row SNR-01a; noise = signal over signal-to-noise, with counts times gain."""
    star = 600 * 1.2
    snr = ccd.snr_star(
        star_e_s=star, sky_e_s_px=1200 * 1.2, dark_e_s_px=2, read_noise_e=5, pixels=50, sub_s=1000
    )
    assert_row(LIGHT["SNR-01a"], star * 1000 / snr)


def test_time_to_a_signal_to_noise():
    """Source: reference row SNR-02: at the published time the ratio is 30."""
    snr = ccd.snr_star(
        star_e_s=1,
        sky_e_s_px=2,
        dark_e_s_px=0,
        read_noise_e=0,
        pixels=1,
        sub_s=LIGHT["SNR-02"]["expected"],
    )
    np.testing.assert_allclose(snr, 30, atol=0.003)  # 0.5 s of 2700 s, halved by the square root


def test_stack():
    """Source: reference row SNR-13."""
    snr = ccd.snr_star(
        star_e_s=0.05, sky_e_s_px=0.4761, dark_e_s_px=0.05, read_noise_e=1.5, pixels=1, sub_s=120, subs=100
    )
    assert_row(LIGHT["SNR-13"], snr)


def test_ten_short_against_one_long():
    """Source: reference row SNR-06: the same electrons read ten times."""
    light = {"star_e_s": 1.0, "sky_e_s_px": 9.0, "dark_e_s_px": 0.0, "read_noise_e": 10.0, "pixels": 1}
    short = ccd.snr_star(**light, sub_s=10, subs=10)
    long = ccd.snr_star(**light, sub_s=100)
    assert_row(LIGHT["SNR-06"], short / long)


@pytest.mark.parametrize("seed", range(5))
def test_against_an_independent_library(seed):
    """Source: astropy.stats.signal_to_noise_oir_ccd (sky and dark there are per pixel too, gain 1)."""
    draw = np.random.default_rng(seed).uniform
    star, sky, dark, read_noise, pixels, sub = draw([1, 0.1, 0, 0.5, 1, 5], [500, 5, 1, 9, 60, 300])
    ours = ccd.snr_star(
        star_e_s=star, sky_e_s_px=sky, dark_e_s_px=dark, read_noise_e=read_noise, pixels=pixels, sub_s=sub
    )
    theirs = signal_to_noise_oir_ccd(sub, star, sky, dark, read_noise, pixels)
    np.testing.assert_allclose(ours, theirs, rtol=1e-12)


def test_against_counted_photons():
    """Derivation: Poisson electrons and Gaussian read noise drawn 20,000 times; known to 0.5 %."""
    rng = np.random.default_rng(11)
    n, pixels, subs, sub = 20_000, 12, 4, 20.0
    star = rng.poisson(3.0 * sub * subs, n)
    background = rng.poisson((0.9 + 0.2) * sub * subs * pixels, n)
    read = rng.normal(0, 2.0, (n, subs * pixels)).sum(axis=1)
    total = star + background + read
    snr = ccd.snr_star(
        star_e_s=3.0, sky_e_s_px=0.9, dark_e_s_px=0.2, read_noise_e=2.0, pixels=pixels, sub_s=sub, subs=subs
    )
    np.testing.assert_allclose(3.0 * sub * subs / total.std(), snr, rtol=0.02)


def test_snr_limits():
    """Derivation: alone, a star's ratio is √N; four subs double any ratio; nothing at all is undefined."""
    alone = STAR | {"sky_e_s_px": 0, "dark_e_s_px": 0, "read_noise_e": 0}
    np.testing.assert_allclose(ccd.snr_star(**alone), np.sqrt(50 * 60), rtol=1e-12)
    np.testing.assert_allclose(ccd.snr_star(**STAR, subs=4), 2 * ccd.snr_star(**STAR), rtol=1e-12)
    assert ccd.snr_star(**STAR | {"star_e_s": 0}) == 0
    assert np.isnan(ccd.snr_star(**alone | {"star_e_s": 0}))


# Read noise


def test_noise_increase():
    """Source: reference rows SNR-07 and SNR-09 (sky noise 60 is 3600 electrons)."""
    tenfold = subs.noise_increase(sub_s=10, background_e_s_px=4, read_noise_e=2)
    assert_row(LIGHT["SNR-07"], tenfold)
    rule = subs.noise_increase(sub_s=3600, background_e_s_px=1, read_noise_e=20)
    assert_row(LIGHT["SNR-09"], rule)
    assert subs.noise_increase(sub_s=10, background_e_s_px=4, read_noise_e=0) == 0


def test_shortest_sub():
    """Source: reference rows SNR-08 and SNR-10 (ten times the squared read noise is 4.881 % more noise)."""
    five = subs.shortest_sub_s(background_e_s_px=1, read_noise_e=1, noise_increase=0.05)
    assert_row(LIGHT["SNR-08"], five)
    tenfold = subs.shortest_sub_s(background_e_s_px=0.4761, read_noise_e=1.5, noise_increase=np.sqrt(1.1) - 1)
    assert_row(LIGHT["SNR-10"], tenfold)


def test_shortest_sub_turns_noise_increase_round():
    """Derivation: the noise increase of the shortest sub is the one that was asked for."""
    asked = np.array([0.01, 0.05, 0.2, 1.0])
    sub = subs.shortest_sub_s(background_e_s_px=1.93, read_noise_e=1.6, noise_increase=asked)
    np.testing.assert_allclose(
        subs.noise_increase(sub_s=sub, background_e_s_px=1.93, read_noise_e=1.6), asked, rtol=1e-12
    )


# Duty and efficiency


def test_duty():
    """Source: reference row DAT-07: open time of 221 frames against the clock."""
    frames = np.floor(4 * 3600 * subs.duty(sub_s=60, overhead_s=5) / 60)
    assert_row(LIGHT["DAT-07"], frames)
    assert subs.duty(sub_s=60, overhead_s=0) == 1


def test_efficiency_is_information_per_clock_time():
    """Derivation: squared signal-to-noise of a night counted sub by sub, against a perfect rig's.

    2000 cycles of the clock; the object is 1e-6 of the sky, so its own noise is below the tolerance.
    """
    t, kept, overhead, b, read_noise = 30.0, 0.8, 6.0, 1.93, 1.6
    clock = 2000 * (t + overhead)
    signal = 1e-6 * b * t * kept * 2000
    variance = (b * t + read_noise**2) * kept * 2000
    perfect = (1e-6 * b * clock) ** 2 / (b * clock)
    np.testing.assert_allclose(subs.efficiency(**SUB), signal**2 / variance / perfect, rtol=1e-9)


def test_read_noise_factor_of_efficiency():
    """Source: reference row SNR-06, squared: ten readings against one, sky and object 10 e⁻/s, 100 s."""
    short, long = (
        subs.efficiency(sub_s=t, frame_yield=1, overhead_s=0, background_e_s_px=10, read_noise_e=10)
        for t in (10, 100)
    )
    np.testing.assert_allclose(np.sqrt(short / long), LIGHT["SNR-06"]["expected"], atol=1e-5)


def test_efficiency_limits():
    """Derivation: a perfect rig has 1; each factor alone; 5 % more noise is 1/1.05² of the efficiency."""
    perfect = {"sub_s": 10, "frame_yield": 1, "overhead_s": 0, "background_e_s_px": 2, "read_noise_e": 0}
    assert subs.efficiency(**perfect) == 1
    assert subs.efficiency(**perfect | {"frame_yield": 0.37}) == 0.37
    np.testing.assert_allclose(subs.efficiency(**perfect | {"overhead_s": 30}), 0.25, rtol=1e-12)
    t = subs.shortest_sub_s(background_e_s_px=2, read_noise_e=3, noise_increase=0.05)
    noisy = subs.efficiency(**perfect | {"read_noise_e": 3, "sub_s": t})
    np.testing.assert_allclose(noisy, 1.05**-2, rtol=1e-12)


def test_best_sub_without_gears():
    """Derivation: d/dt of t/(t+o) · bt/(bt+R²) vanishes only in the limit, so longer is better."""
    t = np.geomspace(0.1, 1e4, 50)
    assert (np.diff(subs.efficiency(**SUB | {"sub_s": t})) > 0).all()


# Shapes and errors


def test_shapes():
    assert_broadcasts(ccd.snr_star, **STAR, subs=3)
    assert_broadcasts(subs.noise_increase, sub_s=30, background_e_s_px=2, read_noise_e=1.6)
    assert_broadcasts(subs.shortest_sub_s, background_e_s_px=2, read_noise_e=1.6, noise_increase=0.05)
    assert_broadcasts(subs.duty, sub_s=30, overhead_s=6)
    assert_broadcasts(subs.efficiency, **SUB)


REFUSED = [
    (ccd.snr_star, STAR, {"star_e_s": -1}, r"star_e_s must be 0 or more e⁻/s, received -1 e⁻/s"),
    (ccd.snr_star, STAR, {"sky_e_s_px": -1}, r"sky_e_s_px must be 0 or more e⁻/s/px"),
    (ccd.snr_star, STAR, {"dark_e_s_px": -1}, r"dark_e_s_px must be 0 or more e⁻/s/px"),
    (ccd.snr_star, STAR, {"read_noise_e": -3}, r"read_noise_e must be 0 or more e⁻, received -3 e⁻"),
    (ccd.snr_star, STAR, {"pixels": 0}, r"pixels must be above 0, received 0"),
    (ccd.snr_star, STAR, {"sub_s": 0}, r"sub_s must be above 0 s, received 0 s"),
    (ccd.snr_star, STAR, {"subs": 0}, r"subs must be above 0, received 0"),
    (
        subs.efficiency,
        SUB,
        {"frame_yield": 80},
        r"frame_yield must be 0 to 1, received 80: .*not per cent",
    ),
    (subs.efficiency, SUB, {"overhead_s": -1}, r"overhead_s must be 0 or more s"),
    (subs.efficiency, SUB, {"background_e_s_px": 0}, r"background_e_s_px must be above 0 .* never zero"),
    (subs.efficiency, SUB, {"read_noise_e": -1}, r"read_noise_e must be 0 or more e⁻"),
    (subs.efficiency, SUB, {"sub_s": [30, -1]}, r"sub_s must be above 0 s, received -1 s"),
]
NOISE = {"background_e_s_px": 2.0, "read_noise_e": 1.6}
REFUSED += [
    (subs.noise_increase, NOISE | {"sub_s": 30}, {"sub_s": 0}, r"sub_s must be above 0 s"),
    (
        subs.noise_increase,
        NOISE | {"sub_s": 30},
        {"background_e_s_px": -2},
        r"background_e_s_px must be above 0",
    ),
    (subs.noise_increase, NOISE | {"sub_s": 30}, {"read_noise_e": -2}, r"read_noise_e must be 0 or more"),
    (
        subs.shortest_sub_s,
        NOISE,
        {"noise_increase": 5},
        r"noise_increase must be 0 to 1, received 5: 0.05 means",
    ),
    (
        subs.shortest_sub_s,
        NOISE,
        {"noise_increase": 0},
        r"noise_increase must be above 0, received 0: 0.05",
    ),
    (
        subs.shortest_sub_s,
        NOISE | {"noise_increase": 0.05},
        {"background_e_s_px": 0},
        r"background_e_s_px must be above 0",
    ),
    (
        subs.shortest_sub_s,
        NOISE | {"noise_increase": 0.05},
        {"read_noise_e": -1},
        r"read_noise_e must be 0 or",
    ),
    (subs.duty, {"overhead_s": 6}, {"sub_s": -30}, r"sub_s must be above 0 s, received -30 s"),
    (subs.duty, {"sub_s": 30}, {"overhead_s": -6}, r"overhead_s must be 0 or more s, received -6 s"),
]


@pytest.mark.parametrize(("function", "good", "bad", "message"), REFUSED)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
