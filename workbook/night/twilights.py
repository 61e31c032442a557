"""Twilight for many nights at once: the closed form of the hour angle, refined a few times."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from datetime import date as Date
from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between
from workbook.night.clock import FIRST, LAST, julian_date, longitude
from workbook.night.twilight import SUN_PARALLAX_RAD, TURN_RAD_DAY, _sun_of_date, dark_window

NEAR_POLE_DEG = 87.0  # beyond, the Sun sinks by its declination as much as by the turning of the Earth
REFINED = 8  # each turn leaves 1/300 of the error, less towards a Sun that only grazes the limit


class Twilights(NamedTuple):
    """Nights (rows) by altitudes of the Sun (columns).

    dates of the evenings, sun_altitudes_deg [°], start_utc and end_utc, NaT where it never gets so dark
    [UTC], dark_h, 0 there and 24 where the Sun stays below all day [h].
    """

    dates: np.ndarray
    sun_altitudes_deg: np.ndarray
    start_utc: np.ndarray
    end_utc: np.ndarray
    dark_h: np.ndarray


def twilights(*, latitude_deg, longitude_deg, first_date, nights, sun_altitudes_deg) -> Twilights:
    """Dusk and dawn for many nights and several altitudes of the Sun.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Geodetic place, north and east positive [°].
    first_date : datetime.date
        Civil date of the first evening, in the mean solar time of the place.
    nights : int
        How many evenings; 365 for a year.
    sun_altitudes_deg : sequence of float
        Altitudes of the Sun's centre without refraction that end the day, as in `dark_window` [°].

    Returns
    -------
    Twilights
        start_utc and end_utc of shape (nights, altitudes), to the second. From mean noon to mean noon where the Sun
        stays below all day, NaT where it never sinks so low.

    Raises
    ------
    ValueError
        If a number is outside its range, or a night outside 1972 to 2099.
    TypeError
        If `first_date` is no date or `nights` no whole number.

    Notes
    -----
    cos H = (sin h − sin φ sin δ)/(cos φ cos δ) with the Sun's place of the moment itself, found by repeating. The
    same definitions as `dark_window`, within a second of it; where the Sun only grazes the limit within a few
    minutes of arc the two may differ by some seconds. Within 3° of a pole `dark_window` itself is asked, night by
    night.

    References
    ----------
    J. Meeus, Astronomical Algorithms, 2nd ed., 1998, eq. 15.1. Reference rows TWI-01 to TWI-05.

    Examples
    --------
    >>> from datetime import date
    >>> year = twilights(latitude_deg=50, longitude_deg=10, first_date=date(2026, 1, 1), nights=365,
    ...                  sun_altitudes_deg=[-18])
    >>> row = (date(2026, 11, 10) - date(2026, 1, 1)).days
    >>> str(year.start_utc[row, 0])[:16], str(year.end_utc[row, 0])[:16], int((year.dark_h == 0).sum())
    ('2026-11-10T17:34', '2026-11-11T04:34', 41)
    """
    latitude = np.radians(between("latitude_deg", latitude_deg, -90, 90))
    longitude_deg = longitude("longitude_deg", longitude_deg)
    limits_deg = np.atleast_1d(between("sun_altitudes_deg", sun_altitudes_deg, -90, 90))
    nights = _whole(first_date, nights)
    noon = datetime.combine(first_date, time(12), UTC) - timedelta(hours=longitude_deg / 15.0)
    last = np.datetime64(noon.replace(tzinfo=None), "us") + np.timedelta64(nights + 2, "D")
    if last >= LAST or np.datetime64(noon.replace(tzinfo=None), "us") < FIRST + np.timedelta64(2, "D"):
        raise ValueError(
            f"first_date and nights must lie in 1972 to 2099, received {first_date} and {nights} nights"
        )
    if abs(latitude_deg) > NEAR_POLE_DEG:
        return _one_by_one(latitude_deg, longitude_deg, first_date, nights, limits_deg)
    start = julian_date(noon)
    ra, dec = _sun_of_date(start.day, start.tt + np.arange(-1.0, nights + 3.0))  # a node every noon
    nodes = np.stack([np.unwrap(ra), dec], axis=-1)
    turned = erfa.era00(start.day, start.utc) + np.radians(longitude_deg)
    limits = np.radians(limits_deg)
    sines = np.sin(limits + SUN_PARALLAX_RAD * np.cos(limits))
    evenings = np.arange(float(nights))[:, None] + np.zeros(len(limits_deg))
    found = []
    for side in (1.0, -1.0):
        days, cosine = evenings + 0.5 - 0.25 * side, 0.0
        for _ in range(REFINED):
            sun_ra, sun_dec = _at(nodes, days)
            with np.errstate(divide="ignore"):
                cosine = (sines - np.sin(latitude) * np.sin(sun_dec)) / (np.cos(latitude) * np.cos(sun_dec))
            wanted = side * np.arccos(np.clip(cosine, -1.0, 1.0))
            away = wanted - (turned + TURN_RAD_DAY * days - sun_ra)
            days = days + np.remainder(away + np.pi, 2.0 * np.pi) / TURN_RAD_DAY - np.pi / TURN_RAD_DAY
            # a Sun at its lowest may be reached from either side: stay within the day from noon to noon
            days = np.clip(days, evenings, evenings + 1.0)
        noons = evenings + 0.5 - 0.5 * side
        found.append((np.where(cosine > 1.0, noons, days), cosine < -1.0))
    (dusk, never_dusk), (dawn, never_dawn) = found
    never = never_dusk | never_dawn
    origin = np.datetime64(noon.replace(tzinfo=None), "ms")
    ends = [
        np.where(
            never,
            np.datetime64("NaT", "s"),
            (origin + np.rint(days * 86_400_000.0 + 500.0).astype("m8[ms]")).astype("M8[s]"),
        )
        for days in (dusk, dawn)
    ]
    dates = np.datetime64(first_date, "D") + np.arange(nights)
    return Twilights(dates, limits_deg, *ends, np.where(never, 0.0, 24.0 * (dawn - dusk)))


def _one_by_one(latitude_deg, longitude_deg, first_date, nights, limits_deg):
    """The same near a pole, where it is searched night by night: slower, about a second a year."""
    ends = np.full((2, nights, len(limits_deg)), np.datetime64("NaT", "s"))
    for night in range(nights):
        for column, limit_deg in enumerate(limits_deg):
            window = dark_window(
                latitude_deg=latitude_deg,
                longitude_deg=longitude_deg,
                date=first_date + timedelta(days=night),
                sun_altitude_deg=limit_deg,
            )
            if window:
                ends[:, night, column] = [np.datetime64(end.replace(tzinfo=None), "s") for end in window]
    dark_h = (ends[1] - ends[0]) / np.timedelta64(3600, "s")
    dates = np.datetime64(first_date, "D") + np.arange(nights)
    return Twilights(dates, limits_deg, *ends, np.nan_to_num(dark_h))


def _at(nodes, days):
    """The Sun's right ascension and declination between daily nodes, the first of them a day before day 0."""
    below = np.floor(days)
    u = days - below
    index = below.astype(int) + 1
    values = (
        (-u * (u - 1) * (u - 2) / 6)[..., None] * nodes[index - 1]
        + ((u + 1) * (u - 1) * (u - 2) / 2)[..., None] * nodes[index]
        - ((u + 1) * u * (u - 2) / 2)[..., None] * nodes[index + 1]
        + ((u + 1) * u * (u - 1) / 6)[..., None] * nodes[index + 2]
    )
    return values[..., 0], values[..., 1]


def _whole(first_date, nights):
    if not isinstance(first_date, Date) or isinstance(first_date, datetime):
        raise TypeError(
            f"first_date must be the date of the first evening, as datetime.date, received {first_date!r}"
        )
    if isinstance(nights, bool) or not isinstance(nights, (int, np.integer)):
        raise TypeError(f"nights must be a whole number, received {nights!r}")
    if not 1 <= nights <= 3660:
        raise ValueError(f"nights must be 1 to 3660, received {nights}: a year is 365")
    return int(nights)
