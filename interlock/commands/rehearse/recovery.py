"""The way back: shortest runs to the goal from wherever a rehearsal came to a stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from interlock.commands.rehearse.successors import UNATTENDED
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr, and_, not_
from interlock.kernel.query import Engine, Exploration, Limits, Query, Reach
from interlock.kernel.system import PHASE, MoveKind, Stepper, System
from interlock.model.build import Built
from interlock.model.procedures import Procedures


@dataclass(frozen=True)
class Way:
    """How the goal can be reached from a state.

    Attributes
    ----------
    found : bool or None
        False where everything reachable was looked at; None where a limit was hit before.
    moves : tuple of str
        A run of the fewest moves, scans and moves of the plant included.
    n_actions : int
        How many of them are people's.
    taught : bool
        Only actions that the conversions teach were considered, and letting go; with others the
        run might be shorter.
    """

    found: bool | None
    moves: tuple[str, ...] = ()
    n_actions: int = 0
    taught: bool = True


class Recovery:
    """Finds shortest ways to the goal of a file of procedures.

    The actions that the conversions teach, and letting go of controls, are tried first: they keep
    the search small, and they are what a crew knows. Only where they do not lead back, everything
    that the model lets people do is tried, human errors apart.

    Parameters
    ----------
    built : Built
        Without faults and human errors.
    procedures : Procedures
    engine : Engine
    limits : Limits
    """

    def __init__(
        self, built: Built, procedures: Procedures, engine: Engine, limits: Limits = Limits()
    ) -> None:
        self.built = built
        self.goal = built.lower(procedures.goal)
        self._engine = engine
        self._limits = limits
        self.full = built.system
        names = taught_moves(built, procedures)
        self.taught = replace(
            self.full,
            moves=tuple(m for m in self.full.moves if m.kind in UNATTENDED or m.name in names),
        )
        self._stepper = Stepper(self.full)
        self._ways: dict[State, Way] = {}
        self.n_searched = 0

    def explore(self, system: System, queries: Sequence[Query]) -> Exploration:
        """Ask the engine, within the limits."""
        return self._engine.explore(system, queries, self._limits)

    def way(self, state: State) -> Way:
        """The way to the goal from a state of the built system."""
        if state not in self._ways:
            way = self._search(self.taught, state, taught=True)
            if not way.found:
                way = self._search(self.full, state, taught=False)
            self.n_searched += 1
            self._ways[state] = way
            if way.found and way.taught:
                self._keep_rests(state, way)
        return self._ways[state]

    def _keep_rests(self, state: State, way: Way) -> None:
        """What is left of a shortest way is a shortest way from every state on it."""
        n_actions = way.n_actions
        for number, name in enumerate(way.moves, 1):
            move = self.full.move(name)
            state = self._stepper.after(state, move)
            n_actions -= move.kind not in UNATTENDED
            self._ways.setdefault(state, Way(True, way.moves[number:], n_actions))

    def _search(self, system: System, state: State, taught: bool) -> Way:
        there = starting_in(system, state)
        answer = self.explore(there, [Reach(self.goal)]).answers[0]
        if not answer.found or answer.witness is None:
            return Way(answer.found, taught=taught)
        moves = tuple(step.move for step in answer.witness.steps)
        n_actions = sum(system.move(name).kind not in UNATTENDED for name in moves)
        return Way(True, moves, n_actions, taught)


def starting_in(system: System, state: State) -> System:
    """The same system with another initial state."""
    variables = tuple(
        replace(variable, initial=value)
        for variable, value in zip(system.variables, state, strict=True)
    )
    return replace(system, variables=variables)


def taught_moves(built: Built, procedures: Procedures) -> set[str]:
    """Moves that the conversions name, and those that let go of a control."""
    found: set[str] = set()
    for procedure in procedures.procedures.values():
        if procedure.abnormal:
            continue
        for step in procedure.steps:
            found.update(name for action in step.actions for name in action.moves)
            if step.hold is not None:
                found.add(step.hold.press)
    for move in built.model.moves:
        if built.model.machines[move.machine].released == move.target:
            found.add(move.name)
    return found


def calm(built: Built) -> Expr:
    """After a scan, every control let go, and nothing owed by the plant."""
    conditions = [ex.eq(ex.var(PHASE), ex.const(0))]
    for name, machine in built.model.machines.items():
        if machine.is_control and machine.released is not None:
            conditions.append(ex.eq(ex.var(name), ex.const(machine.released)))
    conditions += [
        not_(move.fair)
        for move in built.system.moves
        if move.kind in (MoveKind.PLANT, MoveKind.TIMER) and move.fair is not None
    ]
    return and_(*conditions)
