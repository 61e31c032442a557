"""Background, noise, sky and stars of frames against astropy, photutils, the standard library and drawn stars."""

import statistics

import numpy as np
import pytest
from astropy.stats import sigma_clipped_stats
from photutils.background import Background2D, MedianBackground
from photutils.centroids import centroid_2dg

from workbook import frames

SENSOR = {"read_noise_e": 1.6, "gain_e_adu": 0.8, "offset_adu": 500, "full_well_e": 13000, "adc_bits": 14}


def sensor(width_px=300, height_px=200, **change):
    return frames.Sensor(width_px=width_px, height_px=height_px, **SENSOR | change)


def sky_frame(*, sky_e_s_px, exposure_s=60.0, seed=1, stars=0, **change):
    rng = np.random.default_rng(seed)
    rig = sensor(**change)
    return frames.raw_frame(
        sensor=rig,
        exposure_s=exposure_s,
        x_px=rng.uniform(0, rig.width_px, stars),
        y_px=rng.uniform(0, rig.height_px, stars),
        star_e_s=10 ** rng.uniform(1, 3, stars),
        shapes=frames.round_shapes_px2(sigma_px=1.4),
        sky_e_s_px=sky_e_s_px,
        dark_e_s_px=0.1,
        seed=seed,
        **({"sky_colours": (1.0, 1.5, 0.6)} if rig.mosaic else {}),
    )


# Clipped statistics


@pytest.mark.parametrize("clip_sigmas", [2.0, 3.0, 5.0])
@pytest.mark.parametrize("size", [999, 1000, 7])
def test_clipped_statistics_by_astropy(clip_sigmas, size):
    """Source: astropy.stats.sigma_clipped_stats, median centre, at most five rounds; to rounding."""
    rng = np.random.default_rng(size)
    values = np.concatenate([rng.normal(500, 12, size), rng.uniform(600, 4000, size // 20)])
    mean, median, sigma = sigma_clipped_stats(values, sigma=clip_sigmas, maxiters=5)
    found = frames.clipped_statistics(values, clip_sigmas=clip_sigmas)
    np.testing.assert_allclose(
        [found.mean_adu, found.median_adu, found.sigma_adu], [mean, median, sigma], rtol=1e-9
    )
    with_gaps = np.concatenate([values, [np.nan, np.inf]])
    assert frames.clipped_statistics(with_gaps, clip_sigmas=clip_sigmas) == found


def test_median_of_whole_counts_lies_within_its_step():
    """Source: statistics.median_grouped of the standard library, whose interval is the step of one count."""
    rng = np.random.default_rng(3)
    for level in (500.0, 500.3, 500.5, 500.9):
        counts = np.rint(rng.normal(level, 1.5, 4001)).astype(np.uint16)
        found = frames.clipped_statistics(counts, clip_sigmas=20.0)
        assert found.median_adu == pytest.approx(statistics.median_grouped(counts.tolist()), abs=1e-9)
        assert found.median_adu == pytest.approx(level, abs=5 * 1.25 * 1.53 / np.sqrt(4001))
    assert frames.clipped_statistics(np.array([7], np.uint16), clip_sigmas=3).median_adu == 7.0
    signed = frames.clipped_statistics(np.array([-3, -3, -2], int), clip_sigmas=3)
    assert signed.median_adu == pytest.approx(statistics.median_grouped([-3, -3, -2]))


def test_share_kept_is_that_of_the_normal_distribution():
    """Derivation: 1.24 % of normal values lie beyond 2.5 sigmas, a little more once the clip has begun."""
    values = np.random.default_rng(5).normal(0, 1, 200_000)
    found = frames.clipped_statistics(values, clip_sigmas=3.0)
    assert found.kept == pytest.approx(0.9973, abs=0.0008)
    assert found.sigma_adu == pytest.approx(0.987, abs=0.005)


@pytest.mark.parametrize(
    ("values", "clip", "message"),
    [
        (
            [np.nan, np.nan],
            3,
            "values_adu must hold a number at least, received none: is the picture all NaN",
        ),
        ([1.0, 2.0], 0, "clip_sigmas must be above 0"),
    ],
)
def test_impossible_statistics(values, clip, message):
    with pytest.raises(ValueError, match=message):
        frames.clipped_statistics(values, clip_sigmas=clip)


def test_background_map_by_photutils():
    """Source: photutils Background2D with medians of the same tiles; 2 ADU, a sixth of a pixel's noise."""
    rng = np.random.default_rng(2)
    y, x = np.mgrid[0:384, 0:512]
    slope = 600 + 0.2 * x - 0.1 * y + 4e-4 * (x - 256) ** 2
    picture = slope + rng.normal(0, 12, slope.shape)
    ours = frames.background_map_adu(picture)
    theirs = Background2D(picture, (64, 64), filter_size=(1, 1), bkg_estimator=MedianBackground()).background
    inside = np.s_[64:-64, 64:-64]
    np.testing.assert_allclose(ours[inside], theirs[inside], rtol=0, atol=2.5)
    assert np.std(ours[inside] - slope[inside]) < 1.2
    picture[:, :70] = np.nan
    assert np.isfinite(frames.background_map_adu(picture)).all()
    with pytest.raises(ValueError, match="is it all NaN"):
        frames.background_map_adu(np.full((80, 80), np.nan))
    with pytest.raises(ValueError, match=r"a picture has two axes \(rows, columns\), received 3"):
        frames.background_map_adu(np.zeros((3, 4, 5)))


# Sky


def test_sky_electrons_by_hand():
    """Derivation: (620 − 500 − 20) × 0.8 / 40 = 2 e⁻/s/px."""
    ask = {"frame_adu": 620, "bias_adu": 500, "dark_adu": 20, "gain_e_adu": 0.8, "exposure_s": 40}
    assert frames.sky_electrons_s_px(**ask) == pytest.approx(2.0, rel=1e-12)
    np.testing.assert_allclose(frames.sky_electrons_s_px(**ask | {"exposure_s": [40, 80]}), [2.0, 1.0])
    for change, message in (
        ({"dark_adu": 520}, "received -400 ADU: is the bias still in dark_adu"),
        ({"gain_e_adu": 0}, "gain_e_adu must be above 0"),
        ({"exposure_s": 0}, "exposure_s must be above 0"),
        ({"bias_adu": -1}, "bias_adu must be 0 or more"),
    ):
        with pytest.raises(ValueError, match=message):
            frames.sky_electrons_s_px(**ask | change)


@pytest.mark.parametrize("sky", [0.2, 1.5, 20.0])
@pytest.mark.parametrize("stars", [0, 80])
def test_sky_of_a_simulated_frame(sky, stars):
    """Source: the frame's own maker (Poisson light, known gain); 0.3 e⁻ in all: skew and the halos of stars."""
    frame = sky_frame(sky_e_s_px=sky, stars=stars)
    found = frames.sky_of_frame(frame, bias_adu=500, dark_adu=0.1 * 60 / 0.8)
    assert found.sky_e_s_px * 60 == pytest.approx(sky * 60, abs=0.35 if not stars else 0.35 + 0.02 * sky * 60)
    if not stars:
        noise = np.sqrt(60 * (sky + 0.1) + 1.6**2 + 0.8**2 / 12)
        assert found.noise_e == pytest.approx(0.99 * noise, rel=0.015)
        assert found.sigma_e_s_px == pytest.approx(1.2533 * noise / np.sqrt(60_000) / 60, rel=0.03)
    assert found.colours == {}


def test_scatter_of_the_measured_sky():
    """Derivation by repetition: sixty frames scatter as sigma_e_s_px says; 30 %, three errors of a scatter."""
    found = [
        frames.sky_of_frame(
            sky_frame(sky_e_s_px=1.5, seed=seed, width_px=80, height_px=60), bias_adu=500, dark_adu=7.5
        )
        for seed in range(60)
    ]
    scatter = np.std([each.sky_e_s_px for each in found])
    assert scatter == pytest.approx(found[0].sigma_e_s_px, rel=0.3)


@pytest.mark.parametrize("mosaic", ["RGGB", "BGGR", "GRBG"])
def test_sky_of_each_colour(mosaic):
    """Derivation: parts 1 : 1.5 : 0.6 over a cell with two greens are 4 part / 4.6 of the mean."""
    frame = sky_frame(sky_e_s_px=2.0, mosaic=mosaic)
    found = frames.sky_of_frame(frame, bias_adu=500, dark_adu=7.5)
    assert found.sky_e_s_px == pytest.approx(2.0, rel=0.005)
    for colour, part in (("R", 1.0), ("G", 1.5), ("B", 0.6)):
        assert found.colours[colour] == pytest.approx(2.0 * 4 * part / 4.6, rel=0.01)
    planes = frames.colour_planes(frame.adu, mosaic=mosaic)
    assert sorted(planes) == ["B", "G", "R"]
    assert [len(planes[colour]) for colour in "RGB"] == [1, 2, 1]


def test_sky_needs_gain_and_time():
    frame = frames.Frame(adu=np.full((20, 20), 600, np.uint16), exposure_s=60.0)
    with pytest.raises(ValueError, match="gain_e_adu must be given, since the frame's file has no GAIN"):
        frames.sky_of_frame(frame, bias_adu=500, dark_adu=0)
    assert frames.sky_of_frame(frame, bias_adu=500, dark_adu=0, gain_e_adu=1.2).sky_e_s_px == pytest.approx(
        2.0
    )
    bias = frames.Frame(adu=frame.adu, exposure_s=0.0, gain_e_adu=1.0)
    with pytest.raises(ValueError, match=r"exposure_s must be above 0 s.*a bias frame has no sky"):
        frames.sky_of_frame(bias, bias_adu=500, dark_adu=0)
    with pytest.raises(ValueError, match="mosaic must be one of RGGB"):
        frames.colour_planes(frame.adu, mosaic="")


# Stars


def field(*, stars=40, sigma_px=1.5, shapes=None, noise=8.0, seed=4, light=(2000, 60_000)):
    """Drawn stars on a lattice, so that none crowds another, with places that differ within the pixel."""
    rng = np.random.default_rng(seed)
    x = 40.0 + 50 * (np.arange(stars) % 8) + rng.uniform(-0.5, 0.5, stars)
    y = 40.0 + 50 * (np.arange(stars) // 8) + rng.uniform(-0.5, 0.5, stars)
    star_e = np.geomspace(light[1], light[0], stars)
    shapes = shapes or frames.round_shapes_px2(sigma_px=sigma_px)
    picture = frames.draw_stars(x_px=x, y_px=y, star_e=star_e, shapes=shapes, width_px=450, height_px=330)
    return picture + 100 + rng.normal(0, noise, picture.shape), x, y, star_e


def test_places_light_and_shape_of_drawn_stars():
    """Source: the stars as drawn; places to 0.01 px, light to 1 %, moments to 2 % with the pixel's 1/12."""
    shapes = frames.Shapes(3.0, 0.8, 2.0)
    picture, x, y, star_e = field(shapes=shapes, noise=0.5, light=(20_000, 60_000))
    stars = frames.find_stars(picture, threshold_sigmas=6)
    assert stars.usable.sum() == len(stars.x_px) == 40
    np.testing.assert_allclose(stars.x_px, x, rtol=0, atol=0.01)
    np.testing.assert_allclose(stars.y_px, y, rtol=0, atol=0.01)
    np.testing.assert_allclose(stars.light_adu, star_e, rtol=0.01)
    np.testing.assert_allclose(stars.xx_px2, 3.0 + 1 / 12, rtol=0.02)
    np.testing.assert_allclose(stars.yy_px2, 2.0 + 1 / 12, rtol=0.02)
    np.testing.assert_allclose(stars.xy_px2, 0.8, rtol=0.04)


def test_places_by_photutils():
    """Source: photutils centroid_2dg, a fitted Gaussian; 0.03 px, where the noise itself moves both by 0.02."""
    picture, *_ = field(noise=4.0, light=(20_000, 60_000))
    stars = frames.find_stars(picture, threshold_sigmas=6)
    for x, y in zip(stars.x_px[::5], stars.y_px[::5], strict=True):
        left, low = round(x) - 8, round(y) - 8
        theirs = centroid_2dg(picture[low : low + 17, left : left + 17] - 100)
        np.testing.assert_allclose([x - left, y - low], theirs, rtol=0, atol=0.03)


def test_signal_to_noise_and_scatter_of_places():
    """Derivation: light in even noise, matched weights: snr = F/(2 σ_n s √π), place to s √2/snr (px)."""
    errors, told = [], []
    for seed in range(12):
        picture, x, y, star_e = field(seed=seed, light=(2000, 4000), noise=10.0)
        stars = frames.find_stars(picture, threshold_sigmas=6)
        nearest = np.hypot(stars.x_px[:, None] - x, stars.y_px[:, None] - y).argmin(axis=1)
        errors.append((stars.x_px - x[nearest]) * stars.snr)
        told.append(stars.snr / star_e[nearest])
    width = np.sqrt(1.5**2 + 1 / 12)
    assert np.median(np.concatenate(told)) * 2 * 10 * width * np.sqrt(np.pi) == pytest.approx(1.0, rel=0.04)
    assert np.std(np.concatenate(errors)) == pytest.approx(width * np.sqrt(2), rel=0.15)


def test_nothing_false_and_nothing_missed():
    """Derivation: of 150,000 pixels of pure noise hardly one passes 5 sigmas; all stars far above it are found."""
    noise = np.random.default_rng(1).normal(100, 8, (330, 450))
    assert len(frames.find_stars(noise, threshold_sigmas=5).x_px) <= 2
    picture, x, *_ = field()
    found = frames.find_stars(picture, threshold_sigmas=5)
    assert len(x) <= found.usable.sum() <= len(x) + 2
    assert len(frames.find_stars(picture, threshold_sigmas=5, most=7).x_px) == 7
    assert len(frames.find_stars(np.full((50, 60), 7.0), threshold_sigmas=5).x_px) == 0


def test_flags():
    """Stars at the edge, full ones, pairs and hot pixels are told, and nothing else."""
    shapes = frames.round_shapes_px2(sigma_px=1.5)
    star_e = [20_000, 20_000, 200_000, 20_000, 9_000, 30_000]
    x, y = [4.0, 100, 200, 300, 305, 100], [100.0, 100, 100, 100, 101, 180]
    picture = 500 + frames.draw_stars(
        x_px=x, y_px=y, star_e=star_e, shapes=shapes, width_px=400, height_px=240
    )
    picture += np.random.default_rng(1).normal(0, 6, picture.shape)
    picture[200, 250] += 5000.0
    counts = np.clip(np.rint(picture), 0, 9000).astype(np.uint16)
    stars = frames.find_stars(counts, threshold_sigmas=6, saturation_adu=9000)

    def flags(x_px, y_px):
        star = np.hypot(stars.x_px - x_px, stars.y_px - y_px).argmin()
        names = ("near_edge", "saturated", "crowded", "one_pixel")
        return {name for name in names if getattr(stars, name)[star]}

    assert flags(4, 100) == {"near_edge"}
    assert flags(100, 100) == flags(100, 180) == set()
    assert flags(200, 100) == {"saturated"}
    assert "crowded" in flags(305, 101)
    assert flags(250, 200) == {"one_pixel"}
    assert stars.usable.sum() == len(stars.where(stars.usable).x_px)


def test_a_slope_and_gaps_do_not_hide_stars():
    picture, x, *_ = field()
    picture += 2.0 * np.arange(450) - 1.0 * np.arange(330)[:, None]
    picture[:20] = np.nan
    stars = frames.find_stars(picture, threshold_sigmas=6)
    assert abs(stars.usable.sum() - len(x)) <= 1
    with pytest.raises(ValueError, match="threshold_sigmas must be above 0"):
        frames.find_stars(picture, threshold_sigmas=0)
