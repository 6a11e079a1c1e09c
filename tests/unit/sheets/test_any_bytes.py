"""Whatever bytes a table has: it is read, or one line says why not."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import example, given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.sheets.read_csv import read_csv
from interlock.sheets.read_xlsx import read_xlsx
from interlock.sheets.write_xlsx import Sheet, to_xlsx
from tests.support.workbooks import packed, parts_of, rows

WHOLE = to_xlsx([Sheet("S", [["a", "b"], ["c", 1]])])


@given(st.binary(max_size=60) | st.text(max_size=60).map(str.encode))
def test_any_bytes_are_a_list_or_a_mistake(data: bytes) -> None:
    with suppress(InputError):
        read_csv(data, "l.csv")
    with suppress(InputError):
        read_xlsx(data, "l.xlsx")


@given(st.integers(0, len(WHOLE) - 1), st.binary(min_size=1, max_size=8))
@settings(max_examples=150)
@example(at=5435, data=b"\x01")  # Here a part is said to begin before the file does.
def test_a_damaged_workbook_is_read_or_a_mistake(at: int, data: bytes) -> None:
    with suppress(InputError):
        read_xlsx(WHOLE[:at] + data + WHOLE[at + len(data) :], "l.xlsx")


@given(
    st.sampled_from(["s", "n", "b", "e", "str", "inlineStr", "x"]),
    st.text(st.characters(min_codepoint=32, max_codepoint=0x2FF), max_size=8),
    st.sampled_from(["A1:B2", "B2:A1", "A1", ":", "ZZZ9999999:A1", "A0:A0"]),
)
def test_any_cell_is_read_or_a_mistake(kind: str, text: str, merged: str) -> None:
    value = text.replace("&", "").replace("<", "")
    sheet = rows([f'<c t="{kind}"><v>{value}</v></c>', f'<c r="{kind}"><v>{value}</v></c>'])
    sheet = sheet.replace("</mergeCells>", f'<mergeCell ref="{merged}"/></mergeCells>')
    with suppress(InputError):
        read_xlsx(packed(parts_of({"S": sheet}, ["<t>a</t>"])), "l.xlsx")
