"""One raw frame, put together from stars, a patch of light, sky, dark current and the camera."""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, positive
from workbook.frames.camera import Sensor, checked_light, mosaic_light
from workbook.frames.fast_drawing import draw_stars
from workbook.frames.fast_noise import read_out
from workbook.frames.files import Frame

GREY = (1.0, 1.0, 1.0)


def raw_frame(
    *,
    sensor: Sensor,
    exposure_s,
    x_px,
    y_px,
    star_e_s,
    shapes,
    sky_e_s_px,
    dark_e_s_px,
    seed,
    patch_e_s_px=None,
    sky_colours=GREY,
    patch_colours=GREY,
    pointing=None,
    remarks=(),
) -> Frame:
    """One raw frame of a star field, as the camera would write it.

    Parameters
    ----------
    sensor : Sensor
        The camera.
    exposure_s : float
        Exposure time [s].
    x_px, y_px : array
        Places of the stars [px], shape (stars,), or their paths over the exposure, (stars, samples).
    star_e_s : float or array
        Electrons of each star in a second [e⁻/s].
    shapes : Shapes or function
        Second moments of the stars without the pixel: numbers, one value for each star, or a function of
        x_px and y_px.
    sky_e_s_px : float or array
        Sky in each pixel in a second, a number or a picture [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current in each pixel in a second, a number or a picture [e⁻/s/px].
    seed : int
        Which noise: the same seed gives the same frame, bit for bit.
    patch_e_s_px : array or None
        Light of a nebula or galaxy in each pixel in a second, a picture [e⁻/s/px]; none by default.
    sky_colours, patch_colours : tuple
        Red, green and blue part of the light of sky and stars, and of the patch, for a colour mosaic; grey by
        default, which is what no filter would do.
    pointing : Pointing or None
        Where the camera looks, only for the header; not known by default.
    remarks : tuple
        What the reader of the file must know, such as that stars are synthetic; nothing by default.

    Returns
    -------
    Frame
        The counts with what a header says about them.

    Raises
    ------
    ValueError
        If the arrays do not fit each other, a rate is negative, or a star is narrower than 0.4 px.

    Notes
    -----
    electrons = (stars + sky) · filter + patch · filter + dark, times the exposure; then noise, gain, offset
    and bits as in `camera.read_out`. The patch is not smeared by the star's path: it has no edge to show it.

    References
    ----------
    The parts: `fast_drawing.draw_stars`, `camera.mosaic_light`, `fast_noise.read_out`.

    Examples
    --------
    >>> from workbook.frames.shapes import round_shapes_px2
    >>> camera = Sensor(width_px=60, height_px=40, read_noise_e=1.6, gain_e_adu=0.8, offset_adu=500,
    ...                 full_well_e=13000, adc_bits=14)
    >>> frame = raw_frame(sensor=camera, exposure_s=30, x_px=[30.0], y_px=[20.0], star_e_s=1000.0,
    ...                   shapes=round_shapes_px2(sigma_px=1.3), sky_e_s_px=1.0, dark_e_s_px=0.05, seed=7)
    >>> frame.adu.shape, int(frame.adu.argmax()) == 20 * 60 + 30
    ((40, 60), True)
    """
    exposure = positive("exposure_s", exposure_s)
    sky = not_negative("sky_e_s_px", sky_e_s_px)
    dark = not_negative("dark_e_s_px", dark_e_s_px)
    light = draw_stars(
        x_px=x_px,
        y_px=y_px,
        star_e=not_negative("star_e_s", star_e_s) * exposure,
        shapes=shapes,
        width_px=sensor.width_px,
        height_px=sensor.height_px,
    )
    light += np.asarray(sky * exposure, np.float32)
    light = mosaic_light(light, mosaic=sensor.mosaic, colours=sky_colours) if sensor.mosaic else light
    if patch_e_s_px is not None:
        patch = checked_light(patch_e_s_px, sensor, name="patch_e_s_px")
        patch = mosaic_light(patch, mosaic=sensor.mosaic, colours=patch_colours)
        patch *= np.float32(exposure)
        light += patch
    light += np.asarray(dark * exposure, np.float32)
    np.maximum(light, 0.0, out=light)  # the fast stars may leave a millionth below zero
    return Frame(
        adu=read_out(light, sensor=sensor, seed=seed),
        exposure_s=exposure,
        gain_e_adu=sensor.gain_e_adu,
        read_noise_e=sensor.read_noise_e,
        saturation_adu=sensor.saturation_adu,
        mosaic=sensor.mosaic,
        world_coordinates=pointing.world_coordinates() if pointing is not None else {},
        remarks=tuple(remarks),
    )
