"""Places in the sky, against Meeus, ERFA and the airmass papers."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from scipy.optimize import brentq
from support import assert_broadcasts, assert_row, rows

import workbook.pointing.air as air
import workbook.pointing.places as places

ROWS = rows("geometry.csv")
OMEGA_DEG_S = 15.041067 / 3600
SKY = np.random.default_rng(7)
HOUR = SKY.uniform(-180, 180, 500)
DEC = SKY.uniform(-89, 89, 500)
LATITUDE = SKY.uniform(-89, 89, 500)


def test_altaz_meeus_example_13b():
    """Azimuth from north, not from the south as in the book; tolerance: the last printed digits."""
    venus = places.altaz(
        hour_angle_deg=64.352133, dec_deg=-(6 + 43 / 60 + 11.61 / 3600), latitude_deg=38 + 55 / 60 + 17 / 3600
    )
    assert_row(ROWS["AST-06a"], venus.azimuth_deg)
    assert_row(ROWS["AST-06b"], venus.altitude_deg)


def test_altaz_and_parallactic_angle_erfa_validation_values():
    h, d, p = np.degrees([1.1, 1.2, 0.3])
    place = places.altaz(hour_angle_deg=h, dec_deg=d, latitude_deg=p)
    q = places.parallactic_angle_deg(hour_angle_deg=h, dec_deg=d, latitude_deg=p)
    assert_row(ROWS["AST-07a"], np.radians(place.azimuth_deg))
    assert_row(ROWS["AST-07b"], np.radians(place.altitude_deg))
    assert_row(ROWS["AST-07c"], np.radians(q))


def test_hour_angle_dec_erfa_validation_values():
    az, el, p = np.degrees([5.5, 1.1, 0.7])
    place = places.hour_angle_dec(altitude_deg=el, azimuth_deg=az, latitude_deg=p)
    assert_row(ROWS["AST-07d"], np.radians(place.hour_angle_deg))
    assert_row(ROWS["AST-07e"], np.radians(place.dec_deg))


def test_hour_angle_of_setting():
    """AST-24a: the star of Meeus' example at −0.5667° over latitude 42° 20′."""
    star = {"dec_deg": 18 + 26 / 60 + 27.3 / 3600, "latitude_deg": 42 + 20 / 60}
    found = brentq(lambda hour: places.altaz(hour_angle_deg=hour, **star).altitude_deg + 0.5667, 60, 170)
    assert_row(ROWS["AST-24a"], found)


def test_hour_angle_at_an_altitude():
    """TWI-06: a star of declination 20° over latitude 50° comes down through an altitude of 30°."""
    found = brentq(
        lambda hour: places.altaz(hour_angle_deg=hour, dec_deg=20, latitude_deg=50).altitude_deg - 30, 1, 170
    )
    assert_row(ROWS["TWI-06"], found)


def test_all_angles_over_the_whole_sky_against_erfa():
    """500 places in both hemispheres; 1e-9° is far above the rounding of either side."""
    radians = np.radians([HOUR, DEC, LATITUDE])
    azimuth, altitude = erfa.hd2ae(*radians)
    place = places.altaz(hour_angle_deg=HOUR, dec_deg=DEC, latitude_deg=LATITUDE)
    np.testing.assert_allclose(place.altitude_deg, np.degrees(altitude), rtol=0, atol=1e-9)
    np.testing.assert_allclose(place.azimuth_deg, np.degrees(azimuth), rtol=0, atol=1e-9)
    q = places.parallactic_angle_deg(hour_angle_deg=HOUR, dec_deg=DEC, latitude_deg=LATITUDE)
    np.testing.assert_allclose(q, np.degrees(erfa.hd2pa(*radians)), rtol=0, atol=1e-9)
    hour, dec = erfa.ae2hd(azimuth, altitude, radians[2])
    back = places.hour_angle_dec(
        altitude_deg=np.degrees(altitude), azimuth_deg=np.degrees(azimuth), latitude_deg=LATITUDE
    )
    np.testing.assert_allclose(back.hour_angle_deg, np.degrees(hour), rtol=0, atol=1e-9)
    np.testing.assert_allclose(back.dec_deg, np.degrees(dec), rtol=0, atol=1e-9)


def test_parallactic_angle_row_alt_09():
    assert_row(ROWS["ALT-09"], places.parallactic_angle_deg(hour_angle_deg=45, dec_deg=20, latitude_deg=50))


@pytest.mark.parametrize(
    ("row", "field", "altitude", "azimuth"),
    [
        ("ALT-06a", "altitude_deg", 40, 135),
        ("ALT-06b", "altitude_deg", 55, 240),
        ("ALT-07a", "azimuth_deg", 40, 135),
        ("ALT-08", "azimuth_deg", 89, 180),
    ],
)
def test_tracking_rates(row, field, altitude, azimuth):
    """The place one second before and after gives the rates of ERFA (difference of 1 s: error below 1e-4)."""
    star = places.hour_angle_dec(altitude_deg=altitude, azimuth_deg=azimuth, latitude_deg=50)
    hours = star.hour_angle_deg + np.array([-0.5, 0.5]) * OMEGA_DEG_S
    track = places.altaz(hour_angle_deg=hours, dec_deg=star.dec_deg, latitude_deg=50)
    assert_row(ROWS[row], 3600 * np.diff(getattr(track, field))[0])


def test_mirror_of_the_hemispheres():
    """South for north: q → 180° − q, A → 180° − A, altitude stays."""
    north = {"hour_angle_deg": HOUR, "dec_deg": DEC, "latitude_deg": LATITUDE}
    south = {"hour_angle_deg": HOUR, "dec_deg": -DEC, "latitude_deg": -LATITUDE}
    a, b = places.altaz(**north), places.altaz(**south)
    np.testing.assert_allclose(b.altitude_deg, a.altitude_deg, atol=1e-9)
    np.testing.assert_allclose(b.azimuth_deg, (180 - a.azimuth_deg) % 360, atol=1e-9)
    mirrored = places.parallactic_angle_deg(**north) + places.parallactic_angle_deg(**south)
    np.testing.assert_allclose(mirrored % 360, 180, atol=1e-9)


def test_zenith_pole_and_north_point():
    zenith = places.altaz(hour_angle_deg=0, dec_deg=50, latitude_deg=50)
    assert zenith == pytest.approx((90, 0), abs=1e-12)
    assert np.isnan(places.parallactic_angle_deg(hour_angle_deg=0, dec_deg=50, latitude_deg=50))
    near = places.altaz(hour_angle_deg=0, dec_deg=50 - 1e-6, latitude_deg=50)
    assert 90 - near.altitude_deg == pytest.approx(1e-6, rel=1e-6)  # an arcsine would lose this
    for hour in (-90, 0, 123):
        pole = places.altaz(hour_angle_deg=hour, dec_deg=90, latitude_deg=35)
        assert pole.altitude_deg == pytest.approx(35, abs=1e-12)
    lower = places.altaz(hour_angle_deg=np.array([-1e-13, 180, -180, 1e-13]), dec_deg=80, latitude_deg=50)
    assert ((lower.azimuth_deg >= 0) & (lower.azimuth_deg < 360)).all()


def test_direction_is_a_right_handed_frame():
    """East × north = up, and a star in the south-west at 30° by hand."""
    east, north, up = places.direction(altitude_deg=[0, 0, 90], azimuth_deg=[90, 0, 0])
    np.testing.assert_allclose(np.cross(east, north), up, atol=1e-15)
    np.testing.assert_allclose(up, [0, 0, 1], atol=1e-15)
    star = places.direction(altitude_deg=30, azimuth_deg=225)
    np.testing.assert_allclose(star, [-np.sqrt(3 / 8), -np.sqrt(3 / 8), 0.5], atol=1e-15)
    assert places.direction(altitude_deg=np.zeros((3, 1)), azimuth_deg=np.zeros(2)).shape == (3, 2, 3)
    assert np.isnan(places.direction(altitude_deg=np.nan, azimuth_deg=3)).all()


@pytest.mark.parametrize(
    ("row", "model", "zenith_distance"),
    [
        ("REF-09a", "kastenyoung1989", 80),
        ("REF-10a", "kastenyoung1989", 89.9),
        ("REF-11", "kastenyoung1989", 90),
        ("REF-09b", "young1994", 80),
        ("REF-10b", "young1994", 89.9),
        ("REF-10c", "pickering2002", 89.9),
    ],
)
def test_airmass_rows(row, model, zenith_distance):
    assert_row(ROWS[row], air.airmass(apparent_altitude_deg=90 - zenith_distance, model=model))


def test_each_airmass_model_by_its_own_name():
    """Reference rows REF-09a, REF-09b (10° of altitude) and REF-10c (0.1°); tolerances of the rows."""
    assert_row(ROWS["REF-09a"], air.airmass_kastenyoung1989(apparent_altitude_deg=10))
    assert_row(ROWS["REF-09b"], air.airmass_young1994(true_altitude_deg=10))
    assert_row(ROWS["REF-10c"], air.airmass_pickering2002(apparent_altitude_deg=0.1))


def test_airmass_limits():
    """Secant above 60°, the models together above 30°, NaN below the horizon, and not the scattering path."""
    for model in ("pickering2002", "kastenyoung1989", "young1994"):
        x = air.airmass(apparent_altitude_deg=np.array([90, 60, 30]), model=model)
        np.testing.assert_allclose(x, [1, 2 / np.sqrt(3), 2], atol=0.009)
        assert np.isnan(air.airmass(apparent_altitude_deg=-0.01, model=model))
        assert np.isfinite(air.airmass(apparent_altitude_deg=0, model=model))
        falling = air.airmass(apparent_altitude_deg=np.linspace(0, 90, 200), model=model)
        assert (np.diff(falling) < 0).all()
    pickering = air.airmass(apparent_altitude_deg=np.linspace(30, 90, 50))
    for model in ("kastenyoung1989", "young1994"):
        other = air.airmass(apparent_altitude_deg=np.linspace(30, 90, 50), model=model)
        np.testing.assert_allclose(pickering, other, atol=0.003)
    assert air.airmass(apparent_altitude_deg=10) == pytest.approx(ROWS["REF-09a"]["expected"], abs=0.02)
    assert air.airmass(apparent_altitude_deg=10) > ROWS["REF-12"]["expected"] + 1.7


def test_shapes_ints_and_nan():
    equatorial = {"hour_angle_deg": 30, "dec_deg": 20, "latitude_deg": 50}
    horizontal = {"altitude_deg": 40, "azimuth_deg": 120, "latitude_deg": 50}
    assert_broadcasts(lambda **k: places.altaz(**k).altitude_deg, **equatorial)
    assert_broadcasts(lambda **k: places.altaz(**k).azimuth_deg, **equatorial)
    assert_broadcasts(lambda **k: places.hour_angle_dec(**k).hour_angle_deg, **horizontal)
    assert_broadcasts(lambda **k: places.hour_angle_dec(**k).dec_deg, **horizontal)
    assert_broadcasts(places.parallactic_angle_deg, **equatorial)
    for model in ("pickering2002", "kastenyoung1989", "young1994"):
        assert_broadcasts(lambda m=model, **k: air.airmass(model=m, **k), apparent_altitude_deg=40)


def test_errors_say_what_was_received_and_the_cure():
    with pytest.raises(
        ValueError, match=r"dec_deg must be -90 to 90 °, received 95 °: is this the right ascension"
    ):
        places.altaz(hour_angle_deg=0, dec_deg=95, latitude_deg=0)
    with pytest.raises(
        ValueError, match=r"latitude_deg must be -90 to 90 °, received 120 °: is this the longitude"
    ):
        places.hour_angle_dec(altitude_deg=0, azimuth_deg=5, latitude_deg=120)
    with pytest.raises(ValueError, match=r"hour_angle_deg must be .* received inf °: in degrees, one hour"):
        places.parallactic_angle_deg(hour_angle_deg=np.inf, dec_deg=9, latitude_deg=0)
    with pytest.raises(ValueError, match=r"altitude_deg must be -90 to 90 °, received 91 °"):
        places.direction(altitude_deg=91, azimuth_deg=0)
    with pytest.raises(
        ValueError, match=r"azimuth_deg must be -360 to 360 °, received 400 °: one turn is 360°"
    ):
        places.direction(altitude_deg=9, azimuth_deg=400)
    with pytest.raises(ValueError, match=r"apparent_altitude_deg must be -90 to 90 °, received 100 °"):
        air.airmass(apparent_altitude_deg=100)
    with pytest.raises(
        ValueError, match=r"model must be one of 'pickering2002', 'kastenyoung1989', 'young1994'"
    ):
        air.airmass(apparent_altitude_deg=10, model="secant")
    with pytest.raises(TypeError, match=r"dec_deg must be a number in °, received '5'"):
        places.altaz(hour_angle_deg=0, dec_deg="5", latitude_deg=0)
