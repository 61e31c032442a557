"""A mount and the sky as rigid bodies, turned step by step: the oracle of rotation and alignment.

Only Rodrigues' rotation is used, and the meaning of the words: the sky turns from east to west, a screw lifts
the axis, a motor turns a shaft. None of the formulas under test appears here. Frame: east, north, up.
"""

from __future__ import annotations

import numpy as np

OMEGA_RAD_S = np.radians(15.041067 / 3600)
EAST, NORTH, UP = np.eye(3)


def turn(vectors, axis, angle_rad):
    """Rodrigues: vectors (…, 3) turned right-handed about a unit axis."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    along = (vectors @ axis)[..., None] * axis
    return vectors * cos + np.cross(axis, vectors) * sin + along * (1 - cos)


def celestial_pole(latitude_deg):
    """The north point lifted by the latitude: right-handed about east takes north to up."""
    return turn(NORTH, EAST, np.radians(latitude_deg))


def sky_triad(*, hour_angle_deg, dec_deg, latitude_deg):
    """Star, east and north at the star, as rows: put on the meridian, then carried west by the hour angle."""
    star = turn(celestial_pole(latitude_deg), EAST, np.radians(90 - dec_deg))
    triad = np.stack([star, EAST, turn(star, EAST, -np.pi / 2)])
    return turn(triad, celestial_pole(latitude_deg), -np.radians(hour_angle_deg))


def screwed_axis(*, azimuth_error_arcmin, altitude_error_arcmin, latitude_deg):
    """The axis taken from the pole by its two screws; returned towards the north celestial pole."""
    side = -1 if latitude_deg < 0 else 1
    elevated = side * celestial_pole(latitude_deg)
    elevated = turn(elevated, EAST, side * np.radians(altitude_error_arcmin / 60))  # up
    elevated = turn(elevated, UP, -side * np.radians(azimuth_error_arcmin / 60))  # to the east
    return side * elevated


def one_axis(triad, *, axis, pole, seconds, steps=200):
    """East and north drift [″/min] and spin [°/h] of the sky in a camera that a drive turns about `axis`.

    Run as far back as forward, so that what grows with the square of the time falls out.
    """
    found = []
    for sign in (1, -1):
        sky, camera = triad.copy(), triad.copy()
        for _ in range(steps):
            sky = turn(sky, pole, -sign * OMEGA_RAD_S * seconds / steps)
            camera = turn(camera, axis, -sign * OMEGA_RAD_S * seconds / steps)
        move = sky[0] - camera[0]
        spin = np.cross(camera[2], sky[2]) @ camera[0]
        found.append(sign * np.array([move @ camera[1], move @ camera[2], spin]))
    east, north, spin = np.mean(found, axis=0)
    arcsec_min = np.degrees(1) * 3600 * 60 / seconds
    return east * arcsec_min, north * arcsec_min, np.degrees(spin) * 3600 / seconds


def two_axes(triad, *, axis, pole, hour_angle_deg, steps):
    """How far the field turns [°] in a camera on two motors, while the sky moves by an hour angle.

    In each step the first motor turns camera and second shaft about `axis` until they face the star, then the
    second motor turns the camera to it.
    """
    sky, camera, turned = triad.copy(), triad.copy(), 0.0
    for _ in range(steps):
        sky = turn(sky, pole, -np.radians(hour_angle_deg) / steps)
        camera = turn(camera, axis, _angle(camera[0], sky[0], axis))
        shaft = np.cross(axis, camera[0])
        shaft /= np.linalg.norm(shaft)
        camera = turn(camera, shaft, _angle(camera[0], sky[0], shaft))
        turned += _angle(camera[2], sky[2], sky[0])
        camera = sky.copy()  # the turn is counted; the picture starts again upright
    return np.degrees(turned)


def _angle(start, end, axis):
    """Angle about `axis` from one vector to another, right-handed."""
    start, end = start - (start @ axis) * axis, end - (end @ axis) * axis
    return np.arctan2(np.cross(start, end) @ axis, start @ end)
