"""What every engine answers to `Stay`: is there a fair endless run that stays?"""

from __future__ import annotations

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, add, and_, const, lt, not_, or_, var
from interlock.kernel.query import Exploration, Stay
from interlock.kernel.system import System
from tests.support.build import is_, move, stands_still, system
from tests.support.engines import Explore
from tests.support.judge import check_shows, prefix_length
from tests.support.puzzles import peterson


def shown(of: System, query: Stay, found: Exploration) -> bool | None:
    (answer,) = found.answers
    if answer.witness is not None:
        check_shows(of, answer.witness, query)
    return answer.found


def lamp(fair: ex.Expr | None) -> System:
    """A button may be pressed for ever; once it was, the lamp comes on by a move of its own."""
    return system(
        {"pressed": (0, 1, 0), "lit": (0, 1, 0)},
        move("press", TRUE, {"pressed": 1}),
        move("light", and_(var("pressed"), not_(var("lit"))), {"lit": 1}, fair),
    )


def test_of_endless_runs_no_states_are_counted(explore: Explore) -> None:
    for fair in (None, and_(var("pressed"), not_(var("lit")))):
        (answer,) = explore(lamp(fair), [Stay(TRUE, not_(var("lit")))]).answers
        assert answer.n_states == 0


def test_an_idle_loop_refutes_a_response_without_fairness(explore: Explore) -> None:
    query = Stay(and_(var("pressed"), not_(var("lit"))), not_(var("lit")))
    of = lamp(fair=None)
    found = explore(of, [query])
    assert shown(of, query, found) is True
    assert prefix_length(of, found.answers[0].witness, query) == 1


def test_a_fair_move_is_taken_in_the_end(explore: Explore) -> None:
    query = Stay(and_(var("pressed"), not_(var("lit"))), not_(var("lit")))
    of = lamp(fair=and_(var("pressed"), not_(var("lit"))))
    assert shown(of, query, explore(of, [query])) is False


def test_a_fair_condition_weaker_than_the_guard_is_owed_too(explore: Explore) -> None:
    # The guard flickers, the fair condition does not.
    turn, lit = var("turn"), var("lit")
    for fair, known in ((not_(lit), False), (and_(turn, not_(lit)), True), (None, True)):
        of = system(
            {"turn": (0, 1, 0), "lit": (0, 1, 0)},
            move("flip", TRUE, {"turn": not_(turn)}),
            move("light", and_(turn, not_(lit)), {"lit": 1}, fair),
        )
        query = Stay(TRUE, not_(lit))
        assert shown(of, query, explore(of, [query])) is known


def test_a_move_that_every_scan_makes_possible_again_need_never_happen(explore: Explore) -> None:
    # The lever moves for ever. Between each of its moves and the scan the gate may not open, so
    # fairness does not owe that it ever does.
    lever, free = var("lever"), not_(var("pending"))
    follows = ex.eq(lever, var("valve"))
    toggle = move("the lever moves", free, {"lever": not_(lever), "pending": 1})
    opens = move("the gate opens", and_(free, follows), {"gate": 1, "pending": 1}, follows)
    scan = move("scan", TRUE, {"valve": lever, "pending": 0}, TRUE)
    variables = dict.fromkeys(("lever", "valve", "gate", "pending"), (0, 1, 0))
    query = Stay(TRUE, not_(var("gate")))
    of = system(variables, toggle, opens, scan)
    assert shown(of, query, explore(of, [query])) is True
    of = system(variables, opens, scan)
    assert shown(of, query, explore(of, [query])) is False


def test_a_run_without_an_enabled_move_stands_still(explore: Explore) -> None:
    of = system({"a": (0, 1, 0)}, move("set", not_(var("a")), {"a": 1}, fair=TRUE))
    for query, known in ((Stay(var("a"), var("a")), True), (Stay(TRUE, not_(var("a"))), False)):
        found = explore(of, [query])
        assert shown(of, query, found) is known
    witness = explore(of, [Stay(var("a"), var("a"))]).answers[0].witness
    assert witness.loop_start == len(witness.steps) == 1


def test_a_state_that_can_only_be_left_is_no_standstill(explore: Explore) -> None:
    of = system(
        {"a": (0, 1, 0)},
        move("set", not_(var("a")), {"a": 1}),
        move("reset", var("a"), {"a": 0}),
    )
    query = Stay(TRUE, var("a"))
    assert shown(of, query, explore(of, [query])) is False


def test_a_self_loop_is_an_endless_run(explore: Explore) -> None:
    of = system({"a": (0, 1, 0)}, move("set", TRUE, {"a": 1}), move("rest", var("a"), {}))
    query = Stay(TRUE, var("a"))
    found = explore(of, [query])
    assert shown(of, query, found) is True
    assert found.answers[0].witness.loop_start is not None


def test_a_self_loop_pays_only_its_own_move(explore: Explore) -> None:
    owed = var("a")
    of = system(
        {"a": (0, 1, 0)},
        move("set", TRUE, {"a": 1}),
        move("reset", var("a"), {"a": 0}, fair=owed),
    )
    query = Stay(TRUE, var("a"))
    assert shown(of, query, explore(of, [query])) is False


def test_the_start_need_not_be_first_and_must_lie_inside(explore: Explore) -> None:
    n = var("n")
    of = system(
        {"n": (0, 9, 0)},
        move("up", lt(n, const(9)), {"n": ex.clamp(add(n, const(1)), 0, 9)}),
        move("rest", lt(const(4), n), {}),
    )
    inside = lt(const(2), n)
    for start, known in ((is_("n", 3), 3), (is_("n", 6), 6), (lt(n, const(5)), 3)):
        query = Stay(start, inside)
        found = explore(of, [query])
        assert shown(of, query, found) is True
        assert prefix_length(of, found.answers[0].witness, query) == known
    for start in (is_("n", 2), FALSE):
        query = Stay(start, inside)
        assert shown(of, query, explore(of, [query])) is False


def test_the_earliest_start_that_leads_to_a_loop_is_shown(explore: Explore) -> None:
    # The start at n=1 leads nowhere inside; the one at n=4 does.
    n = var("n")
    of = system(
        {"n": (0, 6, 0)},
        move("up", lt(n, const(6)), {"n": ex.clamp(add(n, const(1)), 0, 6)}),
    )
    query = Stay(or_(is_("n", 1), is_("n", 4)), or_(lt(n, const(3)), lt(const(3), n)))
    found = explore(of, [query])
    assert shown(of, query, found) is True
    assert prefix_length(of, found.answers[0].witness, query) == 4


def test_several_fair_moves_are_all_paid_in_one_loop(explore: Explore) -> None:
    size = 12
    of = system(
        {"n": (0, size - 1, 0), "out": (0, 1, 0)},
        *(
            move(f"from {k}", is_("n", k), {"n": (k + 1) % size}, fair=not_(var("out")))
            for k in range(size)
        ),
        move("short cut", is_("n", 1), {"n": 0}),
        move("leave", is_("n", 5), {"out": 1}),
    )
    query = Stay(TRUE, not_(var("out")))
    found = explore(of, [query])
    assert shown(of, query, found) is True
    witness = found.answers[0].witness
    assert len(witness.steps) - witness.loop_start == size


def test_a_loop_that_pays_everything_may_need_states_where_nothing_is_owed(
    explore: Explore,
) -> None:
    a, b = var("a"), var("b")
    of = system(
        {"a": (0, 1, 0), "b": (0, 1, 0), "out": (0, 1, 0)},
        move("a flips", TRUE, {"a": not_(a)}),
        move("b flips", TRUE, {"b": not_(b)}),
        move("out while a", a, {"out": 1}, fair=a),
        move("out while b", b, {"out": 1}, fair=b),
        move("out without a", not_(a), {"out": 1}, fair=not_(a)),
    )
    query = Stay(TRUE, not_(var("out")))
    assert shown(of, query, explore(of, [query])) is True
    never_b = Stay(TRUE, and_(not_(var("out")), b))
    assert shown(of, never_b, explore(of, [never_b])) is False


def test_more_fair_moves_than_a_word_has_bits_are_all_owed(explore: Explore) -> None:
    n_moves = 130
    for left_out in (None, 3, 64, 129):
        moves = [
            move(
                f"turn {k}",
                ex.truth(k != left_out),
                {"n": (k + 1) % n_moves},
                fair=TRUE,
            )
            for k in range(n_moves)
        ]
        of = system({"n": (0, n_moves - 1, 0)}, *moves)
        query = Stay(TRUE, TRUE)
        assert shown(of, query, explore(of, [query])) is (left_out is None)


def test_peterson_never_starves_a_process_that_waits(explore: Explore) -> None:
    # Peterson 1981: with every process going on, one that waits is let in.
    of = peterson()
    waiting = is_("point0", 2)
    fair = system(
        {"point0": (0, 3, 0), "point1": (0, 3, 0), "turn": (0, 1, 0)},
        *(
            move(m.name, m.guard, m.updates, None if "raises" in m.name else m.guard)
            for m in of.moves
        ),
    )
    query = Stay(waiting, waiting)
    assert shown(fair, query, explore(fair, [query])) is False
    # Even unfairly: the other gives way once and then waits itself.
    assert shown(of, query, explore(of, [query])) is False
    never_wants = Stay(is_("point0", 0), is_("point0", 0))
    assert shown(of, never_wants, explore(of, [never_wants])) is True
    assert shown(fair, Stay(TRUE, TRUE), explore(fair, [Stay(TRUE, TRUE)])) is True
    assert explore(fair, [Stay(stands_still(fair), TRUE)]).answers[0].found is False
