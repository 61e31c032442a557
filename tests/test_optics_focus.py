"""Focus, its drift and its fit, filters and spacers: against cones of rays, Snell's law and a general fit."""

import numpy as np
import pytest
from scipy.optimize import curve_fit
from support import assert_row, rows

import workbook.optics.diffraction as diffraction
import workbook.optics.focus as focus
import workbook.optics.spacing as spacing

ROWS = rows("optics.csv")
ALUMINIUM = focus.EXPANSION["aluminium"].usual_per_k

# Focus


def test_focus_zone():
    """Source: reference rows FOC-01 (Airy disc), FOC-02 (whole zone), FOC-03 (two spheres a quarter wave apart)."""
    half = focus.focus_half_zone_um(f_ratio=6, wavelength_nm=550)
    assert_row(ROWS["FOC-02"], 2 * half)
    disc = diffraction.airy_disc_um(f_ratio=6, wavelength_nm=550)
    assert_row(ROWS["FOC-01"], 2 * focus.defocus_for_blur_um(blur_um=disc, f_ratio=6))
    far = 1e9
    rim = far / 12
    bend = half - (np.hypot(far + half, rim) - np.hypot(far, rim))
    assert_row(ROWS["FOC-03"], bend / 0.55)


@pytest.mark.parametrize("defocus_um", [50, -50, 180.0])
def test_defocus_disc_is_a_cone_of_rays(defocus_um):
    """Derivation: rays from every part of an aperture, run on to the sensor behind or before the focus."""
    side = np.linspace(-1, 1, 801)
    u, v = np.meshgrid(side, side)
    inside = u**2 + v**2 <= 1
    x = u[inside] * 30.0 * -defocus_um / 300e3 * 1e3  # aperture 60 mm, focal length 300 mm
    disc = focus.defocus_blur_um(defocus_um=defocus_um, f_ratio=5)
    np.testing.assert_allclose(disc, np.ptp(x), rtol=1e-12)
    sigma = focus.defocus_sigma_um(defocus_um=defocus_um, f_ratio=5)
    np.testing.assert_allclose(sigma, x.std(), rtol=2e-3)  # 800 cells across the aperture


def test_defocus_disc_row_and_its_inverse():
    """Source: reference rows FOC-04 and FOC-16."""
    assert_row(ROWS["FOC-04"], focus.defocus_blur_um(defocus_um=50, f_ratio=5))
    allowed = focus.defocus_for_blur_um(blur_um=3.76, f_ratio=5)
    assert_row(ROWS["FOC-16"], allowed)
    assert focus.defocus_blur_um(defocus_um=allowed, f_ratio=5) == pytest.approx(3.76)


def test_thermal_shift_and_refocusing():
    """Source: reference row FOC-11; Derivation: warming by the returned kelvins just uses up the zone."""
    arguments = {"tube_mm": 360, "expansion_per_k": ALUMINIUM}
    assert_row(ROWS["FOC-11"], focus.thermal_focus_shift_um(warming_k=-10, **arguments))
    allowed = focus.refocus_after_k(half_zone_um=33, **arguments)
    assert allowed == pytest.approx(33 / (360e3 * 23.1e-6))
    assert focus.thermal_focus_shift_um(warming_k=allowed, **arguments) == pytest.approx(33)
    shrinking = focus.refocus_after_k(half_zone_um=33, tube_mm=360, expansion_per_k=-ALUMINIUM)
    assert shrinking == pytest.approx(allowed)
    assert focus.refocus_after_k(half_zone_um=33, tube_mm=360, expansion_per_k=0) == np.inf


def test_expansion_table_is_ordered():
    """Derivation: a range holds its usual value; carbon moves least, steel half of aluminium."""
    for low, usual, high in focus.EXPANSION.values():
        assert low < usual < high
    usual = {name: row.usual_per_k for name, row in focus.EXPANSION.items()}
    assert usual["carbon"] < 0.2 * usual["steel"] < 0.2 * usual["aluminium"]
    assert usual["steel"] / usual["aluminium"] == pytest.approx(0.5, abs=0.05)


X = np.array([9.7, 9.8, 9.88, 9.97, 10.06, 10.15, 10.27])


def widths(best, fwhm, slope):
    return np.sqrt(fwhm**2 + (slope * (X - best)) ** 2)


def test_best_focus_finds_what_was_drawn():
    """Derivation: widths without noise on a hyperbola give its own parameters back."""
    fit = focus.best_focus(positions_mm=X, fwhm_px=widths(10.013, 2.7, 16.0), fwhm_sigma_px=0.1)
    np.testing.assert_allclose([fit.best_mm, fit.fwhm_px, fit.slope_px_mm], [10.013, 2.7, 16.0], rtol=1e-9)


def test_best_focus_agrees_with_a_general_fit_and_states_its_error():
    """Against scipy's curve_fit of the hyperbola itself, and the spread of 400 noisy runs."""
    rng = np.random.default_rng(4)
    sigma = np.array([0.2, 0.12, 0.08, 0.06, 0.06, 0.1, 0.2])
    true = widths(10.013, 2.7, 16.0)
    runs = [
        focus.best_focus(positions_mm=X, fwhm_px=true + sigma * rng.normal(size=7), fwhm_sigma_px=sigma)
        for _ in range(400)
    ]
    runs = np.array(runs)
    _, covariance = curve_fit(
        lambda x, best, fwhm, slope: np.sqrt(fwhm**2 + (slope * (x - best)) ** 2),
        X, true, p0=[10, 3, 15], sigma=sigma, absolute_sigma=True,
    )  # fmt: skip
    exact = focus.best_focus(positions_mm=X, fwhm_px=true, fwhm_sigma_px=sigma)
    stated = [exact.best_sigma_mm, exact.fwhm_sigma_px]
    np.testing.assert_allclose(stated, np.sqrt(np.diag(covariance))[:2], rtol=1e-3)
    np.testing.assert_allclose(stated, runs[:, [0, 2]].std(axis=0), rtol=0.12)  # 400 runs: 3.5 %, at 3 sigma
    np.testing.assert_allclose(runs[:, 0].mean(), 10.013, atol=3 * stated[0] / 20 + 1e-4)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"fwhm_px": [3, 4, 5, 6]}, "no minimum"),
        ({"fwhm_px": [3, 4, 4, 3]}, "no minimum"),
        ({"fwhm_px": [4, 3.9, 3.9, 4], "fwhm_sigma_px": 0.5}, "no minimum"),  # lost in its uncertainty
        ({"fwhm_px": [3, 4, 4]}, "one fwhm_px for each position: received 4 positions and 3 widths"),
        ({"positions_mm": [1, 1, 2, 2]}, "three different positions, received 2"),
        ({"fwhm_px": [3, 0, 2, 3]}, "fwhm_px must be above 0 px"),
        ({"fwhm_sigma_px": [0.1, 0.2]}, "one fwhm_px for each position"),
    ],
)
def test_best_focus_refuses(change, message):
    good = {"positions_mm": [1, 2, 3, 4], "fwhm_px": [4, 3, 3, 4], "fwhm_sigma_px": 0.1}
    assert focus.best_focus(**good).best_mm == pytest.approx(2.5)
    with pytest.raises(ValueError, match=message):
        focus.best_focus(**good | change)


def test_best_focus_with_a_missing_width():
    fit = focus.best_focus(positions_mm=[1, 2, 3], fwhm_px=[4, np.nan, 4], fwhm_sigma_px=0.1)
    assert np.isnan(fit).all()


# Filters and spacers


def through_plate(*, thickness, index, angle, start):
    """Where a ray meets the axis behind a plate, by Snell's law at both faces.

    The ray aims at the axis at `start` behind the front face, at an angle in radians.
    """
    height = start * np.tan(angle)
    inside = np.arcsin(np.sin(angle) / index)
    height -= thickness * np.tan(inside)
    return thickness + height / np.tan(angle)


def test_filter_shift_by_snell():
    """Source: reference rows FOC-06 and FOC-07; Derivation: rays traced through both faces of the plate, an oracle that
    row FOC-08 checks.
    """
    assert_row(ROWS["FOC-06"], spacing.filter_shift_mm(thickness_mm=2, refractive_index=1.5168))
    assert_row(ROWS["FOC-07"], spacing.filter_shift_mm(thickness_mm=3, refractive_index=1.5))
    shift = spacing.filter_shift_mm(thickness_mm=3, refractive_index=1.5168)
    traced = through_plate(thickness=3, index=1.5168, angle=1e-4, start=20) - 20
    np.testing.assert_allclose(shift, traced, rtol=1e-6)
    rims = [
        through_plate(thickness=3, index=1.5168, angle=np.arctan(1 / 2 / n), start=20) - 20 for n in (2, 4)
    ]
    assert_row(ROWS["FOC-08"], rims[0])
    np.testing.assert_allclose(np.array(rims) / shift - 1, [0.033, 0.008], atol=0.003)  # as the text says
    assert spacing.filter_shift_mm(thickness_mm=3, refractive_index=1) == 0.0


def test_spacer_brings_the_traced_rays_to_the_sensor():
    """Derivation: rays that would meet 52 mm behind the flattener, with a plate anywhere in the stack."""
    parts = {"back_focus_mm": 52, "sensor_depth_mm": 17.5, "other_parts_mm": 20}
    ring = spacing.spacer_mm(**parts, filter_thickness_mm=2, refractive_index=1.52)
    for place in (5, 30):
        meet = place + through_plate(thickness=2, index=1.52, angle=1e-4, start=52 - place)
        np.testing.assert_allclose(17.5 + 20 + ring, meet, rtol=1e-6)
    bare = spacing.spacer_mm(**parts, filter_thickness_mm=0, refractive_index=1)
    assert bare == pytest.approx(14.5)
    assert ring > bare  # glass lengthens the stack
    too_long = spacing.spacer_mm(**parts | {"other_parts_mm": 36}, filter_thickness_mm=0, refractive_index=1)
    assert too_long == pytest.approx(-1.5)


@pytest.mark.parametrize(
    ("row", "flange_mm", "camera_mm"), [("FOC-12", 17.526, 12.526), ("FOC-14", 55.0, 45.46)]
)
def test_rings_between_lens_mounts(row, flange_mm, camera_mm):
    """Source: reference rows FOC-12 and FOC-14, without glass; arithmetic, hence 1e-9 mm."""
    parts = {"back_focus_mm": flange_mm, "sensor_depth_mm": camera_mm, "other_parts_mm": 0}
    assert_row(ROWS[row], spacing.spacer_mm(**parts, filter_thickness_mm=0, refractive_index=1))


def test_spacing_error():
    """Derivation: nought with the right ring; forgetting 2 mm of glass leaves the sensor too close by FOC-06."""
    glass = {"filter_thickness_mm": 2, "refractive_index": 1.5168}
    ring = spacing.spacer_mm(back_focus_mm=52, sensor_depth_mm=17.5, other_parts_mm=20, **glass)
    right = spacing.spacing_error_mm(stack_mm=37.5 + ring, back_focus_mm=52, **glass)
    assert right == pytest.approx(0, abs=1e-12)
    assert_row(ROWS["FOC-06"], -spacing.spacing_error_mm(stack_mm=52, back_focus_mm=52, **glass))


def test_spacing_model():
    """Derivation: the tolerance is the error that uses up the allowed defocus; too close is positive."""
    model = {"tolerance_mm": 0.8, "allowed_defocus_um": 33.5}
    error = np.array([-0.8, 0.0, 0.8, 2.4])
    found = spacing.spacing_defocus_um(spacing_error_mm=error, **model)
    np.testing.assert_allclose(found, [33.5, 0, -33.5, -100.5], rtol=1e-12)
