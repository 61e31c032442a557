"""The closed list of unit suffixes, and the one adapter from and to astropy quantities.

Every dimensional name in the workbook ends in one of these suffixes. `unit_of` reads it, guards and the
passport use it to say a unit back to the reader, and `with_quantities` lets a function take quantities.
Astropy is imported inside the adapter only, so that the topics stay light.
"""

from __future__ import annotations

import functools
from typing import NamedTuple


class Unit(NamedTuple):
    """One suffix: how a reader sees it, and how astropy spells it ("" where astropy has no such unit)."""

    label: str
    astropy: str


SUFFIXES: dict[str, Unit] = {
    # lengths
    "mm": Unit("mm", "mm"),
    "um": Unit("µm", "um"),
    "nm": Unit("nm", "nm"),
    "m": Unit("m", "m"),
    "km": Unit("km", "km"),
    "m2": Unit("m²", "m2"),
    "mm2": Unit("mm²", "mm2"),
    "mm4": Unit("mm⁴", "mm4"),
    "px": Unit("px", "pix"),
    "px_mm": Unit("px/mm", "pix / mm"),
    "um2": Unit("µm²", "um2"),
    "px2": Unit("px²", "pix2"),
    "arcsec_px": Unit("″/px", "arcsec / pix"),
    # angles and their rates
    "deg": Unit("°", "deg"),
    "arcmin": Unit("′", "arcmin"),
    "arcsec": Unit("″", "arcsec"),
    "arcmin2": Unit("′²", "arcmin2"),
    "count_deg2": Unit("1/°²", "1 / deg2"),  # spelled out, at the end of a function's name
    "deg_h": Unit("°/h", "deg / h"),
    "arcsec_s": Unit("″/s", "arcsec / s"),
    "arcsec_min": Unit("″/min", "arcsec / min"),
    "arcsec_s2": Unit("″/s²", "arcsec / s2"),
    "arcmin_h": Unit("′/h", "arcmin / h"),
    "arcmin_turn": Unit("′/turn", "arcmin"),  # astropy knows no turn of a screw
    "arcsec_sqrt_s": Unit("″/√s", "arcsec / s(1/2)"),
    # time
    "s": Unit("s", "s"),
    "min": Unit("min", "min"),
    "h": Unit("h", "h"),
    "hours": Unit("h", "h"),  # spelled out, at the end of a function's name
    "per_h": Unit("per hour", "1 / h"),
    "hz": Unit("Hz", "Hz"),
    "utc": Unit("UTC", ""),
    # light
    "e": Unit("e⁻", "electron"),
    "e_s": Unit("e⁻/s", "electron / s"),
    "e_px": Unit("e⁻/px", "electron / pix"),
    "e_s_px": Unit("e⁻/s/px", "electron / (s pix)"),
    "e_adu": Unit("e⁻/ADU", "electron / adu"),
    "adu": Unit("ADU", "adu"),
    "mag": Unit("mag", "mag"),
    "mag_arcsec2": Unit("mag/″²", ""),
    "electrons_s_px": Unit("e⁻/s/px", "electron / (s pix)"),  # spelled out, at the end of a function's name
    "photons_s_m2": Unit("photons/s/m²", "ph / (s m2)"),
    "nl": Unit("nL", ""),
    "cd_m2": Unit("cd/m²", "cd / m2"),
    "lx": Unit("lx", "lx"),
    "rayleigh": Unit("R", "R"),  # light of an emission line, 10¹⁰/4π photons/s/m²/sr
    "adu2": Unit("ADU²", "adu2"),
    "ev": Unit("eV", "eV"),
    "db": Unit("dB", "dB"),
    # air, heat
    "degc": Unit("°C", "deg_C"),
    "k": Unit("K", "K"),
    "per_k": Unit("1/K", "1 / K"),
    "k_w": Unit("K/W", "K / W"),
    "hpa": Unit("hPa", "hPa"),
    "pct": Unit("%", "%"),
    "m_s": Unit("m/s", "m / s"),
    "w_m2": Unit("W/m²", "W / m2"),
    "w_m2_k": Unit("W/m²/K", "W / (m2 K)"),
    # mechanics
    "kg": Unit("kg", "kg"),
    "kg_m": Unit("kg/m", "kg / m"),
    "kg_m2": Unit("kg·m²", "kg m2"),
    "kg_m3": Unit("kg/m³", "kg / m3"),
    "n": Unit("N", "N"),
    "n_m": Unit("N·m", "N m"),
    "n_m_rad": Unit("N·m/rad", "N m / rad"),
    "gpa": Unit("GPa", "GPa"),
    "mpa": Unit("MPa", "MPa"),
    # electricity
    "v": Unit("V", "V"),
    "a": Unit("A", "A"),
    "ah": Unit("Ah", "A h"),
    "w": Unit("W", "W"),
    "wh": Unit("Wh", "W h"),
    "ohm": Unit("Ω", "Ohm"),
    "awg": Unit("AWG", ""),
    # data and radio
    "bytes": Unit("bytes", "byte"),
    "gb": Unit("GB", "Gbyte"),
    "mbit_s": Unit("Mbit/s", "Mbit / s"),
    "mhz": Unit("MHz", "MHz"),
}


def suffix_of(name: str) -> str | None:
    """The unit suffix at the end of a name, the longest that fits, or None where the name carries none.

    >>> suffix_of("image_scale_arcsec_px"), suffix_of("f_ratio")
    ('arcsec_px', None)
    """
    parts = name.lower().split("_")
    for start in range(1, len(parts)):
        if (suffix := "_".join(parts[start:])) in SUFFIXES:
            return suffix
    return None


def unit_of(name: str) -> str:
    """The unit of a name as a reader sees it, "" for a number without unit.

    >>> unit_of("focal_mm"), unit_of("sky_mag_arcsec2"), unit_of("airmass")
    ('mm', 'mag/″²', '')
    """
    suffix = suffix_of(name)
    return SUFFIXES[suffix].label if suffix else ""


def with_quantities(function):
    """Wrap a workbook function so that it also takes, and returns, astropy quantities.

    Each keyword is converted to the unit in its own suffix and the result gets the unit in the function's
    name; numbers without a unit pass as they are.

    >>> from astropy import units as u
    >>> from workbook.optics import image_scale_arcsec_px
    >>> with_quantities(image_scale_arcsec_px)(pixel_um=3.5 * u.um, focal_mm=0.32 * u.m).round(3)
    <Quantity 2.256 arcsec / pix>
    """
    from astropy import units as u

    @functools.wraps(function)
    def wrapped(**quantities):
        plain = {}
        for name, value in quantities.items():
            suffix = suffix_of(name)
            if isinstance(value, u.Quantity):
                if not suffix or not SUFFIXES[suffix].astropy:
                    raise TypeError(f"{name} takes a plain number, received {value}")
                try:
                    value = value.to_value(SUFFIXES[suffix].astropy)
                except u.UnitConversionError as error:
                    unit = unit_of(name)
                    raise TypeError(f"{name} must be convertible to {unit}, received {value}") from error
            plain[name] = value
        result = function(**plain)
        suffix = suffix_of(function.__name__)
        return result * u.Unit(SUFFIXES[suffix].astropy) if suffix and SUFFIXES[suffix].astropy else result

    return wrapped
