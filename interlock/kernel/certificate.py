"""What an engine hands over so that others can check a verdict without exploring.

Sets of states are one shared decision graph over the bits of the variables. A variable with n
values has the bits of ``value - lo``; bit 0 is the least significant one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

from interlock.kernel.evaluate import State
from interlock.kernel.query import Limits, ProgressSink, Query, Stay, Trap
from interlock.kernel.system import System

ALL, NONE = 1, -1
"""Edges to the set of all states and to the empty set."""


class Decision(NamedTuple):
    """A node of the graph: which set it is depends on one bit of one variable.

    An edge is ``ALL``, ``NONE`` or plus or minus ``2 + number`` of a node; a negative edge is the
    complement.
    """

    variable: str
    bit: int
    low: int
    high: int


@dataclass(frozen=True)
class StateSets:
    """Sets of states as edges into one graph.

    Attributes
    ----------
    nodes : tuple of Decision
        Each behind those that it refers to. Along every path variables and bits come in one
        order.
    roots : tuple of int
        The edge of each set.
    """

    nodes: tuple[Decision, ...]
    roots: tuple[int, ...]


class Shrinking(NamedTuple):
    """One step of a proof that no fair endless run stays somewhere.

    Attributes
    ----------
    inside : int
        Index of the set that a run would have to stay in.
    debt : str
        The move that is owed in the states of `inside` that are not in the next step's set:
        there its fairness condition holds, and taking it leads out of `inside`. Empty where every
        move leads out of `inside` from there.
    """

    inside: int
    debt: str


class Case(NamedTuple):
    """One part of an invariant.

    Attributes
    ----------
    values : tuple of int
        What the variables have by which the invariant is split.
    within : int
        Index of the set that all others are in.
    """

    values: tuple[int, ...]
    within: int


@dataclass(frozen=True)
class Invariant:
    """States that no move leads out of, the initial one among them.

    Attributes
    ----------
    is_scanned : bool
        The cases are of states that a scan has led to. What lies between a move and its scan
        follows from them, as do the initial state and what its moves lead to.
    split : tuple of str
        Variables by which the cases differ.
    cases : tuple of Case
    """

    is_scanned: bool = False
    split: tuple[str, ...] = ()
    cases: tuple[Case, ...] = (Case((), 0),)


class Rung(NamedTuple):
    """One set of a ladder.

    Attributes
    ----------
    within : int
        Index of a set, of which only states of the invariant count.
    move : str
        From those of them that are not in the set before, this move (where the invariant is of
        scanned states: with the scan behind it) leads into the set before. Empty for the first.
    """

    within: int
    move: str = ""


class Ladder(NamedTuple):
    """A proof that a goal can be reached from every state of the invariant.

    Attributes
    ----------
    rungs : tuple of Rung
        The first holds only states of the goal (or where one move leads to it, before its scan),
        or `home` alone; the last contains the invariant.
    home : State or None
    run : tuple of str
        With a `home`: moves that lead from there to the goal.
    """

    rungs: tuple[Rung, ...]
    home: State | None = None
    run: tuple[str, ...] = ()


@dataclass(frozen=True)
class Certificate:
    """Why queries are not found in a system.

    Attributes
    ----------
    sets : StateSets
    invariant : Invariant
        No `Reach` that is not found meets it.
    stays : mapping of Stay to tuple of Shrinking
        For each such query: sets that begin with everything that can be reached from the starts
        inside, each smaller than the last; behind the last comes the empty set.
    traps : mapping of Trap to Ladder
    dead_ends : mapping of Trap to int
        For a query that is found: a set that no move leaves and that holds no state of the goal,
        but the end of the run that was found.
    missing : mapping of Query to str
        Queries without a proof here, each with the reason.
    """

    sets: StateSets
    invariant: Invariant
    stays: Mapping[Stay, tuple[Shrinking, ...]]
    traps: Mapping[Trap, Ladder]
    dead_ends: Mapping[Trap, int]
    missing: Mapping[Query, str]


NO_ENDS: Mapping[Trap, State] = {}


@runtime_checkable
class Certifies(Protocol):
    """An engine that shows others why queries are not found."""

    def certify(
        self,
        system: System,
        queries: Sequence[Query],
        ends: Mapping[Trap, State] = NO_ENDS,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Certificate | str:
        """The certificate of `queries` that were not found in `system`.

        Parameters
        ----------
        system : System
        queries : sequence of Query
            `Reach`, `Stay` and `Trap`.
        ends : mapping of Trap to State
            Further queries, which were found, each with the state that its run ends in.
        limits : Limits
        progress : callable, optional

        Returns
        -------
        Certificate or str
            The limit that was hit before there was an invariant, such as ``"seconds 10"``.

        Raises
        ------
        DeclinedError
            If the engine cannot take the system.
        ValueError
            If one of the queries is found: there is nothing to certify.
        """
