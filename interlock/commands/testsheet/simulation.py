"""A fast simulation for planning a sheet; what a sheet claims is measured on another machine.

People are slower than scans and than the timers of the program: after each of their actions the
controller scans, and its timers run out in the order of their times, until all that comes is
known. That is a state in which nothing changes any more, or a round of states that repeats for
ever, as where a lamp flashes. A round stands for all its states: what a person does may come in
any of them, so an action is planned only where it leads to the same round from each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from interlock.commands.testsheet.goals import FLASHES, TRIED, Force, Program, signals_under
from interlock.commands.testsheet.side_by_side import SideBySide
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State, python_function
from interlock.kernel.system import Move, MoveKind, Origin, Role
from interlock.model.build import Built
from interlock.st.layout import top_of

# Scans until a program repeats itself, besides those that its counted timers take.
MOST_SCANS = 400
# How often a timer may run out until the timers repeat themselves.
MOST_WAITS = 200
_NOTHING = Force(())


class Simulation:
    """The moves of a built model and its program, compiled.

    A situation is known by the least state of its round. Where a method gives None, what follows
    depends on the moment, or is too long to tell.

    Parameters
    ----------
    built : Built
        Without faults.
    program : Program
    """

    def __init__(self, built: Built, program: Program) -> None:
        self.built, self.program = built, program
        system = built.system
        self.system = system
        self.moves: list[Move] = [m for m in system.moves if m.kind in TRIED]
        self.inputs = list(program.signals)
        self.index = dict(system.index)
        for number, name in enumerate(self.inputs):
            self.index[name] = len(system.variables) + number
        updates = {n: e for n, e in program.lowered.updates.items() if n in system.index}
        self._targets = [system.index[name] for name in updates]
        self._scan = python_function(list(updates.values()), self.index)
        self._guards = python_function([m.guard for m in self.moves], system.index)
        plant = [m.guard for m in self.moves if m.kind is MoveKind.PLANT]
        self._may_move = python_function([ex.or_(*plant)], system.index)
        self._calm: dict[tuple[State, Force], bool] = {}
        timers = [m for m in system.moves if m.kind is MoveKind.TIMER]
        self._due = python_function([m.guard for m in timers], system.index)
        declared = program.lowered.program.instances
        presets = {Origin.elapse(i.name): i.preset_ms for i in declared}
        self._timers = [(m, presets[m.origin]) for m in timers if m.origin is not None]
        tops = [top_of(i, program.lowered.settings) for i in declared if i.preset_ms]
        self._most_scans = MOST_SCANS + 4 * sum(tops)
        self._updates = {
            m.name: (
                [system.index[n] for n in m.updates],
                python_function(list(m.updates.values()), system.index),
            )
            for m in (*self.moves, *timers)
        }
        self._turns = [system.index[name] for name in system.turns]
        self._read = {_NOTHING: self._signals_fn(_NOTHING)}
        # Where no signal reads an output, signals stay as they are until something moves.
        read = set(ex.variables_of(list(program.signals.values())))
        self._is_echoed = bool(read & set(program.outputs))
        self._last_read: tuple[State, tuple[int, ...]] = ((), ())
        self._rounds: dict[tuple[State, Force], tuple[State, ...]] = {}
        self.side_by_side = SideBySide(system, program, self._timers)
        self._set_places()

    def _set_places(self) -> None:
        """Where outputs and memory stand in a state."""
        system, program = self.system, self.program
        self._input_places = {
            name.removeprefix("input."): number for number, name in enumerate(self.inputs)
        }
        self.output_places = {n: system.index[n] for n in program.outputs if n in system.index}
        self._memory = [
            (system.index[v.name], v.initial)
            for v in system.variables
            if v.role in (Role.OUTPUT, Role.MEMORY, Role.TIMER)
        ]
        self._remembered = [system.index[v.name] for v in system.variables if v.role is Role.MEMORY]
        self._retained = [
            system.index[n] for n in sorted(program.lowered.retained) if n in system.index
        ]

    def _signals_fn(self, force: Force) -> Callable[[State], tuple[int, ...]]:
        read = signals_under(self.program, force)
        return python_function([read[name] for name in self.inputs], self.system.index)

    def signals(self, state: State, force: Force = _NOTHING) -> tuple[int, ...]:
        """What every input reads in `state`."""
        if not force.outputs:
            if self._last_read[0] != state:
                self._last_read = (state, self._read[_NOTHING](state))
            if not force.signals:
                return self._last_read[1]
            seen = list(self._last_read[1])
            for name, value in force.signals:
                seen[self._input_places[name]] = value
            return tuple(seen)
        if force not in self._read:
            self._read[force] = self._signals_fn(force)
        values: tuple[int, ...] = self._read[force](state)
        return values

    def _scanned(self, state: State, force: Force, seen: tuple[int, ...] | None) -> State:
        """The state after one scan; `seen` is what the inputs read, where that is known."""
        after = list(state)
        found = self._scan((*state, *(seen or self.signals(state, force))))
        for place, value in zip(self._targets, found, strict=True):
            after[place] = value
        for place in self._turns:
            after[place] = 0
        return tuple(after)

    def _moved(self, state: State, move: Move) -> State:
        """The state that a move of the plant, a person or a timer leads to."""
        places, function = self._updates[move.name]
        after = list(state)
        for place, value in zip(places, function(state), strict=True):
            after[place] = value
        return tuple(after)

    # Coming to rest.

    def _settled(self, states: Iterable[State], force: Force = _NOTHING) -> State | None:
        """The situation that all of `states` come to with unchanged inputs."""
        found: set[State] = set()
        for state in states:
            rest = self._rest(state, force)
            if rest is None:
                return None
            least = min(rest)
            if len(rest) > 1:
                self._rounds[least, force] = tuple(sorted(rest))
            found.add(least)
        return found.pop() if len(found) == 1 else None

    def _rest(self, state: State, force: Force) -> frozenset[State] | None:
        """What repeats for ever once timers have run out; at least one scan is made."""
        left: dict[int, int] = {}
        known: dict[tuple[frozenset[State], tuple[tuple[int, int], ...]], int] = {}
        rounds: list[frozenset[State]] = []
        seen = None if self._is_echoed else self.signals(state, force)
        first = self._scanned(state, force, seen)
        if first == state and not any(self._due(state)):
            return frozenset({state})
        coming = {first}
        for _ in range(MOST_WAITS):
            found = [self._repeating(state, force, seen, left) for state in sorted(coming)]
            if found[0] is None or any(other != found[0] for other in found):
                return None
            round_, left = found[0]
            if not left:
                return round_
            key = (round_, tuple(sorted(left.items())))
            if key in known:
                return frozenset().union(*rounds[known[key] :])
            known[key] = len(rounds)
            rounds.append(round_)
            soonest = min(left.values())
            ended = [n for n, ms in left.items() if ms == soonest]
            left = {n: ms - soonest for n, ms in left.items() if ms > soonest}
            coming = {self._scanned(self._ended(s, ended), force, seen) for s in round_}
        return None

    def _repeating(
        self, state: State, force: Force, seen: tuple[int, ...] | None, left: dict[int, int]
    ) -> tuple[frozenset[State], dict[int, int]] | None:
        """The states that repeat while no timer runs out, and what is left of those that run.

        Parameters
        ----------
        left : dict of int to int
            Milliseconds that the running timers still take; scans take none.
        """
        numbers: dict[State, int] = {}
        trail: list[State] = []
        while state not in numbers:
            if len(trail) >= self._most_scans:
                return None
            numbers[state] = len(trail)
            trail.append(state)
            left = self._left(state, left)
            state = self._scanned(state, force, seen)
        round_ = trail[numbers[state] :]
        for again in round_:
            left = {n: ms for n, ms in self._left(again, left).items() if n in left}
        return frozenset(round_), left

    def _left(self, state: State, left: dict[int, int]) -> dict[int, int]:
        """What is left of every timer that runs in `state`; one that just started has all of it."""
        due = self._due(state)
        return {n: left.get(n, self._timers[n][1]) for n, now in enumerate(due) if now}

    def _ended(self, state: State, timers: list[int]) -> State:
        for number in timers:
            state = self._moved(state, self._timers[number][0])
        return state

    # Situations.

    def start(self) -> State | None:
        """Power-up, come to rest."""
        return self._settled([self.system.initial])

    def states(self, situation: State, force: Force = _NOTHING) -> tuple[State, ...]:
        """Every state of a situation; one where nothing changes any more."""
        if not self._rounds:
            return (situation,)
        return self._rounds.get((situation, force), (situation,))

    def _settled_each(self, states: Sequence[State], forces: Sequence[Force]) -> list[State | None]:
        """As `_settled` of each state under its force."""
        if not states:
            return []
        found = self.side_by_side.rests(states, forces)
        return [
            self._settled([state], force) if rest is None else rest
            for rest, state, force in zip(found, states, forces, strict=True)
        ]

    def made_each(self, situation: State) -> list[tuple[Move, State | None]]:
        """Every move that is `possible`, with the situation that it is `made` to."""
        moves = self.possible(situation)
        if len(self.states(situation)) > 1:
            return [(move, self.made(situation, move)) for move in moves]
        after = [self._moved(situation, move) for move in moves]
        return list(zip(moves, self._settled_each(after, [_NOTHING] * len(after)), strict=True))

    def made(self, situation: State, move: Move) -> State | None:
        """The situation after a move; it may come in every state in which it is possible."""
        number = self.moves.index(move)
        states = [s for s in self.states(situation) if self._guards(s)[number]]
        return self._settled([self._moved(state, move) for state in states])

    def held(self, situation: State, force: Force) -> State | None:
        """The situation while `force` lasts."""
        states = self.states(situation)
        if force.restart:
            states = tuple(self._restarted(state) for state in states)
        return self._settled(states, force)

    def held_each(self, pairs: Sequence[tuple[State, Force]]) -> list[State | None]:
        """The situation that each pair of a situation and a force leads to: as `held`."""
        states = [self.states(situation) for situation, _ in pairs]
        dipped: dict[State, State] = {}
        alone: list[tuple[State, Force]] = []
        for (situation, force), here in zip(pairs, states, strict=True):
            if len(here) == 1 and force.restart:
                start = dipped.get(situation) or self._restarted(situation)
                alone.append((dipped.setdefault(situation, start), force))
            elif len(here) == 1:
                alone.append((situation, force))
        settled = iter(self._settled_each([s for s, _ in alone], [f for _, f in alone]))
        return [
            next(settled) if len(here) == 1 else self.held(situation, force)
            for (situation, force), here in zip(pairs, states, strict=True)
        ]

    def let_go(self, situation: State, force: Force) -> State | None:
        """The situation after what was held in it is let go."""
        return self._settled(self.states(situation, force))

    def restarted(self, situation: State) -> State | None:
        """The situation after the supply dipped: what is not RETAIN starts anew."""
        return self._settled([self._restarted(state) for state in self.states(situation)])

    def cold_started(self, situation: State) -> State | None:
        """The situation after the controller was started with all its memory cleared."""
        states = self.states(situation)
        return self._settled([self._with(state, self._memory) for state in states])

    def possible(self, situation: State) -> list[Move]:
        """The moves of plant and people that can be made in a situation."""
        found = [self._guards(state) for state in self.states(situation)]
        return [m for m, now in zip(self.moves, zip(*found, strict=True), strict=True) if any(now)]

    def is_calm(self, situation: State, force: Force = _NOTHING) -> bool:
        """Whether nothing of the plant moves by itself."""
        at = situation, force
        found = self._calm.get(at)
        if found is None:
            found = not any(self._may_move(state)[0] for state in self.states(*at))
            self._calm[at] = found
        return found

    def outputs(self, situation: State, force: Force = _NOTHING) -> dict[str, int]:
        """The outputs as they reach lamps and valves; `FLASHES` for what keeps changing."""
        held = dict(force.outputs)
        states = self.states(situation, force)
        if len(states) == 1:
            return {n: situation[place] for n, place in self.output_places.items()} | held
        found = {}
        for name, place in self.output_places.items():
            values = {held.get(name, state[place]) for state in states}
            found[name] = values.pop() if len(values) == 1 else FLASHES
        return found

    def differing_each(self, pairs: Sequence[tuple[State, Force]]) -> list[dict[str, int] | None]:
        """The outputs that are otherwise in each situation under its force, with their values.

        None where what follows depends on the moment, or is too long to tell.
        """
        found: list[dict[str, int] | None] = [None] * len(pairs)
        # With memory lost first, or outputs held, what is seen is not what the program changes.
        plain = [
            number
            for number, (situation, force) in enumerate(pairs)
            if not force.restart and not force.outputs and len(self.states(situation)) == 1
        ]
        if plain:
            states, forces = zip(*(pairs[number] for number in plain), strict=True)
            told = self.side_by_side.changed_outputs(states, forces)
            for number, changed in zip(plain, told, strict=True):
                found[number] = changed
        left = [number for number, changed in enumerate(found) if changed is None]
        held = self.held_each([pairs[number] for number in left])
        for number, there in zip(left, held, strict=True):
            situation, force = pairs[number]
            if there is not None:
                before, seen = self.outputs(situation), self.outputs(there, force)
                found[number] = {n: value for n, value in seen.items() if value != before[n]}
        return found

    def _restarted(self, state: State) -> State:
        kept = set(self._retained)
        return self._with(state, [(p, v) for p, v in self._memory if p not in kept])

    @staticmethod
    def _with(state: State, values: list[tuple[int, int]]) -> State:
        after = list(state)
        for place, value in values:
            after[place] = value
        return tuple(after)

    def retained(self, situation: State) -> frozenset[tuple[int, ...]]:
        """What the controller keeps over a restart, in each state of a situation."""
        return self._parts(situation, self._retained)

    def memory(self, situation: State) -> frozenset[tuple[int, ...]]:
        """What the program remembers besides outputs and timers, in each state of a situation."""
        return self._parts(situation, self._remembered)

    def _parts(self, situation: State, places: list[int]) -> frozenset[tuple[int, ...]]:
        states = self.states(situation)
        return frozenset(tuple(state[place] for place in places) for state in states)
