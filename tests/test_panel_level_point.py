"""Lesson 03: the cloud beside a rigid body, the budget beside published sums, and what the panel says about it."""

from __future__ import annotations

import math
from pathlib import Path

import nbformat
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation
from scipy.stats import chi2
from test_lesson_answers_planted import lesson_of

from workbook import alignment, passport
from workbook.figures import level_point as figure
from workbook.lesson.gates import Gate, GateClosed
from workbook.night import bodies, sun_shadow
from workbook.panels import build_level_point, level_point

STEM = "03-level-tilt-point"
NOTEBOOK = Path(__file__).parents[1] / "notebooks" / f"{STEM}.ipynb"
BALCONY = passport.scenario("balcony")


@pytest.fixture
def panel():
    return build_level_point(BALCONY)


# The cloud


def turned_by_hand(*, latitude_deg, east_deg, north_deg, compass_deg, read_deg, turn_deg):
    """An independent set-up: scipy's turns of a real base, the altitude found by trying, not by a formula.

    The base is tipped, the axis is raised until the inclinometer shows the reading, and the head is turned about
    the tipped upright. Returns east and high of the axis beside the pole [′], by the tangent plane.
    """
    lean = Rotation.from_rotvec(np.radians([-north_deg, east_deg, 0.0]))  # carries up towards east and north
    upright = lean.apply([0.0, 0.0, 1.0])

    def axis(raised_deg):
        at_rest = Rotation.from_euler("x", raised_deg, degrees=True).apply([0.0, 1.0, 0.0])
        start = Rotation.from_euler("z", turn_deg - compass_deg, degrees=True).apply(at_rest)
        return lean.apply(start)

    shown = latitude_deg + read_deg
    raised = brentq(lambda h: math.degrees(math.asin(axis(h)[2])) - shown, shown - 25, shown + 25, xtol=1e-11)
    final = Rotation.from_rotvec(-np.radians(turn_deg) * upright).apply(axis(raised))
    phi = math.radians(latitude_deg)
    high = np.array([0.0, -math.sin(phi), math.cos(phi)])
    return 60.0 * np.degrees([final[0], final @ high])


@pytest.mark.parametrize("latitude_deg", [52.4, -34.0, 1.3])
@pytest.mark.parametrize("turn_deg", [0.0, 10.0, 90.0, 180.0])
def test_each_axis_is_where_a_tipped_base_puts_it(latitude_deg, turn_deg):
    """Derivation: `turned_by_hand`, by other means; 1e-6′ is the accuracy of its search."""
    draws = np.array(
        [[1.0, -2.0, 0.3], [0.5, 1.0, -1.0], [1.2, -0.4, 0.0], [-0.7, 1.5, 0.0]]
    )  # one row each cause
    got = level_point.axes_arcmin(
        base_tilt_deg=2.0,
        compass_sigma_deg=3.0,
        inclinometer_sigma_deg=0.5,
        azimuth_turn_deg=turn_deg,
        latitude_deg=latitude_deg,
        unit_draws=draws,
    )
    for place, (compass, read, east, north) in zip(got, draws.T, strict=True):
        expected = turned_by_hand(
            latitude_deg=abs(latitude_deg),
            east_deg=2.0 * east,
            north_deg=2.0 * north,
            compass_deg=3.0 * compass,
            read_deg=0.5 * read,
            turn_deg=turn_deg,
        )
        np.testing.assert_allclose(place, expected, atol=1e-6)


def test_one_cause_at_a_time_by_hand():
    """Derivation: 1° of compass at 60° north is 30′, east of the pole; of inclinometer 60′ high; of a lean to the east
    60′ sin 60° to the east. A circle of altitude falls away from the tangent by x² tan 60° / 2: 0.227′ and 0.680′.
    Third order is below 0.02′.
    """
    alone = np.eye(4)[:3].T  # draws of the compass, of the inclinometer, of the lean to the east
    got = level_point.axes_arcmin(
        base_tilt_deg=1.0,
        compass_sigma_deg=1.0,
        inclinometer_sigma_deg=1.0,
        azimuth_turn_deg=0.0,
        latitude_deg=60.0,
        unit_draws=alone,
    )
    np.testing.assert_allclose(got, [[30.0, 0.227], [0.0, 60.0], [51.96, 0.680]], atol=0.02)


@pytest.mark.parametrize("latitude_deg", [89.5, -89.5, 90.0])
def test_a_reading_beyond_the_zenith_is_no_fold(latitude_deg):
    """Derivation: a reading 1° too high is 60′ too high, at a pole too."""
    got = level_point.axes_arcmin(
        base_tilt_deg=0.0,
        compass_sigma_deg=0.0,
        inclinometer_sigma_deg=1.0,
        azimuth_turn_deg=0.0,
        latitude_deg=latitude_deg,
        unit_draws=np.array([[0.0], [1.0], [0.0], [0.0]]),
    )
    np.testing.assert_allclose(got, [[0.0, 60.0]], atol=0.01)  # chord against arc


@pytest.mark.parametrize("turn_deg", [0.0, 60.0, 180.0])
def test_root_sum_square_is_the_width_of_the_cloud(panel, turn_deg):
    """Derivation: root-mean-square of 4,000 draws, good to 2 %; three of those are allowed."""
    panel.set(azimuth_turn_deg=turn_deg, base_tilt_deg=1.0, compass_sigma_deg=1.0)
    seen = panel.result
    assert np.sqrt(np.mean(np.sum(seen.cloud_arcmin**2, axis=1))) == pytest.approx(
        seen.total_arcmin, rel=0.06
    )
    turn = (
        60.0 * 2.0 * math.sin(math.radians(turn_deg / 2))
    )  # 60° turns the lean into itself, 180° doubles it
    assert seen.parts_arcmin[3] == pytest.approx(turn, abs=1e-9)
    assert seen.total_arcmin == pytest.approx(math.sqrt(sum(part**2 for part in seen.parts_arcmin)))


def test_cloud_agrees_with_the_library_s_own_draws(panel):
    """Derivation: `rough_draws` draws other numbers in another order; 4,000 of each, so 5 % of the width."""
    other = alignment.rough_draws(
        compass_sigma_deg=2.0, inclinometer_sigma_deg=0.3, level_sigma_deg=0.5, clock_sigma_s=0.0,
        azimuth_rate_arcsec_s=0.0, altitude_from="gravity", latitude_deg=52.4, draws=4000, seed=11,
    )  # fmt: skip
    widths = np.sqrt(np.diag(panel.result.covariance_arcmin2))
    east = other.azimuth_error_arcmin * math.cos(math.radians(52.4))
    np.testing.assert_allclose(widths, [east.std(), other.altitude_error_arcmin.std()], rtol=0.05)


def test_ellipses_hold_what_they_say(panel):
    """Source: quantiles of chi-square with two degrees of freedom, scipy; a share of 4,000 is good to 0.01."""
    panel.set(base_tilt_deg=1.5, azimuth_turn_deg=45.0)
    cloud, covariance = panel.result.cloud_arcmin, panel.result.covariance_arcmin2
    inverse = np.linalg.inv(covariance)
    for share in figure.SHARES:
        outline = figure.ellipse(covariance, share)
        np.testing.assert_allclose(
            np.sum(outline * (inverse @ outline), axis=0), chi2.ppf(share, 2), rtol=1e-9
        )
        inside = np.sum(cloud * (cloud @ inverse), axis=1) < chi2.ppf(share, 2)
        assert inside.mean() == pytest.approx(share, abs=0.025)


# What it costs


def test_drift_of_an_axis_beside_the_pole():
    """Source: reference row POL-03: 5′ east at latitude 50° drift 0.8437 ± 0.0003″/min on the meridian."""
    off_arcmin = 5.0 * math.cos(math.radians(50.0))
    assert level_point.DRIFT_PER_ARCMIN * off_arcmin == pytest.approx(0.8437, abs=3e-4)


def test_time_until_the_tolerance_is_used(panel):
    """Derivation, by hand: 1.5 px of 2.256″ are 3.384″; 79.06′ drift 79.06 · 0.2625 = 20.75″/min."""
    assert panel.result.total_arcmin == pytest.approx(math.sqrt(73.22**2 + 18**2 + 23.77**2), abs=0.02)
    assert panel.result.drift_arcsec_min == pytest.approx(20.75, abs=0.02)
    assert panel.result.trailed_s == pytest.approx(60 * 3.384 / 20.75, abs=0.02)


def test_a_tilted_base_costs_nothing_where_the_sky_was_asked(panel):
    """Derivation: the drive turns about the axis; 10° of azimuth climb 10° · sin 2° = 20.9′."""
    panel.set(**panel.presets["Base 2° out, axis on the pole"])
    seen = panel.result
    assert (seen.total_arcmin, seen.drift_arcsec_min, seen.missed_arcmin, seen.trailed_s) == (
        0.0,
        0.0,
        0.0,
        None,
    )
    assert not seen.cloud_arcmin.any()
    assert seen.climb_arcmin == pytest.approx(600 * math.sin(math.radians(2)), abs=1e-9)
    assert "0″/min" in str(panel)
    assert "nothing left to buy" in figure.advice(seen)
    panel.set(start="two stars")
    assert panel.result.missed_arcmin == 0.0
    assert "it misses nothing, and nothing drifts. Only the field turns at another rate" in str(panel)
    panel.set(start="level and north")
    assert panel.result.total_arcmin > 95
    # A star in the south, 45° high, under a base that leans 2° east: it moves by 2° · sin 45° across.
    assert panel.result.missed_arcmin == pytest.approx(120 * math.sin(math.radians(45)), rel=1e-3)


# What it says


def test_angles_are_written_with_a_true_minus_and_no_negative_zero():
    """By hand."""
    written = {-0.0: "0′", -0.01: "0′", 0.04: "0′", -0.3: "−0.3′", 3.25: "3.2′", -12.4: "−12′", 120.9: "121′"}
    assert {angle: figure.minutes(angle) for angle in written} == written


@pytest.mark.parametrize("latitude_deg", [52.4, -34.0, 1.3, 89.0])
def test_the_table_holds_no_negative_zero_and_no_short_minus(latitude_deg):
    panel = build_level_point(BALCONY.replace({"site.latitude_deg": latitude_deg}))
    for start in ("level and north", "on the pole", "two stars"):
        panel.set(start=start)
        cells = [cell for row in figure.table(panel.result) for cell in row[1:]]
        assert not [cell for cell in cells if cell.startswith("-") or "−0′" in cell]


def test_the_number_is_said_to_be_a_root_mean_square(panel):
    """Derivation: of the distances of the cloud itself; 4,000 draws know it within 2 %."""
    assert str(panel).startswith("Root-mean-square axis error: 79′")
    assert np.sqrt(np.mean(np.sum(panel.result.cloud_arcmin**2, axis=1))) == pytest.approx(79.06, rel=0.03)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({}, "Compass 86 %: buy a better north"),
        ({"compass_sigma_deg": 0.3}, "Base tilt 56 %: buy a better level"),
        ({"inclinometer_sigma_deg": 2.0}, "Inclinometer 71 %: buy a better inclinometer"),
        ({"compass_sigma_deg": 0.3, "azimuth_turn_deg": 180.0}, "buy nothing: read the altitude again"),
    ],
)
def test_the_largest_share_is_named(panel, values, words):
    """Derivation: shares of the squares, by hand: 73.2² of 6250; 23.8² of 1010; 120² of 20326; 60² of 4610."""
    panel.set(**values)
    assert words in str(panel)
    assert panel.result.shares.sum() == pytest.approx(1.0)
    assert words.split(": ")[-1] in panel.alt


def test_the_compass_costs_more_nearer_the_equator(panel):
    """Derivation: cos 34° / cos 52.4° = 0.8290 / 0.6101; the hemisphere itself changes nothing."""
    club = build_level_point(passport.scenario("southern-club"))
    ratio = club.result.parts_arcmin[0] / panel.result.parts_arcmin[0]
    assert ratio == pytest.approx(0.8290 / 0.6101, rel=2e-4)
    mirrored = build_level_point(BALCONY.replace({"site.latitude_deg": -52.4}))
    np.testing.assert_allclose(mirrored.result.cloud_arcmin, panel.result.cloud_arcmin)
    assert mirrored.result.missed_arcmin == pytest.approx(panel.result.missed_arcmin)
    assert abs(mirrored.result.faster_deg_h) == pytest.approx(abs(panel.result.faster_deg_h))
    assert panel.result.faster_deg_h != 0
    assert "52.4° south" in mirrored.title


@pytest.mark.parametrize("guess", [0.0, 10.0, 60.0])
def test_the_guess_is_a_ring_of_the_drift_s_own_size(panel, guess):
    """Derivation: 0.2625″/min for each ′; a guess of nothing is still to be seen."""
    panel.set(start="on the pole")
    panel.ghost = guess
    x, y = panel._artists.ghost[0].get_data()
    limit = panel._artists.cloud.axes.get_xlim()[1]
    np.testing.assert_allclose(np.hypot(x, y), max(guess / 0.26252, 0.025 * limit), rtol=1e-3)
    assert np.hypot(x, y).max() < limit


# The notebook


@pytest.mark.parametrize(("wrong", "words"), [(134.3, "added"), (104.6, "radians")])
def test_slips_of_the_southern_club(wrong, words, monkeypatch, tmp_path):
    """Derivation: 99.5 + 18 + 16.8; and √(120² cos² 34 + 18² + 30² sin² 34) with 34 rad."""
    lesson = lesson_of(STEM, monkeypatch, tmp_path)
    feedback = lesson.answer("faded", wrong)
    assert not feedback.correct
    assert words in feedback.text


def test_in_radians_the_southern_club_has_the_planted_value():
    assert math.sqrt((120 * math.cos(34)) ** 2 + 18**2 + (30 * math.sin(34)) ** 2) == pytest.approx(
        104.6, abs=0.1
    )


def test_the_function_gives_the_published_sum(monkeypatch, tmp_path):
    """Source: JCGM 100:2008, example H.1 (end gauge), from memory: 25, 9.7, 2.9, 16.6 nm give 32 nm; half a digit."""
    lesson = lesson_of(STEM, monkeypatch, tmp_path)
    assert math.hypot(25, 9.7, 2.9, 16.6) == pytest.approx(32, abs=0.5)

    def right(*, compass, inclinometer, level, turn):
        return (compass**2 + inclinometer**2 + level**2 + turn**2) ** 0.5

    feedback = lesson.answer("together", right)
    assert feedback.correct
    assert "JCGM 100" in feedback.text
    for wrong in (
        lambda **k: sum(k.values()),
        lambda **k: sum(part**2 for part in k.values()),
        lambda **k: -right(**k),
        lambda **k: right(**(k | {"turn": 0.0})),
        lambda **k: None,
    ):
        assert not lesson.answer("together", wrong).correct


def test_nothing_of_the_sun_before_the_gate_is_ticked(monkeypatch):
    """The notebook says that the gate is closed; the function asks the gate before it asks where the Sun is."""
    outputs = [
        output.get("text", "")
        for cell in nbformat.read(NOTEBOOK, as_version=4).cells
        if cell.cell_type == "code"
        for output in cell.outputs
    ]
    assert any("Sun gate is closed: 6 of 6" in text and "Nothing was computed" in text for text in outputs)
    assert not any("shadow points" in text for text in outputs)

    def asked(*_, **__):
        raise AssertionError("the Sun's place was computed")

    monkeypatch.setattr(bodies, "sun", asked)
    monkeypatch.setattr("workbook.night.north.sun", asked)
    where = {"latitude_deg": 52.4, "longitude_deg": 10.5, "height_m": 60}
    where |= {"clock_sigma_s": 30, "place_sigma_m": 500}
    gate = Gate("sun")
    with pytest.raises(GateClosed, match="nothing is computed"):
        sun_shadow(gate=gate, **where, times_utc=np.datetime64("2026-10-10T10:30"))
    for index in range(6):
        gate.tick(index)
    with pytest.raises(AssertionError, match="was computed"):
        sun_shadow(gate=gate, **where, times_utc=np.datetime64("2026-10-10T10:30"))
