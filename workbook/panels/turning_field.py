"""The panel of lesson 02: one slider tilts the axis from the zenith to the pole, and the field turns less and less."""

from __future__ import annotations

from functools import partial

from workbook.figures import turning_field as figure
from workbook.panels.controls import choice, slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.turning import Rig

FAR_DEG = 2.0  # a guide star well outside the chip
NO_LIMIT_S = 600.0  # from here on gears and wind end a sub, not the turning field


def build_turning_field(passport) -> Panel:
    """The learner's own chip under any sky, for the target of the plan."""
    rig = Rig(passport)
    latitude, tolerance = float(passport["site.latitude_deg"]), float(passport["habits.tolerance_px"])
    off = float(passport["guide.star_offset_deg"])
    guides = {"none: the middle of the picture": 0.0, f"{off:g}° from the middle": off}
    guides |= {f"{FAR_DEG:g}° from the middle": FAR_DEG}
    own = rig.dec_deg
    stars = {f"{_signed(own)} ({rig.target})": own, "0 (celestial equator)": 0.0}
    stars |= {f"{_signed(-own)} (mirror image)": -own}
    pixels = " × ".join(map(str, rig.chip_px))
    return Panel(
        figure,
        rig.turning_field,
        {
            "axis_way": slider("Axis: 0 zenith, 1 pole", 0.0, 0.0, 1.0, step=0.01),
            "latitude_deg": slider("Latitude", latitude, -90.0, 90.0, step=0.1),
            "hour_angle_deg": slider("Hour angle", 0.0, -120.0, 120.0, step=1.0),
            "tolerance_px": slider(
                "Tolerance", tolerance, min(0.5, tolerance), max(5.0, tolerance), step=0.1
            ),
            "dec_deg": choice("Declination", own, stars),
            "guide_deg": choice("Guide star", 0.0, guides),
        },
        partial(_readout, f"exact for {pixels} px; tolerance assumed"),
        presets={
            "Swap hemisphere": {"latitude_deg": -latitude, "dec_deg": -own},
            "To the equator": {"latitude_deg": 1.3, "dec_deg": own},
            "To the pole": {"latitude_deg": 89.0 if latitude >= 0 else -89.0, "dec_deg": own},
        },
        slow=rig.with_range,
        title="The turning field: from alt-az to equatorial",
    )


def _readout(basis, result):
    """The longest sub, and in words what turns and what to do."""
    if result.longest_s is None:
        return Readout("Longest sub", None, "s", basis, _no_answer(result))
    endless = result.longest_s > 3600.0
    low, high = (None, None) if endless or result.longest_68_s is None else result.longest_68_s
    return Readout(
        f"Longest sub{', more than' if endless else ''}",
        min(result.longest_s, 3600.0),
        "s",
        basis if result.middle_px == (0.0, 0.0) else "guide star's place assumed",
        f"The field turns {figure.turn_words(result)} at altitude {result.altitude_deg:.0f}°; in a minute the "
        f"farthest corner smears {figure.pixels(result.smear_px)}. {_advice(result)}",
        digits=1 if result.longest_s < 99.5 else 0,
        low=low,
        high=high,
    )


def _no_answer(result):
    if result.altitude_deg < 0:
        return f"{result.target} stands below the horizon at this hour angle."
    return f"{result.target} stands on the axis: no head can follow there. Move the hour angle a little."


def _advice(result):
    if result.longest_s >= NO_LIMIT_S:
        return "The turning field sets no limit here."
    if result.axis_from_pole_deg < 2.0:
        return "What is left is the misaligned axis."
    if result.longest_s < 10.0:
        return "Short subs only: choose another direction, or bring the axis nearer to the pole."
    upright = "Usable without a tilt" if result.axis_altitude_deg > 89.9 else "Usable with this tilt"
    return f"{upright}, if your gears and sky ask for no longer sub."


def _signed(angle_deg):
    return f"{angle_deg:+.1f}".replace("-", "−")
