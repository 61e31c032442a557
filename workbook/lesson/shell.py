"""The shell around one lesson: whose rig, predictions, answers, gates, and the ledger behind them."""

from __future__ import annotations

from workbook.lesson import answers, functions
from workbook.lesson.calibration import in_ledger_words
from workbook.lesson.gates import Gate, safety
from workbook.lesson.home import find_rig, home_folder
from workbook.lesson.ledger import Ledger
from workbook.lesson.predict import Prediction
from workbook.lesson.words import Note, recall


def setup(name: str, passport=None) -> Lesson:
    """Begin a lesson: read the rig, open the ledger, and say both in a line or two.

    Parameters
    ----------
    name : str
        File stem of the notebook.
    passport : path or str, optional
        A passport file or scenario, instead of the learner's own.

    Returns
    -------
    Lesson
    """
    rig, said = find_rig(passport)
    lesson = Lesson(name, passport=rig, ledger=Ledger(home_folder()))
    for line in [*said, *lesson.ledger.notes()]:
        print(line)
    return lesson


class Lesson:
    """One run of one lesson.

    Parameters
    ----------
    name : str
        File stem of the notebook.
    passport : Passport
        The rig that is read.
    ledger : Ledger
        Where predictions are kept.
    """

    recall = staticmethod(recall)
    safety = staticmethod(safety)

    def __init__(self, name: str, *, passport, ledger: Ledger):
        if not isinstance(name, str) or not name.strip():
            raise ValueError(f"name must be the file stem of the notebook, received {name!r}")
        self.name, self.passport, self.ledger = name, passport, ledger
        self.predictions: dict[str, Prediction] = {}
        self._asked: dict[str, tuple] = {}
        self._gates: dict[str, Gate] = {}
        self._questions: dict[str, dict] = {}
        self._attempts = answers.Attempts()

    def predict(self, key: str, question: str, **how) -> Prediction:
        """Ask for a guess; see `Prediction` for unit, low, high, step, options and start.

        Running the cell again gives the same prediction, with its lock and whatever listens to it.
        """
        asked = (question, sorted((name, repr(value)) for name, value in how.items()))
        if self._asked.get(key) != asked:
            self.predictions[key] = Prediction(self.name, key, question, ledger=self.ledger, **how)
            self._asked[key] = asked
        return self.predictions[key]

    def check(self, answer, *, expected, **how) -> answers.Feedback:
        """Check an answer; see `answers.check` for the tolerance, unit, hints and words."""
        return answers.check(answer, expected=expected, attempts=self._attempts, **how)

    def check_function(self, f, *, against, cases, **how) -> answers.Feedback:
        """Check a function the learner wrote; see `functions.check_function`."""
        return functions.check_function(f, against=against, cases=cases, attempts=self._attempts, **how)

    def question(self, name: str, **how) -> None:
        """Keep a question for `answer`, so that the cell a learner fills in does not show what is expected.

        With `against` it is a function to be written (see `functions.check_function`), else an answer to be
        checked (see `answers.check`).
        """
        if not {"expected", "against"} & set(how):
            raise ValueError(f"question {name!r} needs expected= (a value) or against= (a function)")
        self._questions[name] = how

    def answer(self, name: str, given) -> answers.Feedback:
        """Check what the learner gives for a question of this lesson."""
        if name not in self._questions:
            known = ", ".join(map(repr, self._questions)) or "none yet: run the first cell of the lesson"
            raise ValueError(f"no question is named {name!r}; there are {known}")
        how = self._questions[name]
        checker = self.check_function if "against" in how else self.check
        return checker(given, name=name, **how)

    def case(self, number: int):
        """Open a mystery of lesson 08; the same number gives a whole class the same one."""
        from workbook.lesson.mystery import open_case  # only where it is asked for

        return open_case(number)

    def screws(self, number: int):
        """Open the hidden screws of lesson 04; the same number gives a whole class the same mount."""
        from workbook.lesson.hidden_screws import open_mount  # only where it is asked for

        return open_mount(number)

    def field_card(self, passport=None, **plan):
        """The field card of this lesson's rig, or of another: shown, and kept in the learner's folder."""
        from workbook.lesson.card import field_card  # only where it is asked for

        return field_card(self.passport if passport is None else passport, **plan)

    def gate(self, name: str) -> Gate:
        """The gate of that name; the same one through this run, closed at every start."""
        return self._gates.setdefault(name, Gate(name))

    def ledger_summary(self) -> Note:
        """All predictions of all lessons, in words."""
        return Note("\n".join([in_ledger_words(self.ledger.entries), *self.ledger.notes()]))

    def __repr__(self) -> str:
        return f"Lesson {self.name}, rig {self.passport.name}"
