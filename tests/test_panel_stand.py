"""Lesson 07: lever, trembling, tipping and gusts of the panel, and the questions; by hand, by scipy, by energy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation
from test_lesson_answers_planted import lesson_of

from workbook import passport
from workbook.figures import stand as figure
from workbook.panels import build_stand

STEM = "07-stiff-balanced-upright"
BALCONY = passport.scenario("balcony")
G = 9.80665
BAR_KG = 0.6615 * 0.3  # reference row MEC-03: 0.6615 kg/m of M12 by its stress area
BAR_MIDDLE_M = 0.18


@pytest.fixture(scope="module")
def shared():
    return build_stand(BALCONY)


@pytest.fixture
def panel(shared):
    shared.set(ranges=False, **{name: control.start for name, control in shared.controls.items()})
    return shared


def look(panel, **values):
    panel.set(ranges=False, **values)
    return panel.result


# The lever


@pytest.mark.parametrize(
    ("arm_mm", "weight_kg"), [(95.0, 1.4), (50.0, 0.7), (150.0, 2.8), (200.0, 5.0), (120.0, 1.0)]
)
def test_the_arm_is_in_balance_where_the_weight_stands(panel, arm_mm, weight_kg):
    """Source: equal moments with the bar of reference row MEC-03; 0.1 mm is what its last digit leaves."""
    seen = look(panel, load_arm_mm=arm_mm, counterweight_kg=weight_kg)
    place = brentq(lambda x: 2.6 * arm_mm * 1e-3 - BAR_KG * BAR_MIDDLE_M - weight_kg * x, -1, 3)
    assert seen.wanted_mm == pytest.approx(1e3 * place, abs=0.1)
    assert seen.bar_state == ("fits" if 0.03 <= place <= 0.33 else "short" if place > 0.33 else "close")
    assert seen.load_n_m == pytest.approx(2.6 * G * arm_mm * 1e-3)


@pytest.mark.parametrize(
    ("arm_mm", "weight_kg", "words"),
    [(250.0, 0.5, "Bar too short: 4.4 N·m"), (50.0, 5.0, "too heavy to come close enough: 0.5 N·m")],
)
def test_what_is_left_where_the_bar_ends(panel, arm_mm, weight_kg, words):
    """Derivation, by hand: 9.81 (2.6·0.25 − 0.198·0.18 − 0.5·0.33) = 4.41; 9.81 (5·0.03 − 0.13 + 0.0357) = 0.55 N·m."""
    seen = look(panel, load_arm_mm=arm_mm, counterweight_kg=weight_kg)
    stands = 0.33 if seen.bar_state == "short" else 0.03
    by_hand = G * (2.6 * arm_mm * 1e-3 - BAR_KG * BAR_MIDDLE_M - weight_kg * stands)
    assert seen.left_n_m == pytest.approx(by_hand, abs=2e-3)
    assert words in str(panel)
    # Level arm: the moment that is left is the amplitude of the primary curve, by the axis' altitude less.
    at_level = seen.primary_n_m[np.argmin(np.abs(seen.turn_deg))]
    assert abs(at_level) == pytest.approx(abs(by_hand) * math.cos(math.radians(52.4)), abs=2e-3)


def torque_by_energy(parts, angle_deg, about, tilt_deg):
    """Gravity's torque: the slope of the height of the turned parts, by scipy's turns."""
    upright = Rotation.from_rotvec([math.radians(tilt_deg), 0, 0])  # east-north-up, the axis leans north

    def energy(turn):
        total = 0.0
        for kilograms, forward, up, side, turns in parts:
            place = np.array([-side, 0.0, 0.0]) * 1e-3
            tube = Rotation.from_rotvec([-math.radians(turn if about == "secondary" else 30.0), 0, 0])
            lever = np.array([0.0, -forward, up]) * 1e-3
            if turns:  # with the tube: forward across the axis, away from the pole's side, and up along it
                place = place + tube.apply(lever)
            spun = Rotation.from_rotvec([0, 0, math.radians(turn if about == "primary" else 0.0)]).apply(
                place
            )
            total += kilograms * G * upright.inv().apply(spun)[2]
        return total

    h = 1e-3
    return -(energy(angle_deg + h) - energy(angle_deg - h)) / math.radians(2 * h)


def test_curves_are_the_slope_of_the_energy(panel):
    """Source: scipy's turns of the masses: guide telescope 0.4 kg 80 mm up, cable 0.15 kg 210 mm back."""
    seen = look(panel, cable=True)
    place = seen.stands_mm
    parts = [
        (2.6 - 0.4 - 0.15, 0, 0, 95, True),
        (0.4, 0, 80, 95, True),
        (0.15, -210, 0, 95, True),
        (1.4, 0, 0, -place, False),
        (BAR_KG, 0, 0, -180, False),
    ]
    lean = 90.0 - 52.4
    for about, found in (("primary", seen.primary_n_m), ("secondary", seen.secondary_n_m)):
        wanted = [torque_by_energy(parts, turn, about, lean) for turn in seen.turn_deg]
        assert np.abs(wanted).max() > 0.2
        np.testing.assert_allclose(found, wanted, atol=2e-3)


# Trembling


def inertia_about(height_m, *, arm_m, weight_kg, place_m):
    """Masses about a point so far below the axes, by adding them up: the rod in a thousand slices."""
    slices = np.linspace(0.03, 0.33, 1001)[:-1] + 0.00015
    about_axis = 2.6 * arm_m**2 + weight_kg * place_m**2 + BAR_KG * np.mean(slices**2)
    return about_axis + (2.6 + weight_kg + BAR_KG + 1.3) * height_m**2


def last_above(stiffness, inertia, damping):
    """A damped swing followed in time: when its last excursion above a sixtieth ends."""
    omega = math.sqrt(stiffness / inertia)
    swing = solve_ivp(
        lambda _, y: [y[1], -2.0 * damping * omega * y[1] - omega**2 * y[0]],
        (0.0, 30.0), [1.0, 0.0], max_step=0.01, rtol=1e-8, atol=1e-10,
    )  # fmt: skip
    return swing.t[np.abs(swing.y[0]) > 1.0 / 60.0][-1], math.pi / omega


@pytest.mark.parametrize(
    ("values", "lift_m", "soft"),
    [
        ({}, 0.0, 0.0),
        ({"counterweight_kg": 2.8}, 0.0, 0.0),
        ({"counterweight_kg": 0.7}, 0.0, 0.0),
        ({"load_arm_mm": 150.0}, 0.0, 0.0),
        ({"column_mm": 300}, 0.3, 0.3 / 1491.0),
        ({"column_mm": 400, "leveller": True}, 0.46, 0.4 / 1491.0 + 1.0 / 2000.0),
    ],
)
def test_trembling_of_a_swing_followed_in_time(panel, values, lift_m, soft):
    """Source: scipy's integration of the damped swing; the masses added up about the spring that 6 Hz and 500 N·m/rad
    demand; the column as an aluminium tube of 32/28 mm, E I = 70 GPa · π/64 (32⁴ − 28⁴) mm⁴ = 1491 N·m². The
    envelope leads the last excursion by half a swing at most.
    """
    own = {"arm_m": 0.095, "weight_kg": 1.4, "place_m": (2.6 * 95 - BAR_KG * 180) / 1400}
    wanted = 500.0 / (2.0 * math.pi * 6.0) ** 2
    height = brentq(lambda h: inertia_about(h, **own) - wanted, 0.0, 1.0)
    assert height == pytest.approx(0.23, abs=0.005)  # as the lesson says
    seen = look(panel, **values)
    now = {
        "arm_m": 1e-3 * seen.load_arm_mm,
        "weight_kg": seen.counterweight_kg,
        "place_m": (2.6 * seen.load_arm_mm - BAR_KG * 180) / (1e3 * seen.counterweight_kg),
    }
    stiffness = 1.0 / (1.0 / 500.0 + soft)
    inertia = inertia_about(height + lift_m, **now)
    assert seen.frequency_hz == pytest.approx(math.sqrt(stiffness / inertia) / (2.0 * math.pi), rel=2e-3)
    ends, half_swing = last_above(stiffness, inertia, 0.03)
    assert 0.0 <= seen.settle_s - ends <= 1.05 * half_swing


def test_heavier_and_higher_tremble_longer(panel):
    """What the lesson claims, in the order in which it claims it."""
    start = look(panel).settle_s
    assert start < look(panel, counterweight_kg=2.8).settle_s < look(panel, counterweight_kg=5.0).settle_s
    panel.set(ranges=False, counterweight_kg=1.4)
    times = [look(panel, column_mm=mm).settle_s for mm in (0, 100, 200, 300, 400)]
    assert (np.diff(times) > 1.0).all()


def test_twice_the_weight_trembles_six_to_nine_percent_longer(panel):
    """Derivation: J = k/ω² = M h² + I; the weight that balances at half its arm adds to M and takes from I. 4,000
    rigs by the spreads of the passport, all by hand; the frequency alone counts, since damping stays as it is.
    """
    drawn = BALCONY.draw(4000, 1)
    load, arm, weight, hertz, stiff = (
        drawn[f"stand.{key}"]
        for key in ("load_kg", "load_arm_mm", "counterweight_kg", "frequency_hz", "stiffness_n_m_rad")
    )
    arm = 1e-3 * arm
    moment = load * arm - BAR_KG * BAR_MIDDLE_M
    bar = BAR_KG * (BAR_MIDDLE_M**2 + 0.3**2 / 12.0)
    single, double = (load * arm**2 + bar + moment**2 / kilograms for kilograms in (weight, 2.0 * weight))
    mass = load + weight + BAR_KG + 1.3
    inertia = stiff / (2.0 * np.pi * hertz) ** 2
    longer = np.sqrt(((mass + weight) / mass * np.maximum(inertia - single, 0.0) + double) / inertia)
    low, high = np.percentile(longer, (16, 84))
    assert (round(100 * low), round(100 * high)) == (106, 109)
    start = look(panel).settle_s
    # the centre of the passport against the middle of the drawn rigs: 1 %
    assert look(panel, counterweight_kg=2.8).settle_s / start == pytest.approx(np.median(longer), abs=0.01)


def test_a_stand_whose_tap_says_less_than_its_weights_keeps_its_frequency():
    """Derivation: at 20 Hz the inertia is 0.032 kg·m², less than that of load and weight: no room for a height."""
    stiff = build_stand(BALCONY.replace({"stand.frequency_hz": 20.0}))
    assert stiff.result.frequency_hz == pytest.approx(20.0)
    assert look(stiff, counterweight_kg=5.0).frequency_hz > 0


# Tipping


@pytest.mark.parametrize("turn", [0, 15, 40, 60])
@pytest.mark.parametrize(
    "values",
    [{}, {"counterweight_kg": 4.0}, {"load_arm_mm": 250.0}, {"load_arm_mm": 250.0, "counterweight_kg": 0.5}],
)
def test_distances_to_the_hull_of_the_feet(panel, turn, values):
    """Source: scipy's convex hull of three feet; the centre of mass by adding up masses, the head 85 mm along an axis
    that leans at 52.4°, what is not in balance beside it by its moment.
    """
    seen = look(panel, leg_turn_deg=turn, **values)
    head = 2.6 + seen.counterweight_kg + BAR_KG + 1.3
    total = head + 9.5 - (2.6 + 1.4 + BAR_KG + 1.3)
    out = head * 0.085 * math.cos(math.radians(52.4)) / total
    beside = abs(
        2.6 * seen.load_arm_mm * 1e-3 - BAR_KG * BAR_MIDDLE_M - seen.counterweight_kg * 1e-3 * seen.stands_mm
    )
    beside /= total
    angles = np.radians([turn, turn + 120, turn + 240])
    hull = ConvexHull(0.42 * np.stack([np.sin(angles), np.cos(angles)], axis=1)).equations
    sides = [-(hull[:, :2] @ [side * beside, out] + hull[:, 2]) for side in (1.0, -1.0)]
    worst = min(sides, key=np.min)
    assert seen.total_kg == pytest.approx(total, abs=1e-3)
    assert seen.steady.margin_m == pytest.approx(worst.min(), abs=2e-4)
    np.testing.assert_allclose(np.sort(seen.distances_m), np.sort(worst), atol=2e-4)
    by_hand = total * G * worst.min() / 1.15  # moments about that line, a push at the axes
    assert seen.steady.push_n == pytest.approx(by_hand, abs=0.02)


def test_the_centre_of_mass_is_that_of_the_passport_and_rises_with_the_column(panel):
    """Derivation: 5.5 kg lifted by 300 mm, and 0.15 kg of tube in the middle of the lift."""
    seen = look(panel)
    assert (seen.total_kg, seen.centre_m) == (pytest.approx(9.5), pytest.approx(0.95))
    hinge = 1.15 - 0.085 * math.sin(math.radians(52.4))
    raised = (9.5 * 0.95 + (2.6 + 1.4 + BAR_KG + 1.3) * 0.3 + 0.153 * (hinge + 0.15)) / 9.653
    assert look(panel, column_mm=300).centre_m == pytest.approx(raised, abs=1e-3)


def test_the_wind_that_tips_it(panel):
    """Source: reference row MEC-15, 39.2 Pa at 8 m/s on each square metre, times 1.2; moments by hand about the
    weakest side: tube 0.03 m² and head 0.02 m² at the axes, three legs 25 mm wide from there to their feet.
    """
    seen = look(panel)
    legs = 3 * 0.025 * math.hypot(1.15, 0.42) * 1.15 / 2
    at_8 = 39.2 * 1.2 * (0.05 * 1.15 + legs)
    by_hand = 8.0 * math.sqrt(9.5 * G * seen.steady.margin_m / at_8)
    assert seen.tips_m_s == pytest.approx(by_hand, rel=1e-3)  # half a digit of 39.2 Pa
    assert 8.0 < look(panel, column_mm=300).tips_m_s < by_hand
    raised = 39.2 * 1.2 * (0.05 * 1.45 + legs + 0.032 * 0.3 * 1.3)
    wanted = 8.0 * math.sqrt(panel.result.total_kg * G * panel.result.steady.margin_m / raised)
    assert panel.result.tips_m_s == pytest.approx(wanted, rel=1e-3)
    panel.set(column_mm=0)
    low, high = panel.result.ranges_68[5]
    # relative: half of margin 0.0065/0.195; area 0.0045 m² and 30 % of the rest, each by its part of the moment
    parts = math.hypot(0.0045 * 1.15, 0.3 * (0.02 * 1.15 + legs)) / (0.05 * 1.15 + legs)
    assert (high - low) / 2 / seen.tips_m_s == pytest.approx(0.5 * math.hypot(parts, 0.0065 / 0.195), rel=0.2)


@pytest.mark.parametrize("latitude", [52.4, -34.0])
@pytest.mark.parametrize(
    "values",
    [{}, {"counterweight_kg": 4.0}, {"load_arm_mm": 250.0}, {"load_arm_mm": 250.0, "counterweight_kg": 0.5}],
)
def test_the_best_leg_is_that_of_every_direction_tried(latitude, values):
    """Source: scipy's convex hull of three feet, turned in steps of 1°, the arm level on its worse side."""
    panel = build_stand(BALCONY.replace({"site.latitude_deg": latitude}))
    seen = look(panel, **values)
    tried = []
    for turn in range(120):
        angles = np.radians([turn, turn + 120, turn + 240])
        hull = ConvexHull(0.42 * np.stack([np.sin(angles), np.cos(angles)], axis=1)).equations
        lean = math.copysign(seen.out_m, latitude)  # north counts
        sides = [-(hull[:, :2] @ [side * seen.beside_m, lean] + hull[:, 2]) for side in (1.0, -1.0)]
        tried.append(np.min(sides))
    assert seen.best_margin_m == pytest.approx(max(tried), abs=2e-4)
    assert tried[round(seen.best_leg_deg) % 120] == pytest.approx(max(tried), abs=1e-9)
    if seen.beside_m < 1e-9:
        assert seen.best_leg_deg == (0.0 if latitude > 0 else 180.0)  # under the overhang, towards the pole


def test_a_passport_without_legs_is_refused():
    """Derivation: 2.6 + 1.4 + 0.2 + 1.3 kg stand above the legs."""
    with pytest.raises(ValueError, match=r"stand.total_kg is 5 kg, .* weigh 6.0 kg"):
        build_stand(BALCONY.replace({"stand.total_kg": 5.0}))
    barely = build_stand(BALCONY.replace({"stand.total_kg": 6.1}))
    assert barely.result.ranges_68 is not None


def test_a_stand_that_falls_says_so():
    narrow = build_stand(BALCONY.replace({"stand.foot_circle_m": 0.1, "site.latitude_deg": 1.3}))
    narrow.set(ranges=False, load_arm_mm=250.0, counterweight_kg=0.5)
    assert narrow.result.steady.margin_m < 0
    assert "falls over by itself" in str(narrow)


# Wind


def test_subs_kept_in_gusts_that_come_at_random(panel):
    """Source: a simulation of gusts at random times and of even peaks; 40,000 subs are good to 0.002, four allowed."""
    rng = np.random.default_rng(11)
    for wind, (steady, peak, often) in {
        "this night": (2, 6, 8),
        "open field": (4, 9, 25),
        "windbreak": (1, 3, 8),
    }.items():
        hours = 40000 * 100.0 / 3600.0  # a sub of 30 s at random in every 100 s
        times = np.sort(rng.uniform(0, hours * 3600, rng.poisson(often * hours)))
        gusts = rng.uniform(steady, peak, times.size)
        pull = 0.5 * 1.225 * 1.2 * 0.03 * 0.1 * (gusts**2 - steady**2) / 500.0
        bad = times[206264.8 * pull > 1.5 * 206.2648 * 3.5 / 320]
        starts = 100.0 * np.arange(40000) + rng.uniform(0, 60, 40000)
        hit = np.searchsorted(bad, starts + 30.0) > np.searchsorted(bad, starts - 5.0)
        assert look(panel, wind=wind).wind_yield == pytest.approx(1.0 - hit.mean(), abs=0.008)


def test_the_band_is_the_moment_of_the_strongest_gust(panel):
    """Source: reference row MEC-15 (8 m/s are 39.2 Pa), scaled to 6 m/s, 1.2 · 0.03 m² · 0.1 m."""
    assert look(panel).gust_n_m == pytest.approx(39.2 * (6 / 8) ** 2 * 1.2 * 0.03 * 0.1, rel=1e-3)
    assert look(panel, wind="still air").gust_n_m == 0.0
    assert panel.result.wind_yield == 1.0


# Ranges


def test_ranges_are_those_of_the_spreads(panel):
    """Derivation: relative spreads in quadrature; 500 draws leave 8 % of a half-width, 20 % are allowed."""
    panel.refresh()
    settle, margin, place, *_ = (np.array(ends) for ends in panel.result.ranges_68)
    assert np.ptp(margin) / 2 == pytest.approx(0.0065, rel=0.2)
    off = 247 / 1.4 * math.hypot(0.08 / 2.6, 5 / 95), 151 * 0.03 / 1.4
    assert np.ptp(place) / 2 == pytest.approx(math.hypot(*off), rel=0.2)
    assert np.ptp(np.log(settle)) / 2 == pytest.approx(math.hypot(0.9 / 6, 0.0075 / 0.03), rel=0.2)
    assert settle[0] < panel.result.settle_s < settle[1]
    panel.set(column_mm=200, counterweight_kg=2.0)
    assert panel.result.ranges_68[0][0] < panel.result.settle_s < panel.result.ranges_68[0][1]
    assert panel.result.ranges_68[2][0] < panel.result.wanted_mm < panel.result.ranges_68[2][1]


def test_the_place_without_the_bar_and_its_range():
    """Derivation, as the lesson says: 2.6 · 95/1.4 = 176 mm; three spreads in quadrature, 166 to 188."""
    relative = math.hypot(0.08 / 2.6, 5.0 / 95.0, 0.03 / 1.4)
    drawn = BALCONY.draw(4000, 1)
    places = drawn["stand.load_kg"] * drawn["stand.load_arm_mm"] / drawn["stand.counterweight_kg"]
    low, middle, high = np.percentile(places, (16, 50, 84))
    assert middle == pytest.approx(176.4, abs=1.0)
    assert (high - low) / 2.0 == pytest.approx(176.4 * relative, rel=0.06)
    assert (round(low), round(high)) == (166, 188)


# Words, picture, guess


def test_what_the_panel_says(panel):
    assert "less than a careless elbow: tether it" in str(panel)
    assert "mm (140 to 161). A push" in str(panel.refresh() or panel)
    look(panel, counterweight_kg=5.0)
    assert "21 N at the axes tips it, as a careless elbow may: tether it" in str(panel)
    heavy = build_stand(BALCONY.replace({"stand.total_kg": 40.0, "stand.centre_of_mass_m": 0.5}))
    assert "careless elbow" not in str(heavy)
    assert "measured frequency" in str(build_stand(passport.scenario("southern-club")))


@pytest.mark.parametrize("values", [{}, {"column_mm": 400, "leveller": True}, {"load_arm_mm": 250.0}])
def test_the_rig_is_drawn_to_scale_and_inside_its_frame(panel, values):
    """Derivation: axes at 1.15 m and higher by the lift, load and weight at their arms, feet on the circle."""
    seen = look(panel, **values)
    art = panel._artists
    top = np.array([art.hinge.get_xdata()[1], art.hinge.get_ydata()[1]])
    assert top[1] == pytest.approx(1.15 + seen.column_m + seen.leveller_m)
    assert np.hypot(*np.diff(art.arm.get_data())) == pytest.approx(1e-3 * seen.load_arm_mm)
    assert np.hypot(*(art.hung.get_xy()[:-1].mean(axis=0) - top)) == pytest.approx(1e-3 * seen.stands_mm)
    assert art.tube.get_xy()[:, 1].max() < art.hinge.axes.get_ylim()[1] - 0.12  # clear of the words above
    feet = np.array(art.feet.get_data())
    np.testing.assert_allclose(np.hypot(*feet), 0.42)
    assert feet[1, 0] == pytest.approx(max(feet[1]))  # a leg towards the pole


@pytest.mark.parametrize(("guess", "drawn"), [(30.0, 30.0), (200.0, 200.0), (900.0, 372.0)])
def test_the_guess_is_a_weight_on_the_bar(panel, guess, drawn):
    panel.ghost = guess
    try:
        assert panel._artists.ghost.get_xy()[:-1, 0].mean() == pytest.approx(drawn)
        assert panel._artists.ghost.get_visible()
    finally:
        panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_description_and_table_hold_the_numbers(panel):
    seen = look(panel, counterweight_kg=2.0)
    rows = {row[0]: row[1] for row in figure.table(seen)}
    assert rows["weight balances at"] == f"{seen.wanted_mm:.0f} mm"
    assert rows["tip margin, weakest side"] == f"{1e3 * seen.steady.margin_m:.0f} mm"
    assert f"{seen.stands_mm:.0f} mm from the axis" in figure.describe(seen)
    panel.set(counterweight_kg=1.4)
    rows = {row[0]: row[1:] for row in figure.table(panel.result)}
    assert rows["steady wind that tips it (head and legs assumed)"] == ("15 m/s", "14 to 17 m/s")
    assert rows["tip margin with a leg due north (0°), the best"] == ("195 mm", "187 to 201 mm")
    assert (
        "wind of 15 m/s (14 to 17) tips it. Best points a leg due north (0°): then 195 mm (187" in panel.alt
    )
    look(panel, load_arm_mm=250.0, counterweight_kg=0.5)
    assert "end of its bar" in panel.alt
    look(panel, load_arm_mm=50.0, counterweight_kg=5.0)
    assert "too much" in panel.alt


# The notebook


def right(*, load_kg, load_arm_mm, counterweight_kg, bar_kg, bar_centre_mm):
    return (load_kg * load_arm_mm - bar_kg * bar_centre_mm) / counterweight_kg


def test_the_function_gives_the_published_seesaw(monkeypatch, tmp_path):
    """Source: OpenStax College Physics, problem 9.5 (example 9.1 with a plank of 12.0 kg, its centre 0.160 m to the
    lighter child's side): 26.0 kg at 1.60 m hold 32.0 kg at 1.36 m; half a digit of 1.36 m is 6 mm.
    """
    published = {
        "load_kg": 32,
        "load_arm_mm": 1360,
        "counterweight_kg": 26,
        "bar_kg": 12,
        "bar_centre_mm": 160,
    }
    assert right(**published) == pytest.approx(1600, abs=7)
    lesson = lesson_of(STEM, monkeypatch, tmp_path)
    feedback = lesson.answer("place", right)
    assert feedback.correct
    assert "OpenStax" in feedback.text
    for wrong in (
        lambda **k: right(**(k | {"bar_kg": 0.0})),
        lambda **k: right(**(k | {"bar_kg": -k["bar_kg"]})),
        lambda **k: -right(**k),
        lambda **k: 9.81 * right(**k),
        lambda **k: None,
    ):
        assert not lesson.answer("place", wrong).correct


@pytest.mark.parametrize(
    ("name", "wrong", "words"),
    [
        ("faded", (3.0 * 110 + 0.2 * 180) / 2, "subtracted"),
        ("faded", 3.0 * 110 / 2, "left out"),
        ("settle", math.log(60) / (4 * 0.05), "2π"),
        ("settle", math.log10(60) / (2 * math.pi * 4 * 0.05), "base ten"),
        ("overhang", 60 * math.cos(40), "radians"),
        ("overhang", 100 * math.cos(math.radians(40)), "head alone"),
    ],
)
def test_slips_are_named(name, wrong, words, monkeypatch, tmp_path):
    """Derivation: each slip carried out."""
    feedback = lesson_of(STEM, monkeypatch, tmp_path).answer(name, wrong)
    assert not feedback.correct
    assert words in feedback.text
