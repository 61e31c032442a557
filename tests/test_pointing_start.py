"""A go-to told something wrong, the camera's angle, and the axis read back: against ERFA and rigid bodies."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from rigid_body import screwed_axis, sky_triad
from support import assert_broadcasts, assert_row, rows

import workbook.pointing.axis as place
import workbook.pointing.places as places
import workbook.pointing.start as start

ROWS = rows("geometry.csv")


def sidereal_deg(*, hours_utc, longitude_deg):
    """ERFA's sidereal time on an evening."""
    return np.degrees(erfa.gst06a(2461324.5, hours_utc / 24, 2461324.5, hours_utc / 24)) + longitude_deg


def test_angle_between_two_stars():
    """SAM-20: Arcturus and Spica, declination and right ascension in place of altitude and azimuth."""
    arcturus = places.Horizontal(19 + 10 / 60 + 57 / 3600, 15 * (14 + 15 / 60 + 39.7 / 3600))
    spica = places.Horizontal(-(11 + 9 / 60 + 41 / 3600), 15 * (13 + 25 / 60 + 11.6 / 3600))
    assert_row(ROWS["SAM-20"], start._separation_deg(arcturus, spica))


@pytest.mark.parametrize(
    ("clock_s", "zone_h", "longitude_deg"),
    [(3600, 0, 0), (0, 1, 0), (0, 0, -21), (-86400, 0, 0), (40, -2, 7)],
)
def test_hour_angle_error_is_that_of_erfas_sidereal_time(clock_s, zone_h, longitude_deg):
    """Local time, zone and longitude as typed, against the true ones; 0.002°: nutation moves a little in a day."""
    true = sidereal_deg(hours_utc=20, longitude_deg=10.5)
    local_as_typed = 20 + 1 + clock_s / 3600  # true zone +1 h
    told = sidereal_deg(hours_utc=local_as_typed - (1 + zone_h), longitude_deg=10.5 + longitude_deg)
    found = start.hour_angle_error_deg(
        clock_error_s=clock_s, zone_error_h=zone_h, longitude_error_deg=longitude_deg
    )
    apart = (told - true - found + 180) % 360 - 180
    assert apart == pytest.approx(0, abs=2e-3)


def test_one_hour_of_clock_is_fifteen_degrees():
    """At the equator of the sky 15.04° on the sky, at declination 60° the half; a longitude of the wrong sign, 2 λ."""
    ask = {"zone_error_h": 0, "longitude_error_deg": 0, "latitude_error_deg": 0, "latitude_deg": 52.4}
    off = start.start_error(clock_error_s=3600, hour_angle_deg=-20, dec_deg=[0, 60], **ask)
    half = np.degrees(2 * np.arcsin(np.cos(np.radians([0, 60])) * np.sin(np.radians(15.041067 / 2))))
    np.testing.assert_allclose(off.separation_deg, half, rtol=1e-9)
    sign = start.hour_angle_error_deg(clock_error_s=0, zone_error_h=0, longitude_error_deg=-2 * 10.5)
    assert sign == -21


@pytest.mark.parametrize("latitude", [52.4, -34])
def test_start_error_is_the_difference_of_erfas_places(latitude):
    told = np.radians([-20 + 15.041067 / 2, 10, latitude + 1.5])
    azimuth, altitude = erfa.hd2ae(*told)
    true_azimuth, true_altitude = erfa.hd2ae(*np.radians([-20, 10, latitude]))
    off = start.start_error(
        clock_error_s=1800,
        zone_error_h=0,
        longitude_error_deg=0,
        latitude_error_deg=1.5,
        hour_angle_deg=-20,
        dec_deg=10,
        latitude_deg=latitude,
    )
    assert off.hour_angle_error_deg == pytest.approx(7.5205335)
    assert off.altitude_error_deg == pytest.approx(np.degrees(altitude - true_altitude))
    across = (np.degrees(azimuth - true_azimuth) + 180) % 360 - 180
    assert off.azimuth_error_deg == pytest.approx(across)
    apart = erfa.seps(azimuth, altitude, true_azimuth, true_altitude)
    assert off.separation_deg == pytest.approx(np.degrees(apart))


def test_left_after_centring():
    """Shifted places by ERFA; nothing at the centred star, nothing with a right clock."""
    late, latitude = 12.0, 52.4
    ask = {"hour_angle_error_deg": late, "latitude_error_deg": 0, "latitude_deg": latitude}
    centred = {"centred_hour_angle_deg": 30, "centred_dec_deg": 40}
    assert start.left_after_centring_deg(**ask, **centred, hour_angle_deg=30, dec_deg=40) == pytest.approx(
        0, abs=1e-9
    )
    right = ask | {"hour_angle_error_deg": 0}
    assert start.left_after_centring_deg(**right, **centred, hour_angle_deg=0, dec_deg=0) == pytest.approx(
        0, abs=1e-9
    )

    def seen(hour, dec):
        return np.array(erfa.hd2ae(*np.radians([hour, dec, latitude])))

    shift = seen(30 + late, 40) - seen(30, 40)
    for hour, dec in ((-20, 10), (25, 45), (-60, 60)):
        told, true = seen(hour + late, dec) - shift, seen(hour, dec)
        found = start.left_after_centring_deg(**ask, **centred, hour_angle_deg=hour, dec_deg=dec)
        assert found == pytest.approx(np.degrees(erfa.seps(*told, *true)), abs=1e-9)
    near, far = (
        start.left_after_centring_deg(**ask, **centred, hour_angle_deg=h, dec_deg=d)
        for h, d in ((28, 41), (-50, 0))
    )
    assert near < 1 < far


@pytest.mark.parametrize("latitude", [52.4, -34])
@pytest.mark.parametrize("axis", [(90, 0), (70, 20), (35, 300)])
def test_framing_angle_is_erfas_position_angle_of_the_axis(latitude, axis):
    """ERFA's pas from star to axis, on a sphere of minus the hour angle and declination."""
    hour_axis, dec_axis = erfa.ae2hd(*np.radians([axis[1], axis[0], latitude]))
    for altitude, azimuth in ((40, 130), (20, 350), (65, 220)):
        hour, dec = erfa.ae2hd(*np.radians([azimuth, altitude, latitude]))
        angle = np.degrees(erfa.pas(-hour, dec, -hour_axis, dec_axis))
        found = start.framing_angle_deg(
            altitude_deg=altitude,
            azimuth_deg=azimuth,
            latitude_deg=latitude,
            camera_angle_deg=33,
            axis_altitude_deg=axis[0],
            axis_azimuth_deg=axis[1],
        )
        assert found == pytest.approx((angle + 33) % 360, abs=1e-9)


def test_framing_angle_rows_and_limits():
    """ALT-09 in alt-az; on the pole north is up in the north and down in the south, all night."""
    star = places.altaz(hour_angle_deg=45, dec_deg=20, latitude_deg=50)
    upright = start.framing_angle_deg(**star._asdict(), latitude_deg=50, camera_angle_deg=0)
    assert_row(ROWS["ALT-09"], upright)
    for latitude, azimuth, up in ((50, 0, 0), (-34, 180, 180)):
        found = start.framing_angle_deg(
            altitude_deg=[30, 60],
            azimuth_deg=[100, 220],
            latitude_deg=latitude,
            camera_angle_deg=0,
            axis_altitude_deg=abs(latitude),
            axis_azimuth_deg=azimuth,
        )
        np.testing.assert_allclose((found - up + 180) % 360 - 180, 0, atol=1e-9)
    none = start.framing_angle_deg(altitude_deg=[90, 50], azimuth_deg=0, latitude_deg=50, camera_angle_deg=0)
    assert np.isnan(none).all()


@pytest.mark.parametrize("latitude", [50, -34, 0, 1.3, -1.3, 78])
@pytest.mark.parametrize("error", [(0, 0), (5, 0), (-40, 25), (600, -400)])
def test_axis_errors_read_the_screws(latitude, error):
    """The rigid body's screws turned, and read back from the axis; either end, any length."""
    axis = screwed_axis(azimuth_error_arcmin=error[0], altitude_error_arcmin=error[1], latitude_deg=latitude)
    for vector in (axis, -3 * axis):
        assert place.axis_errors(axis=vector, latitude_deg=latitude) == pytest.approx(error, abs=1e-8)


def test_direction_is_that_of_the_rigid_body():
    """A star put up by turns, its altitude and azimuth read by ERFA, and the vector made of these."""
    for hour, dec in ((-50, 20), (130, 70)):
        star = sky_triad(hour_angle_deg=hour, dec_deg=dec, latitude_deg=-34)[0]
        azimuth, altitude = np.degrees(erfa.hd2ae(*np.radians([hour, dec, -34])))
        np.testing.assert_allclose(
            places.direction(altitude_deg=altitude, azimuth_deg=azimuth), star, atol=1e-12
        )


def test_shapes():
    clock = {"clock_error_s": 60, "zone_error_h": 1, "longitude_error_deg": 2}
    assert_broadcasts(start.hour_angle_error_deg, **clock)
    star = {"hour_angle_deg": 20, "dec_deg": 30, "latitude_deg": 50, "latitude_error_deg": 1}
    for field in start.StartError._fields:
        if field != "hour_angle_error_deg":
            call = lambda f=field, **k: getattr(start.start_error(**k), f)  # noqa: E731
            assert_broadcasts(call, **clock, **star)
    assert_broadcasts(
        start.left_after_centring_deg,
        hour_angle_error_deg=5,
        centred_hour_angle_deg=-20,
        centred_dec_deg=10,
        **star,
    )
    assert_broadcasts(
        start.framing_angle_deg, altitude_deg=30, azimuth_deg=100, latitude_deg=50, camera_angle_deg=5
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: start.hour_angle_error_deg(clock_error_s=0, zone_error_h=60, longitude_error_deg=0),
            "zone_error_h must be -26 to 26 h, received 60 h: hours, not minutes",
        ),
        (
            lambda: start.hour_angle_error_deg(clock_error_s=1e7, zone_error_h=0, longitude_error_deg=0),
            "clock_error_s must be",
        ),
        (lambda: place.axis_errors(axis=[0, 0, 0], latitude_deg=5), "axis must be vectors east, north, up"),
        (lambda: place.axis_errors(axis=[1, 0], latitude_deg=5), "axis must be vectors east, north, up"),
        (
            lambda: start.framing_angle_deg(
                altitude_deg=91, azimuth_deg=0, latitude_deg=5, camera_angle_deg=0
            ),
            "altitude_deg must be -90 to 90 °, received 91",
        ),
    ],
)
def test_start_refuses(call, words):
    with pytest.raises(ValueError, match=words):
        call()
