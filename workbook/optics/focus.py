"""Focus: how deep the zone is, what a miss costs, how it drifts with temperature, and where it is best.

Defocus is the distance of the sensor behind the focus, in µm: positive where the sensor stands too far from
the lens.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number, positive
from workbook.optics.diffraction import DEFOCUS, WAVELENGTH


class Expansion(NamedTuple):
    """Growth of a material with temperature [1/K]: the lowest, usual and highest value in tables."""

    low_per_k: float
    usual_per_k: float
    high_per_k: float


# Linear expansion near 20 °C, recalled. Aluminium: pure metal 23.1e-6, CRC Handbook of Chemistry and Physics;
# alloys spread around it. Steel: plain carbon steel 11.7e-6, ASM Metals Handbook; stainless up to 17.3e-6.
# Carbon: fibre in resin, along the tube; the lay of the fibres sets it, and it may even be negative.
EXPANSION = {
    "aluminium": Expansion(21.5e-6, 23.1e-6, 24.0e-6),
    "carbon": Expansion(-0.5e-6, 1.0e-6, 4.0e-6),
    "steel": Expansion(10.8e-6, 11.7e-6, 17.3e-6),
}


class FocusFit(NamedTuple):
    """Best focus from star widths.

    Position of the narrowest star and its uncertainty [mm], its width and uncertainty [px], and how fast the
    width grows far from focus [px/mm].
    """

    best_mm: float
    best_sigma_mm: float
    fwhm_px: float
    fwhm_sigma_px: float
    slope_px_mm: float


def focus_half_zone_um(*, f_ratio, wavelength_nm):
    """How far the sensor may stand from the focus, to each side, before even a perfect optic suffers.

    Parameters
    ----------
    f_ratio : float or array
        Focal length over aperture.
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Half of the focus zone [µm].

    Raises
    ------
    ValueError
        If the focal ratio is not positive, or the wavelength is outside 100 to 30,000 nm.

    Notes
    -----
    ±2 λ N²: there the wave is bent by a quarter of a wavelength and the peak of a star is down to 81 %. Under
    poor seeing or with large pixels more is allowed: see `defocus_for_blur_um`. Slower than about f/2.

    References
    ----------
    Conrady, A. E. (1929), Applied Optics and Optical Design, part 1, p. 136 (quarter-wave rule, as quoted by
    Gordon & Lord); reference rows FOC-02 and FOC-03.

    Examples
    --------
    >>> print(round(focus_half_zone_um(f_ratio=5.5, wavelength_nm=550), 1))
    33.3
    """
    wavelength_um = 1e-3 * between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    return 2 * wavelength_um * positive("f_ratio", f_ratio) ** 2


def defocus_blur_um(*, defocus_um, f_ratio):
    """The diameter of the disc into which a star spreads when the sensor is out of focus.

    Parameters
    ----------
    defocus_um : float or array
        Distance of the sensor from the focus, on either side [µm].
    f_ratio : float or array
        Focal length over aperture.

    Returns
    -------
    float or array
        Diameter of the disc [µm].

    Raises
    ------
    ValueError
        If the focal ratio is not positive, or the defocus beyond ±20,000 µm.

    Notes
    -----
    |Δz|/N, by similar triangles: a cone of light that is 1 wide and N long. Straight rays only, so it rules
    well outside the focus zone; inside it diffraction sets the width.

    References
    ----------
    Derivation: similar triangles, also by tracing the rays of a cone; reference row FOC-04.

    Examples
    --------
    >>> print(round(defocus_blur_um(defocus_um=-50, f_ratio=5), 1))
    10.0
    """
    return np.abs(between("defocus_um", defocus_um, **DEFOCUS)) / positive("f_ratio", f_ratio)


def defocus_sigma_um(*, defocus_um, f_ratio):
    """What a defocus adds to the width of a star, as a standard deviation along one axis.

    Parameters
    ----------
    defocus_um : float or array
        Distance of the sensor from the focus, on either side [µm].
    f_ratio : float or array
        Focal length over aperture.

    Returns
    -------
    float or array
        Standard deviation along any axis [µm].

    Raises
    ------
    ValueError
        If the focal ratio is not positive, or the defocus beyond ±20,000 µm.

    Notes
    -----
    |Δz|/(4 N): a quarter of the diameter of an evenly lit disc, whose variance is d²/16 on each axis. Squares
    of such widths add. Without central obstruction; a ring of inner share ε gives √(1 + ε²) times as much.

    References
    ----------
    Derivation: second moment of an even disc, ∫ x² dA / A = r²/4; tested on rays spread over an aperture.

    Examples
    --------
    >>> print(round(defocus_sigma_um(defocus_um=-50, f_ratio=5), 2))
    2.5
    """
    return defocus_blur_um(defocus_um=defocus_um, f_ratio=f_ratio) / 4


def defocus_for_blur_um(*, blur_um, f_ratio):
    """How far the sensor may stand from the focus until a star has spread over a given disc.

    Parameters
    ----------
    blur_um : float or array
        Largest allowed diameter of the disc, for instance one pixel [µm].
    f_ratio : float or array
        Focal length over aperture.

    Returns
    -------
    float or array
        Allowed distance from the focus, to each side [µm].

    Raises
    ------
    ValueError
        If the disc is negative or the focal ratio not positive.

    Notes
    -----
    ± N d, the inverse of `defocus_blur_um`. Where this is smaller than ±2 λ N², the pixel is finer than the
    star and the focus zone of the optic rules.

    References
    ----------
    Derivation: similar triangles; reference row FOC-16.

    Examples
    --------
    >>> print(round(defocus_for_blur_um(blur_um=3.5, f_ratio=5.5), 2))
    19.25
    """
    return not_negative("blur_um", blur_um) * positive("f_ratio", f_ratio)


def thermal_focus_shift_um(*, tube_mm, warming_k, expansion_per_k):
    """How far a tube that grows or shrinks carries the sensor from the focus.

    Parameters
    ----------
    tube_mm : float or array
        Length of tube between lens and sensor, about the focal length in a refractor [mm].
    warming_k : float or array
        Change of temperature, negative while it cools [K].
    expansion_per_k : float or array
        Growth of the tube's material, for instance EXPANSION["aluminium"].usual_per_k [1/K].

    Returns
    -------
    float or array
        Shift of the sensor, positive away from the lens [µm].

    Raises
    ------
    ValueError
        If the length is not positive, the change beyond ±100 K or the expansion beyond ±1e-4 per kelvin.

    Notes
    -----
    α L ΔT. A cooling tube brings the sensor in front of the focus. The lens itself also drifts, by its own
    expansion and by its index, often as much as the tube and in either direction: this is the tube's share,
    and only a measured µm per kelvin is the whole. Glass lags behind the air by tens of minutes.

    References
    ----------
    CRC Handbook of Chemistry and Physics, linear expansion of the elements (recalled); reference row FOC-11.

    Examples
    --------
    >>> usual = EXPANSION["aluminium"].usual_per_k
    >>> print(round(thermal_focus_shift_um(tube_mm=320, warming_k=-5, expansion_per_k=usual), 1))
    -37.0
    """
    warming_k = between("warming_k", warming_k, -100, 100, cure="give the change, not the temperature")
    return _tube_um_k(tube_mm, expansion_per_k) * warming_k


def refocus_after_k(*, half_zone_um, tube_mm, expansion_per_k):
    """By how many degrees the night may cool, or warm, until a focus set in the middle leaves its zone.

    Parameters
    ----------
    half_zone_um : float or array
        Allowed distance from the focus, to each side [µm].
    tube_mm : float or array
        Length of tube between lens and sensor [mm].
    expansion_per_k : float or array
        Growth of the tube's material, for instance EXPANSION["aluminium"].usual_per_k [1/K].

    Returns
    -------
    float or array
        Change of temperature [K]; infinite for a material that does not grow.

    Raises
    ------
    ValueError
        If the zone is negative, the length not positive or the expansion beyond ±1e-4 per kelvin.

    Notes
    -----
    half zone/(|α| L); on tonight's cooling curve it gives the minute of the next refocusing. Focus set at the
    edge of the zone leaves at once on one side. The lens's own drift is not in it: see
    `thermal_focus_shift_um`.

    References
    ----------
    Derivation: the inverse of `thermal_focus_shift_um`; by hand from the expansion of reference row FOC-11.

    Examples
    --------
    >>> usual = EXPANSION["aluminium"].usual_per_k
    >>> print(round(refocus_after_k(half_zone_um=33.5, tube_mm=320, expansion_per_k=usual), 1))
    4.5
    """
    half_zone_um = not_negative("half_zone_um", half_zone_um)
    with np.errstate(divide="ignore", invalid="ignore"):
        return half_zone_um / np.abs(np.float64(1) * _tube_um_k(tube_mm, expansion_per_k))


def best_focus(*, positions_mm, fwhm_px, fwhm_sigma_px) -> FocusFit:
    """The best focus from the widths of stars at several positions of the focuser.

    Parameters
    ----------
    positions_mm : array
        Positions of the focuser, read for instance on a paper scale; three or more different ones [mm].
    fwhm_px : array
        Width of the stars at each position [px].
    fwhm_sigma_px : float or array
        Uncertainty of a width, one for all or one for each [px].

    Returns
    -------
    FocusFit
        best_mm and best_sigma_mm [mm], fwhm_px and fwhm_sigma_px [px], slope_px_mm [px/mm].

    Raises
    ------
    ValueError
        If there are fewer than three positions, lengths differ, a width is not positive, or the widths show
        no minimum: a straight run, or a hill.

    Notes
    -----
    Squares of widths add, so width² = w₀² + (slope (x − x₀))²: a hyperbola in the width, a parabola in its
    square, fitted by weighted least squares, with the uncertainty of width² as 2 w σ. Positions on both sides
    of the focus, two or three times the smallest width out, tell most. A star far out is a disc or a ring,
    not a bell: keep to widths below about four times the smallest. NaN anywhere gives NaN.

    References
    ----------
    Derivation: the second moment of a disc grows with the square of the defocus; tested by Monte Carlo.

    Examples
    --------
    >>> fit = best_focus(
    ...     positions_mm=[9.8, 9.9, 10.0, 10.1, 10.2], fwhm_px=[5.2, 3.6, 2.9, 3.6, 5.2], fwhm_sigma_px=0.1
    ... )
    >>> print(round(fit.best_mm, 3), round(fit.fwhm_px, 2))
    10.0 2.89
    """
    x = np.atleast_1d(number("positions_mm", positions_mm))
    width = np.atleast_1d(positive("fwhm_px", fwhm_px))
    sigma = np.atleast_1d(positive("fwhm_sigma_px", fwhm_sigma_px))
    if x.ndim != 1 or x.shape != width.shape or sigma.shape not in ((1,), x.shape):
        raise ValueError(
            f"one fwhm_px for each position: received {x.size} positions and {width.size} widths"
        )
    if not np.isfinite(x).all() or np.isnan(width).any() or np.isnan(sigma).any():
        return FocusFit(*[np.nan] * 5)
    if len(np.unique(x)) < 3:
        raise ValueError(f"positions_mm must hold three different positions, received {len(np.unique(x))}")
    middle, spread = x.mean(), np.ptp(x)
    table = np.vander((x - middle) / spread, 3)  # curvature, slope, height of the parabola
    weight = 1 / (2 * width * sigma)
    curve, covariance = _weighted_fit(table, width**2, weight)
    a, b, c = curve
    lowest = c - b**2 / (4 * a) if a > 0 else -1.0
    if a <= 2 * np.sqrt(covariance[0, 0]) or lowest <= 0:
        raise ValueError("fwhm_px shows no minimum: take more positions, on both sides of the focus")
    to_best = np.array([b / (2 * a**2), -1 / (2 * a), 0.0])
    to_lowest = np.array([(b / (2 * a)) ** 2, -b / (2 * a), 1.0])
    return FocusFit(
        best_mm=float(middle - spread * b / (2 * a)),
        best_sigma_mm=float(spread * np.sqrt(to_best @ covariance @ to_best)),
        fwhm_px=float(np.sqrt(lowest)),
        fwhm_sigma_px=float(np.sqrt(to_lowest @ covariance @ to_lowest) / (2 * np.sqrt(lowest))),
        slope_px_mm=float(np.sqrt(a) / spread),
    )


def _weighted_fit(table, values, weight):
    """Least squares with the covariance that the stated uncertainties give."""
    covariance = np.linalg.inv((table * weight[:, None] ** 2).T @ table)
    return covariance @ (table.T @ (weight**2 * values)), covariance


def _tube_um_k(tube_mm, expansion_per_k):
    """Growth of a tube in µm for each kelvin."""
    growth = between("expansion_per_k", expansion_per_k, -1e-4, 1e-4, cure="aluminium has 23.1e-6 for each K")
    return 1e3 * growth * positive("tube_mm", tube_mm, cure="did you pass metres? 0.32 m is 320 mm")
