"""Longest subs over the sky, a night's track and rotated stacks: against ERFA, an image library, a rigid body."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from rigid_body import OMEGA_RAD_S, celestial_pole, sky_triad, turn
from scipy.ndimage import rotate
from support import assert_broadcasts, assert_row, rows

import workbook.rotation.stack as stack
import workbook.rotation.track as track
from workbook import pointing, rotation

ROWS = rows("geometry.csv")
FIELD = {"radius_px": 2441.0, "tolerance_px": 1.5}
OMEGA_DEG_S = 15.041067 / 3600


def swing_px(*, hour_deg, dec_deg, latitude_deg, sub_s, radius_px, axis=(90, 0)):
    """How far a star at the radius swings in one sub: ERFA's parallactic angle at 401 moments."""
    pole_hour, pole_dec = erfa.ae2hd(*np.radians([axis[1], axis[0], latitude_deg]))
    moments = np.linspace(-0.5, 0.5, 401) * sub_s * OMEGA_DEG_S
    hours = np.radians(hour_deg + moments) - pole_hour
    q = np.unwrap(erfa.hd2pa(hours, np.radians(dec_deg), pole_dec))
    return np.ptp(q) * radius_px


@pytest.mark.parametrize("latitude", [50, -34, 1.3])
@pytest.mark.parametrize("axis", [(90, 0), (75, 15)])
def test_longest_sub_on_the_sky_swings_by_the_tolerance(latitude, axis):
    """ERFA's parallactic angle through each sub under ten minutes; 5 %, the third order left out."""
    checked = 0
    for altitude in (20, 40, 60):
        for azimuth in range(0, 360, 15):
            sub = track.longest_sub_on_sky_s(
                altitude_deg=altitude,
                azimuth_deg=azimuth,
                latitude_deg=latitude,
                axis_altitude_deg=axis[0],
                axis_azimuth_deg=axis[1],
                **FIELD,
            )
            if sub > 600:
                continue
            hour, dec = np.degrees(erfa.ae2hd(*np.radians([azimuth, altitude, latitude])))
            swing = swing_px(
                hour_deg=hour, dec_deg=dec, latitude_deg=latitude, sub_s=sub, radius_px=2441, axis=axis
            )
            assert swing == pytest.approx(1.5, rel=0.05), (altitude, azimuth, sub)
            checked += 1
    assert checked > 50


@pytest.mark.parametrize("axis", [(90, 0), (75, 15), (35, 300)])
def test_rate_and_its_change_are_differences_of_erfa_hd2pa(axis):
    """Central differences over 2e-3 rad of hour angle, 100 stars; 1e-3 of the value, 1e-3 of Ω²."""
    sky = np.random.default_rng(3)
    altitude, azimuth = sky.uniform(5, 70, 100), sky.uniform(0, 360, 100)
    pole_hour, pole_dec = erfa.ae2hd(*np.radians([axis[1], axis[0], -34.0]))
    hour, dec = erfa.ae2hd(*np.radians([azimuth, altitude, np.full(100, -34.0)]))
    q = [erfa.hd2pa(hour + k * 1e-3 - pole_hour, dec, pole_dec) for k in (-1, 0, 1)]
    before, after = ((q[k] - q[1] + np.pi) % (2 * np.pi) - np.pi for k in (0, 2))
    seen = track._about_axis(altitude, azimuth, -34.0, *axis)
    rate, change = track._rate_and_change(seen)
    np.testing.assert_allclose(rate / OMEGA_RAD_S, (after - before) / 2e-3, rtol=1e-3, atol=1e-3)
    np.testing.assert_allclose(change / OMEGA_RAD_S**2, (after + before) / 1e-6, rtol=1e-3, atol=1e-3)


def test_longest_sub_on_the_sky_rows_and_limits():
    """ALT-05 through the map; due east the turn back limits; the axis on the pole never does."""
    south_east = track.longest_sub_on_sky_s(
        altitude_deg=40, azimuth_deg=135, latitude_deg=50, radius_px=3758, tolerance_px=1
    )
    assert_row(ROWS["ALT-05"], south_east)
    east = track.longest_sub_on_sky_s(altitude_deg=40, azimuth_deg=[90, 89, 91], latitude_deg=50, **FIELD)
    assert np.isfinite(east).all()
    assert (east > 300).all()
    on_pole = {"latitude_deg": -34, "axis_altitude_deg": 34, "axis_azimuth_deg": 180}
    still = track.longest_sub_on_sky_s(altitude_deg=[20, 60], azimuth_deg=[80, 300], **on_pole, **FIELD)
    assert (still > 1e6).all()
    grid = track.longest_sub_on_sky_s(
        altitude_deg=np.array([[90], [60]]), azimuth_deg=[0, 100, 200], latitude_deg=50, **FIELD
    )
    np.testing.assert_array_equal(np.isnan(grid), [[True] * 3, [False] * 3])


def test_map_mirrors_with_the_hemisphere():
    place = {"altitude_deg": np.linspace(10, 80, 8)[:, None], **FIELD}
    north = track.longest_sub_on_sky_s(azimuth_deg=np.arange(0, 360, 20), latitude_deg=44, **place)
    south = track.longest_sub_on_sky_s(azimuth_deg=180 - np.arange(0, 360, 20), latitude_deg=-44, **place)
    np.testing.assert_allclose(south, north, rtol=1e-9)


@pytest.mark.parametrize(("latitude", "dec"), [(50, 20), (50, 58), (-34, -50), (1.3, 30)])
@pytest.mark.parametrize("axis", [(90, 0), (75, 15)])
def test_night_track_follows_erfa(latitude, dec, axis):
    """Places, rotation unwound and smear of 60 s subs along a night of 2-minute steps; smear within 1 %."""
    hours = np.arange(-75, 106, 0.5)
    found = track.night_track(
        hour_angles_deg=hours,
        dec_deg=dec,
        latitude_deg=latitude,
        sub_s=60,
        axis_altitude_deg=axis[0],
        axis_azimuth_deg=axis[1],
        **FIELD,
    )
    azimuth, altitude = erfa.hd2ae(
        *np.radians([hours, np.full(hours.size, dec), np.full(hours.size, latitude)])
    )
    np.testing.assert_allclose(found.altitude_deg, np.degrees(altitude), atol=1e-9)
    np.testing.assert_allclose(found.azimuth_deg, np.degrees(azimuth), atol=1e-9)
    pole_hour, pole_dec = erfa.ae2hd(*np.radians([axis[1], axis[0], latitude]))
    fine = np.radians(np.linspace(hours[0], hours[-1], 40 * (hours.size - 1) + 1))
    q = np.degrees(np.unwrap(erfa.hd2pa(fine - pole_hour, np.radians(dec), pole_dec)))
    np.testing.assert_allclose(found.rotation_deg, (q - q[0])[::40], atol=1e-7)
    rates = np.gradient(q, np.degrees(fine))[::40] * 15.041067
    np.testing.assert_allclose(found.rate_deg_h[1:-1], rates[1:-1], rtol=1e-3, atol=2e-3)
    ask = {"dec_deg": dec, "latitude_deg": latitude, "sub_s": 60, "radius_px": 2441, "axis": axis}
    smear = [swing_px(hour_deg=hour, **ask) for hour in hours]
    np.testing.assert_allclose(found.smear_px, smear, rtol=0.01, atol=1e-3)
    steady = found.longest_sub_s < 60
    np.testing.assert_array_equal(found.smear_px[steady] > 1.5 * 0.95, True)


def test_night_track_refuses():
    ask = {"dec_deg": 20, "latitude_deg": 50, "sub_s": 10, **FIELD}
    with pytest.raises(ValueError, match="hour_angles_deg must be a list of hour angles, received 5"):
        track.night_track(hour_angles_deg=5, **ask)
    with pytest.raises(ValueError, match="must not lead the star through the mount's axis"):
        track.night_track(hour_angles_deg=[-5, 5], **ask | {"dec_deg": 50})
    with pytest.raises(ValueError, match="sub_s must be above 0 s, received 0 s"):
        track.night_track(hour_angles_deg=[-5, 5], **ask | {"sub_s": 0})
    with pytest.raises(ValueError, match="tolerance_px must be above 0 px"):
        track.longest_sub_on_sky_s(
            altitude_deg=5, azimuth_deg=5, latitude_deg=5, radius_px=9, tolerance_px=-1
        )
    assert_broadcasts(track.longest_sub_on_sky_s, altitude_deg=40, azimuth_deg=130, latitude_deg=50, **FIELD)


# Stacks


def test_coverage_is_that_of_masks_turned_by_an_image_library():
    """scipy's image rotation, its sense checked with a mark; compared away from the soft steps of its edges."""
    size, width, height = 301, 200, 120
    row, column = np.mgrid[:size, :size] - size // 2
    frame = ((np.abs(column) <= width / 2) & (np.abs(row) <= height / 2)).astype(float)
    mark = np.zeros_like(frame)
    mark[150, 250] = 1.0  # to the right of the middle
    lifted = np.unravel_index(np.argmax(rotate(mark, 90, reshape=False, order=1)), mark.shape)
    assert lifted[0] < 150  # rows count downwards: a positive angle is counter-clockwise
    angles = np.array([0.0, 12.0, 25.0, 47.0])
    turned = np.mean([rotate(frame, angle, reshape=False, order=1) for angle in angles], axis=0)
    x, y = column.astype(float), -row.astype(float)
    found = stack.stack_coverage(x_px=x, y_px=y, angles_deg=angles, width_px=width, height_px=height)
    sharp = np.abs(turned * len(angles) - np.rint(turned * len(angles))) < 1e-6
    assert sharp.mean() > 0.9
    np.testing.assert_allclose(found[sharp], turned[sharp], atol=1e-6)
    assert len(np.unique(found)) == 5


@pytest.mark.parametrize(("latitude", "dec"), [(50, 20), (-34, -10)])
def test_coverage_turns_with_the_sky(latitude, dec):
    """A star near the edge, carried by a rigid body and seen by an upright camera: in the frame or not."""
    path = {"dec_deg": dec, "latitude_deg": latitude}
    angle = rotation.rotation_deg(start_hour_angle_deg=-20, end_hour_angle_deg=25, **path)

    def seen(offset, hour):
        """Right and up in the picture of an alt-az mount."""
        star = sky_triad(hour_angle_deg=hour, **path)[0]
        right = np.cross(star, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        return np.array([offset @ right, offset @ np.cross(right, star)])

    first = sky_triad(hour_angle_deg=-20, **path)
    for bearing in np.radians(np.arange(3, 360, 10)):
        offset = np.cos(bearing) * first[1] + np.sin(bearing) * first[2]
        x, y = 1000 * seen(offset, -20)
        later = 1000 * seen(turn(offset, celestial_pole(latitude), -np.radians(45)), 25)
        held = np.abs(later[0]) <= 900 and np.abs(later[1]) <= 500
        found = stack.stack_coverage(x_px=x, y_px=y, angles_deg=[angle], width_px=1800, height_px=1000)
        assert found == held


def test_relative_snr_is_that_of_a_simulated_stack():
    """Derivation: the mean of n subs is √n less noisy; 400 stacks of noise, 16 % is 4 sigma of one place."""
    rng, angles = np.random.default_rng(2), np.linspace(0, 80, 12)
    x, y = (part.ravel() for part in np.meshgrid(np.linspace(-140, 140, 29), np.linspace(-140, 140, 29)))
    inside = [
        (np.abs(x * np.cos(a) + y * np.sin(a)) <= 100) & (np.abs(-x * np.sin(a) + y * np.cos(a)) <= 60)
        for a in np.radians(angles)
    ]
    held = np.array(inside)
    some = held.any(axis=0)
    noise = rng.standard_normal((400, 12, x.size))
    mean = np.sum(noise * held, axis=1)[:, some] / held.sum(axis=0)[some]
    snr = 1 / mean.std(axis=0) / np.sqrt(12)
    covered = stack.stack_coverage(x_px=x, y_px=y, angles_deg=angles, width_px=200, height_px=120)[some]
    np.testing.assert_allclose(stack.relative_snr(coverage=covered), snr, rtol=0.16)
    assert np.corrcoef(stack.relative_snr(coverage=covered), snr)[0, 1] > 0.97


def test_map_and_deep_share():
    """Derivation: a square turned by 45° leaves a regular octagon, 2 (√2 − 1); no turn leaves the frame."""
    turned = {"angles_deg": [0, 45], "width_px": 3000, "height_px": 3000}
    octagon = stack.deep_share(**turned, lowest_relative_snr=1)
    assert octagon == pytest.approx(2 * (np.sqrt(2) - 1), abs=0.005)
    star = stack.deep_share(**turned, lowest_relative_snr=0.7)  # in one of both: 2 − octagon
    assert star == pytest.approx(2 - 2 * (np.sqrt(2) - 1), abs=0.008)
    still = {"angles_deg": [7, 7], "width_px": 4000, "height_px": 2800}
    assert stack.deep_share(**still, lowest_relative_snr=0.5) == pytest.approx(1, abs=0.005)
    found = stack.stack_map(angles_deg=np.linspace(0, 90, 40), width_px=4000, height_px=2800, columns=61)
    assert found.coverage.shape == (61, 61)
    assert found.coverage[30, 30] == 1
    assert found.coverage[0, 0] == 0
    np.testing.assert_allclose(found.relative_snr**2, found.coverage)
    middle = found.coverage[30]
    assert len(np.unique(middle)) > 5  # soft, not a step
    np.testing.assert_allclose(np.hypot(4000, 2800) / 61, found.x_px[1] - found.x_px[0])


def test_stack_shapes_and_errors():
    frame = {"angles_deg": [0, 30, 60], "width_px": 400, "height_px": 300}
    place = lambda **k: stack.stack_coverage(**frame, **k)  # noqa: E731
    assert_broadcasts(place, x_px=180, y_px=100)
    assert_broadcasts(stack.relative_snr, coverage=0.3)
    with pytest.raises(
        ValueError, match=r"angles_deg must be a list with one angle for each sub, received \[\]"
    ):
        stack.stack_coverage(x_px=1, y_px=1, **frame | {"angles_deg": []})
    with pytest.raises(ValueError, match="angles_deg must be a list"):
        stack.stack_map(columns=5, **frame | {"angles_deg": [1, np.nan]})
    with pytest.raises(ValueError, match="width_px must be above 0 px, received 0 px"):
        stack.stack_map(columns=5, **frame | {"width_px": 0})
    with pytest.raises(ValueError, match="columns must be 2 to 1000, received 1"):
        stack.stack_map(columns=1, **frame)
    with pytest.raises(ValueError, match="coverage must be 0 to 1, received 2: give a share"):
        stack.relative_snr(coverage=2)
    with pytest.raises(ValueError, match="lowest_relative_snr must be above 0, received 0"):
        stack.deep_share(**frame, lowest_relative_snr=0)


def test_rotated_star_of_the_demo_numbers():
    """The rate behind a smear is that of the rigid body's sidereal turn: ALT-01b over 10 s is ALT-04."""
    place = pointing.hour_angle_dec(altitude_deg=40, azimuth_deg=135, latitude_deg=50)
    found = track.night_track(
        hour_angles_deg=[place.hour_angle_deg],
        dec_deg=place.dec_deg,
        latitude_deg=50,
        sub_s=10,
        radius_px=3758,
        tolerance_px=1,
    )
    assert_row(ROWS["ALT-04"], found.smear_px[0])
    assert np.degrees(OMEGA_RAD_S) * 3600 == pytest.approx(15.041067)
