"""The field card in a lesson: one line shows it and keeps it in the learner's folder, as PDF, PNG and text."""

from __future__ import annotations

import base64

from workbook.figures import fieldcard_files
from workbook.figures import look as looks
from workbook.lesson.home import home_folder
from workbook.plan.card import field_card as make_card


class ShownCard:
    """A field card as a notebook shows it: the page, and its words for readers without pictures.

    `card` is the record behind it, `files` the files that were written, `problem` why none could be.
    """

    def __init__(self, card, files, problem, look):
        self.card, self.files, self.problem = card, tuple(files), problem
        self._png = fieldcard_files.picture(card, look)

    @property
    def said(self) -> str:
        """Where the files are, in one line."""
        if self.problem:
            return f"The card could not be written: {self.problem}. Here it is all the same."
        names = ", ".join(path.name for path in self.files)
        return (
            f"To print, in your folder {self.files[0].parent.name}: {names}"
            if self.files
            else "Nothing written."
        )

    @property
    def alt(self) -> str:
        """The page in one sentence."""
        return f"Field card: {self.card.title}. Its words stand in the text below the page."

    def __repr__(self) -> str:
        return f"Picture: {self.alt}\nTable:\n{self.card.as_text()}\n\n{self.said}"

    def _repr_mimebundle_(self, include=None, exclude=None):
        page = {"text/plain": repr(self), "image/png": base64.b64encode(self._png).decode()}
        return page, {"image/png": {"alt": self.alt}}


def field_card(passport, *, save: bool = True, look=looks.LIGHT, **plan) -> ShownCard:
    """Make the field card of a rig, keep it, and show it.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    save : bool
        Whether to write it into the learner's folder; it is, unless you say no, since a card is for outside.
    look : Look
        LIGHT or RED, on the page of the notebook; both are written.
    **plan
        target, date, mode, guided, zone, … as in `plan.card.field_card`.

    Returns
    -------
    ShownCard
    """
    card = make_card(passport, **plan)
    files, problem = [], ""
    if save:
        try:
            files = fieldcard_files.save(card, home_folder())
        except OSError as error:
            problem = error.strerror or str(error)
    return ShownCard(card, files, problem, look)
