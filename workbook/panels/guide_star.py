"""The star that the guide camera of lesson 06 looks at: how well it is placed, and whether the field holds one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook import catalogue, guiding, optics, pointing, sky
from workbook.catalogue.counts import FIELD_V_MINUS_G_MAG

GUIDE_STAR_MAG, GUIDE_STAR_PX, DARK_E_S_PX = 9.0, 1.5, 1.0
WANTED_ARCSEC = 0.3  # a star that is placed so well is good enough
ALTITUDE_DEG = 45.0  # of the guide star, for the light that the air takes
NEAR_M, ALOFT_M, APART_DEG = (
    50.0,
    5000.0,
    0.5,
)  # bad air near the ground, and high; stars so far from each other
COUNT_SPREAD_DEX = 0.15  # of the star counts, as `catalogue.star_count_deg2` has it
DRAWS = 300


class GuideStars(NamedTuple):
    """The stars that a guide camera may use.

    Sides of its field [°]. Magnitude in V above the air of the faintest star that is placed well enough [mag], stars
    a square degree down to it, mean number in the field, chance of at least one; `ranges_68` of these four. Error of
    one star's place, and of the mean of four with bad air near the ground and aloft [″].
    """

    width_deg: float
    height_deg: float
    faintest_mag: float
    count_deg2: float
    in_field: float
    chance: float
    ranges_68: tuple
    one_arcsec: float
    four_near_arcsec: float
    four_aloft_arcsec: float


def place_arcsec(rig, *, exposure_s, seeing_arcsec):
    """Error of the usual guide star's place by its light [″]."""
    scale = _scale(rig)
    lens = {"aperture_mm": rig["guide.aperture_mm"], "throughput": rig["guide.throughput"]}
    area_m2 = np.pi / 4.0 * (1e-3 * lens["aperture_mm"]) ** 2
    star = sky.star_photons_s_m2(magnitude=GUIDE_STAR_MAG) * area_m2 * lens["throughput"]
    ground = sky.sky_electrons_s_px(
        sky_mag_arcsec2=rig["site.sky_mag_arcsec2"], scale_arcsec_px=scale, **lens
    )
    return scale * float(
        guiding.centroid_sigma_px(
            fwhm_px=np.hypot(GUIDE_STAR_PX, seeing_arcsec / scale),
            star_e=star * exposure_s,
            background_e_px=(ground + DARK_E_S_PX) * exposure_s,
            read_noise_e=rig["guide.read_noise_e"],
        )
    )


def guide_stars(passport, *, exposure_s, width_px, height_px, wind_m_s, outer_scale_m, seed) -> GuideStars:
    """The stars beside the passport's target, for a guide camera of so many pixels.

    Light lost in the air counts. The counts are means over the sky at the target's distance from the Milky Way.
    """
    target = catalogue.find(passport["plan.target"])
    field = {
        "galactic_latitude_deg": catalogue.galactic_latitude_deg(
            ra_deg=target.ra_deg, dec_deg=target.dec_deg
        ),
        "exposure_s": exposure_s,
        "pixels": (width_px, height_px),
    }
    law = 10.0 ** (COUNT_SPREAD_DEX * np.random.default_rng([seed, 5]).standard_normal(DRAWS))
    drawn = np.stack(_usable(passport.draw(DRAWS, seed=seed), law, **field))
    rig = passport.central()
    one, near, aloft = _errors_arcsec(rig, exposure_s, wind_m_s, outer_scale_m)
    return GuideStars(
        *(float(_scale(rig)) * side / 3600.0 for side in (width_px, height_px)),
        *(float(value) for value in _usable(rig, 1.0, **field)),
        ranges_68=tuple(map(tuple, np.quantile(drawn, (0.16, 0.84), axis=1).T.tolist())),
        one_arcsec=one,
        four_near_arcsec=near,
        four_aloft_arcsec=aloft,
    )


def in_words(stars: GuideStars, *, target, exposure_s) -> str:
    """Whether there is a star, and what four at once are worth, in three lines."""
    (faint, fainter), (few, many), (least, most), (low, high) = stars.ranges_68
    return (
        f"beside {target}: in {exposure_s:g} s stars to {stars.faintest_mag:.1f} mag ({faint:.1f} to {fainter:.1f}) "
        f"give {WANTED_ARCSEC:g}″; {stars.count_deg2:.0f} ({few:.0f} to {many:.0f}) a square degree\n"
        f"{stars.width_deg:.2f}° × {stars.height_deg:.2f}° hold {stars.in_field:.2g} ({least:.2g} to {most:.2g}): at "
        f"least one in {100 * stars.chance:.0f} of 100 such fields ({100 * low:.0f} to {100 * high:.0f})\n"
        f"four stars of {GUIDE_STAR_MAG:g} mag: {stars.four_near_arcsec:.2f}″ if the bad air is near the ground, "
        f"{stars.four_aloft_arcsec:.2f}″ if it is high; one star: {stars.one_arcsec:.2f}″"
    )


def _usable(rig, law, *, galactic_latitude_deg, exposure_s, pixels):
    """Faintest star [mag], count [1/°²], number and chance of one, for a rig's numbers or for draws of them."""
    scale = _scale(rig)
    through_air = guiding.faintest_star_mag(
        exposure_s=exposure_s,
        aperture_mm=rig["guide.aperture_mm"],
        throughput=rig["guide.throughput"],
        scale_arcsec_px=scale,
        fwhm_px=np.hypot(GUIDE_STAR_PX, rig["night.seeing_arcsec"] / scale),
        sky_mag_arcsec2=rig["site.sky_mag_arcsec2"],
        dark_e_s_px=DARK_E_S_PX,
        read_noise_e=rig["guide.read_noise_e"],
        centroid_sigma_arcsec=WANTED_ARCSEC,
    )
    airmass = pointing.airmass(apparent_altitude_deg=ALTITUDE_DEG)
    faintest = through_air - rig["night.extinction_mag"] * airmass
    count = law * catalogue.star_count_deg2(
        galactic_latitude_deg=galactic_latitude_deg, g_mag=faintest - FIELD_V_MINUS_G_MAG
    )
    width, height = (scale * side / 3600.0 for side in pixels)
    chance = guiding.guide_star_chance(width_deg=width, height_deg=height, star_count_deg2=count, stars=1)
    return faintest, count, count * width * height, chance


def _errors_arcsec(rig, exposure_s, wind_m_s, outer_scale_m):
    """Error of one star's place by light and air, and of the mean of four, bad air near the ground and aloft [″]."""
    air = {"exposure_s": exposure_s, "wind_m_s": wind_m_s, "outer_scale_m": outer_scale_m}
    seeing = rig["night.seeing_arcsec"]
    each = {
        "centroid_sigma_arcsec": place_arcsec(rig, exposure_s=exposure_s, seeing_arcsec=seeing),
        "tilt_sigma_arcsec": guiding.averaged_tilt_sigma_arcsec(
            aperture_mm=rig["guide.aperture_mm"], seeing_arcsec=seeing, **air
        ),
    }
    for count, layer_m in ((1, NEAR_M), (4, NEAR_M), (4, ALOFT_M)):
        shared = guiding.tilt_correlation(separation_deg=APART_DEG, layer_m=layer_m, **air)
        yield float(guiding.several_stars_sigma_arcsec(stars=count, tilt_correlation=shared, **each))


def _scale(rig):
    return optics.image_scale_arcsec_px(pixel_um=rig["guide.pixel_um"], focal_mm=rig["guide.focal_mm"])
