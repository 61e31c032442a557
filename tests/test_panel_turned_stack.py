"""Lesson 02, the whole night: track, lost minutes, cable and the soft edge of the stack."""

from __future__ import annotations

import erfa
import numpy as np
import pytest

from workbook import passport
from workbook.figures import turned_stack as figure
from workbook.panels import build_turned_stack
from workbook.panels.turned_stack import Night, kept_angles_deg, verdict
from workbook.panels.turning import axis_of

BALCONY = passport.scenario("balcony")
OPEN = BALCONY.replace({"site.horizon_deg": [[0, 0]], "site.ceiling_deg": 90.0})
M33_DEC_DEG = 30.66  # catalogue, J2000
RADIUS_PX = 2441.31  # half of √(4000² + 2800²), by hand
STAY = {"axis_way": 0.0, "start_h": -4.0, "length_h": 6.0, "sub_s": 8.0}


def night(rig=BALCONY, **changed):
    return Night(rig).turned_stack(**(STAY | changed))


def from_erfa(hours_h, latitude_deg=52.4):
    """Azimuth, altitude and the parallactic angle followed without a jump, by ERFA."""
    hour, dec, phi = np.radians(15.041067 * hours_h), np.radians(M33_DEC_DEG), np.radians(latitude_deg)
    azimuth, altitude = erfa.hd2ae(hour, dec, phi)
    return np.degrees(azimuth), np.degrees(altitude), np.degrees(np.unwrap(erfa.hd2pa(hour, dec, phi)))


# The night


def test_the_track_is_that_of_erfa():
    """Source: ERFA hd2ae and hd2pa; its angle stepped over a minute either way gives the rate within 1e-3."""
    seen = night()
    assert len(seen.hours_h) == 361
    azimuth, altitude, angle = from_erfa(seen.hours_h)
    np.testing.assert_allclose(seen.altitude_deg, altitude, atol=0.02)
    np.testing.assert_allclose(seen.rotation_deg, angle - angle[0], atol=0.05)
    np.testing.assert_allclose(seen.rate_deg_h[1:-1], 30.0 * (angle[2:] - angle[:-2]), atol=0.05)
    assert seen.cable_deg == pytest.approx(np.ptp(np.unwrap(azimuth, period=360.0)), abs=0.1)


@pytest.mark.parametrize(("above_deg", "hidden"), [(0.010, False), (0.035, True)])
def test_the_horizon_is_met_through_the_air(above_deg, hidden):
    """Bennett 1982: 1.16′ (0.019°) of lift at 40°, so a roof 0.6′ above the true place hides no star, 2.1′ does."""
    true_deg = night(OPEN).altitude_deg
    minute = int(np.argmin(np.abs(true_deg - 40.0)))
    roof = OPEN.replace({"site.horizon_deg": [[0, float(true_deg[minute]) + above_deg]]})
    assert (night(roof).state[minute] == figure.HIDDEN) == hidden


def test_what_becomes_of_each_minute():
    """Derivation: the balcony's opening by its own four numbers; 1.5 px at 2441 px in 8 s are 15.84°/h, at the middle
    of a sub in which the rate hardly changes.
    """
    seen = night()
    azimuth, altitude, angle = from_erfa(seen.hours_h)
    inside = (azimuth > 95) & (azimuth < 215) & (altitude > 20) & (altitude < 68)
    rate = np.abs(np.gradient(angle, seen.hours_h))
    fast = rate > np.degrees(1.5 / RADIUS_PX) / 8.0 * 3600.0
    expected = np.where(~inside, figure.HIDDEN, np.where(fast, figure.TURNING, figure.KEPT))
    edges = 6  # a minute's place at each change of state
    assert np.sum(seen.state != expected) <= edges
    assert {figure.HIDDEN, figure.TURNING, figure.KEPT} == set(seen.state)


def test_longest_sub_at_the_meridian():
    """By hand: lesson 02's 24.8°/h at 68.3° are 0.2938 px/s in the corner: 1.5 px take 5.1 s."""
    seen = night()
    assert seen.longest_s[240] == pytest.approx(5.1, abs=0.03)
    assert seen.hours_h[240] == pytest.approx(0.0, abs=1e-9)


def test_where_the_head_cannot_follow():
    """The passport: above 82° upright; M 33 culminates 68.3° high at 52.4°, and 89.3° high at 30°."""
    assert night().zone_deg == pytest.approx(8.0)
    assert figure.ZONE not in night(OPEN).state
    island = OPEN.replace({"site.latitude_deg": 30.0})
    seen = night(island)
    _, altitude, _ = from_erfa(seen.hours_h, 30.0)
    assert np.sum((seen.state == figure.ZONE) != (altitude > 82.0)) <= 2
    assert "Head too slow −0:3" in verdict(seen)
    zones = [Night(OPEN).zone_deg(axis_of(way, 52.4)) for way in (0.0, 0.5, 0.9, 1.0)]
    assert zones == sorted(zones, reverse=True)
    assert zones[-1] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("way", [0.3, 0.7])
def test_at_the_edge_of_the_zone_the_primary_axis_turns_as_fast_as_8_degrees_from_the_zenith(way):
    """Derivation: a star straight below the axis, on the meridian, at a distance r: steps of a rigid sky give how fast
    its bearing about the axis turns; the same for the upright head at 8°.
    """

    def axis_altitude_south(altitude_deg):
        return 180.0 - altitude_deg  # the axis leans north: beyond the zenith, seen from the south point

    def bearing_rate(axis_altitude_deg, away_deg):
        end, phi = np.radians(axis_altitude_deg), np.radians(52.4)
        hours, bearings = np.radians([-0.01, 0.01]), []
        # From the south point over the top: a star that culminates at the angle a has the declination a − 90° + φ.
        dec = np.radians(axis_altitude_south(axis_altitude_deg) - away_deg - 90.0) + phi
        for hour in hours:
            azimuth, altitude = erfa.hd2ae(hour, dec, phi)
            star = np.array(
                [
                    np.cos(altitude) * np.sin(azimuth),
                    np.cos(altitude) * np.cos(azimuth),
                    np.sin(altitude),
                ]
            )
            across = star[0]
            along = star[1] * np.sin(end) - star[2] * np.cos(end)
            bearings.append(np.arctan2(across, along))
        step = (np.diff(bearings)[0] + np.pi) % (2 * np.pi) - np.pi
        return abs(step) / 0.02 * 180 / np.pi

    axis = axis_of(way, 52.4)
    zone = Night(BALCONY).zone_deg(axis)
    assert bearing_rate(axis["axis_altitude_deg"], zone) == pytest.approx(bearing_rate(90.0, 8.0), rel=2e-3)


# The stack


@pytest.mark.parametrize(("rig", "start_h", "length_h"), [(BALCONY, -4.0, 6.0), (OPEN, -6.0, 6.0)])
def test_common_and_half_deep_parts_of_the_frame(rig, start_h, length_h):
    """Derivation: 100,000 dice over the chip's circle, each asked of every kept frame, turned by ERFA's angles; 0.3 %
    by chance, 1 % by the few frames that stand for all.
    """
    panel = build_turned_stack(rig)
    panel.set(start_h=start_h, length_h=length_h)
    seen = panel.result
    angle = np.radians(from_erfa(seen.hours_h)[2][seen.state == figure.KEPT])
    dice = np.random.default_rng(5).uniform(-RADIUS_PX, RADIUS_PX, (100_000, 2))
    held = np.zeros(len(dice))
    for turn in angle:  # a growing angle carries the stars clockwise over the chip
        x = dice[:, 0] * np.cos(turn) + dice[:, 1] * np.sin(turn)
        y = dice[:, 1] * np.cos(turn) - dice[:, 0] * np.sin(turn)
        held += (np.abs(x) < 2000) & (np.abs(y) < 1400)
    square = (2.0 * RADIUS_PX) ** 2 / (4000 * 2800)
    assert seen.common == pytest.approx(square * np.mean(held == len(angle)), abs=0.013)
    assert seen.half_depth == pytest.approx(square * np.mean(held >= 0.5 * len(angle)), abs=0.013)


def test_the_circle_of_the_short_side_is_always_common():
    """Derivation: a frame turned to every angle leaves the circle π 1400²/(4000 · 2800) = 0.5498 of it."""
    turned = {}
    for latitude_deg in (60.0, 52.4, 45.0):
        result = night(OPEN.replace({"site.latitude_deg": latitude_deg}), start_h=-3.0, sub_s=1.0)
        turned[latitude_deg] = figure.turned_deg(result)
        assert 0.5498 - 0.01 < result.common < 0.72
    assert turned[45.0] > turned[52.4] > turned[60.0] > 60.0


def test_on_the_pole_every_sub_covers_the_same_frame():
    seen = night(OPEN, axis_way=1.0, sub_s=300.0)
    assert seen.common == pytest.approx(1.0, abs=0.02)
    assert figure.turned_deg(seen) == pytest.approx(0.0, abs=1e-6)
    assert (seen.state == figure.KEPT).all()


def test_the_first_kept_frame_lies_straight_and_both_ends_are_in_the_stack():
    seen = night()
    angles = kept_angles_deg(seen)
    assert len(angles) == 40
    assert angles[0] == 0.0
    assert np.ptp(angles) == pytest.approx(figure.turned_deg(seen))
    assert seen.coverage[65, 65] == 1.0


def test_the_range_is_that_of_another_start():
    """Derivation: an earlier and a later start, each counted on its own."""
    panel = build_turned_stack(OPEN)
    seen = []
    for start_h in (-3.25, -3.0, -2.75):
        panel.set(start_h=start_h, length_h=2.0)
        seen.append(panel.result)
    common, middle = [result.common for result in seen], seen[1].common_range
    assert middle == pytest.approx((min(common), max(common)))
    assert middle[0] < common[1] < middle[1]
    assert "start ±15 min: range" in str(panel)


# What it says


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {},
            "Kept 2.5 of 4.2 h in view. Turns too fast −1:17 to −0:19 h and +0:18 to +1:04 h.",
        ),
        ({"start_h": -5.0, "length_h": 3.0}, "Kept 1.8 of 1.8 h in view. At least half"),
        ({"start_h": 2.0, "length_h": 2.0}, "M 33 is not in view in these hours"),
        ({"sub_s": 300.0}, "Kept 0.0 of 4.2 h in view"),
    ],
)
def test_the_verdict(changes, words):
    assert words in verdict(night(**changes))


def test_a_star_through_the_axis():
    """At the latitude of its own declination the star passes the zenith."""
    rig = OPEN.replace({"site.latitude_deg": Night(OPEN).dec_deg})
    seen = night(rig)
    assert "passes through the axis" in verdict(seen)
    assert "passes through the axis" in figure.describe(seen)
    panel = build_turned_stack(rig)
    assert "no number" in str(panel)
    assert not panel.problem


def test_hours_and_minutes():
    written = {-1.283: "−1:17", 0.0: "0:00", -0.004: "0:00", 2.999: "+3:00", 0.5: "+0:30"}
    assert {time: figure.clock(time) for time in written} == written


def test_the_table_goes_hour_by_hour():
    rows = figure.table(night())
    assert [row[0] for row in rows[1:8]] == ["−4:00", "−3:00", "−2:00", "−1:00", "0:00", "+1:00", "+2:00"]
    assert rows[5][1:] == ("68°", "24.8°/h", "5.1 s", "not in view")
    assert rows[4][-1] == "turns too fast"
    assert len({len(row) for row in rows}) == 1


def test_the_ribbon_covers_the_minutes_of_each_state():
    panel = build_turned_stack(BALCONY)
    kept = panel._artists.ribbons[0].get_paths()
    assert len(kept) == 1
    low, high = kept[0].vertices[:, 0].min(), kept[0].vertices[:, 0].max()
    assert high - low == pytest.approx(np.sum(panel.result.state == figure.KEPT) / 60.0)
    assert len(panel._artists.ribbons[1].get_paths()) == 2
    panel.ghost = 20.0
    assert panel._artists.ghost.get_ydata() == [20.0, 20.0]
