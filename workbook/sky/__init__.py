"""Light of stars, sky and Moon: photons, electrons in a pixel, how brightness adds, and what a filter passes."""

from workbook.sky.air import (
    airmass_of_scattering,
    altitude_value,
    dark_sky_nl,
    extinguished_mag,
    transmission,
)
from workbook.sky.brightness import (
    LUMINANCE_MODELS,
    LuminanceRange,
    add_sky_mag_arcsec2,
    luminance_cd_m2,
    luminance_range_cd_m2,
    naked_eye_limit_mag,
    nanolambert_nl,
    sky_mag_arcsec2,
    starlight_mag_arcsec2,
)
from workbook.sky.classes import CLASS_TABLES, SkyClass, classes_of_sky, sky_of_class
from workbook.sky.filters import (
    BROADBAND,
    DUAL_BAND,
    LINES_NM,
    NARROW_BAND,
    OPEN,
    SKY_UNEVENNESS,
    Filter,
    FilterGain,
    band_fraction,
    filter_gain,
    line_e_s_px,
    line_transmission,
)
from workbook.sky.moon import (
    DEPARTURE_MAG,
    MOON_RADIUS_DEG,
    STATED_ERROR,
    MoonlitSky,
    illuminance_lx,
    lit_fraction,
    moon_magnitude,
    moonlight_departures,
    moonlight_nl,
    moonlit_sky,
)
from workbook.sky.own_frame import (
    Level,
    OwnSky,
    SkyRate,
    ZeroPoint,
    sky_from_frame,
    sky_level,
    sky_rate,
    zero_point,
)
from workbook.sky.photons import (
    brightness_ratio,
    difference_mag,
    mean_surface_mag_arcsec2,
    sky_electrons_s_px,
    star_e_s,
    star_photons_s_m2,
)

__all__ = [
    "BROADBAND", "CLASS_TABLES", "DEPARTURE_MAG", "DUAL_BAND", "LINES_NM", "LUMINANCE_MODELS",
    "MOON_RADIUS_DEG", "NARROW_BAND", "OPEN", "SKY_UNEVENNESS", "STATED_ERROR", "Filter", "FilterGain", "Level",
    "LuminanceRange", "MoonlitSky", "OwnSky", "SkyClass", "SkyRate", "ZeroPoint", "add_sky_mag_arcsec2",
    "airmass_of_scattering", "altitude_value", "band_fraction", "brightness_ratio", "classes_of_sky",
    "dark_sky_nl", "difference_mag", "extinguished_mag", "filter_gain", "illuminance_lx", "line_e_s_px",
    "line_transmission", "lit_fraction", "luminance_cd_m2", "luminance_range_cd_m2", "mean_surface_mag_arcsec2",
    "moon_magnitude", "moonlight_departures", "moonlight_nl", "moonlit_sky", "naked_eye_limit_mag",
    "nanolambert_nl", "sky_electrons_s_px", "sky_from_frame", "sky_level", "sky_mag_arcsec2", "sky_of_class",
    "sky_rate", "star_e_s", "star_photons_s_m2", "starlight_mag_arcsec2", "transmission", "zero_point",
]  # fmt: skip
