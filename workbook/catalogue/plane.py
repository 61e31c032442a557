"""The tangent plane: the flat picture that a telescope makes of the sky, there and back again."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.constants import ARCMIN_PER_DEG


class PlanePlace(NamedTuple):
    """Where a point of the sky falls on the tangent plane: xi_deg to the east [°], eta_deg to the north [°]."""

    xi_deg: float | np.ndarray
    eta_deg: float | np.ndarray


class SkyPlace(NamedTuple):
    """A place in the sky: right ascension ra_deg [°] from 0 to 360, declination dec_deg [°]."""

    ra_deg: float | np.ndarray
    dec_deg: float | np.ndarray


def tangent_plane_deg(*, ra_deg, dec_deg, centre_ra_deg, centre_dec_deg) -> PlanePlace:
    """Where a point of the sky falls on the flat picture around a centre.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        The point [°].
    centre_ra_deg, centre_dec_deg : float or array
        Where the plane touches the sky, the middle of the picture [°].

    Returns
    -------
    PlanePlace
        xi_deg to the east and eta_deg to the north [°]; NaN for points 90° or more from the centre.

    Raises
    ------
    ValueError
        If a declination is beyond a pole.

    Notes
    -----
    The gnomonic projection: the sky seen from the middle of the sphere through a flat window, which is what
    a lens without distortion does. On the plane a length is the tangent of the angle; it is given in degrees
    (times 57.3), so that focal length · tan turns into pixels with the image scale of the centre.

    References
    ----------
    Calabretta & Greisen 2002, A&A 395, 1077, section 5.1.3 (TAN), DOI 10.1051/0004-6361:20021327. Reference
    rows SAM-19a and SAM-19b.

    Examples
    --------
    >>> place = tangent_plane_deg(ra_deg=11.684, dec_deg=41.269, centre_ra_deg=10.684, centre_dec_deg=41.269)
    >>> round(place.xi_deg, 4), round(place.eta_deg, 4)
    (0.7516, 0.0043)
    """
    east = np.radians(number("ra_deg", ra_deg) - number("centre_ra_deg", centre_ra_deg))
    dec = np.radians(between("dec_deg", dec_deg, -90, 90))
    centre = np.radians(between("centre_dec_deg", centre_dec_deg, -90, 90))
    ahead = np.sin(dec) * np.sin(centre) + np.cos(dec) * np.cos(centre) * np.cos(east)
    ahead = np.where(ahead > 1e-12, ahead, np.nan)
    xi = np.degrees(np.cos(dec) * np.sin(east) / ahead)
    eta = (np.sin(dec) * np.cos(centre) - np.cos(dec) * np.sin(centre) * np.cos(east)) / ahead
    return PlanePlace(_plain(xi), _plain(np.degrees(eta)))


def sky_from_plane_deg(*, xi_deg, eta_deg, centre_ra_deg, centre_dec_deg) -> SkyPlace:
    """Which point of the sky falls on a place of the flat picture.

    Parameters
    ----------
    xi_deg, eta_deg : float or array
        Place on the tangent plane, to the east and to the north of the centre [°].
    centre_ra_deg, centre_dec_deg : float or array
        Where the plane touches the sky [°].

    Returns
    -------
    SkyPlace
        ra_deg from 0 to 360 and dec_deg [°].

    Raises
    ------
    ValueError
        If a declination is beyond a pole.

    Notes
    -----
    The exact way back from `tangent_plane_deg`, poles included.

    References
    ----------
    Calabretta & Greisen 2002, A&A 395, 1077, section 5.1.3. Reference rows SAM-19a and SAM-19b.

    Examples
    --------
    >>> place = sky_from_plane_deg(xi_deg=0.0, eta_deg=1.0, centre_ra_deg=0.0, centre_dec_deg=89.5)
    >>> round(place.ra_deg, 6), round(place.dec_deg, 4)
    (180.0, 89.5001)
    """
    xi, eta = np.radians(number("xi_deg", xi_deg)), np.radians(number("eta_deg", eta_deg))
    centre = np.radians(between("centre_dec_deg", centre_dec_deg, -90, 90))
    ahead = np.cos(centre) - eta * np.sin(centre)
    ra = number("centre_ra_deg", centre_ra_deg) + np.degrees(np.arctan2(xi, ahead))
    dec = np.degrees(np.arctan2(np.sin(centre) + eta * np.cos(centre), np.hypot(xi, ahead)))
    return SkyPlace(_plain(np.mod(ra, 360.0)), _plain(dec + 0.0 * ra))


def outline_deg(
    *,
    ra_deg,
    dec_deg,
    major_arcmin,
    minor_arcmin,
    position_angle_deg,
    centre_ra_deg,
    centre_dec_deg,
    points=73,
) -> PlanePlace:
    """The ellipse that a catalogue gives for an object, as a closed line on the tangent plane.

    Parameters
    ----------
    ra_deg, dec_deg : float
        Middle of the object [°].
    major_arcmin, minor_arcmin : float
        Full axes [′].
    position_angle_deg : float
        Direction of the long axis at the object, from north through east [°]. NaN where nobody knows it: the
        outline is then the circle around the long axis.
    centre_ra_deg, centre_dec_deg : float
        Where the plane touches the sky, the middle of the picture [°].
    points : int
        Points of the line, the first again at the end; 73 by default, one every 5°, so that it looks round.

    Returns
    -------
    PlanePlace
        xi_deg and eta_deg of the line [°].

    Raises
    ------
    ValueError
        If an axis is negative or the long one zero, or a declination is beyond a pole.

    Notes
    -----
    The ellipse is drawn on the object's own tangent plane and moved by way of the sky, so its direction is
    right near the poles too, where north turns across a picture. A catalogue's size is where somebody's
    photographs ended: a longer exposure shows more.

    References
    ----------
    Calabretta & Greisen 2002, A&A 395, 1077, section 5.1.3.

    Examples
    --------
    >>> line = outline_deg(ra_deg=10.7, dec_deg=41.3, major_arcmin=180, minor_arcmin=60,
    ...                    position_angle_deg=0, centre_ra_deg=10.7, centre_dec_deg=41.3)
    >>> round(float(line.eta_deg.max()), 3), round(float(line.xi_deg.max()), 3)
    (1.5, 0.5)
    """
    long = positive("major_arcmin", major_arcmin) / 2 / ARCMIN_PER_DEG
    short = not_negative("minor_arcmin", minor_arcmin) / 2 / ARCMIN_PER_DEG
    angle = np.radians(number("position_angle_deg", position_angle_deg))
    if np.isnan(angle):
        angle, short = 0.0, long
    turn = np.linspace(0.0, 2 * np.pi, points)
    along, across = long * np.cos(turn), short * np.sin(turn)
    place = sky_from_plane_deg(
        xi_deg=along * np.sin(angle) + across * np.cos(angle),
        eta_deg=along * np.cos(angle) - across * np.sin(angle),
        centre_ra_deg=number("ra_deg", ra_deg),
        centre_dec_deg=between("dec_deg", dec_deg, -90, 90),
    )
    return tangent_plane_deg(
        ra_deg=place.ra_deg,
        dec_deg=place.dec_deg,
        centre_ra_deg=centre_ra_deg,
        centre_dec_deg=centre_dec_deg,
    )


def _plain(value):
    return float(value) if np.ndim(value) == 0 else value
