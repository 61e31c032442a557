"""Noise, counts and colours of a camera against scipy's distributions, EMVA 1288 and the CCD equation."""

import numpy as np
import pytest
from scipy import stats
from support import assert_row, rows

from workbook.frames import camera, fast_noise

SENSOR = {"read_noise_e": 1.6, "gain_e_adu": 0.8, "offset_adu": 500, "full_well_e": 13000, "adc_bits": 14}
FORMS = pytest.mark.parametrize("read_out", [camera.read_out, fast_noise.read_out], ids=["plain", "fast"])


def sensor(width_px=1000, height_px=1000, **change):
    return camera.Sensor(width_px=width_px, height_px=height_px, **SENSOR | change)


@FORMS
@pytest.mark.parametrize("light_e", [3.0, 60.0, 2000.0])
def test_noise_is_poisson_plus_gaussian(read_out, light_e):
    """Source: scipy's Poisson and normal distributions, convolved; 0.002 and the scatter of a million pixels."""
    rig = sensor(gain_e_adu=0.05, offset_adu=2000, adc_bits=16)
    counts = read_out(np.full((1000, 1000), light_e), sensor=rig, seed=11)
    number = np.arange(stats.poisson.ppf(1e-12, light_e), stats.poisson.ppf(1 - 1e-12, light_e) + 1)
    share = stats.poisson.pmf(number, light_e)
    values = np.arange(counts.min(), counts.max() + 1)
    edge_e = (values + 0.5 - 2000) * 0.05  # all below this is rounded to the value or less
    theory = (share * stats.norm.cdf(edge_e[:, None], number, 1.6)).sum(axis=1)
    found = np.cumsum(np.bincount(counts.ravel())[counts.min() :]) / counts.size
    assert abs(found - theory).max() < 0.002 + 0.0017
    assert counts.mean() == pytest.approx(
        2000 + light_e / 0.05, abs=5 * np.sqrt(light_e + 2.56) / 0.05 / 1000
    )
    assert counts.var() * 0.05**2 == pytest.approx(light_e + 1.6**2, rel=0.008)


@FORMS
def test_ccd_equation(read_out):
    """Against reference row SNR-04 (astropy's CCD equation), as measured on ten thousand stars; 3 %: scatter."""
    row = rows("light.csv")["SNR-04"]  # 60 s; 50 e⁻/s in 25 px; sky 0.8, dark 0.1 e⁻/s/px; read noise 3 e⁻
    rig = sensor(width_px=500, height_px=500, read_noise_e=3.0, gain_e_adu=0.5)
    counts = read_out(np.full((500, 500), 60 * (50 / 25 + 0.8 + 0.1)), sensor=rig, seed=3)
    electrons = (counts.astype(float) - 500) * 0.5
    stars = electrons.reshape(100, 5, 100, 5).sum(axis=(1, 3)) - 25 * 60 * 0.9
    assert stars.mean() == pytest.approx(3000, abs=3)
    assert stars.mean() / stars.std() == pytest.approx(row["expected"], rel=0.03)


@FORMS
def test_rounding_adds_its_own_noise(read_out):
    """Against reference row DET-01: counts of one sigma, whose variance is 1 + 1/12."""
    rig = sensor(read_noise_e=4.0, gain_e_adu=4.0)
    counts = read_out(np.zeros((1000, 1000)), sensor=rig, seed=8)
    assert_row(rows("stars.csv")["DET-01"], np.sqrt(counts.var() - 1.0))


@FORMS
def test_offset_full_well_and_the_end_of_the_converter(read_out):
    """Derivation: 13,000 e⁻ over 0.8 e⁻/ADU and 500 ADU is 16,750, beyond 2¹⁴ − 1; over 2 it is 7,000."""
    dark = read_out(np.zeros((200, 300)), sensor=sensor(300, 200), seed=1)
    assert dark.dtype == np.uint16
    assert dark.mean() == pytest.approx(500, abs=0.05)
    assert dark.std() == pytest.approx(np.hypot(2.0, np.sqrt(1 / 12)), rel=0.02)
    bright = np.full((200, 300), 1e6)
    assert (read_out(bright, sensor=sensor(300, 200), seed=1) == 16383).all()
    assert sensor().saturation_adu == 16383
    shallow = sensor(300, 200, gain_e_adu=2.0)
    assert shallow.saturation_adu == 7000
    assert abs(read_out(bright, sensor=shallow, seed=1).astype(int) - 7000).max() <= 5
    low = read_out(np.zeros((200, 300)), sensor=sensor(300, 200, offset_adu=0), seed=1)
    assert low.min() == 0


@FORMS
def test_the_seed_decides_and_neighbours_are_independent(read_out):
    """Derivation: the correlation of independent pixels is 0 ± 1/√N."""
    light = np.full((1000, 1000), 80.0)
    one, again, other = (read_out(light, sensor=sensor(), seed=seed) for seed in (5, 5, 6))
    np.testing.assert_array_equal(one, again)
    for first, second in (
        (one[:, 1:], one[:, :-1]),
        (one[1:], one[:-1]),
        (one, other),
        (one[:, 4:], one[:, :-4]),
    ):
        assert abs(np.corrcoef(first.ravel(), second.ravel())[0, 1]) < 5e-3


def test_single_electrons_are_left_to_the_plain_form():
    """Derivation: with little read noise the electrons are steps, which only the plain form draws."""
    rig = sensor(200, 100, read_noise_e=0.2, gain_e_adu=0.1)
    light = np.full((100, 200), 2.0)
    fast = fast_noise.read_out(light, sensor=rig, seed=4)
    np.testing.assert_array_equal(fast, camera.read_out(light, sensor=rig, seed=4))


@FORMS
@pytest.mark.parametrize(
    ("light", "message"),
    [
        (
            np.zeros((10, 20)),
            r"light_e must have the sensor's shape \(rows, columns\) \(200, 300\), received \(10",
        ),
        (np.full((200, 300), -1.0), "light_e must be 0 or more electrons everywhere, received -1"),
        (np.full((200, 300), np.nan), "light_e must be 0 or more electrons everywhere, received nan"),
    ],
)
def test_impossible_light(read_out, light, message):
    with pytest.raises(ValueError, match=message):
        read_out(light, sensor=sensor(300, 200), seed=1)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"width_px": 0}, "width_px must be above 0 px"),
        ({"gain_e_adu": 0}, "gain_e_adu must be above 0 e⁻/ADU"),
        ({"read_noise_e": -1}, "read_noise_e must be 0 or more e⁻"),
        ({"adc_bits": 20}, "adc_bits must be 1 to 16, received 20: a converter has 8 to 16 bits"),
        ({"mosaic": "RGB"}, "mosaic must be one of '', 'RGGB'"),
    ],
)
def test_impossible_sensors(change, message):
    with pytest.raises(ValueError, match=message):
        camera.Sensor(**{"width_px": 10, "height_px": 10} | SENSOR | change)


# Mosaic


@pytest.mark.parametrize("mosaic", camera.MOSAICS[1:])
def test_mosaic_keeps_the_mean_and_gives_each_filter_its_part(mosaic):
    """Derivation: 1 : 2 : 3 over a cell with two greens is 4·(1, 2, 3)/8 of the mean."""
    light = np.full((6, 8), 10.0)
    kept = light.copy()
    seen = camera.mosaic_light(light, mosaic=mosaic, colours=(1.0, 2.0, 3.0))
    np.testing.assert_array_equal(light, kept)
    assert seen.mean() == pytest.approx(10.0)
    part = {"R": 5.0, "G": 10.0, "B": 15.0}
    for row in range(6):
        for column in range(8):
            assert seen[row, column] == pytest.approx(part[mosaic[2 * (row % 2) + column % 2]])


def test_mosaic_of_odd_sizes_whole_numbers_and_mono():
    assert camera.mosaic_light(
        np.ones((3, 5), int), mosaic="RGGB", colours=(1, 1, 1)
    ).mean() == pytest.approx(1)
    np.testing.assert_array_equal(
        camera.mosaic_light(np.ones((2, 2)), mosaic="", colours=(1, 2, 3)), np.ones((2, 2))
    )
    with pytest.raises(ValueError, match="colours must be 0 or more"):
        camera.mosaic_light(np.ones((2, 2)), mosaic="RGGB", colours=(1, -1, 1))
    with pytest.raises(ValueError, match="one part at least must be light"):
        camera.mosaic_light(np.ones((2, 2)), mosaic="RGGB", colours=(0, 0, 0))
    with pytest.raises(ValueError, match="mosaic must be one of"):
        camera.mosaic_light(np.ones((2, 2)), mosaic="XTRA", colours=(1, 1, 1))
