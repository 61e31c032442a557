"""The two axes of a mount: against ERFA's places, and a rigid body with two motors."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from rigid_body import OMEGA_RAD_S, celestial_pole, turn
from support import assert_broadcasts, assert_row, rows

import workbook.rotation.axes as axes
from workbook import pointing

ROWS = rows("geometry.csv")
OMEGA_ARCSEC_S = 15.041067
ARCSEC = np.degrees(1) * 3600
SKY = np.random.default_rng(5)
ALTITUDE = SKY.uniform(5, 80, 200)
AZIMUTH = SKY.uniform(0, 360, 200)
LATITUDE = SKY.uniform(-85, 85, 200)
STAR = {"altitude_deg": ALTITUDE, "azimuth_deg": AZIMUTH, "latitude_deg": LATITUDE}
TILTED = [(90, 0), (52, 0), (70, 20), (35, 300), (8, 170)]


def primary_path_deg(*, dec_deg, latitude_deg, hours_deg, axis=(90, 0)):
    """Unwound angle about an axis, clockwise from above, and the height over its plane: ERFA's hd2ae.

    The mount is an upright one at the place whose zenith is the axis.
    """
    hour, dec = erfa.ae2hd(*np.radians([axis[1], axis[0], latitude_deg]))
    azimuth, height = erfa.hd2ae(np.radians(hours_deg) - hour, np.radians(dec_deg), dec)
    return np.degrees(np.unwrap(azimuth)), np.degrees(height)


@pytest.mark.parametrize(
    ("row", "field", "azimuth", "altitude"),
    [
        ("ALT-06a", "secondary_arcsec_s", 135, 40),
        ("ALT-06b", "secondary_arcsec_s", 240, 55),
        ("ALT-07a", "primary_arcsec_s", 135, 40),
        ("ALT-08", "primary_arcsec_s", 180, 89),
    ],
)
def test_rates_of_an_alt_az_mount(row, field, azimuth, altitude):
    found = axes.axis_rates(altitude_deg=altitude, azimuth_deg=azimuth, latitude_deg=50)
    assert_row(ROWS[row], getattr(found, field))


def test_rates_and_accelerations_are_differences_of_erfa_hd2ae():
    """Central differences over 2e-3 rad of hour angle: their own error is below 1e-4 of the largest here."""
    azimuth, altitude, latitude = np.radians([AZIMUTH, ALTITUDE, LATITUDE])
    hour, dec = erfa.ae2hd(azimuth, altitude, latitude)
    step = 1e-3
    seen = [np.stack(erfa.hd2ae(hour + k * step, dec, latitude)) for k in (-1, 0, 1)]
    before, after = ((seen[k] - seen[1] + np.pi) % (2 * np.pi) - np.pi for k in (0, 2))
    rates = (after - before) / (2 * step) * OMEGA_ARCSEC_S
    accelerations = (after + before) / step**2 * OMEGA_ARCSEC_S * OMEGA_RAD_S
    found = axes.axis_rates(**STAR)
    np.testing.assert_allclose(found[:2], rates, rtol=2e-4, atol=1e-3)
    np.testing.assert_allclose(found[2:], accelerations, rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize("latitude", [50, -34, 1.3])
@pytest.mark.parametrize("axis", TILTED)
def test_rates_are_those_of_two_motors(axis, latitude):
    """A star carried by Rodrigues' formula 2 s either way, its two angles read off the shafts; 1e-4."""
    m = pointing.direction(altitude_deg=axis[0], azimuth_deg=axis[1])
    for altitude, azimuth in ((30, 100), (60, 220), (15, 350)):
        star = pointing.direction(altitude_deg=altitude, azimuth_deg=azimuth)
        ends = [turn(star, celestial_pole(latitude), -sign * 2 * OMEGA_RAD_S) for sign in (-1, 1)]
        level = [end - (end @ m) * m for end in ends]
        about = np.arctan2(np.cross(level[0], level[1]) @ m, level[0] @ level[1])
        heights = [np.arcsin(end @ m) for end in ends]
        found = axes.axis_rates(
            altitude_deg=altitude,
            azimuth_deg=azimuth,
            latitude_deg=latitude,
            axis_altitude_deg=axis[0],
            axis_azimuth_deg=axis[1],
        )
        assert found.primary_arcsec_s == pytest.approx(-about * ARCSEC / 4, rel=1e-4, abs=1e-4)
        assert found.secondary_arcsec_s == pytest.approx(
            (heights[1] - heights[0]) * ARCSEC / 4, rel=1e-4, abs=1e-4
        )


@pytest.mark.parametrize(("latitude", "azimuth", "way"), [(50, 0, 1), (-34, 180, -1)])
def test_an_equatorial_mount_turns_evenly(latitude, azimuth, way):
    """With the axis on the pole: Ω on one axis, clockwise from above in the north, nothing on the other."""
    found = axes.axis_rates(
        altitude_deg=[20, 50, 70],
        azimuth_deg=[80, 200, 300],
        latitude_deg=latitude,
        axis_altitude_deg=abs(latitude),
        axis_azimuth_deg=azimuth,
    )
    np.testing.assert_allclose(found.primary_arcsec_s, way * OMEGA_ARCSEC_S, rtol=1e-12)
    np.testing.assert_allclose(found[1:], 0, atol=1e-12)


def test_rates_mirror_with_the_hemisphere():
    """A → 180° − A, φ → −φ: the primary axis turns the other way, the secondary alike."""
    north = axes.axis_rates(**STAR, axis_altitude_deg=60, axis_azimuth_deg=25)
    mirrored = STAR | {"azimuth_deg": 180 - AZIMUTH, "latitude_deg": -LATITUDE}
    south = axes.axis_rates(**mirrored, axis_altitude_deg=60, axis_azimuth_deg=155)
    for field, sign in zip(north._fields, (-1, 1, -1, 1), strict=True):
        np.testing.assert_allclose(getattr(south, field), sign * getattr(north, field), rtol=1e-9, atol=1e-12)


def test_zenith_zone_is_the_rate_row_backwards():
    """Reference row ALT-08: at 565.41″/s the zone ends 1° from the zenith; 0.1″/s there is 2e-4°."""
    radius = axes.zenith_zone_deg(highest_rate_arcsec_s=ROWS["ALT-08"]["expected"], latitude_deg=50)
    assert radius == pytest.approx(1, abs=2e-4)


@pytest.mark.parametrize("latitude", [50, -34])
@pytest.mark.parametrize("axis", [(90, 0), (70, 20), (35, 300)])
def test_zenith_zone_touches_the_fastest_star(axis, latitude):
    """On the circle of the zone no star is faster than allowed, one just reaches it: 3,600 stars, 1e-5."""
    place = {"latitude_deg": latitude, "axis_altitude_deg": axis[0], "axis_azimuth_deg": axis[1]}
    radius = axes.zenith_zone_deg(highest_rate_arcsec_s=240, **place)
    m = pointing.direction(altitude_deg=axis[0], azimuth_deg=axis[1])
    beside = np.cross(m, [0.3, 0.1, -0.9])
    ring = turn(m, beside / np.linalg.norm(beside), np.radians(radius))
    stars = np.array([turn(ring, m, angle) for angle in np.linspace(0, 2 * np.pi, 3600, endpoint=False)])
    altitude = np.degrees(np.arcsin(stars[:, 2]))
    azimuth = np.degrees(np.arctan2(stars[:, 0], stars[:, 1]))
    rates = axes.axis_rates(altitude_deg=altitude, azimuth_deg=azimuth, **place)
    assert np.abs(rates.primary_arcsec_s).max() == pytest.approx(240, rel=1e-5)


@pytest.mark.parametrize("axis", [(90, 0), (70, 20)])
@pytest.mark.parametrize(
    ("latitude", "dec"), [(50, 49), (50, 51.5), (50, 45), (-34, -33), (1.3, 3), (50, 60)]
)
def test_zenith_minutes_are_counted_along_erfa(latitude, dec, axis):
    """Seconds in which the azimuth about the axis runs faster than 240″/s, near the upper end; 2 s of 12 h."""
    hour = np.degrees(erfa.ae2hd(*np.radians([axis[1], axis[0], latitude]))[0])
    seconds = np.arange(-21600, 21601)
    path, _ = primary_path_deg(
        dec_deg=dec, latitude_deg=latitude, hours_deg=hour + seconds * OMEGA_ARCSEC_S / 3600, axis=axis
    )
    too_fast = np.abs(np.diff(path)) * 3600 > 240
    found = axes.zenith_zone_min(
        dec_deg=dec,
        latitude_deg=latitude,
        highest_rate_arcsec_s=240,
        axis_altitude_deg=axis[0],
        axis_azimuth_deg=axis[1],
    )
    assert found * 60 == pytest.approx(too_fast.sum(), abs=2)


def test_zenith_minutes_at_the_ends():
    """A star through the axis itself, one that never comes near, and an axis on the pole: no zone."""
    ask = {"latitude_deg": 50, "highest_rate_arcsec_s": 240}
    assert axes.zenith_zone_min(dec_deg=50, **ask) == pytest.approx(0, abs=1e-4)  # a jump, but no fast turn
    assert axes.zenith_zone_min(dec_deg=20, **ask) == 0
    assert axes.zenith_zone_min(dec_deg=20, **ask, axis_altitude_deg=50) == 0
    assert axes.zenith_zone_deg(**ask, axis_altitude_deg=50) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("axis", TILTED)
@pytest.mark.parametrize(
    ("latitude", "dec", "start", "end"), [(50, 20, -100, 110), (50, 65, -170, 500), (-34, 10, 60, -70)]
)
def test_cable_turn_is_erfas_azimuth_unwound(axis, latitude, dec, start, end):
    """4,000 steps, so that no step passes half a turn; both are exact otherwise."""
    path, _ = primary_path_deg(
        dec_deg=dec, latitude_deg=latitude, hours_deg=np.linspace(start, end, 4001), axis=axis
    )
    found = axes.cable_turn_deg(
        dec_deg=dec,
        latitude_deg=latitude,
        start_hour_angle_deg=start,
        end_hour_angle_deg=end,
        axis_altitude_deg=axis[0],
        axis_azimuth_deg=axis[1],
    )
    assert found == pytest.approx(path[-1] - path[0], abs=1e-7)


def test_cable_turn_by_hand():
    """A whole day south of the zenith winds once; a star between pole and zenith swings back to 0."""
    day = {"latitude_deg": 50, "start_hour_angle_deg": 10, "end_hour_angle_deg": 370}
    np.testing.assert_allclose(axes.cable_turn_deg(dec_deg=[20, 70], **day), [360, 0], atol=1e-9)
    on_pole = axes.cable_turn_deg(
        dec_deg=20, latitude_deg=50, start_hour_angle_deg=-70, end_hour_angle_deg=40, axis_altitude_deg=50
    )
    assert on_pole == pytest.approx(110)


def test_shapes_and_nan():
    for field in axes.AxisRates._fields:
        rate = lambda f=field, **k: getattr(axes.axis_rates(**k), f)  # noqa: E731
        assert_broadcasts(
            rate, altitude_deg=40, azimuth_deg=120, latitude_deg=50, axis_altitude_deg=70, axis_azimuth_deg=20
        )
    assert np.isnan(axes.axis_rates(altitude_deg=90, azimuth_deg=0, latitude_deg=50)).all()
    zone = {"latitude_deg": 50, "highest_rate_arcsec_s": 300, "axis_altitude_deg": 80, "axis_azimuth_deg": 30}
    assert_broadcasts(axes.zenith_zone_deg, **zone)
    assert_broadcasts(axes.zenith_zone_min, dec_deg=45, **zone)
    assert_broadcasts(
        axes.cable_turn_deg, dec_deg=20, latitude_deg=50, start_hour_angle_deg=-40, end_hour_angle_deg=200
    )


def test_errors_say_what_was_received_and_the_cure():
    with pytest.raises(
        ValueError, match=r"highest_rate_arcsec_s must be above 11.52 ″/s, .* received 4 ″/s: give"
    ):
        axes.zenith_zone_deg(highest_rate_arcsec_s=4, latitude_deg=50)
    with pytest.raises(ValueError, match=r"above 15.04 ″/s"):
        axes.zenith_zone_min(
            dec_deg=3, highest_rate_arcsec_s=15, latitude_deg=-34, axis_altitude_deg=34, axis_azimuth_deg=180
        )
    with pytest.raises(ValueError, match=r"highest_rate_arcsec_s must be above 0 ″/s, received -1"):
        axes.zenith_zone_deg(highest_rate_arcsec_s=-1, latitude_deg=50)
    with pytest.raises(ValueError, match=r"must not lead the star through the mount's axis"):
        axes.cable_turn_deg(dec_deg=50, latitude_deg=50, start_hour_angle_deg=-5, end_hour_angle_deg=5)
    with pytest.raises(ValueError, match=r"axis_altitude_deg must be -90 to 90 °, received 100"):
        axes.axis_rates(altitude_deg=4, azimuth_deg=4, latitude_deg=4, axis_altitude_deg=100)
