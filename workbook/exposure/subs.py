"""How long one exposure should be: the price of read noise, dead time, and the one efficiency."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import fraction, not_negative, number, positive

_RATE_CURE = "sky and dark current together are never zero"


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


NEAR_PEAK = 0.95  # the useful subs: within 5 % of the best efficiency (a convention of this workbook)


class UsefulSubs(NamedTuple):
    """The useful subs: shortest, best and longest [s], and the efficiency of the best."""

    shortest_s: float
    best_s: float
    longest_s: float
    efficiency: float


def useful_subs(*, sub_s, efficiency) -> UsefulSubs:
    """Shortest, best and longest useful sub from a curve of efficiency.

    Parameters
    ----------
    sub_s : array
        Sub lengths, rising; three or more [s].
    efficiency : array
        Efficiency at each.

    Returns
    -------
    UsefulSubs
        shortest_s, best_s, longest_s [s] and efficiency.

    Raises
    ------
    ValueError
        If fewer than three subs are given, they do not rise, lengths differ, or nothing is gained anywhere.

    Notes
    -----
    Best: the peak, by a parabola in log time through the three highest points. Shortest and longest: the ends of
    the stretch around the peak within 5 % of it, by straight lines in log time; the end of the curve where it
    never falls so far. So flat a top is good news: any sub in the stretch will do.

    References
    ----------
    Derivation: the peak and a level of a sampled curve; tested on the curve t/(t + o) · t/(t + c) e^(−t/l) with
    scipy's optimiser and root finder.

    Examples
    --------
    >>> t = np.geomspace(1, 600, 60)
    >>> share = t / (t + 6) * t / (t + 1.3) * np.exp(-t / 100)
    >>> subs = useful_subs(sub_s=t, efficiency=share)
    >>> print(round(subs.shortest_s), round(subs.best_s), round(subs.longest_s))
    15 25 39
    """
    t, share = np.atleast_1d(positive("sub_s", sub_s)), np.atleast_1d(number("efficiency", efficiency))
    if t.shape != share.shape or t.ndim != 1 or t.size < 3:
        raise ValueError(
            f"sub_s and efficiency must be alike, three or more: received {t.size}, {share.size}"
        )
    if (np.diff(t) <= 0).any():
        raise ValueError("sub_s must rise")
    if not np.isfinite(share).all():
        return UsefulSubs(*[np.nan] * 4)
    peak, log_t = int(np.argmax(share)), np.log(t)
    positive("efficiency", float(share[peak]), cure="no sub gains anything here")
    log_best, best = log_t[peak], share[peak]
    if 0 < peak < t.size - 1:
        a, b, c = np.polyfit(log_t[peak - 1 : peak + 2] - log_t[peak], share[peak - 1 : peak + 2], 2)
        if a < 0:
            log_best, best = log_t[peak] - b / (2 * a), c - b**2 / (4 * a)
    level = NEAR_PEAK * best
    low = _crossing(log_t[peak::-1], share[peak::-1], level)
    high = _crossing(log_t[peak:], share[peak:], level)
    return UsefulSubs(float(np.exp(low)), float(np.exp(log_best)), float(np.exp(high)), float(best))


def _crossing(x, y, level):
    """Where a curve that starts at its peak first falls to a level, or its end."""
    below = np.flatnonzero(y < level)
    if below.size == 0 or below[0] == 0:
        return x[-1] if below.size == 0 else x[0]
    i = below[0]
    return x[i - 1] + (x[i] - x[i - 1]) * (y[i - 1] - level) / (y[i - 1] - y[i])
