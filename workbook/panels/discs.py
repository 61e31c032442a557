"""The panel of lesson 13: a body in true pixels, its blur, and how long a clip may run in alt-az."""

from __future__ import annotations

import datetime as dt
import functools
import math
from functools import partial
from typing import NamedTuple

import numpy as np

from workbook import drive, night, optics, rotation, sampling
from workbook.constants import ARCSEC_PER_RAD, GAUSSIAN_FWHM_PER_SIGMA, SIDEREAL_RATE_ARCSEC_S
from workbook.figures import discs as figure
from workbook.panels.controls import choice, slider
from workbook.panels.disc_picture import in_pixels
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout

SHOWN = ("Jupiter", "Saturn", "Mars", "Venus", "Moon", "Sun")
NIGHTS = {
    "17 February 2027": "2027-02-17",
    "10 October 2026": "2026-10-10",
    "20 December 2026": "2026-12-20",
}
MOMENTS = {"highest in the dark": 0, "3 h before": -3, "3 h after": 3}
GREEN_NM = 550.0
GROWTH = 0.05  # a smear may widen the blur by one part in twenty (a convention of this workbook)
STEP_MIN, MOTION_S = 10, 120
DARK_SUN_DEG = -6.0  # planets and the Moon are looked for in the dark only: nothing is pointed by day
LOW_DEG, ZENITH_DEG = 20.0, 88.0  # lower or higher than this the words say so
BLUR_SIGMA = 0.1  # of a real blur beside this model: focus, collimation, colours; judged, not measured
DRAWS, SEED = 2000, 13
# Pole of Saturn, right ascension and declination: Archinal et al. 2018, CMDA 130, 22, table 1.
SATURN_POLE_DEG = (40.589, 83.537)


class Seen(NamedTuple):
    """A body at one moment; places and rates are NaN where none is computed, and `reason` says why."""

    diameter_arcsec: float
    phase_angle_deg: float
    ring_tilt_deg: float
    altitude_deg: float
    azimuth_deg: float
    rate_deg_h: float
    motion_arcsec_s: float
    time_utc: np.datetime64 | None
    reason: str


class DayPlace(NamedTuple):
    """Where the shadow of an upright points, how far to turn right from it to a body, and the body's altitude [°]."""

    shadow_azimuth_deg: float
    turn_deg: float
    altitude_deg: float
    sun_apart_deg: float


def build_discs(passport) -> Panel:
    """The panel for this passport's rig, scaled with the aperture at the same focal ratio, and for its site."""
    aperture = passport["optics.aperture_mm"]
    seeing = passport["night.seeing_arcsec"]
    controls = {
        "aperture_mm": slider("Aperture", aperture, min(30.0, aperture), max(250.0, aperture), step=1.0),
        "extender": slider("Extender, times", 1.0, 1.0, 5.0, step=0.1),
        "seeing_arcsec": slider("Seeing", seeing, min(0.5, seeing), max(5.0, seeing), step=0.1),
        "clip_s": slider("Clip length", 60.0, 1.0, 1800.0, log=True),
        "body": choice("Body", "Jupiter", SHOWN),
        "evening": choice("Night", NIGHTS["17 February 2027"], NIGHTS),
        "moment": choice("When", 0, MOMENTS),
    }
    rig = passport.central()
    critical = round(_critical_extender(rig), 1)
    copied = round(float(np.clip(5.0 * rig["camera.pixel_um"] / _f_ratio(rig), 1.0, 5.0)), 1)
    return Panel(
        figure,
        partial(discs, rig, functools.cache(partial(seen, _place(passport)))),
        controls,
        partial(_readout, "measured" if passport.is_measured("night.seeing_arcsec") else "assumed"),
        presets={
            "Critical focal ratio": {"extender": float(np.clip(critical, 1.0, 5.0))},
            "Copied: 5× pixel, 2 min": {"extender": copied, "clip_s": 120.0},
            "The Moon, 2 min": {"body": "Moon", "clip_s": 120.0},
        },
        slow=partial(_with_range, passport),
        title="Moon, Sun and planets from a mount in alt-az",
        height_px=500,
    )


def discs(
    rig, look_up, *, aperture_mm, extender, seeing_arcsec, clip_s, body, evening, moment
) -> figure.Discs:
    """Size, blur, limits and picture of one body; `look_up` gives its `seen` place."""
    place = look_up(body, evening, moment)
    f_ratio = _f_ratio(rig) * extender
    scale = optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=f_ratio * aperture_mm)
    blur = _blur(rig, aperture_mm, seeing_arcsec, scale)
    smear = float(sampling.allowed_smear_arcsec(fwhm_arcsec=blur["total_arcsec"], growth=GROWTH))
    limits = _limits(rig, place, body, scale, smear)
    disc_px = place.diameter_arcsec / scale
    turned = 0.0 if math.isnan(place.rate_deg_h) else place.rate_deg_h * clip_s / 3600.0
    width = float(sampling.mosaic_sigma_px(rig["camera.mosaic"])) * GAUSSIAN_FWHM_PER_SIGMA
    picture = in_pixels(
        body=body,
        phase_angle_deg=place.phase_angle_deg,
        ring_tilt_deg=place.ring_tilt_deg,
        diameter_px=disc_px,
        blur_px=math.hypot(blur["short_arcsec"] / scale, width),
        spin_px=clip_s * smear / limits["spin_s"] / scale,
        turn_deg=turned,
    )
    return figure.Discs(
        body=body,
        when=_when(evening, place),
        diameter_arcsec=place.diameter_arcsec,
        disc_px=disc_px,
        scale_arcsec_px=scale,
        image=picture.image,
        side_px=picture.side_px,
        whole=picture.whole,
        f_ratio=f_ratio,
        aperture_r0=_in_r0(aperture_mm, seeing_arcsec),
        critical_f=_critical_f(rig),
        critical_extender=_critical_extender(rig),
        diffraction_arcsec=blur["diffraction_arcsec"],
        air_arcsec=math.sqrt(max(blur["short_arcsec"] ** 2 - blur["diffraction_arcsec"] ** 2, 0.0)),
        pixel_arcsec=blur["pixel_arcsec"],
        total_arcsec=blur["total_arcsec"],
        long_arcsec=math.sqrt(blur["diffraction_arcsec"] ** 2 + seeing_arcsec**2 + blur["pixel_arcsec"] ** 2),
        smear_arcsec=smear,
        **limits,
        clip_s=clip_s,
        longest_s=float(np.minimum(limits["spin_s"], limits["turn_s"])),
        motion_arcsec_s=place.motion_arcsec_s,
        rate_deg_h=place.rate_deg_h,
        altitude_deg=place.altitude_deg,
        azimuth_deg=place.azimuth_deg,
        reason=place.reason,
    )


def _in_r0(aperture_mm, seeing_arcsec):
    """The aperture in units of Fried's r0 at 500 nm, 0.98 λ/seeing (reference row SEE-01)."""
    return aperture_mm * seeing_arcsec / (0.98 * 500e-6 * ARCSEC_PER_RAD)


def _f_ratio(rig):
    return rig["optics.focal_mm"] / rig["optics.aperture_mm"]


def _critical_f(rig):
    return float(sampling.critical_f_ratio(pixel_um=rig["camera.pixel_um"], wavelength_nm=GREEN_NM))


def _critical_extender(rig):
    return _critical_f(rig) / _f_ratio(rig)


def _blur(rig, aperture_mm, seeing_arcsec, scale_arcsec_px):
    """Widths at half height [″]; squares add, as in `sampling.blur_budget`."""
    diffraction = optics.airy_fwhm_arcsec(aperture_mm=aperture_mm, wavelength_nm=GREEN_NM)
    short = sampling.short_frame_fwhm_arcsec(
        aperture_mm=aperture_mm, seeing_arcsec=seeing_arcsec, wavelength_nm=GREEN_NM
    )
    box = 1.0 / 12.0 + sampling.mosaic_sigma_px(rig["camera.mosaic"]) ** 2
    pixel = GAUSSIAN_FWHM_PER_SIGMA * np.sqrt(box) * scale_arcsec_px
    total = np.hypot(short, pixel)
    widths = {"diffraction": diffraction, "short": short, "pixel": pixel, "total": total}
    return {f"{name}_arcsec": value for name, value in widths.items()}


def _limits(rig, place, body, scale, smear):
    """Longest clip by spin and by the turning field, longest frame by own motion and gears [s]."""
    spin = np.inf * smear
    if body in sampling.SPIN_H:
        spin = sampling.spin_limit_s(
            diameter_arcsec=place.diameter_arcsec, period_h=sampling.SPIN_H[body], smear_arcsec=smear
        )
    turn = np.nan
    if not math.isnan(place.rate_deg_h):
        turn = rotation.longest_sub_on_sky_s(
            altitude_deg=place.altitude_deg, azimuth_deg=place.azimuth_deg, latitude_deg=rig["site.latitude_deg"],
            radius_px=0.5 * place.diameter_arcsec / scale, tolerance_px=smear / scale,
        )  # fmt: skip
    gears = sum(
        drive.largest_rate_arcsec_s(peak_to_peak_arcsec=rig[f"drive.{name}"], period_s=period)
        for name, period in (
            ("gear_error_arcsec", rig["drive.gear_period_s"]),
            ("second_harmonic_arcsec", 0.5 * rig["drive.gear_period_s"]),
        )
    )
    own, gear = (
        sampling.drift_limit_s(drift_arcsec_s=rate, scale_arcsec_px=scale, tolerance_px=1.0)
        for rate in (place.motion_arcsec_s, gears)
    )
    return {"spin_s": spin, "turn_s": turn, "own_s": own, "gear_s": gear}


# Where it stands


def _place(passport):
    return {name: passport[f"site.{name}"] for name in ("latitude_deg", "longitude_deg", "height_m")}


def seen(place, body, evening, moment_h) -> Seen:
    """A body on a night: at its highest while the Sun is 6° down, or some hours from then.

    Of the Sun the size only: its place in the sky is left out, and its motion is the mean of the year.
    """
    noon = np.datetime64(evening) + np.timedelta64(round(60.0 * (12.0 - place["longitude_deg"] / 15.0)), "m")
    if body == "Sun":
        size = night.disc(name=body, **place, times_utc=noon).diameter_arcsec
        motion = SIDEREAL_RATE_ARCSEC_S - sampling.drive_rate_arcsec_s(orbit_h=sampling.ORBIT_H["Sun"])
        return Seen(size, 0.0, 0.0, np.nan, np.nan, np.nan, motion, None, "not computed: Sun gate")
    times = noon + np.arange(0, 1440, STEP_MIN) * np.timedelta64(1, "m")
    body_there = night.disc(name=body, **place, times_utc=times)
    dark = night.sun(**place, times_utc=times).altitude_deg < DARK_SUN_DEG
    best = int(np.argmax(np.where(dark, body_there.altitude_deg, -90.0)))
    at = best + moment_h * 60 // STEP_MIN
    reason = ""
    if not dark.any():
        reason = "no dark hour"
    elif not 0 <= at < times.size or not dark[at]:
        reason = "it is not dark then"
    elif body_there.altitude_deg[at] <= 0.0:
        reason = "below the horizon"
    at = at if not reason else best
    time = times[at]
    one, two = (
        night.disc(name=body, **place, times_utc=time + k * np.timedelta64(MOTION_S, "s")) for k in (0, 1)
    )
    motion = sampling.own_motion(
        start_ra_deg=one.ra_deg, start_dec_deg=one.dec_deg, end_ra_deg=two.ra_deg, end_dec_deg=two.dec_deg,
        interval_s=MOTION_S,
    )  # fmt: skip
    tilt = _ring_tilt_deg(one) if body == "Saturn" else 0.0
    if reason:
        return Seen(one.diameter_arcsec, one.phase_angle_deg, tilt, *[np.nan] * 4, None, reason)
    rate = rotation.rotation_rate_deg_h(
        altitude_deg=one.altitude_deg, azimuth_deg=one.azimuth_deg, latitude_deg=place["latitude_deg"]
    )
    reason = "too close to the zenith" if math.isnan(rate) else ""
    return Seen(
        one.diameter_arcsec, one.phase_angle_deg, tilt, one.altitude_deg, one.azimuth_deg, float(rate),
        float(motion.total_arcsec_s), time, reason,
    )  # fmt: skip


def _ring_tilt_deg(body):
    """How far Saturn's north pole leans towards us."""
    pole_ra, pole_dec, ra, dec = np.radians([*SATURN_POLE_DEG, body.ra_deg, body.dec_deg])
    toward = np.sin(pole_dec) * np.sin(dec) + np.cos(pole_dec) * np.cos(dec) * np.cos(ra - pole_ra)
    return float(np.degrees(np.arcsin(-toward)))


def _when(evening, place):
    day = dt.date.fromisoformat(evening)
    words = f"night of {day.day} {day:%B %Y}"
    if place.time_utc is None:
        return words
    clock = place.time_utc.astype("M8[m]").item()
    return f"{words}, {clock:%H:%M} UTC"


def day_place(*, gate, passport, name, time_utc) -> DayPlace:
    """By day: turn an upright telescope from the line of its shadow to the Moon or a planet, without a star.

    `gate` is the opened Sun gate; while it is closed it raises and nothing is computed. Raises ValueError
    for the Sun itself, for a body below the horizon, and for one within 30° of the Sun: wait for another day.
    """
    if not callable(getattr(gate, "require_open", None)):
        raise TypeError(f"gate must be the opened Sun gate, received {gate!r}: tick its checklist first")
    gate.require_open()
    if name == "Sun":
        raise ValueError(
            "name must be the Moon or a planet: the Sun itself is aimed at by the smallest shadow"
        )
    place = _place(passport)
    body = night.disc(name=name, **place, times_utc=time_utc)
    shadow = night.sun_shadow(gate=gate, **place, times_utc=time_utc, clock_sigma_s=30.0, place_sigma_m=500.0)
    if math.isnan(shadow.azimuth_deg) or body.altitude_deg <= 0.0:
        raise ValueError(f"{name} and the Sun must both be up at {time_utc}: choose another hour")
    sun_az, sun_alt = math.radians(shadow.azimuth_deg + 180.0), math.radians(shadow.sun_altitude_deg)
    az, alt = math.radians(body.azimuth_deg), math.radians(body.altitude_deg)
    cosine = math.sin(alt) * math.sin(sun_alt) + math.cos(alt) * math.cos(sun_alt) * math.cos(az - sun_az)
    apart = math.degrees(math.acos(max(-1.0, min(1.0, cosine))))
    if apart < 30.0:
        raise ValueError(f"{name} stands {apart:.0f}° from the Sun, less than 30°: wait for another day")
    turn = (body.azimuth_deg - shadow.azimuth_deg + 180.0) % 360.0 - 180.0
    return DayPlace(shadow.azimuth_deg, turn, body.altitude_deg, apart)


# Words


def _with_range(passport, result, *, aperture_mm, extender, seeing_arcsec, **_):
    """The range of the longest clip: aperture, focal length, seeing and the blur itself drawn from their spreads."""
    if not result.longest_s <= figure.LONGEST_S:
        return result
    rig = passport.draw(DRAWS, SEED)
    aperture, focal, seeing = (
        np.asarray(rig[key]) / passport[key]
        for key in ("optics.aperture_mm", "optics.focal_mm", "night.seeing_arcsec")
    )
    blur = _blur(rig, aperture_mm * aperture, seeing_arcsec * seeing, result.scale_arcsec_px / focal)
    model = np.exp(BLUR_SIGMA * np.random.default_rng(SEED).standard_normal(DRAWS))
    # Both limits grow as the smear that is allowed.
    longest_s = result.longest_s * model * blur["total_arcsec"] / result.total_arcsec
    low, high = np.nanpercentile(longest_s, [16.0, 84.0])
    return result._replace(longest_68_s=(float(low), float(high)))


def _readout(basis, result):
    value = result.longest_s if math.isfinite(result.longest_s) else None
    name = "Longest clip for 5 % more blur"
    if value is not None and value > figure.LONGEST_S:
        return Readout(name, 60.0, "min or more", basis, verdict(result), digits=0)
    minutes = value is not None and value >= 99.5
    factor = 60.0 if minutes else 1.0
    low, high = (None, None) if result.longest_68_s is None else (end / factor for end in result.longest_68_s)
    return Readout(
        name,
        None if value is None else value / factor,
        "min" if minutes else "s",
        basis,
        verdict(result),
        digits=1 if minutes or (value or 0.0) < 9.95 else 0,
        low=low,
        high=high,
    )


def verdict(result) -> str:
    """What the disc can show, whether the pixels are fine enough, and whether the clip is too long and why."""
    across = result.diameter_arcsec / result.total_arcsec
    blurs = f"{across:.0f}" if across >= 9.5 else f"{across:.1f}"
    words = f"{result.body} is {result.disc_px:.0f} px or {blurs} blurs wide"
    if not result.reason or result.body == "Sun":
        words += f": {expectation(result.body, across)}"
    words += "."
    if result.altitude_deg < LOW_DEG:
        words += f" Only {result.altitude_deg:.0f}° high: the air will show less."
    elif result.altitude_deg > ZENITH_DEG:
        words += " So near the zenith an upright mount may not keep up."
    if result.f_ratio < 0.9 * result.critical_f:
        words += f" Coarse pixels: {result.critical_extender:.1f}× would reach the critical focal ratio."
    elif result.f_ratio > 1.1 * result.critical_f:
        words += (
            f" Finer than needed: {(result.f_ratio / result.critical_f) ** 2:.1f} times less light per pixel."
        )
    else:
        words += " Critically sampled."
    if result.aperture_r0 > 4.0:
        words += " In this air a wide halo takes most of the contrast."
    if math.isnan(result.turn_s):
        if result.body == "Sun":
            return f"{words} Size only: where it stands, and so the clip, is behind the Sun gate."
        return f"{words} No clip can be planned: {result.reason}."
    if not math.isfinite(result.longest_s):
        return f"{words} Nothing limits the clip here."
    cause = "spin" if result.spin_s <= result.turn_s else "the turning field"
    if result.clip_s <= result.longest_s:
        return f"{words} Your clip is within the limit, set by {cause}."
    return f"{words} Your clip is {result.clip_s / result.longest_s:.1f} times too long, by {cause}."


def expectation(body, across) -> str:
    """What a practised eye may hope to find on a disc so many blurs wide, in fair contrast."""
    if body == "Sun":
        return "never without a front filter made for telescopes; then its larger spots"
    if body == "Moon":
        return "craters down to about two blurs"
    if across < 4.0:
        return "a small ball and its ring" if body == "Saturn" else "a small disc, no markings"
    if across < 12.0:
        return {
            "Jupiter": "a disc, " + ("a hint of its belts" if across < 7.0 else "perhaps its two main belts"),
            "Saturn": "the ball and its ring",
            "Venus": "its phase",
        }.get(body, "a disc, perhaps one dark patch")
    if across < 25.0:
        return {
            "Jupiter": "two belts and the flattened disc",
            "Saturn": "the ring apart from the ball",
            "Venus": "its phase",
        }.get(body, "the larger dark patches")
    return {
        "Jupiter": "belts and large spots",
        "Saturn": "the gap in an open ring",
        "Venus": "its phase",
    }.get(body, "dark patches and a polar cap")
