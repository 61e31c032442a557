"""Guiding by hand: four buttons, a dead time, and the class's common night. Nothing runs by itself.

One press of a button, or of Wait, takes one guide exposure; so there is time to think, and a screen reader or a
keyboard plays as well as a mouse. What you press is carried out only after the dead time, as it was in the days of
the eyepiece and the hand box.
"""

from __future__ import annotations

from functools import partial

import ipywidgets as widgets
import numpy as np

from workbook import guiding
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.figures import hand_guiding as figure
from workbook.lesson.words import Note
from workbook.panels.controls import TEXT_SIZE, choice, slider, switch
from workbook.panels.one_night import (
    DEAD_TIME_S,
    DEC_DEG,
    LONGEST_PULSE_S,
    MINIMUM_MOVE_ARCSEC,
    STEP_S,
    GuideNight,
)
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout

EXPOSURE_S, FRAMES, AGGRESSIVENESS = 2.0, 60, 0.6
START_S = 240.0  # of the night: the gear is about to run
PRESSES_S = {"short, 0.1 s": 0.1, "middle, 0.2 s": 0.2, "long, 0.5 s": 0.5}
WAYS = {"east": (1, 0), "west": (-1, 0), "north": (0, 1), "south": (0, -1)}
GLYPHS = {"east": "← East", "west": "→ West", "north": "↑ North", "south": "↓ South"}


class HandPanel(Panel):
    """A panel with the four buttons of a hand box; a change of dead time or play starts a new game."""

    def __init__(self, passport):
        self.night = GuideNight(passport)
        self._presses: list[tuple[float, str, float]] = []  # when [s], which way, how long [s]
        self._frames, self._rules, self._speed = 1, None, passport["drive.guide_speed"]
        self._backlash = float(passport["drive.backlash_arcsec"])
        first = round(START_S / STEP_S)
        part = slice(first, first + round(FRAMES * EXPOSURE_S / STEP_S))
        seeing = float(passport["night.seeing_arcsec"])
        drift = self.night.drift_arcsec_min / 60.0
        ra = self.night.paths(1.0)[part]
        self._seeing = seeing
        self._path = {
            "times_s": STEP_S * np.arange(ra.size),
            "ra_arcsec": ra - ra[0],
            "dec_arcsec": drift * STEP_S * np.arange(ra.size),
            "air_arcsec": self.night.air(seeing)[:, part],
        }
        super().__init__(
            figure,
            self._play,
            {
                "press_s": choice("One press lasts", 0.2, PRESSES_S),
                "dead_time_s": slider("Dead time", 2.0, 0.0, 6.0, step=0.5),
                "play": switch(f"Backlash, {self._backlash:g}″", False),
            },
            partial(_readout, "exact for this night; gear and air assumed"),
            presets={"No dead time": {"dead_time_s": 0.0}, "Long dead time": {"dead_time_s": 4.0}},
            title="Guide by hand: keep the star on the cross",
        )

    # What a hand or a test does

    def press(self, way: str) -> None:
        """Press a button: "east", "west", "north" or "south"; one more frame is taken meanwhile."""
        if way not in WAYS:
            raise ValueError(f"way must be one of {', '.join(map(repr, WAYS))}, received {way!r}")
        if self._frames < FRAMES:
            self._presses.append((self._frames * EXPOSURE_S, way, self.values["press_s"]))
            self.wait()

    def wait(self, frames: int = 1) -> None:
        """Let one frame or more go by."""
        with self._lock:
            self._frames = min(self._frames + frames, FRAMES)
            self.refresh()

    def reset(self) -> None:
        """A new game on the same night, at the rules of the start."""
        self._rules = None
        super().reset()

    def finish(self, guess) -> Note:
        """Compare a prediction of your RMS with how you played."""
        if self._frames < FRAMES:
            return Note(f"Play to the end first: {self._frames} of {FRAMES} frames are seen.")
        best = self.result.controller.rms_arcsec
        return guess.reveal(
            round(self.result.you.rms_arcsec, 1), because=f"The controller: {best:.1f}″ on the same night."
        )

    # How it comes about

    def _play(self, *, press_s, dead_time_s, play):
        if (dead_time_s, play) != self._rules:
            self._rules, self._presses, self._frames = (dead_time_s, play), [], 1
        backlash = self._backlash if play else 0.0
        mount = {
            "exposure_s": EXPOSURE_S,
            "guide_speed": self._speed,
            "dec_deg": DEC_DEG,
            "backlash_arcsec": backlash,
            "centroid_sigma_arcsec": self.night.noise_arcsec(EXPOSURE_S, self._seeing),
            "seed": self.night.seed,
        }
        you = guiding.guide_by_hand(**self._path, **mount, **_pulses(self._presses), dead_time_s=dead_time_s)
        how = {
            "minimum_move_arcsec": MINIMUM_MOVE_ARCSEC,
            "longest_pulse_s": LONGEST_PULSE_S,
            "directions": "both",
        }
        controller, nobody = (
            guiding.guide(**self._path, **mount, **how, dead_time_s=DEAD_TIME_S, aggressiveness=gain)
            for gain in (AGGRESSIVENESS, 0.0)
        )
        speed = press_s * self._speed * SIDEREAL_RATE_ARCSEC_S
        return figure.HandGuiding(
            frames=self._frames,
            all_frames=FRAMES,
            exposure_s=EXPOSURE_S,
            press_s=press_s,
            reach_arcsec=(speed * float(np.cos(np.radians(DEC_DEG))), speed),
            dead_time_s=dead_time_s,
            backlash_arcsec=backlash,
            presses=len(self._presses),
            you=self._player(you),
            controller=self._player(controller),
            nobody=self._player(nobody),
        )

    def _player(self, run):
        """One player up to the newest frame."""
        end = round(self._frames * EXPOSURE_S / STEP_S)
        path = {name: getattr(run, name)[:end] for name in ("times_s", "ra_arcsec", "dec_arcsec")}
        growth = guiding.star_growth(
            **path, sub_s=end * STEP_S, settle_s=0.0, star_fwhm_arcsec=self.night.star_arcsec(self._seeing)
        )
        seen = run.frames_s <= self._frames * EXPOSURE_S + 1e-6
        rms = [float(np.sqrt(np.mean(path[name] ** 2))) for name in ("ra_arcsec", "dec_arcsec")]
        return figure.Player(
            path["times_s"][::2], path["ra_arcsec"][::2], path["dec_arcsec"][::2],
            run.seen_ra_arcsec[seen], run.seen_dec_arcsec[seen], *rms, growth,
        )  # fmt: skip

    def _build(self, width_px):
        """The shared panel, with the hand box above the picture."""
        box = super()._build(width_px)
        keys = [
            _button(GLYPHS[way], partial(self._pressed, way)) for way in ("east", "west", "north", "south")
        ]
        waits = [_button(f"Wait {n} frame{'s' if n > 1 else ''}", partial(self._waited, n)) for n in (1, 5)]
        row = widgets.HBox([*keys, *waits], layout=widgets.Layout(width="100%", flex_flow="row wrap"))
        parts = list(box.children)
        at = parts.index(self._status)
        box.children = [*parts[:at], row, *parts[at:]]
        return box

    def _pressed(self, way, _):
        self.press(way)

    def _waited(self, frames, _):
        self.wait(frames)


def build_hand_guiding(passport) -> HandPanel:
    """The hand box on the class's common night, for the gear and the air of one passport."""
    return HandPanel(passport)


def _button(words, handler):
    button = widgets.Button(
        description=words,
        tooltip=words,
        layout=widgets.Layout(width="auto", min_width="105px", height="38px"),
    )
    button.style.font_size = TEXT_SIZE
    button.on_click(handler)
    return button


def _pulses(presses):
    """The presses as lists of moments and signed lengths for both axes."""
    return {
        "press_s": [moment for moment, _, _ in presses],
        "press_ra_s": [WAYS[way][0] * length for _, way, length in presses],
        "press_dec_s": [WAYS[way][1] * length for _, way, length in presses],
    }


def _readout(basis, result):
    you, controller = result.you, result.controller
    return Readout(
        "You, RMS from the cross", you.rms_arcsec, "″", basis, verdict(result, you, controller), digits=1
    )


def verdict(result, you, controller) -> str:
    """How far the game is, and both players' star."""
    if result.frames == 1:
        when = f"{result.dead_time_s:g} s later" if result.dead_time_s else "at once"
        return f"Press or wait {result.all_frames - 1} times: each takes one frame. The motor moves {when}."
    grown, its = (figure.percent(player.growth.growth) for player in (you, controller))
    both = f"As one sub of {result.frames * result.exposure_s:g} s your star grows by {grown}; "
    both += f"the controller: {controller.rms_arcsec:.1f}″, {its}."
    if result.frames < result.all_frames:
        return f"Frame {result.frames} of {result.all_frames}. {both}"
    return f"The end. {both} Nobody: {result.nobody.rms_arcsec:.1f}″. Reset: the same night."
