"""Moments, not kilograms: the torque about both axes over the full turn.

A part stands in the frame of the head: `forward_mm` along the tube towards the sky, `up_mm` across it, both from the
crossing of the axes, `side_mm` along the secondary axis from the primary one, positive where the telescope is.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.balance.bars import GRAVITY_M_S2
from workbook.checks import between, not_negative, number, turned


class Part(NamedTuple):
    """A mass [kg] and where its centre stands in the head [mm]: along the tube, across it, along the axis."""

    mass_kg: float
    forward_mm: float
    up_mm: float
    side_mm: float


class Torques(NamedTuple):
    """What gravity turns about the primary and about the secondary axis, right-handed [N·m]."""

    primary_n_m: np.ndarray
    secondary_n_m: np.ndarray


def load_moment_n_m(*, load_kg, load_arm_mm):
    """The load of a mount as a moment: the number that counts instead of kilograms.

    Parameters
    ----------
    load_kg : float or array
        Mass of telescope, cameras and cables [kg].
    load_arm_mm : float or array
        From the axis to its centre of mass [mm].

    Returns
    -------
    float or array
        Moment with the arm level [N·m].

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    m g r. Wind adds its own moment: see wind_torque_n_m.

    References
    ----------
    Derivation: force times lever; standard gravity of ISO 80000-3.

    Examples
    --------
    >>> print(round(load_moment_n_m(load_kg=2.6, load_arm_mm=95), 2))
    2.42
    """
    load = not_negative("load_kg", load_kg) * GRAVITY_M_S2
    return load * 1e-3 * not_negative("load_arm_mm", load_arm_mm, cure="give the distance, without a sign")


def torques(*, load, rotor, axis_altitude_deg, primary_deg, secondary_deg) -> Torques:
    """The torque of gravity about both axes, in any position of the head.

    Parameters
    ----------
    load : sequence of Part
        What turns with the tube: telescope, cameras, guide telescope, the hanging part of a cable.
    rotor : sequence of Part
        What turns with the primary axis only: counterweight, its bar, the head's own arm. Their `forward_mm` and
        `up_mm` are taken as those of a tube at secondary angle 0.
    axis_altitude_deg : float or array
        Altitude of the primary axis: 90 alt-az, the latitude for a tilted head, −90 to 90 [°].
    primary_deg : float or array
        Turn about the primary axis, right-handed; at 0 the secondary axis is level, and a tube at secondary angle 0
        looks up the meridian [°].
    secondary_deg : float or array
        From the plane across the primary axis to the tube, positive towards the axis' upper end: declination or
        altitude [°].

    Returns
    -------
    Torques
        About the primary and about the secondary axis [N·m]; 0 is balance.

    Raises
    ------
    ValueError
        If there is no part, a mass is negative or an angle out of its range.

    Notes
    -----
    axis · Σ r × m g, with the frame m (primary axis, in the meridian), a (secondary axis), b = m × a. The primary
    torque falls with the cosine of the axis altitude: an alt-az head never needs balance about its vertical axis.
    Cables that pull rather than hang, and friction, are left out.

    References
    ----------
    Derivation: statics of a rigid body.

    Examples
    --------
    >>> tube, weight = Part(2.6, 0, 0, 95), Part(1.4, 0, 0, -150)
    >>> twist = torques(load=[tube], rotor=[weight], axis_altitude_deg=52.4, primary_deg=[0, 90], secondary_deg=0)
    >>> (twist.primary_n_m.round(3) + 0.0).tolist()
    [-0.221, 0.0]
    """
    tilt = np.radians(between("axis_altitude_deg", axis_altitude_deg, -90, 90))
    theta = np.radians(turned("primary_deg", primary_deg))
    delta = np.radians(turned("secondary_deg", secondary_deg))
    tilt, theta, delta = np.broadcast_arrays(tilt, theta, delta)
    # Weight in the frame (a, b, m): gravity points down, and "up" across the axis is cos(tilt).
    down_a, down_b, down_m = -np.cos(tilt) * np.sin(theta), -np.cos(tilt) * np.cos(theta), -np.sin(tilt)
    primary, secondary = np.zeros(tilt.shape), np.zeros(tilt.shape)
    parts = [(part, delta) for part in load] + [(part, 0.0 * delta) for part in rotor]
    if not parts:
        raise ValueError(
            "load and rotor hold no part: give at least one Part(mass_kg, forward_mm, up_mm, side_mm)"
        )
    for part, angle in parts:
        weight = not_negative("mass_kg", float(part.mass_kg)) * GRAVITY_M_S2 * 1e-3  # N·m for a lever of 1 mm
        forward, up, side = (number(n, float(getattr(part, n))) for n in Part._fields[1:])
        along_b = forward * np.cos(angle) - up * np.sin(angle)
        along_m = forward * np.sin(angle) + up * np.cos(angle)
        primary += weight * (side * down_b - along_b * down_a)
        secondary += weight * (along_b * down_m - along_m * down_b) if angle is delta else 0.0
    return Torques(primary[()], secondary[()])


def largest_torque_n_m(*, load, rotor, axis_altitude_deg) -> Torques:
    """The largest torque about each axis, over every position of the head.

    Parameters
    ----------
    load, rotor : sequence of Part
        As in `torques`.
    axis_altitude_deg : float
        Altitude of the primary axis, −90 to 90 [°].

    Returns
    -------
    Torques
        Largest absolute torques [N·m].

    Raises
    ------
    ValueError
        As in `torques`.

    Notes
    -----
    About the secondary axis the weights add to one lever in the plane of the tube. The secondary axis is level at
    primary angle 0, whatever the altitude of the primary one: gravity then acts on that lever in full. About the
    primary axis it is cos(altitude) times the largest lever over all secondary angles, found in steps of 1°.

    References
    ----------
    Derivation: the maximum of a cosine is its amplitude.

    Examples
    --------
    >>> worst = largest_torque_n_m(load=[Part(2.6, 20, 0, 95)], rotor=[Part(1.4, 0, 0, -150)], axis_altitude_deg=0)
    >>> print(round(worst.primary_n_m, 3), round(worst.secondary_n_m, 3))
    0.626 0.51
    """
    angles = np.arange(0.0, 360.0, 1.0)
    lines = [
        torques(
            load=load, rotor=rotor, axis_altitude_deg=axis_altitude_deg, primary_deg=p, secondary_deg=angles
        )
        for p in (0.0, 90.0)
    ]
    primary = np.hypot(lines[0].primary_n_m, lines[1].primary_n_m).max()
    weights = np.array(
        [[part.mass_kg * part.forward_mm, part.mass_kg * part.up_mm] for part in load]
    ).reshape(-1, 2)
    secondary = GRAVITY_M_S2 * 1e-3 * np.hypot(*weights.sum(axis=0))
    return Torques(float(primary), float(secondary))
