"""Tilt, curved fields and the shapes of stars: against circles, traced lenses and rays spread over an aperture."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.optics.corners as corners
import workbook.optics.shapes as shapes
from workbook import optics

ROWS = rows("optics.csv")


def test_tilt():
    """Source: reference row FOC-10, both ways; the other side has the other sign."""
    assert_row(ROWS["FOC-10"], corners.tilt_tolerance_arcmin(half_zone_um=27.5, radius_mm=14.1))
    assert corners.tilt_at_corner_um(tilt_arcmin=6.7048, radius_mm=14.1) == pytest.approx(27.5, abs=0.001)
    assert corners.tilt_at_corner_um(tilt_arcmin=-6.7048, radius_mm=14.1) == pytest.approx(-27.5, abs=0.001)


def test_curvature_is_a_circle():
    """Derivation: points of a circle of 120 mm, hollow towards the lens, against a flat sensor."""
    for angle in (0.02, 0.05, 0.1):
        radius, depth = 120 * np.sin(angle), 120 - 120 * np.cos(angle)
        for focused, shallow in ((0.0, 0.0), (120 * np.sin(0.03), 120 - 120 * np.cos(0.03))):
            found = corners.curvature_defocus_um(
                radius_mm=radius, focused_radius_mm=focused, curvature_radius_mm=120
            )
            np.testing.assert_allclose(found, 1e3 * (depth - shallow), rtol=1e-9, atol=1e-9)


def test_focus_at_seven_tenths_shares_the_defocus():
    """Derivation: r²/2R at 1/√2 is half of that at 1; the sphere's fourth power adds 0.1 %."""
    arguments = {"focused_radius_mm": 8.5 / np.sqrt(2), "curvature_radius_mm": 120}
    centre = corners.curvature_defocus_um(radius_mm=0, **arguments)
    corner = corners.curvature_defocus_um(radius_mm=8.5, **arguments)
    assert centre < 0 < corner
    np.testing.assert_allclose(corner, -centre, rtol=5e-3)


def test_flat_circle_inverts_the_curvature():
    """Derivation: at the rim of that circle the sag is twice the allowed defocus."""
    circle = corners.flat_circle_mm(allowed_defocus_um=33.5, curvature_radius_mm=120)
    rim = corners.curvature_defocus_um(radius_mm=circle / 2, focused_radius_mm=0, curvature_radius_mm=120)
    assert rim == pytest.approx(67, rel=1e-9)
    assert corners.flat_circle_mm(allowed_defocus_um=60e3, curvature_radius_mm=120) == pytest.approx(240)


def traced_thin_lens(*, field, index, focal):
    """Depth of the two foci of a thin biconvex lens with the stop at the lens, by Coddington's equations.

    The chief ray passes the middle of the lens; astigmatic foci are followed through both faces. Returned are
    the distances along the axis by which the radial (tangential) and the other (sagittal) rays meet earlier
    than a flat sensor stands.
    """
    radius = 2 * (index - 1) * focal
    inside = np.arcsin(np.sin(field) / index)
    t = s = np.inf
    for i, j, n, m, r in ((field, inside, 1.0, index, radius), (inside, field, index, 1.0, -radius)):
        power = (m * np.cos(j) - n * np.cos(i)) / r
        t = m * np.cos(j) ** 2 / (n * np.cos(i) ** 2 / t + power)
        s = m / (n / s + power)
    return focal - t * np.cos(field), focal - s * np.cos(field)


@pytest.mark.parametrize("index", [1.45, 1.52, 1.7])
def test_curvature_of_a_plain_lens(index):
    """Derivation: Coddington's equations through a thin lens; also its astigmatism of r²/2f either side."""
    focal, field = 320.0, 0.004
    radius = focal * np.tan(field)
    tangential, sagittal = traced_thin_lens(field=field, index=index, focal=focal)
    middle = (tangential + sagittal) / 2
    found = corners.lens_curvature_radius_mm(focal_mm=focal, refractive_index=index)
    np.testing.assert_allclose(found, radius**2 / (2 * middle), rtol=1e-3)  # fourth powers of 0.004
    np.testing.assert_allclose((tangential - sagittal) / 2, radius**2 / (2 * focal), rtol=1e-3)


def test_corner_widening():
    """Derivation: 3-4-5, a disc of sigma 4 µm on a star of sigma 3 µm; 1 in focus."""
    assert corners.corner_widening(defocus_um=-80, f_ratio=5, centre_sigma_um=3) == pytest.approx(5 / 3)
    assert corners.corner_widening(defocus_um=0, f_ratio=5, centre_sigma_um=3) == 1.0


# Shapes


def field(x, y, **change):
    still = {"focus_um": 0, "tilt_x_arcmin": 0, "tilt_y_arcmin": 0, "corner_curvature_um": 0}
    return shapes.field_defocus_um(x_mm=x, y_mm=y, corner_radius_mm=8.0, **still | change)


def test_field_defocus_is_a_plane_and_a_bowl():
    """Derivation: fitted back over a grid of places, by numpy's least squares; tilt as in tilt_at_corner_um."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-7, 7, 5), np.linspace(-4, 4, 5)))
    z = field(x, y, focus_um=-12, tilt_x_arcmin=6, tilt_y_arcmin=-3, corner_curvature_um=40)
    table = np.stack([np.ones_like(x), x, y, x**2 + y**2], axis=1)
    fitted = np.linalg.lstsq(table, z, rcond=None)[0]
    slope = [corners.tilt_at_corner_um(tilt_arcmin=tilt, radius_mm=1) for tilt in (6, -3)]
    np.testing.assert_allclose(fitted, [-12, *slope, 40 / 64], rtol=1e-9)


def traced_star(*, z, a, coma, direction_deg, place_deg, n, cells=400):
    """Second moments of rays that an aberrated wave sends from every part of the aperture.

    The wave is bent by a polynomial over the aperture; a ray runs across it, so its miss in the picture is
    2 N times the slope, taken here by differences over a fine grid.
    """
    side = (np.arange(cells) + 0.5) / cells * 2.02 - 1.01
    u, v = np.meshgrid(side, side)

    def turned(angle):
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        return c * u + s * v, c * v - s * u

    radial, across = turned(place_deg)
    along, aside = turned(direction_deg)
    wave = ((z + a) * radial**2 + (z - a) * across**2) / (8 * n**2)
    wave = (
        wave + coma / (6 * n) * (along**2 + aside**2) * along
    )  # the rim's ring ends 3 C = 6 N K from its tip
    slope_v, slope_u = np.gradient(wave, side, side)
    lit = u**2 + v**2 <= 1
    return np.cov(2 * n * slope_u[lit], 2 * n * slope_v[lit])


@pytest.mark.parametrize("place_deg", [0, 37, 150, -110])
@pytest.mark.parametrize(
    ("z", "a", "coma", "direction"),
    [(60, 0, 0, 0), (40, 25, 0, 0), (-40, 25, 0, 0), (0, 0, 12, 20), (-30, 15, 9, 75)],
)
def test_star_shape_against_rays(place_deg, z, a, coma, direction):
    """Derivation: rays as normals of the wave, spread over the aperture; half-way to the corner a quarter of a."""
    x, y = 4 * np.cos(np.radians(place_deg)), 4 * np.sin(np.radians(place_deg))
    found = shapes.star_shape(
        x_mm=x, y_mm=y, corner_radius_mm=8, defocus_um=z, corner_astigmatism_um=4 * a, coma_um=coma,
        coma_direction_deg=direction, f_ratio=5.5, centre_sigma_um=1.5,
    )  # fmt: skip
    traced = traced_star(z=z, a=a, coma=coma, direction_deg=direction, place_deg=place_deg, n=5.5)
    expected = np.array([traced[0, 0] + 2.25, traced[0, 1], traced[1, 1] + 2.25])
    np.testing.assert_allclose(found, expected, atol=0.01 * (traced[0, 0] + traced[1, 1]))


def star(x, y, *, z, a=20.0, **change):
    still = {"coma_um": 0, "coma_direction_deg": 0, "f_ratio": 5.5, "centre_sigma_um": 2}
    shape = shapes.star_shape(
        x_mm=x, y_mm=y, corner_radius_mm=8, defocus_um=z, corner_astigmatism_um=a, **still | change
    )
    return shape, shapes.radial_stretch(**shape._asdict(), x_mm=x, y_mm=y)


CORNERS = np.array([[6.5, 4.7], [-6.5, 4.7], [-6.5, -4.7], [6.5, -4.7]]).T


def test_spacing_draws_radial_or_circling_corners():
    """Derivation: the trade's sign, sensor too close (negative error) radial, too far circling; none round."""
    model = {"tolerance_mm": 0.8, "allowed_defocus_um": 33.5}
    for error, sign in ((-1.5, 1), (1.5, -1), (0.0, 0)):
        z = field(*CORNERS, corner_curvature_um=optics.spacing_defocus_um(spacing_error_mm=error, **model))
        stretch = star(*CORNERS, z=z)[1]
        assert (np.sign(np.round(stretch, 9)) == sign).all()


def test_tilt_draws_one_side_radial_and_the_other_circling():
    """Derivation: defocus changes sign across the hinge, astigmatism does not."""
    stretch = star(*CORNERS, z=field(*CORNERS, tilt_x_arcmin=10))[1]
    np.testing.assert_array_equal(np.sign(stretch), [1, -1, -1, 1])


def test_decentre_draws_the_same_flare_everywhere():
    """Derivation: coma without defocus is the same at every place, √3 times as long as wide, along its direction."""
    shape, _ = star(*CORNERS, z=0.0, a=0.0, coma_um=15, coma_direction_deg=30, centre_sigma_um=0)
    ellipse = shapes.ellipse(**shape._asdict())
    np.testing.assert_allclose(ellipse.major_um / ellipse.minor_um, np.sqrt(3), rtol=1e-9)
    np.testing.assert_allclose(ellipse.angle_deg, 30, rtol=1e-9)
    assert np.ptp(ellipse.major_um) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("xx", "xy", "yy"), [(5, 3, 5), (9, -2, 1), (1, 0.5, 7), (3, 0, 1), (1, 0, 3), (4, 4, 4)]
)
def test_ellipse_against_numpy(xx, xy, yy):
    """Derivation: eigenvalues and eigenvectors of the matrix of moments, by numpy's general routine."""
    values, vectors = np.linalg.eigh([[xx, xy], [xy, yy]])
    found = shapes.ellipse(xx_um2=xx, xy_um2=xy, yy_um2=yy)
    np.testing.assert_allclose([found.minor_um**2, found.major_um**2], values, atol=1e-12)
    towards = np.array([np.cos(np.radians(found.angle_deg)), np.sin(np.radians(found.angle_deg))])
    assert abs(towards @ vectors[:, 1]) == pytest.approx(1)
    assert -90 <= found.angle_deg <= 90


def test_round_stars_have_no_angle():
    found = shapes.ellipse(xx_um2=[4, 4], xy_um2=[0, 1], yy_um2=4)
    np.testing.assert_allclose(found.angle_deg, [np.nan, 45])
    assert np.ndim(shapes.ellipse(xx_um2=4, xy_um2=0, yy_um2=4).angle_deg) == 0


@pytest.mark.parametrize("place_deg", [0, 45, 100, 215])
def test_radial_stretch_of_a_turned_cloud(place_deg):
    """Derivation: a cloud of points 3 long and 2 wide, turned to its place; (3 − 2)/(3 + 2), and −1/5 circling."""
    rng = np.random.default_rng(1)
    cloud = rng.normal(size=(2, 200))
    cloud = np.linalg.inv(np.linalg.cholesky(np.cov(cloud))) @ cloud  # exactly round, sigma 1
    for turn, expected in ((0, 0.2), (90, -0.2), (45, 0.0)):
        angle = np.radians(place_deg + turn)
        c, s = np.cos(angle), np.sin(angle)
        moments = np.cov(np.array([[c, -s], [s, c]]) @ (np.array([[3], [2]]) * cloud))
        found = shapes.radial_stretch(
            xx_um2=moments[0, 0], xy_um2=moments[0, 1], yy_um2=moments[1, 1],
            x_mm=5 * np.cos(np.radians(place_deg)), y_mm=5 * np.sin(np.radians(place_deg)),
        )  # fmt: skip
        assert found == pytest.approx(expected, abs=1e-9)


def test_the_centre_has_no_radial_direction():
    assert np.isnan(shapes.radial_stretch(xx_um2=4, xy_um2=0, yy_um2=2, x_mm=0, y_mm=0))


# Shapes of arrays, and errors

STAR = {"x_mm": 4, "y_mm": 3, "corner_radius_mm": 8, "defocus_um": 40, "corner_astigmatism_um": 20}
STAR |= {"coma_um": 5, "coma_direction_deg": 20, "f_ratio": 5.5, "centre_sigma_um": 2}
MOMENTS = {"xx_um2": 9, "xy_um2": 1, "yy_um2": 4}
CALLS = [
    (corners.tilt_at_corner_um, {"tilt_arcmin": 5, "radius_mm": 8}),
    (corners.tilt_tolerance_arcmin, {"half_zone_um": 33, "radius_mm": 8}),
    (corners.lens_curvature_radius_mm, {"focal_mm": 320, "refractive_index": 1.5}),
    (corners.curvature_defocus_um, {"radius_mm": 8, "focused_radius_mm": 5, "curvature_radius_mm": 120}),
    (corners.flat_circle_mm, {"allowed_defocus_um": 33, "curvature_radius_mm": 120}),
    (corners.corner_widening, {"defocus_um": 40, "f_ratio": 5.5, "centre_sigma_um": 2}),
    (
        shapes.field_defocus_um,
        {"x_mm": 4, "y_mm": 3, "corner_radius_mm": 8, "focus_um": 5, "tilt_x_arcmin": 4, "tilt_y_arcmin": 2,
         "corner_curvature_um": 10},
    ),
    (shapes.radial_stretch, MOMENTS | {"x_mm": 4, "y_mm": 3}),
]  # fmt: skip


@pytest.mark.parametrize(("function", "numbers"), CALLS)
def test_shapes_of_arrays(function, numbers):
    assert_broadcasts(function, **numbers)


def test_records_broadcast_field_by_field():
    for name in ("xx_um2", "yy_um2"):
        assert_broadcasts(lambda name=name, **kw: getattr(shapes.star_shape(**kw), name), **STAR)
    for name in ("major_um", "minor_um", "angle_deg"):
        assert_broadcasts(lambda name=name, **kw: getattr(shapes.ellipse(**kw), name), **MOMENTS)
    grid = shapes.star_shape(**STAR | {"centre_sigma_um": np.ones((3, 1)), "x_mm": [1, 2]})
    assert {np.shape(moment) for moment in grid} == {(3, 2)}


WRONG = [
    (corners.tilt_at_corner_um, {"tilt_arcmin": 900}, "tilt_arcmin must be -600 to 600 ′.*few arcminutes"),
    (corners.tilt_at_corner_um, {"radius_mm": -1}, "radius_mm must be 0 or more mm"),
    (corners.tilt_tolerance_arcmin, {"radius_mm": 0}, "radius_mm must be above 0 mm"),
    (corners.tilt_tolerance_arcmin, {"half_zone_um": -1}, "half_zone_um must be 0 or more µm"),
    (corners.lens_curvature_radius_mm, {"refractive_index": 0.9}, "refractive_index must be 1 to 4"),
    (corners.curvature_defocus_um, {"curvature_radius_mm": 0}, "curvature_radius_mm must be above 0 mm"),
    (
        corners.curvature_defocus_um,
        {"radius_mm": 121},
        "radius_mm must not pass .*received 121 mm: did you pass µm",
    ),
    (corners.curvature_defocus_um, {"focused_radius_mm": 121}, "focused_radius_mm must not pass"),
    (
        corners.flat_circle_mm,
        {"allowed_defocus_um": 70e3},
        "allowed_defocus_um must be below half .*70000 µm",
    ),
    (corners.corner_widening, {"centre_sigma_um": 0}, "centre_sigma_um must be above 0 µm"),
    (shapes.field_defocus_um, {"corner_radius_mm": 0}, "corner_radius_mm must be above 0 mm"),
    (shapes.field_defocus_um, {"tilt_y_arcmin": 700}, "tilt_y_arcmin must be -600 to 600 ′"),
    (shapes.field_defocus_um, {"focus_um": 5e4}, "focus_um must be -20000 to 20000 µm"),
    (shapes.star_shape, {"coma_um": -1}, "coma_um must be 0 or more µm"),
    (shapes.star_shape, {"f_ratio": 0}, "f_ratio must be above 0"),
    (shapes.star_shape, {"centre_sigma_um": -2}, "centre_sigma_um must be 0 or more µm"),
    (shapes.ellipse, {"xy_um2": 7}, "xy_um2 must lie within .*received 7 µm²"),
    (shapes.ellipse, {"xx_um2": -1}, "xx_um2 must be 0 or more µm²"),
    (shapes.radial_stretch, {"yy_um2": -1}, "yy_um2 must be 0 or more µm²"),
]


@pytest.mark.parametrize(("function", "wrong", "message"), WRONG)
def test_impossible_input_is_refused(function, wrong, message):
    good = dict(CALLS) | {shapes.star_shape: STAR, shapes.ellipse: MOMENTS}
    with pytest.raises(ValueError, match=message):
        function(**good[function] | wrong)
