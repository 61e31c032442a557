"""A raw frame whose corners carry spacing, tilt, focus and a decentred lens together, measured by photutils."""

from __future__ import annotations

import numpy as np
import pytest
from photutils.morphology import data_properties

import workbook as wb
from workbook import frames
from workbook.nine_stars import ACROSS, UP, Causes, shapes_over, stars_at, train

RIG = train(wb.passport.scenario("balcony").central())
WIDTH_PX, HEIGHT_PX = 400, 280  # the whole picture in a tenth of the pixels
SENSOR = frames.Sensor(
    width_px=WIDTH_PX, height_px=HEIGHT_PX, read_noise_e=0.1, gain_e_adu=5.0, offset_adu=500,
    full_well_e=300_000, adc_bits=16,
)  # fmt: skip
ALL = Causes(
    spacing_error_mm=0.5,
    tilt_x_arcmin=9.0,
    tilt_y_arcmin=-6.0,
    focus_um=20.0,
    coma_um=12.0,
    coma_direction_deg=70.0,
)
HALF_PX = 12  # of the piece cut out around a star


def taken(causes, x_px, y_px, star_e_s=1.0e6):
    return frames.raw_frame(
        sensor=SENSOR,
        exposure_s=1.0,
        x_px=x_px,
        y_px=y_px,
        star_e_s=star_e_s,
        shapes=shapes_over(RIG, causes, width_px=WIDTH_PX, height_px=HEIGHT_PX),
        sky_e_s_px=0.0,
        dark_e_s_px=0.0,
        seed=4,
    )


@pytest.mark.parametrize("causes", [Causes(), Causes(tilt_x_arcmin=15.0), ALL], ids=["none", "tilt", "all"])
def test_stars_of_a_raw_frame_have_the_moments_of_their_causes(causes):
    """photutils' moments at nine places, the pixel's 1/12 px² taken off.

    A million electrons know a variance of 1.4 px² to 0.002 px², and rounding to whole counts adds 0.003: 0.01 px²,
    where the causes themselves make 0.3 and more.
    """
    x_px = (ACROSS + 1) / 2 * (WIDTH_PX - 50) + 24.7
    y_px = (UP + 1) / 2 * (HEIGHT_PX - 50) + 24.3
    frame = taken(causes, x_px, y_px)
    assert frame.adu.max() < frame.saturation_adu
    across, up = 2 * (x_px + 0.5) / WIDTH_PX - 1, 2 * (y_px + 0.5) / HEIGHT_PX - 1
    told = stars_at(RIG, causes, across=across, up=up).shapes
    for k, (x, y) in enumerate(zip(x_px, y_px, strict=True)):
        column, row = round(x), round(y)
        piece = frame.adu[row - HALF_PX : row + HALF_PX + 1, column - HALF_PX : column + HALF_PX + 1] - 500.0
        seen = data_properties(piece)
        found = np.array([seen.covariance_xx.value, seen.covariance_xy.value, seen.covariance_yy.value])
        wanted = [told.xx_px2[k] + 1 / 12, told.xy_px2[k] + 0.0, told.yy_px2[k] + 1 / 12]
        np.testing.assert_allclose(found, wanted, rtol=0, atol=0.01, err_msg=f"star {k}")


def test_the_leaning_side_is_the_wide_one():
    """By hand: 15′ over 7 mm are 30.5 µm of defocus, at f/5.52 a disc of sigma 30.5/(4 · 5.52) = 1.38 µm, 0.39 px."""
    shapes = shapes_over(
        RIG._replace(astigmatism_um=0.0), Causes(tilt_x_arcmin=15.0), width_px=WIDTH_PX, height_px=HEIGHT_PX
    )
    middle, edge = shapes(x_px=np.array([199.5, 399.5]), y_px=np.array([139.5, 139.5])).xx_px2
    assert edge - middle == pytest.approx(0.395**2, abs=0.003)


def test_draws_and_sizes_are_refused():
    with pytest.raises(ValueError, match="one number each, received 2"):
        shapes_over(RIG, Causes(focus_um=np.array([0.0, 9.0])), width_px=WIDTH_PX, height_px=HEIGHT_PX)
    with pytest.raises(ValueError, match="width_px must be above 0"):
        shapes_over(RIG, Causes(), width_px=0, height_px=HEIGHT_PX)
