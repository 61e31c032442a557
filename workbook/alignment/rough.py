"""How well a rough set-up hits the pole: compass, inclinometer, level and clock, and which of them costs most.

The axis is set to an azimuth found by compass, or by a star or shadow at a known time, and to an altitude read
on an inclinometer or on the mount's own scale. Each reading is off by its standard deviation; all are taken
as independent and normal.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, not_negative, number
from workbook.constants import ARCMIN_PER_DEG
from workbook.pointing import ARCMIN_PER_RAD, axis_errors, pole

CAUSES = ("compass", "inclinometer", "level", "clock")
REFERENCES = ("gravity", "base")


class RoughBudget(NamedTuple):
    """Root-sum-square of a rough set-up, standard deviations of the axis from the pole on the sky.

    compass_arcmin, inclinometer_arcmin, level_arcmin and clock_arcmin, what each cause does alone, east_arcmin
    and high_arcmin, all of them in either direction, total_arcmin, both together [′]; largest, the cause that
    contributes most.
    """

    compass_arcmin: float
    inclinometer_arcmin: float
    level_arcmin: float
    clock_arcmin: float
    east_arcmin: float
    high_arcmin: float
    total_arcmin: float
    largest: str


class RoughDraws(NamedTuple):
    """Many rough set-ups: errors of the axis in azimuth and altitude, and its distance from the pole [′]."""

    azimuth_error_arcmin: np.ndarray
    altitude_error_arcmin: np.ndarray
    pole_error_arcmin: np.ndarray


def rough_budget(
    *,
    compass_sigma_deg,
    inclinometer_sigma_deg,
    level_sigma_deg,
    clock_sigma_s,
    azimuth_rate_arcsec_s,
    altitude_from,
    latitude_deg,
) -> RoughBudget:
    """How far from the pole a rough set-up leaves the axis, and which reading costs most.

    Parameters
    ----------
    compass_sigma_deg : float
        Standard deviation of the azimuth as set: reading, declination of the place, iron nearby, sighting
        [°].
    inclinometer_sigma_deg : float
        Standard deviation of the altitude as read, on inclinometer or scale [°].
    level_sigma_deg : float
        Standard deviation of the base's tilt, in each of two directions [°].
    clock_sigma_s : float
        Standard deviation of the clock where a star or a shadow showed north; no matter for a compass [s].
    azimuth_rate_arcsec_s : float
        How fast that star or shadow moves in azimuth; 0 for a compass [″/s].
    altitude_from : str
        "gravity" where an inclinometer lies on the axis itself, "base" where the mount's scale is read, so
        that the tilt of the base adds.
    latitude_deg : float
        Latitude of the place, south negative [°].

    Returns
    -------
    RoughBudget
        Standard deviation of each cause and of all together [′], and the name of the largest.

    Raises
    ------
    ValueError
        If a standard deviation is negative, the latitude beyond ±90° or the reference unknown.

    Notes
    -----
    East on the sky: compass cos φ, clock × rate × cos φ, tilt sideways sin φ. High: inclinometer, and with the
    scale the tilt lengthwise. Causes add as squares, so the largest one rules: halve that first. Small errors.

    References
    ----------
    Derivation; Monte Carlo with the exact turns in `rough_draws`.

    Examples
    --------
    >>> budget = rough_budget(compass_sigma_deg=2, inclinometer_sigma_deg=0.3, level_sigma_deg=0.5,
    ...     clock_sigma_s=0, azimuth_rate_arcsec_s=0, altitude_from="gravity", latitude_deg=52.4)
    >>> print(round(budget.total_arcmin), budget.largest)
    79 compass
    """
    compass, inclinometer, level, clock, phi = _sigmas(
        compass_sigma_deg,
        inclinometer_sigma_deg,
        level_sigma_deg,
        clock_sigma_s,
        azimuth_rate_arcsec_s,
        latitude_deg,
    )
    lengthwise = level if chosen("altitude_from", altitude_from, REFERENCES) == "base" else 0.0
    sideways = level * abs(np.sin(phi))
    alone = [
        ARCMIN_PER_DEG * cause
        for cause in (
            compass * np.cos(phi),
            inclinometer,
            np.hypot(sideways, lengthwise),
            clock * np.cos(phi),
        )
    ]
    east = ARCMIN_PER_DEG * np.sqrt((compass**2 + clock**2) * np.cos(phi) ** 2 + sideways**2)
    high = ARCMIN_PER_DEG * np.hypot(inclinometer, lengthwise)
    largest = CAUSES[int(np.argmax(alone))] if max(alone) > 0 else ""
    return RoughBudget(*map(float, (*alone, east, high, np.hypot(east, high))), largest)


def rough_draws(
    *,
    compass_sigma_deg,
    inclinometer_sigma_deg,
    level_sigma_deg,
    clock_sigma_s,
    azimuth_rate_arcsec_s,
    altitude_from,
    latitude_deg,
    draws,
    seed,
) -> RoughDraws:
    """Many rough set-ups drawn at random: the cloud of axes about the pole.

    Parameters
    ----------
    compass_sigma_deg : float
        Standard deviation of the azimuth as set [°].
    inclinometer_sigma_deg : float
        Standard deviation of the altitude as read [°].
    level_sigma_deg : float
        Standard deviation of the base's tilt, in each of two directions [°].
    clock_sigma_s : float
        Standard deviation of the clock where a star or a shadow showed north [s].
    azimuth_rate_arcsec_s : float
        How fast that star or shadow moves in azimuth; 0 for a compass [″/s].
    altitude_from : str
        "gravity" or "base", as in `rough_budget`.
    latitude_deg : float
        Latitude of the place, south negative [°].
    draws : int
        Number of set-ups, 1 to 200,000.
    seed : int
        Of the random numbers.

    Returns
    -------
    RoughDraws
        azimuth_error_arcmin, altitude_error_arcmin and pole_error_arcmin, one for each set-up [′].

    Raises
    ------
    ValueError
        As `rough_budget`, or the number of draws is outside its range.

    Notes
    -----
    The mount is built on a level base, its axis at the pole plus the errors of azimuth and altitude, then the
    base is tipped about a level line. With "gravity" the altitude of the tipped axis is set right again to
    what the inclinometer shows.

    References
    ----------
    Derivation; the root-sum-square of `rough_budget` for small errors, and a rigid body in the tests.

    Examples
    --------
    >>> cloud = rough_draws(compass_sigma_deg=2, inclinometer_sigma_deg=0.3, level_sigma_deg=0.5,
    ...     clock_sigma_s=0, azimuth_rate_arcsec_s=0, altitude_from="gravity", latitude_deg=52.4, draws=4000,
    ...     seed=1)
    >>> print(round(float(np.sqrt(np.mean(cloud.pole_error_arcmin**2)))))
    79
    """
    compass, inclinometer, level, clock, phi = _sigmas(
        compass_sigma_deg,
        inclinometer_sigma_deg,
        level_sigma_deg,
        clock_sigma_s,
        azimuth_rate_arcsec_s,
        latitude_deg,
    )
    by_gravity = chosen("altitude_from", altitude_from, REFERENCES) == "gravity"
    draws = int(between("draws", draws, 1, 200_000))
    unit = np.random.default_rng(seed).standard_normal((5, draws))
    azimuth = np.radians(compass * unit[0] + clock * unit[1])
    read = abs(phi) + np.radians(inclinometer) * unit[2]
    side = -1.0 if latitude_deg < 0 else 1.0
    lean = np.radians(level) * unit[3:]  # of the upright, to the east and to the north
    axis = _pointing(azimuth, read, side)
    axis = _tipped(axis, *lean)
    if by_gravity:
        east, north = axis[:, 0], axis[:, 1]
        axis = _pointing(np.arctan2(east, side * north), read, side)
    found = axis_errors(axis=axis, latitude_deg=latitude_deg)
    off = np.linalg.norm(side * axis - pole(latitude_deg=latitude_deg), axis=-1)
    return RoughDraws(*found, 2.0 * ARCMIN_PER_RAD * np.arcsin(np.minimum(off / 2.0, 1.0)))


def _sigmas(compass, inclinometer, level, clock_s, rate_arcsec_s, latitude_deg):
    """The four standard deviations [°] and the latitude [rad]."""
    rate = np.abs(number("azimuth_rate_arcsec_s", rate_arcsec_s))
    return (
        not_negative("compass_sigma_deg", compass),
        not_negative("inclinometer_sigma_deg", inclinometer),
        not_negative("level_sigma_deg", level),
        not_negative("clock_sigma_s", clock_s) * rate / 3600.0,
        np.radians(between("latitude_deg", latitude_deg, -90, 90)),
    )


def _pointing(azimuth, altitude, side):
    """Elevated ends at azimuths counted from the elevated pole, east positive [rad]."""
    level = np.cos(altitude)
    return np.stack([level * np.sin(azimuth), side * level * np.cos(azimuth), np.sin(altitude)], axis=-1)


def _tipped(vectors, to_east, to_north):
    """Vectors carried along while their base leans by so much to the east and to the north [rad]."""
    angle = np.hypot(to_east, to_north)
    scale = np.where(angle > 0, angle, 1.0)
    about = np.stack([-to_north / scale, to_east / scale, np.zeros_like(angle)], axis=-1)  # right-handed
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    along = np.sum(vectors * about, axis=-1, keepdims=True) * about
    return vectors * cos + np.cross(about, vectors) * sin + along * (1.0 - cos)
