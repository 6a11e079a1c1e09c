"""What every engine answers to `Reach` and `Count`."""

from __future__ import annotations

from itertools import pairwise

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import FALSE, TRUE, add, and_, const, eq, lt, not_, sub, var
from interlock.kernel.query import Count, Query, Reach
from interlock.kernel.system import System
from tests.support.build import is_, move, system
from tests.support.engines import Explore


def counter(last: int, first: int = 0) -> System:
    n = var("n")
    return system(
        {"n": (first, last, first)},
        move("up", lt(n, const(last)), {"n": ex.clamp(add(n, const(1)), first, last)}),
    )


def test_a_system_without_moves_has_one_state(explore: Explore) -> None:
    found = explore(system({"a": (0, 1, 1)}), [Reach(var("a")), Reach(not_(var("a")))])
    assert (found.n_states, found.depth, found.limit) == (1, 0, None)
    assert found.n_moves in (0, None)
    assert found.level_sizes == (1,)
    assert [answer.found for answer in found.answers] == [True, False]
    assert found.answers[0].witness.steps == ()


def test_a_system_without_variables_has_one_state(explore: Explore) -> None:
    assert explore(system({}, move("idle", TRUE))).n_states == 1


def test_a_move_that_changes_nothing_finds_no_state(explore: Explore) -> None:
    found = explore(system({"a": (0, 1, 0)}, move("idle", TRUE, {"a": var("a")})))
    assert found.n_states == 1
    assert found.n_moves in (1, None)


def test_a_move_that_is_never_enabled_is_never_taken(explore: Explore) -> None:
    found = explore(system({"a": (0, 1, 0)}, move("never", FALSE, {"a": 1})), [Reach(var("a"))])
    assert found.answers[0].found is False


def test_the_exploration_names_its_engine_and_has_consistent_sizes(explore: Explore) -> None:
    found = explore(counter(20))
    assert found.engine
    assert sum(found.level_sizes) == found.n_states == 21
    assert len(found.level_sizes) == found.depth + 1 == 21


def test_a_domain_of_one_value_takes_no_part(explore: Explore) -> None:
    constants = {"k": (7, 7, 7), "a": (0, 1, 0)}
    found = explore(
        system(constants, move("set", eq(var("k"), const(7)), {"a": 1})), [Reach(var("a"))]
    )
    assert found.n_states == 2


def test_negative_domains_count_from_their_least_value(explore: Explore) -> None:
    down = sub(var("n"), const(1))
    of = system(
        {"n": (-5, 3, 2)}, move("down", lt(const(-5), var("n")), {"n": ex.clamp(down, -5, 3)})
    )
    found = explore(of, [Reach(is_("n", -5)), Count(lt(var("n"), const(0)))])
    assert found.n_states == 8
    assert len(found.answers[0].witness) == 7
    assert found.answers[0].witness.last == (-5,)
    assert found.answers[1].n_states == 5


def test_updates_read_the_state_before_the_move(explore: Explore) -> None:
    of = system(
        {"a": (0, 3, 1), "b": (0, 3, 2)}, move("swap", TRUE, {"a": var("b"), "b": var("a")})
    )
    found = explore(of, [Reach(and_(is_("a", 2), is_("b", 1)))])
    assert found.n_states == 2
    assert len(found.answers[0].witness) == 1


def test_the_shortest_of_several_runs_is_shown(explore: Explore) -> None:
    n = var("n")
    of = system(
        {"n": (0, 100, 0)},
        move("one", lt(n, const(100)), {"n": ex.clamp(add(n, const(1)), 0, 100)}),
        move("seven", lt(n, const(94)), {"n": ex.clamp(add(n, const(7)), 0, 100)}),
    )
    found = explore(of, [Reach(is_("n", 50)), Reach(is_("n", 48))])
    assert [len(answer.witness) for answer in found.answers] == [8, 12]


def test_count_counts_reachable_states_and_never_finds(explore: Explore) -> None:
    answers = explore(
        counter(9), [Count(TRUE), Count(FALSE), Count(lt(var("n"), const(4)))]
    ).answers
    assert [answer.n_states for answer in answers] == [10, 0, 4]
    assert [answer.found for answer in answers] == [False] * 3
    assert all(answer.witness is None for answer in answers)


def test_reach_counts_the_states_with_its_target(explore: Explore) -> None:
    (answer,) = explore(counter(9), [Reach(lt(const(6), var("n")))]).answers
    assert answer.n_states == 3
    assert len(answer.witness) == 7


def test_more_queries_than_a_word_has_bits_are_all_answered(explore: Explore) -> None:
    queries: list[Query] = []
    for n in range(90):
        queries += [Reach(is_("n", n)), Count(lt(var("n"), const(n)))]
    answers = explore(counter(69), queries).answers
    assert [a.found for a in answers[::2]] == [n < 70 for n in range(90)]
    assert [len(a.witness) for a in answers[::2] if a.witness is not None] == list(range(70))
    assert [a.n_states for a in answers[1::2]] == [min(n, 70) for n in range(90)]


@pytest.mark.parametrize("n_bits", [63, 64, 65, 127, 130, 200])
def test_states_may_be_wider_than_a_machine_word(explore: Explore, n_bits: int) -> None:
    names = [f"b{n}" for n in range(n_bits)]
    moves = [move("first", not_(var("b0")), {"b0": 1})]
    moves += [move(f"then {b}", and_(var(a), not_(var(b))), {b: 1}) for a, b in pairwise(names)]
    found = explore(
        system(dict.fromkeys(names, (0, 1, 0)), *moves), [Reach(var(names[-1])), Count(var("b62"))]
    )
    assert found.n_states == n_bits + 1
    assert len(found.answers[0].witness) == n_bits
    assert found.answers[1].n_states == n_bits - 62


def test_a_variable_may_fill_a_word(explore: Explore) -> None:
    big = 2**62
    of = system(
        {"n": (-big, big, 0), "m": (0, 2**40, 2**40), "a": (0, 1, 0)},
        move("down", eq(var("n"), const(0)), {"n": -big}),
        move("up", eq(var("n"), const(-big)), {"n": big, "m": 3, "a": 1}),
    )
    found = explore(of, [Reach(and_(is_("n", big), is_("m", 3)))])
    assert found.n_states == 3
    assert len(found.answers[0].witness) == 2


def _arithmetic(operation: ex.Op, width: int) -> tuple[System, ex.Expr]:
    a, b = var("a"), var("b")
    value = {
        ex.Op.ADD: ex.add,
        ex.Op.SUB: ex.sub,
        ex.Op.MUL: ex.mul,
        ex.Op.DIV: ex.div,
        ex.Op.MOD: ex.mod,
        ex.Op.MIN: ex.minimum,
        ex.Op.MAX: ex.maximum,
    }[operation](a, b)
    moves = []
    for name in ("a", "b"):
        up = ex.clamp(add(var(name), const(1)), -width, width)
        moves.append(move(f"{name} up", lt(var(name), const(width)), {name: up}))
    return system(dict.fromkeys(["a", "b"], (-width, width, -width)), *moves), value


@pytest.mark.parametrize("operation", list(ex.ARITHMETIC), ids=lambda op: op.name)
def test_arithmetic_means_the_same_everywhere(explore: Explore, operation: ex.Op) -> None:
    width = 5
    of, value = _arithmetic(operation, width)
    span = range(-width, width + 1)
    known = [evaluate(value, {"a": a, "b": b}) for a in span for b in span]
    values = sorted(set(known))
    answers = explore(of, [Count(eq(value, const(v))) for v in values]).answers
    assert [answer.n_states for answer in answers] == [known.count(v) for v in values]


def test_wide_products_do_not_wrap(explore: Explore) -> None:
    big = 3_000_000_000
    product = ex.mul(var("a"), var("a"))
    of = system({"a": (0, big, 0)}, move("set", is_("a", 0), {"a": big}))
    answers = explore(of, [Count(eq(product, const(big * big))), Count(lt(product, const(0)))])
    assert [answer.n_states for answer in answers.answers] == [1, 0]


def test_truth_values_are_the_integers_0_and_1(explore: Explore) -> None:
    names = ["a", "b", "c"]
    of = system(dict.fromkeys(names, (0, 1, 0)), *(move(n, not_(var(n)), {n: 1}) for n in names))
    held = ex.total(var(name) for name in names)
    chosen = ex.ite(var("a"), add(var("b"), const(2)), not_(var("c")))
    answers = explore(
        of, [Count(eq(held, const(2))), Count(eq(chosen, const(1))), Count(lt(chosen, var("c")))]
    ).answers
    assert [answer.n_states for answer in answers] == [3, 2, 2]


def test_the_same_question_twice_gets_the_same_answer(explore: Explore) -> None:
    of = system(
        {"a": (0, 3, 0), "b": (0, 3, 0)},
        *(
            move(f"{n} up", lt(var(n), const(3)), {n: ex.clamp(add(var(n), const(1)), 0, 3)})
            for n in "ab"
        ),
    )
    queries = [Reach(and_(is_("a", 2), is_("b", 3))), Count(is_("a", 1))]
    first, second = explore(of, queries), explore(of, queries)
    assert first.answers == second.answers
    assert first.level_sizes == second.level_sizes
