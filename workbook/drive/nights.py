"""Many nights of many subs: the spread of the yield when gears, rate and wander come together."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.drive.harmonics import _checked_harmonics, _common_cycle

LOOKS = 8  # at a sub, at least; between them the wander's reach is drawn from its known law
LOOKS_PER_TURN = 25  # of the shortest period: a crest between two looks hides at most 0.8 % of its amplitude
BLOCK = 16_384  # subs worked on at once: their arrays stay in the cache


def night_yields(
    *,
    nights,
    subs,
    sub_s,
    overhead_s,
    peak_to_peak_arcsec,
    period_s,
    rate_error_arcsec_s,
    random_walk_arcsec_sqrt_s,
    tolerance_arcsec,
    seed,
    phase_deg=0.0,
    dec_deg=0.0,
):
    """The share of good subs of each of many nights, every sub followed through its own time.

    Parameters
    ----------
    nights : int
        How many nights.
    subs : int
        Subs of a night, one after another.
    sub_s : float
        Length of the sub [s].
    overhead_s : float
        Time from the end of a sub to the start of the next [s].
    peak_to_peak_arcsec : float or sequence
        Full swing of the gear error; of each harmonic, if there are several [″].
    period_s : float or sequence
        Period, one for each harmonic [s].
    rate_error_arcsec_s : float or array
        How much too fast the drive runs, once or for each night [″/s].
    random_walk_arcsec_sqrt_s : float or array
        Irregular wander, once or for each night [″/√s].
    tolerance_arcsec : float
        Largest extent of the path on the sky that still makes a good sub [″].
    seed : int or numpy Generator
        Makes the same nights again.
    phase_deg : float or sequence
        Phases of the harmonics against each other [°]; 0 by default, and without effect for one harmonic.
    dec_deg : float
        Declination [°]; 0 by default, the equator, where the gears show most.

    Returns
    -------
    array
        Share of good subs of each night, 0 to 1.

    Raises
    ------
    ValueError
        If there is no night or sub, a length not above zero, a swing, overhead or wander negative, or the
        declination beyond ±90°.

    Notes
    -----
    Each night starts at its own moment of the gear's cycle. A sub is looked at eight times or more; the
    extreme of a Brownian bridge between two looks is (a + b + √((b − a)² − 2 σ² Δt ln U)) / 2. The same draw
    serves top and bottom, which keeps the yield within 0.01 of a path followed in fine steps.

    References
    ----------
    Asmussen, S., Glynn, P. & Pitman, J. (1995), Ann. Appl. Probab. 5, 875 (extremes of a bridge).

    Examples
    --------
    >>> shares = night_yields(nights=100, subs=50, sub_s=8, overhead_s=5, peak_to_peak_arcsec=[50, 12],
    ...     period_s=[420.3, 210.15], rate_error_arcsec_s=0, random_walk_arcsec_sqrt_s=0,
    ...     tolerance_arcsec=3.4, seed=1)
    >>> print(round(float(shares.mean()), 2))
    0.84
    """
    nights, subs = (_whole(name, value) for name, value in (("nights", nights), ("subs", subs)))
    sub = positive("sub_s", float(sub_s))
    tolerance = positive("tolerance_arcsec", float(tolerance_arcsec))
    on_sky = np.cos(np.radians(between("dec_deg", float(dec_deg), -90, 90)))
    rate = number("rate_error_arcsec_s", rate_error_arcsec_s)
    walk = not_negative("random_walk_arcsec_sqrt_s", random_walk_arcsec_sqrt_s)
    swing, period, phase = _checked_harmonics(peak_to_peak_arcsec, period_s, phase_deg)
    rate, walk = (np.broadcast_to(on_sky * v, (nights,)).astype(np.float32) for v in (rate, walk))
    random = np.random.default_rng(seed)
    cycle = _common_cycle(period)
    begins = random.uniform(0.0, cycle, nights)
    clock = np.arange(subs) * (sub + not_negative("overhead_s", float(overhead_s)))
    looks = max(LOOKS, int(np.ceil(LOOKS_PER_TURN * min(sub, cycle) / period.min())))
    gear = (on_sky * swing / 2.0, 2.0 * np.pi / period, phase)
    kept = np.empty(nights)
    block = max(1, BLOCK // subs)
    for first in range(0, nights, block):
        some = slice(first, first + block)
        starts = begins[some, None] + clock
        extents = _extents(starts, sub, looks, gear, rate[some, None], walk[some, None], random)
        kept[some] = (extents <= tolerance).mean(axis=1)
    return kept


def _extents(starts, sub_s, looks, gear, rate, walk, random):
    """Largest minus smallest error [″] in each sub; starts (nights, subs), rate and walk (nights, 1)."""
    shape, step = starts.shape, np.float32(sub_s / looks)
    waves = []
    for amplitude, turn, angle in zip(*gear, strict=True):
        at = ((turn * starts + angle) % (2.0 * np.pi)).astype(np.float32)
        waves.append((turn, np.float32(amplitude) * np.sin(at), np.float32(amplitude) * np.cos(at)))
    walking = bool(walk.any())
    sigma, reach_scale = walk * np.sqrt(step), 0.5 * walk**2 * step
    high, low, before, wander = (np.zeros(shape, np.float32) for _ in range(4))
    now, part = np.empty(shape, np.float32), np.empty(shape, np.float32)
    for look in range(1, looks + 1):
        time = look * float(step)
        np.multiply(rate, np.float32(time), out=now)
        for turn, sine, cosine in waves:  # A sin(θ + ωt) − A sin θ
            now += np.multiply(sine, np.float32(np.cos(turn * time) - 1.0), out=part)
            now += np.multiply(cosine, np.float32(np.sin(turn * time)), out=part)
        if walking:
            random.standard_normal(out=part, dtype=np.float32)
            part *= sigma
            wander += part
            now += wander
            random.standard_exponential(out=part, dtype=np.float32)
            part *= reach_scale
            half = np.subtract(now, before)
            half *= 0.5
            before += half  # the middle of the step
            half *= half
            part += half
            np.sqrt(part, out=part)
            np.maximum(high, np.add(before, part, out=half), out=high)
            np.minimum(low, np.subtract(before, part, out=half), out=low)
            before, now = now, before
        else:
            np.maximum(high, now, out=high)
            np.minimum(low, now, out=low)
    return high - low


def _whole(name, value):
    if isinstance(value, (bool, str)) or int(value) != value or value < 1:
        raise ValueError(f"{name} must be a whole number of at least 1, received {value!r}")
    return int(value)
