"""Which states a model may be in, given what a record shows of it.

Between two samples some moves of the plant and of people may lie, up to a bound, and any number
of scans as far as they are possible; what is not observed is whatever fits. A set of states is
carried along from sample to sample. Sets and what follows from them are remembered, so that a
record that repeats itself costs little; what is remembered is bounded, whatever its length.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr
from interlock.kernel.system import PHASE, UNCOUNTED, Move, Role, Stepper, System, Variable

MOST_REMEMBERED = 400_000
ANY_NUMBER = -1

Values = tuple[int | None, ...]
States = frozenset[State]


class TooManyError(Exception):
    """More states are possible than may be followed; the text says how many may."""


@dataclass(frozen=True)
class Nearest:
    """What comes nearest to a sample that nothing explains.

    Attributes
    ----------
    sight : tuple of int
        What it shows.
    way : list of Move
        How it comes about.
    """

    sight: tuple[int, ...]
    way: list[Move]


def shown_roles(system: System) -> Iterator[Variable]:
    """Machines, controls, outputs and faults."""
    shown = (Role.PLANT, Role.CONTROL, Role.OUTPUT, Role.FAULT)
    return (variable for variable in system.variables if variable.role in shown)


@dataclass
class _Followed:
    """What can be seen, by what is seen, within so many moves from a set of states."""

    by_sight: dict[tuple[int, ...], States]
    chosen: dict[Values, States] = field(default_factory=dict)


class Tracker:
    """Follows the states that a system may be in.

    Parameters
    ----------
    system : System
    observed : sequence of Expr
        What each sample shows.
    after_scan : bool
        Samples are taken after completed scans only.
    most_states : int
        How many states may be possible at one time.
    """

    def __init__(
        self, system: System, observed: Sequence[Expr], after_scan: bool, most_states: int
    ) -> None:
        self.system = system
        self._stepper = Stepper(system)
        pending = ex.var(PHASE) if after_scan else ex.const(0)
        self._sight = python_function([*observed, pending], system.index)
        self._most = most_states
        self._next: dict[State, tuple[tuple[State, ...], tuple[State, ...]]] = {}
        self._known: dict[tuple[States, int], _Followed] = {}
        self._n_remembered = 0
        self.n_followed = 0

    def start(self) -> States:
        """The initial state."""
        return frozenset({self.system.initial})

    def everywhere(self) -> States:
        """Every reachable state.

        Raises
        ------
        TooManyError
        """
        return self._within(self.start(), ANY_NUMBER)

    def after(self, states: States, n_moves: int, values: Values) -> States:
        """The states that show `values`, within `n_moves` moves from `states`; empty if none.

        Raises
        ------
        TooManyError
        """
        followed = self._follow(states, n_moves)
        found = followed.chosen.get(values)
        if found is None:
            if None not in values:
                found = followed.by_sight.get((*values, 0), frozenset())  # type: ignore[arg-type]
            else:
                fitting = (s for sight, s in followed.by_sight.items() if _fits(sight, values))
                found = frozenset().union(*fitting)
            followed.chosen[values] = found
            self._n_remembered += len(found) + 1
        return found

    def count(self, states: States) -> int:
        """How many there are."""
        return len(states)

    def possible(self, states: States) -> dict[str, tuple[str, ...]]:
        """For each machine, control, output and fault the values that it may have."""
        found = {}
        for variable in shown_roles(self.system):
            number = self.system.index[variable.name]
            values = sorted({state[number] for state in states})
            found[variable.name] = tuple(variable.domain.show(value) for value in values)
        return found

    def nearest(self, states: States, n_moves: int, values: Values) -> Nearest | None:
        """The fewest differences from `values` among what is possible, and a way there."""
        by_sight = self._follow(states, n_moves).by_sight
        sights = {sight[:-1]: found for sight, found in by_sight.items() if not sight[-1]}

        def far(sight: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
            wrong = sum(w is not None and w != s for s, w in zip(sight, values, strict=True))
            return wrong, sight

        if not sights:
            return None
        nearest = min(sights, key=far)
        return Nearest(nearest, self.way(states, sights[nearest]))

    def _follow(self, states: States, n_moves: int) -> _Followed:
        key = (states, n_moves)
        followed = self._known.get(key)
        if followed is None:
            if self._n_remembered > MOST_REMEMBERED:
                self._known.clear()
                self._next.clear()
                self._n_remembered = 0
            by_sight: dict[tuple[int, ...], list[State]] = {}
            for state in self._within(states, n_moves):
                by_sight.setdefault(self._sight(state), []).append(state)
            frozen = {sight: frozenset(found) for sight, found in by_sight.items()}
            followed = self._known[key] = _Followed(frozen)
            self._n_remembered += sum(map(len, frozen.values())) + len(states)
            self.n_followed += 1
        return followed

    def _within(self, states: States, n_moves: int) -> States:
        found = set(states)
        layer = self._scanned(states, found)
        while layer and n_moves != 0:
            moved = {after for state in layer for after in self._successors(state)[1]}
            layer = self._scanned(moved - found, found)
            n_moves -= n_moves > 0
        return frozenset(found)

    def _scanned(self, new: Iterable[State], found: set[State]) -> set[State]:
        """`new` with all that scans and late signals make of it, added to `found`."""
        layer = set(new)
        todo = list(layer)
        found |= layer
        while todo:
            for after in self._successors(todo.pop())[0]:
                if after not in found:
                    found.add(after)
                    layer.add(after)
                    todo.append(after)
        if len(found) > self._most:
            raise TooManyError(f"more than {self._most:,} states are possible")
        return layer

    def _successors(self, state: State) -> tuple[tuple[State, ...], tuple[State, ...]]:
        """Where scans and late signals lead from `state`, and where other moves lead."""
        known = self._next.get(state)
        if known is None:
            scans: list[State] = []
            moves: list[State] = []
            for move, after in self._stepper.successors(state):
                (scans if move.kind in UNCOUNTED else moves).append(after)
            known = self._next[state] = (tuple(scans), tuple(moves))
            self._n_remembered += 1 + len(moves)
        return known

    def way(self, start: States, target: States) -> list[Move]:
        """The fewest moves and scans from a state of `start` to one of `target`."""
        back: dict[State, tuple[State, Move] | None] = dict.fromkeys(sorted(start))
        queue = list(back)
        for state in queue:
            if state in target:
                moves = []
                step = back[state]
                while step is not None:
                    moves.append(step[1])
                    step = back[step[0]]
                return moves[::-1]
            for move, after in self._stepper.successors(state):
                if after not in back:
                    back[after] = (state, move)
                    queue.append(after)
        raise ValueError("the target is not reached from here")


def _fits(sight: tuple[int, ...], values: Values) -> bool:
    return not sight[-1] and all(
        wanted is None or wanted == seen for seen, wanted in zip(sight, values, strict=False)
    )
