"""The lines of a field card on when to stop, and on safety."""

from __future__ import annotations

import numpy as np

from workbook import balance, optics
from workbook.plan.card_words import Line, between, joined, mark_of
from workbook.plan.cloud import cloud_stop
from workbook.plan.stand_parts import CARELESS_N, elbow_words
from workbook.verdict.answer import drawn_rigs
from workbook.verdict.hours import supply_h
from workbook.verdict.remarks import voltage_remarks

DRAWS, SEED = 500, 1
LONGEST_H = 99.0  # a load of nothing never empties a cell
HALF = 0.5  # an hour of waiting must bring half of what a mean hour of this night brings


def stop_lines(*, passport, seen, plan, clock, reason, resume_min, worth_min_per_h):
    """Voltages that do not fit, battery, cells, dew, cloud, wind, stand: each with its moment or its limit."""
    for words in voltage_remarks(passport, guided=plan["guided"]):
        yield Line("Volts", words, mark_of(passport, "power.cell_v", "power.pack_v", "power.lead_m"))
    if not reason:
        yield from _batteries(passport, seen, plan, clock)
        yield _dew(passport, seen, clock)
        yield _cloud(passport, seen, plan, clock, resume_min, worth_min_per_h)
    yield _wind(passport)
    closed = {"legs": "Stand", "zenith": "Zenith"}
    for key, label in closed.items() if not reason else ():
        spans = [span for span in seen.ribbon.spans() if span.reason == key]
        if spans:
            times = joined(f"{clock(span.start_utc)} to {clock(span.end_utc)}" for span in spans)
            what = (
                "the camera meets it"
                if key == "legs"
                else f"above {passport['drive.altaz_highest_deg']:g}° the drive cannot follow"
            )
            yield Line(label, f"{times}, {what}")
    yield Line("Storm", "pack up at the first thunder or rain")


def _batteries(passport, seen, plan, clock):
    """When pack and cells are empty, and by when to park."""
    drawn = drawn_rigs(passport, DRAWS, SEED)
    dawn = seen.ribbon.times_utc[-1]
    end = seen.ribbon.times_utc[seen.ribbon.usable][-1]  # of what can be exposed
    names = ("Pack", "Cells")
    groups = (
        ("power.pack_wh", "power.pack_usable", "power.computer_w", "power.heater_duty"),
        ("power.cell_ah", "power.mount_w", "power.mount_duty", "power.pack_usable"),
    )
    central = seen.ribbon.pack_h, seen.ribbon.mount_h
    for name, hours, many, keys in zip(
        names, central, supply_h(drawn, guided=plan["guided"]), groups, strict=True
    ):
        ends = np.percentile(np.ravel(many), [16.0, 84.0])
        empty, early, late = (
            seen.set_up_utc + np.timedelta64(int(60 * min(h, LONGEST_H)), "m") for h in (hours, *ends)
        )
        if early > dawn:
            words = f"lasts to dawn, empty {clock(empty)} ({clock(early)} to {clock(late)})"
        elif early > end:
            words = f"lasts, empty {clock(empty)} ({clock(early)} to {clock(late)})"
        else:
            words = f"empty {clock(empty)} ({clock(early)} to {clock(late)}); watch it from {clock(early)}"
        yield Line(name, words, mark_of(passport, *keys))


def _dew(passport, seen, clock):
    shown = seen.ribbon
    at = int(np.argmin(np.where(shown.usable, shown.dew_margin_k, np.inf)))
    low, high = shown.dew_margin_68_k[:, at]
    duty = f"heater on {100.0 * passport['power.heater_duty']:.0f} % of the time"
    rule = "full heat if it fogs" if low < 1.0 else duty
    margin = f"{shown.dew_margin_k[at]:.1f} K ({low:.1f} to {high:.1f})".replace("-", "−")
    words = f"lens {margin} above dew at worst; {rule}"
    return Line(
        "Dew", words, mark_of(passport, "night.humidity_end", "night.lens_cooling_k", "night.heater_lift_k_w")
    )


def _cloud(passport, seen, plan, clock, resume_min, worth_min_per_h):
    """The wait that can still pay, from the middle of the usable minutes."""
    usable = np.flatnonzero(seen.ribbon.usable)
    at = seen.ribbon.times_utc[usable[len(usable) // 2]]
    worth = worth_min_per_h
    if worth is None:
        worth = HALF * 60.0 * seen.ribbon.finished_h / seen.ribbon.usable_h
    stop = cloud_stop(passport, at_utc=at, resume_min=resume_min, worth_min_per_h=worth, **plan)
    if stop.latest_wait_min > 0.0:
        until = clock(at + np.timedelta64(int(stop.latest_wait_min), "m"))
        words = f"if at {clock(at)}, waiting pays until {until} at most"
    else:
        words = f"if at {clock(at)}, set down at once"
    given = "half a mean hour" if worth_min_per_h is None else f"{worth:g} finished min"
    return Line(
        "Cloud",
        f"{words} (an hour of it for {given})",
        mark_of(passport, *passport.uncertain_keys()),
    )


def _wind(passport):
    def speed(rig):
        scale = optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=rig["optics.focal_mm"])
        return balance.gust_to_lose_frame_m_s(
            wind_m_s=rig["night.wind_m_s"],
            tolerance_arcsec=rig["habits.tolerance_px"] * scale,
            area_m2=rig["stand.wind_area_m2"],
            arm_m=rig["stand.wind_arm_m"],
            stiffness_n_m_rad=rig["stand.stiffness_n_m_rad"],
        )

    many = speed(passport.draw(DRAWS, SEED))
    words = f"a gust of {speed(passport.central()):.1f} m/s {between(many, 1)} costs the sub"
    return Line(
        "Wind",
        words,
        mark_of(
            passport, "stand.stiffness_n_m_rad", "stand.wind_area_m2", "stand.wind_arm_m", "night.wind_m_s"
        ),
    )


def safety_lines(passport, built, spread):
    """What can hurt somebody or something, in the order of the night."""
    push, many = float(built.push_n), between(spread.push_n, 0, " N")
    elbow = elbow_words(push)
    if elbow:
        elbow = f", {elbow} ({CARELESS_N[0]:.0f} to {CARELESS_N[1]:.0f} N)"
    yield Line(
        "Fall",
        f"a push of {push:.0f} N {many} tips it{elbow}: tie it down; carry legs and tube apart",
        mark_of(passport, "stand.total_kg", "stand.foot_circle_m", "stand.load_kg"),
    )
    yield Line("Power", "mains indoors; fuse at the pack; charge no lithium pack below 0 °C")
    yield Line("Sun", "caps on before dawn, guide scope too; never left alone by day")
    yield Line("You", "warm layers; too tired to drive: stay")
