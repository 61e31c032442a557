"""TOML in: a passport from a file, a text or a scenario, or all the faults of it at once."""

from __future__ import annotations

import functools
import os
from pathlib import Path

from workbook import scenarios
from workbook.passport.fields import FIELDS, SECTIONS, keys_of
from workbook.passport.record import Passport
from workbook.passport.schema import Entry, Fault, PassportError
from workbook.passport.statements import Statement, statements, whole_text_fault
from workbook.passport.validate import check_entry, cross_faults
from workbook.passport.words import CLOSE, likeness, nearest

SCENARIOS: tuple[str, ...] = scenarios.NAMES
_PARTS = ("value", "sigma", "measured")


def find(file_or_scenario: str | os.PathLike) -> Passport:
    """A scenario by its name, or a passport by its file."""
    name = os.fspath(file_or_scenario)
    if name in SCENARIOS:
        return scenario(name)
    if Path(name).suffix or os.sep in name or "/" in name or os.path.lexists(name):
        return load(name)
    text = f"neither a file nor a scenario: the nearest scenario is {nearest(name, SCENARIOS)}"
    raise PassportError([Fault(None, "", f"{text} (there are {', '.join(SCENARIOS)})")], name or "no name")


@functools.cache
def scenario(name: str) -> Passport:
    """One of the invented demo passports that come with the workbook: see SCENARIOS.

    >>> scenario("balcony")["optics.focal_mm"]
    320.0
    """
    if name not in SCENARIOS:
        text = (
            f"no such scenario: the nearest is {nearest(name, SCENARIOS)} (there are {', '.join(SCENARIOS)})"
        )
        raise PassportError([Fault(None, "", text)], str(name) or "no name")
    return _passport(scenarios.text(name), name=name, source=f"{name}.toml", path=None)


def load(path: str | os.PathLike) -> Passport:
    """The passport in a TOML file."""
    path = Path(path)
    return _passport(_text_of(path), name=path.stem, source=str(path), path=path)


def loads(text: str, *, source: str = "text") -> Passport:
    """The passport in a TOML text; `source` is what messages call it."""
    return _passport(text, name=Path(source).stem or source, source=source, path=None)


def _text_of(path: Path) -> str:
    def fault(text, line=None):
        return PassportError([Fault(line, "", text)], str(path))

    try:
        content = path.read_bytes()
    except IsADirectoryError:
        raise fault("this is a folder: give the file inside it, such as my-rig.toml") from None
    except FileNotFoundError:
        others = sorted(other.name for other in path.parent.glob("*.toml")) if path.parent.is_dir() else []
        cure = (
            f"the nearest in that folder is {nearest(path.name, others)}"
            if others
            else "check name and folder"
        )
        raise fault(f"no such file: {cure}, or take a scenario: {', '.join(SCENARIOS)}") from None
    except PermissionError:
        cure = "this is a folder" if path.is_dir() else "ask its owner for the right to read, or copy it"
        raise fault(f"may not be read: {cure}") from None
    except (OSError, ValueError) as error:
        raise fault(f"cannot be read: {getattr(error, 'strerror', None) or error}") from error
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise fault("this is no UTF-8 text: save it again with the encoding UTF-8", line) from None


def _passport(text: str, *, name: str, source: str, path: Path | None) -> Passport:
    reading = _Reading(text)
    if reading.faults:
        raise PassportError(sorted(reading.faults, key=lambda fault: fault.line or 0), source)
    return Passport(name, reading.entries, source, text, path)


class _Reading:
    """One pass over a text: the entries that are fine, and all faults."""

    def __init__(self, text: str):
        self.entries: dict[str, Entry] = {}
        self.faults: list[Fault] = []
        self.lines: dict[tuple[str, ...], int] = {}  # of sections and keys
        self.data: dict[str, dict] = {}
        self.excused: set[str] = set()  # fields whose fault has been told already
        self.last_line = text.rstrip().count("\n") + 1
        found = statements(text)
        for statement in found:
            self._place(statement)
        if not found:
            cure = f"start from a copy of a scenario: {', '.join(SCENARIOS)}"
            self.faults.append(Fault(self.last_line, "", f"there is nothing in it: {cure}"))
            return
        self._check_sections()
        for section in SECTIONS:
            self._check_values(section)
        for section in SECTIONS:  # a misplaced or misspelt key further down is not missing too
            self._check_missing(section)
        self._cross()
        if not self.faults and (fault := whole_text_fault(text)):
            self.faults.append(Fault(fault[0] or self.last_line, "", fault[1]))

    def _place(self, statement: Statement) -> None:
        """Put what one statement says into `data`, by section and key."""
        line, path = statement.line, statement.path
        if statement.header and path:
            if path in self.lines and len(path) == 1:
                text = f"this section stands twice, first in line {self.lines[path]}: put both into one"
                self.faults.append(Fault(line, path[0], text))
            self.lines.setdefault(path[:1], line)
            if statement.data is None or any(isinstance(part, list) for part in statement.data.values()):
                text = statement.fault or f"written with double brackets: write [{path[0]}]"
                self.faults.append(Fault(line, path[0], text))
            nested = {}
        elif statement.data is None:
            name = ".".join((*path, statement.key)).strip(".")
            self.excused.add(name)
            self.faults.append(Fault(line, name, statement.fault))
            return
        else:
            nested = statement.data
        for part in reversed(path):
            nested = {part: nested}
        for section, body in nested.items():
            self._place_section(section, body, line)

    def _place_section(self, section: str, body, line: int) -> None:
        if not isinstance(body, dict):
            homes = [name for name in SECTIONS if section in keys_of(name)]
            cure = (
                f"it belongs under {' or '.join(f'[{home}]' for home in homes)}"
                if homes
                else "put it under one"
            )
            self.faults.append(Fault(line, section, f"stands outside all sections: {cure}"))
            self.excused.update(f"{home}.{section}" for home in homes)
            return
        self.lines.setdefault((section,), line)
        place = self.data.setdefault(section, {})
        for key, value in body.items():
            first = self.lines.setdefault((section, key), line)
            if key not in place:
                place[key] = value
            elif (
                isinstance(value, dict)
                and isinstance(place[key], dict)
                and not value.keys() & place[key].keys()
            ):
                place[key] = place[key] | value
            else:
                text = f"stands twice, first in line {first}: keep one of the two"
                self.faults.append(Fault(line, f"{section}.{key}", text))

    def _check_sections(self) -> None:
        for section in [name for name in self.data if name not in SECTIONS]:
            likely, line = nearest(section, SECTIONS), self.lines[section,]
            text = f"unknown section, the nearest valid name is [{likely}]"
            self.faults.append(Fault(line, section, text))
            if likely not in self.data and likeness(section, likely) >= CLOSE:
                self.data[likely] = self.data[section]
                for place in [place for place in self.lines if place[0] == section]:
                    self.lines[likely, *place[1:]] = self.lines[place]
                self.excused |= {likely + name.removeprefix(section) for name in self.excused}

    def _check_values(self, section: str) -> None:
        for key, value in self.data.get(section, {}).items():
            if f"{section}.{key}" in FIELDS:
                self._check_value(f"{section}.{key}", value, self.lines[section, key])
            else:
                self._unknown_key(section, key, self.lines[section, key])

    def _check_missing(self, section: str) -> None:
        missing = [
            FIELDS[f"{section}.{key}"] for key in keys_of(section) if key not in self.data.get(section, ())
        ]
        needed = [field for field in missing if not field.optional and field.name not in self.excused]
        if section not in self.data:
            text = f"this section is missing: add [{section}] with {', '.join(field.key for field in needed)}"
            self.faults.append(Fault(self.last_line, section, text))
            return
        for field in needed:
            where = f"add {field.key} = … under [{section}]"
            text = f"missing: {where}, {field.meaning}; allowed {field.allowed()}"
            self.faults.append(Fault(self.lines[section,], field.name, text))
        self.entries |= {field.name: Entry("", 0.0, None) for field in missing if field.optional}

    def _check_value(self, name: str, value, line: int) -> None:
        parts = value if isinstance(value, dict) else {"value": value}
        texts = [
            f"{part}: unknown part of a value, the nearest valid name is {nearest(part, _PARTS)}"
            for part in parts
            if part not in _PARTS
        ]
        if "value" in parts:
            known = {part: parts[part] for part in _PARTS if part in parts}
            entry, wrong = check_entry(FIELDS[name], **known)
            texts += wrong
            if entry is not None:
                self.entries[name] = entry
        else:
            cure = "write { value = …, sigma = …, measured = … }, or the value alone"
            texts.append(f"received {' and '.join(parts) or 'an empty table'} without a value: {cure}")
        self.faults += [Fault(line, name, text) for text in texts]

    def _unknown_key(self, section: str, key: str, line: int) -> None:
        homes = [name for name in SECTIONS if key in keys_of(name)]
        if homes:
            text = f"does not belong here: put it under {' or '.join(f'[{home}]' for home in homes)}"
            self.excused.update(f"{home}.{key}" for home in homes)
        else:
            likely = nearest(key, keys_of(section))
            text = f"unknown key, the nearest valid name is {section}.{likely}"
            if likeness(key, likely) >= CLOSE:
                self.excused.add(f"{section}.{likely}")
        self.faults.append(Fault(line, f"{section}.{key}", text))

    def _cross(self) -> None:
        for name, text in cross_faults(self.entries):
            self.faults.append(Fault(self.lines[tuple(name.split("."))], name, text))
