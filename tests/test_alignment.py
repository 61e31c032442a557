"""The misaligned axis, against a mount simulated as a rigid body, pins with known signs, and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from rigid_body import celestial_pole, one_axis, screwed_axis, sky_triad
from support import assert_broadcasts, assert_row, rows

import workbook.alignment.drift as drifting
import workbook.pointing.axis as place

ROWS = rows("geometry.csv")
PLACES = [50, -34, 0, 1.3, -1.3, 78]
ERRORS = [(5, 0), (0, 5), (-40, 25), (180, -120)]


def errors(azimuth, altitude):
    return {"azimuth_error_arcmin": azimuth, "altitude_error_arcmin": altitude}


def test_drift_rows_with_their_signs():
    """POL-01 to POL-13; the rows are first-order, the law is exact: their tolerance covers the difference."""
    east, high = errors(5, 0), errors(0, 5)
    assert_row(ROWS["POL-03"], drifting.dec_drift_arcsec_min(**east, hour_angle_deg=0, latitude_deg=50))
    assert_row(ROWS["POL-05"], drifting.dec_drift_arcsec_min(**high, hour_angle_deg=-90, latitude_deg=50))
    star = {"hour_angle_deg": -90, "dec_deg": 60, "latitude_deg": 50}
    assert_row(ROWS["POL-06"], drifting.drift_arcsec_min(**high, **star).north_arcsec_min)
    west = -drifting.drift_arcsec_min(**east, **star | {"hour_angle_deg": 90}).east_arcsec_min
    assert_row(ROWS["POL-07"], west)
    hours = np.arange(0, 360, 0.25)
    largest = drifting.dec_drift_arcsec_min(**errors(0, 1), hour_angle_deg=hours, latitude_deg=50).max()
    assert_row(ROWS["POL-01"], largest)
    degree = drifting.dec_drift_arcsec_min(**errors(0, 60), hour_angle_deg=hours, latitude_deg=50).max()
    assert_row(ROWS["POL-02"], degree)
    assert_row(ROWS["POL-12"], 3.0 / 10 / largest)
    assert_row(ROWS["POL-13"], 3.1022 / (60 / 60) / largest)
    assert_row(ROWS["POL-08"], place.pole_error_arcmin(**errors(10, 5), latitude_deg=50))


@pytest.mark.parametrize(("watch_min", "frames"), [(2, 13), (5, 31), (10, 61)])
def test_spread_of_a_drift(watch_min, frames):
    """Derivation: the covariance of a straight line by the normal equations, with numpy, frame by frame."""
    times_min = np.arange(frames) * 10.0 / 60.0
    assert times_min[-1] == pytest.approx(watch_min)
    line = np.column_stack([np.ones(frames), times_min])
    expected = 2.0 * np.sqrt(np.linalg.inv(line.T @ line)[1, 1])
    found = drifting.drift_sigma_arcsec_min(watch_min=watch_min, jitter_arcsec=2.0, cadence_s=10.0)
    assert found == pytest.approx(expected, rel=1e-9)


def test_spread_of_a_drift_is_that_of_simulated_watches():
    """4,000 invented watches, each a line fitted by numpy.polyfit; their scatter is known to 1.1 %, four times that."""
    times_min = np.arange(31) / 6.0
    noise = np.random.default_rng(8).normal(0.0, 2.0, (31, 4000))
    scatter = np.polyfit(times_min, 0.3 * times_min[:, None] + noise, 1)[0].std()
    found = drifting.drift_sigma_arcsec_min(watch_min=5, jitter_arcsec=2.0, cadence_s=10.0)
    assert found == pytest.approx(scatter, rel=0.045)


def test_spread_of_a_drift_refuses_nonsense():
    ask = {"watch_min": 5, "jitter_arcsec": 2.0, "cadence_s": 10.0}
    for name, wrong in (("watch_min", 0), ("jitter_arcsec", -1.0), ("watch_min", 0.1), ("cadence_s", 0)):
        with pytest.raises(ValueError, match=name):
            drifting.drift_sigma_arcsec_min(**ask | {name: wrong})
    assert_broadcasts(drifting.drift_sigma_arcsec_min, **ask)


@pytest.mark.parametrize(
    ("latitude", "azimuth", "altitude", "hour", "drift"),
    [(50, 5, 0, 0, -0.844), (50, 0, 5, -90, 1.313), (-34, 10, 0, 0, 2.176), (-34, 0, 10, -90, -2.625)],
)
def test_drift_pins_in_both_hemispheres(latitude, azimuth, altitude, hour, drift):
    """Sidereal rate × error × cos φ by hand; half the last digit, and 0.0005 for the second order."""
    found = drifting.dec_drift_arcsec_min(
        **errors(azimuth, altitude), hour_angle_deg=hour, latitude_deg=latitude
    )
    assert found == pytest.approx(drift, abs=0.001)


@pytest.mark.parametrize("latitude", PLACES)
@pytest.mark.parametrize("error", ERRORS)
def test_drift_is_that_of_a_rigid_body(latitude, error):
    """A camera turned about the screwed axis, the sky about the pole, 10 s either way; good to 2e-4."""
    for hour, dec in ((-90, 0), (0, 60), (35, -40), (160, 85)):
        star = {"hour_angle_deg": hour, "dec_deg": dec, "latitude_deg": latitude}
        axis = screwed_axis(**errors(*error), latitude_deg=latitude)
        east, north, _ = one_axis(sky_triad(**star), axis=axis, pole=celestial_pole(latitude), seconds=10)
        found = drifting.drift_arcsec_min(**errors(*error), **star)
        np.testing.assert_allclose(found, [east, north], rtol=2e-4, atol=2e-4)
        dec_drift = drifting.dec_drift_arcsec_min(
            **errors(*error), hour_angle_deg=hour, latitude_deg=latitude
        )
        np.testing.assert_allclose(dec_drift, north, rtol=2e-4, atol=2e-4)


@pytest.mark.parametrize("latitude", PLACES)
@pytest.mark.parametrize("error", ERRORS)
def test_axis_is_where_the_screws_bring_it(latitude, error):
    axis = place.axis_direction(**errors(*error), latitude_deg=latitude)
    np.testing.assert_allclose(axis, screwed_axis(**errors(*error), latitude_deg=latitude), atol=1e-14)
    assert axis @ place.pole(latitude_deg=latitude) > 0


def test_axis_near_the_pole_even_where_the_errors_are_huge():
    """m·p ≥ 0 for every pair of errors allowed, on a grid."""
    error = np.linspace(-5400, 5400, 25)
    for latitude in (0, 20, -20, 90, -90):
        axis = place.axis_direction(**errors(error[:, None], error), latitude_deg=latitude)
        assert (axis @ place.pole(latitude_deg=latitude) > -1e-15).all()
        np.testing.assert_allclose(np.linalg.norm(axis, axis=-1), 1, rtol=1e-14)


def test_pole_by_hand():
    """At 30° N half as high as far away; in the south below the horizon; NaN stays."""
    np.testing.assert_allclose(place.pole(latitude_deg=30), [0, np.sqrt(0.75), 0.5], atol=1e-15)
    np.testing.assert_allclose(
        place.pole(latitude_deg=[-30, 90]), [[0, np.sqrt(0.75), -0.5], [0, 0, 1]], atol=1e-15
    )
    assert np.isnan(place.pole(latitude_deg=np.nan)[..., 1:]).all()


def test_pole_error_by_hand():
    """An altitude error counts whole, an azimuth error by cos φ (haversine), in the south too."""
    assert place.pole_error_arcmin(**errors(0, -7), latitude_deg=50) == pytest.approx(7)
    assert place.pole_error_arcmin(**errors(0, 0), latitude_deg=50) == 0
    half = np.cos(np.radians(60)) * np.sin(np.radians(1))
    for latitude in (60, -60):
        turned = place.pole_error_arcmin(**errors(120, 0), latitude_deg=latitude)
        assert turned == pytest.approx(60 * np.degrees(2 * np.arcsin(half)))
    tiny = place.pole_error_arcmin(**errors(0, 1e-6), latitude_deg=50)
    assert tiny == pytest.approx(1e-6, rel=1e-4)  # an arccosine would give 0


def test_declination_drift_does_not_depend_on_declination():
    star = {"hour_angle_deg": 25, "dec_deg": np.linspace(-89, 89, 60), "latitude_deg": 50}
    north = drifting.drift_arcsec_min(**errors(12, -8), **star).north_arcsec_min
    one = drifting.dec_drift_arcsec_min(**errors(12, -8), hour_angle_deg=25, latitude_deg=50)
    np.testing.assert_allclose(north, one, rtol=1e-11)


def test_drift_mirrors_with_the_hemisphere():
    """φ → −φ, δ → −δ: north changes sign, east stays."""
    star = {"hour_angle_deg": np.linspace(-150, 150, 13), "dec_deg": 35}
    north = drifting.drift_arcsec_min(**errors(30, 12), **star, latitude_deg=44)
    south = drifting.drift_arcsec_min(**errors(30, 12), **star | {"dec_deg": -35}, latitude_deg=-44)
    np.testing.assert_allclose(south.north_arcsec_min, -north.north_arcsec_min, rtol=1e-10)
    np.testing.assert_allclose(south.east_arcsec_min, north.east_arcsec_min, rtol=1e-10)


def test_no_drift_with_the_axis_on_the_pole():
    for latitude in PLACES:
        star = {"hour_angle_deg": np.linspace(-180, 180, 9), "dec_deg": 20, "latitude_deg": latitude}
        np.testing.assert_allclose(drifting.drift_arcsec_min(**errors(0, 0), **star), 0, atol=1e-12)


@pytest.mark.parametrize("latitude", [50, -34, 0, 80])
@pytest.mark.parametrize("error", [(5, -3), (-90, 60), (600, 400)])
@pytest.mark.parametrize("hours", [(0, -90), (-60, 20, 75), (100, 110)])
def test_solve_drifts_finds_the_axis_that_was_screwed(latitude, error, hours):
    """Drifts from the rigid body in, the screws out, within 0.1 %: five times the simulation's accuracy."""
    axis = screwed_axis(**errors(*error), latitude_deg=latitude)
    drifts = []
    for hour in hours:
        triad = sky_triad(hour_angle_deg=hour, dec_deg=0, latitude_deg=latitude)
        drifts.append(one_axis(triad, axis=axis, pole=celestial_pole(latitude), seconds=1, steps=20)[1])
    found = drifting.solve_drifts(
        hour_angles_deg=hours, drifts_arcsec_min=drifts, latitude_deg=latitude, drift_sigma_arcsec_min=0.1
    )
    assert found[:2] == pytest.approx(error, rel=1e-3)


def test_solve_drifts_covariance_by_hand_and_by_chance():
    """Two stars 90° apart: σ / (Ω cos φ) and σ / Ω, uncorrelated; and the scatter of 3,000 noisy solves.

    10 %: three sigma of a variance from 3,000 draws is 8 %.
    """
    ask = {"hour_angles_deg": [0, -90], "latitude_deg": 50}
    found = drifting.solve_drifts(**ask, drifts_arcsec_min=[0, 0], drift_sigma_arcsec_min=[0.2, 0.1])
    per_arcmin = ROWS["POL-01"]["expected"]
    by_hand = np.diag([(0.2 / per_arcmin / np.cos(np.radians(50))) ** 2, (0.1 / per_arcmin) ** 2])
    np.testing.assert_allclose(found.covariance_arcmin2, by_hand, rtol=1e-4, atol=1e-12)
    noise, hours = np.random.default_rng(3), np.array([-70, -10, 20])
    sigma = np.array([0.1, 0.3, 0.2])
    true = drifting.dec_drift_arcsec_min(**errors(12, -9), hour_angle_deg=hours, latitude_deg=-34)
    solved = [
        drifting.solve_drifts(
            hour_angles_deg=hours,
            drifts_arcsec_min=true + sigma * noise.standard_normal(3),
            latitude_deg=-34,
            drift_sigma_arcsec_min=sigma,
        )
        for _ in range(3000)
    ]
    scatter = np.cov(np.array([s[:2] for s in solved]).T)
    np.testing.assert_allclose(scatter, solved[0].covariance_arcmin2, rtol=0.1)
    np.testing.assert_allclose(np.mean([s[:2] for s in solved], axis=0), [12, -9], atol=0.15)


@pytest.mark.parametrize("latitude", [50, -34])
def test_solve_drifts_covariance_of_a_large_error(latitude):
    """Jᵀ W J from finite differences of the drift law, 1′ either way, at an axis 12° off: good to 1e-4."""
    hours, sigma = np.array([-80, 10, 35]), np.array([0.1, 0.2, 0.3])

    def law(azimuth, altitude):
        asked = errors(azimuth, altitude) | {"hour_angle_deg": hours, "latitude_deg": latitude}
        return drifting.dec_drift_arcsec_min(**asked)

    slope = np.column_stack([law(601, 400) - law(599, 400), law(600, 401) - law(600, 399)]) / 2
    found = drifting.solve_drifts(
        hour_angles_deg=hours,
        drifts_arcsec_min=law(600, 400),
        latitude_deg=latitude,
        drift_sigma_arcsec_min=sigma,
    )
    assert found[:2] == pytest.approx((600, 400))
    np.testing.assert_allclose(np.linalg.inv(found.covariance_arcmin2), slope.T / sigma**2 @ slope, rtol=1e-4)


def test_solve_drifts_trusts_the_better_star():
    """Three stars, one of them wrong and known to be bad: the answer stays with the two good ones."""
    hours = [0, -90, -45]
    drifts = drifting.dec_drift_arcsec_min(**errors(10, 4), hour_angle_deg=hours, latitude_deg=50)
    found = drifting.solve_drifts(
        hour_angles_deg=hours,
        drifts_arcsec_min=drifts + np.array([0, 0, 3]),
        latitude_deg=50,
        drift_sigma_arcsec_min=[0.01, 0.01, 10],
    )
    assert found[:2] == pytest.approx((10, 4), abs=0.001)


def test_shapes_ints_and_nan():
    assert_broadcasts(place.pole_error_arcmin, **errors(7, 4), latitude_deg=50)
    assert_broadcasts(drifting.dec_drift_arcsec_min, **errors(7, 4), hour_angle_deg=20, latitude_deg=-50)
    star = {"hour_angle_deg": 20, "dec_deg": 30, "latitude_deg": 50}
    for field in ("east_arcsec_min", "north_arcsec_min"):
        drift = lambda f=field, **k: getattr(drifting.drift_arcsec_min(**k), f)  # noqa: E731
        assert_broadcasts(drift, **errors(7, 4), **star)
    assert place.axis_direction(**errors(np.zeros((3, 1)), 4), latitude_deg=[50, -20]).shape == (3, 2, 3)


def solve(**changed):
    ask = {
        "hour_angles_deg": [0, -90],
        "drifts_arcsec_min": [1, 2],
        "latitude_deg": 50,
        "drift_sigma_arcsec_min": 0.1,
    }
    return drifting.solve_drifts(**ask | changed)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"hour_angles_deg": [10, 12]},
            r"must differ by 5° or more, .* received 10, 12 °: .* add a star about 90° away",
        ),
        ({"hour_angles_deg": [10, 188]}, r"not stand opposite by 180°, received 10, 188 °"),
        ({"hour_angles_deg": [-170, 190]}, r"must differ by 5° or more"),
        ({"latitude_deg": 90}, r"latitude_deg must be -88 to 88 °, received 90 °: near a pole of the Earth"),
        ({"latitude_deg": -90}, r"received -90 °: near a pole .* tilt it along two directions"),
        ({"latitude_deg": [50, 51]}, r"latitude_deg must be one number, received \[50, 51\]"),
        ({"latitude_deg": np.nan}, r"latitude_deg must be one number, received nan"),
        (
            {"hour_angles_deg": [0], "drifts_arcsec_min": [1]},
            r"two stars or more, received 1 and 1: one star tells",
        ),
        ({"drifts_arcsec_min": [1, 2, 3]}, r"lists of one length, two stars or more, received 2 and 3"),
        (
            {"drift_sigma_arcsec_min": [1, 2, 3]},
            r"drift_sigma_arcsec_min must be one number or 2, .* received 3",
        ),
        ({"drift_sigma_arcsec_min": 0}, r"drift_sigma_arcsec_min must be above 0 ″/min, received 0 ″/min"),
        ({"drifts_arcsec_min": [1, np.nan]}, r"must be finite, received NaN or inf: leave that star out"),
        ({"hour_angles_deg": [np.nan, 1]}, r"must be finite, received NaN"),
        ({"drift_sigma_arcsec_min": np.nan}, r"must be finite, received NaN"),
        ({"drifts_arcsec_min": [1, np.inf]}, r"must be finite"),
        (
            {"drifts_arcsec_min": [900, 900]},
            r"axis within 30° of the pole, received up to 900 ″/min: are they in ″/min",
        ),
    ],
)
def test_solve_drifts_refuses_with_the_cure(changed, words):
    with pytest.raises(ValueError, match=words):
        solve(**changed)


def test_errors_say_what_was_received_and_the_cure():
    with pytest.raises(ValueError, match=r"latitude_deg must be -90 to 90 °, received 91 °"):
        place.pole(latitude_deg=91)
    with pytest.raises(
        ValueError, match=r"latitude_deg must be -90 to 90 °, received 91 °: is this the longitude"
    ):
        place.pole_error_arcmin(**errors(1, 1), latitude_deg=91)
    with pytest.raises(
        ValueError, match=r"altitude_error_arcmin must be -5400 to 5400 ′, received 9000 ′: a quarter turn"
    ):
        place.axis_direction(**errors(1, 9000), latitude_deg=9)
    with pytest.raises(ValueError, match=r"hour_angle_deg must be .* received 9999 °: in degrees, one hour"):
        drifting.dec_drift_arcsec_min(**errors(1, 1), hour_angle_deg=9999, latitude_deg=9)
    with pytest.raises(ValueError, match=r"dec_deg must be -90 to 90 °, received 99 °"):
        drifting.drift_arcsec_min(**errors(1, 1), hour_angle_deg=9, dec_deg=99, latitude_deg=9)
