"""One gear of one passport: every start of a sub in its turn, the hill over sub lengths, and the ranges of both.

The gear is followed with its random walk by `drive.night_yields`, with the same dice for every sub length, so
that the curves stay smooth; without it the yield is exact (`drive.frame_yield`).
"""

from __future__ import annotations

from functools import lru_cache, partial

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from workbook import drive, exposure, optics, sampling, sensor, sky
from workbook.constants import SIDEREAL_DAY_S
from workbook.figures import gears as figure
from workbook.passport import Entry
from workbook.readers import Series

SUBS_S = np.geomspace(1.0, figure.LONGEST_S, 28)
FINE_S = np.geomspace(1.0, figure.LONGEST_S, 200)
FINER = 25  # more lengths about the top where the curve has a kink there, that is without the wander
STARTS, COARSE_STARTS = 1024, 512  # spread evenly over the turn
COARSE, REACH = 13, 4.0  # lengths for a drawn rig, from a quarter of the best sub and knee to four times them
DRAWS = 80
SEED = (
    57  # of eighty tried, the dice whose curve lies nearest (0.6 %) to one of 65,536 starts, for 25 and 50″
)
POINTS = 1024  # of one turn in the picture
MOST_TURNS = 6  # in the longest sub of the fastest worm
NEAR_PEAK = 0.95
GREEN_NM = 530.0
WORKED_SUB_S = 8.0
REPORT_S = (8.0, 15.0, 30.0)
REPORT_STARTS = 65536  # fewer win or lose one sub in a hundred by their dice
SAME_WORM = 0.01  # a measured period so near to that of the counted teeth leaves them as they are
CREDITS = ("good or bad", "axis ratio", "width")


class GearCase:
    """What of a passport counts here: the gear with its spreads, the scale, the sky, and what a pause costs."""

    def __init__(self, passport):
        self.passport = passport
        self.rig = passport.central()
        self.scale_arcsec_px = float(_scale(self.rig))
        self.ratio = _share(passport["drive.second_harmonic_arcsec"], passport["drive.gear_error_arcsec"])
        self.measured = passport.is_measured("drive.gear_error_arcsec")
        self._dice = np.random.default_rng(SEED).standard_normal(MOST_TURNS * POINTS)
        self._hill = lru_cache(maxsize=50)(self._hill_now)  # it stays while only the sub moves

    def gear_hill(
        self, *, peak_to_peak_arcsec, period_s, sub_s, tolerance_px, second, sky_mag_arcsec2, wander
    ) -> figure.GearHill:
        """The turn and the hill at these values; `second` is the swing of the second wave, as a share of the first."""
        gear = self._gear(peak_to_peak_arcsec, period_s, second)
        walk = self.rig["drive.random_walk_arcsec_sqrt_s"] if wander else 0.0
        tolerance_arcsec = tolerance_px * self.scale_arcsec_px
        turn, error, starts, trail = self._turn(gear, walk, sub_s)
        hill = self._hill(peak_to_peak_arcsec, period_s, second, tolerance_arcsec, sky_mag_arcsec2, wander)
        share = yields(gear, walk, tolerance_arcsec, [sub_s], STARTS)
        return figure.GearHill(
            sub_s=sub_s,
            period_s=period_s,
            tolerance_px=tolerance_px,
            scale_arcsec_px=self.scale_arcsec_px,
            turn=turn,
            error_arcsec=error,
            starts=starts,
            trail_px=trail / self.scale_arcsec_px,
            kept_here=float((trail <= tolerance_arcsec).mean()),
            kept=float(share[0]),
            worth=float(efficiencies(self.rig, sky_mag_arcsec2, [sub_s], share)[0]),
            wander=wander,
            second_arcsec=second * peak_to_peak_arcsec,
            **hill,
        )

    def _hill_now(self, peak_to_peak_arcsec, period_s, second, tolerance_arcsec, sky_mag_arcsec2, wander):
        """What of the hill does not depend on the sub that is set."""
        gear = self._gear(peak_to_peak_arcsec, period_s, second)
        walk = self.rig["drive.random_walk_arcsec_sqrt_s"] if wander else 0.0
        worth = partial(efficiencies, self.rig, sky_mag_arcsec2)
        subs, kept = _curve(gear, walk, tolerance_arcsec, SUBS_S, STARTS, worth)
        good = worth(subs, kept)
        best, low, high = top_of(subs, good, smooth=wander)
        return {
            "subs_s": subs, "frame_yield": kept, "rest": worth(subs, np.ones(subs.size)), "efficiency": good,
            "best_sub_s": best, "usable_low_s": low, "usable_high_s": high,
            "knee_s": _knee(gear, walk, tolerance_arcsec, subs, kept),
        }  # fmt: skip

    def with_ranges(self, result, *, sub_s, **values) -> figure.GearHill:
        """The same with 68 % ranges over the passport's spreads; what a slider sets keeps its relative spread."""
        kept, best, knee = self._ranges(result, [sub_s], **values)
        return result._replace(kept_68=kept, best_68_s=best, knee_68_s=knee)

    def _ranges(
        self,
        result,
        subs_s,
        *,
        peak_to_peak_arcsec,
        period_s,
        tolerance_px,
        second,
        sky_mag_arcsec2,
        wander,
    ):
        """The 68 % ranges of the yields at these lengths, of the best sub and of the knee, over drawn rigs."""
        about = [result.best_sub_s, *([result.knee_s] if result.knee_s else [])]
        low, high = np.clip([min(about) / REACH, max(about) * REACH], SUBS_S[0], SUBS_S[-1])
        grid, rows = np.geomspace(low, high, COARSE), []
        for rig in self._drawn:
            stretch, wave = (
                _share(rig[key], self.rig[key])
                for key in ("drive.gear_error_arcsec", "drive.second_harmonic_arcsec")
            )
            phase = rig["drive.second_harmonic_phase_deg"]
            gear = self._gear(peak_to_peak_arcsec * stretch, period_s, second * wave / stretch, phase)
            walk = rig["drive.random_walk_arcsec_sqrt_s"] if wander else 0.0
            tolerance = tolerance_px * float(_scale(rig))
            bright = sky_mag_arcsec2 + rig["site.sky_mag_arcsec2"] - self.rig["site.sky_mag_arcsec2"]
            worth = partial(efficiencies, rig, bright)
            subs, kept = _curve(gear, walk, tolerance, grid, COARSE_STARTS, worth)
            shares = yields(gear, walk, tolerance, subs_s, COARSE_STARTS)
            best = top_of(subs, worth(subs, kept), smooth=wander)[0]
            rows.append((*shares, best, _knee(gear, walk, tolerance, subs, kept)))
        return map(tuple, np.percentile(rows, [16.0, 84.0], axis=0, method="nearest").T.tolist())

    def best_subs_s(self, tolerance_px) -> dict:
        """The best sub by the gears alone, under three ways of counting: by a sharp line and with partial credit [s].

        The tolerance is a trail; the star that it makes has the lowest ratio of axes that is still worth anything.
        """
        gear = self._gear(self.rig["drive.gear_error_arcsec"], self.rig["drive.gear_period_s"], self.ratio)
        gear |= {"sub_s": FINE_S}
        star = self.star_sigma_px()
        width = sampling.trailed_sigma_px(star_sigma_px=star, trail_px=tolerance_px)
        lowest = float(width.across_px / width.along_px)
        worth = {CREDITS[0]: drive.frame_yield(tolerance_arcsec=tolerance_px * self.scale_arcsec_px, **gear)}
        for credit in CREDITS[1:]:
            worth[credit] = drive.credited_yield(
                star_sigma_arcsec=star * self.scale_arcsec_px, lowest_ratio=lowest, credit=credit, **gear
            )
        sky_mag = self.rig["site.sky_mag_arcsec2"]
        best = {
            credit: top_of(FINE_S, efficiencies(self.rig, sky_mag, FINE_S, share), smooth=False)[0]
            for credit, share in worth.items()
        }
        return {"lowest ratio": lowest} | best

    def star_sigma_px(self) -> float:
        """Width of a star without any trail, in focus: air, lens, pixel and mosaic, one sigma [px]."""
        rig = self.rig
        budget = sampling.blur_budget(
            seeing_fwhm_arcsec=rig["night.seeing_arcsec"], guiding_rms_arcsec=0.0, focal_mm=rig["optics.focal_mm"],
            pixel_um=rig["camera.pixel_um"], aperture_mm=rig["optics.aperture_mm"], mosaic=rig["camera.mosaic"],
            wavelength_nm=GREEN_NM, defocus_um=0.0, trail_px=0.0,
        )  # fmt: skip
        return float(sampling.sigma_of_fwhm_px(budget.fwhm_px))

    def invented_series(self, seed: int, *, rate_arcsec_min=2.0, dec_drift_arcsec_min=-1.2) -> Series:
        """Half an hour of this gear as a camera would see it at the equator: one frame in 5 s, 0.6″ of seeing."""
        random = np.random.default_rng(seed)
        times = np.arange(0.0, 1800.1, 5.0)
        gear = self._gear(self.rig["drive.gear_error_arcsec"], self.rig["drive.gear_period_s"], self.ratio)
        ra = drive.drive_error_arcsec(
            times_s=times,
            rate_error_arcsec_s=rate_arcsec_min / 60.0,
            random_walk_arcsec_sqrt_s=self.rig["drive.random_walk_arcsec_sqrt_s"],
            seed=random,
            **gear,
        )
        noise = 0.6 * random.standard_normal((2, times.size))
        return Series(times, ra + noise[0], dec_drift_arcsec_min * times / 60.0 + noise[1], 0)

    def own(self, **changes) -> figure.GearHill:
        """The hill of the passport as it stands, with its wander, at 8 s; `changes` are values of the panel."""
        return self.gear_hill(**self.values | changes)

    @property
    def values(self) -> dict:
        """What `gear_hill` takes, as the passport has it."""
        rig = self.rig
        return {
            "peak_to_peak_arcsec": float(rig["drive.gear_error_arcsec"]),
            "period_s": float(rig["drive.gear_period_s"]),
            "tolerance_px": rig["habits.tolerance_px"],
            "sub_s": WORKED_SUB_S,
            "second": self.ratio,
            "sky_mag_arcsec2": rig["site.sky_mag_arcsec2"],
            "wander": True,
        }

    def report(self) -> str:
        """Knee and yields of this gear, alone and with its wander, in words with ranges."""
        how = self.values
        del how["sub_s"]
        lines = [
            f"Gear of {how['peak_to_peak_arcsec']:.0f}″ in {how['period_s']:.0f} s, second wave "
            f"{self.ratio * how['peak_to_peak_arcsec']:.0f}″, tolerance {how['tolerance_px']:.1f} px "
            f"({'measured' if self.measured else 'assumed'}; 68 % ranges in brackets):"
        ]
        for wander, words in ((False, "gear alone"), (True, "with its wander")):
            now = how | {"wander": wander}
            seen = self.gear_hill(sub_s=REPORT_S[0], **now)
            *shares, best, knee = self._ranges(seen, REPORT_S, **now)
            lines.append(
                f"{words}: knee {_between(seen.knee_s, knee)}, best sub {_between(seen.best_sub_s, best)}"
            )
        gear = self._gear(how["peak_to_peak_arcsec"], how["period_s"], how["second"])
        walk = self.rig["drive.random_walk_arcsec_sqrt_s"]
        central = yields(gear, walk, how["tolerance_px"] * self.scale_arcsec_px, REPORT_S, REPORT_STARTS)
        for sub_s, here, ends in zip(REPORT_S, central, shares, strict=True):
            kept, low, high = (100.0 * share for share in (here, *ends))
            lines.append(f"  {sub_s:.0f} s: {kept:.0f} of 100 good ({low:.0f} to {high:.0f})")
        return "\n".join(lines)

    def _gear(self, peak_to_peak_arcsec, period_s, second, phase_deg=None):
        phase = self.rig["drive.second_harmonic_phase_deg"] if phase_deg is None else phase_deg
        return {
            "peak_to_peak_arcsec": [peak_to_peak_arcsec, second * peak_to_peak_arcsec],
            "period_s": [period_s, 0.5 * period_s],
            "phase_deg": [0.0, float(phase)],
        }

    def _turn(self, gear, walk, sub_s):
        """One turn as it might run tonight, and the trail [″] of a sub that begins at each second point of it."""
        period = gear["period_s"][0]
        step = period / POINTS
        inside = int(sub_s / step)
        shown = POINTS + int(figure.OVERHANG * POINTS) + 1
        count = max(POINTS + inside, shown) + 2
        times = step * np.arange(count)
        steps = walk * np.sqrt(step) * np.resize(self._dice, count - 1)
        path = drive.gear_error_arcsec(time_s=times, **gear) + np.concatenate([[0.0], np.cumsum(steps)])
        windows = sliding_window_view(path, inside + 1)[: POINTS + 1 : 2]
        starts = times[: POINTS + 1 : 2]
        ends = np.interp(starts + sub_s, times, path)
        trail = np.maximum(windows.max(axis=1), ends) - np.minimum(windows.min(axis=1), ends)
        return times[:shown] / period, path[:shown], starts / period, trail

    @property
    def _drawn(self):
        drawn = self.passport.draw(DRAWS, SEED)
        many = {key: values for key, values in drawn.items() if isinstance(values, np.ndarray)}
        return [drawn | {key: float(values[k]) for key, values in many.items()} for k in range(DRAWS)]


def gear_case(passport) -> GearCase:
    """The gear of a passport, for the questions of lesson 05."""
    return GearCase(passport)


def with_gears(passport, fit, *, measured):
    """The passport with the gear of a measured series in place of its own.

    Parameters
    ----------
    passport : Passport
        The rig whose gear was measured.
    fit : GearFit
        What `drive.fit_gears` found, with two harmonics.
    measured : datetime.date
        Day of the measurement.

    Returns
    -------
    Passport
        In memory only: swings, period, phase and wander with their spreads, marked as measured.
    """
    swing, sigma = fit.peak_to_peak_arcsec, fit.peak_to_peak_sigma_arcsec
    phase = (fit.phase_deg[1] - 2.0 * fit.phase_deg[0]) % 360.0
    phase_sigma = min(104.0, float(np.degrees(sigma[1] / max(swing[1], 1e-9))))
    values = {
        "gear_error_arcsec": (swing[0], sigma[0]),
        "gear_period_s": (fit.period_s, None),  # the passport takes no spread here
        "second_harmonic_arcsec": (swing[1], sigma[1]),
        "second_harmonic_phase_deg": (phase, phase_sigma),
        "random_walk_arcsec_sqrt_s": (fit.walk_arcsec_sqrt_s, None),
    }
    entries = {
        f"drive.{key}": Entry(float(value), None if spread is None else float(spread), measured)
        for key, (value, spread) in values.items()
    }
    teeth = round(SIDEREAL_DAY_S / fit.period_s)
    if abs(drive.worm_period_s(teeth=passport["drive.gear_teeth"]) / fit.period_s - 1.0) > SAME_WORM:
        entries["drive.gear_teeth"] = Entry(teeth, None, measured)  # another worm than the passport's
    return passport.replace(entries)


def yields(gear, walk_arcsec_sqrt_s, tolerance_arcsec, subs_s, starts):
    """The share of good subs for each length, for starts spread evenly over the turn; the same dice for all."""
    if not walk_arcsec_sqrt_s:
        return drive.frame_yield(sub_s=subs_s, tolerance_arcsec=tolerance_arcsec, **gear)
    period = gear["period_s"][0]
    # Subs follow one another after an odd number of steps: so all steps of the turn are met once.
    stride = 2 * int(np.ceil(0.5 * starts * figure.LONGEST_S / period)) + 1
    return np.array(
        [
            drive.night_yields(
                nights=1,
                subs=starts,
                sub_s=sub_s,
                overhead_s=stride * period / starts - sub_s,
                rate_error_arcsec_s=0.0,
                random_walk_arcsec_sqrt_s=walk_arcsec_sqrt_s,
                tolerance_arcsec=tolerance_arcsec,
                seed=SEED,
                **gear,
            )[0]
            for sub_s in subs_s
        ]
    )


def _curve(gear, walk, tolerance_arcsec, subs_s, starts, worth):
    """Sub lengths and yields; without the wander finer about the top, where the first lost sub makes a kink."""
    kept = yields(gear, walk, tolerance_arcsec, subs_s, starts)
    if walk:
        return subs_s, kept
    k = int(np.argmax(worth(subs_s, kept)))
    more = np.geomspace(subs_s[max(k - 1, 0)], subs_s[min(k + 1, len(subs_s) - 1)], FINER)
    more = more[~np.isclose(more[:, None], subs_s).any(axis=1)]
    every = np.concatenate([subs_s, more])
    order = np.argsort(every)
    kept = np.concatenate([kept, yields(gear, walk, tolerance_arcsec, more, starts)])
    return every[order], kept[order]


def _knee(gear, walk, tolerance_arcsec, subs_s, kept):
    """The longest sub of which nine in ten survive: 0 below the shortest drawn, infinite above the longest [s]."""
    if not walk:
        knee = float(drive.knee_s(tolerance_arcsec=tolerance_arcsec, **gear))
        return 0.0 if knee < SUBS_S[0] else knee if knee <= SUBS_S[-1] else np.inf
    below = kept < drive.KNEE_YIELD
    if not below.any():
        return np.inf
    k = int(below.argmax())
    if k == 0:
        return 0.0 if subs_s[0] <= SUBS_S[0] else float(subs_s[0])
    share = (kept[k - 1] - drive.KNEE_YIELD) / (kept[k - 1] - kept[k])
    return float(subs_s[k - 1] * (subs_s[k] / subs_s[k - 1]) ** share)


def top_of(subs_s, efficiency, *, smooth):
    """The best sub, and both ends of what is within 5 % of it [s]; `smooth` lays a parabola through even steps."""
    log, k = np.log(subs_s), int(np.argmax(efficiency))
    best = log[k]
    if smooth and 0 < k < len(log) - 1:
        before, top, after = efficiency[k - 1 : k + 2]
        bend = before - 2.0 * top + after
        best += 0.5 * (log[1] - log[0]) * (before - after) / bend if bend < 0.0 else 0.0
    good = np.flatnonzero(efficiency >= NEAR_PEAK * efficiency[k])
    low, high = int(good[0]), int(good[-1])
    ends = [log[low], log[high]]
    for side, edge, beyond in ((0, low, low - 1), (1, high, high + 1)):
        if 0 <= beyond < len(log):
            drop = efficiency[edge] - efficiency[beyond]
            share = (efficiency[edge] - NEAR_PEAK * efficiency[k]) / drop if drop > 0.0 else 0.0
            ends[side] += share * (log[beyond] - log[edge])
    return tuple(float(np.exp(value)) for value in (best, *ends))


def efficiencies(rig, sky_mag_arcsec2, subs_s, kept):
    """Yield × duty × read-noise factor at the zenith of this sky, with a sensor warmed up at the end of the night."""
    sensor_degc = rig["night.air_end_degc"] + rig["camera.warm_up_k"]
    background = sky.sky_electrons_s_px(
        sky_mag_arcsec2=sky_mag_arcsec2,
        aperture_mm=rig["optics.aperture_mm"],
        scale_arcsec_px=_scale(rig),
        throughput=rig["optics.throughput"],
    ) + sensor.dark_e_s_px(
        reference_e_s_px=rig["camera.dark_e_s_px"],
        reference_degc=rig["camera.dark_reference_degc"],
        temperature_degc=sensor_degc,
        doubling_k=rig["camera.dark_doubling_k"],
    )
    pause = rig["camera.overhead_s"] + rig["camera.dither_overhead_s"] / rig["camera.dither_every"]
    return exposure.efficiency(
        sub_s=np.asarray(subs_s),
        frame_yield=kept,
        overhead_s=pause,
        background_e_s_px=background,
        read_noise_e=rig["camera.read_noise_e"],
    )


def _scale(rig):
    return optics.image_scale_arcsec_px(pixel_um=rig["camera.pixel_um"], focal_mm=rig["optics.focal_mm"])


def _between(value_s, ends_s):
    return f"{figure.knee_words(value_s)} ({figure.ends_words(ends_s)})"


def _share(part, whole):
    return float(part / whole) if whole else 0.0
