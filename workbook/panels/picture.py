"""The panel of lesson 01: focal length, pixel, sensor and target against what will be in the picture."""

from __future__ import annotations

from functools import partial

from workbook.figures import picture as figure
from workbook.panels.controls import choice, slider
from workbook.panels.framing import MOON, Framing, target
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout

TURNS_DEG = {"not at all": 0.0, "10": 10.0, "20": 20.0, "40": 40.0}
LARGE = ("M 31", "M 33")  # the second where the first is the learner's own
SMALL = ("M 57", "M 76")
SMALL_PX = 150.0


def build_picture(passport) -> Panel:
    """The learner's own frame over the real stars, with the Moon, two galaxies and a small nebula to try."""
    focal, pixel = passport["optics.focal_mm"], passport["camera.pixel_um"]
    sensor = round(1e-3 * pixel * passport["camera.width_px"], 2)
    targets = _targets(passport["plan.target"])
    large, small = list(targets.values())[1], list(targets.values())[3]
    longest, largest = max(1000.0, focal), max(36.0, sensor)
    return Panel(
        figure,
        Framing(passport, turns_deg=TURNS_DEG.values()),
        {
            "focal_mm": slider("Focal length", focal, min(100.0, focal), longest, step=1.0),
            "pixel_um": slider("Pixel", pixel, min(2.0, pixel), max(9.0, pixel), step=0.01),
            "sensor_mm": slider("Sensor, long side", sensor, min(4.0, sensor), largest, step=0.1),
            "target": choice("Target", MOON, targets),
            "turn_deg": choice("Field turns", 0.0, TURNS_DEG),
        },
        partial(_readout, "measured" if passport.is_measured("optics.focal_mm") else "assumed"),
        presets={
            "Large galaxy": {"target": large},
            "Small nebula, 1000 mm": {"target": small, "focal_mm": 1000.0},
            "Large sensor": {"sensor_mm": largest},
        },
        title="What will be in my picture?",
    )


def _targets(own):
    """Words → name: the Moon, a large galaxy, the learner's own target, and a small nebula."""
    place = target(own)
    large, small = (
        next(name for name in names if target(name)[1:3] != place[1:3]) for names in (LARGE, SMALL)
    )
    return {
        "Moon, beside the Pleiades": MOON,
        f"{large}, a large galaxy": large,
        f"{own}, the target in the passport": own,
        f"{small}, a small nebula": small,
    }


def _readout(basis, result):
    """How many pixels the target spans, and whether it fits."""
    field = " × ".join(map(figure.degrees, result.field_deg))
    scale = f"One pixel: {result.scale_arcsec_px:.2f}″, picture: {field}. "
    name = f"{result.target} spans"
    if result.trouble:
        scale = f"{result.trouble[0].upper()}{result.trouble[1:]}. {scale}"
    if result.long_px is None:
        words = "The catalogue gives no size for it: look for a picture of it, and measure with the scale."
        return Readout(name, None, "px", basis, scale + words)
    return Readout(
        name,
        result.long_px,
        "px",
        basis,
        scale + _verdict(result),
        digits=0,
        low=result.low * result.long_px,
        high=result.high * result.long_px,
    )


def _verdict(result):
    if result.fits:
        if result.long_px < SMALL_PX:
            stars = result.long_px / result.star_fwhm_px
            return f"It fits, but is small: as wide as {stars:.0f} stars side by side{_crop(result)}."
        wide, high = (
            100.0 * span / side
            for span, side in zip(result.box_px, (result.width_px, result.height_px), strict=True)
        )
        return f"It fits: {wide:.0f} % of the width, {high:.0f} % of the height{_crop(result)}."
    across, up = result.panels
    words = f"Too large{_crop(result)}: it fits up to {result.longest_focal_mm:.0f} mm, or in "
    words += f"{across} × {up} overlapping pictures."
    return words + (" Turn the camera along it, and it fits." if result.fits_turned else "")


def _crop(result):
    """What a turning field leaves."""
    return f"; {100.0 * result.crop_side:.0f} % of a side is left" if result.turn_deg else ""
