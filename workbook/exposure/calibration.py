"""What calibration frames leave in a stack: darks and flats are pictures, and pictures have noise."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, positive


class StackNoise(NamedTuple):
    """Noise of a calibrated stack, in electrons of one sub.

    Whole noise, and its parts from the lights, from the darks and from the flats [e⁻]; whole noise over that of
    the lights alone.
    """

    noise_e: float
    lights_e: float
    darks_e: float
    flats_e: float
    times_worse: float


def master_noise_e(*, frame_noise_e, frames):
    """The noise of a mean of calibration frames.

    Parameters
    ----------
    frame_noise_e : float or array
        Noise of one of them [e⁻].
    frames : float or array
        How many were averaged.

    Returns
    -------
    float or array
        Noise of the mean [e⁻].

    Raises
    ------
    ValueError
        If the noise is negative or the number is not positive.

    Notes
    -----
    σ/√n; subtracted from one light of the same noise it makes √(1 + 1/n) times as much.

    References
    ----------
    Standard error of a mean; reference row SNR-15.

    Examples
    --------
    >>> print(round(master_noise_e(frame_noise_e=3, frames=20), 2))
    0.67
    """
    return not_negative("frame_noise_e", frame_noise_e) / np.sqrt(positive("frames", frames))


def calibrated_noise(
    *, light_noise_e, lights, dark_noise_e, darks, light_level_e, flat_level_e, flats, positions
) -> StackNoise:
    """The noise of a stack after darks and flats.

    Parameters
    ----------
    light_noise_e : float or array
        Noise of one raw light: sky, dark current, reading [e⁻].
    lights : float or array
        Number of lights.
    dark_noise_e : float or array
        Noise of one dark [e⁻].
    darks : float or array
        Number of darks.
    light_level_e : float or array
        Background of a light, which the flat divides [e⁻].
    flat_level_e : float or array
        Level of one flat [e⁻].
    flats : float or array
        Number of flats.
    positions : float or array
        How many different pixels each star visits: 1 without dither.

    Returns
    -------
    StackNoise
        noise_e, lights_e, darks_e, flats_e [e⁻] and times_worse.

    Raises
    ------
    ValueError
        If a noise or the light level is negative, a number or the flat level is not positive, or there are more
        positions than lights.

    Notes
    -----
    lights σ/√n; darks σ_d/√n_d and flats level/√(flat level · n_f), both over √positions, since the same
    master noise comes back in every light that lies on the same pixels. So 20 darks under 400 undithered lights
    rule the stack. Every light is taken to need all of its dark level away; hot pixels are left out.

    References
    ----------
    Derivation: variances add, with the master's fully shared by lights on one pixel; Howell (2006), sec. 4.4;
    reference row SNR-15. Tested on simulated frames.

    Examples
    --------
    >>> stack = calibrated_noise(light_noise_e=3.0, lights=400, dark_noise_e=3.0, darks=20, light_level_e=6,
    ...                          flat_level_e=6000, flats=20, positions=1)
    >>> print(round(stack.lights_e, 2), round(stack.darks_e, 2), round(stack.times_worse, 1))
    0.15 0.67 4.6
    """
    count, places = positive("lights", lights), positive("positions", positions)
    if np.any(np.asarray(places) > np.asarray(count)):
        raise ValueError(f"positions must be no more than lights, received {np.max(places):g}")
    light_part = master_noise_e(frame_noise_e=light_noise_e, frames=count)
    dark_part = master_noise_e(frame_noise_e=dark_noise_e, frames=darks) / np.sqrt(places)
    flat_share = 1 / np.sqrt(positive("flat_level_e", flat_level_e) * positive("flats", flats))
    flat_part = not_negative("light_level_e", light_level_e) * flat_share / np.sqrt(places)
    whole = np.sqrt(light_part**2 + dark_part**2 + flat_part**2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return StackNoise(whole, light_part, dark_part, flat_part, np.divide(whole, light_part))


def darks_for(*, light_noise_e, lights, dark_noise_e, positions, noise_increase):
    """How many darks it takes until their noise costs no more than a chosen share.

    Parameters
    ----------
    light_noise_e : float or array
        Noise of one raw light [e⁻].
    lights : float or array
        Number of lights.
    dark_noise_e : float or array
        Noise of one dark [e⁻].
    positions : float or array
        How many different pixels each star visits: 1 without dither.
    noise_increase : float or array
        Accepted increase of noise as a share: 0.05 is 5 %.

    Returns
    -------
    float or array
        Number of darks, not rounded.

    Raises
    ------
    ValueError
        If a noise is negative, or a number or the increase is not positive.

    Notes
    -----
    n_d = n (σ_d/σ)²/(positions ((1 + p)² − 1)). Where a dark is as noisy as a light, it takes ten times as
    many darks as lights for 5 %; with dither over ten places as many.

    References
    ----------
    Derivation: `calibrated_noise` without flats solved for the darks; reference row SNR-08 for the factor 9.76.

    Examples
    --------
    >>> print(round(darks_for(light_noise_e=3, lights=100, dark_noise_e=1.8, positions=25, noise_increase=0.05)))
    14
    """
    ratio2 = (not_negative("dark_noise_e", dark_noise_e) / positive("light_noise_e", light_noise_e)) ** 2
    allowed = (1 + positive("noise_increase", noise_increase, cure="0.05 means 5 % more noise")) ** 2 - 1
    return positive("lights", lights) * ratio2 / (positive("positions", positions) * allowed)
