"""Expressions: simplification keeps meaning, intervals contain values, equal is identical."""

from __future__ import annotations

import gc
from collections.abc import Callable
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds, evaluate, python_function
from interlock.kernel.expr import Expr
from tests.support import strategies

DOMAINS = {"a": (0, 1), "b": (0, 1), "n": (-3, 4), "m": (0, 6)}
VALUES = st.fixed_dictionaries({n: st.integers(lo, hi) for n, (lo, hi) in DOMAINS.items()})

truths = strategies.truths(DOMAINS)
numbers = strategies.numbers(DOMAINS)


@given(st.one_of(truths, numbers), VALUES)
def test_compiled_and_interpreted_values_are_the_same(e: Expr, values: dict[str, int]) -> None:
    index = {name: number for number, name in enumerate(DOMAINS)}
    state = tuple(values[name] for name in DOMAINS)
    assert python_function([e], index)(state) == (evaluate(e, values),)


@given(st.one_of(truths, numbers), VALUES)
def test_intervals_contain_every_value(e: Expr, values: dict[str, int]) -> None:
    lo, hi = bounds([e], DOMAINS)[e]
    assert lo <= evaluate(e, values) <= hi


@given(truths, VALUES)
def test_junctions_simplify_without_a_change_of_meaning(e: Expr, values: dict[str, int]) -> None:
    truth = evaluate(e, values)
    assert evaluate(ex.and_(e, ex.TRUE, e), values) == truth
    assert evaluate(ex.or_(e, ex.FALSE), values) == truth
    assert evaluate(ex.and_(e, ex.not_(e)), values) == 0
    assert evaluate(ex.or_(e, ex.not_(e)), values) == 1
    assert ex.and_(ex.var("a"), ex.not_(ex.var("a"))) is ex.FALSE


A, N, M = ex.var("a"), ex.var("n"), ex.var("m")
TRUTHS = (ex.TRUE, ex.FALSE, A, ex.not_(A), ex.lt(N, M))
NUMBERS = (*map(ex.const, range(-2, 3)), N, M, ex.add(N, M))
EVERY = [{"a": a, "n": n, "m": m} for a in (0, 1) for n in (-2, 0, 1) for m in (0, 2)]
# What Python makes of two numbers.
BINARY: dict[str, tuple[Callable[[Expr, Expr], Expr], Callable[[int, int], int]]] = {
    "sum": (ex.add, int.__add__),
    "difference": (ex.sub, int.__sub__),
    "product": (ex.mul, int.__mul__),
    "least": (ex.minimum, min),
    "greatest": (ex.maximum, max),
    "same": (ex.eq, int.__eq__),
    "other": (ex.ne, int.__ne__),
    "less": (ex.lt, int.__lt__),
    "at most": (ex.le, int.__le__),
}


@pytest.mark.parametrize("name", BINARY)
def test_whatever_is_simplified_two_numbers_give_what_python_makes_of_them(name: str) -> None:
    build, known = BINARY[name]
    for left, right in product(NUMBERS, repeat=2):
        made = build(left, right)
        for values in EVERY:
            wanted = known(evaluate(left, values), evaluate(right, values))
            assert evaluate(made, values) == wanted


def test_whatever_is_simplified_a_choice_is_that_of_its_condition() -> None:
    for condition, same in product(TRUTHS, (TRUTHS, NUMBERS)):
        for then, otherwise in product(same, repeat=2):
            made = ex.ite(condition, then, otherwise)
            for values in EVERY:
                chosen = then if evaluate(condition, values) else otherwise
                assert evaluate(made, values) == evaluate(chosen, values)


def test_whatever_is_simplified_truths_join_as_python_joins_them() -> None:
    for left, right in product(TRUTHS, repeat=2):
        for values in EVERY:
            a, b = (bool(evaluate(e, values)) for e in (left, right))
            built = (ex.and_, ex.or_, ex.xor, ex.implies)
            wanted = (a and b, a or b, a != b, b or not a)
            found = [bool(evaluate(build(left, right), values)) for build in built]
            assert tuple(found) == wanted


@given(st.one_of(truths, numbers), truths, numbers, VALUES)
def test_substitution_is_evaluation_of_the_replacements(
    e: Expr, a: Expr, n: Expr, values: dict[str, int]
) -> None:
    replaced = ex.substitute([e], {"a": a, "n": n})[0]
    inner = {**values, "a": evaluate(a, values), "n": evaluate(n, values)}
    assert evaluate(replaced, values) == evaluate(e, inner)


def test_equal_expressions_are_one_object() -> None:
    assert ex.and_(ex.var("a"), ex.var("b")) is ex.and_(ex.var("a"), ex.var("b"))


def test_an_expression_is_no_python_truth_value() -> None:
    with pytest.raises(TypeError, match="compare with 'is'"):
        bool(ex.var("a"))


def test_expressions_nobody_holds_are_forgotten() -> None:
    gc.collect()
    before = len(ex._known)
    kept = [ex.eq(ex.var("x"), ex.const(1_000_000 + n)) for n in range(500)]
    assert len(ex._known) >= before + 500
    del kept
    gc.collect()
    assert len(ex._known) < before + 100


def test_a_chain_of_ten_thousand_nodes_needs_no_recursion() -> None:
    e = ex.var("a")
    for n in range(10_000):
        e = ex.ite(ex.eq(ex.var("n"), ex.const(n)), ex.not_(e), e)
    assert evaluate(e, {"a": 1, "n": 3}) == 0
    assert ex.variables_of([e]) == ["n", "a"] or set(ex.variables_of([e])) == {"n", "a"}


# Source of the four quotients and remainders: IEC 61131-3, integer division truncates and the
# remainder has the sign of the dividend.
@pytest.mark.parametrize(
    ("a", "b", "quotient", "remainder"),
    [(-7, 2, -3, -1), (7, -2, -3, 1), (-7, -2, 3, -1), (7, 2, 3, 1)],
)
def test_division_truncates_towards_zero(a: int, b: int, quotient: int, remainder: int) -> None:
    assert (ex.quotient(a, b), ex.remainder(a, b)) == (quotient, remainder)


@given(numbers, st.one_of(truths, numbers))
def test_what_is_known_of_one_expression_serves_the_next(e: Expr, other: Expr) -> None:
    known = bounds([e], DOMAINS)
    added = bounds([e, other], DOMAINS, known)
    assert known.keys().isdisjoint(added)
    assert known | added == bounds([e, other], DOMAINS)
    assert ex.topological([e, other], known) == list(added)
