"""What a learner's own readings say: widths over a focuser's scale, and nine widths over the sensor."""

from __future__ import annotations

import numpy as np

from workbook import optics
from workbook.nine_stars.model import Train
from workbook.nine_stars.picture import ACROSS, UP


def focus_reading(train: Train, *, positions_mm, fwhm_px, fwhm_sigma_px) -> str:
    """Best focus from widths read at several focuser positions, in words; a fault is said in a line.

    Parameters
    ----------
    train : Train
        The optical train: its focus half-zone says how good the answer has to be.
    positions_mm, fwhm_px : array
        Readings of a paper scale on the focuser [mm] and the star's width at each [px].
    fwhm_sigma_px : float
        How well a width can be read [px].
    """
    try:
        fit = optics.best_focus(positions_mm=positions_mm, fwhm_px=fwhm_px, fwhm_sigma_px=fwhm_sigma_px)
    except ValueError as fault:
        return f"No focus from these numbers: {fault}."
    if not np.isfinite(fit.best_mm):
        return "No focus from these numbers: one of them is missing."
    share = 1e3 * fit.best_sigma_mm / float(np.mean(train.half_zone_um))
    enough = "good enough" if share <= 0.5 else "not good enough: read more positions, or more stars at each"
    return (
        f"Best focus {fit.best_mm:.3f} ± {fit.best_sigma_mm:.3f} mm, star {fit.fwhm_px:.1f} ± "
        f"{fit.fwhm_sigma_px:.1f} px wide there. The uncertainty is {share:.1f} of the half-zone: {enough}."
    )


def width_reading(train: Train, *, rows_px, fwhm_sigma_px) -> str:
    """Lean and bowl of nine widths, in words; a fault is said in a line.

    Parameters
    ----------
    train : Train
        The optical train: the size of its sensor places the nine stars.
    rows_px : array
        Three rows of three widths, the upper row of the picture first [px].
    fwhm_sigma_px : float
        How well a width can be read [px].
    """
    try:
        rows = np.asarray(rows_px, float)
        if rows.shape != (3, 3):
            raise ValueError(f"three rows of three widths are needed, received the shape {rows.shape}")
        seen = optics.fit_width_map(
            x_mm=train.half_width_mm * ACROSS,
            y_mm=train.half_height_mm * UP,
            fwhm_px=rows[::-1].ravel(),  # the nine places count from the lower left
            fwhm_sigma_px=fwhm_sigma_px,
            corner_radius_mm=train.corner_mm,
        )
    except ValueError as fault:
        return f"No map from these numbers: {fault}."
    if not np.isfinite(seen.middle_px):
        return "No map from these numbers: one of them is missing."
    parts = (
        f"rise to the right {_rise(seen.lean_x_px, seen.lean_x_sigma_px)}, "
        f"upwards {_rise(seen.lean_y_px, seen.lean_y_sigma_px)}, "
        f"to all corners {_rise(seen.bowl_px, seen.bowl_sigma_px)}"
    )
    return f"Centre {seen.middle_px:.1f} px; {parts}. That is {seen.verdict}."


def _rise(value_px, sigma_px):
    return f"{round(value_px, 2) + 0.0:+.2f} ± {sigma_px:.2f} px".replace("-", "−")  # + 0.0: no minus nought
