"""The learner's predictions, kept as plain JSON in the learner's folder.

`ledger.json` is a list of entries: lesson, key, question, guess, unit, when, and, once they are known,
confidence, answer, hits, later. The first guess of a question stays; further ones go to `later`. Every
change reads the file anew under a lock and replaces it in one step, so two open notebooks do not lose each
other's guesses. A file that cannot be read is moved aside, and what can be read of it is kept.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import threading
from datetime import UTC, datetime
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without it has msvcrt
    fcntl = None

FILE = "ledger.json"
_IN_PROCESS = threading.RLock()


def utc_date() -> str:
    """Today's date in UTC, as ISO text."""
    return datetime.now(UTC).date().isoformat()


class Ledger:
    """Predictions of one learner; goes on in memory where the folder cannot be written.

    Parameters
    ----------
    folder : path
        The learner's folder; made at the first guess.
    today : callable
        Gives the date of an entry.

    Attributes
    ----------
    entries : list of dict
        As last read or written.
    """

    def __init__(self, folder, *, today=utc_date):
        self.path = Path(folder) / FILE
        self.entries: list[dict] = []
        self._today = today
        self._unsaved: set[tuple[str, str]] = set()
        self._notes: list[str] = []
        self._said: set[str] = set()
        if self.path.exists():
            self._change(lambda entries: None)

    def notes(self) -> list[str]:
        """What the learner should be told, one line each; each is given once."""
        told, self._notes = self._notes, []
        return told

    def find(self, lesson: str, key: str) -> dict | None:
        """The entry of one question, or None."""
        return next((e for e in self.entries if (e["lesson"], e["key"]) == (lesson, key)), None)

    def guess(self, lesson: str, key: str, *, question: str, guess, unit: str = "", confidence=None) -> dict:
        """Write a guess down; the first one stays, a later one is listed behind it."""

        def change(entries):
            entry = _find(entries, lesson, key)
            if entry is None:
                entry = {"lesson": lesson, "key": key, "question": question, "guess": guess, "unit": unit}
                if confidence is not None:
                    entry["confidence"] = confidence
                entries.append(entry | {"when": self._today()})
            else:
                entry["later"] = [*entry.get("later", []), guess]
            return lesson, key

        self._change(change)
        return self.find(lesson, key)

    def answer(self, lesson: str, key: str, *, answer, hits: bool) -> None:
        """Write down what was right, and whether the first guess came near enough."""

        def change(entries):
            entry = _find(entries, lesson, key)
            if entry is None:
                return None
            entry.update(answer=answer, hits=bool(hits))
            return lesson, key

        self._change(change)

    def _change(self, change) -> None:
        """Read, change, write, all under the lock; in memory only where the file refuses."""
        with _IN_PROCESS, _file_lock(self.path) as locked:
            entries, state = self._read(locked)
            before = json.dumps(entries)
            self._merge(entries)
            touched = change(entries)
            self.entries = entries
            if touched:
                self._unsaved.add(touched)
            if json.dumps(entries) == before and state != "moved":
                return
            if state == "stuck" or not locked or not self._write(entries):
                self._say(
                    "The ledger cannot be written: your guesses are kept until this notebook is closed."
                )
            else:
                self._unsaved.clear()

    def _merge(self, entries):
        """Put what is only in memory in its place among the entries just read."""
        for lesson, key in self._unsaved:
            mine = self.find(lesson, key)
            theirs = _find(entries, lesson, key)
            if theirs is None:
                entries.append(dict(mine))
            else:
                theirs.update({k: v for k, v in mine.items() if k in ("answer", "hits", "later")})

    def _read(self, locked):
        """(entries, state): "fine", "moved" (a damaged file was put aside) or "stuck" (it could not be)."""
        try:
            text = self.path.read_bytes()
        except FileNotFoundError:
            return [], "fine"
        except OSError:
            return [], "stuck"
        try:
            data = json.loads(text.decode("utf-8-sig"))
            fault = "" if isinstance(data, list) else "it is no list"
        except (ValueError, RecursionError) as error:
            data, fault = (
                [],
                f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "no JSON text",
            )
        good = [entry for entry in data if _is_entry(entry)] if isinstance(data, list) else []
        if not fault and len(good) == len(data):
            return good, "fine"
        fault = fault or f"{len(data) - len(good)} of {len(data)} entries"
        aside = next(
            path for n in range(1, 10**6) if not (path := self.path.with_name(f"{FILE}.damaged-{n}")).exists()
        )
        try:
            if not locked:
                raise PermissionError
            os.replace(self.path, aside)
        except OSError:
            self._say(f"The ledger could not be read ({fault}) nor moved aside; it is left as it is.")
            return good, "stuck"
        kept = f" Guesses kept from it: {len(good)}." if good else ""
        self._say(
            f"The ledger could not be read ({fault}): it was moved to {aside.name}, a new one begins.{kept}"
        )
        return good, "moved"

    def _write(self, entries) -> bool:
        draft = self.path.with_name(f"{FILE}.{os.getpid()}.new")
        try:
            with open(draft, "w", encoding="utf-8") as file:
                json.dump(entries, file, ensure_ascii=False, indent=1, allow_nan=False)
                file.write("\n")
                file.flush()
                os.fsync(file.fileno())
            os.replace(draft, self.path)
        except OSError:
            with contextlib.suppress(OSError):
                draft.unlink()
            return False
        return True

    def _say(self, line):
        if line not in self._said:
            self._said.add(line)
            self._notes.append(line)


@contextlib.contextmanager
def _file_lock(path):
    """Hold the ledger's lock file; gives False where no lock file can be made."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = open(path.with_name(f"{FILE}.lock"), "a")  # noqa: SIM115 closed below
    except OSError:
        yield False
        return
    with file:
        with contextlib.suppress(OSError):  # a network disk without locks: the write is whole all the same
            if fcntl:
                fcntl.flock(file, fcntl.LOCK_EX)
            else:
                import msvcrt

                file.seek(0)
                msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)
        yield True  # closing the file lets the lock go


def _find(entries, lesson, key):
    return next((e for e in entries if (e["lesson"], e["key"]) == (lesson, key)), None)


def _is_entry(entry) -> bool:
    if not isinstance(entry, dict):
        return False
    texts = all(isinstance(entry.get(name), str) for name in ("lesson", "key", "question", "unit"))
    values = [entry.get("guess"), *_list(entry.get("later", []))]
    values += [entry["answer"]] if "answer" in entry else []
    sure = entry.get("confidence", 0.5)
    return texts and all(map(is_value, values)) and is_value(sure) and not isinstance(sure, str)


def _list(value):
    return value if isinstance(value, list) else [None]


def is_value(value) -> bool:
    """Whether a guess or answer can be kept: a text or a finite number."""
    if isinstance(value, str):
        return True
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
