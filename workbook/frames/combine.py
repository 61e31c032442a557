"""Many values of one pixel made one: mean, clipped mean, median; with the noise of the result.

The readable form, on whole arrays. Frames are the first axis; NaN is where a frame does not reach.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import chosen, positive

METHODS = ("mean", "clipped mean", "median")
ROUNDS = 5  # clipping settles in two or three
FEWEST = 3  # of fewer values none can be called the odd one out


class Combined(NamedTuple):
    """What a stack of values gives: light_adu, its noise_adu [ADU], coverage (values kept) and rejected."""

    light_adu: np.ndarray
    noise_adu: np.ndarray
    coverage: np.ndarray
    rejected: np.ndarray


def combine_subs(values_adu, *, method, clip_sigmas) -> Combined:
    """Frames that lie on each other, combined pixel by pixel.

    Parameters
    ----------
    values_adu : array
        The frames, the first axis counts them; NaN where one does not reach [ADU].
    method : str
        "mean", "clipped mean" or "median".
    clip_sigmas : float
        For the clipped mean: values farther from the median than so many standard deviations are left out,
        up to five times. Not used by the others.

    Returns
    -------
    Combined
        light_adu and noise_adu [ADU], coverage, rejected. NaN and 0 where no frame reaches.

    Raises
    ------
    ValueError
        If the method is not known, or the limit not above zero.

    Notes
    -----
    Noise is the scatter of the values kept over √n, σ with n − 1; NaN for one value. For the median times
    √(π n/(2 n + π − 2)), the way from 1 at one value to √(π/2) at many: right to 11 % at two to four, to 6 %
    from five on. One far value among n stands n/√(n − 1) standard deviations from the median: a clip at 3
    cannot see it before n = 8. The scatter of few values is itself uncertain, by 1/√(2(n − 1)): 16 % at 20.

    References
    ----------
    Derivation; variance of the median: Kendall & Stuart (recalled). Tested against astropy.stats.sigma_clip
    and ccdproc.Combiner.

    Examples
    --------
    >>> pixel = np.array([10.0, 11, 9, 10, 11, 9, 10, 11, 9, 500])[:, None]
    >>> combined = combine_subs(pixel, method="clipped mean", clip_sigmas=2.5)
    >>> float(combined.light_adu[0]), int(combined.rejected[0])
    (10.0, 1)
    """
    limit = positive("clip_sigmas", clip_sigmas)
    values = np.array(values_adu, dtype=np.float32)
    there = np.isfinite(values).sum(axis=0)
    if chosen("method", method, METHODS) == "clipped mean":
        for _ in range(ROUNDS):
            _, sigma, kept = _statistics(values, freedom=0)
            far = np.abs(values - nan_median(values)) > limit * sigma
            far &= kept >= FEWEST
            if not far.any():
                break
            values[far] = np.nan
    mean, sigma, kept = _statistics(values, freedom=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        noise = sigma / np.sqrt(kept)
    light = mean
    if method == "median":
        light, noise = nan_median(values), noise * median_excess(kept)
    return Combined(light, noise.astype(np.float32), kept.astype(np.uint16), (there - kept).astype(np.uint16))


def nan_median(values) -> np.ndarray:
    """The median along the first axis, NaN left out: sorted (NaN comes last), then the middle one or two.

    >>> nan_median(np.array([[1.0], [np.nan], [5.0], [2.0]]))
    array([2.])
    """
    ordered = np.sort(values, axis=0)
    count = np.isfinite(values).sum(axis=0)[None]
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=0)
    high = np.take_along_axis(ordered, np.minimum(count // 2, len(values) - 1), axis=0)
    return ((low + high) / 2)[0]


def median_excess(count):
    """How much noisier a median of so many normal values is than their mean.

    >>> print(round(float(median_excess(1)), 3), round(float(median_excess(1000)), 3))
    1.0 1.253
    """
    count = np.asarray(count, float)
    with np.errstate(invalid="ignore"):
        return np.sqrt(np.pi * count / (2 * count + np.pi - 2))


def _statistics(values, *, freedom):
    """Mean, standard deviation and number along the first axis, NaN left out."""
    there = np.isfinite(values)
    count = there.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(there, values, 0).sum(axis=0, dtype=float) / count
        square = np.where(there, values - mean, 0) ** 2
        sigma = np.sqrt(square.sum(axis=0) / np.where(count > freedom, count - freedom, np.nan))
    return mean.astype(np.float32), sigma.astype(np.float32), count
