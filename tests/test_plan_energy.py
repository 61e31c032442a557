"""The energy table and the leads of a passport: by hand, against the spread of a product, and against astropy."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from workbook import passport, plan
from workbook.verdict import hours
from workbook.verdict.evening import evening

BALCONY = passport.scenario("balcony")


@pytest.fixture(scope="module")
def balcony():
    return plan.energy_night(BALCONY)


def test_the_table_by_hand(balcony):
    """Derivation: watts × duty × hours; 96 × 0.9 × 0.9 × 0.92 Wh arrive, 8 × 1.2 × 2.0 × 0.9 × 0.9 from the cells."""
    watts = {"computer": 6.0, "camera": 2.0, "heater": 1.0, "red light": 0.5, "mount": 1.2}
    assert [row.name for row in balcony.devices] == ["computer", "camera", "mount", "heater", "red light"]
    for row in balcony.devices:
        given_wh = 15.552 if row.name == "mount" else 71.5392
        assert row.energy_wh.central == pytest.approx(watts[row.name] * balcony.dawn_h)
        assert row.power_w * row.duty == pytest.approx(watts[row.name])
        assert row.share.central == pytest.approx(watts[row.name] * balcony.dawn_h / given_wh)
    pack, cells = balcony.batteries
    assert (pack.name, cells.name) == ("pack", "mount's cells")
    assert pack.store_wh.central == pytest.approx(71.5392)
    assert cells.store_wh.central == pytest.approx(15.552)
    assert pack.drawn_wh.central == pytest.approx(9.5 * balcony.dawn_h)
    assert pack.ends_h.central == pytest.approx(71.5392 / 9.5)
    assert cells.ends_h.central == pytest.approx(15.552 / 1.2)
    assert pack.share.central == pytest.approx(9.5 * balcony.dawn_h / 71.5392)


def test_start_and_dawn_are_those_of_the_sun(balcony):
    """Astropy's Sun: −6° when the set-up begins, −18° at dawn; 0.1° is the half minute of the steps."""
    from astropy.coordinates import AltAz, EarthLocation, get_sun
    from astropy.time import Time

    where = EarthLocation(lat=52.4, lon=10.5, height=60)
    times = Time([balcony.start_utc, balcony.dawn_utc])
    height_deg = get_sun(times).transform_to(AltAz(obstime=times, location=where)).alt.deg
    np.testing.assert_allclose(height_deg, [BALCONY["habits.set_up_sun_deg"], -18.0], atol=0.1)
    assert balcony.dawn_h == pytest.approx(float((times[1] - times[0]).to_value("h")), abs=1e-3)


def relative(key):
    entry = BALCONY.entry(key)
    return entry.sigma / entry.value


def test_ranges_are_those_of_a_product_of_small_spreads(balcony):
    """Derivation: relative spreads of a product add in squares; 6 % for 2,000 draws and the second order."""
    load_w = math.sqrt(0.9**2 + 0.3**2 + (2 * 0.1) ** 2 + (0.5 * 0.2) ** 2 + 0.1**2) / 9.5
    keys = ("pack_wh", "pack_usable", "pack_cold", "converter")
    store = math.sqrt(sum(relative(f"power.{key}") ** 2 for key in keys))
    pack = balcony.batteries[0]
    for span, spread in (
        (pack.store_wh, store),
        (pack.drawn_wh, load_w),
        (pack.ends_h, math.hypot(store, load_w)),
    ):
        assert (span.high - span.low) / 2 == pytest.approx(span.central * spread, rel=0.06)
    computer = balcony.devices[0]
    assert (computer.energy_wh.high - computer.energy_wh.low) / 2 == pytest.approx(
        0.9 * balcony.dawn_h, rel=0.06
    )
    half = (computer.share.high - computer.share.low) / 2
    assert half == pytest.approx(computer.share.central * math.hypot(0.15, store), rel=0.06)


@pytest.mark.parametrize("pack_wh", [130.0, 161.0])
def test_the_chance_is_that_of_a_normal_difference(balcony, pack_wh):
    """Derivation: store less load × hours is nearly normal; 0.025 is two spreads of 2,000 draws, and the clipping."""
    pack = plan.energy_night(BALCONY.replace({"power.pack_wh": pack_wh})).batteries[0]
    store_wh = pack_wh * 0.9 * 0.9 * 0.92
    keys = ("pack_wh", "pack_usable", "pack_cold", "converter")
    store_sigma_wh = store_wh * math.sqrt(sum(relative(f"power.{key}") ** 2 for key in keys))
    load_sigma_wh = balcony.dawn_h * math.sqrt(0.9**2 + 0.3**2 + 0.2**2 + 0.1**2 + 0.1**2)
    z = (store_wh - 9.5 * balcony.dawn_h) / math.hypot(store_sigma_wh, load_sigma_wh)
    assert pack.chance.probability == pytest.approx(0.5 * math.erfc(-z / math.sqrt(2)), abs=0.025)
    assert pack.chance.low < pack.chance.probability < pack.chance.high


@pytest.mark.parametrize("name", passport.SCENARIOS)
def test_the_ends_are_those_of_the_ribbon(name):
    """The one answer of a night: verdict.hours has its own sum of loads."""
    rig = passport.scenario(name)
    night = plan.energy_night(rig, draws=10)
    ends = {row.name: row.ends_h.central for row in night.batteries}
    expected = hours.supply_h(rig.central(), guided=rig["plan.guided"])
    assert [ends["pack"], ends["mount's cells"]] == pytest.approx([float(end_h) for end_h in expected])
    assert ("guide camera" in [row.name for row in night.devices]) == rig["plan.guided"]
    text = night.as_text()
    assert all(row.name in text for row in (*night.devices, *night.batteries))


def test_ranges_and_chance_are_those_of_the_panel(balcony):
    asked = {"start_min": 0.0, "heater_duty": 0.5, "pack_wh": 96.0, "air_end_degc": 3.0}
    seen = evening(BALCONY, target="M 45", draws=200, **asked)
    pack = balcony.batteries[0]
    assert (pack.ends_h.low, pack.ends_h.high) == pytest.approx(seen.pack_68_h, rel=1e-3)
    assert pack.chance == seen.pack_chance
    assert balcony.dawn_h == pytest.approx(seen.dawn_h)


def test_the_text_carries_a_range_with_every_result(balcony):
    lines = balcony.as_text().splitlines()
    assert lines[0] == "Energy of balcony, night of 2026-10-10: 10.6 h from 17:08 to dawn at 03:42 UTC"
    computer = balcony.devices[0].energy_wh
    row = next(line for line in lines if line.startswith("computer"))
    assert f"{computer.central:.1f} ({computer.low:.1f} to {computer.high:.1f})" in row
    assert "empty after 7.5 (6.6 to 8.6) h" in balcony.as_text()
    assert "Measured of these numbers: none" in lines[-1]
    measured = passport.loads(
        BALCONY.text.replace(
            "light_w = { value = 0.5, sigma = 0.1 }",
            "light_w = { value = 0.5, sigma = 0.1, measured = 2026-05-01 }",
        )
    )
    assert "Measured of these numbers: light_w;" in plan.energy_night(measured, draws=10).as_text()


def test_a_guided_rig_pays_for_its_guide_camera(balcony):
    """By hand: 1 W more, 71.5392 / 10.5 h."""
    pack = plan.energy_night(BALCONY, guided=True, draws=10).batteries[0]
    assert pack.ends_h.central == pytest.approx(71.5392 / 10.5)


def test_nothing_drawn_never_ends_and_no_night_says_so():
    names = ("computer_w", "camera_w", "heater_w", "light_w")
    idle = plan.energy_night(BALCONY.replace({f"power.{name}": 0.0 for name in names}), draws=10)
    pack = next(row for row in idle.batteries if row.name == "pack")
    assert pack.ends_h.central == math.inf
    assert pack.chance.probability == 1.0
    assert "never empty" in idle.as_text()
    white = plan.energy_night(BALCONY, date=dt.date(2026, 6, 21))
    assert white.devices == ()
    assert white.as_text().endswith("no astronomical night.")
    with pytest.raises(ValueError, match="draws must be 1 or more"):
        plan.energy_night(BALCONY, draws=0)


def far_volts(battery_v, load_w, metres, gauge, degc):
    """Copper 1.724e-8 Ωm at 20 °C, 0.393 % a degree (IEC 60028); gauge by ASTM B258; U − I R = P / I solved."""
    area_m2 = math.pi / 4 * (0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
    ohm = 2 * metres * 1.7241e-8 * (1 + 0.00393 * (degc - 20)) / area_m2
    left = battery_v**2 - 4 * load_w * ohm
    return (battery_v + math.sqrt(left)) / 2 if left >= 0 else math.nan


def test_own_lead_beside_a_thin_one_by_hand():
    """Four iron-phosphate cells at 3.0 V, the table's voltage with 97 % drawn; 0.2 % for rounded copper."""
    found = plan.own_leads(BALCONY, peak_w=15.0, lowest_v=11.4)
    assert found.battery_v == pytest.approx(12.0)
    thin, own = found.leads
    assert (thin.row.name, own.row.name) == ("an invented thin one", "your lead")
    for lead, metres, gauge in ((own, 2.0, 20), (thin, 5.0, 24)):
        assert lead.row.far_v == pytest.approx(far_volts(12.0, 15.0, metres, gauge, 3.0), rel=2e-3)
        holds = [awg for awg in range(6, 31) if far_volts(12.0, 15.0, metres, awg, 3.0) >= 11.4]
        assert lead.row.needed_awg == max(holds)
        assert lead.far_v.low < lead.row.far_v < lead.far_v.high
    mean_a = 9.5 / 0.92 / 12.0  # what the devices take, through the converter
    ohm = (12.0 - far_volts(12.0, 15.0, 2.0, 20, 3.0)) / (15.0 / far_volts(12.0, 15.0, 2.0, 20, 3.0))
    assert own.row.lost_w == pytest.approx(mean_a**2 * ohm, rel=0.02)
    assert (own.row.swap, thin.row.swap) == (False, True)


def test_the_range_of_the_far_end_is_that_of_pack_and_lead():
    """Derivation: dV = 12/12.8 σ_pack dV/dU and the length's 5 % of the drop, in squares; 6 % for 2,000 draws."""
    own = next(
        lead for lead in plan.own_leads(BALCONY, peak_w=15.0, lowest_v=11.4).leads if "your" in lead.row.name
    )
    slope = (far_volts(12.01, 15, 2, 20, 3) - far_volts(11.99, 15, 2, 20, 3)) / 0.02
    length = (far_volts(12, 15, 2.01, 20, 3) - far_volts(12, 15, 1.99, 20, 3)) / 0.02
    sigma_v = math.hypot(slope * 0.13 * 12 / 12.8, length * 0.1)
    assert (own.far_v.high - own.far_v.low) / 2 == pytest.approx(sigma_v, rel=0.06)


def test_words_of_the_leads():
    words = plan.own_leads(BALCONY, peak_w=15.0, lowest_v=11.4).as_text().splitlines()
    assert words[1].startswith("an invented thin one, 5 m of 24 AWG: 10.9 (")
    assert words[1].endswith("swap it; 21 AWG would just do")
    assert "your lead, 2 m of 20 AWG" in words[2]
    assert "keep it" in words[2]
    long = BALCONY.replace({"power.lead_m": 10.0, "power.lead_awg": 30})
    first = plan.own_leads(long, peak_w=15.0, lowest_v=11.4).as_text().splitlines()[1]
    assert first.startswith("your lead, 10 m of 30 AWG: no such power passes; swap it; 18 AWG")
    assert "no gauge on sale holds" in plan.own_leads(BALCONY, peak_w=15.0, lowest_v=12.1).as_text()
    with pytest.raises(ValueError, match="peak_w must be above 0"):
        plan.own_leads(BALCONY, peak_w=0.0, lowest_v=11.4)


def test_the_kind_of_the_pack_is_told_from_its_voltage():
    """Three lithium-ion cells at 3.2 V; six lead cells, 1.796 V at 97 % by the straight line 1.83 to 1.75."""
    ion, lead = (BALCONY.replace({"power.pack_v": volts}) for volts in (10.8, 12.0))
    assert plan.own_leads(ion, peak_w=5, lowest_v=8).battery_v == pytest.approx(9.6)
    assert plan.own_leads(lead, peak_w=5, lowest_v=8).battery_v == pytest.approx(6 * (1.83 - 0.08 * 0.4))


def test_the_table_follows_the_date_not_the_target():
    later = plan.energy_night(BALCONY, date=dt.date(2026, 12, 10), draws=10)
    other = plan.energy_night(BALCONY.replace({"plan.target": "M 31"}), draws=10)
    assert later.dawn_h > other.dawn_h == plan.energy_night(BALCONY, draws=10).dawn_h
