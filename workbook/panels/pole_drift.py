"""The panel of lesson 04: two directions, a watch, and the ellipse in which the axis stands."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook.figures import pole_drift as figure
from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.two_drifts import GUIDED_S, HIGH_DEG, SENSIBLE_DEG, UNGUIDED_S, Place

TOO_CLOSE = float(1.0 / np.sin(np.radians(SENSIBLE_DEG[0]))) + 1e-9  # amplification at 45° and 135°
MUCH_AIR = 0.5  # of the ellipse: from here on the air decides, and not the watch


def build_pole_drift(passport) -> Panel:
    """The drift alignment of one place, for the directions that it sees.

    Raises ValueError within 2° of a pole of the Earth, and where fewer than two directions are in view.
    """
    place = Place(passport)
    first, second = (int(hour) for hour in place.best_pair().hour_angles_deg)
    middle = round(0.5 * (first + second))
    latitude_deg = abs(place.latitude_deg)
    own = "south" if place.latitude_deg < 0 else "north"
    halves = {f"{half} ({latitude_deg:g}° {half[0].upper()})": half for half in ("north", "south")}
    stars = {"the highest in view": "highest", "the lowest in view": "lowest"}
    best = {"first_hour_angle_deg": first, "second_hour_angle_deg": second}
    near = {"first_hour_angle_deg": middle - 10, "second_hour_angle_deg": middle + 10}
    clean = {"stars": "highest", "corrected": True}
    measured = passport.is_measured("night.seeing_arcsec")
    return Panel(
        figure,
        place.pole_drift,
        {
            "first_hour_angle_deg": slider("Hour angle, star 1", first, -90, 90),
            "second_hour_angle_deg": slider("Hour angle, star 2", second, -90, 90),
            "watch_min": slider("Watch each star", 5, 2, 20),
            "jitter_arcsec": slider("Jitter of one frame", 2.0, 0.5, 6.0, step=0.1),
            "hemisphere": choice("Hemisphere", own, halves),
            "stars": choice("Stars", "highest", stars),
            "corrected": switch("Drift of the air taken off", True),
        },
        partial(_readout, "seeing measured" if measured else "jitter assumed"),
        presets={
            "Best pair in this view": best | clean,
            "Neighbours, 20° apart": near | clean,
            "Low stars, air left in": best | {"stars": "lowest", "corrected": False},
        },
        title="Two drift stars find the axis",
    )


def _readout(basis, result):
    """How well the axis is known, and whether that is good enough."""
    low, high = result.semi_major_68_arcmin or (None, None)
    return Readout(
        "Axis known within",
        result.semi_major_arcmin,
        "′",
        basis,
        verdict(result),
        digits=1 if result.semi_major_arcmin is None or result.semi_major_arcmin > 0.95 else 2,
        low=low,
        high=high,
    )


def verdict(result) -> str:
    """What to do: choose other stars first, then mind the air, then watch longer, then stop."""
    if result.semi_major_arcmin is None:
        if min(result.altitudes_deg) < 10.0:
            return "A star stands too near the horizon: nothing to measure there. Choose other hour angles."
        return "The two hour angles are the same or opposite: they tell one error only. Move one of them."
    said = [_enough(result)]
    hidden = [f"{number}" for number, seen in enumerate(result.in_view, 1) if not seen]
    if hidden:
        said.append(
            f"But star {' and star '.join(hidden)} is not in this view."
            if len(hidden) == 1
            else "But neither star is in this view."
        )
    elif not result.corrected and result.air_arcmin > MUCH_AIR * result.semi_major_arcmin:
        said.append(
            f"The air shifts the ellipse by {result.air_arcmin:.1f}′: take its drift off, or go higher."
        )
    elif result.amplification > TOO_CLOSE:
        said.append(f"Two stars 90° apart would know it {result.lengthened:.1f} times better.")
    elif min(result.altitudes_deg) < HIGH_DEG:
        said.append(f"A star stands below {HIGH_DEG:.0f}°: higher ones are safer.")
    elif result.semi_major_arcmin <= result.unguided_arcmin < (off := float(np.hypot(*result.found_arcmin))):
        said.append(f"But the axis stands {arcmin(off)} off: now turn by the arrows.")
    return " ".join(said)


def _enough(result):
    loose = f"{UNGUIDED_S:.0f} s unguided allow {arcmin(result.unguided_arcmin)}"
    loose += f", {GUIDED_S:.0f} s guided {arcmin(result.guided_arcmin)}"
    error = result.semi_major_arcmin + (0.0 if result.corrected else result.air_arcmin)
    if error <= 0.5 * result.unguided_arcmin:
        return f"Known well enough, guided or not: {loose}."
    if error <= result.unguided_arcmin:
        return f"Just enough unguided: {loose}."
    if error <= result.guided_arcmin:
        return f"Enough guided, not unguided: {loose}. Watch longer."
    return f"Not good enough: {loose}. Watch longer, or choose other directions."


def arcmin(value_arcmin):
    """A tolerance with the digits that mean something."""
    return f"{value_arcmin:.1f}′" if value_arcmin < 9.95 else f"{value_arcmin:.0f}′"
