"""What moves a star on the sensor during one sub: gear, walk, drift, refraction, rotation, guiding, gusts.

Every cause is one entry here; `path` follows the sum of them through time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook import balance, optics, rotation
from workbook.constants import ARCSEC_PER_DEG, ARCSEC_PER_RAD, SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import direction
from workbook.verdict.conditions import Conditions

BLUR_TO_TRAIL2 = 12.0  # a trail L has the second moment L²/12, so a jitter σ counts as the trail √12 σ
# A loop of cycle T and aggressiveness g leaves of a random walk w the variance w² T/(g (2 − g)), and stands back by
# the lag T/g + half the dead time: for g = 0.6 to 0.7 with a dead time of 1 s that is w² × 0.65 lag.
WALK_OF_LAG = 0.65
CORNERS = np.array([[1, 1], [1, -1], [-1, -1], [-1, 1]])
HARMONICS = np.array([1.0, 2.0])


@dataclass(frozen=True)
class PathTerms:
    """What moves the star, in angles on the sky, for nodes of any shape (…), here (draws, minutes).

    x runs along right ascension (tilted) or azimuth (alt-az), y along declination or altitude.
    """

    amplitude_arcsec: np.ndarray  # (…, axis 2, harmonic 2), half of peak to peak
    omega_rad_s: np.ndarray  # (…, axis 2, harmonic 2)
    phase_rad: np.ndarray  # (…, harmonic 2), of each harmonic against the turning fundamental
    walk_arcsec_sqrt_s: np.ndarray  # (…, axis 2)
    ramp_arcsec_s: np.ndarray  # (…, corner 4, axis 2)
    slow_tolerance_arcsec: np.ndarray  # (…), what the fast residue leaves of the tolerance
    gusts_per_s: np.ndarray  # (…), of gusts strong enough to lose a frame
    gust_s: np.ndarray  # (…)


def path_terms(
    rig: dict, sky: Conditions, *, mode: str, guided: bool, without: frozenset = frozenset()
) -> PathTerms:
    """Collect the terms for every draw (rows) and every minute of `sky` (columns).

    Parameters
    ----------
    rig : dict
        Passport numbers, each a float or an array of shape (draws, 1).
    sky : Conditions
        The minutes at which the path is wanted.
    mode : {"alt-az", "tilted"}
        Axis at the zenith, both axes driven; or axis near the pole, one axis driven.
    guided : bool
        Whether a guide star steers both axes.
    without : frozenset of str
        Causes to leave out: "gear", "axis", "rotation", "refraction", "guiding", "wind".
    """
    altaz = mode == "alt-az"
    zero = np.zeros(np.broadcast_shapes(*map(np.shape, rig_arrays(rig)), sky.altitude_deg.shape))
    amplitude, omega, walk = _gear(rig, sky, zero, altaz, "gear" not in without)
    phase = np.stack([zero, zero + np.radians(rig["drive.second_harmonic_phase_deg"])], -1)
    residue2 = zero
    if guided:
        steady = 0.0 if "guiding" in without else 1.0
        lag_s = steady * np.asarray(rig["guide.lag_s"]) + zero
        amplitude = amplitude * np.minimum(1.0, omega * lag_s[..., None, None])
        phase = phase + np.pi / 2.0  # what lags behind is the slope of the error
        residue2 = (
            WALK_OF_LAG * (walk**2).max(-1) * lag_s + steady * np.asarray(rig["guide.noise_arcsec"]) ** 2
        )
        walk = 0.0 * walk
    tolerance = rig["habits.tolerance_px"] * _scale(rig)
    gusts, gust_s = _gusts(rig, tolerance, "wind" not in without)
    return PathTerms(
        amplitude_arcsec=amplitude,
        omega_rad_s=omega,
        phase_rad=phase,
        walk_arcsec_sqrt_s=walk,
        ramp_arcsec_s=_ramps(rig, sky, zero, altaz, guided, without),
        slow_tolerance_arcsec=np.sqrt(np.maximum(tolerance**2 - BLUR_TO_TRAIL2 * residue2, 0.0)) + zero,
        gusts_per_s=zero + gusts,
        gust_s=zero + gust_s,
    )


def rig_arrays(rig):
    """The numbers of a rig that differ from draw to draw."""
    return [value for value in rig.values() if isinstance(value, np.ndarray)]


def _scale(rig):
    return optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=rig["optics.focal_mm"])


def _gear(rig, sky, zero, altaz, present):
    """Amplitude, angular speed and walk of both axes: the same gear, turning as fast as its axis does."""
    if altaz:
        rates = sky.azimuth_rate_arcsec_s, sky.altitude_rate_arcsec_s
        speeds = [zero + np.abs(rate) / SIDEREAL_RATE_ARCSEC_S for rate in rates]
        on_sky = [zero + np.cos(np.radians(sky.altitude_deg)), zero + 1.0]
    else:
        speeds = [zero + 1.0, zero]
        on_sky = [zero + np.cos(np.radians(sky.dec_deg)), zero]
    turn = 2.0 * np.pi / np.asarray(rig["drive.gear_period_s"])
    omega = np.stack([(turn * speed)[..., None] * HARMONICS for speed in speeds], -2)
    harmonics = [zero + rig[f"drive.{key}_arcsec"] for key in ("gear_error", "second_harmonic")]
    gear = np.stack(harmonics, -1) / 2.0
    amplitude = np.stack([share[..., None] * gear for share in on_sky], -2)
    walk = np.stack([share * rig["drive.random_walk_arcsec_sqrt_s"] for share in on_sky], -1)
    return (amplitude, omega, walk) if present else (0.0 * amplitude, omega, 0.0 * walk)


def _gusts(rig, tolerance_arcsec, present):
    """Rate of the gusts that lose a frame [1/s], peaks even between wind and strongest; length [s]."""
    critical_m_s = balance.gust_to_lose_frame_m_s(
        wind_m_s=rig["night.wind_m_s"],
        tolerance_arcsec=tolerance_arcsec,
        area_m2=rig["stand.wind_area_m2"],
        arm_m=rig["stand.wind_arm_m"],
        stiffness_n_m_rad=rig["stand.stiffness_n_m_rad"],
    )
    spread = np.maximum(np.asarray(rig["night.gust_m_s"]) - rig["night.wind_m_s"], 1e-9)
    share = np.clip((rig["night.gust_m_s"] - critical_m_s) / spread, 0.0, 1.0)
    rate = share * np.asarray(rig["night.gusts_per_h"]) / 3600.0
    return (rate if present else 0.0), rig["night.gust_s"]


def _ramps(rig, sky, zero, altaz, guided, without):
    """Steady motion at the four corners [″/s], shape (draws, minutes, 4, 2)."""
    star = direction(altitude_deg=sky.altitude_deg, azimuth_deg=sky.azimuth_deg)
    up = _unit(np.array([0.0, 0.0, 1.0]) - star[..., 2:] * star)  # towards growing altitude
    latitude = np.radians(sky.latitude_deg)
    pole = np.array([0.0, np.cos(latitude), np.sin(latitude)])
    if altaz:
        x_hat, y_hat, handed = np.cross(star, up), up, -1.0
    else:
        x_hat = _unit(np.cross(pole, star))  # east on the sky
        y_hat, handed = np.cross(star, x_hat), 1.0
    offset = _axis_offset(rig, pole, altaz) * (0.0 if "axis" in without else 1.0)
    if guided:
        drift = np.stack([zero, zero], -1)
        if "guiding" not in without:
            drift[..., 1] += np.asarray(rig["guide.flexure_arcsec_min"]) / 60.0
    else:
        # A base that stands off by a small turn drifts by Ω (m − p) × s, whatever the mount.
        drift_sky = SIDEREAL_RATE_ARCSEC_S * np.cross(offset, star)
        if "refraction" not in without:
            drift_sky = drift_sky + sky.refraction_rate_arcsec_s[:, None] * up
        drift = np.stack([np.sum(drift_sky * hat, -1) for hat in (x_hat, y_hat)], -1) + zero[..., None]
    spin_rad_s = zero
    if "rotation" not in without:
        spin_rad_s = zero + _spin_rad_s(sky, star, pole, offset, altaz, guided)
    half = 0.5 * (zero + _scale(rig))[..., None, None]
    radius = half * np.array([rig["camera.width_px"], rig["camera.height_px"]]) * CORNERS
    if guided:  # the field turns about the guide star
        distance = np.asarray(rig["guide.star_offset_deg"]) * ARCSEC_PER_DEG + zero
        bearing = np.radians(rig["guide.star_direction_deg"])
        radius = radius - np.stack([distance * np.cos(bearing), distance * np.sin(bearing)], -1)[..., None, :]
    turned = handed * np.stack([-radius[..., 1], radius[..., 0]], -1)
    return drift[..., None, :] + spin_rad_s[..., None, None] * turned


def _axis_offset(rig, pole, altaz):
    """m − p for a direction of error of 0 = elevated end too far east, 90 = too high; (draws, 1, 3)."""
    key = "habits.model_error_arcmin" if altaz else f"habits.axis_error_{rig['habits.alignment']}_arcmin"
    error = np.radians(np.asarray(rig[key]) / 60.0)[..., None]
    towards = np.radians(np.asarray(rig["habits.axis_direction_deg"]))[..., None]
    east, higher = np.array([1.0, 0.0, 0.0]), np.array([0.0, -pole[2], pole[1]])
    elevated = 1.0 if pole[2] >= 0 else -1.0  # in the south m is minus the elevated end
    return elevated * error * (np.cos(towards) * east + np.sin(towards) * higher)


def _spin_rad_s(sky, star, pole, offset, altaz, guided):
    """Spin of the field: the two-axis law where both axes follow, Ω (m − p)·s where one axis drives alone."""
    if altaz:
        spin_deg_h = rotation.rotation_rate_deg_h(
            altitude_deg=sky.altitude_deg, azimuth_deg=sky.azimuth_deg, latitude_deg=sky.latitude_deg
        )
        return np.nan_to_num(np.radians(spin_deg_h) / 3600.0)
    rate_rad_s = SIDEREAL_RATE_ARCSEC_S / ARCSEC_PER_RAD
    if not guided:
        return rate_rad_s * np.sum(offset * star, -1)
    axis = _unit(pole + offset)
    level = _unit(star - np.sum(axis * star, -1, keepdims=True) * axis)  # n of the two-axis law
    return -rate_rad_s * (level @ pole) / np.sum(level * star, -1)


def _unit(vector):
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)
