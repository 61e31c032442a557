"""What guiding makes of the star, and what it leaves: the star's growth, its roundness, noise and lag."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA


class Growth(NamedTuple):
    """The star after guiding.

    Its width in both axes, full width at half maximum [″]; how much wider it is than without guide errors, as the
    mean of both axes (1 is no growth); short over long axis; rms of the guide error within a sub in each axis
    and in both together [″].
    """

    ra_fwhm_arcsec: float
    dec_fwhm_arcsec: float
    growth: float
    roundness: float
    ra_rms_arcsec: float
    dec_rms_arcsec: float
    total_rms_arcsec: float


class Left(NamedTuple):
    """What guiding leaves: unrest in each axis [″], and the time by which it runs behind a slow error [s]."""

    noise_arcsec: float
    lag_s: float


def grown_star(*, ra_rms_arcsec, dec_rms_arcsec, star_fwhm_arcsec) -> Growth:
    """The star that guide errors of a known size leave.

    Parameters
    ----------
    ra_rms_arcsec, dec_rms_arcsec : float
        Guide error within a sub, rms in each axis on the sky [″].
    star_fwhm_arcsec : float
        Width of the star without guide errors [″].

    Returns
    -------
    Growth
        Widths and errors [″], growth and roundness.

    Raises
    ------
    ValueError
        If an error is negative or the star has no width.

    Notes
    -----
    Second moments add in each axis: FWHM² + (2.355 rms)². The rms of both axes together is √2 larger than that of
    one, and must not be used for a width.

    References
    ----------
    Derivation: variances of independent blurs add; reference rows PSF-15, PSF-16 and TRK-15.

    Examples
    --------
    >>> star = grown_star(ra_rms_arcsec=0.8, dec_rms_arcsec=0.8, star_fwhm_arcsec=3.5)
    >>> print(round(star.growth, 3), round(star.total_rms_arcsec, 2))
    1.136 1.13
    """
    ra = not_negative("ra_rms_arcsec", float(ra_rms_arcsec))
    dec = not_negative("dec_rms_arcsec", float(dec_rms_arcsec))
    star = positive("star_fwhm_arcsec", float(star_fwhm_arcsec))
    wide = [float(np.hypot(star, GAUSSIAN_FWHM_PER_SIGMA * rms)) for rms in (ra, dec)]
    return Growth(
        *wide,
        float(np.sqrt(wide[0] * wide[1]) / star),
        min(wide) / max(wide),
        ra,
        dec,
        float(np.hypot(ra, dec)),
    )


def star_growth(*, times_s, ra_arcsec, dec_arcsec, sub_s, settle_s, star_fwhm_arcsec) -> Growth:
    """What a guided path makes of the star, taken sub by sub.

    Parameters
    ----------
    times_s : array
        Times with even steps [s].
    ra_arcsec, dec_arcsec : array
        Where the mount points against the star, on the sky, as from `guide` [″].
    sub_s : float
        Length of the main camera's sub [s].
    settle_s : float
        Time at the start that is left out, until the controller has caught the star [s].
    star_fwhm_arcsec : float
        Width of the star without guide errors [″].

    Returns
    -------
    Growth
        Widths and errors [″], growth and roundness, in the mean over the subs.

    Raises
    ------
    ValueError
        If the path is shorter than settling and one sub, or a value is out of its range.

    Notes
    -----
    The variance of the path within each sub, about the mean of that sub: what wanders from sub to sub is taken
    out when frames are aligned. Paths of saw-tooth shape are no Gaussian; the second moment counts.

    References
    ----------
    Derivation: variances add, as in `grown_star`.

    Examples
    --------
    >>> t = np.arange(0, 130, 0.1)
    >>> star = star_growth(times_s=t, ra_arcsec=np.sin(t), dec_arcsec=0 * t, sub_s=60, settle_s=10,
    ...     star_fwhm_arcsec=3)
    >>> print(round(star.ra_rms_arcsec, 2), round(star.roundness, 2))
    0.71 0.87
    """
    times = np.atleast_1d(number("times_s", times_s))
    step = (times[-1] - times[0]) / max(times.size - 1, 1)
    inside = round(positive("sub_s", float(sub_s)) / step) if step > 0 else 0
    first = int(np.ceil(not_negative("settle_s", float(settle_s)) / step - 1e-6)) if step > 0 else 0
    subs = (times.size - first) // inside if inside > 1 else 0
    if subs < 1:
        raise ValueError(
            f"the path lasts {times[-1] - times[0]:.4g} s in steps of {step:.3g} s: no sub of {sub_s:g} s fits in "
            f"after {settle_s:g} s of settling"
        )
    rms = []
    for name, path in (("ra_arcsec", ra_arcsec), ("dec_arcsec", dec_arcsec)):
        path = np.atleast_1d(number(name, path))
        if path.shape != times.shape:
            raise ValueError(f"{name} needs {times.size} values, one for each time, received {path.size}")
        each = path[first : first + subs * inside].reshape(subs, inside)
        rms.append(float(np.sqrt(each.var(axis=1).mean())))
    return grown_star(ra_rms_arcsec=rms[0], dec_rms_arcsec=rms[1], star_fwhm_arcsec=star_fwhm_arcsec)


def left_by_guiding(*, exposure_s, dead_time_s, aggressiveness, seen_sigma_arcsec) -> Left:
    """What a controller leaves, by the rules of a simple loop: for a verdict on a whole night.

    Parameters
    ----------
    exposure_s : float
        Guide exposure [s].
    dead_time_s : float
        From the end of the exposure to the start of the correction [s].
    aggressiveness : float
        Share of the seen error that is corrected, above 0 to 1.
    seen_sigma_arcsec : float
        Unrest of the star's place from exposure to exposure, air and centroid noise together, one sigma in
        each axis [″].

    Returns
    -------
    Left
        Unrest of the mount in each axis [″] and lag [s].

    Raises
    ------
    ValueError
        If a time or the aggressiveness is out of its range, or the unrest negative.

    Notes
    -----
    One cycle lasts T = exposure + dead time (corrections are short). An error that runs at v is left at v × lag in
    the mean, lag = T/g + dead time/2: the loop stands back by a cycle over the aggressiveness g, and the error runs
    on through the dead time. Unrest that is new in each exposure moves the mount by σ√(g/(2 − g)): full
    aggressiveness passes all of it on. Minimum move and play are left out; see `left_in_run`.

    References
    ----------
    Derivation: e(k+1) = (1 − g) e(k) − g n(k) + v T, its mean and its variance.

    Examples
    --------
    >>> left = left_by_guiding(exposure_s=2, dead_time_s=1, aggressiveness=0.6, seen_sigma_arcsec=0.6)
    >>> print(round(left.noise_arcsec, 2), round(left.lag_s, 1))
    0.39 5.5
    """
    exposure = positive("exposure_s", float(exposure_s))
    dead = not_negative("dead_time_s", float(dead_time_s))
    gain = positive("aggressiveness", between("aggressiveness", float(aggressiveness), 0, 1))
    seen = not_negative("seen_sigma_arcsec", float(seen_sigma_arcsec))
    return Left(float(seen * np.sqrt(gain / (2.0 - gain))), (exposure + dead) / gain + dead / 2.0)


def left_in_run(*, times_s, guided_arcsec, unguided_arcsec, settle_s) -> Left:
    """What guiding left in a simulated path, split into lag and unrest.

    Parameters
    ----------
    times_s : array
        Times with even steps [s].
    guided_arcsec : array
        Path of one axis with guiding, as from `guide` [″].
    unguided_arcsec : array
        The same axis without it, with a gear error or a drift in it [″].
    settle_s : float
        Time at the start that is left out [s].

    Returns
    -------
    Left
        Unrest that does not follow the unguided error [″], and lag [s].

    Raises
    ------
    ValueError
        If fewer than ten steps are left, the series differ in length, or the unguided path never moves.

    Notes
    -----
    Least squares of guided = lag × speed of the unguided path + rest; the rms of the rest is the unrest. The
    speed is taken over ten seconds, so that a random walk does not pass for speed.

    References
    ----------
    Derivation: a loop that lags by τ leaves τ × speed of a slow error.

    Examples
    --------
    >>> t = np.arange(0, 900, 0.1)
    >>> left = left_in_run(times_s=t, guided_arcsec=5 * 0.3 * np.cos(t / 70), unguided_arcsec=21 * np.sin(t / 70),
    ...     settle_s=10)
    >>> print(round(left.lag_s, 1), round(left.noise_arcsec, 2))
    5.0 0.0
    """
    times, guided, unguided = (
        np.atleast_1d(number(name, value))
        for name, value in (
            ("times_s", times_s), ("guided_arcsec", guided_arcsec), ("unguided_arcsec", unguided_arcsec),
        )
    )  # fmt: skip
    if not times.shape == guided.shape == unguided.shape:
        raise ValueError(
            f"times and paths must have one length, received {times.size}, {guided.size} and {unguided.size}"
        )
    late = times >= times[0] + not_negative("settle_s", float(settle_s))
    if late.sum() < 10:
        raise ValueError(f"only {late.sum()} steps are left after settling: make the path longer")
    reach = 5.0  # seconds to each side
    speed = (np.interp(times + reach, times, unguided) - np.interp(times - reach, times, unguided)) / (
        np.minimum(times + reach, times[-1]) - np.maximum(times - reach, times[0])
    )
    speed, rest = speed[late], guided[late]
    if not speed.any():
        raise ValueError("the unguided path never moves: a lag shows only behind an error that runs")
    lag = float(speed @ rest / (speed @ speed))
    return Left(float(np.sqrt(np.mean((rest - lag * speed) ** 2))), lag)
