"""The panel of lesson 05: one gear, one sub, and the hill that says how long the sub may honestly be."""

from __future__ import annotations

from functools import partial

from workbook.constants import REFERENCE_SKY_MAG_ARCSEC2
from workbook.figures import gears as figure
from workbook.panels.controls import choice, slider, switch
from workbook.panels.one_gear import SUBS_S, WORKED_SUB_S, GearCase
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.verdict.words import seconds

HALF = 0.5  # the strong second wave, as a share of the first


def build_gears(passport) -> Panel:
    """The gear of this passport at the celestial equator, where it shows most, under this passport's sky."""
    case = GearCase(passport)
    swing, period = (
        float(passport["drive.gear_error_arcsec"]),
        round(float(passport["drive.gear_period_s"]), 1),
    )
    part = round(period % 1.0, 1)  # steps of a whole second that meet the passport's own period
    tolerance = passport["habits.tolerance_px"]
    own_sky = passport["site.sky_mag_arcsec2"]
    waves = {"none": 0.0, f"yours, {case.ratio * swing:.0f}″ of {swing:.0f}″": case.ratio}
    waves |= {"half as large as the first": HALF}
    skies = {f"yours, {own_sky:g} mag/″²": own_sky}
    skies |= {f"dark country, {REFERENCE_SKY_MAG_ARCSEC2:g} mag/″²": REFERENCE_SKY_MAG_ARCSEC2}
    return Panel(
        figure,
        case.gear_hill,
        {
            "peak_to_peak_arcsec": slider(
                "Peak to peak", swing, min(2.0, swing), max(120.0, swing), step=1.0
            ),
            "period_s": slider(
                "Period", period, min(60.0 + part, period), max(1200.0 + part, period), step=1.0
            ),
            "tolerance_px": slider(
                "Tolerance", tolerance, min(0.5, tolerance), max(6.0, tolerance), step=0.1
            ),
            "sub_s": slider("Sub length", WORKED_SUB_S, 1.0, figure.LONGEST_S, log=True),
            "second": choice("Second wave", case.ratio, waves),
            "sky_mag_arcsec2": choice("Sky", own_sky, skies),
            "wander": switch("Wander of the gears", True),
        },
        partial(_readout, "gear measured" if case.measured else "assumed"),
        presets={
            "One clean wave": {"second": 0.0, "wander": False},
            "Strong second wave": {"second": HALF, "wander": False},
            "Dark country sky": {"sky_mag_arcsec2": REFERENCE_SKY_MAG_ARCSEC2},
        },
        slow=case.with_ranges,
        title="One turn of the worm, and the longest honest sub",
    )


def _readout(basis, result):
    low, high = (None, None) if result.kept_68 is None else (100.0 * end for end in result.kept_68)
    return Readout(
        f"Good subs of {seconds(result.sub_s)}", 100.0 * result.kept, "of 100", basis, verdict(result),
        digits=0, low=low, high=high,
    )  # fmt: skip


def verdict(result) -> str:
    """Too short, too long or as good as any; then the knee."""
    top = float(result.efficiency.max())
    if top <= 0.0:
        return "No sub of a second or longer stays within this tolerance."
    share = result.worth / top
    band = figure.ends_words((result.usable_low_s, result.usable_high_s))
    if result.best_sub_s >= SUBS_S[-2]:
        words = f"These gears set no limit up to {figure.LONGEST_S:.0f} s; within 5 % from {band}."
        if share < 0.945:
            words = f"Too short: it earns {100.0 * share:.0f} % of the best. {words}"
    elif share >= 0.945:  # as the words round it
        words = (
            f"As good as any: best {_ranged(result.best_sub_s, result.best_68_s)}, within 5 % from {band}."
        )
    else:
        side = "long" if result.sub_s > result.best_sub_s else "short"
        words = f"Too {side}: it earns {100.0 * share:.0f} % of the best, "
        words += f"{_ranged(result.best_sub_s, result.best_68_s)}; within 5 % from {band}."
    return f"{words} Knee {_ranged(result.knee_s, result.knee_68_s)}."


def _ranged(value_s, ends_s):
    words = figure.knee_words(value_s)
    return words if ends_s is None else f"{words} ({figure.ends_words(ends_s)})"
