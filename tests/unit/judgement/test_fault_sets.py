"""What sets of faults say of a requirement: what it survives, and its tolerance."""

from __future__ import annotations

from math import inf, isnan
from types import SimpleNamespace

import pytest

from interlock.engines.symbolic.cutsets import CutSets
from interlock.judgement.fault_sets import (
    Asked,
    FaultSet,
    RequirementSets,
    Tolerance,
    find_sets,
    united,
)
from interlock.kernel.expr import TRUE
from interlock.kernel.query import Query, Reach, Stay
from interlock.kernel.requirement import Outcome, Pattern, Requirement
from interlock.kernel.system import System
from interlock.model.build import RunClass

HOLDS, VIOLATED, UNDECIDED = Outcome.HOLDS, Outcome.VIOLATED, Outcome.UNDECIDED
R = Requirement("R", Pattern.NEVER, TRUE)


def found(*sets: FaultSet, bound: int | None = None, limit: str | None = None) -> RequirementSets:
    """Sets that were found, counted by hand in each test that needs the numbers."""
    longest = max(map(len, sets), default=-1)
    counts = tuple(sum(len(one) == n for one in sets) for n in range(longest + 1))
    return RequirementSets(R, sets, counts, bound, limit)


SETS = [
    # Nothing breaks it: it survives all that was looked for.
    (found(), [HOLDS] * 4, "any", inf),
    (found(bound=2), [HOLDS, HOLDS, HOLDS, UNDECIDED], "≥2", 2),
    # The least set decides.
    (found(()), [VIOLATED] * 4, "none", -1),
    (found(("a",), ("b", "c")), [HOLDS, VIOLATED, VIOLATED, VIOLATED], "0", 0),
    (found(("b", "c"), bound=2), [HOLDS, HOLDS, VIOLATED, VIOLATED], "1", 1),
    (found(limit="states 5"), [UNDECIDED] * 4, "?", None),
    (found(limit="states 5", bound=2), [UNDECIDED] * 4, "?", None),
]


@pytest.mark.parametrize(("sets", "outcomes", "said", "rank"), SETS)
def test_what_is_survived_is_one_fault_less_than_the_least_set(
    sets: RequirementSets, outcomes: list[Outcome], said: str, rank: float | None
) -> None:
    assert [sets.survives(n) for n in range(4)] == outcomes
    assert str(sets.tolerance) == said
    assert isnan(sets.tolerance.rank) if rank is None else sets.tolerance.rank == rank


def test_a_tolerance_of_none_is_told_from_one_of_no_faults() -> None:
    assert [str(Tolerance(n, exact=True)) for n in (-1, 0, 1)] == ["none", "0", "1"]


def test_single_faults_are_the_sets_of_one() -> None:
    assert found(("a",), ("c",), ("b", "d")).single_faults() == ("a", "c")
    assert found((), bound=3).single_faults() == ()


def test_sets_without_some_faults_are_counted_anew() -> None:
    rest = found(("a",), ("b", "c"), ("b", "d"), bound=2).without(["a", "d"])
    assert (rest.sets, rest.n_by_order, rest.bound) == ((("b", "c"),), (0, 0, 1), 2)
    none = rest.without("c")
    assert (none.sets, none.n_by_order, none.least) == ((), (), None)


def test_parts_unite_to_what_contains_no_other_set() -> None:
    parts = [found(("b",), ("c", "d")), found(("a", "b"), ("a", "c")), found(("b",))]
    whole = united(R, parts, 2)
    assert whole.sets == (("b",), ("c", "d"), ("a", "c"))
    assert (whole.n_by_order, whole.bound, whole.limit) == ((0, 1, 2), 2, None)


def test_of_parts_one_of_which_hit_a_limit_nothing_is_known() -> None:
    whole = united(R, [found(("b",)), found(limit="states 5"), found(limit="states 6")], None)
    assert (whole.sets, whole.n_by_order, whole.limit) == ((), (), "states 5")


class Listed:
    """An exploration of which it is known what breaks what."""

    def __init__(self, cuts: dict[Query, CutSets]) -> None:
        self._cuts = cuts

    def minimal_sets(self, query: Query, most_sets: int) -> CutSets:
        assert most_sets > 1
        return self._cuts[query]


def test_several_ways_to_break_it_give_minimal_sets_in_the_order_of_the_model() -> None:
    ids = {"fa": "A", "fb": "B", "fc": "C"}
    ends, lasts = Reach(TRUE), Stay(TRUE, TRUE)
    ways = {
        ends: CutSets((("fb",),), (0, 1), None, 0.0, 0),
        lasts: CutSets((("fa",), ("fb", "fc")), (0, 1, 1), None, 0.0, 0),
    }
    system = System((), ())
    built = SimpleNamespace(run_class=RunClass(("A", "B", "C"), 2), requirements={"R": R})
    for queries, sets, counts in (
        ((ends, lasts), (("A",), ("B",)), (0, 2)),
        ((ends,), (("B",),), (0, 1)),
        ((lasts,), (("A",), ("B", "C")), (0, 1, 1)),
    ):
        asked = Asked(system, {"R": queries})
        whole = find_sets(built, Listed(ways), asked, ids)["R"]  # type: ignore[arg-type]
        assert (whole.sets, whole.n_by_order, whole.bound) == (sets, counts, 2)


@pytest.mark.parametrize(("at_most", "bound"), [(None, None), (1, 1), (2, None), (3, None)])
def test_a_bound_that_all_faults_keep_is_none(at_most: int | None, bound: int | None) -> None:
    query = Reach(TRUE)
    listed = Listed({query: CutSets((), (), None, 0.0, 0)})
    built = SimpleNamespace(run_class=RunClass(("A", "B"), at_most), requirements={"R": R})
    asked = Asked(System((), ()), {"R": (query,)})
    ids = {"fa": "A", "fb": "B"}
    assert find_sets(built, listed, asked, ids)["R"].bound == bound  # type: ignore[arg-type]


def test_a_limit_that_one_way_hit_leaves_no_sets() -> None:
    ends, lasts = Reach(TRUE), Stay(TRUE, TRUE)
    listed = Listed(
        {
            ends: CutSets((("fa",),), (0, 1), None, 0.0, 0),
            lasts: CutSets((), (), "states 5", 0.0, 0),
        }
    )
    built = SimpleNamespace(run_class=RunClass(("A",), None), requirements={"R": R})
    asked = Asked(System((), ()), {"R": (ends, lasts)})
    whole = find_sets(built, listed, asked, {"fa": "A"})["R"]  # type: ignore[arg-type]
    assert (whole.sets, whole.n_by_order, whole.limit) == ((), (), "states 5")
