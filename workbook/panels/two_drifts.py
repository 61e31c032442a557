"""What two drift stars of one place tell about an axis: from the view and the watch to the ellipse.

Each star is watched through the same number of frames, and a straight line through its declinations gives the
drift. The axis is that of an invented example, the same for every place, so that a class sees one picture.
"""

from __future__ import annotations

import numpy as np

from workbook import alignment, catalogue, horizon, optics, pointing
from workbook.constants import ARCMIN_PER_DEG
from workbook.figures import pole_drift as figure
from workbook.night.drift import refraction_drift
from workbook.night.refraction import refraction_arcmin

HIDDEN = {
    "azimuth_error_arcmin": 12.0,
    "altitude_error_arcmin": -8.0,
}  # where the hidden screws left the axis
NOISE = np.array([0.8, -0.7])  # of the two drifts in the picture, in standard deviations
INSIDE_68 = float(np.sqrt(-2.0 * np.log(1.0 - 0.68)))  # two dimensions: 68 % lie within so many deviations
CADENCE_S = 10.0
UNGUIDED_S, GUIDED_S = 60.0, 180.0
BUDGET = 0.5  # of the tolerance for the axis; gear and wind need the rest
HIGH_DEG = 30.0
HOURS_DEG, DECS_DEG = np.arange(-90, 91), np.arange(-75, 76)
SENSIBLE_DEG = (45, 135)
ON_EQUATOR_DEG = (
    0.1  # a place on the equator counts as a little north of it, or it would have no mirror image
)
DRAWS = 400


class Place:
    """What of a passport counts here: the view, the air, and how good the axis must be."""

    def __init__(self, passport):
        self.passport = passport
        self.latitude_deg = float(passport["site.latitude_deg"]) or ON_EQUATOR_DEG
        self._mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
        self.altitudes_deg = pointing.altaz(
            hour_angle_deg=HOURS_DEG, dec_deg=DECS_DEG[:, None], latitude_deg=self.latitude_deg
        )
        self.view = self._in_view(self.altitudes_deg)
        self.altitudes_deg = self.altitudes_deg.altitude_deg
        self.high = self.view & (self.altitudes_deg >= HIGH_DEG)
        self.dec_of = {"highest": self._decs(np.argmax), "lowest": self._decs(np.argmin)}
        self.unguided = self.tolerance_arcmin(sub_s=UNGUIDED_S, guided=False)
        self.guided = self.tolerance_arcmin(sub_s=GUIDED_S, guided=True)
        self.curves = {mirror: _curves(mirror * self.latitude_deg) for mirror in (1.0, -1.0)}
        self.shake = _shake(passport)

    def _in_view(self, stars):
        """Whether stars stand clear of the horizon mask, which was measured through the air that lifts them."""
        lift = refraction_arcmin(
            altitude_deg=stars.altitude_deg,
            pressure_hpa=self.passport["night.pressure_hpa"],
            temperature_degc=self.passport["night.air_start_degc"],
        )
        apparent = stars.altitude_deg + np.nan_to_num(lift) / ARCMIN_PER_DEG
        return (apparent > 0.0) & self._mask.open(altitude_deg=apparent, azimuth_deg=stars.azimuth_deg)

    def _decs(self, choose):
        """A declination for each hour angle: the highest or the lowest in view, else the highest anywhere."""
        empty = -np.inf if choose is np.argmax else np.inf
        seen = choose(np.where(self.view, self.altitudes_deg, empty), axis=0)
        return DECS_DEG[np.where(self.view.any(axis=0), seen, self.altitudes_deg.argmax(axis=0))]

    def tolerance_arcmin(self, *, sub_s, guided) -> float:
        """How far the axis may stand off for subs of the planned target, in the worst direction [′]."""
        passport, dec = self.passport, float(catalogue.find(self.passport["plan.target"]).dec_deg)
        target = pointing.altaz(hour_angle_deg=HOURS_DEG, dec_deg=dec, latitude_deg=self.latitude_deg)
        hours = HOURS_DEG[self._in_view(target)]
        start, end = (hours.min(), hours.max()) if hours.size else (-60.0, 60.0)
        scale = optics.image_scale_arcsec_px(
            pixel_um=passport["camera.pixel_um"], focal_mm=passport["optics.focal_mm"]
        )
        corner = 0.5 * np.hypot(passport["camera.width_px"], passport["camera.height_px"])
        beside = 3600.0 * passport["guide.star_offset_deg"] / scale if guided else 0.0
        return alignment.axis_tolerance(
            sub_s=sub_s,
            dec_deg=dec,
            latitude_deg=self.latitude_deg,
            start_hour_angle_deg=float(start),
            end_hour_angle_deg=float(end),
            guided=guided,
            scale_arcsec_px=scale,
            radius_px=corner + beside,
            tolerance_px=passport["habits.tolerance_px"],
            budget=BUDGET,
        ).any_arcmin

    def best_pair(self, *, watch_min=10.0, jitter_arcsec=2.0) -> alignment.PairChoice:
        """The best two directions in view: above 30° where the view allows it, the lower star as high as can be."""
        sigma = alignment.drift_sigma_arcsec_min(
            watch_min=watch_min, jitter_arcsec=jitter_arcsec, cadence_s=CADENCE_S
        )
        high = HOURS_DEG[self.high.any(axis=0)]
        wide = high.size and np.ptp(high) >= SENSIBLE_DEG[0]
        return alignment.best_pair(
            hour_angles_deg=HOURS_DEG,
            decs_deg=DECS_DEG,
            reachable=self.high if wide else self.view,
            latitude_deg=self.latitude_deg,
            drift_sigma_arcsec_min=sigma,
            criterion="area",
        )

    def report(self) -> str:
        """The best pair with its ellipse, and how good the axis must be, in words."""
        pair = self.best_pair()
        stars = [
            f"hour angle {hour:.0f}° (declination {dec:.0f}°, {altitude:.0f}° high in azimuth {azimuth:.0f}°)"
            for hour, dec, altitude, azimuth in zip(*pair[:4], strict=True)
        ]
        axes = [INSIDE_68 * axis for axis in (pair.semi_major_arcmin, pair.semi_minor_arcmin)]
        return (
            f"Best pair in this view: {' and '.join(stars)}.\n"
            f"After 10 minutes each, 2″ of jitter: 68 % ellipse of {axes[0]:.1f}′ by {axes[1]:.1f}′.\n"
            f"Enough for {UNGUIDED_S:.0f} s unguided: {self.unguided:.1f}′; for {GUIDED_S:.0f} s guided: "
            f"{self.guided:.0f}′."
        ).replace("-", "−")

    def pole_drift(
        self,
        *,
        first_hour_angle_deg,
        second_hour_angle_deg,
        watch_min,
        jitter_arcsec,
        hemisphere,
        stars,
        corrected,
    ) -> figure.PoleDrift:
        """All that the picture shows, for one position of the controls.

        The other hemisphere sees the mirror image: same hour angles and altitudes, declinations negative.
        """
        hours = np.array([first_hour_angle_deg, second_hour_angle_deg], dtype=float)
        column = np.round(hours).astype(int) - HOURS_DEG[0]
        own = "south" if self.latitude_deg < 0 else "north"
        mirror = 1.0 if hemisphere == own else -1.0
        latitude_deg = mirror * self.latitude_deg
        decs = self.dec_of[stars][column] * mirror
        air = refraction_drift(
            hour_angle_deg=hours,
            dec_deg=decs,
            latitude_deg=latitude_deg,
            pressure_hpa=self.passport["night.pressure_hpa"],
            temperature_degc=self.passport["night.air_start_degc"],
        )
        sigma = float(
            alignment.drift_sigma_arcsec_min(
                watch_min=watch_min, jitter_arcsec=jitter_arcsec, cadence_s=CADENCE_S
            )
        )
        law = alignment.dec_drift_arcsec_min(**HIDDEN, hour_angle_deg=hours, latitude_deg=latitude_deg)
        fake = np.zeros(2) if corrected else air.north_arcsec_min
        seen = law + fake + sigma * NOISE
        result = figure.PoleDrift(
            latitude_deg=latitude_deg,
            hour_angles_deg=hours,
            decs_deg=decs,
            altitudes_deg=pointing.altaz(
                hour_angle_deg=hours, dec_deg=decs, latitude_deg=latitude_deg
            ).altitude_deg,
            in_view=self.view.any(axis=0)[column],
            watch_min=watch_min,
            sigma_arcsec_min=sigma,
            drifts_arcsec_min=seen,
            air_arcsec_min=air.north_arcsec_min,
            corrected=corrected,
            curves_arcsec_min=self.curves[mirror],
            view_deg=_spans(self.view.any(axis=0)),
            high_deg=_spans(self.high.any(axis=0)),
            true_arcmin=_on_sky(*HIDDEN.values(), latitude_deg),
            unguided_arcmin=self.unguided,
            guided_arcmin=self.guided,
        )
        return self._solved(result, fake)

    def _solved(self, result, fake):
        """The result with the axis found, where two different directions can be measured at all."""
        apart = np.abs(np.sin(np.radians(np.diff(result.hour_angles_deg)[0])))
        told = apart >= np.sin(np.radians(alignment.SMALLEST_SPREAD_DEG))
        if not told or np.isnan(result.drifts_arcsec_min).any() or np.isnan(result.air_arcsec_min).any():
            return result
        place = {"latitude_deg": result.latitude_deg, "drift_sigma_arcsec_min": result.sigma_arcsec_min}
        pair = {"hour_angles_deg": result.hour_angles_deg, **place}
        found = alignment.solve_drifts(drifts_arcsec_min=result.drifts_arcsec_min, **pair)
        lure = alignment.solve_drifts(drifts_arcsec_min=fake, **pair)
        ellipse = alignment.error_ellipse(
            covariance_arcmin2=found.covariance_arcmin2, latitude_deg=result.latitude_deg
        )
        errors = {"azimuth_error_arcmin": found[0], "altitude_error_arcmin": found[1]}
        major = INSIDE_68 * ellipse.semi_major_arcmin
        return result._replace(
            **errors,
            found_arcmin=_on_sky(*found[:2], result.latitude_deg),
            semi_major_arcmin=major,
            semi_minor_arcmin=INSIDE_68 * ellipse.semi_minor_arcmin,
            angle_deg=ellipse.angle_deg,
            amplification=float(1.0 / apart),
            lengthened=float(1.0 / np.sqrt(1.0 - np.sqrt(1.0 - apart**2))),
            air_arcmin=float(np.hypot(*_on_sky(*lure[:2], result.latitude_deg))),
            turns=alignment.screw_turns(
                **errors, response_arcmin_turn=np.eye(2), latitude_deg=result.latitude_deg
            ),
            semi_major_68_arcmin=None if self.shake is None else tuple(major * self.shake),
        )


def drift_place(passport) -> Place:
    """What of a passport counts for a drift alignment."""
    return Place(passport)


def _curves(latitude_deg):
    """The drift of the example axis at every hour angle: from its azimuth, from its altitude, from both."""
    parts = [HIDDEN | {"altitude_error_arcmin": 0.0}, HIDDEN | {"azimuth_error_arcmin": 0.0}, HIDDEN]
    return np.array(
        [
            alignment.dec_drift_arcsec_min(**part, hour_angle_deg=HOURS_DEG, latitude_deg=latitude_deg)
            for part in parts
        ]
    )


def _shake(passport):
    """How the jitter may be off, as two factors: it grows with the seeing, and that has a spread."""
    seeing = np.asarray(passport.draw(DRAWS, seed=4)["night.seeing_arcsec"]) / passport["night.seeing_arcsec"]
    return None if seeing.ndim == 0 else np.quantile(seeing, (0.16, 0.84))


def _on_sky(azimuth_arcmin, altitude_arcmin, latitude_deg):
    """Errors of the axis as lengths on the sky, to the east and up: azimuth shrinks by cos φ."""
    return float(azimuth_arcmin * np.cos(np.radians(latitude_deg))), float(altitude_arcmin)


def _spans(seen):
    """The runs of hour angles that are seen, as pairs of first and last [°]."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], seen, [False]]).astype(int)))
    return [
        (float(HOURS_DEG[low]) - 0.5, float(HOURS_DEG[high - 1]) + 0.5) for low, high in edges.reshape(-1, 2)
    ]
