"""The field card: one night of one rig on one page, in the learner's own numbers and signs."""

from __future__ import annotations

import dataclasses
import re
from typing import NamedTuple

import numpy as np

from workbook import catalogue, link, nine_stars
from workbook.checks import not_negative
from workbook.plan.card_pole import alignment_lines
from workbook.plan.card_rules import safety_lines, stop_lines
from workbook.plan.card_stand import build_up, set_up_lines
from workbook.plan.card_words import (
    Card,
    Clock,
    Key,
    Line,
    Section,
    hours_between,
    joined,
    mark_of,
    subs_between,
)
from workbook.verdict import Ribbon, Verdict, conditions, efficiency_curve, ribbon, verdict
from workbook.verdict.answer import DRAW_NODES, DRAW_PHASES, FINAL_PHASES, drawn_rigs, night_sums
from workbook.verdict.hours import set_up_min
from workbook.verdict.words import duration, seconds

DRAWS, SUB_DRAWS, SEED = 500, 40, 1
NODES = 60  # minutes at which the path is followed for the central hours, as `verdict` does
HEADER_CARDS = 20
# What one person can measure in one night or on one kitchen table: candidates for the line to write.
MEASURABLE = (
    *(
        "optics.focal_mm",
        "optics.throughput",
        "camera.read_noise_e",
        "camera.dark_e_s_px",
        "camera.warm_up_k",
    ),
    *("camera.overhead_s", "camera.dither_overhead_s", "guide.flexure_arcsec_min", "guide.noise_arcsec"),
    *("drive.gear_error_arcsec", "drive.second_harmonic_arcsec", "drive.random_walk_arcsec_sqrt_s"),
    *("habits.axis_error_rough_arcmin", "habits.axis_error_drift_arcmin", "habits.model_error_arcmin"),
    *("habits.set_up_altaz_min", "habits.set_up_tilted_min", "stand.stiffness_n_m_rad", "power.computer_w"),
    *(
        "power.camera_w",
        "power.heater_w",
        "power.pack_usable",
        "site.sky_mag_arcsec2",
        "night.extinction_mag",
    ),
)


class Night(NamedTuple):
    """What is known of one night, for all parts of the card."""

    verdict: Verdict
    ribbon: Ribbon
    set_up_utc: np.datetime64 | None
    kept_h: float
    finished_h: float
    kept_68_h: tuple[float, float]
    finished_68_h: tuple[float, float]
    subs_s: np.ndarray  # best sub and both ends of its usable range, a row for each draw
    drawn: dict
    drawn_finished_h: np.ndarray


def field_card(
    passport,
    *,
    target=None,
    date=None,
    mode=None,
    guided=None,
    zone="UTC",
    resume_min: float = 10.0,
    worth_min_per_h: float | None = None,
) -> Card:
    """The card of one night.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    target, date, mode, guided : optional
        As in `verdict.verdict`: the passport's plan where not given.
    zone : str
        Time zone of the clock you look at, such as "Europe/Berlin"; UTC unless you name one.
    resume_min : float
        From the first clear sky to the first kept sub, for the cloud rule; ten minutes until you have timed it [min].
    worth_min_per_h : float, optional
        Finished minutes that make an hour of waiting worth it to you; half of what an hour of this night brings
        where not given [finished minutes per hour].

    Returns
    -------
    Card
        Also where the night never gets dark, or nothing can be exposed: then `reason` says so, and set-up,
        alignment and safety still stand.

    Notes
    -----
    Hours are counted over the minutes in which the camera also clears the stand, as in `verdict.ribbon`. Ranges hold
    68 % of the draws over the passport's spreads.
    """
    plan = {"target": target, "date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    not_negative("resume_min", float(resume_min))
    seen = _night(passport, plan)
    moments = seen.ribbon.times_utc
    noon = np.array([f"{plan['date'].isoformat()}T12:00", f"{plan['date'].isoformat()}T23:59"], "M8[s]")
    clock = Clock(zone, noon if moments is None else moments[[0, -1]])
    reason = seen.verdict.reason or ("" if seen.ribbon.usable.any() else seen.ribbon.ended_by())
    title, align = alignment_lines(
        passport,
        mode=plan["mode"],
        guided=plan["guided"],
        target=plan["target"],
        sub_s=seen.verdict.best_sub_s,
        dark_utc=None if moments is None else moments[0],
        clock=clock,
    )
    drawn = passport.draw(DRAWS, SEED)
    built, spread = (build_up(rig, mode=plan["mode"]) for rig in (passport.central(), drawn))
    how = {"passport": passport, "seen": seen, "plan": plan, "clock": clock, "reason": reason}
    sections = [
        Section("When", tuple(_when(**how))),
        Section("How long", tuple(_how_long(**how))),
        Section(
            "Set up in this order", tuple(set_up_lines(passport, plan["mode"], built, spread)), steps=True
        ),
        Section(title, tuple(align), steps=True),
        Section(
            "Stop",
            tuple(stop_lines(**how, resume_min=float(resume_min), worth_min_per_h=worth_min_per_h)),
        ),
        Section("Safety", tuple(safety_lines(passport, built, spread))),
        Section("Write into the passport", (_to_write(passport, seen, plan),)),
    ]
    latitude = passport["site.latitude_deg"]
    way = f"{plan['mode']}, {'guided' if plan['guided'] else 'unguided'}"
    day = f"{plan['date'].day} {plan['date']:%B %Y}"
    place = f"{abs(latitude):.1f}° {'S' if latitude < 0 else 'N'}"
    return Card(
        title=f"{_named(plan['target'])}, evening of {day}",
        subtitle=f"{passport['rig.name']}, {place}, {way}. Times in {clock.words}.",
        target=seen.ribbon.target,
        date=plan["date"],
        zone=zone,
        keys=_keys(**how),
        sections=tuple(part for part in sections if part.lines),
        reason=reason,
        ribbon=seen.ribbon,
    )


def _night(passport, plan) -> Night:
    """Verdict, ribbon, and the hours with their ranges over the minutes that are also clear of the stand."""
    answer = verdict(passport, **plan, draws=0)
    shown = ribbon(passport, **plan, draws=200)
    nothing = Night(answer, shown, None, 0.0, 0.0, (0.0, 0.0), (0.0, 0.0), np.empty((0, 3)), {}, np.empty(0))
    if shown.reason:
        return nothing
    night = conditions(passport, target=plan["target"], date=plan["date"])
    set_up = night.times_utc[0] - np.timedelta64(round(60e3 * float(night.since_set_up_min[0])), "ms")
    if answer.reason or not shown.usable.any():
        return nothing._replace(set_up_utc=set_up)
    clear = dataclasses.replace(night, in_view=night.in_view & shown.clear_of_legs)
    how = {"sub_s": answer.best_sub_s, "mode": plan["mode"], "guided": plan["guided"], "seed": SEED}
    kept, finished = night_sums(passport.central(), clear, nodes=NODES, phases=FINAL_PHASES, **how)
    drawn = drawn_rigs(passport, DRAWS, SEED)
    many_kept, many_finished = night_sums(drawn, clear, nodes=DRAW_NODES, phases=DRAW_PHASES, **how)
    kept_68, finished_68 = (
        tuple(np.percentile(many, [16.0, 84.0]).tolist()) for many in (many_kept, many_finished)
    )
    return Night(
        answer,
        shown,
        set_up,
        float(kept.item()),
        float(finished.item()),
        kept_68,
        finished_68,
        _drawn_subs_s(passport, night, plan),
        drawn,
        np.broadcast_to(many_finished, DRAWS),
    )


def _drawn_subs_s(passport, night, plan):
    """Best sub and the ends of its usable range in some draws of the passport."""
    drawn = passport.draw(SUB_DRAWS, SEED)
    rows = []
    for index in range(SUB_DRAWS):
        one = {key: float(v[index]) if isinstance(v, np.ndarray) else v for key, v in drawn.items()}
        hill = efficiency_curve(one, night, mode=plan["mode"], guided=plan["guided"])
        if hill is not None and hill.efficiency.max() > 0.0:
            rows.append((hill.best_sub_s, hill.usable_low_s, hill.usable_high_s))
    return np.array(rows).reshape(-1, 3)


def _rests_on(passport):
    return mark_of(passport, *(key for key in passport.uncertain_keys()))


def _keys(passport, seen, plan, clock, reason):
    mark = _rests_on(passport)
    if reason:
        nothing = "no dark sky" if seen.ribbon.reason else "nothing"
        return (
            Key("expose", "–", nothing),
            Key("sub", "–", ""),
            Key("kept", "–", ""),
            Key("finished", "–", ""),
        )
    stretches = _stretches(seen)
    first, last = clock(stretches[0].start_utc), clock(stretches[-1].end_utc)
    return (
        Key("expose from", first, f"to {last}, {seen.ribbon.usable_h:.1f} h"),
        Key("sub", seconds(seen.verdict.best_sub_s), _sub_range(seen, 0), mark),
        Key("kept", duration(seen.kept_h), hours_between(seen.kept_68_h), mark),
        Key("finished", duration(seen.finished_h), hours_between(seen.finished_68_h), mark),
    )


def _stretches(seen):
    return [span for span in seen.ribbon.spans() if not span.reason]


def _sub_range(seen, column):
    if not len(seen.subs_s):
        return ""
    return subs_between(np.percentile(seen.subs_s[:, column], [16.0, 84.0]))


def _when(passport, seen, plan, clock, reason):
    if seen.ribbon.reason:
        yield Line("Dark", f"{seen.verdict.reason}")
        yield Line("Use", "another date; or this evening for the set-up, or the Moon")
        return
    times, shown = seen.ribbon.times_utc, seen.ribbon
    minutes, sigma = set_up_min(passport, plan["mode"]), 0.0
    key = "habits.set_up_altaz_min" if plan["mode"] == "alt-az" else "habits.set_up_tilted_min"
    sigma = passport.entry(key).sigma or 0.0
    least = max(minutes - sigma, 0.0)
    words = f"from {clock(seen.set_up_utc)}, {minutes:.0f} min ({least:.0f} to {minutes + sigma:.0f})"
    yield Line("Set up", words, mark_of(passport, key))
    half = np.timedelta64(30, "s")  # the moments are the middles of minutes
    yield Line("Dark", f"{clock(times[0] - half)} to {clock(times[-1] + half)}, {seen.verdict.dark_h:.1f} h")
    if reason:
        yield Line("Expose", f"not tonight: {reason}")
        return
    spans = [f"{clock(span.start_utc)} to {clock(span.end_utc)}" for span in _stretches(seen)]
    yield Line("Expose", joined(spans))
    yield Line("Tube", _side_words(seen, plan, clock, passport["site.latitude_deg"]))
    yield Line("Moon", _moon_words(shown, clock))
    yield Line("Ends", f"{clock(_stretches(seen)[-1].end_utc)}, {shown.ended_by()}")
    yield Line("Focus", *_focus(passport, plan, clock, _stretches(seen)[-1].end_utc))


def _side_words(seen, plan, clock, latitude_deg):
    """Which side the tube hangs on, and the swap; left and right as one looks along the tube at the meridian."""
    looks_north = latitude_deg < 0 and plan["mode"] == "tilted"
    names = seen.ribbon.side.split(", then ")
    hand = {"east": "right" if looks_north else "left", "west": "left" if looks_north else "right"}
    at = "north" if looks_north else "south"
    words = f"{names[0]} of the axis ({hand[names[0]]}, looking {at})"
    if seen.ribbon.swap_utc is not None:
        words += f"; swap to {names[1]} at {clock(seen.ribbon.swap_utc)}, 10 min"
    return words


def _moon_words(shown, clock):
    up = (shown.moon_altitude_deg > 0.0) & shown.usable
    if not up.any():
        return "below the horizon while you expose"
    lit = f"{100 * float(np.mean(shown.moon_lit_fraction[up])):.0f} % lit"
    lit += f"; {shown.moon_warning}" if shown.moon_warning else ""
    if up[shown.usable].all():
        return f"up all the time, {lit}"
    first, last = (clock(shown.times_utc[i]) for i in np.flatnonzero(up)[[0, -1]])
    return f"up {first} to {last} while you expose, {lit}"


def _focus(passport, plan, clock, end_utc):
    """When the cooling tube has used up the focus zone, as long as there is something to expose."""
    found = nine_stars.next_refocus(passport, date=plan["date"])
    times = [np.datetime64(time.replace(tzinfo=None), "s") for time in found.times_utc]
    again = joined([clock(time) for time in times if time < end_utc][:3])
    words = f"at dusk, again at {again}" if again else "at dusk"
    words += f", and after each {found.after_k:.1f} K "
    words += f"(dusk alone is too little in {100 * found.chance:.0f} of 100 nights)"
    return words, mark_of(passport, "night.air_end_degc", "optics.focal_mm")


def _how_long(passport, seen, plan, clock, reason):
    if reason:
        return
    answer, mark = seen.verdict, _rests_on(passport)
    low, high = (f"{seconds(end)} {_sub_range(seen, column)}"
                 for end, column in ((answer.usable_low_s, 1), (answer.usable_high_s, 2)))  # fmt: skip
    yield Line("Subs", f"{low} to {high} cost 5 % at most", mark)
    yield _frames(passport, seen, mark)
    lost = answer.finished_h - seen.finished_h
    if lost > 0.02 * answer.finished_h:
        yield Line(
            "Stand",
            f"takes {duration(lost)} of {duration(answer.finished_h)} finished",
            mark,
        )
    own = answer.own_costs_most
    same = own is None or own is answer.costs_most
    yours = "" if same else f"; yours to change: {own.cause.words}"
    yield Line("Limit", f"{answer.costs_most.cause.words}{yours}")


def _frames(passport, seen, mark):
    """How many frames are taken and kept, and the room they need."""
    sub_s = seen.verdict.best_sub_s
    kept = [3600.0 * hours / sub_s for hours in (seen.kept_h, *seen.kept_68_h)]
    share = seen.kept_h / max(seen.ribbon.usable_h * seen.verdict.duty, 1e-9)
    taken = kept[0] / max(min(share, 1.0), 1e-9)
    size = link.frame_bytes(
        width_px=passport["camera.width_px"],
        height_px=passport["camera.height_px"],
        bits=passport["camera.file_bits"],
        header_cards=HEADER_CARDS,
    )
    room = link.night_data_gb(one_frame_bytes=size, frames=round(taken))
    words = f"{_round(kept[0])} kept ({_round(kept[1])} to {_round(kept[2])}) of {_round(taken)}; "
    words += f"{room:.0f} GB"
    return Line("Frames", words, mark)


def _round(count):
    """Two figures are all that is known of a count.

    >>> _round(1234), _round(7)
    ('1,200', '7')
    """
    return f"{float(f'{count:.2g}'):,.0f}"


def _to_write(passport, seen, plan):
    """The assumed number that spreads tonight's hours most, as the line to write once it is measured."""
    mode_key = "habits.set_up_altaz_min" if plan["mode"] == "tilted" else "habits.set_up_tilted_min"
    open_ = [
        key
        for key in MEASURABLE
        if key in passport.uncertain_keys() and not passport.is_measured(key) and key != mode_key
    ]
    if not open_:
        return Line("Fill in", "Everything one night can measure is measured: measure the oldest again.")
    key = open_[0]
    if len(seen.drawn_finished_h):
        key = max(open_, key=lambda name: _share(seen.drawn[name].ravel(), seen.drawn_finished_h))
    section, name = key.split(".")
    meaning = re.split(r"[:;]", passport.describe(key).split(": ", 1)[1])[0].split(" [")[0]
    why = "spreads tonight's hours most" if len(seen.drawn_finished_h) else "is still assumed"
    return Line(
        "Fill in",
        f"[{section}]\n{name} = {{ value = ____, sigma = ____, measured = {plan['date'].isoformat()} }}\n"
        f"{meaning[0].upper()}{meaning[1:]}: {why}, now {passport[key]:g}, give or take {passport.entry(key).sigma:g}.",
        "assumed",
    )


def _share(values, finished_h):
    """Squared rank correlation of a number with the finished hours."""
    ranks = [np.argsort(np.argsort(one)).astype(float) for one in (values, finished_h)]
    return float(np.corrcoef(*ranks)[0, 1] ** 2)


def _named(target):
    name = catalogue.find(target).name
    same = target.replace(" ", "").lower() == name.replace(" ", "").lower()
    return name if same else f"{target} ({name})"
