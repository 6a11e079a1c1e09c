"""What a certificate keeps: nothing of what is given up, and scanned states where they do."""

from __future__ import annotations

from typing import Any

import pytest

from interlock.engines.symbolic import certify as module
from interlock.engines.symbolic.certify import certify
from interlock.engines.symbolic.space import LimitError
from interlock.kernel.certificate import Certificate
from interlock.kernel.expr import TRUE, add, const, eq, lt, minimum, not_, var
from interlock.kernel.query import Trap
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable
from interlock.model.turns import Turns


def test_rungs_of_a_ladder_given_up_serve_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    at = var("at")
    system = System(
        (Variable("at", Domain(0, 3), 0),),
        (
            Move(
                "on",
                MoveKind.OPERATOR,
                lt(at, const(3)),
                {"at": minimum(add(at, const(1)), const(3))},
            ),
            Move("home", MoveKind.OPERATOR, eq(at, const(3)), {"at": const(0)}),
        ),
    )
    between, calls = module.Paths.between, []

    def out_of_time_once(self: Any, *args: Any) -> Any:
        calls.append(args)
        if len(calls) == 1:
            raise LimitError
        return between(self, *args)

    monkeypatch.setattr(module.Paths, "between", out_of_time_once)
    first, second = Trap(eq(at, const(2))), Trap(eq(at, const(1)))
    found = certify(system, [first, second])
    assert isinstance(found, Certificate)
    assert list(found.missing) == [first]
    ladder = found.traps[second]
    assert len(ladder.rungs) == 4
    assert all(0 <= rung.within < len(found.sets.roots) for rung in ladder.rungs)


GATE = Move("gate moves", MoveKind.PLANT, TRUE, {"gate": not_(var("gate"))})
STUCK = Move("gate sticks", MoveKind.FAULT, not_(var("stuck")), {"stuck": const(1)})
ONE_IN_ALL, GATE_ONCE = Turns(1, {}), Turns(None, {"gate": 1})


@pytest.mark.parametrize(
    ("turns", "move", "is_scanned"),
    [
        (ONE_IN_ALL, ONE_IN_ALL.taking_one(GATE, "gate"), True),
        # Nothing follows either of these before the scan, but for what counts and flags tell.
        (GATE_ONCE, GATE_ONCE.taking_one(GATE, "gate"), False),
        (ONE_IN_ALL, ONE_IN_ALL.taking_none(STUCK), False),
    ],
)
def test_scanned_states_are_enough_where_the_phase_alone_makes_a_move_wait(
    turns: Turns, move: Move, is_scanned: bool
) -> None:
    counts = turns.variables(has_events=move.kind is MoveKind.FAULT)
    scan = Move("scan", MoveKind.SCAN, TRUE, {count.name: const(0) for count in counts})
    things = [Variable(name, Domain(0, 1), 0) for name in ("gate", "stuck")]
    found = certify(System((*counts, *things), (move, scan)), [])
    assert isinstance(found, Certificate)
    assert found.invariant.is_scanned == is_scanned
