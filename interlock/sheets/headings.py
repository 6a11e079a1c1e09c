"""Finding the row of headings of a table, and what each column is.

A column is known by its heading alone, never by what stands in it. Two columns that could be the
same thing are a question to the user, and so is a table without a heading that is known.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from interlock.sheets.table import Cell, Row, Table

# Above a table stand titles, dates and signatures.
MOST_ROWS_ABOVE = 40
_SIGNS = re.compile(r"[^a-z0-9/]+")


@dataclass(frozen=True)
class Headings:
    """Where the columns of a table are.

    Attributes
    ----------
    row : Row
        The row of headings; what the table holds stands below.
    columns : mapping of str to list of Cell
        By what a column is: the cells of its heading, from left to right.
    at : mapping of str to list of int
        The numbers of these columns.
    unknown : list of Cell
        Headings that say nothing here.
    """

    row: Row
    columns: Mapping[str, list[Cell]]
    at: Mapping[str, list[int]]
    unknown: list[Cell] = field(default_factory=list)


def plain_heading(text: str) -> str:
    """A heading in small letters without accents, and with one blank for all other signs.

    >>> plain_heading("E/A-Adresse:"), plain_heading("Größe (mm)")
    ('e/a adresse', 'grosse mm')
    """
    folded = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(c for c in folded if not unicodedata.combining(c))
    return _SIGNS.sub(" ", bare).strip()


def find_headings(
    table: Table, known: Mapping[str, Collection[str]], needed: str, told: Mapping[str, str]
) -> Headings | None:
    """The row of the first rows that has the most headings which are known.

    Parameters
    ----------
    table : Table
    known : mapping of str to collection of str
        By what a column is: how it may be headed, as `plain_heading` writes it.
    needed : str
        What must be among the columns.
    told : mapping of str to str
        Headings that the user named, by what the column is; these alone count for it.
    """
    kinds = {name: kind for kind, names in known.items() for name in names if kind not in told}
    kinds |= {plain_heading(heading): kind for kind, heading in told.items()}
    best: tuple[int, int] | None = None
    for number, row in enumerate(table.rows[:MOST_ROWS_ABOVE]):
        found = {kinds.get(plain_heading(cell.text)) for cell in row.cells.values()} - {None}
        if needed in found and (best is None or len(found) > best[0]):
            best = len(found), number
    if best is None:
        return None
    row = table.rows[best[1]]
    headings = dict(row.cells)
    above = table.rows[best[1] - 1] if best[1] else None
    if above is not None and above.line == row.line - 1:
        # A heading over two rows: what says nothing below is headed by what stands above.
        for column, cell in above.cells.items():
            below = plain_heading(row.text(column))
            if below not in kinds and plain_heading(cell.text) in kinds:
                headings[column] = cell
    columns: dict[str, list[Cell]] = {}
    at: dict[str, list[int]] = {}
    unknown = []
    for column, cell in sorted(headings.items()):
        kind = kinds.get(plain_heading(cell.text))
        if kind is None:
            unknown.append(cell)
        else:
            columns.setdefault(kind, []).append(cell)
            at.setdefault(kind, []).append(column)
    return Headings(row, columns, at, unknown)
