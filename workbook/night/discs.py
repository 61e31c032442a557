"""Sun, Moon and planets as discs: place, distance, apparent diameter, how much is lit."""

from __future__ import annotations

from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import chosen
from workbook.constants import ARCSEC_PER_RAD, MOON_RADIUS_KM
from workbook.night.bodies import _degrees, _moon_from_earth_au, moon, sun
from workbook.night.clock import plain
from workbook.night.places import horizontal, observer, slow_part, smoothly

AU_KM = 149_597_870.7  # IAU 2012 resolution B2
LIGHT_AU_D = 173.14463267424034  # 299792.458 km/s

# Equatorial radii [km]: Archinal et al. 2018, Celestial Mechanics and Dynamical Astronomy 130, 22, tables 4 and 5; the
# Sun's nominal radius from IAU 2015 resolution B3.
RADII_KM = {
    "Sun": 695_700.0,
    "Moon": MOON_RADIUS_KM,
    "Mercury": 2440.53,
    "Venus": 6051.8,
    "Mars": 3396.19,
    "Jupiter": 71_492.0,
    "Saturn": 60_268.0,
    "Uranus": 25_559.0,
    "Neptune": 24_764.0,
}
BODIES = tuple(RADII_KM)
NUMBERS = {"Mercury": 1, "Venus": 2, "Mars": 4, "Jupiter": 5, "Saturn": 6, "Uranus": 7, "Neptune": 8}


class Disc(NamedTuple):
    """A body of the solar system as a disc.

    ra_deg and dec_deg in the ICRS, altitude_deg without refraction, azimuth_deg [°]; distance_km from the
    place [km]; diameter_arcsec, along the equator [″]; phase_angle_deg, Sun–body–place [°]; lit_fraction.
    """

    ra_deg: float | np.ndarray
    dec_deg: float | np.ndarray
    altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray
    distance_km: float | np.ndarray
    diameter_arcsec: float | np.ndarray
    phase_angle_deg: float | np.ndarray
    lit_fraction: float | np.ndarray


def disc(*, name, latitude_deg, longitude_deg, height_m, times_utc) -> Disc:
    """Where the Sun, the Moon or a planet stands, how large it looks and how much of it is lit.

    Parameters
    ----------
    name : str
        One of `BODIES`: "Sun", "Moon", "Mercury", "Venus", "Mars", "Jupiter", "Saturn", "Uranus", "Neptune".
    latitude_deg, longitude_deg : float or array
        Geodetic place, north and east positive [°].
    height_m : float or array
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    Disc
        Place, distance, diameter across the equator of the body, phase angle and lit fraction, from the site. The
        Sun's own phase angle is 0.

    Raises
    ------
    ValueError
        If the name is unknown, a place is outside its range, a year outside 1972 to 2099, or a datetime naive.

    Notes
    -----
    diameter = 2 arcsin(radius/distance). Planets from the mean elements of Simon and others: in longitude as seen
    from the Sun good to 7″ (Mercury, Venus), 26″ (Mars), 78″ (Jupiter), 87″ (Saturn, Uranus) and 11″ (Neptune)
    between 1800 and 2100; seen from the Earth up to three times that for Mars and Venus when they are near. Sizes are
    good to 0.05 %, Mars at its nearest to 0.03 %. Enough to find a planet and to know its size, not for occultations.
    The disc's flattening (Jupiter 6 %, Saturn 10 %), Saturn's ring and refraction are left out. Sun and Moon as in
    `sun` and `moon`; the Moon is larger when high, since the site is then nearer to it; its distance is
    good to 60 km, so its size to 0.3″.

    References
    ----------
    J. L. Simon and others, 1994, Astronomy and Astrophysics 282, 663; accuracy from the notes of ERFA's plan94;
    J. Meeus, Astronomical Algorithms, 2nd ed., 1998, chapters 41 and 55. Reference row AST-17c.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> seen = disc(name="Jupiter", latitude_deg=50, longitude_deg=10, height_m=300,
    ...             times_utc=datetime(2026, 1, 10, 22, tzinfo=UTC))
    >>> print(round(seen.diameter_arcsec, 1), round(seen.altitude_deg), round(seen.lit_fraction, 3))
    46.6 58 1.0
    """
    chosen("name", name, BODIES)
    place = {
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "height_m": height_m,
        "times_utc": times_utc,
    }
    site = observer(**place)
    if name == "Sun":
        seen = sun(**place)
        return Disc(*seen, *_size(name, site.astrom["em"]), *(0.0 * seen.ra_deg, 0.0 * seen.ra_deg + 1.0))
    if name == "Moon":
        seen = moon(**place)
        with np.errstate(invalid="ignore"):
            away = smoothly(_moon_from_earth_au, site.day, site.tt, step_days=1 / 8) - site.site_au
        missing = np.isnan(seen.ra_deg)
        return Disc(*seen[:4], *_size(name, np.where(missing, np.nan, erfa.pm(away))), *seen[4:])
    return _planet(name, site)


def _planet(name, site):
    from_sun = slow_part(site.day, site.tt)[..., :3] + site.site_au
    lag_d = 0.0
    for _ in range(3):  # the light left the planet minutes to hours ago
        body = erfa.plan94(site.day, np.nan_to_num(site.tt - lag_d), NUMBERS[name])["p"]
        away = body - from_sun
        distance_au = erfa.pm(away)
        lag_d = distance_au / LIGHT_AU_D
    with np.errstate(invalid="ignore"):
        ra, dec = erfa.c2s(away)
        seen = horizontal(*erfa.atciqz(ra, dec, site.astrom), site)
        phase = erfa.sepp(-away, -body)
    missing = np.isnan(np.asarray(seen.altitude_deg))
    distance_au, phase = (np.where(missing, np.nan, value) for value in (distance_au, phase))
    return Disc(
        *(plain(np.where(missing, np.nan, value)) for value in _degrees(ra, dec)),
        *seen,
        *_size(name, distance_au),
        plain(np.degrees(phase)),
        plain((1.0 + np.cos(phase)) / 2.0),
    )


def _size(name, distance_au):
    distance_km = np.asarray(distance_au) * AU_KM
    return plain(distance_km), plain(2.0 * ARCSEC_PER_RAD * np.arcsin(RADII_KM[name] / distance_km))
