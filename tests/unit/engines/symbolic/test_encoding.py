"""Expressions as diagrams, against their plain meaning in every state."""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.symbolic import order
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.order import variable_order
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import add, and_, const, eq, mul, not_, or_, var
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import PHASE, Domain, Move, MoveKind, System, Variable
from tests.support.build import is_, move, system
from tests.support.strategies import Intervals, numbers, truths

DOMAINS: Intervals = {"a": (0, 4), "b": (-2, 0), "c": (0, 1), "fixed": (3, 3)}
STATES = list(product(*(range(lo, hi + 1) for lo, hi in DOMAINS.values())))
SYSTEM = system({name: (lo, hi, lo) for name, (lo, hi) in DOMAINS.items()})


@given(expr=truths(DOMAINS))
@settings(deadline=None)
def test_a_truth_value_holds_where_it_evaluates_to_1(expr: object) -> None:
    encoding = Encoding(SYSTEM)
    node = encoding.truth(expr)  # type: ignore[arg-type]
    for state in STATES:
        assert encoding.holds(node, state) == evaluate(expr, SYSTEM.named(state))  # type: ignore[arg-type]


@given(expr=numbers(DOMAINS), copied=st.sets(st.integers(0, 3)))
@settings(deadline=None)
def test_a_partition_has_every_state_once_under_its_value(expr: object, copied: set[int]) -> None:
    encoding = Encoding(SYSTEM, copied)
    partition = encoding.partition(expr)  # type: ignore[arg-type]
    for state in STATES:
        values = [value for value, where in partition.items() if encoding.holds(where, state)]
        assert values == [evaluate(expr, SYSTEM.named(state))]  # type: ignore[arg-type]


@given(order=st.permutations(range(4)), state=st.sampled_from(STATES))
def test_a_single_state_is_picked_and_counted_in_any_order(
    order: list[int], state: tuple[int, ...]
) -> None:
    encoding = Encoding(SYSTEM, copied=[0, 2], order=order)
    node = encoding.is_state(state)
    assert encoding.pick(node) == state
    assert encoding.count(node) == 1
    assert encoding.count(encoding.valid) == len(STATES)


def test_an_expression_with_too_many_values_is_declined_with_the_reason() -> None:
    wide = system({"x": (0, 999, 0), "y": (0, 999, 0)})
    with pytest.raises(DeclinedError, match="1,000 by 1,000 values"):
        Encoding(wide).truth(eq(mul(var("x"), var("y")), const(7)))


def test_adding_many_flags_stays_small() -> None:
    # A threshold function over n variables has at most about n²/4 nodes (from memory).
    flags = {f"f{n}": (0, 1, 0) for n in range(40)}
    total = const(0)
    for name in flags:
        total = add(total, var(name))
    encoding = Encoding(system(flags))
    assert encoding.truth(eq(total, const(20))).node_count() <= 40 * 40


def test_neighbours_in_the_system_become_neighbours_in_the_order() -> None:
    # Two chains, listed alternately; each variable depends on the next of its own chain.
    names = [f"{chain}{n}" for n in range(6) for chain in "pq"]
    moves = [
        move(f"{chain}{n}", is_(f"{chain}{n + 1}", 1), {f"{chain}{n}": not_(var(f"{chain}{n}"))})
        for chain in "pq"
        for n in range(5)
    ]
    order = [names[v] for v in variable_order(system(dict.fromkeys(names, (0, 1, 0)), *moves))]
    for chain in "pq":
        places = [order.index(f"{chain}{n}") for n in range(6)]
        assert max(abs(a - b) for a, b in pairwise(places)) <= 2


def test_the_phase_is_decided_first() -> None:
    variables = (Variable("a", Domain(0, 1), 0), Variable(PHASE, Domain(0, 1), 0))
    pending = eq(var(PHASE), const(0))
    moves = (Move("m", MoveKind.PLANT, and_(pending, var("a")), {"a": const(0), PHASE: const(1)}),)
    assert variable_order(System(variables, moves))[0] == 1


def test_the_library_is_only_loaded_when_the_engine_explores() -> None:
    code = "import sys, interlock.engines.symbolic; print('oxidd' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_of_many_variables_the_best_of_several_orders_is_taken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Two rings, one rung between them for each place, declared far from their neighbours.
    n = 20
    names = [f"{ring}{(7 * k) % n}" for k in range(n) for ring in "ab"]
    tied = [
        (f"{ring}{k}", f"{ring}{(k + 1) % n}", f"{other}{k}")
        for k in range(n)
        for ring, other in ("ab", "ba")
    ]
    moves = [move(a, or_(var(b), var(c)), {a: not_(var(a))}) for a, b, c in tied]
    of = system(dict.fromkeys(names, (0, 1, 0)), *moves)

    def apart() -> int:
        place = {names[v]: p for p, v in enumerate(variable_order(of))}
        spans = ([place[name] for name in edge] for edge in tied)
        return sum(max(span) - min(span) for span in spans)

    found = apart()
    assert found == apart()
    monkeypatch.setattr(order, "MOST_STARTS", 0)
    assert found < apart()
