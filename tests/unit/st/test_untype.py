"""Typed trees as canonical text: the same for the same meaning, and read again the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.st.check import check_expression
from interlock.st.evaluate import evaluate_expression
from interlock.st.expressions import Scope
from interlock.st.parser import parse_expression
from interlock.st.types import BOOL, EnumType, IntType
from interlock.st.untype import expression_text
from tests.support.random_gate import expressions

SCOPE = Scope.of(
    {
        "shut": BOOL,
        "pressed": BOOL,
        "drive": BOOL,
        "lift": EnumType("lift", ("DOWN", "MID", "UP")),
        "n": IntType(-3, 4),
    }
)


def canonical(text: str) -> str:
    return expression_text(check_expression(parse_expression(text), SCOPE))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("((SHUT)) and not (Drive)", "shut AND NOT drive"),
        ("shut & (pressed AND drive)", "shut AND pressed AND drive"),
        ("shut OR (pressed AND drive)", "shut OR pressed AND drive"),
        ("(shut OR pressed) AND drive", "(shut OR pressed) AND drive"),
        ("lift = up", "lift = UP"),
        ("lift#UP = Lift", "UP = lift"),
        ("n - (2 - n) < -1", "n - (2 - n) < -1"),
        ("sel(shut, 1, n) = 3", "SEL(shut, 1, n) = 3"),
    ],
)
def test_the_same_meaning_has_one_text(text: str, expected: str) -> None:
    assert canonical(text) == expected


def test_other_operands_or_another_order_are_another_text() -> None:
    assert canonical("shut AND drive") != canonical("drive AND shut")
    assert canonical("shut AND drive") != canonical("shut OR drive")


@given(expressions(), st.tuples(*[st.booleans()] * 6))
def test_the_text_means_what_the_expression_means(text: str, values: tuple[bool, ...]) -> None:
    names = ("shut", "pressed", "drive", "lamp", "seen", "t.q")
    scope = Scope.of(dict.fromkeys(("shut", "pressed", "drive", "lamp", "seen", "t.Q"), BOOL))
    tree = check_expression(parse_expression(text), scope)
    again = check_expression(parse_expression(expression_text(tree)), scope)
    env = dict(zip(names, map(int, values), strict=True))
    assert evaluate_expression(again, env) == evaluate_expression(tree, env)
    assert expression_text(again) == expression_text(tree)
