"""Where a star and an axis stand: places in the sky, the pole, airmass, the start of a go-to, framing."""

from workbook.pointing.air import airmass, airmass_kastenyoung1989, airmass_pickering2002, airmass_young1994
from workbook.pointing.axis import (
    ARCMIN_PER_RAD,
    AxisOffset,
    axis_direction,
    axis_errors,
    pole,
    pole_error_arcmin,
)
from workbook.pointing.places import (
    ON_AXIS_RAD,
    Equatorial,
    Horizontal,
    altaz,
    direction,
    hour_angle_dec,
    parallactic_angle_deg,
)
from workbook.pointing.start import (
    StartError,
    framing_angle_deg,
    hour_angle_error_deg,
    left_after_centring_deg,
    start_error,
)

__all__ = [
    "ARCMIN_PER_RAD", "ON_AXIS_RAD", "AxisOffset", "Equatorial", "Horizontal", "StartError", "airmass",
    "airmass_kastenyoung1989", "airmass_pickering2002", "airmass_young1994", "altaz", "axis_direction",
    "axis_errors", "direction", "framing_angle_deg", "hour_angle_dec", "hour_angle_error_deg",
    "left_after_centring_deg", "parallactic_angle_deg", "pole", "pole_error_arcmin", "start_error",
]  # fmt: skip
