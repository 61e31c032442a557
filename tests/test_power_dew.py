"""Dew, frost, the lens under the sky and its heater."""

from functools import partial

import numpy as np
import psychrolib
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.power.air as air
import workbook.power.heater as heater
import workbook.power.lens as lens

POWER = rows("power.csv")
LENS = {
    "air_degc": 3.0,
    "humidity_pct": 90.0,
    "cooling_k": 3.0,
    "heater_w": 2.0,
    "heater_duty": 0.5,
    "lift_k_w": 2.0,
}

SKY = {
    "air_degc": 10.0,
    "sky_degc": -10.15,
    "emissivity": 0.9,
    "transfer_w_m2_k": 10.0,
    "open_sky": 1.0,
}
NIGHT = {
    "times_h": [0, 2, 3, 6],
    "air_degc": [10, 7, 5, 3],
    "humidity_pct": [60, 80, 88, 95],
    "cooling_k": 2,
    "heater_w": 2,
    "lift_k_w": 3,
    "margin_k": 1,
}
NEED = {"air_degc": 10.0, "humidity_pct": 85.0, "cooling_k": 4.0, "lift_k_w": 2.0, "margin_k": 1.5}
RATED = {"rated_w": 6.0, "rated_v": 12.0, "voltage_v": 10.8}


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
    assert_row(POWER["DEW-05a"], air.saturation_over_water_hpa(temperature_degc=5))
    assert_row(POWER["DEW-05b"], air.saturation_over_water_hpa(temperature_degc=25))
    assert_row(POWER["DEW-05c"], air.saturation_over_ice_hpa(temperature_degc=-5))


def test_saturation_over_the_whole_range():
    """Source: Murphy & Koop 2005, eqs 7 and 10 (another form, fitted to other data); within 0.5 %.

    Their constants are recalled; they reproduce reference rows DEW-05a to c themselves.
    """
    assert_row(POWER["DEW-05a"], murphy_koop_water_hpa(5))
    assert_row(POWER["DEW-05b"], murphy_koop_water_hpa(25))
    assert_row(POWER["DEW-05c"], murphy_koop_ice_hpa(-5))
    t = np.linspace(-40, 50, 91)
    np.testing.assert_allclose(
        air.saturation_over_water_hpa(temperature_degc=t), murphy_koop_water_hpa(t), rtol=5e-3
    )
    ice = t[t <= 0]
    np.testing.assert_allclose(
        air.saturation_over_ice_hpa(temperature_degc=ice), murphy_koop_ice_hpa(ice), rtol=5e-3
    )


def test_ice_and_water():
    """Derivation: equal at the triple point (fits differ by 0.05 %), ice below water under it, none above."""
    zero = (
        air.saturation_over_ice_hpa(temperature_degc=0),
        air.saturation_over_water_hpa(temperature_degc=0),
    )
    np.testing.assert_allclose(zero[0], zero[1], rtol=5e-4)
    t = np.linspace(-40, -1, 40)
    ratio = air.saturation_over_ice_hpa(temperature_degc=t) / air.saturation_over_water_hpa(
        temperature_degc=t
    )
    assert (ratio < 1).all()
    assert np.isnan(air.saturation_over_ice_hpa(temperature_degc=0.1))


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
    assert_row(POWER[row], air.dew_point_degc(air_degc=air_degc, humidity_pct=humidity_pct))


def test_dew_point_limits():
    """Derivation: saturated air is at its dew point; cooling to it saturates; moisture raises it."""
    np.testing.assert_allclose(
        air.dew_point_degc(air_degc=[-20, 3, 30], humidity_pct=100), [-20, 3, 30], rtol=1e-9
    )
    dew = air.dew_point_degc(air_degc=12, humidity_pct=70)
    vapour = 0.7 * air.saturation_over_water_hpa(temperature_degc=12)
    np.testing.assert_allclose(air.saturation_over_water_hpa(temperature_degc=dew), vapour, rtol=1e-12)
    assert (np.diff(air.dew_point_degc(air_degc=12, humidity_pct=[20, 50, 80, 100])) > 0).all()


def test_frost_point():
    """Source: reference row DEW-07."""
    assert_row(POWER["DEW-07"], air.frost_point_degc(air_degc=-5, humidity_pct=80))


def test_frost_point_against_other_formulas():
    """Source: Murphy & Koop 2005, eqs 7 and 10: ice in balance with the vapour, within 0.7 %."""
    degc, humidity = np.meshgrid([-20.0, -10, -2, 4], [30.0, 60, 70])
    frost = air.frost_point_degc(air_degc=degc, humidity_pct=humidity)
    assert np.isfinite(frost).all()
    ratio = murphy_koop_ice_hpa(frost) / (humidity / 100 * murphy_koop_water_hpa(degc))
    np.testing.assert_allclose(ratio, 1, rtol=7e-3)


def test_frost_point_limits():
    """Derivation: above the dew point when freezing; undefined where the dew point lies above 0 °C."""
    cold = {"air_degc": -8, "humidity_pct": [40, 70, 99]}
    assert (air.frost_point_degc(**cold) > air.dew_point_degc(**cold)).all()
    assert np.isnan(air.frost_point_degc(air_degc=10, humidity_pct=85))


# The lens


def test_lens_margin_above_freezing():
    """Derivation: heat balance by hand with reference row DEW-03: 10 − 4 + 3 W × ½ × 2 K/W − 7.59 °C."""
    margin = lens.lens_margin_k(
        air_degc=10, humidity_pct=85, cooling_k=4, heater_w=3, heater_duty=0.5, lift_k_w=2
    )
    np.testing.assert_allclose(margin, 10 - 4 + 3 - POWER["DEW-03"]["expected"], atol=0.03)


def test_lens_margin_below_freezing():
    """Derivation: the same with reference row DEW-07: it is the frost point that counts."""
    margin = lens.lens_margin_k(
        air_degc=-5, humidity_pct=80, cooling_k=1.5, heater_w=0, heater_duty=0, lift_k_w=2
    )
    np.testing.assert_allclose(margin, -5 - 1.5 - POWER["DEW-07"]["expected"], atol=0.05)


def test_heater_that_holds_the_margin():
    """Source: reference row DEW-11: its power on its own area and transfer lifts by its 3 K."""
    lift_k_w = 1 / (0.030 * 10)
    heated = LENS | {"heater_w": POWER["DEW-11"]["expected"], "heater_duty": 1, "lift_k_w": lift_k_w}
    gain = lens.lens_margin_k(**heated) - lens.lens_margin_k(**heated | {"heater_w": 0})
    np.testing.assert_allclose(gain, 3, rtol=1e-12)


def test_lens_margin_is_continuous_through_freezing():
    """Derivation: 0.01 K of air moves the margin by no more than that, across 0 °C as elsewhere."""
    air = np.arange(-3, 5, 0.01)
    margin = lens.lens_margin_k(**LENS | {"air_degc": air})
    assert np.abs(np.diff(margin)).max() < 0.01


# The sky, and the reference library of moist air


def test_dew_point_against_a_library():
    """Source: psychrolib (ASHRAE Handbook Fundamentals 2017, ch. 1) above freezing, within 0.05 K."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for degc in (1.0, 5.0, 12.0, 30.0):
        for pct in (20.0, 55.0, 90.0):
            dew = psychrolib.GetTDewPointFromRelHum(degc, pct / 100)
            if dew > 0:
                ours = air.dew_point_degc(air_degc=degc, humidity_pct=pct)
                np.testing.assert_allclose(ours, dew, rtol=0, atol=0.05)


def test_frost_point_against_a_library():
    """Source: psychrolib, whose deposit below 0 °C is ice; its humidity there is over ice, so vapour goes in."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    for degc in (-15.0, -5.0, 2.0):
        for pct in (40.0, 65.0):
            pascal = pct * murphy_koop_water_hpa(degc)
            frost = psychrolib.GetTDewPointFromVapPres(degc, pascal)
            ours = lens.deposit_point_degc(air_degc=degc, humidity_pct=pct)
            np.testing.assert_allclose(ours, frost, rtol=0, atol=0.1)


def test_deposit_point():
    """Source: reference rows DEW-03 (dew) and DEW-07 (frost)."""
    assert_row(POWER["DEW-03"], lens.deposit_point_degc(air_degc=10, humidity_pct=85))
    assert_row(POWER["DEW-07"], lens.deposit_point_degc(air_degc=-5, humidity_pct=80))


def test_rule_of_thumb_and_water_in_the_air():
    """Source: reference rows DEW-08 (T − (100 − RH)/5 against the dew point) and DEW-13 (e/(R_v T))."""
    assert_row(POWER["DEW-08"], 15 - (100 - 70) / 5 - air.dew_point_degc(air_degc=15, humidity_pct=70))
    vapour_pa = 85 * air.saturation_over_water_hpa(temperature_degc=10)
    assert_row(POWER["DEW-13"], 1000 * vapour_pa / (461.5 * 283.15))


def test_clear_sky():
    """Source: reference row DEW-09 (Swinbank) and DEW-14 (Berdahl & Martin: T_sky⁴/T⁴ is the emissivity)."""
    assert_row(POWER["DEW-09"], lens.clear_sky_degc(air_degc=10, humidity_pct=85) + 273.15)
    humidity = 100 * murphy_koop_water_hpa(10.0) / murphy_koop_water_hpa(20.0)
    sky = lens.clear_sky_degc(air_degc=20, humidity_pct=humidity, model="berdahl1984")
    np.testing.assert_allclose(
        ((sky + 273.15) / 293.15) ** 4, POWER["DEW-14"]["expected"], rtol=0, atol=3e-4
    )  # 0.05 K of dew point is 3e-4


def test_humid_air_is_a_warmer_sky():
    """Derivation: Berdahl & Martin's emissivity grows with the dew point; Swinbank's does not know it."""
    damp = {"air_degc": 12, "humidity_pct": [30, 60, 95]}
    assert (np.diff(lens.clear_sky_degc(**damp, model="berdahl1984")) > 1).all()
    assert np.ptp(lens.clear_sky_degc(**damp, model="swinbank1963")) == 0


def test_radiative_loss():
    """Source: reference row DEW-10."""
    assert_row(POWER["DEW-10"], lens.radiative_loss_w_m2(surface_degc=10, sky_degc=-10.15, emissivity=0.9))
    assert lens.radiative_loss_w_m2(surface_degc=-5, sky_degc=5, emissivity=0.9) < 0


def test_sky_cooling():
    """Source: reference row DEW-12."""
    assert_row(POWER["DEW-12"], lens.sky_cooling_k(**SKY))


def test_sky_cooling_balances_its_heat():
    """Derivation: what the lens radiates, by radiative_loss_w_m2, comes from the air; a hood halves it."""
    cooling = lens.sky_cooling_k(**SKY)
    loss = lens.radiative_loss_w_m2(surface_degc=10 - cooling, sky_degc=SKY["sky_degc"], emissivity=0.9)
    np.testing.assert_allclose(loss, SKY["transfer_w_m2_k"] * cooling, rtol=1e-9)
    assert lens.sky_cooling_k(**SKY | {"open_sky": 0}) == pytest.approx(0, abs=1e-9)
    half = lens.sky_cooling_k(**SKY | {"open_sky": 0.5})
    np.testing.assert_allclose(half, cooling / 2, rtol=0.02)  # the rest is the bend of T⁴
    assert lens.sky_cooling_k(**SKY | {"transfer_w_m2_k": 20}) < 0.6 * cooling


# The heater


def test_lift():
    """Source: reference row DEW-11: its watts on its area lift by its 3 K."""
    lift = heater.heater_lift_k_w(area_m2=0.030, transfer_w_m2_k=10)
    np.testing.assert_allclose(lift * POWER["DEW-11"]["expected"], 3, rtol=1e-12)


def test_need_keeps_the_margin():
    """Derivation: with the need as mean power lens_margin_k is the margin asked for; by hand with row DEW-03."""
    asked = {"air_degc": 10, "humidity_pct": 85, "cooling_k": 4, "lift_k_w": 2}
    need = heater.heater_need_w(**asked, margin_k=1.5)
    np.testing.assert_allclose(need, (1.5 - (10 - 4 - POWER["DEW-03"]["expected"])) / 2, atol=0.02)
    margin = lens.lens_margin_k(**asked, heater_w=need, heater_duty=1)
    np.testing.assert_allclose(margin, 1.5, rtol=1e-9)
    assert heater.heater_need_w(**asked | {"humidity_pct": 30}, margin_k=1.5) == 0


def test_plan_keeps_the_margin_through_the_night():
    """Derivation: at both ends of each step lens_margin_k is the margin or more, at one of them just the margin."""
    plan = heater.heater_plan(**NIGHT)
    assert plan.start_h == 2.0
    assert plan.short_k == 0
    assert plan.duty[0] == 0
    worst = []
    for step in (1, 2):
        ends = slice(step, step + 2)
        margin = lens.lens_margin_k(
            air_degc=NIGHT["air_degc"][ends], humidity_pct=NIGHT["humidity_pct"][ends], cooling_k=2, heater_w=2,
            heater_duty=plan.duty[step], lift_k_w=3,
        )  # fmt: skip
        worst.append(margin.min())
    np.testing.assert_allclose(worst, 1, rtol=1e-9)
    by_hand = sum(2 * duty * hours for duty, hours in zip(plan.duty, (2, 1, 3), strict=False))
    np.testing.assert_allclose(plan.energy_wh, by_hand, rtol=1e-12)
    np.testing.assert_allclose(plan.mean_w, 2 * plan.duty, rtol=1e-12)


def test_plan_of_a_weak_heater():
    """Derivation: full duty, and the shortfall is the margin asked less the margin reached."""
    plan = heater.heater_plan(**NIGHT | {"heater_w": 0.1})
    reached = lens.lens_margin_k(
        air_degc=3, humidity_pct=95, cooling_k=2, heater_w=0.1, heater_duty=1, lift_k_w=3
    )
    assert plan.duty[-1] == 1
    np.testing.assert_allclose(plan.short_k, 1 - reached, rtol=1e-9)
    dry = heater.heater_plan(**NIGHT | {"humidity_pct": 30})
    assert np.isnan(dry.start_h)
    assert dry.energy_wh == 0


def test_plan_over_draws():
    """Derivation: each row of a stack is the plan of that row alone."""
    plans = heater.heater_plan(**NIGHT | {"cooling_k": [[1.0], [2.0], [4.0]]})
    assert plans.duty.shape == (3, 4)
    alone = heater.heater_plan(**NIGHT)
    np.testing.assert_allclose(plans.duty[1], alone.duty, rtol=1e-12)
    np.testing.assert_allclose(plans.energy_wh[1], alone.energy_wh, rtol=1e-12)
    assert (np.diff(plans.energy_wh) > 0).all()
    assert plans.start_h[2] <= plans.start_h[1]


def test_sagging_heater():
    """Source: reference row PWR-17."""
    assert_row(POWER["PWR-17"], heater.heater_at_voltage_w(rated_w=6, rated_v=12, voltage_v=10.8))


# Shapes and errors


def test_shapes():
    assert_broadcasts(air.saturation_over_water_hpa, temperature_degc=5)
    assert_broadcasts(air.saturation_over_ice_hpa, temperature_degc=-5)
    assert_broadcasts(air.dew_point_degc, air_degc=10, humidity_pct=85)
    assert_broadcasts(air.frost_point_degc, air_degc=-5, humidity_pct=80)
    assert_broadcasts(lens.lens_margin_k, **LENS)
    assert_broadcasts(lens.lens_margin_k, **LENS | {"air_degc": 10})
    assert_broadcasts(lens.deposit_point_degc, air_degc=10, humidity_pct=85)
    for model in ("swinbank1963", "berdahl1984"):
        assert_broadcasts(partial(lens.clear_sky_degc, model=model), air_degc=10, humidity_pct=85)
    assert_broadcasts(lens.radiative_loss_w_m2, surface_degc=10, sky_degc=-10, emissivity=0.9)
    assert_broadcasts(lens.sky_cooling_k, **SKY)
    assert_broadcasts(heater.heater_lift_k_w, area_m2=0.03, transfer_w_m2_k=10)
    assert_broadcasts(heater.heater_need_w, **NEED)
    assert_broadcasts(heater.heater_at_voltage_w, **RATED)


AIR = {"air_degc": 10, "humidity_pct": 85}
LOSS = {"surface_degc": 10, "sky_degc": -10, "emissivity": 0.9}
LIFT = {"area_m2": 0.03, "transfer_w_m2_k": 10}
REFUSED = [
    (
        air.saturation_over_water_hpa,
        {},
        {"temperature_degc": 278},
        r"temperature_degc must be -40 to 50 °C.*kelvins",
    ),
    (air.saturation_over_ice_hpa, {}, {"temperature_degc": -60}, r"temperature_degc must be -40 to 50 °C"),
    (
        air.dew_point_degc,
        AIR,
        {"air_degc": 283},
        r"air_degc must be -40 to 50 °C, received 283 °C: .*kelvins",
    ),
    (
        air.dew_point_degc,
        AIR,
        {"humidity_pct": 0.85},
        r"humidity_pct must be 1 to 100 %, .* a share of 0.8 is 80",
    ),
    (air.frost_point_degc, AIR, {"air_degc": -50}, r"air_degc must be -40 to 50 °C"),
    (air.frost_point_degc, AIR, {"humidity_pct": 101}, r"humidity_pct must be 1 to 100 %, received 101 %"),
    (lens.lens_margin_k, LENS, {"air_degc": 60}, r"air_degc must be -40 to 50 °C"),
    (lens.lens_margin_k, LENS, {"humidity_pct": 0}, r"humidity_pct must be 1 to 100 %"),
    (lens.lens_margin_k, LENS, {"cooling_k": -3}, r"cooling_k must be 0 or more K, .* positive number"),
    (lens.lens_margin_k, LENS, {"heater_w": -2}, r"heater_w must be 0 or more W"),
    (lens.lens_margin_k, LENS, {"heater_duty": 50}, r"heater_duty must be 0 to 1, received 50"),
    (lens.lens_margin_k, LENS, {"lift_k_w": -1}, r"lift_k_w must be 0 or more K/W"),
    (lens.deposit_point_degc, AIR, {"air_degc": 60}, r"air_degc must be -40 to 50 °C"),
    (lens.clear_sky_degc, AIR, {"air_degc": 283}, r"air_degc must be -40 to 50 °C, .*kelvins"),
    (lens.clear_sky_degc, AIR, {"model": "swinbank"}, r"model must be one of 'swinbank1963', 'berdahl1984'"),
    (lens.radiative_loss_w_m2, LOSS, {"surface_degc": 283}, r"surface_degc must be -90 to 90 °C, .*kelvins"),
    (lens.radiative_loss_w_m2, LOSS, {"sky_degc": 263}, r"sky_degc must be -150 to 60 °C, .*kelvins"),
    (lens.radiative_loss_w_m2, LOSS, {"emissivity": 90}, r"emissivity must be 0 to 1, received 90"),
    (lens.sky_cooling_k, SKY, {"air_degc": 283}, r"air_degc must be -40 to 50 °C"),
    (lens.sky_cooling_k, SKY, {"sky_degc": 263}, r"sky_degc must be -150 to 60 °C"),
    (lens.sky_cooling_k, SKY, {"emissivity": -1}, r"emissivity must be 0 to 1"),
    (lens.sky_cooling_k, SKY, {"transfer_w_m2_k": 0}, r"transfer_w_m2_k must be above 0 W/m²/K, .*5 to 20"),
    (lens.sky_cooling_k, SKY, {"open_sky": 40}, r"open_sky must be 0 to 1, received 40"),
    (heater.heater_lift_k_w, LIFT, {"area_m2": 0}, r"area_m2 must be above 0 m², .*60 mm has 0.0028"),
    (heater.heater_lift_k_w, LIFT, {"transfer_w_m2_k": -1}, r"transfer_w_m2_k must be above 0"),
    (heater.heater_need_w, NEED, {"lift_k_w": 0}, r"lift_k_w must be above 0 K/W, .*0.5 to 5 K/W"),
    (heater.heater_need_w, NEED, {"margin_k": -1}, r"margin_k must be 0 or more K"),
    (heater.heater_plan, NIGHT, {"times_h": [0, 2, 2, 6]}, r"times_h must hold two times or more that rise"),
    (heater.heater_plan, NIGHT, {"times_h": [3]}, r"times_h must hold two times or more that rise"),
    (heater.heater_plan, NIGHT, {"heater_w": 0}, r"heater_w must be above 0 W, .*without a heater"),
    (heater.heater_at_voltage_w, RATED, {"rated_w": 0}, r"rated_w must be above 0 W"),
    (heater.heater_at_voltage_w, RATED, {"rated_v": 0}, r"rated_v must be above 0 V"),
    (heater.heater_at_voltage_w, RATED, {"voltage_v": -1}, r"voltage_v must be 0 or more V"),
]


@pytest.mark.parametrize(("function", "good", "bad", "message"), REFUSED)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
