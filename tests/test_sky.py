"""Photons, sky brightness and moonlight."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.sky.air as air
import workbook.sky.brightness as brightness
import workbook.sky.moon as lunar
import workbook.sky.photons as photons

LIGHT = rows("light.csv")
MOONLIT = {  # the example of row MOO-05
    "zenith_distance_deg": 30.0,
    "moon_zenith_distance_deg": 45.0,
    "separation_deg": 60.0,
    "phase_angle_deg": 30.0,
    "extinction_mag": 0.172,
}


# Photons and electrons


def test_photons_of_a_star():
    """Source: reference rows PHO-02 and PHO-08."""
    assert_row(LIGHT["PHO-02"], photons.star_photons_s_m2(magnitude=0))
    assert_row(LIGHT["PHO-08"], photons.star_photons_s_m2(magnitude=22))


def test_zero_point_agrees_with_a_later_calibration():
    """Source: reference row PHO-04 times the 88 nm width of V (Bessell 1990, PASP 102, 1181).

    The width is known to about 2 %, so 3 %: it would show a wrong area unit or band at once.
    """
    flux = LIGHT["PHO-04"]["expected"] * 880 * 1e4
    np.testing.assert_allclose(photons.star_photons_s_m2(magnitude=0), flux, rtol=0.03)


def test_five_magnitudes_are_a_factor_of_a_hundred():
    """Derivation: Pogson's definition of the magnitude."""
    ratio = photons.star_photons_s_m2(magnitude=7) / photons.star_photons_s_m2(magnitude=12)
    np.testing.assert_allclose(ratio, 100, rtol=1e-12)


def test_electrons_of_a_square_arcsecond_are_those_of_a_star():
    """Source: reference row PHO-12; a pixel of one arcsecond under 12 mag/″² sees a star of magnitude 12."""
    rate = photons.sky_electrons_s_px(sky_mag_arcsec2=12, aperture_mm=60, scale_arcsec_px=1, throughput=0.5)
    assert_row(LIGHT["PHO-12"], rate)


def test_same_pixel_and_focal_ratio_same_sky():
    """Source: reference row SKY-10; 166.667 mm is rounded to 2 parts in a million, hence the tolerance."""
    small, large = (
        photons.sky_electrons_s_px(
            sky_mag_arcsec2=20, aperture_mm=d, scale_arcsec_px=206.265 * 3.5 / f, throughput=0.5
        )
        for d, f in [(40, 500 / 3), (60, 250)]
    )
    assert_row(LIGHT["SKY-10"], small / large)


def test_faster_lens_brighter_sky():
    """Source: reference row SAM-18: one aperture and one pixel, focal lengths of 4 and 5.6 times 60 mm."""
    fast, slow = (
        photons.sky_electrons_s_px(
            sky_mag_arcsec2=20, aperture_mm=60, scale_arcsec_px=206.265 * 3.5 / (60 * n), throughput=0.5
        )
        for n in (4.0, 5.6)
    )
    assert_row(rows("optics.csv")["SAM-18"], fast / slow)


def test_sky_one_magnitude_brighter():
    """Source: reference row SKY-12."""
    dark, bright = (
        photons.sky_electrons_s_px(sky_mag_arcsec2=mu, aperture_mm=58, scale_arcsec_px=2.256, throughput=0.45)
        for mu in (20, 19)
    )
    assert_row(LIGHT["SKY-12"], bright / dark)


# Brightness, linear and in magnitudes


def test_nanolamberts():
    """Source: reference rows SKY-01 and SKY-02 (1 nL = 1e-5/π cd/m²)."""
    assert_row(LIGHT["SKY-01"], brightness.nanolambert_nl(sky_mag_arcsec2=21.587))
    assert_row(LIGHT["SKY-02"], brightness.nanolambert_nl(sky_mag_arcsec2=22.0) * 1e-5 / np.pi)


def test_magnitudes_there_and_back():
    """Source: reference row SKY-01, backwards (0.05 nL is 0.0007 mag); and an exact inverse."""
    np.testing.assert_allclose(brightness.sky_mag_arcsec2(brightness_nl=79.0), 21.587, atol=7e-4)
    mu = np.linspace(16, 23, 8)
    np.testing.assert_allclose(
        brightness.sky_mag_arcsec2(brightness_nl=brightness.nanolambert_nl(sky_mag_arcsec2=mu)),
        mu,
        rtol=1e-13,
    )


def test_adding_glows():
    """Source: reference rows SKY-07 and PHO-10."""
    assert_row(LIGHT["SKY-07"], brightness.add_sky_mag_arcsec2(first_mag_arcsec2=22, second_mag_arcsec2=22))
    assert_row(
        LIGHT["PHO-10"], brightness.add_sky_mag_arcsec2(first_mag_arcsec2=1.96, second_mag_arcsec2=2.89)
    )


def test_adding_glows_agrees_with_nanolamberts():
    """Derivation: the same sum by way of the linear unit; Garstang's slope is rounded, so 1e-4 mag."""
    linear = brightness.nanolambert_nl(sky_mag_arcsec2=20.3) + brightness.nanolambert_nl(sky_mag_arcsec2=19.1)
    both = brightness.add_sky_mag_arcsec2(first_mag_arcsec2=20.3, second_mag_arcsec2=19.1)
    np.testing.assert_allclose(both, brightness.sky_mag_arcsec2(brightness_nl=linear), atol=1e-4)


# Air


def test_transmission():
    """Source: reference row REF-13; and two airmasses dim twice as one."""
    assert_row(LIGHT["REF-13"], air.transmission(extinction_mag=0.2, airmass=2))
    once = air.transmission(extinction_mag=0.25, airmass=1)
    np.testing.assert_allclose(air.transmission(extinction_mag=0.25, airmass=2), once**2, rtol=1e-12)
    assert air.transmission(extinction_mag=0, airmass=5) == 1


def test_scattering_path():
    """Source: reference row REF-12. Derivation: 1 at the zenith, 0.04^(−1/2) = 5 at the horizon."""
    assert_row(LIGHT["REF-12"], air.airmass_of_scattering(80))
    np.testing.assert_allclose(air.airmass_of_scattering([0, 90]), [1, 5], rtol=1e-12)
    assert np.isnan(air.airmass_of_scattering(90.01))


def test_dark_sky():
    """Source: reference row SKY-08; at the zenith the sky is the zenith's."""
    value = air.dark_sky_nl(zenith_nl=79, zenith_distance_deg=60, extinction_mag=0.172)
    assert_row(LIGHT["SKY-08"], value)
    assert air.dark_sky_nl(zenith_nl=79, zenith_distance_deg=0, extinction_mag=0.3) == 79
    assert np.isnan(air.dark_sky_nl(zenith_nl=79, zenith_distance_deg=91, extinction_mag=0.3))


# Moon


def test_moon_magnitude():
    """Source: reference rows MOO-02 and MOO-03; before and after full Moon alike."""
    assert_row(LIGHT["MOO-02"], lunar.moon_magnitude(90))
    ratio = 10 ** (0.4 * (lunar.moon_magnitude(90) - lunar.moon_magnitude(0)))
    assert_row(LIGHT["MOO-03"], ratio)
    assert lunar.moon_magnitude(-90) == lunar.moon_magnitude(90)


def test_moonlight():
    """Source: reference rows MOO-05 and MOO-06."""
    glow = lunar.moonlight_nl(**MOONLIT)
    assert_row(LIGHT["MOO-05"], glow)
    dark = air.dark_sky_nl(zenith_nl=79, zenith_distance_deg=30, extinction_mag=0.172)
    assert_row(LIGHT["MOO-06"], brightness.sky_mag_arcsec2(brightness_nl=glow + dark))


def scattering(separation_deg):
    """f(ρ), by dividing out everything else of the published equation in its second form (eq. 20)."""
    glow = lunar.moonlight_nl(**MOONLIT | {"separation_deg": separation_deg})
    moon = 10 ** (-0.4 * (3.84 + 0.026 * 30 + 4e-9 * 30**4))
    path, moon_path = (1 - 0.96 * np.sin(np.radians([30, 45])) ** 2) ** -0.5
    return glow / moon / 10 ** (-0.4 * 0.172 * moon_path) / (1 - 10 ** (-0.4 * 0.172 * path))


def test_scattering_function():
    """Source: reference row MOO-04."""
    assert_row(LIGHT["MOO-04"], scattering(60))


def test_haze_inside_ten_degrees():
    """Source: reference row MOO-12, with the scattering by air (eq. 17) taken off."""
    air = 10**5.36 * (1.06 + np.cos(np.radians(5)) ** 2)
    assert_row(LIGHT["MOO-12"], scattering(5) - air)


def test_haze_terms_meet_within_a_fifth():
    """Derivation: 10^(6.15 − 0.25) against 6.2e7/100, the step that the docstring admits."""
    step = (scattering(10) - scattering(9.9999)) / 10**5.9
    np.testing.assert_allclose(step, 1 - 6.2e5 / 10**5.9, atol=1e-4)


def test_moonlight_where_there_is_none():
    """Derivation: Moon below the horizon 0, sky below it or the disc itself undefined, no air no glow."""

    def with_moon(**change):
        return lunar.moonlight_nl(**MOONLIT | change)

    assert with_moon(moon_zenith_distance_deg=90.5) == 0
    assert with_moon(moon_zenith_distance_deg=90) > 0
    assert with_moon(extinction_mag=0) == 0
    assert np.isnan(with_moon(zenith_distance_deg=90.5))
    assert np.isnan(with_moon(separation_deg=0.2))
    assert np.isnan(with_moon(separation_deg=0.2, moon_zenith_distance_deg=120))


def test_moonlight_grows_towards_full_moon_and_towards_the_moon():
    """Derivation: order of the published curves: fuller is brighter, nearer (below 90°) is brighter."""
    phases = lunar.moonlight_nl(**MOONLIT | {"phase_angle_deg": np.array([0, 30, 60, 90, 120])})
    assert (np.diff(phases) < 0).all()
    nearer = lunar.moonlight_nl(**MOONLIT | {"separation_deg": np.array([1, 3, 5, 9, 11, 20, 40, 60, 90])})
    assert (np.diff(nearer) < 0).all()


# Shapes and errors


def test_shapes():
    assert_broadcasts(photons.star_photons_s_m2, magnitude=12)
    assert_broadcasts(
        photons.sky_electrons_s_px, sky_mag_arcsec2=20, aperture_mm=58, scale_arcsec_px=2.256, throughput=0.45
    )
    assert_broadcasts(brightness.nanolambert_nl, sky_mag_arcsec2=20)
    assert_broadcasts(brightness.sky_mag_arcsec2, brightness_nl=79)
    assert_broadcasts(brightness.add_sky_mag_arcsec2, first_mag_arcsec2=20, second_mag_arcsec2=21)
    assert_broadcasts(air.transmission, extinction_mag=0.2, airmass=2)
    assert_broadcasts(
        lambda zenith_distance_deg: air.airmass_of_scattering(zenith_distance_deg), zenith_distance_deg=60
    )
    assert_broadcasts(air.dark_sky_nl, zenith_nl=79, zenith_distance_deg=60, extinction_mag=0.172)
    assert_broadcasts(lambda phase_angle_deg: lunar.moon_magnitude(phase_angle_deg), phase_angle_deg=60)
    assert_broadcasts(lunar.moonlight_nl, **MOONLIT)
    assert_broadcasts(lunar.moonlight_nl, **MOONLIT | {"separation_deg": 5.0})


ELECTRONS = {"sky_mag_arcsec2": 20, "aperture_mm": 58, "scale_arcsec_px": 2.2, "throughput": 0.45}


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: photons.star_photons_s_m2(magnitude=1, band="X"),
            r"band must be one of 'B', 'V', 'R', 'I', received 'X'",
        ),
        (
            lambda: photons.sky_electrons_s_px(**ELECTRONS | {"aperture_mm": 0}),
            r"aperture_mm must be above 0 mm.*metres",
        ),
        (
            lambda: photons.sky_electrons_s_px(**ELECTRONS | {"scale_arcsec_px": -2}),
            r"scale_arcsec_px .* received -2 ″/px",
        ),
        (
            lambda: photons.sky_electrons_s_px(**ELECTRONS | {"throughput": 45}),
            r"throughput must be 0 to 1.*not per cent",
        ),
        (lambda: photons.sky_electrons_s_px(**ELECTRONS, band="v"), r"band must be one of"),
        (
            lambda: brightness.sky_mag_arcsec2(brightness_nl=0),
            r"brightness_nl must be above 0 nL, received 0 nL",
        ),
        (lambda: air.transmission(extinction_mag=-0.1, airmass=1), r"extinction_mag must be 0 or more mag"),
        (
            lambda: air.transmission(extinction_mag=0.1, airmass=-1),
            r"airmass must be 0 or more, received -1: NaN",
        ),
        (lambda: air.airmass_of_scattering(181), r"zenith_distance_deg must be 0 to 180 °, received 181 °"),
        (
            lambda: air.dark_sky_nl(zenith_nl=-1, zenith_distance_deg=0, extinction_mag=0.2),
            r"zenith_nl must be 0 or",
        ),
        (
            lambda: air.dark_sky_nl(zenith_nl=1, zenith_distance_deg=-1, extinction_mag=0.2),
            r"zenith_distance_deg must",
        ),
        (
            lambda: air.dark_sky_nl(zenith_nl=1, zenith_distance_deg=1, extinction_mag=-2),
            r"extinction_mag must be 0 or",
        ),
        (lambda: lunar.moon_magnitude(200), r"phase_angle_deg must be -180 to 180 °, received 200 °"),
        (
            lambda: lunar.moonlight_nl(**MOONLIT | {"zenith_distance_deg": -1}),
            r"zenith_distance_deg must be 0 to 180",
        ),
        (
            lambda: lunar.moonlight_nl(**MOONLIT | {"moon_zenith_distance_deg": 190}),
            r"moon_zenith_distance_deg must be",
        ),
        (
            lambda: lunar.moonlight_nl(**MOONLIT | {"separation_deg": 181}),
            r"separation_deg must be 0 to 180 °",
        ),
        (
            lambda: lunar.moonlight_nl(**MOONLIT | {"phase_angle_deg": 181}),
            r"phase_angle_deg must be -180 to 180 °",
        ),
        (
            lambda: lunar.moonlight_nl(**MOONLIT | {"extinction_mag": -1}),
            r"extinction_mag must be 0 or more mag",
        ),
    ],
)
def test_errors(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_wrong_kind_of_thing():
    with pytest.raises(TypeError, match="sky_mag_arcsec2 must be a number in mag/″², received 'dark'"):
        brightness.nanolambert_nl(sky_mag_arcsec2="dark")
