"""Reachable sets by chaining: each step works on all that the steps before it have found.

Measured (seconds of CPU) on the generated interlocks of `tests/bench` with 20, 30 and 40 fault
flags: 5.4, 54 and more than 120 where each move is followed by its scan; 0.02, 0.1 and 0.4 with
the steps of `settling`. Letting faults strike only when the rest is closed takes a vehicle model
with 82 faults, at most one in a run, from 54 down to 23, one with any of 20 from 5.6 to 2.1, and
generated interlocks up to twice as long; further orders of the steps hardly mattered. Giving a
step only the states that are new to it made generated interlocks two to three times slower, as
their diagrams are the larger ones.

Where more than one move may come before a scan, letting any number of faults gather in settled
states before what lies between scans is followed takes a line of presses with 11 faults from 0.9
to 0.2, with 43 more of which one alone strikes from 19 to 6, and a vehicle model with any of 8 from
15.6 to 8.5. With at most two of the 8 it would take 13.3 in place of 9.6, with one 8.0 for 4.3.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from functools import partial
from typing import TYPE_CHECKING

from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.settling import Between, Settling, settling
from interlock.kernel.system import MoveKind

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

Step = Callable[["Node"], "Node"]
"""From a set of states to states that can be reached from it."""


def chained(levels: Sequence[Sequence[Step]], start: Node) -> Iterator[Node]:
    """Grow `start` until no step leads out of it; yields each set on the way, the last closed.

    Yields after every step, so that the caller can watch the limits. The steps of a level get
    their turn whenever no step of the levels before leads further.
    """
    seen: dict[Step, Node] = {}
    found = start

    def turn(taken: Sequence[Step]) -> Iterator[Node]:
        nonlocal found
        for step in taken:
            # All that was found, not only what is new since: its diagram is the simpler one.
            if seen.get(step) != found:
                seen[step] = found
                found = found | step(found)
                yield found

    number = 0
    while number < len(levels):
        before = found
        yield from turn(levels[number])
        number = number + 1 if found == before else 0


class Search:
    """Everything reachable in a system, whether or not its scans take turns with its moves.

    Parameters
    ----------
    encoding : Encoding
    moves : list of SymbolicMove
        The moves of the encoding's system, in order.
    check : callable, optional
        Called now and then within a step that takes long; it may raise. Without it, unused nodes
        are dropped.

    Attributes
    ----------
    settling : Settling or None
        How settled states are searched for; None where all states are.
    irregular : Node
        Reachable states that the search starts behind.
    start : Node
        Where the search starts.
    levels : list of list of Step
        How it goes on, see `chained`.
    """

    def __init__(
        self,
        encoding: Encoding,
        moves: Sequence[SymbolicMove],
        check: Callable[[], None] | None = None,
    ) -> None:
        self._encoding = encoding
        self._check = encoding.diagrams.tidy if check is None else check
        self._between: Between | None = None
        self._dd = encoding.diagrams
        self._kinds = {move.name: move.kind for move in encoding.system.moves}
        self.irregular = self._dd.false
        self.start = encoding.is_state(encoding.system.initial)
        self.settling = settling(encoding, moves)
        if self.settling is not None:
            self._settle(self.settling)
            return
        scans = [move for move in moves if self._kinds[move.name] is MoveKind.SCAN]
        others = [move for move in moves if self._kinds[move.name] is not MoveKind.SCAN]
        taken: list[tuple[MoveKind, Step]] = [(MoveKind.SCAN, move.image) for move in scans]
        taken += [(self._kinds[move.name], _answered(move, scans)) for move in others]
        self.levels = _strikes_last(taken)

    def _settle(self, settled: Settling) -> None:
        initial = self._encoding.is_state(self._encoding.system.initial)
        first = initial
        if not settled.are_regular(initial):
            # No scan has made the initial state what it is. It is left behind by the first one.
            self.irregular = self._unsettled(settled, initial)
            first = settled.scan.image(self.irregular)
        self.start = settled.narrowed(first)
        self._lay_out(settled)

    def _lay_out(self, settled: Settling) -> None:
        """Lay out the levels of the search."""
        steps = [*settled.steps, settled.repeat]
        usual, strikes = _strikes_last([(self._kinds[step.name], step.image) for step in steps])
        self.levels = [usual, strikes]
        if settled.is_outrun:
            between = self._between = Between(settled, self.irregular, self._check)
            if settled.is_outrun_by_moves:
                # All that happens without a fault is found before one strikes. Where faults gather,
                # they are let do so in settled states first: under all of them these are simple.
                gathered = strikes if settled.has_free_strikes else []
                unstruck = partial(between.follow, with_strikes=False)
                self.levels = [usual, gathered, [unstruck], [between.struck]]
            self.levels.append([partial(between.follow, with_strikes=True)])

    def only_where(self, allowed: Mapping[str, Node]) -> Search | None:
        """The same search, some moves made only where they are allowed; None if not settled."""
        if self.settling is None:
            return None
        new = copy(self)
        new.settling = self.settling.only_where(allowed)
        new.irregular, new._between = self._dd.false, None
        new._settle(new.settling)
        return new

    def after(self, start: Node, allowed: Mapping[str, Node]) -> Node | None:
        """All that is reached from some states, some moves made only where they are allowed.

        None where these are not all such as scans leave, or the search does not go by settled ones.
        """
        if self.settling is None or not self.settling.are_regular(start):
            return None
        new = copy(self)
        new.settling = self.settling.only_where(allowed)
        new.irregular, new._between = self._dd.false, None
        new._lay_out(new.settling)
        found = new.settling.narrowed(start)
        for grown in chained(new.levels, found):
            self._check()
            found = grown
        return self._dd.disjunction(new.all_states(found))

    def beside(self, other: Search, found: Node, among: Node | None = None) -> Node:
        """A start for this search that holds what another one over the same bits has found.

        What it then ends with is closed as well, and holds all that it would find without. Only
        states `among` others are taken over, where such are given: a condition on flags.
        """
        if self.settling is None or other.settling is None:
            return self.start
        among = self._dd.true if among is None else among
        if self._between is not None and other._between is not None:
            self._between.found = self._between.found | other._between.found & among
        return self.start | self.settling.narrowed(other.settling.widened(found & among))

    def _unsettled(self, settled: Settling, state: Node) -> Node:
        """A state that is no scan's, and all that is reached from it before the next one.

        Where moves are followed between two scans, strikes are so as well.
        """
        late = settled.strikes if settled.is_outrun else frozenset()
        moves = [move for move in settled.anywhere if move.name not in late]
        found, new = state, state
        while new.satisfiable():
            new = self._dd.disjunction([move.image(new) for move in moves]) & ~found
            found = found | new
        return found

    def all_states(self, found: Node) -> Iterator[Node]:
        """The states that a set found by the search stands for, in several parts."""
        yield self.irregular
        if self.settling is None:
            yield found
            return
        if self._between is not None:
            yield self._between.found
            return
        states = self.settling.widened(found)
        yield states
        for move in self.settling.moves:
            yield move.image(states)

    def some_states(self, found: Node) -> Node:
        """Many of `all_states`, at little cost."""
        if self.settling is None:
            return found
        states = self.irregular | self.settling.widened(found)
        return states if self._between is None else states | self._between.found

    def count(self, found: Node) -> int:
        """How many states a set found by the search surely stands for."""
        return self._encoding.count(found) if self.settling is None else self.settling.count(found)


def _strikes_last(taken: Sequence[tuple[MoveKind, Step]]) -> list[list[Step]]:
    """The steps in two levels, those that faults make in the second."""
    return [
        [step for kind, step in taken if (kind is MoveKind.FAULT) is is_strike]
        for is_strike in (False, True)
    ]


def _answered(move: SymbolicMove, scans: Sequence[SymbolicMove]) -> Step:
    """A move with the scans that answer it, which see only the states that are new.

    A move by the environment only gets further after its scan, so the scan follows at once.
    """

    def step(found: Node) -> Node:
        new = move.image(found) & ~found
        reached = new
        while new.satisfiable():
            known = found | reached
            for scan in scans:
                reached = reached | scan.image(new)
            new = reached & ~known
        return reached

    return step
