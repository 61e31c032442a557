"""The Moon in the night sky: its light, and what of it the air scatters into the picture."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number
from workbook.sky.air import _scattering_path, dark_sky_nl
from workbook.sky.brightness import nanolambert_nl, sky_mag_arcsec2

MOON_RADIUS_DEG = 0.25  # Krisciunas & Schaefer 1991: the model ends at the Moon's disc


def moon_magnitude(phase_angle_deg):
    """Magnitude of the Moon above the atmosphere, from its phase angle.

    Parameters
    ----------
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon, ±180 at new Moon [°].

    Returns
    -------
    float or array
        Magnitude in V [mag].

    Notes
    -----
    −12.73 + 0.026 |α| + 4·10⁻⁹ α⁴. A half-lit Moon gives 9 % of the light of a full one. Ignores the distance
    of the Moon (±13 % in light) and the surge within 7° of full (up to 35 % brighter).

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, eq. 9, after Allen; reference row MOO-02.

    Examples
    --------
    >>> print(round(moon_magnitude(90), 2))
    -10.13
    """
    phase = np.abs(between("phase_angle_deg", phase_angle_deg, -180, 180))
    return -12.73 + 0.026 * phase + 4e-9 * phase**4


def moonlight_nl(
    *, zenith_distance_deg, moon_zenith_distance_deg, separation_deg, phase_angle_deg, extinction_mag
):
    """Moonlight scattered into the line of sight.

    Parameters
    ----------
    zenith_distance_deg : float or array
        Zenith distance of the patch of sky [°]. NaN comes back below the horizon.
    moon_zenith_distance_deg : float or array
        Zenith distance of the Moon [°]. 0 comes back where the Moon is below the horizon.
    separation_deg : float or array
        Angle between the patch and the Moon [°]. NaN comes back on the Moon's own disc, inside 0.25°.
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon, ±180 at new Moon [°].
    extinction_mag : float or array
        Extinction at the zenith in V [mag].

    Returns
    -------
    float or array
        Brightness to be added to the dark sky [nL].

    Notes
    -----
    B = f(ρ) I 10^(−0.4 k X_m) (1 − 10^(−0.4 k X)), I = 10^(−0.4 (m + 16.57)) with the magnitude m of
    moon_magnitude and the path X of airmass_of_scattering. f(ρ) = 10^5.36 (1.06 + cos² ρ) from air plus
    10^(6.15 − ρ/40) from haze; inside 10° the haze term is 6.2·10⁷/ρ². The two haze terms differ by a fifth
    where they meet. The authors state an error of 8 to 23 %, far from full Moon and from cloud; it is a model
    of one mountain's clean air in V, without the dawn of a Moon just below the horizon.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), A model of the brightness of moonlight, PASP 103, 1033,
    eqs 8, 15 and 17 to 21, doi:10.1086/132921; reference rows MOO-04, MOO-05 and MOO-12.

    Examples
    --------
    >>> print(round(moonlight_nl(zenith_distance_deg=30, moon_zenith_distance_deg=45, separation_deg=60,
    ...                    phase_angle_deg=30, extinction_mag=0.172), 1))
    650.7
    """
    z = between("zenith_distance_deg", zenith_distance_deg, 0, 180)
    moon_z = between("moon_zenith_distance_deg", moon_zenith_distance_deg, 0, 180)
    separation = between("separation_deg", separation_deg, 0, 180)
    extinction = not_negative("extinction_mag", extinction_mag, cure="0.15 to 0.4 are usual")
    moon = 10 ** (-0.4 * (moon_magnitude(phase_angle_deg) + 16.57))
    seen = 10 ** (-0.4 * extinction * _scattering_path(moon_z))
    scattered = 1 - 10 ** (-0.4 * extinction * _scattering_path(z))
    glow = _scattering(separation) * moon * seen * scattered * np.where(moon_z > 90, 0.0, 1.0)
    return np.where(z > 90, np.nan, glow)[()]


def _scattering(separation_deg):
    """Light scattered towards us at an angle from the Moon (eqs 17 to 21), NaN on its disc."""
    rho = np.where(np.less(separation_deg, MOON_RADIUS_DEG), np.nan, separation_deg)
    haze = np.where(rho < 10, 6.2e7 / rho**2, 10 ** (6.15 - rho / 40))
    return 10**5.36 * (1.06 + np.cos(np.radians(rho)) ** 2) + haze


# The error that the authors state, as a share of the moonlight.
STATED_ERROR = (0.08, 0.23)

# Where measured skies leave the model by more than its authors state: the Moon high (its zenith distance below
# 40°) and near (below 30°), where haze decides; within 7° of full, where the Moon surges by up to 35 %
# (Krisciunas & Schaefer 1991, sec. 2); low skies. Patat 2003, A&A 400, 1183, sec. 7, tested it on measured
# skies and found differences up to some 0.4 mag (size recalled); the limits here are this workbook's choice.
NEAR_MOON_DEG = 30.0
HIGH_MOON_ZENITH_DEG = 40.0
SURGE_DEG = 7.0
LOW_SKY_ZENITH_DEG = 75.0
DEPARTURE_MAG = 0.4


class MoonlitSky(NamedTuple):
    """A sky with the Moon up.

    Surface brightness with the darkest and the brightest that the model allows [mag/″²], and a sentence where
    measured skies depart from the model by more than its authors state, else "".
    """

    sky_mag_arcsec2: float
    darkest_mag_arcsec2: float
    brightest_mag_arcsec2: float
    warning: str


def lit_fraction(phase_angle_deg):
    """The share of the Moon's disc that is lit.

    Parameters
    ----------
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon, ±180 at new Moon [°].

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If the angle is beyond ±180°.

    Notes
    -----
    (1 + cos α)/2. It is not the share of the light: a half-lit Moon gives 9 % of a full one's.

    References
    ----------
    Meeus, J. (1998), Astronomical Algorithms, 2nd ed., eq. 48.1; reference row MOO-07.

    Examples
    --------
    >>> print(round(lit_fraction(90), 3))
    0.5
    """
    return (1 + np.cos(np.radians(between("phase_angle_deg", phase_angle_deg, -180, 180)))) / 2


def illuminance_lx(magnitude):
    """The light that a celestial body throws on a surface that faces it.

    Parameters
    ----------
    magnitude : float or array
        Magnitude in V [mag].

    Returns
    -------
    float or array
        Illuminance [lx].

    Notes
    -----
    2.54·10⁻⁶ lx · 10^(−0.4 m), above the atmosphere for a magnitude above it.

    References
    ----------
    A body of magnitude 0 gives 2.54 µlx (J. Hollan, public note; Allen, Astrophysical Quantities, recalled);
    reference row MOO-11.

    Examples
    --------
    >>> print(round(illuminance_lx(-12.73), 2))
    0.31
    """
    return 2.54e-6 * 10 ** (-0.4 * number("magnitude", magnitude))


def moonlit_sky(
    *,
    dark_zenith_mag_arcsec2,
    zenith_distance_deg,
    moon_zenith_distance_deg,
    separation_deg,
    phase_angle_deg,
    extinction_mag,
) -> MoonlitSky:
    """The sky at one place with the Moon in it, how far off that may be, and where not to trust it.

    Parameters
    ----------
    dark_zenith_mag_arcsec2 : float
        Moonless sky at the zenith [mag/″²].
    zenith_distance_deg : float
        Zenith distance of the patch of sky [°].
    moon_zenith_distance_deg : float
        Zenith distance of the Moon [°].
    separation_deg : float
        Angle between the patch and the Moon [°].
    phase_angle_deg : float
        Angle Sun–Moon–Earth, 0 at full Moon [°].
    extinction_mag : float
        Extinction at the zenith in V [mag].

    Returns
    -------
    MoonlitSky
        sky_mag_arcsec2, darkest_mag_arcsec2, brightest_mag_arcsec2 [mag/″²] and warning.

    Raises
    ------
    ValueError
        As `dark_sky_nl` and `moonlight_nl`; or if an argument is an array: give one moment.

    Notes
    -----
    The dark sky and the moonlight are added as light. The band is the largest error that the authors state,
    23 % of the moonlight; where the warning stands, 0.4 mag of the moonlight instead. The error of the dark sky
    is not in it. Over a town the glow does not brighten towards the horizon as `dark_sky_nl` has it.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, abstract for the error; Patat, F. (2003), A&A 400,
    1183, sec. 7, and Winkler, H. (2022), MNRAS 514, 208, for measured skies against it; reference row MOO-06.

    Examples
    --------
    >>> sky = moonlit_sky(dark_zenith_mag_arcsec2=21.587, zenith_distance_deg=30, moon_zenith_distance_deg=45,
    ...                   separation_deg=60, phase_angle_deg=30, extinction_mag=0.172)
    >>> print(round(sky.brightest_mag_arcsec2, 2), round(sky.sky_mag_arcsec2, 2), sky.warning or "usual")
    18.96 19.16 usual
    """
    place = {
        "zenith_distance_deg": zenith_distance_deg,
        "moon_zenith_distance_deg": moon_zenith_distance_deg,
        "separation_deg": separation_deg,
        "phase_angle_deg": phase_angle_deg,
        "extinction_mag": extinction_mag,
    }
    if any(np.ndim(value) for value in (dark_zenith_mag_arcsec2, *place.values())):
        raise ValueError("moonlit_sky takes one moment: loop over the moments of a night")
    glow = moonlight_nl(**place)
    dark = dark_sky_nl(
        zenith_nl=nanolambert_nl(sky_mag_arcsec2=dark_zenith_mag_arcsec2),
        zenith_distance_deg=zenith_distance_deg,
        extinction_mag=extinction_mag,
    )
    places = {key: value for key, value in place.items() if key != "extinction_mag"}
    reasons = [words for words, true in moonlight_departures(**places).items() if true and glow > 0]
    if reasons:
        factors = 1.0, 10 ** (-0.4 * DEPARTURE_MAG), 10 ** (0.4 * DEPARTURE_MAG)
    else:
        factors = 1.0, 1 - STATED_ERROR[1], 1 + STATED_ERROR[1]
    skies = (float(sky_mag_arcsec2(brightness_nl=dark + factor * glow)) for factor in factors)
    words = f"Measured skies depart from this model here: {', '.join(reasons)}." if reasons else ""
    return MoonlitSky(*skies, warning=words)


def moonlight_departures(
    *, zenith_distance_deg, moon_zenith_distance_deg, separation_deg, phase_angle_deg
) -> dict:
    """Where measured skies leave the model by more than its authors state, and why.

    Parameters
    ----------
    zenith_distance_deg : float or array
        Zenith distance of the patch of sky [°].
    moon_zenith_distance_deg : float or array
        Zenith distance of the Moon [°].
    separation_deg : float or array
        Angle between the patch and the Moon [°].
    phase_angle_deg : float or array
        Angle Sun–Moon–Earth, 0 at full Moon [°].

    Returns
    -------
    dict
        From the reason in words to where it holds, true or false for each value; nowhere while the Moon is down.

    Notes
    -----
    Moon nearer than 30°; within 7° of full; patch more than 75° from the zenith. There the moonlight may be off by
    DEPARTURE_MAG, elsewhere by STATED_ERROR.

    References
    ----------
    Krisciunas, K. & Schaefer, B. E. (1991), PASP 103, 1033, sec. 2; Patat, F. (2003), A&A 400, 1183, sec. 7. The
    limits are this workbook's choice.

    Examples
    --------
    >>> found = moonlight_departures(
    ...     zenith_distance_deg=30, moon_zenith_distance_deg=45, separation_deg=20, phase_angle_deg=30)
    >>> [words for words, true in found.items() if true]
    ['the Moon is near']
    """
    up = np.less(moon_zenith_distance_deg, 90.0)
    near = np.less(separation_deg, NEAR_MOON_DEG) & up
    high = np.less(moon_zenith_distance_deg, HIGH_MOON_ZENITH_DEG)
    return {
        "the Moon is high and near": near & high,
        "the Moon is near": near & ~high,
        "the Moon is full and surges": np.less(np.abs(phase_angle_deg), SURGE_DEG) & up,
        "the patch is low": np.greater(zenith_distance_deg, LOW_SKY_ZENITH_DEG) & up,
    }
