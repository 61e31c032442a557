"""The lesson's panel on spacing, tilt, focus and drift: nine stars, the map of widths, and what the corners say."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook import optics
from workbook.figures import flat_field as figure
from workbook.nine_stars import CENTRE, CORNERS, Causes, nine_stars, train, with_range
from workbook.panels.controls import slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout

DRIFT_DIRECTION_DEG = (
    35.0  # towards the upper right corner of the demo sensor: there it looks like a spacing error
)
# From which share of the faultless width on a star is called wide, and a difference between two sides is seen.
WIDE, UNEVEN, STRETCHED = 1.12, 0.05, 0.05


def build_flat_field(passport) -> Panel:
    """The nine stars of this passport's rig; ranges draw its spreads and the flattener's model parameter."""
    parts = train(passport.central())
    growth = optics.EXPANSION[passport["optics.tube"]].usual_per_k
    cold_um = optics.thermal_focus_shift_um(
        tube_mm=passport["optics.focal_mm"], warming_k=-5.0, expansion_per_k=growth
    )
    controls = {
        "spacing_error_mm": slider("Spacing error", 0.0, -3.0, 3.0, step=0.1),
        "tilt_arcmin": slider("Sensor tilt", 0, -30, 30),
        "focus_um": slider("Focus error", 0, -120, 120),
        "drift_px": slider("Mount drift", 0.0, 0.0, 6.0, step=0.1),
    }
    clean = {"spacing_error_mm": 0.0, "tilt_arcmin": 0, "focus_um": 0, "drift_px": 0.0}
    measured = passport.is_measured("optics.back_focus_tolerance_mm")
    return Panel(
        figure,
        partial(flat_field, parts),
        controls,
        partial(_readout, "measured tolerance" if measured else "assumed"),
        presets={
            "2 mm filter forgotten": clean | {"spacing_error_mm": -0.7},
            "Sensor tilted": clean | {"tilt_arcmin": 15},
            "Tube 5 K colder": clean | {"focus_um": round(float(cold_um))},
        },
        slow=lambda result, **_: with_range(result, passport),
        title="Nine stars of one picture",
    )


def flat_field(parts, *, spacing_error_mm, tilt_arcmin, focus_um, drift_px):
    """The picture for the sliders; the sensor leans from left to right, the mount drifts in one direction."""
    causes = Causes(
        spacing_error_mm=spacing_error_mm,
        tilt_x_arcmin=tilt_arcmin,
        focus_um=focus_um,
        drift_px=drift_px,
        drift_direction_deg=DRIFT_DIRECTION_DEG,
    )
    return nine_stars(parts, causes)


def _readout(basis, result):
    low, high = (None, None) if result.widest_68_px is None else result.widest_68_px
    return Readout(
        "Widest of the nine stars",
        result.widest_px,
        "px",
        basis,
        verdict(result),
        digits=1,
        low=low,
        high=high,
    )


def verdict(result) -> str:
    """What the nine stars say by themselves, in the order in which one mends: mount, focus, tilt, spacing."""
    stars, faultless = result.stars, float(result.train.faultless_px)
    width, corners = stars.width_px / faultless, list(CORNERS)
    said = []
    if stars.long_px[CENTRE] > figure.ROUND * stars.short_px[CENTRE]:
        said.append("The centre star is long too: the mount drifts, and no spacer mends that.")
    elif width[CENTRE] > 1.04:
        said.append("The centre is wide: focus first, then judge the corners.")
    places = width.reshape(3, 3)
    uneven = max(np.ptp(places.mean(axis=0)[[0, 2]]), np.ptp(places.mean(axis=1)[[0, 2]]))
    turned = stars.stretch[corners]
    tilted = max(
        abs(turned[[0, 2]].mean() - turned[[1, 3]].mean()), abs(turned[:2].mean() - turned[2:].mean())
    )
    if max(uneven, tilted) > UNEVEN:
        said.append("Opposite sides differ: the sensor is tilted.")
    mean = turned.mean()
    if not said and abs(mean) > STRETCHED:
        way = ("point to", "close", "longer") if mean > 0 else ("circle", "far", "shorter")
        said.append(
            f"All four corners {way[0]} a sharp centre: the sensor is too {way[1]}, make the spacer {way[2]}."
        )
    if not said:
        worst = width.max()
        said.append(
            f"Good: no star is more than {100 * (worst - 1):.0f} % wider than a faultless one."
            if worst < WIDE
            else "A little soft, but no pattern."
        )
    return " ".join(said)
