"""One night with a few numbers turned: what the capstone's sliders ask, fast on the drag, with ranges on release."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.verdict import hours
from workbook.verdict.answer import (
    DRAW_NODES,
    DRAW_PHASES,
    CauseCost,
    cause_costs,
    drawn_rigs,
    night_sums,
)
from workbook.verdict.conditions import Conditions
from workbook.verdict.curve import Curve, efficiency_curve

RANGE_DRAWS = 1000
RANGE_SEED = 1


class WhatIf(NamedTuple):
    """The night at one sub length; ranges and costs are None until `with_ranges` has been asked."""

    sub_s: float
    curve: Curve | None
    dark_h: float
    view_h: float
    usable_h: float
    frame_yield: float
    duty: float
    read_noise_factor: float
    efficiency: float
    kept_h: float
    finished_h: float
    kept_68_h: tuple[float, float] | None = None
    finished_68_h: tuple[float, float] | None = None
    costs: tuple[CauseCost, ...] | None = None


def turned(passport, *, gear_error_arcsec, sky_mag_arcsec2, tolerance_px) -> dict:
    """Passport keys and values for the sliders; the second harmonic keeps its ratio to the first.

    Parameters
    ----------
    passport : Passport
        The rig before anything is turned.
    gear_error_arcsec : float
        Peak to peak [″].
    sky_mag_arcsec2 : float
        Sky at the zenith [mag/″²].
    tolerance_px : float
        Largest extent of a star's path [px].
    """
    ratio = gear_error_arcsec / passport["drive.gear_error_arcsec"]
    return {
        "drive.gear_error_arcsec": gear_error_arcsec,
        "drive.second_harmonic_arcsec": ratio * passport["drive.second_harmonic_arcsec"],
        "site.sky_mag_arcsec2": sky_mag_arcsec2,
        "habits.tolerance_px": tolerance_px,
    }


def what_if(passport, night: Conditions, *, sub_s, mode, guided, **sliders) -> WhatIf:
    """The night with the sliders turned, at one sub length; about ten milliseconds.

    Parameters
    ----------
    passport : Passport
        The rig before anything is turned.
    night : Conditions
        One night, one target.
    sub_s : float
        Sub length [s].
    mode, guided
        As in `verdict`.
    sliders
        As in `turned`.
    """
    rig = passport.central() | turned(passport, **sliders)
    curve = efficiency_curve(rig, night, mode=mode, guided=guided)
    usable_h = float(hours.usable(rig, night, mode=mode, guided=guided).sum()) / 60.0
    view_h = float(night.in_view.sum()) / 60.0
    if curve is None:
        return WhatIf(sub_s, None, night.dark_h, view_h, usable_h, *[0.0] * 6)
    return WhatIf(sub_s, curve, night.dark_h, view_h, usable_h, *curve.at(sub_s))


def with_ranges(result: WhatIf, passport, night: Conditions, *, sub_s, mode, guided, **sliders) -> WhatIf:
    """The same completed by 68 % ranges over the passport's spreads and by what each cause costs."""
    if result.curve is None:
        return result
    other = passport.replace(turned(passport, **sliders))
    how = {"mode": mode, "guided": guided}
    kept, finished = night_sums(
        drawn_rigs(other, RANGE_DRAWS, RANGE_SEED),
        night,
        sub_s=sub_s,
        nodes=DRAW_NODES,
        phases=DRAW_PHASES,
        seed=RANGE_SEED,
        **how,
    )
    inner = [tuple(np.percentile(hours_h, [16.0, 84.0]).tolist()) for hours_h in (kept, finished)]
    costs = cause_costs(other.central(), night, how, float(result.curve.finished_h.max()))
    return result._replace(kept_68_h=inner[0], finished_68_h=inner[1], costs=costs)
