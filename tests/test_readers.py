"""A plain table of a time and two errors, and every fault in it named with its line."""

from __future__ import annotations

import numpy as np
import pytest

from workbook import readers

NAMES = {"time": "t", "ra": "x", "dec": "y"}


def read(tmp_path, text, **how):
    path = tmp_path / "series.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return readers.read_series(path, **NAMES | how)


def check(found, times, ra, dec):
    np.testing.assert_allclose(found.times_s, times)
    np.testing.assert_allclose(found.ra_arcsec, ra)
    np.testing.assert_allclose(found.dec_arcsec, dec)


@pytest.mark.parametrize(
    "text",
    [
        "t,x,y\n0,1,2\n2.5,-1,0.5\n",
        "t;x;y\n0;1;2\n2,5;-1;0,5\n",
        "t\tx\ty\n0\t1\t2\n2.5\t-1\t.5\n",
        "# measured on the balcony\n\n y , note, t,x\n2,\"wind, gusts\",0,1\n# a comment\n0.5,,2.5,-1\n",
        "\ufefft,x,y\r\n0,1,2\r\n2.5,-1,5e-1\r\n",
    ],
)  # fmt: skip
def test_tables_of_all_shapes(tmp_path, text):
    """By hand: commas, semicolons with decimal commas, tabs; any order of columns, comments, a byte-order mark."""
    check(read(tmp_path, text), [0, 2.5], [1, -1], [2, 0.5])


def test_pixels_become_arcseconds(tmp_path):
    found = read(tmp_path, "t,x,y\n0,1,2\n1,3,4", arcsec_per_unit=2.256)
    check(found, [0, 1], [2.256, 6.768], [4.512, 9.024])
    assert len(found) == 2


def test_rows_without_a_star_are_counted(tmp_path):
    found = read(tmp_path, "t,x,y\n0,1,2\n1,,\n2,5,\n3,3,4")
    check(found, [0, 3], [1, 3], [2, 4])
    assert found.left_out == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "t,x\n0,1\n1,2",
            r"series\.csv, line 1: the column 'y' for dec is not there; the columns are 't', 'x'",
        ),
        ("#\n\nt,x,y,x\n0,1,2,3", r"line 3: the column 'x' for ra is there twice"),
        ("t,x,y\n0,1,2\n1,two,3", r"line 3: 'x' must be a number, received 'two'"),
        ("t,x,y\n0,1,2\n1,nan,3", r"line 3: 'x' must be a number, received 'nan'"),
        ("t,x,y\n0,1,2\n1,3", r"line 3: only 2 cells, the column 'y' is missing: is the line cut off\?"),
        (
            "t,x,y\n0,1,2\n\n5,1,1\n3,1,1",
            r"line 5: times must rise, received 3 s after 5 s: does a second night",
        ),
        ("t,x,y\n1,1,1\n1,2,2", r"line 3: times must rise, received 1 s after 1 s"),
        ("t,x,y\n0,1,2\n", r"series\.csv holds 1 rows of numbers: two or more"),
        ("# nothing\n", r"series\.csv is empty: the first line must name the columns, such as t,x,y"),
        ("t,x,y\n0,1,2\n1,\xb5,3".encode("latin-1"), r"line 3: not plain text in UTF-8"),
        ("t,x,y\n0,1,2\n1,2,5,3\n2,1,1", None),
    ],
)
def test_faults_name_their_line(tmp_path, text, words):
    if words is None:  # more cells than names: the named ones count
        check(read(tmp_path, text), [0, 1, 2], [1, 2, 1], [2, 5, 1])
        return
    with pytest.raises(ValueError, match=words):
        read(tmp_path, text)


def test_arguments(tmp_path):
    with pytest.raises(ValueError, match="must be three different columns, received 't', 't' and 'y'"):
        read(tmp_path, "t,x,y\n0,1,2\n1,1,1", ra="t")
    for bad in (0, -1, "px", float("inf")):
        with pytest.raises(ValueError, match="arcsec_per_unit must be above 0"):
            read(tmp_path, "t,x,y\n0,1,2\n1,1,1", arcsec_per_unit=bad)
