"""When it is dark: the part of a night with the Sun below a given altitude."""

from __future__ import annotations

import functools
import math
from datetime import UTC, datetime, time, timedelta
from datetime import date as Date
from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between
from workbook.constants import FIRST_EVENING, LAST_EVENING
from workbook.night.clock import julian_date, longitude
from workbook.night.places import slow_part

# One day from noon to noon, every 30 s, as a share of the day. In 30 s the Sun's path bends by 0.12″, so the
# straight line between two points of the grid is exact to a hundredth of a second.
GRID_S = 30.0
GRID = np.arange(0.0, 1.0 + 1e-9, GRID_S / 86400.0)

TURN_RAD_DAY = 2 * math.pi * 1.00273781191135448  # Earth rotation angle, IAU 2000 resolution B1.8
SUN_PARALLAX_RAD = math.radians(8.794143 / 3600)  # IAU 1976, at the mean distance


class DarkWindow(NamedTuple):
    """Start and end of darkness [UTC]."""

    start_utc: datetime
    end_utc: datetime


def dark_window(*, latitude_deg, longitude_deg, date, sun_altitude_deg=-18.0):
    """The dark part of a night, or None where the Sun never sinks low enough.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Geodetic place, north and east positive [°].
    date : datetime.date
        Civil date of the evening, in the mean solar time of the place (UTC + longitude/15 h).
    sun_altitude_deg : float
        Altitude of the Sun's centre without refraction that ends the day [°]. By convention −18 for
        astronomical, −12 for nautical and −6 for civil twilight, and −0.833 for sunset and sunrise (34′ of
        refraction and 16′ of radius).

    Returns
    -------
    DarkWindow or None
        start_utc and end_utc, aware, to the second [UTC]. Where the Sun stays below all day: from mean noon
        to mean noon. None where there is no such darkness ("no astronomical night").

    Raises
    ------
    ValueError
        If a number is outside its range, or the date outside 1972-01-02 to 2099-12-29.
    TypeError
        If `date` is no date.

    Notes
    -----
    The Sun's centre as seen from the place at sea level (with its parallax, without refraction), searched
    from mean noon to mean noon; the window is the stretch about the deepest Sun. Good to
    1 s of UT1, so to 2 s of UTC; a real sunset differs by minutes with the weather and the height of the
    horizon. A darkness of less than 30 s may be missed.

    References
    ----------
    Explanatory Supplement to the Astronomical Almanac, 3rd ed., 2013, chapter 12 (definitions).
    Reference rows TWI-01 to TWI-05.

    Examples
    --------
    >>> from datetime import date
    >>> night = dark_window(latitude_deg=50, longitude_deg=10, date=date(2026, 11, 10))
    >>> night.start_utc.isoformat(timespec="minutes"), night.end_utc.isoformat(timespec="minutes")
    ('2026-11-10T17:34+00:00', '2026-11-11T04:34+00:00')
    >>> print(dark_window(latitude_deg=60, longitude_deg=25, date=date(2026, 6, 21)))
    None
    """
    latitude = math.radians(between("latitude_deg", latitude_deg, -90, 90))
    longitude_deg = longitude("longitude_deg", longitude_deg)
    limit = math.sin(math.radians(between("sun_altitude_deg", sun_altitude_deg, -90, 90)))
    if not isinstance(date, Date) or isinstance(date, datetime):
        raise TypeError(f"date must be the date of the evening, as datetime.date, received {date!r}")
    if not FIRST_EVENING <= date <= LAST_EVENING:
        raise ValueError(
            f"date: received {date}, allowed {FIRST_EVENING} to {LAST_EVENING}: Sun and Earth are known for the nights "
            "of 1972 to 2099; write the evening of the night"
        )
    noon = datetime.combine(date, time(12), UTC) - timedelta(hours=longitude_deg / 15.0)
    height = _sine_of_altitude(latitude, math.radians(longitude_deg), noon) - limit
    deepest = int(np.argmin(height))
    if height[deepest] >= 0:
        return None
    before, after = np.flatnonzero(height[:deepest] >= 0), np.flatnonzero(height[deepest:] >= 0)
    start = _crossing(height, before[-1]) if before.size else 0.0
    end = _crossing(height, deepest + after[0] - 1) if after.size else GRID.size - 1.0
    return DarkWindow(*(_to_the_second(noon + timedelta(seconds=GRID_S * steps)) for steps in (start, end)))


@functools.lru_cache(maxsize=16)  # several twilights of one night share it
def _sine_of_altitude(latitude, east, noon):
    """Sine of the Sun's altitude along GRID, from one noon to the next."""
    day, utc, tt = julian_date(noon)
    ra, dec = _sun_of_date(day, tt + np.array([0.0, 0.5, 1.0]))
    ra, dec = _parabola(np.unwrap(ra)), _parabola(dec)
    hour_angle = erfa.era00(day, utc) + east + TURN_RAD_DAY * GRID - ra
    sine = math.sin(latitude) * np.sin(dec) + math.cos(latitude) * np.cos(dec) * np.cos(hour_angle)
    return sine - SUN_PARALLAX_RAD * (1.0 - sine**2)


def _sun_of_date(day, tt):
    """The Sun from the centre of the Earth: right ascension and declination of date [rad]."""
    slow = slow_part(np.full(tt.shape, day), tt)
    earth = np.empty(tt.shape, dtype=erfa.dt_pv)
    earth["p"], earth["v"] = slow[:, 3:6], slow[:, 6:9]
    astrom = erfa.apci(day, tt, earth, slow[:, :3], slow[:, 9], slow[:, 10], slow[:, 11])
    return erfa.atciqz(*erfa.c2s(-slow[:, :3]), astrom)


def _parabola(three):
    """The parabola through values at noon, midnight and noon, along GRID."""
    u = 2.0 * GRID - 1.0
    return three[1] + u * (three[2] - three[0]) / 2.0 + u**2 * (three[0] - 2.0 * three[1] + three[2]) / 2.0


def _crossing(height, index):
    """Where the height passes zero between a point of the grid and the next, in steps of the grid."""
    return index + height[index] / (height[index] - height[index + 1])


def _to_the_second(moment):
    return (moment + timedelta(seconds=0.5)).replace(microsecond=0)
