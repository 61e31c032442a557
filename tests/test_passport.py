"""The passport: what it answers, the files it comes from, replacing, and drawing."""

import datetime
import pickle

import numpy as np
import pytest
from passport_texts import BALCONY, changed
from scipy import stats

from workbook.passport import (
    FIELDS,
    SCENARIOS,
    Entry,
    Passport,
    PassportError,
    describe,
    find,
    load,
    loads,
    scenario,
)

DAY = datetime.date(2026, 11, 2)


# What a passport answers


def test_values_spreads_and_days():
    text, _ = changed("drive.gear_error_arcsec", "{ value = 47.5, sigma = 2, measured = 2026-11-02 }")
    rig = loads(text, source="my-rig.toml")
    assert (rig.name, rig.source, rig.path) == ("my-rig", "my-rig.toml", None)
    assert rig["drive.gear_error_arcsec"] == 47.5
    assert rig.entry("drive.gear_error_arcsec") == Entry(47.5, 2.0, DAY)
    assert rig.is_measured("drive.gear_error_arcsec")
    assert not rig.is_measured("optics.focal_mm")
    assert rig["plan.date"] == datetime.date(2026, 10, 10)
    assert rig["plan.guided"] is False
    assert rig["camera.width_px"] == 4000
    assert type(rig["camera.width_px"]) is int
    assert rig["site.horizon_deg"][1] == (95.0, 90.0)
    assert rig.central()["optics.tube"] == "aluminium"
    assert list(rig) == list(rig.keys()) == list(rig.central())
    assert set(rig) == set(FIELDS)


def test_a_bare_number_is_assumed_with_the_default_spread():
    """The default spreads of the fields: focal length 1.5 % of the value, wind 0.7 m/s, direction unknown."""
    for key, value, sigma in (
        ("optics.focal_mm", 400, 6.0),
        ("night.wind_m_s", 3, 0.7),
        ("habits.axis_direction_deg", 10, 104.0),
        ("habits.tolerance_px", 2, 0.0),
        ("drive.gear_error_arcsec", 0, 0.0),
    ):
        entry = loads(changed(key, str(value))[0]).entry(key)
        assert entry.value == value
        assert entry.sigma == pytest.approx(sigma)
        assert entry.measured is None


def test_a_passport_is_frozen_comparable_and_can_be_a_key():
    rig = scenario("balcony")
    with pytest.raises(AttributeError):
        rig.name = "other"
    with pytest.raises(TypeError):
        rig.entries["optics.focal_mm"] = Entry(1)
    assert rig == scenario("balcony") == pickle.loads(pickle.dumps(rig))
    assert len({rig, scenario("balcony"), rig.replace({"optics.focal_mm": 321})}) == 2
    assert len(repr(rig)) < 100


@pytest.mark.parametrize("ask", [lambda rig, key: rig[key], Passport.entry, Passport.is_measured])
def test_an_unknown_key_names_the_nearest(ask):
    with pytest.raises(KeyError, match=r"'optics.focal'.*nearest is 'optics.focal_mm'"):
        ask(scenario("balcony"), "optics.focal")


def test_describe_gives_meaning_unit_and_range():
    assert describe("optics.focal_mm").endswith("[mm]; allowed 30 to 5000 mm")
    assert scenario("balcony").describe("optics.tube").endswith('allowed "aluminium" or "carbon" or "steel"')
    with pytest.raises(KeyError, match="nearest"):
        describe("optics.tubes")


# Files


def test_load_reads_a_file_with_or_without_a_byte_order_mark(tmp_path):
    for mark in (b"", b"\xef\xbb\xbf"):
        (tmp_path / "my-rig.toml").write_bytes(mark + BALCONY.encode())
        rig = load(str(tmp_path / "my-rig.toml"))
        assert rig.entries == scenario("balcony").entries
        assert (rig.name, rig.path) == ("my-rig", tmp_path / "my-rig.toml")


def test_files_that_cannot_be_read(tmp_path):
    (tmp_path / "my-rig.toml").write_bytes(BALCONY.encode("utf-16"))
    (tmp_path / "latin.toml").write_bytes(b'[rig]\n\nname = "caf\xe9"\n')
    for path, words in (
        (tmp_path, "this is a folder: give the file inside it"),
        (tmp_path / "my-rg.toml", "no such file: the nearest in that folder is my-rig.toml"),
        (tmp_path / "no" / "rig.toml", "no such file: check name and folder, or take a scenario: balcony"),
        (tmp_path / "my-rig.toml", "line 1: this is no UTF-8 text: save it again with the encoding UTF-8"),
        (tmp_path / "latin.toml", "line 3: this is no UTF-8 text"),
        (tmp_path / "my-rig.toml" / "x.toml", "cannot be read"),
        ("a\0b.toml", "cannot be read"),
    ):
        with pytest.raises(PassportError) as caught:
            load(path)
        assert words in str(caught.value)
        assert str(path) in str(caught.value)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    with pytest.raises(PassportError, match="may not be read: ask its owner"):
        load(tmp_path / "a.toml")


def test_find_takes_a_scenario_or_a_file(tmp_path):
    assert find("school") == scenario("school")
    path = tmp_path / "my-rig.toml"
    path.write_text(BALCONY, encoding="utf-8")
    assert find(path).path == find(str(path)).path == path
    with pytest.raises(
        PassportError, match="balcny: neither a file nor a scenario: the nearest scenario is balcony"
    ):
        find("balcny")
    with pytest.raises(PassportError, match="no such file"):
        find("balcony.tom")
    with pytest.raises(PassportError, match="nearest"):
        find("")
    with pytest.raises(PassportError, match="the nearest is southern-club"):
        scenario("southern club")


# Replacing


def test_replace_scales_a_relative_spread_and_keeps_an_absolute_one():
    rig = scenario("balcony").replace({"drive.gear_error_arcsec": 20.0, "night.wind_m_s": 1})
    assert rig.entry("drive.gear_error_arcsec") == Entry(20.0, pytest.approx(4.0), None)  # 50 ± 10
    assert rig.entry("night.wind_m_s") == Entry(1.0, 0.7, None)
    assert rig.replace({"drive.gear_error_arcsec": 0}).entry("drive.gear_error_arcsec") == Entry(
        0.0, 0.0, None
    )
    back = rig.replace({"drive.gear_error_arcsec": 0}).replace({"drive.gear_error_arcsec": 50})
    assert back.entry("drive.gear_error_arcsec").sigma == pytest.approx(10)  # the default, a fifth
    assert scenario("balcony")["drive.gear_error_arcsec"] == 50


def test_replace_takes_entries_and_arrays():
    rig = scenario("school").replace(
        {
            "drive.gear_error_arcsec": Entry(np.float64(30), np.float32(1.5), DAY),
            "optics.focal_mm": Entry(np.int64(400)),
            "site.horizon_deg": np.array([[0, 10], [360, 10]]),
            "plan.guided": np.bool_(True),
            "drive.second_harmonic_arcsec": 5,
        }
    )
    assert rig.entry("drive.gear_error_arcsec") == Entry(30.0, 1.5, DAY)
    assert rig.entry("optics.focal_mm") == Entry(400.0, pytest.approx(6.0), None)
    assert rig["site.horizon_deg"] == ((0.0, 10.0), (360.0, 10.0))
    assert rig["plan.guided"] is True
    assert scenario("school").is_measured("drive.second_harmonic_arcsec")
    assert not rig.is_measured("drive.second_harmonic_arcsec")  # a supposed value is not the measured one


def test_replace_tells_all_faults():
    changes = {"optics.focal": 3, "optics.focal_mm": 0.32, "night.gust_m_s": Entry(5, -1), 7: 1}
    with pytest.raises(PassportError) as caught:
        scenario("balcony").replace(changes)
    lines = str(caught.value).splitlines()
    assert len(lines) == 4
    assert lines[0] == "balcony.toml: optics.focal: unknown field, the nearest valid name is optics.focal_mm"
    assert "did you give metres" in lines[1]
    with pytest.raises(PassportError, match="below the steady wind"):
        scenario("balcony").replace({"night.wind_m_s": 7})


# Drawing

DRAWS = 40_000
FIVE_SIGMA = 5 / np.sqrt(DRAWS)


def test_normal_draws_have_mean_and_sigma():
    """Derivation: mean and standard deviation of a normal law; five standard errors of 40,000 draws."""
    drawn = scenario("balcony").draw(DRAWS, 1)["optics.focal_mm"]
    np.testing.assert_allclose(drawn.mean(), 320, atol=4.8 * FIVE_SIGMA)
    np.testing.assert_allclose(drawn.std(), 4.8, rtol=FIVE_SIGMA / np.sqrt(2))
    assert stats.kstest(drawn, stats.norm(320, 4.8).cdf).pvalue > 1e-3


def test_lognormal_draws_have_their_median_and_spread():
    """Derivation: median = value, σ of the logarithm = √ln(1 + 0.5²) = 0.472381 for ± 50 %."""
    drawn = scenario("balcony").draw(DRAWS, 1)["guide.flexure_arcsec_min"]
    np.testing.assert_allclose(np.log(drawn).mean(), np.log(0.15), atol=0.472381 * FIVE_SIGMA)
    np.testing.assert_allclose(np.log(drawn).std(), 0.472381, rtol=FIVE_SIGMA / np.sqrt(2))
    assert stats.kstest(drawn, stats.lognorm(0.472381, scale=0.15).cdf).pvalue > 1e-3


def test_clipped_draws_pile_up_at_the_end_of_the_range():
    """Derivation: E[min(X, 1)] = μ − σ (φ(k) − k (1 − Φ(k))), k = (1 − μ)/σ; share at the end 1 − Φ(k)."""
    drawn = scenario("balcony").draw(DRAWS, 2)["night.humidity_end"]
    k = (1 - 0.90) / 0.06
    mean = 0.90 - 0.06 * (stats.norm.pdf(k) - k * stats.norm.sf(k))
    np.testing.assert_allclose(drawn.mean(), mean, atol=0.06 * FIVE_SIGMA)
    share = stats.norm.sf(k)
    np.testing.assert_allclose(np.mean(drawn == 1), share, atol=np.sqrt(share * (1 - share)) * FIVE_SIGMA)
    assert drawn.max() == 1


def test_unknown_directions_are_uniform_and_known_ones_wrap():
    """Derivation: uniform on the circle; wrapped normal by its resultant length exp(−σ²/2), σ in rad."""
    rig = scenario("balcony").replace({"drive.second_harmonic_phase_deg": Entry(350, 20)})
    drawn = rig.draw(DRAWS, 3)
    unknown, known = drawn["habits.axis_direction_deg"], drawn["drive.second_harmonic_phase_deg"]
    assert stats.kstest(unknown, stats.uniform(0, 360).cdf).pvalue > 1e-3
    assert known.min() >= 0
    assert known.max() < 360
    assert np.mean(known < 180) > 0.2  # beyond north
    resultant = np.exp(1j * np.radians(known - 350)).mean()
    np.testing.assert_allclose(abs(resultant), np.exp(-0.5 * np.radians(20) ** 2), atol=0.002)
    np.testing.assert_allclose(np.degrees(np.angle(resultant)), 0, atol=20 * FIVE_SIGMA)


def test_draws_are_reproducible_and_independent_of_each_other():
    rig = scenario("balcony")
    one, again, other = rig.draw(500, 7), rig.draw(500, 7), rig.draw(500, 8)
    spread = [key for key in rig if rig.entry(key).sigma]
    numbers = np.array([one[key] for key in spread])
    np.testing.assert_array_equal(numbers, [again[key] for key in spread])
    assert not np.any(numbers[:, 0] == np.array([other[key][0] for key in spread]))
    wider = rig.replace({"optics.focal_mm": Entry(320, 9), "night.wind_m_s": Entry(2, 0)}).draw(500, 7)
    for key in spread:
        if key not in ("optics.focal_mm", "night.wind_m_s", "night.gust_m_s"):
            np.testing.assert_array_equal(wider[key], one[key], err_msg=key)
    np.testing.assert_allclose(wider["optics.focal_mm"] - 320, (one["optics.focal_mm"] - 320) * 9 / 4.8)
    longer = rig.draw(700, 7)
    np.testing.assert_array_equal([longer[key][:500] for key in spread], numbers)
    largest = np.abs(np.corrcoef(numbers) - np.eye(len(spread))).max()
    assert (
        largest < 0.25
    )  # 90 fields, 4000 pairs: five standard errors of 1/√500, wind and gust by their maximum


def test_draws_stay_within_what_is_allowed_and_fit_each_other():
    windy = {
        "night.wind_m_s": Entry(6, 3),
        "night.gust_m_s": Entry(6, 3),
        "optics.throughput": Entry(0.9, 0.4),
    }
    for name in SCENARIOS:
        rig = scenario(name).replace(windy)
        drawn = rig.draw(2000, 5)
        assert list(drawn) == list(rig)
        for key, field in FIELDS.items():
            if rig.entry(key).sigma:
                assert drawn[key].shape == (2000,)
                assert field.low <= drawn[key].min()
                assert drawn[key].max() <= field.high
            else:
                assert drawn[key] == rig[key]
        assert np.all(drawn["night.gust_m_s"] >= drawn["night.wind_m_s"])
        assert np.any(drawn["night.gust_m_s"] == drawn["night.wind_m_s"])


def test_a_gust_without_spread_stays_above_a_wind_with_one():
    rig = scenario("balcony").replace({"night.gust_m_s": Entry(2.1, 0)})
    drawn = rig.draw(100, 1)
    np.testing.assert_array_equal(drawn["night.gust_m_s"], np.maximum(2.1, drawn["night.wind_m_s"]))
    still = rig.replace({"night.wind_m_s": Entry(2, 0)}).draw(100, 1)
    assert still["night.gust_m_s"] == 2.1
    assert type(still["night.gust_m_s"]) is float


@pytest.mark.parametrize(
    ("draws", "seed", "kind", "words"),
    [
        (0, 1, ValueError, "draws must be 1 or more, received 0"),
        (10, -1, ValueError, "seed must be 0 or more, received -1"),
        (2.5, 1, TypeError, "draws must be a whole number"),
        (10, None, TypeError, "seed must be a whole number"),
        (True, 1, TypeError, "draws must be a whole number"),
    ],
)
def test_draws_and_seed_are_whole(draws, seed, kind, words):
    with pytest.raises(kind, match=words):
        scenario("balcony").draw(draws, seed)


# The table of fields


def test_every_field_is_complete():
    for key, field in FIELDS.items():
        assert key == f"{field.section}.{field.key}" == field.name
        assert field.meaning
        assert field.kind in ("number", "whole", "text", "choice", "bool", "date", "table")
        assert field.shape in ("none", "normal", "lognormal", "circle")
        assert (field.shape == "none") or field.kind == "number"
        if field.kind in ("number", "whole", "table"):
            assert field.low < field.high
            assert np.isfinite([field.low, field.high]).all()
            assert field.cure
        if field.shape == "lognormal":
            assert field.low >= 0
            assert field.relative
        if field.shape == "circle":
            assert (field.low, field.high) == (0, 360)
        assert (len(field.options) > 1) == (field.kind == "choice")
