"""The gears of the drive: periodic error, how many subs it leaves, and the longest sub worth taking."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.constants import SIDEREAL_DAY_S

KNEE_YIELD = 0.9  # the convention for the knee: nine subs of ten are kept

# The grid of start phases. Between its points the extent is taken as a straight line; the yield is then good
# to 0.002, which the tests measure against a closed form.
STARTS_PER_PERIOD = 1024  # of the longest period
STARTS_PER_HARMONIC = 64  # of the shortest period
# Where the periods have no common cycle: turns of the longest that stand for all relative phases, fewer where
# the shortest has turned so often that it has met them all.
MOST_TURNS = 40
MOST_SHORT_TURNS = 400


def gear_error_arcsec(*, time_s, peak_to_peak_arcsec, period_s, phase_deg=0.0):
    """The periodic error of the gears at a moment: where the drive points against where it should.

    Parameters
    ----------
    time_s : float or array
        Time [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the error, top to bottom; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    phase_deg : float or sequence
        Phase at time 0, one for each harmonic [°]; 0 by default, as the start of the clock is free.

    Returns
    -------
    float or array
        Error about the axis, that is on the sky at declination 0, in the shape of the time [″].

    Raises
    ------
    ValueError
        If a swing is negative, a period not above zero, or the harmonics have lists of different lengths.

    Notes
    -----
    Σ (P-P / 2) sin(2π t / P + φ), summed over the harmonics. The peak-to-peak of the
    sum is less than the sum of theirs. Wear, temperature and load are ignored.

    References
    ----------
    Fourier series; reference row TRK-09.

    Examples
    --------
    >>> print(round(gear_error_arcsec(time_s=105, peak_to_peak_arcsec=[50, 12], period_s=[420, 210]), 2))
    25.0
    """
    time = np.asarray(number("time_s", time_s), dtype=float)[..., None]
    swing, period, phase = _harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    return np.sum(swing / 2.0 * np.sin(2.0 * np.pi * time / period + phase), axis=-1)


def largest_rate_arcsec_s(*, peak_to_peak_arcsec, period_s):
    """The fastest that one harmonic of the gear error ever runs.

    Parameters
    ----------
    peak_to_peak_arcsec : float or array
        Full swing of the error, top to bottom [″].
    period_s : float or array
        Its period [s].

    Returns
    -------
    float or array
        Largest rate about the axis [″/s].

    Raises
    ------
    ValueError
        If the swing is negative or the period not above zero.

    Notes
    -----
    π P-P / P, where the sine crosses its middle. Guiding must be able to follow it. The sum over several
    harmonics is an upper bound.

    References
    ----------
    Derivative of a sine; reference row TRK-08.

    Examples
    --------
    >>> print(round(largest_rate_arcsec_s(peak_to_peak_arcsec=50, period_s=420.3), 3))
    0.374
    """
    swing = not_negative("peak_to_peak_arcsec", peak_to_peak_arcsec)
    return np.pi * swing / positive("period_s", period_s)


def worm_period_s(*, teeth):
    """The time of one turn of the worm, the period of the main gear error.

    Parameters
    ----------
    teeth : float or array
        Teeth of the wheel that the worm drives.

    Returns
    -------
    float or array
        Period [s].

    Raises
    ------
    ValueError
        If the number of teeth is not above zero.

    Notes
    -----
    Sidereal day / teeth: a worm with one thread moves the wheel on by one tooth a turn.

    References
    ----------
    Aoki, S. et al. (1982), A&A 105, 359, for the sidereal day; reference row TRK-07.

    Examples
    --------
    >>> round(worm_period_s(teeth=205), 1)
    420.3
    """
    return SIDEREAL_DAY_S / positive("teeth", teeth, cure="the worm's wheel has some tens to hundreds")


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
    harmonics = _harmonics(peak_to_peak_arcsec, period_s, phase_deg)
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
    harmonics = _harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    tolerance, on_sky = np.broadcast_arrays(tolerance, on_sky)
    knee = np.empty(tolerance.shape)
    for index in np.ndindex(tolerance.shape):
        knee[index] = _knee(tolerance[index], on_sky[index], harmonics)
    return knee[()]


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


def _harmonics(peak_to_peak_arcsec, period_s, phase_deg):
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


def _error(time, swing, period, phase):
    return sum(
        p / 2.0 * np.sin(2.0 * np.pi * time / t + f) for p, t, f in zip(swing, period, phase, strict=True)
    )


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
