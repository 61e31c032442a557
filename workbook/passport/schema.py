"""What a field of a passport is, what an entry is, and how a fault is worded."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import NamedTuple

from workbook.units import suffix_of, unit_of

UNKNOWN_DIRECTION_SIGMA_DEG = 104.0  # a uniform circle has a standard deviation of 360 / √12 = 103.9°

# The usual slips: by unit suffix, what was perhaps given instead, its unit, and value · factor + offset.
SLIPS: dict[str | None, tuple[tuple[str, str, float, float], ...]] = {
    "mm": (("metres", "m", 1e3, 0), ("centimetres", "cm", 10, 0), ("micrometres", "µm", 1e-3, 0)),
    "um": (("millimetres", "mm", 1e3, 0), ("nanometres", "nm", 1e-3, 0)),
    "m": (("millimetres", "mm", 1e-3, 0), ("centimetres", "cm", 1e-2, 0)),
    "m2": (("square centimetres", "cm²", 1e-4, 0), ("square millimetres", "mm²", 1e-6, 0)),
    "kg": (("grams", "g", 1e-3, 0),),
    "arcsec": (("arcminutes", "′", 60, 0), ("degrees", "°", 3600, 0)),
    "arcmin": (("arcseconds", "″", 1 / 60, 0), ("degrees", "°", 60, 0)),
    "s": (("milliseconds", "ms", 1e-3, 0), ("minutes", "min", 60, 0)),
    "min": (("seconds", "s", 1 / 60, 0), ("hours", "h", 60, 0)),
    "degc": (("kelvin", "K", 1, -273.15), ("degrees Fahrenheit", "°F", 5 / 9, -160 / 9)),
    "hpa": (("pascals", "Pa", 1e-2, 0), ("kilopascals", "kPa", 10, 0)),
    "m_s": (("kilometres an hour", "km/h", 1 / 3.6, 0),),
    "v": (("millivolts", "mV", 1e-3, 0),),
    "ah": (("milliampere-hours", "mAh", 1e-3, 0),),
    "w": (("milliwatts", "mW", 1e-3, 0),),
    "wh": (("kilowatt-hours", "kWh", 1e3, 0),),
}
PER_CENT = (("per cent", "%", 1e-2, 0),)

OTHER_KINDS = {"text": "text in quotes", "bool": "true or false", "date": "a date such as 2026-10-10"}


class Entry(NamedTuple):
    """One value of a passport.

    `sigma` is one standard deviation in the unit of the field (None, where an entry is handed in: the default
    spread of the field). `measured` is the day of the measurement, None where the value is assumed.
    """

    value: float | int | str | bool | datetime.date | tuple
    sigma: float | None = None
    measured: datetime.date | None = None


class Fault(NamedTuple):
    """One fault: its line (None where there is none), the key it is about, what is wrong and the cure."""

    line: int | None
    key: str
    message: str


class PassportError(ValueError):
    """A passport that cannot be used, with all its faults at once: one line of text for each."""

    def __init__(self, faults, source: str):
        self.faults: tuple[Fault, ...] = tuple(faults)
        self.source = source
        super().__init__("\n".join(self._line_of(fault) for fault in self.faults))

    def __reduce__(self):
        return PassportError, (self.faults, self.source)

    def _line_of(self, fault: Fault) -> str:
        where = self.source if fault.line is None else f"{self.source} line {fault.line}"
        return ": ".join(part for part in (where, fault.key, fault.message) if part)


@dataclass(frozen=True)
class Field:
    """One field of a passport: its meaning, what is allowed, and the spread of a value that was not measured.

    `kind` is number, whole, text, choice, bool, date or table (a list of pairs). `shape` says how draws
    spread: "normal" (clipped to the allowed range), "lognormal" (the value is the median), "circle" (a
    direction; unknown where sigma is 104° or more) or "none" (the field takes no spread). `spread` is the
    default sigma, a share of the value where `relative`.
    """

    key: str
    kind: str
    meaning: str
    low: float = -math.inf
    high: float = math.inf
    cure: str = ""
    spread: float = 0.0
    relative: bool = False
    shape: str = "none"
    options: tuple[str, ...] = ()
    optional: bool = False
    section: str = ""

    @property
    def name(self) -> str:
        """Section and key, as in "optics.focal_mm"."""
        return f"{self.section}.{self.key}"

    @property
    def unit(self) -> str:
        """The unit as a reader sees it, "" where there is none."""
        return unit_of(self.key) if self.kind in ("number", "whole", "table") else ""

    @property
    def has_sigma(self) -> bool:
        """Whether the field takes a spread."""
        return self.shape != "none"

    def default_sigma(self, value) -> float:
        """The standard deviation of a value that was not measured."""
        if not self.has_sigma:
            return 0.0
        return self.spread * abs(value) if self.relative else self.spread

    def with_unit(self, value: float) -> str:
        """A number with its unit: "320 mm"."""
        return f"{value:.7g} {self.unit}".strip()

    def allowed(self) -> str:
        """What is allowed, in words."""
        if self.kind in ("number", "whole"):
            whole = "a whole number, " if self.kind == "whole" else ""
            return f"{whole}{self.low:g} to {self.with_unit(self.high)}"
        if self.kind == "choice":
            return " or ".join(f'"{option}"' for option in self.options)
        if self.kind == "table":
            return f"a list of pairs [a, b] in {self.unit}"
        return OTHER_KINDS[self.kind]

    def cure_for(self, value: float) -> str:
        """The likely cure for a number out of range: a slip of unit that fits, else the usual values."""
        suffix = suffix_of(self.key)
        slips = PER_CENT if suffix is None and self.high <= 1 else SLIPS.get(suffix, ())
        for words, unit, factor, offset in slips:
            if self.low < (meant := value * factor + offset) <= self.high:
                return f"did you give {words}? {value:.7g} {unit} is {self.with_unit(meant)}"
        return self.cure
