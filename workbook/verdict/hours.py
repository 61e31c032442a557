"""From minutes to hours: which minutes count, how much each is worth, and the sum of a night.

kept hours     = Σ usable · frame yield · duty · Δt
finished hours = Σ usable · frame yield · duty · w · b_ref / (b + RN²/t) · Δt
with b = sky + dark [e⁻/s/px], w the squared transmission of the object's light through the air and b_ref the
sky rate of the same optics under 21.5 mag/″² with no dark current and no read noise. A finished hour is
therefore an hour of a perfect rig above the air under a dark country sky: the common coin of all causes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook import exposure, power, sensor, sky
from workbook.constants import REFERENCE_SKY_MAG_ARCSEC2
from workbook.verdict import light
from workbook.verdict.conditions import STEP_S, Conditions

MODES = ("alt-az", "tilted")


@dataclass(frozen=True)
class Minutes:
    """What each minute is worth before sub length and path come in; arrays (draws, minutes) or (minutes,)."""

    usable: np.ndarray  # 1 where a frame can be taken, 0 elsewhere
    background_e_s_px: np.ndarray
    weight: np.ndarray  # w · b_ref, so that finished hours are Σ usable · yield · duty · weight / (b + RN²/t)


def minutes(
    rig: dict, night: Conditions, *, mode: str, guided: bool, without: frozenset = frozenset()
) -> Minutes:
    """Which minutes count, and how bright the background is in each.

    Parameters
    ----------
    rig : dict
        Passport numbers, each a float or an array of shape (draws, 1).
    night : Conditions
        One night, one target.
    mode, guided
        As in `path_terms`.
    without : frozenset of str
        Causes to leave out: "horizon", "set-up", "zenith", "battery", "dew", "sky", "moon", "dark",
        "extinction".
    """
    return Minutes(
        usable=usable(rig, night, mode=mode, guided=guided, without=without),
        background_e_s_px=_background(rig, night, mode, without),
        weight=_weight(rig, night, without),
    )


def usable(rig, night, *, mode, guided, without=frozenset()):
    """1.0 for each minute in which a frame can be taken, else 0.0: view, set-up, batteries, dew, zenith."""
    tests = open_minutes(rig, night, mode=mode, guided=guided, without=without)
    return np.logical_and.reduce(np.broadcast_arrays(*tests.values())).astype(float)


def open_minutes(rig, night, *, mode, guided, without=frozenset()):
    """For each cause that can close a minute, whether it leaves it open, in the order of the learner's evening."""
    tests = {"horizon": night.in_view if "horizon" not in without else night.apparent_altitude_deg > 0.0}
    since_min = night.since_set_up_min
    if "set-up" not in without:
        tests["set-up"] = since_min >= np.asarray(set_up_min(rig, mode))
    if mode == "alt-az" and "zenith" not in without:
        tests["zenith"] = night.altitude_deg <= rig["drive.altaz_highest_deg"]
    heated_h = np.inf
    if "battery" not in without:
        heated_h, mount_h = supply_h(rig, guided=guided)
        tests["battery"] = since_min / 60.0 <= np.minimum(heated_h, mount_h)
    if "dew" not in without:
        tests["dew"] = lens_margin_k(rig, night, heated_h=heated_h) > 0.0
    return tests


def supply_h(rig, *, guided):
    """How long the pack and the mount's own cells last, each from the start of the set-up [h]."""
    share = {"usable": rig["power.pack_usable"], "cold": rig["power.pack_cold"]}
    load_w = (
        rig["power.computer_w"]
        + rig["power.camera_w"]
        + (rig["power.guide_camera_w"] if guided else 0.0)
        + rig["power.heater_w"] * np.asarray(rig["power.heater_duty"])
        + rig["power.light_w"]
    )
    pack_h = power.runtime_h(
        energy_wh=rig["power.pack_wh"], converter=rig["power.converter"], load_w=load_w, **share
    )
    cells_wh = power.cells_energy_wh(
        cells=rig["power.mount_cells"], cell_v=rig["power.cell_v"], cell_ah=rig["power.cell_ah"]
    )
    mount_w = rig["power.mount_w"] * np.asarray(rig["power.mount_duty"])
    return pack_h, power.runtime_h(energy_wh=cells_wh, converter=1.0, load_w=mount_w, **share)


def air(rig, night):
    """Air temperature [°C] and relative humidity [%], straight lines through the night."""
    start, end = np.asarray(rig["night.air_start_degc"]), np.asarray(rig["night.air_end_degc"])
    damp, damper = np.asarray(rig["night.humidity_start"]), np.asarray(rig["night.humidity_end"])
    return start + (end - start) * night.night_share, 100.0 * (damp + (damper - damp) * night.night_share)


def lens_margin_k(rig, night, *, heated_h=np.inf):
    """How far the front lens is above dew or frost [K]; dew forms below 0. The heater ends with the pack.

    heated_h, how long the pack feeds the heater from the start of the set-up [h].
    """
    fed = night.since_set_up_min / 60.0 <= heated_h
    air_degc, humidity_pct = air(rig, night)
    return power.lens_margin_k(
        air_degc=air_degc,
        humidity_pct=humidity_pct,
        cooling_k=rig["night.lens_cooling_k"],
        heater_w=rig["power.heater_w"],
        heater_duty=rig["power.heater_duty"] * fed,
        lift_k_w=rig["night.heater_lift_k_w"],
    )


def set_up_min(rig, mode):
    return rig["habits.set_up_altaz_min" if mode == "alt-az" else "habits.set_up_tilted_min"]


def glow_nl(rig, night, without=frozenset()):
    """The zenith without the Moon, and the sky at the target: site glow, natural sky and Moon [nL]."""
    zenith_mag = np.asarray(rig["site.sky_mag_arcsec2"])
    if "sky" in without:
        zenith_mag = np.maximum(zenith_mag, REFERENCE_SKY_MAG_ARCSEC2)
    zenith_nl = sky.nanolambert_nl(sky_mag_arcsec2=zenith_mag)
    extinction_mag = 0.0 if "extinction" in without else rig["night.extinction_mag"]
    distance_deg = np.minimum(90.0 - night.apparent_altitude_deg, 90.0)
    target_nl = sky.dark_sky_nl(
        zenith_nl=zenith_nl, zenith_distance_deg=distance_deg, extinction_mag=extinction_mag
    )
    if "moon" not in without:
        target_nl = target_nl + sky.moonlight_nl(
            zenith_distance_deg=distance_deg,
            moon_zenith_distance_deg=night.moon_zenith_distance_deg,
            separation_deg=night.moon_separation_deg,
            phase_angle_deg=night.moon_phase_angle_deg,
            extinction_mag=extinction_mag,
        )
    return zenith_nl, target_nl


def _background(rig, night, mode, without):
    """Sky (site glow, natural sky, Moon) and dark current of the warming sensor [e⁻/s/px]."""
    zenith_nl, target_nl = glow_nl(rig, night, without)
    zenith_mag = sky.sky_mag_arcsec2(brightness_nl=zenith_nl)
    background = light.surface_e_s_px(rig, zenith_mag) * target_nl / zenith_nl
    if "dark" in without:
        return background
    exposing_min = np.maximum(night.since_set_up_min - np.asarray(set_up_min(rig, mode)), 0.0)
    temperature_degc = sensor.sensor_temperature_degc(
        air_degc=air(rig, night)[0],
        elapsed_min=exposing_min,
        warm_up_k=rig["camera.warm_up_k"],
        warm_up_min=rig["camera.warm_up_min"],
    )
    return background + light.dark_e_s_px(rig, temperature_degc)


def _weight(rig, night, without):
    reference = light.surface_e_s_px(rig, REFERENCE_SKY_MAG_ARCSEC2)
    if "extinction" in without:
        return reference + 0.0 * night.airmass
    transmission = sky.transmission(
        extinction_mag=rig["night.extinction_mag"], airmass=np.nan_to_num(night.airmass)
    )
    return reference * transmission**2


def drawn_rigs(passport, draws: int, seed: int) -> dict:
    """Passport numbers for many draws: arrays of shape (draws, 1) where a number has a spread."""
    numbers = passport.draw(draws, seed)
    return {key: value[:, None] if isinstance(value, np.ndarray) else value for key, value in numbers.items()}


def kept_h(worth: Minutes, frame_yield, duty):
    """Kept hours: summed over the minutes (last axis) [h]."""
    return np.sum(worth.usable * frame_yield, -1) * duty * STEP_S / 3600.0


def finished_h(worth: Minutes, frame_yield, duty, read_noise_e, sub_s):
    """Finished hours: summed over the minutes (last axis) [h]."""
    depth = worth.weight / (worth.background_e_s_px + read_noise_e**2 / sub_s)
    return np.sum(worth.usable * frame_yield * depth, -1) * duty * STEP_S / 3600.0


def duty(rig, sub_s, without=frozenset()):
    """Share of the clock spent exposing."""
    pause_s = 0.0 if "overhead" in without else light.overhead_s(rig)
    return exposure.duty(sub_s=sub_s, overhead_s=pause_s)
