"""The night as the sky gives it: one row a minute for one place, date and target.

Nothing here depends on the rig but the horizon mask; everything is worked out once for a night and shared
by every draw, every sub length and every mode.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from datetime import date as Date

import numpy as np

from workbook import catalogue, horizon, night, pointing
from workbook.constants import ARCSEC_PER_DEG

STEP_S = 60.0  # a night is summed minute by minute


@dataclass(frozen=True)
class Conditions:
    """One night, one place, one target; arrays run over the minutes of astronomical darkness."""

    target: catalogue.DeepSkyObject
    latitude_deg: float
    times_utc: np.ndarray
    since_set_up_min: np.ndarray  # minutes since the set-up could begin (Sun at the passport's altitude)
    night_share: np.ndarray  # 0 at the start of darkness, 1 at its end: air and humidity follow it
    altitude_deg: np.ndarray
    apparent_altitude_deg: np.ndarray
    azimuth_deg: np.ndarray
    dec_deg: np.ndarray  # of date
    hour_angle_deg: np.ndarray
    airmass: np.ndarray
    altitude_rate_arcsec_s: np.ndarray
    azimuth_rate_arcsec_s: np.ndarray  # of the axis, not on the sky
    refraction_rate_arcsec_s: np.ndarray  # by how much refraction moves the star in altitude
    moon_zenith_distance_deg: np.ndarray
    moon_separation_deg: np.ndarray
    moon_phase_angle_deg: np.ndarray
    in_view: np.ndarray  # inside the learner's horizon mask

    @property
    def dark_h(self) -> float:
        """Length of the astronomical night [h]."""
        return len(self.times_utc) * STEP_S / 3600.0

    def at(self, minutes) -> Conditions:
        """The same night at chosen minutes only."""
        rows = {k: v[minutes] for k, v in self.__dict__.items() if isinstance(v, np.ndarray)}
        return Conditions(**{**self.__dict__, **rows})

    def begun_later(self, start_min: float) -> Conditions:
        """The same night with the set-up begun so much later [min]."""
        return replace(self, since_set_up_min=self.since_set_up_min - start_min)


def conditions(passport, *, target: str, date: Date) -> Conditions | None:
    """The minutes of one night, or None where the Sun never sinks 18° below the horizon.

    Parameters
    ----------
    passport : Passport
        Gives site, horizon, pressure and the Sun altitude at which setting up begins.
    target : str
        A name in the open deep-sky catalogue.
    date : datetime.date
        Civil date of the evening.
    """
    site = {key: passport[f"site.{key}"] for key in ("latitude_deg", "longitude_deg", "height_m")}
    return _conditions(
        *site.values(),
        passport["site.horizon_deg"],
        passport["site.ceiling_deg"],
        passport["night.pressure_hpa"],
        0.5 * (passport["night.air_start_degc"] + passport["night.air_end_degc"]),
        passport["habits.set_up_sun_deg"],
        target,
        date,
    )


@functools.lru_cache(maxsize=64)
def _conditions(
    latitude_deg,
    longitude_deg,
    height_m,
    horizon_deg,
    ceiling_deg,
    pressure_hpa,
    air_degc,
    set_up_sun_deg,
    target,
    date,
):
    place = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    dark = night.dark_window(**place, date=date)
    if dark is None:
        return None
    dusk = night.dark_window(**place, date=date, sun_altitude_deg=set_up_sun_deg) or dark
    thing = catalogue.find(target)
    times_utc = night.minutes_utc(start_utc=dark.start_utc, end_utc=dark.end_utc, step_s=STEP_S)
    where = {**place, "height_m": height_m, "times_utc": times_utc}
    star = night.altaz(ra_deg=thing.ra_deg, dec_deg=thing.dec_deg, **where)
    equatorial = night.hour_angle_dec(ra_deg=thing.ra_deg, dec_deg=thing.dec_deg, **where)
    moon = night.moon(**where)
    lift_deg = (
        night.refraction_arcmin(
            altitude_deg=star.altitude_deg, pressure_hpa=pressure_hpa, temperature_degc=air_degc
        )
        / 60.0
    )
    apparent_deg = star.altitude_deg + np.nan_to_num(lift_deg)
    mask = horizon.mask(horizon_deg, ceiling_deg=ceiling_deg)
    start = np.datetime64(dark.start_utc.replace(tzinfo=None), "ms")
    set_up = np.datetime64(dusk.start_utc.replace(tzinfo=None), "ms")
    elapsed_s = (times_utc - start) / np.timedelta64(1000, "ms")
    return Conditions(
        target=thing,
        latitude_deg=latitude_deg,
        times_utc=times_utc,
        since_set_up_min=(times_utc - set_up) / np.timedelta64(60_000, "ms"),
        night_share=elapsed_s / (len(times_utc) * STEP_S),
        altitude_deg=star.altitude_deg,
        apparent_altitude_deg=apparent_deg,
        azimuth_deg=star.azimuth_deg,
        dec_deg=equatorial.dec_deg,
        hour_angle_deg=equatorial.hour_angle_deg,
        airmass=pointing.airmass(apparent_altitude_deg=apparent_deg),
        altitude_rate_arcsec_s=_rate_arcsec_s(star.altitude_deg),
        azimuth_rate_arcsec_s=_rate_arcsec_s(np.unwrap(star.azimuth_deg, period=360.0)),
        refraction_rate_arcsec_s=_rate_arcsec_s(np.nan_to_num(lift_deg)),
        moon_zenith_distance_deg=90.0 - moon.altitude_deg,
        moon_separation_deg=_separation_deg(
            star.altitude_deg, star.azimuth_deg, moon.altitude_deg, moon.azimuth_deg
        ),
        moon_phase_angle_deg=moon.phase_angle_deg,
        in_view=mask.open(altitude_deg=apparent_deg, azimuth_deg=star.azimuth_deg) & (apparent_deg > 0),
    )


def _rate_arcsec_s(angle_deg):
    if len(angle_deg) < 2:
        return np.zeros(len(angle_deg))
    return np.gradient(angle_deg, STEP_S) * ARCSEC_PER_DEG


def _separation_deg(altitude_deg, azimuth_deg, other_altitude_deg, other_azimuth_deg):
    first = pointing.direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    other = pointing.direction(altitude_deg=other_altitude_deg, azimuth_deg=other_azimuth_deg)
    across = np.linalg.norm(np.cross(first, other), axis=-1)
    return np.degrees(np.arctan2(across, np.sum(first * other, axis=-1)))
