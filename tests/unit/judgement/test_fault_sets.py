"""What sets of faults say of a requirement: what it survives, and its tolerance."""

from __future__ import annotations

from math import inf, isnan
from types import SimpleNamespace
from typing import Any

import pytest

from interlock.engines.symbolic.explored import Explored
from interlock.judgement import fault_sets
from interlock.judgement.fault_sets import (
    Asked,
    FaultSet,
    RequirementSets,
    Tolerance,
    find_sets,
    united,
)
from interlock.kernel.expr import TRUE, and_, not_, or_, var
from interlock.kernel.query import Limits, Query, Reach, Stay
from interlock.kernel.requirement import Outcome, Pattern, Requirement
from interlock.kernel.system import BOOL, Move, MoveKind, System, Variable
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


def explored(names: str, queries: tuple[Query, ...], at_most: int | None = None) -> RequirementSets:
    """The sets of faults, called as their flags in capitals, that one of `queries` needs."""
    strikes = [Move(n, MoveKind.FAULT, not_(var(n)), {n: TRUE}) for n in names]
    system = System(tuple(Variable(n, BOOL, 0) for n in names), tuple(strikes))
    ids = {name: name.upper() for name in names}
    run_class = RunClass(tuple(ids.values()), at_most)
    built: Any = SimpleNamespace(run_class=run_class, requirements={"R": R})
    asked = Asked(system, {"R": queries})
    return find_sets(built, Explored(system, tuple(ids)), asked, ids)["R"]


ENDS = Reach(var("b")), Reach(and_(var("c"), var("d")))
LASTS = Stay(TRUE, or_(var("a"), and_(var("b"), var("c"))))


def test_several_ways_to_break_it_give_minimal_sets_in_the_order_of_the_model() -> None:
    for queries, sets, counts in (
        (ENDS, (("B",), ("C", "D")), (0, 1, 1)),
        ((LASTS,), (("A",), ("B", "C")), (0, 1, 1)),
        ((*ENDS, LASTS), (("A",), ("B",), ("C", "D")), (0, 2, 1)),
    ):
        whole = explored("abcd", queries)
        assert (whole.sets, whole.n_by_order, whole.limit) == (sets, counts, None)


def test_sets_that_are_not_listed_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fault_sets, "MOST_SETS", 1)
    whole = explored("abcd", (*ENDS, LASTS))
    assert (whole.sets, whole.n_by_order) == ((("A",),), (0, 2, 1))


@pytest.mark.parametrize(("at_most", "bound"), [(None, None), (1, 1), (2, None), (3, None)])
def test_a_bound_that_all_faults_keep_is_none(at_most: int | None, bound: int | None) -> None:
    assert explored("ab", (Reach(var("a")),), at_most).bound == bound


def test_a_limit_leaves_no_sets() -> None:
    system = System((Variable("a", BOOL, 0),), (Move("a", MoveKind.FAULT, TRUE, {"a": TRUE}),))
    built: Any = SimpleNamespace(run_class=RunClass(("A",), None), requirements={"R": R})
    asked = Asked(system, {"R": (Reach(TRUE), Reach(var("a")))})
    cut = Explored(system, ("a",), Limits(max_states=1))
    whole = find_sets(built, cut, asked, {"a": "A"})["R"]
    assert (whole.sets, whole.n_by_order, whole.limit) == ((), (), "states 1")
