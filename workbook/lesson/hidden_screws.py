"""A game for two: one hides how far the two screws of a mount were turned, the other finds them by drift.

It is played on the balcony, in words, with the clock of the night as the score. A number gives a whole class
the same mount; in a pair one partner may turn the screws in secret instead.
"""

from __future__ import annotations

import functools

import numpy as np

from workbook import alignment, passport
from workbook.lesson.words import Note
from workbook.panels.two_drifts import CADENCE_S, HOURS_DEG, Place

AZIMUTH_ARCMIN_TURN, ALTITUDE_ARCMIN_TURN = 30.0, 20.0  # what one turn of each screw does on a level base
JITTER_ARCSEC = 2.0
FIND_MIN, TURN_MIN = 2, 2  # to find and centre a star; to turn the screws
SHORTEST_MIN, LONGEST_MIN = 2, 30
MOST_TURNS = 3.0
LEAST_ARCMIN = 12.0  # a hidden axis at least so far from the pole, so that there is something to do


class HiddenScrews:
    """One mount whose screws were turned.

    Parameters
    ----------
    number : int
        Which mount, 1 or more: the same number is the same mount, with the same unrest of the air, everywhere.

    Attributes
    ----------
    minutes : int
        Minutes of the night used up.
    over : bool
        Whether the game has ended.
    """

    def __init__(self, number: int):
        if isinstance(number, bool) or not isinstance(number, int):
            raise TypeError(f"the number of a mount is a whole number such as 7, received {number!r}")
        if number < 1:
            raise ValueError(f"the number of a mount is 1 or more, received {number}")
        self.number, self.minutes, self.over = number, 0, False
        random = np.random.default_rng([number, 4])
        turns = np.zeros(2)
        while _off_arcmin(turns) < LEAST_ARCMIN:
            turns = np.round(random.uniform(-1.5, 1.5, 2), 1)
        self._hidden, self._turned = turns, np.zeros(2)
        self._air = np.random.default_rng([number, 5])

    def hide(self, azimuth_turns, altitude_turns) -> Note:
        """Turn the screws in secret, before the partner looks: turns of both, up to 3 either way."""
        if self.minutes or self.over:
            return Note("Too late: the search has begun. Open a mount anew to hide again.")
        turns, fault = _turns(azimuth_turns, altitude_turns)
        if fault:
            return Note(fault)
        if _off_arcmin(turns) < LEAST_ARCMIN:
            return Note(f"Too little to find: put the axis {LEAST_ARCMIN:.0f}′ or more from the pole.")
        self._hidden = turns
        return Note("Hidden. Delete the two numbers from the cell, then hand over the keyboard.")

    def watch(self, hour_angle_deg, minutes) -> Note:
        """Watch the highest star in view at an hour angle, and hear its drift in declination."""
        if self.over:
            return Note("This game is over: open another mount.")
        if _blank(hour_angle_deg) or _blank(minutes):
            return Note("Nothing watched: give an hour angle in degrees (east is negative) and minutes.")
        try:
            hour, minutes = round(float(hour_angle_deg)), round(float(minutes))
        except (TypeError, ValueError, OverflowError):
            return Note("Two plain numbers, please: an hour angle in degrees, and minutes.")
        place = _place()
        seen = HOURS_DEG[place.view.any(axis=0)]
        if hour not in seen:
            return Note(
                f"Not in view: this balcony sees hour angles from {_signed(seen[0])}° to {seen[-1]}°."
            )
        if not SHORTEST_MIN <= minutes <= LONGEST_MIN:
            return Note(f"Watch a star for {SHORTEST_MIN} to {LONGEST_MIN} minutes, received {minutes}.")
        self.minutes += minutes + FIND_MIN
        column = hour - HOURS_DEG[0]
        dec = place.dec_of["highest"][column]
        altitude = place.altitudes_deg[:, column].max(where=place.view[:, column], initial=0.0)
        sigma = alignment.drift_sigma_arcsec_min(
            watch_min=minutes, jitter_arcsec=JITTER_ARCSEC, cadence_s=CADENCE_S
        )
        azimuth, high = self._errors()
        drift = alignment.dec_drift_arcsec_min(
            azimuth_error_arcmin=azimuth,
            altitude_error_arcmin=high,
            hour_angle_deg=hour,
            latitude_deg=place.latitude_deg,
        )
        heard = drift + sigma * self._air.standard_normal()
        way = "north" if heard > 0 else "south"
        return Note(
            f"A star at hour angle {_signed(hour)}°, declination {_signed(dec)}°, {altitude:.0f}° high, drift of "
            f"the air taken off: {_signed(heard, 2)} ″/min ({way}), standard deviation {sigma:.2f}.\n{self._clock()}"
        )

    def turn(self, azimuth_turns, altitude_turns) -> Note:
        """Turn the screws: + turns the axis to the east, + lifts it."""
        if self.over:
            return Note("This game is over: open another mount.")
        turns, fault = _turns(azimuth_turns, altitude_turns)
        if fault:
            return Note(fault)
        self._turned = self._turned + turns
        self.minutes += TURN_MIN
        return Note(f"Turned by {_signed(turns[0], 2)} and {_signed(turns[1], 2)}.\n{self._clock()}")

    def stop(self) -> Note:
        """End the search and see where the axis stands."""
        if not self.minutes:
            return Note("Nothing was watched yet: watch two stars first.")
        self.over = True
        azimuth, high = self._errors()
        left = _off_arcmin(self._hidden + self._turned)
        enough = _place().unguided
        word = "Good enough" if left <= enough else "Not good enough"
        return Note(
            f"The screws had been turned by {_signed(self._hidden[0], 1)} (azimuth) and {_signed(self._hidden[1], 1)} "
            f"(altitude).\nThe axis now stands {left:.1f}′ from the pole: {_signed(azimuth, 1)}′ in azimuth, "
            f"{_signed(high, 1)}′ in altitude.\n{word} for 60 s unguided, which allow {enough:.1f}′. "
            f"You used {self.minutes} minutes{'; fewer is better' if left <= enough else ', and they do not count'}."
        )

    def _errors(self):
        """Errors of the axis in azimuth and altitude [′]."""
        azimuth, altitude = self._hidden + self._turned
        return float(azimuth * AZIMUTH_ARCMIN_TURN), float(altitude * ALTITUDE_ARCMIN_TURN)

    def _clock(self):
        return f"{self.minutes} minutes of the night are used."

    def __repr__(self) -> str:
        sees = HOURS_DEG[_place().view.any(axis=0)]
        return "\n".join(
            [
                f"Mount {self.number}, on the balcony at {_place().latitude_deg:g}° north. Somebody turned its screws.",
                f"One turn of the azimuth screw is {AZIMUTH_ARCMIN_TURN:.0f}′ (+ moves the axis east), one of the "
                f"altitude screw {ALTITUDE_ARCMIN_TURN:.0f}′ (+ lifts it).",
                f"In view: hour angles {_signed(sees[0])}° to {sees[-1]}°. One frame jitters by {JITTER_ARCSEC:g}″.",
                f"A star costs its minutes and {FIND_MIN} to find it, a turn of the screws {TURN_MIN}.",
                "watch(hour angle, minutes) tells a drift, turn(azimuth, altitude) turns, stop() ends the search.",
            ]
        )

    def _repr_html_(self):
        return Note(repr(self))._repr_html_()


def open_mount(number: int) -> HiddenScrews:
    """Open a mount; the same number gives a whole class the same one."""
    return HiddenScrews(number)


@functools.lru_cache(maxsize=1)
def _place():
    """Every game happens on the balcony, so that a number means the same mount for everybody."""
    return Place(passport.scenario("balcony"))


def _off_arcmin(turns):
    """How far so many turns put the axis from the pole, on the sky [′]."""
    return float(
        alignment.pole_error_arcmin(
            azimuth_error_arcmin=turns[0] * AZIMUTH_ARCMIN_TURN,
            altitude_error_arcmin=turns[1] * ALTITUDE_ARCMIN_TURN,
            latitude_deg=_place().latitude_deg,
        )
    )


def _turns(azimuth_turns, altitude_turns):
    """Both turns as an array, or a sentence that says what is wrong."""
    if _blank(azimuth_turns) or _blank(altitude_turns):
        return None, "Nothing turned: give the turns of the azimuth screw and of the altitude screw."
    try:
        turns = np.array([float(azimuth_turns), float(altitude_turns)])
    except (TypeError, ValueError):
        return None, "Two plain numbers, please: turns of the azimuth screw, turns of the altitude screw."
    if not np.all(np.abs(turns) <= MOST_TURNS):
        return None, f"Turn a screw by {MOST_TURNS:g} either way at most: it would come out."
    return turns, ""


def _blank(value):
    return value is ... or value is None


def _signed(value, digits=0):
    text = f"{value:+.{digits}f}"
    return (text.lstrip("+-") if float(text) == 0 else text).replace("-", "−")
