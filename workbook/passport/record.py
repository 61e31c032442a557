"""The passport itself: a frozen record of entries that answers, draws and replaces."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

import numpy as np

from workbook.passport.fields import FIELDS
from workbook.passport.schema import UNKNOWN_DIRECTION_SIGMA_DEG, Entry, Fault, Field, PassportError
from workbook.passport.validate import check_entry, cross_faults
from workbook.passport.words import nearest


def describe(key: str) -> str:
    """One field in words: its meaning, its unit and what is allowed.

    >>> describe("optics.aperture_mm")
    'optics.aperture_mm: clear diameter of the front lens [mm]; allowed 10 to 1000 mm'
    """
    about = _field(key)
    unit = f" [{about.unit}]" if about.unit else ""
    return f"{key}: {about.meaning}{unit}; allowed {about.allowed()}"


@dataclass(frozen=True)
class Passport:
    """All entries of one rig, site, night and plan; made by `load`, `loads`, `scenario` or `find`.

    `name` is the scenario or the file without its ending, `source` what messages call it, `text` the TOML it
    was read from (with the owner's comments), `path` its file, None where it has none.
    """

    name: str
    entries: Mapping[str, Entry] = field(repr=False)
    source: str = field(default="text", compare=False)
    text: str = field(default="", repr=False, compare=False)
    path: Path | None = field(default=None, compare=False)

    def __post_init__(self):
        object.__setattr__(self, "entries", MappingProxyType(dict(self.entries)))

    def __hash__(self) -> int:
        return hash((self.name, tuple(self.entries.items())))

    def __reduce__(self):
        return Passport, (self.name, dict(self.entries), self.source, self.text, self.path)

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def keys(self):
        """The names of all fields, in the order of the passport."""
        return self.entries.keys()

    def __getitem__(self, key: str):
        return self.entry(key).value

    def entry(self, key: str) -> Entry:
        """Value, sigma and the day of measurement of one field."""
        _field(key)
        return self.entries[key]

    def is_measured(self, key: str) -> bool:
        """Whether the value was measured (else it is assumed)."""
        return self.entry(key).measured is not None

    def uncertain_keys(self) -> tuple[str, ...]:
        """The fields that have a spread, in the order of the passport: what a measurement could sharpen."""
        return tuple(key for key, entry in self.entries.items() if entry.sigma)

    def central(self) -> dict:
        """All values, by key."""
        return {key: entry.value for key, entry in self.entries.items()}

    def draw(self, draws: int, seed: int) -> dict:
        """Random passports: for every field with a spread an array of `draws` values, else the value itself.

        Parameters
        ----------
        draws : int
            How many passports, 1 or more.
        seed : int
            0 or more. Every field has its own random stream, made from the seed and its key: a changed spread
            leaves all others alone, and more draws continue the same series.

        Returns
        -------
        dict
            By key, in the unit of the field. Draws stay within the allowed range, and a gust is never weaker
            than the steady wind.

        Notes
        -----
        normal: value + σ z. lognormal: value · exp(s z), s² = ln(1 + (σ/value)²), so that the value is the
        median and s → σ/value for small spreads. Both are clipped to the allowed range. circle: value + σ z
        modulo 360°, uniform over 0 … 360° where σ is 104° or more. Fields are independent of each other.
        """
        for name, number, low in (("draws", draws, 1), ("seed", seed, 0)):
            if isinstance(number, bool) or not isinstance(number, (int, np.integer)):
                raise TypeError(f"{name} must be a whole number, received {number!r}")
            if number < low:
                raise ValueError(f"{name} must be {low} or more, received {number}")
        drawn = {
            key: _draw(FIELDS[key], entry, draws, seed) if entry.sigma else entry.value
            for key, entry in self.entries.items()
        }
        gust_m_s = np.maximum(drawn["night.gust_m_s"], drawn["night.wind_m_s"])
        drawn["night.gust_m_s"] = gust_m_s if gust_m_s.ndim else float(gust_m_s)
        return drawn

    def replace(self, changes: Mapping[str, object]) -> Passport:
        """A passport with some entries changed, in memory only; PassportError where the result is impossible.

        A bare value is an assumption: the spread grows with it where the field's default spread is a share
        of the value, and stays as it is elsewhere. An `Entry` brings its own spread (None: the default) and
        its own day of measurement.
        """
        entries, faults = dict(self.entries), []
        for key, change in changes.items():
            if key not in FIELDS:
                text = f"unknown field, the nearest valid name is {nearest(key, FIELDS)}"
                faults.append(Fault(None, str(key), text))
                continue
            bare = not isinstance(change, Entry)
            entry, texts = check_entry(FIELDS[key], *(Entry(change) if bare else change))
            faults += [Fault(None, key, text) for text in texts]
            if entry is not None:
                entries[key] = _carry_spread(FIELDS[key], self.entries[key], entry) if bare else entry
        faults = faults or [Fault(None, key, text) for key, text in cross_faults(entries)]
        if faults:
            raise PassportError(faults, self.source)
        return Passport(self.name, entries, self.source, self.text, self.path)

    describe = staticmethod(describe)


def _field(key: str) -> Field:
    if key not in FIELDS:
        raise KeyError(f"a passport has no field {key!r}, the nearest is {nearest(key, FIELDS)!r}")
    return FIELDS[key]


def _carry_spread(about: Field, old: Entry, new: Entry) -> Entry:
    """The new value with the old spread, in proportion where the spread is a share of the value."""
    if not about.has_sigma:
        return new
    if not about.relative:
        return new._replace(sigma=old.sigma)
    if not old.value:
        return new
    return new._replace(sigma=min(old.sigma * abs(new.value / old.value), about.high - about.low))


def _draw(about: Field, entry: Entry, draws: int, seed: int) -> np.ndarray:
    stream = np.random.SeedSequence(int(seed), spawn_key=(zlib.crc32(about.name.encode()),))
    random = np.random.default_rng(stream)
    if about.shape == "circle":
        if entry.sigma >= UNKNOWN_DIRECTION_SIGMA_DEG:
            return random.uniform(0.0, 360.0, draws)
        return (entry.value + entry.sigma * random.standard_normal(draws)) % 360.0
    z = random.standard_normal(draws)
    if about.shape == "lognormal":
        numbers = entry.value * np.exp(math.sqrt(math.log1p((entry.sigma / entry.value) ** 2)) * z)
    else:
        numbers = entry.value + entry.sigma * z
    return np.clip(numbers, about.low, about.high)
