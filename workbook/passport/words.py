"""The nearest valid name of a misspelt one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

CLOSE = 0.6  # likeness from which a misspelt name surely stands for its neighbour


def likeness(word, other: str) -> float:
    """How alike two names are, 0 to 1, whatever their capitals and hyphens.

    >>> likeness("Focal-mm", "focal_mm"), likeness("abc", "xyz")
    (1.0, 0.0)
    """
    return difflib.SequenceMatcher(None, str(word).lower().replace("-", "_"), other.replace("-", "_")).ratio()


def nearest(word, names: Iterable[str]) -> str:
    """The most alike of the names.

    >>> nearest("focal_length", ["aperture_mm", "focal_mm"])
    'focal_mm'
    """
    return max(names, key=lambda name: likeness(word, name))
