"""What stands under the head: a wedge at your latitude, a column, a levelling base."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.balance.bars import GPA_MM2, second_moment_mm4
from workbook.checks import between, chosen, not_negative, positive

SHEAR_SHARE = 1.0 / 2.6  # shear over Young's modulus, 1/(2 (1 + ν)) with ν = 0.3 of EN 1993-1-1, 3.2.6


class Centre(NamedTuple):
    """The centre of mass: beside the middle of the feet towards the elevated pole, and above the ground [m]."""

    overhang_m: float
    height_m: float


class Stand(NamedTuple):
    """A stand with one part more.

    Mass on the feet [kg], height of its centre of mass [m], stiffness against turning [N·m/rad], frequency [Hz].
    """

    total_kg: float
    centre_of_mass_m: float
    stiffness_n_m_rad: float
    frequency_hz: float


def wedge_centre(
    *, latitude_deg, head_kg, head_arm_m, base_kg, base_height_m, pivot_m, pivot_offset_m
) -> Centre:
    """Where the centre of mass comes to when the head is tilted to the latitude.

    Parameters
    ----------
    latitude_deg : float
        Latitude; 90 is the untilted head [°].
    head_kg : float
        What tilts: head, load, counterweight [kg].
    head_arm_m : float
        From the hinge to the centre of mass of that, along the primary axis [m].
    base_kg : float
        What does not tilt: legs, column, foot of the wedge [kg].
    base_height_m : float
        Height of its centre of mass above the ground [m].
    pivot_m : float
        Height of the hinge above the ground [m].
    pivot_offset_m : float
        Hinge beside the middle of the feet, positive towards the elevated pole [m].

    Returns
    -------
    Centre
        Overhang and height [m].

    Raises
    ------
    ValueError
        If the latitude is out of range, a mass not above zero or a height negative.

    Notes
    -----
    The head leans by the co-latitude: its centre moves out by arm × cos φ and stands arm × sin φ above the hinge. At
    the equator it lies flat, at its worst; a wedge that sets its hinge back can take much of that away. South of the
    equator the overhang points south.

    References
    ----------
    Derivation: the centre of mass of two bodies.

    Examples
    --------
    >>> at = {"head_kg": 5.5, "head_arm_m": 0.12, "base_kg": 4, "base_height_m": 0.6, "pivot_m": 1.1}
    >>> print([round(wedge_centre(latitude_deg=p, pivot_offset_m=0, **at).overhang_m, 3) for p in (90, 52, 1)])
    [0.0, 0.043, 0.069]
    """
    lean = np.radians(abs(between("latitude_deg", float(latitude_deg), -90, 90)))
    head, base = positive("head_kg", float(head_kg)), positive("base_kg", float(base_kg))
    arm, pivot = not_negative("head_arm_m", float(head_arm_m)), not_negative("pivot_m", float(pivot_m))
    offset = between("pivot_offset_m", float(pivot_offset_m), -2, 2, cure="in metres: 5 cm are 0.05")
    low = not_negative("base_height_m", float(base_height_m))
    out = head * (offset + arm * np.cos(lean)) / (head + base)
    high = (head * (pivot + arm * np.sin(lean)) + base * low) / (head + base)
    return Centre(float(out), float(high))


def series_stiffness_n_m_rad(*, first_n_m_rad, second_n_m_rad):
    """The stiffness of two parts one on the other: the softer one rules.

    Parameters
    ----------
    first_n_m_rad, second_n_m_rad : float or array
        Moment for each radian of yielding [N·m/rad].

    Returns
    -------
    float or array
        Stiffness of both [N·m/rad].

    Raises
    ------
    ValueError
        If a stiffness is not above zero.

    Notes
    -----
    1/(1/k₁ + 1/k₂): the angles add under one moment.

    References
    ----------
    Derivation: springs in series.

    Examples
    --------
    >>> print(series_stiffness_n_m_rad(first_n_m_rad=500, second_n_m_rad=500))
    250.0
    """
    first = positive("first_n_m_rad", first_n_m_rad)
    return 1.0 / (1.0 / first + 1.0 / positive("second_n_m_rad", second_n_m_rad))


def column_stiffness_n_m_rad(*, length_mm, outer_mm, inner_mm, modulus_gpa, way):
    """How stiff a tube is against a moment at its upper end.

    Parameters
    ----------
    length_mm : float or array
        Free length of the column [mm].
    outer_mm, inner_mm : float or array
        Diameters of the tube; inner 0 for a solid bar [mm].
    modulus_gpa : float or array
        Young's modulus, 210 for steel, 70 for aluminium [GPa].
    way : str
        "bend", a moment that tilts the top; "twist", one that turns it about the column.

    Returns
    -------
    float or array
        Stiffness [N·m/rad].

    Raises
    ------
    ValueError
        If a length or modulus is not above zero, the inner diameter not below the outer, or the way unknown.

    Notes
    -----
    E I/L for bending by a moment at the end, 2 I G/L for twisting, G = E/2.6. The tube alone: clamps, joints and
    the legs below are nearly always softer, which is why a thick tube may help little.

    References
    ----------
    Young, W. C. & Budynas, R. G. (2002), Roark's Formulas for Stress and Strain, tables 8.1 and 10.1.

    Examples
    --------
    >>> tube = {"length_mm": 200, "outer_mm": 32, "inner_mm": 28, "modulus_gpa": 70}
    >>> print(round(column_stiffness_n_m_rad(way="bend", **tube)), round(column_stiffness_n_m_rad(way="twist", **tube)))
    7455 5735
    """
    inertia = second_moment_mm4(outer_mm=outer_mm, inner_mm=inner_mm)
    modulus = GPA_MM2 * positive("modulus_gpa", modulus_gpa, cure="steel has 210 GPa, aluminium 70")
    shape = 2.0 * SHEAR_SHARE if chosen("way", way, ("bend", "twist")) == "twist" else 1.0
    return 1e-3 * shape * modulus * inertia / positive("length_mm", length_mm)


def with_part(
    *,
    total_kg,
    centre_of_mass_m,
    stiffness_n_m_rad,
    frequency_hz,
    above_kg,
    part_kg,
    part_height_m,
    part_bottom_m,
    part_stiffness_n_m_rad,
) -> Stand:
    """A stand with a column or a levelling base put in: higher, heavier, softer.

    Parameters
    ----------
    total_kg : float
        Mass on the feet without the part [kg].
    centre_of_mass_m : float
        Height of its centre of mass [m].
    stiffness_n_m_rad : float
        Stiffness against turning without the part [N·m/rad].
    frequency_hz : float
        Frequency of the trembling without the part [Hz].
    above_kg : float
        Mass that will stand on the part [kg].
    part_kg : float
        Mass of the part [kg].
    part_height_m : float
        Its height: by so much all above is lifted [m].
    part_bottom_m : float
        Height of its lower end above the ground [m].
    part_stiffness_n_m_rad : float
        Its own stiffness, as from column_stiffness_n_m_rad or a tap test [N·m/rad].

    Returns
    -------
    Stand
        Mass [kg], height [m], stiffness [N·m/rad] and frequency [Hz] with the part.

    Raises
    ------
    ValueError
        If a value is not above zero (height and bottom of the part may be 0), or more stands above than in all.

    Notes
    -----
    The springs lie in series; the frequency goes as the root of the stiffness, the inertia above taken as it was: a
    lift about a low pivot lowers it further. A levelling base saves minutes of levelling, and costs stiffness every
    second of the night.

    References
    ----------
    Derivation: centre of mass, springs in series, ω² = k/J.

    Examples
    --------
    >>> stand = with_part(total_kg=9.5, centre_of_mass_m=0.95, stiffness_n_m_rad=500, frequency_hz=6, above_kg=5.5,
    ...     part_kg=0.6, part_height_m=0.2, part_bottom_m=1.0, part_stiffness_n_m_rad=2000)
    >>> print(round(stand.centre_of_mass_m, 2), round(stand.stiffness_n_m_rad), round(stand.frequency_hz, 2))
    1.07 400 5.37
    """
    total, above = positive("total_kg", float(total_kg)), positive("above_kg", float(above_kg))
    if above > total:
        raise ValueError(f"above_kg must not exceed total_kg, received {above:g} kg of {total:g} kg")
    part = positive("part_kg", float(part_kg))
    tall = not_negative("part_height_m", float(part_height_m))
    bottom = not_negative("part_bottom_m", float(part_bottom_m))
    before = positive("stiffness_n_m_rad", float(stiffness_n_m_rad))
    after = series_stiffness_n_m_rad(first_n_m_rad=before, second_n_m_rad=float(part_stiffness_n_m_rad))
    lifted = total * positive("centre_of_mass_m", float(centre_of_mass_m)) + above * tall
    return Stand(
        total_kg=total + part,
        centre_of_mass_m=(lifted + part * (bottom + tall / 2.0)) / (total + part),
        stiffness_n_m_rad=after,
        frequency_hz=positive("frequency_hz", float(frequency_hz)) * float(np.sqrt(after / before)),
    )
