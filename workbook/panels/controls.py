"""The controls of a panel: sliders with a named number field beside them, choices and switches.

The front end gives a slider no accessible name, so each slider has a number field that carries label and unit
and can be typed into; the two always hold the same value. Arrow keys move both.
"""

from __future__ import annotations

import html
import math

import ipywidgets as widgets

from workbook.units import unit_of

LABEL_WIDTH = "185px"
FIELD_WIDTH = "260px"
TEXT_SIZE = "15px"  # on a projector the page's own 13 px is too small


class Control:
    """One value that the learner sets: its widget, its label and the row that shows both."""

    def __init__(self, label: str, widget, field=None, *, options=(), significant: int | None = None):
        self.label, self.widget, self.field, self._significant = label, widget, field, significant
        self._options = tuple(options)
        self._following = False
        self.start = widget.value
        if field is None:
            self.row = widget
            widget.layout.width = "calc(100% - 6px)"  # else the page cuts off the right edge of its frame
        else:
            widget.layout = widgets.Layout(flex="1 1 120px", min_width="80px", width="auto")
            field.layout = widgets.Layout(width=FIELD_WIDTH, flex="0 0 auto")
            self.row = widgets.HBox([field, widget], layout=widgets.Layout(width="100%", overflow="hidden"))
            widget.observe(self._slider_moved, "value")
            field.observe(self._field_typed, "value")
            field.value = widget.value

    def named(self, name: str) -> None:
        """Write the label with the unit that the name of the value carries."""
        unit = unit_of(name)
        shown = self.field or self.widget
        words = html.escape(f"{self.label} [{unit}]" if unit else self.label)
        shown.description_allow_html = True
        shown.description = f'<span style="font-size:{TEXT_SIZE}">{words}</span>'
        shown.style.description_width = LABEL_WIDTH
        if shown.style.has_trait("font_size"):
            shown.style.font_size = TEXT_SIZE

    @property
    def value(self):
        """The value as the calculation gets it: of a logarithmic slider what its field shows."""
        return self.field.value if self._significant else _clean(self.widget.value)

    @property
    def limits(self) -> tuple | None:
        """Lowest and highest value of a slider, None for a choice or a switch."""
        return None if self.field is None else (self.field.min, self.field.max)

    @property
    def options(self) -> tuple:
        """Every value of a choice or a switch, and of a slider both ends and the middle."""
        if self.limits is None:
            return self._options
        low, high = self.limits
        if self._significant:
            return low, high, _significant(math.sqrt(low * high), self._significant)
        step = self.widget.step  # a value off the steps would be moved by the page, behind the kernel's back
        middle = low + step * round((high - low) / 2 / step)
        return low, high, middle

    def refuse(self, name: str, value, where: str = "") -> None:
        """Raise where the control cannot take this value, instead of bending it silently."""
        if self.limits:
            low, high = self.limits
            if not low <= value <= high:
                unit = f" {unit_of(name)}".rstrip()
                raise ValueError(f"{where}{name} must be {low:g} to {high:g}{unit}, received {value:g}{unit}")
        elif value not in self.options:
            raise ValueError(
                f"{where}{name} must be one of {', '.join(map(repr, self.options))}, received {value!r}"
            )

    def from_page(self) -> bool:
        """True while a change comes from the page (a drag may go on), False where code set the value.

        While a widget takes a state from the page it holds the properties in `_property_lock`; where that
        attribute is missing every change counts as made by code, which is slower but still right.
        """
        return any(
            getattr(part, "_property_lock", None) for part in (self.widget, self.field) if part is not None
        )

    def _slider_moved(self, change):
        if not self._following and not self._same_step():
            self._following = True
            try:
                self.field.value = _significant(self.widget.value, self._significant)
            finally:
                self._following = False

    def _same_step(self):
        """Whether the page only rounded a typed number to the nearest step of a logarithmic slider."""
        if not self._significant or not self.from_page():
            return False
        apart = abs(math.log10(self.widget.value / self.field.value))
        return apart <= 0.51 * self.widget.step

    def _field_typed(self, change):
        if not self._following:
            self._following = True
            try:
                self.widget.value = change["new"]
            finally:
                self._following = False


def slider(label: str, value, low, high, *, step=1, log: bool = False) -> Control:
    """A slider with its number field, from `low` to `high`.

    Parameters
    ----------
    label : str
        What is set, without unit: the panel adds the unit that the name of the value carries.
    value, low, high : int or float
        Start and both ends. All ints, with an int step, make an int slider.
    step : int or float
        One press of an arrow key; not used by a logarithmic slider.
    log : bool
        Equal steps multiply, 20 to a factor of ten; the value is rounded to three digits.
    """
    if not low <= value <= high or low == high:
        raise ValueError(f"{label}: start {value!r} must lie between {low!r} and {high!r}")
    if log:
        if low <= 0:
            raise ValueError(f"{label}: a logarithmic slider must start above 0, received {low!r}")
        track = widgets.FloatLogSlider(
            value=value, base=10, min=math.log10(low), max=math.log10(high), step=0.05, readout=False
        )
        field = widgets.BoundedFloatText(value=value, min=low, max=high)
        field.step = None
        return Control(label, track, field, significant=3)
    if all(isinstance(number, int) for number in (value, low, high, step)):
        kinds = widgets.IntSlider, widgets.BoundedIntText
    else:
        kinds = widgets.FloatSlider, widgets.BoundedFloatText
    track, field = (kind(value=value, min=low, max=high, step=step) for kind in kinds)
    track.readout = False
    return Control(label, track, field)


def choice(label: str, value, options) -> Control:
    """A list of named options: a mapping from words to values, or the values themselves."""
    pairs = (
        list(options.items()) if hasattr(options, "items") else [(str(option), option) for option in options]
    )
    if len(pairs) < 2:
        raise ValueError(f"{label}: a choice needs two options or more, received {len(pairs)}")
    return Control(
        label, widgets.Dropdown(options=pairs, value=value), options=[option for _, option in pairs]
    )


def switch(label: str, value: bool) -> Control:
    """One thing that is on or off."""
    return Control(label, widgets.Checkbox(value=value, indent=True), options=(True, False))


def _significant(value, digits):
    return _clean(value) if digits is None else float(f"{value:.{digits}g}")


def _clean(value):
    """The page counts in steps from the low end and may send 52.39999999999999 for 52.4."""
    return round(value, 9) if isinstance(value, float) else value
