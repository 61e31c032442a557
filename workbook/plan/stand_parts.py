"""What the passport does not hold of a stand and its head: assumptions of lesson 07 and of the field card."""

from __future__ import annotations

BAR_ROOT_MM = 30.0  # from the primary axis to where the bar is clamped
HEAD_KG = 1.3  # the head itself, at the crossing of its axes
HINGE_M = 0.085  # from the wedge's hinge, above the middle of the feet, to the crossing of the axes
LIGHTEST_KG = 0.5  # legs lighter than that carry no telescope
CARELESS_N = 20.0, 50.0  # so hard pushes a careless elbow: common practice, no source


def elbow_words(push_n: float) -> str:
    """How a push that tips the stand [N] compares with a careless elbow; "" where that does not reach it.

    >>> elbow_words(15.0), elbow_words(30.0), elbow_words(60.0)
    ('less than a careless elbow', 'as a careless elbow may', '')
    """
    if push_n < CARELESS_N[0]:
        return "less than a careless elbow"
    return "as a careless elbow may" if push_n < CARELESS_N[1] else ""
