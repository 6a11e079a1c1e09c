"""Tables written as an XLSX workbook: texts and numbers, a few looks, never a formula.

The only door to ``xlsxwriter``. The same tables give the same bytes: the archive bears no time,
and the date that a workbook must have is always the same. Each text is written as a text, whatever
it begins with.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum
from io import BytesIO

import xlsxwriter

from interlock.base.visible import made_visible

_WIDEST = 60
_LONGEST_NAME = 31
# What a cell of a workbook holds.
_LONGEST_TEXT = 32_767
_EARLIEST = datetime(1980, 1, 1)
_NOT_IN_A_NAME = re.compile(r"[\\/*?:\[\]]")


class Look(Enum):
    """How a cell looks; what it means must stand in its text, too."""

    PLAIN = 0
    HEADING = 1
    GOOD = 2
    BAD = 3
    OPEN = 4
    QUIET = 5


_LAID_OUT = {"font_name": "Arial", "font_size": 10, "valign": "top", "text_wrap": True}
_STYLES: dict[Look, dict[str, object]] = {
    Look.PLAIN: {},
    Look.HEADING: {"bold": True, "bg_color": "#D9D9D9"},
    Look.GOOD: {"bg_color": "#D7EFD7"},
    Look.BAD: {"bold": True, "bg_color": "#F6C6C0"},
    Look.OPEN: {"bg_color": "#FBEFC0"},
    Look.QUIET: {"font_color": "#6A6A6A"},
}


@dataclass(frozen=True)
class Shown:
    """A cell: a text or a number, and its look."""

    value: str | int | float
    look: Look = Look.PLAIN


@dataclass(frozen=True)
class Sheet:
    """A sheet to be written.

    Attributes
    ----------
    name : str
    rows : sequence of sequence of Shown, str, int or float
    n_headings : int
        So many rows stay in sight.
    """

    name: str
    rows: Sequence[Sequence[Shown | str | int | float]]
    n_headings: int = 1
    widths: dict[int, int] = field(default_factory=dict)


def to_xlsx(sheets: Sequence[Sheet]) -> bytes:
    """The bytes of a workbook with these sheets."""
    stream = BytesIO()
    with xlsxwriter.Workbook(stream, {"in_memory": True}) as book:
        book.set_properties({"created": _EARLIEST})
        looks = {look: book.add_format({**_LAID_OUT, **own}) for look, own in _STYLES.items()}
        for name, sheet in zip(_names([sheet.name for sheet in sheets]), sheets, strict=True):
            written = book.add_worksheet(name)
            if 0 < sheet.n_headings < len(sheet.rows):
                written.freeze_panes(sheet.n_headings, 0)
            for column, width in enumerate(_widths(sheet)):
                written.set_column(column, column, width)
            for line, row in enumerate(sheet.rows):
                for column, cell in enumerate(row):
                    shown = cell if isinstance(cell, Shown) else Shown(cell)
                    look = looks[shown.look]
                    if isinstance(shown.value, str):
                        _write_text(written, line, column, shown, look)
                    else:
                        written.write_number(line, column, shown.value, look)
    return stream.getvalue()


def _write_text(
    sheet: xlsxwriter.worksheet.Worksheet,
    line: int,
    column: int,
    shown: Shown,
    look: xlsxwriter.format.Format,
) -> None:
    text = made_visible(str(shown.value))[:_LONGEST_TEXT]
    if text:
        sheet.write_string(line, column, text, look)
    elif shown.look is not Look.PLAIN:
        sheet.write_blank(line, column, None, look)


def _names(wanted: Sequence[str]) -> list[str]:
    """Names of sheets as workbooks allow them, each once."""
    found: list[str] = []
    for name in wanted:
        plain = _NOT_IN_A_NAME.sub(" ", name).strip("' ")[:_LONGEST_NAME] or "Sheet"
        number = 2
        while plain.casefold() in {other.casefold() for other in found}:
            plain = f"{plain[: _LONGEST_NAME - 4]} {number}"
            number += 1
        found.append(plain)
    return found


def _widths(sheet: Sheet) -> list[int]:
    """About as many signs as the longest text of a column has."""
    n_columns = max((len(row) for row in sheet.rows), default=0)
    found = []
    for column in range(n_columns):
        cells = [row[column] for row in sheet.rows if column < len(row)]
        texts = [str(cell.value if isinstance(cell, Shown) else cell) for cell in cells]
        longest = max((len(line) for text in texts for line in text.split("\n")), default=0)
        found.append(sheet.widths.get(column, min(max(longest + 2, 6), _WIDEST)))
    return found
