"""CSV as it comes: any of three delimiters, with or without a mark, UTF-8 or an older code.

The cells are taken apart here and not by the standard library, which does not say where one stands.

Source: RFC 4180 for quotation marks; ``sep=;`` in the first line is a custom of spreadsheets (from
memory).
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator

from interlock.base.errors import InputError, Mistake, Place
from interlock.base.spreadsheet import understood
from interlock.sheets.table import Cell, Table, in_one_text

DELIMITERS = {";": "semicolons", ",": "commas", "\t": "tabs"}
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
# So many lines tell by what the cells are parted.
_LINES_LOOKED_AT = 50


def read_csv(data: bytes, file: str) -> Table:
    """The table in the bytes of a CSV file.

    Raises
    ------
    InputError
        Where it is no text, a quotation mark has no other one, or it is too large.
    """
    table = Table(file)
    text = _text(data, table).replace("\r\n", "\n").replace("\r", "\n")
    table.text = text
    delimiter, text = _delimiter(text, table)
    row: dict[int, Cell] = {}
    line = 1
    for n, cell in _cells(text, delimiter, file):
        if n == 0:
            table.add(line, row)
            row, line = {}, cell.place.line
        row[n] = cell
    table.add(line, row)
    return table


def _text(data: bytes, table: Table) -> str:
    if data.startswith(_UTF_16):
        table.notes.append("read as UTF-16")
        return data.decode("utf-16", errors="replace")
    if b"\0" in data:
        place = Place(table.file, data[: data.index(b"\0")].count(b"\n") + 1, 1)
        says = "this is no text; a list is a CSV file or an XLSX workbook"
        raise InputError([Mistake(place, says)])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    table.notes.append("not UTF-8: read as Windows-1252 (Latin-1)")
    return text


def _delimiter(text: str, table: Table) -> tuple[str, str]:
    """What parts the cells, and the text with the line blanked that says so."""
    first, end, rest = text.partition("\n")
    if first.strip().casefold().startswith("sep=") and first.strip()[4:5] in DELIMITERS:
        return first.strip()[4:5], end + rest
    lines = [line for line in _outside_quotes(text).split("\n") if line.strip()]
    looked = lines[:_LINES_LOOKED_AT]

    def lines_and_times(delimiter: str) -> tuple[int, int]:
        counts = [line.count(delimiter) for line in looked]
        return sum(map(bool, counts)), sum(counts)

    # A comma in a description is in some lines only, and a delimiter in nearly all.
    found = max(DELIMITERS, key=lines_and_times)
    if any(found in line for line in looked):
        others = [d for d in DELIMITERS if d != found and any(d in line for line in looked)]
        if others:
            table.notes.append(f"cells are parted by {DELIMITERS[found]}")
    return found, text


def _outside_quotes(text: str) -> str:
    """The text without what stands between quotation marks."""
    return "".join(text.split('"')[::2])


def _cells(text: str, delimiter: str, file: str) -> Iterator[tuple[int, Cell]]:
    """Each cell with the number of its column, row after row."""
    index, line, line_start, column = 0, 1, 0, 0
    while index < len(text):
        place = Place(file, line, index - line_start + 1)
        if text[index] == '"':
            value, index = _quoted(text, index, place)
            begins = text.count("\n", line_start, index)
            if begins:
                line += begins
                line_start = text.rfind("\n", 0, index) + 1
        else:
            value = ""
        end_of_line = text.find("\n", index)
        end_of_line = len(text) if end_of_line < 0 else end_of_line
        end = text.find(delimiter, index, end_of_line)
        end = end_of_line if end < 0 else end
        value += text[index:end]
        yield column, Cell(in_one_text(understood(value)), place)
        column += 1
        if text[end : end + 1] != delimiter:
            line, line_start, column = line + 1, end + 1, 0
        index = end + 1


def _quoted(text: str, index: int, place: Place) -> tuple[str, int]:
    """What stands between the quotation mark at `index` and its other one, and what follows."""
    parts = []
    start = index + 1
    while True:
        end = text.find('"', start)
        if end < 0:
            raise InputError([Mistake(place, "a quotation mark without its other one")])
        parts.append(text[start:end])
        if text[end + 1 : end + 2] != '"':
            return '"'.join(parts), end + 1
        start = end + 2
