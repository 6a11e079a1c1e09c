"""Which states a model may be in, given what a record shows of it.

Between two samples some moves of the plant and of people may lie, up to a bound, and any number
of scans as far as they are possible; what is not observed is whatever fits. Where time is counted
just so many units of it pass in between, or any number. A set of states is carried along from
sample to sample. Sets and what follows from them are remembered, so that a record that repeats
itself costs little; what is remembered is bounded, whatever its length.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr
from interlock.kernel.system import (
    PHASE,
    UNCOUNTED,
    Move,
    MoveKind,
    Role,
    Stepper,
    System,
    Variable,
)

MOST_REMEMBERED = 400_000
ANY_NUMBER = -1
MOST_ON_A_WAY = 2_000

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
        How it comes about; empty also where it takes more than `MOST_ON_A_WAY` units of time.
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
        self._next: dict[State, tuple[tuple[State, ...], tuple[State, ...], tuple[State, ...]]] = {}
        self._known: dict[tuple[States, int, int], _Followed] = {}
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
        return self._within(self.start(), ANY_NUMBER, ANY_NUMBER)

    def after(self, states: States, n_moves: int, values: Values, n_units: int = 0) -> States:
        """The states that show `values`, within `n_moves` moves from `states`; empty if none.

        Just `n_units` units of time pass on the way.

        Raises
        ------
        TooManyError
        """
        followed = self._follow(states, n_moves, n_units)
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

    def together(self, some: States, others: States) -> States:
        """What is in either."""
        return some | others

    def nearest(
        self, states: States, n_moves: int, values: Values, n_units: int = 0
    ) -> Nearest | None:
        """The fewest differences from `values` among what is possible, and a way there."""
        by_sight = self._follow(states, n_moves, n_units).by_sight
        sights = {sight[:-1]: found for sight, found in by_sight.items() if not sight[-1]}

        def far(sight: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
            wrong = sum(w is not None and w != s for s, w in zip(sight, values, strict=True))
            return wrong, sight

        if not sights:
            return None
        nearest = min(sights, key=far)
        way = [] if n_units > MOST_ON_A_WAY else self.way(states, sights[nearest], n_units)
        return Nearest(nearest, way)

    def units_that_fit(self, states: States, n_moves: int, values: Values, most: int) -> set[int]:
        """After how many units of time, fewer than `most`, the values can be shown.

        With `ANY_NUMBER` 0 stands for any.
        """
        if most == ANY_NUMBER:
            return {0} if self.after(states, n_moves, values, ANY_NUMBER) else set()
        now = dict.fromkeys(states, 0)
        self._spread(now, n_moves, is_free=False)
        found = set()
        for n_units in range(most):
            if any(_fits(self._sight(state), values) for state in now):
                found.add(n_units)
            now = self._later(now, n_moves)
        return found

    def _follow(self, states: States, n_moves: int, n_units: int) -> _Followed:
        key = (states, n_moves, n_units)
        followed = self._known.get(key)
        if followed is None:
            if self._n_remembered > MOST_REMEMBERED:
                self._known.clear()
                self._next.clear()
                self._n_remembered = 0
            by_sight: dict[tuple[int, ...], list[State]] = {}
            for state in self._within(states, n_moves, n_units):
                by_sight.setdefault(self._sight(state), []).append(state)
            frozen = {sight: frozenset(found) for sight, found in by_sight.items()}
            followed = self._known[key] = _Followed(frozen)
            self._n_remembered += sum(map(len, frozen.values())) + len(states)
            self.n_followed += 1
        return followed

    def _within(self, states: States, n_moves: int, n_units: int) -> States:
        # By how many moves, of those that count, each state was come to.
        now = dict.fromkeys(states, 0)
        self._spread(now, n_moves, is_free=n_units == ANY_NUMBER)
        left, passed, next_mark, mark = max(0, n_units), 0, 1, now
        while left:
            now = self._later(now, n_moves)
            left -= 1
            passed += 1
            # What comes again comes again and again: a gap of hours is as short as its first round
            # (Brent's way to find a cycle).
            if now == mark:
                left %= passed
            elif passed == next_mark:
                mark, passed, next_mark = now, 0, 2 * next_mark
        return frozenset(now)

    def _later(self, now: dict[State, int], n_moves: int) -> dict[State, int]:
        """What one unit of time leads to, and all that lies behind it within that unit."""
        later: dict[State, int] = {}
        for state, used in now.items():
            for after in self._successors(state)[2]:
                later[after] = min(used, later.get(after, used))
        self._spread(later, n_moves, is_free=False)
        return later

    def _spread(self, found: dict[State, int], n_moves: int, is_free: bool) -> None:
        """Add what scans, late signals and moves lead to; also time, where that is free."""
        layers: dict[int, list[State]] = {}
        for state, used in found.items():
            layers.setdefault(used, []).append(state)
        used = 0
        while layers:
            todo = layers.pop(used, [])
            while todo:
                state = todo.pop()
                if found[state] < used:
                    continue
                scans, moves, times = self._successors(state)
                costs_one = n_moves != ANY_NUMBER
                free = scans + (times if is_free else ()) + (() if costs_one else moves)
                for after in free:
                    if found.get(after, used + 1) > used:
                        found[after] = used
                        todo.append(after)
                for after in moves if costs_one and used < n_moves else ():
                    if found.get(after, used + 2) > used + 1:
                        found[after] = used + 1
                        layers.setdefault(used + 1, []).append(after)
                if len(found) > self._most:
                    raise TooManyError(f"more than {self._most:,} states are possible")
            used += 1

    def _successors(
        self, state: State
    ) -> tuple[tuple[State, ...], tuple[State, ...], tuple[State, ...]]:
        """Where scans and late signals lead from `state`, where other moves do, and where time."""
        known = self._next.get(state)
        if known is None:
            scans: list[State] = []
            moves: list[State] = []
            times: list[State] = []
            for move, after in self._stepper.successors(state):
                is_time = move.kind is MoveKind.TIME
                (times if is_time else scans if move.kind in UNCOUNTED else moves).append(after)
            known = self._next[state] = (tuple(scans), tuple(moves), tuple(times))
            self._n_remembered += 1 + len(moves)
        return known

    def way(self, start: States, target: States, n_units: int = 0) -> list[Move]:
        """The fewest moves and scans from a state of `start` to one of `target`.

        Just `n_units` units of time pass on it, or any number.
        """
        is_free = n_units == ANY_NUMBER
        first = [(state, 0) for state in sorted(start)]
        back: dict[tuple[State, int], tuple[tuple[State, int], Move] | None]
        back = dict.fromkeys(first)
        queue = list(back)
        for place in queue:
            state, passed = place
            if state in target and (is_free or passed == n_units):
                moves = []
                step = back[place]
                while step is not None:
                    moves.append(step[1])
                    step = back[step[0]]
                return moves[::-1]
            for move, after in self._stepper.successors(state):
                n_passed = passed + (move.kind is MoveKind.TIME and not is_free)
                there = after, n_passed
                if there not in back and (is_free or n_passed <= n_units):
                    back[there] = (place, move)
                    queue.append(there)
        raise ValueError("the target is not reached from here")


def _fits(sight: tuple[int, ...], values: Values) -> bool:
    return not sight[-1] and all(
        wanted is None or wanted == seen for seen, wanted in zip(sight, values, strict=False)
    )
