"""Widths of stars, the blur budget and sampling: against photons, drawn mosaics and the true patterns."""

import numpy as np
import pytest
from scipy.ndimage import convolve
from scipy.optimize import brentq
from scipy.special import erf, j1
from support import assert_broadcasts, assert_row, rows

import workbook.sampling.budget as budget
import workbook.sampling.critical as critical
import workbook.sampling.width as width
from workbook import sampling

ROWS = rows("optics.csv")
RAD_ARCSEC = 180 * 3600 / np.pi
PER_SIGMA = 2 * np.sqrt(2 * np.log(2))

# Widths


def boxed_gaussian_fwhm(sigma, box):
    """True width of a Gaussian run over by a box, from the error function."""

    def height(x):
        return erf((x + box / 2) / sigma / np.sqrt(2)) - erf((x - box / 2) / sigma / np.sqrt(2))

    return 2 * brentq(lambda x: height(x) - height(0) / 2, 0, 5 * sigma + box)


def test_fwhm_and_sigma():
    """Source: reference row PSF-01; Derivation: scipy's root of the Gaussian at half its peak; and back."""
    assert_row(ROWS["PSF-01"], width.fwhm_of_sigma_px(1))
    half = brentq(lambda x: np.exp(-(x**2) / 2 / 1.7**2) - 0.5, 0, 9)
    assert width.fwhm_of_sigma_px(1.7) == pytest.approx(2 * half)
    assert width.sigma_of_fwhm_px(2 * half) == pytest.approx(1.7)


def test_second_moments_are_not_the_true_width():
    """Source: reference rows PSF-03 (true) and PSF-04 (second moments). PSF-03 checks the oracle, the error function
    above; test_frames_drawing holds the workbook's stars against it.
    """
    assert_row(ROWS["PSF-03"], boxed_gaussian_fwhm(1, 2))
    along = width.trailed_sigma_px(star_sigma_px=1, trail_px=2).along_px
    assert_row(ROWS["PSF-04"], width.fwhm_of_sigma_px(along))


def test_trailed_star():
    """Source: reference row PSF-13; Derivation: photons thrown along the trail; nothing across."""
    found = width.trailed_sigma_px(star_sigma_px=1, trail_px=2)
    assert_row(ROWS["PSF-13"], found.along_px / found.across_px)
    rng = np.random.default_rng(7)
    photons = rng.normal(0, 1.2, 400_000) + rng.uniform(-2.5, 2.5, 400_000)
    found = width.trailed_sigma_px(star_sigma_px=1.2, trail_px=5)
    np.testing.assert_allclose(found.along_px, photons.std(), rtol=0.004)  # 400,000 photons: 0.1 %
    assert found.across_px == 1.2


def test_a_trail_as_long_as_the_star_is_wide():
    """Derivation: the words of the docstring, 21 % by second moments and 25 % in true width, not 41 %."""
    fwhm = width.fwhm_of_sigma_px(1)
    along = width.trailed_sigma_px(star_sigma_px=1, trail_px=fwhm).along_px
    assert along == pytest.approx(1.21, abs=0.005)
    assert boxed_gaussian_fwhm(1, fwhm) / fwhm == pytest.approx(1.25, abs=0.005)


# Where the four pixels of a mosaic are red and blue; the others are green.
RED, BLUE = (0, 0), (1, 1)
NEAR = {"green": [[0, 1, 0], [1, 4, 1], [0, 1, 0]], "red": [[1, 2, 1], [2, 4, 2], [1, 2, 1]]}


def filled_in(star, colour):
    """One colour of a star seen through the mosaic, missing pixels averaged from their neighbours."""
    row, column = np.indices(star.shape) % 2
    seen = {"red": (row == 0) & (column == 0), "blue": (row == 1) & (column == 1)}
    seen["green"] = ~seen["red"] & ~seen["blue"]
    weights = np.array(NEAR[colour if colour == "green" else "red"], float) / 4
    filled = convolve(np.where(seen[colour], star, 0.0), weights, mode="constant")
    return np.where(seen[colour], star, filled)


def added_variance(colour, sigma=1.1, steps=8, size=40):
    """Variance along x that filling in adds to a star, over all its places within the mosaic."""
    channels = ["red", "green", "green", "blue"] if colour == "colour" else [colour]
    place = np.arange(size) - size // 2
    before, after = np.zeros(3), np.zeros(3)  # flux, and its first and second moment about the star's place
    for dx in np.arange(2 * steps) / steps:
        powers = np.stack([(place - dx) ** 0, place - dx, (place - dx) ** 2])
        for dy in np.arange(2 * steps) / steps:
            profiles = [np.exp(-((place - d) ** 2) / 2 / sigma**2) for d in (dy, dx)]
            star = np.outer(*profiles)
            before += powers @ star.sum(axis=0)
            after += powers @ np.mean([filled_in(star, channel) for channel in channels], axis=0).sum(axis=0)
    return after[2] / after[0] - (after[1] / after[0]) ** 2 - before[2] / before[0]


@pytest.mark.parametrize("colour", ["green", "red", "blue", "colour"])
def test_mosaic_term_against_filled_in_stars(colour):
    """Derivation: stars drawn at 256 places of a 2 × 2 mosaic, colours averaged in, second moments taken."""
    np.testing.assert_allclose(width.mosaic_sigma_px(colour) ** 2, added_variance(colour), rtol=1e-6)


def test_mono_has_no_mosaic_term():
    """Derivation: no mosaic, nothing filled in."""
    assert width.mosaic_sigma_px("mono") == 0.0
    with pytest.raises(
        ValueError, match=r"mosaic must be one of 'mono', 'colour', 'green', .* received 'rgb'"
    ):
        width.mosaic_sigma_px("rgb")


def test_seeing_at_height_and_colour():
    """Source: reference rows SEE-03 and SEE-04 (the width goes as wavelength over Fried's parameter)."""
    found = width.seeing_fwhm_arcsec(zenith_fwhm_arcsec=2, airmass=2, wavelength_nm=500)
    assert_row(ROWS["SEE-03"], found)
    red = width.seeing_fwhm_arcsec(zenith_fwhm_arcsec=2, airmass=1, wavelength_nm=656.3)
    assert_row(ROWS["SEE-04"], 0.10 * (656.3 / 500) / (red / 2))


def test_star_on_the_grid():
    """Source: reference row PSF-01; 2.35482″ at 2 ″/px is half a pixel."""
    assert width.star_sigma_px(fwhm_arcsec=ROWS["PSF-01"]["expected"], scale_arcsec_px=2) == pytest.approx(
        0.5
    )


# The budget

RIG = {"seeing_fwhm_arcsec": 3, "aperture_mm": 58, "focal_mm": 320, "wavelength_nm": 550, "pixel_um": 3.5}
RIG |= {"mosaic": "mono", "defocus_um": 40, "guiding_rms_arcsec": 0.5, "trail_px": 1.5}


def test_budget_against_thrown_photons():
    """Derivation: each photon is shifted by every cause at random; Gaussians stand for seeing and diffraction."""
    rng = np.random.default_rng(11)
    many = 1_000_000
    scale = np.degrees(np.arctan(3.5e-3 / 320)) * 3600
    airy = 2 * brentq(lambda x: (2 * j1(x) / x) ** 2 - 0.5, 1, 2) / np.pi * 550e-6 / 58 * RAD_ARCSEC
    disc, turn = np.sqrt(rng.random(many)) * 40 / (320 / 58) / 3.5 / 2, rng.random(many) * 2 * np.pi
    across = rng.normal(0, 3 / PER_SIGMA / scale, many) + rng.normal(0, airy / PER_SIGMA / scale, many)
    across += rng.normal(0, 0.5 / scale, many) + disc * np.cos(turn) + rng.uniform(-0.5, 0.5, many)
    along = across + rng.uniform(-0.75, 0.75, many)
    found = budget.blur_budget(**RIG)
    np.testing.assert_allclose(found.fwhm_px, PER_SIGMA * along.std(), rtol=0.003)  # a million: 0.07 %
    np.testing.assert_allclose(found.across_px, PER_SIGMA * across.std(), rtol=0.003)
    np.testing.assert_allclose(found.fwhm_arcsec, found.fwhm_px * scale, rtol=1e-6)
    assert sum(found.shares) == pytest.approx(1)


def test_budget_of_gaussians_only():
    """Source: reference rows PSF-02 and PSF-16; seeing, guiding, and a third blur in place of diffraction."""
    sky_wide = RIG | {"pixel_um": 1e-3, "defocus_um": 0, "trail_px": 0}
    sky_wide |= {"seeing_fwhm_arcsec": 2.5, "guiding_rms_arcsec": 0.8}
    airy = 1.028994 * 550e-6 * RAD_ARCSEC
    found = budget.blur_budget(**sky_wide | {"aperture_mm": airy / 1.9457})
    assert_row(ROWS["PSF-02"], found.fwhm_arcsec)
    assert_row(ROWS["PSF-16"], PER_SIGMA * found.sigma_px[5] * found.fwhm_arcsec / found.fwhm_px)


def true_fwhm_px(*, cells=1024, fine=16, **rig):
    """Width of the image that all true patterns make together, by multiplying their transforms.

    Seeing by Kolmogorov's law (structure constant 6.88, FWHM 0.97586 λ/r0), the Airy pattern, the square pixel,
    the even disc of a defocus, a Gaussian of guiding and a box along x.
    """
    wave = rig["wavelength_nm"] * 1e-9
    scale = RAD_ARCSEC * rig["pixel_um"] * 1e-3 / rig["focal_mm"]
    fx = np.fft.fftfreq(cells, 1 / fine)
    x, y = np.meshgrid(fx, fx)
    per_px = np.hypot(x, y)
    base = per_px / scale * RAD_ARCSEC * wave  # distance in the aperture that sees this frequency, m
    fried = 0.97586 * wave / (rig["seeing_fwhm_arcsec"] / RAD_ARCSEC)
    share = np.clip(base / (rig["aperture_mm"] * 1e-3), 0, 1)
    disc = np.pi * per_px * rig["defocus_um"] * rig["aperture_mm"] / rig["focal_mm"] / rig["pixel_um"]
    disc[disc == 0] = 1e-9
    transfer = np.exp(-3.44 * (base / fried) ** (5 / 3))
    transfer *= 2 / np.pi * (np.arccos(share) - share * np.sqrt(1 - share**2))
    transfer *= np.sinc(x) * np.sinc(y) * np.sinc(x * rig["trail_px"]) * 2 * j1(disc) / disc
    transfer *= np.exp(-2 * (np.pi * per_px * rig["guiding_rms_arcsec"] / scale) ** 2)
    row = np.fft.fftshift(np.fft.ifft2(transfer).real)[cells // 2, cells // 2 :] / fine
    row = row / row[0]
    first = int(np.argmax(row < 0.5))
    return 2 * (first - 1 + (row[first - 1] - 0.5) / (row[first - 1] - row[first])) / fine


PLAIN = {"defocus_um": 0, "guiding_rms_arcsec": 0, "trail_px": 0}


@pytest.mark.parametrize(
    ("change", "most"),
    [
        ({**PLAIN}, 0.05),
        ({**PLAIN, "seeing_fwhm_arcsec": 5}, 0.05),
        ({**PLAIN, "focal_mm": 1280, "pixel_um": 3.5}, 0.05),
        ({**PLAIN, "guiding_rms_arcsec": 0.8}, 0.05),
        ({}, 0.11),
        ({**PLAIN, "trail_px": 2}, 0.11),
        ({**PLAIN, "defocus_um": 40}, 0.11),
        ({**PLAIN, "focal_mm": 160}, 0.11),
    ],
)
def test_budget_against_the_true_patterns(change, most):
    """Derivation: Kolmogorov, Airy, pixel, disc and box multiplied as transforms; the docstring's 5 and 11 %."""
    found = budget.blur_budget(**RIG | change)
    boxes = found.shares[2] + found.shares[4] + found.shares[6]
    assert boxes < (0.3 if most == 0.05 else 0.55)
    short = 1 - found.fwhm_px / true_fwhm_px(**{k: v for k, v in (RIG | change).items() if k != "mosaic"})
    assert 0 < short < most


def test_gains_are_what_halving_gives():
    """Derivation: each quantity halved by hand, the budget made again."""
    whole = budget.blur_budget(**RIG)
    halves = {0: {"seeing_fwhm_arcsec": 1.5}, 4: {"defocus_um": 20}, 5: {"guiding_rms_arcsec": 0.25}}
    halves[6] = {"trail_px": 0.75}
    halves[1] = {"aperture_mm": 116, "defocus_um": 20}  # twice the aperture; half the defocus keeps its disc
    for term, change in halves.items():
        gain = whole.fwhm_px - budget.blur_budget(**RIG | change).fwhm_px
        assert whole.gains_px[term] == pytest.approx(gain)
    without_pixel = whole.fwhm_px**2 - PER_SIGMA**2 * 0.75 / 12
    assert whole.gains_px[2] == pytest.approx(whole.fwhm_px - np.sqrt(without_pixel))
    assert list(whole.terms) == list(sampling.TERMS)


@pytest.mark.parametrize(
    ("change", "largest", "worth"),
    [
        ({"trail_px": 6}, "trail", "trail"),
        ({"defocus_um": 120}, "focus", "focus"),
        ({"guiding_rms_arcsec": 4}, "guiding", "guiding"),
        ({"aperture_mm": 20, "defocus_um": 0}, "diffraction", "diffraction"),
        ({"mosaic": "red"} | PLAIN, "colour mosaic", "colour mosaic"),
        ({"seeing_fwhm_arcsec": 9} | PLAIN, "seeing", "nothing"),
        ({"seeing_fwhm_arcsec": 3.4, "trail_px": 2.5}, "trail", "trail"),
        ({"pixel_um": 15} | PLAIN, "pixel", "pixel"),
        ({"seeing_fwhm_arcsec": np.nan}, "unknown", "unknown"),
    ],
)
def test_the_term_worth_improving(change, largest, worth):
    found = budget.blur_budget(**RIG | change)
    assert (found.largest, found.worth_improving) == (largest, worth)


def test_budget_of_arrays():
    found = budget.blur_budget(**RIG | {"seeing_fwhm_arcsec": [[1], [9], [np.nan]], "trail_px": [0, 6]})
    assert found.shares.shape == (7, 3, 2)
    assert found.worth_improving.tolist()[1] == ["nothing", "trail"]
    assert found.worth_improving.tolist()[2] == ["unknown", "unknown"]
    for name in ("fwhm_px", "across_px", "fwhm_arcsec"):
        numbers = {k: v for k, v in RIG.items() if k != "mosaic"}
        assert_broadcasts(
            lambda name=name, **kw: getattr(budget.blur_budget(mosaic="mono", **kw), name), **numbers
        )


# Pixels against blur


def test_critical_sampling():
    """Source: reference rows SAM-12 (two samples for the finest period) and SAM-13; the focal ratio back."""
    pixel = critical.critical_pixel_um(f_ratio=6, wavelength_nm=550)
    assert_row(ROWS["SAM-13"], pixel)
    assert_row(ROWS["SAM-12"], 1e3 / (2 * pixel))
    assert critical.critical_f_ratio(pixel_um=pixel, wavelength_nm=550) == pytest.approx(6)


def test_focal_length_for_sampling():
    """Source: reference row SAM-14."""
    assert_row(
        ROWS["SAM-14"], critical.focal_for_sampling_mm(fwhm_arcsec=2.5, pixel_um=3.76, pixels_per_fwhm=2)
    )


@pytest.mark.parametrize(("mosaic", "pitch"), [("mono", 1), ("red", 2), ("colour", 2), ("blue", 2)])
def test_alias_contrast_is_what_a_drawn_star_keeps(mosaic, pitch):
    """Derivation: the discrete transform of a finely drawn star at half a cycle for each pitch."""
    x = (np.arange(4096) - 2048) / 64  # px
    star = np.exp(-(x**2) / 2 / (2.6 / PER_SIGMA) ** 2)
    kept = abs(np.sum(star * np.exp(-2j * np.pi * x / (2 * pitch)))) / star.sum()
    found = critical.sampling_verdict(fwhm_px=2.6, mosaic=mosaic)
    np.testing.assert_allclose(found.alias_contrast, kept, rtol=1e-6)
    assert found.samples_per_fwhm == pytest.approx(2.6 / pitch)


def test_green_keeps_least_at_the_corner_of_its_diamond():
    """Derivation: green repeats every (1, 1) and (1, −1) px; half of its shortest repeat is 0.354 cycles/px."""
    repeat = np.linalg.inv([[1, 1], [1, -1]])  # columns: frequencies that the grid takes for none
    limit = np.linalg.norm(repeat, axis=0).min() / 2
    expected = np.exp(-2 * (np.pi * 2.6 / PER_SIGMA * limit) ** 2)
    np.testing.assert_allclose(
        critical.sampling_verdict(fwhm_px=2.6, mosaic="green").alias_contrast, expected
    )


def test_sampling_words():
    """Derivation: 3 % of contrast at two samples, a millionth at four, as the conventions say."""
    found = critical.sampling_verdict(fwhm_px=[1.9, 2.0, 4.0, 4.1, np.nan], mosaic="mono")
    assert found.verdict.tolist() == ["coarse", "well sampled", "well sampled", "fine", "unknown"]
    np.testing.assert_allclose(found.alias_contrast[1], 0.0285, atol=1e-4)
    assert found.alias_contrast[2] < 1e-6
    assert critical.sampling_verdict(fwhm_px=3, mosaic="colour").verdict == "coarse"


# Shapes and errors

CALLS = [
    (width.fwhm_of_sigma_px, {"sigma_px": 2}),
    (width.sigma_of_fwhm_px, {"fwhm_px": 2}),
    (width.seeing_fwhm_arcsec, {"zenith_fwhm_arcsec": 2, "airmass": 2, "wavelength_nm": 550}),
    (width.star_sigma_px, {"fwhm_arcsec": 3, "scale_arcsec_px": 2}),
    (critical.critical_pixel_um, {"f_ratio": 6, "wavelength_nm": 550}),
    (critical.critical_f_ratio, {"pixel_um": 3, "wavelength_nm": 550}),
    (critical.focal_for_sampling_mm, {"fwhm_arcsec": 3, "pixel_um": 3, "pixels_per_fwhm": 2}),
]


@pytest.mark.parametrize(("function", "numbers"), CALLS)
def test_shapes(function, numbers):
    assert_broadcasts(function, **numbers)


def test_shapes_of_records():
    for name in ("along_px", "across_px"):
        trail = {"star_sigma_px": 1.5, "trail_px": 2}
        assert_broadcasts(lambda name=name, **kw: getattr(width.trailed_sigma_px(**kw), name), **trail)
    for name in ("samples_per_fwhm", "alias_contrast"):
        assert_broadcasts(
            lambda name=name, **kw: getattr(critical.sampling_verdict(mosaic="mono", **kw), name),
            fwhm_px=2,
        )


WRONG = [
    (width.fwhm_of_sigma_px, {"sigma_px": -1}, "sigma_px must be 0 or more px"),
    (width.sigma_of_fwhm_px, {"fwhm_px": -1}, "fwhm_px must be 0 or more px"),
    (width.seeing_fwhm_arcsec, {"airmass": 0.5}, "airmass must be 1 to 40.*2 at 30°"),
    (width.seeing_fwhm_arcsec, {"wavelength_nm": 0.5}, "wavelength_nm must be 100 to 30000 nm"),
    (width.seeing_fwhm_arcsec, {"zenith_fwhm_arcsec": -2}, "zenith_fwhm_arcsec must be 0 or more ″"),
    (width.star_sigma_px, {"scale_arcsec_px": 0}, "scale_arcsec_px must be above 0 ″/px"),
    (width.trailed_sigma_px, {"trail_px": -1}, "trail_px must be 0 or more px"),
    (width.trailed_sigma_px, {"star_sigma_px": -1}, "star_sigma_px must be 0 or more px"),
    (critical.critical_pixel_um, {"f_ratio": 0}, "f_ratio must be above 0"),
    (critical.critical_f_ratio, {"pixel_um": 0}, "pixel_um must be above 0 µm"),
    (critical.focal_for_sampling_mm, {"fwhm_arcsec": 0}, "fwhm_arcsec must be above 0 ″"),
    (critical.sampling_verdict, {"fwhm_px": 0}, "fwhm_px must be above 0 px"),
    (critical.sampling_verdict, {"mosaic": "bayer"}, "mosaic must be one of 'mono', 'colour'"),
    (budget.blur_budget, {"seeing_fwhm_arcsec": -3}, "seeing_fwhm_arcsec must be 0 or more ″"),
    (budget.blur_budget, {"guiding_rms_arcsec": -1}, "guiding_rms_arcsec must be 0 or more ″"),
    (budget.blur_budget, {"trail_px": -1}, "trail_px must be 0 or more px"),
    (budget.blur_budget, {"focal_mm": 0}, "focal_mm must be above 0 mm"),
]
GOOD = dict(CALLS) | {
    width.trailed_sigma_px: {"star_sigma_px": 1, "trail_px": 2},
    critical.sampling_verdict: {"fwhm_px": 2, "mosaic": "mono"},
    budget.blur_budget: RIG,
}


@pytest.mark.parametrize(("function", "wrong", "message"), WRONG)
def test_impossible_input_is_refused(function, wrong, message):
    with pytest.raises(ValueError, match=message):
        function(**GOOD[function] | wrong)


def test_the_door_shows_all():
    for name in sampling.__all__:
        assert hasattr(sampling, name)
