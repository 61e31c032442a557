"""Predict and lock: the learner commits to a guess before the answer is seen.

`Prediction` is the logic, without widgets; `boxes.build_prediction` puts a slider and a button on it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from workbook.lesson.calibration import miss_factor
from workbook.lesson.ledger import Ledger, is_value
from workbook.lesson.words import Note, as_paragraphs, in_words, unit_label


class Prediction:
    """One question with the learner's guess.

    Parameters
    ----------
    lesson, key : str
        Where the guess stands in the ledger.
    question : str
        A concrete case with its numbers.
    ledger : Ledger
    unit : str
        Unit of a number, as suffix or label.
    low, high, step : float
        Range and step of a number; the step is a hundredth of the range where it is left out.
    options : sequence of str or number
        The choices, instead of a range.
    start : float or str, optional
        Where the slider stands at first; the middle of the range, or the first option.

    Attributes
    ----------
    locked : bool
    value : float, str or None
        The locked guess, for the ghost on the picture; None before.
    """

    def __init__(
        self,
        lesson: str,
        key: str,
        question: str,
        *,
        ledger: Ledger,
        unit: str = "",
        low: float | None = None,
        high: float | None = None,
        step: float | None = None,
        options=(),
        start=None,
    ):
        self.lesson, self.key, self.question, self.ledger = lesson, key, question, ledger
        self.unit, self.options = unit_label(unit), tuple(options)
        self.low, self.high, self.step = low, high, step
        self._check_range()
        self.start = self._middle() if start is None else self._allowed(start)
        self.value = None
        self.earlier = False
        self._remark = ""
        self._callbacks: list[Callable] = []
        self._box = None
        self._recall_earlier()

    def _check_range(self):
        if self.options:
            if self.low is not None or self.high is not None or self.step is not None:
                raise ValueError("give either options or low, high and step, not both")
            if not all(map(is_value, self.options)):
                raise TypeError(f"options must be texts or numbers, received {self.options!r}")
            if len(self.options) < 2 or len(set(map(self.words, self.options))) < len(self.options):
                raise ValueError(f"options must be two or more different choices, received {self.options!r}")
            return
        if self.low is None or self.high is None:
            raise ValueError("give low and high for a number, or options for a choice")
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"low must be below high, received low={self.low!r} and high={self.high!r}")
        self.step = (self.high - self.low) / 100 if self.step is None else self.step
        if not 0 < self.step <= self.high - self.low:
            raise ValueError(f"step must be above 0 and within the range, received {self.step!r}")

    def _middle(self):
        if self.options:
            return self.options[0]
        steps = round((self.high - self.low) / self.step / 2)
        return self.low + self.step * steps

    def _allowed(self, value):
        if self.options:
            if value not in self.options:
                raise ValueError(
                    f"the guess must be one of {', '.join(map(self.words, self.options))}, received {value!r}"
                )
            return value
        if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
            raise TypeError(
                f"the guess must be a number{f' in {self.unit}' if self.unit else ''}, received {value!r}"
            )
        if not self.low <= value <= self.high:
            limits = f"{self.words(self.low)} to {self.words(self.high)}"
            raise ValueError(f"the guess must be {limits}, received {self.words(value)}")
        rounded = float(f"{value:.10g}")  # the steps of a slider leave binary crumbs
        return min(max(rounded, float(self.low)), float(self.high))

    def _recall_earlier(self):
        entry = self.ledger.find(self.lesson, self.key)
        if entry is None:
            return
        try:
            self.value = self._allowed(([entry["guess"], *entry.get("later", [])])[-1])
        except (TypeError, ValueError):
            return  # the question has another range by now
        self.earlier = True

    @property
    def locked(self) -> bool:
        return self.value is not None

    def words(self, value) -> str:
        """A guess or answer with its unit."""
        return in_words(value, self.unit)

    def lock(self, value, *, confidence: float | None = None) -> Note:
        """Commit to a guess; a locked one stays as it is until `start_over`, and three dots lock nothing."""
        if self.locked or value is ...:
            return Note(self.status())
        value = self._allowed(value)
        if confidence is not None and not 0 <= confidence <= 1:
            raise ValueError(f"confidence must be a share between 0 and 1, received {confidence!r}")
        self.ledger.guess(
            self.lesson, self.key, question=self.question, guess=value, unit=self.unit, confidence=confidence
        )
        self.value, self.earlier = value, False
        self._remark = " ".join(self.ledger.notes())
        self._tell()
        return Note(self.status())

    def start_over(self) -> None:
        """Open the guess again; the ledger keeps the first one."""
        self.value, self.earlier = None, False
        self._tell()

    def on_lock(self, callback: Callable) -> None:
        """Call back with the guess once it is locked (at once where it is), and with None at a start over."""
        self._callbacks.append(callback)
        if self.locked:
            callback(self.value)

    def _tell(self):
        if self._box is not None:
            self._box.show()
        for callback in list(self._callbacks):
            callback(self.value)

    def status(self) -> str:
        """One or two sentences: whether a guess is locked, and which."""
        if not self.locked:
            text = "No guess locked yet."
        elif self.earlier:
            text = f"Your guess from an earlier run is locked: {self.words(self.value)}."
            text += " Start over to guess anew."
        else:
            text = f"Your guess is locked: {self.words(self.value)}."
        entry = self.ledger.find(self.lesson, self.key)
        if entry is not None and entry["guess"] != self.value:
            text += f" (The ledger keeps your first: {self.words(entry['guess'])}.)"
        return f"{text} {self._remark}".rstrip()

    def reveal(self, answer, tolerance: float = 0.25, *, absolute: float = 0.0, because: str = "") -> Note:
        """Compare the guess with the answer, in one sentence, and write the answer into the ledger.

        Parameters
        ----------
        answer : float or str
            The right value, or the right option.
        tolerance : float
            A number within this share of the answer is a hit; a quarter is near for a guess before reading.
        absolute : float
            Or within this distance in the unit, whichever is larger.
        because : str
            A sentence to go with it.

        Returns
        -------
        Note
            Before a guess is locked it asks for one and tells nothing.
        """
        answer = answer if isinstance(answer, str) else float(answer)
        if not is_value(answer):
            raise ValueError(f"the answer must be a finite number or an option, received {answer!r}")
        if self.options and answer not in self.options:
            raise ValueError(f"the answer must be one of the options, received {answer!r}")
        if not self.options and isinstance(answer, str):
            raise TypeError(f"the answer must be a number, received {answer!r}")
        if not self.locked:
            return Note(
                "Lock your guess first, then run this cell again: a guess before the answer is what teaches."
            )
        self.ledger.answer(
            self.lesson, self.key, answer=answer, hits=self._hits(self._first(), answer, tolerance, absolute)
        )
        hit = self._hits(self.value, answer, tolerance, absolute)
        return Note("\n".join(filter(None, [self._sentence(answer, hit), because, *self.ledger.notes()])))

    def _first(self):
        entry = self.ledger.find(self.lesson, self.key)
        return self.value if entry is None else entry["guess"]

    def _hits(self, guess, answer, tolerance, absolute):
        if self.options or isinstance(guess, str):
            return guess == answer
        return abs(guess - answer) <= max(tolerance * abs(answer), absolute)

    def _sentence(self, answer, hit):
        guess = self.value
        said = f"You guessed {f'“{guess}”' if isinstance(guess, str) else self.words(guess)}"
        if guess == answer:
            return f"{said}, and that is the answer."
        if isinstance(answer, str):
            return f"{said}; the answer is “{answer}”."
        said += f"; the answer is {self.words(answer)}"
        factor = miss_factor(guess, answer)
        if math.isinf(factor):
            how = f"you are {self.words(abs(guess - answer))} off"
        elif factor >= 1.5:
            how = f"your guess is {factor:.2g} times too {'large' if abs(guess) > abs(answer) else 'small'}"
        else:
            share = (guess - answer) / abs(answer)
            how = f"your guess is {100 * abs(share):.0f} % too {'high' if share > 0 else 'low'}"
            if abs(share) < 0.01:
                how = "your guess is less than 1 % off"
        return f"{said}: {'near enough, ' if hit else ''}{how}."

    @property
    def box(self):
        """The widget: slider or choice, button, status line."""
        if self._box is None:
            from workbook.lesson.boxes import PredictionBox

            self._box = PredictionBox(self)
        return self._box.widget

    def __repr__(self) -> str:
        if self.options:
            kind = f"Choose: {', '.join(map(self.words, self.options))}."
        else:
            kind = f"Guess: {self.words(self.low)} to {self.words(self.high)}."
        return f"Predict: {self.question}\n{kind} {self.status()}"

    def _repr_mimebundle_(self, include=None, exclude=None):
        live = self.box._repr_mimebundle_()
        return live | {
            "text/plain": repr(self),
            "text/html": Note("", as_paragraphs(repr(self)))._repr_html_(),
        }
