"""The verdict in words for a terminal, and as plain data for JSON."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from workbook.verdict.answer import Verdict


def as_dict(answer: Verdict) -> dict:
    """The verdict as plain data: suffixed keys, no arrays but the curve's."""
    plain = {}
    for item in fields(answer):
        value = getattr(answer, item.name)
        if item.name == "costs":
            value = [_cost(cost) for cost in value]
        elif item.name == "curve":
            names = ("sub_s", "efficiency", "frame_yield", "duty", "read_noise_factor", "finished_h")
            value = {n: np.round(getattr(value, n), 4).tolist() for n in names} if value else None
        elif item.name == "date":
            value = value.isoformat()
        elif isinstance(value, float):
            value = round(value, 4)
        elif isinstance(value, tuple):
            value = [round(v, 4) if isinstance(v, float) else v for v in value]
        plain[item.name] = value
    plain["costs_most"] = answer.costs_most.cause.key if answer.costs_most else None
    plain["own_costs_most"] = answer.own_costs_most.cause.key if answer.own_costs_most else None
    return plain


def _cost(cost):
    words = {"cause": cost.cause.key, "words": cost.cause.words, "group": cost.cause.group}
    return words | {"gain_h": round(cost.gain_h, 4), "best_sub_s": round(cost.best_sub_s, 2)}


def as_text(answer: Verdict, others: tuple[Verdict, ...] = ()) -> str:
    """A readable answer of about twenty lines; `others` adds the table of modes."""
    lines = [f"{_named(answer)} from {answer.rig}, night of {answer.date.isoformat()}, {_how(answer)}"]
    lines += [f"note: {note}" for note in answer.notes]
    if answer.dark_h:
        lines += [
            "",
            _row("dark", f"{answer.dark_h:.1f} h", f"{answer.start_utc} to {answer.end_utc} UTC"),
            _row("in view", f"{answer.view_h:.1f} h", "inside the horizon mask"),
            _row("usable", f"{answer.usable_h:.1f} h", "after set-up, with power, without dew"),
        ]
    lines += ["", f"No finished hours: {answer.reason}."] if answer.reason else _found(answer)
    if any(other.finished_h for other in others):
        lines += ["", "The four ways to run this night (finished hours, best sub):"]
        for other in others:
            best = other.reason or seconds(other.best_sub_s)
            lines.append(_row(f"  {_how(other)}", duration(other.finished_h), best, 24))
    if answer.assumed or answer.measured:
        count = len(answer.measured)
        lines += [
            "",
            f"{count} of {count + len(answer.assumed)} uncertain numbers are measured, the rest assumed.",
        ]
    return "\n".join(lines)


def _found(answer):
    usable = f"{seconds(answer.usable_low_s)} to {seconds(answer.usable_high_s)}"
    factors = (
        f"frame yield {answer.frame_yield:.2f} × duty {answer.duty:.2f} × "
        f"read noise {answer.read_noise_factor:.2f}"
    )
    lines = [
        _row("best sub", seconds(answer.best_sub_s), f"usable {usable}; {_knee(answer)}"),
        _row("efficiency", f"{answer.efficiency:.2f}", factors),
        _row("kept hours", duration(answer.kept_h), _ranges(answer.kept_68_h, answer.kept_95_h)),
        _row(
            "finished hours", duration(answer.finished_h), _ranges(answer.finished_68_h, answer.finished_95_h)
        ),
        "",
        "A finished hour is an hour of these optics, faultless, above the air under a dark sky (21.5 mag/″²).",
    ]
    if answer.costs:
        lines += ["", "What costs most (finished hours gained if it alone were gone, sub chosen anew):"]
        for cost in answer.costs[:6]:
            remark = f"{cost.cause.group}; best sub {seconds(cost.best_sub_s)}"
            lines.append(_row(f"  {cost.cause.words}", "+" + duration(cost.gain_h), remark, 46))
        lines.append(f"Costs most: {answer.costs_most.cause.words}.")
        lines.append(f"Of what you can change: {answer.own_costs_most.cause.words}.")
    return lines


def _how(answer):
    return f"{answer.mode}, {'guided' if answer.guided else 'unguided'}"


def _named(answer):
    """The name as asked for, and the catalogue's where it differs."""
    same = answer.asked.replace(" ", "").lower() == answer.target.replace(" ", "").lower()
    return answer.target if same or not answer.asked else f"{answer.asked} ({answer.target})"


def _row(name, value, remark="", width=16):
    return f"{name:<{width}}{value:>9}  {remark}".rstrip()


def _knee(answer):
    return (
        f"nine in ten kept up to {seconds(answer.knee_s)} (knee)"
        if answer.knee_s
        else "never nine in ten kept"
    )


def _ranges(inner, outer):
    if not any(outer):
        return ""
    inner, outer = (" to ".join(map(duration, ends)) for ends in (inner, outer))
    return f"68 %: {inner}; 95 %: {outer}"


def duration(hours_h: float) -> str:
    """Hours in the words a person uses: h from one hour, min below, s below a minute.

    >>> duration(3.94), duration(0.066), duration(0.0049)
    ('3.9 h', '4.0 min', '18 s')
    """
    if hours_h >= 1.0:
        return f"{hours_h:.1f} h"
    return f"{60.0 * hours_h:.1f} min" if hours_h >= 1.0 / 60.0 else f"{3600.0 * hours_h:.0f} s"


def seconds(sub_s: float) -> str:
    """A sub length with the digits that mean something, in hours from one hour on.

    >>> seconds(7.63), seconds(41.2), seconds(7200)
    ('7.6 s', '41 s', '2.0 h')
    """
    if sub_s >= 3600.0:
        return duration(sub_s / 3600.0)
    return f"{sub_s:.1f} s" if sub_s < 9.95 else f"{sub_s:.0f} s"


def percent(share: float) -> str:
    """A share in per cent with the digits that mean something.

    >>> percent(0.0512), percent(1.2)
    ('5.1 %', '120 %')
    """
    value = 100.0 * share
    return f"{value:.1f} %" if value < 9.95 else f"{value:.0f} %"
