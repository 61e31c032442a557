"""Image scale and field."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

from workbook import optics

LIGHT = rows("light.csv")


@pytest.mark.parametrize(("row", "pixel_um", "focal_mm"), [("SAM-01", 3.76, 250), ("SAM-02", 2.9, 120)])
def test_image_scale(row, pixel_um, focal_mm):
    """Source: reference rows SAM-01 and SAM-02 (arctangent)."""
    assert_row(LIGHT[row], optics.image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm))


def test_image_scale_is_the_small_angle_form_of_the_arctangent():
    """Derivation: scale = arctan(pixel/focal), in arcseconds; they agree within one part in a million."""
    exact = np.degrees(np.arctan2(3.5e-3, 320.0)) * 3600
    np.testing.assert_allclose(optics.image_scale_arcsec_px(pixel_um=3.5, focal_mm=320), exact, rtol=1e-6)


@pytest.mark.parametrize(("row", "sensor_mm"), [("SAM-03", 36.0), ("SAM-05", np.hypot(36.0, 24.0))])
def test_field_of_view(row, sensor_mm):
    """Source: reference rows SAM-03 and SAM-05."""
    assert_row(LIGHT[row], optics.field_of_view_deg(sensor_mm=sensor_mm, focal_mm=250))


def test_field_is_narrower_than_the_small_angle_rule():
    """Source: reference row SAM-04."""
    assert_row(
        LIGHT["SAM-04"],
        np.degrees(36 / 250) - optics.field_of_view_deg(sensor_mm=36, focal_mm=250),
    )


def test_field_limits():
    """Derivation: d = 2f subtends a right angle; a very wide chip never passes 180°."""
    np.testing.assert_allclose(optics.field_of_view_deg(sensor_mm=500, focal_mm=250), 90.0, rtol=1e-14)
    assert 179.9 < optics.field_of_view_deg(sensor_mm=1e7, focal_mm=1) < 180


def test_field_of_one_pixel_is_the_image_scale():
    """Derivation: one pixel as a field, against the scale."""
    scale = optics.image_scale_arcsec_px(pixel_um=3.5, focal_mm=320)
    field = optics.field_of_view_deg(sensor_mm=3.5e-3, focal_mm=320)
    np.testing.assert_allclose(field * 3600, scale, rtol=1e-8)


def test_shapes():
    assert_broadcasts(optics.image_scale_arcsec_px, pixel_um=3, focal_mm=320)
    assert_broadcasts(optics.field_of_view_deg, sensor_mm=14, focal_mm=320)


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
