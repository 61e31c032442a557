"""Subs of empty sky from a sensor with a fixed pattern, as calibration leaves them: one piece after the other."""

from __future__ import annotations

import functools

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.frames.pattern import relative_pattern

WIDTH_PX, HEIGHT_PX = 240, 160  # the piece of the picture that is shown
SENSOR_PX = 512  # the piece of the sensor it wanders over; beyond, the same pixels come again
LONGEST = (25, 50, 100, 200, 400)  # subs whose noise is drawn at once, so that a growing stack draws seldom


class PatternSubs:
    """The subs of a night, made one after the other: what calibration leaves of the pattern, and noise.

    The arguments are those of `walking_noise`. `left_e` is the part that is the same in every sub [e⁻]: the share of
    the pattern that the darks do not take away, and the noise of the darks themselves, whose dark current is
    (1 − mismatch) times that of the subs. `sigma_e` is the noise of each pixel of one sub [e⁻]; both are maps of the
    sensor, with its beginning once more at its ends. `floor_e` is the noise that sky, the median pixel's dark
    current and reading leave in one sub [e⁻].
    """

    def __init__(self, exposure_s, sky_e_s_px, dark_e_s_px, read_noise_e, mismatch, darks, seed):
        exposure = positive("exposure_s", exposure_s)
        dark = not_negative("dark_e_s_px", dark_e_s_px) * exposure
        sky = not_negative("sky_e_s_px", sky_e_s_px) * exposure
        read2 = not_negative("read_noise_e", read_noise_e) ** 2
        share = between("mismatch", mismatch, -10, 10)
        darks = int(between("darks", darks, 0, 10_000))
        pattern = _wrapped(seed)
        self._seed = seed
        self.sigma_e = np.sqrt(pattern * np.float32(dark) + np.float32(sky + read2))
        self.left_e = (pattern - 1) * np.float32(share * dark)
        if darks:
            in_darks = dark * max(1 - share, 0)
            own = np.sqrt((pattern * np.float32(in_darks) + np.float32(read2)) / np.float32(darks))
            self.left_e += own * _wrapped_normal(seed)
        self.floor_e = float(np.sqrt(sky + dark + read2))

    def each(self, shifts):
        """One sub after the other, on the grid of the sky; the array is used again."""
        noise = _noise(self._seed, len(shifts.x_px))
        sub = np.empty((HEIGHT_PX, WIDTH_PX), np.float32)
        for (right, up), one in zip(places(shifts), noise, strict=True):
            piece = slice(up, up + HEIGHT_PX), slice(right, right + WIDTH_PX)
            np.multiply(one, self.sigma_e[piece], out=sub)
            sub += self.left_e[piece]
            yield sub


def places(shifts):
    """Where each sub begins on the sensor, in whole pixels: (right, up)."""
    return zip(*(np.floor(place + 0.5).astype(int) % SENSOR_PX for place in shifts), strict=True)


@functools.lru_cache(maxsize=4)
def _wrapped(seed):
    """The pattern of the piece of the sensor, and at its ends once more its beginning."""
    return np.pad(relative_pattern(SENSOR_PX, SENSOR_PX, seed), ((0, HEIGHT_PX), (0, WIDTH_PX)), mode="wrap")


@functools.lru_cache(maxsize=4)
def _wrapped_normal(seed):
    """The noise of a master dark, in its own standard deviation."""
    noise = np.random.default_rng([seed, 13]).standard_normal((SENSOR_PX, SENSOR_PX), dtype=np.float32)
    return np.pad(noise, ((0, HEIGHT_PX), (0, WIDTH_PX)), mode="wrap")


def _noise(seed, subs):
    """The noise of each sub, in its own standard deviation: a longer night begins as a shorter one does."""
    return _drawn(seed, next(longest for longest in LONGEST if longest >= subs))[:subs]


@functools.lru_cache(maxsize=4)
def _drawn(seed, subs):
    return np.random.default_rng([seed, 17]).standard_normal((subs, HEIGHT_PX, WIDTH_PX), dtype=np.float32)
