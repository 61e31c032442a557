"""The search for the period of a series: a coarse spectrum proposes, least squares decide."""

from __future__ import annotations

import numpy as np

from workbook.drive.linear import _columns, _least_squares

OVERSAMPLING = 8  # of the coarse spectrum
CANDIDATES = 6  # peaks of it that are fitted
CELLS = 8  # means for a turn of the highest harmonic, on which they are fitted
STEPS, NEAR = 12, 1e-4  # of Gauss–Newton: as many at most, and enough when a step is so small
MUCH_BETTER = 0.85  # a longer period must leave less than this of the squared residuals of a shorter one


def _best(times, errors, shortest, longest, harmonics):
    """Angular speed, coefficients and residuals of the best period in the range, or None.

    The candidates compete on means of the samples, the winner is fitted to the samples themselves.
    """
    cells = int(min(times.size, CELLS * harmonics * (times[-1] - times[0]) / shortest))
    few = _averaged(times, errors, max(cells, 8 * (harmonics + 1)))
    fits = []
    for guess in _guesses(times, errors, shortest, longest, harmonics):
        omega, _, left = _refined(*few, guess, harmonics)
        if 0.999 * shortest <= 2.0 * np.pi / omega <= 1.001 * longest:
            fits.append((omega, left @ left))
    if not fits:
        return None
    fits.sort(reverse=True)  # short periods first
    chosen = fits[0]
    for fit in fits[1:]:
        if fit[1] < MUCH_BETTER * chosen[1]:
            chosen = fit
    return _refined(times, errors, chosen[0], harmonics)


def _guesses(times, errors, shortest, longest, harmonics):
    """Angular speeds at the highest peaks of a coarse spectrum, its harmonics summed."""
    span = times[-1] - times[0]
    cells = int(2 ** np.ceil(np.log2(max(64, min(times.size, 8 * harmonics * span / shortest)))))
    even = np.interp(np.linspace(times[0], times[-1], cells), *_averaged(times, errors, cells))
    even = even - np.polyval(np.polyfit(np.arange(cells), even, 1), np.arange(cells))
    power = np.abs(np.fft.rfft(even, OVERSAMPLING * cells)) ** 2
    per_bin = OVERSAMPLING * cells / (cells - 1) * span  # period of bin 1
    bins = np.arange(max(1, int(per_bin / longest)), int(np.ceil(per_bin / shortest)) + 1)
    total = sum(power[np.minimum(k * bins, power.size - 1)] for k in range(1, harmonics + 1))
    around = np.concatenate([[-np.inf], total, [-np.inf]])
    peaks = np.flatnonzero((around[1:-1] >= around[:-2]) & (around[1:-1] >= around[2:]))
    peaks = peaks[np.argsort(total[peaks])[::-1][:CANDIDATES]]
    return 2.0 * np.pi * bins[peaks] / per_bin


def _averaged(times, errors, cells):
    """Means of the samples in even cells of time, empty cells left out."""
    cell = np.minimum(((times - times[0]) / (times[-1] - times[0]) * cells).astype(int), cells - 1)
    count = np.bincount(cell, minlength=cells)
    full = count > 0
    return tuple(np.bincount(cell, v, minlength=cells)[full] / count[full] for v in (times, errors))


def _refined(times, errors, omega, harmonics):
    """Gauss–Newton on the angular speed, lines and sines solved anew at each step."""
    widest = np.pi / (times[-1] - times[0])  # half a bin of the spectrum: it may climb no further at a time
    for _ in range(STEPS):
        table = _columns(times, omega, harmonics)
        best, left, _ = _least_squares(table, errors)
        full = np.column_stack([table, _slope(times, omega, best[2:].reshape(-1, 2))])
        move = float(np.linalg.lstsq(full.T @ full, full.T @ left, rcond=None)[0][-1])
        omega += float(np.clip(move, -widest, widest))
        if omega <= 0.0 or abs(move) < NEAR * widest:
            break
    omega = max(omega, 1e-12)
    best, left, _ = _least_squares(_columns(times, omega, harmonics), errors)
    return omega, best, left


def _slope(times, omega, waves):
    """How the sines change with the angular speed."""
    t = times - (times[0] + times[-1]) / 2.0
    first = np.exp(1j * omega * t)
    slope, wave = np.zeros_like(t), first
    for k, (cosine, sine) in enumerate(waves, start=1):
        slope += k * t * (sine * wave.real - cosine * wave.imag)
        wave = wave * first
    return slope
