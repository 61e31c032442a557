"""What star widths over the whole sensor say: a lean to one side and a bowl, each with its error bar."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import number, positive

CLEAR_SIGMAS = 3.0  # a part counts as seen from three times its uncertainty; a convention


class WidthMap(NamedTuple):
    """A plane and a bowl through star widths, each as the change from the middle to the corner radius.

    Width in the middle, lean along x and y, rise of the bowl, each with its uncertainty [px]; place of the
    bowl's own middle [mm], NaN where no bowl is seen; and one sentence.
    """

    middle_px: float
    middle_sigma_px: float
    lean_x_px: float
    lean_x_sigma_px: float
    lean_y_px: float
    lean_y_sigma_px: float
    bowl_px: float
    bowl_sigma_px: float
    bowl_x_mm: float
    bowl_y_mm: float
    verdict: str


def fit_width_map(*, x_mm, y_mm, fwhm_px, fwhm_sigma_px, corner_radius_mm) -> WidthMap:
    """Separate a lean from a bowl in the widths of stars, or of tiles of stars, over the sensor.

    Parameters
    ----------
    x_mm, y_mm : array
        Places on the sensor from its middle, five or more, not all at one distance [mm].
    fwhm_px : array
        Width of the stars at each place [px].
    fwhm_sigma_px : float or array
        Uncertainty of a width, one for all or one for each [px].
    corner_radius_mm : float
        Distance from the middle to a corner: lean and bowl are given for it [mm].

    Returns
    -------
    WidthMap
        middle, lean and bowl with uncertainties [px], the bowl's middle [mm], and a verdict in words.

    Raises
    ------
    ValueError
        If there are fewer than five places, lengths differ, or the places cannot tell a lean from a bowl.

    Notes
    -----
    width = w₀ + a x/R + b y/R + c (x² + y²)/R² by weighted least squares; the bowl's middle stands at
    −R (a, b)/2c. A plane and a quadratic describe the map while the corners are not much wider than the
    middle (up to about twice). A single picture cannot tell a tilted sensor from a bowl that is off-centre:
    both lean. Turn the camera by half a turn: what turns with it is the sensor. NaN anywhere gives NaN.

    References
    ----------
    Derivation: linear least squares and its covariance; tested against scipy and by Monte Carlo.

    Examples
    --------
    >>> x, y = [-7, 0, 7, -7, 0, 7, -7, 0, 7], [-5, -5, -5, 0, 0, 0, 5, 5, 5]
    >>> seen = fit_width_map(
    ...     x_mm=x, y_mm=y, fwhm_px=[2.9, 2.5, 3.5, 2.6, 2.3, 3.2, 2.9, 2.5, 3.5], fwhm_sigma_px=0.05,
    ...     corner_radius_mm=8.6,
    ... )
    >>> print(round(seen.lean_x_px, 2), round(seen.bowl_px, 2))
    0.37 0.96
    """
    places = [np.atleast_1d(number(name, v)) for name, v in (("x_mm", x_mm), ("y_mm", y_mm))]
    width = np.atleast_1d(positive("fwhm_px", fwhm_px))
    sigma = np.atleast_1d(positive("fwhm_sigma_px", fwhm_sigma_px))
    radius = positive("corner_radius_mm", corner_radius_mm)
    x, y = places
    if x.ndim != 1 or not x.shape == y.shape == width.shape or sigma.shape not in ((1,), x.shape):
        raise ValueError(
            f"one fwhm_px for each place: received {x.size} and {y.size} places, {width.size} widths"
        )
    if x.size < 5:
        raise ValueError(f"x_mm must hold five places or more, received {x.size}: use nine tiles")
    if np.isnan(np.concatenate([x, y, width, np.broadcast_to(sigma, x.shape)])).any():
        return WidthMap(*[np.nan] * 10, verdict="no verdict: a number is missing")
    table = np.stack([np.ones(x.size), x / radius, y / radius, (x**2 + y**2) / radius**2], axis=1)
    if np.linalg.matrix_rank(table, tol=1e-6) < 4:
        raise ValueError(
            "x_mm, y_mm cannot tell a lean from a bowl: take places at different distances, not in a row"
        )
    weight = 1 / np.broadcast_to(sigma, x.shape) ** 2
    covariance = np.linalg.inv((table * weight[:, None]).T @ table)
    middle, lean_x, lean_y, bowl = covariance @ (table.T @ (weight * width))
    errors = np.sqrt(np.diag(covariance))
    curved = abs(bowl) > CLEAR_SIGMAS * errors[3]
    leaning = np.hypot(lean_x / errors[1], lean_y / errors[2]) > CLEAR_SIGMAS
    at = [-radius * lean / (2 * bowl) if curved else np.nan for lean in (lean_x, lean_y)]
    parts = np.stack([[middle, lean_x, lean_y, bowl], errors], axis=1).ravel().tolist()
    return WidthMap(*parts, *map(float, at), verdict=_verdict(leaning, curved))


def _verdict(leaning, curved):
    if leaning and curved:
        return "a lean and a bowl: turn the camera by half a turn to tell a tilted sensor from an off-centre bowl"
    if leaning:
        return "a lean: the sensor is tilted, or the optics stand off-centre; turn the camera to tell"
    return "a bowl: spacing, focus or a curved field" if curved else "flat within the uncertainty"
