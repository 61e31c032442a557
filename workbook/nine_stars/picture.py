"""Nine stars of one rig in true pixels, the map of their widths, and what the spacing does to the corners."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np

from workbook import optics
from workbook.frames import Shapes, draw_stars
from workbook.nine_stars.model import DRAWN, Causes, Stars, Train, stars_at, train

TILE_PX = 21, 19  # columns and rows of one tile, the star on the middle pixel
TILE_STAR_E = 1000.0
ACROSS, UP = (grid.ravel() for grid in np.meshgrid([-1.0, 0.0, 1.0], [-1.0, 0.0, 1.0]))  # the nine places
PLACES = (
    "lower left", "lower edge", "lower right", "left edge", "centre", "right edge", "upper left", "upper edge",
    "upper right",
)  # fmt: skip
CENTRE, CORNERS = 4, (0, 2, 6, 8)
SPACINGS_MM = np.linspace(-3.0, 3.0, 61)
DRAWS, SEED = 400, 1
FILTER_MM, FILTER_INDEX = 2.0, 1.52  # the filter of the lesson's night: plain crown glass


class NineStars(NamedTuple):
    """One picture: the nine stars, the map and the curve over spacing; the range is None until it is asked for."""

    causes: Causes
    train: Train
    stars: Stars
    tiles_e: np.ndarray
    peak_e: float
    map_px: np.ndarray
    curve_px: np.ndarray
    filter_shift_mm: float
    widest_68_px: tuple[float, float] | None = None

    @property
    def widest_px(self) -> float:
        return float(self.stars.width_px.max())


def nine_stars(train: Train, causes: Causes) -> NineStars:
    """The picture of one set of causes: nine tiles, the map of widths, and the corners over spacing."""
    stars = stars_at(train, causes, across=ACROSS, up=UP)
    side = np.linspace(-1.0, 1.0, 29), np.linspace(-1.0, 1.0, 21)
    across, up = np.meshgrid(*side)
    field = stars_at(train, causes, across=across.ravel(), up=up.ravel())
    turned = causes._replace(spacing_error_mm=SPACINGS_MM)
    corners = stars_at(train, turned, across=ACROSS[list(CORNERS)], up=UP[list(CORNERS)])
    return NineStars(
        causes=causes,
        train=train,
        stars=stars,
        tiles_e=_tiles(stars.shapes),
        peak_e=_peak_e(train),
        map_px=field.width_px.reshape(across.shape),
        curve_px=corners.width_px.mean(axis=-1),
        filter_shift_mm=optics.filter_shift_mm(thickness_mm=FILTER_MM, refractive_index=FILTER_INDEX),
    )


def with_range(result: NineStars, passport) -> NineStars:
    """The same with the 68 % range of the widest star, over the passport's spreads and the model parameter."""
    rig = passport.draw(DRAWS, SEED)
    plain = train(rig)
    lens_um = 1e3 * plain.corner_mm**2 / (2 * np.asarray(rig["optics.focal_mm"]))
    drawn = np.random.default_rng(SEED).triangular(
        0.0, np.minimum(plain.half_zone_um, lens_um), np.maximum(lens_um, plain.half_zone_um), DRAWS
    )
    causes = Causes(*(np.full(DRAWS, float(part)) for part in result.causes))
    many = {name: np.broadcast_to(getattr(plain, name), DRAWS) for name in DRAWN}
    stars = stars_at(
        plain._replace(**many | {"astigmatism_um": drawn}),
        causes,
        across=ACROSS,
        up=UP,
    )
    ends = np.percentile(stars.width_px.max(axis=-1), [16.0, 84.0])
    return result._replace(widest_68_px=tuple(ends.tolist()))


@functools.lru_cache(maxsize=64)
def _peak_e(train):
    """The brightest pixel of a faultless star: the white of every picture."""
    variance = (train.round_um / train.pixel_um) ** 2 + train.mosaic_px2
    image = draw_stars(
        x_px=[7.0], y_px=[7.0], star_e=TILE_STAR_E, shapes=Shapes(variance, 0.0, variance),
        width_px=15, height_px=15,
    )  # fmt: skip
    return float(image.max())


def _tiles(shapes):
    """The nine stars in true pixels, [row, column] with row 0 below: each drawn apart, then set side by side."""
    columns, rows = TILE_PX
    apart = 64
    x = apart * (np.arange(9) % 3) + apart // 2
    y = apart * (np.arange(9) // 3) + apart // 2
    image = draw_stars(
        x_px=x.astype(float), y_px=y.astype(float), star_e=TILE_STAR_E, shapes=shapes,
        width_px=3 * apart, height_px=3 * apart,
    )  # fmt: skip
    tiles = image.reshape(3, apart, 3, apart)
    low, left = (apart - rows) // 2 + 1, (apart - columns) // 2 + 1
    return tiles[:, low : low + rows, :, left : left + columns].reshape(3 * rows, 3 * columns)
