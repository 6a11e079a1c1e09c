"""What an exploration with diagrams gives up on, and what it does not."""

from __future__ import annotations

import pytest

from interlock.engines.symbolic.engine import SymbolicEngine
from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, add, const, lt, mul, var
from interlock.kernel.query import Reach, TooManyValuesError
from tests.support.build import move, system


def test_too_many_values_are_declined_as_soon_as_that_is_seen() -> None:
    a, b = var("a"), var("b")
    of = system(
        {"a": (0, 40, 0), "b": (0, 40, 0), "c": (0, 1600, 0)},
        move("a", lt(a, const(40)), {"a": ex.clamp(add(a, const(1)), 0, 40)}),
        move("b", lt(b, const(40)), {"b": ex.clamp(add(b, const(1)), 0, 40)}),
        move("c", TRUE, {"c": mul(a, b)}),
    )
    query = Reach(ex.eq(var("c"), const(1600)))
    with pytest.raises(TooManyValuesError, match="more than 1,500 sets to join"):
        SymbolicEngine(most_joined=1500).explore(of, [query])
    assert SymbolicEngine(most_joined=1_000_000).explore(of, [query]).answers[0].found
