"""The field card on one A4 page: large numbers, one night strip, two columns; for paper and for red light."""

from __future__ import annotations

import functools
import re
from typing import NamedTuple

import numpy as np
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import TextToPath

from workbook.figures import look as looks
from workbook.plan.card_words import SIGNS, Clock

WIDTH_PT, HEIGHT_PT = 595.276, 841.89  # A4 portrait, ISO 216
MARGIN_PT, GUTTER_PT = 28.0, 18.0
STEP_PT, LABEL_GAP_PT = 18.0, 8.0  # the numbers of steps, and the gap after a label
COLUMN_PT = (WIDTH_PT - 2.0 * MARGIN_PT - GUTTER_PT) / 2.0
HEAD_PT, KEYS_PT, STRIP_PT = 46.0, 62.0, 62.0  # down to the subtitle, the boxes, the inside of the strip
STRIP_TOP_PT = HEAD_PT + 9.0 + KEYS_PT + 22.0
COLUMNS_PT = STRIP_TOP_PT + STRIP_PT + 37.0  # the first base line of the columns
INDENT_PT, FOOT_PT = 40.0, 30.0  # left of the strip, below the columns
SIZES = (
    (12.0, 16.5),
    (11.5, 15.6),
    (11.0, 14.9),
    (11.0, 14.3),
    (10.5, 13.8),
    (10.5, 13.3),
    (10.0, 12.8),
    (10.0, 12.2),
    (10.0, 11.7),
)
SMALLEST_PT = 10.0
SLACK = 0.985  # letters on the screen are a little wider than on paper
HELD = "\u00a0"  # a space at which no row ends
MORE = "… more in the text twin"


class Page(NamedTuple):
    """The empty page: its look, the sheet for words in points from the upper left, and the strip."""

    figure: Figure
    look: looks.Look
    sheet: object
    strip: object


class Row(NamedTuple):
    """One printed row of a column: what stands at the left, the words, and the room above it [pt]."""

    lead: str
    words: str
    indent_pt: float
    above_pt: float
    title: bool


def new_page() -> Figure:
    """An empty A4 page in portrait that belongs to no pyplot."""
    return Figure(figsize=(WIDTH_PT / 72.0, HEIGHT_PT / 72.0), dpi=150)


def create(figure, look) -> Page:
    """Lay out the page: the sheet and the strip."""
    figure.set_facecolor(look.ground)
    sheet = figure.add_axes([0.0, 0.0, 1.0, 1.0])
    sheet.set(xlim=(0.0, WIDTH_PT), ylim=(HEIGHT_PT, 0.0))
    sheet.set_axis_off()
    left = MARGIN_PT + INDENT_PT
    strip = figure.add_axes(
        [
            left / WIDTH_PT,
            1.0 - (STRIP_TOP_PT + STRIP_PT) / HEIGHT_PT,
            (WIDTH_PT - MARGIN_PT - left) / WIDTH_PT,
            STRIP_PT / HEIGHT_PT,
        ]
    )
    return Page(figure, look, sheet, strip)


def draw(page: Page, card) -> None:
    """Put a card on its page.

    Parameters
    ----------
    page : Page
        From `create`; draw once on each.
    card : plan.card_words.Card
        The words and the night.
    """
    look = page.look
    _write(
        page,
        MARGIN_PT,
        31.0,
        _cut(card.title, 19.0, "bold", WIDTH_PT - 2 * MARGIN_PT),
        19.0,
        look.ink,
        "bold",
    )
    _write(
        page,
        MARGIN_PT,
        HEAD_PT,
        _cut(card.subtitle, 10.5, "normal", WIDTH_PT - 2 * MARGIN_PT),
        10.5,
        look.quiet,
    )
    _draw_keys(page, card)
    _draw_strip(page, card)
    _draw_columns(page, card)
    for row, words in enumerate(reversed(card.legend)):
        _write(page, MARGIN_PT, HEIGHT_PT - 20.0 - 13.0 * row, words, SMALLEST_PT, look.quiet)


def _draw_keys(page, card):
    """Four boxes with the numbers that are looked up in the dark."""
    wide = (WIDTH_PT - 2.0 * MARGIN_PT - 3.0 * 9.0) / 4.0
    top = HEAD_PT + 9.0
    for place, key in enumerate(card.keys):
        left = MARGIN_PT + place * (wide + 9.0)
        frame = Rectangle(
            (left, top), wide, KEYS_PT, facecolor="none", edgecolor=page.look.quiet, linewidth=1.2
        )
        page.sheet.add_patch(frame)
        _write(page, left + 8.0, top + 15.0, key.label, 10.5, page.look.quiet)
        size_pt = min(24.0, 24.0 * (wide - 14.0) / max(_width_pt(key.value, 24.0, "bold"), 1.0))
        _write(page, left + 8.0, top + 41.0, key.value, size_pt, page.look.ink, "bold")
        words = f"{key.range_text} {SIGNS[key.mark]}".strip()
        _write(page, left + 8.0, top + 57.0, words, 10.5, page.look.ink)


def _draw_strip(page, card):
    """Altitude of the target over the night; what can be used is filled, what cannot is named."""
    ax, look, seen = page.strip, page.look, card.ribbon
    ax.set_facecolor(look.ground)
    for name, spine in ax.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_edgecolor(look.quiet)
    ax.tick_params(colors=look.quiet, labelcolor=look.ink, labelsize=10.0, length=3, pad=2)
    if seen is None or seen.times_utc is None:
        ax.set_axis_off()
        for row, words in enumerate(wrapped(f"{card.reason}.", 11.0, WIDTH_PT - 2.0 * MARGIN_PT)):
            _write(page, MARGIN_PT, STRIP_TOP_PT + 22.0 + 15.0 * row, words, 11.0, look.ink)
        return
    hours = (seen.times_utc - seen.times_utc[0]) / np.timedelta64(3_600_000, "ms")
    high = np.where(seen.altitude_deg > 0.0, seen.altitude_deg, np.nan)
    ax.fill_between(hours, 0.0, 90.0, where=seen.usable, step="mid", color=look.band, linewidth=0, zorder=1)
    ax.plot(hours, high, zorder=3, **(look.line("first") | {"linewidth": 2.0}))
    ax.set(xlim=(hours[0], max(hours[-1], hours[0] + 0.05)), ylim=(0.0, 90.0))
    ax.set_yticks([0, 30, 60, 90], ["0°", "30°", "60°", "90°"])
    _ticks(ax, seen.times_utc, card.zone)
    ax.set_ylabel("altitude", color=look.ink, fontsize=SMALLEST_PT, labelpad=2.0)
    for span in seen.spans():
        start, end = ((edge - seen.times_utc[0]) / np.timedelta64(3_600_000, "ms") for edge in span[:2])
        start, end = max(start, hours[0]), min(end, hours[-1])
        for edge in (start, end):
            if hours[0] < edge < hours[-1]:
                ax.axvline(edge, color=look.quiet, linewidth=0.9, zorder=2)
        words = SHORT[span.reason]
        room = (end - start) / (hours[-1] - hours[0]) * (WIDTH_PT - 2.0 * MARGIN_PT - INDENT_PT)
        if _width_pt(words, SMALLEST_PT, "normal") + 6.0 < room:
            _over(ax, 0.5 * (start + end), words, look)


SHORT = {
    "": "expose",
    "horizon": "no view",
    "set-up": "set-up",
    "zenith": "zenith",
    "battery": "battery empty",
    "dew": "dew",
    "legs": "legs",
    "swap": "swap",
}


def _over(ax, x, words, look):
    ax.text(
        x,
        93.0,
        words,
        ha="center",
        va="bottom",
        fontsize=SMALLEST_PT,
        color=look.ink,
        clip_on=False,
        parse_math=False,
    )


def _ticks(ax, times_utc, zone):
    """Whole hours of the clock."""
    clock = Clock(zone, times_utc[[0, -1]])
    labels = [clock(moment) for moment in times_utc]
    step = np.timedelta64(3_600_000, "ms")
    places, words, before = [], [], labels[0][:2] + labels[0][5:]
    for moment, label in zip(times_utc, labels, strict=True):
        if label[:2] + label[5:] != before:
            before = label[:2] + label[5:]
            places.append((moment - times_utc[0]) / step)
            words.append(f"{label[:2]}:00{label[5:]}")
    inside = [place < 0.98 * (times_utc[-1] - times_utc[0]) / step for place in places]
    kept = [pair for pair, fits in zip(zip(places, words, strict=True), inside, strict=True) if fits]
    ax.set_xticks([place for place, _ in kept], [word for _, word in kept])


def _draw_columns(page, card):
    """The sections in two columns, as large as they fit."""
    top, room = COLUMNS_PT, HEIGHT_PT - 20.0 - FOOT_PT - COLUMNS_PT + 8.0
    for size_pt, pitch_pt in SIZES:
        columns = _split([_rows(part, size_pt) for part in card.sections], pitch_pt, room)
        if columns is not None:
            break
    else:
        columns = _poured([row for part in card.sections for row in _rows(part, size_pt)], pitch_pt, room)
    for place, rows in enumerate(columns):
        left = MARGIN_PT + place * (COLUMN_PT + GUTTER_PT)
        down = top
        spare = min((room - _height(rows, pitch_pt)) / max(sum(row.title for row in rows) - 1, 1), 9.0)
        for count, row in enumerate(rows):
            down += 0.0 if count == 0 else row.above_pt + (spare if row.title else 0.0)
            _draw_row(page, row, left, down, size_pt)
            down += pitch_pt * (1.25 if row.title else 1.0)


def _draw_row(page, row, left, down, size_pt):
    look = page.look
    if row.title:
        _write(page, left, down, row.words, size_pt + 1.5, look.ink, "bold")
        rule = [left, left + COLUMN_PT], [down + 4.0, down + 4.0]
        page.sheet.plot(*rule, color=look.accent, linewidth=1.4, solid_capstyle="butt")
        return
    if row.lead:
        _write(page, left, down, row.lead, size_pt, look.quiet)
    _write(page, left + row.indent_pt, down, row.words, size_pt, look.ink)


def _rows(section, size_pt):
    """A section as printed rows: its title, and its lines wrapped beside their labels."""
    labels = [line.label for line in section.lines]
    if section.steps:
        labels = [f"{count}" for count in range(1, len(labels) + 1)]
        indent = STEP_PT
    elif len(labels) == 1:
        labels, indent = [""], 0.0
    else:
        indent = max(_width_pt(label, size_pt, "normal") for label in labels) + LABEL_GAP_PT
    rows = [Row("", section.title, 0.0, 7.0, True)]
    for label, line in zip(labels, section.lines, strict=True):
        for count, words in enumerate(wrapped(line.words, size_pt, SLACK * (COLUMN_PT - indent))):
            rows.append(Row(label if count == 0 else "", words, indent, 1.5 if count == 0 else 0.0, False))
    return rows


def wrapped(words, size_pt, room_pt) -> list[str]:
    """Words broken into rows no wider than the room; a sign, a unit and a range stay together."""
    for sign in filter(None, SIGNS.values()):
        words = words.replace(f" {sign}", f"{HELD}{sign}")
    words = re.sub(r"\([^()]{1,22}\)", lambda found: found.group().replace(" ", HELD), words)
    words = re.sub(r"(?<=\d) (?=[°%hsKNW]|min|mm|m/s|N·m|GB|g\b)", HELD, words)
    rows = []
    for part in words.split("\n"):
        row = ""
        for word in part.split(" "):
            longer = f"{row} {word}" if row else word
            if row and _width_pt(longer, size_pt, "normal") > room_pt:
                rows.append(row)
                row = word
            else:
                row = longer
        rows.append(row)
    return rows


def _height(rows, pitch_pt):
    above = sum(row.above_pt for row in rows[1:])
    return above + pitch_pt * sum(1.25 if row.title else 1.0 for row in rows)


def _split(sections, pitch_pt, room):
    """Whole sections in both columns, as even as can be; None where they do not fit.

    The order of the sections is kept; where it cannot be cut in two, a later section may fill the first column.
    """
    count = len(sections)
    in_order = [(1 << cut) - 1 for cut in range(1, count)]
    for choices in (in_order, range(1, 1 << count, 2)):  # the first section stays first
        options = []
        for bits in choices:
            halves = [[k for k in range(count) if (bits >> k & 1) == left] for left in (1, 0)]
            columns = [[row for k in half for row in sections[k]] for half in halves]
            options.append((max(_height(rows, pitch_pt) for rows in columns), columns))
        tallest, columns = min(options, key=lambda option: option[0])
        if tallest <= room:
            return columns
    return None


def _poured(rows, pitch_pt, room):
    """Row by row into the first column, then the second; what is left over is said."""
    columns = [[], []]
    for column in columns:
        while rows and _height([*column, rows[0]], pitch_pt) <= room:
            column.append(rows.pop(0))
        if rows and column and column[-1].title:
            rows.insert(0, column.pop())
    if rows:
        columns[1][-1] = Row("", MORE, 0.0, 0.0, False)
    return columns


def _write(page, x, y, words, size_pt, colour, weight="normal"):
    page.sheet.text(
        x, y, words, fontsize=size_pt, color=colour, fontweight=weight, va="baseline", parse_math=False
    )


def _cut(words, size_pt, weight, room_pt):
    """Words that fit into one row, or as many as fit and an ellipsis."""
    if _width_pt(words, size_pt, weight) <= room_pt:
        return words
    while words and _width_pt(f"{words}…", size_pt, weight) > room_pt:
        words = words[:-1].rstrip()
    return f"{words}…"


def _width_pt(words, size_pt, weight):
    return size_pt * _width_of_1_pt(words, weight)


@functools.lru_cache(maxsize=8192)
def _width_of_1_pt(words, weight):
    """The outlines carry no hints, so that widths go with the size: one measurement serves every size tried."""
    font = FontProperties(size=1.0, weight=weight)
    return TextToPath().get_text_width_height_descent(words, font, ismath=False)[0]
