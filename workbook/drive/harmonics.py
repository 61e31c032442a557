"""What the files of this topic share: the harmonics of a gear, checked, and the cycle in which they meet again."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, positive

# Where the periods have no common cycle: turns of the longest that stand for all relative phases, fewer where
# the shortest has turned so often that it has met them all.
MOST_TURNS = 40
MOST_SHORT_TURNS = 400


def _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg):
    """Swing [″], period [s] and phase [rad] of the harmonics, all with the harmonics on the last axis."""
    swing = not_negative("peak_to_peak_arcsec", peak_to_peak_arcsec)
    period = positive("period_s", period_s)
    phase = np.radians(between("phase_deg", phase_deg, -3600, 3600, cure="one turn is 360°"))
    values = np.atleast_1d(swing, period, phase)
    shapes = {value.shape for value in values} - {(1,)}
    if len(shapes) > 1 or any(value.ndim > 1 for value in values):
        raise ValueError(
            "peak_to_peak_arcsec, period_s and phase_deg must be single numbers or lists of one length, one "
            f"number a harmonic, received the shapes {', '.join(str(value.shape) for value in values)}"
        )
    return np.broadcast_arrays(*values)


def _common_cycle(period):
    """The shortest time after which all harmonics meet again, in whole turns of the longest [s]."""
    longest = period.max()
    most = (
        MOST_TURNS
        if np.isnan(longest)
        else min(MOST_TURNS, 1 + int(MOST_SHORT_TURNS * period.min() / longest))
    )
    for turns in range(1, most):
        cycles = turns * longest / period
        if np.all(np.abs(cycles - np.round(cycles)) < 0.01):
            return turns * longest
    return most * longest


def _error(time, swing, period, phase):
    return sum(
        p / 2.0 * np.sin(2.0 * np.pi * time / t + f) for p, t, f in zip(swing, period, phase, strict=True)
    )
