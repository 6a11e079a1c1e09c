"""The reference engine: plain Python over state tuples, slow and obvious.

It is the yardstick for the others: `tests/contract` and `tests/agree` hold every engine to what
this one answers.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from functools import partial

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.reference_components import components
from interlock.engines.reference_legs import Edge, Place, Walk
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr, and_
from interlock.kernel.query import (
    Answer,
    Count,
    Exploration,
    FewestScans,
    Legs,
    Limits,
    MostScans,
    Occurs,
    ProgressSink,
    Query,
    Reach,
    Stay,
    Trap,
    Values,
)
from interlock.kernel.system import Stepper, System
from interlock.kernel.witness import Step, Witness

# A tuple, its dictionary entry and its place in three lists; measured roughly, as nobody runs
# this engine close to a memory limit.
_BYTES_PER_STATE = 200
_BYTES_PER_VALUE = 8

_InnerEdge = tuple[int, int]


class ReferenceEngine:
    """Breadth-first search with dictionaries."""

    name = "reference"

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """Explore everything reachable in `system` and answer `queries`."""
        budget = Budget(limits, progress)
        space = _Space(system, budget)
        space.explore()
        answers = tuple(_Analysis(space).answer(query) for query in queries)
        return Exploration(
            engine=self.name,
            answers=answers,
            n_states=len(space.states),
            n_moves=space.n_moves,
            depth=space.depths[-1],
            limit=budget.limit,
            seconds=budget.seconds,
            n_bytes=space.n_bytes,
            level_sizes=tuple(space.level_sizes),
        )


class _Space:
    """The reachable states in breadth-first order, each with the step that found it."""

    def __init__(self, system: System, budget: Budget) -> None:
        self.system = system
        self.budget = budget
        self.stepper = Stepper(system)
        self.states: list[State] = [system.initial]
        self.index: dict[State, int] = {system.initial: 0}
        self.parents: list[tuple[int, str] | None] = [None]
        self.depths = [0]
        self.level_sizes = [1]
        self.n_moves = 0
        self.complete = False
        self._edges: list[list[Edge]] | None = None

    @property
    def n_bytes(self) -> int:
        """An estimate of the memory taken."""
        per_state = _BYTES_PER_STATE + _BYTES_PER_VALUE * len(self.system.variables)
        return per_state * len(self.states)

    def explore(self) -> None:
        """Fill the space, up to the limits."""
        for number, state in enumerate(self.states):  # grows while it is walked
            if number % 64 == 0:
                self.budget.report("exploring", len(self.states), self.depths[number])
                if self.budget.spent(self.n_bytes):
                    return
            for move, successor in self.stepper.successors(state):
                if successor not in self.index and not self._add(number, move.name, successor):
                    return
                self.n_moves += 1
        self.complete = True

    def _add(self, parent: int, move: str, state: State) -> bool:
        most = self.budget.limits.max_states
        if most is not None and len(self.states) >= most:
            self.budget.refuse_state(most)
            return False
        depth = self.depths[parent] + 1
        if depth == len(self.level_sizes):
            self.level_sizes.append(0)
        self.level_sizes[depth] += 1
        self.index[state] = len(self.states)
        self.states.append(state)
        self.parents.append((parent, move))
        self.depths.append(depth)
        return True

    @property
    def edges(self) -> list[list[Edge]]:
        """The enabled moves of every state, in the system's order."""
        if self._edges is None:
            numbers = {move.name: n for n, move in enumerate(self.system.moves)}
            self._edges = [
                [(numbers[m.name], self.index.get(t)) for m, t in self.stepper.successors(state)]
                for state in self.states
            ]
        return self._edges

    def where(self, condition: Expr) -> list[bool]:
        """Whether `condition` holds in each state."""
        function = python_function([condition], self.system.index)
        return [bool(function(state)[0]) for state in self.states]

    def steps_to(self, number: int) -> list[Step]:
        """The steps of the run that found a state."""
        steps = []
        while (parent := self.parents[number]) is not None:
            steps.append(Step(parent[1], self.states[number]))
            number = parent[0]
        return steps[::-1]

    def witness_to(self, number: int) -> Witness:
        """The run that found a state."""
        return Witness(self.states[0], tuple(self.steps_to(number)))


class _Analysis:
    """Answers queries over an explored space."""

    def __init__(self, space: _Space) -> None:
        self.space = space
        self.budget = space.budget

    def answer(self, query: Query) -> Answer:
        """The answer to one query."""
        match query:
            case Reach(target, ()):
                return self._reach(target)
            case Reach(target, along):
                return self._reach_along(target, along)
            case Count(where):
                return Answer(self._nothing_found, None, sum(self.space.where(where)))
            case Occurs(where, along):
                found = self._ends(where, self._walk(along).done())
                return Answer(self._nothing_found, None, int(bool(found)))
            case MostScans(where, along) | FewestScans(where, along):
                return self._scans(along, where, isinstance(query, MostScans))
            case Values(exprs, where):
                return Answer(self._nothing_found, values=self._values(exprs, where))
            case Trap(goal):
                return self._trap(goal)
            case Stay(start, stay, ()):
                return self._stay(start, stay)
            case Stay(start, stay, along):
                return self._stay_along(start, stay, along)

    @property
    def _nothing_found(self) -> bool | None:
        return False if self.space.complete else None

    def _reach(self, target: Expr) -> Answer:
        holds = self.space.where(target)
        if not any(holds):
            return Answer(self._nothing_found)
        return Answer(True, self.space.witness_to(holds.index(True)), sum(holds))

    def _scans(self, along: Legs, where: Expr, is_most: bool) -> Answer:
        met = {p.scans for p in self._ends(where, self._walk(along, is_most).in_last())}
        values = (((max if is_most else min)(met),),) if met else ()
        return Answer(self._nothing_found, values=values)

    def _walk(self, along: Legs, ends_with_scans: bool = False) -> Walk:
        space = self.space
        return Walk(space.system, space.states, space.edges, along, ends_with_scans)

    def _ends(self, where: Expr, places: Sequence[Place]) -> list[Place]:
        holds = self.space.where(where)
        return [place for place in places if holds[place.state]]

    def _steps_along(self, walk: Walk, place: Place) -> list[Step]:
        moves, states = self.space.system.moves, self.space.states
        return [Step(moves[move].name, states[target]) for move, target in walk.moves_to(place)]

    def _reach_along(self, target: Expr, along: Legs) -> Answer:
        walk = self._walk(along)
        ends = self._ends(target, walk.done())
        if not ends:
            return Answer(self._nothing_found)
        steps = self._steps_along(walk, ends[0])
        return Answer(True, Witness(self.space.states[0], tuple(steps)))

    def _values(self, exprs: Sequence[Expr], where: Expr) -> tuple[State, ...]:
        function = python_function(exprs, self.space.system.index)
        holds = self.space.where(where)
        combinations = {function(s) for s, h in zip(self.space.states, holds, strict=True) if h}
        return tuple(sorted(combinations))

    def _trap(self, goal: Expr) -> Answer:
        if self.budget.out_of_time():
            return Answer(None)
        edges = self.space.edges
        system = self.space.system
        onward = [move.name in system.onward for move in system.moves]
        before: list[list[int]] = [[] for _ in edges]
        # What lies beyond the explored states may lead to the goal, so it counts as the goal.
        able = self.space.where(goal)
        for number, moves in enumerate(edges):
            for move, target in moves:
                if not onward[move]:
                    continue
                if target is None:
                    able[number] = True
                else:
                    before[target].append(number)
        todo = [number for number, is_able in enumerate(able) if is_able]
        while todo:
            for number in before[todo.pop()]:
                if not able[number]:
                    able[number] = True
                    todo.append(number)
        if all(able):
            return Answer(self._nothing_found)
        return Answer(True, self.space.witness_to(able.index(False)))

    def _stay(self, start: Expr, stay: Expr) -> Answer:
        if self.budget.out_of_time():
            return Answer(None)
        inside = {n for n, holds in enumerate(self.space.where(stay)) if holds}
        starts = self.space.where(and_(start, stay))
        loops = _FairLoops(self.space, inside)
        able = loops.leading_there()
        for number, is_start in enumerate(starts):
            if is_start and number in able:
                return Answer(True, loops.witness(number, self.space.steps_to(number)))
        return Answer(self._nothing_found)

    def _stay_along(self, start: Expr, stay: Expr, along: Legs) -> Answer:
        if self.budget.out_of_time():
            return Answer(None)
        inside = {n for n, holds in enumerate(self.space.where(stay)) if holds}
        walk = self._walk(along)
        loops = _FairLoops(self.space, inside)
        able = loops.leading_there()
        for place in self._ends(and_(start, stay), walk.done()):
            if place.state in able:
                steps = self._steps_along(walk, place)
                return Answer(True, loops.witness(place.state, steps))
        return Answer(self._nothing_found)


class _FairLoops:
    """The fair strongly connected components among the states `inside`."""

    def __init__(self, space: _Space, inside: set[int]) -> None:
        self.space = space
        self.inside = inside
        self.fair_moves = {
            n: python_function([move.fair], space.system.index)
            for n, move in enumerate(space.system.moves)
            if move.fair is not None
        }
        # Only states on a fair loop, each with its component.
        self.component: dict[int, set[int]] = {}
        for members in components(inside, self._targets):
            if self._is_fair(members):
                self.component.update(dict.fromkeys(members, members))

    def _inner(self, number: int, members: set[int]) -> list[_InnerEdge]:
        return [(m, t) for m, t in self.space.edges[number] if t is not None and t in members]

    def _targets(self, number: int) -> list[int]:
        return [target for _, target in self._inner(number, self.inside)]

    def _stands_still(self, number: int) -> bool:
        return not self.space.edges[number]

    def _is_owed(self, move: int, number: int) -> bool:
        return bool(self.fair_moves[move](self.space.states[number])[0])

    def _is_fair(self, members: set[int]) -> bool:
        if any(self._stands_still(number) for number in members):
            return True
        taken = {move for number in members for move, _ in self._inner(number, members)}
        return bool(taken) and all(
            move in taken or any(not self._is_owed(move, number) for number in members)
            for move in self.fair_moves
        )

    def leading_there(self) -> set[int]:
        """The states from which a fair loop can be reached inside."""
        before: dict[int, list[int]] = {number: [] for number in self.inside}
        for number in self.inside:
            for target in self._targets(number):
                before[target].append(number)
        able = set(self.component)
        todo = list(able)
        while todo:
            new = [number for number in before[todo.pop()] if number not in able]
            able.update(new)
            todo.extend(new)
        return able

    def witness(self, start: int, steps: list[Step]) -> Witness:
        """A run that `steps` lead to `start` and that ends in a fair loop."""
        approach = self._path(start, self.inside, lambda number: number in self.component)
        steps = steps + self._as_steps(approach)
        entry = approach[-1][1] if approach else start
        loop = [] if self._stands_still(entry) else self._loop(entry)
        loop_start = len(steps)
        return Witness(self.space.states[0], tuple(steps + self._as_steps(loop)), loop_start)

    def _loop(self, entry: int) -> list[_InnerEdge]:
        members = self.component[entry]
        owing = set(self.fair_moves)
        loop: list[_InnerEdge] = []
        here = entry
        while True:
            owing = {move for move in owing if self._is_owed(move, here)}
            if not owing:
                break
            loop += self._path(here, members, partial(self._pays, members, owing))
            here = loop[-1][1] if loop else entry
            owing = {move for move in owing if self._is_owed(move, here)}
            offered = [edge for edge in self._inner(here, members) if edge[0] in owing]
            if offered:
                loop.append(offered[0])
                here = offered[0][1]
            owing -= {move for move, _ in loop}
        if not loop:
            loop = self._inner(here, members)[:1]
            here = loop[0][1]
        return loop + self._path(here, members, lambda number: number == entry)

    def _pays(self, members: set[int], owing: set[int], number: int) -> bool:
        taken = {move for move, _ in self._inner(number, members)}
        return any(move in taken or not self._is_owed(move, number) for move in owing)

    def _path(
        self, source: int, members: set[int], arrived: Callable[[int], bool]
    ) -> list[_InnerEdge]:
        """A shortest path inside `members` from `source` to a state that has `arrived`."""
        came: dict[int, tuple[int, _InnerEdge] | None] = {source: None}
        queue = deque([source])
        while queue:
            number = queue.popleft()
            if arrived(number):
                return _retraced(came, number)
            for edge in self._inner(number, members):
                if edge[1] not in came:
                    came[edge[1]] = (number, edge)
                    queue.append(edge[1])
        raise AssertionError("a component is connected")

    def _as_steps(self, edges: Iterable[_InnerEdge]) -> list[Step]:
        moves, states = self.space.system.moves, self.space.states
        return [Step(moves[move].name, states[target]) for move, target in edges]


def _retraced(came: dict[int, tuple[int, _InnerEdge] | None], number: int) -> list[_InnerEdge]:
    path = []
    while (last := came[number]) is not None:
        number = last[0]
        path.append(last[1])
    return path[::-1]
