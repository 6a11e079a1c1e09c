"""CSV as it comes: delimiters, codes, quotation marks, and where each cell stands."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.sheets.read_csv import read_csv
from interlock.sheets.table import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS


def texts(data: bytes) -> list[list[str]]:
    """The texts of a table, row by row, empty cells left out."""
    return [[cell.text for cell in row.cells.values()] for row in read_csv(data, "l.csv").rows]


@pytest.mark.parametrize("sign", ";,\t")
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_each_delimiter_and_end_of_line_is_known(sign: str, end: str) -> None:
    lines = [sign.join(["a", "b", "c"]), sign.join(["1", "", "3"])]
    assert texts(end.join(lines).encode()) == [["a", "b", "c"], ["1", "3"]]


def test_a_comma_in_a_description_parts_no_cells() -> None:
    assert texts(b"a;b\n1;key, turned\n2;x,y,z,u,v\n")[1] == ["1", "key, turned"]


def test_a_line_may_say_what_parts_the_cells() -> None:
    table = read_csv(b"sep=,\na;1,b;2\n", "l.csv")
    assert [c.text for c in table.rows[0].cells.values()] == ["a;1", "b;2"]
    assert table.rows[0].line == 2


@pytest.mark.parametrize(
    "data",
    [
        "Tür;grün".encode(),
        "Tür;grün".encode("utf-8-sig"),
        "Tür;grün".encode("cp1252"),
        "Tür;grün".encode("utf-16"),
    ],
)
def test_each_code_gives_the_same_text(data: bytes) -> None:
    assert texts(data) == [["Tür", "grün"]]


def test_an_older_code_is_told() -> None:
    assert read_csv("ü;x".encode("latin-1"), "l.csv").notes == [
        "not UTF-8: read as Windows-1252 (Latin-1)"
    ]
    assert read_csv("ü;x".encode(), "l.csv").notes == []


def test_quotation_marks_keep_delimiters_lines_and_marks() -> None:
    table = read_csv(b'a,"b, ""c""\nd",e\nf,g,h\n', "l.csv")
    assert [c.text for c in table.rows[0].cells.values()] == ["a", 'b, "c" d', "e"]
    assert str(table.rows[0].cells[1].place) == "l.csv:1:3"
    assert str(table.rows[1].cells[2].place) == "l.csv:3:5"


def test_empty_lines_are_no_rows_and_count_as_lines() -> None:
    table = read_csv(b"\n\na;b\n;;\n ; \nc;d\n", "l.csv")
    assert [row.line for row in table.rows] == [3, 6]


def test_what_begins_like_a_formula_is_a_text() -> None:
    assert texts(b"=1+1;'=2;'tis\n") == [["=1+1", "=2", "'tis"]]


@pytest.mark.parametrize(
    ("data", "place", "says"),
    [
        (b'a;b\n1;"open\n2', "l.csv:2:3", "a quotation mark without its other one"),
        (b"a;b\n\0;", "l.csv:2:1", "this is no text"),
        (b"x\n" * (MOST_ROWS + 1), f"l.csv:{MOST_ROWS + 1}:1", "more than 20,000 rows"),
        (b";" * MOST_COLUMNS + b"x", "l.csv:1:1", "more than 256 columns"),
        (b"a;" + b"x" * (LONGEST_CELL + 1), "l.csv:1:3", "a cell of more than 2,000 characters"),
    ],
)
def test_what_is_no_list_is_told_at_its_place(data: bytes, place: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        read_csv(data, "l.csv")
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith(f"{place}: {says}")
