"""Intervals of expressions against brute force: every operator over every value of its operands."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations_with_replacement, product

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import Interval, bounds, evaluate
from interlock.kernel.expr import Expr

_INTERVALS = list(combinations_with_replacement(range(-5, 6), 2))
_A, _B = ex.var("a"), ex.var("b")
# Of these the interval is exact: no narrower one would do.
_EXACT: dict[str, Callable[[Expr, Expr], Expr]] = {
    "+": ex.add,
    "-": ex.sub,
    "*": ex.mul,
    "/": ex.div,
    "min": ex.minimum,
    "max": ex.maximum,
}
_RELATIONS: dict[str, Callable[[Expr, Expr], Expr]] = {
    "=": ex.eq,
    "<>": ex.ne,
    "<": ex.lt,
    "<=": ex.le,
}


def _values(e: Expr, domains: dict[str, Interval]) -> list[int]:
    choices = product(*(range(lo, hi + 1) for lo, hi in domains.values()))
    return [evaluate(e, dict(zip(domains, choice, strict=True))) for choice in choices]


def _found(e: Expr, domains: dict[str, Interval]) -> Interval:
    return bounds([e], domains)[e]


def _hull(values: Sequence[int]) -> Interval:
    return min(values), max(values)


@pytest.mark.parametrize("operator", _EXACT)
def test_the_interval_of_arithmetic_is_exact(operator: str) -> None:
    e = _EXACT[operator](_A, _B)
    for a, b in product(_INTERVALS, repeat=2):
        domains = {"a": a, "b": b}
        assert _found(e, domains) == _hull(_values(e, domains)), domains


def test_the_interval_of_a_remainder_contains_it_and_is_smaller_than_divisor_and_dividend() -> None:
    e = ex.mod(_A, _B)
    for a, b in product(_INTERVALS, repeat=2):
        domains = {"a": a, "b": b}
        lo, hi = _found(e, domains)
        least, greatest = _hull(_values(e, domains))
        assert lo <= least <= greatest <= hi, domains
        size = max(map(abs, b), default=0)
        assert max(-lo, hi) < max(size, 1), domains
        assert min(0, a[0]) <= lo <= hi <= max(0, a[1]), domains


@pytest.mark.parametrize("operator", _RELATIONS)
def test_the_interval_of_a_comparison_is_exact(operator: str) -> None:
    e = _RELATIONS[operator](_A, _B)
    for a, b in product(_INTERVALS, repeat=2):
        domains = {"a": a, "b": b}
        assert _found(e, domains) == _hull(_values(e, domains)), domains


def test_the_interval_of_a_choice_is_that_of_both_sides() -> None:
    e = ex.ite(ex.var("c"), _A, _B)
    for a, b in product(_INTERVALS, repeat=2):
        domains = {"c": (0, 1), "a": a, "b": b}
        assert _found(e, domains) == _hull(_values(e, domains)), domains


def test_the_interval_of_a_junction_is_a_truth_value() -> None:
    p, q = ex.var("p"), ex.var("q")
    domains = {"p": (0, 1), "q": (0, 1)}
    for e in (ex.and_(p, q), ex.or_(p, q), ex.xor(p, q), ex.not_(p), ex.implies(p, q)):
        assert _found(e, domains) == _hull(_values(e, domains)) == (0, 1)


def test_of_a_choice_that_is_sure_only_one_side_counts() -> None:
    domains = {"a": (0, 3), "b": (5, 7)}
    assert _found(ex.ite(ex.lt(_A, _B), ex.add(_A, _B), _A), domains) == (5, 10)
    assert _found(ex.ite(ex.lt(_A, _B), _A, _B), domains) == (0, 3)
    assert _found(ex.ite(ex.lt(_B, _A), _A, ex.add(_A, _B)), domains) == (5, 10)
