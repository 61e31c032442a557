"""The Moon's light as a share, on the ground, and the moonlit sky with its range and its warning."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.sky.air as air
import workbook.sky.brightness as brightness
import workbook.sky.moon as lunar

LIGHT = rows("light.csv")
USUAL = {  # the example of rows MOO-05 and MOO-06
    "dark_zenith_mag_arcsec2": 21.587,
    "zenith_distance_deg": 30.0,
    "moon_zenith_distance_deg": 45.0,
    "separation_deg": 60.0,
    "phase_angle_deg": 30.0,
    "extinction_mag": 0.172,
}


def test_lit_fraction():
    """Source: reference row MOO-07; full, half and new Moon."""
    assert_row(LIGHT["MOO-07"], lunar.lit_fraction(69.0756))
    np.testing.assert_allclose(lunar.lit_fraction([0, 90, -90, 180]), [1, 0.5, 0.5, 0], atol=1e-12)
    assert_broadcasts(lambda angle: lunar.lit_fraction(angle), angle=40)


def test_illuminance():
    """Source: reference row MOO-11; five magnitudes are a factor of a hundred."""
    assert_row(LIGHT["MOO-11"], lunar.illuminance_lx(-12.5))
    np.testing.assert_allclose(lunar.illuminance_lx(-7.5) * 100, lunar.illuminance_lx(-12.5), rtol=1e-12)
    assert_broadcasts(lambda magnitude: lunar.illuminance_lx(magnitude), magnitude=-11)


def test_moonlit_sky():
    """Source: reference row MOO-06; the range is the 23 % of the authors' abstract, on the moonlight alone."""
    night = lunar.moonlit_sky(**USUAL)
    assert_row(LIGHT["MOO-06"], night.sky_mag_arcsec2)
    assert night.warning == ""
    glow = LIGHT["MOO-05"]["expected"]
    dark = 79.0 * 10 ** (-0.4 * 0.172 * (1 / np.sqrt(0.76) - 1)) / np.sqrt(0.76)  # eq. 2 at 30°
    for value, factor in ((night.darkest_mag_arcsec2, 0.77), (night.brightest_mag_arcsec2, 1.23)):
        np.testing.assert_allclose(
            brightness.nanolambert_nl(sky_mag_arcsec2=value), dark + factor * glow, rtol=2e-3
        )


def test_no_moon_no_range():
    """Derivation: with the Moon down the sky is the dark sky of eq. 2, without range or warning."""
    night = lunar.moonlit_sky(**USUAL | {"moon_zenith_distance_deg": 100, "phase_angle_deg": 0})
    dark = air.dark_sky_nl(
        zenith_nl=brightness.nanolambert_nl(sky_mag_arcsec2=21.587),
        zenith_distance_deg=30,
        extinction_mag=0.172,
    )
    np.testing.assert_allclose(night[:3], brightness.sky_mag_arcsec2(brightness_nl=dark), rtol=1e-12)
    assert night.warning == ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"moon_zenith_distance_deg": 20, "separation_deg": 25}, "the Moon is high and near"),
        ({"separation_deg": 25}, "the Moon is near"),
        ({"phase_angle_deg": 3}, "the Moon is full and surges"),
        ({"phase_angle_deg": -3}, "the Moon is full and surges"),
        ({"zenith_distance_deg": 80}, "the patch is low"),
    ],
)
def test_warning_where_measured_skies_depart(change, words):
    """Source: Patat 2003, A&A 400, 1183, sec. 7: differences up to 0.4 mag (recalled); surge by the authors."""
    night = lunar.moonlit_sky(**USUAL | change)
    assert words in night.warning
    assert ("high and near" in night.warning) == ("high" in words)
    usual_width = 2.5 * np.log10(1.23 / 0.77)
    width = night.darkest_mag_arcsec2 - night.brightest_mag_arcsec2
    assert usual_width < width <= 0.8  # 0.4 mag of the moonlight to each side, less where the dark sky counts


def test_the_warning_is_one_of_moonlight_alone():
    """Derivation: a bright Moon alone makes ±0.4 mag of the whole sky; no air, no moonlight, no warning."""
    close = USUAL | {"separation_deg": 2, "dark_zenith_mag_arcsec2": 25}
    night = lunar.moonlit_sky(**close)
    np.testing.assert_allclose(night.sky_mag_arcsec2 - night.brightest_mag_arcsec2, 0.4, atol=0.01)
    np.testing.assert_allclose(night.darkest_mag_arcsec2 - night.sky_mag_arcsec2, 0.4, atol=0.01)
    assert lunar.moonlit_sky(**close | {"extinction_mag": 0}).warning == ""


def test_half_moon_is_no_half():
    """Source: reference row MOO-03: half the disc, 9 % of the light."""
    share = 10 ** (-0.4 * (lunar.moon_magnitude(90) - lunar.moon_magnitude(0)))
    np.testing.assert_allclose(1 / share, LIGHT["MOO-03"]["expected"], atol=0.02)
    assert share < lunar.lit_fraction(90) / 5


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"extinction_mag": -0.1}, r"extinction_mag must be 0 or more mag"),
        ({"separation_deg": 200}, r"separation_deg must be 0 to 180 °"),
        ({"zenith_distance_deg": [10, 20]}, r"takes one moment"),
    ],
)
def test_errors(change, message):
    with pytest.raises(ValueError, match=message):
        lunar.moonlit_sky(**USUAL | change)


def test_nan_passes():
    night = lunar.moonlit_sky(**USUAL | {"separation_deg": np.nan})
    assert np.isnan(night[:3]).all()
    with pytest.raises(ValueError, match="phase_angle_deg must be -180 to 180 °, received 200 °"):
        lunar.lit_fraction(200)


def test_where_measured_skies_leave_the_model():
    """Source: Krisciunas & Schaefer 1991, sec. 2: within 7° of full the Moon surges by up to 35 %.

    Derivation: the limits that the docstring states, met from both sides; nothing counts with the Moon down.
    """
    far = {
        "zenith_distance_deg": np.full(7, 30.0),
        "moon_zenith_distance_deg": np.array([45.0, 45.0, 39.0, 45.0, 45.0, 91.0, 41.0]),
        "separation_deg": np.array([60.0, 29.0, 29.0, 60.0, 60.0, 20.0, 31.0]),
        "phase_angle_deg": np.array([30.0, 30.0, 30.0, -6.0, 30.0, 2.0, 8.0]),
    }
    far["zenith_distance_deg"][4:6] = 76.0
    found = lunar.moonlight_departures(**far)
    told = [tuple(words for words, true in found.items() if true[row]) for row in range(7)]
    near, high, full, low = (
        "the Moon is near",
        "the Moon is high and near",
        "the Moon is full and surges",
        "the patch is low",
    )
    assert told == [(), (near,), (high,), (full,), (low,), (), ()]
