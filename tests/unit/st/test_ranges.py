"""Ranges of integer expressions against brute force: every operator over every value."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations_with_replacement, product, starmap

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds
from interlock.st import typed as ty
from interlock.st.check import check_expression
from interlock.st.evaluate import evaluate_expression, operands_of
from interlock.st.layout import Settings, lay_out
from interlock.st.load import load_project
from interlock.st.lower import lower_expression
from interlock.st.parser import parse_expression
from interlock.st.ranges import ARITHMETIC
from interlock.st.types import BOOL, IntType, Scope

_SPANS = list(combinations_with_replacement((-5, -4, -2, -1, 0, 1, 3, 5), 2))


def _typed(text: str, **names: tuple[int, int]) -> ty.Expression:
    scope = Scope.of({"p": BOOL, **{name: IntType(*span) for name, span in names.items()}})
    return check_expression(parse_expression(text), scope, None)


def _hull(e: ty.Expression, **names: tuple[int, int]) -> tuple[int, int]:
    given_names = {"p": (0, 1), **names}
    choices = product(*(range(lo, hi + 1) for lo, hi in given_names.values()))
    values = [
        evaluate_expression(e, dict(zip(given_names, choice, strict=True))) for choice in choices
    ]
    return min(values), max(values)


def _span(e: ty.Expression) -> tuple[int, int]:
    assert isinstance(e.type, IntType)
    return e.type.lo, e.type.hi


@pytest.mark.parametrize(
    "text",
    [
        *("m + n", "m - n", "m * n", "m / n", "-m + n", "MIN(m, n)", "MAX(m, n)", "SEL(p, m, n)"),
        *("ABS(m)", "-m", "+m", "LIMIT(m, n, 2)", "LIMIT(-3, m, n)", "LIMIT(m, 1, n)"),
    ],
)
def test_the_range_of_an_operator_is_exact(text: str) -> None:
    for m, n in product(_SPANS, repeat=2):
        if "/" in text and n == (0, 0):
            continue  # refused
        e = _typed(text, m=m, n=n)
        assert _span(e) == _hull(e, m=m, n=n), (m, n)


def test_the_range_of_a_remainder_contains_it() -> None:
    for m, n in product(_SPANS, repeat=2):
        e = _typed("m MOD n", m=m, n=n)
        (lo, hi), (least, greatest) = _span(e), _hull(e, m=m, n=n)
        assert lo <= least <= greatest <= hi, (m, n)
        assert max(-lo, hi) < max(-n[0], n[1], 1), (m, n)


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("-32768 / 2", (-16384, -16384)),
        ("-32768 / -2", (16384, 16384)),
        ("m / -2", (-2, 1)),
        ("m / n", (-2, 1)),
        ("9 MOD m", (0, 4)),
        ("m MOD 0", (0, 0)),
    ],
)
def test_a_division_by_a_negative_number_keeps_its_sign(text: str, span: tuple[int, int]) -> None:
    # IEC 61131-3: a quotient is truncated towards zero.
    assert _span(_typed(text, m=(-3, 5), n=(-4, -2))) == span


def test_the_one_quotient_outside_int_is_refused() -> None:
    with pytest.raises(InputError, match=r"-32768 / m may be -32768\.\.32768, outside"):
        _typed("-32768 / m", m=(-1, 1))
    assert _span(_typed("-32768 / m", m=(-9, -2))) == (3640, 16384)


_LEAVES = st.sampled_from(("m", "n", "-4", "-1", "0", "2", "5"))


def _numbers() -> st.SearchStrategy[str]:
    def grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
        operators = st.sampled_from(("+", "-", "*", "/", "MOD"))
        return st.one_of(
            st.tuples(inner, operators, inner).map(lambda three: "({} {} {})".format(*three)),
            st.tuples(inner, inner).map(lambda pair: "SEL(p, {}, {})".format(*pair)),
            st.tuples(inner, inner).map(lambda pair: "MAX({}, {})".format(*pair)),
            inner.map(lambda e: f"(-{e})"),
        )

    return st.recursive(_LEAVES, grown, max_leaves=5)


def _parts(e: ty.Expression) -> Sequence[ty.Expression]:
    return [e, *(part for operand in operands_of(e) for part in _parts(operand))]


_SPAN = st.tuples(st.integers(-4, 3), st.integers(0, 3)).map(lambda pair: (pair[0], sum(pair)))


@given(_numbers(), _SPAN, _SPAN)
def test_every_part_of_an_expression_stays_in_its_range(
    text: str, m: tuple[int, int], n: tuple[int, int]
) -> None:
    try:
        e = _typed(text, m=m, n=n)
    except InputError:
        reject()
    env = {name: ex.var(name) for name in ("p", "m", "n")}
    for part in _parts(e):
        lowered = lower_expression(part, env)
        lo, hi = bounds([lowered], {"p": (0, 1), "m": m, "n": n})[lowered]
        least, greatest = _hull(part, m=m, n=n)
        assert lo <= least <= greatest <= hi
        if part.type != BOOL:
            # What fits here needs no clamp in the kernel.
            assert _span(part)[0] <= lo <= hi <= _span(part)[1]


def _power(a: int, b: int) -> int | None:
    if b >= 0:
        return int(a**b)
    return None if a == 0 else int(1 / a**-b)


def test_the_range_of_a_power_holds_every_power_and_no_sign_too_many() -> None:
    spans = [(lo, hi) for lo in range(-3, 4) for hi in range(lo, 4)]
    for a, b in product(spans, spans):
        bases, exponents = range(a[0], a[1] + 1), range(b[0], b[1] + 1)
        found = [n for n in starmap(_power, product(bases, exponents)) if n is not None]
        lo, hi = ARITHMETIC["**"](a, b)
        assert all(lo <= n <= hi for n in found), (a, b)
        assert (lo < 0) == (a[0] < 0)
        # The greatest in size is met wherever the base of that size has the greatest exponent.
        if b[0] >= 0 and found and max(abs(a[0]), abs(a[1])) > 0:
            assert max(map(abs, found)) == hi, (a, b)


@pytest.mark.parametrize(("lo", "is_taken"), [(-(2**62), True), (-(2**62) - 1, False)])
def test_memory_reaches_to_two_to_the_62nd(lo: int, is_taken: bool) -> None:
    text = (
        f"PROGRAM p VAR_INPUT on : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        f"VAR n : LINT ({lo}..0); END_VAR\n"
        f"IF on THEN n := {lo}; END_IF; q := n < 0;\nEND_PROGRAM"
    )
    program = load_project({"p.st": text}).program
    if is_taken:
        assert lay_out(program, Settings())
        return
    with pytest.raises(InputError, match=r"p\.st:2:5: 'n' may be .*beyond 2\^62"):
        lay_out(program, Settings())
