"""The one panel class: controls, a picture, its words, and no place for a broken calculation to hide in.

Widget callbacks run in a second thread of the kernel, so one lock stands around every update and draw, and
pyplot is never used. A change made on the page shows the central curve at once; when no further change has
come for a quarter of a second, the slow part (a range by Monte Carlo), the description and the table follow.
A change made by code does both before it returns, so that a notebook's outputs are the same on every run.
"""

from __future__ import annotations

import base64
import html
import threading

import ipywidgets as widgets
from IPython import get_ipython
from traitlets import Unicode

from workbook.figures import look as looks
from workbook.panels.canvas import KeptCanvas
from workbook.panels.controls import TEXT_SIZE, Control
from workbook.panels.readout import alert_html, no_answer_html, table_html, table_text

SETTLE_S = 0.25

_worn = {"look": looks.LIGHT}
_shown: dict[tuple, Panel] = {}  # the newest panel of each kind: a change of look reaches all of them


class Picture(widgets.Image):
    """An image whose tooltip becomes its accessible name: the page first asks a widget for a description."""

    description = Unicode("").tag(sync=True)


class Panel:
    """Controls above a picture that follows them, with the key number in words between.

    Parameters
    ----------
    figure : module
        With `create`, `update`, `describe` and `table` (see `workbook.figures`).
    compute : callable
        Takes the values of all controls by name, returns the result record. Runs on every move.
    controls : dict of Control
        By the name of the value that `compute` takes, in reading order; the unit in the name is shown.
    readout : callable
        Result record → `Readout`.
    presets : dict of dict, optional
        Words on the button → values to set.
    slow : callable, optional
        `slow(result, **values)` returns the result completed by what is too slow for a drag.
    title : str
        One line above the controls.
    look : Look, optional
        The look that is worn in this kernel by default.
    width_px, height_px : float
        Size of the picture [px].
    """

    def __init__(
        self,
        figure,
        compute,
        controls: dict[str, Control],
        readout,
        *,
        presets=None,
        slow=None,
        title: str = "",
        look: looks.Look | None = None,
        width_px: float = looks.WIDTH_PX,
        height_px: float = looks.HEIGHT_PX,
    ):
        self.figure_file, self.compute, self.slow, self.readout = figure, compute, slow, readout
        self.controls, self.presets, self.title = dict(controls), dict(presets or {}), title
        self.moves, self.problem, self.result, self.alt = 0, "", None, ""
        self._ghost, self._words, self._rows, self._waiting = None, None, (), False
        self._lock, self._timer, self._turn, self._quiet = threading.RLock(), None, 0, False
        self.look = look or _worn["look"]
        self.canvas = KeptCanvas(looks.new_figure(width_px=width_px, height_px=height_px))
        self.box = self._build(width_px)
        self._create()
        for name, control in self.controls.items():
            control.named(name)
            control.widget.observe(lambda _, control=control: self._moved(control), "value")
        for words, values in self.presets.items():
            self._check(values, f"preset {words!r}: ")
        self.refresh()
        _shown[(getattr(figure, "__name__", ""), title, tuple(self.controls))] = self

    # What a notebook calls

    @property
    def values(self) -> dict:
        """The values of all controls, as `compute` gets them."""
        return {name: control.value for name, control in self.controls.items()}

    @property
    def picture(self) -> bytes:
        """The picture as it stands, a PNG."""
        return self._image.value

    @property
    def ghost(self):
        """The learner's locked prediction, drawn beside the answer; None before one is locked."""
        return self._ghost

    @ghost.setter
    def ghost(self, prediction):
        self._ghost = prediction
        self.refresh()

    def follow(self, prediction) -> None:
        """Draw a prediction of the lesson as the ghost, now or as soon as it is locked."""
        prediction.on_lock(lambda guess: setattr(self, "ghost", guess))

    def set(self, *, ranges: bool = True, **values) -> None:
        """Set one or more controls in one move. Unknown names and values outside the range are refused.

        `ranges=False` leaves the slow part out.
        """
        self._check(values)
        with self._lock:
            self._quiet = True
            try:
                for name, value in values.items():
                    self.controls[name].widget.value = value
            finally:
                self._quiet = False
            self.refresh(ranges=ranges)

    def reset(self) -> None:
        """Back to the worked case."""
        self.set(**{name: control.start for name, control in self.controls.items()})

    def wear(self, look: looks.Look) -> None:
        """Change the look of this panel, of every other panel of this kernel, and of the page."""
        _worn["look"] = look
        for panel in {id(panel): panel for panel in (self, *_shown.values())}.values():
            with panel._lock:
                panel.look = look
                panel._create()
                panel.refresh()

    def refresh(self, *, settle: bool = True, ranges: bool = True) -> None:
        """Calculate and draw. An error is shown in the panel and raised again.

        `settle=False` leaves description, table and the slow part out, `ranges=False` the slow part only.
        """
        with self._lock:
            self._turn += 1
            if self._timer:
                self._timer.cancel()
            try:
                values = self.values
                self.result = self.compute(**values)
                self._show(self.result, settled=settle, waiting=bool(self.slow))
                if self.slow and settle and ranges:  # the central curve is on its way already
                    self.result = self.slow(self.result, **values)
                    self._show(self.result, settled=True)
                self.moves += 1
            except Exception as error:
                self._fail(error)
                raise

    # A move, and what follows when it ends

    def _moved(self, control):
        if self._quiet:
            return
        dragged = control.from_page()
        with self._lock:
            self.refresh(settle=not dragged)
            if dragged:
                self._timer = threading.Timer(SETTLE_S, self._settle, (self._turn, self.result, self.values))
                self._timer.daemon = True
                self._timer.start()

    def _settle(self, turn, result, values):
        """The drag has ended: complete the result; outside the lock, so that a new drag can begin."""
        try:
            if self.slow and turn == self._turn:
                result = self.slow(result, **values)
            with self._lock:
                if turn == self._turn:
                    self.result = result
                    self._show(result, settled=True)
        except Exception as error:
            with self._lock:
                if turn == self._turn:
                    self._fail(error)
            raise

    def _show(self, result, *, settled, waiting=False):
        if self.figure_file.update(self._artists, result, self._ghost):
            self.canvas.forget()
        if not self._laid_out:
            self._lay_out()
        picture, self._words, self._waiting = self.canvas.png(), self.readout(result), waiting
        self._image.value = picture
        self._status.value = self._words.html(self.look.accent, waiting)
        if settled:
            self.alt = self.figure_file.describe(result)
            self._rows = [tuple(row) for row in self.figure_file.table(result)]
            self._image.tooltip = self.alt
            self._table.value = table_html(self._rows, self.alt)
        if self.problem:
            self.problem = self._alert.value = ""

    def _fail(self, error):
        """Show a guard's own words; of anything else the kind as well. The caller raises it again."""
        words = " ".join(str(error).split())
        self.problem = (
            words if type(error) is ValueError and words else f"{type(error).__name__}: {words}".rstrip(": ")
        )
        self._alert.value = alert_html(self.problem)
        self._status.value = no_answer_html(self.look.accent)

    def _check(self, values, where=""):
        for name, value in values.items():
            if name not in self.controls:
                raise ValueError(f"{where}no control named {name!r}; there are {', '.join(self.controls)}")
            self.controls[name].refuse(name, value, where)

    # What is seen

    def _create(self):
        """Make the figure anew in the present look."""
        self.canvas.figure.clear()
        self._artists = self.figure_file.create(self.canvas.figure, self.look)
        self.canvas.forget()
        self._laid_out = False
        self._page.value = looks.page_css(self.look)
        red = self.look is looks.RED
        self._look_button.description = "Light look" if red else "Dim red look"
        self._look_button.tooltip = (
            "Back to black on white" if red else "Only red light, for dark-adapted eyes"
        )
        for control in self.controls.values():
            if control.field is not None:
                control.widget.style.handle_color = self.look.accent

    def _lay_out(self):
        """Make room for the labels once the first result is drawn; then the frame stands still."""
        self.canvas.figure.set_layout_engine("constrained")
        self.canvas.figure.draw_without_rendering()
        self.canvas.figure.set_layout_engine("none")
        self.canvas.forget()
        self._laid_out = True

    def _build(self, width_px):
        """Title, buttons, controls in a grid, readout, fault, picture, table: from top to bottom."""
        wide = f"min({width_px:g}px, 100%)"
        self._image = Picture(format="png", layout=widgets.Layout(width="100%", height="auto"))
        self._status, self._alert, self._table, self._page = (
            widgets.HTML(layout=widgets.Layout(width="100%", **how))
            for how in ({"min_height": "62px"}, {}, {"display": "none"}, {"display": "none"})
        )
        presets = [
            _button(words, lambda _, v=values: self.set(**v)) for words, values in self.presets.items()
        ]
        reset = _button("Reset", lambda _: self.reset(), "Back to the worked case")
        self._look_button = _button("", lambda _: self.wear(looks.other(self.look)))
        self._table_button = _button("Show the table", self._fold, "The numbers of the picture as a table")
        gap = widgets.Box(layout=widgets.Layout(flex="1 1 auto"))
        row = widgets.Layout(width="100%", flex_flow="row wrap")
        columns = widgets.Layout(
            width="100%", grid_template_columns="repeat(auto-fit, minmax(430px, 1fr))", grid_gap="2px 20px"
        )
        heading = '<div role="heading" aria-level="3" style="font-size:18px;font-weight:600">'
        heading += f"{html.escape(self.title)}</div>"
        parts = [
            *([widgets.HTML(heading)] if self.title else []),
            widgets.HBox([*presets, reset, gap, self._look_button], layout=row),
            widgets.GridBox([control.row for control in self.controls.values()], layout=columns),
            *(self._status, self._alert, self._image, self._table_button, self._table, self._page),
        ]
        return widgets.VBox(parts, layout=widgets.Layout(width=wide, overflow="hidden"))

    def _fold(self, _):
        folded = self._table.layout.display == "none"
        self._table.layout.display = None if folded else "none"
        self._table_button.description = "Hide the table" if folded else "Show the table"

    def __str__(self):
        """Readout, description and table as plain text: what a reader without pictures gets."""
        if self.problem:
            return f"No answer for these values. {self.problem}"
        return f"{self._words.text(self._waiting)}\nPicture: {self.alt}\nTable:\n{table_text(self._rows)}"

    def _repr_mimebundle_(self, include=None, exclude=None):
        """Live widgets where there is a kernel; everywhere the picture and its words as they stand."""
        with self._lock:
            data = {"text/plain": str(self), "image/png": base64.b64encode(self.canvas.still_png()).decode()}
        if getattr(get_ipython(), "kernel", None) is not None:
            data.update(self.box._repr_mimebundle_() or {}, **{"text/plain": data["text/plain"]})
        return data, {"image/png": {"alt": self.alt}}


def _button(words, handler, tooltip=""):
    button = widgets.Button(description=words, tooltip=tooltip or words, layout=widgets.Layout(width="auto"))
    button.layout.align_self, button.style.font_size = "flex-start", TEXT_SIZE
    button.on_click(handler)
    return button
