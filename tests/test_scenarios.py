"""The demo passports: complete, as the lessons describe them, and coherent."""

import datetime
import tomllib

import numpy as np
import pytest

from workbook import scenarios
from workbook.passport import FIELDS, SCENARIOS, SECTIONS, load, loads, save, scenario, share


def test_the_five_scenarios():
    assert SCENARIOS == ("balcony", "southern-club", "island-traveller", "school", "near-equator")
    with pytest.raises(ValueError, match="name must be one of balcony"):
        scenarios.text("garden")


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_field_stands_in_every_scenario_with_its_spread(name):
    """A plain TOML reader sees each field of the table and no other, in the same order."""
    data = tomllib.loads(scenarios.text(name))
    assert list(data) == list(SECTIONS)
    assert [f"{section}.{key}" for section, body in data.items() for key in body] == list(FIELDS)
    for key, field in FIELDS.items():
        value = data[field.section][field.key]
        if field.has_sigma:
            assert set(value) - {"measured"} == {"value", "sigma"}, key
            assert scenario(name).entry(key).sigma == value["sigma"]
        assert scenario(name).is_measured(key) == (isinstance(value, dict) and "measured" in value)


@pytest.mark.parametrize("name", SCENARIOS)
def test_round_trips(name, tmp_path):
    rig = scenario(name)
    assert (rig.name, rig.source, rig.path) == (name, f"{name}.toml", None)
    path = save(rig, tmp_path / f"{name}.toml")
    assert path.read_text(encoding="utf-8") == rig.text
    assert load(path) == rig
    assert loads(share(rig)).entries == rig.entries  # their coordinates are round already


@pytest.mark.parametrize("name", SCENARIOS)
def test_every_section_speaks_to_a_beginner(name):
    for section in scenarios.text(name).split("\n[")[1:]:
        title = section[: section.index("]")]
        assert title == "rig" or section.count("#") >= 2, title


@pytest.mark.parametrize(
    ("name", "latitude_deg", "sky", "sky_sigma", "target", "date", "mode", "guided"),
    [
        ("balcony", 52.4, 18.6, 0.3, "M 33", "2026-10-10", "tilted", False),
        ("southern-club", -34, 20.8, 0.2, "NGC 253", "2026-09-12", "tilted", True),
        ("island-traveller", 30, 21.4, 0.2, "M 33", "2026-10-12", "alt-az", False),
        ("school", 46, 19.5, 0.3, "M 31", "2026-11-06", "tilted", False),
        ("near-equator", 1.3, 20.5, 0.4, "NGC 5139", "2026-05-14", "tilted", True),
    ],
)
def test_places_and_plans(name, latitude_deg, sky, sky_sigma, target, date, mode, guided):
    """Source: the workbook's own description of its demo places."""
    rig = scenario(name)
    assert rig["site.latitude_deg"] == latitude_deg
    assert rig.entry("site.sky_mag_arcsec2")[:2] == (sky, sky_sigma)
    assert rig["plan.target"] == target
    assert rig["plan.date"] == datetime.date.fromisoformat(date)
    assert (rig["plan.mode"], rig["plan.guided"]) == (mode, guided)


def test_all_scenarios_share_one_rig():
    """What a lesson says of the optics holds in all of them; only the school measured its gears."""
    balcony = scenario("balcony")
    measured = {"drive.gear_error_arcsec", "drive.second_harmonic_arcsec", "drive.second_harmonic_phase_deg"}
    for name in SCENARIOS:
        for key, field in FIELDS.items():
            if field.section in ("optics", "camera", "guide", "drive", "stand") and key not in measured:
                assert scenario(name)[key] == balcony[key], (name, key)
    assert all(scenario("school").is_measured(key) for key in measured)
    for key in measured:
        assert scenario("school").entry(key).sigma < balcony.entry(key).sigma


def test_the_view_from_the_balcony():
    """Open from azimuth 95° to 215° and altitude 20° to 68°, and nowhere else."""
    rig = scenario("balcony")
    azimuth, altitude = np.array(rig["site.horizon_deg"]).T
    floor = np.interp([0, 94.9, 95.1, 150, 214.9, 215.1, 359], azimuth, altitude)
    np.testing.assert_allclose(floor, [90, 90, 20, 20, 20, 90, 90], atol=1e-9)
    assert rig["site.ceiling_deg"] == 68
    assert rig["site.pole_visible"] is False


@pytest.mark.parametrize("name", SCENARIOS)
def test_numbers_fit_each_other(name):
    rig = scenario(name)
    first, *_, last = rig["site.horizon_deg"]
    assert (first[0], last[0]) == (0, 360)
    assert first[1] == last[1]  # the view closes round north
    assert rig["night.air_end_degc"] <= rig["night.air_start_degc"]
    assert rig["night.humidity_end"] >= rig["night.humidity_start"]
    # ISO 2533: 1013.25 hPa (1 − 2.25577e-5 h)^5.25588; weather moves it by some 20 hPa.
    standard_hpa = 1013.25 * (1 - 2.25577e-5 * rig["site.height_m"]) ** 5.25588
    assert rig["night.pressure_hpa"] == pytest.approx(standard_hpa, abs=20)
    cells_v = rig["power.mount_cells"] * rig["power.cell_v"]
    assert rig["power.mount_lowest_v"] < cells_v < rig["power.mount_highest_v"]
    for key in rig:
        if rig.is_measured(key):
            assert rig.entry(key).measured < rig["plan.date"]
