"""Minimal sets of faults that break a requirement: all of them from one exploration.

Every live fault may strike at any moment, in any order. The states in which a requirement is
violated are projected on what has struck; a set from which no fault can be taken away is
minimal. For 'leads to' it is what has struck in the endless loop of the run; for 'can always
still' what has struck in the state without a way on, where no further fault may open one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from interlock.kernel.asking import ask
from interlock.kernel.projected import Projected
from interlock.kernel.query import Query
from interlock.kernel.requirement import Outcome, Requirement
from interlock.kernel.system import System
from interlock.model.build import Built, counted_flag
from interlock.model.model import Model

MOST_SETS = 2_000

FaultSet = tuple[str, ...]
"""Ids of faults, in the order of the model; the empty one where no fault is needed."""


@dataclass(frozen=True)
class RequirementSets:
    """The minimal sets of faults that break one requirement.

    Attributes
    ----------
    requirement : Requirement
    sets : tuple of FaultSet
        By their order, then in the order of the model.
    n_by_order : tuple of int
        How many sets of 0, 1, 2, … faults there are, listed or not.
    bound : int or None
        Sets of at most so many faults were looked for; None for any number.
    limit : str or None
        The limit that was hit; then nothing is known.
    """

    requirement: Requirement
    sets: tuple[FaultSet, ...]
    n_by_order: tuple[int, ...]
    bound: int | None
    limit: str | None = None

    def without(self, faults: Iterable[str]) -> RequirementSets:
        """The sets that remain where some faults are left out of account.

        They are the minimal sets of the rest: what a set contains is in no way made smaller by
        faults that it does not contain.
        """
        gone = frozenset(faults)
        kept = tuple(one for one in self.sets if gone.isdisjoint(one))
        return RequirementSets(self.requirement, kept, _counts(kept), self.bound, self.limit)

    @property
    def least(self) -> int | None:
        """The fewest faults that break the requirement; None where no set was found."""
        return next((order for order, n in enumerate(self.n_by_order) if n), None)

    def survives(self, n_faults: int) -> Outcome:
        """Whether it survives any `n_faults` faults."""
        if self.least is not None and self.least <= n_faults:
            return Outcome.VIOLATED
        if self.limit is not None or (self.bound is not None and n_faults > self.bound):
            return Outcome.UNDECIDED
        return Outcome.HOLDS

    @property
    def tolerance(self) -> Tolerance:
        """How many faults it survives."""
        if self.least is not None:
            return Tolerance(self.least - 1, exact=True)
        if self.limit is not None:
            return Tolerance(None, exact=False)
        return Tolerance(self.bound, exact=self.bound is None)

    def single_faults(self) -> tuple[str, ...]:
        """The faults that break it alone."""
        return tuple(one[0] for one in self.sets if len(one) == 1)


@dataclass(frozen=True)
class Tolerance:
    """How many faults a requirement survives.

    Attributes
    ----------
    n_faults : int or None
        −1 where it is violated without any; None with `exact` for any number, without for
        unknown.
    exact : bool
        False where it may be more.
    """

    n_faults: int | None
    exact: bool

    def __str__(self) -> str:
        if self.n_faults is None:
            return "any" if self.exact else "?"
        if self.n_faults < 0:
            return "none"
        return str(self.n_faults) if self.exact else f"≥{self.n_faults}"

    @property
    def rank(self) -> float:
        """For comparing; unknown is NaN, which compares with nothing."""
        if self.n_faults is None:
            return float("inf") if self.exact else float("nan")
        return self.n_faults


def _counts(sets: Sequence[FaultSet]) -> tuple[int, ...]:
    longest = max((len(one) for one in sets), default=-1)
    return tuple(sum(len(one) == order for one in sets) for order in range(longest + 1))


@dataclass(frozen=True)
class Asked:
    """A system, and what breaks each requirement in it."""

    system: System
    queries: Mapping[str, tuple[Query, ...]]


def ask_all(system: System, requirements: Iterable[Requirement]) -> Asked:
    """Put several requirements to one system."""
    return Asked(system, {r.id: ask(system, r).violations for r in requirements})


def flags_of(model: Model, faults: Iterable[str]) -> dict[str, str]:
    """The variable that tells whether a fault ever struck, for each fault that can."""
    live = [model.faults[id_] for id_ in faults if model.faults[id_].excluded is None]
    return {counted_flag(fault): fault.id for fault in live}


def find_sets(
    built: Built,
    explored: Projected,
    asked: Asked,
    ids: Mapping[str, str],
) -> dict[str, RequirementSets]:
    """The minimal sets of every asked requirement.

    Parameters
    ----------
    built : Built
    explored : Projected
        Of the asked system, with the flags of `ids`.
    asked : Asked
    ids : mapping of str to str
        Fault ids by flag.
    """
    bound = built.run_class.at_most
    if bound is not None and bound >= len(ids):
        bound = None
    found = {}
    for id_, queries in asked.queries.items():
        cut = explored.minimal_sets(*queries, most_sets=MOST_SETS, among=tuple(ids))
        sets = tuple(tuple(ids[flag] for flag in one) for one in cut.sets)
        requirement = built.requirements[id_]
        found[id_] = RequirementSets(requirement, sets, cut.n_by_order, bound, cut.limit)
    return found


def sets_of_all(
    built: Built,
    requirements: Iterable[Requirement],
    explore: Callable[[Asked, Mapping[str, str]], Projected],
) -> dict[str, RequirementSets]:
    """The minimal sets of several requirements, from one exploration.

    Parameters
    ----------
    built : Built
    requirements : iterable of Requirement
    explore : callable
        Explores what is asked, with fault ids by flag.
    """
    ids = flags_of(built.model, built.run_class.faults)
    asked = ask_all(built.system, requirements)
    return find_sets(built, explore(asked, ids), asked, ids)


def united(
    requirement: Requirement, parts: Sequence[RequirementSets], bound: int | None
) -> RequirementSets:
    """The minimal sets of one requirement out of those found for several parts of the faults."""
    limit = next((part.limit for part in parts if part.limit is not None), None)
    sets = _minimal([one for part in parts for one in part.sets]) if limit is None else ()
    return RequirementSets(requirement, sets, _counts(sets), bound, limit)


def _minimal(sets: Sequence[FaultSet]) -> tuple[FaultSet, ...]:
    """Those that contain no other, by their order, then as they were given."""
    distinct = list(dict.fromkeys(sorted(sets, key=len)))
    as_sets = [frozenset(one) for one in distinct]
    return tuple(
        one
        for one, own in zip(distinct, as_sets, strict=True)
        if not any(other < own for other in as_sets)
    )
