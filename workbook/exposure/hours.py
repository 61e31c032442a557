"""How many hours in all: to a signal-to-noise, with a range, and from one sky to another."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import fraction, not_negative, positive
from workbook.exposure.subs import _RATE_CURE, duty

_POINTS = 61  # equal-probability points of a bell curve along each uncertainty


class HoursRange(NamedTuple):
    """Hours on the clock: middle, and the ends between which they lie with 68 % probability [h]."""

    middle_h: float
    low_h: float
    high_h: float


def hours_to_snr_h(
    *,
    snr,
    object_e_s_px,
    sky_e_s_px,
    dark_e_s_px,
    read_noise_e,
    pixels,
    sub_s,
    frame_yield,
    overhead_s,
):
    """Hours on the clock until a patch has a wanted signal-to-noise.

    Parameters
    ----------
    snr : float or array
        Signal-to-noise to be reached.
    object_e_s_px : float or array
        Electrons of the object in one pixel [e⁻/s/px].
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels that are averaged.
    sub_s : float or array
        Length of one sub [s].
    frame_yield : float or array
        Share of the subs that are kept.
    overhead_s : float or array
        Time lost with each sub [s].

    Returns
    -------
    float or array
        Time on the clock [h]; infinite where no frame is kept.

    Raises
    ------
    ValueError
        If snr, object, pixels or sub is not positive, a rate, noise or overhead is negative, or the yield is no
        share.

    Notes
    -----
    q² (o + b + d + R²/t)/(o² p) seconds of open shutter, over frame yield × duty. Twice the signal-to-noise
    takes four times the hours. Whole subs are not counted; sky, altitude and Moon are constant.

    References
    ----------
    Derivation: `snr_patch` solved for the number of subs (Howell 2006, sec. 4.4); reference rows SNR-02, SNR-13.

    Examples
    --------
    >>> hours = hours_to_snr_h(snr=10, object_e_s_px=0.0838, sky_e_s_px=1.93, dark_e_s_px=0.03, read_noise_e=1.6,
    ...                        pixels=1, sub_s=30, frame_yield=1, overhead_s=5.25)
    >>> print(round(hours, 1))
    9.9
    """
    signal = positive("object_e_s_px", object_e_s_px, cure="an object that gives no light is never seen")
    sub = positive("sub_s", sub_s)
    variance = (
        signal
        + not_negative("sky_e_s_px", sky_e_s_px)
        + not_negative("dark_e_s_px", dark_e_s_px)
        + not_negative("read_noise_e", read_noise_e) ** 2 / sub
    )
    open_s = positive("snr", snr) ** 2 * variance / (signal**2 * positive("pixels", pixels))
    kept = fraction("frame_yield", frame_yield) * duty(sub_s=sub, overhead_s=overhead_s)
    with np.errstate(divide="ignore"):
        return np.divide(open_s, 3600 * np.asarray(kept))[()]


def hours_range(
    *,
    snr,
    object_e_s_px,
    object_sigma_mag,
    sky_e_s_px,
    sky_sigma_mag,
    dark_e_s_px,
    read_noise_e,
    pixels,
    sub_s,
    frame_yield,
    overhead_s,
) -> HoursRange:
    """Hours to a signal-to-noise with the range that sky and object leave open.

    Parameters
    ----------
    snr : float
        Signal-to-noise to be reached.
    object_e_s_px : float
        Electrons of the object in one pixel [e⁻/s/px].
    object_sigma_mag : float
        Uncertainty of the object's surface brightness, one sigma [mag].
    sky_e_s_px : float
        Sky background [e⁻/s/px].
    sky_sigma_mag : float
        Uncertainty of the sky's brightness, one sigma [mag].
    dark_e_s_px : float
        Dark current [e⁻/s/px].
    read_noise_e : float
        Read noise of one pixel in one sub [e⁻].
    pixels : float
        Number of pixels that are averaged.
    sub_s : float
        Length of one sub [s].
    frame_yield : float
        Share of the subs that are kept.
    overhead_s : float
        Time lost with each sub [s].

    Returns
    -------
    HoursRange
        middle_h (the median), low_h and high_h (16 % and 84 %) [h].

    Raises
    ------
    ValueError
        As `hours_to_snr_h`, or if an uncertainty is negative.

    Notes
    -----
    Both brightnesses are drawn from bell curves in magnitudes, at 61 × 61 points of equal probability, so that
    the answer holds no chance. An uncertain object counts twice: where sky rules, hours go with 10^(0.8 Δ object)
    and with 10^(−0.4 Δ sky). Throughput moves both: where sky rules, add half its uncertainty to the object's.

    References
    ----------
    Derivation: propagation of distributions (JCGM 101:2008) through `hours_to_snr_h`; tested by Monte Carlo and
    against the exact law where sky rules.

    Examples
    --------
    >>> hours = hours_range(snr=10, object_e_s_px=0.0838, object_sigma_mag=0.2, sky_e_s_px=1.93,
    ...     sky_sigma_mag=0.3, dark_e_s_px=0.03, read_noise_e=1.6, pixels=1, sub_s=30, frame_yield=1,
    ...     overhead_s=5.25)
    >>> print(round(hours.low_h, 1), round(hours.middle_h, 1), round(hours.high_h, 1))
    6.4 9.9 15.5
    """
    from scipy.special import ndtri

    z = ndtri((np.arange(_POINTS) + 0.5) / _POINTS)
    z = z / z.std()  # the points keep the whole variance
    object_factor = 10 ** (-0.4 * not_negative("object_sigma_mag", object_sigma_mag) * z[:, None])
    sky_factor = 10 ** (-0.4 * not_negative("sky_sigma_mag", sky_sigma_mag) * z)
    hours = hours_to_snr_h(
        snr=snr,
        object_e_s_px=positive("object_e_s_px", object_e_s_px) * object_factor,
        sky_e_s_px=not_negative("sky_e_s_px", sky_e_s_px) * sky_factor,
        dark_e_s_px=dark_e_s_px,
        read_noise_e=read_noise_e,
        pixels=pixels,
        sub_s=sub_s,
        frame_yield=frame_yield,
        overhead_s=overhead_s,
    )
    with np.errstate(invalid="ignore"):
        low, middle, high = np.quantile(hours, [0.1587, 0.5, 0.8413])
    return HoursRange(float(middle), float(low), float(high))


def equal_depth_h(*, hours_h, sky_e_s_px, other_sky_e_s_px, dark_e_s_px, read_noise_e, sub_s, other_sub_s):
    """Hours under another sky for the same depth.

    Parameters
    ----------
    hours_h : float or array
        Hours under the first sky [h].
    sky_e_s_px : float or array
        The first sky [e⁻/s/px].
    other_sky_e_s_px : float or array
        The other sky [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current under both [e⁻/s/px].
    read_noise_e : float or array
        Read noise [e⁻].
    sub_s : float or array
        Sub under the first sky [s].
    other_sub_s : float or array
        Sub under the other [s].

    Returns
    -------
    float or array
        Hours under the other sky [h].

    Raises
    ------
    ValueError
        If a rate, the hours or the noise is negative, a sub is not positive, or the first background is zero.

    Notes
    -----
    hours · (b₂ + d + R²/t₂)/(b₁ + d + R²/t₁). The simple rule is the ratio of the skies alone, 2.5 for a
    magnitude: dark current and read noise make a darker sky gain less. For an object fainter than the sky, and
    with equal duty and yield.

    References
    ----------
    Derivation: equal squared signal-to-noise of `snr_patch` for a faint object; reference row SKY-12 for the
    limit without dark current and read noise.

    Examples
    --------
    >>> hours = equal_depth_h(hours_h=10, sky_e_s_px=1.93, other_sky_e_s_px=0.25, dark_e_s_px=0.03,
    ...                       read_noise_e=1.6, sub_s=30, other_sub_s=30)
    >>> print(round(hours, 1))
    1.8
    """
    dark, noise2 = not_negative("dark_e_s_px", dark_e_s_px), not_negative("read_noise_e", read_noise_e) ** 2
    first = not_negative("sky_e_s_px", sky_e_s_px) + dark + noise2 / positive("sub_s", sub_s)
    other = (
        not_negative("other_sky_e_s_px", other_sky_e_s_px)
        + dark
        + noise2 / positive("other_sub_s", other_sub_s)
    )
    return not_negative("hours_h", hours_h) * other / positive("sky_e_s_px", first, cure=_RATE_CURE)
