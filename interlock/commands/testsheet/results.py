"""A sheet that was filled in, read back: what was shown in the yard and what is left open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from interlock.base import spreadsheet
from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.commands.testsheet.rows_in_words import COLUMNS, RESULTS, other_mark_says, table
from interlock.commands.testsheet.sheet import Row, Sheet
from interlock.model.files import read_text

_FIXED = COLUMNS[: COLUMNS.index("result")]


@dataclass(frozen=True)
class Cell:
    """A cell of a file of comma-separated values and where it stands."""

    text: str
    line: int
    column: int


@dataclass(frozen=True)
class Results:
    """What a filled-in sheet says.

    Attributes
    ----------
    passed, failed, undone : tuple of Row
    remarks : tuple of (int, str)
        Row numbers with what was remarked.
    shown : frozenset of str
        Ids of goals that some passed row shows.
    """

    sheet: Sheet
    passed: tuple[Row, ...]
    failed: tuple[Row, ...]
    undone: tuple[Row, ...]
    remarks: tuple[tuple[int, str], ...]
    shown: frozenset[str]

    @property
    def missing(self) -> tuple[str, ...]:
        """Ids of goals that the sheet shows and no passed row does."""
        return tuple(g.id for g in self.sheet.goals if g.id in self.sheet.covered - self.shown)


def read_results(sheet: Sheet, file: Path) -> Results:
    """Read a filled-in sheet.

    Raises
    ------
    InputError
        With every place where the file is not this sheet, filled in.
    """
    reader = _Reader(str(file), sheet)
    rows = list(cells(read_text(file), str(file)))
    return reader.results(rows)


class _Reader:
    def __init__(self, file: str, sheet: Sheet) -> None:
        self.file, self.sheet = file, sheet
        self.mistakes = MistakeList()

    def _add(self, cell: Cell, says: str) -> None:
        self.mistakes.append(Mistake(Place(self.file, cell.line, cell.column), says))

    def results(self, rows: list[list[Cell]]) -> Results:
        """Everything that `rows` say, the heading first."""
        wanted = table(self.sheet)
        if not rows or [cell.text.strip() for cell in rows[0]] != list(COLUMNS):
            place = Place(self.file, 1, 1)
            said = f"expected the heading of a sheet: {','.join(COLUMNS)}"
            raise InputError([Mistake(place, said)])
        found: dict[int, tuple[str, str]] = {}
        for number, row in enumerate(rows[1:], 1):
            read = self._row(row, number, wanted)
            if read is not None:
                found[number] = read
        if len(rows) - 1 < len(wanted):
            end = rows[-1][-1]
            said = f"row {len(rows)} is missing: the sheet has {len(wanted)} rows"
            self._add(Cell("", end.line + 1, 1), said)
        if self.mistakes:
            raise InputError(self.mistakes)
        return self._summed(found)

    def _row(
        self, row: list[Cell], number: int, wanted: list[tuple[str, ...]]
    ) -> tuple[str, str] | None:
        if len(row) != len(COLUMNS):
            self._add(row[-1], f"{len(row)} columns; expected {len(COLUMNS)}")
            return None
        if number > len(wanted):
            self._add(row[0], f"the sheet has no row {number}; it ends with {len(wanted)}")
            return None
        for name, cell, text in zip(_FIXED, row, wanted[number - 1], strict=False):
            readings = (cell.text, spreadsheet.understood(cell.text))
            if " ".join(text.split()) in [" ".join(one.split()) for one in readings]:
                continue
            said = f"'{name}' is not what the sheet says: {_short(text)}"
            if name == "sheet":
                why = other_mark_says(cell.text.strip(), text)
                said = f"{why} ({_short(cell.text)}, not {text}): make the sheet anew"
            elif name == "row":
                said = f"expected row {text}, not {_short(cell.text)}"
            self._add(cell, said)
            return None
        result, remark = row[-2], row[-1]
        said = result.text.strip().casefold()
        if said and said not in RESULTS:
            near = nearest(said, RESULTS)
            self._add(result, f"'{_short(result.text)}' is no result: pass, fail or nothing{near}")
            return None
        return said, spreadsheet.understood(remark.text).strip()

    def _summed(self, found: dict[int, tuple[str, str]]) -> Results:
        by_result: dict[str, list[Row]] = {"pass": [], "fail": [], "": []}
        for row in self.sheet.rows:
            by_result[found[row.number][0]].append(row)
        shown = {goal for row in by_result["pass"] for goal in row.shows}
        return Results(
            self.sheet,
            tuple(by_result["pass"]),
            tuple(by_result["fail"]),
            tuple(by_result[""]),
            tuple((number, remark) for number, (_, remark) in found.items() if remark),
            frozenset(shown),
        )


def _short(text: str) -> str:
    return text if len(text) <= 50 else text[:49] + "…"


def cells(text: str, file: str = "") -> Iterator[list[Cell]]:
    """The cells of comma- or semicolon-separated values, each with its place.

    Raises
    ------
    InputError
        Where a quotation is not closed.

    >>> [[cell.text for cell in row] for row in cells('a,"b, c"\\n1,2')]
    [['a', 'b, c'], ['1', '2']]
    """
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    row: list[Cell] = []
    at, line, start_of_line = 0, 1, 0
    while at < len(text):
        cell_line, column = line, at - start_of_line + 1
        if text[at] == '"':
            content, end = _quoted(text, at, Place(file, line, column))
            n_lines = text.count("\n", at, end)
            if n_lines:
                line, start_of_line = line + n_lines, text.rindex("\n", at, end) + 1
        else:
            end = at
            while end < len(text) and text[end] not in (separator, "\n"):
                end += 1
            content = text[at:end]
        row.append(Cell(content, cell_line, column))
        at = end
        if at < len(text) and text[at] == separator:
            at += 1
            if at == len(text) or text[at] == "\n":
                row.append(Cell("", line, at - start_of_line + 1))
        if at < len(text) and text[at] == "\n":
            if any(cell.text for cell in row):
                yield row
            row, at, line = [], at + 1, line + 1
            start_of_line = at
    if any(cell.text for cell in row):
        yield row


def _quoted(text: str, start: int, place: Place) -> tuple[str, int]:
    """The text between quotation marks from `start`, and where it ends."""
    parts = []
    at = start + 1
    while True:
        end = text.find('"', at)
        if end < 0:
            raise InputError([Mistake(place, "a quotation is not closed")])
        parts.append(text[at:end])
        if text[end + 1 : end + 2] != '"':
            return "".join(parts), end + 1
        parts.append('"')
        at = end + 2
