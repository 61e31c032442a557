"""The capstone's panel: sub length, gear error, sky and tolerance against the finished hours of a real night."""

from __future__ import annotations

from functools import partial

from workbook.figures import how_far as figure
from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.verdict.answer import MODES
from workbook.verdict.conditions import conditions
from workbook.verdict.whatif import what_if, with_ranges


def build_how_far(passport, *, target=None, date=None) -> Panel:
    """The panel for one passport, target and date (the passport's own plan where not given).

    Raises ValueError where the night never gets dark: there is nothing to move.
    """
    target, date = target or passport["plan.target"], date or passport["plan.date"]
    night = conditions(passport, target=target, date=date)
    if night is None:
        raise ValueError(
            f"the night of {date} has no astronomical darkness at this site: choose another date"
        )
    gear, sky = passport["drive.gear_error_arcsec"], passport["site.sky_mag_arcsec2"]
    controls = {
        "sub_s": slider("Sub length", 20.0, 1.0, 600.0, log=True),
        "gear_error_arcsec": slider("Gear error", gear, 1.0, max(100.0, gear), step=1.0),
        "sky_mag_arcsec2": slider("Sky", sky, min(17.0, sky), 22.0, step=0.1),
        "tolerance_px": slider("Tolerance", passport["habits.tolerance_px"], 0.5, 4.0, step=0.1),
        "mode": choice("Mode", passport["plan.mode"], MODES),
        "guided": switch("Guided", passport["plan.guided"]),
    }
    return Panel(
        figure,
        partial(what_if, passport, night),
        controls,
        partial(_readout, "partly measured" if _measured(passport) else "assumed"),
        presets={
            "Gear error halved": {"gear_error_arcsec": max(0.5 * gear, 1.0)},
            "Dark country sky": {"sky_mag_arcsec2": 21.5},
            "Guided, 60 s": {"guided": True, "sub_s": 60.0},
        },
        slow=lambda result, **values: with_ranges(result, passport, night, **values),
        title=f"How far: {target}, night of {date}",
    )


def _measured(passport):
    return any(passport.is_measured(key) for key in passport.keys())  # noqa: SIM118


def _readout(basis, result):
    """The key number in h, min or s, and a plain verdict on the chosen sub."""
    units = (("h", 1.0), ("min", 60.0), ("s", 3600.0))
    unit, factor = next((pair for pair in units if pair[1] * result.finished_h >= 1.0), units[-1])
    low, high = (
        (None, None) if result.finished_68_h is None else (factor * end for end in result.finished_68_h)
    )
    return Readout(
        "Finished time",
        factor * result.finished_h,
        unit,
        basis,
        _verdict(result),
        digits=1,
        low=low,
        high=high,
    )


def _verdict(result):
    if result.curve is None:
        return "No minute of this night can be used: look at the view, the set-up and the batteries."
    best = result.curve.best_sub_s
    low, high = figure.seconds(result.curve.usable_low_s), figure.seconds(result.curve.usable_high_s)
    if result.curve.efficiency.max() <= 0.0:
        return "No sub of a second or longer stays within this tolerance."
    share = result.efficiency / result.curve.efficiency.max()
    if share >= 0.95:
        words = f"As good as any: best {figure.seconds(best)}, within 5 % from {low} to {high}."
    else:
        side = "long" if result.sub_s > best else "short"
        words = f"Too {side}: it earns {100.0 * share:.0f} % of the best, {figure.seconds(best)}; "
        words += f"within 5 % from {low} to {high}."
    if result.costs:
        words += f" Costs most: {result.costs[0].cause.words}."
    return words
