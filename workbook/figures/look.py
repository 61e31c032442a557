"""The two looks of every figure and of the page: light, and dim red for the dark-adapted eye.

A look gives colours by role, a colour map, and lines that differ in dash and marker as well as in colour,
so that colour is never the only signal. `apply` dresses a figure that exists already: nothing global changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import matplotlib
from matplotlib.colors import Colormap, LinearSegmentedColormap
from matplotlib.figure import Figure

WIDTH_PX, HEIGHT_PX, DPI = 900, 450, 100
STILL = "still"  # gid of what lies inside axes but seldom changes: `update` then returns True


@dataclass(frozen=True)
class Stroke:
    """How one kind of line is drawn: told from the others by dash and marker, not by colour alone."""

    colour: str
    dash: str | tuple
    marker: str
    width: float = 2.2

    def line(self) -> dict:
        """Keywords for `Axes.plot` and its relatives."""
        return {"color": self.colour, "linestyle": self.dash, "linewidth": self.width}

    def dots(self) -> dict:
        """Keywords for `Axes.plot` where points are wanted instead of a line."""
        return {"color": self.colour, "linestyle": "none", "marker": self.marker, "markersize": 8}


@dataclass(frozen=True)
class Look:
    """Colours by role, a colour map, strokes by role and text sizes in points at projector size.

    The roles of strokes: `first` to `fourth` for curves, `limit` for a boundary worth knowing, `ghost` for
    the learner's prediction. `band` fills a range; `accent` is the one colour of the controls.
    """

    name: str
    ground: str
    ink: str
    quiet: str
    grid: str
    band: str
    accent: str
    strokes: Mapping[str, Stroke]
    colour_map: Colormap
    text_pt: float = 11.0
    title_pt: float = 13.0

    def line(self, role: str) -> dict:
        """Keywords that draw a line in this role."""
        return self.strokes[role].line()

    def dots(self, role: str) -> dict:
        """Keywords that draw points in this role."""
        return self.strokes[role].dots()

    def words(self) -> dict:
        """Keywords for a text that stands inside a figure."""
        return {"color": self.ink, "fontsize": self.text_pt}


def _strokes(*colours: str) -> Mapping[str, Stroke]:
    roles = ("first", "second", "third", "fourth", "limit", "ghost")
    dashes = (
        "-",
        (0, (6, 2)),
        (0, (6, 2, 1.5, 2)),
        (0, (1.5, 1.5)),
        (0, (10, 3)),
        (0, (3, 1.5, 1, 1.5, 1, 1.5)),
    )
    return MappingProxyType(
        {role: Stroke(*parts) for role, *parts in zip(roles, colours, dashes, "os^DvX", strict=True)}
    )


# Okabe & Ito 2008, "Color Universal Design": blue, vermilion, bluish green, black, reddish purple (darkened
# by a fifth where it would not reach a contrast of 3 to 1 on white), and grey for the ghost.
LIGHT = Look(
    name="light",
    ground="#ffffff",
    ink="#1a1a1a",
    quiet="#4d4d4d",
    grid="#dedede",
    band="#bcd7ea",
    accent="#0072b2",
    strokes=_strokes("#0072b2", "#d55e00", "#00855f", "#000000", "#a8517f", "#6b6b6b"),
    colour_map=matplotlib.colormaps["cividis"],
)

# Only the red channel. Lines are told apart by brightness and dash; none falls below 3 to 1 on black.
RED = Look(
    name="dim red",
    ground="#000000",
    ink="#f00000",
    quiet="#c80000",
    grid="#3c0000",
    band="#5a0000",
    accent="#d00000",
    strokes=_strokes("#ff0000", "#d80000", "#c40000", "#e80000", "#ff0000", "#b80000"),
    colour_map=LinearSegmentedColormap.from_list("dim red", ["#000000", "#ff0000"]),
)

LOOKS = {look.name: look for look in (LIGHT, RED)}


def other(look: Look) -> Look:
    """The look that this one is not."""
    return LIGHT if look.name == RED.name else RED


def new_figure(*, width_px: float = WIDTH_PX, height_px: float = HEIGHT_PX) -> Figure:
    """An empty figure that belongs to no pyplot.

    Parameters
    ----------
    width_px, height_px : float
        Size on the page [px]; the default fits a notebook column and a projector.

    Returns
    -------
    matplotlib.figure.Figure
        At 100 dots an inch, so that a text of 11 pt is 15 px high.
    """
    return Figure(figsize=(width_px / DPI, height_px / DPI), dpi=DPI)


def apply(look: Look, figure: Figure, axes=None) -> None:
    """Dress an existing figure: ground, frames, ticks, labels, titles, legends and grid lines.

    Call it at the end of `create`, after titles and legends stand. What a figure draws inside its axes
    takes its colours from the look itself.

    Parameters
    ----------
    look : Look
        LIGHT or RED.
    figure : matplotlib.figure.Figure
        Changed in place; no global setting is touched.
    axes : iterable of Axes, optional
        All axes of the figure by default.
    """
    figure.set_facecolor(look.ground)
    for text in (*figure.texts, *filter(None, [figure.get_suptitle() and figure._suptitle])):
        _dress(text, look)
    for ax in figure.axes if axes is None else axes:
        ax.set_facecolor(look.ground)
        ax.set_axisbelow(True)
        for spine in ax.spines.values():
            spine.set_edgecolor(look.quiet)
        for axis in (ax.xaxis, ax.yaxis):
            axis.set_tick_params(which="both", color=look.quiet, labelcolor=look.ink, labelsize=look.text_pt)
            _dress(axis.label, look)
            _dress(axis.get_offset_text(), look)
            for line in axis.get_gridlines():
                line.set_color(look.grid)
        for title in (ax.title, ax._left_title, ax._right_title):
            _dress(title, look, size_pt=look.title_pt)
    for legend in filter(None, [*figure.legends, *(ax.get_legend() for ax in figure.axes)]):
        legend.get_frame().set(facecolor=look.ground, edgecolor=look.quiet, alpha=0.9)
        for text in (*legend.get_texts(), legend.get_title()):
            _dress(text, look)


def _dress(text, look, size_pt=None):
    text.set_color(look.ink)
    text.set_fontsize(max(size_pt or look.text_pt, look.text_pt))


def page_css(look: Look) -> str:
    """A style sheet that turns the whole page to this look; empty for the light one.

    Two steps: the page is painted in greys on black, then one sheet that multiplies with pure red lies over
    everything, so that green and blue are 0 in every pixel, pictures and icons included.
    """
    if look.name != RED.name:
        return ""
    greys = {
        "layout-color": ("#000", "#000", "#111", "#222", "#333"),
        "inverse-layout-color": ("#fff", "#eee", "#ddd", "#bbb", "#999"),
        "border-color": ("#555", "#444", "#333", "#222"),
        "ui-font-color": ("#eee", "#ddd", "#bbb", "#999"),
        "content-font-color": ("#eee", "#ddd", "#bbb", "#999"),
        "brand-color": ("#bbb", "#aaa", "#666", "#333"),
        "accent-color": ("#bbb", "#aaa", "#666", "#333"),
    }
    single = {
        "cell-editor-background": "#0a0a0a",
        "cell-editor-active-background": "#111",
        "rendermime-error-background": "#222",
        "input-active-background": "#111",
        "editor-selected-background": "#333",
        "editor-selected-focused-background": "#444",
        "toolbar-background": "#000",
        "cell-inprompt-font-color": "#bbb",
        "cell-outprompt-font-color": "#bbb",
        "content-link-color": "#eee",
        "widgets-color": "#ddd",
        "widgets-label-color": "#ddd",
        "widgets-readout-color": "#ddd",
        "widgets-input-background-color": "#111",
        "widgets-input-color": "#ddd",
        "widgets-slider-handle-background-color": "#bbb",
        "widgets-slider-track-background": "#444",
    }
    rules = [f"--jp-{name}{k}:{grey}!important" for name, row in greys.items() for k, grey in enumerate(row)]
    rules += [f"--jp-{name}:{grey}!important" for name, grey in single.items()]
    return (
        "<style>"
        f":root,body{{color-scheme:dark!important;{';'.join(rules)}}}"
        "body,.jp-Notebook,.jp-RenderedHTMLCommon table,.jp-RenderedHTMLCommon tr{background:#000!important}"
        ".cm-editor,.cm-editor *{color:#ccc!important}"
        ".widget-dropdown>select{background-image:none!important;appearance:auto!important}"
        ".cm-cursor{border-color:#fff!important}"
        ".jupyter-button{background:#222!important;color:#ddd!important}"
        "input,select{background-color:#111!important;color:#ddd!important}"
        'body::after{content:"";position:fixed;inset:0;pointer-events:none;background:#f00;'
        "mix-blend-mode:multiply;z-index:2147483647}"
        "</style>"
    )
