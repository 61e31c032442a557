"""The field card: its words against the verdict, its signs against a turning sky, its order against gravity."""

from __future__ import annotations

import re
from collections import Counter
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from workbook import nine_stars, passport, verdict
from workbook.figures import fieldcard, look
from workbook.panels import build_stand
from workbook.passport.schema import Entry
from workbook.plan.card import field_card
from workbook.plan.card_pole import star_azimuths_deg
from workbook.plan.card_rules import safety_lines
from workbook.plan.card_stand import build_up, first_part
from workbook.plan.stand_parts import elbow_words

OPEN = ((0, 0), (360, 0))
RATE_ARCSEC_MIN = 15.041067 * 60.0  # sidereal rate, IERS Conventions 2010
CASES = {
    "balcony": ("balcony", {}),
    "island-traveller": ("island-traveller", {}),
    "southern-club": ("southern-club", {}),
    "near-equator": ("near-equator", {}),
    "school": ("school", {"zone": "Europe/Paris"}),
    "balcony alt-az guided": ("balcony", {"mode": "alt-az", "guided": True}),
    "southern-club alt-az": ("southern-club", {"mode": "alt-az"}),
    "no darkness": ("balcony", {"target": "M 13", "date": date(2026, 6, 21)}),
    "no view": ("balcony", {"target": "M 81"}),
    "clocks change": ("balcony", {"date": date(2026, 10, 24), "zone": "Europe/Berlin"}),
}
_made: dict = {}


def made(case):
    if case not in _made:
        name, how = CASES[case]
        _made[case] = field_card(passport.scenario(name), **how)
    return _made[case]


@pytest.fixture
def few_draws(monkeypatch):
    """Half of a card's time goes into the range of its sub; for cards of their own, read for other words."""
    monkeypatch.setattr("workbook.plan.card.SUB_DRAWS", 4)


def page_of(card, look_=look.LIGHT):
    page = fieldcard.create(fieldcard.new_page(), look_)
    fieldcard.draw(page, card)
    FigureCanvasAgg(page.figure)
    return page


def line(card, section, label):
    return next(one for one in card.section(section).lines if one.label == label)


def steps(card, title):
    return " ".join(one.text for one in card.section(title).lines)


# Words against the verdict


@pytest.mark.parametrize("case", ["balcony", "southern-club", "balcony alt-az guided"])
def test_sub_and_hours_are_those_of_verdict_and_ribbon(case):
    """The hours by another route, the ribbon's coarser sum: within 3 % and half a printed digit."""
    name, how = CASES[case]
    how = {key: value for key, value in how.items() if key in ("mode", "guided")}
    rig, card = passport.scenario(name), made(case)
    answer, shown = verdict.verdict(rig, draws=0, **how), verdict.ribbon(rig, draws=0, **how)
    _, sub, kept, finished = card.keys
    assert float(sub.value.split()[0]) == pytest.approx(answer.best_sub_s, rel=0.02)
    low, high = (float(end) for end in re.findall(r"[\d.]+", sub.range_text))
    assert low < answer.best_sub_s < high
    for key, coarse_h in ((kept, shown.kept_h), (finished, shown.finished_h)):
        half_digit_h = in_h(f"0.05 {key.value.split()[1]}")
        assert in_h(key.value) == pytest.approx(coarse_h, rel=0.03, abs=half_digit_h + 0.03 * coarse_h)
    for key in (kept, finished):
        low, high = re.fullmatch(r"\((.*) to (.*)\)", key.range_text).groups()
        high_h = in_h(high)
        low_h = in_h(low if " " in low else f"{low} {high.split()[1]}")
        assert low_h < high_h
        assert low_h * 0.9 < in_h(key.value) < high_h * 1.1
    ends = [answer.usable_low_s, answer.usable_high_s]
    said = re.match(r"([\d.]+) s \(.*?\) to ([\d.]+) s \(", line(card, "How long", "Subs").text).groups()
    np.testing.assert_allclose([float(end) for end in said], ends, rtol=0.02)


def in_h(words):
    value, unit = words.split()
    return float(value) / {"h": 1.0, "min": 60.0, "s": 3600.0}[unit]


def test_clear_of_the_stand_the_hours_are_the_verdicts():
    """With a stand thin as a needle nothing meets it: kept and finished hours are `verdict`'s, to their digits."""
    rig = passport.scenario("southern-club").replace({"stand.leg_outline_mm": ((1, 1000), (2, 1150))})
    answer, card = verdict.verdict(rig, draws=500), field_card(rig)
    assert in_h(card.keys[2].value) == pytest.approx(answer.kept_h, rel=0.02)
    assert in_h(card.keys[3].value) == pytest.approx(answer.finished_h, rel=0.02)
    low, high = re.findall(r"[\d.]+", card.keys[3].range_text)
    np.testing.assert_allclose([float(low) / 60, float(high) / 60], answer.finished_68_h, rtol=0.05)
    assert "Stand" not in [one.label for one in card.section("How long").lines]


def test_what_ends_the_night_and_when():
    card = made("island-traveller")
    shown = verdict.ribbon(passport.scenario("island-traveller"), draws=0)
    last = str(shown.times_utc[shown.usable][-1])[11:16]
    assert line(card, "When", "Ends").text == f"22:53, {shown.ended_by()}"
    assert abs(minute(last) - minute("22:53")) <= 1
    assert line(card, "Stop", "Stand").text == "22:53 to 00:36 and 01:50 to 03:13, the camera meets it"
    assert "above 82° the drive cannot follow" in line(card, "Stop", "Zenith").text


def minute(clock):
    return 60 * int(clock[:2]) + int(clock[3:5])


def test_the_pack_empties_when_watts_times_hours_are_used_up():
    """By hand: 96 Wh × 0.9 × 0.9 × 0.92 over 6 + 2 + 2 × 0.5 + 0.5 W are 7.53 h from the set-up."""
    card = made("balcony")
    began = re.search(r"from (\d\d:\d\d)", line(card, "When", "Set up").text).group(1)
    empty = re.match(r"empty (\d\d:\d\d)", line(card, "Stop", "Pack").text).group(1)
    after = (minute(empty) - minute(began)) % 1440
    assert after == pytest.approx(60.0 * 96 * 0.9 * 0.9 * 0.92 / 9.5, abs=1.5)


def test_refocus_times_are_those_of_the_cooling_tube(few_draws):
    warm = passport.scenario("balcony").replace({"night.air_start_degc": 18.0})
    found = nine_stars.next_refocus(warm)
    words = line(field_card(warm), "When", "Focus").text
    first, second, *_ = found.times_utc
    assert f"at dusk, again at {first:%H:%M}" in words
    assert f"{second:%H:%M}" in words
    assert f"each {found.after_k:.1f} K" in words


# Signs


@pytest.mark.parametrize(
    ("latitude", "horizon", "target"),
    [
        (52.4, None, "M 33"),
        (-34.0, OPEN, "NGC 253"),
        (1.3, OPEN, "M 33"),
        (-52.4, OPEN, "NGC 253"),
        (70.0, OPEN, "M 33"),
    ],
)
def test_the_sums_find_the_axis_and_the_words_bring_it_back(latitude, horizon, target, few_draws):
    """A head turned about a misaligned axis, with vectors of this test only; digits of the card allow 2.5′."""
    changes = {"site.latitude_deg": latitude} | (
        {"site.horizon_deg": horizon, "site.ceiling_deg": 90} if horizon else {}
    )
    rig = passport.scenario("balcony").replace(changes)
    card = field_card(rig, target=target, date=date(2026, 10, 10))
    words = steps(card, "Put the axis")
    phi = np.radians(latitude)
    pole = np.array([0.0, np.cos(phi), np.sin(phi)])
    stars = [
        towards(float(azimuth), float(high))
        for azimuth, high in re.findall(r"[AB]: azimuth (\d+)°, (\d+)° high", words)
    ]
    east_error, high_error = 24.0, -15.0  # ′ of the elevated end
    up = abs(phi) + np.radians(high_error / 60.0)
    side = np.radians(east_error / 60.0)
    elevated = np.array(
        [np.cos(up) * np.sin(side), np.sign(latitude) * np.cos(up) * np.cos(side), np.sin(up)]
    )
    axis = np.sign(latitude) * elevated
    drifts = [declination_drift(axis, pole, star) for star in stars]
    for name, error in (("too far east", east_error), ("too high", high_error)):
        a, b = coefficients(re.search(rf"{name} \[′\] = (.*)", words).group(1).split("\n")[0])
        tolerance = 2.5 if abs(latitude) < 60 else 4.0
        assert a * drifts[0] + b * drifts[1] == pytest.approx(error, abs=tolerance)
    # East is plus, so it must go west; and west is left or right as seen along the axis, up being up.
    right = np.cross(elevated, [0.0, 0.0, 1.0])
    hand = "left" if right[0] > 0 else "right"
    assert f"East plus: by the azimuth screw the upper end goes west ({hand}, looking along" in words
    assert "High plus: the upper end goes down; minus: up" in words
    assert f"Upper end to true {'north' if latitude > 0 else 'south'}, {abs(latitude):.1f}° high" in words


def towards(azimuth_deg, altitude_deg):
    azimuth, altitude = np.radians([azimuth_deg, altitude_deg])
    return np.array(
        [np.sin(azimuth) * np.cos(altitude), np.cos(azimuth) * np.cos(altitude), np.sin(altitude)]
    )


def declination_drift(axis, pole, star):
    """Northward drift [″/min] of a star that a drive about `axis` holds for a minute: both turns done in full."""
    turn = np.radians(RATE_ARCSEC_MIN / 3600.0)
    moved = rotated(rotated(star, pole, -turn), axis, turn)  # the sky goes on, the frame is carried along
    north = pole - (pole @ star) * star
    return np.degrees((moved - star) @ north / np.linalg.norm(north)) * 3600.0


def rotated(vector, about, angle):
    """Rodrigues' rotation."""
    along = (vector @ about) * about
    return along + np.cos(angle) * (vector - along) + np.sin(angle) * np.cross(about, vector)


def coefficients(words):
    a, sign, b = re.fullmatch(r"(−?[\d.]+) A ([+−]) ([\d.]+) B", words).groups()
    return float(a.replace("−", "-")), float(b) * (-1.0 if sign == "−" else 1.0)


def test_both_stars_stand_in_the_view_for_twenty_minutes():
    """The balcony's opening: azimuth 95 to 215°, 20 to 68° high; the sky turns 5° in twenty minutes."""
    words = steps(made("balcony"), "Put the axis")
    stars = re.findall(r"[AB]: azimuth (\d+)°, (\d+)° high", words)
    assert len(stars) == 2
    pole = np.array([0.0, np.cos(np.radians(52.4)), np.sin(np.radians(52.4))])
    for azimuth, high in stars:
        later = rotated(towards(float(azimuth), float(high)), pole, -np.radians(5.0))
        assert 95 <= float(azimuth) <= 215
        assert 94 <= np.degrees(np.arctan2(later[0], later[1])) % 360 <= 216
        assert 20 <= np.degrees(np.arcsin(later[2])) <= 68


def test_a_low_pole_and_a_pole_of_the_earth_have_a_line_of_their_own():
    assert "The pole stands only 1.3° above the horizon" in steps(made("near-equator"), "Put the axis")
    rig = passport.scenario("balcony").replace({"site.latitude_deg": -89.5, "site.horizon_deg": OPEN})
    card = field_card(rig, target="NGC 253", date=date(2026, 6, 21))
    assert "Within 2° of a pole of the Earth" in steps(card, "Put the axis on the south pole")


def test_on_the_equator_a_pole_is_chosen(few_draws):
    rig = passport.scenario("balcony").replace({"site.latitude_deg": 0.0, "site.horizon_deg": OPEN})
    assert "Upper end to true north, 0.0° high" in steps(field_card(rig), "Put the axis")


def test_the_pole_star_of_the_south_is_told_only_where_the_pole_is_seen():
    assert "sigma Octantis (5.5 mag)" in steps(made("southern-club"), "Put the axis")
    assert "Polaris" not in steps(made("balcony"), "Put the axis")


@pytest.mark.parametrize(
    ("case", "hand", "way"),
    [
        ("balcony", "right", "south"),
        ("southern-club", "left", "north"),
        ("island-traveller", "left", "south"),
    ],
)
def test_the_hand_on_which_the_tube_hangs(case, hand, way):
    """Looking north, east is at the right hand; looking south, at the left: the hand of a vector product."""
    words = line(made(case), "When", "Tube").text
    side = words.split()[0]
    ahead = np.array([0.0, 1.0 if way == "north" else -1.0, 0.0])
    east_is_right = np.cross(ahead, [0, 0, 1.0])[0] > 0
    assert (side == "east") == (east_is_right == (hand == "right"))
    assert words.startswith(f"{side} of the axis ({hand}, looking {way})")


def test_alt_az_has_stars_and_no_screws():
    words = steps(made("island-traveller"), "Start the go-to")
    assert "screw" not in words
    assert "Enter 30.0° N, 16.0° W" in words
    first, second = star_azimuths_deg(passport.scenario("island-traveller"))
    assert abs((second - first + 180) % 360 - 180) == pytest.approx(90, abs=1e-9)
    assert f"near azimuth {first:.0f}° and {second:.0f}°" in words
    # Without stars a lean of 1° to the east misses a star at azimuth 180°, 45° high, by 1° × sin 45°: 42′.
    assert "misses by 42′" in words


def test_a_wall_on_all_sides_leaves_no_stars():
    closed = passport.scenario("balcony").replace({"site.horizon_deg": ((0, 90), (360, 90))})
    assert star_azimuths_deg(closed) is None
    card = field_card(closed)
    assert "Your view holds no two directions" in steps(card, "Put the axis")
    assert card.reason.startswith("the target never stands inside the horizon mask")


# The order of setting up


def test_one_side_alone_turns_with_the_slope_of_its_height():
    """Torque = dU/dθ, by finite differences of the height of load, bar and weight on a tilted axis."""
    rig = passport.scenario("balcony").central()
    built = build_up(rig, mode="tilted")
    phi = np.radians(52.4)
    axis = np.array([0.0, np.cos(phi), np.sin(phi)])
    arm = rig["stand.load_arm_mm"] * 1e-3

    def energy(angle):
        return rig["stand.load_kg"] * 9.80665 * arm * rotated(np.array([1.0, 0.0, 0.0]), axis, angle)[2]

    angles = np.linspace(-np.pi, np.pi, 2001)
    slope = np.gradient([energy(angle) for angle in angles], angles)
    assert built.alone_n_m == pytest.approx(np.abs(slope).max(), rel=1e-4)
    assert build_up(rig, mode="alt-az").alone_n_m == 0.0


@pytest.mark.parametrize("mode", ["tilted", "alt-az"])
def test_the_half_built_rig_stands_by_the_margin_of_its_centre_of_mass(mode):
    """Masses laid out in space by this test, and the distance of a point from the sides of a triangle."""
    rig = passport.scenario("balcony").central()
    built = build_up(rig, mode=mode)
    phi = np.radians(52.4) if mode == "tilted" else np.pi / 2
    bar_kg = 0.300 * 7850 * np.pi * (0.5e-3 * 10.36) ** 2  # M12: stress area 84.3 mm², ISO 898-1
    weight_m = 1e-3 * float(built.weight_mm)
    axis = np.array([0.0, np.cos(phi), np.sin(phi)])
    down = np.array([0.0, np.sin(phi), -np.cos(phi)]) if mode == "tilted" else np.array([0.0, 1.0, 0.0])
    hinge = 0.085 * axis
    parts = [(1.3, hinge), (1.4, hinge + weight_m * down), (bar_kg, hinge + 0.180 * down)]
    base_kg = 9.5 - 2.6 - 1.4 - bar_kg - 1.3
    centre = sum(mass * place for mass, place in parts) / (base_kg + sum(mass for mass, _ in parts))
    for first, expected in ((0.0, built.weight_margin_mm), (60.0, built.gap_margin_mm)):
        first = 60.0 if mode == "alt-az" else first
        turns = np.radians(first + np.array([0.0, 120.0, 240.0]))
        feet = 0.42 * np.stack([np.sin(turns), np.cos(turns)], axis=1)
        assert 1e3 * inside(centre[:2], feet) == pytest.approx(float(expected), abs=0.5)
    if mode == "tilted":
        assert built.weight_margin_mm > built.gap_margin_mm


def inside(point, corners):
    """Distance to the nearest side of a triangle, positive inside."""
    distances = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.linalg.norm(end - start)
        inward = np.array([-along[1], along[0]])
        inward = inward if inward @ (-start) > 0 else -inward
        distances.append((point - start) @ inward)
    return min(distances)


def test_the_counterweight_balances_load_and_bar():
    """By hand, 2.6 kg × 95 mm = 0.199 kg × 180 mm + 1.4 kg × 151 mm (steel bar of 84.3 mm² and 300 mm)."""
    built = build_up(passport.scenario("balcony").central(), mode="tilted")
    bar_kg = 84.3e-6 * 0.3 * 7850
    assert 1.4 * built.weight_mm + bar_kg * 180 == pytest.approx(2.6 * 95, rel=0.01)


@pytest.mark.parametrize(
    ("name", "mode", "first", "words"),
    [
        ("balcony", "tilted", "counterweight", "Counterweight first, bar straight down"),
        ("southern-club", "tilted", "counterweight", "one to the south"),
        ("island-traveller", "alt-az", "either", "about an upright axis nothing swings"),
        ("near-equator", "tilted", "neither", "keep the bar level and hold it till both are on"),
    ],
)
def test_what_goes_on_first(name, mode, first, words):
    built = build_up(passport.scenario(name).central(), mode=mode)
    assert first_part(built, mode=mode) == first
    assert words in steps(made(name), "Set up")


def test_near_the_equator_the_hanging_bar_runs_into_the_leg():
    """Straight down from an axis 85 mm out, 330 mm long; there the stand is 110 mm + 2 mm wide: 27 mm too little."""
    built = build_up(passport.scenario("near-equator").central(), mode="tilted")
    assert built.bar_gap_mm < 0
    assert build_up(passport.scenario("balcony").central(), mode="tilted").bar_gap_mm > 40


def test_without_a_counterweight_and_with_a_light_stand(few_draws):
    rig = passport.scenario("balcony").replace({"stand.counterweight_kg": 0.0})
    built = build_up(rig.central(), mode="tilted")
    assert first_part(built, mode="tilted") == "no counterweight"
    assert built.left_n_m == pytest.approx(2.6 * 9.80665 * 0.095 * np.cos(np.radians(52.4)), rel=1e-9)
    assert "no counterweight holds it: 1.5 N·m" in steps(field_card(rig), "Set up")
    narrow = passport.scenario("island-traveller").replace({"stand.foot_circle_m": 0.06})
    small = build_up(narrow.central(), mode="alt-az")
    assert first_part(small, mode="alt-az") in ("counterweight", "telescope", "neither")
    assert (small.weight_margin_mm <= 0.0) or (small.tube_margin_mm <= 0.0)


@pytest.mark.parametrize(("back_mm", "said"), [(210, "0.2 N·m"), (612, "0.6 N·m")])
def test_what_100_g_at_the_camera_end_do(back_mm, said):
    """By hand: 0.1 kg · 9.80665 m/s² (CGPM 1901) times the camera end's distance from the axis; exact arithmetic."""
    rig = passport.scenario("balcony").replace(
        {"stand.camera_outline_mm": ((-back_mm, 45), (-90, 45), (-90, 38), (140, 38))}
    )
    built = build_up(rig.central(), mode="tilted")
    assert built.added_n_m == pytest.approx(0.1 * 9.80665 * back_mm * 1e-3, rel=1e-9)
    words = steps(field_card(rig), "Set up in this order")
    assert f"100 g put on its camera end later turn it with {said}" in words


@pytest.mark.parametrize(
    ("total_kg", "elbow"),
    [
        (9.5, ", less than a careless elbow (20 to 50 N): tie it down"),
        (20.0, ", as a careless elbow may (20 to 50 N): tie it down"),
        (60.0, ""),
    ],
)
def test_a_push_at_the_axes_and_a_careless_elbow(total_kg, elbow):
    """Derivation: push × height = weight × margin about the line between two feet; 0.5 N, the last digit printed."""
    rig = passport.scenario("balcony").replace({"stand.total_kg": total_kg})
    built = build_up(rig.central(), mode="tilted")
    by_hand = total_kg * 9.80665 * built.full_margin_mm / rig["stand.leg_outline_mm"][-1][1]
    words = next(one.text for one in safety_lines(rig, built, built) if one.label == "Fall")
    assert float(re.match(r"a push of (\d+) N", words).group(1)) == pytest.approx(float(by_hand), abs=0.5)
    assert elbow in words
    assert ("elbow" in words) == bool(elbow)
    assert "tie it down" in words
    panel = str(build_stand(rig))  # lesson 07 speaks of the same push in the same words
    assert f"A push of {by_hand:.0f} N" in panel
    assert elbow.split(" (")[0] in panel
    assert ("elbow" in panel) == bool(elbow)


@pytest.mark.parametrize(("push_n", "says"), [(19.9, "less"), (20.0, "as a"), (49.9, "as a"), (50.0, "")])
def test_both_limits_of_a_careless_elbow(push_n, says):
    """Common practice: a careless elbow pushes with 20 to 50 N."""
    assert elbow_words(push_n).startswith(says)
    assert bool(elbow_words(push_n)) == bool(says)


# No darkness, no view, other clocks


@pytest.mark.parametrize(
    ("case", "label", "words"),
    [
        ("no darkness", "Dark", "no astronomical night"),
        ("no view", "Expose", "not tonight: the target never stands inside the horizon mask"),
    ],
)
def test_a_night_without_a_minute_is_a_clear_line(case, label, words):
    card = made(case)
    assert words in line(card, "When", label).text
    assert [key.value for key in card.keys] == ["–"] * 4
    assert "Nothing to expose: " in card.as_text()
    assert {part.title for part in card.sections} >= {"Set up in this order", "Safety", "Stop"}


def test_the_hour_that_comes_twice_is_told_apart():
    """Python's own zones: 25 October 2026, 04:05 UTC is 05:05 in Berlin, after the clocks went back at 01:00 UTC."""
    card = made("clocks change")
    dark = line(card, "When", "Dark").text
    shown = (
        (card.ribbon.times_utc[-1] + np.timedelta64(30, "s"))
        .astype("M8[s]")
        .item()
        .replace(tzinfo=UTC)
        .astimezone(ZoneInfo("Europe/Berlin"))
    )
    assert f"to {shown:%H:%M}*" in dark
    assert shown.utcoffset() != datetime(2026, 10, 24, 20, tzinfo=ZoneInfo("Europe/Berlin")).utcoffset()
    assert "UTC+02:00, with * UTC+01:00" in card.subtitle


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"zone": "Middle/Earth"}, "zone must be a name of the time-zone database"),
        ({"mode": "sideways"}, "mode must be one of"),
        ({"resume_min": -1}, "resume_min must be 0 or more"),
    ],
)
def test_bad_input(how, words):
    with pytest.raises(ValueError, match=re.escape(words)):
        field_card(passport.scenario("balcony"), **how)


# Where the numbers come from


def test_marks_follow_the_passport():
    rig = passport.scenario("balcony")
    day = date(2026, 9, 1)
    measured = rig.replace(
        {
            key: Entry(rig[key], rig.entry(key).sigma, day)
            for key in (
                "habits.set_up_tilted_min",
                "stand.total_kg",
                "stand.foot_circle_m",
                "site.sky_mag_arcsec2",
            )
        }
    )
    before, after = made("balcony"), field_card(measured)
    assert line(before, "When", "Set up").mark == "assumed"
    assert line(after, "When", "Set up").mark == "measured"
    assert line(after, "Safety", "Fall").mark == "partly measured"
    assert before.keys[3].mark == "assumed"
    assert after.keys[3].mark == "partly measured"
    assert "sky_mag_arcsec2" in line(before, "Write", "Fill in").text
    assert "sky_mag_arcsec2" not in line(after, "Write", "Fill in").text


def test_the_line_to_write_can_be_read_back(tmp_path):
    """The line is the passport's own language: filled in, it is read as measured on the night of the card."""
    words = line(made("balcony"), "Write", "Fill in").text
    section, written, _ = words.split("\n")
    name = written.split(" = ")[0]
    filled = written.replace("value = ____", "value = 18.9").replace("sigma = ____", "sigma = 0.1")
    text = re.sub(rf"^{name} = .*$", filled, passport.scenario("balcony").text, count=1, flags=re.MULTILINE)
    entry = passport.loads(text).entry(f"{section.strip('[]')}.{name}")
    assert entry == (18.9, 0.1, date(2026, 10, 10))


# The page


@pytest.mark.parametrize("case", CASES)
def test_the_page_holds_every_word_and_nothing_overlaps(case):
    """A4 by ISO 216; no text below 10 pt; text boxes inside the page and apart; every word of the text twin."""
    card = made(case)
    page = page_of(card)
    texts = [text for text in page.sheet.texts if text.get_text()]
    assert min(text.get_fontsize() for text in texts) >= fieldcard.SMALLEST_PT
    printed = Counter(" ".join(text.get_text() for text in texts).replace("\u00a0", " ").split())
    wanted = Counter(word for part in card.sections for one in part.lines for word in one.words.split())
    assert not wanted - printed
    assert fieldcard.MORE not in {text.get_text() for text in texts}
    renderer = page.figure.canvas.get_renderer()
    boxes = np.array([text.get_window_extent(renderer).extents for text in texts])
    width, height = page.figure.canvas.get_width_height()
    assert boxes.min() >= 0
    assert boxes[:, 2].max() <= width * (1.0 - 20.0 / fieldcard.WIDTH_PT)
    assert boxes[:, 3].max() <= height
    slack = 0.12 * (boxes[:, 3] - boxes[:, 1])  # the box of a text has room above and below its letters
    low, high = boxes[:, 1] + slack, boxes[:, 3] - slack
    over = (
        (boxes[:, None, 0] < boxes[:, 2]) & (boxes[:, 0] < boxes[:, None, 2])
        & (low[:, None] < high) & (low < high[:, None])
    )  # fmt: skip
    np.fill_diagonal(over, False)
    assert [(texts[i].get_text(), texts[j].get_text()) for i, j in np.argwhere(over)] == []


def test_a_page_too_full_says_so():
    card = made("balcony")
    long = card.sections[0]._replace(lines=card.sections[0].lines * 12)
    page = page_of(type(card)(**(card.__dict__ | {"sections": (long, *card.sections[1:])})))
    assert fieldcard.MORE in {text.get_text() for text in page.sheet.texts}


def test_the_strip_shows_the_usable_minutes():
    card = made("balcony")
    strip = page_of(card).strip
    filled = strip.collections[0].get_paths()
    runs = len(filled) if len(filled) > 1 else len(filled[0].to_polygons())
    assert runs == sum(not span.reason for span in card.ribbon.spans())
    altitude = strip.lines[0].get_ydata()
    np.testing.assert_allclose(
        np.nanmax(altitude), 90 - 52.4 + 30.8, atol=0.2
    )  # M 33 culminates: δ 30.8° of date
    assert [text.get_text() for text in strip.texts].count("expose") == 1


def test_dim_red_has_no_green_and_no_blue():
    page = page_of(made("balcony"), look.RED)
    page.figure.canvas.draw()
    pixels = np.asarray(page.figure.canvas.buffer_rgba())
    assert pixels[..., 1:3].max() == 0
    assert pixels[..., 0].max() >= 200


def test_it_is_made_without_the_network_and_in_seconds(monkeypatch):
    import socket

    monkeypatch.setattr(socket, "socket", None)
    assert field_card(passport.scenario("balcony"), date=date(2026, 10, 17)).keys[0].value != "–"
