"""Rough set-ups, a base out of level, one target, and re-checks: a rigid body, chance, and screws by search."""

from __future__ import annotations

import numpy as np
import pytest
from rigid_body import (
    EAST,
    NORTH,
    OMEGA_RAD_S,
    UP,
    celestial_pole,
    one_axis,
    screwed_axis,
    sky_triad,
    turn,
    two_axes,
)
from scipy.optimize import brentq
from support import assert_broadcasts

import workbook.alignment.keep as keep
import workbook.alignment.level as level
import workbook.alignment.rough as rough
from workbook import pointing, rotation

ARCSEC = np.degrees(1) * 3600
SIGMAS = {
    "compass_sigma_deg": 2.0,
    "inclinometer_sigma_deg": 0.3,
    "level_sigma_deg": 0.5,
    "clock_sigma_s": 60.0,
    "azimuth_rate_arcsec_s": 20.0,
}
NONE = dict.fromkeys(SIGMAS, 0.0)


def errors(azimuth, altitude):
    return {"azimuth_error_arcmin": azimuth, "altitude_error_arcmin": altitude}


def set_up(*, latitude, azimuth_deg, altitude_deg, lean_east_deg, lean_north_deg, by_gravity):
    """A head set on a level base and tipped with it; returns its elevated end. Rigid body."""
    side = -1 if latitude < 0 else 1
    elevated = turn(side * NORTH, EAST, side * np.radians(abs(latitude) + altitude_deg))
    elevated = turn(elevated, UP, -side * np.radians(azimuth_deg))
    lean = np.hypot(lean_east_deg, lean_north_deg)
    if lean > 0:
        line = np.cross(UP, [lean_east_deg, lean_north_deg, 0]) / lean
        elevated = turn(elevated, line, np.radians(lean))
    if by_gravity:  # the altitude screw is turned until the inclinometer shows what was wanted
        lift = np.radians(abs(latitude) + altitude_deg) - np.arcsin(elevated @ UP)
        hinge = np.cross(elevated, UP)
        elevated = turn(elevated, hinge / np.linalg.norm(hinge), lift)
    return elevated


@pytest.mark.parametrize("latitude", [52.4, -34])
@pytest.mark.parametrize("altitude_from", rough.REFERENCES)
def test_rough_draws_are_rigid_bodies(latitude, altitude_from):
    """20,000 draws against 3,000 heads set up one by one with other random numbers; 6 % of sigma, 3 of quantiles."""
    rng = np.random.default_rng(17)
    side = -1 if latitude < 0 else 1
    distances, parts = [], []
    for _ in range(3000):
        end = set_up(
            latitude=latitude,
            azimuth_deg=2 * rng.standard_normal() + 60 * 20 / 3600 * rng.standard_normal(),
            altitude_deg=0.3 * rng.standard_normal(),
            lean_east_deg=0.5 * rng.standard_normal(),
            lean_north_deg=0.5 * rng.standard_normal(),
            by_gravity=altitude_from == "gravity",
        )
        distances.append(np.degrees(np.arccos(end @ (side * celestial_pole(latitude)))) * 60)
        parts.append(
            [np.degrees(np.arctan2(end[0], side * end[1])), np.degrees(np.arcsin(end[2])) - abs(latitude)]
        )
    found = rough.rough_draws(
        **SIGMAS, altitude_from=altitude_from, latitude_deg=latitude, draws=20_000, seed=1
    )
    np.testing.assert_allclose(np.std(found[:2], axis=1), 60 * np.std(parts, axis=0), rtol=0.06)
    shares = [0.5, 0.9]
    np.testing.assert_allclose(
        np.quantile(found.pole_error_arcmin, shares), np.quantile(distances, shares), rtol=0.06
    )
    budget = rough.rough_budget(**SIGMAS, altitude_from=altitude_from, latitude_deg=latitude)
    assert np.sqrt(np.mean(np.square(distances))) == pytest.approx(budget.total_arcmin, rel=0.04)


@pytest.mark.parametrize(
    ("cause", "by_hand", "name"),
    [
        ({"compass_sigma_deg": 2}, (120 * np.cos(np.radians(52.4)), 0), "compass"),
        ({"inclinometer_sigma_deg": 0.3}, (0, 18), "inclinometer"),
        ({"level_sigma_deg": 0.5}, (30 * np.sin(np.radians(52.4)), 30), "level"),
        (
            {"clock_sigma_s": 90, "azimuth_rate_arcsec_s": -20},
            (30 * np.cos(np.radians(52.4)), 0),
            "clock",
        ),
    ],
)
def test_each_cause_alone_by_hand(cause, by_hand, name):
    """Derivation: azimuth counts by cos φ, a lean sideways by sin φ; and the draws agree within 5 %."""
    ask = NONE | cause | {"altitude_from": "base", "latitude_deg": 52.4}
    found = rough.rough_budget(**ask)
    assert (found.east_arcmin, found.high_arcmin) == pytest.approx(by_hand)
    assert found.total_arcmin == pytest.approx(np.hypot(*by_hand))
    assert getattr(found, f"{name}_arcmin") == pytest.approx(found.total_arcmin)
    assert found.largest == name
    cloud = rough.rough_draws(**ask, draws=20_000, seed=3)
    on_sky = (
        np.std(cloud.azimuth_error_arcmin) * np.cos(np.radians(52.4)),
        np.std(cloud.altitude_error_arcmin),
    )
    np.testing.assert_allclose(on_sky, by_hand, rtol=0.05, atol=0.6)  # 0.6: the second order of 2°


def test_a_base_leans_where_it_is_said_to():
    """The upright of a base that leans 3° to the east and 4° to the north stands 5° off, that way."""
    upright = rough._tipped(UP[None], np.radians([3.0]), np.radians([4.0]))[0]
    np.testing.assert_allclose(
        upright, np.append(np.sin(np.radians(5)) * np.array([0.6, 0.8]), np.cos(np.radians(5)))
    )


def test_rough_ends_and_errors():
    ask = {"altitude_from": "gravity", "latitude_deg": -34}
    assert rough.rough_budget(**NONE, **ask).total_arcmin == 0
    assert rough.rough_budget(**NONE, **ask).largest == ""
    np.testing.assert_allclose(rough.rough_draws(**NONE, **ask, draws=5, seed=1), 0, atol=1e-9)
    one, again = (rough.rough_draws(**SIGMAS, **ask, draws=50, seed=4) for _ in range(2))
    np.testing.assert_array_equal(one, again)
    with pytest.raises(ValueError, match="altitude_from must be one of 'gravity', 'base', received 'map'"):
        rough.rough_budget(**SIGMAS, **ask | {"altitude_from": "map"})
    with pytest.raises(ValueError, match="compass_sigma_deg must be 0 or more °, received -1 °"):
        rough.rough_draws(**SIGMAS | {"compass_sigma_deg": -1}, **ask, draws=5, seed=1)
    with pytest.raises(ValueError, match="draws must be 1 to 200000, received 0"):
        rough.rough_draws(**SIGMAS, **ask, draws=0, seed=1)


# Level

STAR = {"altitude_deg": 40.0, "azimuth_deg": 160.0}


@pytest.mark.parametrize("latitude", [52.4, -34, 1.3])
@pytest.mark.parametrize("towards", [0, 70, 200])
def test_level_and_north_is_a_rigid_turn(latitude, towards):
    """The whole mount turned about a level line: where its star and its pole went, and how the star then drifts."""
    lean = np.radians(2)
    line = np.cross(UP, [np.sin(np.radians(towards)), np.cos(np.radians(towards)), 0])
    star = pointing.direction(**STAR)
    pole = celestial_pole(latitude)
    found = level.level_effect(
        tilt_deg=2, tilt_azimuth_deg=towards, latitude_deg=latitude, mode="level and north", **STAR
    )
    missed = np.degrees(np.arccos(star @ turn(star, line, lean))) * 60
    assert found.pointing_error_arcmin == pytest.approx(missed, rel=1e-9)
    moved = turn(pole, line, lean)
    assert found.pole_error_arcmin == pytest.approx(
        np.degrees(np.arccos(pole @ moved)) * 60, rel=1e-9, abs=1e-4
    )
    # a centred star, then 10 s of a drive that turns about what it takes for the pole
    ends = [
        turn(star, pole, -sign * 10 * OMEGA_RAD_S) - turn(star, moved, -sign * 10 * OMEGA_RAD_S)
        for sign in (1, -1)
    ]
    drift = np.linalg.norm(ends[0] - ends[1]) / 2 * ARCSEC * 6
    assert found.drift_arcsec_min == pytest.approx(drift, rel=1e-4)
    turned = [
        two_axes(
            np.stack([turn(part, pole, 10 * OMEGA_RAD_S) for part in triad_of(star)]),
            axis=axis,
            pole=pole,
            hour_angle_deg=20 * np.degrees(OMEGA_RAD_S),
            steps=20,
        )
        for axis in (turn(UP, line, lean), UP)
    ]
    for mode in ("two stars", "level and north"):
        left = level.level_effect(
            tilt_deg=2, tilt_azimuth_deg=towards, latitude_deg=latitude, mode=mode, **STAR
        )
        assert left.rotation_change_deg_h == pytest.approx((turned[0] - turned[1]) * 180, abs=2e-3)


def triad_of(star):
    """A star and two directions square to it."""
    side = np.cross(star, UP)
    side /= np.linalg.norm(side)
    return np.stack([star, side, np.cross(star, side)])


def test_level_does_not_matter_to_an_aligned_mount_nor_to_a_model():
    """Derivation: nothing was believed about the level; only the azimuth screw climbs, by the sine of the lean."""
    ask = {"tilt_deg": 3, "tilt_azimuth_deg": [90, 0, 210], "latitude_deg": 50, **STAR}
    aligned = level.level_effect(**ask, mode="on the pole")
    np.testing.assert_array_equal(aligned[:4], np.zeros((4, 3)))
    np.testing.assert_allclose(
        aligned.screw_coupling, np.sin(np.radians(3)) * np.array([1, 0, 0.5]), atol=1e-12
    )
    model = level.level_effect(**ask, mode="two stars")
    np.testing.assert_array_equal(model[:3], np.zeros((3, 3)))
    assert (np.abs(model.rotation_change_deg_h) > 0.01).all()
    level_base = level.level_effect(**ask | {"tilt_deg": 0}, mode="level and north")
    np.testing.assert_allclose(level_base, np.zeros((5, 3)), atol=1e-9)


def test_level_shapes_and_errors():
    for mode in level.MODES:
        for field in level.LevelEffect._fields:
            call = lambda m=mode, f=field, **k: getattr(level.level_effect(mode=m, **k), f)  # noqa: E731
            assert_broadcasts(call, tilt_deg=2, tilt_azimuth_deg=80, latitude_deg=50, **STAR)
    with pytest.raises(ValueError, match="mode must be one of 'on the pole', 'two stars', 'level and north'"):
        level.level_effect(tilt_deg=1, tilt_azimuth_deg=0, latitude_deg=50, mode="level", **STAR)
    with pytest.raises(ValueError, match="tilt_deg must be 0 to 30 °, received 45 °"):
        level.level_effect(tilt_deg=45, tilt_azimuth_deg=0, latitude_deg=50, mode="on the pole", **STAR)


# One target


def north_drift(error, *, hour, latitude):
    """Declination drift of a rigid body with a screwed axis."""
    return one_axis(
        sky_triad(hour_angle_deg=hour, dec_deg=10, latitude_deg=latitude),
        axis=screwed_axis(**errors(*error), latitude_deg=latitude),
        pole=celestial_pole(latitude),
        seconds=1,
        steps=2,
    )[1]


@pytest.mark.parametrize("latitude", [52.4, -34, 1.3])
@pytest.mark.parametrize(
    ("screw", "hour"), [("azimuth", -30), ("azimuth", 50), ("altitude", -60), ("altitude", 35)]
)
def test_one_target_is_found_by_turning_the_screw(latitude, screw, hour):
    """The screw of a rigid body turned until its star stops drifting (brentq), then what it leaves; 0.05′."""
    start = (40.0, 25.0)
    if screw == "azimuth":
        turned = brentq(
            lambda a: north_drift((a, start[1]), hour=hour, latitude=latitude), -600, 600, xtol=1e-4
        )
        expected = (turned, start[1])
    else:
        turned = brentq(
            lambda a: north_drift((start[0], a), hour=hour, latitude=latitude), -600, 600, xtol=1e-4
        )
        expected = (start[0], turned)
    found = keep.one_target(
        **errors(*start),
        screw=screw,
        hour_angle_deg=hour,
        later_hour_angle_deg=hour + 45,
        dec_deg=10,
        latitude_deg=latitude,
    )
    assert found[:2] == pytest.approx(expected, abs=0.05)
    axis, pole = screwed_axis(**errors(*expected), latitude_deg=latitude), celestial_pole(latitude)
    east, north, spin = one_axis(
        sky_triad(hour_angle_deg=hour, dec_deg=10, latitude_deg=latitude), axis=axis, pole=pole, seconds=20
    )
    assert north == pytest.approx(0, abs=1e-3)
    assert found.drift_east_arcsec_min == pytest.approx(east, abs=5e-3)
    assert found.spin_unguided_deg_h == pytest.approx(spin, abs=1e-4)
    later = north_drift(expected, hour=hour + 45, latitude=latitude)
    assert found.later_drift_arcsec_min == pytest.approx(later, rel=2e-3, abs=2e-3)
    place = pointing.altaz(hour_angle_deg=hour, dec_deg=10, latitude_deg=latitude)
    guided = rotation.rotation_rate_deg_h(
        **place._asdict(),
        latitude_deg=latitude,
        axis_altitude_deg=np.degrees(np.arcsin(axis[2])),
        axis_azimuth_deg=np.degrees(np.arctan2(axis[0], axis[1])),
    )
    assert found.spin_guided_deg_h == pytest.approx(guided, abs=1e-4)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"screw": "azimuth", "hour_angle_deg": 89},
            r"azimuth screw acts on the drift, received 89 °: choose a star within 85°",
        ),
        (
            {"screw": "altitude", "hour_angle_deg": 2},
            r"altitude screw acts on the drift, received 2 °: choose a star 5°",
        ),
        ({"screw": "both"}, r"screw must be one of 'azimuth', 'altitude', received 'both'"),
        ({"latitude_deg": 89}, r"latitude_deg must be -88 to 88 °, received 89 °"),
    ],
)
def test_one_target_refuses(changed, words):
    ask = errors(5, 5) | {
        "screw": "azimuth",
        "hour_angle_deg": 20,
        "later_hour_angle_deg": 50,
        "dec_deg": 10,
        "latitude_deg": 50,
    }
    with pytest.raises(ValueError, match=words):
        keep.one_target(**ask | changed)


# Re-check

TIMES = np.array([0, 0.2, 1.0, 1.2, 2.0, 2.2, 3.0, 3.2])
HOURS = np.array([-70, 10, -55, 25, -40, 40, -25, 55])


def night(*, latitude, slope, sigma=0.0, seed=1):
    """Drifts of a rigid body whose wedge creeps, its errors 6′ and 2′ at the last measurement."""
    drifts = [
        north_drift(
            (6 + slope[0] * (t - TIMES[-1]), 2 + slope[1] * (t - TIMES[-1])), hour=h, latitude=latitude
        )
        for t, h in zip(TIMES, HOURS, strict=True)
    ]
    return np.array(drifts) + sigma * np.random.default_rng(seed).standard_normal(TIMES.size)


@pytest.mark.parametrize("latitude", [52.4, -34])
@pytest.mark.parametrize("slope", [(0, 0), (3, 0), (-2, 4)])
def test_recheck_finds_the_creep(latitude, slope):
    """Rigid body, free of noise: errors within 0.05′, slopes within 0.03′/h; it moves where it does."""
    found = keep.recheck(
        times_h=TIMES,
        hour_angles_deg=HOURS,
        drifts_arcsec_min=night(latitude=latitude, slope=slope),
        drift_sigma_arcsec_min=0.1,
        latitude_deg=latitude,
    )
    assert found[:4] == pytest.approx((6, 2, *slope), abs=0.05)
    assert found.moving == (slope != (0, 0))


def test_recheck_covariance_is_the_scatter_of_many_nights():
    """2,000 nights; standard deviations within 6 %, and a steady axis is called moving in 1.1 % of them.

    Three sigma of two free numbers: exp(−9/2).
    """
    still = night(latitude=52.4, slope=(0, 0))
    rng = np.random.default_rng(12)
    nights = [
        keep.recheck(
            times_h=TIMES,
            hour_angles_deg=HOURS,
            drifts_arcsec_min=still + 0.1 * rng.standard_normal(TIMES.size),
            drift_sigma_arcsec_min=0.1,
            latitude_deg=52.4,
        )
        for _ in range(2000)
    ]
    scatter = np.std([found[:4] for found in nights], axis=0)
    np.testing.assert_allclose(np.sqrt(np.diag(nights[0].covariance)), scatter, rtol=0.06)
    alarms = np.mean([found.moving for found in nights])
    assert alarms == pytest.approx(np.exp(-4.5), abs=0.008)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"times_h": TIMES[:4]}, r"five measurements or more, received 4, 8 and 8"),
        ({"drifts_arcsec_min": np.full(8, np.nan)}, r"must be finite, received NaN"),
        ({"hour_angles_deg": np.full(8, 10)}, r"too much alike: measure two directions about 90° apart"),
        ({"times_h": np.zeros(8)}, r"too much alike"),
        ({"drift_sigma_arcsec_min": -1}, r"drift_sigma_arcsec_min must be above 0"),
    ],
)
def test_recheck_refuses(changed, words):
    ask = {
        "times_h": TIMES,
        "hour_angles_deg": HOURS,
        "drifts_arcsec_min": np.zeros(8),
        "drift_sigma_arcsec_min": 0.1,
        "latitude_deg": 50,
    }
    with pytest.raises(ValueError, match=words):
        keep.recheck(**ask | changed)


def test_recheck_in_time():
    """The axis carried on minute by minute until it is outside (derivation: |e + v t|); to the minute."""
    creep = {"azimuth_error_arcmin": -4, "altitude_error_arcmin": 2, "latitude_deg": 52.4}
    slope = {"azimuth_slope_arcmin_h": 3, "altitude_slope_arcmin_h": -1}
    found = keep.recheck_after_h(**creep, **slope, tolerance_arcmin=6)
    minutes = np.arange(0, 1000) / 60
    off = np.hypot((-4 + 3 * minutes) * np.cos(np.radians(52.4)), 2 - minutes)
    assert found == pytest.approx(minutes[np.argmax(off > 6)], abs=1 / 60)
    still = {"azimuth_slope_arcmin_h": 0, "altitude_slope_arcmin_h": 0}
    assert keep.recheck_after_h(**creep, **still, tolerance_arcmin=6) == np.inf
    assert keep.recheck_after_h(**creep, **slope, tolerance_arcmin=1) == 0
    assert_broadcasts(keep.recheck_after_h, **creep, **slope, tolerance_arcmin=6)
