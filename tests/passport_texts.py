"""Passport texts with something wrong in them, and what a reader says of them: shared by the tests."""

from __future__ import annotations

import pytest

from workbook.passport import Fault, PassportError, loads, scenario

BALCONY = scenario("balcony").text


def changed(key: str, value: str, *, text: str = BALCONY) -> tuple[str, int]:
    """The text with one field written anew, and the line of it."""
    section, name = key.split(".")
    lines = text.split("\n")
    start = next(i for i, line in enumerate(lines) if line.startswith(f"[{section}]"))
    at = next(i for i in range(start, len(lines)) if lines[i].startswith(f"{name} ="))
    stop = next(i for i in range(at, len(lines)) if "]" in lines[i]) if lines[at].endswith("= [") else at
    while stop > at and not lines[stop].startswith("]"):
        stop += 1
    lines[at : stop + 1] = [f"{name} = {value}"]
    return "\n".join(lines), at + 1


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(PassportError) as caught:
        loads(text, source="my.toml")
    assert len(str(caught.value).splitlines()) == len(caught.value.faults)
    return caught.value.faults


def only_fault(text: str, key: str, line: int) -> str:
    """The words of the one fault that the text must have, at this key and line."""
    (fault,) = faults_of(text)
    assert (fault.key, fault.line) == (key, line), fault
    return fault.message
