"""The lesson's panel on hours: target, sky, hours and boxes of pixels against a clear picture."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from workbook import exposure, pointing, sky
from workbook.constants import REFERENCE_SKY_MAG_ARCSEC2
from workbook.figures import how_many_hours as figure
from workbook.panels.controls import choice, slider
from workbook.panels.nebula import binned_nebula
from workbook.panels.one_exposure import gears_knee_s
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.verdict import light
from workbook.verdict.conditions import conditions
from workbook.verdict.rates import minute_rates

WANTED_SNR, ALTITUDE_DEG, DRAWS, SEED = 10.0, 45.0, 1500, 10
OBJECT_SIGMA_MAG = 0.2  # tables of surface brightness differ by that much; an assumption
SKIES = np.linspace(figure.BRIGHTEST, figure.DARKEST, 51)
MOON = {"zenith_distance_deg": 45.0, "moon_zenith_distance_deg": 50.0, "separation_deg": 60.0}
FILTERS = {
    "none": (1.0, 1.0),
    "dual band on a nebula": (sky.DUAL_BAND[0].peak, sky.band_fraction(filters=sky.DUAL_BAND)),
    "dual band on a galaxy": (sky.band_fraction(filters=sky.DUAL_BAND),) * 2,
}  # share of the object's light, and of the sky's, that passes
GUIDED = {"unguided": False, "guided": True}


def build_how_many_hours(passport) -> Panel:
    """The panel for this passport: its optics and sensor, and the best subs of its planned night."""
    rig, sky_mag = passport.central(), passport["site.sky_mag_arcsec2"]
    ways = {words: _way(passport, guided) for words, guided in GUIDED.items()}
    clean = {"filters": "none"}
    controls = {
        "target_mag_arcsec2": slider("Target", 22.0, 20.0, 25.0, step=0.1),
        "sky_mag_arcsec2": slider("Sky", sky_mag, min(17.0, sky_mag), max(22.0, sky_mag), step=0.1),
        "hours_h": slider("Hours on the clock", 3.0, 0.25, 40.0, log=True),
        "binning": choice("Boxes of pixels", 3, {f"{n} × {n}": n for n in (1, 2, 3, 4)}),
        "filters": choice("Filter", "none", list(FILTERS)),
        "way": choice("Subs", "unguided", list(GUIDED)),
    }
    full = round(moonlit_mag(rig, sky_mag, phase_angle_deg=0.0), 1)
    quarter = round(moonlit_mag(rig, sky_mag, phase_angle_deg=90.0), 1)
    measured = passport.is_measured("site.sky_mag_arcsec2")
    return Panel(
        figure,
        partial(how_many_hours, rig, ways),
        controls,
        partial(_readout, "measured sky" if measured else "assumed"),
        presets={
            "Half Moon": clean | {"sky_mag_arcsec2": max(quarter, 17.0)},
            "Full Moon": clean | {"sky_mag_arcsec2": max(full, 17.0)},
            "Dual band on a nebula": {"filters": "dual band on a nebula"},
        },
        slow=partial(_with_range, passport, ways),
        title="How many hours until the picture is clear?",
    )


def moonlit_mag(passport, sky_mag_arcsec2, *, phase_angle_deg) -> float:
    """The sky at a target at 45° with the Moon 40° high and 60° away [mag/″²]; the phase angle is 0 when full.

    The moonlight is added to the given sky as it stands at the target, so a new Moon changes nothing.
    """
    moon = sky.moonlight_nl(
        phase_angle_deg=phase_angle_deg, extinction_mag=passport["night.extinction_mag"], **MOON
    )
    dark = sky.nanolambert_nl(sky_mag_arcsec2=sky_mag_arcsec2)
    return float(sky.sky_mag_arcsec2(brightness_nl=dark + moon))


def _way(passport, guided):
    """Best sub, share of subs kept and usable hours of the planned night; nine in ten at the knee without one."""
    rig = passport.central()
    night = conditions(passport, target=passport["plan.target"], date=passport["plan.date"])
    if night is not None:
        rates = minute_rates(rig, night, mode="tilted", guided=guided)
        if rates.usable.any():
            kept = float(rates.frame_yield[rates.usable].mean())
            return {"sub_s": rates.sub_s, "frame_yield": kept, "night_h": float(rates.usable.sum()) / 60.0}
    return {"sub_s": 60.0 if guided else min(gears_knee_s(rig), 60.0), "frame_yield": 0.9, "night_h": 0.0}


def _rates(rig, target_mag, skies, filters):
    """Electrons of the object behind air and filter, and of the skies behind the filter [e⁻/s/px]."""
    passed, glow = FILTERS[filters]
    air = sky.transmission(
        extinction_mag=rig["night.extinction_mag"],
        airmass=pointing.airmass(apparent_altitude_deg=ALTITUDE_DEG),
    )
    return light.surface_e_s_px(rig, target_mag) * air * passed, light.surface_e_s_px(rig, skies) * glow


def hours_needed_h(rig, way, *, target_mag_arcsec2, sky_mag_arcsec2, pixels, filters):
    """Hours on the clock until some pixels together have a signal-to-noise of 10 [h].

    Parameters
    ----------
    rig : mapping
        A passport's values, numbers or arrays.
    way : mapping
        sub_s [s] and frame_yield.
    target_mag_arcsec2, sky_mag_arcsec2 : float or array
        Brightness of target and sky [mag/″²]; the target 45° high behind the passport's air.
    pixels : float
        How many pixels are averaged.
    filters : str
        A key of FILTERS.
    """
    object_e, sky_e = _rates(rig, target_mag_arcsec2, sky_mag_arcsec2, filters)
    return exposure.hours_to_snr_h(
        snr=WANTED_SNR,
        object_e_s_px=object_e,
        sky_e_s_px=sky_e,
        dark_e_s_px=light.dark_e_s_px(rig, light.warm_sensor_degc(rig)),
        read_noise_e=rig["camera.read_noise_e"],
        pixels=pixels,
        sub_s=way["sub_s"],
        frame_yield=way["frame_yield"],
        overhead_s=light.overhead_s(rig),
    )


def how_many_hours(rig, ways, *, target_mag_arcsec2, sky_mag_arcsec2, hours_h, binning, filters, way):
    """Hours over the sky, and three pictures with the noise that each of them has."""
    chosen, dark_mag = ways[way], REFERENCE_SKY_MAG_ARCSEC2
    known = {"target_mag_arcsec2": target_mag_arcsec2, "pixels": binning**2, "filters": filters}
    needed, dark_needed = (
        float(hours_needed_h(rig, chosen, sky_mag_arcsec2=mag, **known))
        for mag in (sky_mag_arcsec2, dark_mag)
    )
    curve = hours_needed_h(rig, chosen, sky_mag_arcsec2=SKIES, **known)
    snr, dark_snr = (WANTED_SNR * math.sqrt(hours_h / needed_h) for needed_h in (needed, dark_needed))
    shape, dice = binned_nebula(binning)
    return figure.HowManyHours(
        target_mag=target_mag_arcsec2,
        sky_mag=sky_mag_arcsec2,
        hours_h=hours_h,
        dark_mag=dark_mag,
        needed_h=needed,
        dark_needed_h=dark_needed,
        skies=SKIES,
        curve_h=curve,
        rule_h=needed * 10 ** (0.4 * (sky_mag_arcsec2 - SKIES)),
        snr=snr,
        dark_snr=dark_snr,
        pictures=tuple(shape + dice / max(ratio, 1e-3) for ratio in (snr, dark_snr, dark_snr)),
        matched_h=hours_h * needed / dark_needed,
        night_h=chosen["night_h"],
        sub_s=chosen["sub_s"],
        binning=binning,
    )


def _with_range(passport, ways, result, *, target_mag_arcsec2, sky_mag_arcsec2, binning, filters, way, **_):
    """Ranges by drawing optics, sensor, air, the sky's spread and that of the target's brightness."""
    rig = passport.draw(DRAWS, SEED)
    shift = np.asarray(rig["site.sky_mag_arcsec2"]) - passport["site.sky_mag_arcsec2"]
    target = target_mag_arcsec2 + OBJECT_SIGMA_MAG * np.random.default_rng(SEED).standard_normal(DRAWS)
    known = {"target_mag_arcsec2": target, "pixels": binning**2, "filters": filters}
    at = np.linspace(figure.BRIGHTEST, figure.DARKEST, 11)
    drawn = [
        hours_needed_h(rig, ways[way], sky_mag_arcsec2=mag + shift, **known) for mag in (*at, sky_mag_arcsec2)
    ]
    ends = np.percentile(drawn, [16.0, 84.0], axis=1)
    bands = np.stack([np.exp(np.interp(SKIES, at, np.log(end[:-1]))) for end in ends])
    return result._replace(needed_68_h=tuple(ends[:, -1].tolist()), curve_68_h=bands)


def _readout(basis, result):
    low, high = (None, None) if result.needed_68_h is None else result.needed_68_h
    minutes = result.needed_h < 1.0
    factor = 60.0 if minutes else 1.0
    return Readout(
        "Clock time until the signal to noise is 10",
        factor * result.needed_h,
        "min" if minutes else "h",
        basis,
        verdict(result),
        digits=0 if factor * result.needed_h >= 99.5 else 1,
        low=None if low is None else factor * low,
        high=None if high is None else factor * high,
    )


def verdict(result) -> str:
    """What the chosen hours give, what the dark sky would change, and whether nights like the plan's suffice."""
    hours = figure.long_duration(result.hours_h)
    times = result.needed_h / result.dark_needed_h
    words = f"{hours} give a signal to noise of {figure.figures(result.snr)}. "
    if times > 1.05:
        words += f"Dark country needs {times:.1f} times less. "
    if result.snr >= WANTED_SNR:
        return words + "Clear enough: more hours help slowly, twice as clear takes four times as long."
    if result.night_h:
        nights = result.needed_h / result.night_h
        count = (
            "one night"
            if nights <= 1.0
            else f"{nights:.0f} nights"
            if nights > 9.5
            else f"{nights:.1f} nights"
        )
        words += f"At {result.night_h:.1f} usable hours a night that is {count} like the planned one."
    if result.needed_h > 100.0:
        words += " That is more than a season: take larger boxes, a brighter target or a darker sky."
    return words


def hours_to_clear_h(passport, *, guided=False, subs_of=None, **changes) -> float:
    """Hours on the clock until a target is clear: signal-to-noise 10 in boxes of 3 × 3 pixels [h].

    `changes` are target_mag_arcsec2 (22), sky_mag_arcsec2 (the passport's), pixels (9) and filters ("none");
    `subs_of` is a passport whose subs are used instead of this one's own.
    """
    known = {"target_mag_arcsec2": 22.0, "sky_mag_arcsec2": passport["site.sky_mag_arcsec2"]}
    known |= {"pixels": 9, "filters": "none"}
    return float(hours_needed_h(passport.central(), _way(subs_of or passport, guided), **known | changes))
