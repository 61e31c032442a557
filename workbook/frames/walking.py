"""Walking noise: what a fixed pattern of the sensor leaves in a stack whose field drifts, and what dither does.

A dark that does not match leaves part of the sensor's pattern in every sub. Stacked on the stars, the pattern
moves by the drift from sub to sub: a slow drift draws each warm pixel out into a streak, and all streaks run
the same way. A random step between the subs (dither) scatters them.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, not_negative, number
from workbook.frames.fast_combine import fast_combine
from workbook.frames.measure import clipped_statistics
from workbook.frames.paths import Shift
from workbook.frames.pattern import sub_shifts_px
from workbook.frames.pattern_subs import HEIGHT_PX, WIDTH_PX, PatternSubs

WEDGE_DEG = 15.0  # waves within this of along and across are compared
SHORTEST_PX, LONGEST_PX = 4.0, 60.0  # and of these lengths
METHODS = ("mean", "clipped mean")
STEPS_PX = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0)


class WalkingNoise(NamedTuple):
    """A stack of sky alone, without stars, and its noise.

    picture_e, the stack in electrons of one sub, its median taken off [e⁻]; subs, how many; noise_e, the
    scatter of all its pixels, hot ones included [e⁻]; floor_e, what shot and
    read noise alone would leave [e⁻]; noise_increase, the one over the other minus 1; streak_ratio, the power
    of waves across the drift over that along it, 1 without streaks and NaN without drift; drift_deg, the
    direction of the drift in the picture, from x towards y [°]; shifts, where each sub lay [px].
    """

    picture_e: np.ndarray
    subs: int
    noise_e: float
    floor_e: float
    noise_increase: float
    streak_ratio: float
    drift_deg: float
    shifts: Shift


def live_stack(
    *,
    subs,
    exposure_s,
    sky_e_s_px,
    dark_e_s_px,
    read_noise_e,
    mismatch,
    darks,
    drift_x_px,
    drift_y_px,
    dither_px,
    dither_every,
    seed,
) -> Iterator[WalkingNoise]:
    """The stack after one sub, after two and so on, by the mean: what `walking_noise` gives at the end.

    Parameters
    ----------
    subs, exposure_s, sky_e_s_px, dark_e_s_px, read_noise_e, mismatch, darks, drift_x_px, drift_y_px, dither_px,
    dither_every, seed
        As in `walking_noise`.

    Yields
    ------
    WalkingNoise
        The stack so far.

    Examples
    --------
    >>> night = {"subs": 4, "exposure_s": 60, "sky_e_s_px": 1.0, "dark_e_s_px": 0.1, "read_noise_e": 1.6,
    ...          "mismatch": 0.2, "darks": 20, "drift_x_px": 0.3, "drift_y_px": 0.1, "dither_px": 0,
    ...          "dither_every": 1, "seed": 1}
    >>> [made.subs for made in live_stack(**night)]
    [1, 2, 3, 4]
    """
    made = PatternSubs(exposure_s, sky_e_s_px, dark_e_s_px, read_noise_e, mismatch, darks, int(seed))
    shifts = sub_shifts_px(
        subs=subs,
        drift_x_px=drift_x_px,
        drift_y_px=drift_y_px,
        dither_px=dither_px,
        dither_every=dither_every,
        seed=seed,
    )
    total = np.zeros((HEIGHT_PX, WIDTH_PX), np.float32)
    for done, one in enumerate(made.each(shifts), start=1):
        total += one
        so_far = Shift(shifts.x_px[:done], shifts.y_px[:done])
        yield _judged(total / np.float32(done), so_far, made.floor_e, (drift_x_px, drift_y_px))


def walking_noise(
    *,
    subs,
    exposure_s,
    sky_e_s_px,
    dark_e_s_px,
    read_noise_e,
    mismatch,
    darks,
    drift_x_px,
    drift_y_px,
    dither_px,
    dither_every,
    seed,
    method,
) -> WalkingNoise:
    """A stack of sky without stars from a sensor with a fixed pattern, and how noisy and streaky it is.

    Parameters
    ----------
    subs : int
        How many, 1 to 400.
    exposure_s : float
        Exposure of each [s].
    sky_e_s_px : float
        Sky [e⁻/s/px].
    dark_e_s_px : float
        Dark current of the median pixel [e⁻/s/px].
    read_noise_e : float
        Read noise [e⁻].
    mismatch : float
        Share of the subs' dark pattern that calibration leaves: 0 for matched darks, 1 for none at all,
        1 − 2^(−ΔT/6 K) for darks that were colder by ΔT than the subs, if 6 K double the dark current; negative
        where they were warmer and take too much.
    darks : int
        How many darks the master dark was made of: their own noise is a fixed pattern, too; 0 for no darks.
    drift_x_px, drift_y_px : float
        Drift of the field on the sensor from one sub to the next [px].
    dither_px : float
        Random steps lie within so much to each side [px].
    dither_every : int
        A new step after so many subs.
    seed : int
        Which sensor, noise and steps.
    method : str
        "mean" or "clipped mean", the latter at 3 sigmas.

    Returns
    -------
    WalkingNoise
        Picture, noise, floor, streaks.

    Raises
    ------
    ValueError
        If a number is out of its range or the method not known.

    Notes
    -----
    The pattern of `dark_pattern_e_s_px`, less its median. Subs are moved by whole pixels, so that no
    resampling changes the noise. Light and sky are even, flats perfect. A pattern of 512 × 512 px comes again
    where the field wanders farther. Without motion the noise is √(σ²/N + p²), σ that of one sub and p that of
    the pattern; when each sub meets other pixels it is √((σ² + p²)/N): dither averages the pattern, it does
    not remove it. What a clip removes are the few warm pixels far outside the scatter.

    References
    ----------
    Derivation; checked in the tests against subs written whole and stacked by `stack_subs`.

    Examples
    --------
    >>> night = {"subs": 40, "exposure_s": 60, "sky_e_s_px": 1.0, "dark_e_s_px": 0.1, "read_noise_e": 1.6,
    ...          "mismatch": 1.0, "darks": 0, "drift_x_px": 0.3, "drift_y_px": 0.1, "dither_every": 1, "seed": 1,
    ...          "method": "clipped mean"}
    >>> still, dithered = walking_noise(**night, dither_px=0), walking_noise(**night, dither_px=8)
    >>> still.streak_ratio > 2 * dithered.streak_ratio, still.noise_e > dithered.noise_e
    (True, True)
    """
    chosen("method", method, METHODS)
    made = PatternSubs(exposure_s, sky_e_s_px, dark_e_s_px, read_noise_e, mismatch, darks, int(seed))
    shifts = sub_shifts_px(
        subs=between("subs", subs, 1, 400),
        drift_x_px=drift_x_px,
        drift_y_px=drift_y_px,
        dither_px=dither_px,
        dither_every=dither_every,
        seed=seed,
    )
    if method == "mean":
        picture = np.zeros((HEIGHT_PX, WIDTH_PX), np.float32)
        for one in made.each(shifts):
            picture += one
        picture /= np.float32(subs)
    else:
        values = np.stack([one.copy() for one in made.each(shifts)])
        picture = fast_combine(values, method=method, clip_sigmas=3.0).light_adu
    return _judged(picture, shifts, made.floor_e, (drift_x_px, drift_y_px))


def dither_needed_px(*, noise_increase, seeds, **night) -> float:
    """The smallest dither with which a stack comes so near to the noise of its light alone.

    Parameters
    ----------
    noise_increase : float
        Noise above the floor that is accepted; 0.05 is 5 % more noise, 10 % more time.
    seeds : sequence
        Seeds of sensor, noise and steps; the mean over them counts.
    **night
        As in `walking_noise`, without dither_px and seed.

    Returns
    -------
    float
        One of the steps 0 to 30 px; NaN if none suffices [px].

    Raises
    ------
    ValueError
        As `walking_noise`.

    Notes
    -----
    Tried in turn: 0, 0.5, 1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30 px. What remains at 30 px is the pattern
    averaged over the positions: only more of them, or a better dark, takes it down.
    """
    wanted = not_negative("noise_increase", noise_increase)
    for step in STEPS_PX:
        found = [walking_noise(**night, dither_px=step, seed=seed).noise_increase for seed in seeds]
        if np.mean(found) <= wanted:
            return step
    return float("nan")


def streak_ratio(picture, *, direction_deg) -> float:
    """How much stronger waves across a direction are than waves along it: streaks along it make it large.

    Parameters
    ----------
    picture : array
        A picture without stars, shape (height, width).
    direction_deg : float
        The direction of the drift, from x towards y [°].

    Returns
    -------
    float
        Ratio of powers; 1 for even noise, with a scatter of some 5 % for 240 × 160 px.

    Notes
    -----
    Mean power of waves 4 to 60 px long whose direction of travel lies within 15° of across, over that within
    15° of along. Values beyond 5 sigmas are cut, so that a hot pixel does not rule.

    References
    ----------
    Derivation: the Fourier transform of a line is a line at right angles to it.

    Examples
    --------
    >>> columns = np.random.default_rng(1).normal(size=(1, 240)) + np.zeros((160, 1))
    >>> noise = np.random.default_rng(2).normal(size=(160, 240))
    >>> streak_ratio(noise + columns, direction_deg=90) > 5, round(streak_ratio(noise, direction_deg=90))
    (True, 1)
    """
    light = np.asarray(picture, np.float32)
    spread = clipped_statistics(light[::2, ::2], clip_sigmas=3.0)
    limit = 5 * spread.sigma_adu
    light = np.clip(light - np.float32(spread.median_adu), -limit, limit)
    power = np.abs(np.fft.rfft2(light)) ** 2
    along, across = _wedges(light.shape, round(float(number("direction_deg", direction_deg)), 3))
    return float(power[across].mean() / power[along].mean())


def _judged(picture, shifts, floor_e, drift):
    """Noise, floor and streaks of a stack."""
    subs = len(shifts.x_px)
    noise, floor = float(picture.std()), floor_e / float(np.sqrt(subs))
    angle = float(np.degrees(np.arctan2(drift[1], drift[0]))) if any(drift) else float("nan")
    streaks = streak_ratio(picture, direction_deg=angle) if any(drift) else float("nan")
    return WalkingNoise(
        picture - np.median(picture), subs, noise, floor, noise / floor - 1, streaks, angle, shifts
    )


@functools.lru_cache(maxsize=16)
def _wedges(shape, direction_deg):
    """Masks of the waves that travel along and across a direction."""
    up, right = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None, :]
    length = np.hypot(up, right)
    fits = (length >= 1 / LONGEST_PX) & (length <= 1 / SHORTEST_PX)
    turn = np.radians(direction_deg)
    forward = np.abs(right * np.cos(turn) + up * np.sin(turn))
    sideways = np.abs(up * np.cos(turn) - right * np.sin(turn))
    limit = np.tan(np.radians(WEDGE_DEG))
    return fits & (sideways <= limit * forward), fits & (forward <= limit * sideways)
