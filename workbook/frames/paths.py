"""The path of every star over the sensor during one exposure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive


class Paths(NamedTuple):
    """Places of each star over the exposure, in equal steps of time, shape (stars, samples) [px]."""

    x_px: np.ndarray
    y_px: np.ndarray


class Shift(NamedTuple):
    """How far the whole picture is shifted at each sample of time, shape (samples,) [px]."""

    x_px: np.ndarray
    y_px: np.ndarray


def sample_times_s(*, exposure_s, samples) -> np.ndarray:
    """The middles of equal pieces of an exposure.

    Parameters
    ----------
    exposure_s : float
        Length of the exposure [s].
    samples : int
        Number of pieces; enough that a star moves less than its own sigma from one to the next.

    Returns
    -------
    array
        Times since the start of the exposure [s].

    Raises
    ------
    ValueError
        If the exposure or the number of pieces is not positive.

    Notes
    -----
    A star that moves evenly by L is smeared with the variance L²/12; M samples give L²/12 (1 − 1/M²).

    References
    ----------
    Reference row PSF-13.

    Examples
    --------
    >>> sample_times_s(exposure_s=60, samples=4)
    array([ 7.5, 22.5, 37.5, 52.5])
    """
    count = int(positive("samples", samples))
    return positive("exposure_s", exposure_s) * (np.arange(count) + 0.5) / count


def mount_shift_px(
    *,
    times_s,
    drift_x_px,
    drift_y_px,
    peak_to_peak_px,
    period_s,
    phase_deg,
    direction_deg,
    jitter_px,
    seed,
) -> Shift:
    """A path of the whole picture: even drift, one gear's periodic error, and jitter.

    Parameters
    ----------
    times_s : array
        Times, as from `sample_times_s` [s].
    drift_x_px, drift_y_px : float
        Even drift from the first time to the last [px].
    peak_to_peak_px : float
        Periodic error from peak to peak [px].
    period_s : float
        Its period [s].
    phase_deg : float
        Its phase at time 0 [°].
    direction_deg : float
        Direction of the gear's error in the picture, from x towards y [°].
    jitter_px : float
        Random shift at each sample, standard deviation in each axis [px].
    seed : int
        Which random shifts.

    Returns
    -------
    Shift
        x_px and y_px at each time [px].

    Raises
    ------
    ValueError
        If the period is not positive, or an error or jitter is negative.

    Notes
    -----
    shift = drift · (t − t₀)/(t₁ − t₀) + ½ p sin(360° t/P + phase) along the direction + jitter. Any other path
    may be given to `star_paths_px` as arrays instead.

    References
    ----------
    Derivation: sum of the three motions.

    Examples
    --------
    >>> shift = mount_shift_px(times_s=np.array([0.0, 30.0, 60.0]), drift_x_px=2.0, drift_y_px=0.0,
    ...                        peak_to_peak_px=6.0, period_s=120.0, phase_deg=0.0, direction_deg=90.0,
    ...                        jitter_px=0.0, seed=1)
    >>> shift.x_px.round(3), shift.y_px.round(3)
    (array([0., 1., 2.]), array([0., 3., 0.]))
    """
    times = np.atleast_1d(number("times_s", times_s))
    span = times[-1] - times[0]
    along = (times - times[0]) / span if span > 0 else np.zeros_like(times)
    turn = 2 * np.pi * times / positive("period_s", period_s) + np.radians(number("phase_deg", phase_deg))
    gear = not_negative("peak_to_peak_px", peak_to_peak_px) / 2 * np.sin(turn)
    direction = np.radians(number("direction_deg", direction_deg))
    jitter = np.random.default_rng(seed).normal(0.0, not_negative("jitter_px", jitter_px), (2, times.size))
    return Shift(
        x_px=number("drift_x_px", drift_x_px) * along + gear * np.cos(direction) + jitter[0],
        y_px=number("drift_y_px", drift_y_px) * along + gear * np.sin(direction) + jitter[1],
    )


def star_paths_px(*, x_px, y_px, shift_x_px, shift_y_px, turn_deg, centre_x_px, centre_y_px) -> Paths:
    """Each star's own path: all share the shifts, and turn about one place.

    Parameters
    ----------
    x_px, y_px : array
        Place of each star before shift and turn [px].
    shift_x_px, shift_y_px : float or array
        Shift of the whole picture at each sample of time [px].
    turn_deg : float or array
        Turn of the picture at each sample, positive from x towards y [°].
    centre_x_px, centre_y_px : float
        The place about which it turns, before the shift: with a guide star, that star, even outside the frame
        [px].

    Returns
    -------
    Paths
        x_px and y_px, shape (stars, samples) [px].

    Raises
    ------
    ValueError
        If the shapes of the samples do not fit each other.

    Notes
    -----
    place(t) = centre + turn(t) · (place − centre) + shift(t), exact for any angle.

    References
    ----------
    Derivation: rotation of the plane; tested against complex numbers.

    Examples
    --------
    >>> paths = star_paths_px(x_px=np.array([10.0]), y_px=np.array([0.0]), shift_x_px=0.0, shift_y_px=0.0,
    ...                       turn_deg=np.array([0.0, 90.0]), centre_x_px=0.0, centre_y_px=0.0)
    >>> paths.x_px.round(6), paths.y_px.round(6)
    (array([[10.,  0.]]), array([[ 0., 10.]]))
    """
    right = np.atleast_1d(number("x_px", x_px))[:, None] - number("centre_x_px", centre_x_px)
    up = np.atleast_1d(number("y_px", y_px))[:, None] - number("centre_y_px", centre_y_px)
    turn = np.radians(np.atleast_1d(number("turn_deg", turn_deg)))
    cosine, sine = np.cos(turn), np.sin(turn)
    return Paths(
        x_px=centre_x_px + right * cosine - up * sine + number("shift_x_px", shift_x_px),
        y_px=centre_y_px + right * sine + up * cosine + number("shift_y_px", shift_y_px),
    )
