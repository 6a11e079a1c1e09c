"""What can hold and what always holds, against trying every combination of values."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.satisfy import always, satisfiable
from tests.support.strategies import truths

DOMAINS = {"a": (0, 1), "b": (0, 1), "n": (-2, 3), "m": (0, 2)}


@st.composite
def values(draw: st.DrawFn) -> dict[str, list[int]]:
    """Some of the values of each variable, at least one."""
    return {
        name: draw(st.lists(st.sampled_from(range(lo, hi + 1)), min_size=1, unique=True))
        for name, (lo, hi) in DOMAINS.items()
    }


@given(condition=truths(DOMAINS), chosen=values())
def test_it_agrees_with_trying_everything(condition: Expr, chosen: dict[str, list[int]]) -> None:
    found = {
        bool(evaluate(condition, dict(zip(chosen, combination, strict=True))))
        for combination in product(*chosen.values())
    }
    assert satisfiable(condition, chosen) is (True in found)
    assert always(condition, chosen) is (False not in found)


def test_it_gives_up_rather_than_say_what_it_does_not_know() -> None:
    names = [f"v{n}" for n in range(40)]
    differ = [ex.ne(ex.var(a), ex.var(b)) for n, a in enumerate(names) for b in names[:n]]
    all_differ = ex.and_(*differ)
    ranges = dict.fromkeys(names, range(39))
    assert satisfiable(all_differ, ranges, most_work=10_000) is None
    assert always(ex.not_(all_differ), ranges, most_work=10_000) is None
    assert satisfiable(ex.ne(ex.var("v0"), ex.var("v1")), ranges) is True


def test_what_simplifies_to_the_same_is_decided_once() -> None:
    """Odd and even at once: of forty variables there are a million million combinations."""
    odd, even = ex.FALSE, ex.TRUE
    for n in range(40):
        odd, even = (ex.ite(ex.var(f"v{n}"), ex.not_(a), a) for a in (odd, even))
    ranges = {f"v{n}": range(2) for n in range(40)}
    assert satisfiable(ex.and_(odd, even), ranges) is False
    assert satisfiable(ex.ne(odd, even), ranges) is True
