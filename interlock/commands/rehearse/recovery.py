"""The way back: shortest runs to the goal from wherever a rehearsal came to a stand.

A way back is judged like every other run: one that violates a requirement, or after which
something that can always still be done cannot be done any more, is no way back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from interlock.commands.rehearse.lasting import Lasting
from interlock.commands.rehearse.successors import UNATTENDED, World
from interlock.commands.rehearse.walk import WalkLimitError
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.expr import Expr, and_, not_
from interlock.kernel.guided import Guided, Guides
from interlock.kernel.query import Engine, Exploration, Limits, Query, Reach
from interlock.kernel.system import PHASE, Move, MoveKind, Stepper, System
from interlock.model.build import Built
from interlock.model.clocks import without_clocks
from interlock.model.procedures import Procedures


@dataclass(frozen=True)
class Way:
    """How the goal can be reached from a state.

    Attributes
    ----------
    found : bool or None
        False where everything reachable was looked at; None where a limit was hit before.
    violates : str or None
        Where there is none for that reason alone: the requirement that `moves` violate.
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
    violates: str | None = None


# Where the shortest way violates something, so many states are looked at for one that does not.
MOST_STATES = 20_000


class Recovery:
    """Finds shortest ways to the goal of a file of procedures.

    The actions that the conversions teach, and letting go of controls, are tried first: they keep
    the search small, and they are what a crew knows. Only where they do not lead back, everything
    that the model lets people do is tried, human errors apart.

    Parameters
    ----------
    world : World
        What can happen, and what it violates.
    built : Built
        Without faults and human errors.
    procedures : Procedures
    engine : Engine
    limits : Limits
    """

    def __init__(
        self,
        world: World,
        built: Built,
        procedures: Procedures,
        engine: Engine,
        limits: Limits = Limits(),
    ) -> None:
        self.world = world
        self.built = built
        self.goal = built.lower(procedures.goal)
        self._engine = engine
        self._limits = limits
        self.full = built.system
        names = taught_moves(built, procedures)
        self.taught = replace(
            self.full,
            moves=tuple(
                m
                for m in self.full.moves
                if (m.kind in UNATTENDED and not m.is_chance) or m.name in names
            ),
        )
        self._stepper = Stepper(self.full)
        self._ways: dict[State, Way] = {}
        self._judged: dict[State, Way] = {}
        self._at_goal = python_function([self.goal], world.system.index)
        self.lasting = Lasting(world, self.taught, engine, limits)
        self.n_searched = 0

    def explore(self, system: System, queries: Sequence[Query]) -> Exploration:
        """Ask the engine, within the limits."""
        return self._engine.explore(system, queries, self._limits)

    def way(self, state: State) -> Way:
        """The way to the goal from a state of the world's system.

        What is violated in `state` already counts for no way.
        """
        if state not in self._judged:
            self._judged[state] = self._found(state)
        return self._judged[state]

    def _found(self, state: State) -> Way:
        shortest = self._shortest(self.world.bare(state))
        if not shortest.found:
            return shortest
        try:
            violated = self._violated(state, shortest.moves)
            if violated is None:
                return shortest
            kept = self._kept(state, taught=True) or self._kept(state, taught=False)
        except WalkLimitError:
            return Way(None)
        return kept or replace(shortest, found=False, violates=violated)

    def _violated(self, state: State, moves: Sequence[str]) -> str | None:
        """What a run violates; None where that is nothing."""
        already = set(self.world.broken(state))
        states = self.world.play(moves, state)
        for after in states[1:]:
            new = [id_ for id_ in self.world.broken(after) if id_ not in already]
            if new:
                return new[0]
        lost = self.lasting.lost(states[-1])
        return None if lost is None else lost.requirement.id

    def start(self, condition: Expr) -> tuple[str, ...] | None:
        """The fewest moves from power-up to `condition` on which nothing is violated.

        Raises
        ------
        WalkLimitError
            Where there are too many states.
        """
        there = python_function([condition], self.world.system.index)
        begin = self.world.system.initial
        way = self._kept(begin, True, there) or self._kept(begin, False, there)
        return None if way is None else way.moves

    def _kept(
        self, state: State, taught: bool, there: Callable[[State], tuple[int, ...]] | None = None
    ) -> Way | None:
        """The fewest moves to the goal on which nothing is violated, looked for state by state.

        Raises
        ------
        WalkLimitError
            Where there are too many states.
        """
        there = there or self._at_goal
        already = set(self.world.broken(state))
        names = {move.name for move in (self.taught if taught else self.full).moves}
        before: dict[State, tuple[State, Move] | None] = {state: None}
        queue = [state]
        for here in queue:
            if there(here)[0] and self.lasting.lost(here) is None:
                moves = _moves_to(here, before)
                n_actions = sum(move.kind not in UNATTENDED for move in moves)
                return Way(True, tuple(move.name for move in moves), n_actions, taught)
            for move, after in self._following(here, names):
                if after not in before and already.issuperset(self.world.broken(after)):
                    if len(before) >= MOST_STATES:
                        raise WalkLimitError(f"states {MOST_STATES:,}")
                    before[after] = (here, move)
                    queue.append(after)
        return None

    def _following(self, state: State, names: set[str]) -> Iterator[tuple[Move, State]]:
        for move, after in self.world.stepper.successors(state):
            if move.name in names:
                yield move, after

    def _shortest(self, state: State) -> Way:
        """The way of the fewest moves, whatever it violates, from a state of the built system."""
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

    @cached_property
    def _guide(self) -> Guided | None:
        """Ways by what is taught, from wherever that leads to: most stands are such states."""
        if not isinstance(self._engine, Guides):
            return None
        return self._engine.guide(self.taught, self.goal, self._limits)

    def _search(self, system: System, state: State, taught: bool) -> Way:
        answer = self._guide.way(state) if taught and self._guide is not None else None
        if answer is None:
            there = system.starting_in(state)
            answer = self.explore(there, [Reach(self.goal)]).answers[0]
        if not answer.found or answer.witness is None:
            return Way(answer.found, taught=taught)
        moves = tuple(step.move for step in answer.witness.steps)
        n_actions = sum(system.move(name).kind not in UNATTENDED for name in moves)
        return Way(True, moves, n_actions, taught)


def _moves_to(state: State, before: Mapping[State, tuple[State, Move] | None]) -> tuple[Move, ...]:
    moves = []
    while (step := before[state]) is not None:
        state, move = step
        moves.append(move)
    return tuple(reversed(moves))


def taught_moves(built: Built, procedures: Procedures) -> set[str]:
    """Moves that the conversions name, and those that let go of a control."""
    found: set[str] = set()
    for procedure in procedures.procedures.values():
        if procedure.abnormal:
            continue
        for step in procedure.steps:
            found.update(name for action in step.actions for name in action.moves)
            found.update(hold.press for hold in step.holds)
    for move in built.model.moves:
        if built.model.machines[move.machine].released == move.target:
            found.add(move.name)
    return found


def calm(built: Built) -> Expr:
    """After a scan, every control let go, and nothing owed by the plant, nor under way."""
    conditions = [ex.eq(ex.var(PHASE), ex.const(0))]
    for name, machine in built.model.machines.items():
        if machine.is_control and machine.released is not None:
            conditions.append(ex.eq(ex.var(name), ex.const(machine.released)))
    conditions += [
        not_(move.fair)
        for move in without_clocks(built.system).moves
        if move.kind in (MoveKind.PLANT, MoveKind.TIMER) and move.fair is not None
    ]
    return and_(*conditions)
