"""Moves of many systems beside one explored system, against states of each listed one by one."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines import permitter
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr
from interlock.kernel.permitted import Permitting
from interlock.kernel.query import Limits
from interlock.kernel.system import Domain, Move, MoveKind, Stepper, System, Variable
from interlock.kernel.witness import check_run
from tests.agree.test_advise_agrees import Listed
from tests.support.choices import Choices
from tests.support.strategies import a_number, a_truth, random_system

_ON = "on"
_OUT, _WISH = "out", "wish"


@dataclass(frozen=True)
class Case:
    """A system whose scan decides `out` by a line, and the same with `out` at will."""

    base: System
    free: System
    bad: tuple[Expr, ...]
    seen: tuple[Expr, ...]

    def inserted(self, line: Expr) -> System:
        """The system with another line."""
        scans = [self.free.move(name) for name in ("off", _ON)]
        return self.base.with_moves([*self.free.moves[:-2], _decided(line, *scans)])


def _decided(line: Expr, off: Move, on: Move) -> Move:
    updates = {n: ex.ite(line, on.updates[n], off.updates[n]) for n in on.updates}
    return Move("scan", MoveKind.SCAN, off.guard, updates)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    by = Choices(draw)
    given_ = draw(random_system(most_moves=3))
    domains = {**given_.intervals, _OUT: (0, 1)}
    variables = (*given_.variables, Variable(_OUT, Domain(0, 1), by.below(2)))
    moves = list(given_.moves)
    for n in range(by.between(1, 2)):
        name = by.pick(sorted(given_.intervals))
        new = ex.clamp(a_number(by, domains), *domains[name])
        moves.append(Move(f"n{n}", MoveKind.PLANT, a_truth(by, domains), {name: new}))
    # What a scan makes of some memory may depend on the output that it has decided before.
    updates = {
        name: ex.clamp(a_number(by, {**domains, _WISH: (0, 1)}), *domains[name])
        for name in by.some(sorted(given_.intervals), most=2)
    }

    def scan(name: str, value: int) -> Move:
        names = sorted(updates)
        new = ex.substitute([updates[n] for n in names], {_WISH: ex.const(value)})
        written = {**dict(zip(names, new, strict=True)), _OUT: ex.const(value)}
        return Move(name, MoveKind.SCAN, due, written)

    # In time a scan may be made only where it is due.
    due = ex.TRUE if by.below(2) else a_truth(by, domains)
    off, on = scan("off", 0), scan(_ON, 1)
    free = System(variables, (*moves, off, on))
    decided = _decided(a_truth(by, domains), off, on)
    if by.below(3) == 0:
        # A scan that does something else as well: then no more is known than without it.
        odd = by.pick(sorted(given_.intervals))
        other = ex.clamp(a_number(by, domains), *domains[odd])
        decided = Move("scan", MoveKind.SCAN, due, {**decided.updates, odd: other})
    base = System(variables, (*moves, decided))
    bad = tuple(a_truth(by, domains, 2) for _ in range(by.between(0, 3)))
    seen = tuple(a_truth(by, domains, 1) for _ in range(by.between(0, 3)))
    return Case(base, free, bad, seen)


def _reached(system: System) -> dict[State, int]:
    """Every state, with the moves of a shortest run to it."""
    stepper, found = Stepper(system), {system.initial: 0}
    waiting = [system.initial]
    for state in waiting:
        for _, after in stepper.successors(state):
            if after not in found:
                found[after] = found[state] + 1
                waiting.append(after)
    return found


def _hold_together(case: Case, permitting: Permitting, line: Expr, goal: Expr) -> None:
    listed = Listed(case.free, _ON, case.bad)
    permits = permitting.permit(case.free, _ON, case.bad)
    assert permits.limit is None
    assert list(permits.kept) == listed.kept
    assert permits.n_states == len(listed.reached)
    assert (permits.n_safe, permits.n_unsafe) == (len(listed.safe), len(listed.unsafe))
    permit = permits.seen_through(case.seen)
    apart = permitter().permit(case.free, _ON, case.bad).seen_through(case.seen)
    assert permit is not None
    assert apart is not None
    dangerous = {listed.sight(s, case.seen) for s in listed.unsafe}
    sights = {listed.sight(s, case.seen) for s in listed.possible}
    assert (permit.n_sights, permit.n_alike) == (apart.n_sights, apart.n_alike)
    assert permit.n_sights == len(sights)

    def allowed(state: State) -> bool:
        sight = listed.sight(state, case.seen)
        return any(all(sight[n] == value for n, value in cube) for cube in permit.cubes)

    for state in listed.possible:
        assert allowed(state) == (listed.sight(state, case.seen) not in dangerous)
    advised = ex.or_(
        *(
            ex.and_(*(case.seen[n] if v else ex.not_(case.seen[n]) for n, v in cube))
            for cube in permit.cubes
        )
    )
    assert permits.keeps(case.inserted(advised))
    must_not_be = [b for b, is_kept in zip(case.bad, listed.kept, strict=True) if is_kept]
    for tried in (advised, line):
        reached = _reached(case.inserted(tried))
        if any(listed.meets(b, state) for b in must_not_be for state in reached):
            assert not permits.keeps(case.inserted(tried))
        due = case.free.move(_ON).guard
        made = any(listed.meets(tried, state) and listed.meets(due, state) for state in reached)
        assert permits.is_ever_made(tried) == made
    distances = _reached(case.base)
    met = [distances[state] for state in distances if listed.meets(goal, state)]
    assert permitting.n_states == len(distances)
    (run,) = permitting.nearest([goal])
    assert (run is None) == (not met)
    if run is not None:
        check_run(case.base, run)
        assert len(run) == min(met)


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(cases(), st.data())
def test_beside_one_exploration_the_answers_are_those_of_each_by_itself(
    case: Case, data: st.DataObject
) -> None:
    by = Choices(data.draw)
    line, goal = (a_truth(by, case.free.intervals) for _ in range(2))
    permitting = permitter().permitting(case.base)
    # Once more after runs were looked for, and for a system of other variables.
    for _ in range(2):
        _hold_together(case, permitting, line, goal)
    other = System((), (Move(_ON, MoveKind.SCAN, ex.TRUE, {}),))
    assert permitting.permit(other, _ON, []).n_states == 1


@settings(max_examples=10, deadline=None)
@given(cases())
def test_a_limit_leaves_nothing_that_is_told(case: Case) -> None:
    n_states = len(_reached(case.free))
    limits = Limits(max_states=n_states - 1)
    permitting = permitter().permitting(case.base, limits)
    permits = permitting.permit(case.free, _ON, case.bad, limits)
    assert permits.limit == f"states {n_states - 1}"
