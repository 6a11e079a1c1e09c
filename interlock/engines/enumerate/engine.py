"""The enumerating engine: every reachable state, by code compiled for the system."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.enumerate.along import answer_along
from interlock.engines.enumerate.changed_system import Known
from interlock.engines.enumerate.jit import compiled
from interlock.engines.enumerate.keeping import FEWEST_STATES, keep_steps
from interlock.engines.enumerate.legs import Route
from interlock.engines.enumerate.longest import LongestWays
from interlock.engines.enumerate.loops import FairMoves, find_loop, find_loop_along
from interlock.engines.enumerate.program import Program
from interlock.engines.enumerate.space import MOST_STATES, Space
from interlock.engines.enumerate.traps import find_traps
from interlock.engines.enumerate.values import find_values
from interlock.kernel.codec import Codec, Field
from interlock.kernel.expr import Expr, and_
from interlock.kernel.kept import GOALS_AT_ONCE, Kept
from interlock.kernel.query import (
    Answer,
    Count,
    DeclinedError,
    Exploration,
    FewestScans,
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
from interlock.kernel.system import System

_T = TypeVar("_T")

_CONDITIONS_AT_ONCE = 64
# Half of 16 bits number the moves; the other half marks frames of the depth-first search.
_MOST_MOVES = 1 << 15


class EnumeratingEngine:
    """Breadth-first search over packed states.

    Parameters
    ----------
    most_states : int
        How many states an index can number.
    answers_if_cut : bool
        Whether anything is asked of states that a limit has cut short.
    keeps_steps_from : int
        With how many states steps are worth keeping, where many searches need them.
    """

    name = "enumerate"

    def __init__(
        self,
        most_states: int = MOST_STATES,
        answers_if_cut: bool = True,
        keeps_steps_from: int = FEWEST_STATES,
    ) -> None:
        self._most_states = most_states
        self._answers_if_cut = answers_if_cut
        self._keeps_steps_from = keeps_steps_from

    def keep(
        self, system: System, limits: Limits = NO_LIMITS, progress: ProgressSink | None = None
    ) -> Kept:
        """Explore everything reachable, and keep it: `kernel.kept.Keeps`."""
        return Known(system, limits, progress)

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> Exploration:
        """Explore everything reachable in `system` and answer `queries`.

        Raises
        ------
        DeclinedError
            If a value may not fit a signed 64-bit word, or there are more than 32,767 moves.
        """
        if len(system.moves) >= _MOST_MOVES:
            raise DeclinedError(f"more than {_MOST_MOVES - 1:,} moves")
        budget = Budget(limits, progress)
        budget.report("compiling", 0, 0)
        codec = Codec.of_system(system)
        plan = _Plan(system, codec, queries)
        space = Space(
            system,
            codec,
            compiled(Program(system, codec).text()),
            budget,
            analysing=plan.analyses,
            most_states=self._most_states,
        )
        space.explore()
        answers: Mapping[int, Answer] = {}
        if queries and (space.complete or self._answers_if_cut):
            space.conditions = compiled(plan.text)
            keep_steps(space, plan.n_searches, self._keeps_steps_from)
            answers = plan.answers(space)
        return Exploration(
            engine=self.name,
            answers=tuple(answers.get(n, Answer(None)) for n in range(len(queries))),
            n_states=space.n_states,
            n_moves=space.shared["n_moves"],
            depth=space.depth,
            limit=budget.limit,
            seconds=budget.seconds,
            n_bytes=space.n_bytes,
            level_sizes=tuple(space.level_sizes()),
            n_threads=None if space.has_all_threads else space.n_threads,
        )


class _Plan:
    """Which compiled function answers which query."""

    def __init__(self, system: System, codec: Codec, queries: Sequence[Query]) -> None:
        self.system = system
        self._program = Program(system, codec, numbers=())
        self._queries = queries
        self._counted: list[tuple[int, Expr]] = []
        self._goals: list[tuple[int, Trap]] = []
        self.stays: dict[int, str] = {}
        self.keys: dict[int, tuple[Field, ...]] = {}
        self.routes: dict[int, Route] = {}
        for number, query in enumerate(queries):
            self._take(number, query)
        self._longest = LongestWays(self._program, queries)
        self.tallies = _in_groups(self._counted, _CONDITIONS_AT_ONCE)
        self.traps = _in_groups(self._goals, GOALS_AT_ONCE)
        for n, tally in enumerate(self.tallies):
            self._program.add_bits(f"tally{n}", [condition for _, condition in tally])
        for n, group in enumerate(self.traps):
            self._program.add_bits(f"goals{n}", [trap.goal for _, trap in group])
        if self.traps and system.has_unbidden:
            self._program.add_onward()
        if self.stays:
            self._program.add_unowed()
        self.reaches = {n for n, query in enumerate(queries) if isinstance(query, Reach)}
        self.text = self._program.text()

    def _take(self, number: int, query: Query) -> None:
        match query:
            case Reach(condition, ()) | Count(condition):
                self._counted.append((number, condition))
            case Reach(target, along) | Occurs(target, along) | FewestScans(target, along):
                self._go_along(number, Route.along(along), target)
            case MostScans(where, along):
                self._go_along(number, Route.along(along, goes_on=False), where)
            case Values(exprs, where):
                self.keys[number] = self._program.add_key(f"key{number}", exprs, where)
            case Trap():
                self._goals.append((number, query))
            case Stay(start, stay, along):
                self.stays[number] = f"stay{number}"
                self._program.add_bits(f"stay{number}", [stay, and_(start, stay)])
                if along:
                    self._go_along(number, Route.along(along), and_(start, stay))

    def _go_along(self, number: int, route: Route, target: Expr) -> None:
        self.routes[number] = route
        self._program.add_bits(f"legs{number}", route.conditions(target))

    @property
    def n_searches(self) -> int:
        """How often the steps of most states may be gone through."""
        n_traps = 0 if self.system.has_unbidden else 3 * len(self.traps)
        return n_traps + len(self.stays) + len(self.routes)

    @property
    def analyses(self) -> bool:
        """Whether more is asked than what holds in single states."""
        return bool(self.traps or self.stays or self.routes)

    def answers(self, space: Space) -> dict[int, Answer]:
        """Every answer by the number of its query."""
        found: dict[int, Answer] = {}
        for n, tally in enumerate(self.tallies):
            found.update(self._tally(space, f"tally{n}", [number for number, _ in tally]))
        for number, fields in self.keys.items():
            values = find_values(space, fields, space.conditions.address(f"key{number}"))
            found[number] = Answer(False if space.complete else None, values=values)
        for n, group in enumerate(self.traps):
            traps = [trap for _, trap in group]
            answers = find_traps(space, traps, space.conditions.address(f"goals{n}"))
            found.update(zip((number for number, _ in group), answers, strict=True))
        fair = FairMoves(self.system)
        address = space.conditions.address
        for number, name in self.stays.items():
            route, function = self.routes.get(number), address(name)
            if route is None:
                _, found[number] = find_loop(space, fair, function)
            else:
                legs = address(f"legs{number}")
                found[number] = find_loop_along(space, fair, route, legs, function)
        for number, route in self.routes.items():
            if number not in self.stays:
                query, function = self._queries[number], address(f"legs{number}")
                longest = self._longest.of(space, query)
                found[number] = answer_along(space, query, route, function, longest)
        return found

    def _tally(self, space: Space, name: str, numbers: Sequence[int]) -> dict[int, Answer]:
        # Looking takes little time mostly, and a limit should keep no violation back.
        is_over = space.budget.long_out_of_time
        function = space.conditions.address(name)
        counted, is_whole = space.tally(function, len(numbers), 0, space.n_states, is_over)
        is_known = space.complete and is_whole
        found = {}
        for number, entry in zip(numbers, counted, strict=True):
            n_states, first = entry or (0, 0)
            if number in self.reaches and n_states:
                found[number] = Answer(True, space.witness_to(first), n_states)
            else:
                found[number] = Answer(False if is_known else None, None, n_states)
        return found


def _in_groups(items: Sequence[_T], size: int) -> list[Sequence[_T]]:
    return [items[start : start + size] for start in range(0, len(items), size)]
