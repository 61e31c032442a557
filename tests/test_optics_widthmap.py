"""Lean and bowl of a width map, against scipy's fit, Monte Carlo, and maps made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

import workbook.optics.widthmap as widthmap

X_MM, Y_MM = (v.ravel() for v in np.meshgrid([-7.0, 0.0, 7.0], [-4.9, 0.0, 4.9]))
RADIUS_MM = 8.54
PLACES = {"x_mm": X_MM, "y_mm": Y_MM, "corner_radius_mm": RADIUS_MM}


def made(middle=2.3, lean_x=0.3, lean_y=-0.2, bowl=0.9):
    """Widths on a plane and a bowl."""
    x, y = X_MM / RADIUS_MM, Y_MM / RADIUS_MM
    return middle + lean_x * x + lean_y * y + bowl * (x**2 + y**2)


def test_a_map_made_by_hand_is_found_again():
    """Derivation: the fit is exact on its own model; the bowl's middle is where the slope is zero."""
    seen = widthmap.fit_width_map(fwhm_px=made(), fwhm_sigma_px=0.05, **PLACES)
    np.testing.assert_allclose(
        [seen.middle_px, seen.lean_x_px, seen.lean_y_px, seen.bowl_px], [2.3, 0.3, -0.2, 0.9], rtol=1e-9
    )
    assert seen.bowl_x_mm == pytest.approx(-RADIUS_MM * 0.3 / 1.8)
    assert seen.bowl_y_mm == pytest.approx(RADIUS_MM * 0.2 / 1.8)
    assert "a lean and a bowl" in seen.verdict


def test_values_and_errors_are_those_of_scipy():
    """Source: scipy.optimize.curve_fit with absolute uncertainties, an independent least-squares fit."""

    def model(place, a, b, c, d):
        x, y = place / RADIUS_MM
        return a + b * x + c * y + d * (x**2 + y**2)

    rng = np.random.default_rng(3)
    sigma = rng.uniform(0.03, 0.12, 9)
    width = made() + sigma * rng.standard_normal(9)
    best, covariance = curve_fit(model, np.stack([X_MM, Y_MM]), width, sigma=sigma, absolute_sigma=True)
    seen = widthmap.fit_width_map(fwhm_px=width, fwhm_sigma_px=sigma, **PLACES)
    np.testing.assert_allclose(seen[0:8:2], best, rtol=1e-6)
    np.testing.assert_allclose(seen[1:8:2], np.sqrt(np.diag(covariance)), rtol=1e-5)


def test_errors_are_those_of_many_maps():
    """Derivation: the scatter of 2,000 noisy maps; 6 % is four standard errors of a standard deviation."""
    rng = np.random.default_rng(4)
    many = [
        widthmap.fit_width_map(fwhm_px=made() + 0.1 * rng.standard_normal(9), fwhm_sigma_px=0.1, **PLACES)
        for _ in range(2000)
    ]
    values = np.array([seen[0:8:2] for seen in many])
    np.testing.assert_allclose(values.std(0), many[0][1:8:2], rtol=0.065)
    np.testing.assert_allclose(values.mean(0), [2.3, 0.3, -0.2, 0.9], atol=0.01)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"lean_x": 0.0, "lean_y": 0.0, "bowl": 0.0}, "flat within the uncertainty"),
        ({"lean_x": 0.5, "lean_y": 0.0, "bowl": 0.0}, "a lean: the sensor is tilted"),
        ({"lean_x": 0.0, "lean_y": 0.0, "bowl": 0.9}, "a bowl: spacing, focus or a curved field"),
    ],
)
def test_the_verdict_names_what_is_seen(parts, words):
    seen = widthmap.fit_width_map(fwhm_px=made(**parts), fwhm_sigma_px=0.05, **PLACES)
    assert words in seen.verdict
    assert np.isnan(seen.bowl_x_mm) == (parts["bowl"] == 0.0)


def test_a_turned_camera_turns_the_lean():
    """Derivation: half a turn of the places changes the sign of both leans and leaves the bowl."""
    seen = widthmap.fit_width_map(fwhm_px=made(), fwhm_sigma_px=0.05, **PLACES)
    turned = PLACES | {"x_mm": -X_MM, "y_mm": -Y_MM}
    other = widthmap.fit_width_map(fwhm_px=made(), fwhm_sigma_px=0.05, **turned)
    np.testing.assert_allclose([other.lean_x_px, other.lean_y_px], [-seen.lean_x_px, -seen.lean_y_px])
    assert other.bowl_px == pytest.approx(seen.bowl_px)


def test_nan_gives_nan_and_lists_and_ints_are_taken():
    width = made()
    width[2] = np.nan
    assert np.isnan(widthmap.fit_width_map(fwhm_px=width, fwhm_sigma_px=1, **PLACES)[:10]).all()
    seen = widthmap.fit_width_map(
        x_mm=[-7, 7, 0, 0, 0],
        y_mm=[0, 0, -5, 5, 0],
        fwhm_px=[3, 3, 3, 3, 2],
        fwhm_sigma_px=1,
        corner_radius_mm=8,
    )
    assert seen.lean_x_px == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x_mm": X_MM[:4]}, "one fwhm_px for each place: received 4 and 9 places"),
        ({"fwhm_px": -made()}, "fwhm_px must be above 0 px"),
        ({"fwhm_sigma_px": 0}, "fwhm_sigma_px must be above 0 px"),
        ({"corner_radius_mm": 0}, "corner_radius_mm must be above 0 mm"),
        ({"y_mm": 0 * Y_MM}, "cannot tell a lean from a bowl"),
    ],
)
def test_bad_input_is_refused(change, words):
    with pytest.raises(ValueError, match=words):
        widthmap.fit_width_map(**(PLACES | {"fwhm_px": made(), "fwhm_sigma_px": 0.05} | change))


def test_too_few_places_are_refused():
    few = {name: value[:4] for name, value in (("x_mm", X_MM), ("y_mm", Y_MM), ("fwhm_px", made()))}
    with pytest.raises(ValueError, match="five places or more, received 4: use nine tiles"):
        widthmap.fit_width_map(fwhm_sigma_px=0.05, corner_radius_mm=RADIUS_MM, **few)
