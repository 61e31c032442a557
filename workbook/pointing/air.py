"""How much air the starlight crosses: three published models of the airmass and a chooser.

Altitudes are apparent, with refraction, except where a name says true.
"""

from __future__ import annotations

import numpy as np

from workbook.checks import between, chosen


def airmass_pickering2002(*, apparent_altitude_deg):
    """Airmass from the apparent altitude [°] by Pickering; NaN below the horizon.

    Parameters
    ----------
    apparent_altitude_deg : float or array
        Altitude as seen, with refraction [°].

    Returns
    -------
    float or array
        Airmass, 1 in the zenith; NaN below the horizon.

    Notes
    -----
    X = 1 / sin(h + 244 / (165 + 47 h^1.1)), 38.75 at the horizon; mean air at sea level.

    References
    ----------
    Pickering, K. A. (2002), The southern limits of the ancient star catalog, DIO 12, 20. Row REF-10c.

    Examples
    --------
    >>> print(round(airmass_pickering2002(apparent_altitude_deg=30), 3))
    1.993
    """
    h = _above_horizon("apparent_altitude_deg", apparent_altitude_deg)
    return 1.0 / np.sin(np.radians(h + 244.0 / (165.0 + 47.0 * h**1.1)))


def airmass_kastenyoung1989(*, apparent_altitude_deg):
    """Airmass from the apparent altitude [°] by Kasten and Young; NaN below the horizon.

    Parameters
    ----------
    apparent_altitude_deg : float or array
        Altitude as seen, with refraction [°].

    Returns
    -------
    float or array
        Airmass, 1 in the zenith; NaN below the horizon.

    Notes
    -----
    X = 1 / (sin h + 0.50572 (h + 6.07995)^−1.6364), 37.92 at the horizon; mean air at sea level.

    References
    ----------
    Kasten, F., Young, A. T. (1989), Applied Optics 28, 4735. Rows REF-09a, REF-10a and REF-11.

    Examples
    --------
    >>> print(round(airmass_kastenyoung1989(apparent_altitude_deg=30), 3))
    1.994
    """
    h = _above_horizon("apparent_altitude_deg", apparent_altitude_deg)
    return 1.0 / (np.sin(np.radians(h)) + 0.50572 * (h + 6.07995) ** -1.6364)


def airmass_young1994(*, true_altitude_deg):
    """Airmass from the *true* altitude [°], refraction taken off, by Young; NaN below the horizon.

    Parameters
    ----------
    true_altitude_deg : float or array
        Altitude with refraction taken off [°].

    Returns
    -------
    float or array
        Airmass, 1 in the zenith; NaN below the horizon.

    Notes
    -----
    X = (1.002432 c² + 0.148386 c + 0.0096467) / (c³ + 0.149864 c² + 0.0102963 c + 0.000303978), c = cos z.

    References
    ----------
    Young, A. T. (1994), Applied Optics 33, 1108, doi 10.1364/AO.33.001108. Rows REF-09b and REF-10b.

    Examples
    --------
    >>> print(round(airmass_young1994(true_altitude_deg=30), 3))
    1.992
    """
    c = np.sin(np.radians(_above_horizon("true_altitude_deg", true_altitude_deg)))
    above = 1.002432 * c**2 + 0.148386 * c + 0.0096467
    return above / (c**3 + 0.149864 * c**2 + 0.0102963 * c + 0.000303978)


def airmass(*, apparent_altitude_deg, model="pickering2002"):
    """How many times more air the starlight crosses than from the zenith.

    Parameters
    ----------
    apparent_altitude_deg : float or array
        Altitude as seen, with refraction [°]. The model young1994 takes the true altitude here.
    model : str
        pickering2002, kastenyoung1989 or young1994. Pickering is the default because it stays good down to
        the horizon and takes the altitude one sees.

    Returns
    -------
    float or array
        Airmass, 1 in the zenith; NaN below the horizon.

    Raises
    ------
    ValueError
        If the altitude is beyond ±90° or the model is unknown.

    Notes
    -----
    1 / sin h with a correction near the horizon, where the layers of air are curved. Above 30° the three
    models agree within 0.003. They are for mean air at sea level and weigh all absorbers like air itself.
    This is the path for extinction, not the scattering path of the moonlight model.

    References
    ----------
    See `airmass_pickering2002`, `airmass_kastenyoung1989` and `airmass_young1994`; reference rows REF-09 to
    REF-11.

    Examples
    --------
    >>> print(round(airmass(apparent_altitude_deg=30), 3))
    1.993
    """
    if chosen("model", model, ("pickering2002", "kastenyoung1989", "young1994")) == "pickering2002":
        return airmass_pickering2002(apparent_altitude_deg=apparent_altitude_deg)
    if model == "kastenyoung1989":
        return airmass_kastenyoung1989(apparent_altitude_deg=apparent_altitude_deg)
    return airmass_young1994(true_altitude_deg=apparent_altitude_deg)


def _above_horizon(name, altitude_deg):
    altitude_deg = between(name, altitude_deg, -90, 90)
    return np.where(np.less(altitude_deg, 0), np.nan, altitude_deg)[()]
