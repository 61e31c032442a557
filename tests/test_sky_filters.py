"""Filters as physics: windows integrated wavelength by wavelength, photons counted, and no promise for galaxies."""

import numpy as np
import pytest
from astropy import units as u
from scipy.integrate import quad
from support import assert_broadcasts

import workbook.sky.filters as filters
from workbook.sky import LINES_NM, moonlit_sky, sky_electrons_s_px

HALPHA = LINES_NM["hydrogen alpha"]
OXYGEN = LINES_NM["oxygen III"]
RIG = {"aperture_mm": 58, "scale_arcsec_px": 2.256, "throughput": 0.45}
OWN = {"dark_e_s_px": 0.03, "read_noise_e": 1.6, "f_ratio": 5.5}
EVERY = {
    "narrow": filters.NARROW_BAND,
    "dual": filters.DUAL_BAND,
    "broad": filters.BROADBAND,
}
WIDER = 3.0  # an open camera collects about three V bands


def sky_of(mag):
    return WIDER * sky_electrons_s_px(sky_mag_arcsec2=mag, **RIG)


def moonlit(dark_mag):
    """A sky with the Moon 60° away and 45° up, four days from full."""
    return moonlit_sky(
        dark_zenith_mag_arcsec2=dark_mag,
        zenith_distance_deg=30,
        moon_zenith_distance_deg=45,
        separation_deg=60,
        phase_angle_deg=50,
        extinction_mag=0.25,
    ).sky_mag_arcsec2


SKIES = {"city": 18.6, "dark": 21.4, "city with Moon": moonlit(18.6), "dark with Moon": moonlit(21.4)}


def gain(kind, mag, *, line=0.0, continuum=0.0, sub=60.0):
    return filters.filter_gain(
        filters=EVERY[kind],
        wavelengths_nm=[HALPHA],
        lines_e_s_px=[line],
        continuum_e_s_px=continuum,
        sky_e_s_px=sky_of(mag),
        sub_s=sub,
        without_sub_s=sub,
        **OWN,
    )


# Windows


def test_band_fraction_by_summing_wavelengths():
    """Derivation: the share of 400 to 700 nm by a sum over 0.01 nm steps, to one step an edge."""
    nm = np.arange(400, 700, 0.01) + 0.005
    for windows in (*EVERY.values(), filters.OPEN, [filters.Filter(700, 40, 0.5)]):
        passed = sum(w.peak * (np.abs(nm - w.centre_nm) <= w.width_nm / 2) for w in windows)
        np.testing.assert_allclose(filters.band_fraction(filters=windows), passed.mean(), atol=1e-4)
    assert filters.band_fraction(filters=filters.OPEN) == 1
    assert filters.band_fraction(filters=[filters.Filter(800, 20, 0.9)]) == 0


def test_lines_in_and_out_of_a_window():
    """Derivation: at f/50 the cone is a pencil; a flat top passes its peak inside and nothing outside."""
    lines = [HALPHA, OXYGEN, LINES_NM["hydrogen beta"]]
    narrow = filters.line_transmission(filters=filters.NARROW_BAND, wavelength_nm=lines, f_ratio=50)
    np.testing.assert_allclose(narrow, [0.88, 0, 0], atol=1e-12)
    dual = filters.line_transmission(filters=filters.DUAL_BAND, wavelength_nm=lines, f_ratio=50)
    np.testing.assert_allclose(dual, [0.88, 0.88, 0], atol=1e-12)


def test_fast_cones_shift_the_window():
    """Derivation: the shift λ √(1 − sin²θ/n²) integrated over the aperture by scipy, n = 1.9, to 1 ring of 200.

    A window of 3 nm at f/2: the line passes where a ray's own window holds it; the share is the area of the
    aperture that sends such rays.
    """
    window = [filters.Filter(656.3, 3.0, 1.0)]

    def passes(radius, line):
        theta = np.arctan(radius / (2 * 2.0))
        centre = 656.3 * np.sqrt(1 - np.sin(theta) ** 2 / 1.9**2)
        return 2 * radius * (abs(line - centre) <= 1.5)

    for line in (654.0, 656.28, 652.5):
        expected = quad(passes, 0, 1, args=(line,), limit=400)[0]
        ours = filters.line_transmission(filters=window, wavelength_nm=line, f_ratio=2.0)
        np.testing.assert_allclose(ours, expected, atol=0.006)
    assert filters.line_transmission(filters=window, wavelength_nm=HALPHA, f_ratio=2.0) < 0.5


def test_rayleigh():
    """Source: astropy's own unit of the rayleigh (astropy.units.R), photons/s/m²/sr."""
    photons = (100 * u.R).to_value(u.ph / u.s / u.m**2 / u.sr)
    pixel_sr = ((2.256 * u.arcsec) ** 2).to_value(u.sr)
    expected = photons * np.pi * 0.029**2 * pixel_sr * 0.45
    ours = filters.line_e_s_px(brightness_rayleigh=100, **RIG)
    np.testing.assert_allclose(ours, expected, rtol=1e-9)


# Gain


def test_gain_by_counting_photons():
    """Derivation: signal-to-noise with and without a filter counted on 200,000 simulated pixels, to 2 %."""
    rng = np.random.default_rng(5)
    n, sub, line, continuum, sky, dark, read = 200_000, 60.0, 0.4, 0.2, 2.0, 0.1, 1.6

    def counted(line_share, share):
        light = (line * line_share + continuum * share) * sub
        pixels = rng.poisson(light + (sky * share + dark) * sub, n) + rng.normal(0, read, n)
        return light / pixels.std()

    share = (0.88 * 20) / 300
    ours = filters.filter_gain(
        filters=filters.DUAL_BAND,
        wavelengths_nm=[HALPHA],
        lines_e_s_px=[line],
        continuum_e_s_px=continuum,
        sky_e_s_px=sky,
        dark_e_s_px=dark,
        read_noise_e=read,
        sub_s=sub,
        without_sub_s=sub,
        f_ratio=20,
    )
    np.testing.assert_allclose(ours.snr_ratio, counted(0.88, share) / counted(1.0, 1.0), rtol=0.02)
    np.testing.assert_allclose(ours.time_ratio, ours.snr_ratio**-2, rtol=1e-12)
    np.testing.assert_allclose(ours.object_share, (0.88 * line + share * continuum) / 0.6, rtol=1e-9)


def test_background_limit_is_the_textbook_ratio():
    """Derivation: where sky alone rules, a line gains T_line/√(sky share): 0.88/√(0.88 · 7/300) for 7 nm."""
    ideal = filters.filter_gain(
        filters=filters.NARROW_BAND,
        wavelengths_nm=[HALPHA],
        lines_e_s_px=[1e-9],
        continuum_e_s_px=0.0,
        sky_e_s_px=5.0,
        dark_e_s_px=0.0,
        read_noise_e=0.0,
        sub_s=60,
        without_sub_s=60,
        f_ratio=50,
    )
    np.testing.assert_allclose(ideal.snr_ratio, 0.88 / np.sqrt(0.88 * 7 / 300), rtol=1e-6)


@pytest.mark.parametrize("kind", EVERY)
@pytest.mark.parametrize("place", SKIES)
def test_no_promise_for_galaxies(kind, place):
    """Derivation: an even spectrum loses as the sky loses, so √share at best; even a kind sky does not help."""
    galaxy = gain(kind, SKIES[place], continuum=0.1)
    assert galaxy.snr_ratio_high < 1
    assert galaxy.snr_ratio <= np.sqrt(galaxy.sky_share)


@pytest.mark.parametrize("place", SKIES)
def test_a_line_emitter_gains(place):
    """Derivation: narrower windows pass less sky and the same line, so narrow > dual > broad > none."""
    kinds = [gain(kind, SKIES[place], line=0.02).snr_ratio for kind in ("narrow", "dual", "broad")]
    assert kinds[0] > kinds[1] > kinds[2] > 1


def test_where_a_narrow_filter_gains_most():
    """Derivation: own noise is fixed, so the brighter the sky (city, Moon), the more a filter gains."""
    order = sorted(SKIES, key=SKIES.get)
    gains = [gain("narrow", SKIES[place], line=0.02).snr_ratio for place in order]
    assert (np.diff(gains) < 0).all()
    short = gain("narrow", 21.4, line=0.02, sub=10.0)
    assert short.snr_ratio < gain("narrow", 21.4, line=0.02, sub=300.0).snr_ratio


def test_range_of_an_uneven_sky():
    """Derivation: sky in the window halved or doubled moves the ratio by √2 where sky rules; open: no range."""
    wide = gain("narrow", 14.0, line=0.02, sub=600.0)
    np.testing.assert_allclose(wide.snr_ratio_high / wide.snr_ratio, np.sqrt(2), rtol=0.03)
    np.testing.assert_allclose(wide.snr_ratio / wide.snr_ratio_low, np.sqrt(2), rtol=0.03)
    alike = filters.filter_gain(
        filters=filters.OPEN,
        wavelengths_nm=[],
        lines_e_s_px=[],
        continuum_e_s_px=0.1,
        sky_e_s_px=2.0,
        sub_s=30,
        without_sub_s=30,
        **OWN,
    )
    np.testing.assert_allclose(alike, 1, rtol=1e-12)


def test_a_line_outside_the_window_is_lost():
    """Derivation: no light of the object, no signal: the time is endless."""
    lost = filters.filter_gain(
        filters=filters.NARROW_BAND,
        wavelengths_nm=[OXYGEN],
        lines_e_s_px=[0.1],
        continuum_e_s_px=0.0,
        sky_e_s_px=2.0,
        sub_s=60,
        without_sub_s=60,
        **OWN,
    )
    assert lost.snr_ratio == 0
    assert lost.time_ratio == np.inf


# Shapes and errors


def test_shapes():
    assert_broadcasts(filters.line_e_s_px, brightness_rayleigh=100, **RIG)
    assert_broadcasts(
        lambda nm: filters.line_transmission(filters=filters.OPEN, wavelength_nm=nm, f_ratio=5), nm=500
    )


GOOD = {
    "filters": filters.DUAL_BAND,
    "wavelengths_nm": [HALPHA],
    "lines_e_s_px": [0.1],
    "continuum_e_s_px": 0.0,
    "sky_e_s_px": 2.0,
    "sub_s": 60,
    "without_sub_s": 60,
    **OWN,
}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"filters": [filters.Filter(656, 0, 0.9)]}, r"width_nm must be above 0 nm"),
        ({"filters": [filters.Filter(656, 7, 90)]}, r"peak must be 0 to 1, received 90: .*per cent"),
        ({"filters": [filters.Filter(0.656, 7, 0.9)]}, r"centre_nm must be 200 to 2000 nm, .*656.3"),
        (
            {"filters": [filters.Filter(650, 20, 0.9), filters.Filter(660, 7, 0.9)]},
            r"filters must not overlap",
        ),
        ({"lines_e_s_px": [0.1, 0.2]}, r"one lines_e_s_px for each wavelength: received 2 and 1"),
        ({"lines_e_s_px": [-0.1]}, r"lines_e_s_px must be 0 or more"),
        ({"lines_e_s_px": [0.0]}, r"lines_e_s_px must be above 0 .*some light"),
        ({"continuum_e_s_px": -1}, r"continuum_e_s_px must be 0 or more"),
        ({"sky_e_s_px": -1}, r"sky_e_s_px must be 0 or more"),
        ({"dark_e_s_px": -1}, r"dark_e_s_px must be 0 or more"),
        ({"read_noise_e": -1}, r"read_noise_e must be 0 or more"),
        ({"sub_s": 0}, r"sub_s must be above 0 s"),
        ({"without_sub_s": 0}, r"without_sub_s must be above 0 s"),
        ({"f_ratio": 0}, r"f_ratio must be above 0"),
    ],
)
def test_errors(change, message):
    with pytest.raises(ValueError, match=message):
        filters.filter_gain(**GOOD | change)
