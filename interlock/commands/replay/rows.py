"""Records read row by row, however long they are."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from interlock.base.errors import InputError, Mistake, Place
from interlock.commands.replay.columns import Layout, Mapped, Observed, lay_out

MAX_LINE_BYTES = 1_000_000
MOST_KNOWN = 100_000


@dataclass(frozen=True)
class Row:
    """One sample.

    Attributes
    ----------
    place : Place
    time_ms : float or None
    values : tuple of int or None
        One for each observed thing, None where this sample does not tell.
    """

    place: Place
    time_ms: float | None
    values: tuple[int | None, ...]


@dataclass(frozen=True)
class Record:
    """An opened record: what it shows, and its rows, once."""

    observed: tuple[Observed, ...]
    rows: Iterator[Row]


@contextmanager
def opened(file: Path, known: Mapping[str, Observed], mapped: Mapped) -> Iterator[Record]:
    """Open the record in `file`, CSV or (``.vcd``) a value change dump.

    Raises
    ------
    InputError
        Where it cannot be read or its head is not right; the rows raise it where they are not.
    """
    try:
        if not file.is_file():
            raise mistake(Place(str(file), 1, 1), "no such file")
        stream = file.open("rb")
    except OSError as error:
        raise mistake(Place(str(file), 1, 1), f"cannot be read: {error.strerror}") from None
    with stream:
        lines = lines_of(stream, str(file))
        if file.suffix.casefold() == ".vcd":
            from interlock.commands.replay.vcd import read_vcd

            yield read_vcd(lines, str(file), known, mapped)
        else:
            yield _read_csv(lines, str(file), known, mapped)


def mistake(place: Place, says: str) -> InputError:
    """One mistake in a record."""
    return InputError([Mistake(place, says)])


def lines_of(stream: BinaryIO, file: str) -> Iterator[tuple[int, str]]:
    """The lines of a file without their ends, each with its number.

    Raises
    ------
    InputError
        Where one is too long or not UTF-8.
    """
    number = 0
    while data := stream.readline(MAX_LINE_BYTES + 1):
        number += 1
        if len(data) > MAX_LINE_BYTES:
            raise mistake(Place(file, number, 1), f"a line of more than {MAX_LINE_BYTES:,} bytes")
        try:
            text = data.decode("utf-8-sig" if number == 1 else "utf-8")
        except UnicodeDecodeError as error:
            column = len(data[: error.start].decode("utf-8", errors="replace")) + 1
            said = f"not UTF-8 text: byte 0x{data[error.start]:02X} begins no character"
            raise mistake(Place(file, number, column), said) from None
        yield number, text.rstrip("\r\n")


def _read_csv(
    lines: Iterator[tuple[int, str]], file: str, known: Mapping[str, Observed], mapped: Mapped
) -> Record:
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
                if len(self._known) < MOST_KNOWN:
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
    try:
        found = float(text) * ms_per_unit
    except ValueError:
        return None
    return found if abs(found) < 1e15 else None
