"""What fits on the frame: against the tangent plane, a brute-force grid of cells, and panels laid one by one."""

import numpy as np
import pytest
from support import assert_broadcasts, rows

import workbook.sampling.frame as frame
from workbook import optics

LIGHT = rows("light.csv")


def test_target_span_is_the_field_the_other_way_round():
    """Source: reference row SAM-03, a field of 8.23638° on 36 mm at 250 mm; and small sizes over the scale."""
    across = frame.target_px(size_arcmin=LIGHT["SAM-03"]["expected"] * 60, pixel_um=4, focal_mm=250)
    assert across == pytest.approx(36e3 / 4, rel=1e-5)
    scale = optics.image_scale_arcsec_px(pixel_um=3.5, focal_mm=320)
    moon = frame.target_px(size_arcmin=31, pixel_um=3.5, focal_mm=320)
    assert moon == pytest.approx(31 * 60 / scale, rel=1e-4)


def cells_inside(x, y, *, width, height, turn, pivot=(0, 0), shift=(0, 0)):
    """Which places of the sky a turned frame shows, by turning the places back into it."""
    angle = np.radians(turn)
    place = (x - shift[0] - pivot[0]) + 1j * (y - shift[1] - pivot[1])
    place = place * np.exp(-1j * angle) + complex(*pivot)
    return (abs(place.real) <= width / 2) & (abs(place.imag) <= height / 2)


def grid(width, height, cells=700):
    x = (np.arange(cells) + 0.5) / cells * width - width / 2
    y = (np.arange(cells) + 0.5) / cells * height - height / 2
    return np.meshgrid(x, y)


@pytest.mark.parametrize("pivot", [(0, 0), (900, -500), (0, 3000)])
@pytest.mark.parametrize(
    "turns", [[0, 7], [-10, 0, 10], np.linspace(0, 35, 12), [0, 90], [0, 40, 80, 120, 160]]
)
def test_common_field_against_a_grid(turns, pivot):
    """Derivation: cells of the unturned frame that every frame shows, counted; 490,000 cells, good to 0.002."""
    x, y = grid(4000, 2800)
    shared = np.ones(x.shape, bool)
    for turn in turns:
        shared &= cells_inside(x, y, width=4000, height=2800, turn=turn, pivot=pivot)
    found = frame.common_field(
        width_px=4000, height_px=2800, rotations_deg=turns, pivot_x_px=pivot[0], pivot_y_px=pivot[1]
    )
    assert found.share == pytest.approx(shared.mean(), abs=0.002)
    if found.crop_side > 0:  # the crop lies in the shared part, and touches its rim
        side = found.crop_side * np.array([4000, 2800]) / 2
        crop = (abs(x) < side[0]) & (abs(y) < side[1])
        assert shared[crop].all()
        larger = (abs(x) < side[0] + 12) & (abs(y) < side[1] + 8)
        assert not shared[larger].all()


def test_common_field_of_a_full_turn_is_the_inner_circle():
    """Derivation: frames at all angles share the circle of the short side."""
    turned = frame.common_field(
        width_px=4000, height_px=2800, rotations_deg=np.arange(0, 360, 1.0), pivot_x_px=0, pivot_y_px=0
    )
    np.testing.assert_allclose(turned.share, np.pi * 1400**2 / (4000 * 2800), rtol=2e-4)  # a 360-sided circle
    np.testing.assert_allclose(turned.crop_side, 1400 / np.hypot(2000, 1400), rtol=1e-4)
    radius = np.hypot(*turned.outline_px.T)
    np.testing.assert_allclose(radius, 1400, rtol=2e-4)


def test_common_field_limits():
    """Derivation: one frame is itself; half a turn too; a square turned by 45° is an octagon of 2(√2 − 1)."""
    alone = {"width_px": 4000, "height_px": 2800, "pivot_x_px": 0, "pivot_y_px": 0}
    for turns in (0, [0, 180], [0, 0, 0]):
        found = frame.common_field(rotations_deg=turns, **alone)
        assert (found.share, found.crop_side) == pytest.approx((1, 1))
    square = frame.common_field(rotations_deg=[0, 45], **alone | {"height_px": 4000})
    assert square.share == pytest.approx(2 * (np.sqrt(2) - 1))
    assert len(square.outline_px) == 8
    apart = frame.common_field(rotations_deg=[0, 90], **alone | {"pivot_x_px": 9000})
    assert (apart.share, apart.crop_side, len(apart.outline_px)) == (0.0, 0.0, 0)


def test_common_field_refuses_and_passes_nan_on():
    good = {"width_px": 40, "height_px": 28, "rotations_deg": [0, 5], "pivot_x_px": 0, "pivot_y_px": 0}
    for change, message in (
        ({"width_px": 0}, "width_px must be above 0 px"),
        ({"rotations_deg": []}, "rotations_deg must hold at least one angle"),
        ({"rotations_deg": [0, 4000]}, "rotations_deg must be -3600 to 3600 °"),
    ):
        with pytest.raises(ValueError, match=message):
            frame.common_field(**good | change)
    for name in good:
        assert np.isnan(frame.common_field(**good | {name: np.nan}).share)
    turns = np.array([0.0, 5.0])
    frame.common_field(**good | {"rotations_deg": turns})
    np.testing.assert_array_equal(turns, [0, 5])


@pytest.mark.parametrize(
    ("step", "turn"), [((3200, 0), 0), ((0, 2400), 5), ((3000, 300), -12), ((-3500, 900), 30)]
)
def test_panel_overlap_against_a_grid(step, turn):
    """Derivation: cells of the first panel that the second shows as well, counted; good to 0.002."""
    x, y = grid(4000, 2800)
    both = cells_inside(x, y, width=4000, height=2800, turn=turn, shift=step)
    found = frame.panel_overlap(
        width_px=4000, height_px=2800, step_x_px=step[0], step_y_px=step[1], rotation_deg=turn
    )
    assert found == pytest.approx(both.mean(), abs=0.002)


def test_panels_far_apart_share_nothing():
    """Derivation: a step longer than the frame."""
    arguments = {"width_px": 4000, "height_px": 2800, "step_y_px": 0, "rotation_deg": 0}
    assert frame.panel_overlap(step_x_px=4001, **arguments) == 0.0
    assert frame.panel_overlap(step_x_px=0, **arguments) == pytest.approx(1)


@pytest.mark.parametrize("overlap", [0.0, 0.1, 0.25, 0.5])
@pytest.mark.parametrize("target", [0.0, 2.4, 2.5, 2.6, 4.75, 7.0, 11.3])
def test_panels_are_laid_until_the_target_is_covered(target, overlap):
    """Derivation: panels put down one by one."""
    covered, panels = 2.5, 1
    while covered < target - 1e-9:
        covered += 2.5 * (1 - overlap)
        panels += 1
    assert frame.panels_needed(target_deg=target, field_deg=2.5, overlap=overlap) == panels


def test_shapes():
    assert_broadcasts(frame.target_px, size_arcmin=31, pixel_um=3.5, focal_mm=320)
    assert_broadcasts(frame.panels_needed, target_deg=5, field_deg=2.5, overlap=0.2)
    assert_broadcasts(
        frame.panel_overlap, width_px=4000, height_px=2800, step_x_px=3000, step_y_px=100, rotation_deg=5
    )


@pytest.mark.parametrize(
    ("function", "wrong", "message"),
    [
        (
            frame.target_px,
            {"size_arcmin": -1, "pixel_um": 3, "focal_mm": 320},
            "size_arcmin must be 0 to 5399 ′",
        ),
        (frame.target_px, {"size_arcmin": 31, "pixel_um": 0, "focal_mm": 320}, "pixel_um must be above 0 µm"),
        (
            frame.target_px,
            {"size_arcmin": 31, "pixel_um": 3, "focal_mm": 0},
            "focal_mm must be above 0.*metres",
        ),
        (
            frame.panels_needed,
            {"target_deg": 5, "field_deg": 2, "overlap": 20},
            "overlap must be 0 to 0.9.*per cent",
        ),
        (
            frame.panels_needed,
            {"target_deg": 5, "field_deg": 0, "overlap": 0.2},
            "field_deg must be above 0 °",
        ),
        (
            frame.panels_needed,
            {"target_deg": -5, "field_deg": 2, "overlap": 0.2},
            "target_deg must be 0 or more °",
        ),
        (
            frame.panel_overlap,
            {"width_px": 0, "height_px": 28, "step_x_px": 1, "step_y_px": 0, "rotation_deg": 0},
            "width_px must be above 0 px",
        ),
    ],
)
def test_impossible_input_is_refused(function, wrong, message):
    with pytest.raises(ValueError, match=message):
        function(**wrong)
