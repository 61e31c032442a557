"""A matplotlib figure as PNG, again and again, fast: the frame is drawn once, then only what moves inside it.

A full draw of a figure spends most of its time on ticks, labels and frames, which stand still while a slider
moves. They are drawn once and kept as pixels; a move restores them and draws the insides of the axes over
them, bottom first. The picture is the same, pixel for pixel, as a full draw (tested).
"""

from __future__ import annotations

import io
import zlib

from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.spines import Spine
from PIL import Image

from workbook.figures.look import STILL

TITLES = ("left", "center", "right")


class KeptCanvas:
    """Draws one figure without pyplot, keeping the pixels of what stands still."""

    def __init__(self, figure):
        self.figure = figure
        self.canvas = FigureCanvasAgg(figure)
        self.full_draws = 0
        self._kept = self._frame = None
        self._grid = []

    def forget(self) -> None:
        """Draw everything anew next time: after a change of ticks, labels, layout or look."""
        self._kept = None

    def image(self) -> Image.Image:
        """The figure as it stands now."""
        if self._kept is None or self._frame != self._frame_now():
            self._draw_frame()
        self.canvas.restore_region(self._kept)
        renderer = self.canvas.get_renderer()
        for _, _, artist in sorted([*self._grid, *self._inside()], key=lambda part: part[:2]):
            artist.draw(renderer)
        return Image.frombuffer("RGBA", self.canvas.get_width_height(), self.canvas.buffer_rgba()).convert(
            "RGB"
        )

    def png(self) -> bytes:
        """The picture for the page at the compression that costs least time."""
        return _png(self.image(), compress_level=1, compress_type=zlib.Z_RLE)

    def still_png(self) -> bytes:
        """The picture for a file: a palette of 128 colours and full compression; small, but slow."""
        return _png(self.image().quantize(128, dither=Image.Dither.NONE), optimize=True)

    def _draw_frame(self):
        """Draw and keep what stands still: all but the insides of the axes."""
        self._grid = list(self._gridlines())
        for _, _, artist in self._inside():
            artist.set_animated(True)  # animated artists are left out of a draw
        for _, _, line in self._grid:
            line.set_visible(False)  # a tick draws its grid line even where that is animated
        self.canvas.draw()
        for _, _, line in self._grid:
            line.set_visible(True)
        self._kept = self.canvas.copy_from_bbox(self.figure.bbox)
        self._frame = self._frame_now()
        self.full_draws += 1

    def _frame_now(self):
        """What a full draw depends on: a change here is seen, and the frame drawn anew."""
        parts = [tuple(text.get_text() for text in self.figure.texts)]
        for ax in self.figure.axes:
            words = [ax.get_xlabel(), ax.get_ylabel(), *(ax.get_title(loc=loc) for loc in TITLES)]
            parts.append((*ax.get_xlim(), *ax.get_ylim(), ax.get_visible(), *words))
        return parts

    def _gridlines(self):
        """The grid lines that can be seen, each with the height of its axes and of its axis."""
        for ax in self.figure.axes:
            for axis in (ax.xaxis, ax.yaxis) if _straight(ax) else ():
                if not (ax.get_visible() and ax.axison and axis.get_visible()):
                    continue
                low, high = sorted(axis.get_view_interval())
                for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                    if tick.gridline.get_visible() and low <= tick.get_loc() <= high:
                        yield ax.get_zorder(), axis.get_zorder(), tick.gridline

    def _inside(self):
        """What lies inside the axes, each with its heights: artists and spines, but not the axis.

        Artists whose gid is STILL belong to the frame: their figure says when they changed. A polar axis has its
        labels inside, so there it belongs to what is drawn on every move.
        """
        for ax in self.figure.axes:
            if ax.get_visible():
                titles = ax.title, ax._left_title, ax._right_title
                for artist in ax.get_children():
                    still = (
                        artist is ax.patch or artist in titles or (isinstance(artist, Axis) and _straight(ax))
                    ) or artist.get_gid() == STILL
                    if not still and (ax.axison or not isinstance(artist, (Axis, Spine))):
                        yield ax.get_zorder(), artist.get_zorder(), artist


def _straight(ax):
    return ax.name == "rectilinear"


def _png(image, **how):
    out = io.BytesIO()
    image.save(out, "PNG", **how)
    return out.getvalue()
