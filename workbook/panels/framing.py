"""What falls on the sensor: a target and its stars on the frame, and a corner of that frame pixel by pixel."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from workbook.catalogue import (
    DeepSkyObject,
    find,
    galactic_latitude_deg,
    outline_deg,
    star_count_deg2,
    star_electrons_s,
    stars_in_field,
    tangent_plane_deg,
)
from workbook.constants import ARCMIN_PER_DEG, ARCSEC_PER_DEG, GAUSSIAN_FWHM_PER_SIGMA, MOON_DISTANCE_KM
from workbook.constants import MOON_RADIUS_KM as MOON_KM
from workbook.figures.picture import ZOOM_PX, Picture
from workbook.frames import Sensor, elliptical_patch_e_px, read_out
from workbook.frames.drawing import draw_stars, erf
from workbook.frames.shapes import round_shapes_px2
from workbook.optics import airy_fwhm_arcsec, field_of_view_deg, image_scale_arcsec_px
from workbook.sampling import common_field, panels_needed, star_sigma_px, target_px
from workbook.sky import sky_electrons_s_px

MOON = "Moon"
MOON_DEG = 2.0 * math.degrees(math.asin(MOON_KM / MOON_DISTANCE_KM))
# Where the demo balcony sees the Moon on 28 October 2026 at 01:30 UTC: beside the Pleiades.
MOON_RA_DEG, MOON_DEC_DEG = 56.40, 24.57
MOON_SURFACE_MAG_ARCSEC2 = 3.4  # full Moon: V −12.74 (Allen's Astrophysical Quantities) spread over its disc

EXPOSURE_S = 10.0  # of the frame whose middle is shown pixel by pixel
SAMPLE_MAG = 10.0  # of the star that is put into it
SAMPLE_X_PX, SAMPLE_Y_PX = 37.3, 36.6
GREEN_NM = 550.0

STARS_WANTED = 600  # expected in the circle around the frame: enough to see a pattern, few enough to draw
STARS_SHOWN = 250
RADII_DEG = (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 20.0)
MAGNITUDES = np.arange(5.0, 16.01, 0.25)

OVERLAP = 0.2  # share of a panel that its neighbour repeats


class Target(NamedTuple):
    """What is framed: its words, its place in the ICRS, its outline and the light it gives; None: not known."""

    words: str
    ra_deg: float
    dec_deg: float
    major_arcmin: float | None
    minor_arcmin: float | None
    position_angle_deg: float | None
    surface_mag_arcsec2: float | None


def target(name: str) -> Target:
    """The Moon, or an object of the catalogue."""
    if name == MOON:
        size = ARCMIN_PER_DEG * MOON_DEG
        return Target(MOON, MOON_RA_DEG, MOON_DEC_DEG, size, size, None, MOON_SURFACE_MAG_ARCSEC2)
    found: DeepSkyObject = find(name)
    return Target(
        name, found.ra_deg, found.dec_deg, found.major_arcmin, found.minor_arcmin,
        found.position_angle_deg, found.surface_mag_arcsec2,
    )  # fmt: skip


class Framing:
    """One rig: called with the values of the panel, it returns what falls on the sensor."""

    def __init__(self, passport, *, turns_deg):
        self.passport = passport
        self.shape = passport["camera.height_px"] / passport["camera.width_px"]
        self.shared = {turn: _shared(self.shape, turn) for turn in turns_deg}
        drawn = passport.draw(2000, seed=1)
        factor = np.divide(drawn["optics.focal_mm"], drawn["camera.pixel_um"])
        factor = factor * (passport["camera.pixel_um"] / passport["optics.focal_mm"])
        self.spread = tuple(float(end) for end in np.quantile(np.atleast_1d(factor), (0.16, 0.84)))

    def __call__(self, *, focal_mm, pixel_um, sensor_mm, target, turn_deg) -> Picture:
        width = round(1e3 * sensor_mm / pixel_um)
        height = round(width * self.shape)
        scale = image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm)
        fields = [
            float(field_of_view_deg(sensor_mm=1e-3 * pixel_um * count, focal_mm=focal_mm))
            for count in (width, height)
        ]
        thing, sized = _target(target), {}
        if thing.major_arcmin:
            long, short = (
                float(target_px(size_arcmin=size, pixel_um=pixel_um, focal_mm=focal_mm))
                for size in (thing.major_arcmin, thing.minor_arcmin)
            )
            line = np.array(_outline(target)) * ARCSEC_PER_DEG / scale
            sized = {"long_px": long, "short_px": short, "outline_px": (-line[0], line[1])}
        crop = self.shared[turn_deg].crop_side
        return Picture(
            target=thing.words,
            scale_arcsec_px=float(scale),
            width_px=width,
            height_px=height,
            field_deg=tuple(fields),
            turn_deg=turn_deg,
            shared=self.shared[turn_deg].outline_px,
            shared_share=self.shared[turn_deg].share,
            crop_side=crop,
            low=self.spread[0],
            high=self.spread[1],
            **(sized and sized | _fit(sized, width, height, fields, crop, focal_mm)),
            **_stars(target, scale, width, height),
            **self._zoom(thing, sized, focal_mm, pixel_um, scale),
        )

    def _zoom(self, thing, sized, focal_mm, pixel_um, scale):
        """The middle of one raw frame, behind grey filters, with a sample star put beside the target."""
        rig = self.passport
        light = {"aperture_mm": rig["optics.aperture_mm"], "throughput": rig["optics.throughput"]}
        sigma = np.hypot(
            *(
                star_sigma_px(fwhm_arcsec=width, scale_arcsec_px=scale)
                for width in (
                    rig["night.seeing_arcsec"],
                    airy_fwhm_arcsec(aperture_mm=light["aperture_mm"], wavelength_nm=GREEN_NM),
                )
            )
        )
        surface = {"scale_arcsec_px": scale, **light}
        sky = sky_electrons_s_px(sky_mag_arcsec2=rig["site.sky_mag_arcsec2"], **surface)
        glow = 0.0
        if thing.surface_mag_arcsec2 is not None and sized:
            glow = sky_electrons_s_px(sky_mag_arcsec2=thing.surface_mag_arcsec2, **surface)
        star = star_electrons_s(g_mag=SAMPLE_MAG, **light).rate_e_s
        image = draw_stars(
            x_px=[SAMPLE_X_PX], y_px=[SAMPLE_Y_PX], star_e=star * EXPOSURE_S,
            shapes=round_shapes_px2(sigma_px=sigma), width_px=ZOOM_PX, height_px=ZOOM_PX,
        )  # fmt: skip
        image += EXPOSURE_S * (sky + rig["camera.dark_e_s_px"])
        if glow and thing.words == MOON:
            edge = 0.45 * ZOOM_PX - np.arange(ZOOM_PX)
            image += EXPOSURE_S * glow * 0.5 * (1.0 + erf(edge / (math.sqrt(2) * sigma)).astype(float))
        elif glow:
            image += elliptical_patch_e_px(
                width_px=ZOOM_PX, height_px=ZOOM_PX, x_px=(ZOOM_PX - 1) / 2, y_px=(ZOOM_PX - 1) / 2,
                major_px=sized["long_px"], minor_px=sized["short_px"],
                angle_deg=90.0 + (thing.position_angle_deg or 0.0), mean_e_px=EXPOSURE_S * glow,
            )  # fmt: skip
        sensor = Sensor(
            width_px=ZOOM_PX, height_px=ZOOM_PX, mosaic="",
            read_noise_e=rig["camera.read_noise_e"], gain_e_adu=rig["camera.gain_e_adu"],
            offset_adu=rig["camera.offset_adu"], full_well_e=rig["camera.full_well_e"],
            adc_bits=min(rig["camera.adc_bits"], 16),
        )  # fmt: skip
        counts = read_out(image, sensor=sensor, seed=1).astype(float)
        return {
            "zoom_e": (counts - sensor.offset_adu) * sensor.gain_e_adu,
            "sky_e": float(EXPOSURE_S * (sky + rig["camera.dark_e_s_px"])),
            "target_e": float(EXPOSURE_S * glow),
            "star_fwhm_px": float(GAUSSIAN_FWHM_PER_SIGMA * math.sqrt(sigma**2 + 1 / 12)),
        }


_target = lru_cache(maxsize=32)(target)


@lru_cache(maxsize=32)
def _outline(name):
    thing = _target(name)
    unknown = math.nan if thing.position_angle_deg is None else thing.position_angle_deg
    return outline_deg(
        ra_deg=thing.ra_deg, dec_deg=thing.dec_deg, centre_ra_deg=thing.ra_deg, centre_dec_deg=thing.dec_deg,
        major_arcmin=thing.major_arcmin, minor_arcmin=thing.minor_arcmin,
        position_angle_deg=0.0 if thing.major_arcmin == thing.minor_arcmin else unknown,
    )  # fmt: skip


def _fit(sized, width, height, fields, crop, focal_mm):
    """Whether the outline lies inside the part of the frame that the whole stack shares, and what would help."""
    x, y = sized["outline_px"]
    wide, high = float(np.ptp(x)), float(np.ptp(y))
    rows = (panels_needed(target_deg=f * span / side, field_deg=f * max(crop, 0.05), overlap=OVERLAP)
            for f, span, side in zip(fields, (wide, high), (width, height), strict=True))  # fmt: skip
    sides = sorted((crop * width, crop * height), reverse=True)
    return {
        "box_px": (wide, high),
        "fits": wide <= crop * width and high <= crop * height,
        "fits_turned": sized["long_px"] <= sides[0] and sized["short_px"] <= sides[1],
        "panels": tuple(int(count) for count in rows),
        "longest_focal_mm": focal_mm * crop * min(width / wide, height / high),
    }


def _stars(name, scale, width, height):
    """The brightest stars that the frame and its rim show."""
    radius_deg = 0.56 * math.hypot(width, height) * scale / ARCSEC_PER_DEG
    tier = next((radius for radius in RADII_DEG if radius >= radius_deg), RADII_DEG[-1])
    right, up, magnitudes, synthetic, faintest, trouble = _sky(name, tier)
    x, y = (ARCSEC_PER_DEG / scale * place for place in (right, up))
    seen = np.flatnonzero((np.abs(x) < 0.56 * width) & (np.abs(y) < 0.56 * height))[:STARS_SHOWN]
    if len(seen) == STARS_SHOWN:
        faintest = float(magnitudes[seen[-1]])
    return {
        "star_x_px": x[seen], "star_y_px": y[seen], "star_mag": magnitudes[seen], "synthetic": synthetic[seen],
        "faintest_mag": faintest, "trouble": trouble,
    }  # fmt: skip


@lru_cache(maxsize=64)
def _sky(name, radius_deg):
    """Stars around a target on the tangent plane, east left, brightest first; the faintest, and what is wrong."""
    thing = _target(name)
    b = galactic_latitude_deg(ra_deg=thing.ra_deg, dec_deg=thing.dec_deg)
    expected = star_count_deg2(galactic_latitude_deg=b, g_mag=MAGNITUDES) * math.pi * radius_deg**2
    faintest = float(MAGNITUDES[min(np.searchsorted(expected, STARS_WANTED), len(MAGNITUDES) - 1)])
    stars = stars_in_field(
        ra_deg=thing.ra_deg, dec_deg=thing.dec_deg, radius_deg=radius_deg, faintest_mag=faintest
    )
    place = tangent_plane_deg(
        ra_deg=stars.ra_deg, dec_deg=stars.dec_deg, centre_ra_deg=thing.ra_deg, centre_dec_deg=thing.dec_deg
    )
    trouble = next((remark for remark in stars.remarks if "every star" in remark), "")
    return -place.xi_deg, place.eta_deg, stars.g_mag, stars.synthetic, faintest, trouble


def _shared(shape, turn_deg):
    """What a stack shares while its field turns by so much, about the middle; in units of the frame's width."""
    turns = np.linspace(-0.5, 0.5, 21) * turn_deg if turn_deg else [0.0]
    return common_field(width_px=1.0, height_px=shape, rotations_deg=turns, pivot_x_px=0, pivot_y_px=0)
