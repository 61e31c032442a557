"""The Sun and the Moon as seen from one place."""

from __future__ import annotations

from typing import NamedTuple

import erfa
import numpy as np

from workbook.night.clock import plain
from workbook.night.places import horizontal, observer, smoothly


class Sun(NamedTuple):
    """The Sun's centre: place in the ICRS, altitude without refraction, azimuth [°]."""

    ra_deg: float | np.ndarray
    dec_deg: float | np.ndarray
    altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray


class Moon(NamedTuple):
    """The Moon's centre: place in the ICRS, altitude without refraction, azimuth, phase [°], share lit."""

    ra_deg: float | np.ndarray
    dec_deg: float | np.ndarray
    altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray
    phase_angle_deg: float | np.ndarray
    lit_fraction: float | np.ndarray


def sun(*, latitude_deg, longitude_deg, height_m, times_utc):
    """Where the Sun stands.

    Parameters
    ----------
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    Sun
        ra_deg and dec_deg, as a star catalogue would give them (`altaz` of them is the same place in the
        sky), altitude_deg, true, without refraction, and azimuth_deg from north through east [°].

    Raises
    ------
    ValueError
        If a place is outside its range, a year outside 1972 to 2099, or a datetime naive.

    Notes
    -----
    The Earth's own place about the Sun, turned round and seen from the site, so the parallax of 8.8″ is in.
    Better than 0.005°, nearly all of it UT1 − UTC.

    References
    ----------
    Routine epv00 of ERFA. Reference rows AST-16 and AST-22.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> place = sun(latitude_deg=39.742476, longitude_deg=-105.1786, height_m=1830.14,
    ...             times_utc=datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC))
    >>> round(place.altitude_deg, 2), round(place.azimuth_deg, 2)
    (39.87, 194.34)
    """
    site = observer(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m, times_utc=times_utc
    )
    with np.errstate(invalid="ignore"):
        ra, dec = erfa.c2s(-site.astrom["eh"])
        of_date = erfa.atciqz(ra, dec, site.astrom)
    return Sun(*_degrees(ra, dec), *horizontal(*of_date, site))


def moon(*, latitude_deg, longitude_deg, height_m, times_utc):
    """Where the Moon stands, and how much of it is lit.

    Parameters
    ----------
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    Moon
        ra_deg and dec_deg, as a star catalogue would give them (`altaz` of them is the same place in the
        sky), altitude_deg, true, without refraction, azimuth_deg from north through east, phase_angle_deg
        (Sun–Moon–site, 0 is full) [°], and lit_fraction of the disc, 0 to 1.

    Raises
    ------
    ValueError
        If a place is outside its range, a year outside 1972 to 2099, or a datetime naive.

    Notes
    -----
    Seen from the site, not from the centre of the Earth: the parallax lowers the Moon by up to 1°.
    lit fraction = (1 + cos i)/2 with i the phase angle. Good to 0.01°: 10″ in longitude and 4″ in latitude
    from the series, 0.3″ from interpolation between 3-hour nodes, and up to 13.5″ from UT1 − UTC.

    References
    ----------
    J. Meeus, Astronomical Algorithms, 2nd ed., 1998, chapters 47 and 48; routine moon98 of ERFA.
    Reference rows AST-17, MOO-08, MOO-09 and MOO-10a.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> place = moon(latitude_deg=50, longitude_deg=10, height_m=300,
    ...              times_utc=datetime(2026, 11, 10, 20, tzinfo=UTC))
    >>> round(place.altitude_deg, 1), round(place.lit_fraction, 2)
    (-37.6, 0.02)
    """
    site = observer(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m, times_utc=times_utc
    )
    with np.errstate(invalid="ignore"):
        moon_au = smoothly(_moon_from_earth_au, site.day, site.tt, step_days=1 / 8) - site.site_au
        sun_au = -site.astrom["eh"] * site.astrom["em"][..., None]
        # The Moon goes round the Sun with the Earth, so the Earth's orbital aberration does not show, and the
        # series has the light time in it already: a bare turn of the axes gives the direction of date.
        of_date = erfa.c2s(erfa.rxp(site.astrom["bpn"], moon_au))
        _, direction = erfa.pn(moon_au)
        ra, dec = erfa.c2s(direction - site.astrom["v"])  # aberration carries a star from there to the Moon
    phase = _phase_angle(moon_au, sun_au)
    return Moon(
        *_degrees(ra, dec),
        *horizontal(*of_date, site),
        plain(np.degrees(phase)),
        plain((1.0 + np.cos(phase)) / 2.0),
    )


def _moon_from_earth_au(day, tt):
    return erfa.moon98(day, tt)["p"]


def _phase_angle(moon_au, sun_au):
    """The angle at the Moon between site and Sun [rad], both given as vectors from the site."""
    with np.errstate(invalid="ignore"):
        return erfa.sepp(-moon_au, sun_au - moon_au)


def _degrees(ra, dec):
    return plain(np.degrees(ra) % 360.0), plain(np.degrees(dec))
