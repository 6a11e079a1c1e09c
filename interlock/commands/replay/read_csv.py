"""CSV read as records: a row with the names of the columns, then a sample a row."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping

from interlock.base.errors import Place
from interlock.commands.replay.columns import Layout, Mapped, Observed, lay_out
from interlock.commands.replay.record import Record, Row, mistake

# So many texts of cells are remembered with their values.
_MOST_KNOWN_CELLS = 100_000
_TIME = re.compile(r"[+-]?([0-9]{1,30}(\.[0-9]{0,30})?|\.[0-9]{1,30})(e[+-]?[0-9]{1,3})?", re.I)


def read_csv(
    lines: Iterator[tuple[int, str]], file: str, known: Mapping[str, Observed], mapped: Mapped
) -> Record:
    """The record in the lines of a CSV file.

    Raises
    ------
    InputError
        Where the first row is not right; the rows raise it where they are not.
    """
    number, head = next(lines, (1, ""))
    if not head.strip():
        raise mistake(Place(file, number, 1), "expected a row with the names of the columns")
    delimiter = max(",;\t", key=head.count)
    names = _cells(head, delimiter, file, number)
    layout = lay_out([(name.strip(), place) for name, place in names], known, mapped)
    return Record(layout.observed, _rows(lines, delimiter, file, layout, mapped))


def _cells(text: str, delimiter: str, file: str, number: int) -> list[tuple[str, Place]]:
    """The cells of a line, each with its place."""
    if '"' not in text:
        column = 1
        found = []
        for cell in text.split(delimiter):
            found.append((cell, Place(file, number, column)))
            column += len(cell) + 1
        return found
    try:
        (cells,) = csv.reader([text], delimiter=delimiter, strict=True)
    except (csv.Error, ValueError):
        place = Place(file, number, text.index('"') + 1)
        raise mistake(place, "a quotation mark without its other one") from None
    places, inside = [1], False
    for start, char in enumerate(text, 2):
        inside ^= char == '"'
        if char == delimiter and not inside:
            places.append(start)
    return [(c, Place(file, number, p)) for c, p in zip(cells, places, strict=False)]


class _Line:
    """The cells of one line; where each stands is only worked out for a mistake."""

    def __init__(self, text: str, delimiter: str, file: str, number: int) -> None:
        self._where = (text, delimiter, file, number)
        quoted = '"' in text
        self.cells = [c for c, _ in _cells(*self._where)] if quoted else text.split(delimiter)

    def place(self, n: int) -> Place:
        """Where the cell number `n` begins."""
        return _cells(*self._where)[n][1]


class _Reader:
    """Reads the rows below the head."""

    def __init__(self, layout: Layout, mapped: Mapped) -> None:
        self._layout = layout
        self._mapped = mapped
        self._last: float | None = None
        self._known: dict[tuple[int, str], int] = {}

    def row(self, line: _Line, place: Place) -> Row:
        """The row of a line.

        Raises
        ------
        InputError
            Where it is not right.
        """
        wanted = len(self._layout.columns)
        if len(line.cells) != wanted:
            said = f"{len(line.cells)} cells, but the first row names {wanted} columns"
            raise mistake(place, said)
        values: list[int | None] = []
        for n, column in enumerate(self._layout.columns):
            if column is None:
                continue
            cell = line.cells[n].strip()
            value = self._known.get((n, cell))
            if value is None and cell:
                value = column.value(cell, line.place(n))
                if len(self._known) < _MOST_KNOWN_CELLS:
                    self._known[n, cell] = value
            values.append(value)
        return Row(place, self._time(line), tuple(values))

    def _time(self, line: _Line) -> float | None:
        at = self._layout.time
        if at is None:
            return None
        cell = line.cells[at].strip()
        time = _time(cell, self._layout.ms_per_unit)
        if time is None and cell:
            raise mistake(line.place(at), f"'{cell[:40]}' is not a time")
        last, self._last = self._last, self._last if time is None else time
        if time is not None and last is not None and time < last - self._mapped.jitter_ms:
            raise mistake(line.place(at), f"the time goes back by {last - time:g} ms")
        return time


def _rows(
    lines: Iterator[tuple[int, str]], delimiter: str, file: str, layout: Layout, mapped: Mapped
) -> Iterator[Row]:
    reader = _Reader(layout, mapped)
    for number, text in lines:
        if text.strip():
            yield reader.row(_Line(text, delimiter, file, number), Place(file, number, 1))


def _time(text: str, ms_per_unit: int) -> float | None:
    """Milliseconds, or None where the text is no time."""
    if not _TIME.fullmatch(text):
        return None
    found = float(text) * ms_per_unit
    return found if abs(found) < 1e15 else None
