"""A certificate that is given up leaves nothing behind."""

from __future__ import annotations

from typing import Any

import pytest

from interlock.engines.symbolic import certify as module
from interlock.engines.symbolic.certify import certify
from interlock.engines.symbolic.space import LimitError
from interlock.kernel.certificate import Certificate
from interlock.kernel.expr import add, const, eq, lt, minimum, var
from interlock.kernel.query import Trap
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable


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
