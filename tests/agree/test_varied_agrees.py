"""A changed system explored beside the original's set of states, against one explored by itself."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr, clamp, or_
from interlock.kernel.query import Query, Reach, Stay, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import Witness, check_run
from tests.support.strategies import conditions, questions, random_system
from tests.support.turns import taking_turns

SETTINGS = settings(
    max_examples=12,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@st.composite
def changed(draw: st.DrawFn, system: System) -> System:
    """The same system with another guard of one move, or another value of what it writes."""
    number = draw(st.integers(0, len(system.moves) - 1))
    move = system.moves[number]
    if move.updates and draw(st.booleans()):
        name = draw(st.sampled_from(sorted(move.updates)))
        domain = system.variables[system.index[name]].domain
        new = clamp(or_(draw(conditions(system)), move.guard), domain.lo, domain.hi)
        move = replace(move, updates={**move.updates, name: new})
    else:
        move = replace(move, guard=draw(conditions(system)))
    return replace(system, moves=(*system.moves[:number], move, *system.moves[number + 1 :]))


def is_shown(system: System, query: Query, run: Witness) -> bool:
    """Whether a run of the system shows what is asked for, legs aside."""
    check_run(system, run)

    def holds(expr: Expr, number: int) -> bool:
        return bool(evaluate(expr, system.named(run.states[number])))

    match query:
        case Reach(target, _):
            return holds(target, -1)
        case Trap():
            here = system.starting_in(run.last)
            return ReferenceEngine().explore(here, [query]).answers[0].found is True
        case Stay(start, stay, _):
            loop = range(run.loop_start or 0, len(run.states))
            return all(holds(stay, n) for n in loop) and any(
                holds(start, n) and all(holds(stay, m) for m in range(n, len(run.states)))
                for n in range(len(run.states))
            )
    raise AssertionError(query)


@pytest.mark.parametrize("has_scans", [True, False])
@seed(3)
@SETTINGS
@given(data=st.data())
def test_one_of_several_is_found_exactly_where_it_is_by_itself(
    has_scans: bool, data: st.DataObject
) -> None:
    if has_scans:
        most = data.draw(st.sampled_from([1, 2, None]))
        original = data.draw(taking_turns(most, data.draw(st.booleans())))
    else:
        original = data.draw(random_system().filter(lambda s: bool(s.moves)))
    known = SymbolicEngine().vary(original)
    assert known is not None
    assert known.n_states == ReferenceEngine().explore(original, []).n_states
    for _ in range(3):
        other = data.draw(changed(original))
        drawn = data.draw(questions(other))
        asked = [query for query in drawn if isinstance(query, Reach | Trap | Stay)]
        expected = [answer.found for answer in ReferenceEngine().explore(other, asked).answers]
        # Each by itself, so that none hides another; then all of them at once.
        for query, is_found in [*zip(asked, expected, strict=True), (None, any(expected))]:
            some = asked if query is None else [query]
            found = known.first_found(other, some)
            assert found.limit is None
            assert (found.number is not None) is is_found
            assert (found.witness is not None) is is_found
            if found.number is not None and found.witness is not None:
                shown = some[found.number]
                assert expected[asked.index(shown)]
                assert is_shown(other, shown, found.witness)
                COUNTS[type(shown).__name__] += 1
            else:
                COUNTS["nothing"] += 1


COUNTS: Counter[str] = Counter()


def test_every_sort_of_answer_was_compared() -> None:
    for kind in ("Reach", "Trap", "Stay", "nothing"):
        assert COUNTS[kind] >= 20, COUNTS
