"""The ground floor: constants against their sources, the guards and their wording, the unit suffixes."""

import subprocess
import sys
from pathlib import Path

import erfa
import numpy as np
import pytest
from astropy import units as u
from support import assert_broadcasts, assert_row, rows

from workbook import checks, constants, optics, sky, units

ROOT = Path(__file__).parents[1]


# Constants


def test_sidereal_rate():
    """Source: ERFA's Earth rotation angle (IAU 2000) over one day; 1e-6 ″/s is the last printed digit."""
    turn = (erfa.era00(2461000.5, 1.0) - erfa.era00(2461000.5, 0.0)) % (2 * np.pi) + 2 * np.pi
    np.testing.assert_allclose(constants.SIDEREAL_RATE_ARCSEC_S, np.degrees(turn) * 3600 / 86400, atol=1e-6)


def test_sidereal_day():
    """Source: ERFA's Greenwich mean sidereal time (IAU 1982, Aoki et al.) over a day; half the last digit."""
    turn = (erfa.gmst82(2461000.5, 1.0) - erfa.gmst82(2461000.5, 0.0)) % (2 * np.pi) + 2 * np.pi
    np.testing.assert_allclose(constants.SIDEREAL_DAY_S, 86400 * 2 * np.pi / turn, atol=1e-5)


def test_rate_and_day_rows():
    """Source: reference rows AST-20 and AST-21; half the last printed digit of the constants."""
    night = rows("night.csv")
    assert_row(night["AST-20"], constants.SIDEREAL_RATE_ARCSEC_S)
    assert_row(night["AST-21"], constants.SIDEREAL_DAY_S)


def test_plain_ratios():
    """Derivation: degrees in a radian; √(8 ln 2)."""
    np.testing.assert_allclose(constants.ARCSEC_PER_RAD, (1 * u.rad).to_value(u.arcsec), rtol=1e-14)
    assert (constants.ARCMIN_PER_DEG, constants.ARCSEC_PER_DEG) == (60, 3600)
    half = np.exp(-0.5 * (constants.GAUSSIAN_FWHM_PER_SIGMA / 2) ** 2)
    np.testing.assert_allclose(half, 0.5, rtol=1e-14)


def test_air_density():
    """Source: ISO 2533: 101,325 Pa, 15 °C, gas constant 287.05287 J/(kg K); half the last digit."""
    np.testing.assert_allclose(constants.AIR_DENSITY_KG_M3, 101325 / (287.05287 * 288.15), atol=5e-4)


def test_garstang_is_a_magnitude_scale():
    """Derivation: 0.92104 is ln(10)/2.5 = 0.921034 by Pogson; Garstang printed it one unit high."""
    np.testing.assert_allclose(constants.GARSTANG_SLOPE, np.log(10) / 2.5, atol=1e-5)


def test_photons_of_vega():
    """Source: reference row PHO-02; the reference sky is a dark country sky by any table, 21 to 22 mag/″²."""
    assert_row(rows("light.csv")["PHO-02"], constants.VEGA_PHOTONS_S_M2["V"])
    assert 21 < constants.REFERENCE_SKY_MAG_ARCSEC2 < 22


# Guards


@pytest.mark.parametrize("value", [3, 3.0, np.int64(3), np.float32(3), np.array(3)])
def test_a_number_comes_back_as_a_float(value):
    back = checks.number("focal_mm", value)
    assert type(back) is float
    assert back == 3


def test_lists_come_back_as_arrays():
    np.testing.assert_array_equal(checks.positive("focal_mm", [1, 2]), np.array([1.0, 2.0]))
    assert checks.positive("focal_mm", np.ones((2, 3), int)).shape == (2, 3)


def test_nan_passes_every_guard():
    for guard in (checks.number, checks.positive, checks.not_negative, checks.fraction):
        assert np.isnan(guard("focal_mm", np.nan))
        np.testing.assert_array_equal(guard("focal_mm", [np.nan, 0.5]), [np.nan, 0.5])
    assert np.isnan(checks.between("focal_mm", np.nan, 0, 1))


def test_ends_of_a_range_are_allowed():
    assert checks.not_negative("focal_mm", 0) == 0
    assert (checks.fraction("duty", 0), checks.fraction("duty", 1)) == (0, 1)
    assert (checks.between("dec_deg", -90, -90, 90), checks.between("dec_deg", 90, -90, 90)) == (-90, 90)
    assert checks.chosen("band", "V", ["V", "R"]) == "V"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: checks.positive("focal_mm", 0), r"^focal_mm must be above 0 mm, received 0 mm$"),
        (lambda: checks.positive("focal_mm", -2, cure="turn it"), r"^focal_mm .* received -2 mm: turn it$"),
        (lambda: checks.positive("focal_mm", [1, -3, 2]), r"received -3 mm"),
        (lambda: checks.positive("focal_mm", np.inf), r"received inf mm"),
        (lambda: checks.positive("focal_mm", [1, np.inf]), r"received inf mm"),
        (lambda: checks.not_negative("airmass", -1), r"^airmass must be 0 or more, received -1$"),
        (lambda: checks.fraction("duty", 1.01), r"^duty must be 0 to 1, received 1.01: .*not per cent$"),
        (lambda: checks.fraction("duty", -0.01), r"^duty must be 0 to 1, received -0.01"),
        (lambda: checks.between("dec_deg", 91, -90, 90), r"^dec_deg must be -90 to 90 °, received 91 °$"),
        (lambda: checks.between("dec_deg", -91, -90, 90), r"received -91 °$"),
        (lambda: checks.chosen("band", "X", ["V", "R"]), r"^band must be one of 'V', 'R', received 'X'$"),
    ],
)
def test_impossible_values(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize("value", ["12", b"12", None, True, {}, ["a"], [[1], [1, 2]], object()])
def test_wrong_kinds(value):
    with pytest.raises(TypeError, match=r"focal_mm must be a number.* in mm, received"):
        checks.positive("focal_mm", value)


# Units


def test_every_suffix_is_a_unit_astropy_knows():
    for suffix, unit in units.SUFFIXES.items():
        assert unit.label, f"{suffix} has no label"
        if unit.astropy:
            u.Unit(unit.astropy)


def test_one_suffix_for_each_unit():
    """The two exceptions spell electron and hour out, where a function of that name returns them."""
    spelled = {"electrons_s_px": "e_s_px", "hours": "h"}
    labels = [unit.label for suffix, unit in units.SUFFIXES.items() if suffix not in spelled]
    assert len(set(labels)) == len(labels)
    assert all(units.SUFFIXES[long] == units.SUFFIXES[short] for long, short in spelled.items())


@pytest.mark.parametrize(
    ("name", "suffix", "label"),
    [
        ("sky_mag_arcsec2", "mag_arcsec2", "mag/″²"),
        ("dark_e_s_px", "e_s_px", "e⁻/s/px"),
        ("star_e_s", "e_s", "e⁻/s"),
        ("sub_s", "s", "s"),
        ("wind_m_s", "m_s", "m/s"),
        ("SIDEREAL_RATE_ARCSEC_S", "arcsec_s", "″/s"),
        ("airmass", None, ""),
        ("f_ratio", None, ""),
        ("mm", None, ""),
    ],
)
def test_suffix_is_the_longest_that_fits(name, suffix, label):
    assert units.suffix_of(name) == suffix
    assert units.unit_of(name) == label


def test_quantities_in_any_unit():
    """Source: reference row SAM-01, given in metres and inches by astropy."""
    scale = units.with_quantities(optics.image_scale_arcsec_px)
    value = scale(pixel_um=3.76e-6 * u.m, focal_mm=(250 / 25.4) * u.imperial.inch)
    assert value.unit == u.Unit("arcsec / pix")
    assert_row(rows("light.csv")["SAM-01"], value.value)
    np.testing.assert_allclose(scale(pixel_um=3.76, focal_mm=25 * u.cm).value, value.value, rtol=1e-12)


def test_a_result_without_an_astropy_unit_stays_a_number():
    glow = units.with_quantities(sky.nanolambert_nl)(sky_mag_arcsec2=21.587)
    assert not isinstance(glow, u.Quantity)


def test_quantities_that_do_not_fit():
    scale = units.with_quantities(optics.image_scale_arcsec_px)
    with pytest.raises(TypeError, match=r"focal_mm must be convertible to mm, received 3.0 s"):
        scale(pixel_um=3.76, focal_mm=3 * u.s)
    with pytest.raises(TypeError, match="airmass takes a plain number"):
        units.with_quantities(sky.transmission)(extinction_mag=0.2, airmass=2 * u.m)


def test_units_load_astropy_only_in_the_adapter():
    code = "import sys, workbook.units, workbook.checks, workbook.constants; print('astropy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


# The helpers of the tests themselves


def test_broadcast_helper_sees_a_function_that_is_not_one():
    with pytest.raises(AssertionError):
        assert_broadcasts(lambda a_mm: 2.0, a_mm=1.5)  # swallows NaN and shapes
    with pytest.raises(AssertionError, match="NaN"):
        assert_broadcasts(lambda a_mm: np.nan_to_num(np.asarray(a_mm, float)), a_mm=1.5)


def test_reference_rows_are_complete():
    """A head that names source, date, copier and licence; a source and a tolerance in each row."""
    files = sorted((ROOT / "tests" / "reference").glob("*.csv"))
    assert files
    index = (ROOT / "tests" / "reference" / "README.md").read_text(encoding="utf-8")
    for file in files:
        head = "".join(l for l in file.read_text(encoding="utf-8").splitlines() if l.startswith("#")).lower()
        for word in ("source", "date read", "copied by", "units", "licence"):
            assert word in head, f"{file.name}: the head does not say {word!r}"
        assert file.name in index, f"{file.name} is missing in the index"
        for row in rows(file.name).values():
            assert row["source"].strip(), f"{file.name} {row['id']}: no source"
            assert row["tolerance"] >= 0, f"{file.name} {row['id']}: no tolerance"


def test_broken_reference_files_are_refused(tmp_path, monkeypatch):
    head = "id,what,inputs,expected,tolerance,unit,source\n"
    monkeypatch.setattr("support.REFERENCE", tmp_path)
    for text, message in [
        ("id,value\nA,1\n", "must have the columns"),
        (head + "A,w,i,1,1,mm,s\nA,w,i,1,1,mm,s\n", "holds A twice"),
        (head + "A,w,i,1,1,mm,s,too many\n", "a cell too many"),
        (head + "A,w,i,1,1,mm\n", "too few"),
    ]:
        (tmp_path / "bad.csv").write_text(text, encoding="utf-8")
        with pytest.raises(ValueError, match=message):
            rows("bad.csv")
