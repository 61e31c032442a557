"""A sub laid onto the grid of the reference, tile by tile.

Bilinear: each new pixel is a mean of four old ones, weighted by nearness. Stars land where they belong to a
few hundredths of a pixel, but neighbours now share noise: a single pixel looks calmer (half as noisy for a
shift of half a pixel each way) while the noise of a large area stays. Whole pixels: nothing is mixed, so noise
stays noise and the statistics of a clip stay honest, but stars are misplaced by up to half a pixel each way,
which widens the stack by a sigma of 0.29 px (1/√12). Undersampled or for measuring noise: whole pixels.
Well-sampled stars for a picture, or a turned field: bilinear.
"""

from __future__ import annotations

import numpy as np

from workbook.checks import chosen

RESAMPLINGS = ("bilinear", "whole pixels")
LARGEST_FAST_DEG = 1.0  # beyond, runs of equal offset get so short that gathering is as quick


def resample_tile(picture, *, alignment, rows, columns, resampling) -> np.ndarray:
    """A tile of the reference's grid, filled from a sub: the readable form.

    Parameters
    ----------
    picture : array
        The sub, shape (height, width), or anything that gives a piece of it for two slices.
    alignment : Alignment
        Where the reference's places lie in the sub.
    rows, columns : slice
        The tile, from start to stop.
    resampling : str
        "bilinear" or "whole pixels".

    Returns
    -------
    array
        The tile, single precision; NaN where the sub does not reach.

    Raises
    ------
    ValueError
        If the resampling is not known.

    Notes
    -----
    value = (1 − f)(1 − g) p₀₀ + f (1 − g) p₁₀ + (1 − f) g p₀₁ + f g p₁₁, f and g the parts of a pixel along x
    and y. Light in a pixel is kept as brightness: no change of area, since the scale is the same.

    References
    ----------
    Derivation; tested against scipy.ndimage.map_coordinates.

    Examples
    --------
    >>> from workbook.frames.align import known_shift
    >>> ramp = np.arange(12.0).reshape(3, 4)
    >>> resample_tile(ramp, alignment=known_shift(shift_x_px=0.5, shift_y_px=0.0), rows=slice(0, 1),
    ...          columns=slice(0, 4), resampling="bilinear")
    array([[0.5, 1.5, 2.5, nan]], dtype=float32)
    """
    chosen("resampling", resampling, RESAMPLINGS)
    y, x = np.mgrid[rows.start : rows.stop, columns.start : columns.stop].astype(float)
    x, y = (np.round(place, 6) for place in alignment.places(x, y))  # a millionth: so that the edge counts
    if resampling == "whole pixels":
        x, y = np.floor(x + 0.5), np.floor(y + 0.5)
    height, width = picture.shape
    inside = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    tile = np.full(x.shape, np.nan, np.float32)
    if not inside.any():
        return tile
    x, y = x[inside], y[inside]
    left, low = np.minimum(x.astype(int), width - 2), np.minimum(y.astype(int), height - 2)
    start_x, start_y = left.min(), low.min()
    piece = np.asarray(picture[start_y : low.max() + 2, start_x : left.max() + 2], np.float32)
    f, g = (x - left).astype(np.float32), (y - low).astype(np.float32)
    left, low = left - start_x, low - start_y
    if resampling == "whole pixels":
        tile[inside] = piece[low + (g == 1), left + (f == 1)]  # no weight of zero, which keeps a NaN
    else:
        lower = piece[low, left] * (1 - f) + piece[low, left + 1] * f
        upper = piece[low + 1, left] * (1 - f) + piece[low + 1, left + 1] * f
        tile[inside] = lower * (1 - g) + upper * g
    return tile


def fast_resample(picture, *, alignment, rows, columns, resampling) -> np.ndarray:
    """As `resample_tile`, many times faster where the turn is small: whole blocks share one offset.

    First along the columns, then along the rows, each with blocks of equal whole offset and a weight for each
    column or row. For a turn of up to 1° the places agree with `resample_tile` to 0.02 px; without a turn exactly.
    """
    if resampling != "bilinear" and not alignment.turn_deg:
        return _moved(picture, alignment, rows, columns)
    if resampling != "bilinear" or abs(alignment.turn_deg) > LARGEST_FAST_DEG:
        return resample_tile(picture, alignment=alignment, rows=rows, columns=columns, resampling=resampling)
    height, width = picture.shape
    turn = np.radians(alignment.turn_deg)
    cosine, sine = np.cos(turn), np.sin(turn)
    from_x, from_y = (np.round(place, 6) for place in alignment.places(0.0, 0.0))
    y, x = np.arange(rows.start, rows.stop), np.arange(columns.start, columns.stop)
    middle_x, middle_y = (x[0] + x[-1]) / 2, (y[0] + y[-1]) / 2

    along = (cosine - 1) * middle_x - sine * y + from_x  # from x to the place in the sub, for each row
    whole_x = np.floor(along).astype(int)
    u = np.arange(x[0] + whole_x.min() - 1, x[-1] + whole_x.max() + 3)  # columns of the sub that are needed
    up = np.tan(turn) * (u - from_x) + from_y + (1 / cosine - 1) * middle_y
    whole_y = np.floor(up).astype(int)
    weight_y = (up - whole_y).astype(np.float32)

    between = np.full((y.size, u.size), np.nan, np.float32)  # rows of the reference, columns of the sub
    for first, last in _runs(whole_y):
        first_u, last_u = max(u[first], 0) - u[0], min(u[last - 1] + 1, width) - u[0]
        if last_u <= first_u:
            continue
        weight = weight_y[first_u:last_u]
        more = int(weight.any())  # without a part of a pixel the next row is not needed
        step = whole_y[first]
        bottom, top = max(y[0] + step, 0), min(y[-1] + 1 + step, height - more)
        if top <= bottom:
            continue
        part = np.asarray(picture[bottom : top + more, u[0] + first_u : u[0] + last_u], np.float32)
        out = between[bottom - step - y[0] : top - step - y[0], first_u:last_u]
        if more:
            np.subtract(part[1:], part[:-1], out=out)
            out *= weight
            out += part[:-1]
        else:
            out[:] = part

    tile = np.full((y.size, x.size), np.nan, np.float32)
    ramp = ((cosine - 1) * (x - middle_x)).astype(np.float32)
    weight_x = (along - whole_x).astype(np.float32)[:, None]
    for first, last in _runs(whole_x):
        start = x[0] + whole_x[first] - u[0]
        part = between[first:last, start : start + x.size + 1]
        weight = weight_x[first:last]
        if not alignment.turn_deg and not weight.any():
            tile[first:last] = part[:, :-1]
            continue
        out = tile[first:last]
        np.subtract(part[:, 1:], part[:, :-1], out=out)
        out *= weight + ramp if alignment.turn_deg else weight
        out += part[:, :-1]
    return tile


def area_noise(alignments, *, resampling, width_px, height_px) -> float:
    """By how much the noise of a large area of the stack exceeds what its single pixels' noise suggests.

    A shift by the parts f and g of a pixel leaves ((1 − f)² + f²) ((1 − g)² + g²) of a pixel's variance, while
    the sum over a large area keeps all of it. 1 for whole pixels; 1.5 for bilinear with many random shifts.

    >>> from workbook.frames.align import known_shift
    >>> half = [known_shift(shift_x_px=0.5, shift_y_px=0.5)]
    >>> area_noise(half, resampling="bilinear", width_px=100, height_px=100)
    2.0
    """
    if chosen("resampling", resampling, RESAMPLINGS) != "bilinear":
        return 1.0
    left = []
    for alignment in alignments:
        x, y = alignment.places(*np.meshgrid(np.arange(0, width_px, 7.0), np.arange(0, height_px, 7.0)))
        f, g = x % 1.0, y % 1.0
        left.append(float((((1 - f) ** 2 + f**2) * ((1 - g) ** 2 + g**2)).mean()))
    return 1.0 / float(np.sqrt(np.mean(left)))


def _moved(picture, alignment, rows, columns):
    """A tile moved by whole pixels."""
    height, width = picture.shape
    step_x, step_y = (int(np.floor(place + 0.5)) for place in np.round(alignment.places(0.0, 0.0), 6))
    left, right = max(columns.start + step_x, 0), min(columns.stop + step_x, width)
    bottom, top = max(rows.start + step_y, 0), min(rows.stop + step_y, height)
    tile = np.full((rows.stop - rows.start, columns.stop - columns.start), np.nan, np.float32)
    if right > left and top > bottom:
        tile[
            bottom - step_y - rows.start : top - step_y - rows.start,
            left - step_x - columns.start : right - step_x - columns.start,
        ] = picture[bottom:top, left:right]
    return tile


def _runs(steps):
    """First and last + 1 of the runs of equal whole numbers."""
    ends = np.flatnonzero(np.diff(steps)) + 1
    return zip([0, *ends.tolist()], [*ends.tolist(), len(steps)], strict=True)
