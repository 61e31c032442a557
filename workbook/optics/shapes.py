"""The shape of a star anywhere on the sensor: what focus, tilt, spacing and decentred lenses draw together.

Positions count from the centre of the sensor, x to the right and y up. Defocus is positive where the sensor
stands behind the focus (too far from the lens). Widths are second moments, so causes add.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.optics.corners import TILT
from workbook.optics.diffraction import DEFOCUS

# Second moments of a flare of tangential coma of length 1, along and across it (derived in star_shape).
COMA_ALONG = 1 / 18
COMA_ACROSS = 1 / 54


class StarShape(NamedTuple):
    """Second moments of a star on the sensor: variance along x, covariance, variance along y [µm²]."""

    xx_um2: float | np.ndarray
    xy_um2: float | np.ndarray
    yy_um2: float | np.ndarray


class Ellipse(NamedTuple):
    """A star as an ellipse: standard deviations along its long and its short axis [µm], and where it points.

    The angle of the long axis counts from x towards y, −90 to 90 [°]; NaN for a round star.
    """

    major_um: float | np.ndarray
    minor_um: float | np.ndarray
    angle_deg: float | np.ndarray


def field_defocus_um(
    *, x_mm, y_mm, corner_radius_mm, focus_um, tilt_x_arcmin, tilt_y_arcmin, corner_curvature_um
):
    """The defocus at one place of the sensor, from focus, tilt and a curved field together.

    Parameters
    ----------
    x_mm, y_mm : float or array
        Place on the sensor, from its centre [mm].
    corner_radius_mm : float or array
        Distance of a corner from the centre [mm].
    focus_um : float or array
        Defocus in the centre, the same everywhere [µm].
    tilt_x_arcmin, tilt_y_arcmin : float or array
        Tilt, positive where the side of positive x, or y, leans away from the lens [′].
    corner_curvature_um : float or array
        Defocus at the corner against the centre, for instance of a wrong spacing [µm].

    Returns
    -------
    float or array
        Defocus there [µm].

    Raises
    ------
    ValueError
        If the corner's distance is not positive, a tilt beyond ±600′ or a defocus beyond ±20,000 µm.

    Notes
    -----
    focus + x tan(tilt x) + y tan(tilt y) + curvature (r/corner)². Flatteners of the better kind leave a fourth
    power of r as well; it is not in it.

    References
    ----------
    Derivation: a plane and a paraboloid add; tested by fitting them back, and against `tilt_at_corner_um`.

    Examples
    --------
    >>> defocus = field_defocus_um(
    ...     x_mm=7,
    ...     y_mm=4.9,
    ...     corner_radius_mm=8.54,
    ...     focus_um=-10,
    ...     tilt_x_arcmin=5,
    ...     tilt_y_arcmin=0,
    ...     corner_curvature_um=40,
    ... )
    >>> print(round(defocus, 1))
    40.2
    """
    x, y = number("x_mm", x_mm), number("y_mm", y_mm)
    tilt_x = np.tan(np.radians(between("tilt_x_arcmin", tilt_x_arcmin, **TILT) / 60))
    tilt_y = np.tan(np.radians(between("tilt_y_arcmin", tilt_y_arcmin, **TILT) / 60))
    curve = between("corner_curvature_um", corner_curvature_um, **DEFOCUS)
    share = (x**2 + y**2) / positive("corner_radius_mm", corner_radius_mm) ** 2
    return between("focus_um", focus_um, **DEFOCUS) + 1e3 * (x * tilt_x + y * tilt_y) + curve * share


def star_shape(
    *,
    x_mm,
    y_mm,
    corner_radius_mm,
    defocus_um,
    corner_astigmatism_um,
    coma_um,
    coma_direction_deg,
    f_ratio,
    centre_sigma_um,
) -> StarShape:
    """The second moments of a star at one place of the sensor.

    Parameters
    ----------
    x_mm, y_mm : float or array
        Place on the sensor, from its centre [mm].
    corner_radius_mm : float or array
        Distance of a corner from the centre [mm].
    defocus_um : float or array
        Defocus there, midway between the two foci of astigmatism, as from `field_defocus_um` [µm].
    corner_astigmatism_um : float or array
        Half the distance of the two foci at the corner [µm]; positive where the focus of the rays in the plane
        of the radius lies nearer the lens, as in a plain lens.
    coma_um : float or array
        Length of the flare that a decentred lens draws, the same in the whole picture [µm].
    coma_direction_deg : float or array
        Direction of the flare, from x towards y [°].
    f_ratio : float or array
        Focal length over aperture.
    centre_sigma_um : float or array
        Standard deviation of a round star in focus: seeing, diffraction, guiding [µm].

    Returns
    -------
    StarShape
        xx_um2, xy_um2, yy_um2 [µm²], about the star's own centre of light.

    Raises
    ------
    ValueError
        If corner distance or focal ratio is not positive, a width or flare is negative, or a defocus beyond
        ±20,000 µm.

    Notes
    -----
    With z the defocus and a = astigmatism (r/corner)²: along the radius ((z + a)/4N)², across it
    ((z − a)/4N)², plus σ² both ways. So z a > 0 draws stars that point to the centre (radial), z a < 0 stars
    that circle it, and z = 0 or a = 0 round ones. A tilt makes z positive on one side and negative on the
    other: one side radial, the other circling. A decentred lens adds the same flare everywhere: length² / 18
    along it, length² / 54 across.

    How much of both a wrong spacing makes is a *model parameter*, not a law: z by `spacing_defocus_um`, and a
    between 0 (well corrected) and r²/2f (a plain lens, 114 µm at 8.5 mm of 320 mm). With the trade's sign,
    sensor too close draws radial stars, too far circling ones; focusing beyond the corner turns it about. Straight
    rays, an even aperture without obstruction, third order only.

    References
    ----------
    Smith, W. J., Modern Optical Engineering, third-order aberrations (recalled); derivation tested on rays
    spread over an aperture.

    Examples
    --------
    >>> shape = star_shape(
    ...     x_mm=7,
    ...     y_mm=0,
    ...     corner_radius_mm=7,
    ...     defocus_um=60,
    ...     corner_astigmatism_um=20,
    ...     coma_um=0,
    ...     coma_direction_deg=0,
    ...     f_ratio=5,
    ...     centre_sigma_um=2,
    ... )
    >>> print(*(round(float(moment), 1) for moment in shape))
    20.0 0.0 8.0
    """
    x, y = number("x_mm", x_mm), number("y_mm", y_mm)
    corner = positive("corner_radius_mm", corner_radius_mm)
    defocus = between("defocus_um", defocus_um, **DEFOCUS)
    split = between("corner_astigmatism_um", corner_astigmatism_um, **DEFOCUS) * (x**2 + y**2) / corner**2
    four_n = 4 * positive("f_ratio", f_ratio)
    flare = not_negative("coma_um", coma_um) ** 2
    towards = np.radians(between("coma_direction_deg", coma_direction_deg, -360, 360))
    round_star = not_negative("centre_sigma_um", centre_sigma_um) ** 2
    ray = _moments(np.arctan2(y, x), ((defocus + split) / four_n) ** 2, ((defocus - split) / four_n) ** 2)
    coma = _moments(towards, flare * COMA_ALONG, flare * COMA_ACROSS)
    return StarShape(
        xx_um2=round_star + ray[0] + coma[0],
        xy_um2=0.0 * round_star + ray[1] + coma[1],
        yy_um2=round_star + ray[2] + coma[2],
    )


def ellipse(*, xx_um2, xy_um2, yy_um2) -> Ellipse:
    """The long axis, short axis and direction of a star from its second moments.

    Parameters
    ----------
    xx_um2, yy_um2 : float or array
        Variance along x and along y [µm²].
    xy_um2 : float or array
        Covariance [µm²].

    Returns
    -------
    Ellipse
        major_um and minor_um [µm], angle_deg [°], NaN where the star is round.

    Raises
    ------
    ValueError
        If a variance is negative, or the covariance larger than the variances allow.

    Notes
    -----
    The square roots of the eigenvalues of the 2 × 2 matrix of moments. Rounder than one part in 10⁹ is round.

    References
    ----------
    Derivation: eigenvalues of a symmetric matrix; tested against numpy's general routine.

    Examples
    --------
    >>> shape = ellipse(xx_um2=5, xy_um2=3, yy_um2=5)
    >>> print(*(round(float(part), 3) for part in shape))
    2.828 1.414 45.0
    """
    xx, yy = not_negative("xx_um2", xx_um2), not_negative("yy_um2", yy_um2)
    xy = number("xy_um2", xy_um2)
    mean, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    if np.any(half > mean * (1 + 1e-9)):
        raise ValueError(
            f"xy_um2 must lie within ±√(xx yy), received {np.max(np.abs(xy)):g} µm²: did you pass a width?"
        )
    angle = np.degrees(np.arctan2(xy, (xx - yy) / 2)) / 2
    return Ellipse(
        major_um=np.sqrt(mean + half),
        minor_um=np.sqrt(np.maximum(mean - half, 0.0)),
        angle_deg=np.where(half > 1e-9 * mean, angle, np.nan)[()],
    )


def radial_stretch(*, xx_um2, xy_um2, yy_um2, x_mm, y_mm):
    """Whether a star points to the centre of the picture or circles it.

    Parameters
    ----------
    xx_um2, yy_um2 : float or array
        Variance along x and along y [µm²].
    xy_um2 : float or array
        Covariance [µm²].
    x_mm, y_mm : float or array
        Place of the star on the sensor, from its centre [mm].

    Returns
    -------
    float or array
        (r − t)/(r + t) of the widths along the radius and across it: positive radial, negative circling, 0
        for a round star or one at 45°; NaN in the exact centre.

    Raises
    ------
    ValueError
        If a variance is negative.

    Notes
    -----
    The mean of it over the corners is the sign of spacing; a difference between opposite corners that of tilt.
    0.05 is a star 10 % longer than wide.

    References
    ----------
    Derivation: moments of the star turned so that its place lies on the x axis; tested by turning rays.

    Examples
    --------
    >>> print(round(radial_stretch(xx_um2=20, xy_um2=0, yy_um2=8, x_mm=7, y_mm=0), 3))
    0.225
    """
    xx, yy = not_negative("xx_um2", xx_um2), not_negative("yy_um2", yy_um2)
    xy = number("xy_um2", xy_um2)
    x, y = number("x_mm", x_mm), number("y_mm", y_mm)
    square = x**2 + y**2
    along = np.maximum(xx * x**2 + 2 * xy * x * y + yy * y**2, 0.0)
    across = np.maximum(xx * y**2 - 2 * xy * x * y + yy * x**2, 0.0)
    r, t = np.sqrt(along), np.sqrt(across)
    with np.errstate(divide="ignore", invalid="ignore"):
        stretch = np.divide(r - t, r + t)
    return np.where(square > 0, stretch, np.nan)[()]


def _moments(angle, along, across):
    """Variance along x, covariance and variance along y of a shape with its long axis at an angle."""
    c, s = np.cos(angle), np.sin(angle)
    return along * c**2 + across * s**2, (along - across) * c * s, along * s**2 + across * c**2
