"""Where a star of a catalogue stands over one place: altitude and azimuth, hour angle and declination."""

from __future__ import annotations

from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between
from workbook.night.clock import julian_date, longitude, plain
from workbook.pointing import Equatorial, Horizontal


class Observer(NamedTuple):
    """A place on the turning Earth at its moments, as ERFA needs it."""

    astrom: np.ndarray
    site_au: np.ndarray
    day: np.ndarray
    tt: np.ndarray


def altaz(*, ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, times_utc):
    """Altitude and azimuth of a star, from its place in a catalogue.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        Right ascension and declination in the ICRS, which is J2000 to 0.02″ [°].
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m]; above the sea is near enough.
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    Horizontal
        altitude_deg, true, that is without refraction, and azimuth_deg from north through east [°].

    Raises
    ------
    ValueError
        If an angle or a height is outside its range, a year outside 1972 to 2099, or a datetime naive.

    Notes
    -----
    Light deflection, annual and daily aberration, precession and nutation IAU 2006/2000A, Earth rotation
    angle. Left out: proper motion and parallax, UT1 − UTC (at most 13.5″), polar motion (0.5″). What moves
    slowly (the Earth on its orbit, precession, nutation) is taken from daily nodes and interpolated where
    there are more moments than nodes; that costs less than 0.001″.

    References
    ----------
    IERS Conventions 2010, Technical Note 36, chapter 5; routines epv00, xys06a, apco, atciqz and atioq of
    ERFA. Reference rows E2E-01a and E2E-01b.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> place = altaz(ra_deg=10.684708, dec_deg=41.26875, latitude_deg=50, longitude_deg=10, height_m=300,
    ...               times_utc=datetime(2026, 11, 10, 20, tzinfo=UTC))
    >>> round(place.altitude_deg, 2), round(place.azimuth_deg, 2)
    (78.48, 133.89)
    """
    site = observer(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m, times_utc=times_utc
    )
    ra, dec = _catalogue_place(ra_deg, dec_deg)
    return horizontal(*_intermediate(ra, dec, site), site)


def hour_angle_dec(*, ra_deg, dec_deg, latitude_deg, longitude_deg, height_m, times_utc):
    """Hour angle and declination of date of a star, from its place in a catalogue.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        Right ascension and declination in the ICRS, which is J2000 to 0.02″ [°].
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    Equatorial
        hour_angle_deg, west positive, −180 to 180, and dec_deg, both apparent and without refraction [°].

    Raises
    ------
    ValueError
        As `altaz`.

    Notes
    -----
    The same chain as `altaz`, read off on the equator of date; the two agree on the sphere to rounding.

    References
    ----------
    As `altaz`. Reference rows AST-23 and AST-25b.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> polaris = hour_angle_dec(ra_deg=37.9546, dec_deg=89.2641, latitude_deg=0, longitude_deg=0, height_m=0,
    ...                          times_utc=datetime(2026, 1, 15, 22, tzinfo=UTC))
    >>> round(polaris.hour_angle_deg), round(polaris.dec_deg, 1)
    (39, 89.4)
    """
    site = observer(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m, times_utc=times_utc
    )
    ra, dec = _catalogue_place(ra_deg, dec_deg)
    with np.errstate(invalid="ignore"):
        _, _, hour_angle, declination, _ = erfa.atioq(*_intermediate(ra, dec, site), site.astrom)
    return Equatorial(plain(np.degrees(hour_angle)), plain(np.degrees(declination)))


def observer(*, latitude_deg, longitude_deg, height_m, times_utc) -> Observer:
    """A place at its moments, guarded, ready for ERFA's astrometry; without refraction."""
    latitude = np.radians(between("latitude_deg", latitude_deg, -90, 90))
    east = np.radians(longitude("longitude_deg", longitude_deg))
    height_m = between("height_m", height_m, -500, 9000, cure="metres above the sea")
    day, utc, tt = julian_date(times_utc)
    with np.errstate(invalid="ignore"):
        slow = slow_part(day, tt)
        earth = np.empty(slow.shape[:-1], dtype=erfa.dt_pv)
        earth["p"], earth["v"] = slow[..., 3:6], slow[..., 6:9]
        x, y, s = slow[..., 9], slow[..., 10], slow[..., 11]
        astrom = erfa.apco(
            day, tt, earth, slow[..., :3], x, y, s, erfa.era00(day, utc), east, latitude, height_m,
            0.0, 0.0, erfa.sp00(day, tt), 0.0, 0.0,
        )  # fmt: skip
    return Observer(astrom, astrom["eb"] - earth["p"], day, tt)


def horizontal(ra, dec, site: Observer) -> Horizontal:
    """Altitude and azimuth [°] of a direction of date, given in the intermediate system [rad]."""
    with np.errstate(invalid="ignore"):
        azimuth, zenith_distance, *_ = erfa.atioq(ra, dec, site.astrom)
    return Horizontal(plain(90.0 - np.degrees(zenith_distance)), plain(np.degrees(azimuth)))


def slow_part(day, tt):
    """What changes little in a day, as a last axis of twelve numbers.

    The Earth from the Sun [au], the Earth from the centre of mass [au] and its velocity [au/d], and the pole
    of date x, y with s [rad].

    """
    return smoothly(_slow_at, day, tt, step_days=1.0)


def smoothly(function, day, tt, *, step_days):
    """function(day, tt), an array with one axis more, for something smooth.

    Exact at each moment where these are few, else by four-point interpolation between nodes step_days apart.
    """
    start = np.min(day)
    moment = (tt + (day - start)) / step_days
    first, last = np.floor(np.min(moment)), np.floor(np.max(moment))
    if np.size(moment) <= last - first + 4:
        return function(day, tt)
    nodes = function(start, np.arange(first - 1, last + 3) * step_days)
    below = np.floor(moment)
    u = (moment - below)[..., None]
    index = (below - first).astype(int)
    return (
        -u * (u - 1) * (u - 2) / 6 * nodes[index]
        + (u + 1) * (u - 1) * (u - 2) / 2 * nodes[index + 1]
        - (u + 1) * u * (u - 2) / 2 * nodes[index + 2]
        + (u + 1) * u * (u - 1) / 6 * nodes[index + 3]
    )


def _slow_at(day, tt):
    from_sun, from_centre = erfa.epv00(day, tt)
    pole = np.stack(erfa.xys06a(day, tt), axis=-1)
    return np.concatenate([from_sun["p"], from_centre["p"], from_centre["v"], pole], axis=-1)


def _catalogue_place(ra_deg, dec_deg):
    ra_deg = between("ra_deg", ra_deg, 0, 360, cure="degrees, not hours: 1 h is 15°")
    return np.radians(ra_deg), np.radians(between("dec_deg", dec_deg, -90, 90))


def _intermediate(ra, dec, site):
    with np.errstate(invalid="ignore"):
        return erfa.atciqz(ra, dec, site.astrom)
