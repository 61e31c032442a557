"""The closed table of all fields of a passport: the one place where a field is added, renamed or bounded.

The default spreads are judgements of the workbook's authors about values read from a data sheet or guessed
on site; a measured value brings its own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from types import MappingProxyType

from workbook.passport.schema import UNKNOWN_DIRECTION_SIGMA_DEG, Field


def _number(key, meaning, low, high, cure, *, plus=0.0, share=0.0, shape="normal") -> Field:
    """A number; default spread ± `plus` in its own unit, or ± `share` of the value."""
    return Field(
        key, "number", meaning, low, high, cure, spread=share or plus, relative=share > 0, shape=shape
    )


def _wide(key, meaning, low, high, cure, *, share) -> Field:
    return _number(key, meaning, low, high, cure, share=share, shape="lognormal")


def _fixed(key, meaning, low, high, cure) -> Field:
    return _number(key, meaning, low, high, cure, shape="none")


def _direction(key, meaning) -> Field:
    cure = "directions run from 0 to 360, add or subtract 360"
    return _number(key, meaning, 0, 360, cure, plus=UNKNOWN_DIRECTION_SIGMA_DEG, shape="circle")


def _whole(key, meaning, low, high, cure) -> Field:
    return Field(key, "whole", meaning, low, high, cure)


def _choice(key, meaning, *options) -> Field:
    return Field(key, "choice", meaning, options=options)


def _text(key, meaning, *, optional=False) -> Field:
    return Field(key, "text", meaning, optional=optional)


def _table(key, meaning, low, high, cure) -> Field:
    return Field(key, "table", meaning, low, high, cure)


SECTIONS: Mapping[str, str] = MappingProxyType(
    {
        "rig": "what this rig is",
        "optics": "the telescope, from the front lens to the sensor",
        "camera": "the camera that takes the picture",
        "guide": "the small telescope and camera that watch a guide star",
        "drive": "the motors and gears of the mount",
        "habits": "how you set up, and how picky you are",
        "stand": "weights, lengths and stiffness",
        "power": "what the night draws, and from which cells",
        "site": "where you stand, and what you see from there",
        "night": "the air of the night",
        "plan": "the target and the evening",
    }
)

# fmt: off
_TABLE: dict[str, tuple[Field, ...]] = {
    "rig": (
        _text("name", "the name you give this rig"),
        _text("note", "anything worth remembering", optional=True),
    ),
    "optics": (
        _number("aperture_mm", "clear diameter of the front lens",
                10, 1000, "small telescopes have 30 to 200 mm", share=0.01),
        _number("focal_mm", "focal length with the flattener or reducer in place",
                30, 5000, "small telescopes have 100 to 1000 mm", share=0.015),
        _number("throughput", "share of the light that ends as electrons: glass, filter and sensor together",
                0.01, 1, "0.3 to 0.7 is usual for a colour camera", share=0.12),
        _number("spacing_mm", "design distance from the flattener to the sensor",
                0, 300, "read it in the flattener's sheet", plus=0.3),
        _number("back_focus_tolerance_mm", "how far the spacing may be off before corner stars suffer",
                0.05, 10, "0.3 to 2 mm is usual", share=0.2),
        _choice("tube", "what the tube is made of: it sets how the focus drifts as the air cools",
                "aluminium", "carbon", "steel"),
    ),
    "camera": (
        _choice("mosaic", "a colour camera has a mosaic of filters on its pixels, a mono camera none",
                "colour", "mono"),
        _whole("width_px", "pixels along the long side", 100, 20000, "read it in the camera's sheet"),
        _whole("height_px", "pixels along the short side", 100, 20000, "read it in the camera's sheet"),
        _number("pixel_um", "pixel pitch", 0.5, 30, "pixels of cameras have 1 to 15 µm"),
        _number("read_noise_e", "noise that reading one pixel adds, at the gain you use",
                0.1, 50, "modern sensors have 1 to 10 e⁻", share=0.08),
        _number("gain_e_adu", "electrons for one count in the file",
                0.01, 50, "0.1 to 5 e⁻/ADU is usual", share=0.05),
        _whole("adc_bits", "bits of the converter inside the camera", 4, 24, "8, 12, 14 or 16 is usual"),
        _whole("file_bits", "bits of a count in the file", 8, 32, "16 is usual"),
        _number("offset_adu", "count of a pixel without any light",
                0, 20000, "take one frame with the cap on, shortest exposure", share=0.01),
        _number("full_well_e", "electrons one pixel holds before it is full",
                500, 500000, "5,000 to 100,000 e⁻ is usual", share=0.08),
        _wide("dark_e_s_px", "dark current of a pixel at the reference temperature",
                0, 100, "0.001 to 1 e⁻/s/px is usual", share=0.3),
        _fixed("dark_reference_degc", "sensor temperature at which the dark current holds",
                -60, 60, "data sheets state it at -20 to 25 °C"),
        _number("dark_doubling_k", "warming that doubles the dark current",
                4.5, 9, "silicon doubles in 5 to 8 K", plus=0.8),
        _number("warm_up_k", "how far the sensor ends above the air",
                0, 40, "5 to 15 K is usual without a cooler", plus=1.5),
        _number("warm_up_min", "time after which the sensor has warmed up",
                1, 240, "15 to 60 min is usual", share=0.25),
        _number("overhead_s", "time lost after every exposure: reading and saving",
                0, 120, "1 to 10 s is usual", share=0.2),
        _number("dither_overhead_s", "time lost at every dither, settling included",
                0, 600, "5 to 60 s is usual", share=0.25),
        _whole("dither_every", "a dither after so many exposures", 1, 1000, "1 to 10 is usual"),
    ),
    "guide": (
        _number("aperture_mm", "clear diameter of the guide telescope",
                5, 300, "guide telescopes have 20 to 80 mm", share=0.02),
        _number("focal_mm", "focal length of the guide telescope",
                20, 3000, "guide telescopes have 100 to 400 mm", share=0.015),
        _number("pixel_um", "pixel pitch of the guide camera", 0.5, 30, "pixels of cameras have 1 to 15 µm"),
        _number("read_noise_e", "noise that reading one pixel of the guide camera adds",
                0.1, 50, "1 to 10 e⁻ is usual", share=0.1),
        _number("throughput", "share of the light that ends as electrons in the guide camera",
                0.01, 1, "0.3 to 0.7 is usual", share=0.15),
        _wide("flexure_arcsec_min", "how fast the guide telescope bends against the main one",
                0, 20, "0.02 to 1 ″/min is usual", share=0.5),
        _number("noise_arcsec",
                "unrest that the guiding itself leaves, in each axis: star noise and chased seeing", 0, 20,
                "0.2 to 1.5 ″ is usual", plus=0.15),
        _number("lag_s",
                "by how long the guiding stands back: (exposure + dead time)/aggressiveness + half the dead time",
                0.01, 60, "2 to 10 s is usual", plus=0.9),
        _number("star_offset_deg", "distance of the guide star from the centre of the picture",
                0, 15, "0 to 2 ° is usual", share=0.3),
        _direction("star_direction_deg", "direction of the guide star from the centre of the picture"),
    ),
    "drive": (
        _wide("gear_error_arcsec", "periodic error of the gear, from peak to peak",
                0, 1200, "light mounts have 20 to 100 ″", share=0.2),
        _whole("gear_teeth", "teeth of the large gear", 10, 3000, "100 to 400 is usual"),
        _fixed("gear_period_s", "time of one turn of the worm",
                20, 10000, "sidereal day 86164 s divided by the teeth"),
        _wide("second_harmonic_arcsec",
                "part of the gear error that repeats twice in a turn, from peak to peak", 0, 600,
                "a tenth to a third of the gear error is usual", share=0.3),
        _direction("second_harmonic_phase_deg", "phase of that part against the main one"),
        _wide("random_walk_arcsec_sqrt_s", "irregular wander of the drive",
                0, 10, "0.05 to 1 ″/√s is usual", share=0.3),
        _number("backlash_arcsec", "play of the declination gear when it turns back",
                0, 1200, "5 to 100 ″ is usual", share=0.4),
        _number("guide_speed", "speed of a guiding correction, as a share of the sidereal rate",
                0.05, 1, "0.5 is usual"),
        _fixed("altaz_highest_deg", "altitude above which the drive cannot follow in alt-az",
                20, 90, "75 to 88 ° is usual"),
    ),
    "habits": (
        _fixed("tolerance_px", "longest star trail that you still keep", 0.1, 20, "1 to 3 px is usual"),
        _choice("alignment", "how you align a tilted mount on the pole", "rough", "drift"),
        _wide("axis_error_rough_arcmin", "distance of the axis from the pole after a rough set-up",
                0, 1200, "20 to 120 ′ is usual", share=0.4),
        _wide("axis_error_drift_arcmin", "distance of the axis from the pole after drift alignment",
                0, 600, "2 to 15 ′ is usual", share=0.4),
        _direction("axis_direction_deg",
                "where the axis points beside the pole: 0 is too far east, 90 is too high"),
        _wide("model_error_arcmin", "pointing error that the start of the go-to leaves in alt-az",
                0, 600, "2 to 30 ′ is usual", share=0.4),
        _number("set_up_altaz_min", "set-up in alt-az, until the first exposure",
                0, 600, "15 to 60 min is usual", plus=8),
        _number("set_up_tilted_min", "set-up tilted, alignment included, until the first exposure",
                0, 600, "30 to 120 min is usual", plus=12),
        _fixed("set_up_sun_deg", "altitude of the Sun at which you start to set up",
                -18, 90, "-6 is the end of civil twilight"),
    ),
    "stand": (
        _number("load_kg", "telescope, cameras and cables together",
                0.1, 100, "1 to 10 kg is usual on a light mount", share=0.03),
        _number("load_arm_mm", "from the axis to the centre of mass of the load",
                0, 1000, "50 to 250 mm is usual", share=0.05),
        _number("bar_length_mm", "free length of the counterweight bar", 20, 1000, "100 to 400 mm is usual"),
        _choice("bar_thread", "thread of the counterweight bar", "M8", "M10", "M12", "M16"),
        _number("counterweight_kg", "mass of the counterweight",
                0, 50, "0 to 5 kg is usual; 0 where there is none", share=0.02),
        _number("total_kg", "everything that stands on the three feet",
                0.5, 300, "5 to 25 kg is usual", share=0.04),
        _number("centre_of_mass_m", "height of the centre of mass above the ground",
                0.05, 3, "0.6 to 1.3 m is usual", share=0.05),
        _number("foot_circle_m", "radius of the circle through the three feet",
                0.05, 3, "0.3 to 0.8 m is usual", share=0.03),
        _number("frequency_hz", "how fast the rig trembles after a tap",
                0.3, 100, "3 to 20 Hz is usual", share=0.15),
        _number("damping_ratio", "how fast the trembling dies: share of critical damping",
                0.001, 1, "0.01 to 0.1 is usual", share=0.25),
        _wide("stiffness_n_m_rad", "moment that would turn the rig by one radian",
                5, 1e6, "100 to 10,000 N·m/rad is usual", share=0.3),
        _number("wind_area_m2", "area that the wind sees", 0.001, 2, "0.01 to 0.1 m² is usual", share=0.15),
        _number("wind_arm_m", "from the axis to the middle of that area",
                0, 2, "0.05 to 0.4 m is usual", share=0.2),
        _table("leg_outline_mm", "outline of a leg from the side: [distance from the axis, height below it]",
                -5000, 5000, "two pairs at least, in mm"),
        _table("camera_outline_mm", "outline of the camera from the side: [along the tube, across it]",
                -5000, 5000, "two pairs at least, in mm"),
    ),
    "power": (
        _number("mount_w", "power of the mount while it follows", 0, 200, "2 to 15 W is usual", share=0.15),
        _number("mount_duty", "share of the time in which the mount draws it",
                0, 1, "0.2 to 1 is usual", share=0.15),
        _whole("mount_cells", "cells in the mount's own holder", 1, 40, "6 to 10 is usual"),
        _number("cell_v", "voltage of one of these cells under load",
                0.5, 4.5, "1.2 V rechargeable, 1.5 V alkaline", share=0.02),
        _number("cell_ah", "charge of one of these cells", 0.1, 300, "1.5 to 2.8 Ah is usual", share=0.08),
        _fixed("mount_lowest_v", "lowest voltage the mount accepts", 1, 60, "read it on the mount"),
        _fixed("mount_highest_v", "highest voltage the mount accepts", 1, 60, "read it on the mount"),
        _number("computer_w", "power of the computer at the mount", 0, 300, "3 to 15 W is usual", share=0.15),
        _number("camera_w", "power of the camera", 0, 200, "1 to 5 W, with a cooler 10 to 40 W", share=0.15),
        _number("guide_camera_w", "power of the guide camera", 0, 50, "0.5 to 2 W is usual", share=0.15),
        _number("heater_w", "power of the lens heater while it is on",
                0, 200, "1 to 10 W is usual; 0 where there is none", share=0.1),
        _number("heater_duty", "share of the time in which the heater is on",
                0, 1, "0.3 to 1 is usual", share=0.2),
        _number("light_w", "power of the red light", 0, 50, "0.2 to 2 W is usual", share=0.2),
        _number("pack_v", "voltage of the pack that feeds all but the mount",
                3, 60, "12.8 V for four iron-phosphate cells", share=0.01),
        _number("pack_wh", "energy printed on the pack", 1, 5000, "50 to 500 Wh is usual", share=0.04),
        _number("pack_usable", "share of the printed energy that the pack gives when warm",
                0.1, 1, "0.8 to 0.95 is usual", plus=0.04),
        _number("pack_cold", "share of that which is left in the cold of the night",
                0.1, 1, "0.6 to 1 is usual", plus=0.05),
        _number("converter", "efficiency of the converters between pack and loads",
                0.3, 1, "0.85 to 0.95 is usual", plus=0.03),
        _number("lead_m", "length of the lead from the pack, one way",
                0.1, 50, "1 to 5 m is usual", share=0.05),
        _whole("lead_awg", "wire gauge of that lead: the larger the number, the thinner the wire",
                6, 32, "14 to 24 is usual"),
    ),
    "site": (
        _text("place", "the place in words"),
        _fixed("latitude_deg", "latitude, positive in the north",
                -90, 90, "write degrees with decimals, south is negative"),
        _fixed("longitude_deg", "longitude, positive in the east", -180, 180, "west is negative: 350 is -10"),
        _fixed("height_m", "height above the sea", -450, 9000, "write metres, not feet"),
        _number("sky_mag_arcsec2", "brightness of the moonless sky: the larger, the darker",
                14, 22.5, "18 in a city, 20 in a suburb, 21.5 in dark country", plus=0.3),
        _text("sky_reading", "where the sky brightness comes from", optional=True),
        _table("horizon_deg",
                "the view: [azimuth from north over east, altitude of what hides the sky there]", 0, 360,
                "write [azimuth, altitude]; the same azimuth twice is a vertical edge"),
        _fixed("ceiling_deg", "altitude above which a roof hides the sky, 90 where there is none",
                1, 90, "90 is open sky"),
        Field("pole_visible", "bool", "whether the celestial pole is in view"),
    ),
    "night": (
        _number("seeing_arcsec", "width of a star through the unrest of the air",
                0.3, 15, "2 to 4 ″ is usual", plus=0.6),
        _number("air_start_degc", "air at dusk", -50, 50, "write degrees Celsius", plus=2),
        _number("air_end_degc", "air at dawn", -50, 50, "write degrees Celsius", plus=2),
        _number("humidity_start", "humidity at dusk as a share", 0.01, 1, "0.4 to 0.95 is usual", plus=0.06),
        _number("humidity_end", "humidity at dawn as a share", 0.01, 1, "0.4 to 1 is usual", plus=0.06),
        _number("pressure_hpa", "air pressure at the site, not reduced to the sea",
                400, 1100, "1013 at the sea, about 12 less for each 100 m", plus=5),
        _number("wind_m_s", "steady wind", 0, 30, "0 to 6 m/s is usual", plus=0.7),
        _number("gust_m_s", "wind in a gust", 0, 50, "one and a half to three times the wind", plus=1.5),
        _wide("gusts_per_h", "gusts in an hour", 0, 600, "2 to 40 is usual", share=0.4),
        _number("gust_s", "one gust with its settling", 0.1, 300, "2 to 20 s is usual", share=0.3),
        _number("extinction_mag", "light lost in the air for each airmass",
                0.05, 1.5, "0.15 to 0.4 mag is usual", plus=0.05),
        _number("lens_cooling_k", "how far a lens under the open sky cools below the air",
                0, 15, "1 to 4 K is usual", plus=0.6),
        _number("heater_lift_k_w", "how far one watt of heater lifts the lens",
                0, 30, "1 to 5 K/W is usual", plus=0.8),
    ),
    "plan": (
        _text("target", "name of the object in the deep-sky catalogue"),
        Field("date", "date", "date of the evening on which the night starts"),
        _choice("mode", "how the mount stands: on a level base, or tilted towards the pole",
                "alt-az", "tilted"),
        Field("guided", "bool", "whether you guide"),
    ),
}
# fmt: on

FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        f"{section}.{field.key}": dataclasses.replace(field, section=section)
        for section, fields in _TABLE.items()
        for field in fields
    }
)


def keys_of(section: str) -> tuple[str, ...]:
    """The keys of one section, in their order."""
    return tuple(field.key for field in _TABLE[section])
