"""Combining and stacking against ccdproc, astropy.stats, Monte Carlo and the turned coverage of `rotation`."""

import ccdproc
import numpy as np
import pytest
from astropy import units as u
from astropy.nddata import CCDData
from astropy.stats import sigma_clip

from workbook import frames, rotation
from workbook.frames import Alignment, known_shift
from workbook.frames.combine import median_excess
from workbook.frames.fast_combine import fast_combine, network_median

STILL = known_shift(shift_x_px=0, shift_y_px=0)


def values(count, *, outliers=0.03, seed=1, shape=(30, 40)):
    """Normal noise with some far values, in single precision."""
    rng = np.random.default_rng(seed)
    made = rng.normal(100, 8, (count, *shape))
    made += np.where(rng.random(made.shape) < outliers, rng.uniform(-200, 900, made.shape), 0)
    return made.astype(np.float32)


def with_gaps(made):
    gaps = np.random.default_rng(9).random(made.shape) < 0.2
    gaps[:, 0, 0] = True
    gaps[:, 0, 1] = np.arange(len(made)) > 0
    return np.where(gaps, np.nan, made).astype(np.float32)


# Against ccdproc and astropy


@pytest.mark.parametrize("count", [5, 12, 21])
def test_mean_and_median_by_ccdproc(count):
    """Source: ccdproc.Combiner; single precision."""
    cube = values(count)
    combiner = ccdproc.Combiner([CCDData(each, unit=u.adu) for each in cube])
    mean = frames.combine_subs(cube, method="mean", clip_sigmas=3.0)
    median = frames.combine_subs(cube, method="median", clip_sigmas=3.0)
    np.testing.assert_allclose(mean.light_adu, combiner.average_combine().data, rtol=1e-6)
    np.testing.assert_allclose(median.light_adu, combiner.median_combine().data, rtol=1e-6)
    np.testing.assert_allclose(mean.noise_adu, cube.std(axis=0, ddof=1) / np.sqrt(count), rtol=1e-4)


def test_one_round_of_clipping_by_ccdproc():
    """Source: ccdproc sigma clipping about the median, one round: what it rejects is rejected here as well."""
    cube = values(20)
    combiner = ccdproc.Combiner([CCDData(each, unit=u.adu) for each in cube])
    combiner.sigma_clipping(low_thresh=3, high_thresh=3, func=np.ma.median, dev_func=np.ma.std)
    theirs = np.ma.getmaskarray(combiner.data_arr)
    ours = frames.combine_subs(cube, method="clipped mean", clip_sigmas=3.0)
    first = np.asarray(theirs).sum(axis=0)
    assert (ours.rejected >= first).all()
    once = ours.rejected == first  # pixels where no further round found more
    assert once.mean() > 0.5
    np.testing.assert_allclose(ours.light_adu[once], combiner.average_combine().data[once], rtol=1e-6)


@pytest.mark.parametrize("count", [4, 9, 20, 40])
@pytest.mark.parametrize("clip_sigmas", [2.0, 3.0])
def test_clipped_mean_by_astropy(count, clip_sigmas):
    """Source: astropy.stats.sigma_clip about the median, five rounds; pixels with fewer than 3 left apart."""
    cube = values(count)
    theirs = sigma_clip(
        cube.astype(float), sigma=clip_sigmas, maxiters=5, axis=0, cenfunc="median", stdfunc="std"
    )
    ours = frames.combine_subs(cube, method="clipped mean", clip_sigmas=clip_sigmas)
    kept = (~theirs.mask).sum(axis=0)
    same = kept >= 3
    assert same.mean() > 0.9
    np.testing.assert_array_equal(ours.coverage[same], kept[same])
    np.testing.assert_array_equal(ours.rejected[same], count - kept[same])
    np.testing.assert_allclose(ours.light_adu[same], theirs.mean(axis=0).data[same], rtol=1e-6)


@pytest.mark.parametrize("method", ["mean", "clipped mean", "median"])
@pytest.mark.parametrize("count", [1, 2, 3, 8, 21, 40])
@pytest.mark.parametrize("gaps", [False, True])
def test_fast_form_against_the_readable_one(method, count, gaps):
    """Source: combine_subs, checked above; single precision."""
    cube = with_gaps(values(count)) if gaps else values(count)
    plain = frames.combine_subs(cube, method=method, clip_sigmas=3.0)
    fast = fast_combine(cube, method=method, clip_sigmas=3.0)
    np.testing.assert_array_equal(fast.coverage, plain.coverage)
    np.testing.assert_array_equal(fast.rejected, plain.rejected)
    np.testing.assert_allclose(fast.light_adu, plain.light_adu, rtol=1e-6)
    np.testing.assert_allclose(fast.noise_adu, plain.noise_adu, rtol=1e-3, atol=1e-4)


@pytest.mark.parametrize("count", range(1, 26))
def test_sorting_network_by_numpy(count):
    """Source: numpy's median; exactly, or to the last bit of a mean of two."""
    cube = np.random.default_rng(count).normal(0, 1, (count, 500)).astype(np.float32)
    kept = cube.copy()
    np.testing.assert_allclose(network_median(cube), np.median(cube, axis=0), rtol=3e-7)
    np.testing.assert_array_equal(cube, kept)


def test_gaps_are_no_values():
    """Derivation: numpy's nanmean over what is there; nothing there is NaN with coverage 0."""
    cube = with_gaps(values(9, outliers=0))
    made = frames.combine_subs(cube, method="mean", clip_sigmas=3.0)
    there = np.isfinite(cube).sum(axis=0)
    np.testing.assert_array_equal(made.coverage, there)
    assert np.isnan(made.light_adu[0, 0])
    assert made.light_adu[0, 1] == cube[0, 0, 1]
    assert np.isnan(made.noise_adu[0, 1])
    fine = there > 0
    np.testing.assert_allclose(made.light_adu[fine], np.nanmean(cube[:, fine], axis=0), rtol=1e-6)


# Noise


@pytest.mark.parametrize("count", [4, 16, 36])
def test_noise_of_a_mean_is_that_of_one_over_root_n(count):
    """Derivation: σ/√N; 2 %: 12,000 pixels know a scatter to 0.7 %."""
    subs = values(count, outliers=0, shape=(100, 120))
    made = frames.stack_subs(subs, alignments=[STILL] * count, method="mean", resampling="whole pixels")
    assert made.light_adu.std() == pytest.approx(8 / np.sqrt(count), rel=0.02)
    assert np.sqrt((made.noise_adu**2).mean()) == pytest.approx(8 / np.sqrt(count), rel=0.02)
    assert made.area_noise == 1.0


@pytest.mark.parametrize("count", [2, 3, 5, 6, 9, 20, 41])
def test_noise_of_a_median_by_monte_carlo(count):
    """Derivation by Monte Carlo: 11 % up to four values, 6 % from five on, as the docstring says."""
    cube = np.random.default_rng(1).standard_normal((count, 60_000)).astype(np.float32)
    excess = np.median(cube, axis=0).std() * np.sqrt(count)
    assert float(median_excess(count)) == pytest.approx(excess, rel=0.11 if count < 5 else 0.06)


@pytest.mark.parametrize(("clip_sigmas", "least", "most"), [(3.0, 0.96, 1.0), (2.0, 0.4, 0.7)])
def test_efficiency_of_a_clipped_mean_by_monte_carlo(clip_sigmas, least, most):
    """Source: Monte Carlo by astropy's sigma_clip on the same values: variance of the mean over that of the clip."""
    cube = np.random.default_rng(2).standard_normal((20, 40_000)).astype(np.float32)
    ours = frames.combine_subs(cube, method="clipped mean", clip_sigmas=clip_sigmas).light_adu
    theirs = sigma_clip(cube, sigma=clip_sigmas, maxiters=5, axis=0, cenfunc="median", stdfunc="std").mean(
        axis=0
    )
    found = cube.mean(axis=0).var() / ours.var()
    assert found == pytest.approx(cube.mean(axis=0).var() / theirs.var(), rel=1e-3)
    assert least < found < most  # a clip at 2 sigmas, repeated, eats into the noise itself


def test_unequal_skies_are_matched():
    """Derivation: offsets of the background go, the light of one star stays; without it all is clipped about."""
    rng = np.random.default_rng(1)
    star = frames.draw_stars(
        x_px=[60.0],
        y_px=[40.0],
        star_e=9000,
        shapes=frames.round_shapes_px2(sigma_px=1.5),
        width_px=120,
        height_px=80,
    )
    subs = [100 + 20 * number + star + rng.normal(0, 5, star.shape) for number in range(12)]
    ask = {"alignments": [STILL] * 12, "method": "clipped mean", "resampling": "whole pixels"}
    made = frames.stack_subs(subs, **ask)
    assert np.median(made.light_adu) == pytest.approx(100, abs=1)
    assert made.light_adu[40, 60] - 100 == pytest.approx(star[40, 60], abs=8)
    assert np.median(made.noise_adu) == pytest.approx(5 / np.sqrt(12), rel=0.06)
    plain = frames.stack_subs(subs, **ask, match_background=False)
    assert np.median(plain.noise_adu) > 10 * np.median(made.noise_adu)


# Geometry


def test_coverage_of_a_turned_stack_is_that_of_rotation():
    """Source: rotation.stack_coverage; a growing parallactic angle turns the stars clockwise, here negative."""
    angles = np.array([0.0, 20.0, 45.0, 80.0])
    width, height = 160, 100
    turned = [Alignment(0.0, 0.0, -angle, (width - 1) / 2, (height - 1) / 2) for angle in angles]
    subs = [np.full((height, width), 100.0) for _ in angles]
    made = frames.stack_subs(subs, alignments=turned, method="mean", resampling="bilinear")
    y, x = np.mgrid[0:height, 0:width]
    told = rotation.stack_coverage(
        x_px=x - (width - 1) / 2,
        y_px=y - (height - 1) / 2,
        angles_deg=angles,
        width_px=width - 1,
        height_px=height - 1,
    )
    assert (made.coverage / 4 == told).mean() > 0.99
    assert made.coverage.min() < 4
    opposite = [each._replace(turn_deg=-each.turn_deg) for each in turned]
    other = frames.stack_subs(subs, alignments=opposite, method="mean", resampling="bilinear")
    assert (other.coverage / 4 == told).mean() < 0.98


@pytest.mark.parametrize("turn_deg", [0.0, 0.15])
def test_measured_and_stacked(turn_deg):
    """Source: the frames' maker: stars fall on each other, and the sky's noise is that of the CCD equation."""
    rng = np.random.default_rng(1)
    width, height = 600, 400
    x, y = rng.uniform(-40, 640, 260), rng.uniform(-40, 440, 260)
    light = 10 ** rng.uniform(0.5, 2.2, 260)
    sensor = frames.Sensor(
        width_px=width, height_px=height, read_noise_e=1.6, gain_e_adu=0.8, offset_adu=500, full_well_e=13000,
        adc_bits=14,
    )  # fmt: skip
    subs = []
    for number in range(9):
        paths = frames.star_paths_px(
            x_px=x, y_px=y, shift_x_px=2.3 * number, shift_y_px=-1.1 * number, turn_deg=turn_deg * number,
            centre_x_px=(width - 1) / 2, centre_y_px=(height - 1) / 2,
        )  # fmt: skip
        made = frames.raw_frame(
            sensor=sensor, exposure_s=60, x_px=paths.x_px, y_px=paths.y_px, star_e_s=light,
            shapes=frames.round_shapes_px2(sigma_px=1.5), sky_e_s_px=1.5, dark_e_s_px=0.1, seed=number,
        )  # fmt: skip
        subs.append(made.adu)
    told = []
    alignments = frames.measure_alignments(subs, progress=lambda done, of: told.append((done, of)))
    assert told[-1] == (9, 9)
    for number, each in enumerate(alignments):
        assert each.shift_x_px == pytest.approx(2.3 * number, abs=0.04)
        assert each.shift_y_px == pytest.approx(-1.1 * number, abs=0.04)
        assert each.turn_deg == pytest.approx(turn_deg * number, abs=0.02)
    bands = []
    stacked = frames.stack_subs(
        subs, alignments=alignments, method="clipped mean", resampling="whole pixels",
        progress=lambda done, of: bands.append((done, of)),
    )  # fmt: skip
    assert bands == [(number + 1, 7) for number in range(7)]
    noise = np.sqrt(60 * 1.6 + 1.6**2 + 0.8**2 / 12) / 0.8 / 3
    sky = frames.clipped_statistics(stacked.light_adu, clip_sigmas=3.0)
    assert sky.sigma_adu == pytest.approx(noise, rel=0.05)
    full = stacked.coverage + stacked.rejected == 9
    assert np.median(stacked.noise_adu[full]) == pytest.approx(
        0.96 * noise, rel=0.05
    )  # median of a scatter of 9
    stars = frames.find_stars(stacked.light_adu, threshold_sigmas=8, saturation_adu=16000)
    stars = stars.where(stars.usable & (stars.snr > 150))
    assert len(stars.x_px) >= 20
    off = np.hypot(stars.x_px[:, None] - x, stars.y_px[:, None] - y).min(axis=1)
    assert np.median(off) < 0.15
    width_px2 = np.median((stars.xx_px2 + stars.yy_px2) / 2)
    assert 1.5**2 + 1 / 12 - 0.05 < width_px2 < 1.5**2 + 2 / 12 + 0.1  # whole pixels: up to 1/12 px² wider


def test_pictures_that_do_not_fit():
    sub = np.zeros((40, 50))
    ask = {"method": "mean", "resampling": "bilinear"}
    with pytest.raises(
        ValueError, match="one alignment for each picture: received 2 pictures and 1 alignments"
    ):
        frames.stack_subs([sub, sub], alignments=[STILL], **ask)
    with pytest.raises(ValueError, match="picture 2 has 40 × 50 px, the first 50 × 40 px"):
        frames.stack_subs([sub, sub.T], alignments=[STILL] * 2, **ask)
    for change, message in (
        ({"method": "sum"}, "method must be one of 'mean', 'clipped mean', 'median'"),
        ({"resampling": "x"}, "resampling must be one of"),
        ({"clip_sigmas": 0}, "clip_sigmas must be above 0"),
    ):
        with pytest.raises(ValueError, match=message):
            frames.stack_subs([sub, sub], alignments=[STILL] * 2, **ask | change)
    noise = np.random.default_rng(1).normal(100, 5, (200, 300))
    with pytest.raises(frames.AlignmentError, match=r"picture 2: .*usable stars are too few"):
        frames.measure_alignments([noise, noise])
