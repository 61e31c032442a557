"""The night ribbon: against the verdict, the topics one by one, other libraries, and what must hold."""

from __future__ import annotations

import datetime as dt
import itertools

import erfa
import numpy as np
import pytest
from brute_night import simulate

from workbook import balance, catalogue, passport, power, verdict
from workbook.verdict import LOST, conditions, hold_s, hours, minute_rates, ribbon

NAMES = passport.SCENARIOS
ARRAYS = [
    "altitude_deg",
    "azimuth_deg",
    "in_view",
    "hold_s",
    "rotation_rate_deg_h",
    "sky_mag_arcsec2",
    "moonless_mag_arcsec2",
    "moon_altitude_deg",
    "moon_lit_fraction",
    "pack_left",
    "mount_left",
    "dew_margin_k",
    "gap_mm",
    "clear_of_legs",
    "usable",
    "lost",
    "frame_yield",
    "finished_rate",
]


@pytest.mark.parametrize("name", NAMES)
def test_its_hours_are_those_of_the_verdict(name):
    """Within 4 %: both follow the path at some minutes of the night, and those differ (16 and 60)."""
    rig = passport.scenario(name)
    night = ribbon(rig, draws=0)
    answer = verdict.verdict(rig, draws=0, causes=False)
    assert night.finished_any_legs_h == pytest.approx(answer.finished_h, rel=0.04)
    assert night.sub_s == pytest.approx(answer.best_sub_s)
    assert 0 < night.finished_h <= night.finished_any_legs_h
    assert night.usable_h <= answer.usable_h + 1e-9
    clear_h = np.sum(night.clear_of_legs & (night.lost != "")) / 60
    assert answer.usable_h - night.usable_h <= night.usable.size / 60 - night.usable_h - clear_h + 1e-9
    for key in ARRAYS:
        assert getattr(night, key).shape == night.times_utc.shape, key


@pytest.mark.parametrize(
    ("name", "target", "mode"), [("balcony", "M 33", "tilted"), ("island-traveller", "M 33", "alt-az")]
)
def test_agrees_with_a_night_simulated_sub_by_sub(name, target, mode):
    """Source: tests/brute_night.py, astropy geometry and stepped rotations, no shared code; within 4 %."""
    rig = passport.scenario(name)
    night = ribbon(rig, target=target, mode=mode, guided=False, draws=0)
    thing = catalogue.find(target)
    brute = simulate(
        rig.central(), ra_deg=thing.ra_deg, dec_deg=thing.dec_deg, latitude_deg=rig["site.latitude_deg"],
        longitude_deg=rig["site.longitude_deg"], height_m=rig["site.height_m"],
        horizon_deg=rig["site.horizon_deg"], ceiling_deg=rig["site.ceiling_deg"], date=rig["plan.date"],
        mode=mode, guided=False, sub_s=night.sub_s, seed=5, nights=8,
    )  # fmt: skip
    assert night.finished_any_legs_h == pytest.approx(brute.finished_h, rel=0.04)


def test_every_minute_has_one_answer():
    for name in NAMES:
        night = ribbon(passport.scenario(name), draws=0)
        np.testing.assert_array_equal(night.usable, night.lost == "")
        np.testing.assert_array_equal(night.usable, ~np.logical_or.reduce(list(night.closed.values())))
        for key in set(night.lost) - {""}:
            assert night.closed[key][night.lost == key].all()
        assert set(np.unique(night.lost)) <= {"", *LOST}
        spans = night.spans()
        assert sum(span.length_h for span in spans) == pytest.approx(len(night.times_utc) / 60)
        for before, after in itertools.pairwise(spans):
            assert before.end_utc == after.start_utc
            assert before.reason != after.reason
        assert night.ended_by() in night.as_text()
        assert f"{night.usable_h:.1f} h usable" in night.as_text()


def test_the_sky_with_the_moon_is_that_of_krisciunas_and_schaefer():
    """Source: Krisciunas & Schaefer 1991, PASP 103, 1033, eqs 1, 3, 15, 20 and 21, written out here."""
    rig = passport.scenario("school").replace({"plan.date": dt.date(2026, 10, 24)})
    night = ribbon(rig, draws=0)
    k = rig["night.extinction_mag"]
    z = np.radians(90.0 - night.altitude_deg)
    moon_z = np.radians(90.0 - night.moon_altitude_deg)
    rho = np.radians(conditions(rig, target=rig["plan.target"], date=rig["plan.date"]).moon_separation_deg)
    phase = np.degrees(np.arccos(np.clip(2 * night.moon_lit_fraction - 1, -1, 1)))
    path = (1 - 0.96 * np.sin(z) ** 2) ** -0.5
    moon_path = (1 - 0.96 * np.sin(moon_z) ** 2) ** -0.5
    light = 10 ** (-0.4 * (3.84 + 0.026 * phase + 4e-9 * phase**4))
    scattering = 10**5.36 * (1.06 + np.cos(rho) ** 2) + 10 ** (6.15 - np.degrees(rho) / 40)
    moonlight = scattering * light * 10 ** (-0.4 * k * moon_path) * (1 - 10 ** (-0.4 * k * path))
    dark = 34.08 * np.exp(20.7233 - 0.92104 * night.moonless_mag_arcsec2)
    mag = (20.7233 - np.log((dark + moonlight) / 34.08)) / 0.92104
    up = (night.moon_altitude_deg > 1) & (night.altitude_deg > 5) & (np.degrees(rho) > 10)
    assert up.sum() > 200
    np.testing.assert_allclose(night.sky_mag_arcsec2[up], mag[up], atol=0.002)
    down = night.moon_altitude_deg < 0
    np.testing.assert_allclose(night.sky_mag_arcsec2[down], night.moonless_mag_arcsec2[down])
    assert (night.moonless_mag_arcsec2 >= night.sky_mag_arcsec2).all()


def test_batteries_fall_in_straight_lines_to_their_end():
    """By hand: watt-hours over watts, from the start of the set-up."""
    rig = passport.scenario("southern-club")
    night = ribbon(rig, draws=0)
    load_w = rig["power.computer_w"] + rig["power.camera_w"] + rig["power.guide_camera_w"]
    load_w += rig["power.heater_w"] * rig["power.heater_duty"] + rig["power.light_w"]
    wh = rig["power.pack_wh"] * rig["power.pack_usable"] * rig["power.pack_cold"] * rig["power.converter"]
    assert night.pack_h == pytest.approx(wh / load_w, rel=1e-6)
    begun = conditions(rig, target=rig["plan.target"], date=rig["plan.date"]).since_set_up_min
    left = np.clip(1 - begun / 60 / (wh / load_w), 0, 1)
    np.testing.assert_allclose(night.pack_left, left, atol=1e-9)
    assert (night.lost[(night.pack_left == 0) & night.in_view] != "").all()
    assert (np.diff(night.mount_left) <= 0).all()


def test_ranges_hold_the_middle_and_follow_the_draws():
    rig = passport.scenario("balcony")
    night = ribbon(rig, draws=400, seed=2)
    for name in ("pack_left", "mount_left", "dew_margin_k"):
        key = f"{name}_68" if name != "dew_margin_k" else "dew_margin_68_k"
        low, high = getattr(night, key)
        middle = getattr(night, name)
        assert (low <= middle + 1e-9).all()
        assert (high >= middle - 1e-9).all()
        assert (high - low).max() > 0
    from workbook.verdict.answer import drawn_rigs

    pack_h, _ = hours.supply_h(drawn_rigs(rig, 400, 2), guided=False)
    ends = np.percentile(pack_h, [16, 84])
    at = len(night.times_utc) // 2
    begun_h = conditions(rig, target="M 33", date=rig["plan.date"]).since_set_up_min[at] / 60
    np.testing.assert_allclose(night.pack_left_68[:, at], np.clip(1 - begun_h / ends, 0, 1), rtol=1e-9)
    bare = ribbon(rig, draws=0)
    assert bare.pack_left_68 is None
    assert bare.dew_margin_68_k is None


def test_dew_margin_is_that_of_the_topic():
    rig = passport.scenario("island-traveller")
    night = ribbon(rig, draws=0)
    at = 100
    share = (at + 0.5) / len(night.times_utc)
    damp = rig["night.humidity_start"] + share * (rig["night.humidity_end"] - rig["night.humidity_start"])
    margin_k = power.lens_margin_k(
        air_degc=rig["night.air_start_degc"]
        + share * (rig["night.air_end_degc"] - rig["night.air_start_degc"]),
        humidity_pct=100 * damp,
        cooling_k=rig["night.lens_cooling_k"],
        heater_w=rig["power.heater_w"],
        heater_duty=rig["power.heater_duty"],
        lift_k_w=rig["night.heater_lift_k_w"],
    )
    assert night.dew_margin_k[at] == pytest.approx(margin_k, rel=2e-3)


def test_rotation_is_the_change_of_the_parallactic_angle_and_nothing_when_tilted():
    """Source: ERFA's hd2pa, its change over a minute; 1 % for the step."""
    rig = passport.scenario("island-traveller")
    night = ribbon(rig, draws=0)
    seen = conditions(rig, target=rig["plan.target"], date=rig["plan.date"])
    q = erfa.hd2pa(
        np.radians(seen.hour_angle_deg), np.radians(seen.dec_deg), np.radians(rig["site.latitude_deg"])
    )
    rate = np.degrees(np.gradient(np.unwrap(q))) * 60
    steady = np.abs(rate) < 60
    np.testing.assert_allclose(night.rotation_rate_deg_h[steady], rate[steady], rtol=0.01, atol=0.05)
    assert np.all(ribbon(rig, mode="tilted", draws=0).rotation_rate_deg_h == 0)


def test_hold_time_is_the_longest_sub_of_which_nine_in_ten_are_kept():
    """At the minutes where it was worked out the yield at the hold time is 0.9; 0.03 for 64 phases."""
    rig = passport.scenario("southern-club")
    night = conditions(rig, target="NGC 253", date=rig["plan.date"])
    held = hold_s(rig.central(), night, mode="tilted", guided=True)
    assert np.isnan(held[~night.in_view]).all()
    assert (held[night.in_view] >= 1).all()
    middle = np.flatnonzero(night.in_view)[night.in_view.sum() // 2]
    terms = verdict.path_terms(rig.central(), night.at(np.array([middle])), mode="tilted", guided=True)
    kept = verdict.path_yield(terms, sub_s=[held[middle]], phases=1024, seed=8)[0, 0]
    assert kept == pytest.approx(0.9, abs=0.04)


def test_legs_agree_with_the_safe_spans_of_the_balance():
    """Where one side serves all night, the minutes clear of the legs are those inside `balance.safe_spans`."""
    rig = passport.scenario("southern-club")
    night = ribbon(rig, draws=0)
    assert night.side in balance.SIDES
    seen = conditions(rig, target="NGC 253", date=rig["plan.date"])
    spans = balance.safe_spans(
        dec_deg=float(seen.dec_deg.mean()), latitude_deg=rig["site.latitude_deg"], side=night.side,
        arm_mm=rig["stand.load_arm_mm"], overhang_mm=0.0, camera_outline_mm=rig["stand.camera_outline_mm"],
        leg_outline_mm=rig["stand.leg_outline_mm"], least_mm=10.0, lowest_deg=-90.0,
    )  # fmt: skip
    inside = np.zeros(len(seen.times_utc), bool)
    for span in spans:
        for turn in (-360.0, 0.0, 360.0):
            hour = seen.hour_angle_deg + turn
            inside |= (hour >= span.start_hour_angle_deg) & (hour <= span.end_hour_angle_deg)
    assert np.sum(inside != night.clear_of_legs) <= 3  # the spans step by half a degree, two minutes
    assert (night.gap_mm[night.clear_of_legs] >= 10.0).all()


def test_an_overhang_shows_in_alt_az_where_the_tube_leans_over_it():
    """The gap of `balance.clearance_mm` with its own angle, 0 for a tube that points south."""
    rig = passport.scenario("island-traveller")
    night = ribbon(rig, draws=0, overhang_mm=60.0, swap_min=600.0)
    assert night.side in balance.SIDES
    seen = conditions(rig, target=rig["plan.target"], date=rig["plan.date"])
    at = np.arange(0, len(seen.times_utc), 40)
    how = {
        "axis_altitude_deg": 90.0, "side": night.side, "arm_mm": rig["stand.load_arm_mm"], "overhang_mm": 60.0,
        "camera_outline_mm": rig["stand.camera_outline_mm"], "leg_outline_mm": rig["stand.leg_outline_mm"],
    }  # fmt: skip
    gap = balance.clearance_mm(turn_deg=seen.azimuth_deg[at] - 180.0, rise_deg=seen.altitude_deg[at], **how)
    np.testing.assert_allclose(night.gap_mm[at], gap, atol=0.01)
    turned = balance.clearance_mm(turn_deg=seen.azimuth_deg[at], rise_deg=seen.altitude_deg[at], **how)
    assert np.abs(gap - turned).max() > 5.0


def test_a_swap_costs_its_minutes_and_pays():
    rig = passport.scenario("near-equator")
    night = ribbon(rig, draws=0)
    assert "then" in night.side
    assert np.sum(night.lost == "swap") == 10
    assert night.times_utc[np.argmax(night.lost == "swap")] == night.swap_utc
    dear = ribbon(rig, draws=0, swap_min=600.0)
    assert dear.side in balance.SIDES
    assert dear.swap_utc is None
    assert dear.finished_h < night.finished_h
    free = ribbon(rig, draws=0, swap_min=0.0)
    assert free.finished_h >= night.finished_h
    assert not (free.lost == "swap").any()


def test_a_later_start_delays_the_set_up_and_the_batteries():
    rig = passport.scenario("near-equator")
    early, late = ribbon(rig, draws=0), ribbon(rig, draws=0, start_min=60.0)
    first = [int(np.argmax(night.lost != "set-up")) for night in (early, late)]
    assert first[1] - first[0] == pytest.approx(60, abs=1)
    empty = [int(np.argmax(night.pack_left == 0)) for night in (early, late)]
    assert empty[1] - empty[0] == pytest.approx(60, abs=1)
    np.testing.assert_allclose(late.hold_s, early.hold_s)
    with pytest.raises(ValueError, match="start_min must be 0 or more"):
        ribbon(rig, start_min=-5)


def test_a_darker_sky_and_no_overhead_raise_what_a_minute_is_worth():
    rig = passport.scenario("balcony")
    night = conditions(rig, target="M 33", date=rig["plan.date"])
    how = {"mode": "tilted", "guided": False, "sub_s": 8.0}
    base = minute_rates(rig.central(), night, **how)
    for key, value in (
        ("site.sky_mag_arcsec2", 20.0),
        ("camera.read_noise_e", 0.8),
        ("camera.overhead_s", 1.0),
        ("drive.gear_error_arcsec", 30.0),
    ):
        better = minute_rates(rig.replace({key: value}).central(), night, **how)
        assert better.finished_h > base.finished_h, key
    assert base.kept_h == pytest.approx(np.sum(base.usable * base.kept_rate) / 60)


# Bad input


def test_a_mask_that_closes_the_whole_sky_says_so():
    rig = passport.scenario("balcony").replace({"site.horizon_deg": [[0, 90], [360, 90]]})
    night = ribbon(rig, draws=20)
    assert not night.usable.any()
    assert set(np.unique(night.lost)) == {"horizon"}
    assert np.isnan(night.hold_s).all()
    assert night.finished_h == night.sub_s == 0.0
    assert night.ended_by() == "no minute is usable: outside the view"


def test_a_night_without_a_minute_names_what_closes_the_view():
    """Derivation: a target in view for less than half of the night, behind a lens that is never above dew."""
    damp = {"power.heater_duty": 0.0, "night.humidity_start": 1.0, "night.humidity_end": 1.0}
    rig = passport.scenario("balcony").replace(damp | {"power.pack_wh": 300.0})
    night = ribbon(rig, target="M 42", draws=0)
    assert 0 < night.in_view.mean() < 0.5
    assert (night.dew_margin_k < 0.0).all()
    assert np.mean(night.lost == "horizon") > 0.5
    assert night.why_none() == LOST["dew"]
    assert night.ended_by() == "no minute is usable: dew or frost on the lens"
    dead = ribbon(rig.replace({"power.pack_wh": 1.0}), target="M 42", draws=0)
    assert dead.ended_by() == "no minute is usable: a battery is empty"  # named before dew, as in the evening
    np.testing.assert_array_equal(dead.closed["dew"], night.closed["dew"])  # though dew would close them, too


def test_a_night_that_is_none_says_so():
    rig = passport.scenario("balcony").replace({"plan.date": dt.date(2026, 6, 21)})
    night = ribbon(rig)
    assert "no astronomical night" in night.reason
    assert night.spans() == []
    assert night.usable_h == 0.0
    assert "no astronomical night" in night.as_text()


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0, 0.0])
def test_pole_and_equator_have_an_answer(latitude_deg):
    day = dt.date(2026, 12, 21) if latitude_deg >= 0 else dt.date(2026, 6, 21)
    rig = passport.scenario("southern-club").replace({"site.latitude_deg": latitude_deg, "plan.date": day})
    for mode, target in (("tilted", "M 42"), ("alt-az", "M 31" if latitude_deg >= 0 else "NGC 5139")):
        night = ribbon(rig, mode=mode, target=target, draws=10)
        assert len(night.times_utc) > (1400 if latitude_deg else 500)
        assert night.ended_by()
        assert np.isfinite(night.finished_h)


@pytest.mark.parametrize(
    ("day", "target", "warned", "mag"),
    [
        (dt.date(2026, 10, 10), "M 33", "", 0.225),  # new Moon
        (dt.date(2026, 10, 19), "M 33", "", 0.225),  # half a Moon, far away, for half of the night
        (dt.date(2026, 10, 24), "M 33", "the Moon is near", 0.4),
        (dt.date(2026, 11, 24), "M 45", "the Moon is high and near, the Moon is full and surges", 0.4),
    ],
)
def test_the_sky_has_a_band_and_the_moonlight_a_warning(day, target, warned, mag):
    """Source: Krisciunas & Schaefer 1991, 23 % at most (0.225 mag), and the limits of reference row MOO-06.

    Derivation: without any other spread the band is the moonlight alone times 10^(±0.4 σ), here to a fifth of σ for 200
    draws; with the Moon down only the spread of the site's sky is left, 0.3 mag.
    """
    rig = passport.scenario("balcony")
    night = ribbon(rig, date=day, target=target, draws=200)
    assert night.moon_warning == (f"moonlight good to 0.4 mag only: {warned}" if warned else "")
    low, high = night.sky_mag_68
    assert ((low < night.sky_mag_arcsec2) & (night.sky_mag_arcsec2 < high)).all()
    down = night.moon_altitude_deg < -1.0
    spread = rig.entry("site.sky_mag_arcsec2").sigma
    np.testing.assert_allclose(0.5 * (high - low)[down], spread, rtol=0.2)
    certain = rig.replace({key: passport.Entry(rig[key], 0.0, None) for key in rig.uncertain_keys()})
    certain = certain.replace({"site.sky_mag_arcsec2": 21.8})  # so dark that the Moon counts
    alone = ribbon(certain, date=day, target=target, draws=200)
    dark, lit = (10 ** (-0.4 * one) for one in (alone.moonless_mag_arcsec2, alone.sky_mag_arcsec2))
    for end, sign in zip(alone.sky_mag_68, (1.0, -1.0), strict=True):
        ends = [-2.5 * np.log10(dark + (lit - dark) * 10 ** (0.4 * sign * mag * near)) for near in (0.8, 1.2)]
        assert (end[::40] <= np.max(ends, axis=0)[::40] + 0.005).all()
        assert (end[::40] >= np.min(ends, axis=0)[::40] - 0.005).all()
    assert ribbon(rig, date=day, target=target, draws=0).sky_mag_68 is None


def test_a_date_out_of_the_ephemeris_is_refused():
    rig = passport.scenario("balcony")
    for out in (dt.date(2100, 1, 5), dt.date(2099, 12, 30), dt.date(1972, 1, 1)):
        words = f"date: received {out}, allowed 1972-01-02 to 2099-12-29.*1972 to 2099"
        with pytest.raises(ValueError, match=words):
            ribbon(rig, date=out)


@pytest.mark.parametrize("longitude_deg", [-180.0, 10.0, 180.0])
@pytest.mark.parametrize("day", [dt.date(1972, 1, 2), dt.date(2099, 12, 29)])
def test_the_first_and_the_last_evening_are_whole_nights(day, longitude_deg):
    """Derivation: the Sun is 18° down for 12 h at 50° north about the solstice, wherever the night is counted."""
    rig = passport.scenario("balcony").replace(
        {"site.longitude_deg": longitude_deg, "site.latitude_deg": 50.0}
    )
    if day.year > 2000:  # what the passport allows, the sky allows
        rig = rig.replace({"plan.date": day})
        with pytest.raises(passport.PassportError, match="allowed 2000-01-01 to 2099-12-29"):
            rig.replace({"plan.date": day + dt.timedelta(days=1)})
    assert len(ribbon(rig, date=day, draws=0).times_utc) == pytest.approx(720, abs=10)


def test_a_night_in_which_the_clocks_change_has_its_full_length():
    """UTC throughout: 25 October 2026, when Europe's clocks go back, is as dark as its neighbours."""
    rig = passport.scenario("balcony")
    lengths = [len(ribbon(rig, date=dt.date(2026, 10, day), draws=0).times_utc) for day in (23, 24, 25, 26)]
    assert max(np.diff(lengths)) <= 5
    assert min(np.diff(lengths)) >= 2


def test_the_range_of_finished_minutes_is_that_of_the_verdict():
    """The verdict as oracle where no leg stands in the way: the same draws; 5 % for the ribbon's own sub."""
    rig = passport.scenario("near-equator").replace({"stand.leg_outline_mm": [[1, 900], [2, 1000]]})
    night = ribbon(rig, draws=200)
    assert night.finished_h == pytest.approx(night.finished_any_legs_h)
    answer = verdict.verdict(rig, draws=200, causes=False)
    assert night.finished_68_h == pytest.approx(answer.finished_68_h, rel=0.05)
    low, high = (60 * end for end in night.finished_68_h)
    words = f"{60 * night.finished_h:.1f} min finished ({low:.1f} to {high:.1f} in 68 of 100 nights)"
    assert words in night.as_text()


def test_legs_shorten_the_range_and_without_draws_the_words_say_about():
    rig = passport.scenario("island-traveller")
    night = ribbon(rig)
    answer = verdict.verdict(rig, draws=200, causes=False)
    assert night.finished_h < 0.6 * answer.finished_h
    assert night.finished_68_h[0] < night.finished_h < night.finished_68_h[1] < answer.finished_68_h[0]
    bare = ribbon(rig, draws=0)
    assert bare.finished_68_h is None
    assert f"about {60 * bare.finished_h:.0f} min finished (no range drawn)" in bare.as_text()
