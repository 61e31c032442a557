"""What the turning of a field does to stars far from its middle: the arc in one sub, and the longest sub."""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, number, positive

RAD_S_PER_DEG_H = np.pi / 180.0 / 3600.0


def corner_smear_px(*, rate_deg_h, sub_s, radius_px):
    """How far a star far from the middle of rotation is smeared in one exposure.

    Parameters
    ----------
    rate_deg_h : float or array
        Rate of the field rotation, of either sign [°/h].
    sub_s : float or array
        Length of the exposure [s].
    radius_px : float or array
        Distance from the middle of rotation: the guide star, or half the diagonal [px].

    Returns
    -------
    float or array
        Length of the arc [px].

    Raises
    ------
    ValueError
        If a length is negative.

    Notes
    -----
    |rate| × time × radius. Only pixels count, not the focal length. The rate is taken as steady over the sub.

    References
    ----------
    Arc of a circle; reference row ALT-04.

    Examples
    --------
    >>> print(round(corner_smear_px(rate_deg_h=9, sub_s=10, radius_px=2441), 2))
    1.07
    """
    rate = np.abs(number("rate_deg_h", rate_deg_h)) * RAD_S_PER_DEG_H
    return rate * not_negative("sub_s", sub_s) * not_negative("radius_px", radius_px)


def longest_sub_s(*, rate_deg_h, radius_px, tolerance_px):
    """The exposure in which the smear of field rotation grows to the tolerance.

    Parameters
    ----------
    rate_deg_h : float or array
        Rate of the field rotation, of either sign [°/h].
    radius_px : float or array
        Distance from the middle of rotation: the guide star, or half the diagonal [px].
    tolerance_px : float or array
        Smear that is still accepted [px].

    Returns
    -------
    float or array
        Exposure [s]; infinite where nothing turns.

    Raises
    ------
    ValueError
        If the radius is negative or the tolerance not above zero.

    Notes
    -----
    `corner_smear_px` solved for the time.

    References
    ----------
    Arc of a circle; reference row ALT-05.

    Examples
    --------
    >>> print(round(longest_sub_s(rate_deg_h=9, radius_px=2441, tolerance_px=1.5), 1))
    14.1
    """
    speed_px_s = corner_smear_px(rate_deg_h=rate_deg_h, sub_s=1.0, radius_px=radius_px)
    tolerance = positive("tolerance_px", tolerance_px)
    return np.where(
        speed_px_s == 0, np.inf * tolerance, tolerance / np.where(speed_px_s == 0, 1, speed_px_s)
    )[()]
