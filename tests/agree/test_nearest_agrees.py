"""The nearest run of an exploration against a search state by state by the same rule."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.explored import Explored
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import TRUE, Expr, and_, const, lt, total, var
from interlock.kernel.system import MoveKind, Stepper, System
from interlock.kernel.witness import check_run
from tests.support.strategies import conditions
from tests.support.turns import FLAGS, taking_turns, two_that_rise

SETTINGS = settings(
    max_examples=30,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def moves_in_all(system: System, wanted: Expr) -> int | None:
    """How many moves and scans lead to a state that is wanted."""
    holds, stepper = python_function([wanted], system.index), Stepper(system)
    ring, seen, depth = {system.initial}, {system.initial}, 0
    while ring:
        if any(holds(state)[0] for state in ring):
            return depth
        ring = {after for state in ring for _, after in stepper.successors(state)} - seen
        seen |= ring
        depth += 1
    return None


def answered_moves(system: System, starts: set[State], wanted: Expr) -> int | None:
    """How many moves, each with a scan behind it, come before one that leads to what is wanted.

    Or before nothing more is needed; None where no such run leads there.
    """
    holds, stepper = python_function([wanted], system.index), Stepper(system)
    kinds = {move.name: move.kind for move in system.moves}
    ring, seen, depth = starts, set(starts), 0
    while ring:
        beyond = {after for state in ring for _, after in stepper.successors(state)}
        if any(holds(state)[0] for state in ring | beyond):
            return depth
        new = set()
        for state in ring:
            for move, after in stepper.successors(state):
                is_scan = kinds[move.name] is MoveKind.SCAN
                scans = [s for m, s in stepper.successors(after) if m.kind is MoveKind.SCAN]
                new.update([after] if is_scan else scans)
        ring = new - seen
        seen |= ring
        depth += 1
    return None


def moves_at_the_end(system: System, starts: set[State], wanted: Expr) -> int | None:
    """The fewest moves behind the last scan, where one answers each before; None for no run."""
    holds, stepper = python_function([wanted], system.index), Stepper(system)
    settled, new = set(starts), list(starts)
    while new:
        for move, after in stepper.successors(new.pop()):
            answers = [s for m, s in stepper.successors(after) if m.kind is MoveKind.SCAN]
            for state in [after] if move.kind is MoveKind.SCAN else answers:
                if state not in settled:
                    settled.add(state)
                    new.append(state)
    ring, seen, depth = settled, set(settled), 0
    while ring:
        if any(holds(state)[0] for state in ring):
            return depth
        pairs = (pair for state in ring for pair in stepper.successors(state))
        ring = {after for move, after in pairs if move.kind is not MoveKind.SCAN} - seen
        seen |= ring
        depth += 1
    return None


@seed(31)
@SETTINGS
@given(data=st.data())
def test_the_nearest_run_has_the_fewest_moves_that_a_scan_answers_each(data: st.DataObject) -> None:
    most_pending = data.draw(st.sampled_from([1, 2, None, None]))
    system = data.draw(taking_turns(most_pending, data.draw(st.booleans())))
    seen = Explored(system, FLAGS)
    space = seen._whole()
    encoding = space.encoding
    assert space.chained is not None
    search = space.chained[0]
    scan = next(move for move in system.moves if move.kind is MoveKind.SCAN)
    stepper = Stepper(system)
    everything = [system.initial]
    for state in everything:
        everything += {after for _, after in stepper.successors(state)} - set(everything)
    before = {state for state in everything if encoding.holds(search.irregular, state)}
    starts = {stepper.after(state, scan) for state in before} or {system.initial}
    for _ in range(4):
        # Some of it comes only where so much has happened since the last scan.
        n_since = data.draw(st.sampled_from([-1, 1, 2, 2]))
        since = total([var(name) for name in system.turns])
        condition = data.draw(st.one_of(conditions(system), st.just(TRUE)))
        wanted = and_(condition, lt(const(n_since), since))
        run = seen.nearest(wanted)
        least = moves_in_all(system, wanted)
        assert (run is None) is (least is None)
        if run is None or least is None:
            continue
        check_run(system, run)
        holds = python_function([wanted], system.index)
        assert holds(run.last)[0]
        depth = answered_moves(system, starts, wanted)
        at_end = moves_at_the_end(system, starts, wanted)
        moves = [step.move for step in run.steps]
        if any(holds(s)[0] for s in before):
            # Before the first scan no fault strikes as long as anything else leads there.
            assert scan.name not in moves
            continue
        if search.settling is None or at_end is None:
            assert len(run) == least
            continue
        assert (depth is None) is (at_end > 1)
        assert depth is None or moves.count(scan.name) == depth + bool(before)
        behind = moves[moves.index(scan.name) + 1 :] if before else moves
        if depth is None:
            assert scan.name not in behind[-at_end:]
            behind = behind[: 1 - at_end]
        assert all(scan.name in pair for pair in pairwise(behind[:-1])), moves


def test_several_moves_stand_behind_the_last_scan_where_one_is_not_enough() -> None:
    of = two_that_rise()
    run = Explored(of, ()).nearest(and_(var("a"), var("b"), var("seen")))
    assert run is not None
    check_run(of, run)
    names = [step.move for step in run.steps]
    assert names[:3] == ["scan", "a rises", "scan"]
    assert sorted(names[3:]) == ["a rises", "b rises"]
