"""Lesson 04: two drift stars, the ellipse of the axis, the trap of the air, and what the panel says about them."""

from __future__ import annotations

import math

import nbformat
import numpy as np
import pytest
import rigid_body
from test_lesson_answers_planted import NOTEBOOKS, lesson_of

from workbook import alignment, passport, pointing
from workbook.figures import pole_drift as figure
from workbook.panels import build_pole_drift, drift_place, sweep
from workbook.panels.pole_drift import verdict
from workbook.panels.two_drifts import HIDDEN, NOISE

BALCONY = passport.scenario("balcony")
PLACE = drift_place(BALCONY)
RATE = 0.26252  # reference row POL-01: ″/min of drift for each arcminute
START = {"first_hour_angle_deg": -63, "second_hour_angle_deg": 27, "watch_min": 5, "jitter_arcsec": 2.0}
START |= {"hemisphere": "north", "stars": "highest", "corrected": True}


def seen(**changes):
    """The balcony's picture; a negative latitude stands for its mirror image."""
    if "latitude_deg" in changes:
        changes["hemisphere"] = "south" if changes.pop("latitude_deg") < 0 else "north"
    return PLACE.pole_drift(**(START | changes))


def equations(hours_deg):
    """Derivation: the drift north is −RATE (x cos H + y sin H), x and y the axis' offset to the east and up."""
    turn = np.radians(hours_deg)
    return -RATE * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.fixture(scope="module")
def panel():
    return build_pole_drift(BALCONY)


# From the watch to the drift


def test_the_horizon_is_met_through_the_air():
    """Bennett 1982: 1.7′ (0.028°) of lift at 30°, so a roof 0.9′ above the true place hides no star, 2.7′ does."""
    roof = drift_place(BALCONY.replace({"site.horizon_deg": [[0, 30.0]]}))
    stars = pointing.Horizontal(np.array([29.985, 29.955]), np.array([150.0, 150.0]))
    assert roof._in_view(stars).tolist() == [True, False]


@pytest.mark.parametrize("latitude_deg", [52.4, -52.4])
def test_the_drifts_are_those_of_turning_bodies(latitude_deg):
    """Derivation: a mount turned about the screwed axis under a turning sky, step by step (Rodrigues alone)."""
    result = seen(latitude_deg=latitude_deg)
    pole = rigid_body.celestial_pole(latitude_deg)
    axis = rigid_body.screwed_axis(**HIDDEN, latitude_deg=latitude_deg)
    for star in range(2):
        place = {"hour_angle_deg": result.hour_angles_deg[star], "dec_deg": result.decs_deg[star]}
        triad = rigid_body.sky_triad(**place, latitude_deg=latitude_deg)
        _, north, _ = rigid_body.one_axis(triad, axis=axis, pole=pole, seconds=60)
        quiet = result.drifts_arcsec_min[star] - NOISE[star] * result.sigma_arcsec_min
        assert quiet == pytest.approx(north, abs=0.002)
    curve = result.curves_arcsec_min[2]
    np.testing.assert_allclose(
        curve[result.hour_angles_deg.astype(int) + 90],
        result.drifts_arcsec_min - NOISE * result.sigma_arcsec_min,
        atol=1e-9,
    )
    np.testing.assert_allclose(result.curves_arcsec_min[:2].sum(axis=0), curve, atol=0.02)


# The ellipse


@pytest.mark.parametrize("pair", [(-63, 27), (-28, -8), (-80, 40), (10, 55)])
@pytest.mark.parametrize("latitude_deg", [52.4, -52.4])
def test_two_chances_in_three_lie_inside_the_ellipse(pair, latitude_deg):
    """Derivation: 20,000 noisy pairs of drifts solved as two equations by numpy; the share inside is 0.68 ± 0.0033."""
    result = seen(first_hour_angle_deg=pair[0], second_hour_angle_deg=pair[1], latitude_deg=latitude_deg)
    dice = np.random.default_rng(3).standard_normal((20_000, 2)) * result.sigma_arcsec_min
    side = 1.0 if latitude_deg > 0 else -1.0
    x, y = np.linalg.solve(side * equations(pair), dice.T)
    turn = np.radians(result.angle_deg)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    inside = (along / result.semi_major_arcmin) ** 2 + (across / result.semi_minor_arcmin) ** 2 <= 1.0
    assert inside.mean() == pytest.approx(0.68, abs=0.012)


def test_size_of_the_ellipse():
    """Derivation: at 90° σ/RATE in every direction, times √(−2 ln 0.32) = 1.5096 for 68 %; at ΔH the eigenvalues are
    1 ± cos ΔH. Reference row POL-01; axis errors of up to 12′ bend it by less than 1 %.
    """
    result = seen()
    assert result.semi_major_arcmin == pytest.approx(1.5096 * result.sigma_arcsec_min / RATE, rel=0.01)
    assert (result.amplification, result.lengthened) == pytest.approx((1.0, 1.0))
    near = seen(first_hour_angle_deg=-28, second_hour_angle_deg=-8)
    assert near.semi_major_arcmin / result.semi_major_arcmin == pytest.approx(4.072, rel=0.01)
    assert near.lengthened == pytest.approx(4.072, abs=0.001)
    assert near.amplification == pytest.approx(2.924, abs=0.001)


def test_the_axis_is_found_beside_the_true_one_by_the_noise():
    """Derivation: two equations for the noise, by numpy; 12′ and 8′ bend the solution by less than 0.05′."""
    result = seen()
    expected = np.linalg.solve(equations(result.hour_angles_deg), NOISE * result.sigma_arcsec_min)
    np.testing.assert_allclose(np.subtract(result.found_arcmin, result.true_arcmin), expected, atol=0.05)
    assert result.true_arcmin == pytest.approx((12.0 * np.cos(np.radians(52.4)), -8.0))
    assert figure.miss_arcmin(result) == pytest.approx(np.hypot(*expected), abs=0.05)


def test_the_range_follows_the_seeing():
    """Derivation: jitter grows with a seeing of 3 ± 0.6″, so 68 % lie within 0.8 to 1.2 times; 400 draws: ± 0.03."""
    result = seen()
    np.testing.assert_allclose(
        np.array(result.semi_major_68_arcmin) / result.semi_major_arcmin, [0.8, 1.2], atol=0.04
    )


# The air


def lifted_drift_arcsec_min(hour_angle_deg, dec_deg, latitude_deg, pressure_hpa, temperature_degc):
    """Source: refraction of Sæmundsson 1986, Sky & Telescope 72, 70 (Meeus 1998, eq. 16.4), laid towards the zenith
    of a star carried by a rigid sky; the change of its north part from a minute before to a minute after.
    """
    parts = []
    for minutes in (-1.0, 1.0):
        star, _, north = rigid_body.sky_triad(
            hour_angle_deg=hour_angle_deg + minutes * 15.041067 / 60,
            dec_deg=dec_deg,
            latitude_deg=latitude_deg,
        )
        high = np.degrees(np.arcsin(star[2]))
        lift = 60 * 1.02 / np.tan(np.radians(high + 10.3 / (high + 5.11)))
        lift *= pressure_hpa / 1010 * 283 / (273 + temperature_degc)
        zenith = rigid_body.UP - star[2] * star
        parts.append(lift * (zenith / np.linalg.norm(zenith)) @ north)
    return (parts[1] - parts[0]) / 2.0


@pytest.mark.parametrize("stars", ["highest", "lowest"])
@pytest.mark.parametrize("latitude_deg", [52.4, -52.4])
def test_what_the_air_adds(stars, latitude_deg):
    """Source: see `lifted_drift_arcsec_min`; the two laws of refraction differ by up to 5 % in slope."""
    result = seen(stars=stars, corrected=False, latitude_deg=latitude_deg)
    expected = [
        lifted_drift_arcsec_min(hour, dec, latitude_deg, 1010, 8)
        for hour, dec in zip(result.hour_angles_deg, result.decs_deg, strict=True)
    ]
    np.testing.assert_allclose(result.air_arcsec_min, expected, rtol=0.06)
    clean = seen(stars=stars, latitude_deg=latitude_deg)
    np.testing.assert_allclose(result.drifts_arcsec_min - clean.drifts_arcsec_min, expected, rtol=0.06)
    side = 1.0 if latitude_deg > 0 else -1.0
    shift = np.linalg.solve(side * equations(result.hour_angles_deg), expected)
    assert result.air_arcmin == pytest.approx(np.hypot(*shift), rel=0.06)
    moved = np.subtract(result.found_arcmin, clean.found_arcmin)
    np.testing.assert_allclose(moved, shift, atol=0.2)
    assert clean.air_arcmin == 0.0


# The view and the tolerance


def altitude_azimuth(hour_angle_deg, dec_deg):
    """Derivation: a star put on the meridian and carried west by a rigid sky."""
    east, north, up = rigid_body.sky_triad(hour_angle_deg=hour_angle_deg, dec_deg=dec_deg, latitude_deg=52.4)[
        0
    ]
    return np.degrees(np.arcsin(up)), np.degrees(np.arctan2(east, north)) % 360


def test_what_the_balcony_sees():
    """Derivation: every whole degree of hour angle and declination tried against the four edges of the view."""
    reach, above = set(), set()
    pole = rigid_body.celestial_pole(52.4)
    meridian = np.array(
        [rigid_body.turn(pole, rigid_body.EAST, np.radians(90 - dec)) for dec in range(-75, 76)]
    )
    for hour in range(-90, 91):
        east, north, up = rigid_body.turn(meridian, pole, -np.radians(hour)).T
        altitude, azimuth = np.degrees(np.arcsin(up)), np.degrees(np.arctan2(east, north)) % 360
        there = (altitude >= 20) & (altitude <= 68) & (azimuth >= 95) & (azimuth <= 215)
        reach |= {hour} if there.any() else set()
        above |= {hour} if (there & (altitude >= 30)).any() else set()
    for name, expected in (("view_deg", reach), ("high_deg", above)):
        spans = getattr(seen(), name)
        shaded = {hour for hour in range(-90, 91) if any(low < hour < high for low, high in spans)}
        assert shaded == expected
    assert (min(reach), max(reach)) == (-73, 33)


@pytest.mark.parametrize("stars", ["highest", "lowest"])
def test_the_stars_are_in_the_view(stars):
    result = seen(stars=stars)
    for star in range(2):
        altitude, azimuth = altitude_azimuth(result.hour_angles_deg[star], result.decs_deg[star])
        assert altitude == pytest.approx(result.altitudes_deg[star], abs=1e-6)
        assert 20 <= altitude <= 68
        assert 95 <= azimuth <= 215
        beside = result.decs_deg[star] + (1 if stars == "highest" else -1)
        higher, turned = altitude_azimuth(result.hour_angles_deg[star], beside)
        assert not (20 <= higher <= 68 and 95 <= turned <= 215)


def test_the_best_pair_of_the_balcony():
    """Derivation: 90° apart is best; of all such pairs in view none has a higher lower star."""
    pair = PLACE.best_pair()
    first, second = pair.hour_angles_deg
    assert second - first == 90
    lowest = []
    for hour in range(-73, 34 - 90):
        best = [
            max(
                altitude
                for altitude, azimuth in (altitude_azimuth(at, dec) for dec in range(-75, 76))
                if 20 <= altitude <= 68 and 95 <= azimuth <= 215
            )
            for at in (hour, hour + 90)
        ]
        lowest.append(min(best))
    assert pair.altitudes_deg.min() == pytest.approx(max(lowest), abs=1e-6)
    report = PLACE.report()
    assert "hour angle −63°" in report
    assert "68 % ellipse of 0.5′ by 0.5′" in report


def test_tolerances_of_the_balcony():
    """Derivation by hand: 0.75 px × 2.256″ a minute over RATE, less what the turning field takes; guided 0.75 px over
    3,080 px to the far corner, over 0.752° of sky turn, times cos δ (the axis leans worst within 2 %).
    """
    assert PLACE.unguided == pytest.approx(0.75 * 2.2560 / RATE, rel=0.002)
    assert PLACE.tolerance_arcmin(sub_s=8, guided=False) == pytest.approx(7.5 * PLACE.unguided, rel=0.002)
    radius_px = np.hypot(2000, 1400) + 0.4 * 3600 / 2.2560
    hand = np.degrees(0.75 / radius_px / np.radians(180 * 15.041067 / 3600) * np.cos(np.radians(30.66))) * 60
    assert PLACE.guided == pytest.approx(hand, rel=0.02)


# The mirror image, the ends, the words


def test_the_other_hemisphere_is_the_mirror_image():
    """Derivation: hour angles, altitudes and ellipse stay; declinations, the law's drifts and the air's change sign."""
    north, south = seen(), seen(latitude_deg=-52.4)
    np.testing.assert_allclose(south.altitudes_deg, north.altitudes_deg)
    np.testing.assert_allclose(south.decs_deg, -north.decs_deg)
    np.testing.assert_allclose(south.air_arcsec_min, -north.air_arcsec_min)
    np.testing.assert_allclose(south.curves_arcsec_min, -north.curves_arcsec_min, atol=1e-9)
    assert south.semi_major_arcmin == pytest.approx(north.semi_major_arcmin, rel=0.01)
    assert north.turns.seen_from_behind == "left"
    assert south.turns.seen_from_behind == "right"
    assert north.turns.azimuth_move == south.turns.azimuth_move == "west"
    assert north.turns.altitude_move == south.turns.altitude_move == "up"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "Known well enough, guided or not: 60 s unguided allow 6.4′, 180 s guided 54′."),
        ({"watch_min": 2}, "Just enough unguided"),
        ({"watch_min": 2, "jitter_arcsec": 5.0}, "Enough guided, not unguided"),
        (
            {"first_hour_angle_deg": 0, "second_hour_angle_deg": 6, "watch_min": 2, "jitter_arcsec": 6.0},
            "Not good enough",
        ),
        ({"first_hour_angle_deg": -28, "second_hour_angle_deg": -8}, "would know it 4.1 times better"),
        ({"first_hour_angle_deg": 27}, "the same or opposite"),
        ({"first_hour_angle_deg": -90, "second_hour_angle_deg": 90}, "the same or opposite"),
        ({"second_hour_angle_deg": 60}, "But star 2 is not in this view"),
        ({"first_hour_angle_deg": -80, "second_hour_angle_deg": 60}, "But neither star is in this view"),
        ({"stars": "lowest", "corrected": False}, "The air shifts the ellipse by 3."),
        ({"stars": "lowest"}, "A star stands below 30°"),
    ],
)
def test_the_verdict(changes, words):
    assert words in verdict(seen(**changes))


def test_the_verdict_says_how_far_off_an_axis_stands_that_is_known_well_enough():
    """Derivation: from the invented axis, (7.32, −8.00)′ on the sky, and its noise; inside the circle of 60 s, whose
    radius is 6.4′, there is nothing to turn.
    """
    result = seen()
    assert (
        f"But the axis stands {np.hypot(*result.found_arcmin):.0f}′ off: now turn by the arrows."
        in verdict(result)
    )
    assert np.hypot(*result.found_arcmin) == pytest.approx(np.hypot(7.32, 8.0), abs=1.4)
    inside = result._replace(found_arcmin=(0.0, 0.99 * result.unguided_arcmin))
    beyond = result._replace(found_arcmin=(0.0, 1.01 * result.unguided_arcmin))
    assert "But" not in verdict(inside)
    assert "But the axis stands 6.5′ off" in verdict(beyond)
    assert "But" not in verdict(beyond._replace(semi_major_arcmin=1.01 * result.unguided_arcmin))


def test_a_star_six_hours_from_the_meridian_is_not_cut_by_the_frame(panel):
    """Derivation: a mark of 10 pt is 14 px across at 100 dots an inch; half of it and its rim need 8 px."""
    panel.set(first_hour_angle_deg=-90)
    ax = panel._artists.stars[0].axes
    edge, star = ax.transData.transform([(ax.get_xlim()[0], 0.0), (-90.0, 0.0)])
    assert star[0] - edge[0] > 8.0
    panel.reset()


def test_a_star_on_the_horizon_tells_nothing():
    place = drift_place(passport.scenario("near-equator"))
    result = place.pole_drift(**(START | {"first_hour_angle_deg": -90, "second_hour_angle_deg": 0}))
    assert result.semi_major_arcmin is None
    assert "too near the horizon" in verdict(result)
    assert "do not tell the axis" in figure.describe(result)


@pytest.mark.parametrize("latitude_deg", [-34.0, 1.3, 0.0, 87.0])
def test_any_latitude_with_an_azimuth(latitude_deg):
    panel = build_pole_drift(passport.scenario("southern-club").replace({"site.latitude_deg": latitude_deg}))
    if latitude_deg in (1.3, 87.0):
        sweep(panel)
    assert panel.result.semi_major_arcmin == pytest.approx(seen().semi_major_arcmin, rel=0.06)


def test_at_the_pole_of_the_earth_it_says_why_not():
    with pytest.raises(ValueError, match="near a pole of the Earth an axis has no azimuth"):
        build_pole_drift(passport.scenario("school").replace({"site.latitude_deg": 89.0}))


def test_arrows_lead_to_the_pole_and_the_south_has_east_on_the_left(panel):
    """Derivation: facing north, east is on the right; facing south, on the left."""
    panel.reset()
    for hemisphere, side in (("north", 1), ("south", -1)):
        panel.set(hemisphere=hemisphere)
        artists, result = panel._artists, panel.result
        assert np.sign(artists.true.get_xdata()[0]) == side
        assert [text.get_text() for text in artists.sides] == ["west", "east"][::side]
        start, corner = artists.arrows[0]._posA_posB
        assert start == pytest.approx((side * result.found_arcmin[0], result.found_arcmin[1]))
        assert corner == pytest.approx((0.0, result.found_arcmin[1]))
        assert artists.arrows[1]._posA_posB[1] == pytest.approx((0.0, 0.0))
        assert artists.arrow_words[0].get_text().endswith("west")
        assert artists.arrow_words[1].get_text().endswith("up")
        outline = np.array(artists.ellipse.get_data()).T - start
        assert np.hypot(*outline.T).max() == pytest.approx(result.semi_major_arcmin, rel=0.01)
    panel.reset()


@pytest.mark.parametrize("latitude_deg", [52.4, -52.4])
def test_the_outline_is_where_the_misfit_is_that_of_68_percent(latitude_deg):
    """Derivation: χ² of the two drifts is −2 ln 0.32 = 2.2789 all along the outline; 12′ bend it by less than 2 %."""
    result = seen(first_hour_angle_deg=-28, second_hour_angle_deg=-8, latitude_deg=latitude_deg)
    side = 1.0 if latitude_deg > 0 else -1.0
    turn = np.linspace(0.0, 6.0, 50)
    x, y = figure.ellipse(result, side, np.array([np.cos(turn), np.sin(turn)]))
    away = np.column_stack([side * x - result.found_arcmin[0], y - result.found_arcmin[1]])
    misfit = equations(result.hour_angles_deg) @ away.T / result.sigma_arcsec_min
    np.testing.assert_allclose((misfit**2).sum(axis=0), 2.2789, rtol=0.02)


def test_the_guess_is_a_circle_about_the_pole(panel):
    panel.ghost = 3.0
    np.testing.assert_allclose(np.hypot(*panel._artists.ghost.get_data()), 3.0)
    assert panel._artists.ghost.get_visible()
    panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_presets(panel):
    """Derivation: the best pair of the view; 20° about its middle; the low stars of the same hours."""
    panel.set(**panel.presets["Neighbours, 20° apart"])
    assert panel.values["second_hour_angle_deg"] - panel.values["first_hour_angle_deg"] == 20
    panel.set(**panel.presets["Low stars, air left in"])
    assert panel.result.altitudes_deg.max() < 25
    panel.set(**panel.presets["Best pair in this view"])
    assert (panel.result.corrected, panel.result.amplification) == (True, pytest.approx(1.0))
    panel.reset()


# The lesson's questions: slips of its own


def test_slips_of_the_lesson(monkeypatch, tmp_path):
    """Derivation: −5.62′ as radians; cos φ forgotten; the azimuth's part not taken off; cosine for sine."""
    lesson = lesson_of("04-pole-from-a-balcony", monkeypatch, tmp_path)
    assert lesson.answer("meridian", -5.62 / 3437.75).slip == "radians"
    assert "cos φ is missing" in lesson.answer("meridian", -3.43).text
    assert "taken off first" in lesson.answer("faded", -11.72).text
    assert "cosine" in lesson.answer("area", 1.155).text
    law = alignment.dec_drift_arcsec_min
    assert lesson.answer("drift", law).correct
    assert "sign" in lesson.answer("drift", lambda **k: -law(**k)).text
    assert not lesson.answer("drift", lambda **_: ...).correct
    for swapped in ("hour_angle_deg", "latitude_deg"):
        wrong = lesson.answer(
            "drift", lambda swapped=swapped, **k: law(**(k | {swapped: np.radians(k[swapped])}))
        )
        assert not wrong.correct


def test_the_folded_solution_passes_and_bare_degrees_are_named(monkeypatch, tmp_path):
    """The code in the fold runs as it stands; without math.radians the slip is told."""
    lesson = lesson_of("04-pole-from-a-balcony", monkeypatch, tmp_path)
    notebook = nbformat.read(NOTEBOOKS / "04-pole-from-a-balcony.ipynb", as_version=4)
    (fold,) = (cell.source for cell in notebook.cells if "```python" in cell.source)
    solution = fold.split("```python")[1].split("```")[0]
    names = {"math": math}
    exec(solution, names)
    assert lesson.answer("drift", names["my_drift"]).correct
    exec(solution.replace("math.radians(", "("), names)
    assert lesson.answer("drift", names["my_drift"]).slip == "radians"
