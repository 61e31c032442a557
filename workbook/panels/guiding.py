"""The panel of lesson 06: a controller's settings on one night, and what they make of the star."""

from __future__ import annotations

from functools import partial

from workbook.figures import guiding as figure
from workbook.panels.controls import choice, slider
from workbook.panels.one_night import DEAD_TIME_S, DIRECTIONS, GuideNight
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout

UNEVEN = 1.5  # one axis rules from here on
SLOW_S = 15.0  # a settling worth a word


def build_guiding(passport) -> Panel:
    """The guided night of one passport, with the class's common seed."""
    night = GuideNight(passport)
    gear, play, seeing = (
        passport[key] for key in ("drive.gear_error_arcsec", "drive.backlash_arcsec", "night.seeing_arcsec")
    )
    gears = {f"this one, {gear:g}″": 1.0, f"a smooth one, {gear / 5:g}″": 0.2}
    keys = ("drive.gear_error_arcsec", "night.seeing_arcsec")
    measured = all(passport.is_measured(key) for key in keys)
    return Panel(
        figure,
        night.guided,
        {
            "exposure_s": slider("Guide exposure", 2.0, 0.5, 8.0, step=0.5),
            "aggressiveness": slider("Aggressiveness", 0.6, 0.2, 1.0, step=0.05),
            "backlash_arcsec": slider("Backlash", float(play), 0.0, max(60.0, play), step=1.0),
            "seeing_arcsec": slider("Seeing", float(seeing), min(1.0, seeing), max(6.0, seeing), step=0.1),
            "directions": choice("Declination corrections", "both", DIRECTIONS),
            "gear": choice("Gear", 1.0, gears),
        },
        partial(_readout, "gear and seeing measured" if measured else "gear and air assumed"),
        presets={
            "Too lazy": {"exposure_s": 6.0, "aggressiveness": 0.3},
            "Chasing the air": {"exposure_s": 0.5, "aggressiveness": 1.0, "seeing_arcsec": 5.0, "gear": 0.2},
            "Against the drift only": {"directions": DIRECTIONS[1]},
        },
        slow=night.with_ranges,
        title="A controller guides: what it makes of the star",
    )


def _readout(basis, result):
    low, high = result.growth_68 or (None, None)
    share = [
        None if growth is None else 100.0 * (growth - 1.0) for growth in (result.growth.growth, low, high)
    ]
    return Readout(
        "The star grows by", share[0], "%", basis, verdict(result), digits=1, low=share[1], high=share[2]
    )


def verdict(result) -> str:
    """Good enough or not, what a better setting would be, which axis rules, and the time after a dither."""
    growth = result.growth
    if growth.growth <= 1.0 + figure.FLAT:
        said = ["Nothing to gain: leave it alone."]
    elif growth.growth <= 1.0 + figure.ALLOWED:
        said = ["Good enough: it adds less than 10 %."]
    else:
        said = ["Too much: it adds more than 10 %."]
    if growth.growth > 1.0 + figure.FLAT:
        said.append(_ruler(growth, result.directions))
    if result.map_growth is not None:
        said.append(_compared(result))
    if result.settle_s is None or result.settle_s > SLOW_S:
        said.append(f"After a dither it needs {figure.settling(result)} to settle.")
    return " ".join(said)


def _ruler(growth, directions):
    if growth.ra_rms_arcsec > UNEVEN * growth.dec_rms_arcsec:
        return "Right ascension is worse."
    if growth.dec_rms_arcsec > UNEVEN * growth.ra_rms_arcsec:
        return f"Declination is worse: {'nothing corrects its drift' if directions == 'off' else 'drift or play'}."
    return "Both axes are alike."


def _compared(result):
    """Beside the best setting on the map: as good, too slow or too hasty."""
    exposure, gain, grown = figure.best(result)
    best = f"{exposure:g} s at {gain:g} would give {figure.percent(grown)}"
    if result.growth.growth <= grown + figure.FLAT:
        return "No setting is clearly better."
    slow = (result.exposure_s + DEAD_TIME_S) / result.aggressiveness > (exposure + DEAD_TIME_S) / gain
    return f"Too {'slow for this gear' if slow else 'hasty for this air'}: {best}."
