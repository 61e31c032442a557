"""The year of one target from one place: usable hours a month behind the mask, dark, moonless and moonlit."""

from __future__ import annotations

import calendar
import dataclasses
from datetime import date as Date

import numpy as np

from workbook import catalogue, horizon, night, sampling
from workbook.checks import chosen, fraction, not_negative, positive
from workbook.verdict import hours
from workbook.verdict.answer import MODES

STEP_S = 600.0
WAVELENGTH_NM = 550.0  # middle of the visible band, for the width of a star


@dataclasses.dataclass(frozen=True)
class Season:
    """Twelve months of one target; arrays run over January to December.

    dark_h, astronomically dark; up_h, of these with the target behind the mask's opening; moonless_h and moonlit_h,
    which make up up_h: the Moon below or above the horizon; usable_h, of up_h after the set-up and before a battery
    ends, all for a sky that is always clear [h]. expected_h, times the clear share, and expected_68_h, its range
    (2, 12) [h]. star_fwhm_arcsec, how wide the assumed seeing makes a star at the target's altitude [″].
    """

    target: str
    year: int
    mode: str
    guided: bool
    clear_share: np.ndarray
    clear_share_sigma: np.ndarray
    seeing_arcsec: np.ndarray
    dark_h: np.ndarray
    up_h: np.ndarray
    moonless_h: np.ndarray
    moonlit_h: np.ndarray
    usable_h: np.ndarray
    expected_h: np.ndarray
    expected_68_h: np.ndarray
    star_fwhm_arcsec: np.ndarray
    nights: np.ndarray  # with a usable minute

    @property
    def best_month(self) -> str:
        """The month with most expected hours, or "" where there is none."""
        return calendar.month_name[int(self.expected_h.argmax()) + 1] if self.expected_h.any() else ""

    def as_text(self) -> str:
        """The year as lines of text."""
        lines = [f"{self.target} in {self.year}, {self.mode}; clear share and seeing are assumed numbers."]
        for month in range(12):
            low, high = self.expected_68_h[:, month]
            lines.append(
                f"{calendar.month_abbr[month + 1]}  dark {self.dark_h[month]:5.0f} h  up {self.up_h[month]:5.1f} h  "
                f"moonless {self.moonless_h[month]:5.1f} h  usable {self.usable_h[month]:5.1f} h  "
                f"expected {self.expected_h[month]:5.1f} h ({low:.1f} to {high:.1f})"
            )
        best = self.best_month
        lines.append(
            f"Best month: {best}."
            if best
            else "No usable hour in the whole year: see the mask and the latitude."
        )
        return "\n".join(lines)


def season(
    passport,
    *,
    target=None,
    year=None,
    mode=None,
    guided=None,
    clear_share,
    clear_share_sigma,
    seeing_arcsec,
) -> Season:
    """How many hours of a target each month of a year gives.

    Parameters
    ----------
    passport : Passport
        Site, mask, set-up and power; target, mode and guiding of its plan where not given, the year of its date.
    target : str, optional
        Name in the open deep-sky catalogue.
    year : int, optional
        1973 to 2098.
    mode, guided : optional
        As in `verdict.verdict`.
    clear_share : float or 12 of them
        Share of the nights that are clear, 0 to 1: an assumed number; ask a weather service's long records.
    clear_share_sigma : float or 12 of them
        How far that share may be off.
    seeing_arcsec : float or 12 of them
        Width of a star in the zenith through the unrest of the air: an assumed number [″].

    Returns
    -------
    Season
        Hours a month and their range. The month is that of the evening.

    Raises
    ------
    ValueError
        If a share is outside 0 to 1, a list has not twelve numbers, the year lies outside the ephemeris, or the target
        is unknown.

    Notes
    -----
    Steps of ten minutes through every dark window of the year. A night is taken as clear or not as a whole, the nights
    independent: variance of a month = p(1 − p) Σ h² + σ_p² (Σ h)², h the usable hours of its nights. Real weather comes
    in spells, which widens the range. Dew and the drive's zenith zone are left to the verdict of a night.

    References
    ----------
    Derivation: mean and variance of a sum of independent yes-or-no nights. Seeing with airmass:
    `sampling.seeing_fwhm_arcsec`.
    """
    plan = {"target": target, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    year = _year(passport["plan.date"].year if year is None else year)
    share, sigma, seeing = (
        _twelve(name, guard, value)
        for name, guard, value in (
            ("clear_share", fraction, clear_share),
            ("clear_share_sigma", not_negative, clear_share_sigma),
            ("seeing_arcsec", positive, seeing_arcsec),
        )
    )
    thing = catalogue.find(plan["target"])
    rows = _moments(passport, year)
    seen = _seen(passport, thing, rows.times_utc)
    month = rows.months[rows.night]
    rig = passport.central()
    supply = min(float(value) for value in hours.supply_h(rig, guided=plan["guided"]))
    ready_min = hours.set_up_min(rig, plan["mode"])
    usable = seen.up & (rows.since_min >= ready_min) & (rows.since_min / 60.0 <= supply)
    step_h = STEP_S / 3600.0

    def by_month(which):
        return np.bincount(month[which], minlength=12) * step_h

    per_night = np.bincount(rows.night[usable], minlength=len(rows.months)) * step_h
    usable_h = by_month(usable)
    squares = np.bincount(rows.months, weights=per_night**2, minlength=12)
    spread = np.sqrt(share * (1.0 - share) * squares + (sigma * usable_h) ** 2)
    expected = share * usable_h
    widths = [
        sampling.seeing_fwhm_arcsec(
            zenith_fwhm_arcsec=seeing[at],
            airmass=float(np.mean(seen.airmass[usable & (month == at)])),
            wavelength_nm=WAVELENGTH_NM,
        )
        if (usable & (month == at)).any()
        else np.nan
        for at in range(12)
    ]
    return Season(
        target=thing.name,
        year=year,
        mode=plan["mode"],
        guided=plan["guided"],
        clear_share=share,
        clear_share_sigma=sigma,
        seeing_arcsec=seeing,
        dark_h=by_month(np.ones(len(month), bool)),
        up_h=by_month(seen.up),
        moonless_h=by_month(seen.up & ~seen.moonlit),
        moonlit_h=by_month(seen.up & seen.moonlit),
        usable_h=usable_h,
        expected_h=expected,
        expected_68_h=np.clip(np.stack([expected - spread, expected + spread]), 0.0, usable_h),
        star_fwhm_arcsec=np.array(widths),
        nights=np.bincount(rows.months[per_night > 0], minlength=12),
    )


@dataclasses.dataclass(frozen=True)
class _Moments:
    times_utc: np.ndarray
    night: np.ndarray  # which night each moment belongs to
    since_min: np.ndarray  # since the set-up could begin
    months: np.ndarray  # of every night, 0 to 11


@dataclasses.dataclass(frozen=True)
class _Seen:
    up: np.ndarray
    moonlit: np.ndarray
    airmass: np.ndarray


def _moments(passport, year) -> _Moments:
    nights = 366 if calendar.isleap(year) else 365
    table = night.twilights(
        latitude_deg=passport["site.latitude_deg"],
        longitude_deg=passport["site.longitude_deg"],
        first_date=Date(year, 1, 1),
        nights=nights,
        sun_altitudes_deg=[-18.0, passport["habits.set_up_sun_deg"]],
    )
    start, set_up = (table.start_utc[:, column].astype("M8[ms]") for column in (0, 1))
    counts = np.rint(table.dark_h[:, 0] * 3600.0 / STEP_S).astype(int)
    which = np.repeat(np.arange(nights), counts)
    place = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    times = start[which] + ((place + 0.5) * STEP_S * 1e3).astype("m8[ms]")
    begun = np.where(np.isnat(set_up), start, set_up)
    months = table.dates.astype("M8[M]").astype(int) % 12
    return _Moments(times, which, (times - begun[which]) / np.timedelta64(60_000, "ms"), months)


def _seen(passport, thing, times_utc) -> _Seen:
    if not len(times_utc):
        nothing = np.zeros(0)
        return _Seen(nothing > 0, nothing > 0, nothing)
    site = {key: passport[f"site.{key}"] for key in ("latitude_deg", "longitude_deg", "height_m")}
    path = night.track(
        ra_deg=thing.ra_deg,
        dec_deg=thing.dec_deg,
        times_utc=times_utc,
        pressure_hpa=passport["night.pressure_hpa"],
        temperature_degc=0.5 * (passport["night.air_start_degc"] + passport["night.air_end_degc"]),
        **site,
    )
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    up = mask.open(altitude_deg=path.apparent_altitude_deg, azimuth_deg=path.azimuth_deg)
    up &= path.apparent_altitude_deg > 0.0
    moonlit = night.moon(times_utc=times_utc, **site).altitude_deg > 0.0
    return _Seen(up, moonlit, path.airmass)


def _year(year):
    if isinstance(year, bool) or not isinstance(year, (int, np.integer)):
        raise TypeError(f"year must be a whole number, received {year!r}")
    if not 1973 <= year <= 2098:
        raise ValueError(f"year must be 1973 to 2098, the range of the ephemeris, received {year}")
    return int(year)


def _twelve(name, guard, value):
    values = np.asarray(guard(name, value), dtype=float)
    if values.ndim and values.shape != (12,):
        raise ValueError(
            f"{name} must be one number or twelve, January to December, received {values.size} numbers"
        )
    return np.broadcast_to(values, 12).copy()
