"""The ranking of the whole catalogue: against the verdict, astropy, signal-to-noise, and what must hold."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import pytest

from workbook import catalogue, exposure, passport, plan, verdict
from workbook.plan import fields
from workbook.verdict import light

CASES = [
    ("balcony", ["M 33", "NGC 7331", "IC 1613", "NGC 7814"]),
    ("island-traveller", ["M 33", "NGC 7457", "IC 5332", "NGC 188"]),
    ("southern-club", ["NGC 253", "NGC 7213", "NGC 1398", "NGC 5365"]),
    ("school", ["NGC 188", "IC 10", "NGC 7640", "NGC 6940"]),
    ("near-equator", ["NGC 5128", "NGC 5566", "NGC 4697", "NGC 3486"]),
]


def row_of(ranking, name):
    return int(np.flatnonzero(ranking.name == catalogue.find(name).name)[0])


@pytest.mark.parametrize(("name", "targets"), CASES, ids=[case[0] for case in CASES])
def test_finished_hours_are_those_of_the_verdict(name, targets):
    """The verdict as oracle, minute by minute: 6 %, or 20 s where a night gives little (steps of five minutes)."""
    rig = passport.scenario(name)
    ranking = plan.rank(rig)
    for target in targets:
        at = row_of(ranking, target)
        answer = verdict.verdict(rig, target=target, draws=0, causes=False)
        assert answer.finished_h > 0
        assert ranking.finished_h[at] == pytest.approx(answer.finished_h, rel=0.06, abs=20 / 3600), target
        assert answer.usable_low_s <= ranking.best_sub_s[at] <= answer.usable_high_s  # the hill is flat
        assert ranking.usable_h[at] == pytest.approx(answer.usable_h, abs=0.17)
        assert ranking.view_h[at] == pytest.approx(answer.view_h, abs=0.17)


def test_other_modes_and_moonlight_agree_too():
    """The same oracle for the other mode, with guiding, and five days from a full Moon."""
    rig = passport.scenario("balcony").replace({"plan.date": dt.date(2026, 10, 22)})
    for mode, guided in (("alt-az", False), ("alt-az", True), ("tilted", True)):
        ranking = plan.rank(rig, mode=mode, guided=guided)
        for target in ("M 33", "NGC 7814"):
            answer = verdict.verdict(rig, target=target, mode=mode, guided=guided, draws=0, causes=False)
            at = row_of(ranking, target)
            assert ranking.finished_h[at] == pytest.approx(answer.finished_h, rel=0.06, abs=20 / 3600)


def test_view_height_and_moon_agree_with_astropy():
    """astropy's own geometry every five minutes: view within two steps, height and Moon within half a degree."""
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
    from astropy.time import Time
    from astropy.utils import iers

    rig = passport.scenario("balcony").replace({"plan.date": dt.date(2026, 10, 22)})
    ranking = plan.rank(rig)
    thing = catalogue.find("M 33")
    seen = verdict.conditions(rig, target="M 33", date=rig["plan.date"])
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        place = [rig[f"site.{key}"] for key in ("longitude_deg", "latitude_deg", "height_m")]
        ground = EarthLocation.from_geodetic(*place)
        times = Time(seen.times_utc[2::5])
        frame = AltAz(obstime=times, location=ground, pressure=1010 * u.hPa, temperature=5 * u.deg_C)
        star = SkyCoord(thing.ra_deg * u.deg, thing.dec_deg * u.deg).transform_to(frame)
        moon = get_body("moon", times, ground).transform_to(frame)
        apart = star.separation(moon).deg
    open_ = (star.az.deg >= 95) & (star.az.deg <= 215) & (star.alt.deg >= 20) & (star.alt.deg <= 68)
    at = row_of(ranking, "M 33")
    assert ranking.view_h[at] == pytest.approx(open_.sum() / 12, abs=2 / 12)
    assert ranking.highest_deg[at] == pytest.approx(star.alt.deg[open_].max(), abs=0.5)
    up = open_ & (moon.alt.deg > 0)
    assert ranking.moon_deg[at] == pytest.approx(apart[up].min(), abs=0.5)


def test_needed_hours_give_the_wished_signal_to_noise():
    """The topic's own equation for a patch under the reference sky; no read noise, no dark current."""
    rig = passport.scenario("balcony")
    wish = plan.Wish(snr=7.0, detail_arcsec=12.0, least_px=50.0)
    ranking = plan.rank(rig, wish=wish)
    central = rig.central()
    scale = light.scale_arcsec_px(central)
    for name in ("M 33", "NGC 7814", "NGC 891"):
        at = row_of(ranking, name)
        pixels = (12.0 / scale) ** 2
        thing = catalogue.find(name)
        snr = exposure.snr_star(
            star_e_s=pixels * light.surface_e_s_px(central, thing.surface_mag_arcsec2),
            sky_e_s_px=light.surface_e_s_px(central, 21.5),
            dark_e_s_px=0.0,
            read_noise_e=0.0,
            pixels=pixels,
            sub_s=3600.0 * ranking.needed_h[at],
        )
        assert snr == pytest.approx(7.0, rel=1e-6)


def test_every_object_is_ranked_or_told_why():
    ranking = plan.rank(passport.scenario("balcony"))
    assert len(ranking.name) == len(catalogue.all_objects())
    assert sorted(ranking.name) == sorted(catalogue.all_objects()["name"])
    np.testing.assert_array_equal(ranking.rank > 0, ranking.reason == "")
    ranked = ranking.rank[ranking.rank > 0]
    np.testing.assert_array_equal(ranked, np.arange(1, len(ranked) + 1))
    assert len(ranked) > 50
    good = ranking.rank > 0
    assert (ranking.finished_h[good] >= ranking.needed_h[good]).all()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("NGC 253", "it never stands behind the mask's opening in the dark hours"),
        ("M 31", "it is larger than the field of 150′ × 105′: a mosaic"),
        ("M 57", "it is smaller than 100 px in this rig"),
        ("IC 434", "the catalogue gives no brightness"),
    ],
)
def test_reasons_in_words(name, words):
    """Field by hand: 4000 and 2800 pixels of 3.5 µm at 320 mm are 2.51° and 1.75°."""
    ranking = plan.rank(passport.scenario("balcony"))
    assert ranking.why(name) == f"{catalogue.find(name).name}: not ranked, because {words}"


def test_too_faint_says_how_much_is_missing():
    rig = passport.scenario("balcony")
    easy, hard = plan.rank(rig), plan.rank(rig, wish=plan.Wish(snr=40.0))
    assert (hard.rank > 0).sum() < (easy.rank > 0).sum()
    at = row_of(hard, "M 33")
    assert hard.reason[at].startswith("too faint for one night: it needs")
    assert f"{60 * hard.finished_h[at]:.1f} min" in hard.reason[at]
    assert "place" in easy.why("M 33")


def test_the_order_is_by_finished_hours_in_tenths_and_then_by_size():
    ranking = plan.rank(passport.scenario("southern-club")).top(400)
    most = ranking.finished_h.max()
    band = np.floor(np.log(most / ranking.finished_h) / np.log(1.1))
    assert (np.diff(band) >= 0).all()
    for each in np.unique(band):
        assert (np.diff(ranking.size_px[band == each]) <= 0).all()
    assert ranking.finished_h[0] > most / 1.1


def test_a_brighter_site_and_a_larger_wish_rank_fewer():
    rig = passport.scenario("southern-club")
    count = (plan.rank(rig).rank > 0).sum()
    city = rig.replace({"site.sky_mag_arcsec2": 18.0})
    assert (plan.rank(city).rank > 0).sum() < count
    assert (plan.rank(rig, wish=plan.Wish(least_px=300)).rank > 0).sum() < count
    at = row_of(plan.rank(city), "NGC 253")
    assert plan.rank(city).finished_h[at] < 0.5 * plan.rank(rig).finished_h[row_of(plan.rank(rig), "NGC 253")]


def test_ranges_come_from_the_verdict():
    rig = passport.scenario("southern-club")
    ranking = plan.rank(rig)
    first, second = plan.top_with_ranges(rig, ranking, 2, draws=60)
    assert [first.target, second.target] == ranking.top(2).name.tolist()
    assert first.finished_68_h[0] < first.finished_h < first.finished_68_h[1]


def test_the_list_in_words_has_a_range_for_the_first_and_about_for_the_rest():
    """The verdict as oracle for the range; 200 draws, the same seed."""
    rig = passport.scenario("balcony")
    ranking = plan.rank(rig)
    lines = ranking.as_text(5).splitlines()
    assert f"{(ranking.rank > 0).sum()} targets, by finished time; (a to b) holds 68 of 100 cases" in lines[0]
    spreads = []
    for at, line in enumerate(lines[1:6]):
        assert line.split()[:1] == [str(at + 1)]
        assert str(ranking.name[at]) in line
        assert f"{ranking.size_px[at]:.0f} px long" in line
        if at < 3:
            answer = verdict.verdict(rig, target=str(ranking.name[at]), draws=200, causes=False)
            low, middle, high = (
                60 * h for h in (answer.finished_68_h[0], answer.finished_h, answer.finished_68_h[1])
            )
            assert f"  {middle:.1f} min ({low:.1f} to {high:.1f} min) finished" in line
            spreads.append((low / middle, high / middle))
        else:
            assert f"  about {60 * ranking.finished_h[at]:.1f} min finished of about" in line
    low, high = np.mean(spreads, axis=0)
    assert lines[6] == f"about: as well known as the first, {low:.1f} to {high:.1f} times the number"
    assert ranking.as_text(2).count("about: as well known") == 0
    answer = verdict.verdict(rig, target="M 33", draws=200, causes=False)
    low, high = (60 * end for end in answer.finished_68_h)
    assert (
        f", {60 * answer.finished_h:.1f} min ({low:.1f} to {high:.1f} min) finished of about"
        in ranking.why("M 33")
    )
    bare = dataclasses.replace(ranking, passport=None)
    at = row_of(ranking, "M 33")
    assert f", about {60 * ranking.finished_h[at]:.1f} min finished of about" in bare.why("M 33")
    with pytest.raises(ValueError, match="count must be above 0"):
        ranking.as_text(0)


def test_stars_have_no_needed_time_in_words_and_units_may_differ():
    ranking = plan.rank(passport.scenario("southern-club"))
    at = next(at for at in range(20) if "Cluster" in ranking.kind[at])
    assert ranking.needed_h[at] == 0.0
    assert ranking.why(str(ranking.name[at])).endswith("finished, stars: none needed")
    assert " min to 1.1 h) finished" in ranking.as_text(3)


def test_the_map_of_the_sky_is_the_path_followed_there():
    """At directions between the nodes, over a real night: `path_yield` by itself.

    64 phases of a share near a half have a sigma of 0.06, less where they are spread evenly; straight lines add to it.
    """
    rig = passport.scenario("southern-club")
    night = verdict.conditions(rig, target="NGC 253", date=rig["plan.date"])
    minutes = np.flatnonzero(night.in_view)[::90]
    for mode, guided in (("tilted", True), ("tilted", False), ("alt-az", False)):
        field = fields.yield_map(rig, mode, guided)
        cells = field.rows(altitude_deg=night.altitude_deg[minutes], azimuth_deg=night.azimuth_deg[minutes])
        kept = field.kept.reshape(-1, len(field.sub_s))[cells]
        terms = verdict.path_terms(rig.central(), night.at(minutes), mode=mode, guided=guided)
        own = verdict.path_yield(terms, sub_s=field.sub_s, phases=256, seed=4)
        low = night.altitude_deg[minutes] < 75
        np.testing.assert_allclose(kept[low], own[low], rtol=0, atol=0.12)
        assert abs(np.mean(kept[low] - own[low])) < 0.01


@pytest.mark.parametrize("name", ["island-traveller", "southern-club"])
def test_points_of_the_sky_move_as_the_stars_do(name):
    """ERFA's star minute by minute, its differences as the oracle of the closed forms; 1 % for the step, below 75°."""
    rig = passport.scenario(name)
    night = verdict.conditions(rig, target=rig["plan.target"], date=rig["plan.date"])
    low = (night.altitude_deg < 75) & (night.altitude_deg > 6)
    low[[0, -1]] = False
    points = fields.sky_points(rig, night.altitude_deg[low], night.azimuth_deg[low])
    for key in ("altitude_rate_arcsec_s", "azimuth_rate_arcsec_s", "dec_deg", "hour_angle_deg"):
        np.testing.assert_allclose(getattr(points, key), getattr(night, key)[low], rtol=0.01, atol=0.02)
    ours, theirs = points.refraction_rate_arcsec_s, night.refraction_rate_arcsec_s[low]
    np.testing.assert_allclose(ours, theirs, rtol=0.05, atol=5e-5)


def test_heights_are_apparent():
    """A galaxy 15° up at its highest, where the air lifts by 0.06°; the verdict's minutes as oracle, 0.015°."""
    rig = passport.scenario("southern-club")
    ranking = plan.rank(rig)
    night = verdict.conditions(rig, target="NGC 7640", date=rig["plan.date"])
    assert night.apparent_altitude_deg.max() - night.altitude_deg.max() > 0.05
    at = row_of(ranking, "NGC 7640")
    assert ranking.highest_deg[at] == pytest.approx(night.apparent_altitude_deg.max(), abs=0.015)


def test_a_galaxy_without_v_is_brighter_than_in_b():
    """By hand: V = B − 0.75, spread over the ellipse; a nebula without V is not guessed at."""
    objects = catalogue.all_objects()
    ranking = plan.rank(passport.scenario("southern-club"))
    only_b = np.isnan(objects["v_mag"]) & np.isfinite(objects["b_mag"]) & (objects["minor_arcmin"] > 3)
    galaxy = objects[only_b & (objects["kind"] == "Galaxy")][0]
    area_arcsec2 = np.pi / 4 * galaxy["major_arcmin"] * galaxy["minor_arcmin"] * 3600
    expected = galaxy["b_mag"] - 0.75 + 2.5 * np.log10(area_arcsec2)
    assert ranking.surface_mag_arcsec2[row_of(ranking, galaxy["name"])] == pytest.approx(expected)
    nebula = objects[only_b & (objects["kind"] == "Nebula")]
    for thing in nebula[:2]:
        assert ranking.why(thing["name"]).endswith("because the catalogue gives no brightness")


# Bad input


def test_a_mask_that_closes_the_whole_sky_ranks_nothing_and_says_why():
    rig = passport.scenario("balcony").replace({"site.horizon_deg": [[0, 90], [360, 90]]})
    ranking = plan.rank(rig)
    assert not ranking.rank.any()
    assert "never stands behind the mask's opening" in ranking.why("M 33")
    assert ranking.as_text().endswith("unguided: no target is ranked")
    assert len(ranking.top(5).name) == 0


def test_a_night_that_is_none_says_so():
    ranking = plan.rank(passport.scenario("balcony"), date=dt.date(2026, 6, 21))
    assert "no astronomical night" in ranking.note
    assert "no astronomical night" in ranking.why("M 33")
    assert "no target is ranked: no astronomical night" in ranking.as_text()
    assert not ranking.rank.any()


@pytest.mark.parametrize("latitude_deg", [90.0, -90.0, 0.0])
def test_pole_and_equator_rank(latitude_deg):
    day = dt.date(2026, 12, 21) if latitude_deg >= 0 else dt.date(2026, 6, 21)
    rig = passport.scenario("southern-club").replace({"site.latitude_deg": latitude_deg, "plan.date": day})
    for mode in ("tilted", "alt-az"):
        ranking = plan.rank(rig, mode=mode)
        assert (ranking.rank > 0).sum() > 10
        if latitude_deg == 90.0:  # what stands south of the equator never rises
            assert "never stands" in ranking.why("NGC 253")


def test_a_date_out_of_the_ephemeris_and_a_bad_wish_are_refused():
    rig = passport.scenario("balcony")
    with pytest.raises(ValueError, match="1972 to 2099"):
        plan.rank(rig, date=dt.date(2150, 1, 5))
    with pytest.raises(ValueError, match="snr must be above 0"):
        plan.Wish(snr=0)
    with pytest.raises(ValueError, match="detail_arcsec must be above 0"):
        plan.Wish(detail_arcsec=-1)
    with pytest.raises(ValueError, match="mode must be one of"):
        plan.rank(rig, mode="equatorial")
