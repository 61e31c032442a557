"""The axis from solved pictures, and the turns of its screws: a mount of rigid bodies as the oracle."""

from __future__ import annotations

import warnings

import erfa
import numpy as np
import pytest
from rigid_body import EAST, UP, celestial_pole, screwed_axis, turn
from support import assert_broadcasts, assert_row, rows

import workbook.alignment.frames as frames
import workbook.alignment.screws as screws

ROWS = rows("geometry.csv")


def errors(azimuth, altitude):
    return {"azimuth_error_arcmin": azimuth, "altitude_error_arcmin": altitude}


def pictures(*, error, latitude, radius_deg, angles_deg):
    """Middles of pictures of a camera at a radius from the axis, the axis turned by a motor."""
    axis = screwed_axis(**errors(*error), latitude_deg=latitude)
    beside = np.cross(axis, UP) / np.linalg.norm(np.cross(axis, UP))
    start = turn(axis, beside, np.radians(radius_deg))
    return np.array([turn(start, axis, angle) for angle in np.radians(angles_deg)])


def fit(views, latitude, **changed):
    ask = {"position_sigma_arcsec": 2, "draws": 200, "seed": 1} | changed
    return frames.fit_axis(directions=views, latitude_deg=latitude, **ask)


@pytest.mark.parametrize("latitude", [52.4, -34, 1.3, 80])
@pytest.mark.parametrize("radius", [3, 40, 90, 110])
@pytest.mark.parametrize("error", [(0, 0), (40, -25), (-300, 120)])
def test_fit_finds_the_axis_that_was_screwed(latitude, radius, error):
    """Three pictures over 70° and eight in any order, free of noise: to the rounding, 1e-4′."""
    for angles in ([-35, 0, 35], [200, 10, -60, 20, 90, 0, 130, 45]):
        views = pictures(error=error, latitude=latitude, radius_deg=radius, angles_deg=angles)
        found = fit(views, latitude)
        assert found[:2] == pytest.approx(error, abs=1e-4)
        assert found.radius_deg == pytest.approx(radius, abs=1e-6)
        assert found.residual_arcsec < 1e-3
        gaps = np.diff(np.sort(np.append(np.mod(angles, 360), min(np.mod(angles, 360)) + 360)))
        assert found.span_deg == pytest.approx(360 - gaps.max(), abs=1e-6)


@pytest.mark.parametrize(("angles", "radius"), [([-30, 0, 30], 60), (np.linspace(-40, 50, 7), 90)])
def test_bootstrap_is_the_scatter_of_many_nights(angles, radius):
    """1,500 nights with 3″ of noise each way; standard deviations within 12 % (three sigma of both)."""
    rng, latitude = np.random.default_rng(4), 52.4
    views = pictures(error=(30, 10), latitude=latitude, radius_deg=radius, angles_deg=angles)
    nights = []
    for _ in range(1500):
        noisy = views + np.radians(3 / 3600) * rng.standard_normal(views.shape)
        noisy /= np.linalg.norm(noisy, axis=-1, keepdims=True)
        nights.append(fit(noisy, latitude, position_sigma_arcsec=3, draws=20)[:2])
    found = fit(views, latitude, position_sigma_arcsec=3, draws=2000)
    scatter = np.std(nights, axis=0)
    np.testing.assert_allclose(np.sqrt(np.diag(found.covariance_arcmin2)), scatter, rtol=0.12)
    np.testing.assert_allclose(np.mean(nights, axis=0), [30, 10], atol=4 * scatter.max() / np.sqrt(1500))


def test_bootstrap_believes_the_residuals_where_they_are_larger():
    """Twenty pictures with 20″ of noise but 1″ claimed: the uncertainty is that of 20″, within a third."""
    rng = np.random.default_rng(9)
    views = pictures(error=(0, 0), latitude=50, radius_deg=70, angles_deg=np.linspace(-60, 60, 20))
    noisy = views + np.radians(20 / 3600) * rng.standard_normal(views.shape)
    noisy /= np.linalg.norm(noisy, axis=-1, keepdims=True)
    claimed = fit(noisy, 50, position_sigma_arcsec=1, draws=1000)
    honest = fit(views, 50, position_sigma_arcsec=20, draws=1000)
    np.testing.assert_allclose(
        np.sqrt(np.diag(claimed.covariance_arcmin2)), np.sqrt(np.diag(honest.covariance_arcmin2)), rtol=0.35
    )
    again = fit(noisy, 50, position_sigma_arcsec=1, draws=1000)
    np.testing.assert_array_equal(again.covariance_arcmin2, claimed.covariance_arcmin2)


def test_wider_turns_know_the_axis_better_and_narrow_ones_warn():
    spread = []
    for half in (20, 40, 80):
        views = pictures(error=(5, 5), latitude=50, radius_deg=80, angles_deg=[-half, 0, half])
        spread.append(np.trace(fit(views, 50).covariance_arcmin2))
    assert spread[0] > 4 * spread[1] > 8 * spread[2]
    narrow = pictures(error=(5, 5), latitude=50, radius_deg=80, angles_deg=[0, 10, 25])
    with pytest.warns(
        UserWarning, match="the pictures cover 25° of turn, less than 30°: the axis is poorly known"
    ):
        fit(narrow, 50)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit(pictures(error=(5, 5), latitude=50, radius_deg=80, angles_deg=[0, 10, 31]), 50)


def test_frame_directions_are_erfas():
    """ERFA's hd2ae at sidereal time less right ascension."""
    ra, dec, sidereal = (
        np.array([80.0, 200.0, 359.0]),
        np.array([20.0, -40.0, 88.0]),
        np.array([35.0, 300.0, 2.0]),
    )
    azimuth, altitude = erfa.hd2ae(*np.radians([sidereal - ra, dec, np.full(3, -34.0)]))
    vectors = erfa.s2c(np.pi / 2 - azimuth, altitude)  # counted from east
    found = frames.frame_directions(ra_deg=ra, dec_deg=dec, sidereal_time_deg=sidereal, latitude_deg=-34)
    np.testing.assert_allclose(found, vectors, atol=1e-12)


THREE = pictures(error=(5, 5), latitude=50, radius_deg=80, angles_deg=[-40, 0, 40])


@pytest.mark.parametrize(
    ("views", "changed", "words"),
    [
        (
            THREE[:2],
            {},
            r"three or more vectors .* received the shape \(2, 3\): two pictures leave the circle",
        ),
        (THREE[0], {}, r"received the shape \(3,\)"),
        (2 * THREE, {}, r"vectors of length 1, received lengths \[2"),
        (THREE * np.nan, {}, r"vectors of length 1"),
        (THREE[[0, 0, 0]], {}, r"must cover 1° of turn or more and lie well apart"),
        (THREE, {"draws": 5}, r"draws must be 20 to 20000, received 5"),
        (THREE, {"position_sigma_arcsec": 0}, r"position_sigma_arcsec must be above 0 ″, received 0 ″"),
        (THREE, {"position_sigma_arcsec": 90000}, r"lie well apart"),
    ],
)
def test_fit_refuses(views, changed, words):
    with pytest.raises(ValueError, match=words):
        fit(views, 50, **changed)


# Screws


def test_bolt():
    """Reference row MEC-16."""
    assert_row(ROWS["MEC-16"], screws.bolt_arcmin_turn(pitch_mm=1, lever_mm=150))
    assert_broadcasts(screws.bolt_arcmin_turn, pitch_mm=1.25, lever_mm=80)
    with pytest.raises(ValueError, match="lever_mm must be above 0 mm, received 0 mm"):
        screws.bolt_arcmin_turn(pitch_mm=1, lever_mm=0)


class Head:
    """A mount's head on a leaning base: two screws that turn it about its own upright and its own hinge."""

    def __init__(self, *, latitude, error, lean_east, lean_north, per_turn):
        self.latitude, self.per_turn = latitude, per_turn
        self.side = -1 if latitude < 0 else 1
        self.elevated = self.side * screwed_axis(**errors(*error), latitude_deg=latitude)
        self.upright = np.array([np.tan(np.radians(lean_east)), np.tan(np.radians(lean_north)), 1.0])
        self.upright /= np.linalg.norm(self.upright)

    def screw(self, azimuth_turns, altitude_turns):
        # seen from above clockwise, north goes to east; in the south, south goes to east the other way
        angle = np.radians(azimuth_turns * self.per_turn[0] / 60)
        self.elevated = turn(self.elevated, self.upright, -self.side * angle)
        hinge = np.cross(self.elevated, self.upright)
        self.elevated = turn(
            self.elevated, hinge / np.linalg.norm(hinge), np.radians(altitude_turns * self.per_turn[1] / 60)
        )

    def errors(self):
        azimuth = np.degrees(np.arctan2(self.elevated @ EAST, self.side * self.elevated[1])) * 60
        return azimuth, (np.degrees(np.arcsin(self.elevated[2])) - abs(self.latitude)) * 60


@pytest.mark.parametrize("latitude", [52.4, -34, 1.3])
@pytest.mark.parametrize("lean", [(0, 0), (2, 0), (-3, 4)])
def test_response_is_that_of_a_head_on_a_leaning_base(latitude, lean):
    """A hundredth of a turn either way of each screw; good to 1e-4 of the larger entry."""
    response = screws.screw_response_arcmin_turn(
        azimuth_arcmin_turn=30,
        altitude_arcmin_turn=-22.9,
        tilt_east_deg=lean[0],
        tilt_north_deg=lean[1],
        latitude_deg=latitude,
    )
    for column, turns in enumerate(((0.01, 0), (0, 0.01))):
        ends = []
        for sign in (1, -1):
            head = Head(
                latitude=latitude, error=(0, 0), lean_east=lean[0], lean_north=lean[1], per_turn=(30, -22.9)
            )
            head.screw(sign * turns[0], sign * turns[1])
            ends.append(np.array(head.errors()))
        np.testing.assert_allclose(response[:, column], (ends[0] - ends[1]) / 0.02, atol=3e-3)
    if lean == (0, 0):
        np.testing.assert_allclose(response, [[30, 0], [0, -22.9]], atol=1e-6)


@pytest.mark.parametrize("latitude", [52.4, -34])
def test_two_rounds_bring_a_leaning_head_to_the_pole(latitude):
    """1° off on a base 3° out of level: after the second round of the advice less than 0.3′ is left."""
    head = Head(latitude=latitude, error=(60, -45), lean_east=3, lean_north=-2, per_turn=(25, 18))
    response = screws.screw_response_arcmin_turn(
        azimuth_arcmin_turn=25,
        altitude_arcmin_turn=18,
        tilt_east_deg=3,
        tilt_north_deg=-2,
        latitude_deg=latitude,
    )
    for _ in range(2):
        advice = screws.screw_turns(
            **errors(*head.errors()), response_arcmin_turn=response, latitude_deg=latitude
        )
        head.screw(advice.azimuth_turns, advice.altitude_turns)
    np.testing.assert_allclose(head.errors(), 0, atol=0.3)


@pytest.mark.parametrize("latitude", [52.4, -34])
def test_the_advice_learns_from_the_last_adjustment(latitude):
    """Turns per arcminute believed 40 % wrong and a base not known to lean: two measured rounds teach both."""
    head = Head(latitude=latitude, error=(-50, 70), lean_east=4, lean_north=0, per_turn=(21, 30))
    response = np.diag([35.0, 20.0])
    made, seen = [], []
    for _ in range(3):
        before = np.array(head.errors())
        advice = screws.screw_turns(**errors(*before), response_arcmin_turn=response, latitude_deg=latitude)
        head.screw(advice.azimuth_turns, advice.altitude_turns)
        made.append(advice[:2])
        seen.append(np.array(head.errors()) - before)
        turns, changes = np.array(made).T, np.array(seen).T
        response = screws.learnt_response_arcmin_turn(
            response_arcmin_turn=response,
            azimuth_turns=turns[0],
            altitude_turns=turns[1],
            azimuth_change_arcmin=changes[0],
            altitude_change_arcmin=changes[1],
        )
    np.testing.assert_allclose(head.errors(), 0, atol=1.5)
    true = screws.screw_response_arcmin_turn(
        azimuth_arcmin_turn=21,
        altitude_arcmin_turn=30,
        tilt_east_deg=4,
        tilt_north_deg=0,
        latitude_deg=latitude,
    )
    np.testing.assert_allclose(response, true, atol=0.06 * 30)


def test_learning_by_hand():
    """Derivation: one screw turned alone teaches its own column; two rounds give the response itself."""
    true = np.array([[24.0, 1.5], [-2.0, 17.0]])
    turns = np.array([[1.0, -0.5], [0.25, 2.0]])
    changes = true @ turns
    ask = {"response_arcmin_turn": [[30, 0], [0, 20]]}
    alone = screws.learnt_response_arcmin_turn(
        **ask, azimuth_turns=2, altitude_turns=0, azimuth_change_arcmin=48, altitude_change_arcmin=-4
    )
    np.testing.assert_allclose(alone, [[24, 0], [-2, 20]], atol=1e-12)
    both = screws.learnt_response_arcmin_turn(
        **ask,
        azimuth_turns=turns[0],
        altitude_turns=turns[1],
        azimuth_change_arcmin=changes[0],
        altitude_change_arcmin=changes[1],
    )
    np.testing.assert_allclose(both, true, atol=1e-12)


@pytest.mark.parametrize(
    ("latitude", "error", "words"),
    [
        (52.4, (30, -10), ("west", "left", "up")),
        (52.4, (-30, 10), ("east", "right", "down")),
        (-34, (30, -10), ("west", "right", "up")),
        (-34, (0, 0), ("", "", "")),
    ],
)
def test_advice_says_where_the_axis_goes(latitude, error, words):
    """Facing north east is at the right hand, facing south at the left."""
    advice = screws.screw_turns(
        **errors(*error), response_arcmin_turn=[[30, 0], [0, 20]], latitude_deg=latitude
    )
    assert advice[2:] == words
    assert advice[:2] == pytest.approx((-error[0] / 30, -error[1] / 20))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: screws.screw_turns(
                **errors(1, 1), response_arcmin_turn=[[1, 2], [1, 2.01]], latitude_deg=5
            ),
            r"response_arcmin_turn must hold two different screws, .* both do nearly the same",
        ),
        (
            lambda: screws.screw_turns(**errors(1, 1), response_arcmin_turn=[1, 2], latitude_deg=5),
            r"must be 2 × 2 finite numbers",
        ),
        (
            lambda: screws.screw_turns(**errors(np.nan, 1), response_arcmin_turn=np.eye(2), latitude_deg=5),
            r"must be finite, received NaN",
        ),
        (
            lambda: screws.screw_response_arcmin_turn(
                azimuth_arcmin_turn=0,
                altitude_arcmin_turn=1,
                tilt_east_deg=0,
                tilt_north_deg=0,
                latitude_deg=5,
            ),
            r"azimuth_arcmin_turn must not be 0 ′/turn",
        ),
        (
            lambda: screws.learnt_response_arcmin_turn(
                response_arcmin_turn=np.eye(2),
                azimuth_turns=0,
                altitude_turns=0,
                azimuth_change_arcmin=1,
                altitude_change_arcmin=1,
            ),
            r"must not all be 0",
        ),
        (
            lambda: screws.learnt_response_arcmin_turn(
                response_arcmin_turn=np.eye(2),
                azimuth_turns=[1, 2],
                altitude_turns=[0],
                azimuth_change_arcmin=1,
                altitude_change_arcmin=1,
            ),
            r"must have one length, received 2, 1, 1, 1",
        ),
        (
            lambda: screws.learnt_response_arcmin_turn(
                response_arcmin_turn=np.eye(2),
                azimuth_turns=[np.nan],
                altitude_turns=[0],
                azimuth_change_arcmin=[1],
                altitude_change_arcmin=[1],
            ),
            r"must be finite, received NaN or inf: leave that adjustment out",
        ),
    ],
)
def test_screws_refuse(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_pole_of_the_oracle():
    """The head of the oracle starts on the pole of the rigid body."""
    head = Head(latitude=-34, error=(0, 0), lean_east=0, lean_north=0, per_turn=(1, 1))
    np.testing.assert_allclose(head.elevated, -celestial_pole(-34), atol=1e-15)
