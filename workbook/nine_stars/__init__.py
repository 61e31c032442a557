"""Stars over the sensor of one rig: their shapes for a set of causes, a picture of nine, and when to refocus."""

from workbook.nine_stars.model import Causes, Stars, Train, corner_curvature_um, shapes_over, stars_at, train
from workbook.nine_stars.picture import ACROSS, CENTRE, CORNERS, PLACES, UP, NineStars, nine_stars, with_range
from workbook.nine_stars.readings import focus_reading, width_reading
from workbook.nine_stars.refocus import Refocus, next_refocus

__all__ = [
    "ACROSS", "CENTRE", "CORNERS", "PLACES", "UP", "Causes", "NineStars", "Refocus", "Stars", "Train",
    "corner_curvature_um", "focus_reading", "next_refocus", "nine_stars", "shapes_over", "stars_at", "train",
    "width_reading", "with_range",
]  # fmt: skip
