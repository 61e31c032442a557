"""What a learner's own files say: the sky's electrons, its brightness, and the line for the passport."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook import frames, sky
from workbook.verdict import light

CLIP_SIGMAS = 3.0
DRAWS, SEED = 4000, 1


class SkyReading(NamedTuple):
    """The sky of one frame.

    Electrons of sky in a pixel each second and their uncertainty [e⁻/s/px]; dark current [e⁻/s/px]; brightness
    and its uncertainty, which holds that of the optics [mag/″²].
    """

    sky_e_s_px: float
    sky_sigma_e_s_px: float
    dark_e_s_px: float
    sky_mag_arcsec2: float
    sky_sigma_mag_arcsec2: float

    def words(self) -> str:
        """The same in two lines, the second one for the passport."""
        return (
            f"Sky {self.sky_e_s_px:.2f} ± {self.sky_sigma_e_s_px:.2f}, dark current {self.dark_e_s_px:.2f} e⁻/s/px; "
            f"that is a sky of {self.sky_mag_arcsec2:.2f} ± {self.sky_sigma_mag_arcsec2:.2f} mag/″².\n"
            f"For [site]: sky_mag_arcsec2 = {{ value = {self.sky_mag_arcsec2:.2f}, "
            f"sigma = {self.sky_sigma_mag_arcsec2:.2f}, measured = the day, as 2026-11-02 }}"
        )


def read_sky(passport, files) -> SkyReading:
    """The sky of a frame, from it and from a dark and a bias taken with it.

    Parameters
    ----------
    passport : Passport
        The rig that took them: gain and its spread, aperture, throughput, focal length and pixel.
    files : SkyFrames or mapping
        Paths by kind: sky, dark of the same exposure, and bias.

    Returns
    -------
    SkyReading

    Raises
    ------
    FileNotFoundError, frames.FrameFileError
        If a file is not there, or is no raw frame.
    ValueError
        If the dark has another exposure time than the sky, sizes differ, or nothing is left after the dark.

    Notes
    -----
    (median of the sky frame − median of the dark) × gain / time; dark current the same from dark and bias.
    The levels are `frames.sky_of_frame`'s, each colour of a mosaic on its own; the uncertainty is `sky.sky_rate`'s,
    from the scatter of the pixels of sky frame and dark, and the spread of the gain. From electrons to mag/″²: the
    rig's own rate at 20 mag/″² is drawn from the passport's spreads, and with it the brightness. Optics of an
    assumed throughput leave ±0.1 to 0.2 mag; a zero point from stars of known brightness (`sky.zero_point` and
    `sky.sky_from_frame`) would do better.

    References
    ----------
    EMVA 1288 release 4.0, linear camera model (recalled); reference rows DET and SKY in the tests.
    """
    paths = files._asdict() if isinstance(files, tuple) else dict(files)
    light_frame, dark, bias = (frames.read_frame(paths[kind]) for kind in ("sky", "dark", "bias"))
    for name, other in (("dark", dark), ("bias", bias)):
        if other.adu.shape != light_frame.adu.shape:
            raise ValueError(
                f"the {name} has {_size(other)}, the sky frame {_size(light_frame)}: same camera?"
            )
    if abs(dark.exposure_s - light_frame.exposure_s) > 0.02 * light_frame.exposure_s:
        raise ValueError(
            f"the dark was exposed for {dark.exposure_s:g} s, the sky frame for {light_frame.exposure_s:g} s: "
            "take a dark of the same time"
        )
    gain = passport["camera.gain_e_adu"] if light_frame.gain_e_adu is None else light_frame.gain_e_adu
    spread = (passport.entry("camera.gain_e_adu").sigma or 0.0) / passport["camera.gain_e_adu"]
    dark_level, bias_level = (_level(frame) for frame in (dark, bias))
    seen = frames.sky_of_frame(light_frame, bias_adu=dark_level[0], dark_adu=0.0, gain_e_adu=gain)
    counts = light_frame.exposure_s / gain  # of one electron a second
    rate = sky.sky_rate(
        light_adu=dark_level[0] + seen.sky_e_s_px * counts,
        light_sigma_adu=seen.sigma_e_s_px * counts,
        bias_adu=dark_level[0],
        bias_sigma_adu=dark_level[1],
        dark_adu=0.0,  # the dark frame holds it, and the bias
        dark_sigma_adu=0.0,
        gain_e_adu=gain,
        gain_sigma_e_adu=spread * gain,
        sub_s=light_frame.exposure_s,
    )
    sky_e, sigma = float(rate.sky_e_s_px), float(rate.sky_sigma_e_s_px)
    dark_e = max(dark_level[0] - bias_level[0], 0.0) * gain / dark.exposure_s
    mag, mag_sigma = _magnitude(passport, sky_e, sigma)
    return SkyReading(sky_e, sigma, float(dark_e), mag, mag_sigma)


def sky_reading(passport, files) -> str:
    """The reading in words; any fault of the files is one line, so that a lesson goes on."""
    try:
        return read_sky(passport, files).words()
    except (OSError, ValueError, KeyError) as fault:
        return f"No reading: {' '.join(str(fault).split())}"


def _level(frame):
    """The median of a frame without outliers, and its standard error, √(π/2) σ/√N [ADU]."""
    found = frames.clipped_statistics(frame.adu, clip_sigmas=CLIP_SIGMAS)
    return found.median_adu, np.sqrt(np.pi / 2 / (frame.adu.size * found.kept)) * found.sigma_adu


def _magnitude(passport, sky_e_s_px, sigma_e_s_px):
    """Brightness of a sky that gives this rate through the rig, with the spreads of both [mag/″²]."""
    at_20 = light.surface_e_s_px(passport.draw(DRAWS, SEED), 20.0)
    rate = sky_e_s_px + sigma_e_s_px * np.random.default_rng(SEED).standard_normal(DRAWS)
    drawn = 20.0 + sky.difference_mag(np.asarray(at_20) / np.maximum(rate, 1e-6))
    central = 20.0 + sky.difference_mag(float(light.surface_e_s_px(passport, 20.0)) / max(sky_e_s_px, 1e-6))
    low, high = np.percentile(drawn, [16.0, 84.0])
    return float(central), float(high - low) / 2.0


def _size(frame):
    return f"{frame.adu.shape[1]} × {frame.adu.shape[0]} px"
