"""What every engine that offers it says of states seen through some variables."""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, not_, or_, var
from interlock.kernel.projected import Projects
from interlock.kernel.query import DeclinedError, Limits, Reach, Stay, Trap, Values
from interlock.kernel.system import BOOL, Move, MoveKind, Role, System
from interlock.kernel.witness import check_run
from tests.support.build import is_, move, system

FLAGS = ("a", "b", "c")


def strikes(flag: str, guard: Expr = TRUE) -> Move:
    return Move(f"{flag} strikes", MoveKind.FAULT, and_(guard, not_(var(flag))), {flag: TRUE})


def machine() -> System:
    """It goes 0, 1, 2 and back; a and b together let it go on to 3, c alone to 4, for good."""
    return system(
        {"at": (0, 4, 0), "a": (0, 1, 0), "b": (0, 1, 0), "c": (0, 1, 0)},
        move("first", is_("at", 0), {"at": 1}, is_("at", 0)),
        move("second", is_("at", 1), {"at": 2}, is_("at", 1)),
        move("back", is_("at", 2), {"at": 0}, is_("at", 2)),
        move("over", and_(is_("at", 2), var("a"), var("b")), {"at": 3}),
        move("astray", and_(is_("at", 1), var("c")), {"at": 4}),
        *map(strikes, FLAGS),
    )


def test_minimal_sets_are_enough_and_nothing_less_is(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS)
    assert seen.minimal_sets(Reach(is_("at", 3))).sets == (("a", "b"),)
    assert seen.minimal_sets(Reach(or_(is_("at", 3), is_("at", 4)))).sets == (("c",), ("a", "b"))
    either = seen.minimal_sets(Reach(is_("at", 3)), Reach(is_("at", 4)), most_sets=1)
    assert (either.sets, either.n_by_order) == ((("c",),), (0, 1, 1))
    assert seen.minimal_sets(Reach(is_("at", 2))).sets == ((),)
    assert seen.minimal_sets(Reach(FALSE)).sets == ()


def test_sets_among_some_flags_are_those_that_need_no_other(projects: Projects) -> None:
    seen, either = projects.project(machine(), FLAGS), Reach(or_(is_("at", 3), is_("at", 4)))
    assert seen.minimal_sets(either, among=("b", "a")).sets == (("b", "a"),)
    assert seen.minimal_sets(either, among=("c", "a")).sets == (("c",),)
    assert seen.minimal_sets(either, among=("a",)).sets == ()


def test_flags_of_which_one_alone_is_set_are_seen_one_by_one(projects: Projects) -> None:
    """a and b exclude each other; c may join either."""
    of = system(
        {"at": (0, 3, 0), "a": (0, 1, 0), "b": (0, 1, 0), "c": (0, 1, 0)},
        move("by a", and_(is_("at", 0), var("a"), var("c")), {"at": 1}),
        move("by b", and_(is_("at", 0), var("b")), {"at": 2}),
        move("by both", and_(is_("at", 0), var("a"), var("b")), {"at": 3}),
        strikes("a", not_(var("b"))),
        strikes("b", not_(var("a"))),
        strikes("c"),
    )
    # As those of a model are: only then may an engine tell them as one variable.
    of = replace(
        of,
        variables=tuple(
            replace(v, role=Role.FAULT, domain=BOOL) if v.name in FLAGS else v for v in of.variables
        ),
    )
    seen = projects.project(of, FLAGS)
    assert seen.n_states == ReferenceEngine().explore(of, []).n_states
    assert seen.minimal_sets(Reach(not_(is_("at", 0)))).sets == (("b",), ("a", "c"))
    assert seen.minimal_sets(Reach(not_(is_("at", 0)))).n_by_order == (0, 1, 1)
    assert seen.minimal_sets(Reach(not_(is_("at", 0))), among=("a", "c")).sets == (("a", "c"),)
    assert seen.minimal_sets(Reach(is_("at", 3))).sets == ()
    assert seen.minimal_sets(Reach(TRUE)).sets == ((),)
    assert seen.occurring(Reach(is_("at", 2))) == ((0, 1, 0), (0, 1, 1))
    assert seen.occurring(Reach(is_("at", 1)), ("c", "b")) == ((1, 0),)
    run = seen.nearest(is_("at", 2))
    assert run is not None
    check_run(of, run)
    part = seen.part({"by b": var("c")})
    assert part is not None
    # One move beyond what is allowed is seen, and no more.
    assert part.minimal_sets(Reach(is_("at", 2))).sets == (("b",),)
    assert part.minimal_sets(Stay(TRUE, is_("at", 2))).sets == (("b", "c"),)


def test_what_goes_on_for_ever_and_what_is_lost_have_their_sets(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS)
    assert seen.minimal_sets(Stay(is_("at", 3), is_("at", 3))).sets == (("a", "b"),)
    assert seen.minimal_sets(Stay(TRUE, is_("at", 1))).sets == ()
    assert seen.minimal_sets(Trap(is_("at", 0))).sets == (("c",), ("a", "b"))


def test_sets_that_are_not_listed_are_counted(projects: Projects) -> None:
    found = projects.project(machine(), FLAGS).minimal_sets(
        Reach(or_(is_("at", 3), is_("at", 4))), most_sets=1
    )
    assert found.sets == (("c",),)
    assert found.n_by_order == (0, 1, 1)
    assert found.limit is None


@pytest.mark.parametrize("names", [None, ("at",), ("c", "at"), ()])
def test_values_that_occur_are_those_of_the_reference(
    projects: Projects, names: tuple[str, ...] | None
) -> None:
    of, where = machine(), or_(var("a"), is_("at", 4))
    asked = Values(tuple(map(var, FLAGS if names is None else names)), where)
    known = ReferenceEngine().explore(of, [asked])
    seen = projects.project(of, FLAGS)
    assert seen.occurring(Reach(where), names) == known.answers[0].values
    assert seen.n_states == known.n_states


def test_the_nearest_run_is_a_shortest_one(projects: Projects) -> None:
    of = machine()
    seen = projects.project(of, FLAGS)
    run = seen.nearest(is_("at", 3))
    assert run is not None
    check_run(of, run)
    assert len(run) == 5
    assert run.last[0] == 3
    assert seen.nearest(FALSE) is None


def test_a_part_goes_where_it_is_allowed_and_sees_one_move_beyond(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS)
    part = seen.part({"second": FALSE})
    assert part is not None
    assert part.occurring(Reach(TRUE), ("at",)) == ((0,), (1,), (2,), (4,))
    # It is not left there: what lies behind that move is no part of it.
    assert part.minimal_sets(Reach(is_("at", 3))).sets == ()
    # The whole is as it was.
    assert seen.minimal_sets(Reach(is_("at", 3))).sets == (("a", "b"),)


def test_a_run_to_something_in_a_part_keeps_to_the_part(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS)
    # What was searched for in the whole is no way in the part.
    assert seen.nearest(and_(is_("at", 3), var("a"), var("b"), not_(var("c")))) is not None
    part = seen.part({"second": or_(var("a"), var("b"))})
    assert part is not None
    run = part.nearest(is_("at", 2))
    assert run is not None
    check_run(machine(), run)
    assert len(run) == 3
    nowhere = seen.part({"second": FALSE})
    assert nowhere is not None
    assert nowhere.nearest(is_("at", 2)) is None


def test_a_part_may_leave_out_what_some_flags_lead_to(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS)
    part = seen.part({}, among=("c", "a"))
    assert part is not None
    assert part.occurring(Reach(is_("at", 3))) == ()
    assert part.occurring(Reach(is_("at", 4))) == ((0, 0, 1), (1, 0, 1))
    held = seen.part({"astray": FALSE}, among=("c",))
    assert held is not None
    # One move beyond, with no other flag there, either.
    assert held.occurring(Reach(is_("at", 4))) == ((0, 0, 1),)
    assert held.occurring(Stay(TRUE, is_("at", 4))) == ()


def test_in_a_part_a_way_on_may_leave_it(projects: Projects) -> None:
    part = projects.project(machine(), FLAGS).part({"back": FALSE})
    assert part is not None
    assert part.minimal_sets(Trap(is_("at", 0))).sets == (("c",), ("a", "b"))


def test_a_limit_gives_no_answers(projects: Projects) -> None:
    seen = projects.project(machine(), FLAGS, Limits(max_states=3))
    assert seen.limit == "states 3"
    assert seen.minimal_sets(Reach(is_("at", 3))).sets == ()
    assert seen.minimal_sets(Reach(is_("at", 3))).limit == "states 3"
    assert seen.occurring(Reach(TRUE)) is None
    assert seen.nearest(TRUE) is None
    assert seen.part({}) is None


def test_a_flag_that_clears_is_declined(projects: Projects) -> None:
    of = system(
        {"a": (0, 1, 0)},
        strikes("a"),
        Move("a clears", MoveKind.FAULT, var("a"), {"a": FALSE}),
    )
    with pytest.raises(DeclinedError, match="a"):
        projects.project(of, ("a",))
