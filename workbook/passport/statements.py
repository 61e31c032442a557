"""A TOML text cut into its statements, each with its line, so that every fault can be reported at once.

A TOML reader stops at the first slip. Here each statement (a section header, or one key with its value, over
as many lines as its brackets need) is read alone: one bad line does not hide the others.
"""

from __future__ import annotations

import re
import tomllib
from typing import NamedTuple

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # text over several lines
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'  # text on one line
    r"|'[^'\n]*'"
    r"|\#[^\n]*"  # comment
    r"|[^\"'\#\[\]{}\n]+"
    r"|.",  # one bracket, newline or stray quote
    re.DOTALL,
)
_NEW_STATEMENT = re.compile(r"[ \t]*(?:\[+[ \t]*[A-Za-z_][\w.-]*[ \t]*\]|[A-Za-z_][\w.-]*[ \t]*=)")
_HEADER = re.compile(r"\s*\[+\s*([A-Za-z_][\w.-]*)")
_KEY = re.compile(r"\s*([A-Za-z_][\w-]*)")
_END = r"\s*([#},].*)?$"
_MEANING = {  # what stands after an =, and what its owner should write
    r"[-+]?[1-9]\d{0,2}(,\d{3})+\b": "leave out the comma between thousands; a decimal comma is a point",
    r"[-+]?\d+,\d+" + _END: "write a decimal point, not a comma",
    r"[-+]?(\.\d+|\d+\.)" + _END: "write a figure on both sides of the decimal point, as in 0.5",
    r"[-+]?0\d+(\.\d*)?" + _END: "leave out the zeros in front",
    r"[-+]?\d[\d.]*\s*[A-Za-zµ°′″'\"%]": "write the number alone, the unit stands in the name",
    r"(True|False|TRUE|FALSE|yes|no|Yes|No)\b": "write true or false in small letters",
    r"(?!(true|false|nan|inf)\b)[A-Za-z]": 'put text in quotes, as in "text"',
    r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}": "write a date that there is, as year-month-day, 2026-10-09",
    _END: "write a value after the =",
}


class Statement(NamedTuple):
    """One statement: its first line, the section path it stands in, and what it says.

    `data` is the table it makes, None where it could not be read; then `key` is the key it seems to give and
    `fault` what is wrong.
    """

    line: int
    path: tuple[str, ...]
    header: bool
    data: dict | None
    key: str = ""
    fault: str = ""


def statements(text: str) -> list[Statement]:
    """All statements of a TOML text in their order, good and bad."""
    found, path = [], ()
    for line, piece in _pieces(text.replace("\r\n", "\n")):
        header = piece.lstrip().startswith("[")
        data, fault = _read(piece)
        key = ""
        if header:
            path = _header_path(data, piece)
        elif match := _KEY.match(piece):
            key = match[1]
        if data or fault:
            found.append(Statement(line, path, header, data, key, fault))
    return found


def whole_text_fault(text: str) -> tuple[int | None, str] | None:
    """Line and words of what makes the whole text no TOML, or None where it is fine."""
    try:
        tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        at = re.search(r"at line (\d+)", str(error))
        return (int(at[1]) if at else None), f"cannot be read as TOML: {_plain(error)}"
    return None


def _pieces(text: str):
    """Line number and text of each statement; comments and empty lines come as pieces of their own."""
    line = start = 1
    piece, depth = "", 0
    for match in _TOKEN.finditer(text):
        token = match[0]
        if token == "\n" and (depth == 0 or _NEW_STATEMENT.match(text, match.end())):
            yield start, piece
            line += 1
            piece, depth, start = "", 0, line
            continue
        depth = max(0, depth + (token in "[{") - (token in "]}"))
        line += token.count("\n")
        piece += token
    yield start, piece


def _read(piece: str) -> tuple[dict | None, str]:
    try:
        return tomllib.loads(piece), ""
    except (ValueError, RecursionError) as error:
        received = " ".join(_TOKEN.sub(lambda token: "" if token[0][0] == "#" else token[0], piece).split())
        received = received if len(received) <= 60 else received[:59] + "…"
        return None, f"cannot be read as TOML: received {received}: {_cure(piece, error)}"


def _cure(piece: str, error: Exception) -> str:
    bare = _TOKEN.sub(
        lambda token: token[0] if len(token[0]) == 1 or token[0][0] not in "\"'#" else "", piece
    )
    if piece.lstrip().startswith("["):
        return "a section is its name in square brackets, alone on its line, as in [optics]"
    if "=" not in bare:
        return "a line is name = value, or a comment that starts with #"
    if not _KEY.match(piece):
        return "a name comes first, as in focal_mm = 320"
    if bare.count("[") != bare.count("]") or bare.count("{") != bare.count("}"):
        return "a bracket is opened and not closed, or closed and not opened"
    if '"' in bare or "'" in bare:
        return "close the text with the same quote that opened it"
    values = [value.strip() for value in piece.split("=")[1:]]
    cures = (cure for pattern, cure in _MEANING.items() for value in values if re.match(pattern, value))
    return next(cures, _plain(error))


def _plain(error: Exception) -> str:
    """What a TOML reader says, without its own count of lines."""
    words = re.sub(r"\s*\(at [^)]*\)", "", str(error)).strip()
    return words[:1].lower() + words[1:] if isinstance(error, ValueError) else "brackets nested too deeply"


def _header_path(data: dict | None, piece: str) -> tuple[str, ...]:
    """The names in a section header, guessed where it could not be read."""
    if data is None:
        match = _HEADER.match(piece)
        return tuple(match[1].strip(".").split(".")) if match else ("",)
    path = []
    while data:
        (name, data), *_ = data.items()
        path.append(name)
        data = data[0] if isinstance(data, list) else data
    return tuple(path)
