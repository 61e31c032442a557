"""The second panel of lesson 02: a whole night of a turning field, its lost minutes, and the stack it leaves."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook import catalogue, horizon, pointing, rotation
from workbook.constants import ARCMIN_PER_DEG
from workbook.figures import turned_stack as figure
from workbook.night.refraction import refraction_arcmin
from workbook.panels.controls import slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.panels.turning import axis_of

HOUR_DEG = 15.041067  # the sky's turn in an hour of the clock
MOST_SUBS = 40  # kept subs that stand for all of them in the picture of the stack
COLUMNS = 130
EARLIER_H = 0.25  # the range: a start so much earlier or later
HALF_SNR = float(np.sqrt(0.5))  # where half of the subs are left


def build_turned_stack(passport) -> Panel:
    """A night of the plan's target on the learner's own chip, in the learner's own view."""
    night = Night(passport)
    return Panel(
        figure,
        night.turned_stack,
        {
            "axis_way": slider("Axis: 0 zenith, 1 pole", 0.0, 0.0, 1.0, step=0.01),
            "start_h": slider("Start: 0 meridian", -4.0, -6.0, 2.0, step=0.25),
            "length_h": slider("Length of the night", 6.0, 0.5, 6.0, step=0.25),
            "sub_s": slider("Sub", 8.0, 1.0, 300.0, log=True),
        },
        partial(_readout, "exact"),
        presets={
            "East only": {"axis_way": 0.0, "start_h": -5.0, "length_h": 3.0, "sub_s": 8.0},
            "Subs of a minute": {"axis_way": 0.0, "start_h": -4.0, "length_h": 6.0, "sub_s": 60.0},
            "On a wedge": {"axis_way": 0.98, "start_h": -4.0, "length_h": 6.0, "sub_s": 60.0},
        },
        slow=night.with_range,
        title="A whole night: what turns, and what the stack keeps",
        height_px=400,
    )


class Night:
    """What of a passport counts here: target, place, view, chip and drive."""

    def __init__(self, passport):
        self.target = passport["plan.target"]
        self.dec_deg = float(catalogue.find(self.target).dec_deg)
        self.latitude_deg = float(passport["site.latitude_deg"])
        self.mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
        self.air = {
            "pressure_hpa": passport["night.pressure_hpa"],
            "temperature_degc": passport["night.air_start_degc"],
        }
        self.chip = {"width_px": passport["camera.width_px"], "height_px": passport["camera.height_px"]}
        self.half_px = 0.5 * float(np.hypot(*self.chip.values()))
        self.tolerance_px = float(passport["habits.tolerance_px"])
        self.upright_zone_deg = 90.0 - float(passport["drive.altaz_highest_deg"])

    def turned_stack(self, *, axis_way, start_h, length_h, sub_s) -> figure.TurnedStack:
        """All that the picture shows, for one position of the controls (`axis_way`: see `axis_of`)."""
        axis = axis_of(axis_way, self.latitude_deg)
        hours = start_h + np.arange(0.0, round(60.0 * length_h) + 1.0) / 60.0
        blank = np.zeros((2, 2))
        common = dict(
            target=self.target, sub_s=sub_s, tolerance_px=self.tolerance_px, half_px=self.half_px, **self.chip,
            axis_from_pole_deg=(1.0 - axis_way) * (90.0 - abs(self.latitude_deg)), zone_deg=self.zone_deg(axis),
        )  # fmt: skip
        try:
            track = rotation.night_track(
                hour_angles_deg=HOUR_DEG * hours,
                dec_deg=self.dec_deg,
                latitude_deg=self.latitude_deg,
                sub_s=sub_s,
                radius_px=self.half_px,
                tolerance_px=self.tolerance_px,
                **axis,
            )
        except ValueError:  # through the axis itself the field jumps
            none = np.array([])
            return figure.TurnedStack(
                **common, hours_h=none, altitude_deg=none, rate_deg_h=none, rotation_deg=none, longest_s=none,
                state=none.astype(int), coverage=blank,
            )  # fmt: skip
        state = self._state(track, axis)
        result = figure.TurnedStack(
            **common,
            hours_h=hours,
            altitude_deg=track.altitude_deg,
            rate_deg_h=track.rate_deg_h,
            rotation_deg=track.rotation_deg,
            longest_s=np.nan_to_num(track.longest_sub_s, nan=0.0, posinf=np.inf),
            state=state,
            coverage=blank,
            cable_deg=self._cable_deg(track, axis),
        )
        angles = kept_angles_deg(result)
        if not angles.size:
            return result
        stack = rotation.stack_map(angles_deg=angles, columns=COLUMNS, **self.chip)
        cell = (stack.x_px[1] - stack.x_px[0]) ** 2 / (self.chip["width_px"] * self.chip["height_px"])
        return result._replace(
            coverage=stack.coverage,
            common=float(np.sum(stack.coverage > figure.SHARES[-2]) * cell),
            half_depth=float(np.sum(stack.relative_snr >= HALF_SNR - 1e-9) * cell),
        )

    def with_range(self, result, *, start_h, **values) -> figure.TurnedStack:
        """The areas counted finely, and the common one for a start a quarter of an hour earlier and later."""
        if result.common is None:
            return result
        near = [self.turned_stack(start_h=start_h + shift, **values) for shift in (-EARLIER_H, EARLIER_H)]
        areas = [self._share(other, 1.0) for other in (result, *near) if other.common is not None]
        return result._replace(
            common=areas[0], half_depth=self._share(result, HALF_SNR), common_range=(min(areas), max(areas))
        )

    def zone_deg(self, axis):
        """How near to its axis the head loses a star: as upright in the passport, less with a tilt, 0 on the pole."""
        lean = np.cos(np.radians(self.latitude_deg))
        if self.upright_zone_deg <= 0.0 or lean < 1e-6:
            return 0.0
        upright = np.abs(np.sin(np.radians(self.latitude_deg)))
        highest = upright + lean / np.tan(np.radians(self.upright_zone_deg))
        return float(
            rotation.zenith_zone_deg(
                highest_rate_arcsec_s=highest * HOUR_DEG, latitude_deg=self.latitude_deg, **axis
            )
        )

    def _state(self, track, axis):
        star = pointing.direction(altitude_deg=track.altitude_deg, azimuth_deg=track.azimuth_deg)
        end = pointing.direction(altitude_deg=axis["axis_altitude_deg"], azimuth_deg=axis["axis_azimuth_deg"])
        away = np.degrees(np.arctan2(np.linalg.norm(np.cross(star, end), axis=-1), np.abs(star @ end)))
        state = np.where(track.smear_px <= self.tolerance_px, figure.KEPT, figure.TURNING)
        state = np.where(away < self.zone_deg(axis), figure.ZONE, state)
        lift = refraction_arcmin(altitude_deg=track.altitude_deg, **self.air)
        apparent = track.altitude_deg + np.nan_to_num(lift) / ARCMIN_PER_DEG  # as the mask was measured
        seen = self.mask.open(altitude_deg=apparent, azimuth_deg=track.azimuth_deg)
        return np.where(seen & (apparent > 0.0), state, figure.HIDDEN)

    def _cable_deg(self, track, axis):
        turns = rotation.cable_turn_deg(
            dec_deg=self.dec_deg,
            latitude_deg=self.latitude_deg,
            start_hour_angle_deg=track.hour_angle_deg[0],
            end_hour_angle_deg=track.hour_angle_deg,
            **axis,
        )
        return float(np.ptp(turns))

    def _share(self, result, lowest):
        return rotation.deep_share(
            angles_deg=kept_angles_deg(result), lowest_relative_snr=lowest, **self.chip
        )


def kept_angles_deg(result):
    """The turn of the kept subs since the first of them, of many an even choice with both ends."""
    angles = result.rotation_deg[result.state == figure.KEPT]
    chosen = np.unique(np.linspace(0, len(angles) - 1, min(MOST_SUBS, len(angles))).round().astype(int))
    return angles[chosen] - angles[0] if angles.size else angles


def _readout(basis, result):
    """How much of the frame all subs share, and which minutes are lost."""
    low, high = result.common_range or (None, None)
    return Readout(
        "Frame common to all kept subs",
        None if result.common is None else 100.0 * result.common,
        "%",
        f"{basis}; tolerance assumed",
        verdict(result),
        digits=0,
        low=None if low is None else 100.0 * low,
        high=None if high is None else 100.0 * high,
        share="start ±15 min:",
    )


def verdict(result) -> str:
    """What is kept and lost of the time in view, when, and what is left at half depth."""
    if not len(result.hours_h):
        return f"{result.target} passes through the axis: no head can follow there. Move the axis a little."
    in_view = result.state != figure.HIDDEN
    if not in_view.any():
        return f"{result.target} is not in view in these hours. Choose another start."
    kept, seen = (np.sum(chosen) / 60.0 for chosen in (result.state == figure.KEPT, in_view))
    said = [f"Kept {kept:.1f} of {seen:.1f} h in view."]
    for state, words in (
        (figure.TURNING, "Turns too fast"),
        (figure.ZONE, "Head too slow"),
    ):
        lost = figure.spans(result.hours_h, result.state == state)
        if lost:
            said.append(
                f"{words} {' and '.join(f'{figure.clock(a)} to {figure.clock(b)} h' for a, b in lost[:3])}."
            )
    if result.half_depth is not None:
        said.append(f"At least half of the subs hold {100 * result.half_depth:.0f} % of a frame's area.")
    return " ".join(said)
