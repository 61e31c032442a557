"""The path of a star and its yield, against limits that are known exactly.

Whole nights are compared with an independent simulation in test_verdict.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from workbook import alignment, drive, passport, pointing, rotation, verdict
from workbook.verdict import PathTerms, path_terms, path_yield
from workbook.verdict.terms import WALK_OF_LAG

SUBS_S = np.array([2.0, 5.0, 10.0, 20.0, 40.0, 80.0])


def terms(
    *, gear=0.0, second=0.0, period=400.0, walk=0.0, ramp=(0.0, 0.0), tolerance=3.0, gusts=0.0, y_gear=0.0
):
    """One node with the given motions."""
    corner = np.tile(np.asarray(ramp, float), (4, 1)) if np.ndim(ramp) == 1 else np.asarray(ramp, float)
    turn = 2.0 * np.pi / period
    return PathTerms(
        amplitude_arcsec=np.array([[[gear / 2, second / 2], [y_gear / 2, 0.0]]]),
        omega_rad_s=np.array([[[turn, 2 * turn], [turn, 2 * turn]]]),
        phase_rad=np.zeros((1, 2)),
        walk_arcsec_sqrt_s=np.array([[walk, 0.0]]),
        ramp_arcsec_s=corner[None],
        slow_tolerance_arcsec=np.array([tolerance]),
        gusts_per_s=np.array([gusts]),
        gust_s=np.array([5.0]),
    )


def test_a_still_star_is_always_kept():
    """Derivation: no motion, no extent."""
    assert path_yield(terms(), sub_s=SUBS_S, phases=16, seed=0)[0] == pytest.approx(1.0)


@pytest.mark.parametrize("angle_deg", [0.0, 33.75, 90.0, 140.0])
def test_a_steady_drift_is_kept_until_it_passes_the_tolerance(angle_deg):
    """Derivation: the extent of a straight path is speed × time; the fan is at most 1.9 % short."""
    ramp = 0.1 * np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    kept = path_yield(terms(ramp=ramp), sub_s=[29.0, 31.0], phases=8, seed=0)[0]
    assert kept.tolist() == [1.0, 0.0]


def test_one_turning_corner_is_enough_to_lose_the_sub():
    """Derivation: all four corners must stay within the tolerance."""
    corners = np.zeros((4, 2))
    corners[2] = 0.2, 0.0
    assert path_yield(terms(ramp=corners), sub_s=[14.0, 16.0], phases=8, seed=0)[0].tolist() == [1.0, 0.0]


def test_gear_alone_agrees_with_the_gear_topic():
    """Derivation: with nothing else moving, the yield is that of drive.frame_yield (own oracle)."""
    ours = path_yield(terms(gear=50.0, second=12.0, tolerance=3.4), sub_s=SUBS_S, phases=2048, seed=0)[0]
    theirs = drive.frame_yield(
        sub_s=SUBS_S,
        peak_to_peak_arcsec=[50.0, 12.0],
        period_s=[400.0, 200.0],
        tolerance_arcsec=3.4,
        phase_deg=[0.0, 0.0],
    )
    np.testing.assert_allclose(ours, theirs, atol=0.004)


def test_random_walk_alone_follows_the_law_of_its_range():
    """Source: W. Feller 1951, Ann. Math. Stat. 22, 427: P(range ≤ r) = 1 + 8 Σ (−1)^k k Q(k r/σ√t).

    Tolerance: three standard errors of 8,000 paths and the coarseness of eight steps (together under 0.02).
    """
    k = np.arange(1, 200)
    for sub_s in (10.0, 30.0, 60.0):
        ratio = 3.0 / (0.3 * np.sqrt(sub_s))
        law = 1.0 + 8.0 * np.sum((-1.0) ** k * k * stats.norm.sf(ratio * k))
        many = [path_yield(terms(walk=0.3), sub_s=[sub_s], phases=2000, seed=seed) for seed in range(4)]
        assert np.mean(many) == pytest.approx(law, abs=0.02)


def test_a_circle_has_the_extent_of_its_diameter():
    """Derivation: equal sines on both axes; in a whole period no pair of points is further apart than 2 √2 A.

    Random phases of the two axes give ellipses between a line (extent 2 √2 A) and a circle (2 A).
    """
    for diameter, expected in ((1.9, 0.0), (2.9, 1.0)):
        whole = terms(gear=2.0, y_gear=2.0, period=50.0, tolerance=diameter)
        assert path_yield(whole, sub_s=[50.0], phases=64, seed=0)[0, 0] == pytest.approx(expected, abs=0.02)


def test_gusts_are_a_poisson_process():
    """Derivation: no event in sub + gust with probability exp(−rate (t + gust))."""
    kept = path_yield(terms(gusts=10 / 3600), sub_s=SUBS_S, phases=4, seed=0)[0]
    np.testing.assert_allclose(kept, np.exp(-(SUBS_S + 5.0) / 360.0), rtol=1e-6)


def test_longer_subs_are_never_kept_more_often():
    kept = path_yield(terms(gear=40.0, walk=0.3, ramp=(0.02, 0.03)), sub_s=SUBS_S, phases=64, seed=3)[0]
    assert np.all(np.diff(kept) <= 0)


@pytest.fixture(scope="module")
def night():
    rig = passport.scenario("balcony")
    sky = verdict.conditions(rig, target="M 33", date=rig["plan.date"])
    return rig.central(), sky.at(np.flatnonzero(sky.in_view)[::20])


def corners(rig, sky, mode, guided, **without):
    return path_terms(rig, sky, mode=mode, guided=guided, **without).ramp_arcsec_s


def test_the_corner_of_an_alt_az_frame_turns_at_the_textbook_rate(night):
    """Reference rows ALT-01 and ALT-04: the corner moves at its distance × Ω cos φ cos A / cos a."""
    rig, sky = night
    ramp = corners(rig, sky, "alt-az", False, without=frozenset({"axis", "refraction"}))
    rate = 15.041067 / 206264.806 * np.cos(np.radians(rig["site.latitude_deg"]))
    rate = rate * np.abs(np.cos(np.radians(sky.azimuth_deg))) / np.cos(np.radians(sky.altitude_deg))
    distance = 0.5 * np.hypot(4000, 2800) * 206.265 * 3.5 / 320.0
    np.testing.assert_allclose(
        np.linalg.norm(ramp, axis=-1), (rate * distance)[:, None] + np.zeros(4), rtol=1e-5
    )


def test_a_tilted_axis_drifts_at_most_omega_times_its_error(night):
    """Reference row POL-01: 0.26252″ a minute for each arcminute, at any declination; here 6′."""
    rig, sky = night
    ramp = corners(rig, sky, "tilted", False, without=frozenset({"rotation", "refraction"}))
    speed = 60.0 * np.linalg.norm(ramp[:, 0], axis=-1)
    assert speed.max() <= 6.0 * 0.26252 * 1.0001
    assert speed.min() >= 6.0 * 0.26252 * 0.5


@pytest.fixture(scope="module", params=[("balcony", "M 33"), ("southern-club", "NGC 253")])
def either_night(request):
    """A northern and a southern night."""
    name, target = request.param
    rig = passport.scenario(name)
    sky = verdict.conditions(rig, target=target, date=rig["plan.date"])
    return rig.central() | {"habits.axis_direction_deg": 20.0}, sky.at(np.flatnonzero(sky.in_view)[::30])


def _errors(rig):
    """The axis error of the passport as a person enters it: so much to the east, so much too high."""
    towards = np.radians(rig["habits.axis_direction_deg"])
    size = rig["habits.axis_error_drift_arcmin"]
    east = size * np.cos(towards) / np.cos(np.radians(rig["site.latitude_deg"]))
    return {
        "azimuth_error_arcmin": east,
        "altitude_error_arcmin": size * np.sin(towards),
        "latitude_deg": rig["site.latitude_deg"],
    }


def test_drift_of_the_tilted_axis_has_the_sign_of_the_topic(either_night):
    """Derivation: the same law in the topic alignment, which has its own oracles in both hemispheres."""
    rig, sky = either_night
    ramp = corners(rig, sky, "tilted", False, without=frozenset({"rotation", "refraction"}))[:, 0]
    drift = alignment.drift_arcsec_min(hour_angle_deg=sky.hour_angle_deg, dec_deg=sky.dec_deg, **_errors(rig))
    np.testing.assert_allclose(60.0 * ramp[:, 0], drift.east_arcsec_min, atol=0.01)
    np.testing.assert_allclose(60.0 * ramp[:, 1], drift.north_arcsec_min, atol=0.01)


def test_one_driven_axis_spins_the_field_as_the_topic_says(either_night):
    """Derivation: rotation.spin_one_axis_deg_h, tested against a rigid body; the corner moves by spin × distance."""
    rig, sky = either_night
    ramp = corners(rig, sky, "tilted", False, without=frozenset({"refraction"}))
    spin = rotation.spin_one_axis_deg_h(
        altitude_deg=sky.altitude_deg, azimuth_deg=sky.azimuth_deg, **_errors(rig)
    )
    half = 0.5 * 206.265 * rig["camera.pixel_um"] / rig["optics.focal_mm"]
    half = half * np.array([rig["camera.width_px"], rig["camera.height_px"]])
    turn = np.radians(spin) / 3600.0
    apart = ramp[:, 0] - ramp[:, 2]  # the corners + + and − −
    np.testing.assert_allclose(apart[:, 0], -2.0 * turn * half[1], atol=2e-6)
    np.testing.assert_allclose(apart[:, 1], 2.0 * turn * half[0], atol=2e-6)


def test_refraction_carries_the_star_along_its_altitude(night):
    """Derivation: the motion is that of the lift, and its part along declination has the cosine of q."""
    rig, sky = night
    with_air = corners(rig, sky, "tilted", False)[:, 0]
    without = corners(rig, sky, "tilted", False, without=frozenset({"refraction"}))[:, 0]
    q = pointing.parallactic_angle_deg(
        hour_angle_deg=sky.hour_angle_deg, dec_deg=sky.dec_deg, latitude_deg=rig["site.latitude_deg"]
    )
    lift = sky.refraction_rate_arcsec_s
    np.testing.assert_allclose((with_air - without)[:, 1], lift * np.cos(np.radians(q)), atol=1e-6)
    np.testing.assert_allclose((with_air - without)[:, 0], lift * np.sin(np.radians(q)), atol=1e-6)


def test_the_second_harmonic_turns_twice_as_fast(night):
    """Derivation: the definition; amplitudes are half of peak to peak, × cos δ on the sky."""
    rig, sky = night
    found = path_terms(rig, sky, mode="tilted", guided=False)
    turn = 2.0 * np.pi / rig["drive.gear_period_s"]
    np.testing.assert_allclose(found.omega_rad_s[:, 0], turn * np.array([1.0, 2.0]) + 0.0 * found.phase_rad)
    shrink = np.cos(np.radians(sky.dec_deg))[:, None]
    np.testing.assert_allclose(found.amplitude_arcsec[:, 0], shrink * [25.0, 6.0])
    np.testing.assert_allclose(found.phase_rad, np.radians([0.0, 60.0]) + 0.0 * found.phase_rad)


def test_a_guided_gear_lags_by_a_quarter_turn(night):
    """Derivation: what a loop of delay τ leaves of A sin ωt is its slope, A ω τ cos ωt, while ω τ is small."""
    rig, sky = night
    free = path_terms(rig, sky, mode="tilted", guided=False)
    held = path_terms(rig, sky, mode="tilted", guided=True)
    np.testing.assert_allclose(
        held.amplitude_arcsec, free.amplitude_arcsec * free.omega_rad_s * rig["guide.lag_s"]
    )
    np.testing.assert_allclose(held.phase_rad - free.phase_rad, np.pi / 2.0)


def test_guiding_holds_the_drift_and_leaves_flexure(night):
    rig, sky = night
    ramp = corners(rig, sky, "tilted", True, without=frozenset({"rotation"}))
    np.testing.assert_allclose(ramp[..., 0], 0.0, atol=1e-12)
    np.testing.assert_allclose(ramp[..., 1] * 60.0, rig["guide.flexure_arcsec_min"])


def test_guiding_turns_the_field_about_the_guide_star(night):
    """Reference row POL-11: error × Ω × t / cos δ at the worst hour angle, times each corner's distance.

    The rate lies below that worst case and the far corner moves faster than the near one.
    """
    rig, sky = night
    ramp = corners(rig, sky, "tilted", True, without=frozenset({"guiding"}))
    speed = np.linalg.norm(ramp, axis=-1)
    scale = 206.265 * 3.5 / 320.0
    star = 3600.0 * 0.4 * np.array([np.cos(np.radians(40.0)), np.sin(np.radians(40.0))])
    distance = np.array([np.hypot(*(scale * np.array([2000 * a, 1400 * b]) - star))
                         for a, b in ((1, 1), (1, -1), (-1, -1), (-1, 1))])  # fmt: skip
    worst = 6.0 / 60.0 * np.pi / 180.0 * 15.041067 / 206264.806 / np.cos(np.radians(sky.dec_deg))
    assert np.all(speed <= worst[:, None] * distance * 1.002)  # δ counts from the true axis, 6′ away
    np.testing.assert_allclose(speed / speed[:, :1], distance / distance[0] + 0.0 * speed, rtol=1e-6)
    assert np.any(speed > 0.3 * worst[:, None] * distance)


def test_the_alt_az_field_turns_to_the_side_the_sky_turns(night):
    """Derivation: two stars a hundredth of a field apart and their places a minute later, from the guide star.

    The places come from pointing.altaz (ERFA as its oracle); 2 % for the change of rate in a minute.
    """
    rig, sky = night
    ramp = corners(rig, sky, "alt-az", True, without=frozenset({"guiding"}))
    scale, shrink, latitude = 206.265 * 3.5 / 320.0, 0.01, 52.4
    star = 0.4 * np.array(
        [np.cos(np.radians(40.0)), np.sin(np.radians(40.0))]
    )  # degrees towards azimuth, altitude
    corner = scale / 3600.0 * np.array([2000.0, 1400.0])
    for i in range(0, len(sky.altitude_deg), 3):
        altitude, azimuth = sky.altitude_deg[i], sky.azimuth_deg[i]
        level = np.cos(np.radians(altitude))

        def place(offset, later_deg, altitude=altitude, azimuth=azimuth, level=level):
            x, y = shrink * offset
            there = pointing.hour_angle_dec(
                altitude_deg=altitude + y, azimuth_deg=azimuth + x / level, latitude_deg=latitude
            )
            seen = pointing.altaz(
                hour_angle_deg=there.hour_angle_deg + later_deg, dec_deg=there.dec_deg, latitude_deg=latitude
            )
            return np.array([seen.azimuth_deg, seen.altitude_deg])

        def apart(later_deg):
            guide, other = place(star, later_deg), place(corner, later_deg)
            return 3600.0 / shrink * (other - guide) * [np.cos(np.radians(0.5 * (guide + other)[1])), 1.0]

        minute = 15.041067 * 60.0 / 3600.0
        moved = (apart(0.5 * minute) - apart(-0.5 * minute)) / 60.0
        np.testing.assert_allclose(ramp[i, 0], moved, atol=0.02 * np.abs(moved).max() + 1e-4)


def test_fast_residue_is_taken_from_the_tolerance_in_quadrature(night):
    """Derivation: a trail L has the second moment L²/12 (reference row PSF-13); 0.65 of the lag is checked below."""
    rig, sky = night
    free = path_terms(rig, sky, mode="tilted", guided=False).slow_tolerance_arcsec
    held = path_terms(rig, sky, mode="tilted", guided=True).slow_tolerance_arcsec
    walk2 = (0.3 * np.cos(np.radians(sky.dec_deg))) ** 2 * 0.65 * 3.4
    np.testing.assert_allclose(free**2 - held**2, 12.0 * (0.3**2 + walk2), rtol=1e-6)
    np.testing.assert_allclose(free, 1.5 * 206.265 * 3.5 / 320.0, rtol=1e-5)


@pytest.mark.parametrize(("cycle_s", "dead_s", "gain"), [(3.0, 1.0, 0.6), (2.0, 1.0, 0.7), (2.5, 0.5, 0.6)])
def test_a_guided_random_walk_keeps_two_thirds_of_its_lag(cycle_s, dead_s, gain):
    """Derivation: a loop stepped by hand, e → (1 − g) e + a step of the walk, against w² × 0.65 lag to 12 %."""
    from workbook.guiding import left_by_guiding

    steps = 0.3 * np.sqrt(cycle_s) * np.random.default_rng(3).standard_normal(60_000)
    error, seen = 0.0, []
    for step in steps:
        error = (1.0 - gain) * error + step
        seen.append(error)
    lag_s = left_by_guiding(
        exposure_s=cycle_s - dead_s, dead_time_s=dead_s, aggressiveness=gain, seen_sigma_arcsec=0.0
    ).lag_s
    assert np.var(seen) == pytest.approx(0.3**2 * WALK_OF_LAG * lag_s, rel=0.12)
