"""An invented night for a rig, drawn from the spreads of its passport, and the frames it would leave.

The night differs from the passport's centres, as a real one does: measuring it is worth something.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from workbook import catalogue, frames, sampling, sky
from workbook.verdict import light

WIDTH_PX, HEIGHT_PX = 720, 480  # a part of the sensor: small files, enough pixels
RA_DEG, DEC_DEG = 23.46, 30.66  # an invented pointing near the target of the balcony's plan
FAINTEST_MAG = 14.5
SKY_SUB_S = 20.0
REMARK = "invented: a practice frame of the workbook; its stars are synthetic"


class PracticeNight(NamedTuple):
    """What is true on the invented night.

    Brightness of the sky [mag/″²], rates of sky and dark current [e⁻/s/px], electrons of a star of magnitude 0
    in a second [e⁻/s], sigma of a star [px], scale [″/px], and the camera.
    """

    sky_mag_arcsec2: float
    sky_e_s_px: float
    dark_e_s_px: float
    zero_e_s: float
    star_sigma_px: float
    scale_arcsec_px: float
    camera: frames.Sensor


class SkyFrames(NamedTuple):
    """The files of one measurement: a frame of the sky, one with the cap on, one with no time at all."""

    sky: Path
    dark: Path
    bias: Path


def invented_night(passport, *, seed: int) -> PracticeNight:
    """A night drawn from the spreads of a passport.

    Parameters
    ----------
    passport : Passport
        The rig, site and air.
    seed : int
        Which night; the same number gives a whole class the same one.
    """
    drawn = passport.draw(2, seed)  # two, so that every field with a spread is an array
    rig = {key: value[1] if isinstance(value, np.ndarray) else value for key, value in drawn.items()}
    scale = float(light.scale_arcsec_px(rig))
    return PracticeNight(
        sky_mag_arcsec2=float(rig["site.sky_mag_arcsec2"]),
        sky_e_s_px=float(light.surface_e_s_px(rig, rig["site.sky_mag_arcsec2"])),
        dark_e_s_px=float(light.dark_e_s_px(rig, light.warm_sensor_degc(rig))),
        zero_e_s=float(
            sky.star_e_s(
                magnitude=0.0, aperture_mm=rig["optics.aperture_mm"], throughput=rig["optics.throughput"]
            )
        ),
        star_sigma_px=float(
            sampling.star_sigma_px(fwhm_arcsec=light.star_fwhm_arcsec(rig), scale_arcsec_px=scale)
        ),
        scale_arcsec_px=scale,
        camera=frames.Sensor(
            width_px=WIDTH_PX,
            height_px=HEIGHT_PX,
            read_noise_e=float(rig["camera.read_noise_e"]),
            gain_e_adu=float(rig["camera.gain_e_adu"]),
            offset_adu=float(rig["camera.offset_adu"]),
            full_well_e=float(rig["camera.full_well_e"]),
            adc_bits=min(int(rig["camera.adc_bits"]), 16),
            mosaic="RGGB" if rig["camera.mosaic"] == "colour" else "",
        ),
    )


def write_sky_frames(folder, passport, *, seed: int) -> SkyFrames:
    """A 20-second frame of the sky, a dark of the same time and a bias, as FITS files.

    Parameters
    ----------
    folder : str or Path
        Where the files go; it is made. Files of the same night that are there already are kept.
    passport : Passport
        The rig.
    seed : int
        Which invented night.

    Returns
    -------
    SkyFrames
        The three paths.
    """
    night = invented_night(passport, seed=seed)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"{passport.name}-night-{seed}"
    paths = SkyFrames(*(folder / f"{stem}-{kind}.fits" for kind in SkyFrames._fields))
    kinds = {
        paths.sky: (SKY_SUB_S, night.sky_e_s_px, night.dark_e_s_px, True),
        paths.dark: (SKY_SUB_S, 0.0, night.dark_e_s_px, False),
        paths.bias: (1e-4, 0.0, 0.0, False),
    }
    for number, (path, (time_s, sky_e, dark_e, open_sky)) in enumerate(kinds.items()):
        if not path.exists():
            stars = _stars(night, seed) if open_sky else ([], [], [])
            frame = frames.raw_frame(
                sensor=night.camera,
                exposure_s=time_s,
                x_px=stars[0],
                y_px=stars[1],
                star_e_s=stars[2],
                shapes=frames.round_shapes_px2(sigma_px=night.star_sigma_px),
                sky_e_s_px=sky_e,
                dark_e_s_px=dark_e,
                seed=10 * seed + number,
                remarks=(REMARK,),
            )
            frames.write_frame(path, frame, overwrite=False)
    return paths


def _stars(night, seed):
    """Places and electrons of synthetic stars in the number that their magnitudes have on the sky."""
    latitude = catalogue.galactic_latitude_deg(ra_deg=RA_DEG, dec_deg=DEC_DEG)
    dice = np.random.default_rng(seed)
    area_deg2 = WIDTH_PX * HEIGHT_PX * (night.scale_arcsec_px / 3600.0) ** 2
    grid = np.linspace(6.0, FAINTEST_MAG, 200)
    counts = catalogue.star_count_deg2(galactic_latitude_deg=latitude, g_mag=grid)
    many = dice.poisson(area_deg2 * counts[-1])
    magnitude = np.interp(dice.uniform(0.0, counts[-1], many), counts, grid)
    x, y = dice.uniform(0, WIDTH_PX - 1, many), dice.uniform(0, HEIGHT_PX - 1, many)
    return x, y, night.zero_e_s * 10.0 ** (-0.4 * magnitude)
