"""Straight lines and sines fitted to a series, with an uncertainty that allows for wander."""

from __future__ import annotations

import numpy as np

from workbook.checks import number

LINE_MODES, SINE_MODES = 2, 1.5  # modes that a line takes, and to each side of a sine
RATIOS = 80  # of wander to white noise that are tried


def _series(times_s, **columns):
    """Times and columns as arrays, checked: one length, rising times, nothing missing."""
    times = np.atleast_1d(number("times_s", times_s))
    values = {name: np.atleast_1d(number(name, column)) for name, column in columns.items()}
    shapes = {times.shape} | {value.shape for value in values.values()}
    if len(shapes) > 1 or times.ndim != 1:
        raise ValueError(
            f"times_s and {', '.join(values)} must be series of one length, received "
            f"{', '.join(str(len(np.atleast_1d(v))) for v in (times, *values.values()))} values"
        )
    if not np.isfinite([times, *values.values()]).all():
        raise ValueError("the series has missing values: leave out the rows without a star")
    if (np.diff(times) <= 0).any():
        row = int(np.argmax(np.diff(times) <= 0)) + 1
        raise ValueError(
            f"times_s must rise, received {times[row]:g} s after {times[row - 1]:g} s: sort the series by time"
        )
    return times, *values.values()


def _columns(times, omega, harmonics):
    """The columns 1, t, cos kωt, sin kωt (time from the middle, so that line and sines hardly mix)."""
    t = times - (times[0] + times[-1]) / 2.0
    first = np.exp(1j * omega * t)
    waves, wave = [], first
    for _ in range(harmonics):
        waves += [wave.real, wave.imag]
        wave = wave * first
    return np.stack([np.ones_like(t), t / t[-1], *waves], axis=1)


def _least_squares(table, values):
    """Coefficients, residuals and the inverse of the normal matrix."""
    inverse = np.linalg.inv(table.T @ table)
    best = inverse @ (table.T @ values)
    best = best + inverse @ (table.T @ (values - table @ best))  # one step of refinement
    return best, values - table @ best, inverse


def _noise(times, left, *taken_hz, unseen=True):
    """White noise (variance) and wander (variance per second) of residuals, by their most likely mixture.

    In cosine modes of the series white noise has the same power in each, a wander 1/(4 sin²(πk/2n)) times that of
    its steps. Modes that the fit has taken away are passed over: the lowest two (a line) and those around the
    frequencies `taken_hz`. A wander that cannot be told from none is not excluded: it counts as its one-sigma limit,
    unless `unseen` is false: then as none.
    """
    count, span = left.size, times[-1] - times[0]
    if np.ptp(left) == 0.0:
        return 0.0, 0.0
    turned = np.exp(-0.5j * np.pi * np.arange(count) / count)
    modes = (np.fft.rfft(np.concatenate([left, left[::-1]]))[:count] * turned).real ** 2 / (2.0 * count)
    k = np.arange(count)
    kept = k > LINE_MODES
    for frequency in taken_hz:
        kept &= np.abs(k - 2.0 * span * frequency) > SINE_MODES
    power, shape = modes[kept], 1.0 / (4.0 * np.sin(np.pi * k[kept] / (2.0 * count)) ** 2)
    ratios = np.concatenate([[0.0], np.geomspace(1e-3 / shape.max(), 1e3 / shape.min(), RATIOS)])
    mixed = 1.0 + ratios[:, None] * shape
    white = np.mean(power / mixed, axis=1)
    misfit = power.size * np.log(white) + np.log(mixed).sum(axis=1)
    best = int(np.argmin(misfit))
    if misfit[0] - misfit[best] < 1.0:  # not seen
        best = (
            0
            if not unseen
            else max(best, 1 + int(np.argmax(misfit[1:] > np.minimum(misfit[0], misfit[1:].min()) + 1.0)))
        )
    return float(white[best]), float(ratios[best] * white[best] * (count - 1) / span)


def _covariance(times, table, inverse, white, walk):
    """Covariance of least-squares coefficients under white noise and a random walk.

    A wander is a sum of kicks, and a kick between two samples moves all later ones: XᵀCX sums over the kicks.
    """
    later = np.cumsum(table[::-1], axis=0)[::-1][1:]  # the columns summed over all samples after each kick
    kicks = np.einsum("ni,nj,n->ij", later, later, np.diff(times), optimize=True)
    return inverse @ (white * (table.T @ table) + walk * kicks) @ inverse
