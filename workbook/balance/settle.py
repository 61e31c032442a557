"""How long a stand trembles: settling, and the tap test that measures frequency and damping."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.balance.bars import GRAVITY_M_S2
from workbook.checks import between, positive
from workbook.drive.linear import _series

ENOUGH_SWINGS = 2.0  # in a tap test


class Tap(NamedTuple):
    """What a tap on the tube shows.

    Undamped natural frequency and its uncertainty [Hz]; damping ratio and its uncertainty; swing at the start, one
    side [″]; what the swing does not explain, rms [″].
    """

    frequency_hz: float
    frequency_sigma_hz: float
    damping_ratio: float
    damping_ratio_sigma: float
    swing_arcsec: float
    left_arcsec: float


def settle_time_s(*, from_arcsec, to_arcsec, frequency_hz, damping_ratio):
    """How long a trembling takes to fall to what you can bear.

    Parameters
    ----------
    from_arcsec : float or array
        Swing at the start, one side [″].
    to_arcsec : float or array
        Swing that you can bear [″].
    frequency_hz : float or array
        Undamped natural frequency [Hz].
    damping_ratio : float or array
        Share of critical damping, above 0 to 1.

    Returns
    -------
    float or array
        Time [s]; 0 where it has settled already.

    Raises
    ------
    ValueError
        If a swing is not above zero, the frequency not above zero or the damping outside its range.

    Notes
    -----
    ln(from/to)/(2π f ζ), the time of the envelope. Both count: twice the frequency or twice the damping halves it.

    References
    ----------
    Den Hartog, J. P. (1956), Mechanical Vibrations, 4th ed., section 2.5 (free vibration with damping, recalled).

    Examples
    --------
    >>> print(round(settle_time_s(from_arcsec=60, to_arcsec=1, frequency_hz=6, damping_ratio=0.03), 1))
    3.6
    """
    ratio = positive("from_arcsec", from_arcsec) / positive("to_arcsec", to_arcsec)
    damping = positive("damping_ratio", between("damping_ratio", damping_ratio, 0, 1))
    return np.maximum(np.log(ratio), 0.0) / (2.0 * np.pi * positive("frequency_hz", frequency_hz) * damping)


def frequency_from_sag_hz(*, sag_mm):
    """The natural frequency of a weight from how far it sinks.

    Parameters
    ----------
    sag_mm : float or array
        How far the weight sinks its support [mm].

    Returns
    -------
    float or array
        Frequency [Hz].

    Raises
    ------
    ValueError
        If the sag is not above zero.

    Notes
    -----
    √(g/sag)/2π: spring and weight both stand in the sag.

    References
    ----------
    Reference row MEC-14.

    Examples
    --------
    >>> print(round(frequency_from_sag_hz(sag_mm=2.482), 2))
    10.0
    """
    return np.sqrt(GRAVITY_M_S2 * 1e3 / positive("sag_mm", sag_mm)) / (2.0 * np.pi)


def fit_tap(*, times_s, places_arcsec) -> Tap:
    """Frequency and damping of a stand from a trace after a tap.

    Parameters
    ----------
    times_s : array
        Times after the tap, rising [s].
    places_arcsec : array
        Where the star stood along the swing; any unit does for frequency and damping, as a phone's tilt [″].

    Returns
    -------
    Tap
        Frequency [Hz] and damping with uncertainties, swing and rest [″].

    Raises
    ------
    ValueError
        If there are fewer than 12 samples, fewer than two swings or than 2.5 samples in a swing, or no swing at all
        stands out of the noise.

    Notes
    -----
    Least squares of a + e^(−ζωt)(b cos ω_d t + c sin ω_d t), ω_d = ω √(1 − ζ²), by Gauss–Newton from the highest
    peak of the spectrum. One way of swinging only: a stand that has two shows a beat, and a large rest. White noise.

    References
    ----------
    Den Hartog (1956), section 2.5; Golub, G. H. & Pereyra, V. (1973), SIAM J. Numer. Anal. 10, 413.

    Examples
    --------
    >>> t = np.arange(0, 3, 0.02)
    >>> tap = fit_tap(times_s=t, places_arcsec=30 * np.exp(-1.13 * t) * np.cos(37.7 * t))
    >>> print(round(tap.frequency_hz, 2), round(tap.damping_ratio, 3))
    6.0 0.03
    """
    times, places = _series(times_s, places_arcsec=places_arcsec)
    if times.size < 12:
        raise ValueError(f"a tap test needs 12 samples or more, received {times.size}")
    t, span, step = times - times[0], times[-1] - times[0], float(np.median(np.diff(times)))
    omega = _loudest(t, places, span)
    if omega * span < 2.0 * np.pi * ENOUGH_SWINGS:
        raise ValueError(
            f"the trace shows {omega * span / (2.0 * np.pi):.1f} swings in {span:.3g} s: two or more are needed"
        )
    decay = 0.03 * omega
    for _ in range(60):
        table = _swing(t, decay, omega)
        best, *_ = np.linalg.lstsq(table, places, rcond=None)
        left = places - table @ best
        full = np.column_stack([table, _changes(t, decay, omega, best)])
        move = np.linalg.lstsq(full, left, rcond=None)[0][3:]
        decay = float(np.clip(decay + np.clip(move[0], -0.3 * omega, 0.3 * omega), 0.0, 2.0 * omega))
        omega = float(max(omega + np.clip(move[1], -np.pi / span, np.pi / span), 1e-9))
        if np.abs(move).max() < 1e-10 * omega:
            break
    table = _swing(t, decay, omega)
    best, *_ = np.linalg.lstsq(table, places, rcond=None)
    left = places - table @ best
    full = np.column_stack([table, _changes(t, decay, omega, best)])
    variance = left @ left / (times.size - 5)
    covariance = variance * np.linalg.pinv(full.T @ full)
    swing, sigma = float(np.hypot(*best[1:])), float(np.sqrt(np.trace(covariance[1:3, 1:3])))
    if not swing > 5.0 * sigma:
        raise ValueError(
            f"no swing stands out: {swing:.3g} ± {sigma:.2g}″. Tap harder, or take shorter exposures"
        )
    if 2.0 * np.pi / omega < 2.5 * step:
        raise ValueError(
            f"samples {step:.3g} s apart are too coarse for swings of {2.0 * np.pi / omega:.3g} s: the true ones "
            "may be faster still"
        )
    natural = float(np.hypot(decay, omega))
    damping = decay / natural
    to_natural = np.array([decay, omega]) / natural
    to_damping = np.array([omega**2, -decay * omega]) / natural**3
    tail = covariance[3:, 3:]
    return Tap(
        natural / (2.0 * np.pi),
        float(np.sqrt(to_natural @ tail @ to_natural)) / (2.0 * np.pi),
        damping,
        float(np.sqrt(to_damping @ tail @ to_damping)),
        swing,
        float(np.sqrt(variance)),
    )


def _loudest(t, places, span):
    """Angular speed at the highest peak of the spectrum of evenly interpolated samples."""
    count = max(64, 2 * t.size)
    even = np.interp(np.linspace(0.0, span, count), t, places)
    power = np.abs(np.fft.rfft(even - even.mean(), 8 * count)) ** 2
    bins = np.arange(power.size)
    power[bins * (count - 1) < 8 * count] = 0.0  # less than one swing
    return 2.0 * np.pi * float(np.argmax(power)) * (count - 1) / (8 * count * span)


def _swing(t, decay, omega):
    fade = np.exp(-decay * t)
    return np.stack([np.ones_like(t), fade * np.cos(omega * t), fade * np.sin(omega * t)], axis=1)


def _changes(t, decay, omega, best):
    """How the swing changes with decay and angular speed."""
    _, cosine, sine = _swing(t, decay, omega).T
    _, b, c = best
    return np.stack([-t * (b * cosine + c * sine), t * (c * cosine - b * sine)], axis=1)
