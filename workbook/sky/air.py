"""What the air takes from starlight, and how the dark sky brightens towards the horizon."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number
from workbook.pointing import airmass_pickering2002


def transmission(*, extinction_mag, airmass):
    """The share of starlight that comes through the air.

    Parameters
    ----------
    extinction_mag : float or array
        Extinction at the zenith, that is for airmass 1 [mag].
    airmass : float or array
        Airmass towards the object.

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If a value is negative.

    Notes
    -----
    10^(−0.4 k X). Ignores that the colour of the star changes on the way down (second-order extinction).

    References
    ----------
    Young, A. T. (1994), Air mass and refraction, Applied Optics 33, 1108; reference row REF-13.

    Examples
    --------
    >>> print(round(transmission(extinction_mag=0.2, airmass=2), 3))
    0.692
    """
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    return 10 ** (-0.4 * extinction * not_negative("airmass", airmass, cure="NaN where the object has set"))


def airmass_of_scattering(zenith_distance_deg):
    """Path through the layer that scatters moonlight and glows by night; not the airmass of extinction.

    Parameters
    ----------
    zenith_distance_deg : float or array
        Distance from the zenith [°]. NaN comes back below the horizon.

    Returns
    -------
    float or array
        Path in units of the path to the zenith, 1 to 5.

    Notes
    -----
    X = (1 − 0.96 sin² Z)^(−1/2): 3.8 at 80°, where the airmass of extinction is 5.6.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 3; reference row REF-12.

    Examples
    --------
    >>> print(round(airmass_of_scattering(80), 2))
    3.81
    """
    z = between("zenith_distance_deg", zenith_distance_deg, 0, 180)
    return np.where(z > 90, np.nan, _scattering_path(z))[()]


def dark_sky_nl(*, zenith_nl, zenith_distance_deg, extinction_mag):
    """Brightness of the moonless natural sky away from the zenith.

    Parameters
    ----------
    zenith_nl : float or array
        Brightness of the dark sky at the zenith [nL].
    zenith_distance_deg : float or array
        Distance from the zenith [°]. NaN comes back below the horizon.
    extinction_mag : float or array
        Extinction at the zenith [mag].

    Returns
    -------
    float or array
        Brightness [nL].

    Raises
    ------
    ValueError
        If brightness or extinction is negative, or the angle lies outside 0 to 180°.

    Notes
    -----
    B = B_zenith · 10^(−0.4 k (X − 1)) · X with the path X of airmass_of_scattering: a longer glowing path,
    dimmed by more air. Ignores the domes of towns, the zodiacal light and the Milky Way.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 2; reference row SKY-08.

    Examples
    --------
    >>> print(round(dark_sky_nl(zenith_nl=79.0, zenith_distance_deg=60, extinction_mag=0.172), 1))
    129.7
    """
    path = airmass_of_scattering(zenith_distance_deg)
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    return not_negative("zenith_nl", zenith_nl) * 10 ** (-0.4 * extinction * (path - 1)) * path


def _scattering_path(zenith_distance_deg):
    return 1 / np.sqrt(1 - 0.96 * np.sin(np.radians(zenith_distance_deg)) ** 2)


def extinguished_mag(*, magnitude, extinction_mag, airmass):
    """A star as it arrives at the ground, fainter by the air.

    Parameters
    ----------
    magnitude : float or array
        Magnitude above the atmosphere [mag].
    extinction_mag : float or array
        Extinction at the zenith, that is for airmass 1 [mag].
    airmass : float or array
        Airmass towards the star: see `pointing.airmass`, which offers published models by name.

    Returns
    -------
    float or array
        Magnitude at the ground [mag].

    Raises
    ------
    ValueError
        If extinction or airmass is negative.

    Notes
    -----
    m + k X. A brightness of the sky as measured from the ground is never corrected like this.

    References
    ----------
    Bouguer's law; Young, A. T. (1994), Applied Optics 33, 1108; reference row REF-13 as a ratio.

    Examples
    --------
    >>> print(round(extinguished_mag(magnitude=10, extinction_mag=0.25, airmass=2), 2))
    10.5
    """
    k = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    return number("magnitude", magnitude) + k * not_negative(
        "airmass", airmass, cure="NaN where the object has set"
    )


def altitude_value(*, apparent_altitude_deg, extinction_mag):
    """What a minute at this altitude is worth against one at the zenith, for a faint object.

    Parameters
    ----------
    apparent_altitude_deg : float or array
        Altitude as seen, with refraction [°]. NaN comes back below the horizon.
    extinction_mag : float or array
        Extinction at the zenith [mag].

    Returns
    -------
    float or array
        Share of the information of a zenith minute, 0 to 1: the weight of the frame in an optimal mean.

    Raises
    ------
    ValueError
        If the altitude is beyond ±90° or the extinction negative.

    Notes
    -----
    (transmission² / sky) over the same at the zenith, with the airmass of Pickering 2002 for the object and
    `dark_sky_nl` for the sky. Natural sky only: the domes of towns make low minutes poorer still, and seeing is
    left out. Read noise and dark current are taken as small.

    References
    ----------
    Derivation: squared signal-to-noise of a faint object is signal² over sky; parts as in `transmission`,
    `dark_sky_nl` and Pickering (2002), DIO 12, 20.

    Examples
    --------
    >>> print(round(altitude_value(apparent_altitude_deg=30, extinction_mag=0.25), 2))
    0.41
    """
    altitude = between("apparent_altitude_deg", apparent_altitude_deg, -90, 90)
    air = airmass_pickering2002(apparent_altitude_deg=altitude)
    here = dark_sky_nl(zenith_nl=1.0, zenith_distance_deg=90 - altitude, extinction_mag=extinction_mag)
    return transmission(extinction_mag=extinction_mag, airmass=air - 1) ** 2 / here
