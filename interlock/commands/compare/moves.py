"""Plant moves: which are newly possible, which no longer, and in which configurations.

A configuration is a combination of states of the machines on the model's map, as far as both
models have them. A move is possible in a configuration if some reachable state with it enables
the move.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.independent_judge.judge import replay_run
from interlock.independent_judge.player import Happening
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, eq, or_, var
from interlock.kernel.query import Answer, Engine, Limits, ProgressSink, Query, Reach, Values
from interlock.kernel.system import Move, MoveKind
from interlock.kernel.witness import Witness
from interlock.model.build import Built
from interlock.model.model import Model

# The moves of the vehicle; what people do with buttons is free in both models.
VEHICLE = (MoveKind.PLANT, MoveKind.DRIVER)

# A map of more combinations of states could neither be kept nor told.
MOST_CONFIGURATIONS = 2_000

Configuration = tuple[str, ...]
"""The names of the states of the shared map's machines."""

Seen = tuple[Sequence[Answer], str | None]
"""Answers, and the limit that cut them short."""


@dataclass(frozen=True)
class MoveChange:
    """A move that one model makes possible where the other does not.

    Attributes
    ----------
    move : str
    says : str
    elsewhere : bool
        Whether the other model makes it possible at all, in other configurations.
    configurations : tuple of Configuration
        Where only this model makes it possible; sorted.
    run : tuple of Happening
        A shortest run of this model that makes it there for the first time, replayed; the move
        is its last step.
    """

    move: str
    says: str
    elsewhere: bool
    configurations: tuple[Configuration, ...]
    run: tuple[Happening, ...]


@dataclass(frozen=True)
class MoveComparison:
    """All moves of two models.

    Attributes
    ----------
    machines : tuple of str
        What the configurations tell of.
    gained, lost : tuple of MoveChange
        Newly possible, and no longer.
    reached_only_new, reached_only_old : tuple of Configuration
        Configurations that only one of the models reaches.
    n_unchanged : int
        Moves that both models make possible in the very same configurations.
    limits : tuple of str
        The limits that cut an exploration short; what is told may then be a part or, where the
        other model was cut short, wrong, so nothing is told.
    """

    machines: tuple[str, ...]
    gained: tuple[MoveChange, ...] = ()
    lost: tuple[MoveChange, ...] = ()
    reached_only_new: tuple[Configuration, ...] = ()
    reached_only_old: tuple[Configuration, ...] = ()
    n_unchanged: int = 0
    limits: tuple[str, ...] = ()


class MoveStudy:
    """The questions that comparing moves takes, and what the answers mean.

    Parameters
    ----------
    old, new : Built
    """

    def __init__(self, old: Built, new: Built) -> None:
        self.machines = _shared_map(old.model, new.model)
        self._sides = [_Side(built, self.machines) for built in (old, new)]

    @property
    def queries(self) -> tuple[list[Query], list[Query]]:
        """What to ask of the old system, and of the new one."""
        return self._sides[0].queries, self._sides[1].queries

    def result(
        self,
        explored: tuple[Seen, Seen],
        engine: Engine,
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> MoveComparison:
        """What the answers mean; `engine` finds runs to what only one of the two makes possible.

        Parameters
        ----------
        explored : pair of (answers, limit)
            The answers of each system to its `queries`, with the limit that was hit, if any.
        engine : Engine
        limits : Limits
        progress : callable, optional

        Raises
        ------
        InternalError
            Where a run does not replay on its model.
        """
        cut = tuple(dict.fromkeys(limit for _, limit in explored if limit is not None))
        if cut:
            return MoveComparison(self.machines, limits=cut)
        sides = self._sides
        of_old, of_new = (
            side.read(answers) for side, (answers, _) in zip(sides, explored, strict=True)
        )
        gained = _only_here(sides[1], of_new.moves, of_old.moves, engine, limits, progress)
        lost = _only_here(sides[0], of_old.moves, of_new.moves, engine, limits, progress)
        same = sum(
            1 for name, where in of_new.moves.items() if where and where == of_old.moves.get(name)
        )
        return MoveComparison(
            machines=self.machines,
            gained=gained,
            lost=lost,
            reached_only_new=tuple(sorted(of_new.reached - of_old.reached)),
            reached_only_old=tuple(sorted(of_old.reached - of_new.reached)),
            n_unchanged=same,
        )


def _shared_map(old: Model, new: Model) -> tuple[str, ...]:
    """The machines of both maps that have the same states, in the old model's order.

    Where the maps are too large to be told, the last machines are given up.
    """
    theirs = {name.casefold() for name in new.map_machines}
    found: list[str] = []
    n_places = 1
    for name in old.map_machines:
        machine = new.machines.get(name)
        same = machine is not None and machine.states == old.machines[name].states
        n_places *= len(old.machines[name].states) if same else 1
        if n_places > MOST_CONFIGURATIONS:
            break
        if same and name.casefold() in theirs:
            found.append(name)
    return tuple(found)


@dataclass(frozen=True)
class _Possible:
    moves: Mapping[str, frozenset[Configuration]]
    reached: frozenset[Configuration]


class _Side:
    """One of the two models."""

    def __init__(self, built: Built, machines: Sequence[str]) -> None:
        self.built = built
        self.machines = machines
        self.moves = [move for move in built.system.moves if move.kind in VEHICLE]
        here = tuple(var(name) for name in machines)
        self.queries: list[Query] = [Values(here)]
        self.queries += [Values(here, where=move.guard) for move in self.moves]

    def read(self, answers: Sequence[Answer]) -> _Possible:
        reached, *by_move = (frozenset(map(self._named, answer.values)) for answer in answers)
        names = [move.name for move in self.moves]
        return _Possible(dict(zip(names, by_move, strict=True)), reached)

    def _named(self, values: Sequence[int]) -> Configuration:
        states = [self.built.model.machines[name].states for name in self.machines]
        return tuple(labels[value] for labels, value in zip(states, values, strict=True))

    def at(self, configuration: Configuration) -> Expr:
        parts = []
        for name, label in zip(self.machines, configuration, strict=True):
            number = self.built.model.machines[name].states.index(label)
            parts.append(eq(var(name), ex.const(number)))
        return and_(*parts)


def _only_here(
    side: _Side,
    here: Mapping[str, frozenset[Configuration]],
    there: Mapping[str, frozenset[Configuration]],
    engine: Engine,
    limits: Limits,
    progress: ProgressSink | None,
) -> tuple[MoveChange, ...]:
    only = {name: sorted(where - there.get(name, frozenset())) for name, where in here.items()}
    wanted = [move for move in side.moves if only[move.name]]
    if not wanted:
        return ()
    queries = [
        Reach(and_(move.guard, or_(*(side.at(place) for place in only[move.name]))))
        for move in wanted
    ]
    answers = engine.explore(side.built.system, queries, limits, progress).answers
    found = [
        MoveChange(
            move=move.name,
            says=move.says,
            elsewhere=bool(there.get(move.name)),
            configurations=tuple(only[move.name]),
            run=() if answer.witness is None else _made(side.built, answer.witness, move),
        )
        for move, answer in zip(wanted, answers, strict=True)
    ]
    # What becomes possible first tells why the rest does.
    return tuple(sorted(found, key=lambda change: len(change.run)))


def _made(built: Built, witness: Witness, move: Move) -> tuple[Happening, ...]:
    """The run, replayed, with the move as its last step."""
    return replay_run(built, witness, move.name)
