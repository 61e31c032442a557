"""Leads: wire, voltage at the far end, which one to swap, and what a port gives."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.power.cable as cable
import workbook.power.leads as leads

POWER = rows("power.csv")
WIRE = {"cable_m": 2.0, "area_mm2": 0.5, "cable_temperature_degc": 20.0}
CORD = {"battery_v": 12.0, "load_w": 30.0, "cable_m": 3.0, "gauge_awg": 20.0, "cable_temperature_degc": 20.0}
MARGIN = CORD | {"lowest_v": 10.0}
GAUGE = {name: value for name, value in MARGIN.items() if name != "gauge_awg"}
FOOT_M = 0.3048


# Wire


@pytest.mark.parametrize(("row", "gauge"), [("a", 16), ("b", 18), ("c", 20), ("d", 22), ("e", 24)])
def test_wire(row, gauge):
    """Source: reference rows PWR-01 and PWR-02 a to e; a lead of half the length has the wire's resistance."""
    assert_row(POWER[f"PWR-01{row}"], cable.wire_diameter_mm(gauge_awg=gauge))
    area = cable.wire_area_mm2(gauge_awg=gauge)
    np.testing.assert_allclose(
        area, np.pi / 4 * POWER[f"PWR-01{row}"]["expected"] ** 2, rtol=3e-3
    )  # 2 × 0.12 %
    thousand_feet = {"cable_m": 500 * FOOT_M, "area_mm2": area, "cable_temperature_degc": 20}
    assert_row(POWER[f"PWR-02{row}"], cable.lead_resistance_ohm(**thousand_feet))


def test_copper():
    """Source: reference rows PWR-03 (half a metre out and back, 1 mm²) and PWR-04 (cold copper)."""
    assert_row(POWER["PWR-03"], cable.lead_resistance_ohm(cable_m=0.5, area_mm2=1, cable_temperature_degc=20))
    cold = cable.lead_resistance_ohm(**WIRE | {"cable_temperature_degc": -10})
    assert_row(POWER["PWR-04"], cold / cable.lead_resistance_ohm(**WIRE))


def test_drops():
    """Source: reference rows PWR-05 (gauge), PWR-06 (metric) and PWR-18 (port); current times resistance."""
    area = [cable.wire_area_mm2(gauge_awg=gauge) for gauge in (20, 28)]
    cord = cable.lead_resistance_ohm(cable_m=3, area_mm2=area[0], cable_temperature_degc=20)
    assert_row(POWER["PWR-05"], 2.5 * cord)
    metric = cable.lead_resistance_ohm(cable_m=5, area_mm2=0.75, cable_temperature_degc=20)
    assert_row(POWER["PWR-06"], 3 * metric)
    port = cable.lead_resistance_ohm(cable_m=3, area_mm2=area[1], cable_temperature_degc=20)
    assert_row(POWER["PWR-18"], 0.9 * port)


# A load that holds its power


def test_current_of_constant_power():
    """Source: reference row PWR-07; and the power arrives: I (U − R I) = P."""
    asked = {"supply_v": 12, "load_w": 30, "resistance_ohm": 0.2}
    assert_row(POWER["PWR-07"], cable.load_current_a(**asked))
    load = np.linspace(0, 170, 18)
    current = cable.load_current_a(**asked | {"load_w": load})
    np.testing.assert_allclose(current * (12 - 0.2 * current), load, rtol=1e-9, atol=1e-9)
    assert (12 - 0.2 * current > 6).all()  # the higher root
    assert cable.load_current_a(**asked | {"resistance_ohm": 0}) == 2.5


def test_far_end_follows_a_regulator_step_by_step():
    """Derivation: iterate U = U₀ − R P/U, as a regulator does, with the resistance of the cord by hand."""
    resistance = 6 / 58 / (np.pi / 4 * POWER["PWR-01c"]["expected"] ** 2)
    volts = 12.0
    for _ in range(200):
        volts = 12.0 - resistance * 30 / volts
    np.testing.assert_allclose(cable.load_voltage_v(**CORD), volts, rtol=2e-4)  # the row is rounded by 0.12 %
    cold = cable.load_voltage_v(**CORD | {"cable_temperature_degc": -20})
    assert cold > cable.load_voltage_v(**CORD)


def test_brown_out():
    """Derivation: no voltage carries more than U²/4R; the margin is then minus infinity, not NaN."""
    resistance = cable.lead_resistance_ohm(
        cable_m=3, area_mm2=cable.wire_area_mm2(gauge_awg=20), cable_temperature_degc=20
    )
    most_w = 12**2 / (4 * resistance)
    ends = cable.load_voltage_v(**CORD | {"load_w": [0.999 * most_w, 1.001 * most_w]})
    np.testing.assert_allclose(ends[0], 6, rtol=0.04)
    assert np.isnan(ends[1])
    margins = cable.brown_out_margin_v(**MARGIN | {"load_w": [30, 1.001 * most_w]})
    np.testing.assert_allclose(margins[0], cable.load_voltage_v(**CORD) - 10, rtol=1e-12)
    assert margins[1] == -np.inf


def test_loss():
    """Derivation: what leaves the battery less what arrives."""
    far = cable.load_voltage_v(**CORD)
    np.testing.assert_allclose(leads.lead_loss_w(**CORD), 12 * 30 / far - 30, rtol=1e-9)
    three_thinner = leads.lead_loss_w(**CORD | {"gauge_awg": 23, "load_w": 1})
    np.testing.assert_allclose(three_thinner, 2 * leads.lead_loss_w(**CORD | {"load_w": 1}), rtol=0.02)


# Which lead


def test_thinnest_gauge_is_the_last_that_holds():
    """Derivation: brown_out_margin_v is positive at the gauge and negative one number thinner."""
    for lowest, load, length in [(11.5, 30, 3), (9, 60, 5), (3, 100, 4), (11.9, 5, 1)]:
        asked = {"battery_v": 12, "load_w": load, "cable_m": length, "cable_temperature_degc": 0}
        gauge = leads.thinnest_gauge_awg(**asked, lowest_v=lowest)
        margins = cable.brown_out_margin_v(**asked, gauge_awg=[gauge, gauge + 1], lowest_v=max(lowest, 6))
        assert margins[0] >= 0 > margins[1], (lowest, load, length)
    light = leads.thinnest_gauge_awg(**GAUGE | {"load_w": 0.1})
    assert light == 30
    assert np.isnan(leads.thinnest_gauge_awg(**GAUGE | {"lowest_v": 12}))
    assert np.isnan(leads.thinnest_gauge_awg(**GAUGE | {"load_w": 3000}))


def test_rank_names_the_lead_to_swap():
    """Derivation: a lead that browns out comes first though it loses least; the others by loss; by hand."""
    mount = leads.Lead("mount", 9.6, 1.2, 24, 2, 28, 7.5)
    computer = leads.Lead("computer", 12.8, 10, 15, 2, 22, 11)
    camera = leads.Lead("camera", 12.8, 3, 4, 1, 20, 11)
    ranked = leads.rank_leads(leads=[camera, computer, mount], cable_temperature_degc=20)
    assert [(row.name, row.swap) for row in ranked] == [
        ("mount", True),
        ("computer", False),
        ("camera", False),
    ]
    assert ranked[0].lost_w < ranked[1].lost_w
    assert sum(row.share for row in ranked) == pytest.approx(1)
    worst = ranked[1]
    resistance = POWER["PWR-02d"]["expected"] * 4 / (1000 * FOOT_M)
    np.testing.assert_allclose(worst.lost_w, (10 / 12.8) ** 2 * resistance, rtol=0.04)  # more current: +3 %
    np.testing.assert_allclose(worst.far_v, 12.8 - 15 / 12.8 * resistance, rtol=0.01)
    np.testing.assert_allclose(worst.margin_v, worst.far_v - 11, rtol=1e-12)
    np.testing.assert_allclose(worst.share, worst.lost_w / sum(row.lost_w for row in ranked), rtol=1e-12)
    better = mount._replace(gauge_awg=ranked[0].needed_awg)
    assert not any(row.swap for row in leads.rank_leads(leads=[better], cable_temperature_degc=20))


def test_rank_survives_a_dead_lead():
    """Derivation: a lead that passes no power has no voltage, no loss, and stands in front."""
    dead = leads.Lead("heater", 12, 200, 200, 10, 28, 9)
    alive = leads.Lead("camera", 12, 3, 4, 1, 20, 9)
    first, second = leads.rank_leads(leads=[alive, dead], cable_temperature_degc=20)
    assert (first.name, first.swap, first.margin_v) == ("heater", True, -np.inf)
    assert np.isnan(first.far_v)
    assert second.share == 1


# Ports


def test_ports():
    """Source: reference rows PWR-16a to PWR-16f, in the order of USB_PORTS."""
    for letter, port in zip("abcdef", leads.USB_PORTS, strict=True):
        assert_row(POWER[f"PWR-16{letter}"], leads.usb_limit_w(port))


# Shapes and errors


def test_shapes():
    assert_broadcasts(cable.wire_diameter_mm, gauge_awg=20)
    assert_broadcasts(cable.wire_area_mm2, gauge_awg=20)
    assert_broadcasts(cable.lead_resistance_ohm, **WIRE)
    assert_broadcasts(cable.load_current_a, supply_v=12, load_w=30, resistance_ohm=0.2)
    assert_broadcasts(cable.load_voltage_v, **CORD)
    assert_broadcasts(cable.brown_out_margin_v, **MARGIN)
    assert_broadcasts(leads.lead_loss_w, **CORD)
    assert_broadcasts(leads.thinnest_gauge_awg, **GAUGE)


CURRENT = {"supply_v": 12, "load_w": 30, "resistance_ohm": 0.2}
REFUSED = [
    (cable.wire_diameter_mm, {}, {"gauge_awg": 50}, r"gauge_awg must be -3 to 40 AWG, .* not a diameter"),
    (cable.wire_area_mm2, {}, {"gauge_awg": 50}, r"gauge_awg must be -3 to 40 AWG"),
    (cable.lead_resistance_ohm, WIRE, {"cable_m": 0}, r"cable_m must be above 0 m, .* one way, in metres"),
    (cable.lead_resistance_ohm, WIRE, {"area_mm2": 0}, r"area_mm2 must be above 0 mm²"),
    (
        cable.lead_resistance_ohm,
        WIRE,
        {"cable_temperature_degc": 293},
        r"cable_temperature_degc must be -60 to 150 °C, .* kelvins",
    ),
    (cable.load_current_a, CURRENT, {"supply_v": 0}, r"supply_v must be above 0 V"),
    (cable.load_current_a, CURRENT, {"load_w": -1}, r"load_w must be 0 or more W"),
    (cable.load_current_a, CURRENT, {"resistance_ohm": -1}, r"resistance_ohm must be 0 or more Ω"),
    (cable.load_voltage_v, CORD, {"load_w": -5}, r"load_w must be 0 or more W"),
    (cable.brown_out_margin_v, MARGIN, {"lowest_v": 0}, r"lowest_v must be above 0 V"),
    (leads.lead_loss_w, CORD, {"cable_m": -3}, r"cable_m must be above 0 m"),
    (leads.thinnest_gauge_awg, GAUGE, {"load_w": 0}, r"load_w must be above 0 W"),
    (leads.thinnest_gauge_awg, GAUGE, {"battery_v": 0}, r"battery_v must be above 0 V"),
]


@pytest.mark.parametrize(("function", "good", "bad", "message"), REFUSED)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)


def test_unknown_port():
    with pytest.raises(ValueError, match="port must be one of 'usb 2', 'usb 3'"):
        leads.usb_limit_w("usb 9")
