"""Ways back found by settled states against the reference engine, with faults and without."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.kernel.query import Answer, Trap
from interlock.kernel.system import MoveKind
from tests.support.strategies import conditions
from tests.support.turns import taking_turns

SETTINGS = settings(
    max_examples=60,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


@pytest.mark.parametrize("with_faults", [False, True])
@seed(5)
@SETTINGS
@given(data=st.data())
def test_traps_are_those_of_every_state_and_move(with_faults: bool, data: st.DataObject) -> None:
    system = data.draw(
        taking_turns(data.draw(st.sampled_from([1, None])), data.draw(st.booleans()))
    )
    if not with_faults:
        kept = tuple(move for move in system.moves if move.kind is not MoveKind.FAULT)
        system = replace(system, moves=kept)
    traps = [Trap(data.draw(conditions(system))) for _ in range(3)]
    ours = SymbolicEngine(breadth_first_work=0).explore(system, traps).answers
    known = ReferenceEngine().explore(system, traps).answers
    assert list(map(found_after, ours)) == list(map(found_after, known))


def found_after(answer: Answer) -> tuple[bool | None, int | None]:
    """Whether a trap was found, and in how many steps at least."""
    return answer.found, None if answer.witness is None else len(answer.witness.steps)
