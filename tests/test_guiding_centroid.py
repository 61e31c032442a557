"""The place of a star: bounds, published formulas, and photons counted one by one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad
from scipy.optimize import minimize
from scipy.special import erf
from support import assert_broadcasts, assert_row, rows

import workbook.guiding.centroid as centroid

ROWS = rows("guiding.csv")
SIGMA = 1 / 2.3548200450309493
FAINT = {"fwhm_px": 3, "star_e": 1000, "background_e_px": 91, "read_noise_e": 3}


def pixels(x, y, fwhm, size=13):
    """The share of a Gaussian star in each pixel of a square (error function), star at x, y from its middle."""
    edges = np.arange(size + 1) - size / 2
    below = [0.5 * (1 + erf((edges - at) / (np.sqrt(2) * fwhm * SIGMA))) for at in (y, x)]
    return np.outer(np.diff(below[0]), np.diff(below[1]))


def test_bound_row_cen_05():
    assert_row(ROWS["CEN-05"], centroid.centroid_sigma_px(**FAINT))


def test_bound_lies_above_the_formula_that_promises_too_much():
    """Source: reference rows CEN-02 and CEN-03: Thompson is 9 % below the bound, Mortensen's plain fit above it."""
    bound = centroid.centroid_sigma_px(fwhm_px=3, star_e=1000, background_e_px=100, read_noise_e=0)
    assert ROWS["CEN-02"]["expected"] < 0.92 * bound
    assert bound < ROWS["CEN-03"]["expected"]
    assert_row(
        ROWS["CEN-03"], centroid.centroid_fit_px(fwhm_px=3, star_e=1000, background_e_px=100, read_noise_e=0)
    )


def test_photon_limit_rows_cen_01_and_cen_06():
    assert_row(ROWS["CEN-01"], centroid.photon_limit_px(fwhm_px=3, star_e=1000))
    assert_row(ROWS["CEN-06"], centroid.photon_limit_px(fwhm_px=3, star_e=30**2))


@pytest.mark.parametrize(("fwhm", "background"), [(20, 0), (20, 5), (12, 100)])
def test_bound_on_fine_pixels_is_the_integral(fwhm, background):
    """Source: scipy's integral of (dm/dx)²/(m + b) over the plane; pixels of a twelfth of the width add 0.3 %."""
    sigma, star = fwhm * SIGMA, 2000.0

    def information(y, x):
        m = star / (2 * np.pi * sigma**2) * np.exp(-(x**2 + y**2) / (2 * sigma**2))
        return 4 * (m * x / sigma**2) ** 2 / (m + background) if m > 0 else 0.0

    wanted = 1 / np.sqrt(dblquad(information, 0, 6 * sigma, 0, 6 * sigma, epsrel=1e-6)[0])
    found = centroid.centroid_sigma_px(fwhm_px=fwhm, star_e=star, background_e_px=background, read_noise_e=0)
    assert found == pytest.approx(wanted, rel=0.004)


@pytest.mark.parametrize(
    ("fwhm", "star", "background", "read_noise"), [(3, 1000, 91, 3), (2, 500, 10, 3), (1.5, 2000, 4, 3)]
)
def test_photons_counted_and_fitted_scatter_by_the_bound(fwhm, star, background, read_noise):
    """Derivation: a Monte Carlo of 500 exposures, stars anywhere in the pixel, fitted by maximum likelihood.

    The scatter of 1,000 numbers is known to 2.2 %; it may not be below the bound, nor above it by more than 3 + 3.5 %.
    """
    random = np.random.default_rng(4)
    errors = []
    for _ in range(500):
        true = random.uniform(-0.5, 0.5, 2)
        counts = random.poisson(star * pixels(*true, fwhm) + background)
        counts = counts + read_noise * random.standard_normal(counts.shape)

        def misfit(at, counts=counts):
            model = star * pixels(*at, fwhm) + background + read_noise**2
            seen = np.maximum(
                counts + read_noise**2, 0.0
            )  # read noise shifted into a Poisson law of its variance
            return np.sum(model - seen * np.log(model))

        errors.append(
            minimize(misfit, true, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6}).x - true
        )
    scatter = np.sqrt(np.mean(np.square(errors)))
    bound = centroid.centroid_sigma_px(
        fwhm_px=fwhm, star_e=star, background_e_px=background, read_noise_e=read_noise
    )
    assert 0.955 * bound < scatter < 1.065 * bound


def test_bound_of_a_star_narrower_than_a_pixel_by_differences():
    """Derivation: information by finite differences of the pixel shares, over 40 × 40 places; 1 %."""
    information = []
    for x in (np.arange(40) + 0.5) / 40 - 0.5:
        for y in (np.arange(40) + 0.5) / 40 - 0.5:
            move = (pixels(x + 1e-5, y, 0.9, 9) - pixels(x - 1e-5, y, 0.9, 9)) / 2e-5
            information.append(np.sum((800 * move) ** 2 / (800 * pixels(x, y, 0.9, 9) + 20)))
    wanted = np.sqrt(np.mean(1 / np.array(information)))
    found = centroid.centroid_sigma_px(fwhm_px=0.9, star_e=800, background_e_px=11, read_noise_e=3)
    assert found == pytest.approx(wanted, rel=0.01)


def test_bound_grows_with_noise_and_falls_with_light():
    more = centroid.centroid_sigma_px(**FAINT | {"star_e": [100, 300, 1000, 3000]})
    assert (np.diff(more) < 0).all()
    for name, values in [
        ("background_e_px", [0, 10, 100]),
        ("read_noise_e", [0, 3, 10]),
        ("fwhm_px", [2, 3, 5]),
    ]:
        assert (np.diff(centroid.centroid_sigma_px(**FAINT | {name: values})) > 0).all()
    same = centroid.centroid_sigma_px(**FAINT | {"background_e_px": 100 - 49, "read_noise_e": 7})
    assert same == pytest.approx(centroid.centroid_sigma_px(**FAINT), rel=1e-12)


@pytest.mark.parametrize(("fwhm", "wanted"), [(3, 0.1), (0.8, 0.02), (1.3, 0.2), (6, 1.5)])
def test_faintest_star_is_the_bound_turned_round(fwhm, wanted):
    """Derivation: the light found gives back the error."""
    noise = {"background_e_px": 20, "read_noise_e": 3}
    star = centroid.faintest_star_e(fwhm_px=fwhm, centroid_sigma_px=wanted, **noise)
    assert centroid.centroid_sigma_px(fwhm_px=fwhm, star_e=star, **noise) == pytest.approx(wanted, rel=1e-6)


def test_shapes_and_errors():
    assert_broadcasts(centroid.centroid_sigma_px, **FAINT)
    assert_broadcasts(centroid.centroid_fit_px, **FAINT)
    assert_broadcasts(centroid.photon_limit_px, fwhm_px=3, star_e=1000)
    assert_broadcasts(
        centroid.faintest_star_e, fwhm_px=3, background_e_px=20, read_noise_e=3, centroid_sigma_px=0.1
    )
    for changed, words in [
        ({"fwhm_px": 0.3}, r"fwhm_px must be 0\.5 to 60 px, received 0\.3 px: a star is 1 to 6"),
        ({"star_e": 0}, "star_e must be above 0 e⁻, received 0"),
        ({"background_e_px": -1}, "background_e_px must be 0 or more e⁻/px"),
        ({"read_noise_e": -1}, "read_noise_e must be 0 or more e⁻"),
    ]:
        with pytest.raises(ValueError, match=words):
            centroid.centroid_sigma_px(**FAINT | changed)
    with pytest.raises(ValueError, match="centroid_sigma_px must be above 0 px"):
        centroid.faintest_star_e(fwhm_px=3, background_e_px=20, read_noise_e=3, centroid_sigma_px=0)
    with pytest.raises(ValueError, match="star_e must be above 0"):
        centroid.centroid_fit_px(**FAINT | {"star_e": -1})
