"""Move every control of a panel over its range, so that a broken panel cannot pass for a sound one."""

from __future__ import annotations

import re

NO_NUMBER = re.compile(r"\b(nan|NaN|inf|None)\b")


def sweep(panel) -> int:
    """Move each control to both ends, its middle and every option; then all low, all high, and back.

    Parameters
    ----------
    panel : Panel
        Left as it was found.

    Returns
    -------
    int
        The number of moves made.

    Raises
    ------
    AssertionError
        Where a move shows an error, a number that is none, or a picture that does not follow its control.
    Exception
        Whatever the calculation or the figure raises.
    """
    start, before = panel.values, panel.moves
    pictures = {}

    def go(ranges=False, **values):
        panel.set(ranges=ranges, **values)
        text = str(panel)
        assert not panel.problem, f"{values}: {panel.problem}"
        assert not NO_NUMBER.search(text), f"{values}: {text}"
        return panel.picture

    try:
        for name, control in panel.controls.items():
            pictures[name] = {go(**{name: value}) for value in control.options}
            go(**start)
        go(ranges=True, **{name: control.options[0] for name, control in panel.controls.items()})
        go(ranges=True, **{name: control.options[1] for name, control in panel.controls.items()})
    finally:
        panel.set(**start)
    still = [name for name, seen in pictures.items() if len(seen) == 1]
    assert not still, f"the picture does not follow {', '.join(still)}"
    return panel.moves - before
