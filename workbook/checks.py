"""Input guards, and the wording of every error.

An error says which argument, what was received with its unit, what is allowed, and the likely cure.
Guards return the value as a float or a float array, so that lists and ints are welcome everywhere.
NaN passes: NaN in, NaN out.
"""

from __future__ import annotations

import numpy as np

from workbook.units import unit_of


def number(name: str, value):
    """The value as a float (scalar in) or a float array (longer); TypeError where it is no number."""
    if isinstance(value, float):
        return value
    if isinstance(value, (bool, str, bytes)) or value is None:
        raise TypeError(f"{name} must be a number{_in_unit(name)}, received {value!r}")
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError) as error:
        raise TypeError(
            f"{name} must be a number or an array of numbers{_in_unit(name)}, received {value!r}"
        ) from error
    return float(array) if array.ndim == 0 else array


def positive(name: str, value, *, cure: str = ""):
    """The value, refused where it is zero or less."""
    return _guard(name, value, lambda v: v > 0, "above 0", cure)


def not_negative(name: str, value, *, cure: str = ""):
    """The value, refused where it is below zero."""
    return _guard(name, value, lambda v: v >= 0, "0 or more", cure)


def between(name: str, value, low: float, high: float, *, cure: str = ""):
    """The value, refused outside low … high (both ends allowed)."""
    return _guard(name, value, lambda v: (v >= low) & (v <= high), f"{low:g} to {high:g}", cure)


def fraction(name: str, value, *, cure: str = "give a share between 0 and 1, not per cent"):
    """The value, refused outside 0 … 1."""
    return _guard(name, value, lambda v: (v >= 0) & (v <= 1), "0 to 1", cure)


def turned(name: str, value):
    """An hour angle in degrees: any turn within ten, so that a night may run past 180°."""
    return between(name, value, -3600, 3600, cure="in degrees, one hour of hour angle is 15°")


def chosen(name: str, value: str, options) -> str:
    """One of the named options, or a ValueError that lists them."""
    if value not in options:
        raise ValueError(f"{name} must be one of {', '.join(map(repr, options))}, received {value!r}")
    return value


def _guard(name, value, allowed, words, cure):
    value = number(name, value)
    if type(value) is float:
        if value != value or (allowed(value) and abs(value) != float("inf")):
            return value
        worst = value
    else:
        fine = np.isnan(value) | (allowed(value) & ~np.isinf(value))
        if fine.all():
            return value
        worst = value[~fine].flat[0]
    unit = unit_of(name)
    text = (
        f"{name} must be {words}{' ' + unit if unit else ''}, received {worst:g}{' ' + unit if unit else ''}"
    )
    raise ValueError(f"{text}: {cure}" if cure else text)


def _in_unit(name):
    unit = unit_of(name)
    return f" in {unit}" if unit else ""
