"""Where the sky falls on the sensor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from workbook.catalogue.plane import sky_from_plane_deg, tangent_plane_deg
from workbook.checks import between, number, positive
from workbook.constants import ARCSEC_PER_DEG


class SensorPlaces(NamedTuple):
    """Places on the sensor, x_px to the right and y_px up [px]."""

    x_px: float | np.ndarray
    y_px: float | np.ndarray


@dataclass(frozen=True)
class Pointing:
    """Where a camera looks: its middle in the ICRS, the angle of a pixel, and how it is turned.

    position_angle_deg is the direction in which the rows go up, from north through east: at 0 north is up and
    east is left, as one sees the sky. The middle of the sensor, x_px and y_px, lies on ra_deg and dec_deg.
    """

    ra_deg: float
    dec_deg: float
    scale_arcsec_px: float
    position_angle_deg: float
    x_px: float
    y_px: float

    def __post_init__(self):
        between("dec_deg", self.dec_deg, -90, 90)
        positive("scale_arcsec_px", self.scale_arcsec_px)
        for name in ("ra_deg", "position_angle_deg", "x_px", "y_px"):
            number(name, getattr(self, name))

    def world_coordinates(self) -> dict:
        """The keywords with which FITS says the same (section 8 of the standard); FITS counts pixels from 1."""
        scale = self.scale_arcsec_px / ARCSEC_PER_DEG
        cosine, sine = _turn(self.position_angle_deg)
        return {
            "CTYPE1": "RA---TAN",
            "CTYPE2": "DEC--TAN",
            "CUNIT1": "deg",
            "CUNIT2": "deg",
            "CRVAL1": self.ra_deg,
            "CRVAL2": self.dec_deg,
            "CRPIX1": self.x_px + 1,
            "CRPIX2": self.y_px + 1,
            "CD1_1": -scale * cosine,
            "CD1_2": scale * sine,
            "CD2_1": scale * sine,
            "CD2_2": scale * cosine,
            "RADESYS": "ICRS",
        }


def sensor_places_px(*, ra_deg, dec_deg, pointing) -> SensorPlaces:
    """Where points of the sky fall on the sensor, whether inside the frame or not.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        The points, in the ICRS [°].
    pointing : Pointing
        Where the camera looks.

    Returns
    -------
    SensorPlaces
        x_px and y_px [px]; NaN for points 90° or more away.

    Raises
    ------
    ValueError
        If a declination is beyond a pole.

    Notes
    -----
    The tangent plane divided by the image scale of the middle, then turned. No distortion.

    References
    ----------
    Calabretta & Greisen 2002, A&A 395, 1077; tested against astropy's reading of the same FITS keywords.

    Examples
    --------
    >>> camera = Pointing(ra_deg=10, dec_deg=0, scale_arcsec_px=2, position_angle_deg=0, x_px=300, y_px=200)
    >>> place = sensor_places_px(ra_deg=10.1, dec_deg=0.0, pointing=camera)
    >>> round(place.x_px, 3), round(place.y_px, 3)
    (120.0, 200.0)
    """
    plane = tangent_plane_deg(
        ra_deg=ra_deg, dec_deg=dec_deg, centre_ra_deg=pointing.ra_deg, centre_dec_deg=pointing.dec_deg
    )
    cosine, sine = _turn(pointing.position_angle_deg)
    scale = pointing.scale_arcsec_px / ARCSEC_PER_DEG
    return SensorPlaces(
        x_px=pointing.x_px + (-plane.xi_deg * cosine + plane.eta_deg * sine) / scale,
        y_px=pointing.y_px + (plane.xi_deg * sine + plane.eta_deg * cosine) / scale,
    )


def sky_places_deg(*, x_px, y_px, pointing):
    """Which points of the sky fall on places of the sensor: the way back from `sensor_places_px`.

    >>> camera = Pointing(ra_deg=10, dec_deg=0, scale_arcsec_px=2, position_angle_deg=0, x_px=300, y_px=200)
    >>> round(sky_places_deg(x_px=120.0, y_px=200.0, pointing=camera).ra_deg, 5)
    10.1
    """
    cosine, sine = _turn(pointing.position_angle_deg)
    scale = pointing.scale_arcsec_px / ARCSEC_PER_DEG
    right, up = number("x_px", x_px) - pointing.x_px, number("y_px", y_px) - pointing.y_px
    return sky_from_plane_deg(
        xi_deg=scale * (-right * cosine + up * sine),
        eta_deg=scale * (right * sine + up * cosine),
        centre_ra_deg=pointing.ra_deg,
        centre_dec_deg=pointing.dec_deg,
    )


def _turn(angle_deg):
    angle = np.radians(angle_deg)
    return float(np.cos(angle)), float(np.sin(angle))
