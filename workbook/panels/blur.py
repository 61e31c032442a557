"""The second panel of lesson 01: what a star's width is made of, and which part is worth improving."""

from __future__ import annotations

from functools import partial

import numpy as np

from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA
from workbook.figures import blur as figure
from workbook.frames.drawing import draw_stars
from workbook.frames.shapes import Shapes
from workbook.optics import image_scale_arcsec_px
from workbook.panels.controls import choice, slider
from workbook.panels.framing import GREEN_NM
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout
from workbook.sampling import blur_budget, sampling_verdict

DRAWS = 400
TIMES = (1, 2, 3)  # of the focal length
STEPS = 9  # of the star's way along the trail

ADVICE = {
    "diffraction": "Worth improving: diffraction, by a wider lens",
    "pixel": "Worth improving: pixel, by a longer focal length",
    "colour mosaic": "Worth improving: colour mosaic, by dithering",
    "focus": "Worth improving: focus",
    "guiding": "Worth improving: unrest, by shelter or guiding",
    "trail": "Worth improving: trail, by shorter exposures",
    "nothing": "No single part in your hands is worth the trouble",
}


def build_blur(passport) -> Panel:
    """The blur budget of this passport's rig, for the air and the mount that the learner sets."""
    focal, seeing, unrest = (
        passport[key] for key in ("optics.focal_mm", "night.seeing_arcsec", "guide.noise_arcsec")
    )
    kinds = {"colour": "colour", "mono": "mono"}
    return Panel(
        figure,
        partial(blur, passport, passport.draw(DRAWS, seed=1)),
        {
            "seeing_arcsec": slider("Seeing", float(seeing), min(0.5, seeing), max(6.0, seeing), step=0.1),
            "defocus_um": slider("Out of focus", 20.0, 0.0, 150.0, step=5.0),
            "unrest_arcsec": slider("Unrest of the mount", float(unrest), 0.0, max(4.0, unrest), step=0.1),
            "trail_px": slider("Trail", 1.0, 0.0, 8.0, step=0.1),
            "focal_mm": choice(
                "Focal length", focal, {f"{times * focal:g}": times * focal for times in TIMES}
            ),
            "mosaic": choice("Camera", passport["camera.mosaic"], kinds),
        },
        partial(_readout, "measured" if passport.is_measured("night.seeing_arcsec") else "assumed"),
        presets={
            "Out of focus": {"defocus_um": 80.0},
            "Long trail": {"trail_px": 6.0},
            "Mono camera": {"mosaic": "mono"},
        },
        title="What makes a star wide?",
    )


def blur(
    passport, drawn, *, seeing_arcsec, defocus_um, unrest_arcsec, trail_px, focal_mm, mosaic
) -> figure.Blur:
    """The budget at these values, its range for the uncertain ones, and the star drawn with it."""
    pixel = passport["camera.pixel_um"]
    fixed = {"wavelength_nm": GREEN_NM, "defocus_um": defocus_um, "trail_px": trail_px}
    central = dict(
        seeing_fwhm_arcsec=seeing_arcsec, guiding_rms_arcsec=unrest_arcsec, focal_mm=focal_mm, pixel_um=pixel,
        aperture_mm=passport["optics.aperture_mm"], **fixed,
    )  # fmt: skip
    budget = blur_budget(mosaic=mosaic, **central)

    def spread(key, value):
        return np.asarray(drawn[key]) * (value / passport[key]) if passport[key] else value

    draws = blur_budget(
        seeing_fwhm_arcsec=spread("night.seeing_arcsec", seeing_arcsec),
        guiding_rms_arcsec=spread("guide.noise_arcsec", unrest_arcsec),
        focal_mm=spread("optics.focal_mm", focal_mm),
        pixel_um=drawn["camera.pixel_um"],
        aperture_mm=drawn["optics.aperture_mm"],
        mosaic=mosaic,
        **fixed,
    ).fwhm_px
    grey = budget if mosaic == "mono" else blur_budget(mosaic="mono", **central)
    low, high = np.quantile(np.atleast_1d(draws), (0.16, 0.84))
    return figure.Blur(
        budget=budget,
        sampling=sampling_verdict(fwhm_px=grey.across_px, mosaic=mosaic),
        fwhm_68_px=(float(low), float(high)),
        scale_arcsec_px=float(image_scale_arcsec_px(pixel_um=pixel, focal_mm=focal_mm)),
        mosaic=mosaic,
        star=_star(float(budget.across_px), trail_px),
    )


def _star(across_px, trail_px):
    """The star as a Gaussian of this width, drawn out along its trail; the pixel's own part comes with drawing."""
    variance = max((across_px / GAUSSIAN_FWHM_PER_SIGMA) ** 2 - 1 / 12, 1e-3)
    middle = figure.STAR_PX // 2
    way = middle + trail_px * np.linspace(-0.5 + 0.5 / STEPS, 0.5 - 0.5 / STEPS, STEPS)[None, :]
    return draw_stars(
        x_px=way, y_px=np.full_like(way, middle), star_e=1.0, shapes=Shapes(variance, 0.0, variance),
        width_px=figure.STAR_PX, height_px=figure.STAR_PX,
    )  # fmt: skip


def _readout(basis, result):
    budget, sampling = result.budget, result.sampling
    words = ADVICE[budget.worth_improving] + ". "
    grid = "Red and blue take" if result.mosaic == "colour" else "The pixels take"
    choice_words = ", by choice" if sampling.verdict == "coarse" else ""
    words += f"{grid} {sampling.samples_per_fwhm:.1f} samples a star: {sampling.verdict}{choice_words}."
    return Readout(
        "A star is",
        float(budget.fwhm_px),
        "px wide",
        basis,
        words,
        digits=1,
        low=result.fwhm_68_px[0],
        high=result.fwhm_68_px[1],
    )
