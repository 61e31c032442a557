"""The night ribbon: all limits of one night on one time axis, minute by minute, as arrays to draw and to read."""

from __future__ import annotations

import dataclasses

import numpy as np

from workbook import sky
from workbook.checks import chosen, not_negative
from workbook.verdict import hours
from workbook.verdict.conditions import conditions
from workbook.verdict.hours import MODES
from workbook.verdict.lanes import LEAST_MM, SWAP_MIN, lane_ranges, moon_warning, unmoved, with_lanes
from workbook.verdict.rates import minute_rates
from workbook.verdict.ribbon_record import Ribbon
from workbook.verdict.sums import DRAW_NODES, DRAW_PHASES, night_sums


def ribbon(
    passport,
    *,
    target=None,
    date=None,
    mode=None,
    guided=None,
    start_min: float = 0.0,
    draws: int = 200,
    seed: int = 1,
    overhang_mm: float = 0.0,
    least_mm: float = LEAST_MM,
    swap_min: float = SWAP_MIN,
) -> Ribbon:
    """All limits of one night on one time axis.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    target, date, mode, guided : optional
        As in `verdict`.
    start_min : float
        How long after the passport's earliest moment (the Sun at `habits.set_up_sun_deg`) the set-up begins [min]. The
        batteries count from there.
    draws, seed : int
        Draws over the passport's spreads for the ranges of battery, dew, sky and finished hours; 0 for none.
    overhang_mm : float
        How far the crossing of the axes stands beside the plumb line of the stand [mm]; 0, above its middle, unless you
        measured it.
    least_mm : float
        Distance of camera and stand that you want to keep [mm].
    swap_min : float
        What swapping the tube to the other side of the axis takes, centring included [min].

    Returns
    -------
    Ribbon
        Its `finished_any_legs_h` is that of `verdict` (for start_min 0); `finished_h` leaves out the minutes in which
        the camera would meet the stand.

    Notes
    -----
    The tube hangs on the side that gives more finished hours, and is swapped once where that gives more than the swap
    costs. Ranges of the battery are those of its end, drawn as straight lines from full; the mean load is used, not its
    steps.
    """
    plan = {"target": target, "date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    start_min, swap_min = (
        not_negative("start_min", float(start_min)),
        not_negative("swap_min", float(swap_min)),
    )
    known = plan | {"start_min": start_min}
    night = conditions(passport, target=plan["target"], date=plan["date"])
    if night is None:
        return Ribbon(reason="the Sun does not sink 18° below the horizon: no astronomical night", **known)
    still = unmoved(passport, **plan, overhang_mm=overhang_mm)
    known["target"] = night.target.name
    night = night.begun_later(start_min)
    rig = passport.central()
    _, target_nl = hours.glow_nl(rig, night)
    _, moonless_nl = hours.glow_nl(rig, night, frozenset({"moon"}))
    base = Ribbon(
        **known,
        times_utc=night.times_utc,
        altitude_deg=night.apparent_altitude_deg,
        azimuth_deg=night.azimuth_deg,
        in_view=night.in_view,
        hold_s=still.hold_s,
        rotation_rate_deg_h=still.rotation_rate_deg_h,
        sky_mag_arcsec2=sky.sky_mag_arcsec2(brightness_nl=target_nl),
        moonless_mag_arcsec2=sky.sky_mag_arcsec2(brightness_nl=moonless_nl),
        moon_altitude_deg=90.0 - night.moon_zenith_distance_deg,
        moon_lit_fraction=sky.lit_fraction(night.moon_phase_angle_deg),
        moon_warning=moon_warning(night),
        **lane_ranges(passport, night, guided=plan["guided"], draws=draws, seed=seed),
    )
    rates = minute_rates(rig, night, mode=plan["mode"], guided=plan["guided"])
    seen = with_lanes(base, rig, night, still, rates, least_mm=least_mm, swap_min=swap_min)
    if not draws or not seen.finished_h:
        return seen
    return dataclasses.replace(seen, finished_68_h=_finished_68_h(passport, night, seen, draws, seed))


def _finished_68_h(passport, night, seen, draws, seed):
    """Range of the finished hours in the minutes that are clear of the stand, at the ribbon's sub."""
    clear = dataclasses.replace(night, in_view=night.in_view & seen.clear_of_legs)
    how = {"sub_s": seen.sub_s, "mode": seen.mode, "guided": seen.guided, "seed": seed}
    drawn = hours.drawn_rigs(passport, draws, seed)
    _, many_h = night_sums(drawn, clear, nodes=DRAW_NODES, phases=DRAW_PHASES, **how)
    return tuple(np.percentile(many_h, [16.0, 84.0]).tolist())
