"""Lesson 02: the chip under a turning field, the map of the longest sub, the guide star, and the panel's words."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from rigid_body import EAST, celestial_pole, sky_triad, turn, two_axes
from support import assert_row, rows
from test_lesson_answers_planted import lesson_of

from workbook import horizon, passport, pointing
from workbook.figures import turning_field as figure
from workbook.panels import build_turning_field, turning

BALCONY = passport.scenario("balcony")
RIG = turning.Rig(BALCONY)
ROWS = rows("geometry.csv")
RADIUS_PX = 2441.31  # half of √(4000² + 2800²), by hand
OMEGA_DEG_H = 15.041067
STAY = {"axis_way": 0.0, "latitude_deg": 52.4, "hour_angle_deg": 0.0, "tolerance_px": 1.5}
STAY |= {"dec_deg": 30.7, "guide_deg": 0.0}


def at(**changed):
    return RIG.turning_field(**(STAY | changed))


def zenith_axis():
    return turning.axis_of(0.0, 52.4)


@pytest.fixture(scope="module")
def panel():
    return build_turning_field(BALCONY)


# Rate, smear and longest sub from outside


def test_the_south_east_at_40_degrees_turns_as_erfa_says():
    """Source: reference row ALT-01b (ERFA hd2pa stepped) and ALT-04 (arc): 8.9244°/h, 1.626 px in 10 s at 3758 px."""
    hour, dec = np.degrees(erfa.ae2hd(*np.radians([135.0, 40.0, 50.0])))
    seen = at(latitude_deg=50.0, hour_angle_deg=hour, dec_deg=dec)
    assert seen.altitude_deg == pytest.approx(40.0)
    assert_row(ROWS["ALT-01b"], seen.rate_deg_h)
    assert_row(ROWS["ALT-04"], seen.smear_px * 3758 / RADIUS_PX / 6)
    assert seen.longest_s == pytest.approx(10 * 1.5 / 1.626 * 3758 / RADIUS_PX, rel=2e-3)


def test_south_of_the_equator_it_turns_the_other_way():
    """Source: reference row ALT-01e, latitude −33°, due north, 60° high: −25.229°/h."""
    seen = at(latitude_deg=-33.0, dec_deg=-3.0)
    assert seen.azimuth_deg == pytest.approx(0.0, abs=1e-9)
    assert_row(ROWS["ALT-01e"], seen.rate_deg_h)
    assert "anticlockwise" in figure.turn_words(seen)


@pytest.mark.parametrize("latitude", [52.0, -34.0, 1.3, 89.0])
def test_the_meridian_at_four_latitudes_by_hand(latitude):
    """Derivation: −Ω cos φ cos A / cos a at 40° on the meridian towards the equator; arc; 0.3 % for curvature."""
    side = -1.0 if latitude < 0 else 1.0
    seen = at(latitude_deg=latitude, dec_deg=latitude - side * 50.0)
    assert seen.altitude_deg == pytest.approx(40.0)
    rate = side * OMEGA_DEG_H * np.cos(np.radians(latitude)) / np.cos(np.radians(40))
    assert seen.rate_deg_h == pytest.approx(rate, rel=1e-6)
    per_s = np.radians(abs(rate)) / 3600 * RADIUS_PX
    assert seen.smear_px == pytest.approx(60 * per_s, rel=3e-3)
    assert seen.longest_s == pytest.approx(1.5 / per_s, rel=1e-4)


def test_half_way_to_the_pole_it_turns_as_a_rigid_body_on_two_motors():
    """Source: rigid-body simulation of a camera on two motors over the minute; 0.1 %."""
    seen = at(axis_way=0.5, hour_angle_deg=-35.0)
    half = 30 * OMEGA_DEG_H / 3600
    axis = turn(celestial_pole(52.4), EAST, np.radians(0.5 * 37.6))
    turned = two_axes(
        sky_triad(hour_angle_deg=-35.0 - half, dec_deg=30.7, latitude_deg=52.4),
        axis=axis,
        pole=celestial_pole(52.4),
        hour_angle_deg=2 * half,
        steps=60,
    )
    assert seen.axis_from_pole_deg == pytest.approx(18.8)
    assert seen.smear_px == pytest.approx(np.radians(abs(turned)) * RADIUS_PX, rel=1e-3)
    assert np.sign(seen.rate_deg_h) == np.sign(turned)


def test_with_the_axis_on_the_pole_nothing_turns_anywhere():
    """Derivation: the axis then is the one about which the sky turns."""
    for latitude in (52.4, -34.0, 1.3, 0.0):
        seen = at(axis_way=1.0, latitude_deg=latitude, dec_deg=0.0)
        assert seen.axis_from_pole_deg == 0.0
        assert seen.smear_px == pytest.approx(0.0, abs=1e-6)
        assert seen.longest_s > 1e5
        assert np.sort(seen.map_s, axis=None)[10] > 1e5  # but on the axis itself


def test_the_hemispheres_mirror():
    """Derivation: A → 180° − A: the spin changes its sign, the longest sub and altitude stay."""
    north, south = at(hour_angle_deg=-35.0), at(hour_angle_deg=-35.0, latitude_deg=-52.4, dec_deg=-30.7)
    assert south.rate_deg_h == pytest.approx(-north.rate_deg_h)
    assert south.longest_s == pytest.approx(north.longest_s)
    assert south.altitude_deg == pytest.approx(north.altitude_deg)
    np.testing.assert_allclose(south.map_s, north.map_s[::-1], rtol=1e-6)


def test_the_focal_length_does_not_matter_but_the_pixels_do():
    """Derivation: an angle times a distance in pixels; a chip of half as many pixels a side smears half as long."""
    long = turning.Rig(BALCONY.replace({"optics.focal_mm": 640.0})).turning_field(**STAY)
    assert long.smear_px == at().smear_px
    small = turning.Rig(BALCONY.replace({"camera.width_px": 2000, "camera.height_px": 1400})).turning_field(
        **STAY
    )
    assert small.smear_px == pytest.approx(0.5 * at().smear_px)


def test_the_tolerance_sets_the_sub_in_proportion():
    assert at(tolerance_px=3.0).longest_s == pytest.approx(2 * at().longest_s)


# The chip


def test_a_positive_turn_carries_the_stars_clockwise_about_the_middle():
    """Derivation: by hand, a quarter turn clockwise takes the star above the middle to its right."""
    (trail,) = turning.trails_px(np.array([[100.0, 1250.0]]), (100.0, 250.0), np.array([0.0, 90.0]))
    np.testing.assert_allclose(trail, [[100.0, 1250.0], [1100.0, 250.0]], atol=1e-9)


@pytest.mark.parametrize(
    ("hour", "latitude", "dec"), [(0, 52.4, 30.7), (-40, -34.0, -25.3), (80, 52.4, 30.7)]
)
def test_the_drawn_trails_follow_a_neighbour_that_erfa_places(hour, latitude, dec):
    """Source: ERFA hd2ae for the middle and a star 0.01° north of it, half a minute before and after; 1 %."""
    half = 30 * OMEGA_DEG_H / 3600
    bearing = []
    for moment in (hour - half, hour + half):
        (middle_az, middle_alt), (star_az, star_alt) = (
            erfa.hd2ae(*np.radians([moment, d, latitude])) for d in (dec, dec + 0.01)
        )
        right, up = (star_az - middle_az) * np.cos(middle_alt), star_alt - middle_alt
        bearing.append(np.degrees(np.arctan2(right, up)))
    seen = at(latitude_deg=latitude, hour_angle_deg=float(hour), dec_deg=dec)
    clockwise = (bearing[1] - bearing[0] + 180) % 360 - 180
    assert np.degrees(seen.smear_px / RADIUS_PX) == pytest.approx(abs(clockwise), rel=0.01)
    first, last = seen.trails_px[0][[0, -1]]
    drawn = -np.degrees(np.arctan2(np.cross([*first, 0], [*last, 0])[2], first @ last))
    assert drawn == pytest.approx(figure.EXAGGERATION * clockwise, rel=0.01)


def test_trails_never_close_to_a_ring():
    """Derivation: 0.5° from the zenith the field turns by 24.7° in a minute, 494° where it is drawn 20 × too long."""
    seen = at(latitude_deg=30.2)
    assert np.degrees(seen.smear_px / RADIUS_PX) == pytest.approx(24.7, abs=0.3)
    angle = np.arctan2(*seen.trails_px.transpose(2, 0, 1)[::-1])
    turned = np.degrees(np.ptp(np.unwrap(angle, axis=1), axis=1))
    assert turned.max() < 330
    assert turned.max() > 200


# The guide star


def test_a_guide_star_lengthens_the_way_to_the_farthest_corner():
    """Derivation: 2° at 2.2560″ a pixel is 3192.7 px at 40°: corner at √(4445.8² + 3452.2²) = 5628.8 px."""
    seen = at(guide_deg=2.0)
    assert seen.radius_px == pytest.approx(5628.8, abs=0.5)
    np.testing.assert_allclose(seen.middle_px, [2445.8, 2052.2], atol=0.5)
    up, right = 2 * np.sin(np.radians(40)), 2 * np.cos(np.radians(40))  # in degrees, good to 0.1° on the sky
    altitude, azimuth = 68.3 + up, 180 + right / np.cos(np.radians(68.3 + up))
    rate = (
        OMEGA_DEG_H * np.cos(np.radians(52.4)) * -np.cos(np.radians(azimuth)) / np.cos(np.radians(altitude))
    )
    assert seen.rate_deg_h == pytest.approx(rate, rel=0.01)
    assert seen.longest_s == pytest.approx(1.5 / (np.radians(rate) / 3600 * 5628.8), rel=0.01)


def test_the_guide_stars_place_by_hand_and_by_a_rigid_turn():
    """Derivation: up is altitude; to the right of south is west. Rodrigues' rotation for a tilted axis."""
    alt, az = turning.beside(30.0, 180.0, 2.0, 90.0, **zenith_axis())
    assert (alt, az) == pytest.approx((32.0, 180.0))
    alt, az = turning.beside(0.0, 180.0, 2.0, 0.0, **zenith_axis())
    assert (alt, az) == pytest.approx((0.0, 182.0), abs=1e-9)
    star = pointing.direction(altitude_deg=50.0, azimuth_deg=120.0)
    axis = turn(celestial_pole(52.4), EAST, np.radians(0.5 * 37.6))
    up = axis - (axis @ star) * star
    up /= np.linalg.norm(up)
    towards = turn(
        up, star, np.radians(90 - 40)
    )  # right-handed about the line of sight: clockwise, to the right
    wanted = star * np.cos(np.radians(2)) + towards * np.sin(np.radians(2))
    alt, az = turning.beside(50.0, 120.0, 2.0, 40.0, **turning.axis_of(0.5, 52.4))
    np.testing.assert_allclose(pointing.direction(altitude_deg=alt, azimuth_deg=az), wanted, atol=1e-9)
    assert np.isnan(turning.beside(90.0, 0.0, 2.0, 40.0, **zenith_axis())[0])


def test_the_range_is_that_of_the_guide_stars_place_and_none_about_the_middle(panel):
    """Derivation: 638 px off in any direction, and 1.3 times that: the corner is 2,441 to 2,441 + 829 px away."""
    panel.reset()
    assert panel.result.longest_68_s is None
    assert "range" not in str(panel).splitlines()[0]
    panel.set(guide_deg=0.4)
    low, high = panel.result.longest_68_s
    assert low < panel.result.longest_s < high
    reach = panel.result.longest_s * panel.result.radius_px
    assert reach / (RADIUS_PX + 829) < low < high < reach / RADIUS_PX
    assert "68 % range" in str(panel).splitlines()[0]
    panel.reset()


# The map


def test_the_map_has_its_darkest_cell_at_the_axis_and_north_up_east_left():
    """Derivation: the rate grows without bound towards the axis; the table reads the same cells."""
    seen = at(axis_way=0.5, dec_deg=0.0)
    row, column = np.unravel_index(np.argmin(seen.map_s), seen.map_s.shape)
    x, y = ((np.array([column, row]) + 0.5) * 2 / turning.CELLS) - 1
    assert (x, y) == pytest.approx(figure.on_map(seen.axis_altitude_deg, 0.0), abs=0.02)
    np.testing.assert_allclose(figure.on_map(30, 90), [-2 / 3, 0], atol=1e-12)
    altitude, azimuth = turning.SKY
    assert azimuth[75, 5] == pytest.approx(90, abs=1)  # left of the middle is east
    assert azimuth[5, 75] == pytest.approx(180, abs=1)  # and below it south
    assert altitude[75, 5] == pytest.approx(90 * 10.5 / 150 * 1, abs=1)


def test_the_map_agrees_with_the_formula_and_is_longest_due_east_and_west():
    """Derivation: −Ω cos φ cos A / cos a and the arc, away from the line of no rotation."""
    seen, (altitude, azimuth) = at(), turning.SKY
    rate = OMEGA_DEG_H * np.cos(np.radians(52.4)) * np.cos(np.radians(azimuth)) / np.cos(np.radians(altitude))
    plain = 1.5 / (np.radians(np.abs(rate)) / 3600 * RADIUS_PX)
    far = (np.abs(np.cos(np.radians(azimuth))) > 0.3) & (altitude > 0)
    np.testing.assert_allclose(seen.map_s[far], plain[far], rtol=1e-6)
    above = np.where(altitude > 5, seen.map_s, 0.0)
    row, _ = np.unravel_index(np.argmax(above), above.shape)
    assert row in (turning.CELLS // 2 - 1, turning.CELLS // 2)


def test_the_view_is_outlined():
    """Derivation: the balcony's corners, azimuth 95° and 215°, 20° and 68° high, as points of the outline."""
    x, y = RIG.view
    for altitude, azimuth in ((20, 95.5), (20, 214.5), (68, 95.5), (68, 180), (20, 150)):
        px, py = figure.on_map(altitude, azimuth)
        assert np.nanmin(np.hypot(x - px, y - py)) < 1e-9
    assert np.nanmin(np.hypot(x - 0.5, y)) > 0.1  # nothing in the west
    closed = turning.view_line(horizon.mask([(0, 90)], ceiling_deg=90))
    assert np.isnan(closed).all()
    ring = turning.view_line(horizon.mask([(0, 30)], ceiling_deg=90))
    radius = np.hypot(*ring)
    np.testing.assert_allclose(np.unique(np.round(radius[~np.isnan(radius)], 9)), [0.0, round(2 / 3, 9)])


# The words


def test_below_the_horizon_and_on_the_axis_there_is_no_number(panel):
    panel.set(latitude_deg=-90.0)
    assert "no number" in str(panel)
    assert "below the horizon" in str(panel)
    panel.set(latitude_deg=0.0, dec_deg=0.0)
    assert "stands on the axis" in str(panel)
    panel.set(hour_angle_deg=2.0)  # a star that passes through the zenith from due east does not turn
    assert "not at all" in str(panel)
    panel.reset()
    assert "Short subs only" in str(panel)


def test_the_words_say_what_turns(panel):
    panel.reset()
    text = str(panel)
    assert text.startswith("Longest sub: 5.1 s (exact for 4000 × 2800 px; tolerance assumed).")
    assert "24.8°/h clockwise" in text
    assert "17.6 px" in text
    assert "farthest corner from the point it turns about | 2441 px" in text
    panel.set(axis_way=1.0)
    assert "Longest sub, more than: 3600 s" in str(panel)
    assert "not at all" in str(panel)
    panel.set(axis_way=0.96)
    assert "misaligned axis" in str(panel)
    panel.set(axis_way=0.0, hour_angle_deg=-62.0)
    assert "no limit here" in str(panel)
    panel.set(hour_angle_deg=-45.0)
    assert "Usable without a tilt" in str(panel)
    panel.reset()


def test_presets_go_to_the_other_hemisphere_the_equator_and_the_pole(panel):
    for words, rate in (("Swap hemisphere", -24.82), ("To the equator", -30.63), ("To the pole", 0.308)):
        panel.set(**panel.presets[words])
        assert panel.result.rate_deg_h == pytest.approx(rate, abs=0.01), words
    panel.reset()


def test_a_guide_star_beside_the_chip_zooms_out_and_back(panel):
    panel.reset()
    ax = panel._artists.frame.axes
    before = ax.get_xlim()
    panel.set(guide_deg=2.0)
    assert np.ptp(ax.get_xlim()) > np.ptp(before)
    assert ax.get_xlim()[0] < -2000 < 2445 < ax.get_xlim()[1]
    panel.reset()
    assert ax.get_xlim() == before


# The function of the lesson


def rate(*, altitude_deg, azimuth_deg, latitude_deg):
    a, az, lat = np.radians([altitude_deg, azimuth_deg, latitude_deg])
    return -15.041 * np.cos(lat) * np.cos(az) / np.cos(a)


def test_the_function_of_the_lesson(monkeypatch, tmp_path):
    """The folded solution passes; a blank, a sign, degrees taken as radians and sine for cosine are wrong."""
    lesson = lesson_of("02-turning-field", monkeypatch, tmp_path)
    assert lesson.answer("rate", rate).correct
    assert not lesson.answer("rate", lambda **_: None).correct
    radians = lesson.answer(
        "rate",
        lambda **k: (
            -15.041 * np.cos(k["latitude_deg"]) * np.cos(k["azimuth_deg"]) / np.cos(k["altitude_deg"])
        ),
    )
    assert not radians.correct
    assert "radians" in radians.text
    for wrong in (
        lambda **k: -rate(**k),
        lambda **k: 60 * rate(**k),
        lambda **k: rate(**(k | {"azimuth_deg": 90 - k["azimuth_deg"]})),
        lambda **k: rate(**k) * np.cos(np.radians(k["altitude_deg"])) ** 2,
        lambda **k: 1 / 0,
    ):
        assert not lesson.answer("rate", wrong).correct
    assert "sign" in lesson.answer("rate", lambda **k: -rate(**k)).text


def test_the_slips_of_the_angles_are_named(monkeypatch, tmp_path):
    """Radians, twice and half are said in words; the sign and 60 are planted for every lesson."""
    lesson = lesson_of("02-turning-field", monkeypatch, tmp_path)
    assert "radians" in lesson.answer("south", np.radians(-24.94)).text
    assert "gear error" in lesson.answer("focal length", 35.2).text
    assert "halves the field" in lesson.answer("focal length", 8.8).text
    assert not lesson.answer("equator", 4.216 / 57.3).correct
