"""Faults of which one alone may strike: one variable for their flags against the reference engine.

The reference engine knows nothing of it and keeps every flag by itself.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.exclusive import exclusive_flags, merged
from interlock.engines.symbolic.order import WHICH
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, const, lt, not_, or_, total, var
from interlock.kernel.query import Count, Leg, Occurs, Query, Reach, Values
from interlock.kernel.system import BOOL, Domain, Move, MoveKind, Role, System, Variable
from tests.agree.test_symbolic_agrees import PENDING, check_same
from tests.support.strategies import conditions, questions
from tests.support.turns import FLAGS, taking_turns

SETTINGS = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])

ONE_ALONE = {
    "data": st.data(),
    "work": st.sampled_from([0, 0, 1000]),
    "most_pending": PENDING,
    "is_summed": st.booleans(),
    "cleared": st.sampled_from([None, None, *FLAGS]),
    "apart": st.sampled_from([FLAGS, FLAGS, FLAGS[1:]]),
}
"""What is drawn for `compare`."""


def one_alone(
    system: System, is_summed: bool, cleared: str | None, apart: tuple[str, ...]
) -> System:
    """The system with at most one flag of some set; one that may clear, where it is named."""

    def room(flag: str) -> Expr:
        others = [var(other) for other in apart if other != flag]
        return lt(total(others), const(1)) if is_summed else not_(or_(*others))

    moves = [
        replace(
            move,
            guard=and_(move.guard, *(room(f) for f in FLAGS if f in move.updates and f in apart)),
        )
        if move.kind is MoveKind.FAULT
        else move
        for move in system.moves
    ]
    if cleared is not None:
        moves.append(Move("clear", MoveKind.FAULT, var(cleared), {cleared: FALSE}))
    return system.with_moves(moves)


@st.composite
def ways_to_a_fault(draw: st.DrawFn, system: System) -> Query:
    """A way, held to something from power-up on, to where certain faults are in force or not."""
    some = conditions(system)
    inside = or_(draw(some), draw(st.sampled_from([var(flag) for flag in FLAGS])), not_(var("f0")))
    flags = draw(st.lists(st.sampled_from(FLAGS), min_size=1, max_size=2, unique=True))
    met = or_(*(var(flag) for flag in flags))
    enter = draw(st.sampled_from([met, not_(met)]))
    legs = (Leg(inside), Leg(draw(some), enter), Leg(TRUE, draw(some)))
    legs = legs[: draw(st.integers(2, 3))]
    kind = draw(st.sampled_from([Reach, Occurs]))
    return kind(draw(some), legs)


def compare(
    data: st.DataObject,
    work: int,
    most_pending: int | None,
    is_summed: bool,
    cleared: str | None,
    apart: tuple[str, ...],
) -> bool:
    """Hold a random system against the reference engine; whether it had flags to merge."""
    drawn = data.draw(taking_turns(most_pending, data.draw(st.booleans())))
    system = one_alone(drawn, is_summed, cleared, apart)
    queries = [*data.draw(questions(system)), *(Count(var(flag)) for flag in FLAGS)]
    queries += data.draw(st.lists(ways_to_a_fault(system), min_size=2, max_size=3))
    known = ReferenceEngine().explore(system, queries)
    check_same(
        system, queries, SymbolicEngine(breadth_first_work=work).explore(system, queries), known
    )
    if cleared is None:
        seen = SymbolicEngine().project(system, FLAGS)
        assert seen.n_states == known.n_states
        values = Values(tuple(map(var, FLAGS)), TRUE)
        (occurring,) = ReferenceEngine().explore(system, [values]).answers
        assert seen.occurring(Reach(TRUE)) == occurring.values
    return merged(system) is not None


def test_faults_that_strike_alone_have_the_same_states_and_runs() -> None:
    n_merged = Counter[bool]()

    @given(**ONE_ALONE)
    @SETTINGS
    def compared(**drawn: Any) -> None:
        n_merged[compare(**drawn)] += 1

    compared()
    # Where a drawn guard lets one of them never strike, there may be nothing to merge.
    assert n_merged[True] >= 25, n_merged


def flags_with(*moves: tuple[Expr, dict[str, Expr]]) -> tuple[str, ...]:
    flags = tuple(Variable(name, BOOL, 0, Role.FAULT) for name in "abcd")
    struck = [Move(f"m{n}", MoveKind.FAULT, g, dict(new)) for n, (g, new) in enumerate(moves)]
    return exclusive_flags(System(flags, tuple(struck)))


A, B, C = var("a"), var("b"), var("c")


@pytest.mark.parametrize(
    ("moves", "wanted"),
    [
        (
            [(and_(not_(B), not_(C)), {"a": TRUE}), (and_(not_(A), not_(C)), {"b": TRUE})],
            ("a", "b"),
        ),
        (  # c joins either of them, and is no reason to leave these two
            [(TRUE, {"c": TRUE}), (not_(or_(B, FALSE)), {"a": TRUE}), (not_(A), {"b": TRUE})],
            ("a", "b"),
        ),
        (  # a joins b and c, which exclude each other
            [
                (TRUE, {"a": TRUE}),
                (not_(or_(C, var("d"))), {"b": TRUE}),
                (not_(or_(B, var("d"))), {"c": TRUE}),
            ],
            ("b", "c"),
        ),
        (  # either of two being unset is not both
            [(or_(not_(B), not_(C)), {"a": TRUE}), (not_(A), {"b": TRUE})],
            ("a",),
        ),
        ([(not_(C), {"a": TRUE}), (not_(A), {"b": TRUE})], ("a",)),  # a may join b
        ([(not_(B), {"a": TRUE}), (not_(A), {"b": TRUE}), (TRUE, {"b": TRUE})], ("a",)),
        ([(and_(not_(A), not_(B)), {"a": TRUE, "b": TRUE})], ("a",)),  # both at once
        ([(not_(B), {"a": TRUE}), (not_(A), {"b": C})], ("a",)),  # to what another one is
        ([(lt(total([B, C]), const(2)), {"a": TRUE}), (not_(A), {"b": TRUE})], ("a",)),
    ],
)
def test_flags_that_may_be_set_together_stay_flags(
    moves: list[tuple[Expr, dict[str, Expr]]], wanted: tuple[str, ...]
) -> None:
    assert flags_with(*moves) == wanted


def test_a_way_to_one_fault_may_lead_through_another_that_clears() -> None:
    flags = [Variable(name, BOOL, 0, Role.FAULT) for name in "ab"]
    none = and_(not_(A), not_(B))
    of = System(
        (*flags, Variable("n", Domain(0, 1), 0)),
        (
            Move("a strikes", MoveKind.FAULT, none, {"a": TRUE, "n": const(1)}),
            Move("a clears", MoveKind.FAULT, A, {"a": FALSE}),
            Move("b strikes", MoveKind.FAULT, and_(none, var("n")), {"b": TRUE}),
        ),
    )
    assert merged(of) is not None
    inside = or_(not_(A), not_(B))  # no leg that may be anywhere
    for enter, length in ((B, 3), (A, 1), (and_(A, B), None)):
        queries = [kind(TRUE, (Leg(inside), Leg(TRUE, enter))) for kind in (Reach, Occurs)]
        reached, occurs = SymbolicEngine().explore(of, queries).answers
        assert reached.found is (length is not None)
        assert occurs.n_states == int(length is not None)
        if reached.witness is not None:
            assert len(reached.witness) == length


def test_a_sum_with_what_may_be_negative_excludes_nothing() -> None:
    # With x at -1 there is room for both; seen as exclusive, one would take the other's place.
    room = lt(total([A, B, var("x")]), const(1))
    flags = [Variable(name, BOOL, 0, Role.FAULT) for name in "ab"]
    struck = [
        Move(f"{n} strikes", MoveKind.FAULT, and_(room, not_(var(n))), {n: TRUE}) for n in "ab"
    ]
    system = System((*flags, Variable("x", Domain(-1, 0), -1)), tuple(struck))
    queries = [Count(and_(A, B))]
    (together,) = ReferenceEngine().explore(system, queries).answers
    assert together.n_states == 1
    assert merged(system) is None
    check_same(
        system,
        queries,
        SymbolicEngine().explore(system, queries),
        ReferenceEngine().explore(system, queries),
    )


def test_one_variable_takes_the_place_of_the_flags() -> None:
    flags = tuple(Variable(name, BOOL, 0, Role.FAULT) for name in "ab")
    moves = (
        Move("a strikes", MoveKind.FAULT, and_(not_(A), not_(B)), {"a": TRUE}),
        Move("b strikes", MoveKind.FAULT, and_(not_(A), not_(B)), {"b": TRUE}),
        Move("b clears", MoveKind.FAULT, B, {"b": FALSE}),
    )
    one = merged(System(flags, moves))
    assert one is not None
    assert [variable.name for variable in one.system.variables] == [WHICH]
    assert [variable.domain.hi for variable in one.system.variables] == [2]
