"""The horizon mask: what of the sky a place really sees, in apparent altitude (as a level would measure it).

A mask is a floor (roofs, trees, hills: altitude against azimuth, straight lines between the points, closed
round north) and a ceiling (a balcony above, or the head's own limit).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from workbook.checks import between

SNAP_DEG = 1.0  # clicks nearer in azimuth than this are the two ends of a vertical edge


@dataclass(frozen=True, eq=False)
class Mask:
    """The open part of the sky: points of the floor in rising azimuth, and the ceiling [°].

    Make it with `mask`, `from_text`, `from_clicks` or `read_csv`, which check the points.
    """

    azimuth_deg: np.ndarray
    altitude_deg: np.ndarray
    ceiling_deg: float = 90.0

    def floor_deg(self, azimuth_deg):
        """Apparent altitude of the floor at an azimuth [°]; at a vertical edge the higher of its two ends.

        NaN for a NaN azimuth.

        >>> mask([(90, 0), (90, 30), (180, 30), (180, 0)]).floor_deg([45, 90, 135, 200]).tolist()
        [0.0, 30.0, 30.0, 0.0]
        """
        azimuth = np.asarray(azimuth_deg, dtype=float) % 360.0
        x = np.concatenate([self.azimuth_deg + turn for turn in (-360.0, 0.0, 360.0)])
        y = np.tile(self.altitude_deg, 3)
        floor = np.maximum(*(_line(x, y, azimuth, side) for side in ("left", "right")))
        return float(floor) if floor.ndim == 0 else floor

    def open(self, *, altitude_deg, azimuth_deg):
        """Whether the place sees a direction: apparent altitude from floor to ceiling, both included.

        Parameters
        ----------
        altitude_deg : float or array
            Apparent altitude, refraction added [°].
        azimuth_deg : float or array
            Azimuth from north through east; any number of turns [°].

        Returns
        -------
        bool or array of bool
            False also where either angle is NaN.

        Examples
        --------
        >>> balcony = mask([(95, 20), (215, 20)], ceiling_deg=70)
        >>> balcony.open(altitude_deg=[19, 20, 71], azimuth_deg=150).tolist()
        [False, True, False]
        """
        altitude = np.asarray(altitude_deg, dtype=float)
        seen = (altitude >= self.floor_deg(azimuth_deg)) & (altitude <= self.ceiling_deg)
        return bool(seen) if np.ndim(seen) == 0 else seen


def mask(points, ceiling_deg=90.0) -> Mask:
    """A checked horizon mask.

    Parameters
    ----------
    points : sequence of (azimuth, altitude)
        Floor in rising azimuth, 0 to 360, altitude apparent, −90 to 90 [°]. The same azimuth twice is a
        vertical edge; 0 and 360 are the same place. One point is a level floor all round, none
        a flat horizon at 0°.
    ceiling_deg : float
        Highest open altitude [°]; 90, no ceiling, unless one is there.

    Returns
    -------
    Mask

    Raises
    ------
    ValueError
        If a point is no pair, outside its range or NaN, the azimuths fall, or one stands there three times.

    Examples
    --------
    >>> mask([(0, 10), (180, 30)]).floor_deg([90, 270, 350]).round(2).tolist()
    [20.0, 20.0, 11.11]
    """
    pairs = []
    for place, point in enumerate(points, start=1):
        try:
            azimuth, altitude = (float(number) for number in point)
        except (TypeError, ValueError) as error:
            message = (
                f"point {place} of the horizon must be azimuth and altitude in degrees, received {point!r}"
            )
            raise ValueError(message) from error
        pairs.append(_checked(azimuth, altitude, pairs, where=f"point {place} of the horizon"))
    return _finished(pairs, ceiling_deg)


def from_text(text: str, ceiling_deg=90.0) -> Mask:
    """A mask from one line of text: azimuth and altitude [°] with a space between, points with commas.

    >>> from_text("95 20, 95 5, 215 5, 215 20").floor_deg([150, 300])
    array([ 5., 20.])
    """
    points = [point.split() for point in text.replace("\n", ",").split(",") if point.strip()]
    return mask(points, ceiling_deg)


def read_csv(path, ceiling_deg=90.0) -> Mask:
    """A mask from a file of two columns, azimuth and altitude [°].

    Empty lines, lines that open with #, and one line of column names before the first point are passed over.

    Raises
    ------
    ValueError
        If a line does not fit; the message names the file and the line.
    """
    pairs = []
    with Path(path).open(encoding="utf-8-sig", newline="") as file:
        for line, cells in enumerate(csv.reader(file), start=1):
            cells = [cell.strip() for cell in cells]
            if not any(cells) or cells[0].startswith("#"):
                continue
            where = f"{Path(path).name}, line {line}"
            try:
                azimuth, altitude = (float(cell) for cell in cells)
            except ValueError as error:
                if not pairs and len(cells) == 2 and all(cell[:1].isalpha() for cell in cells):
                    continue
                message = (
                    f"{where}: needs two numbers, azimuth and altitude in degrees, with a comma between, "
                    f"received {','.join(cells)!r}"
                )
                raise ValueError(message) from error
            pairs.append(_checked(azimuth, altitude, pairs, where=where))
    return _finished(pairs, ceiling_deg)


def from_clicks(clicks, ceiling_deg=90.0) -> Mask:
    """A mask from points that were clicked along the roofs on a picture of the sky.

    Parameters
    ----------
    clicks : sequence of (azimuth, altitude)
        Azimuth, any turn, and apparent altitude of each click [°]. Two clicks within 1° of azimuth are a
        vertical edge, more of them too: their lowest and their highest then count. A point that was forgotten
        may follow at the end.
    ceiling_deg : float
        Highest open altitude [°]; 90, no ceiling, unless one is there.

    Returns
    -------
    Mask

    Raises
    ------
    ValueError
        If there is no click, or one is no pair of finite numbers or lies outside −90 to 90° of altitude.

    Notes
    -----
    The clicks are sorted by azimuth. The two ends of an edge stand in the order in which they were clicked, or
    the other way round where the line was drawn from right to left.

    Examples
    --------
    >>> from_clicks([(215.3, 20), (215, 5), (95.2, 5), (95, 20)]).floor_deg([95, 150, 300]).tolist()
    [20.0, 5.0, 20.0]
    """
    points = []
    for place, click in enumerate(clicks, start=1):
        try:
            azimuth, altitude = (float(number) for number in click)
        except (TypeError, ValueError) as error:
            message = f"click {place} must be azimuth and altitude in degrees, received {click!r}"
            raise ValueError(message) from error
        if not np.isfinite(azimuth) or not -90.0 <= altitude <= 90.0:
            raise ValueError(
                f"click {place} must be an azimuth and an altitude of −90 to 90°, received {azimuth:g}°, "
                f"{altitude:g}°: azimuth comes first"
            )
        points.append((azimuth % 360.0 % 360.0, altitude))
    if not points:
        raise ValueError("clicks must hold one point or more, received none: click along the roofs first")
    return mask(_with_edges(points), ceiling_deg)


def _with_edges(points):
    """Clicks by azimuth, those of nearly one azimuth made one point, or the two ends of an edge."""
    azimuth, altitude = np.array(points).T
    steps = (np.diff(azimuth) + 180.0) % 360.0 - 180.0
    leftwards = bool(np.sum(np.sign(steps[np.abs(steps) > SNAP_DEG])) < 0)
    groups = []
    for click in np.argsort(azimuth, kind="stable"):
        if groups and azimuth[click] - azimuth[groups[-1][0]] <= SNAP_DEG:
            groups[-1].append(click)
        else:
            groups.append([click])
    line = []
    for group in groups:
        by_height = sorted(group, key=lambda click: altitude[click])
        ends = sorted({by_height[0], by_height[-1]}, reverse=leftwards)
        line += [(azimuth[group[0]], altitude[click]) for click in ends]
    return line


def _checked(azimuth, altitude, before, *, where):
    if not 0.0 <= azimuth <= 360.0:
        raise ValueError(f"{where}: azimuth must be 0 to 360°, received {azimuth:g}°: north 0, east 90")
    if not -90.0 <= altitude <= 90.0:
        raise ValueError(f"{where}: altitude must be −90 to 90°, received {altitude:g}°: azimuth comes first")
    if before and azimuth < before[-1][0]:
        raise ValueError(
            f"{where}: azimuths must rise, received {azimuth:g}° after {before[-1][0]:g}°: "
            "begin at the first point east of north"
        )
    if sum(other % 360.0 == azimuth % 360.0 for other, _ in before) > 1:
        raise ValueError(f"{where}: azimuth {azimuth:g}° stands there three times: an edge has two ends")
    return azimuth, altitude


def _finished(pairs, ceiling_deg):
    ceiling_deg = between("ceiling_deg", ceiling_deg, 0, 90)
    azimuth, altitude = np.array(pairs or [(0.0, 0.0)]).T.copy()
    azimuth.flags.writeable = altitude.flags.writeable = False
    return Mask(azimuth, altitude, ceiling_deg)


def _line(x, y, at, side):
    """Straight lines through the points; `side` says from which side a vertical edge is met."""
    right = np.clip(np.searchsorted(x, at, side=side), 1, len(x) - 1)
    left = right - 1
    width = x[right] - x[left]
    sloping = y[left] + (at - x[left]) / np.where(width > 0, width, 1.0) * (y[right] - y[left])
    return np.where(width > 0, sloping, np.maximum(y[left], y[right]) + 0.0 * at)
