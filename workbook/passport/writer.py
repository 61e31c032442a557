"""TOML out: the owner's comments and order stay, the write is all or nothing, the previous file is kept."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
from collections.abc import Mapping
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable, Item

from workbook.passport.fields import FIELDS, SECTIONS, keys_of
from workbook.passport.reader import load, loads
from workbook.passport.record import Passport
from workbook.passport.schema import Entry, Fault, Field, PassportError

# tomlkit loses the space between a date and the brace that closes its table (seen in 0.15).
_SPACE_LOST = re.compile(r"^([ \t]*[\w.-]+[ \t]*=[ \t]*\{ [^#\"'\n]*\d{4}-\d\d-\d\d)\}", re.MULTILINE)

PREVIOUS = ".before"  # added to the name of the file that a new one replaces


def update(path_or_passport: str | os.PathLike | Passport, measurements: Mapping[str, Entry]) -> Passport:
    """Write measurements into a passport's file, and return what the file says now.

    All else in the file stays as its owner left it: also changes that were made since the passport was read.
    What `replace` changed in memory is not written (`save` does that).
    """
    path = path_or_passport
    if isinstance(path, Passport):
        if path.path is None:
            raise _error(
                path.source, "has no file of its own: save it first, as in save(passport, 'my-rig.toml')"
            )
        path = path.path
    save(load(path).replace(measurements), path)
    return load(path)


def save(passport: Passport, path: str | os.PathLike) -> Path:
    """Write a passport with the comments and the order of the text it was read from.

    A file of that name is kept beside it as NAME.toml.before. PassportError where nothing could be written:
    then the file is as it was.
    """
    path = Path(path)
    content = _edited(passport).encode("utf-8")
    try:
        _replace_file(Path(os.path.realpath(path)), content)
    except (OSError, ValueError) as error:
        raise _error(str(path), f"cannot be written: {_cure(error, path)}; nothing was changed") from error
    return path


def share(passport: Passport) -> str:
    """A TOML text to hand on: coordinates rounded to 0.1°, the owner's comments left out.

    Comments are written anew from the table of fields, because a comment may hold what the rounding hides.
    Names, notes and the place are handed on as they are.
    """
    lines = ["# A passport to share: coordinates are rounded to 0.1°.", ""]
    for section, meaning in SECTIONS.items():
        lines += [f"[{section}]  # {meaning}"]
        for key in keys_of(section):
            field, entry = FIELDS[f"{section}.{key}"], passport.entry(f"{section}.{key}")
            if key in ("latitude_deg", "longitude_deg"):
                entry = entry._replace(value=round(entry.value, 1))
            lines.append(f"{key} = {_item(field, entry, bare=False).as_string()}  # {field.meaning}")
        lines.append("")
    return "\n".join(lines)


def _error(source: str, text: str) -> PassportError:
    return PassportError([Fault(None, "", text)], source)


def _edited(passport: Passport) -> str:
    """The passport's own text with those entries changed that differ from it."""
    written = loads(passport.text, source=passport.source).entries
    changes = {name: entry for name, entry in passport.entries.items() if entry != written[name]}
    if not changes:
        return passport.text
    try:
        document = tomlkit.parse(passport.text)
        for name, entry in changes.items():
            _set(document[FIELDS[name].section], FIELDS[name], entry)
        text = _SPACE_LOST.sub(r"\1 }", document.as_string())
    except TOMLKitError as error:
        raise _error(passport.source, f"cannot be edited: {error}") from error
    if loads(text, source=passport.source).entries != passport.entries:
        raise _error(passport.source, "cannot be edited: write each value on one line, as in focal_mm = 320")
    return text


def _set(section, field: Field, entry: Entry) -> None:
    old = section.get(field.key)
    one_line = not isinstance(old, dict) or isinstance(old, InlineTable)
    if not one_line:  # [optics.focal_mm] with its own lines, or focal_mm.value = …
        for part, value in _parts(field, entry).items():
            old[part] = value
        for part in set(old) - set(_parts(field, entry)):
            del old[part]
        return
    section[field.key] = _item(field, entry, bare=not isinstance(old, dict))


def _item(field: Field, entry: Entry, *, bare: bool) -> Item:
    """A value alone where that says all, else { value, sigma, measured }."""
    parts = _parts(field, entry)
    if list(parts) == ["value"] or (
        bare and entry.measured is None and entry.sigma == field.default_sigma(entry.value)
    ):
        return tomlkit.item(parts["value"])
    inside = ", ".join(f"{part} = {tomlkit.item(value).as_string()}" for part, value in parts.items())
    return tomlkit.value(f"{{ {inside} }}")


def _parts(field: Field, entry: Entry) -> dict:
    parts = {"value": _plain(entry.value)}
    if field.has_sigma:
        parts["sigma"] = _plain(entry.sigma)
    if entry.measured is not None:
        parts["measured"] = entry.measured
    return parts


def _plain(value):
    """A value as TOML writes it: whole numbers without decimals, pairs as lists."""
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _replace_file(path: Path, content: bytes) -> None:
    """All or nothing: the new file is complete on the disk before it takes the old one's name."""
    before = path.read_bytes() if path.exists() else None
    if before == content:
        return
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    kept = path.with_name(f".{path.name}.{os.getpid()}.kept")
    try:
        _write(new, content)
        if before is not None:
            shutil.copymode(path, new)
            _write(kept, before)
            shutil.copymode(path, kept)
            os.replace(kept, path.with_name(path.name + PREVIOUS))
        os.replace(new, path)
    finally:
        for stray in (new, kept):
            with contextlib.suppress(OSError):
                stray.unlink(missing_ok=True)


def _write(path: Path, content: bytes) -> None:
    with open(path, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _cure(error: Exception, path: Path) -> str:
    code = getattr(error, "errno", None)
    if path.is_dir():
        return "this is a folder, give a file name such as my-rig.toml"
    if code in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "you may not write in this folder, choose another one or ask its owner"
    if code in (errno.ENOSPC, errno.EDQUOT):
        return "the disk is full, free some space and try again"
    if code in (errno.ENOENT, errno.ENOTDIR):
        return "there is no such folder, make it first or choose another one"
    return getattr(error, "strerror", None) or str(error)
