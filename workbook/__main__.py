"""python -m workbook: open the lessons, or answer from the command line how far a rig goes tonight."""

from __future__ import annotations

import argparse
import json
import os
import sys
from datetime import date


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (2 for input that cannot be used)."""
    parser = argparse.ArgumentParser(
        prog="python -m workbook",
        description="How far can you go in deep-sky imaging with a small, light mount?",
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="start the lessons and only print their address"
    )
    commands = parser.add_subparsers(dest="command")
    ask = commands.add_parser("verdict", help="finished hours of one night, and what costs most")
    ask.add_argument(
        "rig", metavar="FILE_OR_SCENARIO", help="a passport file, or the name of a demo scenario"
    )
    ask.add_argument("--target", metavar="NAME", help="a deep-sky object, for example 'NGC 7331'")
    ask.add_argument("--date", metavar="DATE", help="civil date of the evening, for example 2026-10-10")
    ask.add_argument("--json", action="store_true", help="print the answer as JSON")
    card = commands.add_parser(
        "card", help="one page to print and take outside: numbers, order, signs, stops"
    )
    card.add_argument(
        "rig", metavar="FILE_OR_SCENARIO", help="a passport file, or the name of a demo scenario"
    )
    card.add_argument("--target", metavar="NAME", help="a deep-sky object, for example 'NGC 7331'")
    card.add_argument("--date", metavar="DATE", help="civil date of the evening, for example 2026-10-10")
    card.add_argument(
        "--zone", metavar="ZONE", default="UTC", help="time zone of your clock, for example Europe/Berlin"
    )
    card.add_argument("--out", metavar="FOLDER", help="where to write it; your own folder if not given")
    card.add_argument("--red", action="store_true", help="only the dim red page, for the screen at night")
    chosen = parser.parse_args(argv)
    if chosen.command == "verdict":
        return _verdict(chosen)
    if chosen.command == "card":
        return _card(chosen)
    from workbook import launch

    return launch.open_workbook(no_browser=chosen.no_browser)


def _verdict(chosen) -> int:
    from workbook import passport, verdict
    from workbook.catalogue import CatalogueError

    try:
        evening = _evening(chosen)
        rig = passport.find(chosen.rig)
        answer = verdict.verdict(rig, target=chosen.target, date=evening)
        others = verdict.compare(rig, target=chosen.target, date=evening)
    except passport.PassportError as error:
        return _fault(str(error))
    except (
        ValueError,
        CatalogueError,
    ) as error:  # a guard's own sentence: an unknown target, a date out of range
        return _fault(str(error))
    if chosen.json:
        plain = verdict.as_dict(answer) | {
            "ways": [verdict.as_dict(other) | {"curve": None} for other in others]
        }
        text = json.dumps(plain, ensure_ascii=False, indent=1)
    else:
        text = verdict.as_text(answer, others)
    return _say(text)


def _card(chosen) -> int:
    from pathlib import Path

    from workbook import passport
    from workbook.catalogue import CatalogueError
    from workbook.figures import fieldcard_files, look
    from workbook.lesson import home_folder
    from workbook.plan.card import field_card

    folder = Path(chosen.out).expanduser() if chosen.out else home_folder()
    try:
        rig = passport.find(chosen.rig)
        made = field_card(rig, target=chosen.target, date=_evening(chosen), zone=chosen.zone)
        files = fieldcard_files.save(
            made, folder, both=not chosen.red, look=look.RED if chosen.red else look.LIGHT
        )
    except (passport.PassportError, ValueError, CatalogueError) as error:
        return _fault(str(error))
    except OSError as error:
        return _fault(f"--out: {folder} cannot be written ({error.strerror}), choose another folder")
    return _say("\n".join([made.as_text(), "", *(f"written: {path}" for path in files)]))


def _evening(chosen):
    try:
        return date.fromisoformat(chosen.date) if chosen.date else None
    except ValueError:
        raise ValueError(
            f"--date: received {chosen.date!r}, allowed a date such as 2026-10-10 (year-month-day)"
        ) from None


def _say(text: str) -> int:
    try:
        print(text, flush=True)
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115  (else the interpreter complains once more at exit)
    return 0


def _fault(text: str) -> int:
    print(text, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
