"""The motion of a star by the air: published constants, integrals by scipy, and series counted."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import gamma, j1
from support import assert_broadcasts, assert_row, rows

import workbook.guiding.seeing as seeing

ROWS = rows("guiding.csv")
TUBE = {"aperture_mm": 32, "seeing_arcsec": 3}
AIR = {"wind_m_s": 8, "outer_scale_m": 25}


def test_tilt_rows_see_01_and_see_07():
    """Row SEE-07: the motion of 60 mm where r0 is 0.10 m, in the seeing of row SEE-01. And back: the seeing in which
    60 mm move as Noll's 0.182 (λ/D)² (D/r0)^(5/3) says for that r0 is the one of row SEE-01.
    """
    seen = ROWS["SEE-01"]["expected"]
    assert_row(ROWS["SEE-07"], seeing.tilt_sigma_arcsec(aperture_mm=60, seeing_arcsec=seen))
    noll = np.degrees(500e-9 / 0.060) * 3600 * np.sqrt(0.182 * (0.060 / 0.10) ** (5 / 3))
    back = brentq(lambda x: seeing.tilt_sigma_arcsec(aperture_mm=60, seeing_arcsec=x) - noll, 0.1, 9)
    assert_row(ROWS["SEE-01"], back)


def test_tilt_laws_of_aperture_and_seeing():
    """Derivation: D^(−1/6), and seeing^(5/6), from the formula's own powers."""
    alone = seeing.tilt_sigma_arcsec(**TUBE)
    wide = seeing.tilt_sigma_arcsec(**TUBE | {"aperture_mm": 64})
    assert wide / alone == pytest.approx(2 ** (-1 / 6))
    assert seeing.tilt_sigma_arcsec(**TUBE | {"seeing_arcsec": 6}) / alone == pytest.approx(2 ** (5 / 6))


def test_constant_of_the_spectrum_by_another_way():
    """Source: the tilt over a round aperture of Kolmogorov phase 0.0229 r0^(−5/3) κ^(−11/3) (Noll 1976, recalled).

    Its power at low frequency, both axes in the mean, by integrating the spatial spectrum across the wind: within 4 %
    of the constant taken from the differential motion of two apertures, which is quoted to two digits.
    """
    fried, wind, aperture, wavelength = 0.05, 10.0, 0.05, 500e-9
    f = 0.2
    k = f / wind

    def power(ky, along):
        # slope of the wavefront λφ/2π: λ κ φ; averaged over the aperture as a gradient tilt, 2 J1(πDκ)/(πDκ)
        kappa = np.hypot(k, ky)
        x = np.pi * aperture * kappa
        slope = wavelength * (k if along else ky)
        return slope**2 * 0.0229 * fried ** (-5 / 3) * kappa ** (-11 / 3) * (2 * j1(x) / x) ** 2

    sides = [
        quad(lambda u, a=along: np.exp(u) * power(np.exp(u), a), np.log(1e-6), np.log(300), limit=500)[0]
        for along in (True, False)
    ]
    one_sided = 2 * 2 / wind * np.mean(sides)  # both signs of ky, both of f
    seen = 0.98 * wavelength / fried * 206264.8
    sigma = seeing.tilt_sigma_arcsec(aperture_mm=50, seeing_arcsec=seen)
    found = seeing._power(np.array([f]), sigma, aperture, wind, 1e9)[0]
    assert found == pytest.approx(one_sided * 206264.8**2, rel=0.04)


def test_whole_power_is_the_tilt():
    """Derivation: with an endless outer scale the spectrum integrates to σ²; an outer scale takes some away."""
    top = seeing.CUT_OFF * 8 / 0.032
    for outer, least, most in [(1e9, 0.999, 1.001), (25, 0.75, 0.95)]:
        cubed = quad(
            lambda u, o=outer: 3 * u**2 * seeing._power(np.array(u**3), 1.0, 0.032, 8.0, o), 0, top ** (1 / 3)
        )
        assert least < cubed[0] < most


@pytest.mark.parametrize(("exposure", "outer"), [(0.5, 25), (2, 25), (10, 8), (1, 300)])
def test_averaged_tilt_is_the_integral(exposure, outer):
    """Source: scipy's quad of the spectrum, in pieces of one turn of the sinc."""
    sigma = seeing.tilt_sigma_arcsec(**TUBE)

    def power(f):
        return seeing._power(np.array(f), sigma, 0.032, 8.0, outer) * np.sinc(f * exposure) ** 2

    edges = np.concatenate([[0, 1e-3, 1e-2], np.arange(1, 300) / exposure])
    edges = edges[edges < 0.99 * seeing.CUT_OFF * 8 / 0.032]
    wanted = np.sqrt(sum(quad(power, a, b)[0] for a, b in itertools.pairwise(edges)))
    found = seeing.averaged_tilt_sigma_arcsec(**TUBE, wind_m_s=8, exposure_s=exposure, outer_scale_m=outer)
    assert found == pytest.approx(wanted, rel=0.01)


def test_averaging_follows_known_powers():
    """Derivation: t^(−1/6) for an endless outer scale, t^(−1/2) far beyond the outer scale; short: all of it."""
    far = {"wind_m_s": 8, "outer_scale_m": 1e13}
    slow = seeing.averaged_tilt_sigma_arcsec(**TUBE, **far, exposure_s=[1, 64])
    assert slow[1] / slow[0] == pytest.approx(64 ** (-1 / 6), rel=0.01)
    # closed form: 1.8 · 0.675 (D / wind t)^(1/3) of the variance
    closed = np.sqrt(1.8 * 0.675 * (0.032 / 8) ** (1 / 3)) * seeing.tilt_sigma_arcsec(**TUBE)
    assert slow[0] == pytest.approx(closed, rel=0.01)
    fast = seeing.averaged_tilt_sigma_arcsec(**TUBE, wind_m_s=8, outer_scale_m=2, exposure_s=[20, 80])
    assert fast[1] / fast[0] == pytest.approx(0.5, rel=0.05)
    flash = seeing.averaged_tilt_sigma_arcsec(**TUBE, **far, exposure_s=1e-5)
    assert flash == pytest.approx(seeing.tilt_sigma_arcsec(**TUBE), rel=0.01)


def test_two_apertures_move_together_by_the_known_law():
    """Source: Sarazin & Roddier 1990 (recalled): 1 − 0.541 or 0.811 (d/D)^(−1/3); the mean at long lag is 0.675.

    Here as the correlation in time of the spectrum at lag d/wind, without any averaging.
    """
    lag = 0.5
    norm = 2.6789385 * np.sqrt(0.75) / (2 * np.pi * lag) ** (1 / 3)
    assert norm == pytest.approx(gamma(1 / 3) * np.cos(np.pi / 6) * (2 * np.pi * lag) ** (-1 / 3), rel=1e-6)
    shared = seeing.SPECTRUM * (0.032 / 8) ** (1 / 3) * norm
    assert shared == pytest.approx((0.541 + 0.811) / 2 * (0.032 / (8 * lag)) ** (1 / 3), rel=0.005)


def test_correlation_of_stars():
    """Derivation: same star 1; near the ground nearly 1; falls with height and angle; far apart nothing."""
    pair = {"separation_deg": 0.5, "exposure_s": 2, **AIR}
    assert seeing.tilt_correlation(layer_m=5000, **pair | {"separation_deg": 0}) == 1
    by_height = seeing.tilt_correlation(layer_m=np.array([0, 100, 1000, 2000]), **pair)
    assert by_height[0] == 1
    assert (np.diff(by_height) < 0).all()
    assert abs(seeing.tilt_correlation(layer_m=9000, **pair)) < 0.03
    longer = seeing.tilt_correlation(layer_m=1000, **pair | {"exposure_s": [1, 10]})
    assert longer[0] < longer[1]


def test_correlation_is_that_of_two_series():
    """Derivation: means over two seconds of one simulated night, and of the same night d/wind later; ±0.05."""
    t = np.arange(0, 40_000, 0.1)
    air = seeing.tilt_series_arcsec(times_s=t, tilt_sigma_arcsec=1, aperture_mm=32, **AIR, seed=6).ravel()
    shift = 10  # 1 s
    mean = np.convolve(air, np.ones(20) / 20, "valid")
    counted = np.corrcoef(mean[:-shift], mean[shift:])[0, 1]
    layer = 8 * 1.0 / np.radians(0.5)
    found = seeing.tilt_correlation(separation_deg=0.5, layer_m=layer, exposure_s=2, **AIR)
    assert found == pytest.approx(counted, abs=0.05)


@pytest.mark.parametrize("exposure", [0.1, 2, 10])
def test_series_scatters_as_the_averaged_tilt(exposure):
    """Derivation: 20,000 s counted against the integral; 4 %."""
    t = np.arange(0, 20_000, 0.1)
    sigma = seeing.tilt_sigma_arcsec(**TUBE)
    air = seeing.tilt_series_arcsec(times_s=t, tilt_sigma_arcsec=sigma, aperture_mm=32, **AIR, seed=2)
    each = air.reshape(2, -1, round(exposure / 0.1)).mean(axis=2)
    wanted = seeing.averaged_tilt_sigma_arcsec(**TUBE, **AIR, exposure_s=exposure)
    np.testing.assert_allclose(each.std(axis=1), wanted, rtol=0.04)
    assert abs(np.corrcoef(air)[0, 1]) < 0.03


def test_series_repeats_and_scales():
    t = np.arange(0, 100, 0.5)
    how = {"times_s": t, "aperture_mm": 32, **AIR}
    one = seeing.tilt_series_arcsec(**how, tilt_sigma_arcsec=1, seed=2)
    assert one.shape == (2, 200)
    np.testing.assert_array_equal(one, seeing.tilt_series_arcsec(**how, tilt_sigma_arcsec=1, seed=2))
    np.testing.assert_allclose(2 * one, seeing.tilt_series_arcsec(**how, tilt_sigma_arcsec=2, seed=2))
    np.testing.assert_array_equal(seeing.tilt_series_arcsec(**how, tilt_sigma_arcsec=0, seed=2), 0)


def test_shapes_and_errors():
    assert_broadcasts(seeing.tilt_sigma_arcsec, **TUBE)
    assert_broadcasts(seeing.averaged_tilt_sigma_arcsec, **TUBE, **AIR, exposure_s=2)
    assert_broadcasts(seeing.tilt_correlation, separation_deg=0.5, layer_m=500, exposure_s=2, **AIR)
    for changed, words in [
        ({"exposure_s": 0}, "exposure_s must be above 0 s"),
        ({"wind_m_s": 0}, "wind_m_s must be above 0 m/s"),
        ({"outer_scale_m": -1}, "outer_scale_m must be above 0 m"),
        ({"aperture_mm": 0}, "aperture_mm must be above 0 mm"),
        ({"seeing_arcsec": 0}, "seeing_arcsec must be above 0 ″"),
    ]:
        with pytest.raises(ValueError, match=words):
            seeing.averaged_tilt_sigma_arcsec(**TUBE | AIR | {"exposure_s": 2} | changed)
    with pytest.raises(ValueError, match="times_s must rise in even steps"):
        seeing.tilt_series_arcsec(times_s=[0, 1, 3], tilt_sigma_arcsec=1, aperture_mm=32, **AIR, seed=1)
    with pytest.raises(ValueError, match="layer_m must be 0 or more m"):
        seeing.tilt_correlation(separation_deg=0.5, layer_m=-1, exposure_s=2, **AIR)
