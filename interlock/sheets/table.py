"""A table as rows of cells, each with its place; what it is a table of is not known here."""

from __future__ import annotations

from dataclasses import dataclass, field

from interlock.base.errors import InputError, Mistake, Place

# Lists of signals have hundreds of rows; what is larger is no list, and nobody waits for it.
MOST_BYTES = 8_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 256
MOST_CELLS = 400_000
LONGEST_CELL = 2_000


@dataclass(frozen=True)
class Cell:
    """What a cell shows.

    Attributes
    ----------
    text : str
        Without blanks around it; lines of one cell are parted by a blank. A text that begins with
        ``=`` is a text.
    place : Place
        In an XLSX file the column counts columns of the sheet, in a CSV file characters.
    problem : str
        Why the text cannot be relied on; empty where it can.
    is_saved_result : bool
        The text is what a spreadsheet last computed from a formula.
    """

    text: str
    place: Place
    problem: str = ""
    is_saved_result: bool = False


@dataclass(frozen=True)
class Row:
    """A row with something in it: the cells that are not empty, by the number of their column.

    Columns count from 0.
    """

    line: int
    cells: dict[int, Cell]

    def text(self, column: int) -> str:
        """The text in a column; empty where there is none."""
        cell = self.cells.get(column)
        return "" if cell is None else cell.text


@dataclass
class Table:
    """The rows of one sheet, or of a CSV file.

    Attributes
    ----------
    file : str
    sheet : str
        Name of the sheet; empty in a CSV file.
    rows : list of Row
        Those that are not empty, from top to bottom.
    notes : list of str
        How it was read, where that was a choice.
    text : str
        What the file says where it is text; else the cells as CSV.
    """

    file: str
    sheet: str = ""
    rows: list[Row] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    text: str = ""
    _n_cells: int = 0

    def add(self, line: int, cells: dict[int, Cell]) -> None:
        """Add a row below the others; empty cells and rows are not kept.

        Raises
        ------
        InputError
            Where a cell or the whole is larger than a list would be.
        """
        kept = {n: c for n, c in sorted(cells.items()) if c.text or c.problem}
        if not kept:
            return
        self._n_cells += len(kept)
        place = Place(self.file, line, 1)
        if self._n_cells > MOST_CELLS or len(self.rows) >= MOST_ROWS:
            says = f"more than {MOST_ROWS:,} rows or {MOST_CELLS:,} cells; give the list alone"
            raise InputError([Mistake(place, says)])
        if max(kept) >= MOST_COLUMNS:
            says = f"more than {MOST_COLUMNS} columns; give the list alone"
            raise InputError([Mistake(place, says)])
        for cell in kept.values():
            if len(cell.text) > LONGEST_CELL:
                says = f"a cell of more than {LONGEST_CELL:,} characters"
                raise InputError([Mistake(cell.place, says)])
        self.rows.append(Row(line, kept))

    def in_cells(self, mistakes: list[Mistake], since: int = 0) -> None:
        """Say of the mistakes noted since one in which cell of a workbook they stand."""
        for number in range(since, len(mistakes)) if self.sheet else ():
            place = mistakes[number].place
            if place.file == self.file:
                name = f"{column_name(place.column - 1)}{place.line}"
                says = f"cell {name} of '{self.sheet}': {mistakes[number].says}"
                mistakes[number] = Mistake(place, says)


def column_name(column: int) -> str:
    """The letters of a column of a sheet, from 0.

    >>> column_name(0), column_name(26)
    ('A', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def in_one_text(text: str) -> str:
    """The text of a cell without blanks around it and in one line."""
    return " ".join(text.split())
