"""Shift and turn found again from stars, against scipy, photutils and the frames' own maker."""

import numpy as np
import pytest
from photutils.centroids import centroid_2dg
from scipy.ndimage import map_coordinates
from scipy.spatial.transform import Rotation

from workbook import frames
from workbook.frames import Alignment, AlignmentError, known_shift
from workbook.frames.align import _fit
from workbook.frames.resample import fast_resample

WIDTH, HEIGHT = 900, 600
CENTRE = {"centre_x_px": (WIDTH - 1) / 2, "centre_y_px": (HEIGHT - 1) / 2}
SENSOR = frames.Sensor(
    width_px=WIDTH, height_px=HEIGHT, read_noise_e=1.6, gain_e_adu=0.8, offset_adu=500, full_well_e=13000,
    adc_bits=14,
)  # fmt: skip


def sub(shift_x, shift_y, turn, *, seed, stars=900, sky=1):
    """A frame of one fixed star field, shifted and turned about the middle of the frame."""
    rng = np.random.default_rng(sky)
    x, y = rng.uniform(-700, WIDTH + 700, stars), rng.uniform(-700, HEIGHT + 700, stars)
    paths = frames.star_paths_px(
        x_px=x, y_px=y, shift_x_px=float(shift_x), shift_y_px=float(shift_y), turn_deg=float(turn), **CENTRE
    )
    return frames.raw_frame(
        sensor=SENSOR,
        exposure_s=60,
        x_px=paths.x_px,
        y_px=paths.y_px,
        star_e_s=10 ** rng.uniform(0.3, 2.3, stars),
        shapes=frames.round_shapes_px2(sigma_px=1.4),
        sky_e_s_px=1.5,
        dark_e_s_px=0.1,
        seed=seed,
    ).adu


@pytest.fixture(scope="module")
def reference():
    return frames.find_stars(sub(0, 0, 0, seed=1), threshold_sigmas=5)


def found(reference, shift_x, shift_y, turn, *, seed=2, **change):
    stars = frames.find_stars(sub(shift_x, shift_y, turn, seed=seed, **change), threshold_sigmas=5)
    return frames.align_stars(reference=reference, sub=stars, **CENTRE)


@pytest.mark.parametrize(
    ("shift_x", "shift_y", "turn"),
    [
        (0, 0, 0),
        (3.3, -7.8, 0),
        (-0.5, 0.5, 0.02),
        (40, 12.5, 0.3),
        (-60, -25.2, -5),
        (8, -6, 178.7),
        (10, 30, 91),
        (350, 0, 0),
    ],
)
def test_known_shift_and_turn_are_found(reference, shift_x, shift_y, turn):
    """Source: the frames' maker (star_paths_px); 0.03 px and 0.01°, four errors with the fewest stars here."""
    made = found(reference, shift_x, shift_y, turn)
    assert made.shift_x_px == pytest.approx(shift_x, abs=0.03)
    assert made.shift_y_px == pytest.approx(shift_y, abs=0.03)
    assert (made.turn_deg - turn + 180) % 360 - 180 == pytest.approx(0, abs=0.01)
    assert made.stars >= 20
    assert abs(made.shift_x_px - shift_x) < 5 * made.sigma_px


def test_stated_error_is_the_scatter(reference):
    """Derivation by repetition: the same shift, twenty noises; 35 %, two errors of such a scatter.

    The reference is the same in all, so that its own noise, half of the variance, does not scatter.
    """
    many = [found(reference, 12.25, -3.6, 0.1, seed=seed) for seed in range(10, 30)]
    scatter = np.std([[each.shift_x_px, each.shift_y_px] for each in many], axis=0).mean()
    assert scatter == pytest.approx(np.mean([each.sigma_px for each in many]) / np.sqrt(2), rel=0.35)


def test_fit_of_turn_by_scipy():
    """Source: scipy's Rotation.align_vectors on the same pairs; to rounding."""
    rng = np.random.default_rng(3)
    ours = rng.uniform(-300, 300, (50, 2))
    turn = np.radians(7.0)
    theirs = ours @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    theirs += np.array([4.0, -9.0]) + rng.normal(0, 0.2, ours.shape)
    weight = rng.uniform(0.5, 2.0, 50)
    angle, shift = _fit(ours, theirs, weight)
    middle = [np.average(each, axis=0, weights=weight) for each in (ours, theirs)]
    flat = [np.pad(each - mid, ((0, 0), (0, 1))) for each, mid in zip((ours, theirs), middle, strict=True)]
    best, _ = Rotation.align_vectors(flat[1], flat[0], weights=weight)
    assert angle == pytest.approx(best.as_rotvec()[2], abs=1e-9)
    np.testing.assert_allclose(shift, middle[1] - best.apply([*middle[0], 0])[:2], atol=1e-9)


def test_few_and_foreign_stars_are_refused(reference):
    with pytest.raises(AlignmentError, match="usable stars are too few to align by"):
        found(reference, 0, 0, 0, stars=8)
    with pytest.raises(
        AlignmentError, match=r"only \d+ of \d+ stars agree .*do both frames show the same field"
    ):
        found(reference, 0, 0, 0, sky=99)


def test_places_of_an_alignment():
    """Derivation: as star_paths_px, the frames' own geometry; a quarter turn about (10, 20), then a shift."""
    alignment = Alignment(3.0, -1.0, 90.0, 10.0, 20.0)
    np.testing.assert_allclose(alignment.places(15.0, 20.0), (13.0, 24.0), atol=1e-12)
    x, y = np.array([1.0, 50.0]), np.array([7.0, -20.0])
    turned = Alignment(3.0, -1.0, 33.0, 10.0, 20.0)
    paths = frames.star_paths_px(
        x_px=x, y_px=y, shift_x_px=3.0, shift_y_px=-1.0, turn_deg=33.0, centre_x_px=10.0, centre_y_px=20.0
    )
    np.testing.assert_allclose(turned.places(x, y), (paths.x_px[:, 0], paths.y_px[:, 0]), atol=1e-12)


# Resampling


ALIGNMENTS = [
    known_shift(shift_x_px=0, shift_y_px=0),
    known_shift(shift_x_px=5, shift_y_px=-3),
    known_shift(shift_x_px=-4.3, shift_y_px=7.75),
    known_shift(shift_x_px=400.0, shift_y_px=0.5),
    Alignment(2.2, -1.4, 0.3, 130.0, 90.0),
    Alignment(2.2, -1.4, -0.9, 130.0, 90.0),
    Alignment(-3.1, 5.0, 27.0, 130.0, 90.0),
    Alignment(0.0, 0.0, 180.0, 129.5, 89.5),
]


def smooth_picture(width=260, height=180):
    y, x = np.mgrid[0:height, 0:width]
    return 1000 + 300 * np.sin(x / 5.0) * np.cos(y / 7.0) + x - 2.0 * y


def by_scipy(picture, alignment, order):
    y, x = np.mgrid[0 : picture.shape[0], 0 : picture.shape[1]].astype(float)
    right, up = (np.round(place, 6) for place in alignment.places(x, y))
    if order == 0:
        right, up = np.floor(right + 0.5), np.floor(up + 0.5)
    return map_coordinates(picture, [up, right], order=order, mode="constant", cval=np.nan, prefilter=False)


@pytest.mark.parametrize("alignment", ALIGNMENTS)
@pytest.mark.parametrize("resampling", ["bilinear", "whole pixels"])
def test_resampled_by_scipy(alignment, resampling):
    """Source: scipy.ndimage.map_coordinates of order 1 and 0; single precision."""
    picture = smooth_picture()
    whole = {"rows": slice(0, 180), "columns": slice(0, 260)}
    ours = frames.resample_tile(picture, alignment=alignment, resampling=resampling, **whole)
    theirs = by_scipy(picture, alignment, 1 if resampling == "bilinear" else 0)
    np.testing.assert_array_equal(np.isnan(ours), np.isnan(theirs))
    np.testing.assert_allclose(ours, theirs, rtol=3e-7)


@pytest.mark.parametrize("alignment", ALIGNMENTS)
@pytest.mark.parametrize("resampling", ["bilinear", "whole pixels"])
def test_fast_form_against_the_readable_one(alignment, resampling):
    """Derivation: places agree to 0.02 px, here times the steepest slope of 60 ADU/px; exactly without turn."""
    picture = smooth_picture()
    for rows, columns in (
        (slice(0, 64), slice(0, 260)),
        (slice(64, 128), slice(100, 222)),
        (slice(128, 180), slice(0, 33)),
    ):
        ask = {"alignment": alignment, "rows": rows, "columns": columns, "resampling": resampling}
        plain, fast = frames.resample_tile(picture, **ask), fast_resample(picture, **ask)
        both = np.isfinite(plain) & np.isfinite(fast)
        assert (np.isfinite(plain) != np.isfinite(fast)).mean() <= (0.02 if alignment.turn_deg else 0.0)
        np.testing.assert_allclose(fast[both], plain[both], rtol=0, atol=1.5 if alignment.turn_deg else 2e-3)


@pytest.mark.parametrize("turn", [0.0, 0.4, -0.8])
def test_stars_stay_in_place(turn):
    """Source: photutils centroids of the resampled star against its place in the reference; 0.03 px."""
    alignment = Alignment(3.4, -2.7, turn, 130.0, 90.0)
    x, y = alignment.places(150.0, 100.0)
    picture = frames.draw_stars(
        x_px=[x],
        y_px=[y],
        star_e=1e5,
        shapes=frames.round_shapes_px2(sigma_px=1.6),
        width_px=260,
        height_px=180,
    )
    tile = fast_resample(
        picture, alignment=alignment, rows=slice(90, 111), columns=slice(140, 161), resampling="bilinear"
    )
    np.testing.assert_allclose(centroid_2dg(tile), (10.0, 10.0), rtol=0, atol=0.03)


@pytest.mark.parametrize(("part_x", "part_y"), [(0.5, 0.5), (0.25, 0.0), (0.3, 0.8)])
def test_noise_after_resampling(part_x, part_y):
    """Derivation, by measuring: the pixel's noise falls, the noise of large areas stays, as area_noise says."""
    noise = np.random.default_rng(1).normal(0, 1, (400, 600))
    shift = known_shift(shift_x_px=part_x, shift_y_px=part_y)
    tile = fast_resample(
        noise, alignment=shift, rows=slice(0, 396), columns=slice(0, 596), resampling="bilinear"
    )
    told = frames.area_noise([shift], resampling="bilinear", width_px=600, height_px=400)
    assert tile[:395, :595].std() == pytest.approx(1 / told, rel=0.01)
    blocks = tile[:390, :590].reshape(39, 10, 59, 10).sum(axis=(1, 3)).std() / 10
    assert blocks == pytest.approx(1.0, rel=0.07)
    assert frames.area_noise([shift], resampling="whole pixels", width_px=600, height_px=400) == 1.0
    with pytest.raises(ValueError, match="resampling must be one of 'bilinear', 'whole pixels'"):
        frames.area_noise([shift], resampling="cubic", width_px=60, height_px=40)


def test_noise_of_many_random_shifts():
    """Derivation: the mean of (1 − f)² + f² over f is 2/3, so the variance is 4/9 and the factor 1.5."""
    rng = np.random.default_rng(1)
    shifts = [known_shift(shift_x_px=x, shift_y_px=y) for x, y in rng.uniform(-9, 9, (3000, 2))]
    assert frames.area_noise(shifts, resampling="bilinear", width_px=50, height_px=50) == pytest.approx(
        1.5, rel=0.01
    )
