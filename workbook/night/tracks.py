"""The path of one target, or a few, over a place: all that the other topics ask of it, in one record."""

from __future__ import annotations

from typing import NamedTuple

import erfa
import numpy as np

from workbook.checks import between
from workbook.constants import ARCMIN_PER_DEG
from workbook.night.clock import plain
from workbook.night.places import horizontal, observer
from workbook.night.refraction import refraction_arcmin
from workbook.pointing import airmass, parallactic_angle_deg
from workbook.rotation import rotation_rate_deg_h


class Track(NamedTuple):
    """Where a target stands, how much air lies before it, and how fast its field turns in alt-az.

    altitude_deg, true, and apparent_altitude_deg, with refraction; azimuth_deg, hour_angle_deg and dec_deg of
    date [°]; airmass; parallactic_angle_deg [°]; rotation_rate_deg_h [°/h].
    """

    altitude_deg: float | np.ndarray
    apparent_altitude_deg: float | np.ndarray
    azimuth_deg: float | np.ndarray
    hour_angle_deg: float | np.ndarray
    dec_deg: float | np.ndarray
    airmass: float | np.ndarray
    parallactic_angle_deg: float | np.ndarray
    rotation_rate_deg_h: float | np.ndarray


def track(
    *,
    ra_deg,
    dec_deg,
    latitude_deg,
    longitude_deg,
    height_m,
    times_utc,
    pressure_hpa,
    temperature_degc,
) -> Track:
    """The path of a target through a night.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        Place in the ICRS [°]; for several targets columns of shape (n, 1), to go with a row of times.
    latitude_deg, longitude_deg : float
        Geodetic place, north and east positive [°].
    height_m : float
        Height above the ellipsoid [m].
    times_utc : datetime, datetime64 or array of them
        Moments [UTC].
    pressure_hpa : float
        Air pressure at the place [hPa]; 0 for no refraction.
    temperature_degc : float
        Air temperature [°C].

    Returns
    -------
    Track
        Altitude, azimuth, airmass, parallactic angle and rotation rate, for every target and moment. Airmass is
        NaN below the horizon, the rotation rate NaN within a hair of the zenith.

    Raises
    ------
    ValueError
        As `altaz` and `refraction_arcmin`.

    Notes
    -----
    One astrometric chain for all of it; the angles agree with `altaz` and `hour_angle_dec` to rounding. The
    parallactic angle is that of the true place, and its rate of change is the rotation rate, up to precession.

    References
    ----------
    As `altaz`, `refraction_arcmin`, `pointing.airmass`, `pointing.parallactic_angle_deg` and
    `rotation.rotation_rate_deg_h`.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> seen = track(ra_deg=10.684708, dec_deg=41.26875, latitude_deg=50, longitude_deg=10, height_m=300,
    ...              times_utc=datetime(2026, 11, 10, 20, tzinfo=UTC), pressure_hpa=980, temperature_degc=5)
    >>> print(round(seen.altitude_deg, 2), round(seen.airmass, 3), round(seen.rotation_rate_deg_h, 1))
    78.48 1.02 33.6
    """
    site = observer(
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, height_m=height_m, times_utc=times_utc
    )
    ra = np.radians(between("ra_deg", ra_deg, 0, 360, cure="degrees, not hours: 1 h is 15°"))
    dec = np.radians(between("dec_deg", dec_deg, -90, 90))
    with np.errstate(invalid="ignore"):
        of_date = erfa.atciqz(ra, dec, site.astrom)
        _, _, hour_angle, declination, _ = erfa.atioq(*of_date, site.astrom)
    altitude_deg, azimuth_deg = horizontal(*of_date, site)
    hour_angle_deg, dec_of_date_deg = np.degrees(hour_angle), np.degrees(declination)
    lift_deg = np.nan_to_num(
        refraction_arcmin(
            altitude_deg=altitude_deg, pressure_hpa=pressure_hpa, temperature_degc=temperature_degc
        )
        / ARCMIN_PER_DEG
    )
    apparent_deg = altitude_deg + lift_deg
    return Track(
        altitude_deg,
        plain(apparent_deg),
        azimuth_deg,
        plain(hour_angle_deg),
        plain(dec_of_date_deg),
        plain(airmass(apparent_altitude_deg=apparent_deg)),
        plain(
            parallactic_angle_deg(
                hour_angle_deg=hour_angle_deg, dec_deg=dec_of_date_deg, latitude_deg=latitude_deg
            )
        ),
        plain(
            rotation_rate_deg_h(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg, latitude_deg=latitude_deg)
        ),
    )
