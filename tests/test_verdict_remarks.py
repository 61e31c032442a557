"""What the hours do not look at: voltages against hand arithmetic, the stand against the night ribbon."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from workbook import passport, verdict
from workbook.__main__ import main
from workbook.plan.card import field_card
from workbook.verdict.remarks import voltage_remarks

NAMES = ("balcony", "school", "southern-club", "island-traveller", "near-equator")
OHM_M_30 = (
    0.3386  # one wire of gauge 30 at 20 °C, ASTM B258 area 0.05067 mm² and IEC 60028 copper: (1/58)/0.0509
)
QUICK = {"draws": 0, "causes": False}


def remarks(change, name="balcony", guided=False):
    return voltage_remarks(passport.scenario(name).replace(change), guided=guided)


@pytest.mark.parametrize("guided", [False, True])
@pytest.mark.parametrize("name", NAMES)
def test_the_scenarios_fit(name, guided):
    assert voltage_remarks(passport.scenario(name), guided=guided) == ()


@pytest.mark.parametrize(
    ("change", "kind", "fresh_v", "empty_v", "cure"),
    [
        ({"power.mount_cells": 20}, "nickel", 28.4, 20.0, "at most 14 V: use 7 to 9"),
        ({"power.mount_lowest_v": 10.5}, "nickel", 11.4, 8.0, "needs 10.5 V or more: use 9 of them"),
        ({"power.mount_cells": 10, "power.cell_v": 1.5}, "alkaline", 16.0, 9.0, "at most 14 V: use 5 to 8"),
        ({"power.mount_cells": 4, "power.cell_v": 3.7}, "lithium-ion", 16.8, 12.0, "at most 14 V: use 3 of"),
        (
            {"power.mount_cells": 2, "power.cell_v": 3.2},
            "iron phosphate",
            7.2,
            5.0,
            "7.5 V or more: use 3 of",
        ),
        ({"power.mount_cells": 3, "power.cell_v": 2.0}, "lead-acid", 6.4, 5.2, "7.5 V or more: use 4 to 6"),
    ],
)
def test_cells_that_the_input_refuses(change, kind, fresh_v, empty_v, cure):
    """Source: IEC 61951-2, IEC 60086-2 and handbook voltages of a cell (reference rows PWR-08, PWR-09), times n.

    Fresh and empty cells [V]: NiMH 1.42 and 1.0, alkaline 1.6 and 0.9, lithium-ion 4.2 and 3.0, iron phosphate 3.6 and
    2.5, lead 2.15 and 1.75. To the printed tenth, halves rounded either way.
    """
    (line,) = remarks(change)
    assert kind in line
    fresh, empty = map(float, re.search(r"\(([\d.]+) V fresh, ([\d.]+) V empty\)", line).groups())
    assert (fresh, empty) == pytest.approx((fresh_v, empty_v), abs=0.051)
    assert cure in line


def test_cells_that_the_input_leaves_half_full():
    """Derivation: 9.6 V / 8 = 1.2 V a cell, which NiMH has left after four fifths (Linden & Reddy 2011, ch. 22)."""
    (line,) = remarks({"power.mount_lowest_v": 9.6})
    assert "switches off below 9.6 V, with about 20 % of their charge unused" in line
    assert not remarks({"power.mount_lowest_v": 9.2})  # 1.15 V: nine tenths are out


def test_a_thin_long_lead_names_a_gauge_that_holds():
    """Derivation: R = 2 · 10 m · 0.34 Ω/m = 6.8 Ω carries 12.8² / 4R = 6 W at most; (6 + 2 + 2 + 0.5) / 0.92 = 11 W.

    A tenth, 1.28 V, may go at 11.4 W / 11.52 V = 0.99 A: 1.29 Ω, that is 0.065 Ω/m, near 2 % colder than 20 °C. Gauge
    23 has 0.0668 Ω/m at 20 °C, gauge 22 0.0530, gauge 24 0.0842 (ASTM B258).
    """
    rig = passport.scenario("balcony")
    assert rig["power.pack_v"] ** 2 / (4 * 20 * OHM_M_30) < 6.2
    (line,) = remarks({"power.lead_m": 10.0, "power.lead_awg": 30})
    assert "with all of 11 W on, 10 m of 30 AWG cannot carry it" in line
    assert "11.5 V of the pack's 12.8 V" in line
    assert "take 23 AWG or thicker" in line
    assert not remarks({"power.lead_m": 10.0, "power.lead_awg": 23})
    assert "leave 11.2 V" in remarks({"power.lead_m": 10.0, "power.lead_awg": 24})[0]


def test_the_guide_camera_hangs_on_the_same_lead():
    """Derivation: one watt more through 2 · 10 m of gauge 23 (1.28 Ω in the cold) passes the tenth."""
    change = {"power.lead_m": 10.0, "power.lead_awg": 23}
    assert not remarks(change)
    (line,) = remarks(change, guided=True)
    assert "take 22 AWG or thicker" in line


def test_where_no_gauge_will_do_the_cure_is_a_shorter_lead():
    (line,) = remarks({"power.lead_m": 50.0, "power.pack_v": 3.0})
    assert line.endswith("assumed): shorten it")


def test_the_line_stands_in_verdict_command_and_card(tmp_path, capsys):
    """Derivation: voltages close no minute, so every number of the verdict stays."""
    rig = passport.scenario("balcony")
    text = rig.text.replace("mount_lowest_v = 7.5", "mount_lowest_v = 10.5").replace(
        "lead_awg = 20", "lead_awg = 30"
    )
    own = tmp_path / "mine.toml"
    own.write_text(text.replace("lead_m = { value = 2,", "lead_m = { value = 10,"), encoding="utf-8")
    wrong = passport.load(own)
    answer = verdict.verdict(wrong, **QUICK)
    assert answer.notes == voltage_remarks(wrong, guided=False)
    assert len(answer.notes) == 2
    before = verdict.verdict(rig, **QUICK)
    for name in ("usable_h", "kept_h", "finished_h", "best_sub_s", "usable_low_s", "usable_high_s", "reason"):
        assert getattr(answer, name) == getattr(before, name)
    assert main(["verdict", str(own)]) == 0
    told = capsys.readouterr().out
    lines = [one for one in field_card(wrong).section("Stop").lines if one.label == "Volts"]
    assert tuple(one.text for one in lines) == answer.notes
    assert all(f"note: {note}\n" in told for note in answer.notes)
    assert not any(one.label == "Volts" for one in field_card(rig).section("Stop").lines)


def test_a_night_that_is_not_dark_still_names_the_voltage():
    rig = passport.scenario("balcony").replace({"power.mount_cells": 20})
    answer = verdict.verdict(rig, target="M 13", date=dt.date(2026, 6, 21))
    assert answer.reason.startswith("no astronomical night")
    assert any("use 7 to 9" in note for note in answer.notes)


@pytest.mark.parametrize("name", NAMES)
def test_the_stand_is_named_where_it_takes_more_than_a_tenth(name):
    """Derivation: the share of the night ribbon's own hours, minute by minute with rates of 1/60 h."""
    rig = passport.scenario(name)
    answer = verdict.verdict(rig, draws=0)
    night = verdict.ribbon(rig, draws=0)
    open_ = night.usable | (night.lost == "legs") | (night.lost == "swap")
    share = night.finished_rate[night.usable].sum() / night.finished_rate[open_].sum()
    said = [note for note in answer.notes if note.startswith("the camera would meet the stand")]
    assert bool(said) == (share < 0.9)
    if said:
        told = float(re.search(r"about (\d+) % of the finished", said[0])[1])
        assert told == pytest.approx(100.0 * share, abs=0.6)
    assert not any("stand" in note for note in verdict.verdict(rig, **QUICK).notes)


def test_both_sides_of_the_tenth_are_met():
    shares = {}
    for name in NAMES:
        night = verdict.ribbon(passport.scenario(name), draws=0)
        shares[name] = night.finished_h / night.finished_any_legs_h
    assert min(shares.values()) < 0.9 < max(shares.values())
