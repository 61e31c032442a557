"""Wind on the tube."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.balance.wind as balance

POWER = rows("power.csv")
TUBE = {"wind_m_s": 2.0, "area_m2": 0.03, "arm_m": 0.1}
STAND = TUBE | {"stiffness_n_m_rad": 500.0}
GUST = STAND | {"tolerance_arcsec": 3.4}


def test_torque_is_pressure_times_area_times_arm():
    """Source: reference row MEC-15: with drag, area and arm of 1 the torque is the pressure."""
    assert_row(POWER["MEC-15"], balance.wind_torque_n_m(wind_m_s=8, area_m2=1, arm_m=1, drag=1))


def test_torque_by_hand():
    """Source: reference row MEC-15 scaled: 39.2 Pa × 1.2 × 0.03 m² × 0.1 m, at half the speed a quarter."""
    torque = 39.2 * 1.2 * 0.03 * 0.1
    speeds = balance.wind_torque_n_m(**TUBE | {"wind_m_s": [8, 4, 0]})
    np.testing.assert_allclose(speeds, [torque, torque / 4, 0], rtol=1e-9)


def test_deflection_of_a_spring():
    """Derivation: torque over stiffness is an angle in radians, 3600 × 180/π arcseconds each."""
    torque = balance.wind_torque_n_m(**TUBE)
    np.testing.assert_allclose(
        balance.wind_deflection_arcsec(**STAND), np.degrees(torque / 500) * 3600, rtol=1e-12
    )
    soft = balance.wind_deflection_arcsec(**STAND | {"stiffness_n_m_rad": 250})
    np.testing.assert_allclose(soft, 2 * balance.wind_deflection_arcsec(**STAND), rtol=1e-12)


@pytest.mark.parametrize("wind_m_s", [0.0, 2.0, 6.0])
def test_gust_moves_the_star_by_the_tolerance(wind_m_s):
    """Derivation: the definition, by the deflections at the gust and in the steady wind."""
    gust = balance.gust_to_lose_frame_m_s(**GUST | {"wind_m_s": wind_m_s})
    moved = balance.wind_deflection_arcsec(**STAND | {"wind_m_s": gust})
    moved -= balance.wind_deflection_arcsec(**STAND | {"wind_m_s": wind_m_s})
    np.testing.assert_allclose(moved, 3.4, rtol=1e-9)


def test_gust_by_hand():
    """Source: reference row MEC-15: 39.2 Pa at 8 m/s; the stiffness is set so that this moves 10″."""
    stiffness = 39.2 * 1.2 * 0.03 * 0.1 / np.radians(10 / 3600)
    gust = balance.gust_to_lose_frame_m_s(
        **GUST | {"wind_m_s": 0, "tolerance_arcsec": 10, "stiffness_n_m_rad": stiffness}
    )
    np.testing.assert_allclose(gust, 8, rtol=1e-9)


def test_gust_limits():
    """Derivation: no tolerance, no extra gust; no arm, no gust is enough; more wind, less extra gust."""
    assert balance.gust_to_lose_frame_m_s(**GUST | {"tolerance_arcsec": 0}) == 2
    assert balance.gust_to_lose_frame_m_s(**GUST | {"arm_m": 0}) == np.inf
    steady = np.array([0, 2, 4, 8.0])
    extra = balance.gust_to_lose_frame_m_s(**GUST | {"wind_m_s": steady}) - steady
    assert (np.diff(extra) < 0).all()


def test_drag_is_a_plain_factor():
    """Derivation: torque and deflection go as the drag coefficient, the gust from calm as its square root."""
    for function, case in [(balance.wind_torque_n_m, TUBE), (balance.wind_deflection_arcsec, STAND)]:
        np.testing.assert_allclose(function(**case, drag=0.6), function(**case) / 2, rtol=1e-12)
    calm = GUST | {"wind_m_s": 0}
    np.testing.assert_allclose(
        balance.gust_to_lose_frame_m_s(**calm, drag=0.3),
        2 * balance.gust_to_lose_frame_m_s(**calm),
        rtol=1e-12,
    )


def test_shapes():
    assert_broadcasts(balance.wind_torque_n_m, **TUBE, drag=1)
    assert_broadcasts(balance.wind_deflection_arcsec, **STAND, drag=1)
    assert_broadcasts(balance.gust_to_lose_frame_m_s, **GUST, drag=1)


def test_nan_stays_nan_without_an_arm():
    assert np.isnan(balance.gust_to_lose_frame_m_s(**GUST | {"arm_m": 0, "tolerance_arcsec": np.nan}))
    assert np.isnan(balance.gust_to_lose_frame_m_s(**GUST | {"arm_m": 0, "wind_m_s": np.nan}))
    assert np.isnan(balance.gust_to_lose_frame_m_s(**GUST | {"arm_m": 0, "tolerance_arcsec": 0}))
    assert np.isnan(balance.gust_to_lose_frame_m_s(**GUST | {"arm_m": 0, "stiffness_n_m_rad": np.nan}))


@pytest.mark.parametrize(
    ("function", "good"),
    [
        (balance.wind_torque_n_m, TUBE),
        (balance.wind_deflection_arcsec, STAND),
        (balance.gust_to_lose_frame_m_s, GUST),
    ],
)
@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ({"wind_m_s": -1}, r"wind_m_s must be 0 or more m/s, received -1 m/s: km/h are 3.6"),
        ({"area_m2": 0}, r"area_m2 must be above 0 m², received 0 m²: 0.3 m by 0.1 m"),
        ({"arm_m": -0.1}, r"arm_m must be 0 or more m, received -0.1 m: .* without a sign"),
        ({"drag": 0}, r"drag must be above 0, received 0"),
    ],
)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)


@pytest.mark.parametrize("function", [balance.wind_deflection_arcsec, balance.gust_to_lose_frame_m_s])
def test_stiffness_error(function):
    good = STAND if function is balance.wind_deflection_arcsec else GUST
    with pytest.raises(ValueError, match=r"stiffness_n_m_rad must be above 0 N·m/rad, received 0"):
        function(**good | {"stiffness_n_m_rad": 0})


def test_tolerance_error():
    with pytest.raises(ValueError, match=r"tolerance_arcsec must be 0 or more ″, received -1 ″"):
        balance.gust_to_lose_frame_m_s(**GUST | {"tolerance_arcsec": -1})


YIELD = GUST | {"sub_s": 30, "gust_m_s": 6, "gusts_per_h": 8, "gust_s": 5}


def test_wind_yield_by_drawing_gusts():
    """Derivation: gusts thrown on a line of 60,000 subs, each with its own peak and deflection; ±0.004."""
    random = np.random.default_rng(3)
    for sub, gust_s in [(30, 5), (300, 20)]:
        hours = 60_000 * sub / 3600
        starts = random.uniform(0, hours * 3600, random.poisson(8 * hours))
        peaks = random.uniform(2, 6, starts.size)
        moved = balance.wind_deflection_arcsec(**STAND | {"wind_m_s": peaks})
        bad = starts[moved - balance.wind_deflection_arcsec(**STAND) > 3.4]
        lost = np.zeros(60_000, bool)
        for start in bad:
            first, last = int(start // sub), int((start + gust_s) // sub)
            lost[first : last + 1] = True
        found = balance.wind_yield(**YIELD | {"sub_s": sub, "gust_s": gust_s})
        assert found == pytest.approx(1 - lost.mean(), abs=0.004)


def test_wind_yield_limits():
    """Derivation: no gust above the wind, no loss; a stiffer stand, a shorter dew cap, a lower column lose less."""
    assert balance.wind_yield(**YIELD | {"gust_m_s": 2}) == 1
    assert balance.wind_yield(**YIELD | {"arm_m": 0}) == 1
    less = [
        {"stiffness_n_m_rad": 2000},
        {"area_m2": 0.015},
        {"arm_m": 0.05},
        {"sub_s": 10},
        {"gusts_per_h": 2},
    ]
    assert all(balance.wind_yield(**YIELD | change) > balance.wind_yield(**YIELD) for change in less)
    none = balance.wind_yield(**YIELD | {"tolerance_arcsec": 0})
    assert none == pytest.approx(np.exp(-8 / 3600 * 35))
    assert_broadcasts(balance.wind_yield, **YIELD, drag=1)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        ({"sub_s": 0}, "sub_s must be above 0 s"),
        ({"gust_m_s": -1}, r"gust_m_s must be 0 or more m/s, .*: km/h are 3.6"),
        ({"gusts_per_h": -1}, "gusts_per_h must be 0 or more per hour"),
        ({"gust_s": -1}, "gust_s must be 0 or more s"),
    ],
)
def test_wind_yield_errors(bad, message):
    with pytest.raises(ValueError, match=message):
        balance.wind_yield(**YIELD | bad)
