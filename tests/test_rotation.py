"""Field rotation for every axis, against ERFA, a mount as a rigid body, and the integral of the rate."""

from __future__ import annotations

import itertools

import erfa
import numpy as np
import pytest
from rigid_body import celestial_pole, one_axis, screwed_axis, sky_triad, two_axes
from scipy.integrate import quad
from support import assert_broadcasts, assert_row, rows

import workbook.rotation.law as law
import workbook.rotation.smear as smear
from workbook import pointing

ROWS = rows("geometry.csv")
OMEGA_DEG_H = 15.041067
SKY = np.random.default_rng(11)
ALTITUDE = SKY.uniform(5, 85, 200)
AZIMUTH = SKY.uniform(0, 360, 200)
LATITUDE = SKY.uniform(-85, 85, 200)
STAR = {"altitude_deg": ALTITUDE, "azimuth_deg": AZIMUTH, "latitude_deg": LATITUDE}
AXES = [
    (90, 0),
    (50, 0),
    (70, 20),
    (35, 300),
    (49.5, 1.2),
    (10, 180),
]  # zenith, pole, tilted, near the pole, low


@pytest.mark.parametrize(
    ("row", "latitude", "azimuth", "altitude"),
    [
        ("ALT-01a", 45, 180, 45),
        ("ALT-01b", 50, 135, 40),
        ("ALT-01c", 50, 90, 35),
        ("ALT-01d", 50, 350, 70),
        ("ALT-01e", -33, 0, 60),
        ("ALT-02", 43, 180, 0),
        ("ALT-10", 50, 270, 25),
    ],
)
def test_rotation_rate_rows(row, latitude, azimuth, altitude):
    rate = law.rotation_rate_deg_h(altitude_deg=altitude, azimuth_deg=azimuth, latitude_deg=latitude)
    assert_row(ROWS[row], rate)


def test_rotation_rate_is_the_derivative_of_erfa_hd2pa():
    """Central difference over 2e-3° of hour angle: its own error is below 1e-5 beyond 5° from the zenith."""
    azimuth, altitude, latitude = np.radians([AZIMUTH, ALTITUDE, LATITUDE])
    hour, dec = erfa.ae2hd(azimuth, altitude, latitude)
    step = np.radians(1e-3)
    turned = erfa.hd2pa(hour + step, dec, latitude) - erfa.hd2pa(hour - step, dec, latitude)
    turned = (turned + np.pi) % (2 * np.pi) - np.pi
    np.testing.assert_allclose(
        law.rotation_rate_deg_h(**STAR), OMEGA_DEG_H * turned / (2 * step), rtol=1e-5, atol=1e-6
    )


def test_alt_az_rate_is_the_textbook_formula():
    """−Ω cos φ cos A / cos a (Meeus eq. 14.1, differentiated); both sides are exact."""
    a, az, phi = np.radians([ALTITUDE, AZIMUTH, LATITUDE])
    textbook = -OMEGA_DEG_H * np.cos(phi) * np.cos(az) / np.cos(a)
    np.testing.assert_allclose(law.rotation_rate_deg_h(**STAR), textbook, rtol=1e-11, atol=1e-12)


def test_no_rotation_due_east_and_west_in_alt_az():
    rate = law.rotation_rate_deg_h(
        altitude_deg=ALTITUDE[:, None], azimuth_deg=[90, 270], latitude_deg=LATITUDE[:, None]
    )
    np.testing.assert_allclose(rate, 0, atol=1e-12)


def test_no_rotation_with_the_axis_on_the_pole():
    """Also in the south, where the elevated end is entered; and none in total over a night."""
    rate = law.rotation_rate_deg_h(
        **STAR, axis_altitude_deg=np.abs(LATITUDE), axis_azimuth_deg=np.where(LATITUDE < 0, 180, 0)
    )
    np.testing.assert_allclose(rate, 0, atol=1e-9)
    for latitude, azimuth in ((50, 0), (-34, 180)):
        total = law.rotation_deg(
            dec_deg=20,
            latitude_deg=latitude,
            start_hour_angle_deg=-100,
            end_hour_angle_deg=250,
            axis_altitude_deg=abs(latitude),
            axis_azimuth_deg=azimuth,
        )
        assert total == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("latitude", [50, -34, 1.3])
@pytest.mark.parametrize("axis", AXES)
def test_rotation_rate_is_that_of_a_mount_on_two_motors(axis, latitude):
    """Rigid-body simulation, no formula shared, 20 s before to 20 s after; good to 1e-3."""
    for hour, dec in ((-50, 20), (10, -15), (70, 55), (-120, 75)):
        star = pointing.altaz(hour_angle_deg=hour, dec_deg=dec, latitude_deg=latitude)
        span = 40 * OMEGA_DEG_H / 3600
        turned = two_axes(
            sky_triad(hour_angle_deg=hour - span / 2, dec_deg=dec, latitude_deg=latitude),
            axis=pointing.direction(altitude_deg=axis[0], azimuth_deg=axis[1]),
            pole=celestial_pole(latitude),
            hour_angle_deg=span,
            steps=40,
        )
        rate = law.rotation_rate_deg_h(
            **star._asdict(), latitude_deg=latitude, axis_altitude_deg=axis[0], axis_azimuth_deg=axis[1]
        )
        assert turned * 3600 / 40 == pytest.approx(rate, rel=1e-3, abs=1e-3)


def test_either_end_of_the_axis_gives_the_same():
    up = law.rotation_rate_deg_h(**STAR, axis_altitude_deg=40, axis_azimuth_deg=170)
    down = law.rotation_rate_deg_h(**STAR, axis_altitude_deg=-40, axis_azimuth_deg=350)
    np.testing.assert_allclose(up, down, rtol=1e-9)
    path = {"dec_deg": 30, "latitude_deg": -34, "start_hour_angle_deg": -60, "end_hour_angle_deg": 300}
    up = law.rotation_deg(**path, axis_altitude_deg=40, axis_azimuth_deg=170)
    assert law.rotation_deg(**path, axis_altitude_deg=-40, axis_azimuth_deg=350) == pytest.approx(up)


def test_rotation_mirrors_with_the_hemisphere():
    """A → 180° − A for star and axis, φ → −φ: the field turns the other way."""
    north = law.rotation_rate_deg_h(**STAR, axis_altitude_deg=60, axis_azimuth_deg=25)
    south = law.rotation_rate_deg_h(
        altitude_deg=ALTITUDE,
        azimuth_deg=180 - AZIMUTH,
        latitude_deg=-LATITUDE,
        axis_altitude_deg=60,
        axis_azimuth_deg=155,
    )
    np.testing.assert_allclose(south, -north, rtol=1e-10)
    path = {"start_hour_angle_deg": -70, "end_hour_angle_deg": 40}
    there = law.rotation_deg(dec_deg=25, latitude_deg=50, **path)
    assert law.rotation_deg(dec_deg=-25, latitude_deg=-50, **path) == pytest.approx(-there)


def test_guided_rotation_near_the_pole_row_pol_11():
    """Worst case over a day of the two-axis rate with the axis 10′ too high, Dec 41°, 5 min."""
    star = pointing.altaz(hour_angle_deg=np.arange(0, 360, 0.5), dec_deg=41, latitude_deg=50)
    rate = law.rotation_rate_deg_h(**star._asdict(), latitude_deg=50, axis_altitude_deg=50 + 10 / 60)
    worst_arcsec = np.abs(rate).max() * 3600 * (300 / 3600)
    assert_row(ROWS["POL-11"], worst_arcsec)


def test_a_star_on_the_axis_has_no_rate():
    zenith = law.rotation_rate_deg_h(altitude_deg=[90, 89.9], azimuth_deg=180, latitude_deg=50)
    np.testing.assert_array_equal(np.isnan(zenith), [True, False])
    on_axis = {"altitude_deg": 40, "azimuth_deg": 30, "axis_altitude_deg": 40, "axis_azimuth_deg": 30}
    assert np.isnan(law.rotation_rate_deg_h(**on_axis, latitude_deg=50))


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize(
    ("dec", "start", "end"),
    [(20, -60, 75), (-10, 30, -45), (55, -170, 200), (75, 0, 720), (41, -400, -30), (89, 5, 99)],
)
@pytest.mark.parametrize("latitude", [50, -34])
def test_rotation_is_the_integral_of_the_rate(axis, dec, start, end, latitude):
    """Adaptive quadrature of the rate over ERFA's places; both signs of time, more than a turn. 1e-5°."""

    def rate(hour):
        azimuth, altitude = np.degrees(erfa.hd2ae(*np.radians([hour, dec, latitude])))
        return law.rotation_rate_deg_h(
            altitude_deg=altitude,
            azimuth_deg=azimuth,
            latitude_deg=latitude,
            axis_altitude_deg=axis[0],
            axis_azimuth_deg=axis[1],
        )

    cuts = np.linspace(start, end, 17)
    total = sum(quad(rate, a, b, limit=200)[0] for a, b in itertools.pairwise(cuts)) / OMEGA_DEG_H
    found = law.rotation_deg(
        dec_deg=dec,
        latitude_deg=latitude,
        start_hour_angle_deg=start,
        end_hour_angle_deg=end,
        axis_altitude_deg=axis[0],
        axis_azimuth_deg=axis[1],
    )
    assert found == pytest.approx(total, abs=1e-5)


def test_rotation_is_that_of_a_mount_on_two_motors_past_180_deg():
    """A star that passes 3° north of the zenith, from the rigid-body simulation; 2,000 steps, 0.1 %."""
    path = {"dec_deg": 55, "latitude_deg": 52}
    found = law.rotation_deg(**path, start_hour_angle_deg=-120, end_hour_angle_deg=130)
    simulated = two_axes(
        sky_triad(hour_angle_deg=-120, **path),
        axis=np.array([0.0, 0.0, 1.0]),
        pole=celestial_pole(52),
        hour_angle_deg=250,
        steps=2000,
    )
    assert abs(found) > 180
    assert found == pytest.approx(simulated, rel=1e-3)


def test_a_whole_day_turns_the_field_once_or_not_at_all():
    """A star nearer to the pole than the axis is goes round it: ±360°; any other comes back to 0."""
    day = {"latitude_deg": 50, "start_hour_angle_deg": 20, "end_hour_angle_deg": 380}
    np.testing.assert_allclose(
        law.rotation_deg(dec_deg=[-60, -20, 49, 51, 89], **day), [360, 0, 0, -360, -360], atol=1e-9
    )


def test_close_to_the_zenith_the_field_turns_by_half_a_turn():
    """A hair south of the zenith +180°, a hair north −180°; exactly through it: refused."""
    path = {"latitude_deg": 50, "start_hour_angle_deg": -5, "end_hour_angle_deg": 5}
    through = law.rotation_deg(dec_deg=[50 - 1e-6, 50 + 1e-6], **path)
    assert through == pytest.approx([180, -180], abs=8)
    assert through[0] - through[1] == pytest.approx(360, abs=1e-3)
    cure = r"dec_deg must not lead the star through the mount's axis"
    with pytest.raises(ValueError, match=cure + r".* received 50 °: there the field jumps; start after it"):
        law.rotation_deg(dec_deg=[20, 50], **path)
    with pytest.raises(ValueError, match=cure):
        law.rotation_deg(dec_deg=-50, latitude_deg=50, start_hour_angle_deg=170, end_hour_angle_deg=185)
    with pytest.raises(ValueError, match=cure):
        law.rotation_deg(dec_deg=50, latitude_deg=50, start_hour_angle_deg=0, end_hour_angle_deg=5)
    on_the_pole = {"axis_altitude_deg": 50, "axis_azimuth_deg": 0}
    with pytest.raises(ValueError, match=cure):
        law.rotation_deg(
            dec_deg=90, latitude_deg=50, start_hour_angle_deg=9, end_hour_angle_deg=19, **on_the_pole
        )
    after = law.rotation_deg(dec_deg=50, latitude_deg=50, start_hour_angle_deg=1, end_hour_angle_deg=5)
    assert np.isfinite(after)


@pytest.mark.parametrize("latitude", [50, -34, 0, 1.3, 80])
@pytest.mark.parametrize("errors", [(40, 0), (0, 40), (-25, 60)])
def test_spin_on_one_axis_is_that_of_a_rigid_body(latitude, errors):
    """A camera turned about the screwed axis only; 30 s either way, good to 1e-5°/h."""
    errors = {"azimuth_error_arcmin": errors[0], "altitude_error_arcmin": errors[1]}
    for hour, dec in ((-80, 60), (0, -20), (100, 30)):
        star = pointing.altaz(hour_angle_deg=hour, dec_deg=dec, latitude_deg=latitude)
        _, _, spin = one_axis(
            sky_triad(hour_angle_deg=hour, dec_deg=dec, latitude_deg=latitude),
            axis=screwed_axis(**errors, latitude_deg=latitude),
            pole=celestial_pole(latitude),
            seconds=30,
        )
        found = law.spin_one_axis_deg_h(**star._asdict(), latitude_deg=latitude, **errors)
        assert found == pytest.approx(spin, rel=1e-4, abs=1e-5)


def test_spin_on_one_axis_by_hand_and_mirrored():
    """At the equator, axis 1° east, a star due east at 45°: Ω sin 1° cos 45°; on the pole none."""
    spin = law.spin_one_axis_deg_h(
        altitude_deg=45, azimuth_deg=90, latitude_deg=0, azimuth_error_arcmin=60, altitude_error_arcmin=0
    )
    assert spin == pytest.approx(OMEGA_DEG_H * np.sin(np.radians(1)) * np.sqrt(0.5))
    none = law.spin_one_axis_deg_h(**STAR, azimuth_error_arcmin=0, altitude_error_arcmin=0)
    np.testing.assert_allclose(none, 0, atol=1e-13)
    north = law.spin_one_axis_deg_h(**STAR, azimuth_error_arcmin=30, altitude_error_arcmin=-20)
    mirrored = STAR | {"azimuth_deg": 180 - AZIMUTH, "latitude_deg": -LATITUDE}
    south = law.spin_one_axis_deg_h(**mirrored, azimuth_error_arcmin=30, altitude_error_arcmin=-20)
    np.testing.assert_allclose(south, -north, atol=1e-13)


def test_corner_smear_and_longest_sub_rows():
    """ALT-04 and ALT-05; a field that stands still has no longest sub."""
    assert_row(ROWS["ALT-04"], smear.corner_smear_px(rate_deg_h=-8.9244, sub_s=10, radius_px=3758))
    assert_row(ROWS["ALT-05"], smear.longest_sub_s(rate_deg_h=-8.9244, radius_px=3758, tolerance_px=1))
    still = smear.longest_sub_s(rate_deg_h=[0, 9, 9], radius_px=[2441, 2441, 0], tolerance_px=1.5)
    np.testing.assert_array_equal(np.isinf(still), [True, False, True])
    assert smear.corner_smear_px(rate_deg_h=9, sub_s=still[1], radius_px=2441) == pytest.approx(1.5)


def test_shapes_ints_and_nan():
    star = {"altitude_deg": 40, "azimuth_deg": 120, "latitude_deg": 50}
    assert_broadcasts(law.rotation_rate_deg_h, **star, axis_altitude_deg=70, axis_azimuth_deg=20)
    assert_broadcasts(law.spin_one_axis_deg_h, **star, azimuth_error_arcmin=7, altitude_error_arcmin=4)
    assert_broadcasts(
        law.rotation_deg,
        dec_deg=20,
        latitude_deg=50,
        start_hour_angle_deg=-40,
        end_hour_angle_deg=200,
        axis_altitude_deg=70,
        axis_azimuth_deg=20,
    )
    assert_broadcasts(smear.corner_smear_px, rate_deg_h=9, sub_s=10, radius_px=2000)
    assert_broadcasts(smear.longest_sub_s, rate_deg_h=9, radius_px=2000, tolerance_px=2)


def test_errors_say_what_was_received_and_the_cure():
    star = {"altitude_deg": 40, "azimuth_deg": 120, "latitude_deg": 50}
    with pytest.raises(ValueError, match=r"axis_altitude_deg must be -90 to 90 °, received 91 °"):
        law.rotation_rate_deg_h(**star, axis_altitude_deg=91)
    with pytest.raises(ValueError, match=r"axis_azimuth_deg must be -360 to 360 °, received 500 °: one turn"):
        law.rotation_rate_deg_h(**star, axis_azimuth_deg=500)
    path = {"dec_deg": 20, "latitude_deg": 50, "start_hour_angle_deg": 0, "end_hour_angle_deg": 9}
    with pytest.raises(
        ValueError, match=r"end_hour_angle_deg must be .* received 4000 °: in degrees, one hour"
    ):
        law.rotation_deg(**path | {"end_hour_angle_deg": 4000})
    with pytest.raises(ValueError, match=r"start_hour_angle_deg must be .* received -inf °"):
        law.rotation_deg(**path | {"start_hour_angle_deg": -np.inf})
    with pytest.raises(
        ValueError, match=r"dec_deg must be -90 to 90 °, received 280 °: is this the right asc"
    ):
        law.rotation_deg(**path | {"dec_deg": 280})
    with pytest.raises(
        ValueError, match=r"azimuth_error_arcmin must be -5400 to 5400 ′, received 6000 ′: a quarter"
    ):
        law.spin_one_axis_deg_h(**star, azimuth_error_arcmin=6000, altitude_error_arcmin=0)
    with pytest.raises(ValueError, match=r"sub_s must be 0 or more s, received -1 s"):
        smear.corner_smear_px(rate_deg_h=9, sub_s=-1, radius_px=9)
    with pytest.raises(ValueError, match=r"radius_px must be 0 or more px, received -9 px"):
        smear.longest_sub_s(rate_deg_h=9, radius_px=-9, tolerance_px=1)
    with pytest.raises(ValueError, match=r"tolerance_px must be above 0 px, received 0 px"):
        smear.longest_sub_s(rate_deg_h=9, radius_px=9, tolerance_px=0)
