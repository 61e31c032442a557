"""Which cause made these stars? Numbered cases with a hidden cause, solved by tests, played in words alone.

A case begins with one corner of one sub. Each test answers from the same physics as the panel of the lesson.
The score counts tests, and luck does not shorten it: where the tests made so far would also fit another kind
of case, the tests that were still missing are counted as well.
"""

from __future__ import annotations

import functools
import itertools
from typing import NamedTuple

import numpy as np

from workbook import passport
from workbook.lesson.words import Note
from workbook.nine_stars import Causes, corner_curvature_um, stars_at, train

SUSPECTS = {
    "A": "spacer too short (sensor too close)",
    "B": "spacer too long (sensor too far)",
    "C": "sensor tilted from left to right",
    "D": "sensor tilted from bottom to top",
    "E": "out of focus everywhere",
    "F": "a lens off-centre",
    "G": "the mount drifts",
}
KINDS = (*SUSPECTS, "AG", "BC", "BE", "DG", "EF")  # one guilty, or two
PAIRS = tuple(kind for kind in KINDS if len(kind) == 2)
TESTS = {
    1: "look at the other three corners of the same sub",
    2: "look at the centre star of the same sub",
    3: "expose 3 s instead of 60 s",
    4: "refocus on the centre star",
    5: "refocus for the smallest corners",
    6: "turn the camera by 90°",
    7: "put in 0.3 mm more spacer, focus restored",
}
WRONG_COSTS = 2
TRIES = 40
BANK = 2000  # cases of each kind that an accusation is compared with
WIDE, VERY_WIDE, ROUND = 1.15, 1.7, 1.1
SAME = 0.02  # a change of width below this share is none
SIZES, SHAPES = (
    ("sharp", "wide", "very wide"),
    ("round", "pointing to the centre", "lying askew", "circling the centre"),
)
PLACES = ("centre", "upper right", "upper left", "lower left", "lower right")
ACROSS, UP = np.array([0.0, 1.0, -1.0, -1.0, 1.0]), np.array([0.0, 1.0, 1.0, -1.0, -1.0])
CENTRE, CORNER = 0, 1
SEEN = {1: (2, 3, 4), 2: (CENTRE,)}  # places that a mere look tells about
REFOCUSED = (4, 5)


class Look(NamedTuple):
    """Stars at five places in one situation: long and short width [px], size and shape as words' numbers."""

    long_px: np.ndarray
    short_px: np.ndarray
    width_px: np.ndarray
    size: np.ndarray
    shape: np.ndarray


class Case:
    """One mystery.

    Parameters
    ----------
    number : int
        Which case, 1 or more: the same number is the same case everywhere. Of twelve in a row (1 to 12, 13 to
        24, …) each kind comes once, in mixed order.

    Attributes
    ----------
    made : list of int
        The tests made, in their order.
    wrong : int
        Wrong accusations.
    solved : bool
    score : int or None
        Tests, missing tests and twice the wrong accusations; None until the case is solved.
    """

    def __init__(self, number: int):
        if isinstance(number, bool) or not isinstance(number, int):
            raise TypeError(f"the number of a case is a whole number such as 3, received {number!r}")
        if number < 1:
            raise ValueError(f"the number of a case is 1 or more, received {number}")
        self.number, self.made, self.wrong, self.solved, self.score = number, [], 0, False, None
        block, place = divmod(number - 1, len(KINDS))
        self._kind = KINDS[np.random.default_rng(block).permutation(len(KINDS))[place]]
        looks = situations(draw_causes(self._kind, TRIES, seed=number))
        chosen = int(np.argmax(looks[0].size[:, CORNER] > 0))  # nobody complains about a sharp corner
        self._looks = {test: Look(*(part[chosen] for part in look)) for test, look in looks.items()}
        self._words = {test: tuple(said[chosen].tolist()) for test, said in evidence(looks).items()}

    def test(self, number) -> Note:
        """Make a test, or hear its answer again; a repeated one costs nothing."""
        if number is ... or number is None:
            return Note("No test made: put the number of a test, 1 to 7, in place of the three dots.")
        test = int(number) if str(number).strip() in map(str, TESTS) else None
        if test is None:
            return Note(f"There is no test {number!r}: give a number from 1 to {len(TESTS)}.")
        if test not in self.made and not self.solved:
            self.made.append(test)
        return Note(f"Test {test}, {TESTS[test]}.\n{self._answer(test)}\n{_tests(len(self.made))} so far.")

    def accuse(self, letters) -> Note:
        """Name the guilty: one letter, or two such as "AG"."""
        if self.solved:
            return Note(f"Case {self.number} is solved: {self._guilty()}. Open another one.")
        if letters is ... or letters is None:
            return Note("Nobody accused: put a letter in quotes, or two, in place of the three dots.")
        named = "".join(sorted(set(str(letters).upper()) & set(SUSPECTS)))
        rest = set(str(letters).upper()) - set(SUSPECTS) - set(" ,+&")
        if not named or rest or len(named) > 2:
            return Note(f'There is no such suspect as {letters!r}: one letter from A to G, or two, as "AG".')
        if named == self._kind:
            return self._close()
        self.wrong += 1
        return Note(f"No. A wrong accusation counts as {WRONG_COSTS} tests.\n{self._against(named)}")

    def _close(self):
        self.solved = True
        missing = missing_tests(self._kind, self._words, tuple(self.made))
        self.score = len(self.made) + len(missing) + WRONG_COSTS * self.wrong
        lines = [f"Solved: {self._guilty()}. Your score is {self.score}; fewer is better."]
        if missing:
            others = " or ".join(sorted(possible(self._words, tuple(self.made)) - {self._kind}))
            told = " and ".join(f"test {test}" for test in missing)
            lines.append(f"Your tests would also fit {others}: {told} was still missing and is counted.")
        best = missing_tests(self._kind, self._words, ())
        told = " and ".join(f"test {test}" for test in best)
        lines.append(f"The shortest way was {_tests(len(best))}: {told}.")
        return Note("\n".join(lines))

    def _against(self, named):
        if named not in KINDS:
            return "None of the cases has these two together."
        for test in (0, *self.made):
            if not (bank()[named][test] == self._words[test]).all(axis=1).any():
                said = f"Test {test}" if test else "The corner you began with"
                return f"{said} speaks against it: read that answer again."
        return "Nothing you have tested speaks against it yet: which test would?"

    def _guilty(self):
        return " and ".join(f"{letter}, {SUSPECTS[letter]}" for letter in self._kind)

    def _answer(self, test):
        look, before = self._looks[test], self._looks[0]
        if test in SEEN:
            return "\n".join(f"{PLACES[place].capitalize()}: {_star(look, place)}." for place in SEEN[test])
        change = _change(look.width_px[CORNER], before.width_px[CORNER])
        words = ("narrower than before", "as wide as before", "wider than before")[int(change) + 1]
        lines = [f"Upper right: {_star(look, CORNER)}, {words}."]
        if test in REFOCUSED:
            lines.append(f"Centre: {_star(look, CENTRE)}.")
        return "\n".join(lines)

    def __repr__(self):
        faultless = float(_rig().faultless_px)
        lines = [
            f"Case {self.number}. A friend sends one corner of one 60 s sub, nothing else.",
            f"Upper right: {_star(self._looks[0], CORNER)}. A faultless star of this rig is {faultless:.1f} px wide.",
            f"Length × width; their mean decides. Wide: over {WIDE} times faultless; very wide: over {VERY_WIDE}; "
            f"round: at most {ROUND} times as long as wide.",
            "Tests (each counts one):",
            *(f"{number}: {words}" for number, words in TESTS.items()),
            f"Suspects (one is guilty, or one of the pairs {', '.join(PAIRS)}; "
            f"a wrong accusation counts {WRONG_COSTS}):",
            *(f"{letter}: {words}" for letter, words in SUSPECTS.items()),
        ]
        return "\n".join(lines)

    def _repr_html_(self):
        return Note(repr(self))._repr_html_()


def open_case(number: int) -> Case:
    """Open a mystery; the same number gives a whole class the same one."""
    return Case(number)


def draw_causes(kind: str, count: int, *, seed: int) -> Causes:
    """Causes of one kind at random, large enough to be seen.

    Parameters
    ----------
    kind : str
        Letters of `SUSPECTS`.
    count : int
        How many.
    seed : int
        Which ones.
    """
    random = np.random.default_rng([seed, *map(ord, kind)])
    sign = random.choice([-1.0, 1.0], count)
    sizes = {
        "spacing_error_mm": random.uniform(1.2, 2.2, count) * (1 if "B" in kind else -1),
        "tilt_x_arcmin": random.uniform(16, 28, count) * sign,
        "tilt_y_arcmin": random.uniform(20, 34, count) * sign,
        "focus_um": random.uniform(55, 100, count) * sign,
        "coma_um": random.uniform(18, 28, count),
        "drift_px": random.uniform(3.0, 5.0, count),
    }
    guilty = {"A": 0, "B": 0, "C": 1, "D": 2, "E": 3, "F": 4, "G": 5}
    kept = {guilty[letter] for letter in kind}
    causes = {name: size * (k in kept) for k, (name, size) in enumerate(sizes.items())}
    directions = random.uniform(0, 180, (2, count))
    return Causes(**causes, coma_direction_deg=directions[0], drift_direction_deg=directions[1])


def situations(causes: Causes) -> dict[int, Look]:
    """The stars as they are (0, and the tests that only look), and after each other test.

    The short sub has a twentieth of the trail. Lens and mount keep their directions on the sky when the camera
    turns, so in the picture coma and drift turn; the tilt sits in the camera and stays. Corners are smallest
    where the focus takes back the mean defocus of the four.
    """
    rig = _rig()
    turned = {"coma_direction_deg": causes.coma_direction_deg + 90}
    turned["drift_direction_deg"] = causes.drift_direction_deg + 90
    after = {
        **dict.fromkeys((0, *SEEN), causes),
        3: causes._replace(drift_px=causes.drift_px / 20),
        4: causes._replace(focus_um=0.0 * causes.focus_um),
        5: causes._replace(focus_um=-corner_curvature_um(rig, causes)),
        6: causes._replace(**turned),
        7: causes._replace(spacing_error_mm=causes.spacing_error_mm + 0.3),
    }
    return {test: _look(rig, changed) for test, changed in after.items()}


def evidence(looks: dict[int, Look]) -> dict[int, np.ndarray]:
    """What each test says, as numbers that stand for its words, shape (cases, words)."""
    before = looks[0].width_px[:, CORNER]
    said = {}
    for test, look in looks.items():
        places = SEEN.get(test, (CORNER, CENTRE) if test in REFOCUSED else (CORNER,))
        words = [part[:, place] for place in places for part in (look.size, look.shape)]
        if test and test not in SEEN:
            words.append(_change(look.width_px[:, CORNER], before))
        said[test] = np.stack(words, axis=1)
    return said


@functools.lru_cache(maxsize=1)
def bank() -> dict[str, dict[int, np.ndarray]]:
    """Evidence of many cases of each kind: a kind is possible while one of them says all that was heard."""
    return {kind: evidence(situations(draw_causes(kind, BANK, seed=0))) for kind in KINDS}


def possible(words, made) -> set[str]:
    """The kinds of case that fit the first corner and the tests made."""
    fit = set()
    for kind, said in bank().items():
        alike = np.ones(BANK, bool)
        for test in (0, *made):
            alike &= (said[test] == words[test]).all(axis=1)
        if alike.any():
            fit.add(kind)
    return fit


def missing_tests(kind, words, made) -> tuple[int, ...]:
    """The fewest further tests that leave no other kind; where none do, those that leave the fewest."""
    left = [test for test in TESTS if test not in made]
    best = ((len(possible(words, made) - {kind}), 0), ())
    for count in range(1, len(left) + 1):
        for more in itertools.combinations(left, count):
            others = len(possible(words, (*made, *more)) - {kind})
            best = min(best, ((others, count), more))
        if best[0][0] == 0:
            break
    return best[1]


@functools.lru_cache(maxsize=1)
def _rig():
    """Every case happens on the balcony rig, so that a number means the same case for everybody."""
    return train(passport.scenario("balcony").central())


def _look(rig, causes):
    stars = stars_at(rig, causes, across=ACROSS, up=UP)
    size = np.digitize(stars.width_px / rig.faultless_px, [WIDE, VERY_WIDE])
    radial = np.degrees(np.arctan2(UP * rig.half_height_mm, ACROSS * rig.half_width_mm))
    angle = np.nan_to_num(stars.angle_deg) - radial
    apart = np.abs((angle + 90) % 180 - 90)  # 0 pointing to the centre, 90 circling it
    shape = 1 + np.digitize(apart, [30, 60])
    shape = np.where(stars.long_px <= ROUND * stars.short_px, 0, shape)
    return Look(stars.long_px, stars.short_px, stars.width_px, size, shape)


def _change(after, before):
    return np.sign(np.where(np.abs(after / before - 1) < SAME, 0.0, after - before))


def _star(look, place):
    shape = SHAPES[look.shape[place]]
    if place == CENTRE and look.shape[place]:
        shape = "long"
    return f"{look.long_px[place]:.1f} × {look.short_px[place]:.1f} px, {SIZES[look.size[place]]}, {shape}"


def _tests(count):
    return f"{count} test" if count == 1 else f"{count} tests"
