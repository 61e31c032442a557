"""The share of subs that the gears leave good, with a sharp line or with partial credit, and the knee."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, chosen, fraction, positive
from workbook.drive.harmonics import _checked_harmonics, _common_cycle, _error

KNEE_YIELD = 0.9  # the convention for the knee: nine subs of ten are kept

# The grid of start phases. Between its points the extent is taken as a straight line; the yield is then good
# to 0.002, which the tests measure against a closed form.
STARTS_PER_PERIOD = 1024  # of the longest period
STARTS_PER_HARMONIC = 64  # of the shortest period


def frame_yield(*, sub_s, peak_to_peak_arcsec, period_s, tolerance_arcsec, phase_deg=0.0, dec_deg=0.0):
    """The share of subs that the gears leave good, if subs start at any moment of the gear's turn.

    Parameters
    ----------
    sub_s : float or array
        Length of the sub [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error, top to bottom; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    tolerance_arcsec : float or array
        Largest extent of the path on the sky that still makes a good sub [″].
    phase_deg : float or sequence
        Phases of the harmonics against each other [°]; 0 by default, and without effect for one harmonic.
    dec_deg : float or array
        Declination [°]; 0 by default, the equator, where the gears show most.

    Returns
    -------
    float or array
        Frame yield, 0 to 1.

    Raises
    ------
    ValueError
        If a length or period is not above zero, a swing negative or the declination beyond ±90°.

    Notes
    -----
    Extent = (largest − smallest error within the sub) cos δ, for starts spread evenly over the common cycle
    of the harmonics, good to 0.002. Periods within about 1 % of whole ratios are taken to share that cycle;
    where there is none, up to 40 turns of the longest period stand for all phases. Gear error alone: drift,
    rotation, wind and guiding come on top of it.

    References
    ----------
    Definition; for one sine a closed form in the tests, and reference row TRK-10.

    Examples
    --------
    >>> print(round(frame_yield(sub_s=10, peak_to_peak_arcsec=50, period_s=420.3, tolerance_arcsec=3), 2))
    0.59
    """
    sub = positive("sub_s", sub_s)
    tolerance = positive("tolerance_arcsec", tolerance_arcsec)
    on_sky = np.cos(np.radians(between("dec_deg", dec_deg, -90, 90)))
    harmonics = _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    sub, tolerance, on_sky = np.broadcast_arrays(sub, tolerance, on_sky)
    kept = np.empty(sub.shape)
    for index in np.ndindex(sub.shape):
        kept[index] = _share_within(_extents(sub[index], *harmonics) * on_sky[index], tolerance[index])
    return kept[()]


def knee_s(*, peak_to_peak_arcsec, period_s, tolerance_arcsec, phase_deg=0.0, dec_deg=0.0):
    """The knee: the longest sub of which the gears leave nine in ten good.

    Parameters
    ----------
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error, top to bottom; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    tolerance_arcsec : float or array
        Largest extent of the path on the sky that still makes a good sub [″].
    phase_deg : float or sequence
        Phases of the harmonics against each other [°]; 0 by default, and without effect for one harmonic.
    dec_deg : float or array
        Declination [°]; 0 by default, the equator, where the gears show most.

    Returns
    -------
    float or array
        Length of the sub [s]; infinite where the whole swing stays within the tolerance.

    Raises
    ------
    ValueError
        As in `frame_yield`.

    Notes
    -----
    The yield never rises with the length of the sub, so halving the interval finds the place where it falls
    below 0.9. The knee is not the best sub: that one weighs the lost subs against the overheads.

    References
    ----------
    Definition; the closed form for one sine in the tests.

    Examples
    --------
    >>> print(round(knee_s(peak_to_peak_arcsec=50, period_s=420.3, tolerance_arcsec=3), 1))
    8.1
    """
    tolerance = positive("tolerance_arcsec", tolerance_arcsec)
    on_sky = np.cos(np.radians(between("dec_deg", dec_deg, -90, 90)))
    harmonics = _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    tolerance, on_sky = np.broadcast_arrays(tolerance, on_sky)
    knee = np.empty(tolerance.shape)
    for index in np.ndindex(tolerance.shape):
        knee[index] = _knee(tolerance[index], on_sky[index], harmonics)
    return knee[()]


def credited_yield(
    *,
    sub_s,
    peak_to_peak_arcsec,
    period_s,
    star_sigma_arcsec,
    lowest_ratio,
    credit,
    phase_deg=0.0,
    dec_deg=0.0,
):
    """The yield with partial credit: a slightly long star is worth less, not nothing.

    Parameters
    ----------
    sub_s : float or array
        Length of the sub [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error, top to bottom; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    star_sigma_arcsec : float or array
        Width of a round star without the gears, one sigma, pixel included [″].
    lowest_ratio : float or array
        Short over long axis of a star that is worth nothing to you; 0 keeps every frame.
    credit : str
        "axis ratio": worth falls in a straight line from 1 for a round star to 0 at the lowest ratio.
        "width": worth is the share of the information on a faint star that its longer image leaves.
    phase_deg : float or sequence
        Phases of the harmonics against each other [°]; 0 by default, and without effect for one harmonic.
    dec_deg : float or array
        Declination [°]; 0 by default, the equator, where the gears show most.

    Returns
    -------
    float or array
        Mean worth of a sub, 0 to 1, over all moments at which it may start.

    Raises
    ------
    ValueError
        As in `frame_yield`, or if the width is not above zero, the ratio outside 0 … 1 or the credit unknown.

    Notes
    -----
    The path within a sub has the variance v = mean(e²) − mean(e)² times cos² δ, in closed form. Short over
    long axis: q = σ/√(σ² + v), by second moments. Under sky noise the information on a star goes as one over
    its noise-equivalent area 4π σ √(σ² + v): the worth by width is q too, down to the lowest ratio.

    References
    ----------
    King, I. R. (1983), PASP 95, 163 (noise-equivalent area, recalled); second moments as in reference row
    PSF-13.

    Examples
    --------
    >>> gear = {"peak_to_peak_arcsec": 50, "period_s": 420.3, "star_sigma_arcsec": 1.6}
    >>> print(round(credited_yield(sub_s=15, lowest_ratio=0.5, credit="axis ratio", **gear), 2))
    0.66
    """
    sub = positive("sub_s", sub_s)
    sigma = positive("star_sigma_arcsec", star_sigma_arcsec)
    lowest = fraction("lowest_ratio", lowest_ratio)
    on_sky = np.cos(np.radians(between("dec_deg", dec_deg, -90, 90)))
    by_ratio = chosen("credit", credit, ("axis ratio", "width")) == "axis ratio"
    harmonics = _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    sub, sigma, lowest, on_sky = np.broadcast_arrays(sub, sigma, lowest, on_sky)
    worth = np.empty(sub.shape)
    for index in np.ndindex(sub.shape):
        variance = on_sky[index] ** 2 * _path_variance(sub[index], *harmonics)
        ratio = sigma[index] / np.sqrt(sigma[index] ** 2 + variance)
        least = lowest[index]
        if not by_ratio:
            each = np.where(ratio < least, 0.0, ratio)
        elif least == 1.0:
            each = np.where(ratio < 1.0, 0.0, 1.0)
        else:
            each = np.clip((ratio - least) / (1.0 - least), 0.0, 1.0)
        worth[index] = np.nan if np.isnan(ratio + least).any() else each.mean()
    return worth[()]


def _path_variance(sub_s, swing, period, phase):
    """Variance of the error [″²] within subs on an even grid of starts over the common cycle.

    The mean of cos(Ωτ + ψ) over a window of length s round its middle c is cos(Ωc + ψ) sinc(Ωs/2); squares
    and products of sines become such cosines of sums and differences.
    """
    cycle = _common_cycle(period)
    if np.isnan(sub_s + cycle + swing.sum() + phase.sum()):
        return np.array([np.nan])
    step = min(period.max() / STARTS_PER_PERIOD, period.min() / STARTS_PER_HARMONIC)
    middle = np.linspace(0.0, cycle, int(np.ceil(cycle / step)), endpoint=False) + sub_s / 2.0
    turn = 2.0 * np.pi / period

    def windowed(rate, angle):
        return np.cos(rate * middle + angle) * np.sinc(rate * sub_s / (2.0 * np.pi))

    waves = [(p / 2.0, w, f) for p, w, f in zip(swing, turn, phase, strict=True)]
    mean = sum(a * windowed(w, f - np.pi / 2.0) for a, w, f in waves)
    square = sum(
        a * b / 2.0 * (windowed(w - v, f - g) - windowed(w + v, f + g))
        for a, w, f in waves
        for b, v, g in waves
    )
    return np.maximum(square - mean**2, 0.0)


def _knee(tolerance, on_sky, harmonics):
    good, bad = 0.0, _common_cycle(harmonics[1])

    def kept(sub):
        return _share_within(_extents(sub, *harmonics) * on_sky, tolerance)

    if np.isnan(whole := kept(bad)):
        return np.nan
    if whole >= KNEE_YIELD:
        return np.inf
    while bad - good > 1e-6 * bad:
        middle = (good + bad) / 2.0
        good, bad = (middle, bad) if kept(middle) >= KNEE_YIELD else (good, middle)
    return good


def _extents(sub_s, swing, period, phase):
    """Largest minus smallest error [″] within subs that start on an even grid over the common cycle."""
    cycle = _common_cycle(period)
    if np.isnan(sub_s + cycle + swing.sum() + phase.sum()):
        return np.array([np.nan])
    step = min(period.max() / STARTS_PER_PERIOD, period.min() / STARTS_PER_HARMONIC)
    starts = int(np.ceil(cycle / step)) + 1
    step = cycle / (starts - 1)
    sub_s = min(sub_s, cycle)
    inside = int(sub_s / step)  # grid points of the sub after its start; its end is evaluated on its own
    grid = _error(np.arange(starts + inside) * step, swing, period, phase)
    ends = _error(np.arange(starts) * step + sub_s, swing, period, phase)
    largest = np.maximum(_running_largest(grid, inside + 1), ends)
    smallest = np.minimum(-_running_largest(-grid, inside + 1), ends)
    return largest - smallest


def _running_largest(values, width):
    """The largest of each `width` neighbours: windows of 2, 4, 8 …, then two that overlap."""
    size = 1
    while 2 * size <= width:
        values = np.maximum(values[:-size], values[size:])
        size *= 2
    rest = width - size
    return np.maximum(values[: len(values) - rest], values[rest:])


def _share_within(extents, tolerance):
    """The share of starts whose extent is within the tolerance, straight lines between the starts."""
    if np.isnan(tolerance + extents.sum()):
        return np.nan
    low, high = np.minimum(extents[:-1], extents[1:]), np.maximum(extents[:-1], extents[1:])
    flat = high - low < 1e-12
    share = (tolerance - low) / np.where(flat, 1.0, high - low)
    return np.mean(np.where(flat, low <= tolerance, np.clip(share, 0.0, 1.0)))
