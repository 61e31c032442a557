"""The shape of a star on the sensor as second moments, the same everywhere or different from place to place."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import number, positive


class Shapes(NamedTuple):
    """Second moments of stars before the pixels: variance along x, covariance, variance along y [px²].

    Numbers hold for all stars, arrays hold one value for each.
    """

    xx_px2: float | np.ndarray
    xy_px2: float | np.ndarray
    yy_px2: float | np.ndarray


class Axes(NamedTuple):
    """Variance along the long and the short axis [px²], and the direction of the long axis (cosine, sine)."""

    major_px2: np.ndarray
    minor_px2: np.ndarray
    cosine: np.ndarray
    sine: np.ndarray


def round_shapes_px2(*, sigma_px) -> Shapes:
    """The moments of round stars: seeing, diffraction and guiding, all with the same width in each direction.

    Parameters
    ----------
    sigma_px : float or array
        Standard deviation along one axis [px]; the full width at half maximum is 2.355 times that.

    Returns
    -------
    Shapes
        xx_px2, xy_px2 (zero), yy_px2 [px²].

    Raises
    ------
    ValueError
        If a width is zero or negative.

    Notes
    -----
    Moments without the pixel, whose 1/12 px² comes with the drawing.

    References
    ----------
    Reference rows PSF-01 and PSF-04.

    Examples
    --------
    >>> round_shapes_px2(sigma_px=1.5)
    Shapes(xx_px2=2.25, xy_px2=0.0, yy_px2=2.25)
    """
    variance = positive("sigma_px", sigma_px) ** 2
    return Shapes(xx_px2=variance, xy_px2=0.0 * variance, yy_px2=variance)


def shapes_from_um2(*, xx_um2, xy_um2, yy_um2, pixel_um) -> Shapes:
    """The moments of stars on the sensor in pixels, from moments in micrometres such as the optics give.

    Parameters
    ----------
    xx_um2, xy_um2, yy_um2 : float or array
        Variance along x, covariance, variance along y [µm²].
    pixel_um : float
        Pixel pitch [µm].

    Returns
    -------
    Shapes
        The same in pixels [px²].

    Raises
    ------
    ValueError
        If the pixel pitch is zero or negative.

    Notes
    -----
    Divided by the square of the pitch.

    References
    ----------
    Derivation: a length in pixels is the length over the pitch.

    Examples
    --------
    >>> shapes_from_um2(xx_um2=49.0, xy_um2=0.0, yy_um2=24.5, pixel_um=3.5)
    Shapes(xx_px2=4.0, xy_px2=0.0, yy_px2=2.0)
    """
    area = positive("pixel_um", pixel_um) ** 2
    return Shapes(
        number("xx_um2", xx_um2) / area, number("xy_um2", xy_um2) / area, number("yy_um2", yy_um2) / area
    )


def shapes_at(shapes, *, x_px, y_px) -> Shapes:
    """Shapes for stars at some places: as given, or asked for where `shapes` is a function of x_px and y_px.

    >>> wider_to_the_right = lambda x_px, y_px: round_shapes_px2(sigma_px=1 + x_px / 1000)
    >>> shapes_at(wider_to_the_right, x_px=np.array([0.0, 1000.0]), y_px=np.zeros(2)).xx_px2
    array([1., 4.])
    """
    given = shapes(x_px=x_px, y_px=y_px) if callable(shapes) else shapes
    moments = (
        np.asarray(number(name, value), float) for name, value in zip(Shapes._fields, given, strict=True)
    )
    return Shapes(*(np.broadcast_to(moment, np.shape(x_px)) for moment in moments))


def axes(shapes: Shapes) -> Axes:
    """Long axis, short axis and direction of each star; moments that no star can have are refused.

    >>> float(axes(Shapes(2.0, 0.0, 1.0)).major_px2)
    2.0
    """
    xx, xy, yy = (np.asarray(moment, float) for moment in shapes)
    mean, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    if not np.all(mean - half > 0):
        worst = np.argmin(np.where(np.isnan(mean - half), -np.inf, mean - half))
        told = ", ".join(f"{np.ravel(moment)[worst]:g}" for moment in (xx, xy, yy))
        raise ValueError(
            f"shapes must have a width in every direction, received moments xx, xy, yy of {told} px²: "
            "were they standard deviations, or is the covariance too large?"
        )
    angle = np.arctan2(xy, (xx - yy) / 2) / 2
    return Axes((mean + half)[()], (mean - half)[()], np.cos(angle)[()], np.sin(angle)[()])
