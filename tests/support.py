"""Small helpers shared by the tests: reference rows, and the shapes every topic function must take."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

REFERENCE = Path(__file__).parent / "reference"
COLUMNS = ["id", "what", "inputs", "expected", "tolerance", "unit", "source"]


def rows(file: str) -> dict[str, dict]:
    """The rows of a reference CSV by id, `expected` and `tolerance` as floats.

    Lines that start with # are the head: where the numbers come from, who copied them, their licence.
    """
    text = (REFERENCE / file).read_text(encoding="utf-8").splitlines()
    reader = csv.DictReader(line for line in text if line.strip() and not line.startswith("#"))
    if reader.fieldnames != COLUMNS:
        raise ValueError(f"{file} must have the columns {COLUMNS}, received {reader.fieldnames}")
    table: dict[str, dict] = {}
    for row in reader:
        if row["id"] in table:
            raise ValueError(f"{file} holds {row['id']} twice")
        if None in row or None in row.values():
            raise ValueError(f"{file}, row {row['id']}: a cell too many or too few (quote cells with commas)")
        table[row["id"]] = row | {"expected": float(row["expected"]), "tolerance": float(row["tolerance"])}
    return table


def assert_row(row: dict, value) -> None:
    """The value agrees with a reference row within the row's own tolerance."""
    np.testing.assert_allclose(
        value, row["expected"], rtol=0, atol=row["tolerance"], err_msg=f"{row['id']}: {row['source']}"
    )


def assert_broadcasts(function, **numbers) -> None:
    """Scalars, ints, lists and arrays are welcome, shapes broadcast, NaN stays NaN, no argument changes.

    `numbers` are the numeric arguments of one valid call; arguments that are no numbers belong in a partial.
    """
    alone = function(**numbers)
    assert np.ndim(alone) == 0, f"{function} gives {alone!r} for scalars"
    assert np.isfinite(alone), f"{function} at {numbers} gives {alone!r}"
    for name, value in numbers.items():
        np.testing.assert_allclose(function(**numbers | {name: [value, value]}), [alone, alone], rtol=1e-12)
        column = np.full((3, 1), float(value))
        kept = column.copy()
        others = {other: np.full(2, float(v)) for other, v in numbers.items() if other != name}
        grid = function(**others | {name: column})
        assert np.shape(grid) == ((3, 2) if others else (3, 1)), f"{name}: shape {np.shape(grid)}"
        np.testing.assert_allclose(grid, np.full(np.shape(grid), alone), rtol=1e-12)
        np.testing.assert_array_equal(column, kept, err_msg=f"{name} was changed in place")
        assert np.isnan(function(**numbers | {name: np.nan})), f"{name}: NaN in must give NaN out"
        mixed = function(**numbers | {name: np.array([float(value), np.nan])})
        np.testing.assert_allclose(mixed, [alone, np.nan], rtol=1e-12)
        if float(value).is_integer():
            np.testing.assert_allclose(function(**numbers | {name: int(value)}), alone, rtol=1e-12)
