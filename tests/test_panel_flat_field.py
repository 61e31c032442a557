"""Lesson 08: nine stars, the map, refocusing, and what the panel says about them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from test_lesson_answers_planted import lesson_of

from workbook import nine_stars, optics, passport
from workbook.figures import flat_field as figure
from workbook.night import dark_window
from workbook.nine_stars import CENTRE, CORNERS, Causes
from workbook.nine_stars.picture import TILE_PX, TILE_STAR_E
from workbook.panels import build_flat_field
from workbook.panels.flat_field import verdict

BALCONY = passport.scenario("balcony")
TRAIN = nine_stars.train(BALCONY.central())
UPPER_RIGHT, UPPER_LEFT, LOWER_LEFT, LOWER_RIGHT = 8, 6, 0, 2


def picture(**causes):
    return nine_stars.nine_stars(TRAIN, Causes(**causes))


@pytest.fixture(scope="module")
def panel():
    return build_flat_field(BALCONY)


# The numbers, by hand

# Derivation, by hand: f/5.517, 550 nm → half-zone 2 · 0.55 · 5.517² = 33.48 µm. Round star: √(3² + 2.013²)″ =
# 3.613″ of FWHM = 1.534″ sigma, 1.5514 µm a second of arc → 2.380 µm = 0.680 px; + 0.375 px² mosaic
# + 1/12 px² pixel → 0.9208 px² → FWHM 2.260 px. Corner at 8.545 mm.
FAULTLESS_PX = 2.260
SIGMA2_PX2 = 0.9208
HALF_ZONE_UM, N = 33.48, 320 / 58


def by_hand_px(z_um, a_um):
    """Derivation: second moments of an astigmatic disc add; widths along the radius and across it."""
    disc = np.array([z_um + a_um, z_um - a_um]) / (4 * N) / 3.5
    return 2.35482 * np.sqrt(SIGMA2_PX2 + disc**2)


def test_a_faultless_rig():
    """Derivation: the hand calculation above, to its four digits."""
    assert TRAIN.half_zone_um == pytest.approx(HALF_ZONE_UM, abs=0.01)
    assert TRAIN.corner_mm == pytest.approx(np.hypot(7.0, 4.9))
    stars = picture().stars
    np.testing.assert_allclose([stars.long_px[CENTRE], stars.short_px[CENTRE]], FAULTLESS_PX, rtol=1e-3)
    np.testing.assert_allclose(stars.long_px[list(CORNERS)], by_hand_px(0, HALF_ZONE_UM)[0], rtol=1e-3)
    assert TRAIN.faultless_px == pytest.approx(stars.width_px[CENTRE])


@pytest.mark.parametrize("error_mm", [-1.6, -0.68, 1.2])
def test_corner_of_a_wrong_spacing(error_mm):
    """Derivation: 33.48 µm at 0.8 mm (the passport's tolerance), sensor too close counts positive."""
    along, across = by_hand_px(-HALF_ZONE_UM * error_mm / 0.8, HALF_ZONE_UM)
    stars = picture(spacing_error_mm=error_mm).stars
    np.testing.assert_allclose(stars.long_px[list(CORNERS)], max(along, across), rtol=1e-3)
    np.testing.assert_allclose(stars.short_px[list(CORNERS)], min(along, across), rtol=1e-3)
    assert (np.sign(stars.stretch[list(CORNERS)]) == (1 if error_mm < 0 else -1)).all()
    np.testing.assert_allclose(stars.long_px[CENTRE], FAULTLESS_PX, rtol=1e-3)


def test_a_drift_is_the_same_everywhere():
    """Derivation: a trail of 3 px adds 9/12 px² along its direction, in every place."""
    still, moved = picture().stars, picture(drift_px=3.0, drift_direction_deg=35.0).stars
    assert moved.long_px[CENTRE] == pytest.approx(2.35482 * np.sqrt(SIGMA2_PX2 + 0.75), rel=1e-3)
    assert moved.short_px[CENTRE] == pytest.approx(FAULTLESS_PX, rel=1e-3)
    np.testing.assert_allclose(moved.angle_deg, 35.0, atol=0.5)
    gained = moved.width_px**2 - still.width_px**2
    np.testing.assert_allclose(gained, gained[CENTRE], rtol=1e-9)


def test_a_tilt_lengthens_one_side_and_turns_the_other():
    """Derivation: 15′ over 7 mm is 30.5 µm, too far on the right; there the stars point to the centre."""
    stars = picture(tilt_x_arcmin=15.0).stars
    along, across = by_hand_px(7e3 * np.tan(np.radians(0.25)), HALF_ZONE_UM * (7.0 / 8.5446) ** 2)
    assert stars.long_px[5] == pytest.approx(along, rel=1e-3)
    assert stars.short_px[5] == pytest.approx(across, rel=1e-3)
    assert stars.stretch[5] > 0.05
    assert stars.stretch[3] == pytest.approx(-stars.stretch[5])
    upright = picture(tilt_y_arcmin=15.0).stars
    assert upright.stretch[7] > 0 > upright.stretch[1]
    assert abs(upright.stretch[5]) < 1e-9


def test_a_decentred_lens_draws_one_flare_everywhere():
    """Derivation: variance length²/18 along the flare, length²/54 across it (rays, tests of the optics)."""
    stars = picture(coma_um=21.0, coma_direction_deg=120.0).stars
    expected = 2.35482 * np.sqrt(SIGMA2_PX2 + 36.0 * np.array([1 / 18, 1 / 54]))
    np.testing.assert_allclose([stars.long_px[CENTRE], stars.short_px[CENTRE]], expected, rtol=1e-3)
    assert stars.angle_deg[CENTRE] == pytest.approx(-60.0)


def test_the_tiles_show_stars_of_these_numbers():
    """Derivation: flux and second moments summed over the drawn pixels, by numpy; 1 % of light may be cut off."""
    seen = picture(spacing_error_mm=-1.0, drift_px=2.0, drift_direction_deg=90.0)
    columns, rows = TILE_PX
    assert seen.tiles_e.shape == (3 * rows, 3 * columns)
    y, x = np.mgrid[:rows, :columns]
    for place in range(9):
        down, left = rows * (place // 3), columns * (place % 3)
        tile = seen.tiles_e[down : down + rows, left : left + columns].astype(float)
        assert tile.sum() == pytest.approx(TILE_STAR_E, rel=0.01)
        centre = [(part * tile).sum() / tile.sum() for part in (x, y)]
        np.testing.assert_allclose(centre, [columns // 2, rows // 2], atol=0.01)
        moments = np.cov(x.ravel(), y.ravel(), aweights=tile.ravel(), ddof=0)
        short, long = 2.35482 * np.sqrt(np.linalg.eigvalsh(moments))
        np.testing.assert_allclose(
            [long, short], [seen.stars.long_px[place], seen.stars.short_px[place]], rtol=0.02
        )


def test_map_and_curve_agree_with_the_stars():
    """Derivation: the map's corners, edges and middle are the nine places; the curve passes the present spacing."""
    seen = picture(spacing_error_mm=-1.5, tilt_x_arcmin=10.0)
    np.testing.assert_allclose(seen.map_px[[0, 10, 20]][:, [0, 14, 28]].ravel(), seen.stars.width_px)
    assert seen.curve_px[15] == pytest.approx(seen.stars.width_px[list(CORNERS)].mean())
    assert figure.SPACINGS_MM[15] == pytest.approx(-1.5)
    assert seen.peak_e == pytest.approx(picture().tiles_e.max(), rel=1e-3)


def test_range_holds_the_model_parameter():
    """Derivation: spreads alone give a narrower range than spreads and the unknown rest of the flattener."""
    seen = nine_stars.with_range(picture(spacing_error_mm=-2.0), BALCONY)
    low, high = seen.widest_68_px
    assert low < seen.widest_px < high
    rig = BALCONY.draw(400, 1)
    fixed = nine_stars.train(rig)
    drawn = [
        nine_stars.stars_at(
            fixed._replace(**{name: np.broadcast_to(getattr(fixed, name), 400)[k] for name in _DRAWN}),
            Causes(spacing_error_mm=-2.0),
            across=nine_stars.ACROSS,
            up=nine_stars.UP,
        ).width_px.max()
        for k in range(200)
    ]
    assert high - low > np.diff(np.percentile(drawn, [16, 84]))[0]


_DRAWN = ("f_ratio", "half_zone_um", "round_um", "astigmatism_um", "tolerance_mm")

# When to focus again


def test_next_refocus_of_the_balcony():
    """Derivation: 33.48 µm over 23.1e-6 · 320,000 µm = 4.530 K of 5 K in a straight line through the dark hours."""
    found = nine_stars.next_refocus(BALCONY)
    assert found.after_k == pytest.approx(33.484 / (23.1e-6 * 320e3), rel=1e-3)
    night = dark_window(latitude_deg=52.4, longitude_deg=10.5, date=dt.date(2026, 10, 10))
    expected = night.start_utc + (night.end_utc - night.start_utc) * (4.5298 / 5.0)
    assert len(found.times_utc) == 1
    assert abs((found.times_utc[0] - expected).total_seconds()) < 60
    assert f"{expected:%H:%M}" in found.words()


def test_share_of_nights_that_need_it():
    """Derivation: cooling 5 ± 2.83 K against 4.53 K with 10 % spread, by throwing dice; 2,000 draws: ± 0.03."""
    dice = np.random.default_rng(7)
    cooled = 5 + np.hypot(2, 2) * dice.standard_normal(100_000)
    zone = 4.53 * (1 + 0.03 * dice.standard_normal(100_000))
    assert nine_stars.next_refocus(BALCONY).chance == pytest.approx(np.mean(np.abs(cooled) > zone), abs=0.03)


def test_refocus_more_often_never_or_on_no_night():
    """Derivation: three times the cooling, three times over; carbon grows 23 times less; no darkness, no answer."""
    cold = BALCONY.replace({"night.air_end_degc": -7.0})
    assert len(nine_stars.next_refocus(cold).times_utc) == 3
    warm = BALCONY.replace({"night.air_end_degc": 18.0})
    assert len(nine_stars.next_refocus(warm).times_utc) == 2
    assert "warms by 10.0 K" in nine_stars.next_refocus(warm).words()
    carbon = nine_stars.next_refocus(BALCONY.replace({"optics.tube": "carbon"}))
    assert carbon.times_utc == ()
    assert "lasts until dawn" in carbon.words()
    assert carbon.chance < 0.1
    assert nine_stars.next_refocus(BALCONY, date=dt.date(2026, 6, 21)) is None


# What the panel says


@pytest.mark.parametrize(
    ("causes", "words"),
    [
        ({}, "Good: no star is more than 10 % wider"),
        ({"spacing_error_mm": -1.5}, "too close, make the spacer longer"),
        ({"spacing_error_mm": 1.5}, "too far, make the spacer shorter"),
        ({"tilt_x_arcmin": 15.0}, "the sensor is tilted"),
        ({"tilt_y_arcmin": -15.0}, "the sensor is tilted"),
        ({"tilt_x_arcmin": -15.0, "spacing_error_mm": 1.0}, "the sensor is tilted"),
        ({"focus_um": -37.0}, "focus first"),
        ({"focus_um": 60.0}, "focus first"),
        ({"drift_px": 3.0, "drift_direction_deg": 35.0}, "the mount drifts"),
    ],
)
def test_the_verdict_names_the_first_thing_to_mend(causes, words):
    """Derivation: the order mount, focus, tilt, spacing, read from the stars alone."""
    said = verdict(picture(**causes))
    assert words in said
    if "spacing" not in str(causes):
        assert "spacer longer" not in said
        assert "spacer shorter" not in said


def test_a_forgotten_filter_and_a_cold_tube(panel):
    """Source: reference row FOC-06 for the glass (0.68 mm), FOC-11 for aluminium (−7.4 µm for each kelvin)."""
    for words, expected in {
        "2 mm filter forgotten": {"spacing_error_mm": pytest.approx(-0.68, abs=0.05)},
        "Tube 5 K colder": {"focus_um": pytest.approx(-83.16 / 10 / 360 * 320 * 5, abs=0.6)},
    }.items():
        for name, value in expected.items():
            assert panel.presets[words][name] == value
    panel.set(**panel.presets["2 mm filter forgotten"])
    assert "make the spacer longer" in str(panel)
    panel.reset()


def test_the_guess_stands_where_its_ring_would_leave_the_spacing(panel):
    """Source: reference row FOC-06: a guess of 0 leaves 0.68 mm too close, the right guess stands at 0."""
    for guess, place in ((0.0, -0.684), (0.684, 0.0), (2.0, 1.316), (-2.0, -2.684)):
        panel.ghost = guess
        assert panel._artists.ghost.get_xdata()[0] == pytest.approx(place, abs=0.004)
        assert panel._artists.ghost.get_visible()
    panel.ghost = None
    assert not panel._artists.ghost.get_visible()


def test_words_for_a_place():
    """Derivation: a trail towards 35° points to the centre in one pair of corners and circles it in the other."""
    stars = picture(drift_px=3.0, drift_direction_deg=35.0).stars
    assert figure.points(stars, UPPER_RIGHT) == figure.points(stars, LOWER_LEFT) == "points to the centre"
    assert figure.points(stars, UPPER_LEFT) == figure.points(stars, LOWER_RIGHT) == "circles the centre"
    assert figure.points(stars, CENTRE) == "long"
    assert figure.points(picture().stars, UPPER_LEFT) == "round"


# The lesson's questions: slips of its own


def test_radians_and_a_subtracted_glass_are_named(monkeypatch, tmp_path):
    """Derivation: 0.020/14 rad; 1.03 mm of glass taken away instead of added."""
    lesson = lesson_of("08-flat-field", monkeypatch, tmp_path)
    assert lesson.answer("tilt", 0.020 / 14).slip == "radians"
    assert "longer" in lesson.answer("faded", 13.47).text
    assert lesson.answer("spacer", optics.spacer_mm).correct
    wrong = lesson.answer("spacer", lambda **k: -optics.spacer_mm(**k))
    assert "sign" in wrong.text
    assert not lesson.answer("spacer", lambda **_: ...).correct
