"""The record of a night ribbon: what it holds, and how it is read as spans and as words."""

from __future__ import annotations

import dataclasses
from datetime import date as Date
from typing import NamedTuple

import numpy as np

# Why a minute is lost, in the order of the evening; the first that applies is named.
LOST = {
    "horizon": "outside the view",
    "set-up": "still setting up",
    "zenith": "in the drive's zenith zone",
    "battery": "a battery is empty",
    "dew": "dew or frost on the lens",
    "legs": "the camera would meet the stand",
    "swap": "swapping the tube to the other side",
}


class Span(NamedTuple):
    """A stretch of the night with one answer: start and end [UTC], why it is lost ("" where usable), its length [h]."""

    start_utc: np.datetime64
    end_utc: np.datetime64
    reason: str
    length_h: float


@dataclasses.dataclass(frozen=True)
class Ribbon:
    """One night for one rig and target; arrays run over the minutes of astronomical darkness.

    Pairs of arrays (2, minutes) are the 68 % range over the passport's spreads. `lost` holds for each minute a key of
    LOST, or "" where it is usable. `closed` holds for each key of LOST that applies a boolean array, also where another
    cause is named first. `reason` says why there is nothing to draw: then all arrays are empty.
    """

    target: str
    date: Date
    mode: str
    guided: bool
    start_min: float
    reason: str = ""
    times_utc: np.ndarray = None
    altitude_deg: np.ndarray = None  # apparent
    azimuth_deg: np.ndarray = None
    in_view: np.ndarray = None
    hold_s: np.ndarray = None  # longest sub of which nine in ten are kept; NaN out of view
    rotation_rate_deg_h: np.ndarray = None  # of the field; 0 when tilted
    sky_mag_arcsec2: np.ndarray = None  # at the target, Moon included
    sky_mag_68: np.ndarray = (
        None  # of the sky at the target: site's sky, extinction, and the error of moonlight
    )
    moonless_mag_arcsec2: np.ndarray = None  # at the target without the Moon
    moon_altitude_deg: np.ndarray = None
    moon_lit_fraction: np.ndarray = None
    moon_warning: str = ""  # where in view the moonlight may be off by more than usual, in words
    pack_left: np.ndarray = None  # shares 0 … 1
    pack_left_68: np.ndarray = None
    mount_left: np.ndarray = None
    mount_left_68: np.ndarray = None
    dew_margin_k: np.ndarray = None  # lens above dew or frost
    dew_margin_68_k: np.ndarray = None
    gap_mm: np.ndarray = None  # between camera and stand
    side: str = ""  # on which the tube hangs; "west, then east" where it is swapped once
    swap_utc: np.datetime64 | None = None
    clear_of_legs: np.ndarray = None
    usable: np.ndarray = None  # as in `verdict`, and clear of the legs
    lost: np.ndarray = None
    closed: dict = dataclasses.field(default_factory=dict)
    sub_s: float = 0.0
    frame_yield: np.ndarray = None
    finished_rate: np.ndarray = None  # finished hours per hour, in every minute in view
    finished_h: float = 0.0  # over the usable minutes
    finished_68_h: tuple | None = None  # of finished_h, its 68 % range; None where nothing was drawn
    finished_any_legs_h: float = 0.0  # as `verdict` counts, legs not looked at
    kept_h: float = 0.0
    pack_h: float = 0.0  # from the start of the set-up
    mount_h: float = 0.0

    @property
    def usable_h(self) -> float:
        """Usable hours [h]."""
        return float(np.sum(self.usable)) / 60.0 if self.usable is not None else 0.0

    def spans(self) -> list[Span]:
        """The night as stretches of one answer each, in order."""
        if self.times_utc is None or not len(self.times_utc):
            return []
        starts = np.flatnonzero(np.r_[True, self.lost[1:] != self.lost[:-1]])
        ends = np.r_[starts[1:], len(self.lost)]
        half = np.timedelta64(30, "s")
        return [
            Span(
                self.times_utc[a] - half,
                self.times_utc[b - 1] + half,
                str(self.lost[a]),
                float(b - a) / 60.0,
            )
            for a, b in zip(starts, ends, strict=True)
        ]

    def why_none(self) -> str:
        """What closes most of the lost minutes in view, in words; the view itself where there is none."""
        lost = self.lost[self.in_view & ~self.usable]
        keys, counts = np.unique(lost if lost.size else ["horizon"], return_counts=True)
        return LOST[str(keys[np.argmax(counts)])]

    def ended_by(self) -> str:
        """What ends the night in words: what follows the last usable minute."""
        if self.reason:
            return self.reason
        if not self.usable.any():
            return f"no minute is usable: {self.why_none()}"
        last = int(np.flatnonzero(self.usable)[-1])
        return "dawn" if last == len(self.usable) - 1 else LOST[str(self.lost[last + 1])]

    def as_text(self) -> str:
        """The ribbon as lines of text."""
        if self.reason:
            return f"{self.target}, {self.date.isoformat()}: nothing to show, {self.reason}."
        lines = [f"{self.target}, night of {self.date.isoformat()}, {self.mode}, times in UTC"]
        for span in self.spans():
            ends = " to ".join(str(end)[11:16] for end in span[:2])
            lines.append(f"{ends}  {span.length_h:4.1f} h  {LOST.get(span.reason, 'usable')}")
        finished = f"about {60 * self.finished_h:.0f} min finished (no range drawn)"
        if self.finished_68_h is not None:
            low, high = (60 * end for end in self.finished_68_h)
            finished = (
                f"{60 * self.finished_h:.1f} min finished ({low:.1f} to {high:.1f} in 68 of 100 nights)"
            )
        lines.append(f"{self.usable_h:.1f} h usable, {finished}; ends by: {self.ended_by()}.")
        return "\n".join(lines)
