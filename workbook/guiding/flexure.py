"""Flexure: the guide telescope stays on its star, and the picture wanders all the same."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import number, positive
from workbook.drive.linear import _covariance, _least_squares, _noise, _series


class Flexure(NamedTuple):
    """How fast the picture wanders while it is guided.

    Rate in right ascension and in declination on the sky, the length of both together, and its uncertainty
    [″/min].
    """

    ra_arcsec_min: float
    dec_arcsec_min: float
    rate_arcsec_min: float
    rate_sigma_arcsec_min: float


def flexure_trail_px(*, flexure_arcsec_min, sub_s, scale_arcsec_px):
    """The trail that flexure draws in one guided sub.

    Parameters
    ----------
    flexure_arcsec_min : float or array
        How fast the guide telescope bends against the main one [″/min].
    sub_s : float or array
        Length of the sub [s].
    scale_arcsec_px : float or array
        Image scale of the main camera [″/px].

    Returns
    -------
    float or array
        Length of the trail [px].

    Raises
    ------
    ValueError
        If sub or scale is not above zero.

    Notes
    -----
    rate × time / scale; a negative rate gives a negative trail. The rate changes with the direction of the
    tube: measure it where you shoot.

    References
    ----------
    Reference row TRK-16.

    Examples
    --------
    >>> print(round(flexure_trail_px(flexure_arcsec_min=0.15, sub_s=120, scale_arcsec_px=2.256), 2))
    0.13
    """
    rate = number("flexure_arcsec_min", flexure_arcsec_min)
    return rate * positive("sub_s", sub_s) / 60.0 / positive("scale_arcsec_px", scale_arcsec_px)


def longest_sub_s(*, flexure_arcsec_min, tolerance_px, scale_arcsec_px):
    """The longest guided sub that flexure allows.

    Parameters
    ----------
    flexure_arcsec_min : float or array
        How fast the guide telescope bends against the main one [″/min].
    tolerance_px : float or array
        Longest trail that you keep [px].
    scale_arcsec_px : float or array
        Image scale of the main camera [″/px].

    Returns
    -------
    float or array
        Length of the sub [s]; infinite without flexure.

    Raises
    ------
    ValueError
        If tolerance or scale is not above zero.

    Notes
    -----
    tolerance × scale / |rate|, flexure alone.

    References
    ----------
    Derivation: flexure_trail_px turned round.

    Examples
    --------
    >>> print(round(longest_sub_s(flexure_arcsec_min=0.15, tolerance_px=1.5, scale_arcsec_px=2.256)))
    1354
    """
    allowed = positive("tolerance_px", tolerance_px) * positive("scale_arcsec_px", scale_arcsec_px)
    with np.errstate(divide="ignore"):
        return np.divide(60.0 * allowed, np.abs(number("flexure_arcsec_min", flexure_arcsec_min)))[()]


def fit_flexure(*, times_s, ra_arcsec, dec_arcsec) -> Flexure:
    """Flexure from where a star stands in guided frames, with an honest uncertainty.

    Parameters
    ----------
    times_s : array
        Times of the frames, rising [s].
    ra_arcsec, dec_arcsec : array
        Place of one star, or of the mean of many, on the main camera [″].

    Returns
    -------
    Flexure
        Rates and the uncertainty of their length [″/min].

    Raises
    ------
    ValueError
        If there are fewer than five frames, or the series is no series.

    Notes
    -----
    A straight line in each axis; the uncertainty allows for a wander where the residuals show one. Dithers must
    be taken out first, and a field that turns about the guide star drifts too: take the star nearest to it. The
    length of a rate that is not there is about one uncertainty long: believe it from three on.

    References
    ----------
    White, H. (1980), Econometrica 48, 817 (uncertainty under noise that is not white).

    Examples
    --------
    >>> t = np.arange(0, 3600, 120.0)
    >>> print(round(fit_flexure(times_s=t, ra_arcsec=0.002 * t, dec_arcsec=-0.001 * t).rate_arcsec_min, 3))
    0.134
    """
    times, *axes = _series(times_s, ra_arcsec=ra_arcsec, dec_arcsec=dec_arcsec)
    if times.size < 5:
        raise ValueError(
            f"five or more frames are needed for a rate and its uncertainty, received {times.size}"
        )
    middle = times - times.mean()
    table = np.stack([np.ones_like(middle), middle], axis=1)
    slopes, variances = [], []
    for places in axes:
        best, left, inverse = _least_squares(table, places)
        freedom = times.size / (times.size - 2)  # a line takes two of the residuals
        white, walk = _noise(times, left, unseen=False)
        slopes.append(60.0 * best[1])
        variances.append(3600.0 * freedom * _covariance(times, table, inverse, white, walk)[1, 1])
    rate = float(np.hypot(*slopes))
    share = np.array(slopes) / rate if rate > 0 else np.sqrt([0.5, 0.5])
    return Flexure(*map(float, slopes), rate, float(np.sqrt(share**2 @ np.array(variances))))
