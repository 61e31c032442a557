"""One exposure and many: signal-to-noise, the price of read noise, and the one efficiency."""

from __future__ import annotations

import numpy as np

from workbook.checks import fraction, not_negative, positive

_RATE_CURE = "sky and dark current together are never zero"


def snr_star(*, star_e_s, sky_e_s_px, dark_e_s_px, read_noise_e, pixels, sub_s, subs=1):
    """Signal-to-noise of a star, or of any patch of pixels, in a stack of equal subs.

    Parameters
    ----------
    star_e_s : float or array
        Electrons of the object inside the patch [e⁻/s].
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels in the patch.
    sub_s : float or array
        Length of one sub [s].
    subs : float or array
        Number of subs; 1 by default, because one exposure is what the equation of the literature describes.

    Returns
    -------
    float or array
        Signal-to-noise ratio. NaN where nothing at all is received: no light and no noise.

    Raises
    ------
    ValueError
        If a rate or the read noise is negative, or pixels, sub or number of subs is not positive.

    Notes
    -----
    S t √n / √(S t + p (b t + d t + R²)) for each sub of t seconds, p pixels and n subs. The background is
    taken as known exactly; fixed patterns, flats and quantisation are left out.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., Cambridge, sec. 4.4; Merline, W. J. & Howell,
    S. B. (1995), Experimental Astronomy 6, 163; reference rows SNR-01a, SNR-03 and SNR-04.

    Examples
    --------
    >>> snr = snr_star(
    ...     star_e_s=50, sky_e_s_px=0.8, dark_e_s_px=0.1, read_noise_e=3, pixels=25, sub_s=60
    ... )
    >>> print(round(snr, 2))
    44.35
    """
    sub_s = positive("sub_s", sub_s)
    signal = not_negative("star_e_s", star_e_s) * sub_s
    rate = not_negative("sky_e_s_px", sky_e_s_px) + not_negative("dark_e_s_px", dark_e_s_px)
    per_pixel = rate * sub_s + not_negative("read_noise_e", read_noise_e) ** 2
    noise = np.sqrt(signal + positive("pixels", pixels) * per_pixel)
    signal = signal * np.sqrt(positive("subs", subs))
    with np.errstate(invalid="ignore"):
        return np.divide(signal, noise)


def noise_increase(*, sub_s, background_e_s_px, read_noise_e):
    """How much noisier read noise makes the background of a stack, against one endless sub.

    Parameters
    ----------
    sub_s : float or array
        Length of one sub [s].
    background_e_s_px : float or array
        Sky and dark current together [e⁻/s/px].
    read_noise_e : float or array
        Read noise [e⁻].

    Returns
    -------
    float or array
        Increase as a share: 0.05 is 5 % more noise, which takes 10 % more time to make good.

    Raises
    ------
    ValueError
        If sub or background is not positive, or the read noise is negative.

    Notes
    -----
    √(1 + R²/(b t)) − 1, for an object fainter than the background. Above 1 for subs so short that read noise
    rules.

    References
    ----------
    Derivation: variances add, b t from the background and R² from each reading (Howell 2006, sec. 4.4);
    reference rows SNR-07 and SNR-09.

    Examples
    --------
    >>> print(round(noise_increase(sub_s=30, background_e_s_px=1.93, read_noise_e=1.6), 4))
    0.0219
    """
    collected = positive("background_e_s_px", background_e_s_px, cure=_RATE_CURE) * positive("sub_s", sub_s)
    return np.sqrt(1 + not_negative("read_noise_e", read_noise_e) ** 2 / collected) - 1


def shortest_sub_s(*, background_e_s_px, read_noise_e, noise_increase):
    """The shortest sub whose read noise adds no more than a chosen share of noise.

    Parameters
    ----------
    background_e_s_px : float or array
        Sky and dark current together [e⁻/s/px].
    read_noise_e : float or array
        Read noise [e⁻].
    noise_increase : float or array
        Accepted increase of noise as a share: 0.05 is 5 %.

    Returns
    -------
    float or array
        Sub length [s].

    Raises
    ------
    ValueError
        If the background is not positive, the read noise is negative, or the increase is 0 or above 1.

    Notes
    -----
    t = R²/(b ((1 + p)² − 1)): 9.76 R²/b for 5 % more noise. It says nothing about overhead or about gears.

    References
    ----------
    Derivation: noise_increase turned round; reference rows SNR-08 and SNR-10.

    Examples
    --------
    >>> print(round(shortest_sub_s(background_e_s_px=1.93, read_noise_e=1.6, noise_increase=0.05), 1))
    12.9
    """
    cure = "0.05 means 5 % more noise"
    increase = positive("noise_increase", fraction("noise_increase", noise_increase, cure=cure), cure=cure)
    background = positive("background_e_s_px", background_e_s_px, cure=_RATE_CURE)
    return not_negative("read_noise_e", read_noise_e) ** 2 / (background * ((1 + increase) ** 2 - 1))


def duty(*, sub_s, overhead_s):
    """The share of the clock during which the shutter is open.

    Parameters
    ----------
    sub_s : float or array
        Length of one sub [s].
    overhead_s : float or array
        Time lost with each sub: download, dither and settling, spread evenly [s].

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If the sub is not positive or the overhead is negative.

    Notes
    -----
    t/(t + overhead). A dither every fourth sub counts with a quarter of its time.

    References
    ----------
    Derivation: open time over clock time of one cycle; reference row DAT-07 (221 frames of 60 + 5 s in 4 h).

    Examples
    --------
    >>> duty(sub_s=30, overhead_s=6)
    0.8333333333333334
    """
    sub_s = positive("sub_s", sub_s)
    return sub_s / (sub_s + not_negative("overhead_s", overhead_s))


def efficiency(*, sub_s, frame_yield, overhead_s, background_e_s_px, read_noise_e):
    """Information won per clock time, against a perfect rig under the same sky.

    Parameters
    ----------
    sub_s : float or array
        Length of one sub [s].
    frame_yield : float or array
        Share of the subs that are kept.
    overhead_s : float or array
        Time lost with each sub: download, dither and settling, spread evenly [s].
    background_e_s_px : float or array
        Sky and dark current together [e⁻/s/px].
    read_noise_e : float or array
        Read noise [e⁻].

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If sub or background is not positive, read noise or overhead is negative, or the yield is no share.

    Notes
    -----
    frame yield × duty × b/(b + R²/t). The last factor is 1/(1 + noise increase)²: squared signal-to-noise
    grows in step with time. The best sub is the peak over t. For objects fainter than the background.

    References
    ----------
    Derivation: squared signal-to-noise of snr_star for a faint object, over clock time, over the same with
    every frame kept, no overhead and no read noise; reference row SNR-06 for the read-noise factor.

    Examples
    --------
    >>> share = efficiency(
    ...     sub_s=30, frame_yield=0.8, overhead_s=6, background_e_s_px=1.93, read_noise_e=1.6
    ... )
    >>> print(round(share, 3))
    0.638
    """
    kept = fraction("frame_yield", frame_yield)
    background = positive("background_e_s_px", background_e_s_px, cure=_RATE_CURE)
    per_second = not_negative("read_noise_e", read_noise_e) ** 2 / positive("sub_s", sub_s)
    return kept * duty(sub_s=sub_s, overhead_s=overhead_s) * background / (background + per_second)
