"""The pole stars of both hemispheres: hour angle and offset from the pole, for a date."""

from __future__ import annotations

from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between, chosen
from workbook.constants import ARCMIN_PER_DEG
from workbook.night.clock import julian_date, plain
from workbook.night.places import altaz, hour_angle_dec

J2000_JD = 2451545.0
YEAR_DAYS = 365.25


class PoleStarData(NamedTuple):
    """A catalogue's entry: place in the ICRS at J2000 [°], motion on the sky [mas a year], magnitude, pole."""

    ra_deg: float
    dec_deg: float
    motion_east_mas: float
    motion_north_mas: float
    parallax_mas: float
    v_mag: float
    pole: str


# Polaris: new reduction of Hipparcos (van Leeuwen 2007, A&A 474, 653), carried to J2000. σ Octantis: Gaia DR3
# (Gaia Collaboration 2023, A&A 674, A1), carried to J2000, 21h 08m 46.86357s −88° 57′ 23.3983″.
POLE_STARS = {
    "Polaris": PoleStarData(37.95456067, 89.26410897, 44.48, -11.85, 7.54, 2.0, "north"),
    "sigma Octantis": PoleStarData(317.19526488, -88.95649953, 26.323, 4.721, 11.1, 5.5, "south"),
}


class PoleStar(NamedTuple):
    """A pole star over one place.

    hour_angle_deg, −180 to 180, west positive, and dec_deg, both apparent [°]; distance_arcmin from the pole
    [′]; altitude_deg, true, and azimuth_deg [°]; and where it stands from the pole as seen, east_arcmin and
    high_arcmin on the sky [′].
    """

    hour_angle_deg: float | np.ndarray
    dec_deg: float | np.ndarray
    distance_arcmin: float | np.ndarray
    altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray
    east_arcmin: float | np.ndarray
    high_arcmin: float | np.ndarray


def pole_star(*, name, latitude_deg, longitude_deg, height_m, times_utc) -> PoleStar:
    """Where a pole star stands about its pole.

    Parameters
    ----------
    name : str
        "Polaris" or "sigma Octantis".
    latitude_deg, longitude_deg : float
        Geodetic place, north and east positive [°].
    height_m : float
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].

    Returns
    -------
    PoleStar
        Hour angle, declination, distance from the pole, altitude and azimuth, and the offset from the pole,
        all apparent and without refraction.

    Raises
    ------
    ValueError
        If the name is unknown, a place is outside its range, a year outside 1972 to 2099, or a datetime naive.

    Notes
    -----
    Proper motion by ERFA's pmsafe to the middle of the moments, then the chain of `altaz`. The offset is
    ρ sin and ρ cos of the angle from the upright at the pole, ρ the distance: east_arcmin positive to the
    east, high_arcmin positive above the pole. Polaris at hour angle 0 stands above its pole, σ Octantis at
    hour angle 0 too. Good to 13.5″ × the distance in radians along the daily motion: nothing.

    References
    ----------
    Places as stated beside `POLE_STARS`; routines pmsafe, atciqz and atioq of ERFA. Reference row AST-23.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> star = pole_star(name="Polaris", latitude_deg=52.4, longitude_deg=0, height_m=60,
    ...                  times_utc=datetime(2026, 1, 15, 22, tzinfo=UTC))
    >>> round(star.hour_angle_deg, 1), round(star.distance_arcmin, 1)
    (38.7, 37.3)
    """
    data = POLE_STARS[chosen("name", name, POLE_STARS)]
    day, utc, _ = julian_date(times_utc)
    middle = float(np.nanmean(day + utc))
    ra, dec = _moved(data, (middle - J2000_JD) / YEAR_DAYS if np.isfinite(middle) else 0.0)
    place = {
        "ra_deg": float(np.degrees(ra) % 360.0),
        "dec_deg": float(np.degrees(dec)),
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "height_m": height_m,
        "times_utc": times_utc,
    }
    equatorial, horizontal = hour_angle_dec(**place), altaz(**place)
    distance = ARCMIN_PER_DEG * (90.0 - np.abs(equatorial.dec_deg))
    hour = np.radians(equatorial.hour_angle_deg)
    return PoleStar(
        *equatorial,
        plain(distance),
        *horizontal,
        plain(-distance * np.sin(hour)),
        plain(distance * np.cos(hour)),
    )


def mean_pole_distance_arcmin(*, name, year):
    """How far a pole star stands from its mean pole, without aberration and nutation.

    Parameters
    ----------
    name : str
        "Polaris" or "sigma Octantis".
    year : float or array
        Julian year, 1900 to 2200: 2026.5 is the middle of 2026.

    Returns
    -------
    float or array
        Distance [′].

    Raises
    ------
    ValueError
        If the name is unknown or the year outside its range.

    Notes
    -----
    Proper motion, and precession IAU 2006 with the frame bias. The apparent distance of one night differs by
    up to 0.6′.

    References
    ----------
    Routines pmsafe and pmat06 of ERFA. Reference rows AST-11 and AST-12.

    Examples
    --------
    >>> print(round(mean_pole_distance_arcmin(name="Polaris", year=2026), 1))
    37.7
    """
    data = POLE_STARS[chosen("name", name, POLE_STARS)]
    years = np.asarray(between("year", year, 1900, 2200)) - 2000.0
    ra, dec = _moved(data, years)
    of_date = erfa.rxp(erfa.pmat06(J2000_JD, years * YEAR_DAYS), erfa.s2c(ra, dec))
    along = of_date[..., 2] * (1.0 if data.pole == "north" else -1.0)
    level = np.hypot(of_date[..., 0], of_date[..., 1])
    return plain(ARCMIN_PER_DEG * np.degrees(np.arctan2(level, along)))


def _moved(data, years):
    """The place in the ICRS [rad] after so many Julian years since J2000."""
    ra, dec = np.radians([data.ra_deg, data.dec_deg])
    mas = np.radians(1.0 / 3.6e6)
    motion_ra = data.motion_east_mas * mas / np.cos(dec)
    moved = erfa.pmsafe(
        ra, dec, motion_ra, data.motion_north_mas * mas, data.parallax_mas * 1e-3, 0.0,
        J2000_JD, 0.0, J2000_JD, np.asarray(years) * YEAR_DAYS,
    )  # fmt: skip
    return moved[0], moved[1]
