"""The field card as files: PDF, PNG and text, each whole or not at all, and never over something else."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

from PIL import Image

from workbook.figures import look as looks
from workbook.figures.fieldcard import create, draw, new_page

PRINT_DPI = 200


def picture(card, look=looks.LIGHT, dots_inch: float = 100.0) -> bytes:
    """The page as a small PNG with a palette, for a notebook.

    Parameters
    ----------
    card : plan.card_words.Card
        The words and the night.
    look : Look
        LIGHT or RED.
    dots_inch : float
        Dots per inch; 100 give a page of 826 by 1169 px, enough to read in a notebook.

    Returns
    -------
    bytes
        A PNG file.
    """
    figure = new_page()
    draw(create(figure, look), card)
    large, small = io.BytesIO(), io.BytesIO()
    figure.savefig(large, format="png", dpi=2 * dots_inch, facecolor=look.ground, metadata={"Software": None})
    twice = Image.open(large).convert("RGB")  # drawn twice as large: letters then keep their widths
    half = twice.resize((twice.width // 2, twice.height // 2), Image.Resampling.BOX)
    half.quantize(48, dither=Image.Dither.NONE).save(small, format="png", optimize=True)
    return small.getvalue()


def save(card, folder, *, both: bool = True, look=looks.LIGHT) -> list[Path]:
    """Write a card as PDF, PNG and text; nothing that is there already is ever overwritten.

    Parameters
    ----------
    card : plan.card_words.Card
        The words and the night.
    folder : path
        Made where it is missing.
    both : bool
        Both looks; else only `look`. Both unless you say so: the light one is for paper, the red one for the night.
    look : Look
        LIGHT or RED.

    Returns
    -------
    list of Path
        The files as they are named. Where a file of that name holds something else, the new one is numbered; where
        it holds the same, it is left as it is. Each file appears whole or not at all.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"field-card-{re.sub(r'[^A-Za-z0-9]+', '-', card.target).strip('-')}-{card.date.isoformat()}"
    files = [(f"{stem}.txt", card.as_text().encode() + b"\n")]
    for one in (looks.LIGHT, looks.RED) if both else (look,):
        figure = new_page()
        draw(create(figure, one), card)
        name = stem + ("-red" if one.name == looks.RED.name else "")
        about = {"Title": card.title, "CreationDate": None, "Producer": None, "Creator": None}
        for ending, extra in (("pdf", about), ("png", {"Software": None, "Title": card.title})):
            content = io.BytesIO()
            figure.savefig(content, format=ending, dpi=PRINT_DPI, facecolor=one.ground, metadata=extra)
            files.append((f"{name}.{ending}", content.getvalue()))
    return [_put(folder / name, content) for name, content in files]


def _put(path, content):
    """The file with this content: the one that is there, or a new one under the first free name."""
    free, number = path, 1
    while True:
        try:
            free.open("xb").close()  # taken in the same moment, so that nobody else can take it
            break
        except FileExistsError:
            if free.is_file() and free.read_bytes() == content:
                return free
            number += 1
            free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    part = free.with_name(f".{free.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, free)
    except OSError:
        free.unlink(missing_ok=True)
        raise
    finally:
        part.unlink(missing_ok=True)
    return free
