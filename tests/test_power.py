"""Dew, frost and batteries."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

from workbook import power

POWER = rows("power.csv")
LENS = {
    "air_degc": 3.0,
    "humidity_pct": 90.0,
    "cooling_k": 3.0,
    "heater_w": 2.0,
    "heater_duty": 0.5,
    "lift_k_w": 2.0,
}
BATTERY = {"energy_wh": 96.0, "usable": 0.9, "cold": 0.85, "converter": 0.95, "load_w": 11.5}


def murphy_koop_water_hpa(t):
    """Murphy & Koop 2005, QJRMS 131, 1539, eq. 10: 123 to 332 K."""
    k = t + 273.15
    log = 54.842763 - 6763.22 / k - 4.210 * np.log(k) + 0.000367 * k
    log += np.tanh(0.0415 * (k - 218.8)) * (53.878 - 1331.22 / k - 9.44523 * np.log(k) + 0.014025 * k)
    return np.exp(log) / 100


def murphy_koop_ice_hpa(t):
    """Murphy & Koop 2005, eq. 7: above 110 K."""
    k = t + 273.15
    return np.exp(9.550426 - 5723.265 / k + 3.53068 * np.log(k) - 0.00728332 * k) / 100


# Vapour


def test_saturation():
    """Source: reference rows DEW-05a, b and c."""
    assert_row(POWER["DEW-05a"], power.saturation_over_water_hpa(temperature_degc=5))
    assert_row(POWER["DEW-05b"], power.saturation_over_water_hpa(temperature_degc=25))
    assert_row(POWER["DEW-05c"], power.saturation_over_ice_hpa(temperature_degc=-5))


def test_saturation_over_the_whole_range():
    """Source: Murphy & Koop 2005, eqs 7 and 10 (another form, fitted to other data); within 0.5 %.

    Their constants are recalled; they reproduce reference rows DEW-05a to c themselves.
    """
    assert_row(POWER["DEW-05a"], murphy_koop_water_hpa(5))
    assert_row(POWER["DEW-05b"], murphy_koop_water_hpa(25))
    assert_row(POWER["DEW-05c"], murphy_koop_ice_hpa(-5))
    t = np.linspace(-40, 50, 91)
    np.testing.assert_allclose(
        power.saturation_over_water_hpa(temperature_degc=t), murphy_koop_water_hpa(t), rtol=5e-3
    )
    ice = t[t <= 0]
    np.testing.assert_allclose(
        power.saturation_over_ice_hpa(temperature_degc=ice), murphy_koop_ice_hpa(ice), rtol=5e-3
    )


def test_ice_and_water():
    """Derivation: equal at the triple point (fits differ by 0.05 %), ice below water under it, none above."""
    zero = (
        power.saturation_over_ice_hpa(temperature_degc=0),
        power.saturation_over_water_hpa(temperature_degc=0),
    )
    np.testing.assert_allclose(zero[0], zero[1], rtol=5e-4)
    t = np.linspace(-40, -1, 40)
    ratio = power.saturation_over_ice_hpa(temperature_degc=t) / power.saturation_over_water_hpa(
        temperature_degc=t
    )
    assert (ratio < 1).all()
    assert np.isnan(power.saturation_over_ice_hpa(temperature_degc=0.1))


@pytest.mark.parametrize(
    ("row", "air_degc", "humidity_pct"),
    [
        ("DEW-01", 25, 80),
        ("DEW-02", 20, 52.5224541378),
        ("DEW-03", 10, 85),
        ("DEW-04", 10, 85),
        ("DEW-06", -5, 80),
    ],
)
def test_dew_point(row, air_degc, humidity_pct):
    """Source: reference rows DEW-01 to DEW-06."""
    assert_row(POWER[row], power.dew_point_degc(air_degc=air_degc, humidity_pct=humidity_pct))


def test_dew_point_limits():
    """Derivation: saturated air is at its dew point; cooling to it saturates; moisture raises it."""
    np.testing.assert_allclose(
        power.dew_point_degc(air_degc=[-20, 3, 30], humidity_pct=100), [-20, 3, 30], rtol=1e-9
    )
    dew = power.dew_point_degc(air_degc=12, humidity_pct=70)
    vapour = 0.7 * power.saturation_over_water_hpa(temperature_degc=12)
    np.testing.assert_allclose(power.saturation_over_water_hpa(temperature_degc=dew), vapour, rtol=1e-12)
    assert (np.diff(power.dew_point_degc(air_degc=12, humidity_pct=[20, 50, 80, 100])) > 0).all()


def test_frost_point():
    """Source: reference row DEW-07."""
    assert_row(POWER["DEW-07"], power.frost_point_degc(air_degc=-5, humidity_pct=80))


def test_frost_point_against_other_formulas():
    """Source: Murphy & Koop 2005, eqs 7 and 10: ice in balance with the vapour, within 0.7 %."""
    air, humidity = np.meshgrid([-20.0, -10, -2, 4], [30.0, 60, 70])
    frost = power.frost_point_degc(air_degc=air, humidity_pct=humidity)
    assert np.isfinite(frost).all()
    ratio = murphy_koop_ice_hpa(frost) / (humidity / 100 * murphy_koop_water_hpa(air))
    np.testing.assert_allclose(ratio, 1, rtol=7e-3)


def test_frost_point_limits():
    """Derivation: above the dew point when freezing; undefined where the dew point lies above 0 °C."""
    cold = {"air_degc": -8, "humidity_pct": [40, 70, 99]}
    assert (power.frost_point_degc(**cold) > power.dew_point_degc(**cold)).all()
    assert np.isnan(power.frost_point_degc(air_degc=10, humidity_pct=85))


# The lens


def test_lens_margin_above_freezing():
    """Derivation: heat balance by hand with reference row DEW-03: 10 − 4 + 3 W × ½ × 2 K/W − 7.59 °C."""
    margin = power.lens_margin_k(
        air_degc=10, humidity_pct=85, cooling_k=4, heater_w=3, heater_duty=0.5, lift_k_w=2
    )
    np.testing.assert_allclose(margin, 10 - 4 + 3 - POWER["DEW-03"]["expected"], atol=0.03)


def test_lens_margin_below_freezing():
    """Derivation: the same with reference row DEW-07: it is the frost point that counts."""
    margin = power.lens_margin_k(
        air_degc=-5, humidity_pct=80, cooling_k=1.5, heater_w=0, heater_duty=0, lift_k_w=2
    )
    np.testing.assert_allclose(margin, -5 - 1.5 - POWER["DEW-07"]["expected"], atol=0.05)


def test_heater_that_holds_the_margin():
    """Source: reference row DEW-11: its power on its own area and transfer lifts by its 3 K."""
    lift_k_w = 1 / (0.030 * 10)
    heated = LENS | {"heater_w": POWER["DEW-11"]["expected"], "heater_duty": 1, "lift_k_w": lift_k_w}
    gain = power.lens_margin_k(**heated) - power.lens_margin_k(**heated | {"heater_w": 0})
    np.testing.assert_allclose(gain, 3, rtol=1e-12)


def test_lens_margin_is_continuous_through_freezing():
    """Derivation: 0.01 K of air moves the margin by no more than that, across 0 °C as elsewhere."""
    air = np.arange(-3, 5, 0.01)
    margin = power.lens_margin_k(**LENS | {"air_degc": air})
    assert np.abs(np.diff(margin)).max() < 0.01


# Batteries


def test_cells():
    """Source: reference rows PWR-08 (nominal voltage) and PWR-15 (energy of that row of cells)."""
    volts = power.cells_energy_wh(cells=10, cell_v=1.2, cell_ah=1)
    assert_row(POWER["PWR-08"], volts)
    assert_row(POWER["PWR-15"], power.cells_energy_wh(cells=10, cell_v=1.2, cell_ah=14))


def test_runtime():
    """Source: reference row PWR-14."""
    hours = power.runtime_h(energy_wh=128, usable=0.9, cold=1, converter=0.95, load_w=14)
    assert_row(POWER["PWR-14"], hours)


def test_runtime_limits():
    """Derivation: a watt-hour a watt is an hour; half of any share or double load halves the hours."""
    assert power.runtime_h(energy_wh=1, usable=1, cold=1, converter=1, load_w=1) == 1
    hours = power.runtime_h(**BATTERY)
    for share in ("usable", "cold", "converter"):
        half = power.runtime_h(**BATTERY | {share: BATTERY[share] / 2})
        np.testing.assert_allclose(half, hours / 2, rtol=1e-12)
    np.testing.assert_allclose(power.runtime_h(**BATTERY | {"load_w": 23}), hours / 2, rtol=1e-12)


# Shapes and errors


def test_shapes():
    assert_broadcasts(power.saturation_over_water_hpa, temperature_degc=5)
    assert_broadcasts(power.saturation_over_ice_hpa, temperature_degc=-5)
    assert_broadcasts(power.dew_point_degc, air_degc=10, humidity_pct=85)
    assert_broadcasts(power.frost_point_degc, air_degc=-5, humidity_pct=80)
    assert_broadcasts(power.lens_margin_k, **LENS)
    assert_broadcasts(power.lens_margin_k, **LENS | {"air_degc": 10})
    assert_broadcasts(power.cells_energy_wh, cells=8, cell_v=1.2, cell_ah=2)
    assert_broadcasts(power.runtime_h, **BATTERY)


CELLS = {"cells": 8, "cell_v": 1.2, "cell_ah": 2.0}
AIR = {"air_degc": 10, "humidity_pct": 85}
REFUSED = [
    (
        power.saturation_over_water_hpa,
        {},
        {"temperature_degc": 278},
        r"temperature_degc must be -40 to 50 °C.*kelvins",
    ),
    (power.saturation_over_ice_hpa, {}, {"temperature_degc": -60}, r"temperature_degc must be -40 to 50 °C"),
    (
        power.dew_point_degc,
        AIR,
        {"air_degc": 283},
        r"air_degc must be -40 to 50 °C, received 283 °C: .*kelvins",
    ),
    (
        power.dew_point_degc,
        AIR,
        {"humidity_pct": 0.85},
        r"humidity_pct must be 1 to 100 %, .* a share of 0.8 is 80",
    ),
    (power.frost_point_degc, AIR, {"air_degc": -50}, r"air_degc must be -40 to 50 °C"),
    (power.frost_point_degc, AIR, {"humidity_pct": 101}, r"humidity_pct must be 1 to 100 %, received 101 %"),
    (power.lens_margin_k, LENS, {"air_degc": 60}, r"air_degc must be -40 to 50 °C"),
    (power.lens_margin_k, LENS, {"humidity_pct": 0}, r"humidity_pct must be 1 to 100 %"),
    (power.lens_margin_k, LENS, {"cooling_k": -3}, r"cooling_k must be 0 or more K, .* positive number"),
    (power.lens_margin_k, LENS, {"heater_w": -2}, r"heater_w must be 0 or more W"),
    (power.lens_margin_k, LENS, {"heater_duty": 50}, r"heater_duty must be 0 to 1, received 50"),
    (power.lens_margin_k, LENS, {"lift_k_w": -1}, r"lift_k_w must be 0 or more K/W"),
    (power.cells_energy_wh, CELLS, {"cells": 0}, r"cells must be above 0, received 0"),
    (power.cells_energy_wh, CELLS, {"cell_v": -1.2}, r"cell_v must be above 0 V"),
    (power.cells_energy_wh, CELLS, {"cell_ah": 0}, r"cell_ah must be above 0 Ah, .* 2000 mAh are 2 Ah"),
    (power.runtime_h, BATTERY, {"energy_wh": 0}, r"energy_wh must be above 0 Wh"),
    (power.runtime_h, BATTERY, {"usable": 90}, r"usable must be 0 to 1, received 90"),
    (power.runtime_h, BATTERY, {"cold": -0.1}, r"cold must be 0 to 1, received -0.1"),
    (power.runtime_h, BATTERY, {"converter": 1.2}, r"converter must be 0 to 1, received 1.2"),
    (power.runtime_h, BATTERY, {"load_w": 0}, r"load_w must be above 0 W, .* never ends"),
]


@pytest.mark.parametrize(("function", "good", "bad", "message"), REFUSED)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
