"""The optical train of a rig, and the stars it draws for a set of causes: spacing, tilt, focus, coma, drift.

Everything is a second moment, so causes add. Two numbers in it are *model parameters*, not laws, because they
differ from flattener to flattener: how much curvature a millimetre of wrong spacing makes (set by the passport's
tolerance; sheets give 0.3 to 2 mm), and how far apart the two foci of a corner star are even at the right
spacing (`Train.astigmatism_um`: here one focus half-zone; 0 to r²/2f).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook import optics, sampling
from workbook.checks import positive
from workbook.constants import GAUSSIAN_FWHM_PER_SIGMA
from workbook.frames import Shapes, shapes_from_um2
from workbook.sampling.width import MOSAIC_VARIANCE, PIXEL_VARIANCE

WAVELENGTH_NM = 550.0
DRAWN = ("f_ratio", "half_zone_um", "round_um", "astigmatism_um", "tolerance_mm")  # may be arrays in a train


class Causes(NamedTuple):
    """What is wrong; zeros are a faultless rig. Numbers, or arrays of one shape.

    spacing_error_mm [mm], positive too far; tilt_x_arcmin and tilt_y_arcmin of the sensor in its camera [′], positive
    where the right or upper side leans away from the lens; focus_um [µm], positive too far from the lens;
    coma_um and coma_direction_deg, the flare of a decentred lens [µm] and [°]; drift_px and
    drift_direction_deg, the trail of the mount within one sub [px] and [°], directions from x towards y.
    """

    spacing_error_mm: float | np.ndarray = 0.0
    tilt_x_arcmin: float | np.ndarray = 0.0
    tilt_y_arcmin: float | np.ndarray = 0.0
    focus_um: float | np.ndarray = 0.0
    coma_um: float | np.ndarray = 0.0
    coma_direction_deg: float | np.ndarray = 0.0
    drift_px: float | np.ndarray = 0.0
    drift_direction_deg: float | np.ndarray = 0.0


class Train(NamedTuple):
    """The optical train of a rig, from the lens to the pixels.

    Focal ratio; half_zone_um, round_um (sigma of a star in focus) and astigmatism_um (half the distance of the
    two foci at the corner) [µm]; pixel_um [µm]; mosaic_px2 [px²]; tolerance_mm of the spacing, half_width_mm
    and half_height_mm of the sensor [mm].
    """

    f_ratio: float | np.ndarray
    half_zone_um: float | np.ndarray
    round_um: float | np.ndarray
    astigmatism_um: float | np.ndarray
    pixel_um: float
    mosaic_px2: float
    tolerance_mm: float | np.ndarray
    half_width_mm: float
    half_height_mm: float

    @property
    def corner_mm(self) -> float:
        """Distance of a corner from the centre [mm]."""
        return float(np.hypot(self.half_width_mm, self.half_height_mm))

    @property
    def faultless_px(self):
        """Width of a star in the centre of a faultless rig, full width at half maximum [px]."""
        variance = (self.round_um / self.pixel_um) ** 2 + self.mosaic_px2 + PIXEL_VARIANCE
        return GAUSSIAN_FWHM_PER_SIGMA * np.sqrt(variance)


class Stars(NamedTuple):
    """Stars as a program would measure them: arrays by place (last axis).

    Full widths at half maximum along the long axis, across it, and of a round star of the same area of moments
    [px]; direction of the long axis from x towards y [°] (NaN: round); radial stretch, positive pointing to the
    centre, negative circling it (NaN in the centre); and the moments before the pixel, for drawing.
    """

    long_px: np.ndarray
    short_px: np.ndarray
    width_px: np.ndarray
    angle_deg: np.ndarray
    stretch: np.ndarray
    shapes: Shapes


def train(rig, *, astigmatism_um=None) -> Train:
    """The optical train of a passport's values.

    Parameters
    ----------
    rig : mapping
        By key as in the passport; numbers, or arrays from `Passport.draw`.
    astigmatism_um : float or array, optional
        Model parameter: half the distance of the two foci at the corner [µm]; one focus half-zone where it is
        left out, which is what a usual flattener leaves. A plain lens has r²/2f, a perfect flattener 0.
    """
    aperture, focal = np.asarray(rig["optics.aperture_mm"]), np.asarray(rig["optics.focal_mm"])
    f_ratio = focal / aperture
    half_zone = optics.focus_half_zone_um(f_ratio=f_ratio, wavelength_nm=WAVELENGTH_NM)
    airy = optics.airy_fwhm_arcsec(aperture_mm=aperture, wavelength_nm=WAVELENGTH_NM)
    pixel = float(np.mean(rig["camera.pixel_um"]))
    scale = optics.image_scale_arcsec_px(pixel_um=pixel, focal_mm=focal)
    seeing = np.hypot(rig["night.seeing_arcsec"], airy)
    return Train(
        f_ratio=f_ratio[()],
        half_zone_um=half_zone[()],
        round_um=(pixel * sampling.star_sigma_px(fwhm_arcsec=seeing, scale_arcsec_px=scale))[()],
        astigmatism_um=half_zone[()] if astigmatism_um is None else astigmatism_um,
        pixel_um=pixel,
        mosaic_px2=MOSAIC_VARIANCE[rig["camera.mosaic"]],
        tolerance_mm=rig["optics.back_focus_tolerance_mm"],
        half_width_mm=0.5e-3 * pixel * rig["camera.width_px"],
        half_height_mm=0.5e-3 * pixel * rig["camera.height_px"],
    )


def stars_at(train: Train, causes: Causes, *, across, up) -> Stars:
    """The stars at some places of the sensor.

    Parameters
    ----------
    train : Train
    causes : Causes
        Numbers, or arrays whose shape goes before the places.
    across, up : array
        Places as shares of half the width and half the height, −1 to 1, of one shape.
    """
    causes = Causes(*(np.expand_dims(np.asarray(part, float), -1) for part in causes))
    train = train._replace(
        **{name: np.expand_dims(np.asarray(getattr(train, name), float), -1) for name in DRAWN}
    )
    x, y = train.half_width_mm * np.asarray(across), train.half_height_mm * np.asarray(up)
    shape = optics.star_shape(
        x_mm=x,
        y_mm=y,
        corner_radius_mm=train.corner_mm,
        defocus_um=optics.field_defocus_um(
            x_mm=x,
            y_mm=y,
            corner_radius_mm=train.corner_mm,
            focus_um=causes.focus_um,
            tilt_x_arcmin=causes.tilt_x_arcmin,
            tilt_y_arcmin=causes.tilt_y_arcmin,
            corner_curvature_um=corner_curvature_um(train, causes),
        ),
        corner_astigmatism_um=train.astigmatism_um,
        coma_um=causes.coma_um,
        coma_direction_deg=causes.coma_direction_deg,
        f_ratio=train.f_ratio,
        centre_sigma_um=train.round_um,
    )
    before = shapes_from_um2(**shape._asdict(), pixel_um=train.pixel_um)
    trail, towards = causes.drift_px**2 / 12, np.radians(causes.drift_direction_deg)
    c, s = np.cos(towards), np.sin(towards)
    drawn = Shapes(
        before.xx_px2 + train.mosaic_px2 + trail * c * c,
        before.xy_px2 + trail * c * s,
        before.yy_px2 + train.mosaic_px2 + trail * s * s,
    )
    xx, xy, yy = drawn.xx_px2 + PIXEL_VARIANCE, drawn.xy_px2, drawn.yy_px2 + PIXEL_VARIANCE
    axes = optics.ellipse(xx_um2=xx, xy_um2=xy, yy_um2=yy)  # of any unit: here px²
    return Stars(
        long_px=GAUSSIAN_FWHM_PER_SIGMA * axes.major_um,
        short_px=GAUSSIAN_FWHM_PER_SIGMA * axes.minor_um,
        width_px=GAUSSIAN_FWHM_PER_SIGMA * np.sqrt((xx + yy) / 2),
        angle_deg=axes.angle_deg,
        stretch=optics.radial_stretch(xx_um2=xx, xy_um2=xy, yy_um2=yy, x_mm=x, y_mm=y),
        shapes=drawn,
    )


def shapes_over(train: Train, causes: Causes, *, width_px, height_px):
    """The shapes of stars as a function of their place in a frame, as `frames.raw_frame` takes it.

    Parameters
    ----------
    train : Train
        Of numbers, not of draws.
    causes : Causes
        Numbers. A drift may stand here, or in the paths of the stars, not in both.
    width_px, height_px : int
        Size of the frame [px]: its edges are those of the train's sensor, so a smaller frame is a smaller model
        of the whole picture.

    Returns
    -------
    function
        Of x_px and y_px, arrays of one shape, from the centre of the pixel in the lower left corner; gives
        `frames.Shapes` before the pixel [px²].

    Raises
    ------
    ValueError
        If a size is not above zero, or train or causes hold arrays.

    Notes
    -----
    Second moments of `stars_at`. Drawn as ellipses of the shape of a bell: a strong flare or a disc without
    middle keeps its widths, not its outline.

    References
    ----------
    As `optics.star_shape`; photutils' moments of drawn corner stars in the tests.

    Examples
    --------
    >>> import workbook as wb
    >>> balcony = train(wb.passport.scenario("balcony").central())
    >>> shapes = shapes_over(balcony, Causes(tilt_x_arcmin=15.0), width_px=4000, height_px=2800)
    >>> shapes(x_px=np.array([1999.5, 3999.5]), y_px=np.array([1399.5, 1399.5])).xx_px2.round(2).tolist()
    [0.84, 1.31]
    """
    half_width, half_height = positive("width_px", width_px) / 2, positive("height_px", height_px) / 2
    for part in (*train, *causes):
        if np.ndim(part):
            raise ValueError(
                f"train and causes must hold one number each, received {np.size(part)}: no draws"
            )

    def shapes(*, x_px, y_px) -> Shapes:
        across, up = ((np.asarray(x_px) + 0.5) / half_width - 1, (np.asarray(y_px) + 0.5) / half_height - 1)
        return stars_at(train, causes, across=across, up=up).shapes

    return shapes


def corner_curvature_um(train: Train, causes: Causes):
    """What the wrong spacing leaves at the corner, against the centre [µm]."""
    return optics.spacing_defocus_um(
        spacing_error_mm=causes.spacing_error_mm,
        tolerance_mm=train.tolerance_mm,
        allowed_defocus_um=train.half_zone_um,
    )
