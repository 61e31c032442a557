"""What the turning field does to one chip under one sky: trails, the map of the longest sub, the guide star.

On the chip up is the side of the mount's primary axis (for an alt-az head: altitude), right is clockwise about
it (azimuth); lengths count from the middle in pixels. All altitudes are true ones; the
edge of the view was measured through the air and is drawn so, 2′ too high at 30°, a thirtieth of a cell of the map.
The field turns at the two-axis rate of the star in the middle of rotation: of the guide star where one is followed.
A guide telescope that points elsewhere than the main one adds a second-order term, which is left out.
"""

from __future__ import annotations

import numpy as np

from workbook import catalogue, horizon, optics, pointing, rotation
from workbook.constants import ARCSEC_PER_RAD
from workbook.figures import turning_field as figure

CELLS = 150  # along a side of the map, a little over a degree each
STEPS = 9  # points along a trail
STARS = 110
DRAWS = 400
ON_AXIS_DEG = 0.25  # nearer than this the star would pass the axis within the drawn sub
TURN_LIMIT_DEG = 160.0  # either way from the middle of the sub: a drawn trail never closes to a ring


class Rig:
    """What of a passport counts here: the chip, the scale, the guide star and the view."""

    def __init__(self, passport):
        self.passport = passport
        self.target = passport["plan.target"]
        self.dec_deg = round(float(catalogue.find(self.target).dec_deg), 1)
        self.chip_px = passport["camera.width_px"], passport["camera.height_px"]
        self.scale_arcsec_px = _scale(passport["optics.focal_mm"], passport["camera.pixel_um"])
        self.view = view_line(
            horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
        )
        self.stars_px, self.star_sizes = _sample_stars(*self.chip_px)

    def turning_field(
        self, *, axis_way, latitude_deg, hour_angle_deg, tolerance_px, dec_deg, guide_deg
    ) -> figure.TurningField:
        """All that the picture shows, for one position of the controls (`axis_way`: see `axis_of`)."""
        axis = axis_of(axis_way, latitude_deg)
        star = pointing.altaz(hour_angle_deg=hour_angle_deg, dec_deg=dec_deg, latitude_deg=latitude_deg)
        direction_deg = self.passport["guide.star_direction_deg"]
        middle = on_chip(guide_deg, direction_deg, self.scale_arcsec_px)
        radius = float(farthest_px(*self.chip_px, *middle))
        limits = dict(latitude_deg=latitude_deg, radius_px=radius, tolerance_px=tolerance_px, **axis)
        place = beside(*star, guide_deg, direction_deg, **axis)
        turning, turn = {}, np.zeros(2)
        if star.altitude_deg >= 0 and not _near_axis(*place, **axis):
            turn = turn_in_sub_deg(*place, latitude_deg, **axis)
            rate = rotation.rotation_rate_deg_h(
                altitude_deg=place[0], azimuth_deg=place[1], latitude_deg=latitude_deg, **axis
            )
            turning = {
                "rate_deg_h": float(rate),
                "smear_px": float(np.radians(np.ptp(turn)) * radius),
                "longest_s": float(longest_s(*place, **limits)),
            }
        return figure.TurningField(
            target=self.target if dec_deg == self.dec_deg else "the star",
            latitude_deg=latitude_deg,
            axis_from_pole_deg=(1.0 - axis_way) * (90.0 - abs(latitude_deg)),
            altitude_deg=star.altitude_deg,
            azimuth_deg=star.azimuth_deg,
            middle_px=middle,
            radius_px=radius,
            width_px=self.chip_px[0],
            height_px=self.chip_px[1],
            tolerance_px=tolerance_px,
            trails_px=trails_px(self.stars_px, middle, figure.EXAGGERATION * (turn - turn[len(turn) // 2])),
            star_sizes=self.star_sizes,
            map_s=longest_s(*beside(*SKY, guide_deg, direction_deg, **axis), **limits),
            path=_path(dec_deg, latitude_deg),
            view=self.view,
            **axis,
            **turning,
        )

    def with_range(self, result, *, guide_deg, tolerance_px, **_) -> figure.TurningField:
        """The range of the longest sub: none about the middle, where all is exact; else from the guide star's place."""
        if not guide_deg or result.longest_s is None:
            return result
        drawn = self.passport.draw(DRAWS, seed=2)
        away = guide_deg * np.asarray(drawn["guide.star_offset_deg"]) / self.passport["guide.star_offset_deg"]
        scale = _scale(drawn["optics.focal_mm"], drawn["camera.pixel_um"])
        radius = farthest_px(*self.chip_px, *on_chip(away, drawn["guide.star_direction_deg"], scale))
        low, high = result.longest_s * result.radius_px / np.quantile(radius, (0.84, 0.16))
        return result._replace(longest_68_s=(float(low), float(high)))


def axis_of(axis_way, latitude_deg):
    """Altitude and azimuth of an axis that went this share of the way from the zenith to the elevated pole."""
    return {
        "axis_altitude_deg": 90.0 - axis_way * (90.0 - abs(latitude_deg)),
        "axis_azimuth_deg": 180.0 if latitude_deg < 0 else 0.0,
    }


def on_chip(away_deg, direction_deg, scale_arcsec_px):
    """Where on (or beside) the chip a star stands: its angle from the middle, its direction from the right upwards."""
    distance = np.tan(np.radians(away_deg)) * ARCSEC_PER_RAD / scale_arcsec_px
    return distance * np.cos(np.radians(direction_deg)), distance * np.sin(np.radians(direction_deg))


def farthest_px(width_px, height_px, x_px, y_px):
    """From a point to the farthest corner of the chip."""
    return np.hypot(0.5 * width_px + np.abs(x_px), 0.5 * height_px + np.abs(y_px))


def beside(altitude_deg, azimuth_deg, away_deg, direction_deg, *, axis_altitude_deg, axis_azimuth_deg):
    """Altitude and azimuth of a star that stands beside another on the chip; NaN where the other is on the axis."""
    if not away_deg:
        return altitude_deg, azimuth_deg
    star = pointing.direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis = pointing.direction(altitude_deg=axis_altitude_deg, azimuth_deg=axis_azimuth_deg)
    up = axis - np.sum(axis * star, axis=-1, keepdims=True) * star
    length = np.linalg.norm(up, axis=-1, keepdims=True)
    up = up / np.where(length > pointing.ON_AXIS_RAD, length, np.nan)
    right = np.cross(star, up)
    x, y = np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))
    found = star + np.tan(np.radians(away_deg)) * (x * right + y * up)
    east, north, height = np.moveaxis(found, -1, 0)
    return np.degrees(np.arctan2(height, np.hypot(east, north))), np.degrees(np.arctan2(east, north)) % 360.0


def turn_in_sub_deg(altitude_deg, azimuth_deg, latitude_deg, *, axis_altitude_deg, axis_azimuth_deg):
    """How far the field has turned at even steps through the drawn sub, which has its middle here [°]."""
    star = pointing.hour_angle_dec(
        altitude_deg=altitude_deg, azimuth_deg=azimuth_deg, latitude_deg=latitude_deg
    )
    half = 0.5 * figure.SUB_S * rotation.SIDEREAL_RATE_DEG_H / 3600.0
    return rotation.rotation_deg(
        dec_deg=star.dec_deg,
        latitude_deg=latitude_deg,
        start_hour_angle_deg=star.hour_angle_deg - half,
        end_hour_angle_deg=star.hour_angle_deg + np.linspace(-half, half, STEPS),
        axis_altitude_deg=axis_altitude_deg,
        axis_azimuth_deg=axis_azimuth_deg,
    )


def longest_s(altitude_deg, azimuth_deg, **limits):
    """The longest sub towards any place; none on the axis itself."""
    found = rotation.longest_sub_on_sky_s(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg, **limits)
    return np.nan_to_num(found, nan=0.0, posinf=np.inf)


def trails_px(stars_px, middle_px, turn_deg):
    """Stars carried clockwise about the middle of rotation by a positive turn: (star, step, xy)."""
    angle = np.radians(np.clip(turn_deg, -TURN_LIMIT_DEG, TURN_LIMIT_DEG))
    x, y = (stars_px - middle_px).T[..., None]
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([x * cos + y * sin, y * cos - x * sin], axis=-1) + np.asarray(middle_px)


def view_line(mask):
    """The edge of the open sky on the map, as lines with gaps between them."""
    azimuth = np.arange(0.0, 360.5, 0.5)
    ceiling = mask.ceiling_deg
    floor = np.clip(mask.floor_deg(azimuth), 0.0, ceiling)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], floor < ceiling, [False]]).astype(int)))
    lines = []
    for start, end in edges.reshape(-1, 2):
        along, low = azimuth[start:end], floor[start:end]
        top = np.full_like(along, ceiling)
        if end - start == len(azimuth):  # open all round: two rings
            lines += [(low, along), (top, along)]
        else:
            lines.append(
                (np.concatenate([low, top[::-1], low[:1]]), np.concatenate([along, along[::-1], along[:1]]))
            )
    gap = np.array([[np.nan], [np.nan]])
    pieces = [piece for line in lines for piece in (np.stack(figure.on_map(*line)), gap)]
    return np.concatenate(pieces, axis=1) if pieces else gap


def _near_axis(altitude_deg, azimuth_deg, *, axis_altitude_deg, axis_azimuth_deg):
    """Whether the head cannot follow: so near to either end of the axis that it is passed within the sub."""
    star = pointing.direction(altitude_deg=altitude_deg, azimuth_deg=azimuth_deg)
    axis = pointing.direction(altitude_deg=axis_altitude_deg, azimuth_deg=axis_azimuth_deg)
    return not np.linalg.norm(np.cross(star, axis)) > np.radians(ON_AXIS_DEG)


def _path(dec_deg, latitude_deg):
    """The star's way through a day on the map, where it is above the horizon."""
    hours = np.arange(-180.0, 181.0, 2.0)
    place = pointing.altaz(hour_angle_deg=hours, dec_deg=dec_deg, latitude_deg=latitude_deg)
    return np.where(place.altitude_deg > 0, figure.on_map(*place), np.nan)


def _sample_stars(width_px, height_px):
    """Invented stars, always the same, on the chip and around it."""
    rng = np.random.default_rng(2)
    places = rng.uniform(-0.7, 0.7, (STARS, 2)) * (width_px, height_px)
    return places, rng.uniform(5.0, 32.0, STARS)


def _scale(focal_mm, pixel_um):
    return optics.image_scale_arcsec_px(pixel_um=pixel_um, focal_mm=focal_mm)


def _sky_places():
    """Altitude and azimuth of the cells of the map: its corners lie below the horizon, where the law holds as well."""
    middles = (np.arange(CELLS) + 0.5) * 2.0 / CELLS - 1.0
    altitude = np.clip(90.0 * (1.0 - np.hypot(middles, middles[:, None])), -90.0, 90.0)
    return altitude, np.degrees(np.arctan2(-middles, middles[:, None])) % 360.0


SKY = _sky_places()
