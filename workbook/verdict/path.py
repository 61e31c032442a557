"""The path of a star during one sub-exposure, and the share of subs in which it stays short enough.

Everything that moves a star on the sensor comes together here and nowhere else: gear error, drift of a
misaligned axis, refraction, flexure, rotation of the field at the corners, a random walk of the drive, what
guiding leaves, and gusts. A sub is kept while the largest extent of the path, at every corner, stays within
the tolerance.

How the extent is found: a path of many start phases is followed in small steps and projected on a fan of
directions; the largest projected range over the fan is the diameter of the path. Since the extent only grows
with time, one pass gives the yield of every shorter sub at once. Between steps the random walk may reach
further than at the steps themselves: the extreme of each Brownian bridge is drawn from its known law,
max = (a + b + √((b − a)² − 2 σ² Δt ln U)) / 2 (Asmussen, Glynn & Pitman 1995, Ann. Appl. Probab. 5, 875).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook import balance, optics, rotation
from workbook.constants import ARCSEC_PER_DEG, SIDEREAL_RATE_ARCSEC_S
from workbook.pointing import direction
from workbook.verdict.conditions import Conditions

DIRECTIONS = 8  # fan over 180°: the diameter is at most 1.9 % short, 0.6 % on average
RATE_RAD_S = SIDEREAL_RATE_ARCSEC_S / 206264.80624709636
BLUR_TO_TRAIL2 = 12.0  # a trail L has the second moment L²/12, so a jitter σ counts as the trail √12 σ


@dataclass(frozen=True)
class PathTerms:
    """What moves the star, on the sky, for any shape of nodes (…): x is the first axis' direction, y the second's.

    x runs along right ascension (tilted) or azimuth (alt-az), y along declination or altitude.
    """

    amplitude_arcsec: np.ndarray  # (…, axis 2, harmonic 2), half of peak to peak on the sky
    omega_rad_s: np.ndarray  # (…, axis 2, harmonic 2)
    phase_rad: np.ndarray  # (…, harmonic 2), of each harmonic against the fundamental
    walk_arcsec_sqrt_s: np.ndarray  # (…, axis 2)
    ramp_arcsec_s: np.ndarray  # (…, corner, axis 2)
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
    cos_first = np.cos(np.radians(sky.altitude_deg if altaz else sky.dec_deg))
    zero = 0.0 * (np.asarray(rig["optics.focal_mm"]) + sky.altitude_deg)  # (draws, minutes)

    # Gear: each driven axis has the same gear, turning as fast as the axis does.
    omega = 2.0 * np.pi / (np.asarray(rig["drive.gear_period_s"]) + zero)
    speed = [zero + 1.0, zero]
    on_sky = [zero + cos_first, zero]
    if altaz:
        speed = [
            zero + np.abs(r) / SIDEREAL_RATE_ARCSEC_S
            for r in (sky.azimuth_rate_arcsec_s, sky.altitude_rate_arcsec_s)
        ]
        on_sky = [zero + cos_first, zero + 1.0]
    harmonic = np.array([1.0, 2.0])
    gear = (
        np.stack([zero + rig["drive.gear_error_arcsec"], zero + rig["drive.second_harmonic_arcsec"]], -1)
        / 2.0
    )
    omegas = np.stack([(omega * s)[..., None] * harmonic for s in speed], -2)
    amplitudes = np.stack([o[..., None] * gear for o in on_sky], -2)
    walk = np.stack([o * rig["drive.random_walk_arcsec_sqrt_s"] for o in on_sky], -1)
    if "gear" in without:
        amplitudes, walk = 0.0 * amplitudes, 0.0 * walk

    # What guiding leaves: the gear lags behind by the loop's delay, the walk is held within it.
    residue2, quarter = zero, 0.0
    if guided:
        lag = zero + (0.0 if "guiding" in without else 1.0) * np.asarray(rig["guide.lag_s"])
        amplitudes = amplitudes * np.minimum(1.0, omegas * lag[..., None, None])
        quarter = np.pi / 2.0  # what lags behind is the slope of the error
        residue2 = (walk**2).max(-1) * lag + (0.0 if "guiding" in without else 1.0) * (
            zero + rig["guide.noise_arcsec"]
        ) ** 2
        walk = 0.0 * walk

    scale = optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=rig["optics.focal_mm"])
    tolerance = zero + rig["habits.tolerance_px"] * scale
    ramp = _ramps(rig, sky, zero, scale, altaz, guided, without)

    critical = balance.gust_to_lose_frame_m_s(
        wind_m_s=rig["night.wind_m_s"],
        tolerance_arcsec=rig["habits.tolerance_px"] * scale,
        area_m2=rig["stand.wind_area_m2"],
        arm_m=rig["stand.wind_arm_m"],
        stiffness_n_m_rad=rig["stand.stiffness_n_m_rad"],
    )
    spread = np.maximum(rig["night.gust_m_s"] - np.asarray(rig["night.wind_m_s"]), 1e-9)
    share = np.clip(
        (rig["night.gust_m_s"] - critical) / spread, 0.0, 1.0
    )  # gust peaks even between wind and strongest
    gusts = 0.0 if "wind" in without else share * np.asarray(rig["night.gusts_per_h"]) / 3600.0
    phase = quarter + np.stack([zero, zero + np.radians(rig["drive.second_harmonic_phase_deg"])], -1)
    return PathTerms(
        amplitude_arcsec=amplitudes,
        omega_rad_s=omegas,
        phase_rad=phase,
        walk_arcsec_sqrt_s=walk,
        ramp_arcsec_s=ramp,
        slow_tolerance_arcsec=np.sqrt(np.maximum(tolerance**2 - BLUR_TO_TRAIL2 * residue2, 0.0)),
        gusts_per_s=zero + gusts,
        gust_s=zero + rig["night.gust_s"],
    )


def _ramps(rig, sky, zero, scale, altaz, guided, without):
    """Steady motion at the four corners [″/s], shape (draws, minutes, 4, 2)."""
    star = direction(altitude_deg=sky.altitude_deg, azimuth_deg=sky.azimuth_deg)
    up = _upward(star)
    across = np.cross(star, up)  # towards growing azimuth
    pole = np.array([0.0, np.cos(np.radians(sky.latitude_deg)), np.sin(np.radians(sky.latitude_deg))])
    if altaz:
        x_hat, y_hat, handed = across, up, -1.0
    else:
        x_hat = _unit(np.cross(pole, star))  # east on the sky
        y_hat, handed = np.cross(star, x_hat), 1.0

    # A base that stands off by a small turn drifts by Ω (m − p) × s, whatever the mount (see rotation, alignment).
    key = "habits.model_error_arcmin" if altaz else f"habits.axis_error_{rig['habits.alignment']}_arcmin"
    error = (0.0 if "axis" in without else 1.0) * np.radians(np.asarray(rig[key]) / 60.0)[..., None]
    towards = np.radians(np.asarray(rig["habits.axis_direction_deg"]))[..., None]
    raised = np.array([0.0, -pole[2], pole[1]])
    elevated = 1.0 if sky.latitude_deg >= 0 else -1.0
    east = np.array([1.0, 0.0, 0.0])
    offset = elevated * error * (np.cos(towards) * east + np.sin(towards) * raised)  # m − p, (draws, 1, 3)
    drift = np.stack([np.sum(np.cross(offset, star) * hat, -1) for hat in (x_hat, y_hat)], -1)
    drift = SIDEREAL_RATE_ARCSEC_S * drift + zero[..., None]
    if "refraction" not in without:
        along = np.stack([np.sum(up * hat, -1) for hat in (x_hat, y_hat)], -1)
        drift = drift + sky.refraction_rate_arcsec_s[:, None] * along

    if altaz:
        spin_rad_s = (
            np.radians(
                rotation.rotation_rate_deg_h(
                    altitude_deg=sky.altitude_deg, azimuth_deg=sky.azimuth_deg, latitude_deg=sky.latitude_deg
                )
            )
            / 3600.0
        )
    else:
        axis = _unit(pole + offset)
        if guided:
            level = _unit(star - np.sum(axis * star, -1, keepdims=True) * axis)  # n of the two-axis law
            spin_rad_s = -RATE_RAD_S * (level @ pole) / np.sum(level * star, -1)
        else:
            spin_rad_s = RATE_RAD_S * np.sum(offset * star, -1)
    spin_rad_s = (0.0 if "rotation" in without else 1.0) * np.nan_to_num(spin_rad_s) + zero

    centre = np.zeros(2)
    if guided:
        drift = 0.0 * drift
        if "guiding" not in without:
            drift[..., 1] += np.asarray(rig["guide.flexure_arcsec_min"]) / 60.0
        bearing = np.radians(np.asarray(rig["guide.star_direction_deg"]) + zero)
        distance = np.asarray(rig["guide.star_offset_deg"]) * ARCSEC_PER_DEG
        centre = np.stack([distance * np.cos(bearing), distance * np.sin(bearing)], -1)[..., None, :]
    half = (
        0.5
        * np.asarray(scale + zero)[..., None, None]
        * np.array([rig["camera.width_px"], rig["camera.height_px"]])
        * np.array([[1, 1], [1, -1], [-1, -1], [-1, 1]])
    )
    radius = half - centre
    turned = handed * spin_rad_s[..., None, None] * np.stack([-radius[..., 1], radius[..., 0]], -1)
    return drift[..., None, :] + turned


def path_yield(terms: PathTerms, *, sub_s, phases: int, seed: int):
    """The share of subs whose path stays short enough, for each node and each sub length.

    Parameters
    ----------
    terms : PathTerms
        What moves the star, for nodes of any shape (…).
    sub_s : array (subs,)
        Sub lengths, rising [s].
    phases : int
        Start phases of the gear followed for each node, spread evenly.
    seed : int
        Seed of the random walk and of the offset of the phases.

    Returns
    -------
    array (…, subs)
        Share of subs kept, gusts included (dimensionless, 0 … 1).
    """
    sub_s = np.atleast_1d(np.asarray(sub_s, dtype=float))
    shape = terms.slow_tolerance_arcsec.shape
    nodes = int(np.prod(shape))
    rng = np.random.default_rng(seed)
    block = max(1, 40_000 // (phases * 4))  # nodes at a time: the working arrays stay in the cache
    kept = np.empty((nodes, len(sub_s)), dtype=np.float32)
    flat = [
        np.asarray(v, dtype=np.float32).reshape(nodes, *v.shape[len(shape) :])
        for v in terms.__dict__.values()
    ]
    fan = np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    fan = np.stack([np.cos(fan), np.sin(fan)], -1).astype(np.float32)
    for first in range(0, nodes, block):
        _follow(
            kept[first : first + block], [v[first : first + block] for v in flat], sub_s, phases, fan, rng
        )
    gusts, gust_s = (v[:, None] for v in flat[-2:])
    return (kept * np.exp(-gusts * (sub_s + gust_s))).reshape(*shape, len(sub_s))


def _steps(sub_s, shortest_period_s):
    """Times at which the path is looked at: every sub length, and never further apart than a tenth of the period."""
    edges = np.concatenate([[0.0], sub_s])
    least = 8 if len(sub_s) == 1 else 1
    times, wanted = [], []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        count = max(least, int(np.ceil((high - low) / (0.1 * shortest_period_s))))
        times.extend(np.linspace(low, high, count + 1)[1:])
        wanted.append(len(times) - 1)
    return np.array(times), wanted


def _follow(kept, terms, sub_s, phases, fan, rng):
    """Fill `kept` (nodes, subs) by following every phase of a block of nodes through time."""
    amplitude, omega, phase, walk, ramp, tolerance = terms[:6]
    nodes = len(tolerance)
    if np.ptp(ramp, axis=1).max() * sub_s[-1] < 0.01 * max(float(tolerance.min()), 1e-9):
        ramp = ramp[:, :1]  # the field does not turn: every corner tells the same
    f32 = np.float32
    turn = (
        2.0 * np.pi * ((np.arange(phases) + rng.random((nodes, 1))) / phases)
    )  # evenly spread, shifted per node
    turns = np.stack([turn, (turn * phases * 0.6180339887) % (2.0 * np.pi)], 1).astype(
        f32
    )  # (nodes, axis, phases)
    turning = bool(amplitude.any())
    walking = bool(walk.any())

    def gear(time):
        angle = omega[..., 0, None] * f32(time) + turns
        first = amplitude[..., 0, None] * np.sin(angle + phase[:, None, :1])
        return first + amplitude[..., 1, None] * np.sin(2.0 * angle + phase[:, None, 1:])

    slope = np.einsum("nca,qa->ncq", ramp, fan)[..., None]  # (nodes, corners, fan, 1)
    spread2 = np.einsum("na,qa->nq", walk**2, fan**2)[:, None, :, None]  # variance per second
    times, wanted = _steps(sub_s, 2.0 * np.pi / max(float(omega.max()), 1e-9))
    start = gear(0.0) if turning else np.zeros((nodes, 2, phases), f32)
    wandered = np.zeros((nodes, 2, phases), f32)
    before = np.zeros((nodes, ramp.shape[1], len(fan), phases), f32)
    high, low = before.copy(), before.copy()
    alive = np.ones((nodes, phases), bool)
    at = 0
    for j, time in enumerate(times):
        step = f32(time - (times[j - 1] if j else 0.0))
        moved = wandered
        if walking:
            wandered = wandered + walk[..., None] * np.sqrt(step) * rng.standard_normal(wandered.shape, f32)
            moved = wandered
        if turning:
            moved = moved + gear(time) - start
        now = np.einsum("nak,qa->nqk", moved, fan)[:, None] + slope * f32(time)
        if walking:
            middle, half = 0.5 * (before + now), 0.5 * (now - before)
            half *= half
            reach = 0.5 * step * spread2 * rng.standard_exponential((2, nodes, 1, 1, phases), f32)
            np.maximum(high, middle + np.sqrt(half + reach[0]), out=high)
            np.minimum(low, middle - np.sqrt(half + reach[1]), out=low)
        else:
            np.maximum(high, now, out=high)
            np.minimum(low, now, out=low)
        before = now
        if j == wanted[at]:
            alive &= (high - low).max((1, 2)) <= tolerance[:, None]
            kept[:, at] = alive.mean(1)
            at += 1
            if not alive.any():
                kept[:, at:] = 0.0
                return


def _unit(vector):
    return vector / np.linalg.norm(vector, axis=-1, keepdims=True)


def _upward(star):
    """Unit vectors towards growing altitude."""
    zenith = np.array([0.0, 0.0, 1.0])
    return _unit(zenith - star[..., 2:] * star)
