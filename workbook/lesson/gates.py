"""Safety: checklists to tick before a computation, and the notes placed where the action happens."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from workbook.checks import chosen
from workbook.lesson.words import Note, as_paragraphs


class Item(NamedTuple):
    """One line of a checklist: what is ticked, and what it means."""

    short: str
    detail: str


class Checklist(NamedTuple):
    """What a gate asks."""

    title: str
    closed: str
    items: tuple[Item, ...]
    remark: str


CHECKLISTS = {
    "sun": Checklist(
        "Before anything points near the Sun",
        "The Sun gate is closed",
        (
            Item(
                "Front filter fixed and checked today",
                "A filter made for telescopes covers the whole front, held so that no wind and no child can "
                "take it off. Today, off the telescope, I held it against a bright lamp, never against the Sun, and "
                "saw no pinholes and no scratches, as I do each time.",
            ),
            Item(
                "Guide scope and finder capped or off",
                "Each of them burns an eye or a camera just as the main telescope does.",
            ),
            Item(
                "No filter at the eyepiece end",
                "Heat gathers there and cracks the glass in an instant. Filters go in front, nowhere else.",
            ),
            Item(
                "Caps on while the mount slews by day",
                "No unfiltered slew by day and no search for planets near the Sun: the path may cross it.",
            ),
            Item(
                "Aimed by the shadow",
                "I find the Sun by making the tube's shadow smallest, never by looking along or through it.",
            ),
            Item(
                "Never left alone",
                "Somebody who knows these points stays at the telescope as long as it faces the Sun.",
            ),
        ),
        "ISO 12312-2 is about viewers without magnification, such as eclipse glasses. It certifies no filter "
        "for a telescope.",
    ),
}

SAFETY = {
    "lithium": (
        "Lithium packs: use undamaged ones only, with the charger made for them and a fuse at the battery.",
        "Never charge any rechargeable lithium pack below 0 °C; discharge it within its data sheet.",
        "On a flight spare packs go into the cabin, up to 100 Wh each without asking the carrier.",
        "Rules change: ask.",
    ),
    "mains": (
        "Mains and dew: mains voltage stays indoors; only extra-low voltage goes out to the telescope.",
        "The socket indoors has a residual-current device.",
        "A qualified electrician and the local code decide.",
    ),
    "lifting": (
        "Lifting: carry tripod and load apart. Keep the safety screw at the end of the counterweight bar.",
        "On a balcony everything that could fall hangs on a tether, and the rules of the house decide.",
    ),
    "laser": (
        "Laser pointers: laws differ from place to place. Never towards aircraft, people or vehicles.",
        "A torch and a paper arrow show a direction as well.",
    ),
    "cold": (
        "Cold: wear layers and stop while you can still feel your fingers. Tiredness drives home with you.",
        "At the first thunder switch off and pack up.",
    ),
    "everywhere": (
        "This workbook teaches optics and geometry. It is not electrical, structural, aviation or medical "
        "advice; licensed people and authorities where you are decide.",
    ),
}


def safety(topic: str) -> Note:
    """The safety note of one topic, to stand where the action happens.

    >>> safety("laser").text.splitlines()[1]
    'A torch and a paper arrow show a direction as well.'
    """
    if topic in CHECKLISTS:
        checklist = CHECKLISTS[topic]
        lines = [f"{item.short}: {item.detail}" for item in checklist.items]
        return _safety_note([f"{checklist.title}:", *lines, checklist.remark])
    return _safety_note(SAFETY[chosen("topic", topic, (*SAFETY, *CHECKLISTS))])


def _safety_note(lines):
    text = "Safety. " + "\n".join(lines)
    return Note(text, as_paragraphs(text))


class GateClosed(RuntimeError):
    """Raised where a gate is asked for and not open; a notebook shows its one line, no traceback."""

    def _render_traceback_(self):
        return [str(self)]


class Gate:
    """A checklist; open only while every item is ticked. It is never remembered: each start asks anew.

    Parameters
    ----------
    name : str
        One of the checklists.
    """

    def __init__(self, name: str):
        self.name = name
        self.checklist = CHECKLISTS[chosen("gate", name, CHECKLISTS)]
        self._ticked = [False] * len(self.checklist.items)
        self._callbacks: list[Callable] = []
        self._box = None

    @property
    def open(self) -> bool:
        return all(self._ticked)

    @property
    def missing(self) -> list[str]:
        """The items not ticked yet."""
        return [item.short for item, done in zip(self.checklist.items, self._ticked, strict=True) if not done]

    def tick(self, index: int, ticked: bool = True) -> None:
        """Tick one item, or take its tick away."""
        if not 0 <= index < len(self._ticked):
            raise IndexError(f"the checklist has items 0 to {len(self._ticked) - 1}, received {index}")
        before = self.open
        self._ticked[index] = bool(ticked)
        if self._box is not None:
            self._box.show()
        if self.open != before:
            for callback in list(self._callbacks):
                callback(self.open)

    def ticked(self, index: int) -> bool:
        return self._ticked[index]

    def on_change(self, callback: Callable) -> None:
        """Call back with True when the gate opens, and with False when it closes again."""
        self._callbacks.append(callback)

    def require_open(self) -> None:
        """Do nothing where the gate is open, else raise `GateClosed` and name what is missing."""
        if not self.open:
            raise GateClosed(
                f"{self.checklist.closed}, so nothing is computed. Not ticked yet: {'; '.join(self.missing)}."
            )

    def status(self) -> str:
        """One line: open, or how many items are missing."""
        if self.open:
            return "All ticked: the gate is open until this notebook is restarted."
        return f"{self.checklist.closed}: {len(self.missing)} of {len(self._ticked)} not ticked yet."

    @property
    def box(self):
        """The widget: a tick box an item, and a status line."""
        if self._box is None:
            from workbook.lesson.boxes import GateBox

            self._box = GateBox(self)
        return self._box.widget

    def __repr__(self) -> str:
        items = zip(self.checklist.items, self._ticked, strict=True)
        lines = [f"[{'x' if done else ' '}] {item.short}: {item.detail}" for item, done in items]
        return "\n".join([f"{self.checklist.title}:", *lines, self.checklist.remark, self.status()])

    def _repr_mimebundle_(self, include=None, exclude=None):
        live = self.box._repr_mimebundle_()
        return live | {
            "text/plain": repr(self),
            "text/html": Note("", as_paragraphs(repr(self)))._repr_html_(),
        }
