"""The night ribbon's panel and the evening behind it: against `verdict.ribbon`, other libraries and by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import psychrolib
import pytest
from astropy import units
from astropy.coordinates import AltAz, EarthLocation, get_sun
from astropy.time import Time

from workbook import passport, verdict
from workbook.figures import ribbon as figure
from workbook.figures.ribbon_words import LANES, clock, moment, moon_words, table
from workbook.panels import build_ribbon, heater_night
from workbook.plan.card import field_card
from workbook.verdict.evening import LATEST_START_MIN, Evening, evening

ASKED = {"start_min": 0.0, "heater_duty": 0.5, "pack_wh": 96.0, "air_end_degc": 3.0}
psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.fixture(scope="module")
def balcony():
    return passport.scenario("balcony")


@pytest.fixture(scope="module")
def panel(balcony):
    return build_ribbon(balcony, target="M 45")


def as_it_stands(rig):
    return {
        "start_min": 0.0,
        "heater_duty": rig["power.heater_duty"],
        "pack_wh": rig["power.pack_wh"],
        "air_end_degc": rig["night.air_end_degc"],
    }


@pytest.mark.parametrize("name", passport.SCENARIOS)
def test_the_evening_of_a_passport_is_its_ribbon(name):
    """Derivation: the same night by two ways, one of which follows the star's path only once."""
    rig = passport.scenario(name)
    seen = evening(rig, target=rig["plan.target"], **as_it_stands(rig)).ribbon
    whole = verdict.ribbon(rig, draws=0)
    for key in ("usable", "lost", "gap_mm", "side", "swap_utc"):
        np.testing.assert_array_equal(getattr(seen, key), getattr(whole, key), err_msg=key)
    for key in ("finished_rate", "pack_left", "mount_left", "dew_margin_k", "finished_h", "kept_h", "pack_h"):
        np.testing.assert_allclose(getattr(seen, key), getattr(whole, key), rtol=1e-9, err_msg=key)
    assert seen.finished_any_legs_h == pytest.approx(whole.finished_any_legs_h)


@pytest.mark.parametrize("name", passport.SCENARIOS)
@pytest.mark.parametrize("start_min", [0.0, 150.0, 300.0])
def test_another_evening_is_the_ribbon_of_another_passport(name, start_min):
    """Derivation: same minutes; finished hours within 2 %, since the ribbon chooses its sub anew and this does not."""
    rig = passport.scenario(name)
    air = rig["night.air_end_degc"]
    seen = evening(
        rig, target=rig["plan.target"], start_min=start_min, heater_duty=0.2, pack_wh=60.0, air_end_degc=air
    )
    other = rig.replace({"power.heater_duty": 0.2, "power.pack_wh": 60.0})
    whole = verdict.ribbon(other, draws=0, start_min=start_min)
    np.testing.assert_allclose(seen.ribbon.pack_left, whole.pack_left, atol=1e-12)
    np.testing.assert_allclose(seen.ribbon.dew_margin_k, whole.dew_margin_k, atol=1e-9)
    assert np.mean(seen.ribbon.usable != whole.usable) < 0.02  # the swap of sides may shift by some minutes
    assert seen.ribbon.finished_h == pytest.approx(whole.finished_h, rel=0.02)


def test_the_pack_by_hand(balcony):
    """Reference row PWR-14: 12.8 V × 10 Ah, nine tenths of it, 95 % converter, 14 W: 7.8171 h."""
    rig = balcony.replace(
        {
            "power.pack_usable": 0.9, "power.pack_cold": 1.0, "power.converter": 0.95, "power.computer_w": 11.0,
            "power.camera_w": 2.0, "power.light_w": 1.0,
        }
    )  # fmt: skip
    seen = evening(rig, target="M 45", **(ASKED | {"pack_wh": 128.0, "heater_duty": 0.0}))
    assert seen.ribbon.pack_h == pytest.approx(7.8171, abs=0.001)


def test_without_a_usable_minute_the_tube_hangs_where_most_of_the_view_is_clear(balcony):
    """Derivation: an empty pack moves nothing, so side, gap and swap are those of a pack that lasts all night."""
    short, long = (
        evening(balcony, target="M 45", **(ASKED | {"pack_wh": pack_wh})).ribbon for pack_wh in (20.0, 300.0)
    )
    assert not short.usable.any()
    assert short.side == long.side == "west, then east"
    np.testing.assert_allclose(
        short.gap_mm[short.in_view], long.gap_mm[long.in_view], atol=60.0
    )  # worth, not minutes


def test_a_lead_pack_in_the_cold(balcony):
    """Reference row PWR-13: a lead battery keeps 0.85 of its warm charge at 0 °C (0.6 % a kelvin below 25 °C)."""
    rig = balcony.replace({"power.pack_v": 12.0, "power.pack_cold": 0.8})
    half = 0.5 * (rig["night.air_start_degc"] - rig["night.air_end_degc"])
    cold, warm = (
        evening(rig, target="M 45", **(ASKED | {"air_end_degc": mean - half})).ribbon.pack_h
        for mean in (0.0, 20.0)
    )
    assert cold / warm == pytest.approx(0.85, abs=0.005)


def test_frost_takes_a_lithium_pack_less_than_none_at_all(balcony):
    """Limits: colder never lasts longer, and at the passport's own air it is the passport's own share."""
    ends = [
        evening(balcony, target="M 45", **(ASKED | {"air_end_degc": air})).ribbon.pack_h
        for air in (-15.0, -10.0, 0.0, 3.0, 20.0)
    ]
    assert (np.diff(ends) > 0).all()
    assert ends[3] == pytest.approx(96 * 0.9 * 0.9 * 0.92 / 9.5, rel=1e-9)


@pytest.mark.parametrize(
    ("air", "duty", "pack_wh", "heated"),
    [(3.0, 0.0, 300.0, 0), (10.0, 0.0, 96.0, 0), (10.0, 0.3, 300.0, 1), (10.0, 0.3, 96.0, 0)],
)
def test_the_lens_above_the_dew_point(balcony, air, duty, pack_wh, heated):
    """Source: psychrolib (ASHRAE Handbook 2017, ch. 1) for the dew point; 0.05 K, two formulas of saturation.

    A pack of 96 Wh is empty before dawn, and with it the heater ends.
    """
    asked = ASKED | {"air_end_degc": air, "heater_duty": duty, "pack_wh": pack_wh}
    seen = evening(balcony, target="M 45", **asked).ribbon
    dew = psychrolib.GetTDewPointFromRelHum(air, 0.90)
    assert seen.dew_margin_k[-1] == pytest.approx(air - 2.0 + 2.0 * duty * 3.0 * heated - dew, abs=0.05)


def test_the_lens_cools_when_the_pack_ends(balcony):
    """Derivation: 2 W for half of the time, 3 K a watt: a step of 3 K in the minute in which the pack is empty."""
    seen = evening(balcony, target="M 45", **ASKED, draws=200).ribbon
    at = int(np.argmin(np.diff(seen.dew_margin_k)))
    assert np.diff(seen.dew_margin_k)[at] == pytest.approx(-3.0, abs=0.02)  # and the slow fall of a minute
    assert seen.pack_left[at] > 0.0
    assert seen.pack_left[at + 1] == 0.0
    assert seen.lost[at + 1] == "battery"
    assert seen.closed["dew"][-1]
    np.testing.assert_allclose(
        np.diff(seen.dew_margin_68_k)[:, at], -3.0, atol=1.0
    )  # heater's spread goes, too


def test_heat_by_plan(balcony):
    """Source: psychrolib for the dew point at dawn; what the lens lacks, over 3 K a watt and 2 W; 0.01 of duty."""
    dew = psychrolib.GetTDewPointFromRelHum(3.0, 0.90)
    for margin_k in (1.0, 2.0):
        plan = heater_night(balcony, margin_k=margin_k)
        assert plan.duty[-1] == pytest.approx((dew + margin_k - (3.0 - 2.0)) / 3.0 / 2.0, abs=0.01)
        assert plan.energy_wh < 0.5 * 2.0 * 10.57
    assert heater_night(balcony, margin_k=2.0).energy_wh > heater_night(balcony, margin_k=1.0).energy_wh


def test_the_clock_is_that_of_the_sun(balcony, panel):
    """Source: astropy's Sun: 6° below the horizon when the set-up may begin; 0.1°, a minute of setting and rounding."""
    panel.reset()
    begun = moment(panel.result.evening, 0.0)
    place = EarthLocation(lat=52.4 * units.deg, lon=10.5 * units.deg, height=60 * units.m)
    frame = AltAz(obstime=Time(str(begun), scale="utc"), location=place)
    assert get_sun(frame.obstime).transform_to(frame).alt.deg == pytest.approx(-6.0, abs=0.1)
    rows = {row[-1]: row for row in figure.table(panel.result)}
    assert rows["set-up"][0] == clock(begun)
    ticks = panel.canvas.figure.axes[-1].get_xticks()
    labels = [text.get_text() for text in panel.canvas.figure.axes[-1].get_xticklabels()]
    for tick, label in zip(ticks, labels, strict=True):
        assert clock(moment(panel.result.evening, 60.0 * tick) + np.timedelta64(1, "s")) == f"{label}:00"


def test_the_start_that_it_advises_by_hand(balcony, panel):
    """Derivation: ready before the view opens, and the pack outlasts the view: every such start is as good as any."""
    panel.reset()
    seen = panel.result.evening
    hours = seen.since_min / 60.0
    opens, closes = hours[seen.ribbon.in_view][[0, -1]]
    low, high = 60.0 * (closes - 96 * 0.9 * 0.9 * 0.92 / 9.5), 60.0 * opens - 60.0
    assert low < seen.best_start_min < high
    panel.set(start_min=seen.best_start_min)
    assert panel.result.evening.ribbon.finished_h == pytest.approx(seen.best_finished_h)
    assert panel.result.evening.ribbon.ended_by() == "outside the view"
    assert "Start later" not in str(panel)
    for start in range(0, LATEST_START_MIN + 1, 60):
        there = evening(balcony, target="M 45", **(ASKED | {"start_min": float(start)}))
        assert there.ribbon.finished_h <= 1.001 * seen.best_finished_h


def test_the_range_of_the_pack(panel):
    """Derivation: relative spreads add in squares: 0.137 of 7.5 h; a sixth for the skew and 2,000 draws."""
    panel.reset()
    load = np.sqrt(0.9**2 + 0.3**2 + (2 * 0.1) ** 2 + (0.5 * 0.2) ** 2 + 0.1**2) / 9.5
    spread = np.sqrt((4 / 96) ** 2 + (0.04 / 0.9) ** 2 + (0.05 / 0.9) ** 2 + (0.03 / 0.92) ** 2 + load**2)
    low, high = panel.result.evening.pack_68_h
    assert (high - low) / 2 == pytest.approx(spread * 7.53, rel=0.17)
    chance = panel.result.evening.pack_chance
    assert 0.003 < chance.probability < 0.02  # a normal tail at 2.5 of these spreads: 0.7 %
    panel.set(pack_wh=300.0)
    assert panel.result.evening.pack_chance.probability == 1.0


def test_every_minute_lies_in_one_lane(panel):
    panel.reset()
    for values in ({}, {"heater_duty": 0.0, "air_end_degc": -15.0}, {"start_min": 480.0}, {"target": "M 33"}):
        panel.set(**values)
        seen = panel.result.evening
        bars = figure._lanes(seen, seen.since_min / 60.0, named=True)
        assert sum(bar[2][0] - bar[0][0] for bar in bars) == pytest.approx(len(seen.since_min) / 60.0)
        spans = seen.ribbon.spans()
        assert len(bars) == len(spans) or "swap" in seen.ribbon.lost
        panel.reset()
    keys = {key for _, keys in LANES for key in keys}
    assert keys == {"", *verdict.LOST}


def test_its_words(panel):
    panel.reset()
    text = str(panel)
    assert "Ends at 00:40 UTC: the pack is empty" in text
    assert "Start later by 180 min: 4.4 min finished." in text
    assert "usable 21:34 to 00:40 UTC" in panel.alt
    panel.set(target="M 8")
    assert "No minute: outside the view" in str(panel)
    assert "usable never, 0.0 of" in panel.alt
    panel.reset()
    panel.set(pack_wh=300.0)
    assert "Ends at 03:05 UTC: outside the view" in str(panel)
    panel.set(heater_duty=0.0, air_end_degc=-15.0)
    assert "No minute: dew or frost on the lens" in str(panel)


def test_bright_moonlight_near_the_target_is_told_with_its_band():
    """Derivation: the words of `verdict.ribbon`, and the ends of its band to the printed tenth."""
    rig = passport.scenario("balcony").replace({"plan.date": dt.date(2026, 11, 24)})
    panel = build_ribbon(rig, target="M 45")
    seen = panel.result.evening.ribbon
    assert seen.moon_warning == (
        "moonlight good to 0.4 mag only: the Moon is high and near, the Moon is full and surges"
    )
    assert moon_words(seen).endswith("; moonlight good to 0.4 mag")
    shown = verdict.ribbon(rig, target="M 45", draws=100)
    (row,) = [row for row in table(panel.result._replace(evening=Evening(
        shown, panel.result.evening.since_min))) if row[0] == "sky at the target"]  # fmt: skip
    assert f" ({shown.sky_mag_68.min():.1f} to {shown.sky_mag_68.max():.1f}) mag/″²" in row[1]
    assert row[2].endswith(seen.moon_warning)
    assert shown.moon_warning in next(
        line.text for line in field_card(rig, target="M 45").section("When").lines if line.label == "Moon"
    )


def test_the_mounts_cells_may_end_first(balcony):
    rig = balcony.replace({"power.cell_ah": 0.8, "power.pack_wh": 300.0})
    assert "the mount's cells are empty" in str(build_ribbon(rig, target="M 45"))


def test_a_moved_picture_is_the_same_as_a_new_one(balcony):
    """Nothing of an earlier move may stay behind in the picture."""
    moved = build_ribbon(balcony, target="M 45")
    for values in ({"target": "M 8"}, {"start_min": 480.0}, {"heater_duty": 1.0}, {"air_end_degc": -15.0}):
        moved.set(**values)
    moved.reset()
    assert moved.picture == build_ribbon(balcony, target="M 45").picture


def test_a_target_through_the_zenith_in_alt_az():
    panel = build_ribbon(passport.scenario("island-traveller"))
    seen = panel.result.evening.ribbon
    assert "zenith" in seen.lost
    assert "zenith zone" in {row[-1] for row in figure.table(panel.result)}


def test_bad_input_is_one_clear_line(balcony):
    with pytest.raises(ValueError, match="no astronomical darkness"):
        build_ribbon(balcony.replace({"plan.date": dt.date(2026, 6, 21)}))
    bright = balcony.replace({"plan.date": dt.date(2026, 6, 21)})
    assert "horizon" in evening(bright, target="M 45", **ASKED).ribbon.reason
    for wrong, words in (
        ({"pack_wh": 0.0}, "pack_wh"),
        ({"heater_duty": 1.5}, "heater_duty"),
        ({"start_min": -5.0}, "start_min"),
        ({"air_end_degc": -40.0}, "air_end_degc"),
    ):
        with pytest.raises(ValueError, match=words):
            evening(balcony, target="M 45", **(ASKED | wrong))


def test_a_guess_beyond_the_night_says_so(balcony):
    """By hand: dawn comes 10.6 h after the start, so a guess of 20 h has no place on the axis, one of 2 h has."""
    panel = build_ribbon(balcony, target="M 45")
    words = panel._artists.ghost_words
    for guess, said in ((2.0, "your guess"), (20.0, "your guess: after dawn")):
        panel.ghost = guess
        panel.refresh()
        assert words.get_visible()
        assert words.get_text() == said
        low, high = panel.canvas.figure.axes[-1].get_xlim()
        assert low <= panel._artists.ghost.get_xdata()[0] <= high
