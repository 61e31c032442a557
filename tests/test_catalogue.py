"""Deep-sky objects by name, against Dreyer's and Messier's counts and places known elsewhere."""

import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from support import assert_row, rows

from workbook import catalogue

ROWS = rows("night.csv")


@pytest.fixture
def fresh():
    """The kept tables forgotten, before and after."""
    kept = (catalogue._rows, catalogue._index, catalogue.all_objects)
    for table in kept:
        table.cache_clear()
    yield
    for table in kept:
        table.cache_clear()


@pytest.mark.parametrize(
    ("name", "own_name"),
    [
        ("NGC 7331", "NGC 7331"),
        ("ngc7331", "NGC 7331"),
        (" Ngc  07331 ", "NGC 7331"),
        ("M 31", "NGC 224"),
        ("m31", "NGC 224"),
        ("M031", "NGC 224"),
        ("Messier 31", "NGC 224"),
        ("Andromeda Galaxy", "NGC 224"),
        ("the andromeda galaxy", "NGC 224"),
        ("UGC 454", "NGC 224"),
        ("PGC 2557", "NGC 224"),
        ("MCG +07-02-016", "NGC 224"),
        ("IC 434", "IC 434"),
        ("IC 11", "NGC 281"),
        ("Caldwell 30", "NGC 7331"),
        ("Barnard 33", "B 33"),
        ("Horsehead Nebula", "B 33"),
        ("M 45", "Mel 22"),
        ("pleiades", "Mel 22"),
        ("M 40", "M 40"),
        ("Hind's Nebula", "NGC 1555"),
        ("hinds nebula", "NGC 1555"),
        ("Large Magellanic Cloud", "ESO 56-115"),
    ],
)
def test_names_in_many_spellings(name, own_name):
    assert catalogue.find(name).name == own_name


def test_place_and_brightness_of_m31():
    m31 = catalogue.find("M 31")
    assert_row(ROWS["NIG-11"], m31.ra_deg)
    assert_row(ROWS["NIG-12"], m31.dec_deg)
    assert m31.kind == "Galaxy"
    assert m31.common_names == ("Andromeda Galaxy",)
    assert m31.missing == ()
    # 190' × 60' and V 3.44 of row PHO-13; another isophote, a fifth off in each axis, is 0.2 mag in the mean.
    assert m31.v_mag == pytest.approx(3.44, abs=0.05)
    assert m31.major_arcmin == pytest.approx(190, rel=0.2)
    assert m31.minor_arcmin == pytest.approx(60, rel=0.2)
    assert m31.surface_mag_arcsec2 == pytest.approx(ROWS["PHO-13"]["expected"], abs=0.2)


def test_pho_13_mean_surface_brightness():
    numbers = {"magnitude": 3.44, "major_arcmin": 190, "minor_arcmin": 60}
    assert_row(ROWS["PHO-13"], catalogue.mean_surface_mag_arcsec2(**numbers))
    square = catalogue.mean_surface_mag_arcsec2(
        magnitude=10.0, major_arcmin=1 / 60, minor_arcmin=4 / np.pi / 60
    )
    assert square == pytest.approx(10.0, abs=1e-12)  # one square arcsecond
    table = catalogue.mean_surface_mag_arcsec2(**numbers | {"minor_arcmin": [60, 0, np.nan]})
    np.testing.assert_array_equal(np.isnan(table), [False, True, True])


def test_every_number_of_the_three_catalogues_is_there():
    names = [row[catalogue.NAME] for row in catalogue._rows()]
    for row, prefix in (("NIG-13", "NGC"), ("NIG-14", "IC")):
        numbers = {int(found[1]) for name in names if (found := re.fullmatch(prefix + r"(\d+)", name))}
        assert_row(ROWS[row], len(numbers))
        assert max(numbers) == len(numbers)


def test_all_messier_numbers_are_found():
    found = {number: catalogue.find(f"M {number}") for number in range(1, 111)}
    assert_row(ROWS["NIG-15"], len(found))
    assert found[102] == found[101]  # the catalogue takes M 102 for a second sight of M 101
    assert len({thing.name for thing in found.values()}) == 109
    with pytest.raises(ValueError, match="'M 111' is not in the catalogue"):
        catalogue.find("M 111")


def test_every_duplicate_leads_to_a_real_object():
    duplicates = [row[catalogue.NAME] for row in catalogue._rows() if row[catalogue.TYPE] == "Dup"]
    assert len(duplicates) > 600
    for name in duplicates:
        assert catalogue.find(name).kind != "Duplicated record"


def test_what_is_missing_is_said():
    cluster = catalogue.find("M 103")
    assert cluster.missing == ("minor axis",)
    assert cluster.minor_arcmin == cluster.major_arcmin
    nebula = catalogue.find("NGC 281")
    assert nebula.missing == ("brightness",)
    assert nebula.v_mag is None
    assert nebula.surface_mag_arcsec2 is None
    assert catalogue.find("IC 434").missing == ("V brightness",)
    star = catalogue.find("IC 1")
    assert "size" in star.missing
    assert star.major_arcmin is None
    assert star.surface_mag_arcsec2 is None


def test_errors_name_the_cure():
    with pytest.raises(
        ValueError, match=r"'Andromeda Galxy' is not .* nearest are Andromeda Galaxy, \S.*, \S"
    ):
        catalogue.find("Andromeda Galxy")
    with pytest.raises(
        ValueError, match=r"'NGC 73311' is not in the catalogue: the nearest are .*NGC 7331\b"
    ):
        catalogue.find("NGC 73311")
    with pytest.raises(ValueError, match="'' is not in the catalogue"):
        catalogue.find("")
    with pytest.raises(ValueError, match="means several objects: choose IC 4703 or NGC 6611"):
        catalogue.find("Eagle Nebula")
    with pytest.raises(ValueError, match="IC 1064 does not exist"):
        catalogue.find("IC 1064")
    with pytest.raises(TypeError, match="name must be text such as 'NGC 7331', received 7331"):
        catalogue.find(7331)


def test_all_objects_agree_with_find():
    table = catalogue.all_objects()
    assert table is catalogue.all_objects()
    assert not table.flags.writeable
    assert np.isfinite(table["ra_deg"]).all()
    assert ((table["ra_deg"] >= 0) & (table["ra_deg"] < 360) & (abs(table["dec_deg"]) <= 90)).all()
    assert len(set(table["name"])) == len(table)
    assert not set(table["kind"]) & {"Duplicated record", "Nonexistent object"}
    for row in table[::271]:
        thing = catalogue.find(str(row["name"]))
        for field in table.dtype.names:
            value = getattr(thing, field)
            if value is None:
                assert np.isnan(row[field])
            else:
                assert row[field] == value
    assert np.isnan(table["surface_mag_arcsec2"]).any()


def test_one_query_is_kept(fresh, monkeypatch):
    opened = []
    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *a, **k: opened.append(a) or connect(*a, **k))
    for name in ("M 31", "UGC 454", "IC 434"):
        catalogue.find(name)
    catalogue.all_objects()
    assert len(opened) == 1
    assert "mode=ro" in opened[0][0]


def test_a_damaged_file_is_said(fresh, monkeypatch, tmp_path):
    file = tmp_path / "a folder #1%" / "ongc.db"
    file.parent.mkdir()
    monkeypatch.setattr(catalogue, "_path", lambda: file)
    with pytest.raises(catalogue.CatalogueError, match=r"missing or damaged .*: reinstall the package py"):
        catalogue.find("M 31")
    assert not file.exists()
    file.write_bytes(b"no database at all" * 100)
    with pytest.raises(catalogue.CatalogueError, match=r"missing or damaged .*not a database.*: reinstall"):
        catalogue.find("M 31")
    file.unlink()
    with sqlite3.connect(file) as database:
        database.execute("CREATE TABLE objTypes (type, typedesc)")
    database.close()
    with pytest.raises(catalogue.CatalogueError, match=r"no such table.*: reinstall"):
        catalogue.all_objects()


def test_an_empty_catalogue_and_an_object_without_a_place(fresh, monkeypatch, tmp_path):
    file = tmp_path / "ongc.db"
    monkeypatch.setattr(catalogue, "_path", lambda: file)
    columns = (
        "id, name, type, ra, dec, majax, minax, pa, vmag, bmag, messier, ngc, ic, commonnames, identifiers"
    )
    database = sqlite3.connect(file)
    database.execute(f"CREATE TABLE objects ({columns})")
    database.execute("CREATE TABLE objTypes (type, typedesc)")
    database.commit()
    with pytest.raises(catalogue.CatalogueError, match=r"ongc\.db is empty: reinstall"):
        catalogue.find("M 31")
    database.execute("INSERT INTO objects (id, name, type) VALUES (1, 'NGC0001', 'G')")
    database.execute("INSERT INTO objTypes VALUES ('G', 'Galaxy')")
    database.commit()
    database.close()
    with pytest.raises(ValueError, match="NGC 1 has no place in the catalogue: give its right ascension"):
        catalogue.find("NGC 1")
    assert len(catalogue.all_objects()) == 0


def test_a_missing_package_is_said(fresh, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(catalogue.CatalogueError, match="not installed: reinstall the package pyongc"):
        catalogue.find("M 31")


def test_credit_and_light_import():
    assert "OpenNGC" in catalogue.CREDIT
    assert "CC BY-SA 4.0" in catalogue.CREDIT
    code = (
        "import sys; from workbook import catalogue; catalogue.find('M 31');"
        "print([name for name in ('pyongc', 'astropy', 'pandas', 'matplotlib') if name in sys.modules])"
    )
    root = Path(__file__).parent.parent
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root, check=True)
    assert done.stdout.strip() == "[]"
