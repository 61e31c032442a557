"""What does not belong to the sky: satellite trails and cosmic-ray hits, and how many subs a clip needs."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.frames.combine import METHODS, combine_subs

PIXELS = 4000  # samples: what is left of a trail is then known to 0.02 of the stack's noise
MOST_SUBS = 100


def satellite_trail_e(*, width_px, height_px, x_px, y_px, angle_deg, sigma_px, trail_e_px) -> np.ndarray:
    """The light of a satellite that crossed one sub in a straight line.

    Parameters
    ----------
    width_px, height_px : int
        Size of the frame [px].
    x_px, y_px : float
        A place on the trail [px].
    angle_deg : float
        Its direction, from x towards y [°].
    sigma_px : float
        Standard deviation across the trail: the stars' own width, and more where it is out of focus [px].
    trail_e_px : float
        Electrons in a pixel on its middle line [e⁻/px].

    Returns
    -------
    array
        Electrons in each pixel, shape (height, width), single precision [e⁻/px].

    Raises
    ------
    ValueError
        If a size or width is not above zero, or the light negative.

    Notes
    -----
    A Gaussian across, even along, from edge to edge; no blinking.

    References
    ----------
    Derivation: distance of a point from a line.

    Examples
    --------
    >>> trail = satellite_trail_e(width_px=40, height_px=30, x_px=0, y_px=10, angle_deg=0, sigma_px=1.5,
    ...                           trail_e_px=200)
    >>> float(trail[10, 5]), round(float(trail[13, 5]))
    (200.0, 27)
    """
    turn = np.radians(number("angle_deg", angle_deg))
    right = np.arange(int(positive("width_px", width_px))) - number("x_px", x_px)
    up = np.arange(int(positive("height_px", height_px)))[:, None] - number("y_px", y_px)
    off = up * np.cos(turn) - right * np.sin(turn)
    light = not_negative("trail_e_px", trail_e_px) * np.exp(
        -0.5 * (off / positive("sigma_px", sigma_px)) ** 2
    )
    return light.astype(np.float32)


def cosmic_rays_e(*, width_px, height_px, hits, hit_e, longest_px, seed) -> np.ndarray:
    """Cosmic rays and other particles: short, sharp tracks in one sub.

    Parameters
    ----------
    width_px, height_px : int
        Size of the frame [px].
    hits : float
        How many are expected; their number varies.
    hit_e : float
        Electrons of a hit along one pixel, on average [e⁻].
    longest_px : float
        Tracks are up to so long [px].
    seed : int
        Which hits.

    Returns
    -------
    array
        Electrons in each pixel, shape (height, width), single precision [e⁻].

    Raises
    ------
    ValueError
        If a size is not above zero, or another number negative.

    Notes
    -----
    Straight tracks one pixel wide, evenly spread in place and direction, with exponentially distributed light.
    At sea level a square centimetre of sensor receives about one muon in a minute, and its own parts and the
    glass before it may add more.

    References
    ----------
    Particle Data Group, Review of Particle Physics, cosmic rays: about 1 muon/cm²/min at sea level (recalled).

    Examples
    --------
    >>> rays = cosmic_rays_e(width_px=200, height_px=100, hits=6, hit_e=800, longest_px=5, seed=1)
    >>> 0 < int((rays > 0).sum()) < 60
    True
    """
    height, width = int(positive("height_px", height_px)), int(positive("width_px", width_px))
    rng = np.random.default_rng(seed)
    image = np.zeros((height, width), np.float32)
    for _ in range(rng.poisson(not_negative("hits", hits))):
        x, y, turn = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0, np.pi)
        length = rng.uniform(0, not_negative("longest_px", longest_px))
        light = rng.exponential(not_negative("hit_e", hit_e))
        along = np.arange(0, max(length, 1e-9), 0.25)
        places = np.stack([y + along * np.sin(turn), x + along * np.cos(turn)]).astype(int)
        row, column = np.unique(places, axis=1)
        inside = (row < height) & (column >= 0) & (column < width)
        image[row[inside], column[inside]] += light
    return image


def trail_left_sigmas(*, subs, trail_sigmas, clip_sigmas, method, seed):
    """What a trail in one sub leaves in the stack, in the stack's own noise.

    Parameters
    ----------
    subs : int
        How many subs, 1 to 100.
    trail_sigmas : float
        Height of the trail in its sub, in that sub's noise.
    clip_sigmas : float
        Limit of the clipped mean.
    method : str
        "mean", "clipped mean" or "median".
    seed : int
        Which noise.

    Returns
    -------
    float
        Height of what is left over the noise of the mean of so many subs.

    Raises
    ------
    ValueError
        If a number is out of its range.

    Notes
    -----
    4000 pixels of normal noise, combined with and without the trail. The mean leaves A/√N. The median leaves
    about 1.25/√N, however bright the trail is. The clip needs subs: one far value among N stands N/√(N − 1)
    standard deviations from the median, so at 3 sigmas nothing is removed before N = 8;
    counted about the mean, as in `exposure.fewest_frames`, it is N = 11.

    References
    ----------
    Derivation, and Monte Carlo by `combine.combine_subs`.

    Examples
    --------
    >>> trail = {"trail_sigmas": 20, "clip_sigmas": 3, "seed": 1}
    >>> print(round(trail_left_sigmas(subs=16, method="mean", **trail), 2))
    5.0
    >>> print(abs(round(trail_left_sigmas(subs=16, method="clipped mean", **trail), 1)))
    0.0
    """
    number_of = int(between("subs", subs, 1, MOST_SUBS))
    clean = np.random.default_rng(seed).standard_normal((number_of, PIXELS))
    marked = clean.copy()
    marked[0] += not_negative("trail_sigmas", trail_sigmas)
    both = [
        combine_subs(values, method=method, clip_sigmas=clip_sigmas).light_adu for values in (marked, clean)
    ]
    return float((both[0] - both[1]).mean(dtype=float) * np.sqrt(number_of))


def subs_to_remove_trail(*, trail_sigmas, clip_sigmas, left_sigmas, seed) -> int:
    """How many subs a clipped mean needs until a trail in one of them is gone.

    Parameters
    ----------
    trail_sigmas : float
        Height of the trail in its sub, in that sub's noise.
    clip_sigmas : float
        Limit of the clipped mean.
    left_sigmas : float
        What may be left of it, in the noise of the stack; half of it is hard to see.
    seed : int
        Which noise.

    Returns
    -------
    int
        The first number of subs that suffices.

    Raises
    ------
    ValueError
        If 100 subs do not suffice: the limit is too high for so faint a trail.

    Notes
    -----
    See `trail_left_sigmas`. A faint trail is hard: what stands below the limit is never seen in a single
    pixel, and only fades with √N.

    References
    ----------
    As there.

    Examples
    --------
    >>> subs_to_remove_trail(trail_sigmas=100, clip_sigmas=3, left_sigmas=0.5, seed=1)
    8
    """
    limit = positive("left_sigmas", left_sigmas)
    for subs in range(1, MOST_SUBS + 1):
        left = trail_left_sigmas(
            subs=subs, trail_sigmas=trail_sigmas, clip_sigmas=clip_sigmas, method=METHODS[1], seed=seed
        )
        if abs(left) <= limit:
            return subs
    raise ValueError(
        f"trail_sigmas {trail_sigmas:g} is not removed by {MOST_SUBS} subs at clip_sigmas {clip_sigmas:g}: "
        "lower the limit, or leave that sub out"
    )
