"""True north without a compass and without the pole: by a star, or by the shadow that the Sun throws, at a time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative
from workbook.night.bodies import sun
from workbook.night.clock import as_datetime64, plain
from workbook.night.places import altaz

HALF_STEP_S = 30.0  # for the rate of the azimuth
METRE_PER_ARCSEC = 30.9  # along the ground, one arcsecond of a great circle of the Earth


class NorthMark(NamedTuple):
    """Something in a known direction.

    azimuth_deg and altitude_deg, true, without refraction [°]; azimuth_rate_arcsec_s, how fast the azimuth
    changes [″/s]; azimuth_sigma_arcmin, the standard deviation from clock and place [′].
    """

    azimuth_deg: float | np.ndarray
    altitude_deg: float | np.ndarray
    azimuth_rate_arcsec_s: float | np.ndarray
    azimuth_sigma_arcmin: float | np.ndarray


class Shadow(NamedTuple):
    """The shadow of an upright stick or a plumb line.

    azimuth_deg, where the shadow points, and sun_altitude_deg, true [°]; length, against that of the stick;
    azimuth_rate_arcsec_s [″/s]; azimuth_sigma_arcmin [′], as in NorthMark.
    """

    azimuth_deg: float | np.ndarray
    sun_altitude_deg: float | np.ndarray
    length: float | np.ndarray
    azimuth_rate_arcsec_s: float | np.ndarray
    azimuth_sigma_arcmin: float | np.ndarray


def star_north(
    *, ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, times_utc, clock_sigma_s, place_sigma_m
) -> NorthMark:
    """The azimuth of a star at a time: sight it, turn back by so much, and there is north.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        Right ascension and declination in the ICRS [°].
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].
    clock_sigma_s : float
        Standard deviation of the clock [s].
    place_sigma_m : float
        Standard deviation of the place, each way along the ground [m].

    Returns
    -------
    NorthMark
        azimuth_deg, altitude_deg, azimuth_rate_arcsec_s and azimuth_sigma_arcmin. NaN below the horizon.

    Raises
    ------
    ValueError
        As `altaz`, or if a standard deviation is negative.

    Notes
    -----
    σ² = (rate × clock)² + (∂A/∂longitude × σ)² + (∂A/∂latitude × σ)², the slopes by small steps. A star near the
    pole hardly moves in azimuth and forgives a bad clock; one near the zenith does not. Sighting is not
    included.

    References
    ----------
    Derivation; Skyfield's azimuths in the tests. Reference row AST-22a for the Sun by the same chain.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> vega = star_north(ra_deg=279.2347, dec_deg=38.7837, latitude_deg=52.4, longitude_deg=10.5, height_m=60,
    ...     times_utc=datetime(2026, 10, 10, 19, tzinfo=UTC), clock_sigma_s=30, place_sigma_m=500)
    >>> print(round(vega.azimuth_deg, 1), round(vega.azimuth_rate_arcsec_s, 1))
    255.1 16.4
    """

    def where(latitude, longitude, times):
        return altaz(
            ra_deg=ra_deg,
            dec_deg=dec_deg,
            latitude_deg=latitude,
            longitude_deg=longitude,
            height_m=height_m,
            times_utc=times,
        )

    return _mark(where, latitude_deg, longitude_deg, times_utc, clock_sigma_s, place_sigma_m)


def sun_shadow(
    *, gate, latitude_deg, longitude_deg, height_m, times_utc, clock_sigma_s, place_sigma_m
) -> Shadow:
    """Where the shadow of an upright points at a time: true north by day, eyes on the ground.

    Parameters
    ----------
    gate : object
        The Sun gate, open: `lesson.gate("sun")` with every item ticked. Anything with `require_open`.
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].
    clock_sigma_s : float
        Standard deviation of the clock [s].
    place_sigma_m : float
        Standard deviation of the place, each way along the ground [m].

    Returns
    -------
    Shadow
        azimuth_deg of the shadow, sun_altitude_deg, length against the stick, azimuth_rate_arcsec_s and
        azimuth_sigma_arcmin. NaN while the Sun is down.

    Raises
    ------
    TypeError
        If there is no gate.
    Exception
        What the gate raises while it is closed; nothing is computed then.
    ValueError
        As `sun`, or if a standard deviation is negative.

    Notes
    -----
    The shadow points away from the Sun, 180° from its azimuth, and is 1/tan a long. Its edge is blurred by the
    Sun's width, 0.5°: take the middle. Never look along the stick towards the Sun.

    References
    ----------
    As `sun`. Reference row AST-22.

    Examples
    --------
    >>> sun_shadow(gate=None, latitude_deg=52.4, longitude_deg=10.5, height_m=60,
    ...            times_utc=np.datetime64("2026-10-10T10:00"), clock_sigma_s=30, place_sigma_m=500)
    Traceback (most recent call last):
        ...
    TypeError: gate must be the opened Sun gate, received None: tick its checklist first, then pass it here
    """
    if not callable(getattr(gate, "require_open", None)):
        raise TypeError(
            f"gate must be the opened Sun gate, received {gate!r}: tick its checklist first, then pass it here"
        )
    gate.require_open()

    def where(latitude, longitude, times):
        place = sun(latitude_deg=latitude, longitude_deg=longitude, height_m=height_m, times_utc=times)
        return place[2:]

    mark = _mark(where, latitude_deg, longitude_deg, times_utc, clock_sigma_s, place_sigma_m)
    with np.errstate(invalid="ignore"):
        length = 1.0 / np.tan(np.radians(mark.altitude_deg))
    return Shadow(
        plain((np.asarray(mark.azimuth_deg) + 180.0) % 360.0),
        mark.altitude_deg,
        plain(length),
        mark.azimuth_rate_arcsec_s,
        mark.azimuth_sigma_arcmin,
    )


def _mark(where, latitude_deg, longitude_deg, times_utc, clock_sigma_s, place_sigma_m):
    """A NorthMark for something whose altitude and azimuth [°] `where` gives."""
    clock = not_negative("clock_sigma_s", clock_sigma_s)
    ground_deg = not_negative("place_sigma_m", place_sigma_m) / METRE_PER_ARCSEC / 3600.0
    times = as_datetime64("times_utc", times_utc)
    step = np.timedelta64(int(1e6 * HALF_STEP_S), "us")
    altitude, azimuth = where(latitude_deg, longitude_deg, times)
    low = np.less(altitude, 0.0)
    rate = _change(where(latitude_deg, longitude_deg, times + step), azimuth)
    rate = (rate - _change(where(latitude_deg, longitude_deg, times - step), azimuth)) / (2.0 * HALF_STEP_S)
    # A step along the ground, one way or the other so that poles and the date line stay out of reach.
    north = np.where(np.less(latitude_deg, 0.0), 0.01, -0.01)
    east = np.where(np.less(longitude_deg, 0.0), 0.01, -0.01)
    by_latitude = _change(where(latitude_deg + north, longitude_deg, times), azimuth) / north
    by_longitude = _change(where(latitude_deg, longitude_deg + east, times), azimuth) / east
    wide = np.maximum(np.cos(np.radians(latitude_deg)), 1e-3)  # a metre is more degrees of longitude up north
    sigma = np.sqrt(
        (rate * clock) ** 2 + (by_latitude * ground_deg) ** 2 + (by_longitude * ground_deg / wide) ** 2
    )
    return NorthMark(
        *(plain(np.where(low, np.nan, value)) for value in (azimuth, altitude, 3600.0 * rate, 60.0 * sigma))
    )


def _change(place, azimuth):
    """How far a place stands from an azimuth, within half a turn [°]."""
    return (np.asarray(place[1]) - azimuth + 180.0) % 360.0 - 180.0
