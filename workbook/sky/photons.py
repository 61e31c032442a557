"""Photons of stars and sky, and the electrons they leave in a sensor."""

from __future__ import annotations

import numpy as np

from workbook.checks import chosen, fraction, number, positive
from workbook.constants import VEGA_PHOTONS_S_M2


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
    photons = F₀ 10^(−0.4 m), zero points for B, V, R and I. Those of different authors differ by about 1 % in
    V and up to 6 % elsewhere. A camera without a filter collects over two to three times the width of V, so for
    it this is a lower limit.

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
    Ignores a central obstruction, vignetting, and the light of a wide band outside V. An object spread over the
    sky obeys the same law: pass its own surface brightness.

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
    area_m2 = _area_m2(aperture_mm)
    scale = positive("scale_arcsec_px", scale_arcsec_px)
    flux = star_photons_s_m2(magnitude=number("sky_mag_arcsec2", sky_mag_arcsec2), band=band)
    return flux * area_m2 * scale**2 * fraction("throughput", throughput)


def star_e_s(*, magnitude, aperture_mm, throughput, band="V"):
    """Electrons that all of a star's light leaves in the sensor each second.

    Parameters
    ----------
    magnitude : float or array
        Magnitude of the star as it arrives at the ground: see `extinguished_mag` [mag].
    aperture_mm : float or array
        Diameter of a clear round aperture [mm].
    throughput : float or array
        Share of the photons that become electrons: optics, filter and sensor together.
    band : str
        Passband; V by default, the band in which star catalogues are commonly given.

    Returns
    -------
    float or array
        Electrons [e⁻/s].

    Raises
    ------
    ValueError
        If the aperture is not positive, the throughput is no share, or the band has no zero point.

    Notes
    -----
    F₀ 10^(−0.4 m) · π D²/4 · throughput, spread over all pixels that the star covers.

    References
    ----------
    Zero point as in `star_photons_s_m2`; reference row PHO-12.

    Examples
    --------
    >>> print(round(star_e_s(magnitude=12, aperture_mm=60, throughput=0.5), 1))
    197.0
    """
    flux = star_photons_s_m2(magnitude=magnitude, band=band)
    return flux * _area_m2(aperture_mm) * fraction("throughput", throughput)


def mean_surface_mag_arcsec2(*, magnitude, long_arcmin, short_arcmin):
    """Mean surface brightness of a galaxy or nebula from its whole light and its size.

    Parameters
    ----------
    magnitude : float or array
        Magnitude of the whole object [mag].
    long_arcmin : float or array
        Full length of the ellipse [′].
    short_arcmin : float or array
        Full width of the ellipse [′].

    Returns
    -------
    float or array
        Mean surface brightness [mag/″²].

    Raises
    ------
    ValueError
        If length or width is not positive.

    Notes
    -----
    m + 2.5 log₁₀(π/4 · length · width in ″²). The core of a galaxy is several magnitudes brighter than this
    mean and the outer arms are fainter; catalogued sizes differ by tens of per cent.

    References
    ----------
    Derivation: the light of one object spread evenly over an ellipse; reference row PHO-13.

    Examples
    --------
    >>> print(round(mean_surface_mag_arcsec2(magnitude=3.44, long_arcmin=190, short_arcmin=60), 2))
    22.21
    """
    area = np.pi / 4 * 3600 * positive("long_arcmin", long_arcmin) * positive("short_arcmin", short_arcmin)
    return number("magnitude", magnitude) + 2.5 * np.log10(area)


def difference_mag(brightness_ratio):
    """How many magnitudes lie between two lights.

    Parameters
    ----------
    brightness_ratio : float or array
        The brighter light over the fainter one; below 1 it comes out negative.

    Returns
    -------
    float or array
        Difference [mag].

    Raises
    ------
    ValueError
        If the ratio is not positive.

    Notes
    -----
    2.5 log₁₀(ratio): five magnitudes are a factor of 100.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., ch. 56; reference row PHO-11.

    Examples
    --------
    >>> print(round(difference_mag(500), 2))
    6.75
    """
    return 2.5 * np.log10(positive("brightness_ratio", brightness_ratio))


def brightness_ratio(difference_mag):
    """How many times brighter a light is that is some magnitudes brighter: `difference_mag` turned round.

    Parameters
    ----------
    difference_mag : float or array
        Difference, positive for the brighter light [mag].

    Returns
    -------
    float or array
        Ratio of the two lights.

    References
    ----------
    Pogson's definition of the magnitude: 10^(0.4 Δm); reference row SKY-12.

    Examples
    --------
    >>> print(round(brightness_ratio(2.9), 2))
    14.45
    """
    return 10 ** (0.4 * number("difference_mag", difference_mag))


def _area_m2(aperture_mm):
    """A clear round aperture in square metres."""
    return np.pi / 4 * (1e-3 * positive("aperture_mm", aperture_mm, cure="did you pass metres?")) ** 2
