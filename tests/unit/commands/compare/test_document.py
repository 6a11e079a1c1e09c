"""Documents: every text is escaped, in Markdown and in HTML."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from interlock.commands.compare.document import (
    Heading,
    Items,
    Paragraph,
    table,
    to_html,
    to_markdown,
)

TEXT = st.text(alphabet="ab <>&|`*_#-+1.)\\\n!~[]{}'\"", max_size=20)


@given(TEXT, TEXT)
def test_no_text_opens_a_tag_in_html(one: str, two: str) -> None:
    page = to_html(one, [Heading(2, two), Paragraph(one), Items((two,)), table([one], [[two]])])
    empty = to_html("", [Heading(2, ""), Paragraph(""), Items(("",)), table([""], [[""]])])
    assert page.count("<") == empty.count("<")
    assert page.count(">") == empty.count(">")


@given(TEXT)
def test_a_cell_stays_one_cell_in_markdown(text: str) -> None:
    row = to_markdown([table(["a", "b"], [[text, "end"]])]).splitlines()[2]
    bars = [n for n, c in enumerate(row) if c == "|" and not _is_escaped(row, n)]
    assert len(bars) == 3
    assert row.endswith("| end |")


def _is_escaped(row: str, place: int) -> bool:
    before = row[:place]
    return (len(before) - len(before.rstrip("\\"))) % 2 == 1


def test_a_paragraph_that_looks_like_a_list_stays_a_paragraph() -> None:
    assert to_markdown([Paragraph("1. first")]) == "1\\. first\n"
    assert to_markdown([Paragraph("- first")]) == "\\- first\n"
