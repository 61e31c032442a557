"""Stars drawn one after the other, the plain way: what `fast_drawing` must agree with.

A star is a Gaussian. Each sample of its path adds one, integrated over every pixel with the error function.
A star that is longer than wide is a round one spread along its long axis, with Gaussian weights.
"""

from __future__ import annotations

import math

import numpy as np

from workbook.checks import not_negative, number
from workbook.frames.shapes import axes, shapes_at

REACH = 6.0  # a star ends so many sigmas from its path: 2e-9 of its light lies outside

erf = np.frompyfunc(math.erf, 1, 1)


def draw_stars(*, x_px, y_px, star_e, shapes, width_px, height_px) -> np.ndarray:
    """The mean number of electrons that stars leave in each pixel.

    Parameters
    ----------
    x_px, y_px : array
        Places of the stars [px], shape (stars,), or their paths in equal steps of time, (stars, samples).
        Stars outside the frame are welcome; NaN leaves a star out.
    star_e : float or array
        Electrons of each star over the exposure [e⁻].
    shapes : Shapes or function
        Second moments of the stars without the pixel [px²]: numbers, one value for each star, or a function
        of x_px and y_px, asked at the middle of each path.
    width_px, height_px : int
        Size of the frame [px].

    Returns
    -------
    array
        Mean electrons in each pixel, shape (height, width) [e⁻].

    Raises
    ------
    ValueError
        If the arrays do not fit each other, electrons are negative, or a shape has no width.

    Notes
    -----
    One sample of the path gives ¼ [erf((x + ½ − x₀)/√2 σ) − erf((x − ½ − x₀)/√2 σ)] · the same in y. Light
    beyond six sigmas is left out. No wings: for a star with a halo draw its light in two shares.

    References
    ----------
    Derivation: integral of a Gaussian over a square. Tested against galsim, reference rows PSF-04, PSF-09,
    PSF-13 and E2E-07b.

    Examples
    --------
    >>> from workbook.frames.shapes import round_shapes_px2
    >>> image = draw_stars(x_px=[10.0], y_px=[10.0], star_e=1000, shapes=round_shapes_px2(sigma_px=1.0),
    ...                    width_px=21, height_px=21)
    >>> round(float(image.sum()), 3), round(float(image[10, 10]), 2)
    (1000.0, 146.63)
    """
    image = np.zeros((int(height_px), int(width_px)))
    x, y, star_e, shapes = checked(x_px, y_px, star_e, shapes)
    ellipses = axes(shapes)
    for xs, ys, light, long, short, cosine, sine in zip(x, y, star_e, *ellipses, strict=True):
        offsets, weights = _spread(long - short, short)
        across = (xs[:, None] + offsets * cosine).ravel()
        up = (ys[:, None] + offsets * sine).ravel()
        share = light / len(xs) * np.tile(weights, len(xs))
        sigma = math.sqrt(short)
        columns = _reached(across, sigma, width_px)
        rows = _reached(up, sigma, height_px)
        if columns.size and rows.size:
            stamp = (share[:, None] * _in_pixels(rows, up, sigma)).T @ _in_pixels(columns, across, sigma)
            image[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] += stamp
    return image


def checked(x_px, y_px, star_e, shapes):
    """Paths of shape (stars, samples), light and shapes of each star; stars with a NaN left out."""
    x, y = np.asarray(number("x_px", x_px), float), np.asarray(number("y_px", y_px), float)
    if x.shape != y.shape or x.ndim not in (1, 2):
        raise ValueError(
            f"x_px and y_px must both have the shape (stars,) or (stars, samples), received {x.shape} and {y.shape}"
        )
    x, y = (each[:, None] if each.ndim == 1 else each for each in (x, y))
    if x.shape[1] == 0:
        raise ValueError("x_px and y_px must hold one sample of the path or more, received none")
    light = np.asarray(not_negative("star_e", star_e), float)
    if light.shape not in ((), (len(x),)):
        raise ValueError(
            f"star_e must be one number or one for each of {len(x)} stars, received {light.shape}"
        )
    light = np.broadcast_to(light, len(x))
    moments = shapes_at(shapes, x_px=x.mean(axis=1), y_px=y.mean(axis=1))
    known = np.isfinite(x.sum(axis=1) + y.sum(axis=1) + light)
    if known.all():
        return x, y, light, moments
    return x[known], y[known], light[known], type(moments)(*(moment[known] for moment in moments))


def _spread(extra_px2, short_px2):
    """Offsets along the long axis and their weights, which add the extra variance there."""
    if extra_px2 < 1e-9 * short_px2:
        return np.zeros(1), np.ones(1)
    width = math.sqrt(extra_px2)
    count = math.ceil(REACH * width / (0.5 * math.sqrt(short_px2)))
    offsets = np.linspace(-REACH, REACH, 2 * max(count, 12) + 1) * width
    weights = np.exp(-0.5 * (offsets / width) ** 2)
    return offsets, weights / weights.sum()


def _reached(places, sigma, size):
    first, last = places.min() - REACH * sigma, places.max() + REACH * sigma
    return np.arange(max(math.floor(first), 0), min(math.ceil(last), int(size) - 1) + 1)


def _in_pixels(pixels, places, sigma):
    """Share of a Gaussian at each place that falls into each pixel, shape (places, pixels)."""
    edges = np.append(pixels - 0.5, pixels[-1] + 0.5)
    below = erf((edges - places[:, None]) / (math.sqrt(2) * sigma)).astype(float)
    return np.diff(below, axis=1) / 2
