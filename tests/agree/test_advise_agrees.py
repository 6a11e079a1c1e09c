"""Advised permissives, against backward induction over states listed one by one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from interlock.commands.advise.freeing import ON, freed, line_of
from interlock.commands.advise.study import advise
from interlock.engines import catalogue
from interlock.engines.symbolic.permits import Permits
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.system import Stepper, System
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.model import Model
from interlock.st.lower import lower_expression
from tests.support.fan import fan
from tests.support.gate import gate
from tests.support.models import shipped


class Listed:
    """The same question answered by sets of states."""

    def __init__(self, system: System, on: str, must_not_be: Sequence[Expr]) -> None:
        self.system = system
        self.stepper = Stepper(system)
        self.on = system.move(on)
        start = system.initial
        reachable = self._reach(start, lambda _state, _move, _next: True)
        by_themselves = self._reach(start, lambda _s, move, _n: move is not self.on)
        self.kept = [not any(self.meets(bad, s) for s in by_themselves) for bad in must_not_be]
        bad = [b for b, is_kept in zip(must_not_be, self.kept, strict=True) if is_kept]
        lost = {s for s in reachable if any(self.meets(b, s) for b in bad)}
        while True:
            more = {s for s in reachable - lost if self._others(s) & lost}
            if not more:
                break
            lost |= more
        self.reached = self._reach(start, lambda _s, _m, after: after not in lost)
        # Elsewhere it is neither: there it cannot be made.
        self.possible = {s for s in self.reached if self.on in self.stepper.enabled(s)}
        self.unsafe = {s for s in self.possible if self.stepper.after(s, self.on) in lost}
        self.safe = self.possible - self.unsafe

    def meets(self, expr: Expr, state: State) -> bool:
        return bool(evaluate(expr, self.system.named(state)))

    def _others(self, state: State) -> set[State]:
        return {s for move, s in self.stepper.successors(state) if move is not self.on}

    def _reach(self, start: State, may) -> set[State]:  # type: ignore[no-untyped-def]
        found, waiting = {start}, [start]
        while waiting:
            state = waiting.pop()
            for move, after in self.stepper.successors(state):
                if after not in found and may(state, move, after):
                    found.add(after)
                    waiting.append(after)
        return found

    def sight(self, state: State, seen: Sequence[Expr]) -> tuple[bool, ...]:
        return tuple(self.meets(expr, state) for expr in seen)


CHANGED_FANS: dict[str, list[tuple[str, str]]] = {
    "fan": [],
    "fan late": [("{reads: button}", "{reads: button, delay_ms: 100, delay_assumed: true}")],
    "fan early": [("T#600ms", "T#200ms")],
    "fan slow": [("unlock: {}", "unlock: {delay_ms: 100, delay_assumed: true}")],
}
CASES = [
    ("ramp", "drive_enable", FAULT_FREE),
    ("ramp", "pump", FAULT_FREE),
    ("ramp-broken/pin-alone", "drive_enable", FAULT_FREE),
    ("ramp-broken/normally-open-stop", "pump", FAULT_FREE),
    ("gate", "lamp", FAULT_FREE),
    ("gate", "lamp", RunClass(("F1",), 1)),
    ("gate", "drive", RunClass(("F2", "F4"), 2)),
    ("fan", "unlock", FAULT_FREE),
    ("fan", "motor", FAULT_FREE),
    ("fan late", "unlock", FAULT_FREE),
    ("fan early", "unlock", FAULT_FREE),
    ("fan slow", "unlock", FAULT_FREE),
    ("level-crossing", "close", FAULT_FREE),
]


def model_of(name: str, folder: Path) -> Model:
    if name.startswith("fan"):
        return fan(folder, *CHANGED_FANS[name])
    return gate(folder) if name == "gate" else shipped(name)


@pytest.mark.parametrize(("name", "output", "run_class"), CASES)
def test_the_permissive_is_the_weakest_one(
    name: str, output: str, run_class: RunClass, tmp_path: Path
) -> None:
    model = model_of(name, tmp_path)
    free = freed(model, line_of(model, output), run_class)
    listed = Listed(free.system, ON, free.bad)
    permits = Permits(free.system, ON, free.bad)
    assert list(permits.kept) == listed.kept
    assert permits.n_states == len(listed.reached)
    assert (permits.n_safe, permits.n_unsafe) == (len(listed.safe), len(listed.unsafe))
    (advice,) = advise(model, catalogue()["reference"](), [output], run_class).advices
    everything = [s.expr for s in free.seen]
    used = [s.expr for s in free.seen if s.is_used]
    exprs = {s.name.casefold(): s.expr for s in free.seen}
    pairs = [(advice.permissive, everything if advice.narrower is not None else used)]
    pairs += [(advice.narrower, used)] if advice.narrower is not None else []
    for permissive, seen in pairs:
        assert permissive is not None
        advised = lower_expression(permissive, exprs)
        dangerous = {listed.sight(s, seen) for s in listed.unsafe}
        for state in listed.possible:
            # On exactly where everything that looks like this is safe.
            expected = listed.sight(state, seen) not in dangerous
            assert listed.meets(advised, state) == expected


@pytest.mark.parametrize(("name", "output", "run_class"), CASES)
def test_two_states_that_look_alike_do_look_alike(
    name: str, output: str, run_class: RunClass, tmp_path: Path
) -> None:
    model = model_of(name, tmp_path)
    free = freed(model, line_of(model, output), run_class)
    listed = Listed(free.system, ON, free.bad)
    permit = Permits(free.system, ON, free.bad).seen_through([s.expr for s in free.seen])
    assert permit is not None
    names = [s.expr for s in free.seen]
    safe = {listed.sight(s, names) for s in listed.safe}
    unsafe = {listed.sight(s, names) for s in listed.unsafe}
    assert (permit.n_sights, permit.n_alike) == (len(safe | unsafe), len(safe & unsafe))
    assert (permit.alike is None) == (not safe & unsafe)
    if permit.alike is not None:
        one, other = permit.alike
        assert one in listed.safe
        assert other in listed.unsafe
        assert listed.sight(one, names) == listed.sight(other, names)
