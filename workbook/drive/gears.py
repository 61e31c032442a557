"""The gears of the drive: the error of a worm, how fast it runs, how fine a step is, and the sky without them."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.constants import ARCSEC_PER_DEG, SIDEREAL_DAY_S, SIDEREAL_RATE_ARCSEC_S
from workbook.drive.harmonics import _checked_harmonics

TURN_ARCSEC = 360 * ARCSEC_PER_DEG


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
    swing, period, phase = _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg)
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


def motor_step_arcsec(*, steps_per_turn, gear_ratio):
    """How far one step of the motor moves the sky.

    Parameters
    ----------
    steps_per_turn : float or array
        Steps of the motor for one turn of its shaft, microsteps counted.
    gear_ratio : float or array
        Turns of the shaft for one turn of the axis.

    Returns
    -------
    float or array
        Step about the axis [″]; on the sky cos δ of it.

    Raises
    ------
    ValueError
        If a number is not above zero.

    Notes
    -----
    1,296,000″ / (steps × ratio). Microsteps are seldom even: the true step may be several times as large.

    References
    ----------
    Derivation: a full turn shared out evenly; reference row TRK-14.

    Examples
    --------
    >>> motor_step_arcsec(steps_per_turn=200 * 16, gear_ratio=300)
    1.35
    """
    steps = positive("steps_per_turn", steps_per_turn) * positive("gear_ratio", gear_ratio)
    return TURN_ARCSEC / steps


def untracked_drift_arcsec(*, time_s, dec_deg):
    """How far a star runs while the mount stands still.

    Parameters
    ----------
    time_s : float or array
        Time [s].
    dec_deg : float or array
        Declination of the star [°].

    Returns
    -------
    float or array
        Distance between start and end of the trail on the sky [″].

    Raises
    ------
    ValueError
        If the time is negative or the declination beyond ±90°.

    Notes
    -----
    2 asin(cos δ sin(Ω t / 2)), the great circle between the ends; for short times 15.041″ t cos δ. It does not
    know the focal length: a rule "500 / focal length" in seconds allows as many pixels of trail at any focal
    length, and nearly ten of them where pixels are small.

    References
    ----------
    Derivation: two points of one circle of declination; reference rows TRK-01 to TRK-03.

    Examples
    --------
    >>> print(round(untracked_drift_arcsec(time_s=10, dec_deg=41.27), 2))
    113.05
    """
    half_turn = np.radians(SIDEREAL_RATE_ARCSEC_S * not_negative("time_s", time_s) / ARCSEC_PER_DEG) / 2.0
    on_sky = np.cos(np.radians(between("dec_deg", dec_deg, -90, 90)))
    return ARCSEC_PER_DEG * np.degrees(2.0 * np.arcsin(np.clip(on_sky * np.sin(half_turn), -1.0, 1.0)))


def drive_error_arcsec(
    *,
    times_s,
    peak_to_peak_arcsec,
    period_s,
    rate_error_arcsec_s,
    random_walk_arcsec_sqrt_s,
    seed,
    phase_deg=0.0,
):
    """One night's error of a drive: its gears, a wrong rate, and the wander that no table can take out.

    Parameters
    ----------
    times_s : array
        Times, rising [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    rate_error_arcsec_s : float
        How much too fast the drive runs [″/s].
    random_walk_arcsec_sqrt_s : float
        Irregular wander: after a time t it has strayed by this times √t, one sigma [″/√s].
    seed : int or numpy Generator
        Makes the same wander again.
    phase_deg : float or sequence
        Phase at time 0, one for each harmonic [°]; 0 by default, as the start of the clock is free.

    Returns
    -------
    array
        Error about the axis, 0 wander at the first time [″].

    Raises
    ------
    ValueError
        If the times do not rise, a swing or the wander is negative, or a period is not above zero.

    Notes
    -----
    gear_error_arcsec + rate × t + a Brownian motion whose variance grows by walk² each second.

    References
    ----------
    Derivation: the sum of its parts; each is checked alone.

    Examples
    --------
    >>> night = drive_error_arcsec(times_s=[0, 105, 210], peak_to_peak_arcsec=50, period_s=420,
    ...     rate_error_arcsec_s=0.01, random_walk_arcsec_sqrt_s=0, seed=1)
    >>> night.round(2).tolist()
    [0.0, 26.05, 2.1]
    """
    times = np.atleast_1d(number("times_s", times_s))
    steps = np.diff(times)
    if times.ndim != 1 or (steps < 0).any():
        raise ValueError(f"times_s must rise, received {times[:4]} …: sort the series by time")
    walk = not_negative("random_walk_arcsec_sqrt_s", random_walk_arcsec_sqrt_s)
    random = np.random.default_rng(seed)
    wander = np.concatenate([[0.0], np.cumsum(walk * np.sqrt(steps) * random.standard_normal(steps.size))])
    gear = gear_error_arcsec(
        time_s=times, peak_to_peak_arcsec=peak_to_peak_arcsec, period_s=period_s, phase_deg=phase_deg
    )
    return gear + number("rate_error_arcsec_s", rate_error_arcsec_s) * times + wander
