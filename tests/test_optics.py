"""Image scale, field, diffraction, and the shapes and errors of focus and spacing."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import j1, jn_zeros
from support import assert_broadcasts, assert_row, rows

import workbook.optics.diffraction as diffraction
import workbook.optics.focus as focus
import workbook.optics.scale as scale
import workbook.optics.spacing as spacing
from workbook import optics

LIGHT = rows("light.csv")
ROWS = rows("optics.csv")
RAD_ARCSEC = 180 * 3600 / np.pi
ALUMINIUM = optics.EXPANSION["aluminium"].usual_per_k


@pytest.mark.parametrize(("row", "pixel_um", "focal_mm"), [("SAM-01", 3.76, 250), ("SAM-02", 2.9, 120)])
def test_image_scale(row, pixel_um, focal_mm):
    """Source: reference rows SAM-01 and SAM-02 (arctangent)."""
    assert_row(LIGHT[row], scale.image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm))


def test_image_scale_is_the_small_angle_form_of_the_arctangent():
    """Derivation: scale = arctan(pixel/focal), in arcseconds; they agree within one part in a million."""
    exact = np.degrees(np.arctan2(3.5e-3, 320.0)) * 3600
    np.testing.assert_allclose(scale.image_scale_arcsec_px(pixel_um=3.5, focal_mm=320), exact, rtol=1e-6)


@pytest.mark.parametrize(("row", "sensor_mm"), [("SAM-03", 36.0), ("SAM-05", np.hypot(36.0, 24.0))])
def test_field_of_view(row, sensor_mm):
    """Source: reference rows SAM-03 and SAM-05."""
    assert_row(LIGHT[row], scale.field_of_view_deg(sensor_mm=sensor_mm, focal_mm=250))


def test_field_is_narrower_than_the_small_angle_rule():
    """Source: reference row SAM-04."""
    assert_row(
        LIGHT["SAM-04"],
        np.degrees(36 / 250) - scale.field_of_view_deg(sensor_mm=36, focal_mm=250),
    )


def test_field_limits():
    """Derivation: d = 2f subtends a right angle; a very wide chip never passes 180°."""
    np.testing.assert_allclose(scale.field_of_view_deg(sensor_mm=500, focal_mm=250), 90.0, rtol=1e-14)
    assert 179.9 < scale.field_of_view_deg(sensor_mm=1e7, focal_mm=1) < 180


def test_field_of_one_pixel_is_the_image_scale():
    """Derivation: one pixel as a field, against the scale."""
    pixel = scale.image_scale_arcsec_px(pixel_um=3.5, focal_mm=320)
    field = scale.field_of_view_deg(sensor_mm=3.5e-3, focal_mm=320)
    np.testing.assert_allclose(field * 3600, pixel, rtol=1e-8)


def test_sensor_diagonal():
    """Source: reference row SAM-17, 43.267 mm over the diagonal; and a 3-4-5 triangle."""
    assert_row(ROWS["SAM-17"], 43.267 / scale.sensor_diagonal_mm(width_px=23500, height_px=15700, pixel_um=1))
    assert scale.sensor_diagonal_mm(width_px=3000, height_px=4000, pixel_um=2) == pytest.approx(10.0)


# Diffraction


def test_rayleigh_limit_is_the_first_zero_of_the_pattern():
    """Source: reference rows SAM-06 and SAM-08, and scipy's zero of J1."""
    limit = diffraction.rayleigh_limit_arcsec(aperture_mm=60, wavelength_nm=550)
    assert_row(ROWS["SAM-06"], limit)
    assert_row(ROWS["SAM-08"], limit / RAD_ARCSEC * 60e6 / 550)
    ring = diffraction.rayleigh_limit_arcsec(aperture_mm=100, wavelength_nm=500) / (5e-6 * RAD_ARCSEC)
    np.testing.assert_allclose(ring, jn_zeros(1, 1)[0] / np.pi, rtol=1e-6)


def test_airy_fwhm():
    """Source: reference row SAM-10, and scipy: where [2 J1(x)/x]² is a half, x = π D θ/λ."""
    found = diffraction.airy_fwhm_arcsec(aperture_mm=100, wavelength_nm=500) / (5e-6 * RAD_ARCSEC)
    assert_row(ROWS["SAM-10"], found)
    half = brentq(lambda x: (2 * j1(x) / x) ** 2 - 0.5, 1, 2)
    np.testing.assert_allclose(found, 2 * half / np.pi, rtol=1e-6)


def test_dawes_limit():
    """Source: reference row SAM-07 (recalled); Derivation: 4.56″ at one inch."""
    assert_row(ROWS["SAM-07"], diffraction.dawes_limit_arcsec(60))
    assert diffraction.dawes_limit_arcsec(25.4) == pytest.approx(4.56)


def test_airy_disc():
    """Source: reference row SAM-09; Derivation: twice the Rayleigh angle times the focal length."""
    disc = diffraction.airy_disc_um(f_ratio=6, wavelength_nm=550)
    assert_row(ROWS["SAM-09"], disc)
    angle = diffraction.rayleigh_limit_arcsec(aperture_mm=50, wavelength_nm=550) / RAD_ARCSEC
    np.testing.assert_allclose(disc, 2 * angle * 300e3, rtol=1e-9)


@pytest.mark.parametrize("defocus_um", [-300, -40, 12, 79.2, 200])
def test_strehl_is_the_pupil_integral(defocus_um):
    """Derivation: the field on the axis is the mean over the pupil, by scipy's quadrature over exact spheres."""
    n, wave_um = 6.0, 0.55
    far = 2e6  # distance of the pupil, in µm
    rim = far / n / 2

    def phase(
        u,
    ):  # path from the pupil to the sensor less that to the focus; u is the squared share of the rim
        return (
            2
            * np.pi
            / wave_um
            * (np.sqrt((far + defocus_um) ** 2 + u * rim**2) - np.sqrt(far**2 + u * rim**2) - defocus_um)
        )

    field = quad(lambda u: np.cos(phase(u)), 0, 1)[0] + 1j * quad(lambda u: np.sin(phase(u)), 0, 1)[0]
    found = diffraction.defocus_strehl(defocus_um=defocus_um, f_ratio=n, wavelength_nm=550)
    np.testing.assert_allclose(found, abs(field) ** 2, atol=0.012)  # spheres against paraboloids at f/6


def test_strehl_row_and_limits():
    """Source: reference row SAM-15; Derivation: 1 in focus, 0 at one wave."""
    one_wave = 8 * 36 * 0.55
    arguments = {"f_ratio": 6, "wavelength_nm": 550}
    assert_row(ROWS["SAM-15"], diffraction.defocus_strehl(defocus_um=one_wave / 4, **arguments))
    assert diffraction.defocus_strehl(defocus_um=0, **arguments) == 1.0
    assert diffraction.defocus_strehl(defocus_um=one_wave, **arguments) == pytest.approx(0, abs=1e-30)


# Shapes and errors

CALLS = [
    (scale.image_scale_arcsec_px, {"pixel_um": 3, "focal_mm": 320}),
    (scale.field_of_view_deg, {"sensor_mm": 14, "focal_mm": 320}),
    (scale.sensor_diagonal_mm, {"width_px": 4000, "height_px": 2800, "pixel_um": 3.5}),
    (diffraction.rayleigh_limit_arcsec, {"aperture_mm": 58, "wavelength_nm": 550}),
    (diffraction.airy_fwhm_arcsec, {"aperture_mm": 58, "wavelength_nm": 550}),
    (diffraction.dawes_limit_arcsec, {"aperture_mm": 58}),
    (diffraction.airy_disc_um, {"f_ratio": 6, "wavelength_nm": 550}),
    (diffraction.defocus_strehl, {"defocus_um": 30, "f_ratio": 6, "wavelength_nm": 550}),
    (focus.focus_half_zone_um, {"f_ratio": 6, "wavelength_nm": 550}),
    (focus.defocus_blur_um, {"defocus_um": -30, "f_ratio": 6}),
    (focus.defocus_sigma_um, {"defocus_um": -30, "f_ratio": 6}),
    (focus.defocus_for_blur_um, {"blur_um": 4, "f_ratio": 6}),
    (focus.thermal_focus_shift_um, {"tube_mm": 320, "warming_k": -5, "expansion_per_k": ALUMINIUM}),
    (focus.refocus_after_k, {"half_zone_um": 33, "tube_mm": 320, "expansion_per_k": ALUMINIUM}),
    (spacing.filter_shift_mm, {"thickness_mm": 2, "refractive_index": 2}),
    (
        spacing.spacer_mm,
        {"back_focus_mm": 52, "sensor_depth_mm": 17.5, "other_parts_mm": 20, "filter_thickness_mm": 2,
         "refractive_index": 1.5},
    ),
    (
        spacing.spacing_error_mm,
        {"stack_mm": 53, "back_focus_mm": 52, "filter_thickness_mm": 2, "refractive_index": 1.5},
    ),
    (spacing.spacing_defocus_um, {"spacing_error_mm": -1, "tolerance_mm": 0.8, "allowed_defocus_um": 33}),
]  # fmt: skip


@pytest.mark.parametrize(("function", "numbers"), CALLS)
def test_shapes(function, numbers):
    assert_broadcasts(function, **numbers)


def test_the_door_shows_all():
    """What the parts define, and what lessons find under the topic's own name."""
    for function, _ in CALLS:
        assert getattr(optics, function.__name__) is function
    for name in optics.__all__:
        assert hasattr(optics, name)


WRONG = [
    (scale.sensor_diagonal_mm, {"pixel_um": 0}, "pixel_um must be above 0 µm"),
    (
        diffraction.rayleigh_limit_arcsec,
        {"wavelength_nm": 0.55},
        "wavelength_nm must be 100 to 30000 nm.*visible",
    ),
    (diffraction.airy_fwhm_arcsec, {"aperture_mm": -58}, "aperture_mm must be above 0 mm, received -58 mm"),
    (diffraction.dawes_limit_arcsec, {"aperture_mm": 0}, "aperture_mm must be above 0 mm"),
    (diffraction.airy_disc_um, {"f_ratio": 0}, "f_ratio must be above 0, received 0"),
    (diffraction.defocus_strehl, {"defocus_um": 5e4}, "defocus_um must be -20000 to 20000 µm.*1 mm is 1000"),
    (focus.focus_half_zone_um, {"f_ratio": -6}, "f_ratio must be above 0"),
    (focus.defocus_blur_um, {"defocus_um": np.inf}, "defocus_um must be -20000 to 20000 µm, received inf"),
    (focus.defocus_sigma_um, {"f_ratio": 0}, "f_ratio must be above 0"),
    (focus.defocus_for_blur_um, {"blur_um": -4}, "blur_um must be 0 or more µm, received -4 µm"),
    (focus.thermal_focus_shift_um, {"warming_k": 283}, "warming_k must be -100 to 100 K.*give the change"),
    (
        focus.thermal_focus_shift_um,
        {"expansion_per_k": 23.1},
        "expansion_per_k must be .* 1/K, received 23.1",
    ),
    (focus.refocus_after_k, {"half_zone_um": -1}, "half_zone_um must be 0 or more"),
    (focus.refocus_after_k, {"tube_mm": 0}, "tube_mm must be above 0 mm.*metres"),
    (spacing.filter_shift_mm, {"refractive_index": 0.5}, "refractive_index must be 1 to 4.*glass about 1.5"),
    (spacing.filter_shift_mm, {"thickness_mm": -2}, "thickness_mm must be 0 or more mm"),
    (spacing.spacer_mm, {"filter_thickness_mm": -2}, "filter_thickness_mm must be 0 or more mm"),
    (spacing.spacer_mm, {"other_parts_mm": -2}, "other_parts_mm must be 0 or more mm"),
    (spacing.spacing_error_mm, {"back_focus_mm": 0}, "back_focus_mm must be above 0 mm.*sheet"),
    (spacing.spacing_error_mm, {"stack_mm": 0}, "stack_mm must be above 0 mm"),
    (spacing.spacing_defocus_um, {"tolerance_mm": 0}, "tolerance_mm must be above 0 mm"),
    (spacing.spacing_defocus_um, {"spacing_error_mm": 400}, "spacing_error_mm must be -100 to 100 mm"),
]


@pytest.mark.parametrize(("function", "wrong", "message"), WRONG)
def test_impossible_input_is_refused(function, wrong, message):
    with pytest.raises(ValueError, match=message):
        function(**dict(CALLS)[function] | wrong)


@pytest.mark.parametrize(
    ("function", "wrong", "message"),
    [
        (
            optics.image_scale_arcsec_px,
            {"pixel_um": 0, "focal_mm": 320},
            r"pixel_um must be above 0 µm, received 0 µm",
        ),
        (
            optics.image_scale_arcsec_px,
            {"pixel_um": 3.5, "focal_mm": -1},
            r"focal_mm .* received -1 mm: did you pass",
        ),
        (
            optics.field_of_view_deg,
            {"sensor_mm": -14, "focal_mm": 320},
            r"sensor_mm must be above 0 mm, .* pixel pitch",
        ),
        (
            optics.field_of_view_deg,
            {"sensor_mm": 14, "focal_mm": 0},
            r"focal_mm must be above 0 mm, .* metres",
        ),
    ],
)
def test_errors(function, wrong, message):
    with pytest.raises(ValueError, match=message):
        function(**wrong)


def test_numbers_without_a_name_are_refused():
    with pytest.raises(TypeError, match="positional"):
        optics.field_of_view_deg(14, 320)
