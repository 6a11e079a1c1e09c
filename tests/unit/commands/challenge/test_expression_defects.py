"""Mistakes in one expression are what their names say."""

from __future__ import annotations

import pytest

from interlock.commands.challenge.expression_defects import DefectKind, expression_defects
from interlock.st import typed as ty
from interlock.st.check import check_expression
from interlock.st.evaluate import as_written
from interlock.st.parser import parse_expression
from interlock.st.types import BOOL, EnumType, Scope
from interlock.st.write import write_expression

SCOPE = Scope.of({**dict.fromkeys("abcdx", BOOL), "lift": EnumType("lift", ("DOWN", "MID", "UP"))})


def expression(text: str) -> ty.Expression:
    return check_expression(parse_expression(text), SCOPE)


def changed(text: str, kind: DefectKind) -> list[str]:
    neighbours = {"a": "b"}
    return [
        write_expression(as_written(defect.tree))
        for defect in expression_defects(expression(text), neighbours)
        if defect.kind is kind
    ]


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("a AND b AND c", DefectKind.DROPPED, ["b AND c", "a AND c", "a AND b"]),
        ("a OR b", DefectKind.DROPPED, ["b", "a"]),
        ("a AND NOT b", DefectKind.NEGATED, ["NOT a AND NOT b", "a AND b"]),
        ("NOT (b OR c)", DefectKind.NEGATED, ["b OR c", "NOT (NOT b OR c)", "NOT (b OR NOT c)"]),
        ("a AND c", DefectKind.SWAPPED, ["b AND c"]),
        ("a AND b AND c", DefectKind.OPERATOR, ["a OR b AND c", "a AND b OR c"]),
        ("a OR b OR c", DefectKind.OPERATOR, ["a AND b OR c", "a OR b AND c"]),
        ("b = c", DefectKind.OPERATOR, ["b <> c"]),
        ("lift = DOWN", DefectKind.CONSTANT, ["lift = MID"]),
        ("a AND (b OR c OR d) AND x", DefectKind.BRACKET, ["a AND b OR c OR d AND x"]),
        ("NOT (b AND c)", DefectKind.BRACKET, ["NOT b AND c"]),
    ],
)
def test_a_mistake_in_an_expression_is_what_its_name_says(
    text: str, kind: DefectKind, expected: list[str]
) -> None:
    assert changed(text, kind) == expected


def test_a_lost_bracket_means_what_the_text_without_it_means() -> None:
    text = "a AND (b OR c) AND d"
    assert changed(text, DefectKind.BRACKET) == [
        write_expression(as_written(expression(text.replace("(", "").replace(")", ""))))
    ]


def test_every_defect_reads_back_as_a_well_typed_expression() -> None:
    text = "SEL(a, b AND lift = UP, NOT (c OR d)) OR a <> b"
    for defect in expression_defects(expression(text), {"a": "b"}):
        written = write_expression(as_written(defect.tree))
        assert write_expression(as_written(expression(written))) == written
