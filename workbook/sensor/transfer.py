"""Gain and read noise of a camera from pairs of flats and biases: the photon-transfer method.

Two equal frames differ only by noise, so their difference tells the noise with every pattern gone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive

_FEWEST_PIXELS = 1000
_BLOCK_PX = 16
_SATURATED_SHARE = 1e-3  # so many pixels at the end of the counts, and the noise is cut
_FLICKER_SHARE = 0.02  # two flats further apart than this were not lit alike
_BIAS_APART_SIGMAS = 6.0
_CUT = 5.0  # pixels further out, in sigmas, are hits of radiation or hot pixels


class PairGain(NamedTuple):
    """Gain and its uncertainty [e⁻/ADU], read noise and its uncertainty [e⁻], of one set of pairs."""

    gain_e_adu: float
    gain_sigma_e_adu: float
    read_noise_e: float
    read_noise_sigma_e: float


class PhotonTransfer(NamedTuple):
    """A camera, characterised.

    Gain and its uncertainty [e⁻/ADU]; read noise, rounding included, and its uncertainty [e⁻]; level of the bias
    [ADU]; light [ADU] and variance [ADU²] of the pairs used, biases first; reasons why pairs were refused.
    """

    gain_e_adu: float
    gain_sigma_e_adu: float
    read_noise_e: float
    read_noise_sigma_e: float
    bias_adu: float
    light_adu: np.ndarray
    variance_adu2: np.ndarray
    refused: tuple


def pair_gain(
    *, flat_sum_adu, bias_sum_adu, flat_difference_variance_adu2, bias_difference_variance_adu2, pixels
) -> PairGain:
    """Gain and read noise from the sums and the differences of two flats and two biases, by hand.

    Parameters
    ----------
    flat_sum_adu : float
        Mean of one flat plus mean of the other [ADU].
    bias_sum_adu : float
        Mean of one bias plus mean of the other [ADU].
    flat_difference_variance_adu2 : float
        Variance over the pixels of flat minus flat [ADU²].
    bias_difference_variance_adu2 : float
        Variance over the pixels of bias minus bias [ADU²].
    pixels : float
        Number of pixels in the patch.

    Returns
    -------
    PairGain
        gain_e_adu and gain_sigma_e_adu [e⁻/ADU], read_noise_e and read_noise_sigma_e [e⁻].

    Raises
    ------
    ValueError
        If a variance is not positive, the flats are no brighter or no noisier than the biases, or there are
        fewer than 2 pixels.

    Notes
    -----
    gain = (ΣF − ΣB)/(var ΔF − var ΔB); read noise = gain · σ(ΔB)/√2. A variance of n pixels is known to
    √(2/(n − 1)) of itself. The read noise contains the rounding to whole counts.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., eq. 4.17 ff.; Janesick, J. (2001), Scientific
    Charge-Coupled Devices, SPIE Press, ch. 2; reference rows DET-08 and DET-09.

    Examples
    --------
    >>> camera = pair_gain(flat_sum_adu=42000, bias_sum_adu=2000, flat_difference_variance_adu2=10100.25,
    ...                    bias_difference_variance_adu2=50, pixels=90000)
    >>> print(round(camera.gain_e_adu, 2), round(camera.gain_sigma_e_adu, 2), round(camera.read_noise_e, 1))
    3.98 0.02 19.9
    """
    flat_variance = positive("flat_difference_variance_adu2", flat_difference_variance_adu2)
    bias_variance = positive("bias_difference_variance_adu2", bias_difference_variance_adu2)
    light = number("flat_sum_adu", flat_sum_adu) - number("bias_sum_adu", bias_sum_adu)
    photons = positive(
        "flat_difference_variance_adu2", flat_variance - bias_variance, cure="the flats must be noisier"
    )
    gain = positive("flat_sum_adu", light, cure="the flats must be brighter than the biases") / photons
    relative = np.sqrt(2 / (positive("pixels", pixels, cure="two or more") - 1))
    gain_share = relative * np.hypot(flat_variance, bias_variance) / photons
    # d ln(read noise) = d ln(gain) + d ln(bias variance)/2, and the bias variance is in both
    bias_part = bias_variance / photons + 0.5
    read_share = relative * np.hypot(flat_variance / photons, bias_part)
    read_noise = gain * np.sqrt(bias_variance / 2)
    return PairGain(gain, gain * gain_share, read_noise, read_noise * read_share)


def photon_transfer(*, flat_pairs_adu, bias_pairs_adu, saturation_adu) -> PhotonTransfer:
    """Gain and read noise of a camera from its own frames, with bad pairs refused and the reason said.

    Parameters
    ----------
    flat_pairs_adu : sequence of pairs of arrays
        Flats, two by two with the same exposure; several levels are better. One colour of a mosaic, or the middle
        of the frame [ADU].
    bias_pairs_adu : sequence of pairs of arrays
        Frames without light, two by two, at the same setting [ADU].
    saturation_adu : float
        Largest count of the file [ADU].

    Returns
    -------
    PhotonTransfer
        gain_e_adu, gain_sigma_e_adu [e⁻/ADU], read_noise_e, read_noise_sigma_e [e⁻], bias_adu, light_adu [ADU],
        variance_adu2 [ADU²], refused.

    Raises
    ------
    ValueError
        If no pair of flats or no pair of biases is left: the message lists every reason. Or if the frames show
        no noise that grows with light.

    Notes
    -----
    Half the variance of a difference against mean light above the bias: variance = read² + light/gain, a
    straight line by weighted least squares. A pair is refused if its frames differ in shape or are the same one,
    more than 0.1 % of the pixels are saturated or stand at zero, its levels differ by more than 2 % of the light
    (a lamp that flickers, a cloud), or its difference shows structure in blocks of 16 pixels (light that moved).
    Pixels beyond 5 sigmas of the difference are left out. Assumes counts in step with light: keep below 70 % of
    saturation.

    References
    ----------
    Janesick, J. (2001), Scientific Charge-Coupled Devices, SPIE Press, ch. 2; EMVA Standard 1288, release 4.0
    (2021), photon transfer method; reference rows DET-08 and DET-09. Tested on simulated frames.

    Examples
    --------
    >>> random = np.random.default_rng(3)
    >>> def frame(light_e):
    ...     return np.rint((random.poisson(light_e, (200, 200)) + random.normal(0, 1.6, (200, 200))) / 0.8 + 500)
    >>> camera = photon_transfer(flat_pairs_adu=[(frame(4000), frame(4000))],
    ...                          bias_pairs_adu=[(frame(0), frame(0))], saturation_adu=16383)
    >>> print(round(camera.gain_e_adu, 1), round(camera.read_noise_e, 1), camera.refused)
    0.8 1.6 ()
    """
    top = positive("saturation_adu", saturation_adu)
    refused, biases, flats = [], [], []
    for place, pair in enumerate(bias_pairs_adu, 1):
        _sort(pair, f"bias pair {place}", top, None, biases, refused)
    bias = float(np.mean([b.level for b in biases])) if biases else np.nan
    for place, pair in enumerate(flat_pairs_adu, 1):
        _sort(pair, f"flat pair {place}", top, bias, flats, refused)
    if not biases or not flats:
        missing = "flats" if biases else "biases"
        raise ValueError(f"no pair of {missing} is left: {'; '.join(refused) or 'none was given'}")
    light = np.array([0.0] * len(biases) + [f.level - bias for f in flats])
    variance = np.array([pair.variance for pair in (*biases, *flats)])
    sigma = variance * np.sqrt(2 / (np.array([pair.pixels for pair in (*biases, *flats)]) - 1))
    table = np.column_stack([np.ones_like(light), light]) / sigma[:, None]
    covariance = np.linalg.inv(table.T @ table)
    read2, slope = covariance @ table.T @ (variance / sigma)
    if slope <= 0 or read2 <= 0:
        raise ValueError("flats show no noise that grows with light: are they single raw frames?")
    read_share2 = (
        covariance[1, 1] / slope**2 + covariance[0, 0] / (4 * read2**2) - covariance[0, 1] / (slope * read2)
    )
    read_noise = np.sqrt(read2) / slope
    return PhotonTransfer(
        gain_e_adu=float(1 / slope),
        gain_sigma_e_adu=float(np.sqrt(covariance[1, 1]) / slope**2),
        read_noise_e=float(read_noise),
        read_noise_sigma_e=float(read_noise * np.sqrt(read_share2)),
        bias_adu=bias,
        light_adu=light,
        variance_adu2=variance,
        refused=tuple(refused),
    )


class _Pair(NamedTuple):
    level: float
    variance: float
    pixels: int


def _sort(pair, name, top, bias, good, refused):
    """Put one pair among the good, or its reason among the refused."""
    found = _judge(pair, top, bias)
    if isinstance(found, str):
        refused.append(f"{name}: {found}")
    else:
        good.append(found)


def _judge(pair, top, bias):
    """Level and noise of a pair, or the reason why it says nothing; `bias` is None for biases."""
    if len(pair) != 2:
        return f"holds {len(pair)} frames, not two"
    first, second = (np.atleast_1d(not_negative("counts_adu", frame)) for frame in pair)
    if first.shape != second.shape or first.ndim != 2:
        return f"mismatched, {first.shape} against {second.shape} pixels"
    if first.size < _FEWEST_PIXELS:
        return f"too small, {first.size} pixels of {_FEWEST_PIXELS} or more"
    if not np.isfinite(first + second).all():
        return "holds pixels without a value"
    for share, words in (
        (max(np.mean(first >= top), np.mean(second >= top)), "saturated"),
        (max(np.mean(first <= 0), np.mean(second <= 0)), "cut off at zero"),
    ):
        if share > _SATURATED_SHARE:
            return f"{words}, {100 * share:.1f} % of the pixels"
    levels = first.mean(), second.mean()
    level = (levels[0] + levels[1]) / 2
    difference = first - second - (levels[0] - levels[1])
    spread = max(1.4826 * np.median(np.abs(difference)), 0.3)
    kept = difference[np.abs(difference) <= _CUT * spread]
    variance = float(np.var(kept, ddof=1) / 2)
    apart = abs(levels[0] - levels[1])
    if bias is None:
        if apart > _BIAS_APART_SIGMAS * max(np.sqrt(2 * variance / first.size), 0.05):
            return f"mismatched, levels {apart:.2f} ADU apart"
    elif level <= bias or np.isnan(bias):
        return "no brighter than the bias" if level <= bias else "there is no bias to go with it"
    elif apart > _FLICKER_SHARE * (level - bias):
        return f"flickers, levels {100 * apart / (level - bias):.1f} % apart"
    if variance <= 0:
        return "no noise in the difference: the same frame twice?"
    if (structure := _structure(np.clip(difference, -_CUT * spread, _CUT * spread), variance)) > 0:
        return f"mismatched, the light moved: structure of {structure:.1f} ADU in the difference"
    return _Pair(float(level), variance, kept.size)


def _structure(difference, variance):
    """Spread of block means beyond what the noise of pixels explains [ADU], 0 where there is none."""
    rows, columns = (n // _BLOCK_PX for n in difference.shape)
    if rows * columns < 4:
        return 0.0
    blocks = difference[: rows * _BLOCK_PX, : columns * _BLOCK_PX]
    means = blocks.reshape(rows, _BLOCK_PX, columns, _BLOCK_PX).mean(axis=(1, 3))
    expected = 2 * variance / _BLOCK_PX**2
    excess = means.var(ddof=1) - expected
    return float(np.sqrt(excess)) if excess > 5 * expected * np.sqrt(2 / (means.size - 1)) else 0.0
