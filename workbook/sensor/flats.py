"""Flats: are they bright enough, alike, and how much light do the corners lose?"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive

_TILES = 12  # along each side
_LOWEST_LEVEL, _HIGHEST_LEVEL = 0.15, 0.75
_DARKEST_CORNER = 0.4
_LARGEST_RATIO = 0.01  # two flats that differ by more than 1 % from tile to tile do not correct to 1 %


class FlatCheck(NamedTuple):
    """A verdict on two flats.

    Whether they may be used and every reason against; light as a share of saturation; darkest corner as a share
    of the centre; spread of the ratio of both flats from tile to tile, noise taken off, and that noise.
    """

    good: bool
    reasons: tuple
    level_share: float
    corner_share: float
    ratio_spread: float
    ratio_noise: float


def check_flats(*, first_adu, second_adu, bias_adu, saturation_adu) -> FlatCheck:
    """Do two flats agree, and will they flatten the picture? Pass or fail, with the reasons.

    Parameters
    ----------
    first_adu : array
        One flat, or the mean of several [ADU].
    second_adu : array
        Another, taken at another time, or with the lamp or the camera turned round [ADU].
    bias_adu : float
        Level of a frame without light [ADU].
    saturation_adu : float
        Largest count of the file [ADU].

    Returns
    -------
    FlatCheck
        good, reasons, level_share, corner_share, ratio_spread, ratio_noise.

    Raises
    ------
    ValueError
        If shapes differ, a side is shorter than 48 pixels, or the flats are no brighter than the bias.

    Notes
    -----
    Means over 12 × 12 tiles. Fails below 15 % or above 75 % of saturation (noise; bent counts), where the
    ratio of both flats varies by more than 1 % from tile to tile (light from the side, a moved lamp, dew), and
    where a corner has less than 40 % of the centre (the picture there is noise: crop it). The ratio shows what
    changed between both; an error common to both stays hidden, so turn the lamp.

    References
    ----------
    Derivation: the ratio of two flats of one rig is 1 everywhere up to photon noise; limits are this workbook's
    choice. Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., sec. 4.3 (flat fields).

    Examples
    --------
    >>> y, x = np.mgrid[-1:1:240j, -1:1:240j]
    >>> flat = 500 + 7000 * (1 - 0.2 * (x**2 + y**2))
    >>> verdict = check_flats(first_adu=flat, second_adu=0.9 * flat + 50, bias_adu=500, saturation_adu=16383)
    >>> print(verdict.good, round(verdict.corner_share, 2))
    True 0.66
    """
    bias, top = not_negative("bias_adu", bias_adu), positive("saturation_adu", saturation_adu)
    lights = [
        number(name, frame) - bias for name, frame in (("first_adu", first_adu), ("second_adu", second_adu))
    ]
    if np.shape(lights[0]) != np.shape(lights[1]) or np.ndim(lights[0]) != 2:
        raise ValueError(f"two flats of one shape: received {np.shape(lights[0])} and {np.shape(lights[1])}")
    if min(lights[0].shape) < 4 * _TILES:
        raise ValueError(
            f"first_adu must be {4 * _TILES} pixels or more each way, received {lights[0].shape}"
        )
    for name, light in zip(("first_adu", "second_adu"), lights, strict=True):
        positive(name, float(np.mean(light)), cure="a flat must be brighter than the bias")
    (first, first_noise), (second, second_noise) = (_tiles(light) for light in lights)
    ratio = first / second
    ratio = ratio / ratio.mean()
    noise = float(np.sqrt(np.mean((first_noise / first) ** 2 + (second_noise / second) ** 2)))
    spread = float(np.sqrt(max(ratio.var() - noise**2, 0.0)))
    level = float(max(np.median(light) for light in lights) / (top - bias))
    lowest = float(min(np.median(light) for light in lights) / (top - bias))
    centre = first[_TILES // 2 - 1 : _TILES // 2 + 1, _TILES // 2 - 1 : _TILES // 2 + 1].mean()
    corner = float(min(first[0, 0], first[0, -1], first[-1, 0], first[-1, -1]) / centre)
    reasons = [
        words
        for true, words in (
            (lowest < _LOWEST_LEVEL, f"too dark: {100 * lowest:.0f} % of saturation, expose longer"),
            (level > _HIGHEST_LEVEL, f"too bright: {100 * level:.0f} % of saturation, expose shorter"),
            (
                spread > _LARGEST_RATIO,
                f"the flats differ by {100 * spread:.1f} % from place to place: light from the side, a moved "
                "lamp, or dew",
            ),
            (corner < _DARKEST_CORNER, f"a corner has {100 * corner:.0f} % of the light: crop it"),
        )
        if true
    ]
    return FlatCheck(not reasons, tuple(reasons), level, corner, spread, noise)


def _tiles(light):
    """Means of the tiles and their standard errors, from differences of neighbours two pixels apart."""
    rows, columns = (n // _TILES // 2 * 2 for n in light.shape)
    cut = light[: rows * _TILES, : columns * _TILES].reshape(_TILES, rows, _TILES, columns)
    steps = cut[:, :, :, 2:] - cut[:, :, :, :-2]  # the same colour of a mosaic
    return cut.mean(axis=(1, 3)), np.sqrt(steps.var(axis=(1, 3)) / 2 / (rows * columns))
