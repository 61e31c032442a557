"""Season, sequence, mode and cloud: against astropy, exhaustive search, the verdict and sums by hand."""

from __future__ import annotations

import calendar
import datetime as dt
import functools

import numpy as np
import pytest

from workbook import catalogue, night, passport, plan, verdict
from workbook.plan.sequence import best_path
from workbook.verdict.answer import drawn_rigs, night_sums

SKY = {"clear_share": 0.3, "clear_share_sigma": 0.1, "seeing_arcsec": 3.0}
CLOSED = {"site.horizon_deg": [[0, 90], [360, 90]]}


def at_latitude(latitude_deg):
    day = dt.date(2026, 12, 21) if latitude_deg >= 0 else dt.date(2026, 6, 21)
    return passport.scenario("southern-club").replace({"site.latitude_deg": latitude_deg, "plan.date": day})


# Season


def test_dark_hours_are_the_dark_windows_of_the_year():
    """`dark_window` night by night; half a step of ten minutes for each night."""
    rig = passport.scenario("balcony")
    season = plan.season(rig, **SKY)
    for month in (1, 5, 10):
        total = 0.0
        for day in range(1, calendar.monthrange(2026, month)[1] + 1):
            window = night.dark_window(latitude_deg=52.4, longitude_deg=10.5, date=dt.date(2026, month, day))
            total += (window.end_utc - window.start_utc).total_seconds() / 3600 if window else 0.0
        assert season.dark_h[month - 1] == pytest.approx(total, rel=0.01, abs=0.5)
    assert season.dark_h[5] == 0.0  # no astronomical night in June at 52.4°


@pytest.mark.parametrize("month", [8, 10])
def test_a_month_agrees_with_astropy(month):
    """astropy's Sun, Moon and star every ten minutes of a month, the mask of the balcony written out; 1 to 2 %.

    In August dawn cuts the hours of the target short, in October nothing does.
    """
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body, get_sun
    from astropy.time import Time
    from astropy.utils import iers

    rig = passport.scenario("balcony")
    thing = catalogue.find("M 33")
    season = plan.season(rig, target="M 33", **SKY)
    stamps = np.datetime64(f"2026-{month:02d}-01T12:05") + np.arange(31 * 144) * np.timedelta64(10, "m")
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        ground = EarthLocation.from_geodetic(10.5, 52.4, 60.0)
        times = Time(stamps)
        true = AltAz(obstime=times, location=ground)
        lifted = AltAz(obstime=times, location=ground, pressure=1010 * u.hPa, temperature=5 * u.deg_C)
        dark = get_sun(times).transform_to(true).alt.deg < -18
        star = SkyCoord(thing.ra_deg * u.deg, thing.dec_deg * u.deg).transform_to(lifted)
        up = dark & (star.az.deg >= 95) & (star.az.deg <= 215) & (star.alt.deg >= 20) & (star.alt.deg <= 68)
        seen = AltAz(obstime=times[up], location=ground)  # the Moon costs most: only where the target is up
        moon = get_body("moon", times[up], ground).transform_to(seen).alt.deg
    assert season.dark_h[month - 1] == pytest.approx(dark.sum() / 6, rel=0.01)
    assert season.up_h[month - 1] == pytest.approx(up.sum() / 6, rel=0.015)
    assert season.moonless_h[month - 1] == pytest.approx((moon < 0).sum() / 6, rel=0.02)
    assert season.moonlit_h[month - 1] == pytest.approx((moon > 0).sum() / 6, rel=0.02)


def test_expected_hours_and_range_by_hand():
    """p Σh, and √(p (1 − p) Σh² + (σ Σh)²) with the nights of one month from the verdict's conditions."""
    rig = passport.scenario("balcony")
    season = plan.season(rig, target="M 33", **SKY)
    how = {"mode": "tilted", "guided": False}
    per_night = []
    for day in range(1, 32):
        seen = verdict.conditions(rig, target="M 33", date=dt.date(2026, 12, day))
        tests = verdict.hours.open_minutes(rig.central(), seen, **how)
        usable = tests["horizon"] & tests["set-up"] & tests["battery"]
        per_night.append(usable.sum() / 60)
    per_night = np.array(per_night)
    assert season.usable_h[11] == pytest.approx(per_night.sum(), rel=0.02)
    assert season.expected_h[11] == pytest.approx(0.3 * per_night.sum(), rel=0.02)
    spread = np.sqrt(0.21 * np.sum(per_night**2) + (0.1 * per_night.sum()) ** 2)
    low, high = season.expected_68_h[:, 11]
    assert (high - low) / 2 == pytest.approx(spread, rel=0.02)
    assert season.nights[11] == (per_night > 0.15).sum()


def test_what_must_hold_for_a_year():
    rig = passport.scenario("southern-club")
    season = plan.season(rig, **SKY)
    np.testing.assert_allclose(season.moonless_h + season.moonlit_h, season.up_h)
    assert (season.up_h <= season.dark_h + 1e-9).all()
    assert (season.usable_h <= season.up_h + 1e-9).all()
    assert season.best_month == "October"  # NGC 253 stands opposite the Sun at the end of September
    sure = plan.season(rig, clear_share=1.0, clear_share_sigma=0.0, seeing_arcsec=3.0)
    np.testing.assert_allclose(sure.expected_h, sure.usable_h)
    np.testing.assert_allclose(sure.expected_68_h, np.stack([sure.usable_h] * 2))
    monthly = plan.season(rig, **SKY | {"clear_share": [0.0] * 6 + [0.5] * 6})
    assert monthly.expected_h[:6].sum() == 0.0
    np.testing.assert_allclose(monthly.expected_h[6:], 0.5 * season.usable_h[6:])
    assert "assumed numbers" in season.as_text()
    assert season.as_text().count("\n") == 13


def test_seeing_widens_with_airmass():
    """Source: Fried 1966, width goes with airmass to the power 0.6; at 550 nm 1.9 % less than at 500 nm."""
    season = plan.season(passport.scenario("southern-club"), **SKY)
    seen = ~np.isnan(season.star_fwhm_arcsec)
    airmass = (season.star_fwhm_arcsec[seen] / (3.0 * (550 / 500) ** -0.2)) ** (1 / 0.6)
    assert (airmass >= 1.0).all()
    assert airmass[season.usable_h[seen].argmax()] < 1.6
    double = plan.season(passport.scenario("southern-club"), **SKY | {"seeing_arcsec": 6.0})
    np.testing.assert_allclose(double.star_fwhm_arcsec[seen], 2 * season.star_fwhm_arcsec[seen])


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0, 0.0])
def test_season_at_pole_and_equator(latitude_deg):
    rig = at_latitude(latitude_deg)
    season = plan.season(rig, target="M 42", **SKY)
    if abs(latitude_deg) == 90.0:
        assert (season.dark_h == 0).sum() >= 6
        assert season.dark_h.max() == pytest.approx(24 * 31, rel=0.01)
    else:
        np.testing.assert_allclose(season.dark_h, 9.6 * 30.4, rtol=0.1)


def test_season_of_a_closed_sky_says_so():
    season = plan.season(passport.scenario("balcony").replace(CLOSED), **SKY)
    assert season.usable_h.sum() == 0.0
    assert season.best_month == ""
    assert "No usable hour in the whole year" in season.as_text()


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"clear_share": 30}, ValueError, "clear_share must be 0 to 1"),
        ({"clear_share": [0.3] * 11}, ValueError, "one number or twelve"),
        ({"clear_share_sigma": -0.1}, ValueError, "clear_share_sigma must be 0 or more"),
        ({"seeing_arcsec": 0}, ValueError, "seeing_arcsec must be above 0"),
        ({"year": 2150}, ValueError, "year must be 1973 to 2098, the range of the ephemeris"),
        ({"year": 2026.5}, TypeError, "year must be a whole number"),
        ({"target": "M 999"}, ValueError, "not in the catalogue"),
    ],
)
def test_season_refuses(change, error, words):
    with pytest.raises(error, match=words):
        plan.season(passport.scenario("balcony"), **SKY | change)


# Sequence


def exhaustive(worth, wasted, least, forced=None):
    """Every order of targets, slot by slot, by plain recursion with no memory of the best."""
    slots, count = worth.shape

    @functools.cache
    def rest(slot, now, met):
        if slot == slots:
            return 0.0 if met else -np.inf
        options = [(worth[slot, now] if now >= 0 else 0.0) + rest(slot + 1, now, met)]
        begin = slot + (wasted if now >= 0 else 0)
        for other in range(count):
            stretch = worth[begin : begin + least, other]
            if len(stretch) == least and (stretch > 0).all():
                options.append(stretch.sum() + rest(begin + least, other, met or other == forced))
        return max(options)

    return rest(0, -1, forced is None)


@pytest.mark.parametrize("seed", range(12))
def test_the_best_path_is_the_best_of_all(seed):
    rng = np.random.default_rng(seed)
    worth = rng.uniform(0, 1, (14, 3)) * (rng.uniform(0, 1, (14, 3)) > 0.25)
    wasted, least = int(rng.integers(0, 3)), int(rng.integers(1, 4))
    total, path = best_path(worth, wasted, least)
    assert total == pytest.approx(exhaustive(worth, wasted, least))
    assert sum(worth[slot, at] for slot, at in enumerate(path) if at >= 0) == pytest.approx(total)
    for forced in range(3):
        total, path = best_path(worth, wasted, least, forced=forced)
        expected = exhaustive(worth, wasted, least, forced)
        if not np.isfinite(expected):
            assert total == -np.inf
            continue
        assert total == pytest.approx(expected)
        assert forced in path
        assert sum(worth[slot, at] for slot, at in enumerate(path) if at >= 0) == pytest.approx(total)


TARGETS = ["M 33", "M 31", "NGC 253", "M 13", "NGC 7331"]


@pytest.mark.parametrize("name", passport.SCENARIOS)
def test_a_sequence_is_in_order_and_accounts_for_every_target(name):
    rig = passport.scenario(name)
    found = plan.sequence(rig, targets=TARGETS)
    used = {block.target for block in found.blocks}
    assert used | set(found.rejected) == set(TARGETS)
    assert not used & set(found.rejected)
    assert all(found.rejected.values())
    for before, after in zip(found.blocks, found.blocks[1:], strict=False):
        assert (after.start_utc - before.end_utc) >= np.timedelta64(5, "m")
    assert found.finished_h == pytest.approx(sum(block.finished_h for block in found.blocks))
    alone = [verdict.ribbon(rig, target=target, draws=0) for target in TARGETS]
    assert found.finished_h <= sum(each.finished_h for each in alone) + 1e-9
    for block in found.blocks:
        seen = alone[TARGETS.index(block.target)]
        inside = (seen.times_utc > block.start_utc) & (seen.times_utc < block.end_utc)
        worth_h = np.sum((seen.finished_rate * seen.usable)[inside]) / 60
        assert block.finished_h == pytest.approx(worth_h, rel=1e-6)
    text = found.as_text()
    assert all(target in text for target in TARGETS)


def test_a_sequence_of_one_target_has_the_range_of_the_whole_night():
    """The night's own draws as oracle, batteries and stand out of the way; 3 % for 12 nodes here and there."""
    changes = {"stand.leg_outline_mm": [[1, 900], [2, 1000]], "power.pack_wh": 400, "power.cell_ah": 10}
    rig = passport.scenario("island-traveller").replace(changes)
    found = plan.sequence(rig, targets=["M 33"], draws=200)
    seen = verdict.ribbon(rig, target="M 33", draws=0)
    assert found.finished_h == pytest.approx(seen.finished_any_legs_h, rel=0.01)
    whole = verdict.conditions(rig, target="M 33", date=rig["plan.date"])
    how = {"mode": "alt-az", "guided": False, "nodes": 60, "phases": 8, "seed": 1}
    _, drawn_h = night_sums(drawn_rigs(rig, 200, 1), whole, sub_s=found.blocks[0].sub_s, **how)
    assert found.finished_68_h == pytest.approx(np.percentile(drawn_h, [16, 84]), rel=0.03)
    low, high = (60 * end for end in found.finished_68_h)
    first = found.as_text().splitlines()[0]
    assert first.endswith(f"{60 * found.finished_h:.1f} min ({low:.1f} to {high:.1f}) finished")


@pytest.mark.parametrize("name", passport.SCENARIOS)
def test_ranges_of_a_sequence_add_up(name):
    """Derivation: with the same draws for all, the sum lies between the sums of the ends and wider than its parts."""
    found = plan.sequence(passport.scenario(name), targets=TARGETS, draws=60, least_min=10)
    assert found.blocks
    for block in found.blocks:
        low, high = block.finished_68_h
        assert 0 <= low < high
        assert low < 1.25 * block.finished_h
        assert high > 0.8 * block.finished_h
    ends = np.array([block.finished_68_h for block in found.blocks])
    low, high = found.finished_68_h
    assert high - low <= np.sum(ends[:, 1] - ends[:, 0]) + 1e-9
    assert 0.98 * ends[:, 0].sum() <= low < high <= 1.02 * ends[:, 1].sum()
    assert high - low >= 0.8 * np.max(ends[:, 1] - ends[:, 0])
    assert "(a to b): holds 68 of 100 nights, these times kept" in found.as_text()
    bare = plan.sequence(passport.scenario(name), targets=TARGETS, draws=0, least_min=10)
    assert bare.finished_68_h is None
    assert bare.finished_h == found.finished_h
    assert f"about {60 * bare.finished_h:.1f} min finished" in bare.as_text()
    assert "about: no ranges drawn" in bare.as_text()


def test_reasons_of_a_sequence():
    rig = passport.scenario("balcony")
    found = plan.sequence(rig, targets=["M 33", "M 13"])
    assert found.rejected["M 13"] == "it never stands in the mask's opening in the dark hours"
    hasty = plan.sequence(rig, targets=["M 33", "NGC 7331"], least_min=200)
    assert any("less than the 200 min asked of a stretch" in words for words in hasty.rejected.values())
    dear = plan.sequence(rig, targets=["M 33", "NGC 7331", "M 31"], switch_min=120)
    assert len(dear.blocks) == 1
    assert any("would cost" in words or "no room" in words for words in dear.rejected.values())
    assert dear.finished_h < plan.sequence(rig, targets=["M 33", "NGC 7331", "M 31"]).finished_h
    flat = rig.replace({"power.pack_wh": 1})
    assert (
        plan.sequence(flat, targets=["M 33"]).rejected["M 33"] == "whenever it is in view: a battery is empty"
    )


def test_the_cost_of_a_rejected_target_is_what_forcing_it_loses():
    """The night with it as the only other: total less the best that holds it, read back from the words."""
    rig = passport.scenario("southern-club")
    found = plan.sequence(rig, targets=["NGC 253", "M 33", "M 31"])
    words = next(words for words in found.rejected.values() if "would cost" in words)
    cost, total = (float(part) for part in words.split("would cost ")[1].split(" finished")[0].split(" of "))
    assert total == pytest.approx(60 * found.finished_h, abs=0.06)
    assert 0.05 <= cost <= total


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"targets": []}, "one to twenty objects"),
        ({"targets": [f"NGC {n}" for n in range(1, 23)]}, "one to twenty objects"),
        ({"targets": ["M 999"]}, "not in the catalogue"),
        ({"switch_min": -1}, "switch_min must be 0 or more"),
        ({"least_min": 0}, "least_min must be above 0"),
        ({"mode": "flat"}, "mode must be one of"),
    ],
)
def test_sequence_refuses(change, words):
    with pytest.raises(ValueError, match=words):
        plan.sequence(passport.scenario("balcony"), **{"targets": ["M 33"]} | change)


def test_sequence_without_night_or_sky():
    rig = passport.scenario("balcony")
    summer = plan.sequence(rig, targets=["M 33"], date=dt.date(2026, 6, 21))
    assert summer.blocks == ()
    assert "no astronomical night" in summer.note
    closed = plan.sequence(rig.replace(CLOSED), targets=["M 33"])
    assert closed.blocks == ()
    assert closed.finished_h == 0.0
    polar = plan.sequence(at_latitude(90.0), targets=["M 31", "M 42"])
    assert polar.finished_h > 0


# Mode


def test_mode_advice_is_the_better_verdict_and_its_chance_that_of_the_draws():
    rig = passport.scenario("island-traveller")
    advice = plan.mode_advice(rig, draws=200, seed=7)
    ways = {way.mode: way for way in verdict.compare(rig) if way.guided == rig["plan.guided"]}
    assert advice.best == max(ways, key=lambda mode: ways[mode].finished_h) == "tilted"
    assert advice.finished_h == {mode: way.finished_h for mode, way in ways.items()}
    seen = verdict.conditions(rig, target="M 33", date=rig["plan.date"])
    drawn = drawn_rigs(rig, 200, 7)
    gain = 0.0
    for mode, sign in (("tilted", 1.0), ("alt-az", -1.0)):
        gain = gain + sign * night_sums(
            drawn, seen, sub_s=ways[mode].best_sub_s, mode=mode, guided=False, nodes=12, phases=8, seed=7
        )[1]  # fmt: skip
    assert advice.chance == pytest.approx(np.mean(gain > 0))
    np.testing.assert_allclose(advice.gain_68_h, np.percentile(gain, [16, 84]))
    for mode in ("alt-az", "tilted"):
        low, high = advice.finished_68_h[mode]
        assert low < high
    assert "Set-up takes 60 min tilted and 30 min alt-az" in advice.words
    assert len(advice.ways) == 4


def test_long_set_up_turns_the_advice():
    rig = passport.scenario("balcony")
    assert plan.mode_advice(rig, draws=50).best == "tilted"
    slow = rig.replace({"habits.set_up_tilted_min": 420})
    advice = plan.mode_advice(slow, draws=50)
    assert advice.best == "alt-az"
    assert "pole is not in view" in advice.words


def test_mode_advice_where_nothing_goes():
    for rig in (
        passport.scenario("balcony").replace(CLOSED),
        passport.scenario("balcony").replace({"plan.date": dt.date(2026, 6, 21)}),
    ):
        advice = plan.mode_advice(rig, draws=20)
        assert advice.best == ""
        assert advice.words.startswith("Neither mode: ")
    polar = plan.mode_advice(at_latitude(90.0), target="M 31", draws=20)
    assert polar.best in ("alt-az", "tilted")


# Cloud


def test_cloud_stop_by_hand():
    """Finished minutes left after the wait, against wait × price; from the arrays of the ribbon."""
    rig = passport.scenario("near-equator")
    seen = verdict.ribbon(rig, draws=0)
    at = seen.times_utc[120]
    stop = plan.cloud_stop(rig, at_utc=at, resume_min=10, worth_min_per_h=2.0)
    for place, wait in enumerate(stop.wait_min):
        late = seen.usable & (np.arange(len(seen.usable)) - 120 >= wait + 10)
        left, gain = late.sum(), seen.finished_rate[late].sum()
        assert stop.clear_left_min[place] == left
        if gain:
            assert stop.break_even_chance[place] == pytest.approx(wait / 60 * 2.0 / gain)
            assert stop.clear_needed_min[place] == pytest.approx(wait / 60 * 2.0 / gain * left)
    pays = stop.wait_min[stop.break_even_chance <= 1]
    assert stop.latest_wait_min == pays.max()
    assert "Waiting can pay until" in stop.words
    until = at + np.timedelta64(int(stop.latest_wait_min), "m")
    assert str(until)[11:16] in stop.words


def test_a_dearer_hour_is_waited_for_less_and_a_free_one_to_the_end():
    rig = passport.scenario("near-equator")
    at = verdict.ribbon(rig, draws=0).times_utc[120]
    waits = [
        plan.cloud_stop(rig, at_utc=at, resume_min=10, worth_min_per_h=worth).latest_wait_min
        for worth in (0.0, 1.0, 4.0, 1e4)
    ]
    assert waits == sorted(waits, reverse=True)
    assert waits[0] > waits[2] > waits[3] == 0.0
    never = plan.cloud_stop(rig, at_utc=at, resume_min=10, worth_min_per_h=1e4)
    assert "Set down now: what is left tonight would not pay" in never.words
    slow = plan.cloud_stop(rig, at_utc=at, resume_min=60, worth_min_per_h=1.0)
    quick = plan.cloud_stop(rig, at_utc=at, resume_min=0, worth_min_per_h=1.0)
    assert (slow.clear_left_min <= quick.clear_left_min).all()
    assert slow.clear_left_min[0] < quick.clear_left_min[0]


def test_nothing_left_says_set_down():
    rig = passport.scenario("near-equator")
    last = verdict.ribbon(rig, draws=0).times_utc[-30]
    stop = plan.cloud_stop(rig, at_utc=last, resume_min=10, worth_min_per_h=1.0)
    assert stop.words == "Set down now: no usable minute is left tonight (a battery is empty)."
    assert np.isinf(stop.clear_needed_min).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"at_utc": np.datetime64("2026-10-10T12:00")}, "must lie in the dark hours, 2026-10-10T18:27"),
        ({"at_utc": dt.datetime(2026, 10, 10, 20)}, "must carry a time zone"),
        ({"resume_min": -1}, "resume_min must be 0 or more"),
        ({"worth_min_per_h": -1}, "worth_min_per_h must be 0 or more"),
        ({"date": dt.date(2026, 6, 21)}, "at_utc lies in no night to plan"),
    ],
)
def test_cloud_stop_refuses(change, words):
    call = {"at_utc": np.datetime64("2026-10-10T21:00"), "resume_min": 10, "worth_min_per_h": 1.0}
    with pytest.raises(ValueError, match=words):
        plan.cloud_stop(passport.scenario("balcony"), **call | change)
