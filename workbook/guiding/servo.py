"""A guide controller through time: exposure, dead time, correction, play in the gear; or your own hand."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, fraction, not_negative, number, positive
from workbook.constants import SIDEREAL_RATE_ARCSEC_S

DIRECTIONS = ("both", "north only", "south only", "off")


class Run(NamedTuple):
    """A guided stretch of a night.

    Times of the path [s] and where the mount points against the star then, on the sky [″]; ends of the guide
    exposures [s] and the places of the star they showed, air and noise included [″]; length of the correction
    that followed, positive towards east and north [s].
    """

    times_s: np.ndarray
    ra_arcsec: np.ndarray
    dec_arcsec: np.ndarray
    frames_s: np.ndarray
    seen_ra_arcsec: np.ndarray
    seen_dec_arcsec: np.ndarray
    pulse_ra_s: np.ndarray
    pulse_dec_s: np.ndarray


def pulse_s(*, move_arcsec, guide_speed, dec_deg):
    """How long a guide pulse in right ascension lasts.

    Parameters
    ----------
    move_arcsec : float or array
        Wanted move on the sky [″].
    guide_speed : float or array
        Speed of a correction as a share of the sidereal rate, above 0 to 1.
    dec_deg : float or array
        Declination, −89 to 89 [°]. For a pulse in declination give 0.

    Returns
    -------
    float or array
        Length of the pulse, with the sign of the move [s].

    Raises
    ------
    ValueError
        If speed or declination is out of its range.

    Notes
    -----
    move / (speed × 15.041″/s × cos δ): a pulse turns the axis, and near the pole a turn moves the star little.

    References
    ----------
    Reference rows TRK-11 and TRK-12.

    Examples
    --------
    >>> print(round(pulse_s(move_arcsec=1, guide_speed=0.5, dec_deg=60), 3))
    0.266
    """
    speed = SIDEREAL_RATE_ARCSEC_S * positive("guide_speed", fraction("guide_speed", guide_speed))
    on_sky = np.cos(np.radians(between("dec_deg", dec_deg, -89, 89)))
    return number("move_arcsec", move_arcsec) / (speed * on_sky)


def guide(
    *,
    times_s,
    ra_arcsec,
    dec_arcsec,
    air_arcsec,
    exposure_s,
    dead_time_s,
    aggressiveness,
    minimum_move_arcsec,
    longest_pulse_s,
    guide_speed,
    dec_deg,
    backlash_arcsec,
    centroid_sigma_arcsec,
    seed,
    directions,
) -> Run:
    """What a guide controller makes of a night: measure, wait, correct, again and again.

    Parameters
    ----------
    times_s : array
        Times with even steps, a tenth of a second or so [s].
    ra_arcsec, dec_arcsec : array
        Where the mount would point without guiding, on the sky [″].
    air_arcsec : array (2, times)
        Motion of the star by the air in both axes, as from `tilt_series_arcsec` [″].
    exposure_s : float
        Guide exposure [s].
    dead_time_s : float
        From the end of the exposure to the start of the correction: reading, finding, sending [s].
    aggressiveness : float
        Share of the seen error that is corrected, 0 to 1.
    minimum_move_arcsec : float
        Smaller errors are left alone [″].
    longest_pulse_s : float
        Longest correction in one go [s].
    guide_speed : float
        Speed of a correction as a share of the sidereal rate, above 0 to 1.
    dec_deg : float
        Declination, −85 to 85 [°].
    backlash_arcsec : float
        Play of the declination gear when it turns back [″].
    centroid_sigma_arcsec : float
        Error of the star's place by its light, one sigma in each axis [″].
    seed : int or numpy Generator
        Makes the same noise again.
    directions : str
        Corrections allowed in declination: "both", "north only", "south only"
        or "off".

    Returns
    -------
    Run
        The path and the places seen [″] with their times, and the corrections [s].

    Raises
    ------
    ValueError
        If the times are not even, the series differ in length, a number is out of its range, or the exposure
        is shorter than a step of time.

    Notes
    -----
    One exposure sees the mean place; after the dead time both axes move at once; the next exposure starts when the
    longer correction ends. In right ascension the axis never turns back, so play does not show. The play starts in
    the middle. The controller allows for cos δ, knows no play and predicts nothing.

    References
    ----------
    Derivation: the loop itself; the tests hold it against closed forms and a simulation in fine steps.

    Examples
    --------
    >>> t = np.arange(0, 600, 0.1)
    >>> run = guide(times_s=t, ra_arcsec=0.1 * t, dec_arcsec=0 * t, air_arcsec=np.zeros((2, t.size)),
    ...     exposure_s=2, dead_time_s=1, aggressiveness=0.5, minimum_move_arcsec=0, longest_pulse_s=2,
    ...     guide_speed=0.5, dec_deg=0, backlash_arcsec=0, centroid_sigma_arcsec=0, seed=1, directions="both")
    >>> print(round(float(run.ra_arcsec[3000:].mean()), 2))
    0.67
    """
    times, step, (ra, dec), air = _night(times_s, ra_arcsec, dec_arcsec, air_arcsec)
    exposing = _exposing(exposure_s, step)
    dead = not_negative("dead_time_s", float(dead_time_s))
    gain = fraction("aggressiveness", float(aggressiveness))
    least = not_negative("minimum_move_arcsec", float(minimum_move_arcsec))
    longest = positive("longest_pulse_s", float(longest_pulse_s))
    play = not_negative("backlash_arcsec", float(backlash_arcsec))
    noise = not_negative("centroid_sigma_arcsec", float(centroid_sigma_arcsec))
    allowed = chosen("directions", directions, DIRECTIONS)
    lowest = 0.0 if allowed in ("north only", "off") else -np.inf
    highest = 0.0 if allowed in ("south only", "off") else np.inf
    speeds = _speeds(guide_speed, dec_deg)
    sums = [np.concatenate([[0.0], np.cumsum(p + a)]).tolist() for p, a in zip((ra, dec), air, strict=True)]
    draws = np.random.default_rng(seed).standard_normal((2, times.size // exposing + 1)) * noise
    noises, start, limits = draws.tolist(), float(times[0]), ((-np.inf, np.inf), (lowest, highest))
    offsets, gaps = [0.0, 0.0], [0.0, play / 2.0]
    knots: tuple[list, list] = ([(start, 0.0)], [(start, 0.0)])
    frames, seen, pulses = [], ([], []), ([], [])
    first = count = 0
    while first + exposing <= times.size:
        last = first + exposing
        begins = start + last * step + dead
        lasting = 0.0
        frames.append(start + last * step)
        for axis in (0, 1):
            place = (sums[axis][last] - sums[axis][first]) / exposing + offsets[axis] + noises[axis][count]
            move = -gain * place if abs(place) >= least else 0.0
            move = min(max(move, limits[axis][0]), limits[axis][1])
            length = min(abs(move) / speeds[axis], longest)
            move = length * speeds[axis] if move > 0 else -length * speeds[axis]
            moved, gaps[axis] = _through_play(move, gaps[axis], play if axis else 0.0)
            seen[axis].append(place)
            pulses[axis].append(length if move > 0 else -length)
            if moved:
                knots[axis].append((begins + length - abs(moved) / speeds[axis], offsets[axis]))
                offsets[axis] += moved
                knots[axis].append((begins + length, offsets[axis]))
            lasting = max(lasting, length)
        count += 1
        first = max(last, int(np.ceil((begins + lasting - start) / step - 1e-9)))
    paths = [path + np.interp(times, *zip(*k, strict=True)) for path, k in zip((ra, dec), knots, strict=True)]
    return Run(times, *paths, np.array(frames), *map(np.array, seen), *map(np.array, pulses))


def guide_by_hand(
    *,
    times_s,
    ra_arcsec,
    dec_arcsec,
    air_arcsec,
    exposure_s,
    press_s,
    press_ra_s,
    press_dec_s,
    dead_time_s,
    guide_speed,
    dec_deg,
    backlash_arcsec,
    centroid_sigma_arcsec,
    seed,
) -> Run:
    """The same night with you at the buttons.

    Parameters
    ----------
    times_s : array
        Times with even steps [s].
    ra_arcsec, dec_arcsec : array
        Where the mount would point without guiding, on the sky [″].
    air_arcsec : array (2, times)
        Motion of the star by the air in both axes [″].
    exposure_s : float
        Guide exposure; one follows the other [s].
    press_s : sequence
        When you pressed a button, rising [s].
    press_ra_s, press_dec_s : sequence
        How long, positive towards east and north, 0 for the other axis [s].
    dead_time_s : float
        From the button to the motor [s].
    guide_speed : float
        Speed of a correction as a share of the sidereal rate, above 0 to 1.
    dec_deg : float
        Declination, −85 to 85 [°].
    backlash_arcsec : float
        Play of the declination gear when it turns back [″].
    centroid_sigma_arcsec : float
        Error of the star's place by its light, one sigma in each axis [″].
    seed : int or numpy Generator
        Makes the same noise again, so that a whole class plays the same night.

    Returns
    -------
    Run
        The path and the places seen [″] with their times; the corrections [s] are those in each frame.

    Raises
    ------
    ValueError
        As in `guide`, or if the presses do not rise or differ in number.

    Notes
    -----
    Presses that overlap in one axis are carried out one after the other. A frame shows the mean of its exposure, so
    that you always see the past.

    References
    ----------
    Derivation: the same mount as in `guide`, moved by a list of pulses.

    Examples
    --------
    >>> t = np.arange(0, 20, 0.1)
    >>> run = guide_by_hand(times_s=t, ra_arcsec=0.5 * t, dec_arcsec=0 * t, air_arcsec=np.zeros((2, t.size)),
    ...     exposure_s=1, press_s=[10], press_ra_s=[-0.5], press_dec_s=[0], dead_time_s=1, guide_speed=0.5,
    ...     dec_deg=0, backlash_arcsec=0, centroid_sigma_arcsec=0, seed=1)
    >>> print(round(float(run.ra_arcsec[-1]), 2))
    6.19
    """
    times, step, (ra, dec), air = _night(times_s, ra_arcsec, dec_arcsec, air_arcsec)
    exposing = _exposing(exposure_s, step)
    dead = not_negative("dead_time_s", float(dead_time_s))
    play = not_negative("backlash_arcsec", float(backlash_arcsec))
    noise = not_negative("centroid_sigma_arcsec", float(centroid_sigma_arcsec))
    presses = [np.atleast_1d(number(n, v)) for n, v in (
        ("press_s", press_s), ("press_ra_s", press_ra_s), ("press_dec_s", press_dec_s)
    )]  # fmt: skip
    if len({p.shape for p in presses}) > 1 or (np.diff(presses[0]) < 0).any():
        raise ValueError("press_s must rise, with one press_ra_s and one press_dec_s for each")
    moments, paths, pulses = presses[0], [], []
    cells = times.size // exposing
    for axis, path in enumerate((ra, dec)):
        speed = _speeds(guide_speed, dec_deg)[axis]
        knots, offset, free = [(float(times[0]), 0.0)], 0.0, -np.inf
        slack = play if axis else 0.0
        gap = slack / 2.0
        for moment, length in zip(moments, presses[1 + axis], strict=True):
            begins = max(float(moment) + dead, free)
            free = begins + abs(float(length))
            moved, gap = _through_play(float(length) * speed, gap, slack)
            if moved:
                knots.append((free - abs(moved) / speed, offset))
                offset += moved
                knots.append((free, offset))
        paths.append(path + np.interp(times, *zip(*knots, strict=True)))
        inside = ((moments - times[0]) / (exposing * step)).astype(int)
        kept = (inside >= 0) & (inside < cells)
        pulses.append(np.bincount(inside[kept], presses[1 + axis][kept], minlength=cells))
    draws = np.random.default_rng(seed).standard_normal((2, times.size // exposing + 1)) * noise
    seen = [
        (p + a)[: cells * exposing].reshape(cells, exposing).mean(axis=1) + d[:cells]
        for p, a, d in zip(paths, air, draws, strict=True)
    ]
    frames = times[0] + step * exposing * np.arange(1, cells + 1)
    return Run(times, *paths, frames, *seen, *pulses)


def _night(times_s, ra_arcsec, dec_arcsec, air_arcsec):
    """Times, their step, both paths and the air, checked."""
    times = np.atleast_1d(number("times_s", times_s))
    steps = np.diff(times)
    if times.ndim != 1 or times.size < 2 or not steps[0] > 0 or np.ptp(steps) > 1e-6 * steps[0] * times.size:
        raise ValueError("times_s must rise in even steps: make them with numpy's arange")
    paths = [np.asarray(number(n, v)) for n, v in (("ra_arcsec", ra_arcsec), ("dec_arcsec", dec_arcsec))]
    air = np.asarray(number("air_arcsec", air_arcsec))
    if any(p.shape != times.shape for p in paths) or air.shape != (2, times.size):
        raise ValueError(
            f"ra_arcsec and dec_arcsec need {times.size} values each and air_arcsec two rows of them, received "
            f"the shapes {paths[0].shape}, {paths[1].shape} and {air.shape}"
        )
    return times, float((times[-1] - times[0]) / (times.size - 1)), paths, air


def _exposing(exposure_s, step):
    steps = round(positive("exposure_s", float(exposure_s)) / step)
    if steps < 1:
        raise ValueError(
            f"exposure_s must be {step:g} s, the step of the times, or more, received {exposure_s:g} s"
        )
    return steps


def _speeds(guide_speed, dec_deg):
    """Speed of a correction on the sky in both axes [″/s]."""
    on_sky = np.cos(np.radians(between("dec_deg", float(dec_deg), -85, 85)))
    speed = SIDEREAL_RATE_ARCSEC_S * positive("guide_speed", fraction("guide_speed", float(guide_speed)))
    return float(speed * on_sky), float(speed)


def _through_play(move, gap, play):
    """What of a move comes out behind the play, and where in it (0 … play) the gear then stands."""
    if move > 0:
        out = max(0.0, move - (play - gap))
        return out, min(play, gap + move)
    out = min(0.0, move + gap)
    return out, max(0.0, gap + move)
