"""A small star finder: peaks above the noise, and for each its place, light and second moments.

Readable on purpose. Stars are told from hot pixels and hits by their width; what cannot be trusted is flagged,
not hidden.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import positive
from workbook.frames.measure import (
    TILE_PX,
    background_lines,
    background_rows,
    checked_picture,
    clipped_statistics,
)

REACH_PX = 10  # a star is measured within so many pixels of its peak
STEPS = 12  # each step halves what is missing of the shape
START_PX2 = 2.0  # first guess of the second moments
NARROWEST_PX2 = 0.4  # no star is narrower: the pixel alone has 1/12, the rest must be blur
CROWDED_PX = 8.0  # a brighter or equal neighbour nearer than this spoils place and shape
BAND_ROWS = 64


class Stars(NamedTuple):
    """Stars of a picture, the brightest first.

    x_px, y_px, counted from the middle of the first pixel [px]; light_adu, all the light of the star [ADU];
    peak_adu, its highest pixel above the background [ADU]; xx_px2, xy_px2, yy_px2, its second moments, pixel
    included [px²]; snr, light over its noise without the star's own; and as flags near_edge, saturated,
    crowded, one_pixel (too narrow for a star, or no ellipse fits: a hot pixel or a hit).
    """

    x_px: np.ndarray
    y_px: np.ndarray
    light_adu: np.ndarray
    peak_adu: np.ndarray
    xx_px2: np.ndarray
    xy_px2: np.ndarray
    yy_px2: np.ndarray
    snr: np.ndarray
    near_edge: np.ndarray
    saturated: np.ndarray
    crowded: np.ndarray
    one_pixel: np.ndarray

    @property
    def usable(self) -> np.ndarray:
        """Which stars carry no flag."""
        return ~(self.near_edge | self.saturated | self.crowded | self.one_pixel)

    def where(self, mask) -> Stars:
        """Some of the stars, by a mask or by numbers."""
        return Stars(*(field[mask] for field in self))


def find_stars(adu, *, threshold_sigmas, saturation_adu=None, most=None) -> Stars:
    """The stars of a picture with place, light, shape and flags.

    Parameters
    ----------
    adu : array
        A picture, shape (height, width), raw counts of a mono camera or a stack; NaN is no star [ADU].
    threshold_sigmas : float
        How far a peak of the smoothed picture must stand above the background, in its noise; 5 finds hardly
        anything false.
    saturation_adu : float or None
        Pixels at this count are full; without it no star is flagged as saturated [ADU].
    most : int or None
        Measure only so many of the highest peaks; by default all.

    Returns
    -------
    Stars
        Sorted by light; see there.

    Raises
    ------
    ValueError
        If the picture has not two axes, or the threshold is not above zero.

    Notes
    -----
    Smoothed with weights 1 2 1 along rows and columns. Moments are weighted by an ellipse that is matched to
    the star itself in twelve steps, so that neighbours and noise far out do not count; of a Gaussian star
    they are its true moments. Stars wider than 9 px (full width at half maximum) are cut by the window.

    References
    ----------
    Bernstein, G. & Jarvis, M. (2002), AJ 123, 583, section 3 (adaptive moments). Tested against photutils and
    against drawn stars.

    Examples
    --------
    >>> from workbook.frames import draw_stars, round_shapes_px2
    >>> picture = 100 + np.random.default_rng(1).normal(0, 5, (80, 120))
    >>> picture += draw_stars(x_px=[30.3, 90.0], y_px=[40.0, 20.6], star_e=[5000, 3000],
    ...                       shapes=round_shapes_px2(sigma_px=1.5), width_px=120, height_px=80)
    >>> stars = find_stars(picture, threshold_sigmas=6)
    >>> stars.x_px.round(1), stars.y_px.round(1)
    (array([30.3, 90. ]), array([40. , 20.6]))
    """
    threshold = positive("threshold_sigmas", threshold_sigmas)
    picture = checked_picture(adu)
    light, smooth = _above_background(picture)
    rows, columns = _peaks(smooth, threshold * _noise(smooth[1:-1, 1:-1]))
    order = np.argsort(-smooth[rows, columns], kind="stable")
    rows, columns = rows[order], columns[order]
    crowded = _crowded(rows, columns)
    rows, columns, crowded = rows[:most], columns[:most], crowded[:most]
    stamps, inside = _stamps(light, rows, columns)
    x, y, moments, total, snr = _matched_moments(stamps, _noise(light))
    peak = light[rows, columns]
    full = np.zeros(rows.size, bool)
    if saturation_adu is not None and rows.size:
        raw, _ = _stamps(picture, rows, columns)
        full = (
            raw[:, REACH_PX - 1 : REACH_PX + 2, REACH_PX - 1 : REACH_PX + 2].max(axis=(1, 2))
            >= saturation_adu
        )
    narrow = ~(np.minimum(moments[:, 0], moments[:, 2]) > NARROWEST_PX2)
    found = Stars(
        columns + x, rows + y, total, peak, *moments.T, snr, near_edge=~inside, saturated=full, crowded=crowded,
        one_pixel=narrow,
    )  # fmt: skip
    return found.where(np.argsort(-np.nan_to_num(total), kind="stable"))


def _above_background(picture):
    """The picture without its background, and the same smoothed; in bands, so that all stays in the cache."""
    height, width = picture.shape
    lines = background_lines(picture, TILE_PX)
    light = np.empty((height, width), np.float32)
    smooth = np.zeros((height, width), np.float32)
    for start in range(0, height, BAND_ROWS):
        rows = slice(start, min(start + BAND_ROWS, height))
        np.subtract(picture[rows], background_rows(lines, rows), out=light[rows], casting="unsafe")
        if picture.dtype.kind == "f":
            np.nan_to_num(light[rows], copy=False, nan=0.0)
        first, last = max(start - 1, 1), min(rows.stop, height) - 1  # rows whose neighbours are known
        band = light[first - 1 : last + 1]
        tall = band[:-2] + band[2:]
        tall += 2 * band[1:-1]
        wide = tall[:, :-2] + tall[:, 2:]
        wide += 2 * tall[:, 1:-1]
        np.divide(wide, 16, out=smooth[first:last, 1:-1])
    return light, smooth


def _noise(picture):
    """Clipped standard deviation, from a hundred thousand pixels all over the picture: known to 0.3 %."""
    step = max(1, int(np.sqrt(picture.size / 100_000)))
    return max(clipped_statistics(picture[::step, ::step], clip_sigmas=3.0).sigma_adu, 1e-9)


def _peaks(smooth, limit):
    """Rows and columns of the pixels above the limit that no neighbour exceeds."""
    width = smooth.shape[1]
    flat = smooth.ravel()
    bright = np.flatnonzero(flat > limit)
    for step in (-width - 1, -width, -width + 1, -1):
        bright = bright[flat[bright] > flat[bright + step]]
    for step in (1, width - 1, width, width + 1):  # of two equal neighbours the first counts
        bright = bright[flat[bright] >= flat[bright + step]]
    return np.divmod(bright, width)


def _crowded(rows, columns):
    """Which peaks have a higher one near; they come sorted, the highest first."""
    order = np.argsort(rows, kind="stable")
    crowded = np.zeros(rows.size, bool)
    for step in range(1, rows.size):
        one, other = order[:-step], order[step:]
        near = np.abs(rows[other] - rows[one]) < CROWDED_PX
        if not near.any():
            break
        near &= np.hypot(rows[other] - rows[one], columns[other] - columns[one]) < CROWDED_PX
        crowded[np.maximum(one, other)[near]] = True
    return crowded


def _stamps(picture, rows, columns):
    """The surroundings of each peak, edges filled with zero, and whether they lie within the picture."""
    height, width = picture.shape
    reach = np.arange(-REACH_PX, REACH_PX + 1)
    down, along = rows[:, None] + reach, columns[:, None] + reach
    fits = ((down >= 0) & (down < height))[:, :, None] & ((along >= 0) & (along < width))[:, None, :]
    down, along = np.clip(down, 0, height - 1), np.clip(along, 0, width - 1)
    stamps = np.where(fits, picture[down[:, :, None], along[:, None, :]], 0)
    return stamps, fits.all(axis=(1, 2))


def _matched_moments(stamps, noise):
    """Place from the peak, moments, light and signal-to-noise, weighted by an ellipse like the star itself."""
    count = len(stamps)
    side = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float32)
    x, y = np.zeros(count), np.zeros(count)
    xx, xy, yy = np.full(count, START_PX2), np.zeros(count), np.full(count, START_PX2)
    square = np.zeros(count)
    with np.errstate(all="ignore"):
        for _ in range(STEPS):
            right = side[None, None, :] - x[:, None, None].astype(np.float32)
            up = side[None, :, None] - y[:, None, None].astype(np.float32)
            part = (np.stack([yy, -2 * xy, xx]) / (xx * yy - xy**2)).astype(np.float32)[:, :, None, None]
            weight = np.exp(-0.5 * (part[0] * right**2 + part[1] * right * up + part[2] * up**2))
            seen = weight * stamps
            total = seen.sum(axis=(1, 2))
            off_x, off_y = (seen * right).sum(axis=(1, 2)) / total, (seen * up).sum(axis=(1, 2)) / total
            new_xx = 2 * ((seen * right**2).sum(axis=(1, 2)) / total - off_x**2)
            new_xy = 2 * ((seen * right * up).sum(axis=(1, 2)) / total - off_x * off_y)
            new_yy = 2 * ((seen * up**2).sum(axis=(1, 2)) / total - off_y**2)
            fine = (total > 0) & (new_xx > 0) & (new_yy > 0) & (new_xx * new_yy > new_xy**2)
            fine &= (np.abs(x + 2 * off_x) < 3) & (np.abs(y + 2 * off_y) < 3)
            square = (weight**2).sum(axis=(1, 2))
            x, y = np.where(fine, x + 2 * off_x, np.nan), np.where(fine, y + 2 * off_y, np.nan)
            xx, xy, yy = (np.where(fine, new, np.nan) for new in (new_xx, new_xy, new_yy))
        snr = total / (noise * np.sqrt(square))
    lost = np.isnan(x)  # no ellipse fits: the peak itself is the place, the moments stay NaN
    return np.where(lost, 0, x), np.where(lost, 0, y), np.stack([xx, xy, yy], axis=1), 2.0 * total, snr
