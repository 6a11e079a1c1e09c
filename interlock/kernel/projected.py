"""The contract for explorations that are kept to be asked with which variables something goes.

A study of faults asks in rounds, and most of its questions are of one kind: with which
combinations of a few variables does something occur? Everything else of the states is forgotten.
`tests/contract/test_projected.py` runs over every engine that offers this.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from interlock.kernel.expr import Expr
from interlock.kernel.query import Limits, ProgressSink, Query
from interlock.kernel.system import System
from interlock.kernel.witness import Witness

MOST_SETS = 100_000


@dataclass(frozen=True)
class CutSets:
    """Minimal sets of faults that are together enough for something bad.

    Attributes
    ----------
    sets : tuple of tuple of str
        Flags of each set in the order in which they were given; sets by their order, then by
        their flags. The empty set alone where no fault is needed. Cut off after the most sets
        asked for.
    n_by_order : tuple of int
        How many sets there are of 0, 1, 2, … faults, listed or not.
    limit : str or None
        The limit that was hit.
    seconds : float
        Wall time.
    n_bytes : int
        Memory that the diagrams took at the end.
    """

    sets: tuple[tuple[str, ...], ...]
    n_by_order: tuple[int, ...]
    limit: str | None
    seconds: float
    n_bytes: int


class Projected(Protocol):
    """Everything reachable in a system, up to the limits, to be seen through some variables."""

    @property
    def n_states(self) -> int:
        """Reachable states, so far where a limit was hit."""

    @property
    def limit(self) -> str | None:
        """The limit that was hit, in the exploration or in an answer since."""

    @property
    def seconds(self) -> float:
        """Wall time since the exploration began."""

    def rule_out(self, queries: Iterable[Query]) -> None:
        """Take as known that these are found in no state without any flag; so it need not be shown.

        What a system does without any flag set, another one with more or other flags does as well.
        """

    def minimal_sets(
        self, *queries: Query, most_sets: int = MOST_SETS, among: Sequence[str] | None = None
    ) -> CutSets:
        """The minimal sets of flags with which one of `queries` is found.

        For `Stay` they are those set where the endless part of the run begins; for `Trap`
        in the state from which there is no way. Where faults are bounded in the system, so are
        the sets. Where some flags are given, only sets of these are looked for, as if no other
        could be set.
        """

    def occurring(
        self, query: Query, names: Sequence[str] | None = None
    ) -> tuple[tuple[int, ...], ...] | None:
        """Which values some variables take together where `query` is found, sorted.

        Parameters
        ----------
        query : Query
            `Reach` for the states with its target; `Stay`, `Trap` as for `minimal_sets`.
        names : sequence of str, optional
            The variables; the flags where not given.

        Returns
        -------
        tuple of tuple of int, or None
            None where a limit was hit.
        """

    def without_flags(self, where: Expr, names: Sequence[str], n_scans: int) -> Expr | None:
        """A condition on variables: they have values that they take in a state without any flag.

        Parameters
        ----------
        where : Expr
            Condition on that state.
        names : sequence of str
            The variables; no flags.
        n_scans : int
            It must be reached by some run with so many scans, and no strike.

        Returns
        -------
        Expr or None
            None where a limit was hit.
        """

    def nearest(self, target: Expr) -> Witness | None:
        """A run to a state with `target`; None if none, or a limit was hit.

        Of the runs in which a scan answers each move, but for the last, one of the fewest moves;
        where none of these leads there, one with more moves behind its last scan, as few as can be;
        where none of these does either, or scans are not always possible, one of the fewest moves
        and scans of all runs.
        """

    def part(
        self, allowed: Mapping[str, Expr], among: Sequence[str] | None = None
    ) -> Projected | None:
        """As much as is reached by moves that are made only where they are allowed.

        Every endless run of the part keeps to it as well; whether something can still be reached
        is asked of the whole. What is asked of single states is asked of those, too, that one
        move beyond leads to: there the run leaves the part.

        Parameters
        ----------
        allowed : mapping of str to Expr
            By move; all others are allowed.
        among : sequence of str, optional
            Some of the flags; what sets another is not in the part, nor beyond it.

        Returns
        -------
        Projected or None
            None where a limit was hit.
        """


@runtime_checkable
class Projects(Protocol):
    """An engine that offers such explorations."""

    def project(
        self,
        system: System,
        flags: Sequence[str],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Projected:
        """Explore everything reachable in `system`, up to the limits.

        Parameters
        ----------
        system : System
        flags : sequence of str
            Variables that moves only ever set; they tell which faults have struck.
        limits : Limits
        progress : callable, optional

        Raises
        ------
        DeclinedError
            If a flag may go back to 0, or the engine cannot take the system.
        """
