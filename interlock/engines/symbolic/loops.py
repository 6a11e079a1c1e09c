"""Fair endless runs inside a set of states."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.space import Space
from interlock.kernel.evaluate import State
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node


class FairLoops:
    """The fair endless runs inside `within`.

    Parameters
    ----------
    space : Space
        Explored.
    within : Node
        Reached states that the runs may not leave.
    """

    def __init__(self, space: Space, within: Node) -> None:
        self._space = space
        self._within = within
        self._debts = space.debts()
        self._standing = within & space.standstill()
        self._turning = _fair_core(space, within)

    @property
    def core(self) -> Node:
        """The states in which such runs end up: where they stand, and what their loops are of."""
        return self._standing | self._turning

    def leading_there(self) -> Node:
        """The states of `within` from which a fair endless run inside exists."""
        return self._space.closure_before(self.core, self._within)

    def run_from(self, state: State) -> tuple[list[Step], list[Step]]:
        """A run inside from `state`, one of `leading_there`, and the loop it ends in.

        The loop is empty where the run stands still.
        """
        space = self._space
        paths = Paths(space)
        approach = paths.between(state, self._standing | self._turning, self._within)
        here = approach[-1].state if approach else state
        if space.encoding.holds(self._standing, here):
            return approach, []
        loop: list[Step] = []
        while not loop:
            tour = self._tour(paths, here)
            end = tour[-1].state
            back = space.encoding.is_state(here)
            ahead = space.closure_before(back, self._turning)
            if space.encoding.holds(ahead, end):
                loop = tour + paths.between(end, back, self._turning)
            else:
                # The tour left for a part with no way back. That can happen only as often as
                # there are such parts.
                approach += tour
                here = end
        return approach, loop

    def _tour(self, paths: Paths, start: State) -> list[Step]:
        """A run of at least one move inside the fair states that pays every debt."""
        encoding = self._space.encoding
        tour: list[Step] = []
        here = start
        for debt in self._debts:
            states = [start, *(step.state for step in tour)]
            if any(step.move == debt.move.name for step in tour) or any(
                encoding.holds(debt.is_void, state) for state in states
            ):
                continue
            tour += paths.between(here, debt.paid(self._turning), self._turning)
            here = tour[-1].state if tour else start
            if not encoding.holds(debt.is_void, here):
                tour.append(self._step(here, debt.move.name))
                here = tour[-1].state
        return tour or [self._step(here, None)]

    def _step(self, state: State, name: str | None) -> Step:
        """One move from `state` inside the fair states, the one called `name` if given."""
        for move, successor in Stepper(self._space.system).successors(state):
            if name in (None, move.name) and self._space.encoding.holds(self._turning, successor):
                return Step(move.name, successor)
        raise AssertionError("a fair state has a move that stays")


def resting(space: Space, among: Node | None = None) -> Node:
    """The reached states in which a fair endless run may stay: nothing that is owed leads away.

    Each move that is owed is void there, or changes nothing. Where others, `among` which all such
    states are, are known, only these are looked at.
    """
    found, goes_on = space.reached, space.standstill()
    found = found if among is None else found & among
    for debt in space.debts():
        idle = debt.move.idle_in(found)
        found, goes_on = found & (debt.is_void | idle), goes_on | idle
    return found & goes_on


def _fair_core(space: Space, within: Node) -> Node:
    """The states of `within` from which inside every debt can be paid for ever.

    They are a greatest fixpoint: from each, every debt can be paid again and again without
    leaving. Source: E. A. Emerson, C.-L. Lei, "Efficient model checking in fragments of the
    propositional mu-calculus", LICS 1986. Here a debt may also be paid by an edge, the move
    itself.
    """
    debts = space.debts()
    goes_on = any(debt.is_lasting for debt in debts)

    def trimmed(core: Node) -> Node:
        # Without the states from which every move leaves, one after the other.
        while not goes_on:
            space.check()
            smaller = core & space.before(core)
            if smaller == core:
                break
            core = smaller
        return core

    core = within
    while True:
        before = core
        core = trimmed(core)
        for debt in debts:
            core = trimmed(space.closure_before(debt.paid(core), core))
        if core == before:
            return core
