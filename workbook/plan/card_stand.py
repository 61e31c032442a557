"""The order in which a rig goes up so that nothing tips or swings, from its moments, its feet and its outlines."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook import balance
from workbook.checks import chosen
from workbook.plan.card_words import Line, between, mark_of
from workbook.plan.stand_parts import BAR_ROOT_MM, HEAD_KG, HINGE_M, LIGHTEST_KG

BAR_HALF_MM, WEIGHT_HALF_MM = 6.0, 40.0  # half the thickness of the bar, and of a counterweight
ADDED_KG = 0.1  # something small that is screwed to the camera later

FIRST = ("counterweight", "telescope", "either", "neither", "no counterweight")


class BuildUp(NamedTuple):
    """One rig half built and built; numbers, or arrays over draws.

    weight_mm, where the counterweight balances, and bar_mm, its ends of travel [mm]; alone_n_m, what one side alone
    turns about the primary axis with the arm level, and left_n_m, what both leave [N·m]; margins of the plumb line to
    the nearest line between two feet: with the first part only, on its safer and on its other side of the legs, and
    with all on [mm]; bar_gap_mm and tube_gap_mm, room between the stand and what hangs lowest [mm]; push_n, the push
    at the axes that tips the whole rig [N]; added_n_m, what 100 g at the camera's end do to the tube [N·m].
    """

    weight_mm: float
    bar_mm: tuple[float, float]
    alone_n_m: float
    left_n_m: float
    weight_margin_mm: float
    tube_margin_mm: float
    gap_margin_mm: float
    full_margin_mm: float
    bar_gap_mm: float
    tube_gap_mm: float
    push_n: float
    added_n_m: float


def build_up(rig, *, mode) -> BuildUp:
    """The numbers behind the order of setting up.

    Parameters
    ----------
    rig : mapping
        Passport numbers by key, floats or arrays over draws; the outlines and the bar as they are.
    mode : {"alt-az", "tilted"}
        An upright or a tilted primary axis.

    Returns
    -------
    BuildUp
        Tilted, the part that goes on first hangs straight down, where it rests; a leg stands under it, towards the
        elevated pole. In alt-az the arm is level and the gap between two legs under it: the worst case.

    Notes
    -----
    With the axis at altitude φ an arm that hangs lowest leans out by its length × sin φ towards the elevated pole, and
    sinks by its length × cos φ; level, it turns about the axis with its moment × cos φ. Upright nothing turns about
    the axis at all.

    References
    ----------
    Derivation: the centre of mass of several bodies; `balance.tipping_distance_m`, `balance.clearance_mm`.
    """
    tilted = chosen("mode", mode, ("alt-az", "tilted")) == "tilted"
    up = np.radians(abs(rig["site.latitude_deg"])) if tilted else 0.5 * np.pi
    length, load = rig["stand.bar_length_mm"], rig["stand.load_kg"]
    weight = np.asarray(rig["stand.counterweight_kg"])
    rod = balance.thread(rig["stand.bar_thread"]).stress_diameter_mm
    density = balance.MATERIALS["steel"].density_kg_m3
    bar_kg = 1e-3 * length * balance.bar_mass_kg_m(diameter_mm=rod, density_kg_m3=density)
    bar_kg = np.where(weight > 0.0, bar_kg, 0.0)
    ends = BAR_ROOT_MM, BAR_ROOT_MM + length
    bar_moment = 1e-3 * bar_kg * (BAR_ROOT_MM + 0.5 * length)  # kg·m
    load_moment = 1e-3 * load * rig["stand.load_arm_mm"]
    wanted = 1e3 * (load_moment - bar_moment) / np.where(weight > 0.0, weight, np.nan)
    weight_moment = bar_moment + 1e-3 * weight * np.clip(np.nan_to_num(wanted), *ends)
    base = np.maximum(rig["stand.total_kg"] - load - weight - bar_kg - HEAD_KG, LIGHTEST_KG)

    def margin_mm(carried_kg, moment, leg_deg):
        hinge = carried_kg * HINGE_M * np.cos(up)
        out = (hinge + moment * (np.sin(up) if tilted else 1.0)) / (base + carried_kg)
        return 1e3 * balance.tipping_distance_m(
            foot_circle_m=rig["stand.foot_circle_m"], leg_deg=leg_deg, overhang_m=out, overhang_deg=0.0
        ).min(-1)

    under, beside = (0.0, 60.0) if tilted else (60.0, 60.0)
    full = margin_mm(HEAD_KG + load + weight + bar_kg, abs(load_moment - weight_moment), under)
    axes_m = 1e-3 * rig["stand.leg_outline_mm"][-1][1]
    alone = balance.GRAVITY_M_S2 * np.maximum(load_moment, weight_moment) * np.cos(up)
    back_mm = abs(min(along for along, _ in rig["stand.camera_outline_mm"]))
    return BuildUp(
        weight_mm=wanted,
        bar_mm=ends,
        alone_n_m=alone if tilted else 0.0 * alone,
        left_n_m=balance.GRAVITY_M_S2 * abs(load_moment - weight_moment) * (np.cos(up) if tilted else 0.0),
        weight_margin_mm=margin_mm(HEAD_KG + weight + bar_kg, weight_moment, under),
        tube_margin_mm=margin_mm(HEAD_KG + load, load_moment, under),
        gap_margin_mm=margin_mm(HEAD_KG + weight + bar_kg, weight_moment, beside),
        full_margin_mm=full,
        bar_gap_mm=_bar_gap_mm(rig, up, ends),
        tube_gap_mm=_tube_gap_mm(rig, up),
        push_n=rig["stand.total_kg"] * balance.GRAVITY_M_S2 * np.maximum(1e-3 * full, 0.0) / axes_m,
        added_n_m=ADDED_KG * balance.GRAVITY_M_S2 * 1e-3 * back_mm,
    )


def first_part(built: BuildUp, *, mode) -> str:
    """Which part goes on first; one of FIRST.

    Tilted, the part that can hang straight down clear of the stand, the roomier of the two; "neither" where both would
    meet it. In alt-az nothing turns about the upright axis, so that either may, unless one of them tips the legs.
    """
    if not np.isfinite(built.weight_mm):
        return "no counterweight"
    if mode == "alt-az":
        stands = built.weight_margin_mm > 0.0, built.tube_margin_mm > 0.0
        return {(True, True): "either", (True, False): "counterweight", (False, True): "telescope"}.get(
            stands, "neither"
        )
    room = {"counterweight": built.bar_gap_mm, "telescope": built.tube_gap_mm}
    safe = {"counterweight": built.weight_margin_mm, "telescope": built.tube_margin_mm}
    fits = [part for part in room if room[part] >= 0.0 and safe[part] > 0.0]
    return max(fits, key=room.get) if fits else "neither"


def _bar_gap_mm(rig, up, ends):
    """Room between the stand and the bar hanging lowest, its weight slid on from the free end to its place."""
    load_moment = np.median(rig["stand.load_kg"]) * np.median(rig["stand.load_arm_mm"])
    place = np.clip(load_moment / max(float(np.median(rig["stand.counterweight_kg"])), 1e-6), *ends)
    distance, below = np.array(rig["stand.leg_outline_mm"], dtype=float).T
    gaps = []
    for first, half_mm in ((ends[0], BAR_HALF_MM), (float(place) - WEIGHT_HALF_MM, WEIGHT_HALF_MM)):
        along = np.linspace(first, ends[1], 60)
        out, sunk = 1e3 * HINGE_M * np.cos(up) + along * np.sin(up), along * np.cos(up)
        room = out - np.interp(sunk, below, distance) - half_mm
        gaps.append(np.min(np.where(sunk >= below[0], room, np.inf)))
    return float(np.min(gaps))


def _tube_gap_mm(rig, up):
    """Room between the stand and the tube, parked along the axis, hanging lowest."""
    gaps = balance.clearance_mm(
        turn_deg=np.array([-90.0, 90.0]),
        rise_deg=90.0,
        axis_altitude_deg=float(np.degrees(up)),
        side="west",
        arm_mm=float(np.median(rig["stand.load_arm_mm"])),
        overhang_mm=float(1e3 * HINGE_M * np.cos(up)),
        camera_outline_mm=rig["stand.camera_outline_mm"],
        leg_outline_mm=rig["stand.leg_outline_mm"],
    )
    return float(np.min(gaps))


def set_up_lines(passport, mode, built: BuildUp, spread: BuildUp):
    """The steps in order; `built` for the central numbers, `spread` for draws over the passport's spreads."""
    stand = mark_of(passport, "stand.total_kg", "stand.foot_circle_m", "stand.load_kg", "stand.load_arm_mm")
    latitude = passport["site.latitude_deg"]
    pole = "south" if latitude < 0 else "north"
    first = first_part(built, mode=mode)
    if mode == "tilted":
        yield Line(
            "",
            f"Legs wide, one to the {pole}: half built, the centre of mass is {_mm(built.weight_margin_mm)} "
            f"{between(spread.weight_margin_mm)} inside the feet; over a gap {_mm(built.gap_margin_mm)}.",
            stand,
        )
        yield Line("", f"Head on, tilted to {abs(latitude):.1f}°, both axes locked.")
    else:
        yield Line(
            "",
            f"Legs wide, turned as you like: half built, the centre of mass is {_mm(built.weight_margin_mm)} "
            f"{between(spread.weight_margin_mm)} inside the feet or more.",
            stand,
        )
        yield Line("", "Head on, upright, both axes locked: about an upright axis nothing swings.")
    yield Line(
        "",
        f"Finish the tube on the table: 100 g put on its camera end later turn it with {built.added_n_m:.1f} N·m.",
    )
    yield from _both_parts(passport, mode, first, built, spread, stand)
    if first != "no counterweight":
        left = f"{built.left_n_m:.1f} N·m" if built.left_n_m >= 0.05 else "nothing"
        about_it = (
            f"with the bar level {left} should pull" if mode == "tilted" else "the tube must stay as put"
        )
        yield Line("", f"Free one axis at a time: {about_it}. Cables; batteries low between the legs.")
    else:
        yield Line("", "Free one axis at a time, a hand on the tube. Cables; batteries low between the legs.")
    yield Line("", f"Down again: {_backwards(first)}.")


def _both_parts(passport, mode, first, built, spread, mark):
    place = (
        f"{_mm(built.weight_mm)} {between(spread.weight_mm)} from the axis"
        if np.isfinite(built.weight_mm)
        else ""
    )
    low, high = built.bar_mm
    if place and not low <= built.weight_mm <= high:
        place += f" (the bar reaches {low:.0f} to {high:.0f})"
    pull = f"{float(built.alone_n_m):.1f} N·m {between(spread.alone_n_m, 1)}"
    pull = "hardly any force" if built.alone_n_m < 0.05 else pull
    screw = "safety screw in"
    if first == "counterweight" and mode == "tilted":
        yield Line(
            "",
            f"Counterweight first, bar straight down: there it rests, level it swings with {pull}.",
            mark,
        )
        yield Line("", f"Its middle {place}; {screw}.", mark)
        yield Line("", "Tube last, on top, caps on, a hand on it.")
    elif first == "telescope" and mode == "tilted":
        yield Line(
            "",
            f"Tube first, straight down: there it rests, level it swings with {pull}.",
            mark,
        )
        yield Line("", f"Then the counterweight, its middle {place}; {screw}.", mark)
    elif first == "neither" and mode == "tilted":
        yield Line(
            "",
            "Neither bar nor tube can hang down, they would meet the stand: keep the bar level and hold it till both "
            f"are on. One side alone swings with {pull}.",
            mark,
        )
        yield Line("", f"Counterweight first, its middle {place}; {screw}. Then the tube. Two people.", mark)
    elif first == "no counterweight":
        words = (
            f"Tube last; no counterweight holds it: {pull} stay on the drive."
            if mode == "tilted"
            else "Tube last."
        )
        yield Line("", words, mark if mode == "tilted" else "")
    else:
        order = "telescope" if first == "telescope" else "counterweight"
        free = (
            "Either may go first, best the counterweight" if first == "either" else f"The {order} goes first"
        )
        yield Line("", f"{free}. Its middle {place}; {screw}." if order == "counterweight" else f"{free}, then the "
                   f"counterweight, its middle {place}; {screw}.", mark)  # fmt: skip
        yield Line("", "Then the other side, caps on, a hand on it.")


def _backwards(first):
    if first == "no counterweight":
        return "cables, tube, head, legs"
    inner = "counterweight, tube" if first == "telescope" else "tube, counterweight"
    return f"cables, {inner}, head, legs"


def _mm(value):
    return f"{float(value):.0f} mm"
