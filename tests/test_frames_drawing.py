"""Pictures of stars against galsim, measured with photutils, and the fast form against the plain one."""

import galsim
import numpy as np
import pytest
from photutils.morphology import data_properties
from support import assert_row, rows

from workbook import frames
from workbook.frames import drawing, fast_drawing
from workbook.frames.shapes import Shapes, round_shapes_px2, shapes_at, shapes_from_um2

ROWS = rows("stars.csv")
FINE = galsim.GSParams(folding_threshold=1e-4, maxk_threshold=1e-5, kvalue_accuracy=1e-7)
FORMS = pytest.mark.parametrize("draw", [drawing.draw_stars, fast_drawing.draw_stars], ids=["plain", "fast"])
SIZE = 81


def turned(major_px, minor_px, angle_deg):
    """Moments of an ellipse, by the rotation of a diagonal matrix."""
    turn = np.radians(angle_deg)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    moments = matrix @ np.diag([major_px**2, minor_px**2]) @ matrix.T
    return Shapes(moments[0, 0], moments[0, 1], moments[1, 1])


def by_galsim(profile, x, y, light):
    """A profile centred on a pixel place of our frames; galsim's middle of the picture is (SIZE - 1)/2."""
    middle = (SIZE - 1) / 2
    profile = profile.withFlux(light).shift(x - middle, y - middle)
    return profile.drawImage(nx=SIZE, ny=SIZE, scale=1.0).array.astype(float)


def measured(image):
    """Flux, centroid and second moments by photutils, on the whole picture."""
    found = data_properties(np.asarray(image, float))
    moments = found.covariance.value
    return float(image.sum()), float(found.x_centroid), float(found.y_centroid), moments


def assert_same_star(ours, theirs):
    """Flux to 0.1 %, centroid to 0.005 px, second moments to 0.01 px²: the goals of these pictures."""
    flux, x, y, moments = measured(ours)
    their_flux, their_x, their_y, their_moments = measured(theirs)
    assert flux == pytest.approx(their_flux, rel=1e-3)
    assert (x, y) == pytest.approx((their_x, their_y), abs=0.005)
    np.testing.assert_allclose(moments, their_moments, rtol=0, atol=0.01)
    np.testing.assert_allclose(
        np.sqrt(np.linalg.eigvalsh(moments)), np.sqrt(np.linalg.eigvalsh(their_moments)), atol=0.005
    )


# Against galsim


@FORMS
@pytest.mark.parametrize("sigma_px", [0.5, 0.8, 1.3, 2.5])
@pytest.mark.parametrize(("x", "y"), [(40.0, 40.0), (39.62, 41.27), (40.5, 38.9)])
def test_round_star_by_galsim(draw, sigma_px, x, y):
    """Source: galsim Gaussian, integrated over the pixels; the brightest pixel to 2 % at 0.5 px, else 0.6 %."""
    ours = draw(
        x_px=[x],
        y_px=[y],
        star_e=5e4,
        shapes=round_shapes_px2(sigma_px=sigma_px),
        width_px=SIZE,
        height_px=SIZE,
    )
    theirs = by_galsim(galsim.Gaussian(sigma=sigma_px, gsparams=FINE), x, y, 5e4)
    assert_same_star(ours, theirs)
    allowed = 0.02 if sigma_px == 0.5 else 0.006
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=allowed * theirs.max())


@FORMS
@pytest.mark.parametrize(
    ("major_px", "minor_px", "angle_deg"), [(1.5, 1.4, 30), (2.0, 1.2, -70), (3.0, 1.0, 45), (5.0, 0.9, 110)]
)
def test_long_star_by_galsim(draw, major_px, minor_px, angle_deg):
    """Source: galsim Gaussian, stretched and rotated by its own Jacobian."""
    profile = galsim.Gaussian(sigma=1.0, gsparams=FINE).transform(major_px, 0, 0, minor_px)
    theirs = by_galsim(profile.rotate(angle_deg * galsim.degrees), 40.3, 39.8, 2e4)
    shapes = turned(major_px, minor_px, angle_deg)
    ours = draw(x_px=[40.3], y_px=[39.8], star_e=2e4, shapes=shapes, width_px=SIZE, height_px=SIZE)
    assert_same_star(ours, theirs)
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=0.003 * theirs.max())


@FORMS
@pytest.mark.parametrize(("length_px", "angle_deg"), [(2.0, 0.0), (6.0, 25.0), (15.0, 100.0)])
def test_even_trail_by_galsim(draw, length_px, angle_deg):
    """Source: galsim's convolution of a Gaussian with a line (a box 0.02 px wide)."""
    line = galsim.Box(length_px, 0.02, gsparams=FINE).rotate(angle_deg * galsim.degrees)
    theirs = by_galsim(galsim.Convolve([galsim.Gaussian(sigma=1.2, gsparams=FINE), line]), 40.2, 39.9, 1e4)
    along = length_px * ((np.arange(80) + 0.5) / 80 - 0.5)
    ours = draw(
        x_px=40.2 + along[None, :] * np.cos(np.radians(angle_deg)),
        y_px=39.9 + along[None, :] * np.sin(np.radians(angle_deg)),
        star_e=1e4,
        shapes=round_shapes_px2(sigma_px=1.2),
        width_px=SIZE,
        height_px=SIZE,
    )
    assert_same_star(ours, theirs)
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=0.003 * theirs.max())


@FORMS
def test_mount_path_by_galsim(draw):
    """Source: galsim's sum of one shifted, stretched Gaussian for each sample of a path with all motions."""
    times = frames.sample_times_s(exposure_s=60, samples=40)
    shift = frames.mount_shift_px(
        times_s=times,
        drift_x_px=3.0,
        drift_y_px=-1.0,
        peak_to_peak_px=5.0,
        period_s=45.0,
        phase_deg=40.0,
        direction_deg=80.0,
        jitter_px=0.4,
        seed=5,
    )
    paths = frames.star_paths_px(
        x_px=[38.0],
        y_px=[41.0],
        shift_x_px=shift.x_px,
        shift_y_px=shift.y_px,
        turn_deg=np.linspace(-0.4, 0.4, 40),
        centre_x_px=600.0,
        centre_y_px=-300.0,
    )
    one = galsim.Gaussian(sigma=1.0, gsparams=FINE).transform(1.4, 0, 0, 1.1).rotate(20 * galsim.degrees)
    theirs = sum(by_galsim(one, x, y, 1e4 / 40) for x, y in zip(paths.x_px[0], paths.y_px[0], strict=True))
    assert np.ptp(paths.y_px) > 5  # px: the path is no dot
    ours = draw(
        x_px=paths.x_px,
        y_px=paths.y_px,
        star_e=1e4,
        shapes=turned(1.4, 1.1, 20),
        width_px=SIZE,
        height_px=SIZE,
    )
    assert_same_star(ours, theirs)
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=0.003 * theirs.max())


# Against reference rows and plain mathematics


@FORMS
def test_brightest_pixel(draw):
    """Against reference row PSF-09; the fast form to 0.004: half pixels are coarse for so narrow a star."""
    image = draw(
        x_px=[20.0],
        y_px=[20.0],
        star_e=1.0,
        shapes=round_shapes_px2(sigma_px=2.0 / 2.3548200450309493),
        width_px=41,
        height_px=41,
    )
    if draw is drawing.draw_stars:
        assert_row(ROWS["PSF-09"], image[20, 20])
    else:
        assert image[20, 20] == pytest.approx(ROWS["PSF-09"]["expected"], abs=0.001)


def test_width_behind_a_square_pixel():
    """Against reference row PSF-03: the width at half maximum of sigma 1 behind a square 2 wide."""
    step = 200
    edge = np.arange(-4 * step, 4 * step + 1) / step
    shapes = round_shapes_px2(sigma_px=0.5)  # the pixel is then 2 sigmas wide
    peaks = np.array(
        [
            drawing.draw_stars(
                x_px=[20 + x / 2], y_px=[20.0], star_e=1, shapes=shapes, width_px=41, height_px=41
            )[20, 20]
            for x in edge[edge > 1.2][:80]
        ]
    )
    centre = drawing.draw_stars(x_px=[20.0], y_px=[20.0], star_e=1, shapes=shapes, width_px=41, height_px=41)
    half = np.interp(-centre[20, 20] / 2, -peaks, edge[edge > 1.2][:80])
    assert_row(ROWS["PSF-03"], 2 * half)


@FORMS
def test_trail_of_two_pixels(draw):
    """Against reference rows PSF-13 and E2E-07b, moments by photutils, the pixel's 1/12 taken off for PSF-13."""
    along = 2 * ((np.arange(200) + 0.5) / 200 - 0.5)[None, :]
    image = draw(
        x_px=40 + along,
        y_px=40 + 0 * along,
        star_e=1e4,
        shapes=round_shapes_px2(sigma_px=1.0),
        width_px=81,
        height_px=81,
    )
    moments = measured(image)[3] - np.eye(2) / 12
    np.testing.assert_allclose(np.sqrt(moments[0, 0] / moments[1, 1]), ROWS["PSF-13"]["expected"], atol=2e-4)
    image = draw(
        x_px=40 + 3 * along,
        y_px=40 + 0 * along,
        star_e=1e4,
        shapes=round_shapes_px2(sigma_px=3.0 / 2.3548200450309493),
        width_px=81,
        height_px=81,
    )
    assert_row(ROWS["E2E-07b"], np.sqrt(measured(image)[3][1, 1]))


@FORMS
def test_light_is_kept_and_cut_only_at_the_edge(draw):
    """Derivation: half of a star centred on an edge between pixels falls on each side."""
    shapes = round_shapes_px2(sigma_px=1.1)
    size = {"width_px": 60, "height_px": 40}
    image = draw(x_px=[-0.5, 59.5, 30, 30], y_px=[20, 20, -0.5, 39.5], star_e=800, shapes=shapes, **size)
    assert image.shape == (40, 60)
    assert image.sum() == pytest.approx(1600, rel=2e-5)
    corner = draw(x_px=[-0.5], y_px=[39.5], star_e=800, shapes=shapes, **size)
    assert corner.sum() == pytest.approx(200, rel=2e-5)
    far = draw(x_px=[-300.0, 2000, 30, 30], y_px=[20.0, 20, -500, 4000], star_e=800, shapes=shapes, **size)
    assert far.max() == 0
    assert draw(x_px=[], y_px=[], star_e=1.0, shapes=shapes, **size).sum() == 0
    known = draw(x_px=[30.0, np.nan], y_px=[20.0, 20.0], star_e=[500, 500], shapes=shapes, **size)
    assert known.sum() == pytest.approx(500, rel=2e-5)


@FORMS
def test_each_star_has_its_own_light_and_shape(draw):
    """Derivation: pictures add; a function of the place gives each star the shape of its place."""
    size = {"width_px": 120, "height_px": 60}

    def shapes(x_px, y_px):
        return round_shapes_px2(sigma_px=0.8 + np.asarray(x_px) / 100)

    x, y, light = np.array([30.0, 80.0]), np.array([30.2, 28.7]), np.array([1e3, 4e3])
    both = draw(x_px=x, y_px=y, star_e=light, shapes=shapes, **size)
    alone = sum(
        draw(
            x_px=x[[i]],
            y_px=y[[i]],
            star_e=light[i],
            shapes=round_shapes_px2(sigma_px=0.8 + x[i] / 100),
            **size,
        )
        for i in (0, 1)
    )
    np.testing.assert_allclose(both, alone, rtol=0, atol=1e-4 * alone.max())
    right = measured(np.where(np.arange(120) > 55, both, 0))
    assert right[0] == pytest.approx(4000, rel=1e-3)
    assert right[3][0, 0] == pytest.approx(1.6**2 + 1 / 12, abs=0.01)


# The fast form against the plain one


@pytest.mark.parametrize(
    ("least", "most", "allowed"), [(0.4, 0.5, 0.025), (0.7, 0.9, 0.007), (1.0, 1.6, 0.003), (1.8, 4.0, 0.002)]
)
@pytest.mark.parametrize("ratio", [1.0, 1.05, 1.3, 2.2, 5.0])
@pytest.mark.parametrize("samples", [1, 12])
def test_fast_form_draws_the_same(least, most, allowed, ratio, samples):
    """Derivation: the same integral; what differs is the third moment of three points."""
    rng = np.random.default_rng(int(least * 10 + ratio * 100 + samples))
    stars = 12
    minor = rng.uniform(least, most, stars)
    parts = [turned(ratio * m, m, angle) for m, angle in zip(minor, rng.uniform(0, 180, stars), strict=True)]
    shapes = Shapes(*np.array(parts).T)
    walk = rng.normal(0, 0.5, (2, stars, samples)).cumsum(axis=2) if samples > 1 else np.zeros((2, stars, 1))
    ask = {
        "x_px": rng.uniform(-5, 165, (stars, 1)) + walk[0],
        "y_px": rng.uniform(-5, 125, (stars, 1)) + walk[1],
        "star_e": 10 ** rng.uniform(3, 4, stars),
        "shapes": shapes,
        "width_px": 160,
        "height_px": 120,
    }
    plain, fast = drawing.draw_stars(**ask), fast_drawing.draw_stars(**ask)
    np.testing.assert_allclose(fast, plain, rtol=0, atol=allowed * plain.max())
    assert fast.sum() == pytest.approx(plain.sum(), rel=1e-4 if least > 0.5 else 5e-4)  # some are on an edge


def test_very_long_trails_are_drawn_too():
    """Derivation: 900 px of trail, of which a third falls on the frame."""
    along = np.linspace(-450, 450, 1801)[None, :]
    ask = {"star_e": 9e4, "shapes": round_shapes_px2(sigma_px=1.2), "width_px": 300, "height_px": 20}
    fast = fast_drawing.draw_stars(x_px=[*(149.5 + along)], y_px=10 + 0 * along, **ask)
    np.testing.assert_allclose(fast.sum(axis=0), 100, rtol=0.002)


# Refusals and shapes


@FORMS
@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"x_px": [1.0, 2.0]}, r"x_px and y_px must both have the shape .* received \(2,\) and \(1,\)"),
        ({"x_px": [[]], "y_px": [[]]}, "one sample of the path or more"),
        ({"star_e": [1.0, 2.0]}, r"star_e must be one number or one for each of 1 stars, received \(2,\)"),
        ({"star_e": -1.0}, "star_e must be 0 or more e⁻, received -1 e⁻"),
        ({"shapes": Shapes(1.0, 0.0, 0.0)}, "shapes must have a width in every direction, .* 1, 0, 0 px²"),
        ({"shapes": Shapes(1.0, 1.5, 1.0)}, "or is the covariance too large"),
    ],
)
def test_impossible_stars(draw, change, message):
    ask = {"x_px": [5.0], "y_px": [5.0], "star_e": 10.0, "shapes": round_shapes_px2(sigma_px=1)}
    with pytest.raises(ValueError, match=message):
        draw(**ask | change, width_px=10, height_px=10)


def test_fast_form_refuses_what_it_cannot_draw():
    with pytest.raises(ValueError, match=r"shapes must be 0.4 px wide or more \(sigma\), received 0.3 px"):
        fast_drawing.draw_stars(
            x_px=[5.0], y_px=[5.0], star_e=1, shapes=round_shapes_px2(sigma_px=0.3), width_px=9, height_px=9
        )


def test_shapes_from_micrometres_and_functions():
    """Derivation: a variance in pixels is that in µm over the square of the pitch."""
    shapes = shapes_from_um2(xx_um2=[4.0, 9.0], xy_um2=1.0, yy_um2=16.0, pixel_um=2.0)
    np.testing.assert_allclose(shapes.xx_px2, [1.0, 2.25])
    np.testing.assert_allclose((shapes.xy_px2, shapes.yy_px2), (0.25, 4.0))
    spread = shapes_at(shapes, x_px=np.zeros(2), y_px=np.zeros(2))
    np.testing.assert_allclose(spread.yy_px2, [4.0, 4.0])
    with pytest.raises(ValueError, match="pixel_um must be above 0 µm"):
        shapes_from_um2(xx_um2=1, xy_um2=0, yy_um2=1, pixel_um=0)
    with pytest.raises(ValueError, match="sigma_px must be above 0 px"):
        round_shapes_px2(sigma_px=0)
