"""What a frame holds: its background and noise, its stars, and the sky's electrons.

Small on purpose, to be read: sorted levels, tiles, a smoothing of three by three, and weighted moments.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive
from workbook.frames.camera import MOSAICS

ROUNDS = 5  # clipping settles in three or four
TILE_PX = 64  # the background is taken as smooth over this


class ClippedStatistics(NamedTuple):
    """Mean, median and standard deviation of what clipping left [ADU], and the share of the pixels kept."""

    mean_adu: float
    median_adu: float
    sigma_adu: float
    kept: float


class FrameSky(NamedTuple):
    """The sky of one frame.

    sky_e_s_px and its uncertainty sigma_e_s_px [e⁻/s/px], the mean over the pixels; noise_e, how a pixel
    scatters [e⁻]; colours, the same sky for each filter of a mosaic, {} for mono [e⁻/s/px].
    """

    sky_e_s_px: float
    sigma_e_s_px: float
    noise_e: float
    colours: dict[str, float]


def clipped_statistics(values_adu, *, clip_sigmas) -> ClippedStatistics:
    """Background and noise of a picture in spite of its stars: values far from the median are left out.

    Parameters
    ----------
    values_adu : array
        Counts or electrons of any shape; NaN is left out [ADU].
    clip_sigmas : float
        Values farther from the median than so many standard deviations are left out; 3 is usual.

    Returns
    -------
    ClippedStatistics
        mean_adu, median_adu, sigma_adu [ADU], and kept, the share of the values that stayed.

    Raises
    ------
    ValueError
        If nothing is left to measure, or the limit is not above zero.

    Notes
    -----
    Repeated up to five times, until nothing changes. Whole counts come in steps: their median is taken inside
    its step, by the share of the counts below and in it, or a faint sky would be known to one count only. The
    standard deviation of clipped normal noise is 1.3 % small at 3 sigmas; it is not corrected.

    References
    ----------
    Derivation; tested against astropy.stats.sigma_clipped_stats and statistics.median_grouped.

    Examples
    --------
    >>> found = clipped_statistics([9, 10, 10, 11, 10, 9, 11, 10, 10, 10, 10, 900], clip_sigmas=3)
    >>> found.mean_adu, round(found.kept, 2)
    (10.0, 0.92)
    """
    limit = positive("clip_sigmas", clip_sigmas)
    levels, many = _levels(np.asarray(values_adu))
    if not levels.size:
        raise ValueError("values_adu must hold a number at least, received none: is the picture all NaN?")
    low, high = 0, levels.size
    for clip in range(ROUNDS + 1):
        left, weight = levels[low:high], many[low:high]
        mean = float((left * weight).sum() / weight.sum())
        sigma = float(np.sqrt(((left - mean) ** 2 * weight).sum() / weight.sum()))
        median = _median(left, weight, whole=np.asarray(values_adu).dtype.kind in "iu")
        ends = np.searchsorted(levels, (median - limit * sigma, median + limit * sigma), side="left")
        ends[1] = np.searchsorted(levels, median + limit * sigma, side="right")
        ends = max(low, int(ends[0])), min(high, int(ends[1]))
        if clip == ROUNDS or ends == (low, high):
            break
        low, high = ends
    return ClippedStatistics(mean, median, sigma, float(weight.sum() / many.sum()))


def background_map_adu(adu, *, tile_px=TILE_PX) -> np.ndarray:
    """The background of a picture in each pixel: medians of tiles, joined by straight lines.

    Parameters
    ----------
    adu : array
        A picture, shape (height, width); NaN is left out [ADU].
    tile_px : int
        Side of a tile, by default 64: far larger than a star, smaller than a galaxy [px].

    Returns
    -------
    array
        Background in each pixel, single precision [ADU].

    Raises
    ------
    ValueError
        If the picture has not two axes.

    Notes
    -----
    Every second row and column counts. A tile filled by a nebula takes it for background.

    References
    ----------
    Derivation; tested against photutils.background.Background2D.

    Examples
    --------
    >>> ramp = np.arange(256.0)[None, :] + np.zeros((128, 1))
    >>> float(background_map_adu(ramp)[60, 100].round())
    100.0
    """
    picture = checked_picture(adu)
    return background_rows(background_lines(picture, tile_px), slice(0, len(picture)))


def sky_electrons_s_px(*, frame_adu, bias_adu, dark_adu, gain_e_adu, exposure_s):
    """The sky's electrons from the counts of a frame: (median − bias − dark) × gain / time.

    Parameters
    ----------
    frame_adu : float or array
        Median of the frame [ADU].
    bias_adu : float or array
        What a pixel counts without light and time, from a bias frame or the offset [ADU].
    dark_adu : float or array
        What the dark current adds over this exposure, the bias already taken off [ADU].
    gain_e_adu : float or array
        Electrons for one count [e⁻/ADU].
    exposure_s : float or array
        Exposure time [s].

    Returns
    -------
    float or array
        Sky and whatever else shines everywhere in the frame [e⁻/s/px].

    Raises
    ------
    ValueError
        If gain or time is not above zero, or nothing is left after bias and dark.

    Notes
    -----
    A dark frame contains the bias: with a dark frame of the same exposure give bias_adu = its median and
    dark_adu = 0, or take the bias off first.

    References
    ----------
    EMVA 1288 release 4.0, linear camera model (recalled); simulated frames in the tests.

    Examples
    --------
    >>> print(sky_electrons_s_px(frame_adu=620, bias_adu=500, dark_adu=20, gain_e_adu=0.8, exposure_s=40))
    2.0
    """
    left = number("frame_adu", frame_adu) - not_negative("bias_adu", bias_adu)
    left = not_negative(
        "frame_adu − bias_adu − dark_adu",
        left - not_negative("dark_adu", dark_adu),
        cure="is the bias still in dark_adu? A dark frame contains it",
    )
    return left * positive("gain_e_adu", gain_e_adu) / positive("exposure_s", exposure_s)


def sky_of_frame(frame, *, bias_adu, dark_adu, gain_e_adu=None) -> FrameSky:
    """The sky of a raw frame in electrons, with its uncertainty, and for each colour of a mosaic.

    Parameters
    ----------
    frame : Frame
        A raw frame.
    bias_adu, dark_adu : float
        As in `sky_electrons_s_px` [ADU].
    gain_e_adu : float or None
        Electrons for one count; by default what the file says [e⁻/ADU].

    Returns
    -------
    FrameSky
        sky_e_s_px, sigma_e_s_px [e⁻/s/px], noise_e [e⁻], colours [e⁻/s/px].

    Raises
    ------
    ValueError
        If neither the file nor the call gives the gain, or nothing is left after bias and dark.

    Notes
    -----
    Clipped at 3 sigmas, so that stars do not count. The uncertainty is the scatter of the pixels alone, 1.25
    σ/√N for a median; bias, dark and gain come on top and are usually far larger. Light of few electrons is
    skewed: its median lies a sixth of an electron below its mean.

    References
    ----------
    As `sky_electrons_s_px`; standard error of a median, √(π/2) σ/√N (Kendall & Stuart, recalled).
    """
    gain = frame.gain_e_adu if gain_e_adu is None else gain_e_adu
    if gain is None:
        raise ValueError("gain_e_adu must be given, since the frame's file has no GAIN")
    calibration = {"bias_adu": bias_adu, "dark_adu": dark_adu, "gain_e_adu": gain}
    calibration["exposure_s"] = positive("exposure_s", frame.exposure_s, cure="a bias frame has no sky")
    parts = colour_planes(frame.adu, mosaic=frame.mosaic) if frame.mosaic else {"": [frame.adu]}
    found = {
        colour: clipped_statistics(np.stack(planes), clip_sigmas=3.0) for colour, planes in parts.items()
    }
    count = {colour: sum(plane.size for plane in planes) for colour, planes in parts.items()}
    sky = {
        colour: sky_electrons_s_px(frame_adu=each.median_adu, **calibration) for colour, each in found.items()
    }
    share = {colour: many / frame.adu.size for colour, many in count.items()}
    variance = sum(
        share[c] ** 2 * np.pi / 2 * found[c].sigma_adu ** 2 / (count[c] * found[c].kept) for c in sky
    )
    return FrameSky(
        sky_e_s_px=sum(share[c] * sky[c] for c in sky),
        sigma_e_s_px=float(np.sqrt(variance)) * gain / frame.exposure_s,
        noise_e=float(np.sqrt(sum(share[c] * found[c].sigma_adu ** 2 for c in sky))) * gain,
        colours=sky if frame.mosaic else {},
    )


def colour_planes(adu, *, mosaic) -> dict[str, list[np.ndarray]]:
    """The pixels of each filter of a mosaic as pictures of half the size, the two greens as two.

    >>> planes = colour_planes(np.array([[1, 2], [3, 4]]), mosaic="RGGB")
    >>> {colour: [plane.tolist() for plane in found] for colour, found in planes.items()}
    {'R': [[[1]]], 'G': [[[2]], [[3]]], 'B': [[[4]]]}
    """
    if mosaic not in MOSAICS[1:]:
        raise ValueError(f"mosaic must be one of {', '.join(MOSAICS[1:])}, received {mosaic!r}")
    picture = checked_picture(adu)
    picture = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]
    planes: dict[str, list[np.ndarray]] = {}
    for place, colour in enumerate(mosaic):
        planes.setdefault(colour, []).append(picture[place // 2 :: 2, place % 2 :: 2])
    return planes


def checked_picture(adu):
    """A picture as an array of two axes."""
    picture = np.asarray(adu)
    if picture.ndim != 2:
        raise ValueError(f"a picture has two axes (rows, columns), received {picture.ndim}")
    return picture


def _levels(values):
    """The sorted values, and how often each occurs."""
    if values.dtype.kind == "u" and values.dtype.itemsize <= 2:
        many = np.bincount(values.ravel())
        levels = np.flatnonzero(many)
        return levels.astype(float), many[levels].astype(float)
    finite = values[np.isfinite(values)] if values.dtype.kind == "f" else values
    levels = np.sort(finite, axis=None).astype(float)
    return levels, np.ones(levels.size)


def _median(levels, many, *, whole):
    """The middle value; of whole counts the place within the count, as a share of its step."""
    below = np.cumsum(many)
    half = below[-1] / 2
    if not whole:
        first, second = np.searchsorted(below, (half, half + 0.5), side="left")
        return float((levels[first] + levels[min(second, levels.size - 1)]) / 2)
    middle = levels[np.searchsorted(below, half, side="right") if below[-1] > 1 else 0]
    less, same = many[levels < middle].sum(), many[levels == middle].sum()
    return float(middle - 0.5 + (half - less) / same)


def background_rows(lines, rows):
    """The background in some rows, from the lines that `background_lines` gives."""
    middles, line = lines
    place = np.interp(np.arange(rows.start, rows.stop), middles, np.arange(len(middles)))
    below = np.minimum(place.astype(int), max(len(middles) - 2, 0))
    above = np.minimum(below + 1, len(middles) - 1)
    part = (place - below).astype(np.float32)[:, None]
    return line[below] * (1 - part) + line[above] * part


def background_lines(picture, tile_px):
    """Middles of the rows of tiles, and along each the background in every column."""
    sides = [max(1, round(size / tile_px)) for size in picture.shape]
    edges = [
        np.linspace(0, size, side + 1).astype(int) for size, side in zip(picture.shape, sides, strict=True)
    ]
    medians = np.empty(sides)
    for row, (bottom, top) in enumerate(pairwise(edges[0])):
        for column, (left, right) in enumerate(pairwise(edges[1])):
            tile = picture[bottom:top:2, left:right:2].ravel()
            tile = tile[np.isfinite(tile)] if tile.dtype.kind == "f" else tile
            medians[row, column] = np.partition(tile, tile.size // 2)[tile.size // 2] if tile.size else np.nan
    if np.isnan(medians).all():
        raise ValueError("the picture must hold a number at least, received none: is it all NaN?")
    medians[np.isnan(medians)] = np.nanmedian(medians)
    middles = [(ends[:-1] + ends[1:] - 1) / 2 for ends in edges]
    line = np.stack([np.interp(np.arange(picture.shape[1]), middles[1], each) for each in medians])
    return middles[0], line.astype(np.float32)
