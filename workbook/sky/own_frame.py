"""The sky out of one's own frame: its level, its rate in electrons, and with stars its magnitude."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive

_CUT = 3.0  # pixels or stars further from the middle than so many sigmas are left out
_MAD_TO_SIGMA = 1.482602218505602  # a Gaussian's sigma over its median absolute deviation
_FEWEST_STARS = 3


class Level(NamedTuple):
    """The background of a frame: level, its standard error and the noise of one pixel [ADU]; pixels used."""

    level_adu: float
    level_sigma_adu: float
    noise_adu: float
    pixels: int


class SkyRate(NamedTuple):
    """Sky electrons of one pixel each second and their uncertainty [e⁻/s/px]."""

    sky_e_s_px: float
    sky_sigma_e_s_px: float


class ZeroPoint(NamedTuple):
    """What star would give one electron a second above the air.

    Zero point, its standard error and the scatter of one star [mag]; number of stars kept and left out.
    """

    zero_mag: float
    zero_sigma_mag: float
    scatter_mag: float
    kept: int
    left_out: int


class OwnSky(NamedTuple):
    """A measured sky brightness and its uncertainty [mag/″²]."""

    sky_mag_arcsec2: float
    sigma_mag_arcsec2: float


def sky_level(*, pixels_adu) -> Level:
    """The background of a frame between its stars.

    Parameters
    ----------
    pixels_adu : array
        Counts of a frame, or of one colour of a mosaic; the middle third of a frame avoids vignetting [ADU].

    Returns
    -------
    Level
        level_adu, level_sigma_adu, noise_adu [ADU] and pixels used.

    Raises
    ------
    ValueError
        If fewer than 100 pixels are finite.

    Notes
    -----
    Median after leaving out, over and over, what lies more than 3 sigmas from it; sigma from the median absolute
    deviation, and never below the step of one count. The standard error of a median is √(π/2) σ/√n. The
    median of photon counts lies a sixth of an electron below their mean, so take a frame with 20 e⁻ or more.
    Faint stars and nebulae that fill the frame are taken for sky. Whole counts are read as spread over their step.

    References
    ----------
    Kenney & Keeping (1962), Mathematics of Statistics, pt 1, ch. 13 (error of a median); tested against
    astropy.stats.sigma_clipped_stats.

    Examples
    --------
    >>> level = sky_level(pixels_adu=np.random.default_rng(1).normal(700, 10, (100, 100)))
    >>> print(round(level.level_adu), round(level.noise_adu), level.level_sigma_adu < 0.2)
    700 10 True
    """
    values = np.ravel(number("pixels_adu", pixels_adu))
    values = values[np.isfinite(values)]
    if values.size < 100:
        raise ValueError(f"pixels_adu must hold 100 pixels or more, received {values.size}")
    for _ in range(10):
        middle = _median_of_counts(values)
        sigma = max(_MAD_TO_SIGMA * np.median(np.abs(values - middle)), 0.2887)
        kept = values[np.abs(values - middle) <= _CUT * sigma]
        if kept.size == values.size:
            break
        values = kept
    noise = max(float(np.std(values)), 0.2887)
    return Level(float(middle), float(np.sqrt(np.pi / 2) * noise / np.sqrt(values.size)), noise, values.size)


def sky_rate(
    *,
    light_adu,
    light_sigma_adu,
    bias_adu,
    bias_sigma_adu,
    dark_adu,
    dark_sigma_adu,
    gain_e_adu,
    gain_sigma_e_adu,
    sub_s,
) -> SkyRate:
    """Sky electrons of one pixel each second, from the levels of three frames.

    Parameters
    ----------
    light_adu : float or array
        Background of a frame of the sky, for instance from `sky_level` [ADU].
    light_sigma_adu : float or array
        Its uncertainty [ADU].
    bias_adu : float or array
        Level of a frame without light or time [ADU].
    bias_sigma_adu : float or array
        Its uncertainty [ADU].
    dark_adu : float or array
        What dark current adds above the bias in the same time at the same temperature [ADU].
    dark_sigma_adu : float or array
        Its uncertainty [ADU].
    gain_e_adu : float or array
        Electrons for one count [e⁻/ADU].
    gain_sigma_e_adu : float or array
        Its uncertainty [e⁻/ADU].
    sub_s : float or array
        Length of the sub [s].

    Returns
    -------
    SkyRate
        sky_e_s_px and sky_sigma_e_s_px [e⁻/s/px].

    Raises
    ------
    ValueError
        If gain or sub is not positive, or an uncertainty or the dark is negative.

    Notes
    -----
    (light − bias − dark) gain/t; variances of independent parts add. A bias taken at another setting than the
    light is the usual way to a wrong answer. Counts of a file that was stretched to 16 bits have to be divided
    first by 4 (14 bits) or 16 (12 bits), or the gain with them.

    References
    ----------
    EMVA 1288, release 4.0, linear camera model: μ_y = μ_dark + K μ_e; law of propagation of uncertainty (GUM,
    JCGM 100:2008, eq. 10), tested by Monte Carlo.

    Examples
    --------
    >>> rate = sky_rate(light_adu=573, light_sigma_adu=0.5, bias_adu=500, bias_sigma_adu=0.2, dark_adu=1,
    ...                 dark_sigma_adu=0.3, gain_e_adu=0.8, gain_sigma_e_adu=0.04, sub_s=30)
    >>> print(round(rate.sky_e_s_px, 2), round(rate.sky_sigma_e_s_px, 2))
    1.92 0.1
    """
    counts = (
        number("light_adu", light_adu) - number("bias_adu", bias_adu) - not_negative("dark_adu", dark_adu)
    )
    gain, sub = positive("gain_e_adu", gain_e_adu), positive("sub_s", sub_s)
    counts_variance = (
        not_negative("light_sigma_adu", light_sigma_adu) ** 2
        + not_negative("bias_sigma_adu", bias_sigma_adu) ** 2
        + not_negative("dark_sigma_adu", dark_sigma_adu) ** 2
    )
    gain_part = counts * not_negative("gain_sigma_e_adu", gain_sigma_e_adu)
    return SkyRate(counts * gain / sub, np.sqrt(gain**2 * counts_variance + gain_part**2) / sub)


def zero_point(*, star_e_s, star_sigma_e_s, magnitude, extinction_mag, airmass) -> ZeroPoint:
    """The zero point of a rig, from stars of known magnitude in a frame.

    Parameters
    ----------
    star_e_s : array
        Electrons of each star, background taken off [e⁻/s].
    star_sigma_e_s : float or array
        Their uncertainty [e⁻/s].
    magnitude : array
        Catalogue magnitude of each star [mag].
    extinction_mag : float
        Extinction at the zenith [mag].
    airmass : float or array
        Airmass towards the stars.

    Returns
    -------
    ZeroPoint
        zero_mag, zero_sigma_mag, scatter_mag [mag], kept and left_out.

    Raises
    ------
    ValueError
        If fewer than 3 stars are given, lengths differ, a star gives no light, or extinction or airmass is
        negative.

    Notes
    -----
    z = m + k X + 2.5 log₁₀(rate) for each star; median, then a mean weighted by 1/(σ² + s²) of all stars within
    3 sigmas of it, with s the scatter that their noise does not explain (colours of stars, neighbours, flat).
    Clipped, saturated or blended stars stand out and are left out. An open camera is no V filter: colours of
    stars scatter it by 0.1 to 0.2 mag, and that is in the standard error only as far as the stars show it.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., sec. 5.2 (instrumental magnitudes); DerSimonian &
    Laird (1986), Controlled Clinical Trials 7, 177 (weights with added scatter); tested by Monte Carlo.

    Examples
    --------
    >>> fit = zero_point(star_e_s=[1000, 398.1, 158.5, 63.1], star_sigma_e_s=1, magnitude=[9, 10, 11, 12],
    ...                  extinction_mag=0.25, airmass=1.2)
    >>> print(round(fit.zero_mag, 2), fit.kept)
    16.8 4
    """
    rate = np.atleast_1d(positive("star_e_s", star_e_s, cure="leave out stars without light"))
    mag = np.atleast_1d(number("magnitude", magnitude))
    if rate.shape != mag.shape or rate.ndim != 1:
        raise ValueError(f"one magnitude for each star: received {rate.size} stars and {mag.size} magnitudes")
    if rate.size < _FEWEST_STARS:
        raise ValueError(f"star_e_s must hold {_FEWEST_STARS} stars or more, received {rate.size}")
    air = not_negative("extinction_mag", extinction_mag) * not_negative("airmass", airmass)
    zero = np.broadcast_to(mag + air + 2.5 * np.log10(rate), rate.shape)
    noise = np.broadcast_to(
        1.0857 * not_negative("star_sigma_e_s", star_sigma_e_s) / rate, rate.shape
    )  # 2.5/ln 10
    if not np.isfinite(zero + noise).all():
        return ZeroPoint(np.nan, np.nan, np.nan, 0, rate.size)
    off = np.abs(zero - np.median(zero))
    limit = _CUT * np.sqrt(noise**2 + (_MAD_TO_SIGMA * np.median(off)) ** 2) + 1e-9
    zero, noise = zero[off <= limit], noise[off <= limit]
    unexplained2 = _added_scatter2(zero, noise)
    weight = 1 / (noise**2 + unexplained2 + 1e-12)
    mean = np.sum(weight * zero) / np.sum(weight)
    return ZeroPoint(
        float(mean),
        float(1 / np.sqrt(np.sum(weight))),
        float(np.std(zero, ddof=1)) if zero.size > 1 else np.nan,
        int(zero.size),
        int(rate.size - zero.size),
    )


def sky_from_frame(*, sky_e_s_px, sky_sigma_e_s_px, zero_mag, zero_sigma_mag, scale_arcsec_px) -> OwnSky:
    """The brightness of the sky from its rate and the zero point of the same rig.

    Parameters
    ----------
    sky_e_s_px : float or array
        Sky rate, from `sky_rate` [e⁻/s/px].
    sky_sigma_e_s_px : float or array
        Its uncertainty [e⁻/s/px].
    zero_mag : float or array
        Zero point above the air, from `zero_point` [mag].
    zero_sigma_mag : float or array
        Its uncertainty [mag].
    scale_arcsec_px : float or array
        Image scale [″/px].

    Returns
    -------
    OwnSky
        sky_mag_arcsec2 and sigma_mag_arcsec2 [mag/″²].

    Raises
    ------
    ValueError
        If rate or scale is not positive, or an uncertainty is negative.

    Notes
    -----
    μ = z − 2.5 log₁₀(rate/scale²). The zero point is that above the air, since a sky is quoted as it looks from
    the ground, without adding the extinction back. The gain cancels between stars and sky, so its uncertainty
    belongs to the rate only where the zero point came from another camera. Real accuracy is 0.1 to 0.2 mag: the
    sky and the stars differ in colour.

    References
    ----------
    Derivation: `sky_electrons_s_px` turned round, with the zero point of the rig instead of V's; error of a
    logarithm, 2.5/ln 10 · σ/rate (GUM, JCGM 100:2008, eq. 10).

    Examples
    --------
    >>> sky = sky_from_frame(
    ...     sky_e_s_px=1.92, sky_sigma_e_s_px=0.1, zero_mag=17.55, zero_sigma_mag=0.1, scale_arcsec_px=2.256
    ... )
    >>> print(round(sky.sky_mag_arcsec2, 1), round(sky.sigma_mag_arcsec2, 2))
    18.6 0.11
    """
    rate = positive("sky_e_s_px", sky_e_s_px, cure="is the bias taken off twice?")
    scale = positive("scale_arcsec_px", scale_arcsec_px)
    rate_part = 2.5 / np.log(10) * not_negative("sky_sigma_e_s_px", sky_sigma_e_s_px) / rate
    return OwnSky(
        number("zero_mag", zero_mag) - 2.5 * np.log10(rate / scale**2),
        np.hypot(rate_part, not_negative("zero_sigma_mag", zero_sigma_mag)),
    )


def _added_scatter2(values, sigma):
    """The scatter beyond the stated errors, squared, by the moments of DerSimonian & Laird 1986."""
    weight = 1 / (sigma**2 + 1e-12)
    mean = np.sum(weight * values) / np.sum(weight)
    surplus = np.sum(weight * (values - mean) ** 2) - (values.size - 1)
    scale = np.sum(weight) - np.sum(weight**2) / np.sum(weight)
    return max(float(surplus / scale), 0.0) if values.size > 1 else 0.0


def _median_of_counts(values):
    """The median; of whole counts the place of the middle within the middle count."""
    middle = np.median(values)
    if middle != round(middle):
        return middle
    below, at = np.count_nonzero(values < middle), np.count_nonzero(values == middle)
    if at < 2:
        return middle
    return middle - 0.5 + (values.size / 2 - below) / at
