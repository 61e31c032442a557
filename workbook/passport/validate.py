"""Is one entry possible, and do the entries fit each other? Faults come back as text, nothing is raised."""

from __future__ import annotations

import datetime
import itertools
import math
import reprlib
from collections.abc import Mapping
from numbers import Real

import numpy as np

from workbook.constants import LAST_EVENING, SIDEREAL_DAY_S
from workbook.passport.schema import Entry, Field

GEAR_PERIOD_AGREEMENT = 0.01  # a counted number of teeth and a timed period agree far better than 1 %
HORIZON_BOUNDS_DEG = ((0, 360), (-10, 90))  # azimuth; altitude, below 0 from a hill or a cliff
FIRST_DATE = datetime.date(2000, 1, 1)  # of a plan: an earlier one is a slip
WIDEST_LOGNORMAL = 10  # a wider spread spans two powers of ten either way: that is no knowledge at all


def check_entry(field: Field, value, sigma=None, measured=None) -> tuple[Entry | None, list[str]]:
    """The entry as the passport keeps it, or None and what is wrong with it."""
    value, faults = _VALUES[field.kind](field, value)
    if measured is not None and not _is_date(measured):
        faults.append(f"measured: received {shown(measured)}, expected {_DATE_WORDS}")
    if sigma is None:
        return (None, faults) if faults else (Entry(value, field.default_sigma(value), measured), [])
    faults += _sigma_faults(field, value, sigma)
    return (None, faults) if faults else (Entry(value, float(sigma), measured), [])


def cross_faults(entries: Mapping[str, Entry]) -> list[tuple[str, str]]:
    """Key and text of every fault between entries that are fine by themselves; missing ones are left out."""

    def both(first, second):
        return (entries[first].value, entries[second].value) if {first, second} <= entries.keys() else None

    faults = []
    if pair := both("drive.gear_teeth", "drive.gear_period_s"):
        teeth, period_s = pair
        turn_s = SIDEREAL_DAY_S / teeth
        if abs(period_s / turn_s - 1) > GEAR_PERIOD_AGREEMENT:
            faults.append(
                (
                    "drive.gear_period_s",
                    f"received {period_s:g} s, but {teeth} teeth make one turn of the worm "
                    f"{SIDEREAL_DAY_S:.2f} s / {teeth} = {turn_s:.1f} s (allowed within 1 %): "
                    f"count the teeth and time the turn again, or write {turn_s:.1f}",
                )
            )
    if (pair := both("night.wind_m_s", "night.gust_m_s")) and pair[1] < pair[0]:
        text = f"received {pair[1]:g} m/s, below the steady wind of {pair[0]:g} m/s"
        faults.append(
            ("night.gust_m_s", f"{text}: a gust is at least as strong as the wind, were the two swapped?")
        )
    if (pair := both("power.mount_lowest_v", "power.mount_highest_v")) and pair[1] <= pair[0]:
        text = f"received {pair[1]:g} V, not above the lowest voltage of {pair[0]:g} V"
        faults.append(("power.mount_highest_v", f"{text}: were the two swapped?"))
    if (pair := both("camera.adc_bits", "camera.file_bits")) and pair[1] < pair[0]:
        text = f"received {pair[1]}, but the camera's own converter has {pair[0]} bits"
        faults.append(("camera.file_bits", f"{text}: a file needs as many at least, 16 is usual"))
    return faults


def shown(value) -> str:
    """A received value as its owner wrote it, shortened where it is long."""
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'the text "{value if len(value) <= 40 else value[:37] + "…"}"'
    if isinstance(value, datetime.date | datetime.time):
        return str(value)
    return f"{value:.7g}" if isinstance(value, float) else reprlib.repr(value)


_DATE_WORDS = "a date alone, year-month-day without quotes, such as 2026-10-10"


def _is_date(value) -> bool:
    return isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)


def _as_float(value) -> float | None:
    """The number as a float, None where it is no number (infinite where it is too large for a float)."""
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, Real):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _number(field: Field, value):
    number = _as_float(value)
    if number is None:
        unit = f" in {field.unit}" if field.unit else ""
        cure = (
            "write the number alone, without quotes or unit" if isinstance(value, str) else "write a number"
        )
        return None, [f"received {shown(value)}, expected a number{unit}: {cure}"]
    if not math.isfinite(number):
        return None, [
            f"received {field.with_unit(number)}, allowed {field.allowed()}: write the number itself"
        ]
    if field.kind == "whole" and not number.is_integer():
        return None, [
            f"received {field.with_unit(number)}, allowed {field.allowed()}: leave out the decimals"
        ]
    if not field.low <= number <= field.high:
        text = f"received {field.with_unit(number)}, allowed {field.allowed()}"
        return None, [f"{text}: {field.cure_for(number)}"]
    return int(number) if field.kind == "whole" else number, []


def _text(field: Field, value):
    if not isinstance(value, str):
        return None, [f'received {shown(value)}, expected text: put it in quotes, {field.key} = "…"']
    if not value.strip() and not field.optional:
        return None, [f"received an empty text: write {field.meaning}"]
    return str(value), []


def _choice(field: Field, value):
    if isinstance(value, str) and value in field.options:
        return str(value), []
    return None, [f"received {shown(value)}, allowed {field.allowed()}: write one of these, in quotes"]


def _bool(field: Field, value):
    if isinstance(value, (bool, np.bool_)):
        return bool(value), []
    return None, [
        f"received {shown(value)}, allowed true or false: write it in small letters, without quotes"
    ]


def _date(field: Field, value):
    if not _is_date(value):
        return None, [f"received {shown(value)}, expected {_DATE_WORDS}"]
    if not FIRST_DATE <= value <= LAST_EVENING:
        return None, [
            f"received {value}, allowed {FIRST_DATE} to {LAST_EVENING}: write the evening of the night"
        ]
    return datetime.date(value.year, value.month, value.day), []


def _table(field: Field, value):
    rows = value.tolist() if isinstance(value, np.ndarray) else value
    is_horizon = field.key == "horizon_deg"
    fewest = 1 if is_horizon else 2
    if not isinstance(rows, (list, tuple)) or len(rows) < fewest:
        return None, [f"received {shown(rows)}, expected {field.allowed()}, at least {fewest}: {field.cure}"]
    bounds = HORIZON_BOUNDS_DEG if is_horizon else ((field.low, field.high),) * 2
    faults, pairs = [], []
    for count, row in enumerate(rows, 1):
        pair = tuple(map(_as_float, row)) if isinstance(row, (list, tuple)) else ()
        if len(pair) != 2 or None in pair or not all(map(math.isfinite, pair)):
            text = f"pair {count}: received {shown(row)}, expected two numbers in {field.unit}"
            faults.append(f"{text}: write [a, b]")
            continue
        for place, number, (low, high) in zip(("first", "second"), pair, bounds, strict=True):
            if not low <= number <= high:
                text = f"pair {count}: received {field.with_unit(number)} as the {place} number"
                faults.append(f"{text}, allowed {low:g} to {field.with_unit(high)}: {field.cure}")
        pairs.append(pair)
    if not faults and is_horizon:
        faults = _horizon_faults([azimuth for azimuth, _ in pairs])
    return (None, faults) if faults else (tuple(pairs), [])


def _horizon_faults(azimuths) -> list[str]:
    faults = []
    for count, (before, after) in enumerate(itertools.pairwise(azimuths), 2):
        if after < before:
            text = f"pair {count}: received azimuth {after:g} ° after {before:g} °, allowed rising azimuths"
            faults.append(f"{text}: sort the pairs, and cut a view across north at 360 = 0")
    places = [azimuth % 360 for azimuth in azimuths]
    for place in sorted(set(places)):
        if places.count(place) > 2:
            text = f"received azimuth {place:g} ° {places.count(place)} times, allowed twice"
            faults.append(f"{text} (0 and 360 are the same place): a vertical edge has two ends")
    return faults


def _sigma_faults(field: Field, value, sigma) -> list[str]:
    number = _as_float(sigma)
    if number is None:
        return [f"sigma: received {shown(sigma)}, expected a number: write one standard deviation"]
    if not (math.isfinite(number) and number >= 0):
        return [f"sigma: received {field.with_unit(number)}, allowed 0 or more: write one standard deviation"]
    if number == 0:
        return []
    if not field.has_sigma:
        return [f"sigma: received {field.with_unit(number)}, but this field takes no spread: leave sigma out"]
    if number > field.high - field.low:
        text = (
            f"sigma: received {field.with_unit(number)}, wider than all that is allowed ({field.allowed()})"
        )
        return [f"{text}: write one standard deviation in the unit of the value"]
    if field.shape == "lognormal" and value is not None and number > WIDEST_LOGNORMAL * value:
        text = f"sigma: received {field.with_unit(number)}, allowed up to {WIDEST_LOGNORMAL} times the value"
        return [f"{text}: write a larger value, or leave sigma out"]
    return []


_VALUES = {
    "number": _number,
    "whole": _number,
    "text": _text,
    "choice": _choice,
    "bool": _bool,
    "date": _date,
    "table": _table,
}
