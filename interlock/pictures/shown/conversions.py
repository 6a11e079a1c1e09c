"""The map of what a vehicle can turn into: reachable states seen through a few machines.

A configuration is a combination of states of the machines that the model names under ``map``. It
is on the map if some reachable state has it; a passage is on the map if some move can take the
system from one configuration to the other in a reachable state. A way through several passages
need not be one run: which passages follow each other depends on everything that the map leaves
out. The conversions shown are therefore runs of the model, each a shortest one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interlock.kernel.evaluate import State
from interlock.kernel.expr import FALSE, Expr, var, variables_of
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Answer, Engine, Limits, Query, Reach, Values
from interlock.kernel.system import Move, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built

# So many goals are visited one after the other by the runs that a map shows.
MOST_GOALS = 4
# Runs lead to what few configurations fulfil, such as a form of the vehicle: at most this many
# times as many as fulfil the rarest goal.
RARE = 3

Place = tuple[int, ...]
"""The states of the map's machines, in the order of the map."""


@dataclass(frozen=True)
class Configuration:
    """A combination of states of the map's machines that some reachable state has.

    Attributes
    ----------
    place : tuple of int
    unsafe : bool
        Whether the model's ``unsafe`` holds in some reachable state with it.
    goals : tuple of str
        Ids of the 'can still' requirements whose predicate holds in some reachable state of it.
    """

    place: Place
    unsafe: bool
    goals: tuple[str, ...]


@dataclass(frozen=True)
class Passage:
    """A move that takes one configuration to another; its name is that of the model."""

    source: Place
    target: Place
    move: str


@dataclass(frozen=True)
class Conversion:
    """A shortest run to a goal, as the configurations it passes through.

    Attributes
    ----------
    goal : str
        Id of the requirement whose predicate the run arrives at.
    places : tuple of Place
        Without repetitions in a row; the first is where the run starts.
    moves : tuple of str
        The steps of the run by the names of their moves, scans included.
    """

    goal: str
    places: tuple[Place, ...]
    moves: tuple[str, ...]


@dataclass(frozen=True)
class Conversions:
    """The map.

    Attributes
    ----------
    machines : tuple of str
        What the configurations tell of.
    left_out : tuple of str
        Machines of the model's map that were given up to keep the map readable.
    initial : Place
    configurations : tuple of Configuration
        Sorted by place.
    passages : tuple of Passage
        Sorted.
    runs : tuple of Conversion
        One after the other: the first starts in the initial state, each next one where the one
        before ended.
    common_goals : tuple of str
        Goals that many configurations satisfy: no landmarks.
    limit : str or None
        The limit that cut the exploration short; the map is then a part.
    """

    machines: tuple[str, ...]
    left_out: tuple[str, ...]
    initial: Place
    configurations: tuple[Configuration, ...]
    passages: tuple[Passage, ...]
    runs: tuple[Conversion, ...]
    common_goals: tuple[str, ...]
    limit: str | None


class ConversionStudy:
    """The questions that the map takes, and what the answers mean.

    Parameters
    ----------
    built : Built
    most : int
        How many configurations are still readable; the last machines of the map are given up
        until so few are left.
    """

    def __init__(self, built: Built, most: int = 40) -> None:
        self.built = built
        self.most = most
        model = built.model
        plant = [name for name, machine in model.machines.items() if not machine.is_control]
        self.machines = tuple(model.map_machines or plant)
        # What is pressed or commanded is no place on a map.
        standing = frozenset(plant)
        self.goals = {
            id_: requirement.p
            for id_, requirement in built.requirements.items()
            if not PATTERNS[requirement.pattern].is_of_runs
            and standing.issuperset(variables_of([requirement.p]))
        }
        unsafe = built.lower(model.unsafe) if model.unsafe is not None else FALSE
        here = [var(name) for name in self.machines]
        self._moves = [move for move in built.system.moves if self._may_change(move)]
        self.queries: list[Query] = [Values((*here, unsafe, *self.goals.values()))]
        self.queries += [Values((*here, *self._after(m)), where=m.guard) for m in self._moves]
        self.queries += [Reach(goal) for goal in self.goals.values()]

    def _may_change(self, move: Move) -> bool:
        return any(name in move.updates for name in self.machines)

    def _after(self, move: Move) -> list[Expr]:
        return [move.updates.get(name, var(name)) for name in self.machines]

    def result(
        self, answers: Sequence[Answer], limit: str | None, engine: Engine, limits: Limits
    ) -> Conversions:
        """What the answers to `queries` mean; `engine` finds the conversions' further runs.

        Parameters
        ----------
        answers : sequence of Answer
        limit : str or None
            The limit that the exploration hit.
        engine : Engine
        limits : Limits
        """
        shown, at_moves = answers[0], answers[1 : 1 + len(self._moves)]
        width = self._readable_width([values[: len(self.machines)] for values in shown.values])
        configurations = self._configurations(shown.values, width)
        passages = set()
        for move, answer in zip(self._moves, at_moves, strict=True):
            for values in answer.values:
                source = values[:width]
                target = values[len(self.machines) :][:width]
                if source != target:
                    passages.add(Passage(source, target, move.name))
        n_of = {id_: sum(id_ in c.goals for c in configurations) for id_ in self.goals}
        rarest = min((n for n in n_of.values() if n), default=0)
        common = [id_ for id_, n in n_of.items() if n > min(RARE * rarest, len(configurations) / 2)]
        reached = dict(zip(self.goals, answers[1 + len(self._moves) :], strict=True))
        landmarks = [id_ for id_ in self.goals if id_ not in common and reached[id_].found]
        return Conversions(
            machines=self.machines[:width],
            left_out=self.machines[width:],
            initial=self._place(self.built.system, self.built.system.initial, width),
            configurations=configurations,
            passages=tuple(sorted(passages, key=lambda p: (p.source, p.target, p.move))),
            runs=tuple(self._runs(landmarks, reached, width, engine, limits)),
            common_goals=tuple(common),
            limit=limit,
        )

    def _readable_width(self, places: Iterable[Place]) -> int:
        known = list(places)
        width = len(self.machines)
        while width > 1 and len({place[:width] for place in known}) > self.most:
            width -= 1
        return width

    def _configurations(
        self, values: Iterable[tuple[int, ...]], width: int
    ) -> tuple[Configuration, ...]:
        unsafe: dict[Place, bool] = {}
        goals: dict[Place, set[str]] = {}
        n = len(self.machines)
        for row in values:
            place = row[:width]
            unsafe[place] = unsafe.get(place, False) or bool(row[n])
            satisfied = (id_ for id_, holds in zip(self.goals, row[n + 1 :], strict=True) if holds)
            goals.setdefault(place, set()).update(satisfied)
        return tuple(
            Configuration(place, unsafe[place], tuple(id_ for id_ in self.goals if id_ in found))
            for place, found in sorted(goals.items())
        )

    def _place(self, system: System, state: State, width: int) -> Place:
        return tuple(state[system.index[name]] for name in self.machines[:width])

    def _runs(
        self,
        landmarks: Sequence[str],
        reached: dict[str, Answer],
        width: int,
        engine: Engine,
        limits: Limits,
    ) -> Iterable[Conversion]:
        """From landmark to landmark; those that hold from the start on come last."""
        away = {id_: reached[id_].witness for id_ in landmarks}
        order = sorted(landmarks, key=lambda id_: len(away[id_] or ()) == 0)[:MOST_GOALS]
        here: State | None = None
        for id_ in order:
            witness = away[id_] if here is None else self._onward(id_, here, engine, limits)
            if witness is None:
                return
            conversion = self._conversion(id_, witness, width)
            # A goal that is reached where one stands is no conversion.
            if len(conversion.places) > 1:
                here = witness.last
                yield conversion

    def _onward(self, goal: str, state: State, engine: Engine, limits: Limits) -> Witness | None:
        there = self.built.system.starting_in(state)
        return engine.explore(there, [Reach(self.goals[goal])], limits).answers[0].witness

    def _conversion(self, goal: str, witness: Witness, width: int) -> Conversion:
        places: list[Place] = []
        for state in witness.states:
            place = self._place(self.built.system, state, width)
            if not places or places[-1] != place:
                places.append(place)
        return Conversion(goal, tuple(places), tuple(step.move for step in witness.steps))


__all__ = ["Configuration", "Conversion", "ConversionStudy", "Conversions", "Passage", "Place"]
