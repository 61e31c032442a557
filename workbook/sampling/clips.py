"""Clips of the Moon, the Sun and planets: how long one may run, and how fast a body leaves the stars."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.constants import ARCSEC_PER_RAD, GAUSSIAN_FWHM_PER_SIGMA, SIDEREAL_RATE_ARCSEC_S

# One turn against the stars [h], from the rates of W in Archinal et al. 2018, Celestial Mechanics and Dynamical
# Astronomy 130, 22, tables 1 and 2; Jupiter's equator (system I, 877.900°/d) turns faster than its core, and is what
# smears first.
SPIN_H = {
    "Sun": 8640.0 / 14.1844,
    "Mercury": 8640.0 / 6.1385108,
    "Venus": 8640.0 / 1.4813688,
    "Mars": 8640.0 / 350.891982443297,
    "Jupiter": 8640.0 / 877.900,
    "Saturn": 8640.0 / 810.7939024,
}

# One turn round the sky against the stars [h]: sidereal month and year (Explanatory Supplement to the Astronomical
# Almanac, 3rd ed. 2013, chapters 1 and 15: 27.321662 d, 365.256363 d; recalled).
ORBIT_H = {"Moon": 24.0 * 27.321662, "Sun": 24.0 * 365.256363}


class Motion(NamedTuple):
    """How a body moves against the stars: to the east and north, and in all [″/s]."""

    east_arcsec_s: float | np.ndarray
    north_arcsec_s: float | np.ndarray
    total_arcsec_s: float | np.ndarray


def allowed_smear_arcsec(*, fwhm_arcsec, growth):
    """How long an even smear may be before it widens a blur by a given share.

    Parameters
    ----------
    fwhm_arcsec : float or array
        Full width at half maximum of all other blur together [″].
    growth : float or array
        Share by which the smear may widen it along its way, 0.05 for one part in twenty.

    Returns
    -------
    float or array
        Length of the smear [″].

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    An even smear of length L adds L²/12 to the variance: L = √(12 ((1 + g)² − 1)) FWHM/2.3548. For g = 0.05 that
    is 0.47 of the FWHM: half the blur is a good rule.

    References
    ----------
    Derivation: variance of a box; reference row PSF-04.

    Examples
    --------
    >>> print(round(allowed_smear_arcsec(fwhm_arcsec=2, growth=0.05), 2))
    0.94
    """
    sigma = not_negative("fwhm_arcsec", fwhm_arcsec) / GAUSSIAN_FWHM_PER_SIGMA
    more = 1.0 + not_negative("growth", growth, cure="give a share such as 0.05, not per cent")
    return sigma * np.sqrt(12.0 * (more**2 - 1.0))


def spin_limit_s(*, diameter_arcsec, period_h, smear_arcsec):
    """How long a clip may run before a planet's own turning has moved the middle of its disc by a smear.

    Parameters
    ----------
    diameter_arcsec : float or array
        Apparent diameter across the equator [″].
    period_h : float or array
        One turn of the planet against the stars, see `SPIN_H` [h].
    smear_arcsec : float or array
        Smear that is still accepted [″].

    Returns
    -------
    float or array
        Length of the clip [s].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    The middle of the disc moves at π × diameter/period; towards the rim the same turning shows less. The Moon always
    turns the same face to us and has no such limit. Venus' cloud tops turn in 4 days, its ground in 243.

    References
    ----------
    Derivation: half the diameter times the angular speed 2π/period.

    Examples
    --------
    >>> print(round(spin_limit_s(diameter_arcsec=45, period_h=9.84, smear_arcsec=1)))
    251
    """
    speed = np.pi * positive("diameter_arcsec", diameter_arcsec) / (3600.0 * positive("period_h", period_h))
    return positive("smear_arcsec", smear_arcsec) / speed


def own_motion(*, start_ra_deg, start_dec_deg, end_ra_deg, end_dec_deg, interval_s) -> Motion:
    """How fast a body moves against the stars between two moments: what a sidereal drive leaves.

    Parameters
    ----------
    start_ra_deg, start_dec_deg : float or array
        Place at the start [°].
    end_ra_deg, end_dec_deg : float or array
        Place at the end [°].
    interval_s : float or array
        Time between [s].

    Returns
    -------
    Motion
        east_arcsec_s, north_arcsec_s and total_arcsec_s.

    Raises
    ------
    ValueError
        If an angle is outside its range or the interval not positive.

    Notes
    -----
    On the plane that touches the sky at the start; for steps of minutes. Use places as seen from the site: the
    observer's own turning with the Earth slows a high Moon by up to half.

    References
    ----------
    Derivation: tangent plane; in the tests Skyfield, seen from the site.

    Examples
    --------
    >>> step = own_motion(start_ra_deg=10, start_dec_deg=60, end_ra_deg=10.01, end_dec_deg=60, interval_s=60)
    >>> print(round(step.total_arcsec_s, 3))
    0.3
    """
    ra0, ra1 = (
        np.radians(between(name, value, -360, 360))
        for name, value in (("start_ra_deg", start_ra_deg), ("end_ra_deg", end_ra_deg))
    )
    dec0, dec1 = (
        np.radians(between(name, value, -90, 90))
        for name, value in (("start_dec_deg", start_dec_deg), ("end_dec_deg", end_dec_deg))
    )
    per_s = ARCSEC_PER_RAD / positive("interval_s", interval_s)
    east = np.cos(dec1) * np.sin(ra1 - ra0) * per_s
    north = (np.sin(dec1 - dec0) + 2.0 * np.sin(dec0) * np.cos(dec1) * np.sin(0.5 * (ra1 - ra0)) ** 2) * per_s
    return Motion(east, north, np.hypot(east, north))


def drive_rate_arcsec_s(*, orbit_h):
    """The mean rate at which a drive keeps up with a body that goes round the sky in a given time.

    Parameters
    ----------
    orbit_h : float or array
        One turn round the sky against the stars, to the east, see `ORBIT_H` [h].

    Returns
    -------
    float or array
        Rate of the hour angle [″/s]: 15.041 for a star, 15.000 for the Sun, 14.492 for the Moon.

    Raises
    ------
    ValueError
        If the time is not positive.

    Notes
    -----
    The sidereal rate less 360°/orbit. A mean: the Moon's true rate changes with its distance, its declination and, seen
    from the ground, its altitude; see `own_motion`.

    References
    ----------
    Derivation; for the Sun one turn in a mean solar day, 15″/s. Reference row AST-20.

    Examples
    --------
    >>> print(round(drive_rate_arcsec_s(orbit_h=ORBIT_H["Moon"]), 3))
    14.492
    """
    return SIDEREAL_RATE_ARCSEC_S - 360.0 / positive("orbit_h", orbit_h)  # 360°/h is 360″/s


def drift_limit_s(*, drift_arcsec_s, scale_arcsec_px, tolerance_px):
    """The time in which a steady drift grows to a tolerance.

    Parameters
    ----------
    drift_arcsec_s : float or array
        Speed on the sky, of either sign [″/s].
    scale_arcsec_px : float or array
        Image scale [″/px].
    tolerance_px : float or array
        Drift that is still accepted [px].

    Returns
    -------
    float or array
        Time [s]; infinite where nothing drifts.

    Raises
    ------
    ValueError
        If the scale or the tolerance is not positive.

    Notes
    -----
    It bounds one frame. In a clip whose frames are shifted onto each other before they are added, drift only moves
    the disc about the sensor.

    References
    ----------
    Derivation: distance over speed.

    Examples
    --------
    >>> print(round(drift_limit_s(drift_arcsec_s=0.55, scale_arcsec_px=2.256, tolerance_px=1), 1))
    4.1
    """
    speed = np.abs(between("drift_arcsec_s", drift_arcsec_s, -1e6, 1e6))
    length = positive("scale_arcsec_px", scale_arcsec_px) * positive("tolerance_px", tolerance_px)
    with np.errstate(divide="ignore"):
        return np.divide(length, speed)[()]
