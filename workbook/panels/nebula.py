"""A made-up nebula and random numbers for pictures that differ in their noise alone."""

from __future__ import annotations

import functools

import numpy as np

HEIGHT_PX, WIDTH_PX, SEED = 72, 104, 9
OUTER = 0.22  # the outer arm, as a share of the inner patch


@functools.cache
def made_up_nebula() -> tuple[np.ndarray, np.ndarray]:
    """Light of a nebula, 1 inside and a fifth of it in its outer arm, and standard normal numbers of that shape."""
    y, x = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX]
    x, y = (x - 0.5 * WIDTH_PX) / 16.0, (y - 0.5 * HEIGHT_PX) / 16.0
    turned = np.hypot(0.8 * x + 0.45 * y, -0.85 * x + 1.5 * y)
    inner = 0.5 * (1 - np.tanh(6 * (turned - 1.1)))
    outer = 0.5 * (1 - np.tanh(5 * (np.hypot(0.55 * x - 0.1, 0.95 * y + 0.1) - 1.5)))
    shape, dice = np.maximum(inner, OUTER * outer), np.random.default_rng(SEED).standard_normal(x.shape)
    for array in (shape, dice):
        array.flags.writeable = False
    return shape, dice


@functools.lru_cache(maxsize=8)
def binned_nebula(binning: int) -> tuple[np.ndarray, np.ndarray]:
    """The same in boxes of binning × binning pixels: mean light, and noise that is again standard normal."""
    shape, dice = made_up_nebula()
    rows, columns = (side // binning * binning for side in shape.shape)

    def boxes(array):
        cut = array[:rows, :columns].reshape(rows // binning, binning, columns // binning, binning)
        return cut.mean(axis=(1, 3))

    return boxes(shape), binning * boxes(dice)
