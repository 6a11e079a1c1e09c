"""A world in which time passes: everything that takes time has an age, tick by tick."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from fractions import Fraction

from interlock.kernel.system import MoveKind
from interlock.model.model import Model
from interlock.st import typed
from tests.second_opinion.expressions import Function
from tests.second_opinion.world import SCAN, TICK, Act, Class, Kind, State, World

_NOT_UNDER_WAY = -1


class TimedWorld(World):
    """A model with time in a class of runs.

    The age of something is the number of ticks for which its own condition has been true in every
    state. It may happen once it can have taken its least time, and no tick comes that would let it
    take longer than its greatest.

    What goes on where it is interrupted may also have taken its least time in several pieces, each
    with one tick more than its age, while its machine stood still. `State.ages` ends with the ticks
    of the pieces that are over, for each move that goes on; -1 where there are none.

    Attributes
    ----------
    unit_ms : int
    """

    def __init__(self, model: Model, run_class: Class) -> None:
        assert model.timing is not None
        self.unit_ms = model.timing.unit_ms
        super().__init__(model, run_class)
        self._ripe: dict[Act, int] = {}
        self._last: dict[Act, int | None] = {}
        self._stays: dict[Act, Function] = {}
        self._waits: dict[Act, Act] = {}
        self._places: dict[Act, int] = {}
        machines = list(model.machines)
        self._note(SCAN, model.timing.scan_least_ms, model.timing.scan_greatest_ms)
        for move in model.moves:
            act = Act(Kind.MOVE, move.name)
            if move.name in self.timed and move.takes is not None:
                least, most = (
                    1000 * Fraction(str(s)) for s in (move.takes.least, move.takes.greatest)
                )
                is_owed = move.kind is MoveKind.PLANT and not move.may
                self._note(act, least, most if is_owed else None)
                if move.takes.goes_on:
                    self._places[act] = machines.index(move.machine)
            if move.stays is not None:
                stay = Act(Kind.STAY, move.stays.name)
                self._note(stay, move.stays.ms, None)
                self._stays[stay] = self.function_of_tree(move.stays.condition)
                self._waits[act] = stay
        timers = {one.name: one for one in model.program.instances}
        for name in self._controller.free_timers:
            preset = timers[name].preset_ms
            most_ms = preset if _calls(model.program.body, name) < 2 else None
            self._note(Act(Kind.TIMER, name), 0 if timers[name].varies else preset, most_ms)
        self.owed = [*self.owed, SCAN, TICK]
        begun_before = {stay: self._ripe[stay] for stay in self._stays}
        begun_before[SCAN] = self._last[SCAN] or 0
        self.first = self._with_ages(self.first, None, begun_before)

    def _note(self, act: Act, least_ms: Fraction | int, most_ms: Fraction | int | None) -> None:
        self._ripe[act] = math.floor(Fraction(least_ms) / self.unit_ms)
        self._last[act] = None if most_ms is None else math.ceil(Fraction(most_ms) / self.unit_ms)

    def _under_way(self, state: State) -> Iterator[Act]:
        truth = self.truth(state)
        yield SCAN
        for move in self._moves:
            if move.act in self._ripe and self._can(move, state, truth):
                yield move.act
        for name in self._controller.free_timers:
            if self._controller.is_running(state.memory, name):
                yield Act(Kind.TIMER, name)
        for act, condition in self._stays.items():
            if condition(truth):
                yield act

    def _with_ages(
        self, state: State, done: Act | None, ages: dict[Act, int], before: State | None = None
    ) -> State:
        """`state`, to which `done` has led from `before`, where the ages were `ages`."""
        going = set(self._under_way(state))
        found = []
        for act in self._ripe:
            begins = act == done or act not in ages
            age = (0 if begins else ages[act]) if act in going else _NOT_UNDER_WAY
            # Beyond what can be waited for nothing changes any more.
            last = self._last[act]
            found.append(min(age, self._ripe[act] if last is None else last))
        pieces = {} if before is None else self._pieces(before)
        for act, place in self._places.items():
            over = pieces.get(act, _NOT_UNDER_WAY)
            if before is None or act == done or state.places[place] != before.places[place]:
                over = _NOT_UNDER_WAY
            elif act in ages and act not in going:
                over = min(max(over, 0) + ages[act] + 1, max(self._ripe[act], 1))
            found.append(over)
        return state._replace(ages=tuple(found))

    def _pieces(self, state: State) -> dict[Act, int]:
        """The ticks of earlier pieces of what goes on."""
        over = state.ages[len(self._ripe) :]
        return dict(zip(self._places, over, strict=True))

    def _ages(self, state: State) -> dict[Act, int]:
        ages = zip(self._ripe, state.ages[: len(self._ripe)], strict=True)
        return {act: age for act, age in ages if age != _NOT_UNDER_WAY}

    def ripe_from(self, act: Act) -> int:
        """The age from which on something may happen."""
        return self._ripe[act]

    def lasts_until(self, act: Act) -> int | None:
        """The age with which no tick may come; None where it need not happen."""
        return self._last[act]

    def may_tick(self, state: State) -> bool:
        """Whether a unit of time may pass."""
        return self._is_time_left(state) and self._delays_of.may_tick(state.felt)

    def _is_time_left(self, state: State) -> bool:
        lasts = [(age, self._last[act]) for act, age in self._ages(state).items()]
        return all(last is None or age < last for age, last in lasts)

    def owes(self, state: State, truth: dict[str, int]) -> set[Act]:
        """As without time, but nothing before it can come; and a scan and a tick where they may."""
        ages = self._ages(state)
        found = {SCAN, *super().owes(state, truth)}
        found = {act for act in found if self._is_ripe(act, ages, self._pieces(state))}
        owes_tick = self._is_time_left(state) and self._delays_of.owes_tick(state.felt)
        return found | ({TICK} if owes_tick else set())

    def _is_ripe(self, act: Act, ages: dict[Act, int], pieces: dict[Act, int]) -> bool:
        stay = self._waits.get(act)
        if stay in ages and ages[stay] < self._ripe[stay]:
            return False
        age, over = ages.get(act, 0), pieces.get(act, _NOT_UNDER_WAY)
        if over != _NOT_UNDER_WAY and act in ages and over + age + 1 >= self._ripe[act]:
            return True
        return act not in self._ripe or age >= self._ripe[act]

    def successors(self, state: State, truth: dict[str, int]) -> Iterator[tuple[Act, State]]:
        """Everything that can happen in `state` in its time, and the passing of time."""
        ages, pieces = self._ages(state), self._pieces(state)
        for act, after in super().successors(state, truth):
            if not self._is_ripe(act, ages, pieces):
                continue
            yield act, self._with_ages(after, act, ages, state)
        if self.may_tick(state):
            older = {act: age + 1 for act, age in ages.items()}
            felt = self._delays_of.later(state.felt)
            later = state._replace(moves=state.moves or self.due + 1, felt=felt)
            later = self._noted(TICK, state, later)
            yield TICK, self._with_ages(later, TICK, older, state)


def _calls(body: Iterable[typed.Statement], name: str) -> int:
    """How often a block can be called in one scan."""
    n_calls = 0
    for statement in body:
        if isinstance(statement, typed.Invoke):
            n_calls += statement.instance == name
        elif isinstance(statement, typed.If | typed.Case):
            ways = [branch.body for branch in statement.branches] + [statement.otherwise]
            n_calls += max(_calls(way, name) for way in ways)
    return n_calls


def world_of(model: Model, run_class: Class) -> World:
    """The world of a model, with time where it has any."""
    return World(model, run_class) if model.timing is None else TimedWorld(model, run_class)
