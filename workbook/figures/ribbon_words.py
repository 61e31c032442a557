"""The words of the night ribbon: its record, its lanes of minutes, and the text twin of the picture."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.verdict.evening import Evening
from workbook.verdict.words import duration, seconds

LANES = (
    ("usable", ("",)),
    ("outside the view", ("horizon",)),
    ("not set up yet", ("set-up",)),
    ("zenith zone", ("zenith",)),
    ("battery empty", ("battery",)),
    ("dew or frost", ("dew",)),
    ("stand in the way", ("legs", "swap")),
)


class NightRibbon(NamedTuple):
    """An evening and the wall that its target meets; floor and ceiling of the opening at the target's azimuth [°]."""

    evening: Evening
    name: str
    floor_deg: np.ndarray = None
    ceiling_deg: float = 90.0


def describe(result):
    """The picture in one sentence."""
    evening, seen = result.evening, result.evening.ribbon
    if seen.reason:
        return f"No ribbon for {result.name}: {seen.reason}."
    spans = [span for span in seen.spans() if span.reason == ""]
    when = ", ".join(f"{clock(span.start_utc)} to {clock(span.end_utc)}" for span in spans)
    when = f"{when} UTC" if when else "never"
    return (
        f"The night of {seen.date.isoformat()} on one time axis for {result.name}: height over the horizon mask, "
        f"longest sub, sky, batteries, lens above dew, distance of camera and stand, and the minutes; usable "
        f"{when}, {seen.usable_h:.1f} of {len(seen.times_utc) / 60:.1f} dark hours; the pack lasts "
        f"{seen.pack_h:.1f} h and the mount's cells {seen.mount_h:.1f} h from the start at "
        f"{clock(moment(evening, seen.start_min))} UTC, dawn comes after {evening.dawn_h:.1f} h."
    )


def table(result):
    """The numbers of the picture, span by span."""
    evening, seen = result.evening, result.evening.ribbon
    if seen.reason:
        return [("what", "answer"), ("target", result.name), ("why nothing", seen.reason)]
    words = {key: lane for lane, keys in LANES for key in keys} | {"swap": "swapping the tube over"}
    rows = [("clock, UTC", "length", "what")]
    rows.append(
        (
            clock(moment(evening, seen.start_min)),
            duration(evening.ready_min / 60 - seen.start_min / 60),
            "set-up",
        )
    )
    for span in seen.spans():
        rows.append(
            (
                f"{clock(span.start_utc)} to {clock(span.end_utc)}",
                duration(span.length_h),
                words[span.reason],
            )
        )
    rows += [
        (f"until {clock(moment(evening, seen.start_min + 60 * end))}", _ranged(end, ends), what)
        for what, end, ends in (
            ("pack lasts", seen.pack_h, evening.pack_68_h), ("mount's cells last", seen.mount_h, evening.mount_68_h),
        )
    ]  # fmt: skip
    held = seen.hold_s[np.isfinite(seen.hold_s)]
    if held.size:
        rows.append(
            ("longest sub, nine in ten kept", f"{seconds(held.min())} to {seconds(held.max())}", "in view")
        )
    low, high = np.nanmin(seen.sky_mag_arcsec2), np.nanmax(seen.sky_mag_arcsec2)
    ends = (
        ""
        if seen.sky_mag_68 is None
        else f" ({np.nanmin(seen.sky_mag_68):.1f} to {np.nanmax(seen.sky_mag_68):.1f})"
    )
    moon = "; ".join(filter(None, [moon_words(seen).split(";")[0], seen.moon_warning]))
    rows += [
        ("sky at the target", f"{low:.1f} to {high:.1f}{ends} mag/″²", moon),
        (
            "lens above dew or frost",
            f"{signed(seen.dew_margin_k.min())} to {signed(seen.dew_margin_k.max())} K",
            "all night; the heater ends with the pack",
        ),
        ("camera to stand", f"{signed(_least_gap(seen), 0)} mm at least", f"tube on the {seen.side} side"),
        ("finished", duration(seen.finished_h), f"subs of {seconds(seen.sub_s)}"),
    ]
    return rows


def moon_words(seen):
    up = seen.moon_altitude_deg > 0.0
    if not up.any():
        return "Moon below the horizon all night"
    lit = f"{100 * float(seen.moon_lit_fraction[up].mean()):.0f} % lit; dashed: without it"
    lit += f"; {seen.moon_warning.split(' only')[0]}" if seen.moon_warning else ""  # why: in the table
    if up.all():
        return f"Moon up all night, {lit}"
    first, last = (clock(seen.times_utc[np.flatnonzero(up)[k]]) for k in (0, -1))
    return f"Moon up until {last}, {lit}" if up[0] else f"Moon up from {first}, {lit}"


def _least_gap(seen):
    gaps = seen.gap_mm[seen.in_view & np.isfinite(seen.gap_mm)]
    return gaps.min() if gaps.size else float(np.nanmin(seen.gap_mm))


def moment(evening, minutes):
    """The moment so many minutes after the evening's earliest one."""
    seen = evening.ribbon
    return seen.times_utc[0] + np.timedelta64(round(60e3 * (minutes - float(evening.since_min[0]))), "ms")


def clock(moment):
    return str(moment)[11:16]


def _ranged(value_h, ends):
    return f"{value_h:.1f} h ({ends[0]:.1f} to {ends[1]:.1f})" if ends else f"{value_h:.1f} h"


def signed(value, digits=1):
    text = f"{value:.{digits}f}"
    return (text.lstrip("-") if float(text) == 0 else text).replace("-", "−")
