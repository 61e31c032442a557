"""Filters as physics: what a window passes of an emission line, of a continuum and of the sky, and what it gains.

A filter is one window or several (a dual-band filter is two), each a flat top of `peak` over `width_nm`.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, not_negative, number, positive


class Filter(NamedTuple):
    """One window: centre and full width at half maximum [nm], and the transmission of its top, 0 to 1."""

    centre_nm: float
    width_nm: float
    peak: float


# Wavelengths of the lines that nebulae emit, in air. NIST Atomic Spectra Database (recalled).
LINES_NM = {"hydrogen alpha": 656.28, "oxygen III": 500.68, "hydrogen beta": 486.13, "sulphur II": 672.4}

# Examples of the three kinds, invented round numbers.
OPEN = (Filter(centre_nm=550.0, width_nm=300.0, peak=1.0),)  # what the eye-like band of a camera sees
BROADBAND = (
    Filter(centre_nm=460.0, width_nm=100.0, peak=0.92),
    Filter(centre_nm=660.0, width_nm=60.0, peak=0.92),
)
DUAL_BAND = (
    Filter(centre_nm=500.7, width_nm=10.0, peak=0.88),
    Filter(centre_nm=656.3, width_nm=10.0, peak=0.88),
)
NARROW_BAND = (Filter(centre_nm=656.3, width_nm=7.0, peak=0.88),)

# How far the share of the sky in a narrow window may lie from that of an even spectrum: towns and the air glow
# in bands and lines (a factor of two to each side is an assumption, no measurement).
SKY_UNEVENNESS = 2.0

RAYLEIGH_PHOTONS_S_M2_SR = 1e10 / (4 * np.pi)  # definition: Hunten, Roach & Chamberlain 1956, JATP 8, 345
_SR_PER_ARCSEC2 = (np.pi / 180 / 3600) ** 2


class FilterGain(NamedTuple):
    """What a filter does for one object under one sky.

    Signal-to-noise with the filter over that without, in the same time, and the lowest and highest for an
    uneven sky; time with the filter over time without, for the same signal-to-noise; share of the object's and
    of the sky's light that passes.
    """

    snr_ratio: float
    snr_ratio_low: float
    snr_ratio_high: float
    time_ratio: float
    object_share: float
    sky_share: float


def line_transmission(*, filters, wavelength_nm, f_ratio):
    """The share of an emission line that passes a filter in a converging beam.

    Parameters
    ----------
    filters : sequence of Filter
        The windows.
    wavelength_nm : float or array
        Wavelength of the line [nm].
    f_ratio : float
        Focal length over aperture; the steeper the cone, the bluer the window.

    Returns
    -------
    float or array
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If a window has no width, its peak is no share, windows overlap, or f_ratio is not positive.

    Notes
    -----
    A flat top. Rays at the angle θ see the window at λ √(1 − sin²θ/n²), with n = 1.9 for the layers of an
    interference filter; averaged over the cone up to θ = arctan(1/(2 N)). Real windows have rounded edges.

    References
    ----------
    Lissberger, P. H. & Wilcock, W. L. (1959), JOSA 49, 126 (shift with angle; index of usual layers recalled).

    Examples
    --------
    >>> print(round(line_transmission(filters=NARROW_BAND, wavelength_nm=656.28, f_ratio=5.5), 2))
    0.88
    """
    windows = _checked(filters)
    line = positive("wavelength_nm", wavelength_nm, cure="in nm: hydrogen alpha is 656.3")
    largest = np.arctan(1 / (2 * positive("f_ratio", f_ratio)))
    rings = (np.arange(200) + 0.5) / 200  # rings of equal area over the aperture
    sine2 = np.sin(np.arctan(np.tan(largest) * np.sqrt(rings))) ** 2
    shrink = np.sqrt(1 - sine2 / 1.9**2)
    passed = sum(
        w.peak * (np.abs(np.asarray(line)[..., None] - w.centre_nm * shrink) <= w.width_nm / 2)
        for w in windows
    )
    return np.where(np.isnan(line), np.nan, np.mean(passed, axis=-1))[()]


def band_fraction(*, filters):
    """The share of an even spectrum that passes, against the open band from 400 to 700 nm.

    Parameters
    ----------
    filters : sequence of Filter
        The windows.

    Returns
    -------
    float
        Share between 0 and 1.

    Raises
    ------
    ValueError
        If a window has no width, its peak is no share, or windows overlap.

    Notes
    -----
    Σ peak · width inside the band / 300 nm, for equal photons in each nanometre. So for the starlight of a
    galaxy within some 20 %; a sky of lamps and airglow lies up to a factor of two to either side.

    References
    ----------
    Derivation: area under the windows over area of the band; tested by summing over wavelengths.

    Examples
    --------
    >>> print(round(band_fraction(filters=NARROW_BAND), 4))
    0.0205
    """
    low, high = OPEN[0].centre_nm - OPEN[0].width_nm / 2, OPEN[0].centre_nm + OPEN[0].width_nm / 2
    inside = [
        w.peak * max(min(w.centre_nm + w.width_nm / 2, high) - max(w.centre_nm - w.width_nm / 2, low), 0.0)
        for w in _checked(filters)
    ]
    return float(sum(inside) / (high - low))


def line_e_s_px(*, brightness_rayleigh, aperture_mm, scale_arcsec_px, throughput):
    """Electrons that a glowing line of a nebula leaves in one pixel each second, without a filter.

    Parameters
    ----------
    brightness_rayleigh : float or array
        Brightness of the line, as surveys of hydrogen give it [R].
    aperture_mm : float or array
        Diameter of a clear round aperture [mm].
    scale_arcsec_px : float or array
        Image scale [″/px].
    throughput : float or array
        Share of the photons that become electrons at that wavelength: optics and sensor.

    Returns
    -------
    float or array
        Electrons [e⁻/s/px].

    Raises
    ------
    ValueError
        If the brightness is negative, aperture or scale is not positive, or the throughput is no share.

    Notes
    -----
    One rayleigh is 10¹⁰/4π photons/s/m²/sr. Bright nebulae have hundreds of rayleighs, faint ones 10 to 50.

    References
    ----------
    Hunten, D. M., Roach, F. E. & Chamberlain, J. W. (1956), J. Atmos. Terr. Phys. 8, 345 (definition).

    Examples
    --------
    >>> line = line_e_s_px(brightness_rayleigh=100, aperture_mm=58, scale_arcsec_px=2.256, throughput=0.45)
    >>> print(round(line, 4))
    0.0113
    """
    area_m2 = np.pi / 4 * (1e-3 * positive("aperture_mm", aperture_mm, cure="did you pass metres?")) ** 2
    solid_angle_sr = positive("scale_arcsec_px", scale_arcsec_px) ** 2 * _SR_PER_ARCSEC2
    photons = not_negative("brightness_rayleigh", brightness_rayleigh) * RAYLEIGH_PHOTONS_S_M2_SR
    return photons * area_m2 * solid_angle_sr * fraction("throughput", throughput)


def filter_gain(
    *,
    filters,
    wavelengths_nm,
    lines_e_s_px,
    continuum_e_s_px,
    sky_e_s_px,
    dark_e_s_px,
    read_noise_e,
    sub_s,
    without_sub_s,
    f_ratio,
) -> FilterGain:
    """What a filter gains or loses for one object under one sky, against the open band.

    Parameters
    ----------
    filters : sequence of Filter
        The windows.
    wavelengths_nm : sequence of float
        Wavelengths of the object's emission lines; empty for a galaxy or a cluster [nm].
    lines_e_s_px : sequence of float
        Light of each line without a filter [e⁻/s/px].
    continuum_e_s_px : float
        Light of the object's continuum in the open band [e⁻/s/px].
    sky_e_s_px : float
        Sky in the open band, moonlight included [e⁻/s/px].
    dark_e_s_px : float
        Dark current [e⁻/s/px].
    read_noise_e : float
        Read noise [e⁻].
    sub_s : float
        Length of a sub with the filter [s].
    without_sub_s : float
        Length of a sub without it [s].
    f_ratio : float
        Focal length over aperture.

    Returns
    -------
    FilterGain
        snr_ratio with its low and high, time_ratio, object_share, sky_share.

    Raises
    ------
    ValueError
        If a rate is negative, the object gives no light, lists differ in length, or a sub is not positive.

    Notes
    -----
    S²/(S + sky + dark + R²/t) with the filter over that without, in each second of open shutter; the square root
    is the ratio of signal-to-noise. A filter helps only where the object shines in its windows and the sky does
    not: an emission nebula gains; a galaxy's even light is cut just as the sky is, so it always loses, but for
    a spectrum of the sky that is brighter outside the windows. Moonlight is even light, as a galaxy's is.

    References
    ----------
    Derivation: signal-to-noise equation (Howell 2006, sec. 4.4) with each rate times its transmission; tested
    by counting simulated photons.

    Examples
    --------
    >>> common = dict(filters=DUAL_BAND, sky_e_s_px=5.8, dark_e_s_px=0.05, read_noise_e=1.6, sub_s=60,
    ...               without_sub_s=30, f_ratio=5.5)
    >>> nebula = filter_gain(wavelengths_nm=[656.28], lines_e_s_px=[0.02], continuum_e_s_px=0.0, **common)
    >>> galaxy = filter_gain(wavelengths_nm=[], lines_e_s_px=[], continuum_e_s_px=0.1, **common)
    >>> print(round(nebula.snr_ratio, 1), round(galaxy.snr_ratio, 2))
    3.2 0.22
    """
    wavelengths = np.atleast_1d(number("wavelengths_nm", wavelengths_nm))
    lines = np.atleast_1d(not_negative("lines_e_s_px", lines_e_s_px))
    if wavelengths.shape != lines.shape:
        raise ValueError(
            f"one lines_e_s_px for each wavelength: received {lines.size} and {wavelengths.size}"
        )
    continuum = not_negative("continuum_e_s_px", continuum_e_s_px)
    whole = positive("lines_e_s_px", lines.sum() + continuum, cure="the object must give some light")
    own = (
        not_negative("dark_e_s_px", dark_e_s_px),
        not_negative("read_noise_e", read_noise_e) ** 2,
    )
    sky = not_negative("sky_e_s_px", sky_e_s_px)
    even = band_fraction(filters=filters)
    passed = line_transmission(filters=filters, wavelength_nm=wavelengths, f_ratio=f_ratio)
    kept = float(lines @ passed + continuum * even) if lines.size else continuum * even
    without = _information(whole, sky, *own, positive("without_sub_s", without_sub_s))

    def ratio(sky_share):
        return _information(kept, sky * sky_share, *own, positive("sub_s", sub_s)) / without

    # An uneven sky moves its light into the windows or out of them; an open filter passes it all anyway.
    spread = 1 + (SKY_UNEVENNESS - 1) * (1 - even)
    usual, low, high = ratio(even), ratio(min(even * spread, 1.0)), ratio(even / spread)
    return FilterGain(
        snr_ratio=float(np.sqrt(usual)),
        snr_ratio_low=float(np.sqrt(low)),
        snr_ratio_high=float(np.sqrt(high)),
        time_ratio=float(1 / usual) if usual > 0 else float("inf"),
        object_share=float(kept / whole),
        sky_share=even,
    )


def _information(signal, sky, dark, read_noise2, sub_s):
    """Squared signal-to-noise of one second."""
    return signal**2 / (signal + sky + dark + read_noise2 / sub_s) if signal > 0 else 0.0


def _checked(filters):
    """The windows as records in order of wavelength, refused where they are none or overlap."""
    windows = sorted(Filter(*w) for w in filters)
    for w in windows:
        between("centre_nm", w.centre_nm, 200, 2000, cure="in nm: hydrogen alpha is 656.3")
        positive("width_nm", w.width_nm)
        fraction("peak", w.peak)
    for low, high in itertools.pairwise(windows):
        if low.centre_nm + low.width_nm / 2 > high.centre_nm - high.width_nm / 2:
            raise ValueError(f"filters must not overlap: {low} and {high}")
    return windows
