"""Camera against legs: simple outlines, the way they come close, and the hours that stay safe.

The stand is a body of revolution about the plumb line, its outline given as [distance from that line, height below
the crossing of the axes]. The tube is a row of spheres along its own line, [along the tube from the axis, half its
thickness there], sky end positive; that line stands `arm_mm` beside the primary axis. Both err on the safe side.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np

from workbook import pointing
from workbook.checks import between, chosen, not_negative, number, turned
from workbook.constants import SIDEREAL_RATE_ARCSEC_S

SIDES = ("east", "west")
ALONG_MM = 10.0  # spheres along the tube are at most so far apart
STEP_DEG = 0.5  # of hour angle, when looking for safe hours


class SafeSpan(NamedTuple):
    """A stretch in which nothing touches: hour angles of its start and end [°], its length [h]."""

    start_hour_angle_deg: float
    end_hour_angle_deg: float
    length_h: float


def clearance_mm(
    *, turn_deg, rise_deg, axis_altitude_deg, side, arm_mm, overhang_mm, camera_outline_mm, leg_outline_mm
):
    """The least distance between the tube with its cameras and the stand.

    Parameters
    ----------
    turn_deg : float or array
        Where the tube points about the primary axis: the hour angle, 0 on the upper meridian, positive west; for an
        axis at the zenith azimuth − 180° [°].
    rise_deg : float or array
        Angle above the plane across the primary axis: declination, positive towards the elevated pole, or altitude [°].
    axis_altitude_deg : float
        Altitude of the primary axis, 0 to 90 [°].
    side : str
        Side of the primary axis on which the tube hangs when it points to the upper meridian: "east" or "west".
    arm_mm : float
        From the primary axis to the line of the tube [mm].
    overhang_mm : float
        How far the crossing of the axes stands beside the plumb line of the stand, towards the elevated pole [mm].
    camera_outline_mm : sequence of (along, half)
        Outline of the tube with cameras, from the back to the sky end [mm].
    leg_outline_mm : sequence of (distance, below)
        Outline of the stand from the top down [mm].

    Returns
    -------
    float or array
        Distance of the surfaces [mm]; negative: they would be inside each other.

    Raises
    ------
    ValueError
        If an outline has fewer than two points or runs backwards, an angle is out of range or a length negative.

    Notes
    -----
    The tube's direction is that of the star; its line is shifted along the secondary axis, which stands across star
    and primary axis. The distance of each sphere from the outline of the stand, less its radius; smallest of all.
    The same on both hemispheres.

    References
    ----------
    Derivation: distance of points from line segments in the half-plane through the plumb line.

    Examples
    --------
    >>> legs, tube = [(60, 120), (110, 320), (420, 1150)], [(-210, 45), (140, 38)]
    >>> gap = clearance_mm(turn_deg=0, rise_deg=[0, 52, 80], axis_altitude_deg=52.4, side="west", arm_mm=95,
    ...     overhang_mm=40, camera_outline_mm=tube, leg_outline_mm=legs)
    >>> gap.round().tolist()
    [65.0, -24.0, -12.0]
    """
    tilt = np.radians(between("axis_altitude_deg", float(axis_altitude_deg), 0, 90))
    turn, rise = np.broadcast_arrays(
        np.radians(turned("turn_deg", turn_deg)), np.radians(between("rise_deg", rise_deg, -90, 90))
    )
    west = 1.0 if chosen("side", side, SIDES) == "west" else -1.0
    arm = west * not_negative(
        "arm_mm", float(arm_mm), cure="give the distance, without a sign; side says where"
    )
    offset = number("overhang_mm", float(overhang_mm))
    along, half = _tube(camera_outline_mm)
    stand = _stand(leg_outline_mm)
    # Frame: east, towards the pole's side, up. Axis m; u points up the meridian, across m.
    m, u, e = (
        np.array([0.0, np.cos(tilt), np.sin(tilt)]),
        np.array([0.0, -np.sin(tilt), np.cos(tilt)]),
        np.array([1.0, 0.0, 0.0]),
    )
    out = (
        np.cos(turn)[..., None] * u - np.sin(turn)[..., None] * e
    )  # a star runs west with growing hour angle
    sideways = (
        -np.cos(turn)[..., None] * e - np.sin(turn)[..., None] * u
    )  # west when the tube is on the meridian
    star = np.cos(rise)[..., None] * out + np.sin(rise)[..., None] * m
    centre = arm * sideways + offset * np.array([0.0, 1.0, 0.0])
    spheres = centre[..., None, :] + along[:, None] * star[..., None, :]
    gap = _distance(np.hypot(spheres[..., 0], spheres[..., 1]), -spheres[..., 2], stand) - half
    return np.where(np.isnan(turn + rise), np.nan, gap.min(axis=-1))[()]


def safe_spans(
    *,
    dec_deg,
    latitude_deg,
    side,
    arm_mm,
    overhang_mm,
    camera_outline_mm,
    leg_outline_mm,
    least_mm,
    lowest_deg,
) -> list[SafeSpan]:
    """When a tilted head can follow a star without its camera meeting the legs.

    Parameters
    ----------
    dec_deg : float
        Declination of the star [°].
    latitude_deg : float
        Latitude; the head is tilted to it, north or south [°].
    side : str
        Side of the primary axis on which the tube hangs when it points to the upper meridian: "east" or "west".
    arm_mm : float
        From the primary axis to the line of the tube [mm].
    overhang_mm : float
        How far the crossing of the axes stands beside the plumb line of the stand, towards the elevated pole [mm].
    camera_outline_mm, leg_outline_mm : sequence
        Outlines as in `clearance_mm` [mm].
    least_mm : float
        Distance that you want to keep [mm].
    lowest_deg : float
        Altitude below which you do not image [°].

    Returns
    -------
    list of SafeSpan
        Stretches in rising hour angle, each starting from −180° to 180°; its end may run past 180°. With their length.

    Raises
    ------
    ValueError
        As in `clearance_mm`.

    Notes
    -----
    Hour angles in steps of half a degree, ends between the steps by a straight line. A star that never sets and never
    touches gives one span of a whole turn. A single-arm head that is tilted may be safe far beyond the meridian on
    one side, and be stopped well before it on the other: the textbook swap at the meridian is a rule for other
    heads. Compare both sides for your own outlines, then try it by hand in daylight.

    References
    ----------
    Derivation: clearance_mm along the star's path.

    Examples
    --------
    >>> rig = {"arm_mm": 95, "overhang_mm": 40, "camera_outline_mm": [(-210, 45), (140, 38)],
    ...     "leg_outline_mm": [(60, 120), (110, 320), (420, 1150)], "least_mm": 10, "lowest_deg": 20}
    >>> spans = safe_spans(dec_deg=31, latitude_deg=52.4, side="west", **rig)
    >>> [round(span.length_h, 1) for span in spans]
    [7.5, 1.8]
    """
    latitude = between("latitude_deg", float(latitude_deg), -90, 90)
    dec = between("dec_deg", float(dec_deg), -90, 90)
    south = latitude < 0
    chosen("side", side, SIDES)
    hours = np.arange(-180.0, 180.0 + STEP_DEG / 2.0, STEP_DEG)
    gap = clearance_mm(
        turn_deg=hours,
        rise_deg=-dec if south else dec,
        axis_altitude_deg=abs(latitude),
        side=side,
        arm_mm=arm_mm,
        overhang_mm=overhang_mm,
        camera_outline_mm=camera_outline_mm,
        leg_outline_mm=leg_outline_mm,
    )
    altitude = pointing.altaz(hour_angle_deg=hours, dec_deg=dec, latitude_deg=latitude).altitude_deg
    room = np.minimum(
        gap - not_negative("least_mm", float(least_mm)),
        altitude - between("lowest_deg", float(lowest_deg), -90, 90),
    )
    if (room > 0).all():
        return [SafeSpan(-180.0, 180.0, 360.0 / SIDEREAL_RATE_ARCSEC_S)]
    # Begin where something is in the way, so that no span is cut at ±180°.
    first = int(np.argmax(room[:-1] <= 0))
    turn_on = np.concatenate([hours[first:-1], hours[: first + 1] + 360.0])
    room = np.concatenate([room[first:-1], room[: first + 1]])
    spans, start = [], None
    for k in range(1, room.size):
        cross = (
            turn_on[k - 1] + STEP_DEG * room[k - 1] / (room[k - 1] - room[k])
            if room[k] != room[k - 1]
            else 0.0
        )
        if room[k - 1] <= 0 < room[k]:
            start = float(cross)
        elif room[k] <= 0 < room[k - 1] and start is not None:
            spans.append(SafeSpan(start, float(cross), float(cross - start) / SIDEREAL_RATE_ARCSEC_S))
    within = [(s if s.start_hour_angle_deg < 180 else _a_turn_back(s)) for s in spans]
    return sorted(within)


def _a_turn_back(span):
    return SafeSpan(span.start_hour_angle_deg - 360.0, span.end_hour_angle_deg - 360.0, span.length_h)


def _outline(name, points):
    table = np.asarray(number(name, points))
    if table.ndim != 2 or table.shape[1] != 2 or len(table) < 2:
        raise ValueError(f"{name} must be two or more points of two numbers in mm, received {points!r}")
    return table


def _tube(points):
    """Places along the tube and radii there, a sphere every centimetre."""
    along, half = _outline("camera_outline_mm", points).T
    if (np.diff(along) < 0).any() or (half < 0).any():
        raise ValueError(
            "camera_outline_mm must run from the back (negative) to the sky end, with half the thickness not negative"
        )
    parts = [
        np.linspace(a, b, max(2, int(np.ceil((b - a) / ALONG_MM)) + 1)) for a, b in itertools.pairwise(along)
    ]
    radii = [
        np.linspace(a, b, len(part)) for part, (a, b) in zip(parts, itertools.pairwise(half), strict=True)
    ]
    return np.concatenate(parts), np.concatenate(radii)


def _stand(points):
    """The outline of the stand, closed along the plumb line."""
    table = _outline("leg_outline_mm", points)
    if (np.diff(table[:, 1]) <= 0).any() or (table[:, 0] < 0).any():
        raise ValueError(
            "leg_outline_mm must run from the top down, with distances from the plumb line not negative"
        )
    return np.vstack([[0.0, table[0, 1]], table, [0.0, table[-1, 1]]])


def _distance(out, below, stand):
    """Distance of points (…) in the half-plane from the closed outline; negative inside."""
    nearest = np.full(out.shape, np.inf)
    inside = np.zeros(out.shape, bool)
    for (x0, z0), (x1, z1) in itertools.pairwise(stand):
        dx, dz = x1 - x0, z1 - z0
        share = np.clip(((out - x0) * dx + (below - z0) * dz) / max(dx * dx + dz * dz, 1e-300), 0.0, 1.0)
        np.minimum(nearest, np.hypot(out - x0 - share * dx, below - z0 - share * dz), out=nearest)
        if z0 != z1:
            at = x0 + (below - z0) / dz * dx
            inside |= (below >= min(z0, z1)) & (below <= max(z0, z1)) & (out <= at)
    return np.where(inside, -nearest, nearest)
