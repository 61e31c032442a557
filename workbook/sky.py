"""Light of stars, sky and Moon: photons, electrons in a pixel, and how sky brightness adds up."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, chosen, fraction, not_negative, number, positive
from workbook.constants import GARSTANG_NL, GARSTANG_OFFSET, GARSTANG_SLOPE, VEGA_PHOTONS_S_M2

MOON_RADIUS_DEG = 0.25  # Krisciunas & Schaefer 1991: the model ends at the Moon's disc


def star_photons_s_m2(*, magnitude, band="V"):
    """Photons of a star that reach a square metre above the atmosphere each second, over the whole band.

    Parameters
    ----------
    magnitude : float or array
        Magnitude of the star above the atmosphere [mag].
    band : str
        Passband; V by default, the band in which sky brightness and star catalogues are commonly given.

    Returns
    -------
    float or array
        Photons [photons/s/m²].

    Raises
    ------
    ValueError
        If the band has no zero point.

    Notes
    -----
    photons = F₀ 10^(−0.4 m). The zero points of different authors differ by about 1 %. A camera without a
    filter collects over two to three times the width of V, so for it this is a lower limit.

    References
    ----------
    Bessell, M. S. (1979), UBVRI photometry II, PASP 91, 589, table IV; reference rows PHO-02 and PHO-08.

    Examples
    --------
    >>> print(round(star_photons_s_m2(magnitude=22), 1))
    13.9
    """
    zero = VEGA_PHOTONS_S_M2[chosen("band", band, VEGA_PHOTONS_S_M2)]
    return zero * 10 ** (-0.4 * number("magnitude", magnitude))


def sky_electrons_s_px(*, sky_mag_arcsec2, aperture_mm, scale_arcsec_px, throughput, band="V"):
    """Electrons that the sky background leaves in one pixel each second.

    Parameters
    ----------
    sky_mag_arcsec2 : float or array
        Surface brightness as seen from the ground [mag/″²].
    aperture_mm : float or array
        Diameter of a clear round aperture [mm].
    scale_arcsec_px : float or array
        Image scale [″/px].
    throughput : float or array
        Share of the photons that become electrons: optics, filter and sensor together.
    band : str
        Passband; V by default, the band in which sky brightness is commonly given.

    Returns
    -------
    float or array
        Sky electrons [e⁻/s/px].

    Raises
    ------
    ValueError
        If aperture or scale is not positive, the throughput is no share, or the band has no zero point.

    Notes
    -----
    F₀ 10^(−0.4 μ) · π D²/4 · scale² · throughput. With the same pixel and focal ratio the aperture cancels.
    Ignores a central obstruction, vignetting, and the light of a wide band outside V.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., Cambridge, sec. 4.4 (sky as a rate a pixel);
    zero point as in star_photons_s_m2; reference rows SKY-10 and PHO-12.

    Examples
    --------
    >>> rate = sky_electrons_s_px(
    ...     sky_mag_arcsec2=18.6, aperture_mm=58, scale_arcsec_px=2.256, throughput=0.45
    ... )
    >>> print(round(rate, 2))
    1.93
    """
    area_m2 = np.pi / 4 * (1e-3 * positive("aperture_mm", aperture_mm, cure="did you pass metres?")) ** 2
    scale = positive("scale_arcsec_px", scale_arcsec_px)
    flux = star_photons_s_m2(magnitude=number("sky_mag_arcsec2", sky_mag_arcsec2), band=band)
    return flux * area_m2 * scale**2 * fraction("throughput", throughput)


def nanolambert_nl(*, sky_mag_arcsec2):
    """A surface brightness as a linear one, which may be added.

    Parameters
    ----------
    sky_mag_arcsec2 : float or array
        Surface brightness in V [mag/″²].

    Returns
    -------
    float or array
        Brightness [nL].

    Notes
    -----
    B = 34.08 exp(20.7233 − 0.92104 V). One nanolambert is 10⁻⁵/π cd/m².

    References
    ----------
    Garstang, R. H. (1986), Model for artificial night-sky illumination, PASP 98, 364; Krisciunas & Schaefer
    (1991), PASP 103, 1033, eq. 1; reference row SKY-01.

    Examples
    --------
    >>> print(round(nanolambert_nl(sky_mag_arcsec2=21.587), 1))
    79.0
    """
    return GARSTANG_NL * np.exp(GARSTANG_OFFSET - GARSTANG_SLOPE * number("sky_mag_arcsec2", sky_mag_arcsec2))


def sky_mag_arcsec2(*, brightness_nl):
    """The surface brightness in magnitudes of a linear one: nanolambert_nl turned round.

    Parameters
    ----------
    brightness_nl : float or array
        Brightness [nL].

    Returns
    -------
    float or array
        Surface brightness in V [mag/″²].

    Raises
    ------
    ValueError
        If the brightness is zero or negative.

    References
    ----------
    Garstang, R. H. (1986), PASP 98, 364; Krisciunas & Schaefer (1991), PASP 103, 1033, eq. 1.

    Examples
    --------
    >>> print(round(sky_mag_arcsec2(brightness_nl=79.0), 3))
    21.587
    """
    return (GARSTANG_OFFSET - np.log(positive("brightness_nl", brightness_nl) / GARSTANG_NL)) / GARSTANG_SLOPE


def add_sky_mag_arcsec2(*, first_mag_arcsec2, second_mag_arcsec2):
    """Two glows on top of each other: their light adds, their magnitudes do not.

    Parameters
    ----------
    first_mag_arcsec2 : float or array
        One surface brightness [mag/″²].
    second_mag_arcsec2 : float or array
        The other, in the same band [mag/″²].

    Returns
    -------
    float or array
        Surface brightness of both together [mag/″²].

    Notes
    -----
    −2.5 log₁₀(10^(−0.4 a) + 10^(−0.4 b)); two equal glows are 0.753 mag brighter than one.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., ch. 56 (combined magnitude); reference rows SKY-07
    and PHO-10.

    Examples
    --------
    >>> print(round(add_sky_mag_arcsec2(first_mag_arcsec2=22.0, second_mag_arcsec2=22.0), 3))
    21.247
    """
    first = 10 ** (-0.4 * number("first_mag_arcsec2", first_mag_arcsec2))
    second = 10 ** (-0.4 * number("second_mag_arcsec2", second_mag_arcsec2))
    return -2.5 * np.log10(first + second)


def transmission(*, extinction_mag, airmass):
    """The share of starlight that comes through the air.

    Parameters
    ----------
    extinction_mag : float or array
        Extinction at the zenith, that is for airmass 1 [mag].
    airmass : float or array
        Airmass towards the object.

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    10^(−0.4 k X). Ignores that the colour of the star changes on the way down (second-order extinction).

    References
    ----------
    Young, A. T. (1994), Air mass and refraction, Applied Optics 33, 1108; reference row REF-13.

    Examples
    --------
    >>> print(round(transmission(extinction_mag=0.2, airmass=2), 3))
    0.692
    """
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    return 10 ** (-0.4 * extinction * not_negative("airmass", airmass, cure="NaN where the object has set"))


def airmass_of_scattering(zenith_distance_deg):
    """Path through the layer that scatters moonlight and glows by night; not the airmass of extinction.

    Parameters
    ----------
    zenith_distance_deg : float or array
        Distance from the zenith [°]. NaN comes back below the horizon.

    Returns
    -------
    float or array
        Path in units of the path to the zenith, 1 to 5.

    Notes
    -----
    X = (1 − 0.96 sin² Z)^(−1/2): 3.8 at 80°, where the airmass of extinction is 5.6.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 3; reference row REF-12.

    Examples
    --------
    >>> print(round(airmass_of_scattering(80), 2))
    3.81
    """
    z = between("zenith_distance_deg", zenith_distance_deg, 0, 180)
    return np.where(z > 90, np.nan, _scattering_path(z))[()]


def dark_sky_nl(*, zenith_nl, zenith_distance_deg, extinction_mag):
    """Brightness of the moonless natural sky away from the zenith.

    Parameters
    ----------
    zenith_nl : float or array
        Brightness of the dark sky at the zenith [nL].
    zenith_distance_deg : float or array
        Distance from the zenith [°]. NaN comes back below the horizon.
    extinction_mag : float or array
        Extinction at the zenith [mag].

    Returns
    -------
    float or array
        Brightness [nL].

    Raises
    ------
    ValueError
        If brightness or extinction is negative, or the angle lies outside 0 to 180°.

    Notes
    -----
    B = B_zenith · 10^(−0.4 k (X − 1)) · X with the path X of airmass_of_scattering: a longer glowing path,
    dimmed by more air. Ignores the domes of towns, the zodiacal light and the Milky Way.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 2; reference row SKY-08.

    Examples
    --------
    >>> print(round(dark_sky_nl(zenith_nl=79.0, zenith_distance_deg=60, extinction_mag=0.172), 1))
    129.7
    """
    path = airmass_of_scattering(zenith_distance_deg)
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    return not_negative("zenith_nl", zenith_nl) * 10 ** (-0.4 * extinction * (path - 1)) * path


def moon_magnitude(phase_angle_deg):
    """Magnitude of the Moon above the atmosphere, from its phase angle.

    Parameters
    ----------
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon, ±180 at new Moon [°].

    Returns
    -------
    float or array
        Magnitude in V [mag].

    Notes
    -----
    −12.73 + 0.026 |α| + 4·10⁻⁹ α⁴. A half-lit Moon gives 9 % of the light of a full one. Ignores the distance
    of the Moon (±13 % in light) and the surge within 7° of full (up to 35 % brighter).

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 9, after Allen; reference row MOO-02.

    Examples
    --------
    >>> print(round(moon_magnitude(90), 2))
    -10.13
    """
    phase = np.abs(between("phase_angle_deg", phase_angle_deg, -180, 180))
    return -12.73 + 0.026 * phase + 4e-9 * phase**4


def moonlight_nl(
    *, zenith_distance_deg, moon_zenith_distance_deg, separation_deg, phase_angle_deg, extinction_mag
):
    """Moonlight scattered into the line of sight.

    Parameters
    ----------
    zenith_distance_deg : float or array
        Zenith distance of the patch of sky [°]. NaN comes back below the horizon.
    moon_zenith_distance_deg : float or array
        Zenith distance of the Moon [°]. 0 comes back where the Moon is below the horizon.
    separation_deg : float or array
        Angle between the patch and the Moon [°]. NaN comes back on the Moon's own disc, inside 0.25°.
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon, ±180 at new Moon [°].
    extinction_mag : float or array
        Extinction at the zenith in V [mag].

    Returns
    -------
    float or array
        Brightness to be added to the dark sky [nL].

    Notes
    -----
    B = f(ρ) I 10^(−0.4 k X_m) (1 − 10^(−0.4 k X)), I = 10^(−0.4 (m + 16.57)) with the magnitude m of
    moon_magnitude and the path X of airmass_of_scattering. f(ρ) = 10^5.36 (1.06 + cos² ρ) from air plus
    10^(6.15 − ρ/40) from haze; inside 10° the haze term is 6.2·10⁷/ρ². The two haze terms differ by a fifth
    where they meet. The authors state an error of 8 to 23 %, far from full Moon and from cloud; it is a model
    of one mountain's clean air in V, without the dawn of a Moon just below the horizon.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), A model of the brightness of moonlight, PASP 103, 1033,
    eqs 8, 15 and 17 to 21, doi:10.1086/132921; reference rows MOO-04, MOO-05 and MOO-12.

    Examples
    --------
    >>> print(round(moonlight_nl(zenith_distance_deg=30, moon_zenith_distance_deg=45, separation_deg=60,
    ...                    phase_angle_deg=30, extinction_mag=0.172), 1))
    650.7
    """
    z = between("zenith_distance_deg", zenith_distance_deg, 0, 180)
    moon_z = between("moon_zenith_distance_deg", moon_zenith_distance_deg, 0, 180)
    separation = between("separation_deg", separation_deg, 0, 180)
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    moon = 10 ** (-0.4 * (moon_magnitude(phase_angle_deg) + 16.57))
    seen = 10 ** (-0.4 * extinction * _scattering_path(moon_z))
    scattered = 1 - 10 ** (-0.4 * extinction * _scattering_path(z))
    glow = _scattering(separation) * moon * seen * scattered * np.where(moon_z > 90, 0.0, 1.0)
    return np.where(z > 90, np.nan, glow)[()]


def _scattering(separation_deg):
    """Light scattered towards us at an angle from the Moon (eqs 17 to 21), NaN on its disc."""
    rho = np.where(np.less(separation_deg, MOON_RADIUS_DEG), np.nan, separation_deg)
    haze = np.where(rho < 10, 6.2e7 / rho**2, 10 ** (6.15 - rho / 40))
    return 10**5.36 * (1.06 + np.cos(np.radians(rho)) ** 2) + haze


def _scattering_path(zenith_distance_deg):
    return 1 / np.sqrt(1 - 0.96 * np.sin(np.radians(zenith_distance_deg)) ** 2)
