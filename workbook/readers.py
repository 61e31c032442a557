"""A series from a plain CSV file: a time and two errors, in columns that you name."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

SEPARATORS = (";", "\t", ",")  # in this order: a semicolon leaves the comma free for decimals


@dataclass(frozen=True, eq=False)
class Series:
    """Two errors over time: times [s], errors in right ascension and in declination [″], rows left out."""

    times_s: np.ndarray
    ra_arcsec: np.ndarray
    dec_arcsec: np.ndarray
    left_out: int

    def __len__(self) -> int:
        return self.times_s.size


def read_series(path, *, time, ra, dec, arcsec_per_unit=1.0) -> Series:
    """Read a table of a time and two errors.

    Parameters
    ----------
    path : path
        A text file of lines with commas, semicolons or tabs between the cells. The first line that is neither empty
        nor opens with # names the columns.
    time, ra, dec : str
        Names of the columns: time in seconds, and the two errors.
    arcsec_per_unit : float
        One unit of the errors in arcseconds: 1 where the file holds arcseconds (the default, the unit of this
        workbook), the image scale where it holds pixels.

    Returns
    -------
    Series
        Times, both errors, and how many rows were left out because a cell of theirs was empty (no star found).

    Raises
    ------
    ValueError
        If a column is missing or there twice, a cell is no number, times do not rise, or fewer than two rows hold
        numbers. The message names file and line.

    Notes
    -----
    With semicolons or tabs between the cells a comma is read as the decimal sign.
    """
    if not (isinstance(arcsec_per_unit, (int, float)) and 0 < arcsec_per_unit < float("inf")):
        raise ValueError(f"arcsec_per_unit must be above 0, received {arcsec_per_unit!r}: 1 means arcseconds")
    path, wanted = Path(path), {"time": time, "ra": ra, "dec": dec}
    if len(set(wanted.values())) < len(wanted):
        raise ValueError(
            f"time, ra and dec must be three different columns, received {time!r}, {ra!r} and {dec!r}"
        )
    text = path.read_bytes()
    try:
        lines = text.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        line = text[: error.start].count(b"\n") + 1
        raise ValueError(
            f"{path.name}, line {line}: not plain text in UTF-8: save the table as CSV"
        ) from error
    places, separator, rows, left_out = None, ",", [], 0
    for number, line in enumerate(lines, start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        where = f"{path.name}, line {number}"
        if places is None:
            separator = next((mark for mark in SEPARATORS if mark in line), ",")
            places = _places(_cells(line, separator), wanted, where)
            continue
        cells = _cells(line, separator)
        row = [_value(cells, places[key], wanted[key], separator, where) for key in wanted]
        if None in row:
            left_out += 1
            continue
        if rows and row[0] <= rows[-1][0]:
            raise ValueError(
                f"{where}: times must rise, received {row[0]:g} s after {rows[-1][0]:g} s: "
                "does a second night begin here? Put it into a file of its own"
            )
        rows.append(row)
    if places is None:
        raise ValueError(
            f"{path.name} is empty: the first line must name the columns, such as {time},{ra},{dec}"
        )
    if len(rows) < 2:
        raise ValueError(f"{path.name} holds {len(rows)} rows of numbers: two or more are needed")
    times, *errors = np.array(rows).T
    return Series(times, *(arcsec_per_unit * error for error in errors), left_out)


def _cells(line, separator):
    return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]


def _places(names, wanted, where):
    """The position of each wanted column."""
    for key, name in wanted.items():
        if names.count(name) != 1:
            fault = "is not there" if name not in names else "is there twice"
            raise ValueError(
                f"{where}: the column {name!r} for {key} {fault}; the columns are {', '.join(map(repr, names))}"
            )
    return {key: names.index(name) for key, name in wanted.items()}


def _value(cells, place, name, separator, where):
    """The number in a cell, None where it is empty."""
    if place >= len(cells):
        raise ValueError(
            f"{where}: only {len(cells)} cells, the column {name!r} is missing: is the line cut off?"
        )
    text = cells[place]
    if text == "":
        return None
    plain = text.replace(",", ".") if separator != "," else text
    try:
        value = float(plain)
    except ValueError:
        value = None
    if value is None or not np.isfinite(value):
        raise ValueError(f"{where}: {name!r} must be a number, received {text!r}")
    return value
