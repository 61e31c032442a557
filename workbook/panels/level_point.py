"""The panel of lesson 03: base, compass and inclinometer against the axis, for three ways to begin a night."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook.alignment import MODES, SIDEREAL_RATE_ARCSEC_MIN, level_effect, rough_budget
from workbook.constants import ARCMIN_PER_DEG
from workbook.figures import level_point as figure
from workbook.optics import image_scale_arcsec_px
from workbook.panels.controls import choice, slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.pointing import ARCMIN_PER_RAD

DRAWS, SEED = 4000, 3
DRIFT_PER_ARCMIN = (
    SIDEREAL_RATE_ARCSEC_MIN / ARCMIN_PER_RAD
)  # a star 90° from the error's direction [″/min for 1′]
STARTS = {
    "level and north, believed": "level and north",
    "axis aligned on the pole": "on the pole",
    "alt-az, two stars": "two stars",
}
SCREW_TURN_DEG = 10.0  # the turn that shows how a tilted base couples the screws
STAR_ALTITUDE_DEG = 45.0  # the star, in the meridian, that shows how far a go-to misses
ON_THE_POLE, TWO_STARS = MODES[0], MODES[1]


def build_level_point(passport) -> Panel:
    """The rough set-up at this passport's latitude; readings and tilt are the learner's to set."""
    scale = image_scale_arcsec_px(pixel_um=passport["camera.pixel_um"], focal_mm=passport["optics.focal_mm"])
    tolerance = float(passport["habits.tolerance_px"])
    latitude = float(passport["site.latitude_deg"])
    return Panel(
        figure,
        partial(
            set_up, latitude_deg=latitude, tolerance_px=tolerance, scale_arcsec_px=scale,
            unit_draws=np.random.default_rng(SEED).standard_normal((4, DRAWS)),
        ),
        {
            "base_tilt_deg": slider("Base tilt, ±", 0.5, 0.0, 5.0, step=0.1),
            "compass_sigma_deg": slider("Compass, ±", 2.0, 0.0, 10.0, step=0.1),
            "inclinometer_sigma_deg": slider("Inclinometer, ±", 0.3, 0.05, 2.0, step=0.05),
            "azimuth_turn_deg": slider("Azimuth turn after", 0.0, 0.0, 180.0, step=5.0),
            "start": choice("Start", STARTS["level and north, believed"], STARTS),
        },
        _readout,
        presets={
            "Compass at a steel rail": {"compass_sigma_deg": 6.0, "start": "level and north"},
            "North by a star": {"compass_sigma_deg": 0.3, "start": "level and north"},
            "Base 2° out, axis on the pole": {"base_tilt_deg": 2.0, "start": ON_THE_POLE},
        },
        title=f"Level, tilt, point: a rough set-up at {abs(latitude):g}° {'south' if latitude < 0 else 'north'}",
    )  # fmt: skip


def set_up(
    *,
    base_tilt_deg,
    compass_sigma_deg,
    inclinometer_sigma_deg,
    azimuth_turn_deg,
    start,
    latitude_deg,
    tolerance_px,
    scale_arcsec_px,
    unit_draws,
) -> figure.LevelPoint:
    """The budget and its cloud: the first by root-sum-square, the second by exact turns of a tilted base.

    Where the sky was asked after the base was set, nothing of either is left.
    """
    rough = rough_budget(
        compass_sigma_deg=compass_sigma_deg,
        inclinometer_sigma_deg=inclinometer_sigma_deg,
        level_sigma_deg=base_tilt_deg,
        clock_sigma_s=0.0,
        azimuth_rate_arcsec_s=0.0,
        altitude_from="gravity",
        latitude_deg=latitude_deg,
    )
    # A lean (e, n) adds e sin T + n (1 − cos T) to the altitude in a turn T: standard deviation 2 σ sin(T/2).
    turn = ARCMIN_PER_DEG * base_tilt_deg * 2.0 * np.sin(np.radians(azimuth_turn_deg) / 2.0)
    parts = (rough.compass_arcmin, rough.inclinometer_arcmin, rough.level_arcmin, float(turn))
    cloud = axes_arcmin(
        base_tilt_deg=base_tilt_deg,
        compass_sigma_deg=compass_sigma_deg,
        inclinometer_sigma_deg=inclinometer_sigma_deg,
        azimuth_turn_deg=azimuth_turn_deg,
        latitude_deg=latitude_deg,
        unit_draws=unit_draws,
    )
    full = float(np.hypot(rough.total_arcmin, turn))
    effects = {
        mode: level_effect(
            tilt_deg=base_tilt_deg,
            tilt_azimuth_deg=90.0,
            altitude_deg=STAR_ALTITUDE_DEG,
            azimuth_deg=180.0 if latitude_deg >= 0 else 0.0,
            latitude_deg=latitude_deg,
            mode=mode,
        )
        for mode in (start, ON_THE_POLE, TWO_STARS)
    }
    if start in (ON_THE_POLE, TWO_STARS):
        parts, cloud = (0.0, 0.0, 0.0, 0.0), np.zeros_like(cloud)
    total = float(np.sqrt(np.sum(np.square(parts))))
    low, high = np.percentile(np.hypot(*cloud.T), (16.0, 84.0))
    drift = DRIFT_PER_ARCMIN * total
    return figure.LevelPoint(
        start=start,
        base_tilt_deg=base_tilt_deg,
        azimuth_turn_deg=azimuth_turn_deg,
        latitude_deg=latitude_deg,
        cloud_arcmin=cloud,
        covariance_arcmin2=np.cov(cloud.T),
        parts_arcmin=parts,
        total_arcmin=total,
        full_arcmin=full,
        low_arcmin=float(low),
        high_arcmin=float(high),
        drift_arcsec_min=drift,
        drift_per_arcmin=DRIFT_PER_ARCMIN,
        tolerance_px=tolerance_px,
        trailed_s=60.0 * tolerance_px * scale_arcsec_px / drift if drift > 0 else None,
        missed_arcmin=float(effects[start].pointing_error_arcmin),
        climb_arcmin=float(SCREW_TURN_DEG * ARCMIN_PER_DEG * effects[ON_THE_POLE].screw_coupling),
        faster_deg_h=float(effects[TWO_STARS].rotation_change_deg_h),
    )


def axes_arcmin(
    *, base_tilt_deg, compass_sigma_deg, inclinometer_sigma_deg, azimuth_turn_deg, latitude_deg, unit_draws
) -> np.ndarray:
    """Where many set-ups point, beside the pole on the sky: east and high [′].

    The base leans by e to the east and n to the pole's side. Short of the azimuth as set, by the turn, the axis
    was brought to the altitude that the inclinometer showed; then the head was turned about the leaning upright.
    Azimuths count from the elevated pole, east positive, so that both hemispheres are one case.
    """
    compass, read, east, north = unit_draws
    azimuth = np.radians(compass_sigma_deg) * compass
    wanted = np.radians(abs(latitude_deg) + inclinometer_sigma_deg * read)
    lean = np.radians(base_tilt_deg) * np.stack([east, north])
    angle = np.hypot(*lean)
    toward = lean / np.where(angle > 0, angle, 1.0)
    # The vertical, seen from the base: it leans the other way. Altitude there h: sin a = A cos h + B sin h.
    before = azimuth - np.radians(azimuth_turn_deg)
    along = -np.sin(angle) * (toward[0] * np.sin(before) + toward[1] * np.cos(before))
    upright = np.cos(angle)
    reach = np.hypot(along, upright)
    rise = np.arcsin(np.clip(np.sin(wanted) / reach, -1.0, 1.0))
    rise = np.where(wanted > 0.5 * np.pi, np.pi - rise, rise)  # near a pole: a reading beyond the zenith
    in_base = rise - np.arctan2(along, upright)
    axis = np.stack([np.cos(in_base) * np.sin(azimuth), np.cos(in_base) * np.cos(azimuth), np.sin(in_base)])
    # Tip the base: what points along the lean goes down, what points up goes along the lean.
    down = toward[0] * axis[0] + toward[1] * axis[1]
    change = down * (np.cos(angle) - 1.0) + axis[2] * np.sin(angle)
    horizontal = axis[:2] + toward * change
    up = axis[2] * np.cos(angle) - down * np.sin(angle)
    phi = np.radians(abs(latitude_deg))
    high = np.cos(phi) * up - np.sin(phi) * horizontal[1]
    return ARCMIN_PER_RAD * np.stack([horizontal[0], high], axis=-1)


def _readout(result):
    """The root-mean-square error, the middle of the cloud, and in words what it costs and what to do."""
    return Readout(
        "Root-mean-square axis error",
        result.total_arcmin,
        "′",
        "assumed",
        _verdict(result),
        digits=0,
        low=result.low_arcmin if result.total_arcmin > 0 else None,
        high=result.high_arcmin if result.total_arcmin > 0 else None,
    )


def _verdict(result):
    if result.start == ON_THE_POLE:
        return (
            f"The sky was asked after the base was set: level, compass and inclinometer cost nothing, 0″/min. "
            f"The tilt only couples the screws: 10° of azimuth may lift the axis by "
            f"{figure.minutes(result.climb_arcmin)}."
        )
    if result.start == TWO_STARS:
        return (
            "Two stars told the head how it stands: it misses nothing, and nothing drifts. Only the field turns "
            f"at another rate, by about {abs(result.faster_deg_h):.2f}°/h."
        )
    largest = result.largest
    time = f"{result.trailed_s:.1f}" if result.trailed_s < 9.95 else f"{result.trailed_s:.0f}"
    return (
        f"Costs up to {result.drift_arcsec_min:.1f}″ of drift a minute: {result.tolerance_px:g} px in {time} s. "
        f"{figure.CAUSES[largest].capitalize()} {100 * result.shares[largest]:.0f} %: {figure.CURES[largest]}."
    )
