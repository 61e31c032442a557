"""The stack of a field that turned: how many subs cover each place, and how the noise grows outwards.

Each sub is a rectangle turned about the middle of rotation. Where they all overlap the stack is as deep as it
can be; outside, fewer and fewer subs contribute: the edge is soft, and no rectangle has to be cut out of it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, number, positive


class StackMap(NamedTuple):
    """A coarse map of a rotated stack.

    x_px and y_px, the middles of its cells from the middle of rotation [px]; coverage, the share of the subs
    that hold each cell, 0 to 1; relative_snr, the signal-to-noise against a place that all subs hold, 0 to 1.
    """

    x_px: np.ndarray
    y_px: np.ndarray
    coverage: np.ndarray
    relative_snr: np.ndarray


def stack_coverage(*, x_px, y_px, angles_deg, width_px, height_px):
    """The share of the subs of a turned stack that hold a place.

    Parameters
    ----------
    x_px : float or array
        Place to the right of the middle of rotation, in the picture that is turned by 0° [px].
    y_px : float or array
        Place above the middle of rotation [px].
    angles_deg : sequence
        Rotation of the field in the middle of each sub, as `rotation_deg` and `night_track` give it [°].
    width_px : float
        Width of the sensor [px].
    height_px : float
        Height of the sensor [px].

    Returns
    -------
    float or array
        Share of the subs, 0 to 1.

    Raises
    ------
    ValueError
        If there is no sub, an angle is NaN, or a size is not above zero.

    Notes
    -----
    The picture is seen as the sky is, not mirrored. A positive rotation carries the stars clockwise over the
    sensor, so against the stars the frame turns the other way. The subs count alike, and turn about the
    middle of the sensor; the turn within a sub is left out.

    References
    ----------
    Derivation; in the tests masks of the frame turned by an image library.

    Examples
    --------
    >>> stack_coverage(x_px=[0, 390, 300], y_px=[0, 0, 150], angles_deg=[0, 45, 90, 135], width_px=800,
    ...                height_px=400).tolist()
    [1.0, 0.25, 0.5]
    """
    x, y = number("x_px", x_px), number("y_px", y_px)
    angles = np.radians(np.atleast_1d(between("angles_deg", angles_deg, -3600, 3600)))
    if angles.ndim != 1 or not angles.size or np.isnan(angles).any():
        raise ValueError(f"angles_deg must be a list with one angle for each sub, received {angles_deg!r}")
    half_width, half_height = (
        0.5 * positive(name, size) for name, size in (("width_px", width_px), ("height_px", height_px))
    )
    x, y = np.broadcast_arrays(x, y)
    held = np.zeros(x.shape)
    for cos, sin in zip(np.cos(angles), np.sin(angles), strict=True):
        held += (np.abs(x * cos + y * sin) <= half_width) & (np.abs(y * cos - x * sin) <= half_height)
    return np.where(np.isnan(x + y), np.nan, held / angles.size)[()]


def relative_snr(*, coverage):
    """The signal-to-noise of a place in a stack against a place that all subs hold.

    Parameters
    ----------
    coverage : float or array
        Share of the subs that hold the place, 0 to 1.

    Returns
    -------
    float or array
        Relative signal-to-noise, 0 to 1.

    Raises
    ------
    ValueError
        If the coverage is outside 0 to 1.

    Notes
    -----
    √coverage: light grows with the number of subs, noise with its root. The subs are averaged over what each
    place received; sky and airmass are taken as the same in all.

    References
    ----------
    Derivation from the variance of a mean of independent subs; a simulated stack in the tests.

    Examples
    --------
    >>> print(relative_snr(coverage=0.25))
    0.5
    """
    return np.sqrt(fraction("coverage", coverage))


def stack_map(*, angles_deg, width_px, height_px, columns) -> StackMap:
    """The map of coverage and signal-to-noise of a turned stack, over all that any of its subs holds.

    Parameters
    ----------
    angles_deg : sequence
        Rotation of the field in the middle of each sub [°].
    width_px : float
        Width of the sensor [px].
    height_px : float
        Height of the sensor [px].
    columns : int
        Cells along each side of the square map, 2 to 1000; 60 suffice for a picture.

    Returns
    -------
    StackMap
        x_px, y_px [px], coverage and relative_snr, the latter two with rows along y.

    Raises
    ------
    ValueError
        If there is no sub, a size is not above zero, or columns is outside its range.

    Notes
    -----
    The square spans the circle through the corners. See `stack_coverage` and `relative_snr`.

    References
    ----------
    As `stack_coverage`.

    Examples
    --------
    >>> turned = stack_map(angles_deg=[0, 40, 80], width_px=4000, height_px=2800, columns=6)
    >>> turned.relative_snr[1].round(2).tolist()
    [0.0, 1.0, 1.0, 1.0, 0.58, 0.0]
    """
    columns = int(between("columns", columns, 2, 1000))
    half = 0.5 * np.hypot(positive("width_px", width_px), positive("height_px", height_px))
    edges = np.linspace(-half, half, columns + 1)
    middles = 0.5 * (edges[1:] + edges[:-1])
    covered = stack_coverage(
        x_px=middles, y_px=middles[:, None], angles_deg=angles_deg, width_px=width_px, height_px=height_px
    )
    return StackMap(middles, middles, covered, relative_snr(coverage=covered))


def deep_share(*, angles_deg, width_px, height_px, lowest_relative_snr):
    """The share of a single frame's area that a turned stack fills at least so deep.

    Parameters
    ----------
    angles_deg : sequence
        Rotation of the field in the middle of each sub [°].
    width_px : float
        Width of the sensor [px].
    height_px : float
        Height of the sensor [px].
    lowest_relative_snr : float
        Signal-to-noise that still counts, against a place that all subs hold, above 0 to 1.

    Returns
    -------
    float
        Area with at least that depth over the area of one frame; above 1 where the stack spreads wider.

    Raises
    ------
    ValueError
        If there is no sub, a size is not above zero, or the lowest signal-to-noise is outside its range.

    Notes
    -----
    Counted over a map of 240 × 240 cells: good to 0.005. With 1 it is the area common to all subs.

    References
    ----------
    As `stack_coverage`; a square turned by 45° leaves a regular octagon, 2 (√2 − 1) of it.

    Examples
    --------
    >>> print(round(deep_share(angles_deg=[0, 45], width_px=3000, height_px=3000, lowest_relative_snr=1), 2))
    0.83
    """
    lowest = positive("lowest_relative_snr", fraction("lowest_relative_snr", lowest_relative_snr))
    found = stack_map(angles_deg=angles_deg, width_px=width_px, height_px=height_px, columns=240)
    cell = (found.x_px[1] - found.x_px[0]) ** 2
    return float(np.sum(found.relative_snr >= lowest - 1e-12) * cell / (width_px * height_px))
