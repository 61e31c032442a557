"""Photon transfer and flats, on frames simulated by numpy with a known camera."""

import numpy as np
import pytest
from support import assert_row, rows

import workbook.sensor.flats as flats
import workbook.sensor.transfer as transfer

LIGHT = rows("light.csv")
HAND = {  # rows DET-08 and DET-09
    "flat_sum_adu": 42000,
    "bias_sum_adu": 2000,
    "flat_difference_variance_adu2": 10100.25,
    "bias_difference_variance_adu2": 50,
    "pixels": 90000,
}
GAIN, READ, OFFSET, TOP = 0.8, 1.6, 500.0, 16383


def shape_of_light(size):
    """A flat field with vignetting and dust: the pattern that the difference of two flats takes away."""
    y, x = np.mgrid[-1 : 1 : size[0] * 1j, -1 : 1 : size[1] * 1j]
    return 1 - 0.25 * (x**2 + y**2) + 0.05 * np.cos(40 * x)


def frame(rng, electrons, *, size=(160, 200), tilt=0.0, gain=GAIN):
    light = electrons * shape_of_light(size)
    light = light * (1 + tilt * np.linspace(-1, 1, size[1]))
    counts = (rng.poisson(light) + rng.normal(0, READ, size)) / gain + OFFSET
    return np.clip(np.rint(counts), 0, TOP)


def camera(rng, levels=(1500, 3500, 6500), biases=2, **change):
    return transfer.photon_transfer(
        flat_pairs_adu=[(frame(rng, e, **change), frame(rng, e, **change)) for e in levels],
        bias_pairs_adu=[(frame(rng, 0), frame(rng, 0)) for _ in range(biases)],
        saturation_adu=TOP,
    )


# By hand


def test_gain_by_hand():
    """Source: reference rows DET-08 and DET-09."""
    found = transfer.pair_gain(**HAND)
    assert_row(LIGHT["DET-08"], found.gain_e_adu)
    assert_row(LIGHT["DET-09"], found.read_noise_e)


def test_gain_error_by_drawing_variances():
    """Derivation: variances of n pixels are χ² with n − 1 degrees (numpy); spread of gain and read noise to 4 %."""
    rng = np.random.default_rng(1)
    pixels = 900
    flat, bias = (
        HAND[k] * rng.chisquare(pixels - 1, 20_000) / (pixels - 1)
        for k in ("flat_difference_variance_adu2", "bias_difference_variance_adu2")
    )
    drawn = 40000 / (flat - bias)
    reads = drawn * np.sqrt(bias / 2)
    found = transfer.pair_gain(**HAND | {"pixels": pixels})
    np.testing.assert_allclose(found.gain_sigma_e_adu, drawn.std(), rtol=0.04)
    np.testing.assert_allclose(found.read_noise_sigma_e, reads.std(), rtol=0.04)


def test_gain_error_where_read_noise_is_large():
    """Derivation: as above with flats hardly noisier than biases, where both share their error; to 8 %."""
    rng = np.random.default_rng(2)
    pixels, v_flat, v_bias = 40_000, 90.0, 50.0
    flat, bias = (v * rng.chisquare(pixels - 1, 20_000) / (pixels - 1) for v in (v_flat, v_bias))
    drawn = 160 / (flat - bias)
    found = transfer.pair_gain(
        flat_sum_adu=1160,
        bias_sum_adu=1000,
        flat_difference_variance_adu2=v_flat,
        bias_difference_variance_adu2=v_bias,
        pixels=pixels,
    )
    np.testing.assert_allclose(found.gain_sigma_e_adu, drawn.std(), rtol=0.08)
    np.testing.assert_allclose(found.read_noise_sigma_e, (drawn * np.sqrt(bias / 2)).std(), rtol=0.08)


# From frames


def test_camera_from_frames():
    """Derivation: 40 simulated cameras: gain and read noise unbiased to 3 errors, spread as stated to 35 %.

    40 spreads are known to 11 % each, so 35 % is three of them. Rounding adds 0.8²/12 to the squared read noise.
    """
    rng = np.random.default_rng(3)
    found = [camera(rng) for _ in range(40)]
    gains = np.array([f.gain_e_adu for f in found])
    reads = np.array([f.read_noise_e for f in found])
    truth = np.sqrt(READ**2 + GAIN**2 / 12)
    assert abs(gains.mean() - GAIN) < 3 * gains.std() / np.sqrt(40)
    assert abs(reads.mean() - truth) < 3 * reads.std() / np.sqrt(40)
    np.testing.assert_allclose(gains.std(), np.mean([f.gain_sigma_e_adu for f in found]), rtol=0.35)
    np.testing.assert_allclose(reads.std(), np.mean([f.read_noise_sigma_e for f in found]), rtol=0.35)
    assert all(f.refused == () for f in found)
    np.testing.assert_allclose([f.bias_adu for f in found], OFFSET, atol=0.05)


def test_one_pair_of_each_is_the_formula_by_hand():
    """Source: Howell's formula of rows DET-08 and DET-09 with means and variances by numpy; 1 % for the clipping."""
    rng = np.random.default_rng(4)
    f1, f2, b1, b2 = (frame(rng, e) for e in (5000, 5000, 0, 0))
    hand = ((f1.mean() + f2.mean()) - (b1.mean() + b2.mean())) / (np.var(f1 - f2) - np.var(b1 - b2))
    found = transfer.photon_transfer(flat_pairs_adu=[(f1, f2)], bias_pairs_adu=[(b1, b2)], saturation_adu=TOP)
    np.testing.assert_allclose(found.gain_e_adu, hand, rtol=0.01)
    np.testing.assert_allclose(found.read_noise_e, hand * np.std(b1 - b2) / np.sqrt(2), rtol=0.01)


@pytest.mark.parametrize("electrons", [20, 5000])
def test_errors_of_one_pair_are_those_by_hand(electrons):
    """Derivation: the line through two points; its errors by `pair_gain`, which drawn variances check above.

    With 20 electrons both share the noise of reading; 3 % for pixels beyond the cut.
    """
    rng = np.random.default_rng(17)
    f1, f2, b1, b2 = (frame(rng, e) for e in (electrons, electrons, 0, 0))
    hand = transfer.pair_gain(
        flat_sum_adu=f1.mean() + f2.mean(),
        bias_sum_adu=b1.mean() + b2.mean(),
        flat_difference_variance_adu2=np.var(f1 - f2),
        bias_difference_variance_adu2=np.var(b1 - b2),
        pixels=f1.size,
    )
    found = transfer.photon_transfer(flat_pairs_adu=[(f1, f2)], bias_pairs_adu=[(b1, b2)], saturation_adu=TOP)
    np.testing.assert_allclose(found[:4], hand, rtol=0.03)


def test_hits_of_radiation_do_not_count():
    """Derivation: 30 pixels lifted by 3000 counts in one flat of each pair change the gain by less than 2 %."""
    rng = np.random.default_rng(5)
    pairs = [[frame(rng, e), frame(rng, e)] for e in (2000, 5000)]
    for pair in pairs:
        pair[0].flat[rng.integers(0, pair[0].size, 30)] += 3000
    found = transfer.photon_transfer(
        flat_pairs_adu=pairs, bias_pairs_adu=[(frame(rng, 0), frame(rng, 0))], saturation_adu=TOP
    )
    np.testing.assert_allclose(found.gain_e_adu, GAIN, rtol=0.02)
    np.testing.assert_allclose(pairs[0][0].var() / 2 > 1e4, True)  # without the cut it would be far off


def bad_pairs(rng):
    flat = frame(rng, 4000)
    return {
        "saturated": (frame(rng, 14000), frame(rng, 14000)),
        "flickers": (flat, frame(rng, 3700)),
        "mismatched, the light moved": (frame(rng, 4000, tilt=0.02), frame(rng, 4000, tilt=-0.02)),
        "mismatched, (160, 200) against (160, 100) pixels": (flat, frame(rng, 4000, size=(160, 100))),
        "too small": (flat[:20, :20], frame(rng, 4000)[:20, :20]),
        "no brighter than the bias": (flat * 0 + 400, flat * 0 + 400),
        "holds 1 frames, not two": (flat,),
        "no noise in the difference: the same frame twice?": (flat, flat),
        "holds pixels without a value": (flat, np.where(flat > 5400, np.nan, flat)),
    }


@pytest.mark.parametrize("reason", bad_pairs(np.random.default_rng(0)))
def test_bad_pairs_are_refused_with_the_reason(reason):
    """Derivation: each fault planted in one of three pairs; the gain comes from the other two, within 3 %."""
    rng = np.random.default_rng(6)
    pairs = [
        (frame(rng, 2000), frame(rng, 2000)),
        bad_pairs(rng)[reason],
        (frame(rng, 5000), frame(rng, 5000)),
    ]
    found = transfer.photon_transfer(
        flat_pairs_adu=pairs, bias_pairs_adu=[(frame(rng, 0), frame(rng, 0))], saturation_adu=TOP
    )
    assert len(found.refused) == 1
    assert found.refused[0].startswith(f"flat pair 2: {reason}")
    np.testing.assert_allclose(found.gain_e_adu, GAIN, rtol=0.03)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda b: (b, b - 500), "cut off at zero"),
        (lambda b: (b, b + 5), "mismatched, levels 5"),
        (lambda b: (b, np.where(np.arange(b.shape[1]) > 100, b + 3, b - 3)), "mismatched, "),
    ],
)
def test_bad_biases_are_refused(change, words):
    """Derivation: an offset of zero, a level that wanders, a picture in the difference; the other pair serves."""
    rng = np.random.default_rng(7)
    bias = frame(rng, 0)
    broken = tuple(np.clip(b, 0, None) for b in change(bias))
    found = transfer.photon_transfer(
        flat_pairs_adu=[(frame(rng, 4000), frame(rng, 4000))],
        bias_pairs_adu=[broken, (frame(rng, 0), frame(rng, 0))],
        saturation_adu=TOP,
    )
    assert words in found.refused[0]
    assert found.refused[0].startswith("bias pair 1")
    np.testing.assert_allclose(found.gain_e_adu, GAIN, rtol=0.03)


def test_good_pairs_are_rarely_refused():
    """Derivation: 100 good pairs of each level; the limits lie 5 sigmas out, so none should go."""
    rng = np.random.default_rng(8)
    refused = [r for _ in range(50) for r in camera(rng, levels=(300, 8000), biases=1).refused]
    assert refused == []


def test_nothing_left_says_why():
    """Derivation: the message holds every reason."""
    rng = np.random.default_rng(9)
    good, full = (frame(rng, 3000), frame(rng, 3000)), (frame(rng, 14000), frame(rng, 14000))
    bias = (frame(rng, 0), frame(rng, 0))
    with pytest.raises(ValueError, match=r"no pair of flats is left: flat pair 1: saturated, .* %"):
        transfer.photon_transfer(flat_pairs_adu=[full], bias_pairs_adu=[bias], saturation_adu=TOP)
    with pytest.raises(ValueError, match=r"no pair of biases is left: .*there is no bias"):
        transfer.photon_transfer(flat_pairs_adu=[good], bias_pairs_adu=[], saturation_adu=TOP)
    averaged = tuple(np.mean([frame(rng, 3000) for _ in range(9)], axis=0) / 40 + 600 for _ in range(2))
    with pytest.raises(ValueError, match="no noise that grows with light"):
        transfer.photon_transfer(flat_pairs_adu=[averaged], bias_pairs_adu=[bias], saturation_adu=TOP)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"flat_sum_adu": 1000}, r"flat_sum_adu must be above 0 ADU.*brighter than the biases"),
        ({"flat_difference_variance_adu2": 40}, r"flat_difference_variance_adu2 must be above 0 .*noisier"),
        ({"bias_difference_variance_adu2": 0}, r"bias_difference_variance_adu2 must be above 0 ADU²"),
        ({"pixels": 0}, r"pixels must be above 0"),
    ],
)
def test_errors_by_hand(change, message):
    with pytest.raises(ValueError, match=message):
        transfer.pair_gain(**HAND | change)


# Flats


def flat(rng, electrons=6000, *, lean=0.0, corner=0.25, size=(240, 320)):
    y, x = np.mgrid[-1 : 1 : size[0] * 1j, -1 : 1 : size[1] * 1j]
    light = electrons * (1 - corner * (x**2 + y**2)) * (1 + lean * x)
    return (rng.poisson(light) + rng.normal(0, READ, size)) / GAIN + OFFSET


def check(first, second):
    return flats.check_flats(first_adu=first, second_adu=second, bias_adu=OFFSET, saturation_adu=TOP)


def test_good_flats_pass():
    """Derivation: two flats of one light differ by photon noise alone, which is taken off."""
    rng = np.random.default_rng(10)
    found = check(flat(rng), flat(rng, 5500))
    assert found.good
    assert found.reasons == ()
    assert found.ratio_spread < 0.001
    expected_noise = np.sqrt(2 / 6000 / (20 * 26)) * 1.1  # 1.1: 1/light over a vignetted field
    np.testing.assert_allclose(found.ratio_noise, expected_noise, rtol=0.15)


def test_light_from_the_side_is_found():
    """Derivation: a lean of ±3 % has the spread 3 %/√3 = 1.7 % (12 steps: times √(1 − 1/144))."""
    rng = np.random.default_rng(11)
    found = check(flat(rng), flat(rng, lean=0.03))
    assert not found.good
    assert "light from the side" in found.reasons[0]
    np.testing.assert_allclose(found.ratio_spread, 0.03 / np.sqrt(3), rtol=0.05)


def test_corner():
    """Derivation: 1 − 0.25 r² in the middle of the corner tile, (11/12)² + (11/12)², over the centre's tiles."""
    found = check(flat(np.random.default_rng(12)), flat(np.random.default_rng(13)))
    tile = np.linspace(5 / 6, 1, 2001)
    middle = np.linspace(0, 1 / 6, 2001)
    expected = (1 - 0.5 * np.mean(tile**2)) / (1 - 0.5 * np.mean(middle**2))
    np.testing.assert_allclose(found.corner_share, expected, rtol=0.02)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"electrons": 900}, "too dark: 6 % of saturation"),
        ({"electrons": 12500}, "too bright: 8"),
        ({"corner": 0.45}, "a corner has 2"),
    ],
)
def test_bad_flats_fail_with_the_reason(change, words):
    """Derivation: one fault planted in both flats; the level is the median over saturation less offset."""
    rng = np.random.default_rng(14)
    found = check(flat(rng, **change), flat(rng, **change))
    assert not found.good
    assert any(words in reason for reason in found.reasons)


def test_one_bad_flat_is_enough():
    """Derivation: level of the worse of both."""
    rng = np.random.default_rng(15)
    assert "too dark" in check(flat(rng), flat(rng, 900)).reasons[0]
    assert "too dark" in check(flat(rng, 900), flat(rng)).reasons[0]
    assert "too bright" in check(flat(rng, 12500), flat(rng)).reasons[0]
    assert "too bright" in check(flat(rng), flat(rng, 12500)).reasons[0]


def test_a_mosaic_does_not_matter():
    """Derivation: three colours of different light, two pixels apart, in both flats: the ratio is unchanged."""
    rng = np.random.default_rng(16)
    colours = np.tile([[0.6, 1.0], [1.0, 0.5]], (120, 160))
    first, second = ((flat(rng) - OFFSET) * colours + OFFSET for _ in range(2))
    found = check(first, second)
    assert found.good
    assert found.ratio_noise < 0.002


@pytest.mark.parametrize(
    ("first", "second", "message"),
    [
        (np.ones((60, 60)) * 900, np.ones((60, 61)) * 900, r"two flats of one shape"),
        (np.ones((20, 60)) * 900, np.ones((20, 60)) * 900, r"must be 48 pixels or more each way"),
        (np.ones((60, 60)) * 400, np.ones((60, 60)) * 900, r"first_adu must be above 0 ADU.*brighter"),
    ],
)
def test_errors_of_flats(first, second, message):
    with pytest.raises(ValueError, match=message):
        check(first, second)
