"""Bars, threaded rods and tubes: the standard's threads, how far they bend, what they weigh."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import chosen, not_negative, positive
from workbook.constants import ARCSEC_PER_RAD

GRAVITY_M_S2 = 9.80665  # standard acceleration of free fall (CGPM 1901; ISO 80000-3)
GPA_MM2 = 1e3  # 1 GPa in N/mm²

# Coarse pitch of ISO metric threads [mm], by nominal diameter: ISO 261 (general plan), ISO 724 (basic dimensions).
PITCH_MM = {"M5": 0.8, "M6": 1.0, "M8": 1.25, "M10": 1.5, "M12": 1.75, "M16": 2.0}
# Pitch diameter d2 = d − 2·(3/8) H, core diameter of an external thread d3 = d − 2·(17/24) H, with H = (√3/2) P the
# height of the basic triangle (ISO 68-1; ISO 898-1, clause 9.1.6.1).
THREAD_HEIGHT = np.sqrt(3.0) / 2.0
PITCH_DEPTH, CORE_DEPTH = 2.0 * 3.0 / 8.0, 2.0 * 17.0 / 24.0


class Material(NamedTuple):
    """Stiffness [GPa] and density [kg/m³] of a material, and where the numbers stand."""

    modulus_gpa: float
    density_kg_m3: float
    standard: str


MATERIALS = {
    "steel": Material(210.0, 7850.0, "EN 1993-1-1, 3.2.6 (modulus); EN 1991-1-1, table A.4 (density)"),
    "stainless": Material(200.0, 7900.0, "EN 10088-1, table of physical properties of 1.4301 (recalled)"),
    "aluminium": Material(70.0, 2700.0, "EN 1999-1-1, 3.2.5"),
}


class Thread(NamedTuple):
    """An ISO metric coarse thread.

    Nominal diameter, pitch, pitch diameter, core diameter, and the diameter of a plain bar of the same stress area
    [mm]; that area [mm²].
    """

    nominal_mm: float
    pitch_mm: float
    pitch_diameter_mm: float
    core_mm: float
    stress_diameter_mm: float
    stress_mm2: float


def thread(size) -> Thread:
    """The measures of an ISO metric coarse thread.

    Parameters
    ----------
    size : str
        M5, M6, M8, M10, M12 or M16.

    Returns
    -------
    Thread
        Diameters and pitch [mm], stress area [mm²].

    Raises
    ------
    ValueError
        If the size is none of these.

    Notes
    -----
    Stress area π/4 ((d2 + d3)/2)². A threaded bar bends about as a plain bar of that area does: an M12 rod is
    1.8 times softer than a plain 12 mm bar.

    References
    ----------
    ISO 261, ISO 724, ISO 898-1; reference rows MEC-01a to MEC-01e.

    Examples
    --------
    >>> m12 = thread("M12")
    >>> print(round(m12.stress_mm2, 1), round(m12.stress_diameter_mm, 2))
    84.3 10.36
    """
    pitch = PITCH_MM[chosen("size", size, PITCH_MM)]
    nominal = float(size[1:])
    mean = nominal - PITCH_DEPTH * THREAD_HEIGHT * pitch
    core = nominal - CORE_DEPTH * THREAD_HEIGHT * pitch
    stress_diameter = (mean + core) / 2.0
    return Thread(nominal, pitch, mean, core, stress_diameter, float(np.pi / 4.0 * stress_diameter**2))


def second_moment_mm4(*, outer_mm, inner_mm):
    """How well a round bar or tube resists bending, by its shape alone.

    Parameters
    ----------
    outer_mm : float or array
        Outer diameter [mm].
    inner_mm : float or array
        Inner diameter, 0 for a solid bar [mm].

    Returns
    -------
    float or array
        Second moment of area [mm⁴].

    Raises
    ------
    ValueError
        If the outer diameter is not above zero, or the inner negative or not below the outer.

    Notes
    -----
    π (D⁴ − d⁴)/64: twice as thick is sixteen times as stiff.

    References
    ----------
    Reference row MEC-10; Young, W. C. & Budynas, R. G. (2002), Roark's Formulas for Stress and Strain, app. A.

    Examples
    --------
    >>> print(round(second_moment_mm4(outer_mm=20, inner_mm=16), 1))
    4637.0
    """
    outer, inner = positive("outer_mm", outer_mm), not_negative("inner_mm", inner_mm)
    if np.any(np.asarray(inner) >= np.asarray(outer)):
        raise ValueError(f"inner_mm must be below outer_mm, received {inner} and {outer}: both are diameters")
    return np.pi / 64.0 * (np.power(outer, 4) - np.power(inner, 4))


def bar_deflection_mm(*, load_n, length_mm, core_diameter_mm, modulus_gpa):
    """How far the end of a clamped round bar sinks under a load at that end.

    Parameters
    ----------
    load_n : float or array
        Force across the bar: mass times 9.81, times the cosine of its slope [N].
    length_mm : float or array
        From the clamp to the load [mm].
    core_diameter_mm : float or array
        Diameter of the solid bar; of a threaded one that of its stress area, or its core for the worst case [mm].
    modulus_gpa : float or array
        Young's modulus, 210 for steel [GPa].

    Returns
    -------
    float or array
        Deflection [mm].

    Raises
    ------
    ValueError
        If length, diameter or modulus is not above zero, or the load negative.

    Notes
    -----
    F L³/(3 E I), I = π d⁴/64. For small deflections of a slim bar, the clamp taken as rigid: a real clamp adds its own.

    References
    ----------
    Young, W. C. & Budynas, R. G. (2002), Roark's Formulas for Stress and Strain, table 8.1; reference row MEC-06.

    Examples
    --------
    >>> print(round(bar_deflection_mm(load_n=9.80665, length_mm=300, core_diameter_mm=12, modulus_gpa=210), 4))
    0.4129
    """
    load = not_negative("load_n", load_n, cure="a mass of 1 kg pulls with 9.81 N")
    return load * positive("length_mm", length_mm) ** 3 / (3.0 * _bending(core_diameter_mm, modulus_gpa))


def bar_slope_arcsec(*, load_n, length_mm, core_diameter_mm, modulus_gpa):
    """By what angle the end of a clamped round bar tilts under a load at that end.

    Parameters
    ----------
    load_n : float or array
        Force across the bar [N].
    length_mm : float or array
        From the clamp to the load [mm].
    core_diameter_mm : float or array
        Diameter of the solid bar; of a threaded one that of its stress area [mm].
    modulus_gpa : float or array
        Young's modulus, 210 for steel [GPa].

    Returns
    -------
    float or array
        Slope at the end [″].

    Raises
    ------
    ValueError
        As in `bar_deflection_mm`.

    Notes
    -----
    F L²/(2 E I). A steady tilt is harmless; what changes with the direction of the tube is flexure.

    References
    ----------
    Young & Budynas (2002), table 8.1; reference row MEC-07.

    Examples
    --------
    >>> print(round(bar_slope_arcsec(load_n=9.80665, length_mm=300, core_diameter_mm=12, modulus_gpa=210), 1))
    425.8
    """
    load = not_negative("load_n", load_n, cure="a mass of 1 kg pulls with 9.81 N")
    bent = load * positive("length_mm", length_mm) ** 2 / (2.0 * _bending(core_diameter_mm, modulus_gpa))
    return ARCSEC_PER_RAD * bent


def bar_own_sag_mm(*, length_mm, core_diameter_mm, modulus_gpa, density_kg_m3):
    """How far the end of a clamped bar sinks under its own weight.

    Parameters
    ----------
    length_mm : float or array
        Free length [mm].
    core_diameter_mm : float or array
        Diameter of the solid bar; of a threaded one that of its stress area [mm].
    modulus_gpa : float or array
        Young's modulus, 210 for steel [GPa].
    density_kg_m3 : float or array
        Density, 7850 for steel [kg/m³].

    Returns
    -------
    float or array
        Deflection [mm].

    Raises
    ------
    ValueError
        If a value is not above zero.

    Notes
    -----
    w L⁴/(8 E I), w the weight of a unit of length.

    References
    ----------
    Young & Budynas (2002), table 8.1; reference row MEC-09.

    Examples
    --------
    >>> print(round(bar_own_sag_mm(length_mm=300, core_diameter_mm=12, modulus_gpa=210, density_kg_m3=7850), 4))
    0.0412
    """
    length = positive("length_mm", length_mm)
    weight = (
        1e-3 * GRAVITY_M_S2 * bar_mass_kg_m(diameter_mm=core_diameter_mm, density_kg_m3=density_kg_m3)
    )  # N/mm
    return weight * length**4 / (8.0 * _bending(core_diameter_mm, modulus_gpa))


def bar_mass_kg_m(*, diameter_mm, density_kg_m3):
    """The mass of a metre of round bar.

    Parameters
    ----------
    diameter_mm : float or array
        Diameter; that of the stress area of a thread gives a lower bound, its pitch diameter a tenth more [mm].
    density_kg_m3 : float or array
        Density, 7850 for steel [kg/m³].

    Returns
    -------
    float or array
        Mass for each metre [kg/m].

    Raises
    ------
    ValueError
        If a value is not above zero.

    Notes
    -----
    density × area.

    References
    ----------
    Reference rows MEC-02 and MEC-03.

    Examples
    --------
    >>> print(round(bar_mass_kg_m(diameter_mm=12, density_kg_m3=7850), 3))
    0.888
    """
    area_m2 = np.pi / 4.0 * (1e-3 * positive("diameter_mm", diameter_mm)) ** 2
    return positive("density_kg_m3", density_kg_m3, cure="g/cm³ are 1000 kg/m³") * area_m2


def bar_stress_mpa(*, load_n, length_mm, core_diameter_mm):
    """The stress at the clamp of a round bar with a load at its end.

    Parameters
    ----------
    load_n : float or array
        Force across the bar [N].
    length_mm : float or array
        From the clamp to the load [mm].
    core_diameter_mm : float or array
        Diameter of the solid bar; of a threaded one its core [mm].

    Returns
    -------
    float or array
        Bending stress [MPa].

    Raises
    ------
    ValueError
        If length or diameter is not above zero, or the load negative.

    Notes
    -----
    F L / (π d³/32). Plain steel yields from 235 MPa on; a thread's notches and a knock call for far less.

    References
    ----------
    Young & Budynas (2002), section 8.1; EN 1993-1-1, table 3.1 (235 MPa); reference row MEC-11.

    Examples
    --------
    >>> print(round(bar_stress_mpa(load_n=9.80665, length_mm=300, core_diameter_mm=12), 2))
    17.34
    """
    moment = not_negative("load_n", load_n, cure="a mass of 1 kg pulls with 9.81 N") * positive(
        "length_mm", length_mm
    )
    return moment / (np.pi / 32.0 * positive("core_diameter_mm", core_diameter_mm) ** 3)


def _bending(diameter_mm, modulus_gpa):
    """E I [N·mm²] of a solid round bar."""
    modulus = positive("modulus_gpa", modulus_gpa, cure="steel has 210 GPa, aluminium 70")
    return GPA_MM2 * modulus * np.pi / 64.0 * positive("core_diameter_mm", diameter_mm) ** 4
