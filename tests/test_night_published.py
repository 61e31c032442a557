"""The real sky against published worked examples: see tests/reference/night.csv for source and tolerance."""

from datetime import UTC, date, datetime, timedelta, timezone

import erfa
import numpy as np
import pytest
from scipy.optimize import brentq
from support import assert_row, rows

from workbook import night
from workbook.night.bodies import _phase_angle

ROWS = rows("night.csv")
ARCSEC = 1 / 3600
GERMANY = {"latitude_deg": 50.0, "longitude_deg": 10.0, "height_m": 300.0}


def utc(*fields):
    return datetime(*fields, tzinfo=UTC)


def from_tt(year, month, day, tai_minus_utc_s):
    return utc(year, month, day) - timedelta(seconds=tai_minus_utc_s + 32.184)


def below_it(body, time):
    """The place that has a body in its zenith, where parallax does not act."""
    place = {"latitude_deg": 0.0, "longitude_deg": 0.0, "height_m": 0.0}
    for _ in range(4):
        seen = body(**place, times_utc=time)
        of_date = night.hour_angle_dec(ra_deg=seen.ra_deg, dec_deg=seen.dec_deg, **place, times_utc=time)
        east = (place["longitude_deg"] - of_date.hour_angle_deg + 180) % 360 - 180
        geodetic = np.degrees(np.arctan(np.tan(np.radians(of_date.dec_deg)) / (1 - 1 / 298.257223563) ** 2))
        place = {"latitude_deg": geodetic, "longitude_deg": east, "height_m": 0.0}
    altitude_deg = body(**place, times_utc=time).altitude_deg
    assert altitude_deg > 89.8  # the vertical misses the middle of the Earth by up to 0.19°
    return place


def of_date(body, time):
    """Right ascension and declination of date from the middle of the Earth."""
    place = below_it(body, time)
    seen = body(**place, times_utc=time)
    apparent = night.hour_angle_dec(ra_deg=seen.ra_deg, dec_deg=seen.dec_deg, **place, times_utc=time)
    here = night.sidereal_time_deg(longitude_deg=place["longitude_deg"], times_utc=time)
    return (here - apparent.hour_angle_deg) % 360, apparent.dec_deg


@pytest.mark.parametrize(("row", "time"), [("AST-02", (1987, 4, 10)), ("AST-04", (1987, 4, 10, 19, 21))])
def test_mean_sidereal_time_is_the_apparent_less_the_equation_of_the_equinoxes(row, time):
    jd, fraction = erfa.dtf2d("UTC", *time[:3], *(*time[3:], 0, 0)[:2], 0.0)
    equation_deg = np.degrees(erfa.ee06a(jd, fraction))
    assert_row(ROWS[row], night.sidereal_time_deg(longitude_deg=0, times_utc=utc(*time)) - equation_deg)


def test_ast_05_mean_sidereal_time_of_the_erfa_test_program():
    time = np.datetime64("2006-01-01")  # MJD 53736
    equation_deg = np.degrees(erfa.ee06a(2400000.5, 53736.0 + 65.184 / 86400))
    mean_deg = night.sidereal_time_deg(longitude_deg=0, times_utc=time) - equation_deg
    assert_row(ROWS["AST-05"], np.radians(mean_deg))


def test_ast_03_apparent_sidereal_time():
    assert_row(ROWS["AST-03"], night.sidereal_time_deg(longitude_deg=0, times_utc=utc(1987, 4, 10)))


def test_ast_06c_east_longitude_is_positive_and_hour_angle_west():
    here_deg = night.sidereal_time_deg(longitude_deg=-77.065556, times_utc=utc(1987, 4, 10, 19, 21))
    assert_row(ROWS["AST-06c"], here_deg - 15 * (23 + 9 / 60 + 16.641 / 3600) + 360)


@pytest.mark.parametrize(
    ("ids", "body", "time"),
    [
        (("AST-16a", "AST-16b"), night.sun, from_tt(1992, 10, 13, 27)),
        (("AST-17a", "AST-17b"), night.moon, from_tt(1992, 4, 12, 26)),
    ],
)
def test_sun_and_moon_of_date(ids, body, time):
    for row, value in zip(ids, of_date(body, time), strict=True):
        assert_row(ROWS[row], value)


def test_ast_22_sun_over_a_place():
    time = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    seen = night.sun(latitude_deg=39.742476, longitude_deg=-105.1786, height_m=1830.14, times_utc=time)
    assert_row(ROWS["AST-22a"], seen.azimuth_deg)
    assert_row(ROWS["AST-22b"], seen.altitude_deg)


def test_ast_23_hour_angle_of_polaris():
    years = 26.04
    ra_deg = 37.95456067 + 44.48e-3 * ARCSEC / np.cos(np.radians(89.2641)) * years  # Hipparcos 11767
    of_date = night.hour_angle_dec(
        ra_deg=ra_deg,
        dec_deg=89.26410897,
        latitude_deg=0,
        longitude_deg=0,
        height_m=0,
        times_utc=utc(2026, 1, 15, 22),
    )
    assert_row(ROWS["AST-23"], of_date.hour_angle_deg)


def test_ast_25_apparent_place_of_theta_persei():
    time = utc(2028, 11, 13) + timedelta(days=0.19, seconds=-69.184)
    years = 28.86705
    star = {
        "ra_deg": 15 * (2 + 44 / 60 + (11.986 + 0.03425 * years) / 3600),
        "dec_deg": 49 + 13 / 60 + (42.48 - 0.0895 * years) / 3600,
    }
    place = {"latitude_deg": 90.0, "longitude_deg": 0.0, "height_m": 0.0}  # no daily aberration at the pole
    apparent = night.hour_angle_dec(**star, **place, times_utc=time)
    sidereal = night.sidereal_time_deg(longitude_deg=0, times_utc=time)
    assert_row(ROWS["AST-25a"], (sidereal - apparent.hour_angle_deg) % 360)
    assert_row(ROWS["AST-25b"], apparent.dec_deg)


def test_e2e_01_m31_over_a_place():
    seen = night.altaz(ra_deg=10.684708, dec_deg=41.26875, **GERMANY, times_utc=utc(2026, 11, 10, 20))
    assert_row(ROWS["E2E-01a"], seen.altitude_deg)
    assert_row(ROWS["E2E-01b"], seen.azimuth_deg)


def test_moo_08_phase_angle():
    moon = erfa.s2p(*np.radians([134.6885, 13.7684]), 368410.0)
    sun = erfa.s2p(*np.radians([20.6579, 8.6964]), 149971520.0)
    assert_row(ROWS["MOO-08"], np.degrees(_phase_angle(moon, sun)))


@pytest.mark.parametrize(("row", "day"), [("MOO-09a", 11), ("MOO-09b", 14), ("MOO-09c", 18)])
def test_moo_09_lit_fraction(row, day):
    time = utc(2018, 9, day, 5)
    assert_row(ROWS[row], night.moon(**below_it(night.moon, time), times_utc=time).lit_fraction)


def test_moo_10_first_quarter():
    def ahead_deg(hours):
        time = utc(2018, 8, 31) + timedelta(hours=hours)
        jd = 2451545.0 + (time - utc(2000, 1, 1, 12)).total_seconds() / 86400
        longitudes = []
        for body in (night.moon, night.sun):
            seen = body(**below_it(body, time), times_utc=time)
            longitudes.append(np.degrees(erfa.eqec06(jd, 0.0, *np.radians([seen.ra_deg, seen.dec_deg]))[0]))
        return (longitudes[0] - longitudes[1]) % 360

    low, high = 400.0, 415.0
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if ahead_deg(middle) < 90 else (low, middle)
    assert_row(ROWS["MOO-10a"], middle)


@pytest.mark.parametrize(
    ("row", "jde", "tai_minus_utc_s", "apart_deg"),
    [("AST-18", 2443192.651, 16, 0.0), ("AST-19", 2467636.492, 37, 270.0)],
)
def test_phases_of_the_moon(row, jde, tai_minus_utc_s, apart_deg):
    """Meeus' dynamical time is TT: 32.184 s ahead of TAI (IAU 1991); leap seconds after 2017 are not known, and none
    are counted. Apparent longitudes of date differ by 0° at new moon, by 270° at the last quarter.
    """
    ahead_s = tai_minus_utc_s + 32.184

    def ahead_deg(days):
        time = utc(2000, 1, 1, 12) + timedelta(days=jde + days - 2451545.0, seconds=-ahead_s)
        nutation = erfa.nut06a(jde, days)[1]
        tilt = np.degrees(erfa.obl06(jde, days) + nutation)
        longitudes = []
        for body in (night.moon, night.sun):
            x, y, z = erfa.s2c(*np.radians(of_date(body, time)))
            along = y * np.cos(np.radians(tilt)) + z * np.sin(np.radians(tilt))
            longitudes.append(np.degrees(np.arctan2(along, x)))
        return (longitudes[0] - longitudes[1] - apart_deg + 180) % 360 - 180

    assert_row(ROWS[row], jde + brentq(ahead_deg, -0.05, 0.05, xtol=1e-6))


# Twilight


@pytest.mark.parametrize(
    ("row", "place", "evening", "end", "sun_altitude_deg", "zone_h"),
    [
        ("TWI-01a", (41.281944, -84.362778), date(2019, 11, 7), "end_utc", -18.0, 0),
        ("TWI-01b", (41.281944, -84.362778), date(2019, 11, 7), "end_utc", -12.0, 0),
        ("TWI-01c", (41.281944, -84.362778), date(2019, 11, 7), "end_utc", -6.0, 0),
        ("TWI-01d", (41.281944, -84.362778), date(2019, 11, 7), "end_utc", -0.8333, 0),
        ("TWI-01e", (41.281944, -84.362778), date(2019, 11, 8), "start_utc", -0.8333, 0),
        ("TWI-01f", (41.281944, -84.362778), date(2019, 11, 8), "start_utc", -6.0, 0),
        ("TWI-01g", (41.281944, -84.362778), date(2019, 11, 8), "start_utc", -12.0, 0),
        ("TWI-02a", (40.8939, -83.8917), date(2018, 9, 11), "end_utc", -0.8333, 0),
        ("TWI-02b", (40.8939, -83.8917), date(2018, 9, 12), "start_utc", -0.8333, 0),
        ("TWI-03a", (39.0, -105.0), date(2015, 1, 1), "end_utc", -0.8333, -7),
        ("TWI-04a", (39.0, -105.0), date(2015, 1, 2), "start_utc", -0.8333, -7),
        ("TWI-03b", (39.0, -105.0), date(2015, 8, 1), "end_utc", -0.8333, -7),
        ("TWI-04b", (39.0, -105.0), date(2015, 8, 2), "start_utc", -0.8333, -7),
    ],
)
def test_twilights_and_sunsets(row, place, evening, end, sun_altitude_deg, zone_h):
    window = night.dark_window(
        latitude_deg=place[0], longitude_deg=place[1], date=evening, sun_altitude_deg=sun_altitude_deg
    )
    moment = getattr(window, end) + timedelta(hours=zone_h)
    named_day = evening + timedelta(days=end == "end_utc")
    assert moment.date() == named_day
    assert_row(ROWS[row], moment.hour + moment.minute / 60 + moment.second / 3600)


def test_twi_05_no_astronomical_night_at_the_june_solstice():
    low, high = 40.0, 60.0
    for _ in range(20):
        middle = (low + high) / 2
        dark = night.dark_window(latitude_deg=middle, longitude_deg=0, date=date(2026, 6, 21))
        low, high = (middle, high) if dark else (low, middle)
    assert_row(ROWS["TWI-05"], middle)


# Refraction


def test_refraction_rows():
    def lift_arcmin(altitude_deg, pressure_hpa=1010, temperature_degc=10):
        return night.refraction_arcmin(
            altitude_deg=altitude_deg, pressure_hpa=pressure_hpa, temperature_degc=temperature_degc
        )

    true_deg = brentq(lambda true_deg: true_deg + lift_arcmin(true_deg) / 60 - 0.5, -0.5, 0.5)
    assert_row(ROWS["REF-01"], lift_arcmin(true_deg))
    assert_row(ROWS["REF-02"], lift_arcmin(33.246 / 60))
    assert_row(ROWS["REF-04"], lift_arcmin(-ROWS["REF-04"]["expected"] / 60))
    assert_row(ROWS["REF-05"], lift_arcmin(39.872046, 820, 11) / 60)
    assert_row(ROWS["REF-07"], lift_arcmin(45) * 60)
    assert_row(ROWS["REF-08"], lift_arcmin(50) * 60)
    for row, zenith_deg in (("NIG-01", 45), ("NIG-02", 70), ("NIG-03", 74), ("NIG-04", 80)):
        true_deg = 90 - zenith_deg - ROWS[row]["expected"] / 3600
        assert_row(ROWS[row], lift_arcmin(true_deg, 1005, 280.15 - 273.15) * 60)
