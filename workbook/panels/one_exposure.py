"""The lesson's panel on one exposure: sky, read noise, sub and pause, and what they cost in noise and time."""

from __future__ import annotations

import math
from functools import partial
from typing import NamedTuple

import numpy as np

from workbook import catalogue, drive, exposure, sensor, sky
from workbook.figures import one_exposure as figure
from workbook.panels.controls import choice, slider
from workbook.panels.nebula import made_up_nebula
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.verdict import light

FILTERS = {"none": None, "dual band, 2 × 10 nm": sky.DUAL_BAND, "narrow, 7 nm": sky.NARROW_BAND}
PATCH_MAG_ARCSEC2 = 22.0
CLOCK_S, SEED, DRAWS = 3600.0, 9, 2000
FIELD_MAG, FIELD_DRAWS = 14.0, 200
SUBS_S = np.geomspace(figure.SHORTEST_S, figure.LONGEST_S, 121)


def build_one_exposure(passport) -> Panel:
    """The panel for this passport's rig: its optics, its warm sensor in mid-night, its gears without guiding."""
    sky_mag, noise = passport["site.sky_mag_arcsec2"], passport["camera.read_noise_e"]
    pause = float(light.overhead_s(passport))
    rig = passport.central()
    rig["knee_s"] = gears_knee_s(rig)
    controls = {
        "sky_mag_arcsec2": slider("Sky", sky_mag, min(17.0, sky_mag), max(22.0, sky_mag), step=0.1),
        "read_noise_e": slider("Read noise", noise, min(0.5, noise), max(10.0, noise), step=0.1),
        "sub_s": slider("Sub length", 5.0, figure.SHORTEST_S, figure.LONGEST_S, log=True),
        "overhead_s": slider("Pause after a sub", round(pause, 2), 0.0, max(20.0, pause), step=0.25),
        "filters": choice("Filter", "none", list(FILTERS)),
    }
    measured = passport.is_measured("site.sky_mag_arcsec2") and passport.is_measured("camera.read_noise_e")
    return Panel(
        figure,
        partial(one_exposure, rig),
        controls,
        partial(_readout, "measured" if measured else "assumed"),
        presets={
            "City, 300 s": {"sky_mag_arcsec2": 18.0, "sub_s": 300.0, "filters": "none"},
            "Dark country, 5 s": {"sky_mag_arcsec2": 21.5, "sub_s": 5.0, "filters": "none"},
            "Narrow filter": {"filters": "narrow, 7 nm"},
        },
        slow=partial(_with_range, passport),
        title="One sub, and an hour of them",
    )


def one_exposure(rig, *, sky_mag_arcsec2, read_noise_e, sub_s, overhead_s, filters) -> figure.OneExposure:
    """Noise and time against one endless exposure, and the two stacks of an hour.

    The stacks are drawn as their mean and a normal noise of the right width: with hundreds of electrons in a
    pixel that is what counting gives. Both use the same random numbers, so that only the noise differs.
    """
    passed = sky.band_fraction(filters=FILTERS[filters]) if FILTERS[filters] else 1.0
    glow = float(light.surface_e_s_px(rig, sky_mag_arcsec2)) * passed
    dark = float(light.dark_e_s_px(rig, light.warm_sensor_degc(rig)))
    back = glow + dark
    read = exposure.noise_increase(sub_s=SUBS_S, background_e_s_px=back, read_noise_e=read_noise_e)
    both = (1 + read) * np.sqrt(1 + overhead_s / SUBS_S) - 1
    here = float(exposure.noise_increase(sub_s=sub_s, background_e_s_px=back, read_noise_e=read_noise_e))
    noise = (1 + here) * math.sqrt(1 + overhead_s / sub_s) - 1
    line = FILTERS[filters][0].peak if FILTERS[filters] else 1.0  # a nebula that shines in the lines alone
    patch = float(light.surface_e_s_px(rig, PATCH_MAG_ARCSEC2)) * line
    shape, dice = made_up_nebula()
    light_e = patch * shape
    subs = CLOCK_S / (sub_s + overhead_s)
    open_s = subs * sub_s
    sigma = np.sqrt((light_e + back) * open_s + subs * read_noise_e**2) / open_s
    endless = np.sqrt((light_e + back) * CLOCK_S) / CLOCK_S
    return figure.OneExposure(
        sub_s=sub_s,
        overhead_s=overhead_s,
        sky_e_s_px=glow,
        dark_e_s_px=dark,
        read_noise_e=read_noise_e,
        subs_s=SUBS_S,
        read_curve=read,
        all_curve=both,
        read_share=here,
        noise_share=noise,
        time_share=(1 + noise) ** 2 - 1,
        shortest_s=float(
            exposure.shortest_sub_s(background_e_s_px=back, read_noise_e=read_noise_e, noise_increase=0.05)
        ),
        knee_s=rig["knee_s"],
        stack=light_e + sigma * dice,
        endless=light_e + endless * dice,
        object_e_s_px=patch,
        snr=patch / math.sqrt((patch + back) / open_s + subs * read_noise_e**2 / open_s**2),
        endless_snr=patch / math.sqrt((patch + back) / CLOCK_S),
        subs=round(subs),
        clipped_mag=_clipped_mag(rig, back, sub_s),
    )


def gears_knee_s(rig):
    """The longest sub of which the gears alone, not guided, leave nine in ten within the tolerance."""
    return drive.knee_s(
        peak_to_peak_arcsec=(rig["drive.gear_error_arcsec"], rig["drive.second_harmonic_arcsec"]),
        period_s=(rig["drive.gear_period_s"], 0.5 * rig["drive.gear_period_s"]),
        phase_deg=(0.0, rig["drive.second_harmonic_phase_deg"]),
        tolerance_arcsec=rig["habits.tolerance_px"] * light.scale_arcsec_px(rig),
    )


def _clipped_mag(rig, back_e_s_px, sub_s):
    """The magnitude at which the brightest pixel of a star is full at the end of a sub."""
    full_e_s = sensor.clipping_star_e_s(**_full_pixel(rig, sub_s, back_e_s_px))
    optics_ = {"aperture_mm": rig["optics.aperture_mm"], "throughput": rig["optics.throughput"]}
    return sky.difference_mag(sky.star_e_s(magnitude=0.0, **optics_) / np.maximum(full_e_s, 1e-6))


def _full_pixel(rig, sub_s, back_e_s_px):
    """What `sensor.clipped_stars` wants to know: the stars' width, the sub, the full pixel and the background."""
    return {
        "fwhm_px": light.star_fwhm_arcsec(rig) / light.scale_arcsec_px(rig),
        "sub_s": sub_s,
        "saturation_e": sensor.saturation_e(
            full_well_e=rig["camera.full_well_e"],
            gain_e_adu=rig["camera.gain_e_adu"],
            offset_adu=rig["camera.offset_adu"],
            adc_bits=rig["camera.adc_bits"],
        ),
        "background_e_s_px": back_e_s_px,
    }


class FieldStars(NamedTuple):
    """How many stars of a field clip: central numbers, the 68 % range of both, and of how many stars."""

    target: str
    sub_s: float
    at_least: int
    at_most: int
    low: int
    high: int
    stars: int

    def __str__(self):
        return (
            f"{self.target}, {self.sub_s:g} s: {self.at_least} to {self.at_most} clipped stars "
            f"(range {self.low} to {self.high}) of {self.stars} to {FIELD_MAG:g} mag"
        )


def clipped_in_field(passport, *, sub_s) -> FieldStars:
    """The stars that clip in a frame of the plan's target, north up, under the site's sky.

    A star between four pixels clips later than one in the middle of a pixel: hence two numbers. The range draws
    seeing, optics, sky and camera from the passport's spreads. Stars fainter than G = 10 are synthetic, in the number
    that counts give; magnitudes are those in G, for V, and the air's loss is part of the throughput.
    """
    target = catalogue.find(passport["plan.target"])
    scale = float(light.scale_arcsec_px(passport))
    half = [0.5 * passport[f"camera.{side}_px"] * scale / 3600.0 for side in ("width", "height")]
    seen = catalogue.stars_in_field(
        ra_deg=target.ra_deg, dec_deg=target.dec_deg, radius_deg=math.hypot(*half), faintest_mag=FIELD_MAG
    )
    place = catalogue.tangent_plane_deg(
        ra_deg=seen.ra_deg, dec_deg=seen.dec_deg, centre_ra_deg=target.ra_deg, centre_dec_deg=target.dec_deg
    )
    inside = (np.abs(place.xi_deg) <= half[0]) & (np.abs(place.eta_deg) <= half[1])

    def counted(rig):
        back = light.surface_e_s_px(rig, rig["site.sky_mag_arcsec2"])
        back = back + light.dark_e_s_px(rig, light.warm_sensor_degc(rig))
        stars = sky.star_e_s(
            magnitude=seen.g_mag[inside],
            aperture_mm=rig["optics.aperture_mm"],
            throughput=rig["optics.throughput"],
        )
        return sensor.clipped_stars(star_e_s=stars, **_full_pixel(rig, sub_s, back))

    drawn = passport.draw(FIELD_DRAWS, SEED)
    each = [
        counted({key: value[at] if isinstance(value, np.ndarray) else value for key, value in drawn.items()})
        for at in range(FIELD_DRAWS)
    ]
    low = np.percentile([one.at_least for one in each], 16.0)
    high = np.percentile([one.at_most for one in each], 84.0)
    central = counted(passport.central())
    return FieldStars(
        passport["plan.target"],
        sub_s,
        central.at_least,
        central.at_most,
        round(low),
        round(high),
        central.stars,
    )


def _with_range(passport, result, *, sky_mag_arcsec2, read_noise_e, sub_s, overhead_s, filters):
    """The range of the clock time added: sky, optics, sensor, read noise and pause drawn from their spreads."""
    chosen = {"site.sky_mag_arcsec2": sky_mag_arcsec2, "camera.read_noise_e": read_noise_e}
    rig = passport.replace(chosen).draw(DRAWS, SEED)
    passed = sky.band_fraction(filters=FILTERS[filters]) if FILTERS[filters] else 1.0
    glow = light.surface_e_s_px(rig, np.asarray(rig["site.sky_mag_arcsec2"])) * passed
    back = glow + light.dark_e_s_px(rig, light.warm_sensor_degc(rig))
    own = float(light.overhead_s(passport))
    pause = overhead_s * light.overhead_s(rig) / own if own else overhead_s
    added = (1 + np.asarray(rig["camera.read_noise_e"]) ** 2 / (back * sub_s)) * (1 + pause / sub_s) - 1
    low, high = np.percentile(added, [16.0, 84.0])
    return result._replace(time_68=(float(low), float(high)))


def _readout(basis, result):
    low, high = (None, None) if result.time_68 is None else (1.0 + end for end in result.time_68)
    return Readout(
        "Clock time for the same picture, one endless exposure being 1",
        1.0 + result.time_share,
        "",
        basis,
        verdict(result),
        digits=3 if result.time_share < 0.1 else 2 if result.time_share < 9.0 else 1,
        low=low,
        high=high,
    )


def verdict(result) -> str:
    """Which of reading and pauses costs most, what the shortest sub is, and whether the gears allow it."""
    by_read = (1 + result.read_share) ** 2 - 1
    by_pause = result.overhead_s / result.sub_s
    if result.time_share <= 0.15:
        words = "Long enough: a longer sub wins almost nothing."
    elif by_read >= by_pause:
        words = f"Reading costs most ({figure.percent(by_read)} more time)."
    else:
        words = f"The pauses cost most ({figure.percent(by_pause)} more time), not the reading."
    words += f" Reading adds 5 % of noise at {figure.seconds(result.shortest_s)}."
    if result.knee_s < max(result.sub_s, result.shortest_s):
        return words + f" Without guiding your gears hold only {figure.seconds(result.knee_s)}."
    return words + " Your gears hold that even without guiding."


def exposure_noise(passport, *, sub_s, with_pauses=False, **changes) -> float:
    """The noise that reading, or reading and pauses, adds above one endless exposure, as a share.

    `changes` are values of the panel's controls; what is left out is the passport's own.
    """
    pause = float(light.overhead_s(passport)) if with_pauses else 0.0
    chosen = {
        "sky_mag_arcsec2": passport["site.sky_mag_arcsec2"],
        "read_noise_e": passport["camera.read_noise_e"],
        "overhead_s": pause,
        "filters": "none",
    }
    rig = passport.central() | {"knee_s": np.inf}
    return one_exposure(rig, sub_s=sub_s, **chosen | changes).noise_share
