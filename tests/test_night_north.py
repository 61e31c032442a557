"""Refraction in drifts, pole stars and true north: against ERFA's observed places, Skyfield, Meeus."""

from __future__ import annotations

import functools
import importlib.util
from datetime import UTC, datetime
from pathlib import Path

import erfa
import numpy as np
import pytest
from support import assert_row, rows

from workbook import alignment, night
from workbook.catalogue.stars import stars_in_field
from workbook.lesson.gates import Gate, GateClosed
from workbook.night import poles

ROWS = rows("night.csv")
AIR = {"pressure_hpa": 1010.0, "temperature_degc": 10.0}
OMEGA_ARCSEC_MIN = 60 * 15.041067
PLACE = {"latitude_deg": 52.4, "longitude_deg": 10.5, "height_m": 60.0}
SOUTH = {"latitude_deg": -34.0, "longitude_deg": -71.0, "height_m": 800.0}
EVENING = datetime(2026, 10, 10, 19, tzinfo=UTC)


# Refraction


def erfas_drift(*, hour_deg, dec_deg, latitude_deg):
    """East and north drift [″/min] of ERFA's observed place on a mount that turns by the sidereal rate.

    apio builds the observer with refraction, atioq sees the star; 2 min either way.
    """
    a, b = erfa.refco(AIR["pressure_hpa"], AIR["temperature_degc"], 0.5, 0.55)
    astrom = erfa.apio(0.0, 0.0, 0.0, np.radians(latitude_deg), 0.0, 0.0, 0.0, a, b)
    astrom["diurab"] = 0.0  # no daily aberration: a mount does not see it change
    step = 2 * OMEGA_ARCSEC_MIN / 3600
    seen = [erfa.atioq(-np.radians(hour_deg + k * step), np.radians(dec_deg), astrom)[2:4] for k in (1, -1)]
    hour = np.radians(2 * step) - (seen[0][0] - seen[1][0])
    arcsec = np.degrees(1) * 3600 / 4
    return hour * np.cos(np.radians(dec_deg)) * arcsec, (seen[0][1] - seen[1][1]) * arcsec


@pytest.mark.parametrize(("latitude", "worst"), [(52.4, 0.02), (-34, 0.02), (1.3, 0.02)])
def test_refraction_drift_is_that_of_erfas_observed_places(latitude, worst):
    """From 15° up; 0.02″/min: ERFA's quick form of its own refraction is 1 % off at 15°."""
    checked = 0
    for hour in range(-80, 81, 20):
        for dec in (-40, -10, 20, 50, 75):
            found = night.refraction_drift(hour_angle_deg=hour, dec_deg=dec, latitude_deg=latitude, **AIR)
            if not found.altitude_deg > 15:
                continue
            east, north = erfas_drift(hour_deg=hour, dec_deg=dec, latitude_deg=latitude)
            assert found.north_arcsec_min == pytest.approx(north, abs=worst)
            assert found.east_arcsec_min == pytest.approx(east, abs=worst)
            checked += 1
    assert checked > 15


def test_refraction_row_and_equivalent():
    """REF-16, half an arcsecond a minute due east at 34°; its declination part over POL-01 is the fake error."""
    hour, dec = np.degrees(erfa.ae2hd(*np.radians([90, 34, 50])))
    found = night.refraction_drift(hour_angle_deg=hour, dec_deg=dec, latitude_deg=50, **AIR)
    assert_row(ROWS["REF-16"], np.hypot(found.east_arcsec_min, found.north_arcsec_min))
    per_arcmin = rows("geometry.csv")["POL-01"]["expected"]
    assert found.equivalent_arcmin == pytest.approx(abs(found.north_arcsec_min) / per_arcmin, rel=1e-3)
    low = night.refraction_drift(hour_angle_deg=[-100, 0], dec_deg=0, latitude_deg=50, **AIR)
    np.testing.assert_array_equal(np.isnan(low.north_arcsec_min), [True, False])
    none = night.refraction_drift(
        hour_angle_deg=-60, dec_deg=20, latitude_deg=50, pressure_hpa=0, temperature_degc=10
    )
    assert none[:3] == pytest.approx((0, 0, 0))


def test_correction_brings_the_axis_back():
    """Drifts of a known axis seen through ERFA's air, corrected and solved: 0.1′; uncorrected 1′ or more off."""
    hours, decs = np.array([-70.0, 10.0]), np.array([20.0, 0.0])
    true = {"azimuth_error_arcmin": 6.0, "altitude_error_arcmin": -4.0}
    ask = {"latitude_deg": 52.4}
    clean = alignment.dec_drift_arcsec_min(**true, hour_angle_deg=hours, **ask)
    air = [erfas_drift(hour_deg=h, dec_deg=d, latitude_deg=52.4)[1] for h, d in zip(hours, decs, strict=True)]
    stars = {"hour_angles_deg": hours, "decs_deg": decs}
    mended = night.corrected_drifts_arcsec_min(drifts_arcsec_min=clean + air, **stars, **ask, **AIR)
    solve = functools.partial(
        alignment.solve_drifts, hour_angles_deg=hours, drift_sigma_arcsec_min=0.1, **ask
    )
    assert solve(drifts_arcsec_min=mended)[:2] == pytest.approx((6, -4), abs=0.1)
    fooled = np.array(solve(drifts_arcsec_min=clean + air)[:2]) - (6, -4)
    assert np.abs(fooled).max() > 1
    fake = night.refraction_axis_error(**stars, drift_sigma_arcsec_min=0.1, **ask, **AIR)
    assert fake[:2] == pytest.approx(fooled, abs=0.1)


def test_correction_refuses_low_stars():
    with pytest.raises(ValueError, match=r"stars above 10°, received one at 3\.\d °: choose higher stars"):
        night.corrected_drifts_arcsec_min(
            drifts_arcsec_min=[1, 1], hour_angles_deg=[-85, 0], decs_deg=[0, 0], latitude_deg=52.4, **AIR
        )


# Pole stars


def test_polaris_rows():
    """AST-11 and AST-12, mean distances; Meeus' place for J2100; AST-23, the apparent hour angle."""
    assert_row(ROWS["AST-11"], night.mean_pole_distance_arcmin(name="Polaris", year=2026.0))
    years = np.arange(2050, 2150, 0.05)
    assert_row(ROWS["AST-12"], night.mean_pole_distance_arcmin(name="Polaris", year=years).min())
    assert_row(ROWS["AST-10J00b"], 90 - night.mean_pole_distance_arcmin(name="Polaris", year=2100) / 60)
    star = night.pole_star(
        name="Polaris",
        latitude_deg=0,
        longitude_deg=0,
        height_m=0,
        times_utc=datetime(2026, 1, 15, 22, tzinfo=UTC),
    )
    assert_row(ROWS["AST-23"], star.hour_angle_deg)


@pytest.mark.parametrize(
    ("row", "ra_h", "dec_deg", "motion_s", "motion_arcsec", "julian_day"),
    [
        ("AST-09b", 2 + 44 / 60 + 11.986 / 3600, 49 + 13 / 60 + 42.48 / 3600, 0.03425, -0.0895, 2462088.69),
        (
            "AST-10B00b",
            2 + 31 / 60 + 48.704 / 3600,
            89 + 15 / 60 + 50.72 / 3600,
            0.19877,
            -0.0152,
            2415020.3135,
        ),
        ("AST-10J00b", 2 + 31 / 60 + 48.704 / 3600, 89 + 15 / 60 + 50.72 / 3600, 0.19877, -0.0152, 2488070.0),
    ],
)
def test_mean_place_of_other_years(row, ra_h, dec_deg, motion_s, motion_arcsec, julian_day, monkeypatch):
    """Precession and proper motion of Meeus' own stars; 0.01″ a year of parallax does not matter here."""
    east_mas = 15e3 * motion_s * np.cos(np.radians(dec_deg))
    star = poles.PoleStarData(15 * ra_h, dec_deg, east_mas, 1e3 * motion_arcsec, 10.0, 2.0, "north")
    monkeypatch.setitem(poles.POLE_STARS, "exercise", star)
    year = 2000 + (julian_day - 2451545) / 365.25
    assert_row(ROWS[row], 90 - night.mean_pole_distance_arcmin(name="exercise", year=year) / 60)


def test_mean_and_apparent_distance_differ_by_aberration_and_nutation_only():
    """20.5″ and 9.2″ (IAU constants) are 0.5′ at most; in the south as in the north."""
    for name, place in (("Polaris", PLACE), ("sigma Octantis", SOUTH)):
        seen = night.pole_star(name=name, **place, times_utc=EVENING).distance_arcmin
        assert night.mean_pole_distance_arcmin(name=name, year=2026.77) == pytest.approx(seen, abs=0.5)


def test_places_of_the_pole_stars_are_those_of_another_catalogue():
    """The installed star file: σ Octantis of 2016 from Gaia, Polaris of 1991.25 from Hipparcos; 0.03″ of motion."""
    for name, year, ra, dec in (
        ("sigma Octantis", 2016.0, 317.2016887961493, -88.9564785619393),
        ("Polaris", 1991.25, 37.946142995267444, 89.26413777914848),
    ):
        moved = poles._moved(poles.POLE_STARS[name], year - 2000)
        apart = np.degrees(erfa.seps(*moved, *np.radians([ra, dec]))) * 3600
        assert apart < 0.03
        found = stars_in_field(ra_deg=ra, dec_deg=dec, radius_deg=0.05, faintest_mag=7)
        assert found.ra_deg[0] == pytest.approx(ra, abs=1e-9)
        assert found.dec_deg[0] == pytest.approx(dec, abs=1e-9)


@functools.cache
def skyfield():
    from skyfield.api import load, load_file

    folder = Path(importlib.util.find_spec("skyfield_data").submodule_search_locations[0])
    return load_file(str(folder / "data" / "de421.bsp")), load.timescale(delta_t=37 + 32.184)  # UT1 = UTC


@pytest.fixture(scope="module", autouse=True)
def _closed_ephemeris():
    yield
    skyfield()[0].close()


def skyfield_seen(place, body, times):
    """Apparent place of a Skyfield body over a place."""
    from skyfield.api import wgs84

    ephemeris, timescale = skyfield()
    ground = wgs84.latlon(place["latitude_deg"], place["longitude_deg"], place["height_m"])
    return (ephemeris["earth"] + ground).at(timescale.from_datetimes(times)).observe(body).apparent()


@pytest.mark.parametrize(("name", "place"), [("Polaris", PLACE), ("sigma Octantis", SOUTH)])
def test_pole_stars_are_skyfields(name, place):
    """Apparent hour angle, distance, and the offset from the pole on the sky, over a year; 1″."""
    from skyfield.api import Star

    data = night.POLE_STARS[name]
    star = Star(
        ra_hours=data.ra_deg / 15,
        dec_degrees=data.dec_deg,
        ra_mas_per_year=data.motion_east_mas,
        dec_mas_per_year=data.motion_north_mas,
        parallax_mas=data.parallax_mas,
        epoch=2451545.0,
    )
    for month in (1, 4, 7, 10):
        moments = [datetime(2026, month, 15, hour, tzinfo=UTC) for hour in range(0, 24, 3)]
        seen = skyfield_seen(place, star, moments)
        hour, dec, _ = seen.hadec()
        found = night.pole_star(name=name, **place, times_utc=moments)
        distance = 60 * (90 - abs(dec.degrees))
        np.testing.assert_allclose(found.distance_arcmin, distance, atol=1 / 60)
        turn = np.radians((found.hour_angle_deg - hour.hours * 15 + 180) % 360 - 180)
        np.testing.assert_allclose(turn * distance, 0, atol=1 / 60)
        altitude, azimuth, _ = seen.altaz()
        pole_azimuth = 0 if place["latitude_deg"] > 0 else 180
        across = (azimuth.degrees - pole_azimuth + 180) % 360 - 180
        to_east = across if pole_azimuth == 0 else -across
        east = 60 * to_east * np.cos(altitude.radians)
        np.testing.assert_allclose(found.east_arcmin, east, atol=0.02)
        high = 60 * (altitude.degrees - abs(place["latitude_deg"]))
        np.testing.assert_allclose(found.high_arcmin, high, atol=0.7)  # flat against round: ρ²/2 tan φ = 0.6′


def test_pole_stars_refuse():
    with pytest.raises(ValueError, match="name must be one of 'Polaris', 'sigma Octantis', received 'Vega'"):
        night.pole_star(name="Vega", **PLACE, times_utc=EVENING)
    with pytest.raises(ValueError, match="year must be 1900 to 2200, received 26"):
        night.mean_pole_distance_arcmin(name="Polaris", year=26)


# True north


def open_gate():
    gate = Gate("sun")
    for index in range(len(gate.checklist.items)):
        gate.tick(index)
    return gate


def test_star_north_is_skyfields_azimuth():
    """Azimuth within 15″ of Skyfield; its rate is the difference over a minute of Skyfield's."""
    from skyfield.api import Star

    vega = {"ra_deg": 279.2347, "dec_deg": 38.7837}
    found = night.star_north(**vega, **PLACE, times_utc=EVENING, clock_sigma_s=30, place_sigma_m=0)
    moments = [EVENING.replace(minute=minute) for minute in (0, 1)]
    _, azimuth, _ = skyfield_seen(
        PLACE, Star(ra_hours=vega["ra_deg"] / 15, dec_degrees=vega["dec_deg"]), moments
    ).altaz()
    assert found.azimuth_deg == pytest.approx(azimuth.degrees[0], abs=0.005)
    rate = (azimuth.degrees[1] - azimuth.degrees[0]) * 60
    assert found.azimuth_rate_arcsec_s == pytest.approx(rate, rel=5e-3)
    assert found.azimuth_sigma_arcmin == pytest.approx(rate * 30 / 60, rel=5e-3)


@pytest.mark.parametrize(("clock_s", "place_m"), [(40, 3000), (3, 20_000)])
@pytest.mark.parametrize(
    ("place", "ra", "dec"), [(PLACE, 300, -5), (PLACE, 30, 25), (SOUTH, 300, -5), (SOUTH, 240, -50)]
)
def test_uncertainty_of_north_is_the_scatter_of_wrong_clocks_and_places(place, ra, dec, clock_s, place_m):
    """1,500 draws of clock and place; 6 % is three sigma of a spread."""
    rng = np.random.default_rng(6)
    star = {"ra_deg": ra, "dec_deg": dec, "height_m": place["height_m"]}
    clock = clock_s * rng.standard_normal(1500)
    metre = np.degrees(1 / 6.371e6)
    north, east = place_m * rng.standard_normal((2, 1500)) * metre
    when = datetime(2026, 10, 10, 23 if place is SOUTH else 19, tzinfo=UTC)
    times = np.datetime64(when.replace(tzinfo=None)) + (1e6 * clock).astype("timedelta64[us]")
    drawn = night.altaz(
        **star,
        latitude_deg=place["latitude_deg"] + north,
        longitude_deg=place["longitude_deg"] + east / np.cos(np.radians(place["latitude_deg"])),
        times_utc=times,
    )
    where = {key: place[key] for key in ("latitude_deg", "longitude_deg")}
    found = night.star_north(**star, **where, times_utc=when, clock_sigma_s=clock_s, place_sigma_m=place_m)
    assert found.azimuth_sigma_arcmin == pytest.approx(60 * np.std(drawn.azimuth_deg), rel=0.06)


def test_shadow_points_away_from_the_sun():
    """AST-22, worked example of Reda and Andreas: azimuth + 180°, length 1/tan of the altitude."""
    place = {"latitude_deg": 39.742476, "longitude_deg": -105.1786, "height_m": 1830.14}
    found = night.sun_shadow(
        gate=open_gate(),
        **place,
        times_utc=datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC),
        clock_sigma_s=60,
        place_sigma_m=100,
    )
    assert_row(ROWS["AST-22a"], (found.azimuth_deg + 180) % 360)
    assert_row(ROWS["AST-22b"], found.sun_altitude_deg)
    assert found.length == pytest.approx(1 / np.tan(np.radians(ROWS["AST-22b"]["expected"])), rel=1e-4)
    assert 10 < found.azimuth_sigma_arcmin < 30  # about 20″/s at this altitude
    night_time = night.sun_shadow(
        gate=open_gate(), **PLACE, times_utc=EVENING, clock_sigma_s=60, place_sigma_m=100
    )
    assert np.isnan(night_time).all()


def test_no_shadow_before_the_gate_is_open():
    ask = {**PLACE, "times_utc": EVENING.replace(hour=11), "clock_sigma_s": 30, "place_sigma_m": 100}
    with pytest.raises(TypeError, match="gate must be the opened Sun gate, received True"):
        night.sun_shadow(gate=True, **ask)
    gate = open_gate()
    assert np.isfinite(night.sun_shadow(gate=gate, **ask).azimuth_deg)
    gate.tick(2, False)
    with pytest.raises(GateClosed, match=r"The Sun gate is closed, .* No filter at the eyepiece end"):
        night.sun_shadow(gate=gate, **ask)


def test_north_refuses():
    with pytest.raises(ValueError, match="clock_sigma_s must be 0 or more s, received -1 s"):
        night.star_north(ra_deg=5, dec_deg=5, **PLACE, times_utc=EVENING, clock_sigma_s=-1, place_sigma_m=0)
    with pytest.raises(ValueError, match="times_utc must carry a time zone"):
        night.star_north(
            ra_deg=5, dec_deg=5, **PLACE, times_utc=datetime(2026, 1, 1), clock_sigma_s=1, place_sigma_m=0
        )
