"""Workbooks: what the cells show, and nothing that could harm."""

from __future__ import annotations

import zipfile
from io import BytesIO

import pytest

from interlock.base.errors import InputError
from interlock.sheets.read_xlsx import MOST_UNFOLDED_BYTES, read_xlsx
from interlock.sheets.table import Table
from tests.support.workbooks import packed, parts_of, rows


def only(inside: str, *shared: str) -> Table:
    (table,) = read_xlsx(packed(parts_of({"S": inside}, shared)), "l.xlsx")
    return table


def texts(table: Table) -> list[dict[int, str]]:
    return [{n: cell.text for n, cell in row.cells.items()} for row in table.rows]


def test_each_sort_of_cell_shows_what_a_spreadsheet_shows() -> None:
    line = [
        '<c t="s"><v>1</v></c>',
        '<c t="inlineStr"><is><r><t>a </t></r><r><t>b</t></r><rPh><t>no</t></rPh></is></c>',
        "<c><v>0.10000000000000001</v></c>",
        '<c t="b"><v>1</v></c>',
        '<c t="str"><f>"I"&amp;A1</f><v>I0.0</v></c>',
        "<c><v>3</v></c>",
    ]
    table = only(rows(line), "<t>one</t>", "<t>two_x0041_</t>")
    assert texts(table) == [{0: "twoA", 1: "a b", 2: "0.1", 3: "TRUE", 4: "I0.0", 5: "3"}]
    assert [c.is_saved_result for c in table.rows[0].cells.values()] == [*[False] * 4, True, False]


def test_what_begins_like_a_formula_is_a_text() -> None:
    table = only(rows(['<c t="s"><v>0</v></c>']), "<t>=1+1</t>")
    assert texts(table) == [{0: "=1+1"}]
    assert not table.rows[0].cells[0].is_saved_result


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("<c><f>1+1</f></c>", "a formula without a saved result"),
        ('<c t="e"><f>1/0</f><v>#DIV/0!</v></c>', "shows the error #DIV/0!"),
    ],
)
def test_a_cell_without_a_result_has_a_problem(cell: str, says: str) -> None:
    assert says in only(rows([cell])).rows[0].cells[0].problem


def test_merged_cells_all_show_what_the_first_one_does() -> None:
    table = only(rows(["Title", "", ""], ["a", "b", "c"], ["", "d", ""], merged="A1:C1 A2:A3"))
    assert texts(table) == [
        {0: "Title", 1: "Title", 2: "Title"},
        {0: "a", 1: "b", 2: "c"},
        {0: "a", 1: "d"},
    ]


def test_a_title_over_every_column_of_a_sheet_is_no_large_list() -> None:
    table = only(rows(["Title"], ["a", "b"], merged="A1:XFD1"))
    assert texts(table)[1] == {0: "a", 1: "b"}
    assert set(texts(table)[0].values()) == {"Title"}


def test_cells_without_names_follow_each_other_and_hidden_sheets_are_not_read() -> None:
    inside = (
        "<sheetData><row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row></sheetData>"
    )
    parts = parts_of({"A": inside, "B": rows(["x"])}, hidden="B")
    (table,) = read_xlsx(packed(parts), "l.xlsx")
    assert texts(table) == [{0: "1", 1: "2"}, {0: "3"}]
    assert [row.line for row in table.rows] == [1, 2]
    assert table.sheet == "A"


def refused(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        read_xlsx(data, "l.xlsx")
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith("l.xlsx:")
    return mistake.says


def test_a_document_type_is_refused() -> None:
    parts = parts_of({"S": rows(["a"])})
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><x>&b;</x>'
    assert "document type" in refused(packed({**parts, "xl/s1.xml": bomb}))
    assert "document type" in refused(packed({**parts, "xl/workbook.xml": bomb.encode("utf-16")}))


def test_what_would_unfold_beyond_bounds_is_refused_before_it_does() -> None:
    parts = parts_of({"S": rows(["a"])})
    large = packed({**parts, "xl/s1.xml": b" " * (MOST_UNFOLDED_BYTES + 1)})
    assert len(large) < 50_000
    assert "bytes unpacked" in refused(large)


def test_a_sheet_that_is_nearly_empty_and_very_large_costs_nothing() -> None:
    far = '<c r="XFD1048576" s="1"/>'
    assert texts(only(f'<sheetData><row r="1048576">{far}</row></sheetData>')) == []
    wide = far.replace("/>", "><v>1</v></c>")
    inside = f'<sheetData><row r="1048576">{wide}</row></sheetData>'
    assert "more than 256 columns" in refused(packed(parts_of({"S": inside})))
    merged = rows(["a"], merged="A1:XFD1048576")
    assert "merged cells are larger" in refused(packed(parts_of({"S": merged})))


def test_what_is_no_workbook_is_told_in_one_line() -> None:
    whole = packed(parts_of({"S": rows(["a"])}))
    assert "damaged" in refused(b"PK\x03\x04 and nothing")
    assert "damaged" in refused(whole[: len(whole) // 2])
    assert "no workbook in it" in refused(packed({"mimetype": "text"}))
    assert "old .xls or a locked workbook" in refused(b"\xd0\xcf\x11\xe0 and more")
    broken = parts_of({"S": rows(["a"])[:-5]})
    assert "xl/s1.xml is not well-formed" in refused(packed(broken))


def test_a_part_whose_bytes_are_not_what_the_archive_says_is_refused() -> None:
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, text in parts_of({"S": rows(["abcdef"])}).items():
            archive.writestr(name, text)
    assert "damaged" in refused(stream.getvalue().replace(b"abcdef", b"abcdeg"))
