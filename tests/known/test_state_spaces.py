"""Published state spaces: every engine finds the same counts and the same shortest runs."""

from __future__ import annotations

import pytest

from interlock.kernel.expr import and_, const, eq, var
from interlock.kernel.query import Count, Reach
from interlock.kernel.system import System
from tests.support import puzzles
from tests.support.build import is_, stands_still
from tests.support.engines import Explore

# OEIS A090034.
LEVELS_2X3 = (1, 2, 3, 5, 6, 7, 10, 12, 12, 16, 23, 25, 28, 39, 44, 40, 29, 21, 18, 12, 6, 1)


def fewest_moves(explore: Explore, system: System, target: dict[str, int]) -> int:
    goal = and_(*(is_(name, value) for name, value in target.items()))
    (answer,) = explore(system, [Reach(goal)]).answers
    assert answer.found is True
    return len(answer.witness)


def n_moves_is(found: int | None, known: int) -> bool:
    return found is None or found == known


def test_the_2x3_sliding_tiles_have_the_levels_of_oeis_a090034(explore: Explore) -> None:
    found = explore(puzzles.sliding_tiles(2, 3))
    assert found.n_states == 360
    assert found.depth == 21
    assert n_moves_is(found.n_moves, 840)
    assert found.level_sizes == LEVELS_2X3


@pytest.mark.slow
def test_the_8_puzzle_has_half_of_all_arrangements_and_depth_31(explore: Explore) -> None:
    # OEIS A089473: 181,440 states, two of them 31 moves away.
    found = explore(puzzles.sliding_tiles(3, 3))
    assert found.n_states == 181_440
    assert found.depth == 31
    assert n_moves_is(found.n_moves, 483_840)
    assert found.level_sizes[31] == 2


@pytest.mark.parametrize("n_discs", [1, 3, 6])
def test_hanoi_has_three_to_the_n_states_and_takes_two_to_the_n_less_one(
    explore: Explore, n_discs: int
) -> None:
    system = puzzles.hanoi(n_discs)
    assert explore(system).n_states == 3**n_discs
    target = {f"disc{n}": 2 for n in range(n_discs)}
    assert fewest_moves(explore, system, target) == 2**n_discs - 1


def test_wolf_goat_and_cabbage_need_seven_crossings_through_ten_states(explore: Explore) -> None:
    # Classical; counts recomputed by hand.
    system = puzzles.wolf_goat_cabbage()
    assert explore(system).n_states == 10
    target = dict.fromkeys(["farmer", "wolf", "goat", "cabbage"], 1)
    assert fewest_moves(explore, system, target) == 7


def test_three_missionaries_and_cannibals_need_eleven_crossings(explore: Explore) -> None:
    # Classical: 16 reachable states.
    system = puzzles.missionaries()
    assert explore(system).n_states == 16
    assert fewest_moves(explore, system, {"missionaries": 0, "cannibals": 0}) == 11


def test_jugs_of_3_and_5_measure_4_in_six_moves(explore: Explore) -> None:
    # Classical: 16 states, 58 moves.
    system = puzzles.jugs(3, 5)
    found = explore(system)
    assert found.n_states == 16
    assert n_moves_is(found.n_moves, 58)
    assert fewest_moves(explore, system, {"b": 4}) == 6


def test_peterson_excludes_and_never_stands_still(explore: Explore) -> None:
    # The verdict is classical (Peterson 1981); 20 states and 34 moves are recomputed.
    system = puzzles.peterson()
    both = and_(is_("point0", 3), is_("point1", 3))
    found = explore(system, [Reach(both), Reach(stands_still(system))])
    assert found.n_states == 20
    assert n_moves_is(found.n_moves, 34)
    assert [answer.found for answer in found.answers] == [False, False]


def test_testing_before_setting_fails_after_four_moves(explore: Explore) -> None:
    system = puzzles.flags(set_first=False)
    found = explore(system, [Reach(and_(is_("point0", 2), is_("point1", 2)))])
    assert found.n_states == 9
    assert len(found.answers[0].witness) == 4


def test_setting_before_testing_excludes_but_stands_still_after_two_moves(
    explore: Explore,
) -> None:
    system = puzzles.flags(set_first=True)
    both = and_(is_("point0", 2), is_("point1", 2))
    found = explore(system, [Reach(both), Reach(stands_still(system))])
    assert found.n_states == 8
    assert found.answers[0].found is False
    assert found.answers[1].n_states == 1
    assert len(found.answers[1].witness) == 2


@pytest.mark.parametrize(("n", "n_states", "n_moves"), [(3, 14, 27), (5, 82, 265)])
def test_philosophers_have_the_closed_form_and_one_deadlock(
    explore: Explore, n: int, n_states: int, n_moves: int
) -> None:
    # (1+√2)^n + (1−√2)^n states, recomputed; the deadlock is classical (Dijkstra).
    assert round((1 + 2**0.5) ** n + (1 - 2**0.5) ** n) == n_states
    system = puzzles.philosophers(n)
    found = explore(system, [Reach(stands_still(system))])
    assert found.n_states == n_states
    assert n_moves_is(found.n_moves, n_moves)
    assert found.answers[0].n_states == 1
    assert len(found.answers[0].witness) == n


def test_the_bridge_with_1_2_5_and_10_minutes_takes_17(explore: Explore) -> None:
    # Rote, "Crossing the bridge at night", 2002.
    system = puzzles.bridge_and_torch((1, 2, 5, 10))
    target = {f"walker{n}": 1 for n in range(4)} | {"minutes_left": 0}
    assert fewest_moves(explore, system, target) == 17


@pytest.mark.parametrize(
    ("delay", "closing", "arrival", "is_safe"),
    [(1, 2, 4, True), (1, 3, 4, False), (2, 2, 4, False), (0, 4, 6, True)],
)
def test_a_crossing_is_safe_when_the_barrier_is_faster_than_the_train(
    explore: Explore, delay: int, closing: int, arrival: int, is_safe: bool
) -> None:
    # Follows from the definition: safe when delay + closing time is less than arrival time.
    system = puzzles.crossing(delay, closing, arrival)
    closed_in_time = delay + closing < arrival
    assert closed_in_time is is_safe
    # "In time": the barrier was closed a tick before the train came.
    late = and_(eq(var("ticks"), const(arrival)), eq(var("barrier_closed"), const(0)))
    (answer, n_late) = explore(system, [Reach(late), Count(late)]).answers
    assert answer.found is not is_safe
    assert n_late.n_states == answer.n_states
