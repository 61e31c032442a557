"""How many stars a square degree holds, by brightness and by distance from the Milky Way."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, number

# The pole of the Galaxy in the ICRS (ESA 1997, The Hipparcos and Tycho Catalogues, ESA SP-1200, vol. 1, eq. 1.5.11).
POLE_RA_DEG = 192.85948
POLE_DEC_DEG = 27.12825

# A star field in the mean: V = G + 0.2, a colour BP − RP of about 0.95 by the relation in `starlight`.
FIELD_V_MINUS_G_MAG = 0.2

# log10 of the stars a square degree brighter than a magnitude, at distances from the Milky Way's middle line.
LATITUDES_DEG = np.array([0.0, 5.0, 10.0, 20.0, 30.0, 60.0, 90.0])
# To G = 10: Gaia DR3 with Hipparcos (credit in `stars`), counted in zones ±2.5° wide (±3° at 60°, 75° to 90°).
BRIGHT_G_MAG = np.array([5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
BRIGHT = np.array(
    [
        [-1.059, -0.549, -0.019, 0.466, 0.949, 1.412],
        [-1.072, -0.595, -0.099, 0.392, 0.873, 1.344],
        [-1.180, -0.681, -0.156, 0.330, 0.805, 1.275],
        [-1.181, -0.722, -0.240, 0.227, 0.686, 1.118],
        [-1.373, -0.842, -0.340, 0.139, 0.578, 0.991],
        [-1.410, -0.928, -0.457, -0.025, 0.367, 0.751],
        [-1.476, -0.978, -0.477, -0.069, 0.315, 0.680],
    ]
)
# Fainter: V = 15 to 20 after Cox (ed.) 2000, Allen's Astrophysical Quantities, 4th ed., star counts by latitude,
# read in an open copy. Its 4.117 for V = 18 at 0° breaks the rise along row and column; taken as 4.171.
FAINT_V_MAG = np.array([15.0, 16.0, 17.0, 18.0, 19.0, 20.0])
FAINT = np.array(
    [
        [3.105, 3.485, 3.842, 4.171, 4.474, 4.776],
        [3.085, 3.460, 3.809, 4.130, 4.428, 4.722],
        [2.985, 3.331, 3.648, 3.939, 4.210, 4.468],
        [2.781, 3.089, 3.363, 3.612, 3.845, 4.057],
        [2.591, 2.875, 3.124, 3.349, 3.559, 3.748],
        [2.209, 2.458, 2.673, 2.869, 3.052, 3.226],
        [2.110, 2.347, 2.553, 2.744, 2.924, 3.092],
    ]
)
G_MAG = np.concatenate([BRIGHT_G_MAG, FAINT_V_MAG - FIELD_V_MINUS_G_MAG])
LOG_COUNTS = np.concatenate([BRIGHT, FAINT], axis=1)
BRIGHTEST_MAG, FAINTEST_MAG = -2.0, float(G_MAG[-1])


def star_count_deg2(*, galactic_latitude_deg, g_mag):
    """The stars in a square degree that are brighter than a magnitude.

    Parameters
    ----------
    galactic_latitude_deg : float or array
        Angle from the middle line of the Milky Way [°]; north and south count the same.
    g_mag : float or array
        Magnitude in Gaia's wide band G [mag], -2 to 19.8.

    Returns
    -------
    float or array
        Mean number of stars a square degree [1/°²].

    Raises
    ------
    ValueError
        If the latitude is beyond 90° or the magnitude outside -2 … 19.8.

    Notes
    -----
    A table of log10 N, straight lines between its entries in magnitude and in latitude: to G = 10 counted in
    Gaia DR3 with Hipparcos, from V = 15 on (taken as G = 14.8) after Allen's Astrophysical Quantities. Below
    G = 5 the line of the first step goes on. A mean over all longitudes: towards the Galaxy's middle there
    are more faint stars, behind dark clouds and away from the middle fewer. Beside a model of the Galaxy the
    table is right to 0.15 in the logarithm, a factor of 1.4.

    References
    ----------
    Cox (ed.) 2000, Allen's Astrophysical Quantities, 4th ed., star counts by galactic latitude. Gaia
    Collaboration 2023, A&A 674, A1; van Leeuwen 2007, A&A 474, 653. Reference rows CNT-01 to CNT-04d.

    Examples
    --------
    >>> [round(star_count_deg2(galactic_latitude_deg=b, g_mag=14.8)) for b in (0, 30, 90)]
    [1274, 390, 129]
    """
    b = np.abs(between("galactic_latitude_deg", galactic_latitude_deg, -90, 90))
    g = between("g_mag", g_mag, BRIGHTEST_MAG, FAINTEST_MAG)
    row, across = _place(LATITUDES_DEG, b)
    column, along = _place(G_MAG, g)
    log = sum(
        wide * deep * LOG_COUNTS[row + below, column + right]
        for below, wide in ((0, 1 - across), (1, across))
        for right, deep in ((0, 1 - along), (1, along))
    )
    return float(10.0**log) if np.ndim(log) == 0 else 10.0**log


def galactic_latitude_deg(*, ra_deg, dec_deg):
    """How far a point of the sky is from the middle line of the Milky Way.

    Parameters
    ----------
    ra_deg, dec_deg : float or array
        The point, in the ICRS [°].

    Returns
    -------
    float or array
        Galactic latitude [°], positive towards the north pole of the Galaxy.

    Raises
    ------
    ValueError
        If a declination is beyond a pole.

    Notes
    -----
    sin b = sin δ sin δ_G + cos δ cos δ_G cos(α − α_G), with the Galaxy's pole at 192.85948°, +27.12825°.

    References
    ----------
    ESA 1997, The Hipparcos and Tycho Catalogues, ESA SP-1200, vol. 1, section 1.5.3.

    Examples
    --------
    >>> round(galactic_latitude_deg(ra_deg=10.685, dec_deg=41.269), 1)
    -21.6
    """
    east = np.radians(number("ra_deg", ra_deg) - POLE_RA_DEG)
    dec = np.radians(between("dec_deg", dec_deg, -90, 90))
    pole = np.radians(POLE_DEC_DEG)
    sine = np.sin(dec) * np.sin(pole) + np.cos(dec) * np.cos(pole) * np.cos(east)
    b = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    return float(b) if np.ndim(b) == 0 else b


def _place(nodes, value):
    """The step of a table in which a value stands, and how far along it; beyond the ends the last step goes on."""
    step = np.clip(np.searchsorted(nodes, value, side="right") - 1, 0, len(nodes) - 2)
    return step, (value - nodes[step]) / (nodes[step + 1] - nodes[step])
