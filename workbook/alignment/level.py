"""What a base out of level does: to an aligned mount nothing, to a start on "level and north" everything.

A lean of the base is one small turn r of the whole mount. Whatever the mount takes for the pole is carried
along by r × p, and whatever it takes for the star by r × s, unless somebody measured the sky afterwards.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen
from workbook.constants import ARCMIN_PER_DEG, SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import direction, pole
from workbook.rotation import rotation_rate_deg_h

MODES = ("on the pole", "two stars", "level and north")


class LevelEffect(NamedTuple):
    """What a lean of the base leaves, in one direction.

    pointing_error_arcmin, how far the go-to misses the star, and pole_error_arcmin, how far what the mount
    takes for the pole stands from it [′]; drift_arcsec_min, how fast the star leaves the field [″/min];
    rotation_change_deg_h, by how much the field turns faster [°/h]; screw_coupling, how far the axis climbs
    for each angle of the azimuth screw, where there are screws.
    """

    pointing_error_arcmin: float | np.ndarray
    pole_error_arcmin: float | np.ndarray
    drift_arcsec_min: float | np.ndarray
    rotation_change_deg_h: float | np.ndarray
    screw_coupling: float | np.ndarray


def level_effect(*, tilt_deg, tilt_azimuth_deg, altitude_deg, azimuth_deg, latitude_deg, mode) -> LevelEffect:
    """What a base out of level costs, for three ways to begin a night.

    Parameters
    ----------
    tilt_deg : float or array
        Lean of the base's upright, 0 to 30 [°].
    tilt_azimuth_deg : float or array
        Azimuth to which the upright leans, from north through east [°].
    altitude_deg : float or array
        True altitude of the star [°].
    azimuth_deg : float or array
        Its azimuth [°].
    latitude_deg : float or array
        Latitude of the place, south negative [°].
    mode : str
        "on the pole", an axis that was aligned on the pole after the base was set; "two stars", an alt-az head
        whose model was made from two stars or more; "level and north", a head that believes in its level.

    Returns
    -------
    LevelEffect
        Errors of pointing and pole, drift, change of rotation and coupling of the screws.

    Raises
    ------
    ValueError
        If a number is outside its range or the mode unknown.

    Notes
    -----
    Level and north: the star is missed by |s' − s|, s' being s turned with the base; the pole by |p' − p|, and
    the star drifts at Ω |(p' − p) × s|. Two stars: the model knows the lean, so nothing is missed and nothing
    drifts; only the axis stands elsewhere, so the field turns a little otherwise. On the pole: nothing at all,
    but the azimuth screw lifts or lowers the axis by the sine of the lean towards the side. The lean is one
    about a level line, without a turn about the upright.

    References
    ----------
    Derivation; a rigid body in the tests.

    Examples
    --------
    >>> for mode in MODES:
    ...     left = level_effect(tilt_deg=2, tilt_azimuth_deg=90, altitude_deg=40, azimuth_deg=180,
    ...                         latitude_deg=52.4, mode=mode)
    ...     print(mode, round(left.pointing_error_arcmin), round(left.drift_arcsec_min, 1))
    on the pole 0 0.0
    two stars 0 0.0
    level and north 77 25.0
    """
    chosen("mode", mode, MODES)
    tilt = np.radians(between("tilt_deg", tilt_deg, 0, 30))
    star = direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    north = pole(latitude_deg=latitude_deg)
    towards = np.radians(between("tilt_azimuth_deg", tilt_azimuth_deg, -360, 360))
    about = np.stack([-np.cos(towards), np.sin(towards), 0.0 * towards], axis=-1)
    side = np.sin(tilt) * np.sin(towards)
    nothing = 0.0 * (np.sum(star * north, axis=-1) + side)
    if mode == "on the pole":
        return LevelEffect(nothing, nothing, nothing, nothing, np.abs(side) + nothing)
    place = {"altitude_deg": altitude_deg, "azimuth_deg": azimuth_deg, "latitude_deg": latitude_deg}
    leaning = rotation_rate_deg_h(
        **place, axis_altitude_deg=90.0 - np.degrees(tilt), axis_azimuth_deg=np.degrees(towards)
    )
    change = leaning - rotation_rate_deg_h(**place)
    if mode == "two stars":
        return LevelEffect(nothing, nothing, nothing, change, nothing)
    moved_pole = _turned(north, about, tilt) - north
    moved_star = _turned(star, about, tilt) - star
    drift = 60.0 * SIDEREAL_RATE_ARCSEC_S * np.linalg.norm(np.cross(moved_pole, star), axis=-1)
    return LevelEffect(_arcmin(moved_star) + nothing, _arcmin(moved_pole) + nothing, drift, change, nothing)


def _turned(vectors, about, angle):
    angle = np.asarray(angle)[..., None]
    along = np.sum(vectors * about, axis=-1, keepdims=True) * about
    return vectors * np.cos(angle) + np.cross(about, vectors) * np.sin(angle) + along * (1.0 - np.cos(angle))


def _arcmin(chord):
    """The angle under a chord of the unit sphere [′]."""
    half = np.minimum(np.linalg.norm(chord, axis=-1) / 2.0, 1.0)
    return ARCMIN_PER_DEG * np.degrees(2.0 * np.arcsin(half))
