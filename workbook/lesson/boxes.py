"""The widgets of a lesson: thin skins over `Prediction` and `Gate`, which hold all that is decided.

Every control has a written label. The number box beside the slider is there for keyboards and screen readers:
a slider's handle has no accessible name of its own, the box has.
"""

from __future__ import annotations

import html

import ipywidgets as widgets

WIDE = "min(640px, 100%)"
_LABEL = {"description_width": "initial"}


class _Box:
    """A column of widgets that ends in a status line read out when it changes."""

    def __init__(self):
        self.status = widgets.HTML()

    def say(self, text: str) -> None:
        self.status.value = f"<p role='status' style='margin:0.3em 0'>{html.escape(text)}</p>"

    def guarded(self, action) -> None:
        """Do it; an error is shown in the status line and raised again."""
        try:
            action()
        except Exception as error:
            text = f"{type(error).__name__}: {error}"
            self.status.value = f"<p role='alert' style='margin:0.3em 0'>{html.escape(text)}</p>"
            raise


class PredictionBox(_Box):
    """Question, slider or choice, "Lock my guess", "Start over", status."""

    def __init__(self, prediction):
        super().__init__()
        self.prediction = prediction
        self.lock = widgets.Button(
            description="Lock my guess", tooltip="Lock my guess: it cannot be changed afterwards in this run"
        )
        self.again = widgets.Button(
            description="Start over", tooltip="Start over: guess anew; the ledger keeps the first guess"
        )
        self.lock.on_click(lambda _: self.guarded(lambda: prediction.lock(self.control.value)))
        self.again.on_click(lambda _: self.guarded(prediction.start_over))
        question = widgets.HTML(
            f"<p style='margin:0.3em 0'><strong>Predict:</strong> {html.escape(prediction.question)}</p>"
        )
        row = self._controls()
        self.widget = widgets.VBox([question, *row, widgets.HBox([self.lock, self.again]), self.status])
        self.show()

    def _controls(self):
        p = self.prediction
        unit = f" [{p.unit}]" if p.unit else ""
        if p.options:
            self.control = widgets.RadioButtons(
                options=[(p.words(option), option) for option in p.options],
                value=p.start,
                description="Your guess",
                style=_LABEL,
                layout={"width": WIDE},
            )
            self.inputs = (self.control,)
            return self.inputs
        limits = {"min": p.low, "max": p.high, "step": p.step, "value": p.start, "style": _LABEL}
        self.control = widgets.FloatSlider(
            description=f"Your guess{unit}",
            readout=False,
            tooltip=p.question,
            layout={"width": WIDE},
            **limits,
        )
        self.number = widgets.BoundedFloatText(
            description=f"as a number{unit}", layout={"width": "16em"}, **limits
        )
        widgets.link((self.control, "value"), (self.number, "value"))
        self.inputs = (self.control, self.number)
        return self.inputs

    def show(self) -> None:
        """Follow the prediction: greyed and at the guess once locked."""
        p = self.prediction
        if p.locked:
            self.control.value = p.value
        for control in (*self.inputs, self.lock):
            control.disabled = p.locked
        self.again.disabled = not p.locked
        self.say(p.status())


class GateBox(_Box):
    """A tick box an item with its meaning beside it, and a status line."""

    def __init__(self, gate):
        super().__init__()
        self.gate = gate
        self.boxes, rows = [], []
        for index, item in enumerate(gate.checklist.items):
            box = widgets.Checkbox(
                description=item.short,
                indent=False,
                tooltip=item.detail,
                layout={"width": "22em", "flex": "0 0 auto"},
            )
            box.observe(lambda change, i=index: self.guarded(lambda: gate.tick(i, change["new"])), "value")
            self.boxes.append(box)
            detail = widgets.HTML(html.escape(item.detail), layout={"flex": "1 1 20em"})
            rows.append(widgets.HBox([box, detail], layout={"flex_flow": "row wrap"}))
        title = widgets.HTML(f"<strong>{html.escape(gate.checklist.title)}</strong>")
        remark = widgets.HTML(html.escape(gate.checklist.remark))
        self.widget = widgets.VBox([title, *rows, remark, self.status])
        self.show()

    def show(self) -> None:
        """Follow the gate."""
        for index, box in enumerate(self.boxes):
            box.value = self.gate.ticked(index)
        self.say(self.gate.status())
