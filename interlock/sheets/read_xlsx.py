"""XLSX workbooks as tables: what the cells show, nothing that they would do.

Read here with the standard library rather than by one for spreadsheets: a list may come from
anyone, so every size is bounded before it is unfolded, a document type is refused, and formulas,
links, macros and pictures are never looked at. Of a formula the result counts that the
spreadsheet saved beside it.

Source: ISO/IEC 29500-1 (SpreadsheetML), from memory: parts, shared strings, cell types, merged
cells.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Iterator
from io import BytesIO
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from interlock.base.errors import InputError, Mistake, Place
from interlock.base.spreadsheet import to_csv
from interlock.sheets.table import MOST_COLUMNS, MOST_ROWS, Cell, Table, in_one_text

MOST_UNFOLDED_BYTES = 24_000_000
_OLD_OR_LOCKED = b"\xd0\xcf\x11\xe0"
_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
_DAMAGED = (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError)


class _RefusedError(Exception):
    """What is wrong with a workbook as a whole."""


def read_xlsx(data: bytes, file: str) -> list[Table]:
    """The visible sheets of a workbook, in its order.

    Raises
    ------
    InputError
        Where it is no workbook, or larger than a list would be.
    """
    try:
        return list(_Workbook(data, file).tables())
    except _RefusedError as refused:
        says = str(refused)
    except _DAMAGED:
        says = "this is no XLSX workbook, or it is damaged"
    raise InputError([Mistake(Place(file, 1, 1), says)])


class _Builder(ElementTree.TreeBuilder):
    """Builds trees of documents that have no type: one could unfold into anything."""

    def doctype(self, *_: object) -> None:
        raise _RefusedError("a document type is not supported in a workbook")


class _Workbook:
    def __init__(self, data: bytes, file: str) -> None:
        if data.startswith(_OLD_OR_LOCKED):
            raise _RefusedError(
                "an old .xls or a locked workbook; save it as an open .xlsx or as CSV"
            )
        self._file = file
        self._archive = zipfile.ZipFile(BytesIO(data))
        self._left = MOST_UNFOLDED_BYTES

    def tables(self) -> Iterator[Table]:
        """A table for each visible sheet."""
        home = "xl/workbook.xml"
        book = self._part(home)
        if book is None:
            raise _RefusedError(
                "there is no workbook in it; a list is a CSV file or an XLSX workbook"
            )
        targets = self._targets(home)
        shared = self._shared_texts(targets)
        for sheet in _all(book, "sheet"):
            if sheet.get("state", "visible") != "visible":
                continue
            link = next((v for k, v in sheet.attrib.items() if k.endswith("}id")), "")
            found = self._part(targets.get(link, ("", ""))[1])
            if found is not None:
                table = Table(self._file, sheet.get("name", ""))
                _fill(table, found, shared)
                table.text = _as_csv(table)
                yield table

    def _part(self, name: str) -> Element | None:
        """A part of the workbook; None where there is none with that name."""
        try:
            info = self._archive.getinfo(name)
        except KeyError:
            return None
        self._left -= info.file_size
        if self._left < 0:
            says = f"more than {MOST_UNFOLDED_BYTES:,} bytes unpacked; give the list alone"
            raise _RefusedError(says)
        try:
            # No more is unpacked than the archive says.
            text = self._archive.read(info)
        except ValueError:
            # A damaged list of contents may have a part begin before the file does.
            raise zipfile.BadZipFile from None
        parser = ElementTree.XMLParser(target=_Builder())
        try:
            parser.feed(text)
            root: Element = parser.close()
        except (ElementTree.ParseError, ValueError, LookupError):
            raise _RefusedError(f"its part {name} is not well-formed") from None
        return root

    def _targets(self, part: str) -> dict[str, tuple[str, str]]:
        """What a part refers to: kind and name of another part by the name of the reference."""
        folder, name = posixpath.split(part)
        found = self._part(f"{folder}/_rels/{name}.rels")
        targets = {}
        for one in [] if found is None else _all(found, "Relationship"):
            kind = one.get("Type", "").rpartition("/")[2]
            target = posixpath.normpath(posixpath.join("/", folder, one.get("Target", "")))
            targets[one.get("Id", "")] = (kind, target.lstrip("/"))
        return targets

    def _shared_texts(self, targets: dict[str, tuple[str, str]]) -> list[str]:
        name = next((target for kind, target in targets.values() if kind == "sharedStrings"), "")
        found = self._part(name)
        return [] if found is None else [_text_in(item) for item in _all(found, "si")]


def _as_csv(table: Table) -> str:
    """The cells as text, each row in the line that it has in the sheet."""
    rows = {row.line: row for row in table.rows}
    last = min(max(rows, default=0), 2 * MOST_ROWS)
    lines = [rows[n].cells if n in rows else {} for n in range(1, last + 1)]
    return to_csv(
        [cells[n].text if n in cells else "" for n in range(max(cells, default=-1) + 1)]
        for cells in lines
    )


def _local(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _all(element: Element, name: str) -> Iterator[Element]:
    return (one for one in element.iter() if _local(one) == name)


def _text_in(element: Element) -> str:
    """The text of a string item, whatever its looks; without what is said for its sounds."""
    parts = []
    for child in element:
        if _local(child) == "t":
            parts.append(child.text or "")
        elif _local(child) == "r":
            parts += [t.text or "" for t in child if _local(t) == "t"]
    return _ESCAPED.sub(_sign, "".join(parts))


def _sign(escaped: re.Match[str]) -> str:
    number = int(escaped[1], 16)
    is_half_of_a_pair = 0xD800 <= number < 0xE000
    return "\ufffd" if is_half_of_a_pair else chr(number)


def _fill(table: Table, sheet: Element, shared: list[str]) -> None:
    merged = _merged(sheet)
    # By line and column: what cells that are merged with another show.
    spread: dict[int, dict[int, Cell]] = {}
    line = 0
    for row in _all(sheet, "row"):
        line = _number(row.get("r"), line + 1)
        cells: dict[int, Cell] = {}
        column = -1
        for element in row:
            if _local(element) != "c":
                continue
            column = _column(element.get("r", ""), column + 1)
            place = Place(table.file, line, column + 1)
            cell = _cell(element, shared, place)
            for y, x in merged.get((line, column), ()):
                spread.setdefault(y, {})[x] = cell
            cells[column] = cell
        for column, kept in spread.get(line, {}).items():
            if column not in cells or not cells[column].text:
                cells[column] = kept
        table.add(line, cells)


def _merged(sheet: Element) -> dict[tuple[int, int], list[tuple[int, int]]]:
    """The other cells of each range that is merged, by its first one."""
    found: dict[tuple[int, int], list[tuple[int, int]]] = {}
    n_cells = 0
    for one in _all(sheet, "mergeCell"):
        ends = [_CELL.fullmatch(end) for end in one.get("ref", "").split(":")]
        if len(ends) != 2 or ends[0] is None or ends[1] is None:
            continue
        (left, right) = (_letters(end[1]) for end in ends if end is not None)
        (top, bottom) = (int(end[2]) for end in ends if end is not None)
        # Beyond what a list can have nothing is spread: titles may go over all columns.
        right, bottom = min(right, MOST_COLUMNS - 1), min(bottom, top + MOST_ROWS)
        n_cells += max(0, right - left + 1) * max(0, bottom - top + 1)
        if n_cells > MOST_COLUMNS * 1_000:
            raise _RefusedError("its merged cells are larger than a list would be")
        inside = [(y, x) for y in range(top, bottom + 1) for x in range(left, right + 1)]
        found[top, left] = inside[1:]
    return found


def _cell(element: Element, shared: list[str], place: Place) -> Cell:
    kind = element.get("t", "n")
    parts = {_local(child): child for child in element}
    has_formula = "f" in parts
    text = (parts["v"].text or "") if "v" in parts else ""
    problem = ""
    if kind == "inlineStr":
        text = _text_in(parts["is"]) if "is" in parts else ""
    elif kind == "s":
        index = _number(text, -1)
        text = shared[index] if 0 <= index < len(shared) else ""
    elif kind == "b":
        text = {"1": "TRUE", "0": "FALSE"}.get(text, text)
    elif kind == "e":
        problem = f"the cell shows the error {text[:20]}"
    elif kind == "n":
        text = _as_shown(text)
    if has_formula and not text:
        problem = "the cell holds a formula without a saved result; save the file once more"
    return Cell(in_one_text(text), place, problem, has_formula)


def _as_shown(number: str) -> str:
    """A number without the digits that binary numbers add: 0.1 and not 0.10000000000000001."""
    try:
        return format(float(number), ".15g")
    except ValueError:
        return number


def _number(text: str | None, otherwise: int) -> int:
    is_number = text is not None and text.isascii() and text.isdigit() and len(text) < 9
    return int(text) if text is not None and is_number else otherwise


def _column(name: str, otherwise: int) -> int:
    match = _CELL.fullmatch(name)
    return otherwise if match is None else _letters(match[1])


def _letters(letters: str) -> int:
    """The number of a column, from 0.

    >>> _letters("A"), _letters("AA")
    (0, 26)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number - 1
