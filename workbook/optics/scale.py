"""How the sky lands on the sensor: scale, field, and the image circle the sensor needs."""

from __future__ import annotations

import numpy as np

from workbook.checks import positive
from workbook.constants import ARCSEC_PER_RAD


def image_scale_arcsec_px(*, pixel_um, focal_mm):
    """The angle on the sky that one pixel sees.

    Parameters
    ----------
    pixel_um : float or array
        Pixel pitch [µm].
    focal_mm : float or array
        Focal length with flattener or extender [mm].

    Returns
    -------
    float or array
        Image scale [″/px].

    Raises
    ------
    ValueError
        If a value is zero or negative.

    Notes
    -----
    scale = 206.265 p / f, the small-angle form of arctan(p / f); for any pixel the two differ by less than
    one part in a million. Near the edge of a wide field the scale shrinks by cos² of the field angle.

    References
    ----------
    Reference row SAM-01: 206.265 p/f against the arctangent.

    Examples
    --------
    >>> round(image_scale_arcsec_px(pixel_um=3.5, focal_mm=320), 3)
    2.256
    """
    pixel_um = positive("pixel_um", pixel_um, cure="pixels of cameras are about 1 to 15 µm")
    focal_mm = positive("focal_mm", focal_mm, cure="did you pass metres? 0.32 m is 320 mm")
    return ARCSEC_PER_RAD * 1e-3 * pixel_um / focal_mm


def field_of_view_deg(*, sensor_mm, focal_mm):
    """The angle on the sky along one side (or the diagonal) of the sensor.

    Parameters
    ----------
    sensor_mm : float or array
        Length of the side or of the diagonal [mm].
    focal_mm : float or array
        Focal length with flattener or extender [mm].

    Returns
    -------
    float or array
        Width of the field [°].

    Raises
    ------
    ValueError
        If a value is zero or negative.

    Notes
    -----
    field = 2 arctan(d / 2f), for an optic that images straight lines as straight lines (no distortion). The
    short form 57.3 d/f is 0.2 % too wide at 8°. Give the diagonal as a length: angles of the two sides do not
    add in squares.

    References
    ----------
    Reference rows SAM-03 and SAM-05: half the sensor over the focal length is the tangent of half the field.

    Examples
    --------
    >>> print(round(field_of_view_deg(sensor_mm=14.0, focal_mm=320), 3))
    2.506
    """
    sensor_mm = positive("sensor_mm", sensor_mm, cure="pixels times pixel pitch in µm, divided by 1000")
    focal_mm = positive("focal_mm", focal_mm, cure="did you pass metres? 0.32 m is 320 mm")
    return np.degrees(2 * np.arctan(sensor_mm / (2 * focal_mm)))


def sensor_diagonal_mm(*, width_px, height_px, pixel_um):
    """The diagonal of the sensor, which is the smallest image circle that covers it.

    Parameters
    ----------
    width_px, height_px : float or array
        Pixels along the two sides [px].
    pixel_um : float or array
        Pixel pitch [µm].

    Returns
    -------
    float or array
        Diagonal [mm]; half of it is the distance of a corner from the centre.

    Raises
    ------
    ValueError
        If a value is zero or negative.

    Notes
    -----
    √(w² + h²) p. An optic whose sharp image circle is smaller than this has soft corners on this sensor, and
    perhaps not on a smaller one.

    References
    ----------
    Derivation: Pythagoras; reference row SAM-17 for a sensor of 23.5 × 15.7 mm.

    Examples
    --------
    >>> print(round(sensor_diagonal_mm(width_px=4000, height_px=2800, pixel_um=3.5), 2))
    17.09
    """
    pixels = np.hypot(positive("width_px", width_px), positive("height_px", height_px))
    return 1e-3 * pixels * positive("pixel_um", pixel_um, cure="pixels of cameras are about 1 to 15 µm")
