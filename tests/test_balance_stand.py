"""Torques over the full turn, tipping, wedge and column, camera against legs: energies and brute force."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from support import assert_broadcasts, assert_row, rows

import workbook.balance.clearance as clearance
import workbook.balance.moments as moments
import workbook.balance.stand as stand
import workbook.balance.tipping as tipping
from workbook import pointing

ROWS = rows("mechanics.csv")
G = 9.80665
TUBE = [moments.Part(2.1, 20, 5, 95), moments.Part(0.5, -60, 70, 110)]
ARM = [moments.Part(1.4, 0, 0, -150), moments.Part(0.2, 10, 0, -120)]


def energy(tilt, primary, secondary):
    """Potential energy [J] of the parts by turning vectors with scipy, east-north-up; the axis leans to the north."""
    axis = np.array([0.0, np.cos(np.radians(tilt)), np.sin(np.radians(tilt))])
    west, upright = np.array([-1.0, 0, 0]), np.array([0.0, -axis[2], axis[1]])
    about = Rotation.from_rotvec(np.radians(primary) * axis)
    total = 0.0
    for parts, angle in ((TUBE, secondary), (ARM, 0.0)):
        lift = Rotation.from_rotvec(np.radians(angle) * west)
        for part in parts:
            place = lift.apply(part.forward_mm * upright + part.up_mm * axis) + part.side_mm * west
            total += part.mass_kg * G * about.apply(place)[2] * 1e-3
    return total


@pytest.mark.parametrize("tilt", [0, 1.3, 52.4, 90, -20])
def test_torque_is_the_slope_of_the_energy(tilt):
    """Source: scipy's Rotation: gravity's torque about an axis is −dE/dθ, here by differences, all round both axes."""
    for primary in (0, 37, 90, 141, 260):
        for secondary in (-80, 0, 31, 123, 200):
            found = moments.torques(
                load=TUBE, rotor=ARM, axis_altitude_deg=tilt, primary_deg=primary, secondary_deg=secondary
            )
            h = 1e-3
            about_primary = -(energy(tilt, primary + h, secondary) - energy(tilt, primary - h, secondary))
            about_secondary = -(energy(tilt, primary, secondary + h) - energy(tilt, primary, secondary - h))
            assert found.primary_n_m == pytest.approx(about_primary / np.radians(2 * h), abs=1e-6)
            assert found.secondary_n_m == pytest.approx(about_secondary / np.radians(2 * h), abs=1e-6)


def test_torque_shapes_and_balance():
    """Derivation: an alt-az head has no torque about its vertical axis; equal moments cancel in every place."""
    turn = np.arange(0, 360, 30.0)
    flat = moments.torques(
        load=TUBE, rotor=ARM, axis_altitude_deg=90, primary_deg=turn[:, None], secondary_deg=turn
    )
    assert flat.primary_n_m.shape == (12, 12)
    np.testing.assert_allclose(flat.primary_n_m, 0, atol=1e-12)
    even = {"load": [moments.Part(2.6, 0, 0, 95)], "rotor": [moments.Part(1.4, 0, 0, -2.6 * 95 / 1.4)]}
    level = moments.torques(**even, axis_altitude_deg=20, primary_deg=turn, secondary_deg=10)
    np.testing.assert_allclose(level.primary_n_m, 0, atol=1e-12)
    np.testing.assert_allclose(level.secondary_n_m, 0, atol=1e-12)
    assert (
        np.ndim(moments.torques(**even, axis_altitude_deg=0, primary_deg=0, secondary_deg=0).primary_n_m) == 0
    )


@pytest.mark.parametrize("tilt", [0, 40, 80])
def test_largest_torque_by_looking_everywhere(tilt):
    """Derivation: brute force over both turns in steps of 2°: never above, and within 0.1 %."""
    turn = np.arange(0, 360, 2.0)
    seen = moments.torques(
        load=TUBE, rotor=ARM, axis_altitude_deg=tilt, primary_deg=turn[:, None], secondary_deg=turn
    )
    found = moments.largest_torque_n_m(load=TUBE, rotor=ARM, axis_altitude_deg=tilt)
    for name in ("primary_n_m", "secondary_n_m"):
        most = np.abs(getattr(seen, name)).max()
        assert most <= getattr(found, name) + 1e-9
        assert most == pytest.approx(getattr(found, name), rel=1e-3)


def test_load_moment_by_hand():
    """Derivation: 2.6 kg at 95 mm under standard gravity are 2.4222 N·m."""
    assert moments.load_moment_n_m(load_kg=2.6, load_arm_mm=95) == pytest.approx(2.6 * 9.80665 * 0.095)
    assert_broadcasts(moments.load_moment_n_m, load_kg=2.6, load_arm_mm=95)


def test_moment_errors():
    at = {"axis_altitude_deg": 50, "primary_deg": 0, "secondary_deg": 0}
    with pytest.raises(ValueError, match="load and rotor hold no part"):
        moments.torques(load=[], rotor=[], **at)
    with pytest.raises(ValueError, match="mass_kg must be 0 or more kg, received -1 kg"):
        moments.torques(load=[moments.Part(-1, 0, 0, 0)], rotor=[], **at)
    with pytest.raises(ValueError, match="axis_altitude_deg must be -90 to 90 °"):
        moments.torques(load=TUBE, rotor=[], **at | {"axis_altitude_deg": 100})
    with pytest.raises(ValueError, match=r"load_arm_mm must be 0 or more mm, .*without a sign"):
        moments.load_moment_n_m(load_kg=1, load_arm_mm=-1)


def test_tipping_rows_mec_12_and_13():
    middle = tipping.tipping_distance_m(foot_circle_m=0.4, leg_deg=17, overhang_m=0, overhang_deg=0)
    assert_row(ROWS["MEC-12"], 1e3 * middle.min())
    rig = tipping.stability(
        total_kg=7,
        centre_of_mass_m=1,
        foot_circle_m=0.4,
        leg_deg=0,
        overhang_m=0.09,
        overhang_deg=60,
        push_height_m=1.2,
    )
    assert_row(ROWS["MEC-13"], rig.push_n)
    assert rig.weak_side_deg == pytest.approx(60)


@pytest.mark.parametrize(("leg", "out", "towards"), [(0, 0.1, 0), (20, 0.15, 130), (75, 0.3, 200)])
def test_tipping_distance_is_that_of_a_point_and_three_lines(leg, out, towards):
    """Derivation: feet as points, signed area over length of each side, positive inside."""
    angles = np.radians(leg + 120 * np.arange(4))
    feet = 0.42 * np.stack([np.sin(angles), np.cos(angles)], axis=1)
    point = out * np.array([np.sin(np.radians(towards)), np.cos(np.radians(towards))])
    wanted = []
    for a, b in itertools.pairwise(feet):
        side = b - a
        wanted.append(-(side[0] * (point - a)[1] - side[1] * (point - a)[0]) / np.hypot(*side))
    found = tipping.tipping_distance_m(foot_circle_m=0.42, leg_deg=leg, overhang_m=out, overhang_deg=towards)
    np.testing.assert_allclose(found, wanted, atol=1e-12)
    assert tipping.tipping_distance_m(
        foot_circle_m=0.42, leg_deg=[[0], [60]], overhang_m=[0.1, 0.2, 0.3], overhang_deg=0
    ).shape == (2, 3, 3)


def test_best_leg_is_under_the_overhang():
    """Derivation: brute force over the leg's direction."""
    legs = np.arange(0, 360, 1.0)
    margin = tipping.tipping_distance_m(
        foot_circle_m=0.42, leg_deg=legs, overhang_m=0.08, overhang_deg=47
    ).min(axis=-1)
    best = tipping.best_leg_deg(47)
    assert margin.max() == pytest.approx(margin[int(best)])
    assert min(abs((legs[margin.argmax()] - best + 60) % 120 - 60), 1) == 0
    assert margin.max() - margin.min() == pytest.approx(0.04)  # half the overhang
    assert_broadcasts(lambda overhang_deg: tipping.best_leg_deg(overhang_deg), overhang_deg=20)


def test_knock_and_slope_by_energy_and_plumb_line():
    """Derivation: a point mass turned about the foot line: lifted most when it stands above it."""
    rig = {"total_kg": 9.5, "centre_of_mass_m": 0.95, "foot_circle_m": 0.42, "leg_deg": 0, "overhang_deg": 0,
           "push_height_m": 1.2, "overhang_m": 0.02}  # fmt: skip
    found = tipping.stability(**rig)
    assert found.margin_m == pytest.approx(0.2)
    turns = np.radians(np.linspace(0, 40, 40_001))
    height = 0.95 * np.cos(turns) + found.margin_m * np.sin(turns)
    assert found.knock_m_s == pytest.approx(np.sqrt(2 * G * (height.max() - 0.95)), rel=1e-6)
    assert found.slope_deg == pytest.approx(np.degrees(turns[height.argmax()]), abs=2e-3)
    falls = tipping.stability(**rig | {"overhang_m": 0.5})
    assert falls.margin_m < 0
    assert (falls.push_n, falls.slope_deg, falls.knock_m_s) == (0, 0, 0)


def test_tipping_wind_by_its_moment():
    """Source: reference row MEC-15: 39.2 Pa at 8 m/s, so that 0.08 m² at 1.1 m are a known moment."""
    speed = tipping.tipping_wind_m_s(total_kg=9.5, margin_m=0.2, wind_area_m2=0.08, wind_height_m=1.1)
    assert 39.2 * (speed / 8) ** 2 * 1.2 * 0.08 * 1.1 == pytest.approx(9.5 * G * 0.2)
    assert_broadcasts(
        tipping.tipping_wind_m_s, total_kg=9, margin_m=0.2, wind_area_m2=0.1, wind_height_m=1, drag=1.1
    )
    with pytest.raises(ValueError, match="margin_m must be 0 or more m"):
        tipping.tipping_wind_m_s(total_kg=9, margin_m=-0.1, wind_area_m2=0.1, wind_height_m=1)


def test_tipping_errors():
    good = {"foot_circle_m": 0.42, "leg_deg": 0, "overhang_m": 0.1, "overhang_deg": 0}
    for changed, words in [
        ({"foot_circle_m": 0}, "foot_circle_m must be above 0 m"),
        ({"overhang_m": -1}, "overhang_m must be 0 or more m, .*a distance and its direction"),
    ]:
        with pytest.raises(ValueError, match=words):
            tipping.tipping_distance_m(**good | changed)


WEDGE = {
    "head_kg": 5.5,
    "head_arm_m": 0.12,
    "base_kg": 4,
    "base_height_m": 0.6,
    "pivot_m": 1.1,
    "pivot_offset_m": -0.03,
}


@pytest.mark.parametrize("latitude", [0, 1.3, 30, 52.4, 90, -34])
def test_wedge_by_the_centre_of_two_points(latitude):
    """Derivation: head and base as points turned by scipy's Rotation; south mirrors north."""
    lean = Rotation.from_rotvec([-np.radians(90 - abs(latitude)), 0, 0])
    head = np.array([0, -0.03, 1.1]) + lean.apply([0, 0, 0.12])
    wanted = (5.5 * head + 4 * np.array([0, 0, 0.6])) / 9.5
    found = stand.wedge_centre(latitude_deg=latitude, **WEDGE)
    assert (found.overhang_m, found.height_m) == (pytest.approx(wanted[1]), pytest.approx(wanted[2]))


def test_column_and_series():
    """Derivation: two equal springs in series are half as stiff; a tube by E I/L, its twist by G J/L."""
    assert stand.series_stiffness_n_m_rad(first_n_m_rad=500, second_n_m_rad=500) == 250
    assert stand.series_stiffness_n_m_rad(first_n_m_rad=500, second_n_m_rad=1e12) == pytest.approx(500)
    tube = {"length_mm": 200, "outer_mm": 20, "inner_mm": 16, "modulus_gpa": 210}
    second = ROWS["MEC-10"]["expected"]
    bend = stand.column_stiffness_n_m_rad(way="bend", **tube)
    assert bend == pytest.approx(210e3 * second / 200 / 1e3, rel=1e-6)
    twist = stand.column_stiffness_n_m_rad(way="twist", **tube)
    assert twist == pytest.approx(210e3 / 2.6 * 2 * second / 200 / 1e3, rel=1e-6)
    with pytest.raises(ValueError, match="way must be one of 'bend', 'twist'"):
        stand.column_stiffness_n_m_rad(way="pull", **tube)
    assert_broadcasts(lambda **k: stand.column_stiffness_n_m_rad(way="bend", **k), **tube)
    assert_broadcasts(stand.series_stiffness_n_m_rad, first_n_m_rad=500, second_n_m_rad=700)


PARTED = {
    "total_kg": 9.5, "centre_of_mass_m": 0.95, "stiffness_n_m_rad": 500, "frequency_hz": 6, "above_kg": 5.5,
    "part_kg": 0.6, "part_height_m": 0.2, "part_bottom_m": 1.0, "part_stiffness_n_m_rad": 2000,
}  # fmt: skip


def test_a_column_lifts_and_softens():
    """Derivation: masses at their heights, springs in series, frequency as the root of the stiffness."""
    found = stand.with_part(**PARTED)
    below = (9.5 * 0.95 - 5.5 * 1.2) / 4  # where the other 4 kg are, if those above stand at 1.2 m
    height = (5.5 * (1.2 + 0.2) + 4 * below + 0.6 * 1.1) / 10.1
    assert found.centre_of_mass_m == pytest.approx(height)
    assert found.total_kg == pytest.approx(10.1)
    assert found.stiffness_n_m_rad == pytest.approx(400)
    assert found.frequency_hz == pytest.approx(6 * np.sqrt(0.8))
    flat = stand.with_part(**PARTED | {"part_height_m": 0, "part_kg": 1e-9, "part_stiffness_n_m_rad": 1e12})
    assert flat.centre_of_mass_m == pytest.approx(0.95)
    assert flat.frequency_hz == pytest.approx(6)
    with pytest.raises(ValueError, match=r"above_kg must not exceed total_kg, received 11 kg of 9\.5 kg"):
        stand.with_part(**PARTED | {"above_kg": 11})
    with pytest.raises(ValueError, match=r"pivot_offset_m must be -2 to 2 m, .*5 cm are 0\.05"):
        stand.wedge_centre(latitude_deg=50, **WEDGE | {"pivot_offset_m": 5})


LEGS = [(60, 120), (110, 320), (300, 900), (420, 1150)]
CAMERA = [(-210, 45), (-90, 45), (-90, 38), (140, 38)]
RIG = {"arm_mm": 95, "overhang_mm": 40, "camera_outline_mm": CAMERA, "leg_outline_mm": LEGS}


def brute_gap(hour, dec, tilt, side, arm=95, overhang=40):
    """Spheres along the tube against 3,000 points of the stand's surface in space; only outside it is exact."""
    axis = np.array([0.0, np.cos(np.radians(tilt)), np.sin(np.radians(tilt))])
    up = np.array([0.0, -axis[2], axis[1]])
    west = np.array([-1.0, 0.0, 0.0])
    about = Rotation.from_rotvec(-np.radians(hour) * axis)  # hour angle grows to the west
    lift = Rotation.from_rotvec(np.radians(dec) * west)
    star = about.apply(lift.apply(up))
    foot = about.apply(west * arm * (1 if side == "west" else -1)) + np.array([0, overhang, 0])
    outline = np.array([(0, 120), *LEGS, (0, 1150)], float)
    share = np.linspace(0, 1, 400)[:, None]
    profile = np.vstack([a + share * (b - a) for a, b in itertools.pairwise(outline)])
    least = np.inf
    for (x0, r0), (x1, r1) in itertools.pairwise(CAMERA):
        for s in np.linspace(0, 1, 60):
            at = foot + (x0 + s * (x1 - x0)) * star
            far = np.hypot(profile[:, 0] - np.hypot(at[0], at[1]), profile[:, 1] + at[2]).min()
            least = min(least, far - (r0 + s * (r1 - r0)))
    return least


@pytest.mark.parametrize("side", ["east", "west"])
@pytest.mark.parametrize(("tilt", "dec"), [(52.4, 0), (52.4, -25), (30, 10), (90, 10)])
def test_gap_by_brute_force(side, tilt, dec):
    """Derivation: points of the outline and a finer row of spheres, turned by scipy's Rotation; ±1.5 mm."""
    hours = [-80, -30, 0, 45, 90]
    found = clearance.clearance_mm(turn_deg=hours, rise_deg=dec, axis_altitude_deg=tilt, side=side, **RIG)
    wanted = [brute_gap(hour, dec, tilt, side) for hour in hours]
    np.testing.assert_allclose(found, wanted, atol=1.5)


def test_gap_limits():
    """A tube that points straight down through the stand is inside; one far from it is as far as geometry says."""
    thin = {"camera_outline_mm": [(-300, 1), (0, 1)], "leg_outline_mm": [(50, 100), (50, 1000)]}
    up = clearance.clearance_mm(
        turn_deg=0, rise_deg=90, axis_altitude_deg=90, side="west", arm_mm=0, overhang_mm=0, **thin
    )
    assert up == pytest.approx(-51)
    beside = clearance.clearance_mm(
        turn_deg=0, rise_deg=90, axis_altitude_deg=90, side="west", arm_mm=200, overhang_mm=0, **thin
    )
    assert beside == pytest.approx(150 - 1)
    over = clearance.clearance_mm(
        turn_deg=0, rise_deg=0, axis_altitude_deg=90, side="west", arm_mm=0, overhang_mm=0, **thin
    )
    assert over == pytest.approx(100 - 1)


def test_sides_mirror_each_other():
    """Derivation: mirror east and west: hour angle changes sign."""
    hours = np.linspace(-120, 120, 25)
    west = clearance.clearance_mm(turn_deg=hours, rise_deg=31, axis_altitude_deg=52.4, side="west", **RIG)
    east = clearance.clearance_mm(turn_deg=-hours, rise_deg=31, axis_altitude_deg=52.4, side="east", **RIG)
    np.testing.assert_allclose(west, east, atol=1e-9)
    assert np.abs(west - west[::-1]).max() > 20


@pytest.mark.parametrize("latitude", [52.4, -34.0])
def test_safe_spans_hold_what_is_safe_and_nothing_else(latitude):
    """Derivation: gap and altitude asked again at hour angles inside and outside the spans."""
    keep = {"least_mm": 10, "lowest_deg": 20}
    for dec in (-5, 31 * np.sign(latitude)):
        for side in clearance.SIDES:
            spans = clearance.safe_spans(dec_deg=dec, latitude_deg=latitude, side=side, **RIG, **keep)
            hours = np.arange(-179.9, 180, 0.7)
            inside = np.zeros(hours.size, bool)
            for span in spans:
                assert span.length_h == pytest.approx(
                    (span.end_hour_angle_deg - span.start_hour_angle_deg) / 15.041067
                )
                inside |= (hours > span.start_hour_angle_deg) & (hours < span.end_hour_angle_deg)
            gap = clearance.clearance_mm(
                turn_deg=hours,
                rise_deg=dec * np.sign(latitude),
                axis_altitude_deg=abs(latitude),
                side=side,
                **RIG,
            )
            high = pointing.altaz(hour_angle_deg=hours, dec_deg=dec, latitude_deg=latitude).altitude_deg
            sure = np.minimum(np.abs(gap - 10), 10 * np.abs(high - 20)) > 1.0
            np.testing.assert_array_equal(inside[sure], ((gap > 10) & (high > 20))[sure])
            assert inside.any()


def test_safe_spans_all_round_and_across_the_lower_meridian():
    """A star that nothing stops is safe for a sidereal day; one stopped near the upper meridian only goes on below."""
    free = {
        "arm_mm": 95,
        "overhang_mm": 0,
        "leg_outline_mm": [(10, 800), (20, 1200)],
        "least_mm": 0,
        "lowest_deg": 0,
    }
    spans = clearance.safe_spans(
        dec_deg=80, latitude_deg=52, side="west", camera_outline_mm=[(-200, 40), (100, 40)], **free
    )
    assert len(spans) == 1
    assert spans[0].length_h == pytest.approx(23.934, abs=1e-3)
    stopped = clearance.safe_spans(
        dec_deg=80, latitude_deg=52, side="west", camera_outline_mm=CAMERA, arm_mm=95, overhang_mm=40,
        leg_outline_mm=LEGS, least_mm=0, lowest_deg=0,
    )  # fmt: skip
    assert any(span.end_hour_angle_deg > 180 for span in stopped)
    assert all(-180 <= span.start_hour_angle_deg < 180 for span in stopped)


def test_clearance_errors():
    good = {"turn_deg": 0, "rise_deg": 0, "axis_altitude_deg": 50, "side": "west"} | RIG
    for changed, words in [
        ({"side": "left"}, "side must be one of 'east', 'west', received 'left'"),
        ({"arm_mm": -1}, "arm_mm must be 0 or more mm, .*side says where"),
        (
            {"camera_outline_mm": [(1, 2)]},
            "camera_outline_mm must be two or more points of two numbers in mm",
        ),
        ({"camera_outline_mm": [(5, 2), (1, 2)]}, "camera_outline_mm must run from the back"),
        ({"leg_outline_mm": [(5, 200), (5, 100)]}, "leg_outline_mm must run from the top down"),
        ({"axis_altitude_deg": -3}, "axis_altitude_deg must be 0 to 90 °"),
    ]:
        with pytest.raises(ValueError, match=words):
            clearance.clearance_mm(**good | changed)
    assert_broadcasts(
        lambda **k: clearance.clearance_mm(axis_altitude_deg=50, side="west", **RIG, **k),
        turn_deg=20,
        rise_deg=30,
    )
