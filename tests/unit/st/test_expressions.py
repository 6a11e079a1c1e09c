"""Stand-alone expressions as a model file uses them."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError, Mistake, Place
from interlock.kernel import expr as ex
from interlock.kernel.expr import and_, const, eq, ite, not_, var
from interlock.st import typed as ty
from interlock.st.check import check_expression
from interlock.st.evaluate import as_written, constant_of, evaluate_expression, explain, reads_of
from interlock.st.lower import lower_expression
from interlock.st.parser import parse_expression
from interlock.st.types import BOOL, EnumType, IntType, Scope, Type
from interlock.st.write import write_expression

_LIFT = EnumType("lift", ("DOWN", "MID", "UP"))
_SCOPE = Scope.of(
    {
        "lift": _LIFT,
        "pin": EnumType("pin", ("in", "out")),
        "bolt": EnumType("bolt", ("in", "out")),
        "Ready": BOOL,
        "n": IntType(0, 7),
        "d": IntType(-2, 2),
    }
)
_ENV = {name: var(name) for name in _SCOPE.variables}


def _typed(text: str, expected: Type | None = BOOL) -> ty.Expression:
    return check_expression(parse_expression(text), _SCOPE, expected)


def _lowered(text: str) -> ex.Expr:
    return lower_expression(_typed(text, None), _ENV)


def test_labels_follow_the_other_operand() -> None:
    expected = and_(eq(var("lift"), const(2)), not_(eq(var("pin"), const(0))))
    assert _lowered("lift = UP AND NOT (pin = in)") is expected
    assert _lowered("UP = lift AND NOT (in = pin)") is expected
    assert _lowered("lift = lift#UP AND pin <> pin#in") is expected


def test_a_label_of_several_machines_follows_the_other_operand() -> None:
    assert _lowered("pin = in AND bolt = in") is and_(
        eq(var("pin"), const(0)), eq(var("bolt"), const(0))
    )


def test_labels_follow_the_expected_type_through_sel() -> None:
    typed = _typed("SEL(Ready, DOWN, UP)", _LIFT)
    assert lower_expression(typed, _ENV) is ite(var("ready"), const(2), const(0))


def test_names_are_read_in_any_case_and_kept_as_declared() -> None:
    typed = _typed("READY AND LIFT = up")
    assert write_expression(as_written(typed)) == "Ready AND lift = UP"
    assert [read.name for read in reads_of(typed)] == ["Ready", "lift"]


def test_a_label_wins_over_a_variable_of_another_type() -> None:
    scope = Scope.of({"lamp": EnumType("lamp", ("off", "on")), "on": BOOL})
    typed = check_expression(parse_expression("lamp = on AND on"), scope)
    assert [read.name for read in reads_of(typed)] == ["lamp", "on"]


def test_the_range_of_an_integer_expression_is_known() -> None:
    ranges = {
        "n + d": (-2, 9),
        "n * d": (-14, 14),
        "-n": (-7, 0),
        "ABS(d)": (0, 2),
        "n / 2": (0, 3),
    }
    for text, span in ranges.items():
        assert _typed(text, None).type == IntType(*span), text


def test_a_divisor_that_may_be_zero_is_reported_and_another_is_not() -> None:
    zero: list[tuple[Place, str, ex.Expr]] = []
    lower_expression(_typed("n / d = 1 AND n MOD 3 = 1"), _ENV, zero)
    assert [(says, when) for _, says, when in zero] == [
        ("division by zero", eq(var("d"), const(0)))
    ]


def test_evaluation_reports_the_divisor_that_is_zero() -> None:
    defects: list[Mistake] = []
    assert evaluate_expression(_typed("n / d = 0"), {"n": 3, "d": 0}, defects) == 1
    assert [str(defect) for defect in defects] == ["expression:1:5: division by zero"]


def test_explaining_names_the_terms_that_are_false() -> None:
    typed = _typed("lift = UP AND NOT (pin = in) AND (Ready OR n > 3)")
    values = {"lift": 2, "pin": 0, "ready": 0, "n": 5}
    assert explain(typed, values) == [
        ("lift = UP", 1),
        ("NOT (pin = in)", 0),
        ("Ready OR n > 3", 1),
    ]
    assert explain(_typed("ready"), values) == [("Ready", 0)]


def test_constants_are_folded_and_other_expressions_are_not() -> None:
    assert constant_of(_typed("7 / 2 + 1", None)) == 4
    assert constant_of(_typed("n - n", None)) is None
    with pytest.raises(InputError, match="expression:1:6: division by zero"):
        _typed("1 / (1 / 2)", None)
