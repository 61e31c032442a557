"""Nights of different quality in one stack: their weights, and whether a hazy one is worth adding."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import positive


class Nights(NamedTuple):
    """Nights combined.

    Weight of one sub of each night, the best night's being 1; signal-to-noise of one sub of the best night times
    so many is reached by the weighted mean, by the plain mean of all, and by the weighted mean without each
    night; and the hours that each night is worth, as a share of all.
    """

    weights: np.ndarray
    weighted_snr: float
    plain_snr: float
    snr_without: np.ndarray
    worth_share: np.ndarray


def combine_nights(*, subs, transmission, noise_e) -> Nights:
    """Combine nights with the weights that serve best, and say what each is worth.

    Parameters
    ----------
    subs : array
        Number of subs of each night.
    transmission : array
        Light of a star in each night as a share of the clearest, from the same stars.
    noise_e : array
        Noise of the background of one sub in each night [e⁻].

    Returns
    -------
    Nights
        weights, weighted_snr, plain_snr, snr_without, worth_share.

    Raises
    ------
    ValueError
        If a number is not positive, or the three lists differ in length.

    Notes
    -----
    Subs scaled to equal starlight have the noise σ/T, so the weight is (T/σ)² and squares of signal-to-noise
    add: q² = Σ n (T/σ)². With right weights a night never harms; in a plain mean of the raw subs, q = Σ n T /
    √(Σ n σ²), a poor one may. Worth as a share of all: its n (T/σ)² over the sum. Wide stars, gradients and
    trails are further reasons to leave a night out, which noise does not show.

    References
    ----------
    Inverse-variance weights: Bevington & Robinson (2003), Data Reduction and Error Analysis, 3rd ed., sec. 4.1.
    Tested on simulated nights.

    Examples
    --------
    >>> both = combine_nights(subs=[120, 120], transmission=[1.0, 0.6], noise_e=[8.0, 11.0])
    >>> print(both.weights.round(2), round(both.weighted_snr / both.snr_without[1], 3))
    [1.   0.19] 1.091
    """
    count, light, noise = (
        np.atleast_1d(positive(name, value))
        for name, value in (("subs", subs), ("transmission", transmission), ("noise_e", noise_e))
    )
    if not count.shape == light.shape == noise.shape or count.ndim != 1:
        raise ValueError(f"one of each for every night: received {count.size}, {light.size} and {noise.size}")
    quality = (light / noise) ** 2
    weights = quality / quality.max()
    information = count * weights
    total = information.sum()
    best = int(np.argmax(quality))
    plain = (count @ (light / light[best])) / np.sqrt(count @ (noise / noise[best]) ** 2)
    return Nights(
        weights=weights,
        weighted_snr=float(np.sqrt(total)),
        plain_snr=float(plain),
        snr_without=np.sqrt(np.maximum(total - information, 0.0)),
        worth_share=information / total,
    )
