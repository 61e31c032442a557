"""The fixed pattern of an uncooled sensor, and where a field stands on it from sub to sub."""

from __future__ import annotations

import functools

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.frames.paths import Shift

# The pattern of an uncooled sensor, against its median pixel. Invented, as a plausible middle.
SPREAD = 0.3  # standard deviation of ordinary pixels
WARM_SHARE, WARM = 0.01, (4.0, 30.0)  # one in a hundred, so many times the median
HOT_SHARE, HOT = 0.001, (50.0, 300.0)  # one in a thousand
COLUMN = 0.08  # standard deviation from column to column


def dark_pattern_e_s_px(*, width_px, height_px, dark_e_s_px, seed) -> np.ndarray:
    """The dark current of each pixel of an uncooled sensor: uneven, with warm and hot pixels and columns.

    Parameters
    ----------
    width_px, height_px : int
        Size of the piece of the sensor [px].
    dark_e_s_px : float
        Dark current of the median pixel, as clipped statistics of a dark give it [e⁻/s/px].
    seed : int
        Which sensor.

    Returns
    -------
    array
        Dark current, shape (height, width), single precision [e⁻/s/px].

    Raises
    ------
    ValueError
        If a size is not above zero or the current negative.

    Notes
    -----
    Against the median: ordinary pixels spread by 0.3 (a gamma distribution), columns by 0.08; one pixel in a
    hundred is 4 to 30 times, one in a thousand 50 to 300 times as warm. Invented numbers; a dark of your own
    camera shows yours. The mean lies some 30 % above the median.

    References
    ----------
    None: an invented sensor. Widenhorn et al. 2002, Proc. SPIE 4669, 193, on the spread of real ones.

    Examples
    --------
    >>> dark = dark_pattern_e_s_px(width_px=300, height_px=200, dark_e_s_px=0.1, seed=1)
    >>> print(round(float(np.median(dark)), 3), bool(dark.max() > 5))
    0.1 True
    """
    pattern = relative_pattern(
        int(positive("width_px", width_px)), int(positive("height_px", height_px)), int(seed)
    )
    return pattern * np.float32(not_negative("dark_e_s_px", dark_e_s_px))


def sub_shifts_px(*, subs, drift_x_px, drift_y_px, dither_px, dither_every, seed) -> Shift:
    """Where the field stands on the sensor in each sub: a steady drift, and random steps about it.

    Parameters
    ----------
    subs : int
        How many.
    drift_x_px, drift_y_px : float
        Drift from one sub to the next [px].
    dither_px : float
        Steps lie evenly within so much to each side, in x and in y; 0 for none [px].
    dither_every : int
        A new step after so many subs.
    seed : int
        Which steps.

    Returns
    -------
    Shift
        x_px and y_px of each sub [px].

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    The steps are from the line of the drift, not from each other: they do not walk away. More subs begin
    with the steps of fewer.

    References
    ----------
    Derivation: two even distributions, variance dither²/3 each.

    Examples
    --------
    >>> shifts = sub_shifts_px(subs=3, drift_x_px=0.5, drift_y_px=0.0, dither_px=0, dither_every=1, seed=1)
    >>> shifts.x_px
    array([0. , 0.5, 1. ])
    """
    subs = int(between("subs", subs, 1, 10_000))
    every = int(between("dither_every", dither_every, 1, 10_000))
    step = not_negative("dither_px", dither_px)
    steps = step * np.random.default_rng([int(seed), 7]).uniform(-1, 1, (-(-subs // every), 2))
    steps = np.repeat(steps, every, axis=0)[:subs].T
    count = np.arange(subs)
    return Shift(
        count * number("drift_x_px", drift_x_px) + steps[0],
        count * number("drift_y_px", drift_y_px) + steps[1],
    )


@functools.lru_cache(maxsize=8)
def relative_pattern(width_px, height_px, seed):
    """Dark current against the median pixel."""
    rng = np.random.default_rng([seed, 11])
    shape = height_px, width_px
    pattern = rng.gamma(1 / SPREAD**2, SPREAD**2, shape)
    pattern *= np.maximum(rng.normal(1, COLUMN, (1, width_px)), 0)
    kind = rng.random(shape)
    for share, (low, high) in ((WARM_SHARE + HOT_SHARE, WARM), (HOT_SHARE, HOT)):
        chosen_ones = kind < share
        pattern[chosen_ones] = np.exp(rng.uniform(np.log(low), np.log(high), int(chosen_ones.sum())))
    pattern = (pattern / np.median(pattern)).astype(np.float32)
    pattern.flags.writeable = False
    return pattern
