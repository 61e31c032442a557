"""A made-up face for the Moon and the planets, blurred and cut into the true pixels of a camera.

Sizes, phase, flattening and the tilt of the ring are real; belts, spots and craters are invented.
"""

from __future__ import annotations

import functools
import math
from typing import NamedTuple

import numpy as np

from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA

# Polar flattening: Archinal et al. 2018, CMDA 130, 22, table 4 (radii at equator and pole).
FLATTENING = {"Jupiter": 1 - 66_854 / 71_492, "Saturn": 1 - 54_364 / 60_268}
RING = {"inner": 92_000 / 60_268, "gap": (117_580 / 60_268, 122_170 / 60_268), "outer": 136_775 / 60_268}
SIDE = 256  # samples along a side of what is drawn, before they are gathered into pixels
WINDOWS_PX = (32, 64, 128, 256)
TEXTURE = 900
COPIES = 10  # of a turning face, at most
SEED = 13


class PixelPicture(NamedTuple):
    """The picture as the camera has it, its side [px], and whether the whole body is on it."""

    image: np.ndarray
    side_px: int
    whole: bool


class _Face(NamedTuple):
    """Brightness over a square, its half side and the place of its middle, in radii of the body."""

    light: np.ndarray
    half: float
    middle: float


def in_pixels(
    *, body, phase_angle_deg, ring_tilt_deg, diameter_px, blur_px, spin_px, turn_deg
) -> PixelPicture:
    """The face of a body in the camera's pixels, after a clip that was added up without turning the frames back.

    Parameters
    ----------
    body : str
        A key of `night.RADII_KM` that the panel offers.
    phase_angle_deg, ring_tilt_deg : float
        Phase, and tilt of Saturn's ring towards us [°].
    diameter_px : float
        Width of the disc [px].
    blur_px : float
        Full width at half maximum of all blur but the pixel's own box, drawn as a Gaussian [px].
    spin_px : float
        Way of the middle of the disc by the body's turning, during the clip [px].
    turn_deg : float
        Turn of the field during the clip [°].
    """
    face = _face(body, round(phase_angle_deg), round(ring_tilt_deg))
    extent_px = diameter_px * (RING["outer"] if body == "Saturn" else 1.0)
    side_px = next((side for side in WINDOWS_PX if side >= 1.25 * extent_px), WINDOWS_PX[-1])
    whole = extent_px <= side_px
    step = side_px / SIDE / (0.5 * diameter_px)  # of a sample, in radii
    across = (np.arange(SIDE) - 0.5 * (SIDE - 1)) * step
    u, v = np.meshgrid(across + (0.0 if whole else face.middle), across)
    rim_samples = math.radians(abs(turn_deg)) * min(1.0, 0.7 * SIDE * step) / step
    copies = int(np.clip(math.ceil(rim_samples / 2.0), 1, COPIES))
    drawn = np.zeros((SIDE, SIDE))
    for angle in math.radians(turn_deg) * ((np.arange(copies) + 0.5) / copies - 0.5):
        drawn += _sampled(
            face, u * math.cos(angle) - v * math.sin(angle), u * math.sin(angle) + v * math.cos(angle)
        )
    samples = SIDE // side_px
    fx, fy = np.fft.rfftfreq(SIDE), np.fft.fftfreq(SIDE)
    sigma = blur_px * samples / GAUSSIAN_FWHM_PER_SIGMA
    along = np.exp(-2.0 * (np.pi * sigma * fx) ** 2) * np.sinc(fx * spin_px * samples)
    passed = np.exp(-2.0 * (np.pi * sigma * fy) ** 2)[:, None] * along
    blurred = np.fft.irfft2(np.fft.rfft2(drawn / copies) * passed, s=(SIDE, SIDE))
    pixels = blurred.reshape(side_px, samples, side_px, samples).mean(axis=(1, 3))
    return PixelPicture(np.clip(pixels, 0.0, None), side_px, whole)


def _sampled(face, u, v):
    """The face at places in radii, between its samples in straight lines; dark outside."""
    from scipy.ndimage import map_coordinates

    scale = (TEXTURE - 1) / (2.0 * face.half)
    rows, columns = (v + face.half) * scale, (u - face.middle + face.half) * scale
    return map_coordinates(face.light, [rows, columns], order=1, mode="constant", prefilter=False)


@functools.lru_cache(maxsize=16)
def _face(body, phase_deg, tilt_deg):
    half = {"Saturn": 2.4, "Moon": 0.42, "Sun": 0.42}.get(body, 1.1)
    edge = -math.cos(math.radians(phase_deg))  # the terminator on the equator
    middle = {"Moon": max(edge, -0.85) + 0.1, "Sun": -0.9}.get(body, 0.0)
    line = np.linspace(-half, half, TEXTURE)
    u, v = np.meshgrid(line + middle, line)
    y = v / (1.0 - FLATTENING.get(body, 0.0))
    rim = np.sqrt(np.clip(1.0 - y**2, 0.0, 1.0))
    inside = np.clip((1.0 - np.hypot(u, y)) * 0.5 * TEXTURE / half + 0.5, 0.0, 1.0)
    lit = np.clip((u + math.cos(math.radians(phase_deg)) * rim) / 0.012 + 1.0, 0.0, 1.0)
    if body == "Moon":
        lit = np.sqrt(np.clip((u + math.cos(math.radians(phase_deg)) * rim) / 0.3, 0.0, 1.0))
    light = (
        inside
        * lit
        * {"Jupiter": _belts, "Saturn": _pale_belts, "Mars": _patches, "Moon": _craters}.get(
            body, lambda u, v: 0.9 + 0.0 * u
        )(u, y)
    )
    if body == "Saturn":
        light = _with_ring(light, inside, u, v, math.sin(math.radians(tilt_deg)))
    return _Face(light, half, middle)


def _bump(distance, width):
    return np.exp(-((distance / width) ** 2))


def _belts(u, v):
    light = 0.92 - 0.34 * _bump(v - 0.2, 0.1) - 0.30 * _bump(v + 0.24, 0.09) - 0.30 * _bump(v + 0.93, 0.2)
    light -= 0.30 * _bump(v - 0.93, 0.2) + 0.10 * _bump(v - 0.48, 0.05) + 0.10 * _bump(v + 0.52, 0.05)
    light += 0.07 * np.sin(17.0 * u + 3.0 * np.sin(5.0 * u)) * (_bump(v - 0.2, 0.1) + _bump(v + 0.24, 0.08))
    return light - 0.28 * _bump(u - 0.3, 0.15) * _bump(v + 0.36, 0.07)


def _pale_belts(u, v):
    return (
        0.8 - 0.14 * _bump(v - 0.3, 0.12) - 0.1 * _bump(v + 0.1, 0.08) - 0.2 * _bump(v - 1.0, 0.25) + 0.0 * u
    )


def _patches(u, v):
    light = (
        0.85
        - 0.4 * _bump(u + 0.1, 0.45) * _bump(v + 0.25, 0.14)
        - 0.35 * _bump(u - 0.35, 0.12) * _bump(v, 0.35)
    )
    return light + 0.5 * _bump(u, 0.35) * _bump(v - 0.95, 0.12)


def _craters(u, v):
    """Round walls with a bright and a dark side, more of the small ones, over a flat ground with two dark seas."""
    dice = np.random.default_rng(SEED)
    light = 0.72 - 0.25 * _bump(np.hypot(u + 0.15 - u.mean(), v - 0.2), 0.16)
    light -= 0.2 * _bump(np.hypot(u - 0.2 - u.mean(), v + 0.18), 0.12)
    left, low, step = u[0, 0], v[0, 0], u[0, 1] - u[0, 0]
    for size in 0.004 * dice.pareto(1.6, 900) + 0.004:
        size = min(size, 0.07)
        x, y = dice.uniform(u[0, 0], u[0, -1]), dice.uniform(v[0, 0], v[-1, 0])
        reach = int(2.0 * size / step) + 2
        row, column = int((y - low) / step), int((x - left) / step)
        rows = slice(max(row - reach, 0), row + reach)
        columns = slice(max(column - reach, 0), column + reach)
        du, dv = (u[rows, columns] - x) / size, (v[rows, columns] - y) / size
        away = np.hypot(du, dv)
        light[rows, columns] += (
            0.3 * du / np.maximum(away, 0.2) * (_bump(away - 1.0, 0.28) - _bump(away - 0.7, 0.3))
        )
    return np.clip(light, 0.05, 1.2)


def _with_ring(light, inside, u, v, tilt):
    """The ring behind and before the ball, in the real opening; edge-on it is a thin line."""
    open_by = max(abs(tilt), 0.012)
    away = np.hypot(u, v / open_by)
    ring = ((away > RING["inner"]) & (away < RING["outer"])).astype(float)
    ring[(away > RING["gap"][0]) & (away < RING["gap"][1])] = 0.1
    front = v * np.sign(tilt or 1.0) < 0.0  # the near half lies below the middle while the north side is open
    over = ring * (front | (inside < 0.5))
    return np.where(over > 0.0, np.maximum(0.75 * ring, 0.1 * light), light)
