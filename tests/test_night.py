"""The real sky against Skyfield with DE421 and against astropy; shapes, kinds of time, errors.

Skyfield and astropy are used here only. With UT1 set to UTC in both, nothing but the formulas can differ.
"""

import functools
import importlib.util
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import erfa
import numpy as np
import pytest
from support import assert_broadcasts

from workbook import night
from workbook.night.clock import julian_date

ARCSEC = 1 / 3600

GERMANY = {"latitude_deg": 50.0, "longitude_deg": 10.0, "height_m": 300.0}
PLACES = {
    "mid-north": GERMANY,
    "south": {"latitude_deg": -34.0, "longitude_deg": -71.0, "height_m": 800.0},
    "near-equator": {"latitude_deg": 1.3, "longitude_deg": 104.0, "height_m": 20.0},
    "far-north": {"latitude_deg": 78.2, "longitude_deg": 15.6, "height_m": 0.0},
}
STARS = [(10.684708, 41.26875), (200.0, -60.0), (37.9546, 89.2641)]
# Ten months, at all hours: more moments than days, so the nodes are used.
TIMES = np.datetime64("2026-11-10T00:07") + np.arange(600) * np.timedelta64(12 * 3600 + 700, "s")
MINUTE_S = 60.0
STAR = {"ra_deg": 84, "dec_deg": 9}


def utc(*fields):
    return datetime(*fields, tzinfo=UTC)


def place_of(of):
    return {key: of[key] for key in ("latitude_deg", "longitude_deg")}


def apart_deg(lon1, lat1, lon2, lat2):
    return np.degrees(erfa.seps(*np.radians(np.broadcast_arrays(lon1, lat1, lon2, lat2))))


# Twilight


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_dark_window_ends_where_skyfield_has_the_sun_at_the_limit(place):
    """To the half second of rounding, 7.5″; where it says never or always, Skyfield agrees all day long."""
    for day in range(0, 365, 19):
        evening = date(2026, 1, 1) + timedelta(days=day)
        noon = datetime(evening.year, evening.month, evening.day, 12, tzinfo=UTC) - timedelta(
            hours=place["longitude_deg"] / 15
        )
        whole = (noon, noon + timedelta(days=1))
        for limit_deg in (-18.0, -0.833):
            window = night.dark_window(**place_of(place), date=evening, sun_altitude_deg=limit_deg)
            ends = [
                at
                for at, end in zip(window or (), whole, strict=False)
                if abs(at - end) > timedelta(seconds=1)
            ]
            if not ends:  # never or always dark
                all_day = skyfield_altitudes(place, [noon + timedelta(minutes=m) for m in range(0, 1441, 10)])
                assert (all_day < limit_deg + 1e-3).all() if window else (all_day > limit_deg - 1e-3).all()
                continue
            middle = window.start_utc + (window.end_utc - window.start_utc) / 2
            *at_ends, at_middle = skyfield_altitudes(place, [*ends, middle])
            np.testing.assert_allclose(at_ends, limit_deg, rtol=0, atol=8 * ARCSEC)
            assert at_middle < limit_deg


def test_polar_night_lasts_from_noon_to_noon():
    window = night.dark_window(latitude_deg=80, longitude_deg=0, date=date(2026, 12, 21), sun_altitude_deg=-6)
    assert window == (utc(2026, 12, 21, 12), utc(2026, 12, 22, 12))
    assert window.start_utc.utcoffset() == timedelta(0)


def test_the_date_is_that_of_the_evening_in_the_mean_solar_time_of_the_place():
    for east_deg in (-179.0, -71.0, 0.0, 104.0, 179.0):
        window = night.dark_window(latitude_deg=10, longitude_deg=east_deg, date=date(2026, 11, 10))
        local = window.start_utc + timedelta(hours=east_deg / 15)
        assert local.date() == date(2026, 11, 10)
        assert 18 <= local.hour < 20


# Independent libraries


@functools.cache
def skyfield():
    from skyfield.api import load, load_file

    folder = Path(importlib.util.find_spec("skyfield_data").submodule_search_locations[0])
    return load_file(str(folder / "data" / "de421.bsp")), load.timescale(delta_t=37 + 32.184)  # UT1 = UTC


@pytest.fixture(scope="module", autouse=True)
def _closed_ephemeris():
    yield
    skyfield()[0].close()


def skyfield_site(place, times_utc):
    from skyfield.api import wgs84

    ephemeris, timescale = skyfield()
    aware = [
        t if isinstance(t, datetime) else t.astype("M8[ms]").item().replace(tzinfo=UTC) for t in times_utc
    ]
    ground = wgs84.latlon(place["latitude_deg"], place["longitude_deg"], place["height_m"])
    return (ephemeris["earth"] + ground).at(timescale.from_datetimes(aware))


def skyfield_altitudes(place, times_utc):
    site = skyfield_site(place | {"height_m": 0.0}, times_utc)
    return site.observe(skyfield()[0]["sun"]).apparent().altaz()[0].degrees


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
@pytest.mark.parametrize(("ra_deg", "dec_deg"), STARS)
def test_stars_agree_with_skyfield(place, ra_deg, dec_deg):
    """0.01″: both carry IAU 2000A nutation; 0.0006″ was measured."""
    from skyfield.api import Star

    apparent = skyfield_site(place, TIMES).observe(Star(ra_hours=ra_deg / 15, dec_degrees=dec_deg)).apparent()
    altitude, azimuth, _ = apparent.altaz()
    hour_angle, declination, _ = apparent.hadec()
    ours = night.altaz(ra_deg=ra_deg, dec_deg=dec_deg, **place, times_utc=TIMES)
    equator = night.hour_angle_dec(ra_deg=ra_deg, dec_deg=dec_deg, **place, times_utc=TIMES)
    error = apart_deg(ours.azimuth_deg, ours.altitude_deg, azimuth.degrees, altitude.degrees)
    np.testing.assert_allclose(error, 0, atol=0.01 * ARCSEC)
    error = apart_deg(equator.hour_angle_deg, equator.dec_deg, 15 * hour_angle.hours, declination.degrees)
    np.testing.assert_allclose(error, 0, atol=0.01 * ARCSEC)
    assert ((equator.hour_angle_deg >= -180) & (equator.hour_angle_deg <= 180)).all()
    assert ((ours.azimuth_deg >= 0) & (ours.azimuth_deg < 360)).all()


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
@pytest.mark.parametrize(
    ("name", "body", "error_arcsec"), [("sun", night.sun, 0.1), ("moon", night.moon, 12.0)]
)
def test_sun_and_moon_agree_with_skyfield(place, name, body, error_arcsec):
    """Sun: 5 km in the Earth's place is 0.007″. Moon: 10″ in longitude and 4″ in latitude, says Meeus."""
    seen = skyfield_site(place, TIMES).observe(skyfield()[0][name])
    altitude, azimuth, _ = seen.apparent().altaz()
    ra, dec, _ = seen.radec()
    ours = body(**place, times_utc=TIMES)
    error = apart_deg(ours.azimuth_deg, ours.altitude_deg, azimuth.degrees, altitude.degrees)
    np.testing.assert_allclose(error, 0, atol=error_arcsec * ARCSEC)
    np.testing.assert_allclose(
        apart_deg(ours.ra_deg, ours.dec_deg, 15 * ra.hours, dec.degrees), 0, atol=error_arcsec * ARCSEC
    )
    assert ((ours.ra_deg >= 0) & (ours.ra_deg < 360)).all()
    if name == "moon":
        sun = skyfield()[0]["sun"]
        np.testing.assert_allclose(ours.phase_angle_deg, seen.apparent().phase_angle(sun).degrees, atol=0.005)
        lit = seen.apparent().fraction_illuminated(sun)
        np.testing.assert_allclose(ours.lit_fraction, lit, atol=5e-5)  # sin i / 2 times that angle


def test_a_star_agrees_with_astropy_and_its_earth_orientation():
    """UT1 − UTC and polar motion as astropy's own tables have them: within the 14″ that the module states."""
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        ground = EarthLocation.from_geodetic(10 * u.deg, 50 * u.deg, 300 * u.m)
        frame = AltAz(obstime=Time(TIMES[:40]), location=ground)
        theirs = SkyCoord(10.684708 * u.deg, 41.26875 * u.deg).transform_to(frame)
    ours = night.altaz(ra_deg=10.684708, dec_deg=41.26875, **GERMANY, times_utc=TIMES[:40])
    error = apart_deg(ours.azimuth_deg, ours.altitude_deg, theirs.az.deg, theirs.alt.deg)
    np.testing.assert_allclose(error, 0, atol=14 * ARCSEC)


# Invariants


def test_nodes_and_single_moments_agree():
    """Single moments are computed without interpolation: 0.001″ for a star, 0.3″ for the Moon, as stated."""
    alone = np.array([night.altaz(ra_deg=200, dec_deg=-60, **GERMANY, times_utc=time) for time in TIMES])
    together = night.altaz(ra_deg=200, dec_deg=-60, **GERMANY, times_utc=TIMES)
    np.testing.assert_allclose(
        apart_deg(*alone.T[::-1], together.azimuth_deg, together.altitude_deg), 0, atol=0.001 * ARCSEC
    )
    close = TIMES[0] + np.arange(300) * np.timedelta64(2, "m")
    alone = np.array([night.moon(**GERMANY, times_utc=time) for time in close])
    together = night.moon(**GERMANY, times_utc=close)
    error = apart_deg(*alone.T[[3, 2]], together.azimuth_deg, together.altitude_deg)
    np.testing.assert_allclose(error, 0, atol=0.3 * ARCSEC)
    np.testing.assert_allclose(together.phase_angle_deg, alone[:, 4], atol=0.3 * ARCSEC)


@pytest.mark.parametrize("body", [night.sun, night.moon])
def test_altaz_of_the_place_of_a_body_is_the_body(body):
    """Within 2″: light from a star bends at the Sun's rim, light from the Moon does not."""
    seen = body(**GERMANY, times_utc=TIMES)
    star = night.altaz(ra_deg=seen.ra_deg, dec_deg=seen.dec_deg, **GERMANY, times_utc=TIMES)
    error = apart_deg(star.azimuth_deg, star.altitude_deg, seen.azimuth_deg, seen.altitude_deg)
    np.testing.assert_allclose(error, 0, atol=2 * ARCSEC)


def test_the_sky_turns_once_in_a_sidereal_day():
    """86164.09053 s, Aoki et al. 1982; a day of precession is 0.13″."""
    start = utc(2026, 11, 10, 20)
    for place in PLACES.values():
        places = [
            night.altaz(ra_deg=83.6, dec_deg=22.0, **place, times_utc=start + timedelta(seconds=seconds))
            for seconds in (0.0, 86164.09053)
        ]
        np.testing.assert_allclose(*places, rtol=0, atol=3 * ARCSEC)


def test_objects_and_times_make_a_table():
    ra_deg, dec_deg = np.array(STARS).T[:, :, None]
    table = night.altaz(ra_deg=ra_deg, dec_deg=dec_deg, **GERMANY, times_utc=TIMES[:5])
    assert table.altitude_deg.shape == (3, 5)
    single = night.altaz(ra_deg=STARS[2][0], dec_deg=STARS[2][1], **GERMANY, times_utc=TIMES[4])
    np.testing.assert_allclose((table.altitude_deg[2, 4], table.azimuth_deg[2, 4]), single, rtol=1e-12)


@pytest.mark.parametrize(
    ("function", "numbers"),
    [
        (lambda **at: night.altaz(**at, times_utc=TIMES[0]).altitude_deg, GERMANY | STAR),
        (lambda **at: night.hour_angle_dec(**at, times_utc=TIMES[0]).dec_deg, GERMANY | STAR),
        (lambda **at: night.sun(**at, times_utc=TIMES[0]).azimuth_deg, GERMANY),
        (lambda **at: night.moon(**at, times_utc=TIMES[0]).altitude_deg, GERMANY),
        (functools.partial(night.sidereal_time_deg, times_utc=TIMES[0]), {"longitude_deg": 10.0}),
        (night.refraction_arcmin, {"altitude_deg": 12.0, "pressure_hpa": 990.0, "temperature_degc": 3.0}),
    ],
)  # fmt: skip
def test_shapes(function, numbers):
    assert_broadcasts(function, **numbers)


def test_all_kinds_of_time_are_one_moment():
    moment = utc(2026, 11, 10, 20)
    same = [
        moment,
        moment.astimezone(timezone(timedelta(hours=5, minutes=30))),
        np.datetime64("2026-11-10T20:00"),
        np.datetime64("2026-11-10T20:00:00.000000000"),
    ]
    for time in same:
        assert night.moon(**GERMANY, times_utc=time) == night.moon(**GERMANY, times_utc=moment)
    for times in ([moment, moment], np.array([[moment], [moment]]), np.array(["2026-11-10T20"] * 2, "M8[h]")):
        table = night.moon(**GERMANY, times_utc=times)
        assert table.altitude_deg.shape == np.shape(times)
        np.testing.assert_allclose(table.altitude_deg, night.moon(**GERMANY, times_utc=moment).altitude_deg)


def test_no_time_gives_nan_and_leaves_the_others_alone():
    times = np.array(["2026-11-10T20:00", "NaT"], dtype="M8[s]")
    for body in (night.sun, night.moon):
        for together, alone in zip(
            body(**GERMANY, times_utc=times), body(**GERMANY, times_utc=times[0]), strict=True
        ):
            np.testing.assert_allclose(together, [alone, np.nan], rtol=1e-12)
    assert np.isnan(night.sidereal_time_deg(longitude_deg=0, times_utc=times[1]))


def test_leap_seconds_are_in():
    """TAI − UTC: 10 s from 1972, 36 s to the end of 2016, 37 s since (IERS, Bulletin C)."""
    for day, tai_minus_utc_s in (
        ("1972-01-01", 10),
        ("2016-12-31", 36),
        ("2017-01-01", 37),
        ("2040-06-01", 37),
    ):
        date = julian_date(np.datetime64(day))
        np.testing.assert_allclose((date.tt - date.utc) * 86400, tai_minus_utc_s + 32.184, rtol=0, atol=1e-6)


# Refraction


def test_refraction_keeps_the_order_of_stars_and_ends_where_they_set():
    altitude_deg = np.linspace(-1, 90, 9101)
    lift = night.refraction_arcmin(altitude_deg=altitude_deg, pressure_hpa=1010, temperature_degc=10)
    assert (np.diff(altitude_deg + lift / 60) > 0).all()
    assert (np.diff(lift) < 0).all()
    assert lift[-1] == pytest.approx(0, abs=1e-9)
    below = night.refraction_arcmin(altitude_deg=[-1.001, -30], pressure_hpa=1010, temperature_degc=10)
    assert np.isnan(below).all()
    assert night.refraction_arcmin(altitude_deg=5, pressure_hpa=0, temperature_degc=10) == 0


@pytest.mark.parametrize("altitude_deg", [0, 4, 7, 20, 60])
def test_thin_and_warm_air_lifts_less(altitude_deg):
    """Lift goes with the density of the air, P/T of an ideal gas; 1 % for moisture and the cubic term."""
    standard = night.refraction_arcmin(altitude_deg=altitude_deg, pressure_hpa=1010, temperature_degc=10)
    thin = night.refraction_arcmin(altitude_deg=altitude_deg, pressure_hpa=757.5, temperature_degc=10)
    cold = night.refraction_arcmin(altitude_deg=altitude_deg, pressure_hpa=1010, temperature_degc=-20)
    assert thin / standard == pytest.approx(0.75, rel=0.01)
    assert cold / standard == pytest.approx(283.15 / 253.15, rel=0.01)


# Steps


def test_minutes_are_the_middles_of_whole_steps():
    start = utc(2026, 11, 10, 20)
    for length_s, count in ((0, 0), (29, 0), (31, 1), (60, 1), (150, 2), (151, 3), (30_000, 500)):
        times = night.minutes_utc(start_utc=start, end_utc=start + timedelta(seconds=length_s))
        assert len(times) == count
        assert times.dtype == np.dtype("M8[ms]")
        assert abs(count * MINUTE_S - length_s) <= MINUTE_S / 2
        expected = np.datetime64("2026-11-10T20:00:30") + np.arange(count) * np.timedelta64(60, "s")
        np.testing.assert_array_equal(times, expected)
    assert len(night.minutes_utc(start_utc=start, end_utc=start + timedelta(hours=1), step_s=0.5)) == 7200


# Errors and manners

HERE = {"latitude_deg": 50, "longitude_deg": 10, "height_m": 0, "times_utc": utc(2026, 1, 1)}


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"ra_deg": 361}, ValueError, "ra_deg must be 0 to 360 °, received 361 °: degrees, not hours"),
        ({"dec_deg": -91}, ValueError, "dec_deg must be -90 to 90 °"),
        ({"latitude_deg": 90.1}, ValueError, "latitude_deg must be -90 to 90 °"),
        ({"longitude_deg": 190}, ValueError, "longitude_deg must be .* above 180° subtract 360°"),
        ({"height_m": 30_000}, ValueError, "height_m must be -500 to 9000 m"),
        ({"times_utc": datetime(2026, 1, 1)}, ValueError, "without one: write datetime"),
        ({"times_utc": [utc(2026, 1, 1), datetime(2026, 1, 2)]}, ValueError, "received 2026-01-02"),
        ({"times_utc": utc(1971, 12, 31)}, ValueError, "must lie in 1972 to 2099, received 1971-12-31"),
        ({"times_utc": np.array(["2026-01-01", "2100-01-01"], "M8[D]")}, ValueError, "2026.* … 2100"),
        ({"times_utc": "2026-01-01"}, TypeError, "takes aware datetimes or numpy datetime64"),
        ({"times_utc": 2461000.5}, TypeError, "takes aware datetimes or numpy datetime64"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("function", [night.altaz, night.hour_angle_dec, night.moon])
def test_errors_say_the_cure(function, change, error, words):
    given = HERE | change if function is night.moon else STAR | HERE | change
    if function is night.moon and change.keys() & STAR.keys():
        return
    with pytest.raises(error, match=words):
        function(**given)


def test_errors_of_windows_and_steps():
    with pytest.raises(TypeError, match=r"date of the evening, as datetime\.date"):
        night.dark_window(latitude_deg=50, longitude_deg=10, date=utc(2026, 1, 1))
    with pytest.raises(TypeError, match="date of the evening"):
        night.dark_window(latitude_deg=50, longitude_deg=10, date="2026-01-01")
    with pytest.raises(ValueError, match="end_utc must not be before start_utc"):
        night.minutes_utc(start_utc=utc(2026, 1, 2), end_utc=utc(2026, 1, 1))
    with pytest.raises(ValueError, match="start_utc must carry a time zone"):
        night.minutes_utc(start_utc=datetime(2026, 1, 2), end_utc=utc(2026, 1, 3))
    with pytest.raises(ValueError, match="step_s must be above 0 s"):
        night.minutes_utc(start_utc=utc(2026, 1, 1), end_utc=utc(2026, 1, 2), step_s=0)
    with pytest.raises(ValueError, match=r"pressure_hpa .* 101.3 kPa is 1013 hPa"):
        night.refraction_arcmin(altitude_deg=5, pressure_hpa=101325, temperature_degc=10)
    with pytest.raises(ValueError, match=r"temperature_degc .* 283 K is 10 °C"):
        night.refraction_arcmin(altitude_deg=5, pressure_hpa=1013, temperature_degc=283)


def test_import_is_light():
    heavy = "astropy", "matplotlib", "IPython", "ipywidgets", "scipy"
    code = f"import sys, workbook.night; print([name for name in {heavy} if name in sys.modules])"
    root = Path(__file__).parent.parent
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root, check=True)
    assert done.stdout.strip() == "[]"
