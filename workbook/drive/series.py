"""What a measured series of the drive tells: the period of its gears, and which cause makes how much of a trail."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, number, positive
from workbook.drive.harmonics import _checked_harmonics
from workbook.drive.kept import _extents
from workbook.drive.linear import _columns, _covariance, _least_squares, _noise, _series
from workbook.drive.search import _best, _slope

LEAST_TURNS = 3.0  # fewer turns of a worm are no period: a wander does that too
LEAST_SAMPLES = 2.5  # in a turn of the highest harmonic; two is the limit of sampling
STANDS_OUT = 5.0  # the swing must be so many times its own uncertainty


class GearFit(NamedTuple):
    """The gears in a measured series.

    Period and its uncertainty [s]; swing from peak to peak of each harmonic and its uncertainty [″]; phase of
    each harmonic at time 0, as in `gear_error_arcsec` [°]; rate and its uncertainty [″/s]; white noise of one
    sample [″]; wander [″/√s]; turns that the series holds.
    """

    period_s: float
    period_sigma_s: float
    peak_to_peak_arcsec: np.ndarray
    peak_to_peak_sigma_arcsec: np.ndarray
    phase_deg: np.ndarray
    rate_arcsec_s: float
    rate_sigma_arcsec_s: float
    noise_arcsec: float
    walk_arcsec_sqrt_s: float
    turns: float


class Separation(NamedTuple):
    """Rate, gear and axis in one series of both axes.

    Rate error of the drive and its uncertainty, about the axis [″/min]; swing of each harmonic of the gear
    and its uncertainty, about the axis [″]; drift in declination, the mark of the axis, and its uncertainty
    [″/min]; what is left in each axis on the sky, one sigma [″].
    """

    rate_arcsec_min: float
    rate_sigma_arcsec_min: float
    peak_to_peak_arcsec: np.ndarray
    peak_to_peak_sigma_arcsec: np.ndarray
    dec_drift_arcsec_min: float
    dec_drift_sigma_arcsec_min: float
    left_ra_arcsec: float
    left_dec_arcsec: float


class Trails(NamedTuple):
    """How long a trail each cause draws in one sub, on the sky [″]: gear (in the mean), rate, axis."""

    gear_arcsec: float
    rate_arcsec: float
    axis_arcsec: float


def fit_gears(*, times_s, errors_arcsec, shortest_s, longest_s, harmonics=2) -> GearFit:
    """The period of the gears in a measured series, or a refusal that says what is missing.

    Parameters
    ----------
    times_s : array
        Times of the samples, rising [s].
    errors_arcsec : array
        Error in right ascension at those times, about the axis or on the sky [″].
    shortest_s, longest_s : float
        Between these periods you look; the tooth count gives a good guess [s].
    harmonics : int
        Sines in the shape of the error; 2 by default, the turn of the worm and what repeats twice in it.

    Returns
    -------
    GearFit
        Period [s], swings [″], phases [°], rate [″/s], noise [″] and wander [″/√s] with uncertainties.

    Raises
    ------
    ValueError
        If the series holds fewer than three turns of the best period, if samples are too far apart for the
        shortest period and its harmonics, if nothing stands out of noise and wander by five sigma, or if the
        series is no series.

    Notes
    -----
    Least squares of a + bt + Σ sines, the period free: a coarse spectrum (FFT) proposes, Gauss–Newton decides. Of
    two periods that do nearly as well, the shorter is taken: a pattern that repeats every P repeats every 2P.
    The uncertainties allow for a random walk as seen in the residuals; least squares alone would promise far
    too much. Samples that are evenly far apart can show a faster gear under a false, longer period; no fit can
    see that, only closer samples.

    References
    ----------
    Golub, G. H. & Pereyra, V. (1973), SIAM J. Numer. Anal. 10, 413 (variable projection); White, H. (1980),
    Econometrica 48, 817 (uncertainty under noise that is not white).

    Examples
    --------
    >>> t = np.arange(0, 1500, 3.0)
    >>> fit = fit_gears(times_s=t, errors_arcsec=20 * np.sin(2 * np.pi * t / 400), shortest_s=100, longest_s=600)
    >>> print(round(fit.period_s, 1), round(fit.turns, 2))
    400.0 3.74
    """
    times, errors = _series(times_s, errors_arcsec=errors_arcsec)
    shortest, longest = positive("shortest_s", float(shortest_s)), positive("longest_s", float(longest_s))
    if not shortest < longest:
        raise ValueError(f"shortest_s must be below longest_s, received {shortest:g} s and {longest:g} s")
    harmonics = int(between("harmonics", harmonics, 1, 8))
    if times.size < 5 * (harmonics + 1):
        raise ValueError(f"the series has {times.size} samples: {5 * (harmonics + 1)} or more are needed")
    span, step = times[-1] - times[0], float(np.median(np.diff(times)))
    finest = LEAST_SAMPLES * harmonics * step
    if shortest < finest:
        raise ValueError(
            f"samples {step:.3g} s apart are too coarse for a period of {shortest:g} s with {harmonics} "
            f"harmonics: take {shortest / LEAST_SAMPLES / harmonics:.3g} s or less between samples, or look "
            f"for {finest:.3g} s and longer"
        )
    if span < LEAST_TURNS * shortest:
        raise ValueError(
            f"the series lasts {span:.4g} s: three turns of even the shortest period take {3 * shortest:.4g} s"
        )
    found = _best(times, errors, shortest, min(longest, span), harmonics)
    if found is None:
        raise ValueError(
            f"nothing between {shortest:g} and {longest:g} s repeats in this series: widen the range or "
            "measure longer"
        )
    omega, best, left = found
    period = 2.0 * np.pi / omega
    turns = span / period
    if turns < LEAST_TURNS:
        raise ValueError(
            f"the series holds {turns:.1f} turns of its best period, {period:.4g} s; a wander does as much by "
            f"chance. Three turns are needed: measure for {LEAST_TURNS * period:.4g} s"
        )
    waves = best[2:].reshape(-1, 2)
    table = np.column_stack([_columns(times, omega, harmonics), _slope(times, omega, waves)])
    inverse = np.linalg.inv(table.T @ table)
    white, walk = _noise(times, left, *(k / period for k in range(1, harmonics + 1)))
    covariance = _covariance(times, table, inverse, white, walk)
    swing, swing_sigma = _swings(waves, covariance[2:-1, 2:-1])
    if not (swing > STANDS_OUT * swing_sigma).any():
        raise ValueError(
            f"no period stands out: the best, {period:.4g} s, swings by {swing.max():.3g} ± "
            f"{swing_sigma[swing.argmax()]:.2g}″, no more than noise and wander do. Measure longer"
        )
    middle, half = (times[0] + times[-1]) / 2.0, span / 2.0
    k = np.arange(1, harmonics + 1)
    phase = np.degrees(np.arctan2(waves[:, 0], waves[:, 1]) - k * omega * middle)
    return GearFit(
        period_s=float(period),
        period_sigma_s=float(period / omega * np.sqrt(covariance[-1, -1])),
        peak_to_peak_arcsec=swing,
        peak_to_peak_sigma_arcsec=swing_sigma,
        phase_deg=phase % 360.0,
        rate_arcsec_s=float(best[1] / half),
        rate_sigma_arcsec_s=float(np.sqrt(covariance[1, 1]) / half),
        noise_arcsec=float(np.sqrt(white)),
        walk_arcsec_sqrt_s=float(np.sqrt(walk)),
        turns=float(turns),
    )


def separate(
    *,
    times_s,
    ra_errors_arcsec,
    dec_errors_arcsec,
    period_s,
    dec_deg,
    axis_ra_drift_arcsec_min,
    harmonics=2,
) -> Separation:
    """How much of a trail comes from the rate, from the gear and from the axis.

    Parameters
    ----------
    times_s : array
        Times of the samples, rising [s].
    ra_errors_arcsec, dec_errors_arcsec : array
        Where the star stood in both directions on the sky, unguided [″].
    period_s : float
        Period of the gear, from `fit_gears` or from the tooth count [s].
    dec_deg : float
        Declination of the star, −85 to 85 [°].
    axis_ra_drift_arcsec_min : float
        What the misaligned axis does in right ascension on the sky, if you know the axis; else 0 [″/min]. At
        the equator it is nothing; elsewhere about sin δ times the drift in declination.
    harmonics : int
        Sines in the shape of the gear's error; 2 by default, as in `fit_gears`.

    Returns
    -------
    Separation
        Rate and drift [″/min], swings of the gear and what is left [″], with uncertainties.

    Raises
    ------
    ValueError
        If the series holds less than one turn of the period, is too short for the fit, or is no series.

    Notes
    -----
    Right ascension: line and sines of the known period; declination: a line. Gears and rate act in right
    ascension only, so a drift in declination is the axis (low down, also refraction). A trail in right
    ascension says nothing about the axis: that is the cure for "trails mean bad polar alignment".

    References
    ----------
    Derivation: gears turn about the axis, and Ω (m − p) × s is the only other steady motion.

    Examples
    --------
    >>> t = np.arange(0, 900, 5.0)
    >>> parts = separate(times_s=t, ra_errors_arcsec=t / 60 + 25 * np.sin(2 * np.pi * t / 420),
    ...     dec_errors_arcsec=-0.5 * t / 60, period_s=420, dec_deg=0, axis_ra_drift_arcsec_min=0)
    >>> print(round(parts.rate_arcsec_min, 2), round(parts.dec_drift_arcsec_min, 2))
    1.0 -0.5
    """
    times, ra, dec = _series(times_s, ra_errors_arcsec=ra_errors_arcsec, dec_errors_arcsec=dec_errors_arcsec)
    period = positive("period_s", float(period_s))
    on_sky = np.cos(np.radians(between("dec_deg", float(dec_deg), -85, 85)))
    harmonics = int(between("harmonics", harmonics, 1, 8))
    span = times[-1] - times[0]
    if times.size < 5 * (harmonics + 1) or span < period:
        raise ValueError(
            f"the series has {times.size} samples over {span:.4g} s: {5 * (harmonics + 1)} or more are needed, "
            f"over a whole turn of {period:.4g} s"
        )
    to_min = 60.0 / (span / 2.0)  # the line's column runs from −1 to 1
    table = _columns(times, 2.0 * np.pi / period, harmonics)
    best, left_ra, inverse = _least_squares(table, ra)
    covariance = _covariance(
        times, table, inverse, *_noise(times, left_ra, *(k / period for k in range(1, harmonics + 1)))
    )
    swing, swing_sigma = _swings(best[2:].reshape(-1, 2), covariance[2:, 2:])
    line = table[:, :2]
    across, left_dec, inverse = _least_squares(line, dec)
    dec_covariance = _covariance(times, line, inverse, *_noise(times, left_dec))
    axis = number("axis_ra_drift_arcsec_min", float(axis_ra_drift_arcsec_min))
    return Separation(
        rate_arcsec_min=float((best[1] * to_min - axis) / on_sky),
        rate_sigma_arcsec_min=float(np.sqrt(covariance[1, 1]) * to_min / on_sky),
        peak_to_peak_arcsec=swing / on_sky,
        peak_to_peak_sigma_arcsec=swing_sigma / on_sky,
        dec_drift_arcsec_min=float(across[1] * to_min),
        dec_drift_sigma_arcsec_min=float(np.sqrt(dec_covariance[1, 1]) * to_min),
        left_ra_arcsec=float(np.sqrt(np.sum(left_ra**2) / (times.size - table.shape[1]))),
        left_dec_arcsec=float(np.sqrt(np.sum(left_dec**2) / (times.size - 2))),
    )


def trails_by_cause(
    *, sub_s, peak_to_peak_arcsec, period_s, rate_arcsec_min, dec_drift_arcsec_min, phase_deg=0.0, dec_deg=0.0
) -> Trails:
    """How long a trail gear, rate and axis each draw in one sub.

    Parameters
    ----------
    sub_s : float
        Length of the sub [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error about the axis; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    rate_arcsec_min : float
        Rate error about the axis [″/min].
    dec_drift_arcsec_min : float
        Drift in declination [″/min].
    phase_deg : float or sequence
        Phases of the harmonics against each other [°]; 0 by default, and without effect for one harmonic.
    dec_deg : float
        Declination [°]; 0 by default, the equator, where the gears show most.

    Returns
    -------
    Trails
        Lengths on the sky [″]; that of the gear is the mean over all moments at which the sub may start.

    Raises
    ------
    ValueError
        As in `frame_yield`.

    Notes
    -----
    The trail of all three together is not their sum: gear and rate share one direction and may cancel, the
    axis stands across.

    References
    ----------
    Derivation: rate × time, and the extent of `frame_yield`.

    Examples
    --------
    >>> trail = trails_by_cause(sub_s=30, peak_to_peak_arcsec=50, period_s=420, rate_arcsec_min=1,
    ...     dec_drift_arcsec_min=-0.6)
    >>> print(round(trail.gear_arcsec, 1), trail.rate_arcsec, trail.axis_arcsec)
    7.1 0.5 0.3
    """
    sub = positive("sub_s", float(sub_s))
    on_sky = np.cos(np.radians(between("dec_deg", float(dec_deg), -90, 90)))
    gear = _extents(sub, *_checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg))
    rate = number("rate_arcsec_min", float(rate_arcsec_min))
    drift = number("dec_drift_arcsec_min", float(dec_drift_arcsec_min))
    return Trails(
        float(gear.mean() * on_sky), float(abs(rate) * on_sky * sub / 60.0), float(abs(drift) * sub / 60.0)
    )


def _swings(waves, covariance):
    """Peak to peak of each harmonic and its uncertainty, from pairs of coefficients."""
    swing = 2.0 * np.hypot(*waves.T)
    sigma = np.empty_like(swing)
    for k, pair in enumerate(waves):
        block = covariance[2 * k : 2 * k + 2, 2 * k : 2 * k + 2]
        along = pair / max(np.hypot(*pair), 1e-300)
        sigma[k] = 2.0 * np.sqrt(along @ block @ along)
    return swing, sigma
