"""The counterweight: where it stands, and which of several is the best."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.balance.bars import (
    GRAVITY_M_S2,
    MATERIALS,
    bar_deflection_mm,
    bar_mass_kg_m,
    bar_slope_arcsec,
    thread,
)
from workbook.checks import between, chosen, not_negative, number, positive, turned


class Choice(NamedTuple):
    """One counterweight on its bar.

    Where it stands [mm]; whether the bar is long enough; mass that mount and legs then carry [kg]; inertia about the
    axis, load, bar and weight as points and a rod [kg·m²]; how the bar sinks [mm] and tilts [″] when level; how fast
    weight and bar swing by themselves [Hz]; moment that is left where the bar is too short [N·m].
    """

    arm_mm: float
    fits: bool
    carried_kg: float
    inertia_kg_m2: float
    sag_mm: float
    tilt_arcsec: float
    swing_hz: float
    left_n_m: float


def counterweight_arm_mm(*, load_kg, load_arm_mm, counterweight_kg):
    """Where the counterweight stands in balance.

    Parameters
    ----------
    load_kg : float or array
        Mass of the load [kg].
    load_arm_mm : float or array
        From the axis to its centre of mass [mm].
    counterweight_kg : float or array
        Mass of the counterweight [kg].

    Returns
    -------
    float or array
        From the axis to the centre of the counterweight, on the other side [mm].

    Raises
    ------
    ValueError
        If a mass is not above zero, or the arm negative.

    Notes
    -----
    load × arm / counterweight. The mass of the bar is left out: see counterweight_arm_with_bar_mm.

    References
    ----------
    Derivation: equal moments; reference row MEC-04.

    Examples
    --------
    >>> print(round(counterweight_arm_mm(load_kg=2.6, load_arm_mm=95, counterweight_kg=1.4), 1))
    176.4
    """
    moment = positive("load_kg", load_kg) * not_negative("load_arm_mm", load_arm_mm)
    return moment / positive("counterweight_kg", counterweight_kg)


def counterweight_arm_with_bar_mm(*, load_kg, load_arm_mm, counterweight_kg, bar_kg, bar_centre_mm):
    """Where the counterweight stands in balance when its bar helps.

    Parameters
    ----------
    load_kg : float or array
        Mass of the load [kg].
    load_arm_mm : float or array
        From the axis to its centre of mass [mm].
    counterweight_kg : float or array
        Mass of the counterweight [kg].
    bar_kg : float or array
        Mass of the bar [kg].
    bar_centre_mm : float or array
        From the axis to the middle of the bar [mm].

    Returns
    -------
    float or array
        From the axis to the centre of the counterweight [mm]; negative: on the side of the load, the bar is too heavy.

    Raises
    ------
    ValueError
        If load or counterweight is not above zero, or another value negative.

    Notes
    -----
    (load × arm − bar × its centre) / counterweight.

    References
    ----------
    Derivation: equal moments; reference row MEC-05.

    Examples
    --------
    >>> print(round(counterweight_arm_with_bar_mm(load_kg=3.2, load_arm_mm=120, counterweight_kg=1, bar_kg=0.3,
    ...                                           bar_centre_mm=160)))
    336
    """
    alone = counterweight_arm_mm(load_kg=load_kg, load_arm_mm=load_arm_mm, counterweight_kg=counterweight_kg)
    helped = not_negative("bar_kg", bar_kg) * not_negative("bar_centre_mm", bar_centre_mm)
    return alone - helped / positive("counterweight_kg", counterweight_kg)


def choose_counterweight(
    *, load_kg, load_arm_mm, counterweight_kg, bar_thread, bar_length_mm, bar_root_mm, material
) -> Choice:
    """What one counterweight does to the rig: the table from which to choose.

    Parameters
    ----------
    load_kg : float
        Mass of the load [kg].
    load_arm_mm : float
        From the axis to its centre of mass [mm].
    counterweight_kg : float
        Mass of the counterweight [kg].
    bar_thread : str
        Thread of the bar, M5 to M16.
    bar_length_mm : float
        Free length of the bar [mm].
    bar_root_mm : float
        From the axis to where the bar is clamped [mm].
    material : str
        steel, stainless or aluminium.

    Returns
    -------
    Choice
        Place and sag [mm], mass [kg], inertia [kg·m²], tilt [″], own swing [Hz], moment left [N·m].

    Raises
    ------
    ValueError
        If a mass or length is not above zero, the root negative, or thread or material unknown.

    Notes
    -----
    With the moment fixed, a weight of mass m stands at K/m: its inertia is K²/m, so the heavier weight close by
    swings less, and bends the bar less (F L³ goes as 1/m²). But the legs carry it, and without any weight the mount
    carries less still: where the drive holds the moment, a counterweight can make a small mount worse. The bar bends
    as a plain one of its stress area, with a third of its mass at the end for the swing (33/140).

    References
    ----------
    Young, W. C. & Budynas, R. G. (2002), Roark's Formulas for Stress and Strain, tables 8.1 and 16.1 (33/140 of the
    bar's mass, recalled); ISO 898-1 (stress area).

    Examples
    --------
    >>> weight = choose_counterweight(load_kg=2.6, load_arm_mm=95, counterweight_kg=1.4, bar_thread="M12",
    ...     bar_length_mm=300, bar_root_mm=30, material="steel")
    >>> print(round(weight.arm_mm), weight.fits, round(weight.swing_hz, 1))
    151 True 60.0
    """
    load, arm = positive("load_kg", float(load_kg)), not_negative("load_arm_mm", float(load_arm_mm))
    weight = positive("counterweight_kg", float(counterweight_kg))
    length, root = (
        positive("bar_length_mm", float(bar_length_mm)),
        not_negative("bar_root_mm", float(bar_root_mm)),
    )
    rod = thread(bar_thread)
    stuff = MATERIALS[chosen("material", material, MATERIALS)]
    per_m = bar_mass_kg_m(diameter_mm=rod.stress_diameter_mm, density_kg_m3=stuff.density_kg_m3)
    bar_kg, bar_centre = per_m * length * 1e-3, root + length / 2.0
    wanted = counterweight_arm_with_bar_mm(
        load_kg=load, load_arm_mm=arm, counterweight_kg=weight, bar_kg=bar_kg, bar_centre_mm=bar_centre
    )
    stands = min(max(wanted, root), root + length)
    out_mm = max(stands - root, 1e-9)
    bar = {"core_diameter_mm": rod.stress_diameter_mm, "modulus_gpa": stuff.modulus_gpa, "length_mm": out_mm}
    force = weight * GRAVITY_M_S2
    soft_mm = bar_deflection_mm(load_n=1.0, **bar)
    moving = weight + 33.0 / 140.0 * per_m * out_mm * 1e-3
    inertia = load * arm**2 + weight * stands**2 + bar_kg * (bar_centre**2 + length**2 / 12.0)
    return Choice(
        arm_mm=float(wanted),
        fits=bool(root <= wanted <= root + length),
        carried_kg=float(load + weight + bar_kg),
        inertia_kg_m2=float(1e-6 * inertia),
        sag_mm=float(force * soft_mm),
        tilt_arcsec=float(bar_slope_arcsec(load_n=force, **bar)),
        swing_hz=float(np.sqrt(1e3 / (soft_mm * moving)) / (2.0 * np.pi)),
        left_n_m=float(1e-3 * GRAVITY_M_S2 * weight * (wanted - stands)),
    )


def leaning_torque_n_m(*, moment_n_m, axis_altitude_deg, primary_deg):
    """The torque that an unbalanced moment leaves on the drive over the turn.

    Parameters
    ----------
    moment_n_m : float or array
        Moment that is left with the arm level and the axis level, load side positive [N·m].
    axis_altitude_deg : float or array
        Altitude of the primary axis, −90 to 90 [°].
    primary_deg : float or array
        Turn from the place where the arm is level [°].

    Returns
    -------
    float or array
        Torque about the primary axis [N·m].

    Raises
    ------
    ValueError
        If an angle is out of its range.

    Notes
    -----
    moment × cos(altitude) × cos(turn). A little of it on purpose keeps the gears on one flank; it changes sides where
    the arm points straight up or down, twice a turn. A perfect balance lets the gears chatter in their play instead.

    References
    ----------
    Derivation: the lever of a weight on an inclined axle.

    Examples
    --------
    >>> print(round(leaning_torque_n_m(moment_n_m=0.4, axis_altitude_deg=60, primary_deg=0), 2))
    0.2
    """
    lean = np.cos(np.radians(between("axis_altitude_deg", axis_altitude_deg, -90, 90)))
    return number("moment_n_m", moment_n_m) * lean * np.cos(np.radians(turned("primary_deg", primary_deg)))
