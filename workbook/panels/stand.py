"""The panel of lesson 07: load arm, counterweight, column and legs against balance, trembling, gusts and a fall."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook import balance
from workbook.figures import stand as figure
from workbook.optics import image_scale_arcsec_px
from workbook.panels.controls import choice, slider, switch
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.plan.stand_parts import BAR_ROOT_MM, HEAD_KG, HINGE_M, LIGHTEST_KG, elbow_words

# What the passport does not hold: assumptions of this lesson, named on the page.
BAR_MATERIAL = "steel"
GUIDE_KG, GUIDE_UP_MM = 0.4, 80.0  # guide telescope, part of the load, on top of the tube
CABLE_KG = 0.15  # of the load: hanging at the camera, or tied to the head
COLUMN = {"outer_mm": 32.0, "inner_mm": 28.0, "modulus_gpa": balance.MATERIALS["aluminium"].modulus_gpa}
LEVELLER_KG, LEVELLER_M, LEVELLER_N_M_RAD = 0.6, 0.06, 2000.0
COLUMN_KG_M = 0.51  # a metre of that tube: 188 mm² of 2700 kg/m³
TOUCH_ARCSEC, STILL_ARCSEC = 60.0, 1.0  # a touch, and what one can bear
SUB_S = 30.0
TARGET_DEG = 30.0  # the tube for the curve of the primary axis: so far from the equator towards the pole
TURN_DEG = np.arange(-180.0, 180.1, 4.0)
DRAWS, SEED = 500, 7
WINDS = ("this night", "open field", "windbreak", "still air")
OPEN_FIELD = 4.0, 9.0, 25.0  # wind and strongest gusts [m/s], gusts an hour: invented, as on a bare oval
HEAD_AREA_M2, LEG_WIDE_M = 0.02, 0.025  # what the wind meets of head and weight, and of each leg, a tube
REST_SPREAD = 0.3  # likely error of both, as a share


def build_stand(passport) -> Panel:
    """The rig of this passport on its legs, the head tilted to the latitude of its site.

    Raises ValueError where the passport leaves no mass for the legs.
    """
    own = _numbers(passport.central())
    _refuse_no_legs(own)
    drawn = passport.draw(DRAWS, SEED)
    arm, weight = own["stand.load_arm_mm"], own["stand.counterweight_kg"]
    measured = passport.is_measured("stand.frequency_hz")
    return Panel(
        figure,
        partial(stand_up, own),
        {
            "load_arm_mm": slider("Load arm", arm, min(50.0, arm), max(250.0, arm), step=5.0),
            "counterweight_kg": slider("Counterweight", weight, min(0.5, weight), max(5.0, weight), step=0.1),
            "column_mm": slider("Column out", 0, 0, 400, step=10),
            "leg_turn_deg": slider("Leg beside overhang", 0, 0, 60, step=5),
            "wind": choice("Wind", WINDS[0], WINDS),
            "cable": switch("Cable hangs free", False),
            "leveller": switch("Levelling base", False),
        },
        partial(_readout, "measured frequency" if measured else "assumed"),
        presets={
            "Weight twice as heavy": {"counterweight_kg": min(round(2.0 * weight, 1), 5.0)},
            "Open field, column out": {"wind": "open field", "column_mm": 300},
            "Windbreak, column in": {"wind": "windbreak", "column_mm": 0},
        },
        slow=lambda result, **values: with_ranges(result, drawn, own, **values),
        title=f"The rig on its legs, tilted to {abs(own['site.latitude_deg']):g}°",
        height_px=figure.HEIGHT_PX,
    )


def stand_up(
    own, *, load_arm_mm, counterweight_kg, column_mm, leg_turn_deg, wind, cable, leveller, curves=True
) -> figure.Stood:
    """Everything that the picture shows, for one set of the rig's numbers (by passport key)."""
    turned = {"load_arm_mm": float(load_arm_mm), "counterweight_kg": float(counterweight_kg)}
    weight = _weight(own, **turned)
    stands = float(np.clip(weight.arm_mm, BAR_ROOT_MM, BAR_ROOT_MM + own["stand.bar_length_mm"]))
    lift = 1e-3 * column_mm + (LEVELLER_M if leveller else 0.0)
    stiffness = _stiffness(own, column_mm, leveller)
    frequency = _frequency_hz(own, weight, stiffness, lift)
    speed, gust, gusts_per_h = _wind(own, wind)
    area, arm = own["stand.wind_area_m2"], own["stand.wind_arm_m"]
    centre, total, axes_m = _centre(own, weight, column_mm, leveller, lift)
    # with the arm level, the moment left leans sideways
    beside = abs(weight.left_n_m) / (balance.GRAVITY_M_S2 * total)
    steady = _stability(own, total, centre, beside, axes_m, leg_turn_deg)
    # best with a leg under the overhang; far out of balance the sides count, and a gap is better
    towards, away = (_stability(own, total, centre, beside, axes_m, turn).margin_m for turn in (0.0, 60.0))
    pole_deg = 0.0 if own["site.latitude_deg"] >= 0.0 else 180.0
    primary, secondary = (
        _curves(own, load_arm_mm, counterweight_kg, stands, cable) if curves else (None, None)
    )
    return figure.Stood(
        latitude_deg=own["site.latitude_deg"],
        load_kg=own["stand.load_kg"],
        **turned,
        wanted_mm=weight.arm_mm,
        stands_mm=stands,
        bar_mm=(BAR_ROOT_MM, BAR_ROOT_MM + own["stand.bar_length_mm"]),
        load_n_m=float(balance.load_moment_n_m(load_kg=own["stand.load_kg"], load_arm_mm=load_arm_mm)),
        left_n_m=weight.left_n_m,
        bar_sag_mm=weight.sag_mm,
        bar_swing_hz=weight.swing_hz,
        axes_m=axes_m,
        hinge_m=HINGE_M,
        column_m=1e-3 * column_mm,
        leveller_m=LEVELLER_M if leveller else 0.0,
        tube_mm=own["stand.camera_outline_mm"],
        total_kg=total,
        out_m=centre.overhang_m,
        beside_m=beside,
        centre_m=centre.height_m,
        foot_circle_m=own["stand.foot_circle_m"],
        leg_turn_deg=float(leg_turn_deg),
        steady=steady,
        tips_m_s=_tipping_wind_m_s(own, total, steady.margin_m, axes_m, column_mm, lift),
        best_leg_deg=float(balance.best_leg_deg(pole_deg if towards >= away else 180.0 - pole_deg)),
        best_margin_m=max(towards, away),
        turn_deg=TURN_DEG,
        primary_n_m=primary,
        secondary_n_m=secondary,
        gust_n_m=float(balance.wind_torque_n_m(wind_m_s=gust, area_m2=area, arm_m=arm)),
        gust_m_s=float(gust),
        wind=wind,
        frequency_hz=frequency,
        settle_s=float(
            balance.settle_time_s(
                from_arcsec=TOUCH_ARCSEC,
                to_arcsec=STILL_ARCSEC,
                frequency_hz=frequency,
                damping_ratio=own["stand.damping_ratio"],
            )
        ),
        sub_s=SUB_S,
        wind_yield=float(
            balance.wind_yield(
                sub_s=SUB_S,
                wind_m_s=speed,
                gust_m_s=gust,
                gusts_per_h=gusts_per_h,
                gust_s=own["night.gust_s"],
                tolerance_arcsec=_tolerance_arcsec(own),
                area_m2=area,
                arm_m=arm + lift,
                stiffness_n_m_rad=stiffness,
            )
        ),
    )


def with_ranges(result, drawn, own, **values):
    """The result with the middle 68 % of what the passport's spreads allow.

    A slider that stands off the passport's own value takes the same spread along.
    """
    seen = []
    rest = np.maximum(1.0 + REST_SPREAD * np.random.default_rng(SEED).standard_normal(DRAWS), 0.1)
    for index in range(DRAWS):
        one = _numbers(
            {
                key: value[index] if np.ndim(value) == 1 and len(value) == DRAWS else value
                for key, value in drawn.items()
            }
        ) | {"stand.rest": rest[index]}
        off = {
            name: values[name] * one[f"stand.{name}"] / own[f"stand.{name}"]
            for name in ("load_arm_mm", "counterweight_kg")
        }
        stood = stand_up(one, **(values | off), curves=False)
        steady = stood.steady
        seen.append(
            (stood.settle_s, steady.margin_m, stood.wanted_mm, stood.wind_yield, steady.push_n, stood.tips_m_s,
             stood.best_margin_m)
        )  # fmt: skip
    low, high = np.percentile(np.array(seen), (16.0, 84.0), axis=0)
    return result._replace(ranges_68=tuple(zip(low.tolist(), high.tolist(), strict=True)))


def _numbers(values):
    """The passport's numbers that this panel takes."""
    return {key: value for key, value in values.items() if key.split(".")[0] in {"stand", "night"}} | {
        key: values[key]
        for key in ("site.latitude_deg", "optics.focal_mm", "camera.pixel_um", "habits.tolerance_px")
    }


def _tolerance_arcsec(own):
    scale = image_scale_arcsec_px(pixel_um=own["camera.pixel_um"], focal_mm=own["optics.focal_mm"])
    return own["habits.tolerance_px"] * scale


def _weight(own, *, load_arm_mm, counterweight_kg):
    return balance.choose_counterweight(
        load_kg=own["stand.load_kg"],
        load_arm_mm=load_arm_mm,
        counterweight_kg=counterweight_kg,
        bar_thread=own["stand.bar_thread"],
        bar_length_mm=own["stand.bar_length_mm"],
        bar_root_mm=BAR_ROOT_MM,
        material=BAR_MATERIAL,
    )


def _refuse_no_legs(own):
    weight = _weight(
        own, load_arm_mm=own["stand.load_arm_mm"], counterweight_kg=own["stand.counterweight_kg"]
    )
    least = weight.carried_kg + HEAD_KG + LIGHTEST_KG
    if own["stand.total_kg"] < least:
        raise ValueError(
            f"stand.total_kg is {own['stand.total_kg']:g} kg, but load, counterweight, bar, head and the lightest legs "
            f"weigh {least:.1f} kg: it counts everything on the three feet"
        )


def _stiffness(own, column_mm, leveller):
    """The passport's stiffness holds for column in; tube and levelling base lie in series with it."""
    soft = own["stand.stiffness_n_m_rad"]
    if column_mm > 0:
        tube = balance.column_stiffness_n_m_rad(length_mm=float(column_mm), way="bend", **COLUMN)
        soft = balance.series_stiffness_n_m_rad(first_n_m_rad=soft, second_n_m_rad=tube)
    if leveller:
        soft = balance.series_stiffness_n_m_rad(first_n_m_rad=soft, second_n_m_rad=LEVELLER_N_M_RAD)
    return float(soft)


def _frequency_hz(own, weight, stiffness, lift_m):
    """One spring under the head: the inertia about it is M h² and that about the axis; h from the tap as it is.

    J = k/ω² of the rig as the passport has it; h² = (J − I)/M. A column adds to h, a weight to M and to I.
    """
    as_it_is = _weight(
        own, load_arm_mm=own["stand.load_arm_mm"], counterweight_kg=own["stand.counterweight_kg"]
    )
    inertia = own["stand.stiffness_n_m_rad"] / (2.0 * np.pi * own["stand.frequency_hz"]) ** 2
    height = np.sqrt(max(inertia - as_it_is.inertia_kg_m2, 0.0) / (as_it_is.carried_kg + HEAD_KG))
    share = min(
        inertia / as_it_is.inertia_kg_m2, 1.0
    )  # below 1 where the tap says less than the weights alone
    swings = (weight.carried_kg + HEAD_KG) * (height + lift_m) ** 2 + share * weight.inertia_kg_m2
    return float(np.sqrt(stiffness / swings) / (2.0 * np.pi))


def _wind(own, wind):
    """Steady wind, strongest gust, gusts an hour; a windbreak halves the speeds (common practice, no source)."""
    speed, gust, often = (own[f"night.{name}"] for name in ("wind_m_s", "gust_m_s", "gusts_per_h"))
    return {
        "this night": (speed, gust, often),
        "open field": OPEN_FIELD,
        "windbreak": (0.5 * speed, 0.5 * gust, often),
        "still air": (0.0, 0.0, 0.0),
    }[wind]


def _centre(own, weight, column_mm, leveller, lift_m):
    """Centre of mass, mass on the feet, and height of the axes.

    The height of what does not tilt follows from the passport's centre of mass, its axes from the legs' outline.
    """
    latitude = own["site.latitude_deg"]
    axes = 1e-3 * own["stand.leg_outline_mm"][-1][1]
    as_it_is = _weight(
        own, load_arm_mm=own["stand.load_arm_mm"], counterweight_kg=own["stand.counterweight_kg"]
    )
    head_now, head = as_it_is.carried_kg + HEAD_KG, weight.carried_kg + HEAD_KG
    base = max(own["stand.total_kg"] - head_now, LIGHTEST_KG)  # a draw may lie far out
    low = (own["stand.total_kg"] * own["stand.centre_of_mass_m"] - head_now * axes) / base
    hinge = axes - HINGE_M * np.sin(np.radians(abs(latitude)))
    extra = COLUMN_KG_M * 1e-3 * column_mm + (LEVELLER_KG if leveller else 0.0)
    centre = balance.wedge_centre(
        latitude_deg=latitude,
        head_kg=head,
        head_arm_m=HINGE_M,
        base_kg=base + extra,
        base_height_m=max((base * low + extra * (hinge + 0.5 * lift_m)) / (base + extra), 0.0),
        pivot_m=hinge + lift_m,
        pivot_offset_m=0.0,
    )
    return centre, float(head + base + extra), float(axes + lift_m)


def _stability(own, total, centre, beside_m, axes_m, leg_turn_deg):
    """The weaker of the arm's two sides; directions count from the pole's side of the stand."""
    return min(
        (
            balance.stability(
                total_kg=total,
                centre_of_mass_m=centre.height_m,
                foot_circle_m=own["stand.foot_circle_m"],
                leg_deg=float(leg_turn_deg),
                overhang_m=float(np.hypot(centre.overhang_m, beside_m)),
                overhang_deg=side * float(np.degrees(np.arctan2(beside_m, centre.overhang_m))),
                push_height_m=axes_m,
            )
            for side in (1.0, -1.0)
        ),
        key=lambda steady: steady.margin_m,
    )


def _tipping_wind_m_s(own, total, margin_m, axes_m, column_mm, lift_m):
    """Steady wind on tube, head, legs and column that tips the rig over its weakest side."""
    rest, top, column = own.get("stand.rest", 1.0), axes_m - lift_m, 1e-3 * column_mm
    legs = 3.0 * LEG_WIDE_M * np.hypot(top, own["stand.foot_circle_m"])
    areas = np.array(
        [own["stand.wind_area_m2"], rest * HEAD_AREA_M2, rest * legs, 1e-3 * COLUMN["outer_mm"] * column]
    )
    heights = np.array([axes_m, axes_m, 0.5 * top, top + 0.5 * column])
    return float(
        balance.tipping_wind_m_s(
            total_kg=total,
            margin_m=max(margin_m, 0.0),
            wind_area_m2=areas.sum(),
            wind_height_m=areas @ heights / areas.sum(),
        )
    )


def _curves(own, load_arm_mm, counterweight_kg, stands_mm, cable):
    """Torque about each axis over its own full turn, the other one where the arm is level."""
    load, arm = own["stand.load_kg"], float(load_arm_mm)
    guide, hanging = min(GUIDE_KG, 0.5 * load), CABLE_KG if cable else 0.0
    back_mm = own["stand.camera_outline_mm"][0][0]
    tube = [
        balance.Part(load - guide - hanging, 0.0, 0.0, arm),
        balance.Part(guide, 0.0, GUIDE_UP_MM, arm),
        balance.Part(hanging, back_mm, 0.0, arm),
    ]
    rod = balance.thread(own["stand.bar_thread"])
    bar_kg = (
        1e-3
        * own["stand.bar_length_mm"]
        * balance.bar_mass_kg_m(
            diameter_mm=rod.stress_diameter_mm, density_kg_m3=balance.MATERIALS[BAR_MATERIAL].density_kg_m3
        )
    )
    rotor = [
        balance.Part(counterweight_kg, 0.0, 0.0, -stands_mm),
        balance.Part(bar_kg, 0.0, 0.0, -(BAR_ROOT_MM + 0.5 * own["stand.bar_length_mm"])),
    ]
    head = {"load": tube, "rotor": rotor, "axis_altitude_deg": abs(own["site.latitude_deg"])}
    primary = balance.torques(**head, primary_deg=TURN_DEG, secondary_deg=TARGET_DEG).primary_n_m
    secondary = balance.torques(**head, primary_deg=0.0, secondary_deg=TURN_DEG).secondary_n_m
    return primary, secondary


def _readout(basis, result):
    low, high = result.ranges_68[0] if result.ranges_68 else (None, None)
    return Readout(
        "Trembles after a touch", result.settle_s, "s", basis, verdict(result), digits=1, low=low, high=high
    )


def verdict(result) -> str:
    """Balance, fall and wind, each with what to do."""
    if result.steady.margin_m <= 0.0:
        return "It falls over by itself: turn a leg under the overhang, or spread the feet."
    left = f"{abs(result.left_n_m):.1f} N·m stay on the drive"
    _, _, place, kept, hard, *_ = result.ranges_68 or (None,) * 5
    words = {
        "fits": f"Weight in balance at {result.wanted_mm:.0f} mm{_ends(place)}.",
        "short": f"Bar too short: {left}; bring the load closer or take a heavier weight.",
        "close": f"Weight too heavy to come close enough: {left}; take a lighter one.",
    }[result.bar_state]
    push = f" A push of {result.steady.push_n:.0f} N{_ends(hard)} at the axes tips it"
    elbow = elbow_words(result.steady.push_n)
    push += f", {elbow}: tether it." if elbow else "."
    share = f" Gusts leave {100.0 * result.wind_yield:.0f} of 100{_ends(kept, 100.0)} subs of {result.sub_s:.0f} s."
    return words + push + share


def _ends(ends, factor=1.0):
    return f" ({factor * ends[0]:.0f} to {factor * ends[1]:.0f})" if ends else ""
