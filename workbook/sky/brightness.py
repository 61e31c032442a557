"""How bright a sky is: magnitudes, nanolamberts and candelas, and how brightnesses add."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import chosen, number, positive
from workbook.constants import GARSTANG_NL, GARSTANG_OFFSET, GARSTANG_SLOPE


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


class LuminanceRange(NamedTuple):
    """What a sky of one magnitude may be in candelas: darkest and brightest [cd/m²]."""

    low_cd_m2: float
    high_cd_m2: float


# Candelas a square metre of a sky of 0 mag/″². Crumey 2014, MNRAS 442, 2600: μ = 12.58 − 2.5 log₁₀ B. The rule
# of 10.8e4 is older and widely copied (used by Falchi et al. 2016, Science Advances 2, e1600377).
_CRUMEY_OFFSET = 12.58
_RULE_CD_M2 = 10.8e4
LUMINANCE_MODELS = ("crumey2014", "garstang1986", "rule108000")

# Real spectra of the night sky at 22.0 mag/″² hold 187 to 227 µcd/m² (magnitudes on the Vega scale):
# Bará et al. 2020, MNRAS 493, 2429, abstract; reference row SKY-05.
_MEASURED_AT_22_CD_M2 = (187e-6, 227e-6)

S10_DEG2_ARCSEC2 = 3600.0**2


def luminance_cd_m2(*, sky_mag_arcsec2, model="crumey2014"):
    """A sky brightness as luminance, the linear unit of lighting.

    Parameters
    ----------
    sky_mag_arcsec2 : float or array
        Surface brightness in V [mag/″²].
    model : str
        crumey2014, garstang1986 or rule108000; crumey2014 by default, the most recent of the three.

    Returns
    -------
    float or array
        Luminance [cd/m²].

    Raises
    ------
    ValueError
        If the model is unknown.

    Notes
    -----
    crumey2014: 10^((12.58 − μ)/2.5). garstang1986: nanolamberts times 10⁻⁵/π. rule108000: 10.8·10⁴
    10^(−0.4 μ). They agree within 1 %, yet all lie below what measured spectra give, because a magnitude does
    not weigh colours as an eye does: see `luminance_range_cd_m2`.

    References
    ----------
    Crumey, A. (2014), Human contrast threshold and astronomical visibility, MNRAS 442, 2600; Garstang, R. H.
    (1986), PASP 98, 364; Falchi, F. et al. (2016), Science Advances 2, e1600377; rows SKY-02 to SKY-04.

    Examples
    --------
    >>> print(round(1e6 * luminance_cd_m2(sky_mag_arcsec2=21), 1), "millionths of a candela")
    428.5 millionths of a candela
    """
    mu = number("sky_mag_arcsec2", sky_mag_arcsec2)
    if chosen("model", model, LUMINANCE_MODELS) == "garstang1986":
        return nanolambert_nl(sky_mag_arcsec2=mu) * 1e-5 / np.pi
    if model == "rule108000":
        return _RULE_CD_M2 * 10 ** (-0.4 * mu)
    return 10 ** ((_CRUMEY_OFFSET - mu) / 2.5)


def luminance_range_cd_m2(*, sky_mag_arcsec2) -> LuminanceRange:
    """The luminance of a sky with its honest range, from measured spectra.

    Parameters
    ----------
    sky_mag_arcsec2 : float or array
        Surface brightness in V, on the Vega scale [mag/″²].

    Returns
    -------
    LuminanceRange
        low_cd_m2 and high_cd_m2 [cd/m²].

    Notes
    -----
    187 to 227 µcd/m² at 22.0, carried to other magnitudes by 10^(−0.4 Δμ). The spectrum of the sky decides
    where in the range a sky lies.

    References
    ----------
    Bará, S. et al. (2020), Magnitude to luminance conversions and visual brightness of the night sky, MNRAS
    493, 2429, abstract; reference row SKY-05.

    Examples
    --------
    >>> low, high = luminance_range_cd_m2(sky_mag_arcsec2=21.5)
    >>> print(round(1e6 * low), round(1e6 * high))
    296 360
    """
    factor = 10 ** (-0.4 * (number("sky_mag_arcsec2", sky_mag_arcsec2) - 22.0))
    return LuminanceRange(*(at_22 * factor for at_22 in _MEASURED_AT_22_CD_M2))


def starlight_mag_arcsec2(*, tenth_mag_stars_count_deg2):
    """Surface brightness of starlight given in the old unit S10: stars of magnitude 10 on a square degree.

    Parameters
    ----------
    tenth_mag_stars_count_deg2 : float or array
        Number of stars of magnitude 10 on a square degree that would give the same light [1/°²].

    Returns
    -------
    float or array
        Surface brightness [mag/″²].

    Raises
    ------
    ValueError
        If the number is not positive.

    Notes
    -----
    10 + 2.5 log₁₀(3600²) − 2.5 log₁₀(S10): one S10 is 27.78 mag/″².

    References
    ----------
    Definition of the unit (Roach & Gordon 1973, The Light of the Night Sky); reference row SKY-06.

    Examples
    --------
    >>> print(round(starlight_mag_arcsec2(tenth_mag_stars_count_deg2=100), 2))
    22.78
    """
    stars = positive("tenth_mag_stars_count_deg2", tenth_mag_stars_count_deg2)
    return 10 + 2.5 * np.log10(S10_DEG2_ARCSEC2) - 2.5 * np.log10(stars)


def naked_eye_limit_mag(*, sky_mag_arcsec2):
    """The faintest star that a trained eye sees under a sky, in the mean.

    Parameters
    ----------
    sky_mag_arcsec2 : float or array
        Surface brightness in V [mag/″²].

    Returns
    -------
    float or array
        Limiting magnitude [mag].

    Notes
    -----
    7.93 − 5 log₁₀(10^(4.316 − μ/5) + 1). Eyes differ by half a magnitude and more, and clear air by as much,
    so a limit by eye tells the sky to about ±0.5 mag/″² at best. A fit, usable for 16 to 22 mag/″².

    References
    ----------
    Schaefer, B. E. (1990), Telescopic limiting magnitudes, PASP 102, 212, in its common closed form
    (recalled); reference row SKY-11.

    Examples
    --------
    >>> print(round(naked_eye_limit_mag(sky_mag_arcsec2=18.6), 1))
    4.5
    """
    return 7.93 - 5 * np.log10(10 ** (4.316 - number("sky_mag_arcsec2", sky_mag_arcsec2) / 5) + 1)
