"""Is there a guide star in the field, how faint may it be, and what do several stars give?"""

from __future__ import annotations

import numpy as np

from workbook import sky
from workbook.checks import between, fraction, not_negative, positive
from workbook.guiding.centroid import faintest_star_e


def faintest_star_mag(
    *,
    exposure_s,
    aperture_mm,
    throughput,
    scale_arcsec_px,
    fwhm_px,
    sky_mag_arcsec2,
    dark_e_s_px,
    read_noise_e,
    centroid_sigma_arcsec,
    band="V",
):
    """The faintest star that guides as exactly as you want.

    Parameters
    ----------
    exposure_s : float or array
        Guide exposure [s].
    aperture_mm : float or array
        Clear diameter of the guide telescope [mm].
    throughput : float or array
        Share of the light that ends as electrons.
    scale_arcsec_px : float or array
        Image scale of the guide camera [″/px].
    fwhm_px : float or array
        Width of a star on it before the pixels, full width at half maximum, 0.5 to 60 [px].
    sky_mag_arcsec2 : float or array
        Brightness of the sky [mag/″²].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of a pixel [e⁻].
    centroid_sigma_arcsec : float or array
        Error of the star's place that you accept, one sigma in each axis [″].
    band : str
        Passband of the magnitudes; V by default, as is the custom.

    Returns
    -------
    float or array
        Magnitude [mag].

    Raises
    ------
    ValueError
        If a value is out of its range.

    Notes
    -----
    faintest_star_e under the sky and dark current of the exposure, its electrons turned into a magnitude. Light lost
    in the air is not counted: take off the extinction for the height of the star.

    References
    ----------
    Derivation: sky.star_photons_s_m2 turned round; reference row PHO-02 holds its zero point.

    Examples
    --------
    >>> print(round(faintest_star_mag(exposure_s=2, aperture_mm=32, throughput=0.5, scale_arcsec_px=5.89,
    ...     fwhm_px=1, sky_mag_arcsec2=18.6, dark_e_s_px=1, read_noise_e=3, centroid_sigma_arcsec=0.3), 1))
    11.3
    """
    exposure = positive("exposure_s", exposure_s)
    scale = positive("scale_arcsec_px", scale_arcsec_px)
    background = sky.sky_electrons_s_px(
        sky_mag_arcsec2=sky_mag_arcsec2,
        aperture_mm=aperture_mm,
        scale_arcsec_px=scale,
        throughput=throughput,
        band=band,
    ) + not_negative("dark_e_s_px", dark_e_s_px)
    star_e = faintest_star_e(
        fwhm_px=fwhm_px,
        background_e_px=background * exposure,
        read_noise_e=read_noise_e,
        centroid_sigma_px=positive("centroid_sigma_arcsec", centroid_sigma_arcsec) / scale,
    )
    area_m2 = np.pi / 4.0 * (1e-3 * positive("aperture_mm", aperture_mm)) ** 2
    caught = area_m2 * fraction("throughput", throughput) * exposure
    return -2.5 * np.log10(star_e / (caught * sky.star_photons_s_m2(magnitude=0.0, band=band)))


def guide_star_chance(*, width_deg, height_deg, star_count_deg2, stars):
    """How likely a field holds so many usable stars.

    Parameters
    ----------
    width_deg, height_deg : float or array
        Sides of the guide camera's field [°].
    star_count_deg2 : float or array
        Stars a square degree brighter than the faintest that guides, from a catalogue or a count law [1/°²].
    stars : int
        So many or more.

    Returns
    -------
    float or array
        Chance, 0 to 1.

    Raises
    ------
    ValueError
        If a side is not above zero, the count negative, or stars no whole number of at least 1.

    Notes
    -----
    Poisson: 1 − e^(−m) Σ m^k/k! below the number, with m the mean number in the field, 4 asin(sin(w/2)
    sin(h/2)) square radians. Stars flock a little, so that empty fields are somewhat more frequent.

    References
    ----------
    Derivation: the Poisson law; reference row CNT-06.

    Examples
    --------
    >>> print(round(guide_star_chance(width_deg=0.91, height_deg=0.69, star_count_deg2=2.195, stars=1), 3))
    0.748
    """
    if isinstance(stars, (bool, str)) or np.ndim(stars) or stars != stars // 1 or stars < 1:
        raise ValueError(f"stars must be a whole number of at least 1, received {stars!r}")
    sides = [
        np.radians(between(name, value, 0, 180, cure="sides of the field, in degrees")) / 2.0
        for name, value in (("width_deg", width_deg), ("height_deg", height_deg))
    ]
    for name, value in (("width_deg", width_deg), ("height_deg", height_deg)):
        positive(name, value)
    area = 4.0 * np.arcsin(np.sin(sides[0]) * np.sin(sides[1])) * np.degrees(1.0) ** 2
    mean = not_negative("star_count_deg2", star_count_deg2) * area
    fewer = term = np.exp(-mean)
    for k in range(1, int(stars)):
        term = term * mean / k
        fewer = fewer + term
    return 1.0 - fewer


def several_stars_sigma_arcsec(*, stars, centroid_sigma_arcsec, tilt_sigma_arcsec, tilt_correlation):
    """What one guide correction is worth when several stars vote.

    Parameters
    ----------
    stars : float or array
        Number of stars, of equal brightness.
    centroid_sigma_arcsec : float or array
        Error of the place of one star by its light, one sigma in each axis [″].
    tilt_sigma_arcsec : float or array
        Motion of one star by the air from exposure to exposure, one sigma in each axis [″].
    tilt_correlation : float or array
        How much of that motion two of the stars share: 1 all of it, 0 none.

    Returns
    -------
    float or array
        Error of the mean place, one sigma in each axis [″].

    Raises
    ------
    ValueError
        If a value is negative, the stars fewer than one or the correlation outside −0.2 … 1.

    Notes
    -----
    √(c²/n + s² (ρ + (1 − ρ)/n)). Only what the stars do not share is averaged away: with ρ near 1, the air near the
    ground, the gain stays far below √n. Negative correlations, small where they occur, cannot make it less than 0.

    References
    ----------
    Derivation: the variance of a mean of equally correlated numbers.

    Examples
    --------
    >>> print(round(several_stars_sigma_arcsec(stars=9, centroid_sigma_arcsec=0.3, tilt_sigma_arcsec=0.4,
    ...     tilt_correlation=0.6), 3))
    0.336
    """
    count = between("stars", stars, 1, 1e6, cure="one star or more")
    shared = between("tilt_correlation", tilt_correlation, -0.2, 1, cure="1 is all motion shared, 0 none")
    centroid = not_negative("centroid_sigma_arcsec", centroid_sigma_arcsec)
    tilt = not_negative("tilt_sigma_arcsec", tilt_sigma_arcsec)
    return np.sqrt(centroid**2 / count + tilt**2 * np.maximum(shared + (1.0 - shared) / count, 0.0))
