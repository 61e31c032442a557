"""Zero points, luminance, sky classes, extinction and the worth of altitude."""

import astropy.constants as const
import numpy as np
import pytest
from astropy import units as u
from scipy.optimize import minimize
from support import assert_broadcasts, assert_row, rows

import workbook.pointing.air as paths
import workbook.sky.air as air
import workbook.sky.brightness as brightness
import workbook.sky.classes as classes
import workbook.sky.photons as photons
from workbook import sky
from workbook.constants import VEGA_PHOTONS_S_M2

LIGHT = rows("light.csv")
NIGHT = rows("night.csv")
CD_M2_PER_NL = 1e-5 / np.pi  # definition of the lambert


# Photons


@pytest.mark.parametrize(
    ("band", "jansky", "width"), [("B", 4260, 0.22), ("R", 3080, 0.23), ("I", 2550, 0.19)]
)
def test_zero_points_of_the_bands(band, jansky, width):
    """Source: Bessell 1979, PASP 91, 589 (flux and relative width) and reference row PHO-03 for a jansky.

    Four digits are stored, so 2e-4; the jansky of the row is rounded to 0.1 %.
    """
    assert_row(LIGHT["PHO-03"], 1e-26 / const.h.value)
    expected = jansky * width * LIGHT["PHO-03"]["expected"]
    np.testing.assert_allclose(photons.star_photons_s_m2(magnitude=0, band=band), expected, rtol=2e-4)


@pytest.mark.parametrize(
    ("row", "band", "width_angstrom"), [("PHO-05", "B", 0.22 * 4380), ("PHO-06", "R", 0.23 * 6410)]
)
def test_zero_points_agree_with_a_later_calibration(row, band, width_angstrom):
    """Source: reference rows PHO-05 and PHO-06 times the relative widths of Bessell 1979.

    Fluxes and widths differ by some per cent, so 8 %: it would show a wrong band at once (B over R is 1.3).
    """
    flux = LIGHT[row]["expected"] * width_angstrom * 1e4
    np.testing.assert_allclose(photons.star_photons_s_m2(magnitude=0, band=band), flux, rtol=0.08)


def test_the_outside_zero_points_agree_among_themselves():
    """Source: reference rows PHO-04, PHO-05, PHO-06, PHO-07 and PHO-09, through astropy's constants.

    Oracle of the zero points above, no code of ours: photons are energy over hc/λ; 48.60 gives 3631 Jy.
    """
    for row, energy, nm in (("PHO-04", 363.1, 545), ("PHO-05", 632, 438), ("PHO-06", 217.7, 641)):
        photon = (const.h * const.c / (nm * u.nm)).to_value(u.erg)
        assert_row(LIGHT[row], energy * 1e-11 / photon)
    density = 363.1e-11 * u.erg / u.s / u.cm**2 / u.AA
    assert_row(LIGHT["PHO-07"], density.to_value(u.Jy, u.spectral_density(545 * u.nm)))
    assert_row(LIGHT["PHO-09"], (0 * u.ABmag).to_value(u.Jy))


def test_star_electrons():
    """Source: reference row PHO-12; and each factor by itself: area, throughput, band."""
    star = {"magnitude": 12, "aperture_mm": 60, "throughput": 0.5}
    assert_row(LIGHT["PHO-12"], photons.star_e_s(**star))
    np.testing.assert_allclose(
        photons.star_e_s(**star | {"aperture_mm": 120}), 4 * photons.star_e_s(**star), rtol=1e-12
    )
    assert photons.star_e_s(**star | {"throughput": 0.0}) == 0
    ratio = VEGA_PHOTONS_S_M2["R"] / VEGA_PHOTONS_S_M2["V"]
    np.testing.assert_allclose(
        photons.star_e_s(**star, band="R"), ratio * photons.star_e_s(**star), rtol=1e-12
    )


def test_mean_surface_brightness():
    """Source: reference row PHO-13; a disc of one square arcsecond keeps its magnitude."""
    galaxy = photons.mean_surface_mag_arcsec2(magnitude=3.44, long_arcmin=190, short_arcmin=60)
    assert_row(NIGHT["PHO-13"], galaxy)
    side = np.sqrt(4 / np.pi) / 60
    one = photons.mean_surface_mag_arcsec2(magnitude=9, long_arcmin=side, short_arcmin=side)
    np.testing.assert_allclose(one, 9, atol=1e-12)


def test_ratios_and_magnitudes():
    """Source: reference rows PHO-11 and SKY-12; and each is the inverse of the other."""
    assert_row(LIGHT["PHO-11"], photons.difference_mag(500))
    assert_row(LIGHT["SKY-12"], photons.brightness_ratio(1))
    values = np.array([-3, 0.4, 7.5])
    np.testing.assert_allclose(photons.difference_mag(photons.brightness_ratio(values)), values, rtol=1e-12)


# Luminance


def test_luminance():
    """Source: reference rows SKY-02, SKY-03 and SKY-04, one for each model."""
    assert_row(LIGHT["SKY-02"], brightness.luminance_cd_m2(sky_mag_arcsec2=22, model="garstang1986"))
    assert_row(LIGHT["SKY-03"], brightness.luminance_cd_m2(sky_mag_arcsec2=22, model="rule108000"))
    assert_row(LIGHT["SKY-04"], brightness.luminance_cd_m2(sky_mag_arcsec2=21))


def test_luminance_models_agree():
    """Derivation: three fits of one relation; the docstring admits 1 %."""
    mu = np.linspace(17, 22, 6)
    values = np.array(
        [brightness.luminance_cd_m2(sky_mag_arcsec2=mu, model=m) for m in brightness.LUMINANCE_MODELS]
    )
    np.testing.assert_allclose(values / values[0], 1, atol=0.01)


def test_luminance_range():
    """Source: Bará et al. 2020, abstract (187 to 227 µcd/m² at 22.0) and reference row SKY-05."""
    low, high = brightness.luminance_range_cd_m2(sky_mag_arcsec2=22)
    np.testing.assert_allclose([low, high], [187e-6, 227e-6], rtol=1e-9)
    rule = brightness.luminance_cd_m2(sky_mag_arcsec2=22, model="rule108000")
    assert_row(LIGHT["SKY-05"], 1e6 * (low - rule))
    np.testing.assert_allclose(
        brightness.luminance_range_cd_m2(sky_mag_arcsec2=[17, 22])[1][0], 227e-6 * 100, rtol=1e-12
    )


def test_starlight_unit():
    """Source: reference row SKY-06; a hundred such stars are five magnitudes brighter."""
    assert_row(LIGHT["SKY-06"], brightness.starlight_mag_arcsec2(tenth_mag_stars_count_deg2=1))
    hundred = brightness.starlight_mag_arcsec2(tenth_mag_stars_count_deg2=100)
    assert_row(LIGHT["SKY-06"], hundred + 5)


def test_naked_eye_limit():
    """Source: reference row SKY-11; and the limit no sky passes is 7.93 (the formula's own constant)."""
    assert_row(LIGHT["SKY-11"], brightness.naked_eye_limit_mag(sky_mag_arcsec2=21.5))
    np.testing.assert_allclose(brightness.naked_eye_limit_mag(sky_mag_arcsec2=60), 7.93, atol=1e-5)


# Classes


def test_sky_classes():
    """Source: the two tables named in CLASS_TABLES; a class is a range, and the tables differ."""
    assert classes.sky_of_class(sky_class=4)[:2] == (21.3, 20.4)
    assert classes.sky_of_class(sky_class=4, model="lightratio2001")[:2] == (21.3, 20.8)
    assert classes.sky_of_class(sky_class=4).table == "encyclopaedia2016"
    for table in classes.CLASS_TABLES:
        ranges = [classes.sky_of_class(sky_class=n, model=table) for n in range(1, 10)]
        assert all(r.darkest_mag_arcsec2 > r.brightest_mag_arcsec2 for r in ranges)
        middles = [(r.darkest_mag_arcsec2 + r.brightest_mag_arcsec2) / 2 for r in ranges]
        assert (np.diff(middles) <= 0).all()


def test_classes_of_a_sky():
    """Derivation: every class gives itself back from its own middle, and one sky fits several classes."""
    for table in classes.CLASS_TABLES:
        for number in range(1, 10):
            darkest, brightest, _ = classes.sky_of_class(sky_class=number, model=table)
            assert number in classes.classes_of_sky(sky_mag_arcsec2=(darkest + brightest) / 2)
    assert classes.classes_of_sky(sky_mag_arcsec2=20.6) == (4, 5)
    assert classes.classes_of_sky(sky_mag_arcsec2=25) == ()


# Air


def test_extinguished():
    """Source: reference row REF-13, as magnitudes: 2.5 log10 of that transmission."""
    dimmer = air.extinguished_mag(magnitude=10, extinction_mag=0.2, airmass=2)
    np.testing.assert_allclose(10 ** (-0.4 * (dimmer - 10)), LIGHT["REF-13"]["expected"], atol=1e-5)


def test_worth_of_altitude():
    """Derivation: squared signal over sky, by hand from the published formulas (rows REF-12 and SKY-08 for them).

    Signal from Pickering's airmass, sky from eqs 2 and 3 of Krisciunas & Schaefer 1991; and 1 at the zenith.
    """
    h, k = 40.0, 0.22
    airmass = 1 / np.sin(np.radians(h + 244 / (165 + 47 * h**1.1)))
    path = 1 / np.sqrt(1 - 0.96 * np.cos(np.radians(h)) ** 2)
    signal = 10 ** (-0.4 * k * (airmass - 1))
    sky_here = path * 10 ** (-0.4 * k * (path - 1))
    value = air.altitude_value(apparent_altitude_deg=h, extinction_mag=k)
    np.testing.assert_allclose(value, signal**2 / sky_here, rtol=1e-5)
    np.testing.assert_allclose(air.altitude_value(apparent_altitude_deg=90, extinction_mag=k), 1, atol=1e-5)
    low = air.altitude_value(apparent_altitude_deg=[10, 20, 45, 80], extinction_mag=k)
    assert (np.diff(low) > 0).all()
    assert np.isnan(air.altitude_value(apparent_altitude_deg=-1, extinction_mag=k))


def test_worth_of_altitude_is_the_weight_of_the_best_mean():
    """Source: scipy.optimize.minimize: of two frames the mean with least noise has just these weights."""
    k = 0.3
    worth = air.altitude_value(apparent_altitude_deg=[80, 25], extinction_mag=k)
    x = paths.airmass_pickering2002(apparent_altitude_deg=np.array([80.0, 25.0]))
    path = 1 / np.sqrt(1 - 0.96 * np.cos(np.radians([80, 25])) ** 2)
    noise2 = path * 10 ** (-0.4 * k * path) / 10 ** (-0.8 * k * x)  # of frames scaled to equal starlight

    def noise(weight):
        return (weight[0] ** 2 * noise2[0] + noise2[1]) / (weight[0] + 1) ** 2

    best = minimize(noise, [1.0], tol=1e-10).x[0]
    np.testing.assert_allclose(worth[0] / worth[1], best, rtol=1e-3)


# Shapes, names and errors


def test_shapes():
    assert_broadcasts(photons.star_e_s, magnitude=10, aperture_mm=58, throughput=0.45)
    assert_broadcasts(photons.mean_surface_mag_arcsec2, magnitude=9, long_arcmin=20, short_arcmin=5)
    assert_broadcasts(lambda ratio: photons.difference_mag(ratio), ratio=3)
    assert_broadcasts(lambda difference: photons.brightness_ratio(difference), difference=3)
    for model in brightness.LUMINANCE_MODELS:
        assert_broadcasts(
            lambda mu, model=model: brightness.luminance_cd_m2(sky_mag_arcsec2=mu, model=model), mu=20
        )
    assert_broadcasts(brightness.starlight_mag_arcsec2, tenth_mag_stars_count_deg2=30)
    assert_broadcasts(brightness.naked_eye_limit_mag, sky_mag_arcsec2=20)
    assert_broadcasts(air.extinguished_mag, magnitude=9, extinction_mag=0.2, airmass=1.5)
    assert_broadcasts(air.altitude_value, apparent_altitude_deg=40, extinction_mag=0.2)


def test_every_public_name_is_at_the_door():
    from workbook import exposure, sensor

    for package in (sky, sensor, exposure):
        assert sorted(set(package.__all__)) == sorted(package.__all__)
        assert all(hasattr(package, name) for name in package.__all__)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: photons.star_e_s(magnitude=1, aperture_mm=0, throughput=0.5),
            r"aperture_mm must be above 0 mm, received 0 mm: did you pass metres",
        ),
        (
            lambda: photons.star_e_s(magnitude=1, aperture_mm=58, throughput=45),
            r"throughput must be 0 to 1, received 45: .*per cent",
        ),
        (
            lambda: photons.mean_surface_mag_arcsec2(magnitude=1, long_arcmin=0, short_arcmin=5),
            r"long_arcmin must be above 0 ′",
        ),
        (
            lambda: photons.mean_surface_mag_arcsec2(magnitude=1, long_arcmin=5, short_arcmin=-5),
            r"short_arcmin must be above 0 ′, received -5 ′",
        ),
        (lambda: photons.difference_mag(0), r"brightness_ratio must be above 0, received 0"),
        (
            lambda: brightness.luminance_cd_m2(sky_mag_arcsec2=21, model="eye"),
            r"model must be one of 'crumey2014', 'garstang1986', 'rule108000', received 'eye'",
        ),
        (
            lambda: brightness.starlight_mag_arcsec2(tenth_mag_stars_count_deg2=0),
            r"tenth_mag_stars_count_deg2 must be above 0",
        ),
        (
            lambda: classes.sky_of_class(sky_class=0),
            r"sky_class must be a whole number from 1 to 9, received 0",
        ),
        (lambda: classes.sky_of_class(sky_class=4.5), r"whole number from 1 to 9, received 4.5"),
        (
            lambda: classes.sky_of_class(sky_class=4, model="mine"),
            r"model must be one of 'encyclopaedia2016'",
        ),
        (
            lambda: air.extinguished_mag(magnitude=1, extinction_mag=-1, airmass=1),
            r"extinction_mag must be 0 or more mag",
        ),
        (
            lambda: air.extinguished_mag(magnitude=1, extinction_mag=0.2, airmass=-1),
            r"airmass must be 0 or more",
        ),
        (
            lambda: air.altitude_value(apparent_altitude_deg=91, extinction_mag=0.2),
            r"apparent_altitude_deg must be -90 to 90 °",
        ),
        (
            lambda: air.altitude_value(apparent_altitude_deg=40, extinction_mag=-0.2),
            r"extinction_mag must be 0 or more mag",
        ),
    ],
)
def test_errors(call, message):
    with pytest.raises(ValueError, match=message):
        call()
