"""UTC as the clock on the wall shows it, so that the hour that comes twice in autumn is told apart."""

from __future__ import annotations

import zoneinfo
from datetime import UTC

import numpy as np

from workbook.night.clock import as_datetime64


def clock_times(*, times_utc, zone) -> list[str]:
    """Moments as a clock on the wall of a time zone shows them, with the offset from UTC.

    Parameters
    ----------
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].
    zone : str
        Name of the zone in the open time-zone database: "Europe/Berlin", "Australia/Sydney", "UTC".

    Returns
    -------
    list of str
        "2026-10-25 02:30 +02:00"; the offset tells the two halves of the night apart when the clocks change.

    Raises
    ------
    ValueError
        If the zone is unknown, or a datetime naive.

    Notes
    -----
    All sums of the workbook run in UTC, which has no daylight saving: a night on which the clocks change is as long as
    its neighbours, whatever the clock says.

    References
    ----------
    The time-zone database of the Internet Assigned Numbers Authority, RFC 6557.

    Examples
    --------
    >>> clock_times(times_utc=np.array(["2026-10-25T00:30", "2026-10-25T01:30"], "M8[m]"), zone="Europe/Berlin")
    ['2026-10-25 02:30 +02:00', '2026-10-25 02:30 +01:00']
    """
    try:
        place = zoneinfo.ZoneInfo(zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError, TypeError) as error:
        raise ValueError(
            f"zone must be a name of the time-zone database such as 'Europe/Berlin', received {zone!r}"
        ) from error
    moments = np.atleast_1d(as_datetime64("times_utc", times_utc))
    shown = []
    for moment in moments.ravel():
        local = moment.astype("M8[s]").item().replace(tzinfo=UTC).astimezone(place)
        offset = local.strftime("%z")
        shown.append(f"{local:%Y-%m-%d %H:%M} {offset[:3]}:{offset[3:5]}")
    return shown
