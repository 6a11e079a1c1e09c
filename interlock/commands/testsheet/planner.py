"""Planning a sheet: from where one stands to the nearest place where something is still to show.

A first walk looks round: it takes actions at the terminals that show many goals before those that
show few, and goes to the nearest place with one. What it saw on the way is many times what it
needed; from all of that a greedy cover chooses the actions that show most, and a second walk goes
to these places only. Whether a sheet could be shorter is told by bounds, not by hope.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from heapq import heapify, heappop, heappush

from interlock.commands.testsheet.goals import Force, Goal, Kind, lamp_goal, lamps_seen
from interlock.commands.testsheet.sheet import After, Do, Row
from interlock.commands.testsheet.simulation import Simulation
from interlock.commands.testsheet.terminal_actions import TerminalActions
from interlock.kernel.evaluate import State
from interlock.kernel.system import Move, MoveKind
from interlock.model.model import Model

# In places known from the first walk nothing has to be computed again.
MOST_KNOWN_PLACES = 30_000
# From so many places the program is given the chance to forget what an action left behind.
MOST_PLACES_BACK = 150
# Least number of goals that an action must show, whether the plant must be at rest meanwhile, and
# how many places are looked at to find one. What can be shown at rest is.
STAGES = ((8, True, 800), (3, True, 1500), (1, True, 4000), (3, False, 800), (1, False, 4000))
Report = Callable[[int, int], None]


@dataclass(frozen=True)
class _Way:
    """Moves to a place, and the last one of them where that itself is a goal."""

    moves: tuple[Move, ...]
    ends_with_goal: bool


@dataclass
class Planner:
    """Plans the rows.

    Parameters
    ----------
    simulation : Simulation
    goals : sequence of Goal
        Those that are looked for.
    doubtful : sequence of Goal
        Those that are only shown where one comes past; that a lamp flashes is one more of them.
    report : callable, optional
        Told the number of goals shown so far and of all.
    """

    simulation: Simulation
    goals: Sequence[Goal]
    doubtful: Sequence[Goal] = ()
    report: Report | None = None
    rows: list[Row] = field(default_factory=list)

    def __post_init__(self) -> None:
        goals = [*self.goals, *self.doubtful]
        self._todo = {goal.id for goal in self.goals}
        self._n_goals = len(self._todo)
        self.actions = TerminalActions(self.simulation, goals)
        in_passing = {lamp_goal(lamp, "flashing").id for lamp in self.actions.lamps}
        in_passing |= {goal.id for goal in self.doubtful}
        self._move_goals = {goal.subject: goal for goal in goals if goal.kind is Kind.MOVE}
        self._next: dict[State, list[tuple[Move, State]]] = {}
        self._tried: set[tuple[State, Force]] = set()
        # The most goals that an action showed in a situation when it was looked at last. What is
        # wanted and not tried only becomes less, so none shows more there from then on.
        self.most_shown: dict[State, int] = {}
        self._lamps: dict[State, frozenset[str]] = {}
        self._targets: dict[State, set[Force]] | None = None
        self._prepare: list[str] = []
        self._anew = True
        start = self.simulation.start()
        self._depends = start is None
        if start is None:
            self._todo = set()
        # With what is taken where one comes past.
        self._wanted = self._todo | in_passing
        self.state: State = start or ()

    @property
    def _model(self) -> Model:
        return self.simulation.built.model

    def walk(self) -> None:
        """Show what can be shown from where one stands, as far as one looks."""
        self._look_here()
        for least, calm, n_places in STAGES:
            while self._todo:
                self._act_here(least, calm)
                way = self._nearest(least, calm, n_places)
                if way is None:
                    break
                self._go(way)

    def again(self) -> Planner:
        """A second walk, that first goes to the places where a few actions show everything."""
        second = Planner(self.simulation, self.goals, self.doubtful, self.report)
        second.actions, second._next = self.actions, self._next
        second._lamps = self._lamps
        second._targets = self._chosen()
        second._look_here()
        while second._todo:
            second._act_here(1, False)
            way = second._nearest(1, False, MOST_KNOWN_PLACES)
            if way is None:
                break
            second._go(way)
        second._targets = None
        return second

    def _chosen(self) -> dict[State, set[Force]]:
        """Of all actions that were looked at, few that show everything; those at rest first."""
        # Of actions that show the same, only the first can ever be chosen.
        every: dict[tuple[str, ...], tuple[State, Force]] = {}
        calm: dict[tuple[str, ...], tuple[State, Force]] = {}
        for state, force, goals in self.actions.looked_at():
            every.setdefault(goals, (state, force))
            if goals not in calm and self.simulation.is_calm(state):
                calm[goals] = state, force
        chosen: dict[State, set[Force]] = {}
        covered: set[str] = set()
        for candidates in (calm, every):
            by_place = {at: set(goals) for goals, at in candidates.items()}
            for state, force in _cover(by_place, covered):
                chosen.setdefault(state, set()).add(force)
        return chosen

    def begin_anew(self, moves: Sequence[str]) -> bool:
        """Begin at power-up and make `moves`; False, and nothing done, where one is not possible.

        Scans and timers among them come by themselves.
        """
        by_name = {move.name: move for move in self.simulation.moves}
        state = self.simulation.start()
        if state is None:
            return False
        steps: list[str] = []
        for name in moves:
            if name not in by_name:
                continue
            settled = {m.name: s for m, s in self._successors(state)}.get(name)
            if settled is None:
                return False
            steps.append(name)
            state = settled
        self._prepare, self._anew, self.state = steps, True, state
        return True

    @property
    def todo(self) -> frozenset[str]:
        """Ids of the goals that are not shown yet."""
        return frozenset(self._todo)

    def everywhere(self, most: int) -> tuple[dict[str, tuple[str, ...]], bool]:
        """Where what is left can be shown: moves from power-up by goal; whether that is all.

        Parameters
        ----------
        most : int
            From so many situations no further ones are looked at.
        """
        found: dict[str, tuple[str, ...]] = {}
        start = self.simulation.start()
        if start is None:
            return found, False
        ways: dict[State, tuple[str, ...]] = {start: ()}
        queue = [start]
        for state in queue:
            shown = {goal for _, goal in self.actions.shown(state)} | self._lamps_in(state)
            for goal in sorted(shown):
                found.setdefault(goal, ways[state])
            for move, after in self._successors(state):
                if move.name in self._move_goals:
                    found.setdefault(self._move_goals[move.name].id, (*ways[state], move.name))
                if after not in ways and len(ways) < most:
                    ways[after] = (*ways[state], move.name)
                    queue.append(after)
        return found, len(ways) < most and not self.depends

    @property
    def depends(self) -> bool:
        """Whether something that was looked at depends on the moment, or is too long to tell."""
        return self._depends or self.actions.depends

    @property
    def wanted(self) -> frozenset[str]:
        """As `todo`, with what is doubtful."""
        return frozenset(self._wanted)

    def _successors(self, state: State) -> list[tuple[Move, State]]:
        found = self._next.get(state)
        if found is None:
            coming = self.simulation.made_each(state)
            found = [(m, after) for m, after in coming if after is not None]
            # What depends on the moment, or takes too long, is no row of a sheet.
            self._depends |= len(found) < len(coming)
            self._next[state] = found
        return found

    def _gains(self, state: State) -> dict[Force, set[str]]:
        """What each action at the terminals would show in `state` that is not shown yet."""
        gains: dict[Force, set[str]] = {}
        for force, goal in self.actions.shown(state, self._wanted):
            if goal in self._wanted and (state, force) not in self._tried:
                gains.setdefault(force, set()).add(goal)
        self.most_shown[state] = max(map(len, gains.values()), default=0)
        return gains

    def _best(self, state: State, least: int, calm: bool) -> Force | None:
        if self.most_shown.get(state, least) < least or (
            calm and not self.simulation.is_calm(state)
        ):
            return None
        wanted = None if self._targets is None else self._targets.get(state, set())
        gains = {
            f: goals
            for f, goals in (self._gains(state) if wanted is None or wanted else {}).items()
            if len(goals) >= least and (wanted is None or f in wanted)
        }
        if not gains:
            return None
        return max(gains, key=lambda f: (len(gains[f]), f.signals, f.outputs))

    def _is_worth_a_look(self, state: State, least: int, calm: bool) -> bool:
        if self.most_shown.get(state, least) < least:
            return False
        if self._targets is not None and not self._targets.get(state):
            return False
        return not calm or self.simulation.is_calm(state)

    def _look_ahead(self, states: Sequence[State], least: int, calm: bool) -> None:
        """Try at once what actions show in places that are about to be looked at."""
        worth = [s for s in dict.fromkeys(states) if self._is_worth_a_look(s, least, calm)]
        self.actions.look_ahead(worth, self._wanted)

    def _act_here(self, least: int, calm: bool) -> None:
        """Do every action here that shows enough, those that leave things as they are first."""
        while (
            force := self._harmless(least, calm) or self._best(self.state, least, calm)
        ) is not None:
            self._force(force)

    def _harmless(self, least: int, calm: bool) -> Force | None:
        if self._targets is not None:
            return None  # those that were chosen are done in any case
        if calm and not self.simulation.is_calm(self.state):
            return None
        gains = self._gains(self.state)
        for force in sorted(gains, key=lambda f: (-len(gains[f]), f.signals, f.outputs)):
            if len(gains[force]) >= least and self._held(force)[1] == self.state:
                return force
        return None

    def _held(self, force: Force) -> tuple[State | None, State | None]:
        """The situation under `force`, and that after it was let go."""
        held = self.simulation.held(self.state, force)
        return held, None if held is None else self.simulation.let_go(held, force)

    def _after(self, let_go: State) -> tuple[After, State | None]:
        """What has to follow an action, and the situation that this leads to."""
        simulation, before = self.simulation, self.state
        if simulation.retained(let_go) != simulation.retained(before):
            return After.COLD_START, simulation.cold_started(let_go)
        if self._recovers(let_go, simulation.memory(before)):
            return After.RESTORE, let_go
        return After.RESTART, simulation.restarted(let_go)

    def _recovers(self, state: State, memory: frozenset[tuple[int, ...]]) -> bool:
        """Whether a few moves lead to where the program remembers the same again."""
        seen, queue = {state}, [state]
        for found in queue:
            if self.simulation.memory(found) == memory:
                return True
            for _, settled in self._successors(found):
                if settled not in seen and len(seen) < MOST_PLACES_BACK:
                    seen.add(settled)
                    queue.append(settled)
        return False

    def _force(self, force: Force) -> None:
        simulation, before = self.simulation, self.state
        self._tried.add((before, force))
        held, let_go = self._held(force)
        known = self.actions.shown(before, self._wanted)
        shown = {goal for f, goal in known if f == force and goal in self._wanted}
        if not shown or held is None or let_go is None:
            self._depends |= let_go is None
            return
        after, end = self._after(let_go)
        if end is None:
            self._depends = True
            return
        self._done(shown)
        moving = not (simulation.is_calm(before) and simulation.is_calm(held, force))
        self._add(
            do=Do.FORCE,
            force=force,
            after=after,
            in_motion=moving,
        )
        self.state = end

    def _nearest(self, least: int, calm: bool, n_places: int) -> _Way | None:
        """The fewest moves to a place with an action that shows enough, or to a goal's move."""
        parents: dict[State, tuple[State, Move] | None] = {self.state: None}
        queue = [self.state]
        for state in queue:
            successors = self._successors(state)
            self._look_ahead([s for _, s in successors if s not in parents], least, calm)
            for move, settled in successors:
                if self._is_todo(move):
                    return _Way((*self._moves_to(state, parents), move), True)
                if settled in parents:
                    continue
                parents[settled] = (state, move)
                if self._best(settled, least, calm) is not None or self._new_lamp(settled):
                    return _Way(self._moves_to(settled, parents), False)
                if len(parents) >= n_places:
                    return None
                if self._targets is None or settled in self._next:
                    queue.append(settled)
        return None

    def _is_todo(self, move: Move) -> bool:
        goal = self._move_goals.get(move.name)
        return goal is not None and goal.id in self._wanted

    def _moves_to(
        self, state: State, parents: Mapping[State, tuple[State, Move] | None]
    ) -> tuple[Move, ...]:
        moves = []
        while (step := parents[state]) is not None:
            state, move = step
            moves.append(move)
        return tuple(reversed(moves))

    def _go(self, way: _Way) -> None:
        for move in way.moves:
            settled = next(s for m, s in self._successors(self.state) if m is move)
            moving = not self.simulation.is_calm(self.state) and move.kind is not MoveKind.PLANT
            self.state = settled
            if self._is_todo(move):
                self._done({self._move_goals[move.name].id})
                self._add(do=Do.MOVE, move=move.name, in_motion=moving)
            else:
                self._prepare.append(move.name)
        if self._new_lamp(settled):
            self._add(do=Do.LOOK)

    def _look_here(self) -> None:
        """Look at lamps where one stands before anything is done, as at power-up."""
        if self.state and self._new_lamp(self.state):
            self._add(do=Do.LOOK)

    def show_here(self) -> None:
        """Show everything that can be shown where one stands."""
        self._look_here()
        self._act_here(1, False)

    def _new_lamp(self, settled: State) -> bool:
        return not self._wanted.isdisjoint(self._lamps_in(settled))

    def _lamps_in(self, state: State) -> frozenset[str]:
        found = self._lamps.get(state)
        if found is None:
            found = frozenset(lamps_seen(self.simulation.outputs(state), self.actions.lamps))
            self._lamps[state] = found
        return found

    def _done(self, goals: Set[str]) -> None:
        self._todo -= goals
        self._wanted -= goals
        if self.report is not None:
            self.report(self._n_goals - len(self._todo), self._n_goals)

    def _add(self, **given: object) -> None:
        row = Row(len(self.rows) + 1, self._anew, tuple(self._prepare), **given)  # type: ignore[arg-type]
        self.rows.append(row)
        self._prepare, self._anew = [], False
        if row.force is None:
            self._done(self._lamps_in(self.state))


def _cover(
    candidates: Mapping[tuple[State, Force], set[str]], covered: set[str]
) -> Iterator[tuple[State, Force]]:
    """Greedy cover: always the action that shows most of what is not in `covered`, which grows."""
    heap = [(-len(goals - covered), n, at) for n, (at, goals) in enumerate(candidates.items())]
    heapify(heap)
    while heap:
        worth, number, at = heappop(heap)
        new = candidates[at] - covered
        if not new:
            continue
        if -worth > len(new):
            # Worth less than when it was looked at last: it waits for its turn.
            heappush(heap, (-len(new), number, at))
            continue
        covered |= new
        yield at
