"""What is written is read back as it was, with the same bytes each time and never a formula."""

from __future__ import annotations

import zipfile
from io import BytesIO

from hypothesis import given
from hypothesis import strategies as st

from interlock.base.visible import made_visible
from interlock.sheets.read_xlsx import read_xlsx
from interlock.sheets.table import in_one_text
from interlock.sheets.write_xlsx import Look, Sheet, Shown, to_xlsx


@given(st.lists(st.lists(st.text(max_size=12), max_size=4), max_size=4))
def test_any_texts_come_back(rows: list[list[str]]) -> None:
    data = to_xlsx([Sheet("S", rows)])
    assert data == to_xlsx([Sheet("S", rows)])
    (table,) = read_xlsx(data, "l.xlsx")
    shown = [[in_one_text(made_visible(text)) for text in row] for row in rows]
    wanted = {
        (line, column): text
        for line, row in enumerate(shown, 1)
        for column, text in enumerate(row)
        if text
    }
    found = {(row.line, n): cell.text for row in table.rows for n, cell in row.cells.items()}
    assert found == wanted


def test_nothing_is_a_formula_and_no_part_refers_outside() -> None:
    data = to_xlsx([Sheet("=A1", [["=HYPERLINK(1)", "+1", "@x", 5, Shown("", Look.BAD)]])])
    with zipfile.ZipFile(BytesIO(data)) as archive:
        texts = {name: archive.read(name).decode() for name in archive.namelist()}
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    sheet = texts["xl/worksheets/sheet1.xml"]
    assert "<f>" not in sheet
    # Three texts, one number; an empty cell has neither, but its look.
    assert (sheet.count('t="s"'), sheet.count("<v>")) == (3, 4)
    assert sheet.count("<c ") == 5
    assert not any("TargetMode" in text for text in texts.values())


def test_names_of_sheets_are_such_as_workbooks_allow_and_each_is_one() -> None:
    names = ["a/b", "A B", "x" * 40, "", "'q'"]
    tables = read_xlsx(to_xlsx([Sheet(name, [["1"]]) for name in names]), "l.xlsx")
    found = [table.sheet for table in tables]
    assert found == ["a b", "A B 2", "x" * 31, "Sheet", "q"]
