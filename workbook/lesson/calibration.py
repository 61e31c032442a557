"""How good the learner's guesses are: the ledger in words."""

from __future__ import annotations

import math
import statistics

NEAR = 1.5  # a factor an estimate by hand should reach


def miss_factor(guess: float, answer: float) -> float:
    """How many times apart guess and answer are, 1 or more; infinite across zero.

    >>> miss_factor(30, 45), miss_factor(45, 30), miss_factor(0, 0), miss_factor(-1, 2)
    (1.5, 1.5, 1.0, inf)
    """
    if guess == answer:
        return 1.0
    if guess * answer <= 0:
        return math.inf
    return max(guess / answer, answer / guess)


def in_ledger_words(entries) -> str:
    """A summary of ledger entries: how many, how near, which way they err, how sure and how right.

    Parameters
    ----------
    entries : list of dict
        As in `Ledger.entries`.

    Returns
    -------
    str
        One fact a line.
    """
    if not entries:
        return "No prediction made yet."
    answered = [entry for entry in entries if "answer" in entry]
    lines = [f"Predictions made: {len(entries)}, compared with their answer: {len(answered)}."]
    pairs = [(e["guess"], e["answer"]) for e in answered if not isinstance(e["answer"], str)]
    pairs = [(guess, answer) for guess, answer in pairs if not isinstance(guess, str)]
    chosen = [entry for entry in answered if isinstance(entry["answer"], str)]
    if pairs:
        near = sum(miss_factor(*pair) <= NEAR for pair in pairs)
        lines.append(f"Within a factor of {NEAR:g}: {near} of {len(pairs)} numbers.")
        ratios = [guess / answer for guess, answer in pairs if guess * answer > 0]
        if len(ratios) > 1:
            middle = statistics.median(ratios)
            way = "too high" if middle > 1 else "too low"
            size = max(middle, 1 / middle)
            lines.append(
                f"Your middle guess is {size:.2g} times {way}."
                if size >= 1.05
                else "Your guesses lean neither high nor low."
            )
    if chosen:
        lines.append(f"Right choices: {sum(bool(e.get('hits')) for e in chosen)} of {len(chosen)}.")
    sure = [e for e in answered if "confidence" in e]
    if sure:
        mean = statistics.fmean(e["confidence"] for e in sure)
        hits = sum(bool(e.get("hits")) for e in sure)
        lines.append(
            f"You were {100 * mean:.0f} % sure on average, "
            f"and hit {hits} of {len(sure)} ({100 * hits / len(sure):.0f} %)."
        )
    return "\n".join(lines)
