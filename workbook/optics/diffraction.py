"""What the aperture alone does to a star: the Airy pattern, its width, and what defocus takes from its peak."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, positive
from workbook.constants import ARCSEC_PER_RAD

# Airy pattern [2 J₁(v)/v]², v = π D θ/λ (Airy 1835; Born & Wolf, Principles of Optics, 7th ed., section 8.5.2).
FIRST_DARK_RING = 1.2196699  # its radius, in λ/D: first zero of J₁ over π
AIRY_FWHM = 1.0289940  # its full width at half maximum, in λ/D

# W. R. Dawes 1867, Mem. R. Astron. Soc. 35, 137: 4.56″ over the aperture in inches (recalled, not read again).
DAWES_ARCSEC_MM = 4.56 * 25.4

# What the guards take for a wavelength [nm] and for a distance from focus, either side [µm].
WAVELENGTH = {"low": 100, "high": 30000, "cure": "visible light is 400 to 700 nm, green 550 nm"}
DEFOCUS = {"low": -20000, "high": 20000, "cure": "in µm: 1 mm is 1000 µm"}


def rayleigh_limit_arcsec(*, aperture_mm, wavelength_nm):
    """The angle between two stars when one stands on the first dark ring of the other.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the front lens or mirror [mm].
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Rayleigh limit [″].

    Raises
    ------
    ValueError
        If the aperture is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    1.21967 λ/D, the radius of the first dark ring. For a round, clear, perfect aperture and no air; a central
    obstruction makes the ring smaller, not the optic better. Long exposures through the air reach the seeing
    instead, usually 2 to 4″.

    References
    ----------
    Born, M. & Wolf, E. (1999), Principles of Optics, 7th ed., section 8.5.2; reference row SAM-06.

    Examples
    --------
    >>> print(round(rayleigh_limit_arcsec(aperture_mm=58, wavelength_nm=550), 2))
    2.39
    """
    return FIRST_DARK_RING * _lambda_over_d_arcsec(aperture_mm, wavelength_nm)


def airy_fwhm_arcsec(*, aperture_mm, wavelength_nm):
    """The width of a perfect star image at half its peak, on the sky.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the front lens or mirror [mm].
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Full width at half maximum [″].

    Raises
    ------
    ValueError
        If the aperture is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    1.02899 λ/D for a round, clear, perfect aperture. A camera without a filter sees a mix of wavelengths; take
    the middle of the band.

    References
    ----------
    Born, M. & Wolf, E. (1999), Principles of Optics, 7th ed., section 8.5.2; reference row SAM-10.

    Examples
    --------
    >>> print(round(airy_fwhm_arcsec(aperture_mm=58, wavelength_nm=550), 2))
    2.01
    """
    return AIRY_FWHM * _lambda_over_d_arcsec(aperture_mm, wavelength_nm)


def dawes_limit_arcsec(aperture_mm):
    """The closest pair of equal stars that a practised eye still saw as two, as Dawes found by trial.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the front lens or mirror [mm].

    Returns
    -------
    float or array
        Dawes limit [″].

    Raises
    ------
    ValueError
        If the aperture is not positive.

    Notes
    -----
    116/D, about the width of the Airy pattern at half its peak at 564 nm. It is about an eye and a pair of sixth
    magnitude in steady air, and says little about a long exposure.

    References
    ----------
    Dawes, W. R. (1867), Mem. R. Astron. Soc. 35, 137: 4.56″ over inches (recalled); reference row SAM-07.

    Examples
    --------
    >>> print(round(dawes_limit_arcsec(58), 2))
    2.0
    """
    return DAWES_ARCSEC_MM / positive("aperture_mm", aperture_mm, cure="did you pass metres?")


def airy_disc_um(*, f_ratio, wavelength_nm):
    """The diameter of the first dark ring of a perfect star image, on the sensor.

    Parameters
    ----------
    f_ratio : float or array
        Focal length over aperture.
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Diameter of the first dark ring [µm].

    Raises
    ------
    ValueError
        If the focal ratio is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    2.44 λ N: 84 % of the light falls inside. The focal ratio alone decides, not the focal length.

    References
    ----------
    Born, M. & Wolf, E. (1999), Principles of Optics, 7th ed., section 8.5.2; reference row SAM-09.

    Examples
    --------
    >>> print(round(airy_disc_um(f_ratio=5.5, wavelength_nm=550), 2))
    7.38
    """
    wavelength_um = 1e-3 * between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    return 2 * FIRST_DARK_RING * wavelength_um * positive("f_ratio", f_ratio)


def defocus_strehl(*, defocus_um, f_ratio, wavelength_nm):
    """How high the peak of a star stays when the sensor is out of focus, against the peak in focus.

    Parameters
    ----------
    defocus_um : float or array
        Distance of the sensor from the focus, on either side [µm].
    f_ratio : float or array
        Focal length over aperture.
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Strehl ratio, 0 … 1.

    Raises
    ------
    ValueError
        If the focal ratio is not positive, the wavelength is outside 100 to 30,000 nm, or the defocus beyond
        ±20,000 µm.

    Notes
    -----
    sinc²(W) with W = Δz/(8 N² λ), the bend of the wave from centre to rim in wavelengths; sinc x = sin πx/πx.
    It is the light on the axis, for an otherwise perfect, clear, round aperture slower than f/2, in air
    without seeing. It measures sharpness while W stays below a half (0.41); beyond that the centre goes dark
    and bright again while the star only grows: use `defocus_blur_um` there.

    References
    ----------
    Born, M. & Wolf, E. (1999), Principles of Optics, 7th ed., section 8.8 (intensity along
    the axis; recalled); reference row SAM-15.

    Examples
    --------
    >>> print(round(defocus_strehl(defocus_um=33.3, f_ratio=5.5, wavelength_nm=550), 2))
    0.81
    """
    defocus_nm = 1e3 * between("defocus_um", defocus_um, **DEFOCUS)
    waves = defocus_nm / (
        8 * positive("f_ratio", f_ratio) ** 2 * between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    )
    return np.sinc(waves) ** 2


def _lambda_over_d_arcsec(aperture_mm, wavelength_nm):
    aperture_nm = 1e6 * positive("aperture_mm", aperture_mm, cure="did you pass metres? 0.06 m is 60 mm")
    return ARCSEC_PER_RAD * between("wavelength_nm", wavelength_nm, **WAVELENGTH) / aperture_nm
