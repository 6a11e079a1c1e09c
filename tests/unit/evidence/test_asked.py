"""Runs of the evidence are walked on the model alone, and lead where a premise asks for."""

from __future__ import annotations

import re

import pytest

from interlock.evidence.asked import state_after
from interlock.kernel import expr as ex
from tests.support.build import is_, move, system

STEPS = system(
    {"step": (0, 2, 0)},
    move("first", is_("step", 0), {"step": 1}),
    move("second", is_("step", 1), {"step": 2}),
    move("again", ex.TRUE, {"step": 0}),
)


def test_a_run_leads_from_the_initial_state_or_from_where_it_is_told() -> None:
    assert state_after(STEPS, []) == (0,)
    assert state_after(STEPS, ["first", "second"]) == (2,)
    assert state_after(STEPS, ["second"], (1,)) == (2,)


@pytest.mark.parametrize(
    ("moves", "said"),
    [
        (["second"], "move 1, 'second', is not possible"),
        (["first", "again", "second"], "move 3, 'second', is not possible"),
        (["first", "third"], "move 2, 'third', is not possible"),
    ],
)
def test_the_first_move_that_is_not_possible_is_named(moves: list[str], said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        state_after(STEPS, moves)
