"""One guided night of a rig for lesson 06: the same gear, air and dither for everybody, guided in any way.

The drive's error, the air and the noise come from one seed, so that two settings meet the same night. After 22
minutes, three turns of the demo rig's worm, the aim is moved by a dither, and three more minutes show how it settles.
"""

from __future__ import annotations

import functools

import numpy as np

from workbook import drive, guiding, optics, sampling
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.figures import guiding as figure
from workbook.panels import guide_star
from workbook.readers import Series

STEP_S, SETTLE_S, SUB_S = 0.1, 60.0, 60.0
DITHER_AT_S, AFTER_S, BEFORE_S = 1320.0, 180.0, 300.0
SHORT_S = 780.0  # of a night drawn for the range: settling and twelve subs
DITHER_PX, QUIET_S = 5.0, 10.0  # moved by so much; settled once it stays within the tolerance so long
DEAD_TIME_S, MINIMUM_MOVE_ARCSEC, LONGEST_PULSE_S, DEC_DEG = 1.0, 0.2, 2.0, 30.0
WINDS_M_S, OUTER_SCALE_M = (8.0, 4.0, 16.0), 25.0  # of the air aloft: usual, and for the range
DEFOCUS_UM, GREEN_NM = 20.0, 550.0  # the star of lesson 01
DRIFT_ARCSEC_MIN = SIDEREAL_RATE_ARCSEC_S * 60.0 * np.radians(1.0 / 60.0)  # by an axis 1′ off, at most
DRAWS = 30
DIRECTIONS = ("both", "against the drift only", "off")


class GuideNight:
    """The night of one passport.

    Parameters
    ----------
    passport : Passport
    seed : int
        Makes the same night again.
    """

    def __init__(self, passport, seed: int = 1):
        self.passport, self.seed = passport, seed
        self.times_s = np.arange(0.0, DITHER_AT_S + AFTER_S - 1e-6, STEP_S)
        self.scale_arcsec_px = float(_scale(passport, "camera", "optics"))
        self.guide_scale_arcsec_px = float(_scale(passport, "guide", "guide"))
        rough = passport["habits.alignment"] == "rough"
        axis = passport[f"habits.axis_error_{'rough' if rough else 'drift'}_arcmin"]
        self.drift_arcsec_min = float(DRIFT_ARCSEC_MIN * axis / np.sqrt(2.0))  # rms over all directions
        self.draws = passport.draw(DRAWS, seed=seed)
        self._central = self._gears(passport.central(), seed)
        self.star_arcsec, self.noise_arcsec = (
            functools.lru_cache(maxsize=400)(f) for f in (self._star_arcsec, self._noise_arcsec)
        )
        self._maps: dict[tuple, np.ndarray] = {}

    def guided(
        self,
        *,
        exposure_s,
        aggressiveness,
        backlash_arcsec,
        seeing_arcsec,
        directions,
        gear,
        minimum_move_arcsec=None,
    ) -> figure.Guided:
        """The night under these settings; the map only where it was worked out before."""
        least = MINIMUM_MOVE_ARCSEC if minimum_move_arcsec is None else minimum_move_arcsec
        run = self._run(
            self._central, self.air(seeing_arcsec), exposure_s, aggressiveness, backlash_arcsec, seeing_arcsec,
            directions, gear, least=least,
        )  # fmt: skip
        growth = self._growth(run, seeing_arcsec, DITHER_AT_S)
        late = (run.frames_s > SETTLE_S) & (run.frames_s <= DITHER_AT_S)
        shown = slice(round((DITHER_AT_S - BEFORE_S) / STEP_S), None, 5)
        frames = run.frames_s > DITHER_AT_S - BEFORE_S
        return figure.Guided(
            exposure_s=exposure_s,
            aggressiveness=aggressiveness,
            backlash_arcsec=backlash_arcsec,
            seeing_arcsec=seeing_arcsec,
            directions=directions,
            gear=gear,
            minutes=(run.times_s[shown] - DITHER_AT_S) / 60.0,
            ra_arcsec=run.ra_arcsec[shown],
            dec_arcsec=run.dec_arcsec[shown],
            seen_minutes=(run.frames_s[frames] - DITHER_AT_S) / 60.0,
            seen_ra_arcsec=run.seen_ra_arcsec[frames],
            seen_dec_arcsec=run.seen_dec_arcsec[frames],
            seen_rms_arcsec=(float(run.seen_ra_arcsec[late].std()), float(run.seen_dec_arcsec[late].std())),
            growth=growth,
            star_fwhm_arcsec=self.star_arcsec(seeing_arcsec),
            scale_arcsec_px=self.scale_arcsec_px,
            settle_s=self._settled(run, self.passport["habits.tolerance_px"] * self.scale_arcsec_px),
            noise_arcsec=self.noise_arcsec(exposure_s, seeing_arcsec),
            map_growth=self._maps.get((backlash_arcsec, seeing_arcsec, directions, gear)),
        )

    def usual(self, *, exposure_s, aggressiveness) -> figure.Guided:
        """The night with the passport's own seeing and play, corrected both ways."""
        return self.guided(
            exposure_s=exposure_s,
            aggressiveness=aggressiveness,
            backlash_arcsec=float(self.passport["drive.backlash_arcsec"]),
            seeing_arcsec=float(self.passport["night.seeing_arcsec"]),
            directions=DIRECTIONS[0],
            gear=1.0,
        )

    def in_words(self, *, exposure_s, aggressiveness) -> str:
        """What one setting makes of the usual night, in a line."""
        growth = self.usual(exposure_s=exposure_s, aggressiveness=aggressiveness).growth
        return (
            f"{exposure_s:g} s at {aggressiveness:g}: RMS {growth.ra_rms_arcsec:.2f}″ in RA, "
            f"{growth.dec_rms_arcsec:.2f}″ in Dec; star {figure.percent(growth.growth)} wider, "
            f"roundness {growth.roundness:.2f}"
        )

    def seen(self, *, exposure_s, aggressiveness) -> Series:
        """What the guide camera sees of the usual night until the dither, as a file of it would hold."""
        rig = self.passport
        run = self._run(
            self._central, self.air(rig["night.seeing_arcsec"]), exposure_s, aggressiveness,
            rig["drive.backlash_arcsec"], rig["night.seeing_arcsec"], DIRECTIONS[0], 1.0,
        )  # fmt: skip
        before = run.frames_s <= DITHER_AT_S
        return Series(run.frames_s[before], run.seen_ra_arcsec[before], run.seen_dec_arcsec[before], 0)

    def stars(self, *, exposure_s, width_px, height_px) -> guide_star.GuideStars:
        """The stars beside the passport's target, for a guide camera of so many pixels."""
        return guide_star.guide_stars(
            self.passport, exposure_s=exposure_s, width_px=width_px, height_px=height_px, wind_m_s=WINDS_M_S[0],
            outer_scale_m=OUTER_SCALE_M, seed=self.seed,
        )  # fmt: skip

    def stars_in_words(self, *, exposure_s, width_px, height_px) -> str:
        """Whether the guide camera finds a star beside the target, and what four at once are worth."""
        found = self.stars(exposure_s=exposure_s, width_px=width_px, height_px=height_px)
        return guide_star.in_words(found, target=self.passport["plan.target"], exposure_s=exposure_s)

    def with_ranges(self, result, **values):
        """The same with the map over exposure and aggressiveness, and with the range of the growth."""
        others = tuple(values[name] for name in ("backlash_arcsec", "seeing_arcsec", "directions", "gear"))
        if others not in self._maps:
            self._maps[others] = self._table(*others)
        low, high = np.quantile(self._spread(**values), (0.16, 0.84))
        return result._replace(
            growth_68=(float(min(low, result.growth.growth)), float(max(high, result.growth.growth))),
            map_growth=self._maps[others],
        )

    def _table(self, backlash, seeing, directions, gear):
        """Growth for every exposure (columns) and aggressiveness (rows), in the same night."""
        air, others = self.air(seeing), (backlash, seeing, directions, gear)

        def growth(exposure, gain):
            run = self._run(self._central, air, exposure, gain, *others)
            return self._growth(run, seeing, DITHER_AT_S).growth

        return np.array([[growth(t, g) for t in figure.EXPOSURES_S] for g in figure.AGGRESSIVENESS])

    def _spread(self, *, exposure_s, aggressiveness, backlash_arcsec, seeing_arcsec, directions, gear):
        """Growth in nights with other gears, phases, walks, winds and air, as the passport's spreads allow."""
        drawn = {
            key: np.broadcast_to(self.draws[key], DRAWS)
            for key in self.draws
            if np.ndim(self.draws[key]) == 1
        }
        random = np.random.default_rng([self.seed, 6])
        found = []
        for k in range(DRAWS):
            rig = self.passport.central() | {key: float(values[k]) for key, values in drawn.items()}
            seeing = seeing_arcsec * rig["night.seeing_arcsec"] / self.passport["night.seeing_arcsec"]
            usual = self.passport["drive.backlash_arcsec"]
            play = backlash_arcsec * (rig["drive.backlash_arcsec"] / usual if usual else 1.0)
            paths = self._gears(rig, seed=[self.seed, k, 9], start_s=random.uniform(0, 500))
            run = self._run(
                paths, self.air(seeing, WINDS_M_S[k % 3], second=k % 2), exposure_s, aggressiveness, play, seeing,
                directions, gear, end_s=SHORT_S, seed=[self.seed, k, 3],
            )  # fmt: skip
            found.append(self._growth(run, round(seeing, 2), SHORT_S).growth)
        return found

    def _gears(self, rig, seed, start_s=0.0):
        """Periodic part and wander of the drive about its axis, separately [″]."""
        harmonics = {
            "peak_to_peak_arcsec": [rig["drive.gear_error_arcsec"], rig["drive.second_harmonic_arcsec"]],
            "period_s": [rig["drive.gear_period_s"], rig["drive.gear_period_s"] / 2.0],
            "phase_deg": [0.0, rig["drive.second_harmonic_phase_deg"]],
        }
        gear = drive.gear_error_arcsec(time_s=self.times_s + start_s, **harmonics)
        steps = np.random.default_rng(seed).standard_normal(self.times_s.size)
        return gear + rig["drive.random_walk_arcsec_sqrt_s"] * np.sqrt(STEP_S) * np.cumsum(steps)

    def paths(self, gear):
        """Error of the drive in right ascension, on the sky [″]; `gear` is the share of it."""
        return gear * on_sky(self._central)

    def air(self, seeing, wind_m_s=WINDS_M_S[0], second=False):
        """Motion of the star by the air [″]."""
        aperture = float(self.passport["guide.aperture_mm"])
        sigma = guiding.tilt_sigma_arcsec(aperture_mm=aperture, seeing_arcsec=seeing)
        return sigma * _unit_air(self.times_s.size, aperture, wind_m_s, self.seed + 100 * second)

    def _run(
        self, gears, air, exposure, gain, play, seeing, directions, gear, *, end_s=None, least=MINIMUM_MOVE_ARCSEC,
        seed=None,
    ):  # fmt: skip
        """The controller at work. Drift goes north; the dither asks declination to turn back where it may."""
        stop = self.times_s.size if end_s is None else round(end_s / STEP_S)
        times = self.times_s[:stop]
        ra = gear * on_sky(gears[:stop])
        dec = self.drift_arcsec_min / 60.0 * times
        dither = DITHER_PX * self.scale_arcsec_px
        after = times >= DITHER_AT_S - 1e-6
        ra = ra + dither * after
        if directions == "both":
            dec = dec - dither * after
        allowed = {"both": "both", "off": "off"}.get(directions, "south only")
        return guiding.guide(
            times_s=times,
            ra_arcsec=ra,
            dec_arcsec=dec,
            air_arcsec=air[:, :stop],
            exposure_s=exposure,
            dead_time_s=DEAD_TIME_S,
            aggressiveness=gain,
            minimum_move_arcsec=least,
            longest_pulse_s=LONGEST_PULSE_S,
            guide_speed=self.passport["drive.guide_speed"],
            dec_deg=DEC_DEG,
            backlash_arcsec=play,
            centroid_sigma_arcsec=self.noise_arcsec(exposure, round(seeing, 1)),
            seed=self.seed if seed is None else seed,
            directions=allowed,
        )

    def _growth(self, run, seeing, end_s):
        stop = round(end_s / STEP_S)
        return guiding.star_growth(
            times_s=run.times_s[:stop],
            ra_arcsec=run.ra_arcsec[:stop],
            dec_arcsec=run.dec_arcsec[:stop],
            sub_s=SUB_S,
            settle_s=SETTLE_S,
            star_fwhm_arcsec=self.star_arcsec(seeing),
        )

    @staticmethod
    def _settled(run, limit_arcsec):
        """From the dither until both axes stay within the limit for a while; None where they do not [s]."""
        first = round(DITHER_AT_S / STEP_S)
        inside = (np.abs(run.ra_arcsec[first:]) <= limit_arcsec) & (
            np.abs(run.dec_arcsec[first:]) <= limit_arcsec
        )
        return _first_quiet_s(inside, STEP_S)

    def _star_arcsec(self, seeing):
        """Width of the main camera's star without guide errors, its full width at half maximum [″]."""
        rig = self.passport
        return float(
            sampling.blur_budget(
                seeing_fwhm_arcsec=seeing,
                guiding_rms_arcsec=0.0,
                focal_mm=rig["optics.focal_mm"],
                pixel_um=rig["camera.pixel_um"],
                aperture_mm=rig["optics.aperture_mm"],
                wavelength_nm=GREEN_NM,
                defocus_um=DEFOCUS_UM,
                trail_px=0.0,
                mosaic=rig["camera.mosaic"],
            ).fwhm_arcsec
        )

    def _noise_arcsec(self, exposure, seeing):
        """Error of the guide star's place by its light [″]."""
        return guide_star.place_arcsec(self.passport, exposure_s=exposure, seeing_arcsec=seeing)


def guide_night(passport, seed: int = 1) -> GuideNight:
    """The guided night of a passport; the same seed gives a whole class the same one."""
    return GuideNight(passport, seed)


def on_sky(error_arcsec):
    """An error about the axis as a length on the sky at the target's declination [″]."""
    return np.cos(np.radians(DEC_DEG)) * error_arcsec


def _first_quiet_s(inside, step_s):
    """When a series of yes and no is yes for ten seconds for the first time; None where it never is [s]."""
    run = round(QUIET_S / step_s)
    bad = np.concatenate([[0], np.cumsum(~inside)])
    quiet = np.nonzero(bad[run:] == bad[:-run])[0]
    return float(quiet[0] * step_s) if quiet.size else None


def _scale(passport, camera, lens):
    return optics.image_scale_arcsec_px(
        pixel_um=passport[f"{camera}.pixel_um"], focal_mm=passport[f"{lens}.focal_mm"]
    )


@functools.lru_cache(maxsize=12)
def _unit_air(count, aperture_mm, wind_m_s, seed):
    """Air whose motion at any instant has a sigma of 1″."""
    return guiding.tilt_series_arcsec(
        times_s=STEP_S * np.arange(count),
        tilt_sigma_arcsec=1.0,
        aperture_mm=aperture_mm,
        wind_m_s=wind_m_s,
        outer_scale_m=OUTER_SCALE_M,
        seed=seed,
    )
