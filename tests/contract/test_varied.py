"""What every engine that offers it makes of systems that differ from a known one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.kernel.expr import TRUE, Expr, add, and_, const, ite, lt, minimum, not_, or_, var
from interlock.kernel.query import Leg, Limits, Query, Reach, Stay, Trap
from interlock.kernel.system import PHASE, Move, MoveKind, Role, System
from interlock.kernel.varied import Varied, Varies
from interlock.kernel.witness import check_run
from tests.support.build import is_, move, system

LAMP = or_(is_("at", 0), is_("at", 1))
TOP = is_("at", 1)


def drive(lamp: Expr = LAMP, top: Expr = TOP) -> System:
    """It goes 0, 1, 2 and back to 0 while the lamp is on; a scan sets the lamp after each move.

    A door may open and shut. The scan comes behind any move, and each machine moves once before it.
    """
    made = system(
        {
            PHASE: (0, 2, 2),
            "drove": (0, 1, 0),
            "at": (0, 3, 0),
            "door": (0, 1, 0),
            "lamp": (0, 1, 0),
            "latch": (0, 1, 0),
        },
        _once("first", and_(is_("at", 0), var("lamp")), {"at": const(1)}),
        _once("second", and_(top, var("lamp")), {"at": const(2)}),
        _once("back", is_("at", 2), {"at": const(0)}),
        move("door", lt(var(PHASE), const(2)), {"door": not_(var("door")), PHASE: const(1)}),
    )
    scan = Move(
        "scan",
        MoveKind.SCAN,
        TRUE,
        {
            "lamp": lamp,
            PHASE: const(0),
            "drove": const(0),
            "latch": or_(var("latch"), is_("at", 2)),
        },
        TRUE,
    )
    variables = tuple(
        replace(v, role=Role.PHASE) if v.name in (PHASE, "drove") else v for v in made.variables
    )
    return System(variables, (*made.moves, scan))


def _once(name: str, guard: Expr, updates: dict[str, Expr]) -> Move:
    turn = and_(lt(var(PHASE), const(2)), not_(var("drove")))
    return move(name, and_(turn, guard), {**updates, PHASE: const(1), "drove": const(1)}, guard)


def known(varies: Varies, of: System) -> Varied:
    found = varies.vary(of)
    assert found is not None
    return found


def test_what_a_system_reaches_is_known_as_a_set(varies: Varies) -> None:
    of = drive()
    seen = known(varies, of)
    assert seen.n_states == ReferenceEngine().explore(of, []).n_states
    assert seen.occurs(is_("at", 2))
    assert not seen.occurs(is_("at", 3))
    run = seen.nearest(var("latch"))
    (answer,) = ReferenceEngine().explore(of, [Reach(var("latch"))]).answers
    assert run is not None
    assert answer.witness is not None
    check_run(of, run)
    assert len(run) == len(answer.witness)
    assert seen.nearest(is_("at", 3)) is None


@pytest.mark.parametrize(
    ("changed", "query"),
    [
        # Only the start differs from what the original reaches: no lamp after the first scan.
        (drive(lamp=and_(var("latch"), is_("at", 0))), Trap(is_("at", 1))),
        (drive(lamp=TRUE), Reach(and_(is_("at", 2), var("lamp"), is_(PHASE, 0)))),
        (drive(top=is_("at", 0)), Trap(is_("at", 0))),
        (drive(lamp=is_("at", 0)), Stay(is_("at", 1), is_("at", 1))),
        (
            drive(lamp=TRUE),
            Reach(is_("at", 0), (Leg(), Leg(var("lamp"), is_("at", 2)), Leg())),
        ),
    ],
)
def test_what_a_change_leads_to_is_found_with_a_run(
    varies: Varies, changed: System, query: Query
) -> None:
    never = Reach(is_("at", 3))
    of = drive()
    seen = known(varies, of)
    (mine,) = ReferenceEngine().explore(of, [query]).answers
    (theirs,) = ReferenceEngine().explore(changed, [query]).answers
    found = seen.first_found(changed, [never, query])
    assert theirs.found
    assert found.number == 1
    assert found.witness is not None
    check_run(changed, found.witness)
    assert (seen.first_found(of, [never, query]).number == 1) is mine.found


def test_what_the_original_alone_reaches_counts_for_nothing(varies: Varies) -> None:
    # Without the second move nothing that the original does behind it can be done.
    changed = drive(top=and_(is_("at", 1), var("latch")))
    for query in (Reach(is_("at", 2)), Reach(var("latch")), Stay(var("latch"), TRUE)):
        seen = known(varies, drive())
        assert ReferenceEngine().explore(changed, [query]).answers[0].found is False
        assert seen.first_found(changed, [query]).number is None
        assert seen.first_found(drive(), [query]).number == 0


def test_what_only_two_moves_between_scans_lead_to_is_found(varies: Varies) -> None:
    of = drive()
    both = Reach(and_(is_("at", 1), is_("drove", 1), var("door"), is_(PHASE, 1)))
    found = known(varies, of).first_found(of, [both])
    assert found.witness is not None
    check_run(of, found.witness)


def test_what_only_the_first_scan_leads_to_is_found(varies: Varies) -> None:
    """Nothing that the original reaches leads there by the changed moves, and no state tells it."""

    def remembering(first: int) -> System:
        made = system(
            {PHASE: (0, 1, 1), "at": (0, 1, 0), "told": (0, 2, 0)},
            move("turn", is_(PHASE, 0), {"at": not_(var("at")), PHASE: const(1)}),
        )
        told = ite(is_("told", 0), const(first), var("told"))
        scan = Move("scan", MoveKind.SCAN, TRUE, {PHASE: const(0), "told": told}, TRUE)
        phase, *others = made.variables
        return System((replace(phase, role=Role.PHASE), *others), (*made.moves, scan))

    seen = known(varies, remembering(1))
    found = seen.first_found(remembering(2), [Stay(is_("told", 2), var("at"))])
    assert found.witness is not None
    check_run(remembering(2), found.witness)


def test_another_system_is_explored_by_itself(varies: Varies) -> None:
    seen = known(varies, drive())
    other = system(
        {"n": (0, 5, 0)},
        move("on", lt(var("n"), const(3)), {"n": minimum(add(var("n"), const(1)), const(5))}),
    )
    assert seen.first_found(other, [Reach(is_("n", 4))]).number is None
    found = seen.first_found(other, [Reach(is_("n", 3))])
    assert found.witness is not None
    assert len(found.witness) == 3


def test_limits_leave_it_open(varies: Varies) -> None:
    assert varies.vary(drive(), Limits(max_states=3)) is None
    found = known(varies, drive()).first_found(
        drive(lamp=ite(var("door"), TRUE, var("latch"))), [Trap(is_("at", 3))], Limits(max_states=3)
    )
    assert found.number is None
    assert found.limit == "states 3"


def test_the_time_to_explore_the_original_does_not_end_what_is_asked_later(varies: Varies) -> None:
    original = varies.vary(drive(), Limits(max_seconds=5))
    assert original is not None
    space = getattr(original, "_space", None)
    if space is not None:
        # As if it had been explored long ago.
        space.budget._started -= 10
    assert original.occurs(TOP)
    assert original.nearest(TOP) is not None
    assert original.first_found(drive(), [Reach(TOP)], Limits(max_seconds=5)).number == 0
