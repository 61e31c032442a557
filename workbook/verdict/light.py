"""What one pixel of a rig collects each second: sky or object of a brightness, and dark current.

The one place where a passport's optics and camera meet the topics `sky` and `sensor`.
"""

from __future__ import annotations

import numpy as np

from workbook import optics, sensor, sky

GREEN_NM = 550.0


def scale_arcsec_px(rig):
    """Angle of one pixel [″]; `rig` holds a passport's values, numbers or drawn arrays."""
    return optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=rig["optics.focal_mm"])


def star_fwhm_arcsec(rig):
    """Full width of a star by air and lens alone, pixel and mount left out [″]."""
    airy = optics.airy_fwhm_arcsec(aperture_mm=rig["optics.aperture_mm"], wavelength_nm=GREEN_NM)
    return np.hypot(rig["night.seeing_arcsec"], airy)


def surface_e_s_px(rig, mag_arcsec2):
    """Electrons of a pixel each second from a sky, or an object, of a brightness in the open band V.

    Parameters
    ----------
    rig : mapping
        A passport's values by key, numbers or arrays from `Passport.draw`.
    mag_arcsec2 : float or array
        Surface brightness [mag/″²].

    Returns
    -------
    float or array
        Rate [e⁻/s/px]; `sky.sky_electrons_s_px` with the rig's aperture, scale and throughput.
    """
    return sky.sky_electrons_s_px(
        sky_mag_arcsec2=mag_arcsec2,
        aperture_mm=rig["optics.aperture_mm"],
        scale_arcsec_px=scale_arcsec_px(rig),
        throughput=rig["optics.throughput"],
    )


def warm_sensor_degc(rig, air_degc=None):
    """Temperature of the sensor once it has warmed up [°C]; in the middle of the night where no air is given."""
    if air_degc is None:
        air_degc = 0.5 * (np.asarray(rig["night.air_start_degc"]) + rig["night.air_end_degc"])
    return air_degc + np.asarray(rig["camera.warm_up_k"])


def dark_e_s_px(rig, temperature_degc):
    """Dark current of a pixel at a sensor temperature [e⁻/s/px]."""
    return sensor.dark_e_s_px(
        reference_e_s_px=rig["camera.dark_e_s_px"],
        reference_degc=rig["camera.dark_reference_degc"],
        temperature_degc=temperature_degc,
        doubling_k=rig["camera.dark_doubling_k"],
    )


def overhead_s(rig):
    """Pause after each sub, the share of a dither in it [s]."""
    return rig["camera.overhead_s"] + np.asarray(rig["camera.dither_overhead_s"]) / rig["camera.dither_every"]
