"""Does it fall over? The line between two feet, the leg under the overhang, bump and wind."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.balance.bars import GRAVITY_M_S2
from workbook.checks import not_negative, positive, turned
from workbook.constants import AIR_DENSITY_KG_M3

FEET = 3
FEET_APART_DEG = 120.0


class Stability(NamedTuple):
    """How safely a rig stands.

    From the plumb line of the centre of mass to the nearest line between two feet [m], negative: it falls by itself;
    direction of that line from the centre [°]; slope of the ground at which it falls [°]; steady push at a given
    height that tips it [N]; knock, as a speed of the centre of mass, that tips it [m/s].
    """

    margin_m: float
    weak_side_deg: float
    slope_deg: float
    push_n: float
    knock_m_s: float


def tipping_distance_m(*, foot_circle_m, leg_deg, overhang_m, overhang_deg):
    """From the plumb line of the centre of mass to each of the three lines between the feet.

    Parameters
    ----------
    foot_circle_m : float or array
        Radius of the circle through the three feet [m].
    leg_deg : float or array
        Direction of one leg, north through east [°].
    overhang_m : float or array
        How far the centre of mass stands beside the middle of the feet [m].
    overhang_deg : float or array
        In which direction [°].

    Returns
    -------
    array (…, 3)
        Distances to the lines opposite to the second, third and first leg; negative outside [m].

    Raises
    ------
    ValueError
        If the circle is not above zero, the overhang negative or an angle out of its range.

    Notes
    -----
    Feet on a circle of radius R, 120° apart: the lines are R/2 from the middle, not R, at ±60° and 180° from each
    leg. distance = R/2 − e cos(direction − 60°) and so on. On level ground.

    References
    ----------
    Derivation: geometry of the triangle; reference row MEC-12.

    Examples
    --------
    >>> under = tipping_distance_m(foot_circle_m=0.42, leg_deg=0, overhang_m=0.08, overhang_deg=0)
    >>> beside = tipping_distance_m(foot_circle_m=0.42, leg_deg=60, overhang_m=0.08, overhang_deg=0)
    >>> print(round(under.min(), 3), round(beside.min(), 3))
    0.17 0.13
    """
    half = positive("foot_circle_m", foot_circle_m) / 2.0
    out = not_negative("overhang_m", overhang_m, cure="give a distance and its direction")
    towards = np.asarray(turned("overhang_deg", overhang_deg) - turned("leg_deg", leg_deg))
    across = towards[..., None] - FEET_APART_DEG * (np.arange(FEET) + 0.5)
    return np.asarray(half)[..., None] - np.asarray(out)[..., None] * np.cos(np.radians(across))


def stability(
    *, total_kg, centre_of_mass_m, foot_circle_m, leg_deg, overhang_m, overhang_deg, push_height_m
) -> Stability:
    """How much it takes to tip a rig over.

    Parameters
    ----------
    total_kg : float
        Everything that stands on the feet [kg].
    centre_of_mass_m : float
        Height of its centre of mass above the ground [m].
    foot_circle_m : float
        Radius of the circle through the three feet [m].
    leg_deg : float
        Direction of one leg, north through east [°].
    overhang_m : float
        How far the centre of mass stands beside the middle of the feet [m].
    overhang_deg : float
        In which direction [°].
    push_height_m : float
        Height at which somebody pushes or pulls [m].

    Returns
    -------
    Stability
        Margin [m], weak side [°], slope [°], push [N], knock [m/s].

    Raises
    ------
    ValueError
        If a mass or length is not above zero, the overhang negative or an angle out of its range.

    Notes
    -----
    With d the distance to the nearest line and h the height of the centre: slope arctan(d/h), push m g d / height; a
    knock must lift the centre over the foot line, v = √(2 g (√(d² + h²) − h)), the rig taken as a point that does
    not slide. Soft ground, a leg that folds or a tug at a cable tip it earlier. A push of 20 to 50 N is a careless
    elbow: common practice, no source. On a balcony tie the rig down.

    References
    ----------
    Derivation: moments about the line between two feet; reference row MEC-13.

    Examples
    --------
    >>> rig = stability(total_kg=9.5, centre_of_mass_m=0.95, foot_circle_m=0.42, leg_deg=0, overhang_m=0.02,
    ...     overhang_deg=0, push_height_m=1.2)
    >>> print(round(rig.margin_m, 2), round(rig.slope_deg, 1), round(rig.push_n, 1), round(rig.knock_m_s, 2))
    0.2 11.9 15.5 0.64
    """
    mass, height = (
        positive("total_kg", float(total_kg)),
        positive("centre_of_mass_m", float(centre_of_mass_m)),
    )
    distances = tipping_distance_m(
        foot_circle_m=float(foot_circle_m),
        leg_deg=float(leg_deg),
        overhang_m=float(overhang_m),
        overhang_deg=float(overhang_deg),
    )
    weakest = int(np.argmin(distances))
    margin = float(distances[weakest])
    held = max(margin, 0.0)
    return Stability(
        margin_m=margin,
        weak_side_deg=float((leg_deg + FEET_APART_DEG * (weakest + 0.5)) % 360.0),
        slope_deg=float(np.degrees(np.arctan2(held, height))),
        push_n=mass * GRAVITY_M_S2 * held / positive("push_height_m", float(push_height_m)),
        knock_m_s=float(np.sqrt(2.0 * GRAVITY_M_S2 * (np.hypot(held, height) - height))),
    )


def best_leg_deg(overhang_deg):
    """Where one leg should point: under the overhang.

    Parameters
    ----------
    overhang_deg : float or array
        Direction in which the centre of mass stands out, north through east [°].

    Returns
    -------
    float or array
        Direction of one leg, 0 to 360 [°]; the others 120° from it.

    Raises
    ------
    ValueError
        If the angle is out of its range.

    Notes
    -----
    A leg below the overhang loses half of it, a gap below the overhang all of it: R/2 − e/2 against R/2 − e.

    References
    ----------
    Derivation: tipping_distance_m, whose smallest value over the leg's direction is largest there.

    Examples
    --------
    >>> best_leg_deg(350)
    350.0
    """
    return turned("overhang_deg", overhang_deg) % 360.0


def tipping_wind_m_s(*, total_kg, margin_m, wind_area_m2, wind_height_m, drag=1.2):
    """The wind that tips a rig over.

    Parameters
    ----------
    total_kg : float or array
        Everything that stands on the feet [kg].
    margin_m : float or array
        From the plumb line of the centre of mass to the nearest line between two feet [m].
    wind_area_m2 : float or array
        Area that the whole rig turns to the wind [m²].
    wind_height_m : float or array
        Height of the middle of that area above the ground [m].
    drag : float or array
        Drag coefficient; 1.2 by default, for the reason given at wind_torque_n_m.

    Returns
    -------
    float or array
        Speed of the wind [m/s].

    Raises
    ------
    ValueError
        If a value is not above zero (the margin may be 0).

    Notes
    -----
    ½ ρ v² C A height = m g margin. Gusts come on top of the mean wind, and a rocking rig tips earlier.

    References
    ----------
    Derivation: moments about the line between two feet; ISO 2533 (air); reference row MEC-15 for the pressure.

    Examples
    --------
    >>> print(round(tipping_wind_m_s(total_kg=9.5, margin_m=0.2, wind_area_m2=0.08, wind_height_m=1.1), 1))
    17.0
    """
    holding = positive("total_kg", total_kg) * GRAVITY_M_S2 * not_negative("margin_m", margin_m)
    area = positive("wind_area_m2", wind_area_m2, cure="0.3 m by 0.1 m are 0.03 m²")
    pushed = positive("drag", drag) * area * positive("wind_height_m", wind_height_m)
    return np.sqrt(holding / (0.5 * AIR_DENSITY_KG_M3 * pushed))
