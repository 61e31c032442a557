"""What fits on the frame: targets in pixels, what rotation leaves of a stack, panels of a mosaic."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, not_negative, number, positive

_TURN = {"low": -3600, "high": 3600, "cure": "in degrees"}


class CommonField(NamedTuple):
    """What all frames of a stack share.

    Corners of the shared polygon counter-clockwise, outline_px (n, 2), counted from the centre of an unturned
    frame [px]; its share of one frame's area; and the side of the largest picture of the frame's own shape,
    upright and centred, that fits into it, against the frame's side.
    """

    outline_px: np.ndarray
    share: float
    crop_side: float


def target_px(*, size_arcmin, pixel_um, focal_mm):
    """How many pixels a target spans in the middle of the picture.

    Parameters
    ----------
    size_arcmin : float or array
        Apparent size of the target [′].
    pixel_um : float or array
        Pixel pitch [µm].
    focal_mm : float or array
        Focal length with flattener or extender [mm].

    Returns
    -------
    float or array
        Span [px].

    Raises
    ------
    ValueError
        If the size is negative or 90° and more, or pixel or focal length not positive.

    Notes
    -----
    2 f tan(size/2)/p. A flattener or extender shifts the focal length by 1 to 3 %, and the span with it.
    Catalogue sizes of nebulae and galaxies end where the light fades, and differ by tens of per cent.

    References
    ----------
    Derivation: the tangent plane; reference row SAM-03 the other way round.

    Examples
    --------
    >>> print(round(target_px(size_arcmin=31, pixel_um=3.5, focal_mm=320)))
    824
    """
    half = np.radians(
        between("size_arcmin", size_arcmin, 0, 5399, cure="in arcminutes, 60 to a degree") / 120
    )
    focal_um = 1e3 * positive("focal_mm", focal_mm, cure="did you pass metres? 0.32 m is 320 mm")
    pixel_um = positive("pixel_um", pixel_um, cure="pixels of cameras are about 1 to 15 µm")
    return 2 * focal_um * np.tan(half) / pixel_um


def common_field(*, width_px, height_px, rotations_deg, pivot_x_px, pivot_y_px) -> CommonField:
    """What is left in common of frames that are turned against each other.

    Parameters
    ----------
    width_px, height_px : float
        Sides of the frame [px].
    rotations_deg : array
        Angle of each frame, counter-clockwise with x to the right and y up [°]. For a field that turns
        steadily give all frames, or a few dozen of them: the first and the last alone are not enough.
    pivot_x_px, pivot_y_px : float
        The point that stays in place, from the centre of the frame: 0, 0 where the mount follows the centre,
        the guide star's place where one is guided on [px].

    Returns
    -------
    CommonField
        outline_px [px], share and crop_side (0 … 1); empty and 0 where nothing is left, NaN with NaN.

    Raises
    ------
    ValueError
        If a side is not positive, no rotation is given, or one is beyond ten turns.

    Notes
    -----
    Exact: each frame cuts the polygon along its four sides (Sutherland & Hodgman). The shared part has the
    full depth of the stack; outside it the picture goes on with fewer frames.

    References
    ----------
    Sutherland, I. E. & Hodgman, G. W. (1974), Reentrant polygon clipping, Comm. ACM 17, 32; tested by counting
    the cells of a grid.

    Examples
    --------
    >>> left = common_field(
    ...     width_px=4000, height_px=2800, rotations_deg=[-10, 0, 10], pivot_x_px=0, pivot_y_px=0
    ... )
    >>> print(round(left.share, 3), round(left.crop_side, 3))
    0.863 0.811
    """
    half = np.array([positive("width_px", width_px), positive("height_px", height_px)], dtype=float) / 2
    turns = np.atleast_1d(between("rotations_deg", rotations_deg, **_TURN)).ravel()
    pivot = np.array([number("pivot_x_px", pivot_x_px), number("pivot_y_px", pivot_y_px)])
    if turns.size == 0:
        raise ValueError("rotations_deg must hold at least one angle, received none")
    if np.isnan(turns).any() or np.isnan(half).any() or np.isnan(pivot).any():
        return CommonField(np.empty((0, 2)), np.nan, np.nan)
    frames = [_rectangle(half, turn, pivot) for turn in turns]
    outline = frames[0]
    for frame in frames[1:]:
        outline = _clipped(outline, frame)
    side = min(_largest_side(half, turn, pivot) for turn in turns)
    return CommonField(outline, _area(outline) / (4 * half[0] * half[1]), max(0.0, side))


def panel_overlap(*, width_px, height_px, step_x_px, step_y_px, rotation_deg):
    """The share of a frame that a neighbouring panel shows as well.

    Parameters
    ----------
    width_px, height_px : float or array
        Sides of the frame [px].
    step_x_px, step_y_px : float or array
        From the centre of one panel to the centre of the other, along the frame's sides [px].
    rotation_deg : float or array
        Angle of the second panel against the first [°].

    Returns
    -------
    float or array
        Shared area over the area of one frame, 0 … 1.

    Raises
    ------
    ValueError
        If a side is not positive, or the rotation beyond ten turns.

    Notes
    -----
    Exact clipping of one rectangle by the other, in the flat picture: for panels within a few degrees. With
    an alt-az mount the panels turn against each other, and corners of the seam come apart first.

    References
    ----------
    Sutherland, I. E. & Hodgman, G. W. (1974), Reentrant polygon clipping, Comm. ACM 17, 32; tested by counting
    the cells of a grid.

    Examples
    --------
    >>> share = panel_overlap(width_px=4000, height_px=2800, step_x_px=3200, step_y_px=0, rotation_deg=0)
    >>> print(round(share, 3))
    0.2
    """
    return np.vectorize(_overlap, otypes=[float])(
        positive("width_px", width_px),
        positive("height_px", height_px),
        number("step_x_px", step_x_px),
        number("step_y_px", step_y_px),
        between("rotation_deg", rotation_deg, **_TURN),
    )[()]


def panels_needed(*, target_deg, field_deg, overlap):
    """How many panels in a row cover a target.

    Parameters
    ----------
    target_deg : float or array
        Size of the target along the row, with the margin you want [°].
    field_deg : float or array
        Field of one panel along the row, after the crop that rotation costs [°].
    overlap : float or array
        Share of a panel that its neighbour repeats, 0.1 to 0.25 is usual.

    Returns
    -------
    float or array
        Number of panels, a whole number.

    Raises
    ------
    ValueError
        If the field is not positive, the target negative, or the overlap outside 0 to 0.9.

    Notes
    -----
    n fields that overlap by o span F (n − (n − 1) o). For rows of a few degrees; away from the equator a row
    along right ascension takes 1/cos(declination) as many degrees of it.

    References
    ----------
    Derivation: lengths along a row; tested by laying panels until the target is covered.

    Examples
    --------
    >>> print(panels_needed(target_deg=4.0, field_deg=2.5, overlap=0.2))
    2.0
    """
    target, field = not_negative("target_deg", target_deg), positive("field_deg", field_deg)
    overlap = between("overlap", overlap, 0, 0.9, cure="give a share between 0 and 0.9, not per cent")
    panels = (target / field - overlap) / (1 - overlap)
    return np.maximum(1.0, np.ceil(panels - 1e-9))  # a target that just fits does not need one more


def _rectangle(half, turn_deg, pivot, shift=(0.0, 0.0)):
    """Corners of a frame turned about a pivot and then shifted, counter-clockwise."""
    corners = half * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    return (corners - pivot) @ _matrix(turn_deg).T + pivot + shift


def _matrix(turn_deg):
    """Rotation counter-clockwise."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[c, -s], [s, c]])


def _clipped(polygon, frame):
    """The part of a convex polygon inside a convex frame, both counter-clockwise."""
    for start, end in zip(frame, np.roll(frame, -1, axis=0), strict=True):
        side = end - start
        inside = side[0] * (polygon[:, 1] - start[1]) - side[1] * (polygon[:, 0] - start[0])
        kept = []
        for i, point in enumerate(polygon):
            before, here = inside[i - 1], inside[i]
            if before * here < 0:
                kept.append(polygon[i - 1] + (point - polygon[i - 1]) * before / (before - here))
            if here >= 0:
                kept.append(point)
        polygon = np.array(kept).reshape(-1, 2)
    return polygon


def _area(polygon):
    """Area by the shoelace formula."""
    x, y = polygon.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


def _largest_side(half, turn_deg, pivot):
    """The largest share of the unturned frame, about its centre, that lies inside one turned frame."""
    back = _matrix(-turn_deg)
    reach = np.abs(back) @ half  # a corner of the full frame, seen in the turned one
    offset = np.abs(pivot - back @ pivot)
    return float(np.min((half - offset) / reach))


def _overlap(width, height, step_x, step_y, turn_deg):
    """Shared area of two frames over the area of one."""
    if np.isnan([width, height, step_x, step_y, turn_deg]).any():
        return np.nan
    half = np.array([width, height]) / 2
    second = _rectangle(half, turn_deg, np.zeros(2), (step_x, step_y))
    return _area(_clipped(_rectangle(half, 0.0, np.zeros(2)), second)) / (width * height)
