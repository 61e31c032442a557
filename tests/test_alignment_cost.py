"""What an axis error costs, how good it must be, and where to look: rigid bodies, brute force, every pair."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from rigid_body import OMEGA_RAD_S, celestial_pole, one_axis, screwed_axis, sky_triad, turn, two_axes
from support import assert_row, rows

import workbook.alignment.choice as choice
import workbook.alignment.cost as cost
import workbook.alignment.tolerance as tolerance
from workbook import alignment, horizon

ROWS = rows("geometry.csv")
ARCSEC = np.degrees(1) * 3600
CAMERA = {"scale_arcsec_px": 2.256, "radius_px": 2441.0}
PLACES = [52.4, -34, 1.3]


def errors(azimuth, altitude):
    return {"azimuth_error_arcmin": azimuth, "altitude_error_arcmin": altitude}


def carried_px(places_px, *, star, error, sub_s, scale):
    """Where stars around the middle move in a camera that one drive turns: rigid body, half a sub either way."""
    sky, pole = sky_triad(**star), celestial_pole(star["latitude_deg"])
    axis = screwed_axis(**errors(*error), latitude_deg=star["latitude_deg"])
    offsets = places_px * scale / ARCSEC
    stars = sky[0] + offsets @ sky[1:]
    stars /= np.linalg.norm(stars, axis=-1, keepdims=True)
    ends = []
    for sign in (-0.5, 0.5):
        angle = -sign * sub_s * OMEGA_RAD_S
        moved, camera = turn(stars, pole, angle), turn(sky, axis, angle)
        ends.append((moved @ camera[1:].T) / (moved @ camera[0])[:, None])
    return np.linalg.norm(ends[1] - ends[0], axis=-1) * ARCSEC / scale


def test_constant_of_the_rule_for_the_guided_turn():
    """POL-10: 5 min, 500 mm, a corner 1° (8.7 mm, in µm) from the guide star, declination 41°, axis off by 1′."""
    corner_um = np.radians(1) * 500e3
    found = cost.axis_cost(
        **errors(0, 1),
        hour_angle_deg=np.arange(0, 360, 0.25),
        dec_deg=41,
        latitude_deg=50,
        sub_s=300,
        scale_arcsec_px=1,
        radius_px=corner_um,
    )
    smear_um = found.edge_guided_px.max()
    assert_row(ROWS["POL-10"], 1 * 5 * 500 * 1 / (smear_um * np.cos(np.radians(41))))


@pytest.mark.parametrize("latitude", PLACES)
@pytest.mark.parametrize("error", [(40, 0), (0, 40), (-25, 60)])
@pytest.mark.parametrize(("hour", "dec"), [(-60, 30), (10, -20), (80, 65)])
def test_cost_is_that_of_a_rigid_body(latitude, error, hour, dec):
    """Drift and spin of one drive, spin of two motors, trail and the longest trail round the corner circle."""
    star = {"hour_angle_deg": hour, "dec_deg": dec, "latitude_deg": latitude}
    axis, pole = screwed_axis(**errors(*error), latitude_deg=latitude), celestial_pole(latitude)
    found = cost.axis_cost(**errors(*error), **star, sub_s=60, **CAMERA)
    east, north, spin = one_axis(sky_triad(**star), axis=axis, pole=pole, seconds=30)
    np.testing.assert_allclose(found[:2], [east, north], rtol=1e-3, atol=1e-3)
    assert found.spin_unguided_deg_h == pytest.approx(spin, rel=1e-3, abs=1e-5)
    span = 60 * np.degrees(OMEGA_RAD_S)
    turned = two_axes(
        sky_triad(**star | {"hour_angle_deg": hour - span / 2}),
        axis=axis,
        pole=pole,
        hour_angle_deg=span,
        steps=20,
    )
    assert found.spin_guided_deg_h == pytest.approx(turned * 60, rel=2e-3, abs=2e-4)
    assert found.edge_guided_px == pytest.approx(abs(np.radians(turned)) * 2441, rel=2e-3, abs=2e-4)
    ring = np.array([2441 * np.array([np.cos(a), np.sin(a)]) for a in np.linspace(0, 2 * np.pi, 73)])
    trails = carried_px(ring, star=star, error=error, sub_s=60, scale=2.256)
    assert found.edge_unguided_px == pytest.approx(trails.max(), rel=5e-3)
    middle = carried_px(np.zeros((1, 2)), star=star, error=error, sub_s=60, scale=2.256)
    assert found.trail_px == pytest.approx(middle[0], rel=1e-3)


@pytest.mark.parametrize("latitude", PLACES)
def test_trails_over_the_field_are_those_of_a_rigid_body(latitude):
    """Nine places of the field; unguided within 0.5 % (the sky is not flat), guided by two motors.

    The error lies along the star's hour circle, so that drift is small and spin shows: sides must differ.
    """
    star = {"hour_angle_deg": -35, "dec_deg": 10, "latitude_deg": latitude}
    error = (60 * np.sin(np.radians(35)) / np.cos(np.radians(latitude)), 60 * np.cos(np.radians(35)))
    places = np.array(list(itertools.product((-2000, 0, 2000), (-1400, 0, 1400))), float)
    ask = errors(*error) | star | {"sub_s": 120, "scale_arcsec_px": 2.256}
    guide = {"guide_east_px": 300, "guide_north_px": -900}
    grid = {"east_px": places[:, 0], "north_px": places[:, 1]}
    free = cost.field_trails_px(**grid, guided=False, **guide, **ask)
    carried = carried_px(places, star=star, error=error, sub_s=120, scale=2.256)
    np.testing.assert_allclose(free, carried, rtol=5e-3)
    assert free.max() > 1.15 * free.min()
    span = 120 * np.degrees(OMEGA_RAD_S)
    turned = two_axes(
        sky_triad(**star | {"hour_angle_deg": -35 - span / 2}),
        axis=screwed_axis(**errors(*error), latitude_deg=latitude),
        pole=celestial_pole(latitude),
        hour_angle_deg=span,
        steps=20,
    )
    held = cost.field_trails_px(**grid, guided=True, **guide, **ask)
    away = np.hypot(places[:, 0] - 300, places[:, 1] + 900)
    np.testing.assert_allclose(held, abs(np.radians(turned)) * away, rtol=3e-3)


def test_cost_rows():
    """POL-13, 1 px in a minute at 3.1022″/px, and POL-11, rotation about the guide star in 5 min, worst hour."""
    camera = {"scale_arcsec_px": 3.1022, "radius_px": 0}
    star = {"hour_angle_deg": 0, "dec_deg": 0, "latitude_deg": 50}
    one = cost.axis_cost(
        **errors(0, ROWS["POL-13"]["expected"]), **star | {"hour_angle_deg": 90}, sub_s=60, **camera
    )
    assert one.trail_px == pytest.approx(1, abs=0.01 / 11.8)
    hours = np.arange(0, 360, 0.5)
    ring = {"scale_arcsec_px": 1, "radius_px": 206264.8}  # so that a px is an arcsecond of turn
    spun = cost.axis_cost(
        **errors(0, 10), hour_angle_deg=hours, dec_deg=41, latitude_deg=50, sub_s=300, **ring
    ).edge_guided_px
    assert_row(ROWS["POL-11"], spun.max())


def test_no_cost_with_the_axis_on_the_pole():
    hours = np.linspace(-90, 90, 7)
    for latitude in PLACES:
        none = cost.axis_cost(
            **errors(0, 0), hour_angle_deg=hours, dec_deg=20, latitude_deg=latitude, sub_s=300, **CAMERA
        )
        np.testing.assert_allclose(none, 0, atol=1e-8)


# Tolerance

NIGHT = {
    "dec_deg": 30.7,
    "latitude_deg": 52.4,
    "start_hour_angle_deg": -60,
    "end_hour_angle_deg": 20,
    "tolerance_px": 1.5,
    "budget": 0.5,
    **CAMERA,
}


@pytest.mark.parametrize("latitude", PLACES)
@pytest.mark.parametrize(("guided", "sub_s", "dec"), [(False, 60, 30.7), (True, 180, 30.7), (True, 60, -60)])
def test_tolerance_is_found_by_trying(latitude, guided, sub_s, dec):
    """At the tolerance the worst of the exact costs, over leans every 5° and hours every 1°, is the budget."""
    night = NIGHT | {"latitude_deg": latitude, "guided": guided, "sub_s": sub_s, "dec_deg": dec}
    found = tolerance.axis_tolerance(**night)
    side = -1 if latitude < 0 else 1
    elevated = side * celestial_pole(latitude)
    east = np.array([1.0, 0, 0])
    high = np.cross(east, celestial_pole(latitude))
    edge = "edge_guided_px" if guided else "edge_unguided_px"

    def worst(error_arcmin, leans):
        costs = []
        for lean in np.radians(leans):
            lever = np.cos(lean) * east + np.sin(lean) * high
            leaning = turn(elevated, np.cross(elevated, lever), np.radians(error_arcmin / 60))
            azimuth = np.degrees(np.arctan2(leaning[0], side * leaning[1])) * 60
            altitude = (np.degrees(np.arcsin(leaning[2])) - abs(latitude)) * 60
            costs.append(
                getattr(
                    cost.axis_cost(
                        **errors(azimuth, altitude),
                        hour_angle_deg=np.arange(-60, 21),
                        dec_deg=dec,
                        latitude_deg=latitude,
                        sub_s=sub_s,
                        **CAMERA,
                    ),
                    edge,
                ).max()
            )
        return max(costs)

    assert worst(found.any_arcmin, range(0, 360, 5)) == pytest.approx(0.75, rel=2e-3)
    assert worst(found.east_arcmin, [0]) == pytest.approx(0.75, rel=2e-3)
    assert worst(found.high_arcmin, [90]) == pytest.approx(0.75, rel=2e-3)
    assert found.any_arcmin <= min(found.east_arcmin, found.high_arcmin) * (1 + 1e-6)


def test_tolerance_rows():
    """POL-13 is the tolerance of a field of one star; guided, POL-11 backwards: 17.4″ of turn are 10′."""
    alone = NIGHT | {"scale_arcsec_px": 3.1022, "radius_px": 0, "tolerance_px": 1, "budget": 1, "dec_deg": 0}
    day = {"start_hour_angle_deg": -180, "end_hour_angle_deg": 180}
    assert_row(ROWS["POL-13"], tolerance.axis_tolerance(**alone | day, sub_s=60, guided=False).any_arcmin)
    held = alone | day | {"dec_deg": 41, "radius_px": 206264.8, "tolerance_px": ROWS["POL-11"]["expected"]}
    found = tolerance.axis_tolerance(**held, sub_s=300, guided=True).any_arcmin
    assert found == pytest.approx(10, abs=0.06)


def test_a_target_on_the_meridian_forgives_the_altitude():
    """Near hour angle 0 an altitude error drifts in right ascension only, so more of it may stay."""
    short = NIGHT | {"start_hour_angle_deg": -5, "end_hour_angle_deg": 5, "dec_deg": 5}
    found = tolerance.axis_tolerance(**short, sub_s=60, guided=False)
    assert found.high_arcmin > 5 * found.east_arcmin


def test_tolerance_ends():
    """A sub of no consequence asks for nothing; longer subs ask for more in proportion."""
    ask = NIGHT | {"guided": True}
    assert tolerance.axis_tolerance(**ask | {"radius_px": 0}, sub_s=1).any_arcmin == 1800
    minute, two = (tolerance.axis_tolerance(**NIGHT, guided=False, sub_s=s).any_arcmin for s in (60, 120))
    assert minute / two == pytest.approx(2, rel=0.01)


@pytest.mark.parametrize(("dec", "sub_s"), [(87, 1e-3), (87, 20), (-85, 10)])
def test_a_guide_star_near_the_pole_bounds_the_error(dec, sub_s):
    """The axis must stay clear of the star itself: 0.9 of its distance from the pole, and less for longer subs."""
    night = NIGHT | {"dec_deg": dec, "guided": True, "sub_s": sub_s}
    found = tolerance.axis_tolerance(**night).any_arcmin
    bound = 0.9 * (90 - abs(dec)) * 60
    assert found == pytest.approx(bound, rel=1e-6) if sub_s < 1 else found < bound


def test_stop_error_adds_in_quadrature():
    """At the stopping error the whole, other trail and axis in quadrature, has grown by the share."""
    ask = {key: value for key, value in NIGHT.items() if key not in ("tolerance_px", "budget")}
    found = tolerance.stop_error_arcmin(**ask, sub_s=60, guided=False, other_trail_px=3, growth=0.1)
    axis_px = 1.5 * 0.5 * found / tolerance.axis_tolerance(**NIGHT, sub_s=60, guided=False).any_arcmin
    assert np.hypot(3, axis_px) == pytest.approx(3.3, rel=1e-3)
    alone = ask | {"scale_arcsec_px": 3.1022, "radius_px": 0, "dec_deg": 0}
    pixel = tolerance.stop_error_arcmin(
        **alone, sub_s=60, guided=False, other_trail_px=1 / np.sqrt(3), growth=1
    )
    assert_row(ROWS["POL-13"], pixel)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"end_hour_angle_deg": -90},
            r"end_hour_angle_deg must not be before the start at -60 °, received -90",
        ),
        ({"guided": True, "dec_deg": 90}, r"dec_deg must be within ±89.9° where a guide star is held"),
        ({"budget": 0}, r"budget must be above 0, received 0"),
        ({"budget": 50}, r"budget must be 0 to 1, received 50: give a share"),
        ({"sub_s": 0}, r"sub_s must be above 0 s, received 0 s"),
        ({"dec_deg": 100}, r"dec_deg must be -90 to 90 °, received 100 °: is this the right"),
    ],
)
def test_tolerance_refuses(changed, words):
    with pytest.raises(ValueError, match=words):
        tolerance.axis_tolerance(**NIGHT | {"guided": False, "sub_s": 60} | changed)


# The choice of two directions

BALCONY = horizon.from_text("0 90, 95 90, 95 20, 215 20, 215 90, 360 90", ceiling_deg=68)
GRID = {"hour_angles_deg": np.arange(-180, 180, 10.0), "decs_deg": np.arange(-80, 90, 10.0)}


def every_pair(*, within, sigma, latitude, criterion):
    """The best value of the criterion over every pair of the grid, each solved by `solve_drifts`."""
    hours = np.broadcast_to(GRID["hour_angles_deg"], within.shape)[within]
    sigmas = np.broadcast_to(sigma, within.shape)[within]
    to_sky = np.diag([np.cos(np.radians(latitude)), 1])
    best, keys = np.inf, {(h, s) for h, s in zip(hours, sigmas, strict=True)}
    for (one, s1), (two, s2) in itertools.combinations(sorted(keys), 2):
        if abs(np.sin(np.radians(one - two))) < np.sin(np.radians(5)):
            continue
        found = alignment.solve_drifts(
            hour_angles_deg=[one, two],
            drifts_arcsec_min=[0, 0],
            latitude_deg=latitude,
            drift_sigma_arcsec_min=[s1, s2],
        )
        on_sky = to_sky @ found.covariance_arcmin2 @ to_sky
        best = min(best, np.linalg.det(on_sky) if criterion == "area" else np.trace(on_sky))
    return best


@pytest.mark.parametrize("criterion", choice.CRITERIA)
@pytest.mark.parametrize("latitude", [52.4, -34])
def test_best_pair_beats_every_other(criterion, latitude):
    """Every pair of a 10° grid in a narrow view, low stars worse, through the solve itself."""
    place = alignment_place(latitude)
    view = (150, 240) if latitude > 0 else (300, 360)
    within = (place[0] > 15) & (place[1] > view[0]) & (place[1] < view[1])
    sigma = 0.1 / np.sin(np.radians(np.maximum(place[0], 5)))
    found = choice.best_pair(
        **GRID, reachable=within, latitude_deg=latitude, drift_sigma_arcsec_min=sigma, criterion=criterion
    )
    to_sky = np.diag([np.cos(np.radians(latitude)), 1])
    on_sky = to_sky @ found.covariance_arcmin2 @ to_sky
    value = np.linalg.det(on_sky) if criterion == "area" else np.trace(on_sky)
    best = every_pair(within=within, sigma=sigma, latitude=latitude, criterion=criterion)
    assert value == pytest.approx(best, rel=1e-9)
    assert found.semi_major_arcmin * found.semi_minor_arcmin == pytest.approx(np.sqrt(np.linalg.det(on_sky)))
    assert found.amplification == pytest.approx(
        1 / abs(np.sin(np.radians(found.hour_angles_deg[1] - found.hour_angles_deg[0])))
    )


def alignment_place(latitude):
    """Altitude and azimuth over the grid by ERFA."""
    import erfa

    azimuth, altitude = erfa.hd2ae(
        *np.radians(np.broadcast_arrays(GRID["hour_angles_deg"], GRID["decs_deg"][:, None], latitude))
    )
    return np.degrees(altitude), np.degrees(azimuth)


def test_best_pair_of_the_balcony():
    """A real mask as the callable: 90° apart, both in view, σ/Ω either way (POL-01), the higher pair of equals."""
    ask = {"latitude_deg": 52.4, "drift_sigma_arcsec_min": 0.1, "criterion": "area"}
    found = choice.best_pair(**GRID, reachable=BALCONY.open, **ask)
    assert found.amplification == pytest.approx(1)
    assert found.semi_major_arcmin == pytest.approx(0.1 / ROWS["POL-01"]["expected"], rel=1e-3)
    assert found.hour_angles_deg[0] < found.hour_angles_deg[1]
    assert BALCONY.open(altitude_deg=found.altitudes_deg, azimuth_deg=found.azimuths_deg).all()
    altitude, azimuth = alignment_place(52.4)
    open_sky = BALCONY.open(altitude_deg=altitude, azimuth_deg=azimuth)
    highest = np.where(open_sky, altitude, -99).max(axis=0)
    lowest = [
        min(highest[a], highest[a + 9]) for a in range(27) if highest[a] > 0 and highest[a + 9] > 0
    ]  # 90° apart
    assert found.altitudes_deg.min() == pytest.approx(max(lowest))
    same = choice.best_pair(**GRID, reachable=open_sky, **ask)
    np.testing.assert_array_equal(same.hour_angles_deg, found.hour_angles_deg)


def test_error_ellipse_is_the_scatter_of_solves():
    """Derivation: eigenvectors of the scatter of 4,000 noisy solves, stars 30° apart; axes 5 %, angle 3°."""
    rng, hours = np.random.default_rng(8), [-80, -50]
    ask = {"hour_angles_deg": hours, "latitude_deg": 52.4, "drift_sigma_arcsec_min": 0.1}
    true = alignment.dec_drift_arcsec_min(**errors(10, 4), hour_angle_deg=hours, latitude_deg=52.4)
    solves = [
        alignment.solve_drifts(drifts_arcsec_min=true + 0.1 * rng.standard_normal(2), **ask)
        for _ in range(4000)
    ]
    cloud = np.array([solve[:2] for solve in solves]) * [np.cos(np.radians(52.4)), 1]
    values, vectors = np.linalg.eigh(np.cov(cloud.T))
    found = choice.error_ellipse(covariance_arcmin2=solves[0].covariance_arcmin2, latitude_deg=52.4)
    assert found.semi_major_arcmin == pytest.approx(np.sqrt(values[1]), rel=0.05)
    assert found.semi_minor_arcmin == pytest.approx(np.sqrt(values[0]), rel=0.05)
    long_axis = np.degrees(np.arctan(vectors[1, 1] / vectors[0, 1]))
    assert found.angle_deg == pytest.approx(long_axis, abs=3)


def test_amplification_by_hand():
    """Derivation: 1/sin of the angle between the hour circles."""
    found = choice.amplification(first_hour_angle_deg=10, second_hour_angle_deg=[100, 40, -20, 190, np.nan])
    np.testing.assert_allclose(found, [1, 2, 2, np.inf, np.nan], rtol=1e-9)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"reachable": np.zeros((17, 36), bool)},
            r"two directions 5° or more apart .* received none: wait until",
        ),
        ({"reachable": np.ones((3, 3), bool)}, r"reachable must be true or false for each of \(17, 36\)"),
        ({"reachable": lambda altitude_deg, azimuth_deg: altitude_deg}, r"received float64 of the shape"),
        ({"criterion": "volume"}, r"criterion must be one of 'area', 'axes', received 'volume'"),
        (
            {"drift_sigma_arcsec_min": [1, 2]},
            r"drift_sigma_arcsec_min must be one number or have the grid's shape",
        ),
        ({"drift_sigma_arcsec_min": 0}, r"drift_sigma_arcsec_min must be above 0 ″/min"),
        ({"latitude_deg": 89.5}, r"latitude_deg must be -88 to 88 °"),
        (
            {"reachable": lambda altitude_deg, azimuth_deg: abs(azimuth_deg - 180) < 1e-9},
            r"received hour angles .* °: wait",
        ),
    ],
)
def test_choice_refuses(changed, words):
    ask = {
        "reachable": BALCONY.open,
        "latitude_deg": 52.4,
        "drift_sigma_arcsec_min": 0.1,
        "criterion": "area",
    }
    with pytest.raises(ValueError, match=words):
        choice.best_pair(**GRID, **ask | changed)


def test_ellipse_refuses():
    with pytest.raises(ValueError, match="covariance_arcmin2 must be 2 × 2 finite numbers, received"):
        choice.error_ellipse(covariance_arcmin2=[1, 2], latitude_deg=50)
