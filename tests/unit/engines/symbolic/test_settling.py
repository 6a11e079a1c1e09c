"""Which variables are left out between scans, and what must not be left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.engines.symbolic import SymbolicEngine
from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables
from interlock.engines.symbolic.settling import Between, Settling, settling
from interlock.kernel.expr import FALSE, TRUE, Expr, add, and_, clamp, const, eq, lt, not_, or_, var
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, System, Variable
from interlock.model.build import build
from interlock.model.load import load

PROGRAM: dict[str, Expr] = {
    "lamp": eq(var("lever"), const(2)),
    "latch": or_(var("latch"), eq(var("lever"), const(1))),
    "last": var("lever"),
    "moved": not_(eq(var("last"), var("lever"))),
    "valve": and_(eq(var("lever"), const(2)), not_(or_(var("latch"), eq(var("lever"), const(1))))),
}


def plant_with(program: dict[str, Expr], most_pending: int = 1, scan_guard: Expr = TRUE) -> System:
    """A lever with three places, a gate that follows the valve, and a scan."""
    pending = var(PHASE)
    free = lt(pending, const(most_pending))
    counted = clamp(add(pending, const(1)), 0, most_pending)
    moves = [
        Move(
            f"lever {n}",
            MoveKind.OPERATOR,
            and_(free, not_(eq(var("lever"), const(n)))),
            {"lever": const(n), PHASE: counted},
        )
        for n in range(3)
    ]
    opens = and_(free, var("valve"), not_(var("gate")))
    moves.append(Move("gate opens", MoveKind.PLANT, opens, {"gate": TRUE, PHASE: counted}))
    moves.append(Move("scan", MoveKind.SCAN, scan_guard, {**program, PHASE: const(0)}))
    variables = [
        Variable(PHASE, Domain(0, most_pending), 0),
        Variable("lever", Domain(0, 2), 0),
        Variable("last", Domain(0, 2), 0),
        Variable("count", Domain(0, 3), 0),
        *(Variable(name, BOOL, 0) for name in ("gate", "lamp", "latch", "moved", "valve")),
    ]
    return System(tuple(variables), tuple(moves))


def settled(system: System) -> Settling | None:
    encoding = Encoding(system, copied_variables(system))
    return settling(encoding, [SymbolicMove.of(encoding, move) for move in system.moves])


def check_states(system: System) -> None:
    ours = SymbolicEngine(breadth_first_work=0).explore(system, [])
    known = ReferenceEngine().explore(system, [])
    assert (ours.n_states, ours.n_moves) == (known.n_states, known.n_moves)


def test_outputs_are_left_out_and_latches_kept() -> None:
    system = plant_with(PROGRAM)
    found = settled(system)
    assert found is not None
    left_out = {system.variables[v].name for v in found.functions}
    # `moved` compares with the scan before, so nothing after this scan tells it.
    assert left_out == {PHASE, "lamp", "last", "valve"}
    check_states(system)


def test_a_step_writes_only_what_its_scan_may_change() -> None:
    system = plant_with({name: PROGRAM[name] for name in ("latch", "valve", "lamp")})
    found = settled(system)
    assert found is not None
    written = {step.name: {system.variables[v].name for v in step.values} for step in found.steps}
    assert written == {
        "lever 0": {"lever"},
        "lever 1": {"lever", "latch"},
        "lever 2": {"lever"},
        "gate opens": {"gate"},
    }


def test_scans_go_on_while_nothing_happens() -> None:
    counting = {"count": clamp(add(var("count"), const(1)), 0, 3)}
    idle = plant_with(counting)
    idle = replace(idle, moves=tuple(m for m in idle.moves if m.kind is MoveKind.SCAN))
    assert settled(idle) is not None
    assert SymbolicEngine(breadth_first_work=0).explore(idle, []).n_states == 4
    check_states(plant_with(counting))


@pytest.mark.parametrize("name", ["lamp", "latch", "valve", "moved"])
def test_an_initial_state_that_no_scan_leaves_is_a_state_too(name: str) -> None:
    system = plant_with(PROGRAM)
    changed = [replace(v, initial=1) if v.name == name else v for v in system.variables]
    check_states(replace(system, variables=tuple(changed)))


@pytest.mark.parametrize("pending", [0, 1])
def test_a_first_scan_may_come_before_anything_else(pending: int) -> None:
    system = plant_with(PROGRAM)
    changed = [replace(v, initial=pending) if v.name == PHASE else v for v in system.variables]
    check_states(replace(system, variables=tuple(changed)))


def test_a_scan_that_may_be_refused_holds_the_plant_up() -> None:
    check_states(plant_with(PROGRAM, scan_guard=not_(var("gate"))))


@pytest.mark.parametrize("most_pending", [1, 2, 3])
def test_moves_that_outrun_the_scan_are_followed_between_scans(most_pending: int) -> None:
    system = plant_with(PROGRAM, most_pending)
    found = settled(system)
    assert found is not None
    assert found.is_outrun == (most_pending > 1)
    check_states(system)


def test_a_move_into_what_only_a_scan_leads_to_leaves_nothing_settled() -> None:
    system = plant_with(PROGRAM)
    back = Move("back", MoveKind.PLANT, var("gate"), {"gate": FALSE, PHASE: const(0)})
    system = replace(system, moves=(*system.moves, back))
    assert settled(system) is None
    check_states(system)


class _Counted:
    """An event that notes how often it was asked."""

    def __init__(self, event: SymbolicMove) -> None:
        self.event = event
        self.name = event.name
        self.n_asked = 0

    def image(self, states: Any) -> Any:
        self.n_asked += 1
        return self.event.image(states)


def test_events_in_a_row_are_not_followed_one_by_one(tmp_path: Path) -> None:
    n_inputs = 12
    names = [f"i{n}" for n in range(n_inputs)]
    (tmp_path / "p.st").write_text(
        f"PROGRAM P\nVAR_INPUT {', '.join(names)} : BOOL; END_VAR\nVAR_OUTPUT o : BOOL; END_VAR\n"
        f"o := {' AND '.join(names)};\nEND_PROGRAM\n"
    )
    (tmp_path / "model.yaml").write_text(
        "title: m\nrun: {between_scans: one in all}\ncontroller: p.st\n"
        "requirements: {R: {says: r, can_still: o}}\n"
    )
    system = build(load(tmp_path)).system
    encoding = Encoding(system, copied_variables(system))
    found = settling(encoding, [SymbolicMove.of(encoding, move) for move in system.moves])
    assert found is not None
    events = [_Counted(event) for event in found.anywhere]
    assert len(events) == 2 * n_inputs
    found.anywhere = events  # type: ignore[assignment]
    # Any number of inputs may change between two scans; so many rounds are no good.
    between = Between(found, encoding.diagrams.false, encoding.diagrams.tidy)
    first = found.scan.image(encoding.is_state(system.initial))
    between.follow(found.narrowed(first), with_strikes=True)
    assert max(event.n_asked for event in events) <= 3
