"""Moves of plant and people: which are newly possible, which no longer, in which configurations.

A configuration is a combination of states of the machines on either model's map, as far as both
models have them. A move is possible in a configuration if some reachable state with it enables
the move. Human errors are left out here; a move that is one in the other model says so.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.judge import replay_run
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, eq, or_, var
from interlock.kernel.nearest import nearest
from interlock.kernel.query import Answer, Engine, Limits, ProgressSink, Query, Values
from interlock.kernel.system import Move, MoveKind
from interlock.kernel.witness import Witness
from interlock.model.build import Built
from interlock.model.model import Model

# Everything that may happen without a fault or an error and is no doing of the controller's.
COMPARED = (MoveKind.PLANT, MoveKind.DRIVER, MoveKind.OPERATOR)

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
    by : str
        Who makes it: ``"plant"``, ``"operator"`` or ``"driver"``.
    elsewhere : bool
        Whether the other model makes it possible at all, in other configurations.
    is_error_there : bool
        The other model has it as a human error, which was not looked at.
    configurations : tuple of Configuration
        Where only this model makes it possible; sorted.
    run : tuple of Happening
        A shortest run of this model that makes it there for the first time, replayed; the move
        is its last step.
    """

    move: str
    says: str
    by: str
    elsewhere: bool
    is_error_there: bool
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
        free = _set_freely(old.model) & _set_freely(new.model)
        self._sides = [_Side(built, self.machines, free) for built in (old, new)]

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
        asking = _Asking(engine, limits, progress)
        gained = _only_here(sides[1], of_new.moves, of_old.moves, sides[0].errors, asking)
        lost = _only_here(sides[0], of_old.moves, of_new.moves, sides[1].errors, asking)
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
    """The machines of either map that both models have with the same states.

    What one of the maps leaves out is looked at all the same. Where they are too large to be
    told, the last machines are given up.
    """
    found: list[str] = []
    n_places = 1
    for name in dict.fromkeys((*old.map_machines, *new.map_machines)):
        ours, theirs = old.machines.get(name), new.machines.get(name)
        if ours is None or theirs is None or ours.states != theirs.states:
            continue
        n_places *= len(ours.states)
        if n_places > MOST_CONFIGURATIONS:
            break
        found.append(name)
    return tuple(found)


def _set_freely(model: Model) -> set[str]:
    """Names of the moves of controls that may be set wherever the vehicle is.

    Where both models let people do so there is nothing to compare.
    """
    return {m.name for m in model.moves if model.machines[m.machine].is_control and m.when is None}


@dataclass(frozen=True)
class _Possible:
    moves: Mapping[str, frozenset[Configuration]]
    reached: frozenset[Configuration]


class _Side:
    """One of the two models."""

    def __init__(self, built: Built, machines: Sequence[str], free: Collection[str]) -> None:
        self.built = built
        self.machines = machines
        self.errors = {m.name for m in built.model.moves if m.kind is MoveKind.HUMAN}
        moves = built.system.moves
        self.moves = [m for m in moves if m.kind in COMPARED and m.name not in free]
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


@dataclass(frozen=True)
class _Asking:
    """Whom to ask for runs, and within which limits."""

    engine: Engine
    limits: Limits
    progress: ProgressSink | None


def _only_here(
    side: _Side,
    here: Mapping[str, frozenset[Configuration]],
    there: Mapping[str, frozenset[Configuration]],
    errors_there: Collection[str],
    asking: _Asking,
) -> tuple[MoveChange, ...]:
    only = {name: sorted(where - there.get(name, frozenset())) for name, where in here.items()}
    wanted = [move for move in side.moves if only[move.name]]
    if not wanted:
        return ()
    targets = [
        and_(move.guard, or_(*(side.at(place) for place in only[move.name]))) for move in wanted
    ]
    system = side.built.system
    answers = nearest(asking.engine, system, targets, asking.limits, asking.progress).answers
    found = [
        MoveChange(
            move=move.name,
            says=move.says,
            by=move.kind.value,
            elsewhere=bool(there.get(move.name)),
            is_error_there=move.name in errors_there,
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
