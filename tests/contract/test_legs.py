"""What every engine answers along legs."""

from __future__ import annotations

from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, add, and_, const, lt, not_, var
from interlock.kernel.query import FewestScans, Leg, MostScans, Occurs, Reach, Stay
from interlock.kernel.system import Move, MoveKind, System
from tests.support.build import is_, move, system
from tests.support.engines import Explore
from tests.support.judge import check_shows, prefix_length


def ring(size: int, scans: tuple[int, ...] = ()) -> System:
    """Round and round; the moves from some of its places are scans."""
    moves = []
    for n in range(size):
        made = move(f"from {n}", is_("n", n), {"n": (n + 1) % size})
        kind = MoveKind.SCAN if n in scans else MoveKind.PLANT
        moves.append(Move(made.name, kind, made.guard, made.updates))
    return system({"n": (0, size - 1, 0)}, *moves)


def avoiding(*places: int) -> ex.Expr:
    return not_(ex.or_(*(is_("n", place) for place in places)))


def test_a_leg_is_gone_along_only_inside(explore: Explore) -> None:
    of = ring(6)
    free, blocked = Leg(TRUE), Leg(avoiding(3))
    for legs, target, length in (
        ((free,), 4, 4),
        ((blocked,), 3, 3),
        ((blocked,), 4, None),
        ((free, Leg(avoiding(3), is_("n", 4))), 2, 8),
        ((free, Leg(avoiding(3), is_("n", 4))), 3, 9),
        ((free, Leg(avoiding(3, 0), is_("n", 4))), 1, None),
        ((free, Leg(TRUE, is_("n", 2)), Leg(avoiding(1), is_("n", 5))), 1, 7),
        ((Leg(TRUE, is_("n", 1)),), 1, None),
    ):
        query = Reach(is_("n", target), legs)
        (answer,) = explore(of, [query]).answers
        assert answer.found is (length is not None), legs
        if length is not None:
            check_shows(of, answer.witness, query)
            assert len(answer.witness) == length


def test_each_of_several_legs_has_conditions_of_its_own(explore: Explore) -> None:
    # Neither what goes on in a leg nor what begins the next may be taken for the other's.
    of = ring(6)
    for enters, insides, target, length in (
        ((0, 1, 3), (TRUE, TRUE, TRUE), 5, 5),
        ((0, 1, 3), (TRUE, avoiding(2), TRUE), 5, None),
        ((0, 1, 3), (TRUE, TRUE, avoiding(4)), 5, None),
        ((0, 1, 3), (avoiding(1), avoiding(3), avoiding(5)), 5, 5),
        ((0, 3, 1), (TRUE, TRUE, TRUE), 5, 11),
        ((0, 3, 1), (avoiding(4), TRUE, avoiding(0)), 0, 12),
        ((0, 3, 1), (avoiding(2), TRUE, TRUE), 0, None),
    ):
        legs = tuple(Leg(a, is_("n", b)) for a, b in zip(insides, enters, strict=True))
        (answer,) = explore(of, [Reach(is_("n", target), legs)]).answers
        assert answer.found is (length is not None), (enters, target)
        if length is not None:
            assert len(answer.witness) == length


def test_one_state_may_be_all_there_is_of_several_legs(explore: Explore) -> None:
    legs = (Leg(ex.FALSE), Leg(ex.FALSE, is_("n", 0)), Leg(TRUE, is_("n", 0)))
    (answer,) = explore(ring(4), [Reach(is_("n", 0), legs)]).answers
    assert answer.found
    assert len(answer.witness) == 0


def test_the_shortest_run_may_begin_its_leg_late(explore: Explore) -> None:
    # From 1 it takes ten moves inside, from 6 only one, though 6 is farther away.
    n = var("n")
    of = system(
        {"n": (0, 12, 0)},
        move("up", lt(n, const(11)), {"n": ex.clamp(add(n, const(1)), 0, 12)}),
        move("over", is_("n", 6), {"n": 12}),
    )
    legs = (Leg(), Leg(avoiding(6), ex.or_(is_("n", 1), is_("n", 7))))
    (answer,) = explore(of, [Reach(is_("n", 11), legs)]).answers
    assert len(answer.witness) == 11
    through = (Leg(), Leg(TRUE, ex.or_(is_("n", 1), is_("n", 6))))
    (answer,) = explore(of, [Reach(is_("n", 12), through)]).answers
    assert len(answer.witness) == 7


def test_scans_are_counted_in_their_leg_alone(explore: Explore) -> None:
    of = ring(6, scans=(0, 2, 3))
    for scans, length in ((0, 2), (1, 3), (2, 4), (3, 7), (4, 9)):
        query = Reach(TRUE, (Leg(), Leg(TRUE, is_("n", 2), scans)))
        (answer,) = explore(of, [query]).answers
        check_shows(of, answer.witness, query)
        assert len(answer.witness) == length


def test_most_scans_before_a_state_are_told(explore: Explore) -> None:
    of = ring(6, scans=(0, 2, 3))
    inside = avoiding(5)
    for scans, target, most in (
        (9, 2, 0),
        (9, 3, 1),
        (9, 4, 2),
        (9, 5, 2),
        (9, 1, None),
        (2, 4, 2),
        (2, 5, None),  # With both scans behind it the run goes on no further.
        (0, 2, 0),
        (0, 3, None),
    ):
        legs = (Leg(), Leg(inside, is_("n", 2), scans))
        (answer,) = explore(of, [MostScans(is_("n", target), legs)]).answers
        assert answer.values == (() if most is None else ((most,),)), (scans, target)


def test_a_short_leg_has_no_more_scans_than_it_says(explore: Explore) -> None:
    of = ring(6, scans=(0, 2, 3))
    for scans, inside, target, length in (
        (0, TRUE, 2, 2),
        (0, TRUE, 3, None),
        (1, TRUE, 3, 3),
        (1, TRUE, 4, None),
        (2, TRUE, 0, 6),
        (2, TRUE, 1, None),
        (3, TRUE, 1, 7),
        (3, TRUE, 2, 2),
        (9, avoiding(5), 5, 5),
        (9, avoiding(5), 0, None),
    ):
        query = Reach(is_("n", target), (Leg(), Leg(inside, is_("n", 2), scans, is_short=True)))
        (answer,) = explore(of, [query]).answers
        assert answer.found is (length is not None), (scans, target)
        if length is not None:
            check_shows(of, answer.witness, query)
            assert len(answer.witness) == length


def test_the_run_through_a_short_leg_makes_no_scan_where_another_move_does_the_same(
    explore: Explore,
) -> None:
    of = system(
        {"n": (0, 1, 0)},
        Move("scan", MoveKind.SCAN, TRUE, {"n": const(1)}),
        move("step", TRUE, {"n": 1}),
    )
    query = Reach(is_("n", 1), (Leg(is_short=True),))
    (answer,) = explore(of, [query]).answers
    check_shows(of, answer.witness, query)
    assert [step.move for step in answer.witness.steps] == ["step"]


def test_a_run_goes_on_behind_a_short_leg_from_any_number_of_its_scans(explore: Explore) -> None:
    of = ring(6, scans=(0, 2, 3))
    for enter, length in ((2, 8), (3, 8), (4, 8), (5, 8), (0, 8), (1, None)):
        legs = (Leg(), Leg(TRUE, is_("n", 2), 2, is_short=True), Leg(TRUE, is_("n", enter), 1))
        query = Reach(is_("n", 2), legs)
        (answer,) = explore(of, [query]).answers
        assert answer.found is (length is not None), enter
        if length is not None:
            check_shows(of, answer.witness, query)
            assert len(answer.witness) == length


def test_fewest_scans_before_a_state_are_told(explore: Explore) -> None:
    n = var("n")
    of = system(
        {"n": (0, 9, 0)},
        Move("scan", MoveKind.SCAN, lt(n, const(9)), {"n": ex.clamp(add(n, const(1)), 0, 9)}),
        move("over", is_("n", 3), {"n": 7}),
    )
    for scans, target, fewest in (
        (9, 1, 0),
        (9, 3, 2),
        (9, 7, 2),
        (9, 9, 4),
        (4, 9, 4),
        (3, 9, None),
        (9, 6, 5),
        (9, 0, None),
    ):
        legs = (Leg(), Leg(TRUE, is_("n", 1), scans, is_short=True))
        (answer,) = explore(of, [FewestScans(is_("n", target), legs)]).answers
        assert answer.values == (() if fewest is None else ((fewest,),)), (scans, target)


def test_what_occurs_on_the_way_is_found_without_a_run(explore: Explore) -> None:
    legs = (Leg(), Leg(avoiding(4), is_("n", 2)))
    queries = [Occurs(is_("n", place), legs) for place in range(6)]
    answers = explore(ring(6), queries).answers
    assert [answer.n_states for answer in answers] == [0, 0, 1, 1, 1, 0]
    assert {answer.found for answer in answers} == {False}
    # What is asked of the last leg is also met on the way to it, and that is not enough.
    for target, n_states in ((0, 1), (2, 0), (4, 1)):
        legs = (Leg(avoiding(5)), Leg(avoiding(1), is_("n", 3)))
        (answer,) = explore(ring(6), [Occurs(is_("n", target), legs)]).answers
        assert answer.n_states == n_states, target


def test_staying_begins_behind_the_legs(explore: Explore) -> None:
    a = var("a")
    of = system(
        {"a": (0, 1, 0), "n": (0, 3, 0)},
        move("on", lt(var("n"), const(3)), {"n": ex.clamp(add(var("n"), const(1)), 0, 3)}),
        move("set", and_(is_("n", 2), not_(a)), {"a": 1}),
        move("rest", is_("n", 3), {}),
    )
    for legs, stay, known in (
        ((Leg(TRUE), Leg(TRUE, a)), TRUE, 3),
        ((Leg(TRUE), Leg(TRUE, is_("n", 1))), not_(a), 1),
        ((Leg(not_(is_("n", 1))), Leg(TRUE, is_("n", 2))), TRUE, None),
    ):
        query = Stay(TRUE, stay, legs)
        (answer,) = explore(of, [query]).answers
        assert answer.found is (known is not None)
        if known is not None:
            check_shows(of, answer.witness, query)
            assert prefix_length(of, answer.witness, query) == known


def test_more_scans_than_a_byte_counts(explore: Explore) -> None:
    of = ring(3, scans=(0,))
    query = Reach(is_("n", 0), (Leg(TRUE, TRUE, 300),))
    (answer,) = explore(of, [query]).answers
    check_shows(of, answer.witness, query)
    assert len(answer.witness) == 900
