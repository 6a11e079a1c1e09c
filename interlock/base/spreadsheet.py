"""Tables as comma-separated values in which a spreadsheet finds no formula.

A spreadsheet takes a cell for a formula, and computes it, where the text begins with certain
characters. A model's words are somebody's text, so such a cell gets an apostrophe in front, which
spreadsheets know as the sign for plain text; `understood` takes it off again.

Source: OWASP, "CSV Injection" (community page; equals, plus, minus, at, tab, carriage return, line
feed, and the full-width forms of the first four); from memory.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

_STARTS_A_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
_PLAIN = "'"


def to_csv(rows: Iterable[Iterable[object]]) -> str:
    """The rows as comma-separated values; every text as `plain` makes it, numbers as they are.

    >>> to_csv([["a", "=1+1", -2]])
    "a,'=1+1,-2\\n"
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    for row in rows:
        writer.writerow([plain(cell) if isinstance(cell, str) else cell for cell in row])
    return stream.getvalue()


def plain(text: str) -> str:
    """The text as a cell that is no formula.

    >>> plain("-> door"), plain("door")
    ("'-> door", 'door')
    """
    # An apostrophe of the text's own gets one, too, so that reading gives the text back.
    is_read_as_more = text.startswith((*_STARTS_A_FORMULA, _PLAIN))
    is_so_behind_blanks = text.lstrip().startswith(_STARTS_A_FORMULA)
    return _PLAIN + text if is_read_as_more or is_so_behind_blanks else text


def understood(cell: str) -> str:
    """The text that `plain` made a cell of; one that a spreadsheet took the sign off is as it is.

    >>> understood("'-> door"), understood("-> door"), understood("'tis")
    ('-> door', '-> door', "'tis")
    """
    bare = cell.removeprefix(_PLAIN)
    return bare if bare != cell and plain(bare) == cell else cell
