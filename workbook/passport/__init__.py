"""The passport: one TOML file that holds a rig, its site, its night and its plan.

`find` reads one, a `Passport` answers and draws, `update` writes measurements back; every fault of a file is
told at once in a PassportError.
"""

from workbook.passport.fields import FIELDS, SECTIONS
from workbook.passport.reader import SCENARIOS, find, load, loads, scenario
from workbook.passport.record import Passport, describe
from workbook.passport.schema import Entry, Fault, Field, PassportError
from workbook.passport.writer import save, share, update

__all__ = [
    "FIELDS",
    "SCENARIOS",
    "SECTIONS",
    "Entry",
    "Fault",
    "Field",
    "Passport",
    "PassportError",
    "describe",
    "find",
    "load",
    "loads",
    "save",
    "scenario",
    "share",
    "update",
]
