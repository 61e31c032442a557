"""The practice panel of start-here: two sliders, one picture, everything that later panels have."""

from __future__ import annotations

from functools import partial

from workbook.figures import first_look as figure
from workbook.optics import field_of_view_deg, image_scale_arcsec_px
from workbook.panels.controls import slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout


def build_first_look(passport) -> Panel:
    """The Moon on the sensor of this passport, for a focal length and a pixel that the learner sets."""
    focal, pixel = passport["optics.focal_mm"], passport["camera.pixel_um"]
    return Panel(
        figure,
        partial(moon_on_sensor, width_px=passport["camera.width_px"], height_px=passport["camera.height_px"]),
        {
            "focal_mm": slider("Focal length", focal, min(200.0, focal), max(1000.0, focal), step=5.0),
            "pixel_um": slider("Pixel", pixel, min(2.0, pixel), max(5.0, pixel), step=0.1),
        },
        partial(_readout, passport.is_measured("optics.focal_mm"), _spread(passport)),
        presets={
            "Your rig": {"focal_mm": focal, "pixel_um": pixel},
            "Twice the focal length": {"focal_mm": min(2.0 * focal, 1000.0)},
            "Long telescope": {"focal_mm": 1000.0},
        },
        title="Practice: the Moon in your picture",
    )


def moon_on_sensor(*, focal_mm, pixel_um, width_px, height_px) -> figure.FirstLook:
    """Field of the sensor and width of the Moon at its mean distance (2 asin(R/d) = 0.518°)."""
    scale = image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm)
    width_deg, height_deg = (
        field_of_view_deg(sensor_mm=1e-3 * count * pixel_um, focal_mm=focal_mm)
        for count in (width_px, height_px)
    )
    moon_deg = figure.MOON_DEG
    return figure.FirstLook(width_deg, height_deg, scale, moon_deg, 3600.0 * moon_deg / scale)


def _spread(passport):
    """The share by which the focal length, and with it the scale, is uncertain."""
    return (passport.entry("optics.focal_mm").sigma or 0.0) / passport["optics.focal_mm"]


def _readout(measured, spread, result):
    times = result.width_deg / result.moon_deg
    words = (
        f"{times:.1f} Moons fit side by side across the picture; the Moon is {result.moon_px:.0f} px wide."
    )
    return Readout(
        "One pixel sees",
        result.scale_arcsec_px,
        "″",
        "measured" if measured else "assumed",
        words,
        digits=2,
        low=(1.0 - spread) * result.scale_arcsec_px,
        high=(1.0 + spread) * result.scale_arcsec_px,
    )
