"""From Gaia's magnitudes to electrons: zero point, and a colour that has to be assumed."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, number, positive
from workbook.sky import star_photons_s_m2

# The catalogue of `stars` has no colours. Assumed: a star like the Sun, BP − RP = 0.82 (Casagrande &
# VandenBerg 2018, MNRAS 479, L102), but any from white, 0.0, to orange, 1.6.
ASSUMED_BP_RP_MAG = 0.82
BLUEST_BP_RP_MAG, REDDEST_BP_RP_MAG = 0.0, 1.6

# G − V = Σ c (BP − RP)^k: Riello et al. 2021, A&A 649, A3, table C.2 (Johnson-Cousins; scatter 0.03 mag).
G_MINUS_V = (-0.02704, 0.01424, -0.2156, 0.01426)
RELATION_BP_RP_MAG = (-0.5, 5.0)


class StarElectrons(NamedTuple):
    """Electrons a star gives: rate_e_s for the assumed colour, low_e_s for the reddest, high_e_s for the bluest.

    All in electrons a second [e⁻/s].
    """

    rate_e_s: float | np.ndarray
    low_e_s: float | np.ndarray
    high_e_s: float | np.ndarray


def v_mag(*, g_mag, bp_rp_mag):
    """The magnitude in V of a star whose G and colour are known.

    Parameters
    ----------
    g_mag : float or array
        Magnitude in Gaia's wide band G [mag].
    bp_rp_mag : float or array
        Colour, blue minus red [mag]: 0 white, 0.8 like the Sun, 1.6 orange, 2.5 red; -0.5 to 5.

    Returns
    -------
    float or array
        Magnitude in V [mag].

    Raises
    ------
    ValueError
        If the colour is outside -0.5 … 5.

    Notes
    -----
    V = G − (−0.02704 + 0.01424 c − 0.2156 c² + 0.01426 c³), c = BP − RP; single stars scatter by 0.03 mag.

    References
    ----------
    Riello et al. 2021, A&A 649, A3, table C.2, DOI 10.1051/0004-6361/202039587 (recalled; the range from
    table C.1).

    Examples
    --------
    >>> round(v_mag(g_mag=8.0, bp_rp_mag=0.82), 2)
    8.15
    """
    colour = between("bp_rp_mag", bp_rp_mag, *RELATION_BP_RP_MAG, cure="BP − RP, about 0.8 for the Sun")
    v = number("g_mag", g_mag) - np.polynomial.polynomial.polyval(colour, G_MINUS_V)
    return float(v) if np.ndim(v) == 0 else v


def star_electrons_s(*, g_mag, aperture_mm, throughput) -> StarElectrons:
    """The electrons that a star of the catalogue gives in a second.

    Parameters
    ----------
    g_mag : float or array
        Magnitude in Gaia's wide band G [mag].
    aperture_mm : float or array
        Clear diameter of the lens or mirror [mm].
    throughput : float or array
        Share of the V-band photons that end as electrons, from the front lens to the sensor, air included if
        wanted.

    Returns
    -------
    StarElectrons
        rate_e_s for a star of the Sun's colour, low_e_s and high_e_s for an orange and a white star [e⁻/s].

    Raises
    ------
    ValueError
        If the aperture is not positive or the throughput is no share.

    Notes
    -----
    rate = F₀ 10^(−0.4 V) · π/4 D² · throughput, with V from G and the assumed colour BP − RP = 0.82 (0 to
    1.6). So the zero point is that of V, seen through the colour: a star of G = 0 like the Sun gives 7.6·10⁹
    photons a second on a square metre. The range, +12 % and −27 %, is what one magnitude without a colour
    leaves open; a camera without a filter sees more of the red and loses less than that on orange stars.

    References
    ----------
    Zero point: reference row PHO-02. Colour: see `v_mag`.

    Examples
    --------
    >>> star = star_electrons_s(g_mag=10.0, aperture_mm=58, throughput=0.45)
    >>> [round(value) for value in star]
    [909, 661, 1020]
    """
    area_m2 = np.pi / 4 * (positive("aperture_mm", aperture_mm, cure="in mm, not inches") * 1e-3) ** 2
    share = area_m2 * fraction("throughput", throughput)
    return StarElectrons(
        *(
            share * star_photons_s_m2(magnitude=v_mag(g_mag=g_mag, bp_rp_mag=colour))
            for colour in (ASSUMED_BP_RP_MAG, REDDEST_BP_RP_MAG, BLUEST_BP_RP_MAG)
        )
    )
