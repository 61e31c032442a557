"""The lesson's panel on a warm sensor: its temperature, the darks' mismatch, dither and drift, and the live stack."""

from __future__ import annotations

import functools
import math
from functools import partial
from typing import NamedTuple

import numpy as np

from workbook import frames, sensor, sky
from workbook.figures import warm_sensor as figure
from workbook.panels.controls import choice, slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.verdict import light

SUB_S, SEED, DRAWS = 30.0, 1, 2000
COUNTS = (1, 2, 3, 5, 8, 12, 20, 30, 50, 70, 100)
NARROW = sky.NARROW_BAND
DARK_COUNTRY = "21.4 mag/″²"
SKIES = {"yours": None, "20.8 mag/″²": 20.8, DARK_COUNTRY: 21.4, "yours, narrow filter": None}
DARKS = {"none": 0, "20": 20, "100": 100}
FEWEST_TO_CLIP = (
    8  # one far value among N stands N/√(N − 1) deviations from the median: above 3 from N = 8 on
)
WARMEST_DEGC, COLDEST_DEGC = 40.0, -10.0


def build_warm_sensor(passport) -> Panel:
    """The panel for this passport's camera: its sensor in mid-night, subs of 30 s, its own dither habit."""
    warm = round(2 * float(light.warm_sensor_degc(passport.central()))) / 2
    controls = {
        "sensor_degc": slider(
            "Sensor temperature", warm, min(COLDEST_DEGC, warm), max(WARMEST_DEGC, warm), step=0.5
        ),
        "warmer_k": slider("Warmer than darks", 2.0, -5.0, 10.0, step=0.5),
        "dither_px": slider("Dither, to each side", 0.0, 0.0, 20.0, step=0.5),
        "drift_px": slider("Drift per sub", 0.1, 0.0, 1.0, step=0.02),
        "subs": choice("Subs stacked", 100, COUNTS),
        "darks": choice("Darks", 20, DARKS),
        "sky_name": choice("Sky", DARK_COUNTRY, list(SKIES)),
    }
    known = {key for key in ("site.sky_mag_arcsec2", "camera.dark_e_s_px") if passport.is_measured(key)}
    return Panel(
        figure,
        partial(warm_sensor, passport),
        controls,
        partial(_readout, known),
        presets={
            "Matched darks, standing still": {
                "sky_name": DARK_COUNTRY,
                "darks": 20,
                "warmer_k": 0.0,
                "dither_px": 0.0,
                "drift_px": 0.0,
            },
            "Dithered by 8 px": {"dither_px": 8.0},
            "Summer in town, no darks": {
                "sky_name": "yours",
                "darks": 0,
                "sensor_degc": 27.0,
                "dither_px": 0.0,
            },
        },
        slow=partial(_completed, passport),
        title="A warm sensor, and what its subs add up to",
    )


def warm_sensor(passport, *, subs, **values) -> figure.WarmSensor:
    """The stack as it stands, and how its noise got there.

    The subs are `frames.walking_noise`, the curves `frames.noise_course`: the mean, subs moved by whole pixels. The
    noise counts every pixel, hot ones too.
    """
    night = _night(passport, **values)
    made = frames.walking_noise(subs=subs, method="mean", **night)
    course = [
        frames.noise_course(counts=COUNTS, **night | {"dither_px": step})
        for step in (0.0, values["dither_px"])
    ]
    still, dithered = (found.noise_e / found.floor_e for found in course)
    return figure.WarmSensor(
        subs=subs,
        **{name: values[name] for name in ("sensor_degc", "warmer_k", "dither_px", "drift_px", "darks")},
        places=-(-subs // night["dither_every"]) if values["dither_px"] else 1,
        sky_name=values["sky_name"],
        sky_e_s_px=night["sky_e_s_px"],
        dark_e_s_px=night["dark_e_s_px"],
        left_share=night["mismatch"],
        picture=made.picture_e / made.floor_e,
        counts=course[0].subs,
        still_curve=still,
        dithered_curve=dithered,
        noise_ratio=made.noise_e / made.floor_e,
        streak_ratio=made.streak_ratio,
        dark_share=night["dark_e_s_px"] * SUB_S / course[0].floor_e[0] ** 2,
    )


def _night(passport, *, sensor_degc, warmer_k, dither_px, drift_px, darks, sky_name):
    """What `frames.walking_noise` wants to know, without number and method of the subs."""
    rig = passport.central()
    turn = math.radians(figure.DRIFT_DEG)
    return {
        "exposure_s": SUB_S,
        "sky_e_s_px": float(_sky_e_s_px(rig, sky_name)),
        "dark_e_s_px": float(light.dark_e_s_px(rig, sensor_degc)),
        "read_noise_e": rig["camera.read_noise_e"],
        "mismatch": left_share(warmer_k=warmer_k, doubling_k=rig["camera.dark_doubling_k"]) if darks else 1.0,
        "darks": darks,
        "drift_x_px": drift_px * math.cos(turn),
        "drift_y_px": drift_px * math.sin(turn),
        "dither_px": dither_px,
        "dither_every": int(rig["camera.dither_every"]),
        "seed": SEED,
    }


def left_share(*, warmer_k, doubling_k):
    """The share of the lights' dark current that darks leave, taken `warmer_k` colder: 1 − 2^(−ΔT/doubling).

    Negative where the darks were warmer: they take away too much.
    """
    darks = sensor.dark_e_s_px(
        reference_e_s_px=1.0, reference_degc=warmer_k, temperature_degc=0.0, doubling_k=doubling_k
    )
    return _left(1.0, darks, 0.0, 0.0, 1.0).level_e


def _left(light_e_s_px, dark_e_s_px, unevenness, read_noise_e, sub_s, sky_e_s_px=0.0):
    return sensor.dark_mismatch(
        dark_light_e_s_px=light_e_s_px,
        dark_dark_e_s_px=dark_e_s_px,
        unevenness=unevenness,
        sky_e_s_px=sky_e_s_px,
        read_noise_e=read_noise_e,
        sub_s=sub_s,
        subs=1,
    )


def _sky_e_s_px(rig, sky_name):
    mag = rig["site.sky_mag_arcsec2"] if SKIES[sky_name] is None else SKIES[sky_name]
    passed = sky.band_fraction(filters=NARROW) if "filter" in sky_name else 1.0
    return light.surface_e_s_px(rig, mag) * passed


def _completed(passport, result, *, subs, **values):
    """The noise of a clipped mean of the same subs, and the range of that of the mean."""
    clipped = frames.walking_noise(subs=subs, method="clipped mean", **_night(passport, **values))
    low, high = np.percentile(_drawn_ratios(passport, result, **values), [16.0, 84.0])
    return result._replace(
        clipped=clipped.picture_e / clipped.floor_e,
        clipped_ratio=clipped.noise_e / clipped.floor_e,
        ratio_68=(float(low), float(high)),
    )


def _drawn_ratios(passport, result, *, sensor_degc, warmer_k, darks, sky_name, **_):
    """The noise over that with ideal darks, with sky, optics, dark current, doubling and read noise drawn.

    The stack that was made says how far motion has averaged the fixed pattern; that share stays, while the height
    of the pattern and of the darks' own noise, and that of the subs, are those of each draw.
    """
    spread, mean = _pattern()
    mag = SKIES[sky_name]
    rig = (passport if mag is None else passport.replace({"site.sky_mag_arcsec2": mag})).draw(DRAWS, SEED)
    chosen = passport.central()

    def parts(of, sky_e):
        dark = light.dark_e_s_px(of, sensor_degc) * SUB_S
        left = left_share(warmer_k=warmer_k, doubling_k=of["camera.dark_doubling_k"]) if darks else 1.0
        read2 = np.asarray(of["camera.read_noise_e"]) ** 2
        own = (mean * dark * (1 - left) + read2) / darks if darks else 0.0
        lights = sky_e * SUB_S + read2
        return lights + dark, (spread * left * dark) ** 2 + own, (mean - 1) * dark

    floor, fixed, warmer = parts(chosen, result.sky_e_s_px)
    in_stack = (result.noise_ratio**2 - 1) * floor / result.subs - warmer / result.subs
    kept = max(in_stack, 0.0) / fixed if fixed > 0 else 0.0
    name = "yours, narrow filter" if "filter" in sky_name else "yours"
    floor, fixed, warmer = parts(rig, _sky_e_s_px(rig, name))
    return np.sqrt(1 + (warmer + result.subs * kept * fixed) / floor)


@functools.cache
def _pattern():
    """Scatter and mean of the invented pattern, its median pixel being 1."""
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=1.0, seed=SEED)
    return float(pattern.std(dtype=float)), float(pattern.mean(dtype=float))


def _readout(known, result):
    """`known` are the keys of sky and dark current that the passport holds as measured."""
    low, high = (None, None) if result.ratio_68 is None else result.ratio_68
    return Readout(
        "Noise of the stack, with ideal darks being 1",
        result.noise_ratio,
        "",
        "measured" if len(known) == 2 and result.sky_name.startswith("yours") else "assumed",
        verdict(result),
        digits=2 if result.noise_ratio < 9.95 else 0,
        low=low,
        high=high,
    )


def verdict(result) -> str:
    """Dots, streaks or grain, what would help, and whether dark current matters at all under this sky."""
    moves = result.drift_px * (result.subs - 1) > 1 or (result.dither_px >= 1 and result.places > 1)
    worse = result.noise_ratio > 1.1
    if result.streak_ratio >= figure.STREAKY:
        words = f"Streaks along the drift, {result.streak_ratio:.1f} × even grain: walking noise. "
        words += (
            "Wider random steps scatter it." if result.dither_px else "Dither: random steps of several px."
        )
    elif worse and not moves and result.dither_px >= 1 and result.subs > 1:
        words = (
            "So few subs came before the first step of the dither: the same pixels lie under the same sky."
        )
    elif worse and not moves and result.subs > 1:
        words = "The same pixels lie under the same sky in every sub: more subs do not help, dither does."
    elif worse:
        words = "No streaks, but the sensor's pattern is in the noise, scattered as dots."
    else:
        words = "Nearly as good as with ideal darks."
    if worse and not result.darks:
        words += " Take darks."
    elif worse and abs(result.left_share) > 0.13:
        share = f"{100 * abs(result.left_share):.0f} %"
        done = f"leave {share}" if result.left_share > 0 else f"take {share} too much"
        words += f" The darks {done} of the pattern: match them within 1 K."
    words += f" Dark current makes {100 * result.dark_share:.0f} % of a sub's squared noise."
    if worse and result.clipped_ratio is not None:
        words += f" A clipped mean of the same subs: {figure.times(result.clipped_ratio)}."
        words += " A clip needs 8 subs or more." if result.subs < FEWEST_TO_CLIP else ""
    return words


def stack_noise(passport, **changes) -> figure.WarmSensor:
    """One stack by the panel's own calculation; what is left out stands as the panel starts, without darks."""
    rig = passport.central()
    start = {
        "sensor_degc": float(light.warm_sensor_degc(rig)), "warmer_k": 0.0, "dither_px": 0.0, "drift_px": 0.0,
        "subs": 100, "darks": 0, "sky_name": "yours",
    }  # fmt: skip
    if unknown := set(changes) - set(start):
        raise ValueError(f"unknown {', '.join(sorted(unknown))}; there are {', '.join(start)}")
    return warm_sensor(passport, **start | changes)


class DarksOff(NamedTuple):
    """What darks of another temperature leave in a sub of 30 s, beside the sky's noise; each with its range.

    Level that a usual pixel keeps, and its pattern without hot pixels, for the passport's doubling and for 4.5 and 9 K;
    noise of the sky alone, with its 68 % range [e⁻].
    """

    warmer_k: float
    level_e: tuple[float, float, float]
    pattern_e: tuple[float, float, float]
    sky_noise_e: tuple[float, float, float]

    def __str__(self):
        level, pattern, noise = (
            "{1:.2f} e⁻ ({0:.2f} to {2:.2f})".format(*sorted(abs(value) for value in found))
            for found in (self.level_e, self.pattern_e, self.sky_noise_e)
        )
        if self.warmer_k < 0:
            left = f"{-self.warmer_k:g} K warmer take {level} too much from"
        else:
            left = f"{self.warmer_k:g} K colder leave {level} of dark current in"
        return f"Darks {left} a sub, uneven by {pattern}; the sky's noise is {noise}"


def darks_off(passport, *, warmer_k, sky_name="yours") -> DarksOff:
    """What a sub keeps of its dark current after darks taken `warmer_k` colder, against the noise of the sky.

    The range of the first two is that of the doubling, 4.5 to 9 K (`sensor.DOUBLING_RANGE_K`), with the lights' own
    dark current as it stands; that of the last is drawn from the passport's sky and optics.
    """
    rig = passport.central()
    degc = light.warm_sensor_degc(rig)
    lights = float(light.dark_e_s_px(rig, degc))
    left = [
        _left(
            lights,
            sensor.dark_e_s_px(
                reference_e_s_px=lights,
                reference_degc=degc,
                temperature_degc=degc - warmer_k,
                doubling_k=doubling,
            ),
            _unevenness(),
            rig["camera.read_noise_e"],
            SUB_S,
        )
        for doubling in (rig["camera.dark_doubling_k"], *sensor.DOUBLING_RANGE_K)
    ]
    mag = SKIES[sky_name]
    drawn = (passport if mag is None else passport.replace({"site.sky_mag_arcsec2": mag})).draw(DRAWS, SEED)
    name = "yours, narrow filter" if "filter" in sky_name else "yours"
    ends = np.percentile(np.sqrt(_sky_e_s_px(drawn, name) * SUB_S), [16.0, 84.0])
    return DarksOff(
        warmer_k,
        _with_ends([one.level_e for one in left]),
        _with_ends([one.pattern_e for one in left]),
        (math.sqrt(_sky_e_s_px(rig, sky_name) * SUB_S), float(ends[0]), float(ends[1])),
    )


def _with_ends(values):
    return float(values[0]), float(min(values)), float(max(values))


@functools.cache
def _unevenness():
    """Scatter of the invented pattern as a share of its mean, hot pixels left out."""
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=1.0, seed=SEED)
    usual = frames.clipped_statistics(pattern, clip_sigmas=3.0)
    return usual.sigma_adu / usual.mean_adu


class CoolingWorth(NamedTuple):
    """The clock time that a warm sensor needs beyond a cold one for the same depth, as a share, and its 68 % range."""

    time_share: float
    low: float
    high: float


def worth_of_cooling(passport, *, sky_name, air_degc, cold_degc) -> CoolingWorth:
    """What a sensor at `cold_degc` would gain against this one in air of `air_degc`, subs of 30 s."""
    name = "yours, narrow filter" if "filter" in sky_name else "yours"
    mag = SKIES[sky_name]
    rig = passport if mag is None else passport.replace({"site.sky_mag_arcsec2": mag})

    def gain(of):
        return sensor.cooling_gain(
            sky_e_s_px=_sky_e_s_px(of, name),
            warm_e_s_px=light.dark_e_s_px(of, light.warm_sensor_degc(of, air_degc)),
            cold_e_s_px=light.dark_e_s_px(of, cold_degc),
            read_noise_e=of["camera.read_noise_e"],
            sub_s=SUB_S,
        ).time_ratio

    low, high = np.percentile(gain(rig.draw(DRAWS, SEED)), [16.0, 84.0])
    return CoolingWorth(float(gain(rig.central())) - 1.0, float(low) - 1.0, float(high) - 1.0)
