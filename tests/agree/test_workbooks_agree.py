"""Workbooks of another library are read as it means them, and ours are read by it."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import openpyxl
from hypothesis import example, given, settings
from hypothesis import strategies as st

from interlock.sheets.read_xlsx import read_xlsx
from interlock.sheets.table import in_one_text
from interlock.sheets.write_xlsx import Look, Sheet, Shown, to_xlsx

# What XML cannot carry is no part of a workbook; blanks are not told apart here.
SIGNS = st.characters(min_codepoint=33, max_codepoint=0x2FF, exclude_categories=("Cc", "Cf"))
CELLS = st.one_of(st.text(SIGNS, max_size=8), st.integers(-999, 999), st.just("=1+1"))
TABLES = st.lists(st.lists(CELLS, max_size=4), min_size=1, max_size=4)


def by_theirs(data: bytes) -> dict[tuple[int, int], Any]:
    sheet = openpyxl.load_workbook(BytesIO(data)).worksheets[0]
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f"]
    return {(c.row, c.column - 1): c.value for c in cells if c.value not in (None, "")}


def by_ours(data: bytes) -> dict[tuple[int, int], str]:
    (table,) = read_xlsx(data, "l.xlsx")
    return {(row.line, n): cell.text for row in table.rows for n, cell in row.cells.items()}


@given(TABLES)
@settings(max_examples=50)
def test_ours_is_read_by_theirs(rows: list[list[str | int]]) -> None:
    shown = [[Shown(cell, Look.GOOD) for cell in row] for row in rows]
    found = by_theirs(to_xlsx([Sheet("S", shown)]))
    assert found == {
        (line, column): cell
        for line, row in enumerate(rows, 1)
        for column, cell in enumerate(row)
        if cell != ""
    }


@given(TABLES)
@example([["\xa0"]])  # Nothing but a blank is nothing.
@settings(max_examples=50)
def test_theirs_is_read_by_ours(rows: list[list[str | int]]) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for line, row in enumerate(rows, 1):
        for column, value in enumerate(row, 1):
            cell = sheet.cell(line, column, value)
            if isinstance(value, str):
                cell.data_type = "s"
    sheet.merge_cells("A9:B10")
    sheet["A9"] = "merged"
    stream = BytesIO()
    book.save(stream)
    found = by_ours(stream.getvalue())
    assert found == {
        (line, column): text
        for line, row in enumerate(rows, 1)
        for column, value in enumerate(row)
        if (text := in_one_text(str(value)))
    } | {(y, x): "merged" for y in (9, 10) for x in (0, 1)}
