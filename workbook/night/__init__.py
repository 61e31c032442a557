"""The real sky over one place: times, stars, Sun, Moon, twilight and refraction.

Everything rests on ERFA, the free implementation of the standards of the International Astronomical Union,
and nothing is ever fetched: no Earth-orientation tables are used, so the Earth is turned by UTC where UT1 is
meant. The two are kept within 0.9 s of one another, and that bounds the error along the daily motion to
13.5″ times the cosine of the declination (and of the hour of rising or setting to 0.9 s). Polar motion (0.5″)
is left out.

Places are geodetic, longitude positive to the east. Azimuth runs from north through east, the hour angle
grows to the west. Times are aware datetimes, or numpy's datetime64, which is taken as UTC.
"""

from workbook.night.bodies import Moon, Sun, moon, sun
from workbook.night.clock import minutes_utc, sidereal_time_deg
from workbook.night.discs import BODIES, RADII_KM, Disc, disc
from workbook.night.drift import (
    RefractionDrift,
    corrected_drifts_arcsec_min,
    refraction_axis_error,
    refraction_drift,
)
from workbook.night.local import clock_times
from workbook.night.many import many_altaz
from workbook.night.north import NorthMark, Shadow, star_north, sun_shadow
from workbook.night.places import altaz, hour_angle_dec
from workbook.night.poles import POLE_STARS, PoleStar, mean_pole_distance_arcmin, pole_star
from workbook.night.refraction import refraction_arcmin
from workbook.night.tracks import Track, track
from workbook.night.twilight import DarkWindow, dark_window
from workbook.night.twilights import Twilights, twilights

__all__ = [
    "BODIES",
    "POLE_STARS",
    "RADII_KM",
    "DarkWindow",
    "Disc",
    "Moon",
    "NorthMark",
    "PoleStar",
    "RefractionDrift",
    "Shadow",
    "Sun",
    "Track",
    "Twilights",
    "altaz",
    "clock_times",
    "corrected_drifts_arcsec_min",
    "dark_window",
    "disc",
    "hour_angle_dec",
    "many_altaz",
    "mean_pole_distance_arcmin",
    "minutes_utc",
    "moon",
    "pole_star",
    "refraction_arcmin",
    "refraction_axis_error",
    "refraction_drift",
    "sidereal_time_deg",
    "star_north",
    "sun",
    "sun_shadow",
    "track",
    "twilights",
]
