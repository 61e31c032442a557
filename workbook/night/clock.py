"""Times: what a moment is called in UTC and in terrestrial time, and how far the sky has turned by then."""

from __future__ import annotations

import functools
from datetime import UTC, datetime
from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between, positive

# Before 1972 UTC was no count of SI seconds; ERFA's Earth and Moon are stated for 1900 to 2100.
FIRST = np.datetime64("1972-01-01", "us")
LAST = np.datetime64("2100-01-01", "us")

DAY_US = 86_400_000_000
UNIX_EPOCH_JD = 2440587.5  # 1970-01-01 0h
TT_MINUS_TAI_S = 32.184  # IAU 1991 recommendation IV


class JulianDate(NamedTuple):
    """A moment as ERFA takes it: a day number and the fractions of that day, in UTC and in TT.

    A time that is none (NaT) has utc NaN, beside a day and tt that harm nobody.
    """

    day: np.ndarray
    utc: np.ndarray
    tt: np.ndarray


def julian_date(times_utc) -> JulianDate:
    """Day number and fractions of a day in UTC and in terrestrial time.

    Raises TypeError for what is no time, ValueError for a naive datetime or a year outside 1972 to 2099.
    """
    times = as_datetime64("times_utc", times_utc)
    if ((times < FIRST) | (times >= LAST)).any():
        raise ValueError(f"times_utc must lie in 1972 to 2099, received {np.min(times)} … {np.max(times)}")
    missing = np.isnat(times)
    times = np.where(missing, FIRST if missing.all() else np.min(times[~missing]), times)
    days, rest_us = np.divmod(times.astype(np.int64), DAY_US)
    utc = rest_us / DAY_US
    tt = utc + (_tai_minus_utc_s(times) + TT_MINUS_TAI_S) / 86400.0
    return JulianDate(UNIX_EPOCH_JD + days, np.where(missing, np.nan, utc), tt)


def as_datetime64(name: str, times) -> np.ndarray:
    """Aware datetimes, or datetime64 (taken as UTC), alone or in any array, as datetime64 in UTC."""
    if isinstance(times, datetime):
        return np.array(_in_utc(name, times), dtype="datetime64[us]")
    array = np.asarray(times)
    if array.dtype.kind == "M":
        return array.astype("datetime64[us]")
    if array.dtype.kind == "O" and all(isinstance(time, datetime) for time in array.flat):
        in_utc = [_in_utc(name, time) for time in array.flat]
        return np.array(in_utc, dtype="datetime64[us]").reshape(array.shape)
    raise TypeError(f"{name} takes aware datetimes or numpy datetime64 (in UTC), received {times!r}")


def sidereal_time_deg(*, longitude_deg, times_utc):
    """The right ascension that stands on the meridian: local apparent sidereal time.

    Parameters
    ----------
    longitude_deg : float or array
        Longitude of the place, east positive [°].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    float or array
        Apparent sidereal time, 0 to 360 [°], against the true equinox of the date.

    Notes
    -----
    GAST = ERA(UT1) − equation of the origins, IAU 2006/2000A, with UTC for UT1: good to 0.004°.
    A place of a catalogue (ICRS) is not of the date; `hour_angle_dec` takes it there first.

    References
    ----------
    IERS Conventions 2010, Technical Note 36, chapter 5. Reference rows AST-03 and AST-06c.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> round(sidereal_time_deg(longitude_deg=0, times_utc=datetime(1987, 4, 10, tzinfo=UTC)), 4)
    197.6922
    """
    longitude_deg = longitude("longitude_deg", longitude_deg)
    date = julian_date(times_utc)
    with np.errstate(invalid="ignore"):
        greenwich = erfa.gst06a(date.day, date.utc, date.day, date.tt)
    return plain(np.mod(np.degrees(greenwich) + longitude_deg, 360.0))


def minutes_utc(*, start_utc, end_utc, step_s=60.0):
    """The middles of the minutes of a night, to sum over.

    Parameters
    ----------
    start_utc, end_utc : datetime or datetime64
        Ends of the window, end not before start [UTC].
    step_s : float
        Length of one step [s]; a minute by convention of this workbook.

    Returns
    -------
    array of datetime64[ms]
        Middles of steps of exactly `step_s` laid end to end from the start, as many as lie in the window, so
        that steps × step_s is the length of the window to half a step [UTC].

    Raises
    ------
    ValueError
        If a datetime is naive, the end is before the start, or the step is not above zero.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> minutes_utc(start_utc=datetime(2026, 11, 10, 20, 0, tzinfo=UTC),
    ...             end_utc=datetime(2026, 11, 10, 20, 2, tzinfo=UTC)).astype(str).tolist()
    ['2026-11-10T20:00:30.000', '2026-11-10T20:01:30.000']
    """
    step_s = positive("step_s", step_s)
    start, end = as_datetime64("start_utc", start_utc), as_datetime64("end_utc", end_utc)
    if end < start:
        raise ValueError(f"end_utc must not be before start_utc, received {start} … {end}")
    count = int(np.ceil((end - start) / np.timedelta64(1, "s") / step_s - 0.5))
    middles_ms = np.rint((np.arange(max(count, 0)) + 0.5) * step_s * 1e3).astype("timedelta64[ms]")
    return (start + middles_ms).astype("datetime64[ms]")


def longitude(name: str, value):
    """A longitude, east positive, guarded."""
    return between(name, value, -180, 180, cure="east is positive; above 180° subtract 360°")


def plain(value):
    """A float for a single number, else the array."""
    return float(value) if np.ndim(value) == 0 else np.asarray(value)


def _in_utc(name, time):
    if time.utcoffset() is None:
        raise ValueError(
            f"{name} must carry a time zone, received {time.isoformat(sep=' ')} without one: "
            "write datetime(…, tzinfo=timezone.utc), or .astimezone() for this computer's own zone"
        )
    return time.astimezone(UTC).replace(tzinfo=None)


@functools.lru_cache(maxsize=1)
def _leap_seconds():
    table = erfa.leap_seconds.get()  # read directly: ERFA's own look-up warns of every date some years ahead
    begin = [f"{row['year']:04d}-{row['month']:02d}" for row in table]
    return np.array(begin, dtype="datetime64[us]"), table["tai_utc"].copy()


def _tai_minus_utc_s(times):
    begin, seconds = _leap_seconds()
    return seconds[np.searchsorted(begin, times, side="right") - 1]
