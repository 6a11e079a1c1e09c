"""The states of a model, and what can happen in each.

A state is plain: where the machines are, what the controller remembers, how many moves were made
since the last scan, which faults are in force and which have ever struck, and what is held by
those that freeze something.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from interlock.kernel.system import MoveKind
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import Site
from interlock.model.model import Formula, Model, ModelMove
from interlock.st import typed
from tests.second_opinion.delayed import Delays, Felt
from tests.second_opinion.expressions import Function, Values, function_of
from tests.second_opinion.program import Controller, Scanned


class State(NamedTuple):
    """One state.

    Attributes
    ----------
    places : tuple of int
        State of each machine and control.
    memory : tuple of int
        Of the controller, its outputs included.
    moves : int
        Moves since the last scan, or 1 for any of them where they are not counted; one more than
        can be where something else happened after it.
    in_force, struck : tuple of bool
        For each fault of the class: now, and ever.
    held : tuple of int
        For each thing that a fault can freeze: what was seen at the strike; 0 without one.
    left : tuple of int
        For each machine and control: how often it may move yet before the next scan; 0 where
        nobody asks.
    ages : tuple of int
        Where time passes: for how long each thing that takes time has been under way.
    given : tuple of tuple of frozenset of int
        For each signal with an age, for the last scans, the latest first: all that its sensor gave
        from the reading of that scan to the reading of the next.
    late : tuple of bool
        For each of them: the next scan reads it as it was.
    felt : tuple of Felt
        For each output that is felt later than it is given: what is known of it.
    noted : frozenset of str
        What somebody who follows the runs has written down.
    """

    places: tuple[int, ...]
    memory: tuple[int, ...]
    moves: int
    in_force: tuple[bool, ...]
    struck: tuple[bool, ...]
    held: tuple[int, ...]
    left: tuple[int, ...]
    ages: tuple[int, ...] = ()
    given: tuple[tuple[frozenset[int], ...], ...] = ()
    late: tuple[bool, ...] = ()
    felt: tuple[Felt, ...] = ()
    noted: frozenset[str] = frozenset()


class Kind(Enum):
    """What sort of thing happens."""

    SCAN = "scan"
    MOVE = "move"
    TIMER = "timer"
    STRIKE = "strike"
    CLEARING = "clearing"
    TICK = "tick"
    LATE = "late"
    FELT = "felt"
    FELT_AGAIN = "felt again"
    STAY = "stay"


class Act(NamedTuple):
    """Something that can happen; `name` is that of the move, timer, fault or signal."""

    kind: Kind
    name: str


SCAN = Act(Kind.SCAN, "")
TICK = Act(Kind.TICK, "")
COUNTS = ["one", "two", "three", "four", "five", "six", "seven", "eight"]
UNBIDDEN = (Kind.STRIKE, Kind.CLEARING, Kind.LATE, Kind.FELT_AGAIN)


@dataclass(frozen=True)
class Class:
    """Which faults may strike, how many of them in one run, and whether people err."""

    faults: tuple[str, ...] = ()
    at_most: int | None = 0
    human: bool = False


class Meaning(NamedTuple):
    """What a kind of fault does, said a second time.

    Attributes
    ----------
    shown : callable or None
        What is shown, by what is given and what was seen at the strike.
    is_kept : bool
        Whether that is remembered.
    """

    shown: Callable[[int, int], int] | None = None
    is_kept: bool = False
    jams: bool = False
    starts_again: bool = False


MEANINGS = {
    "stuck at TRUE": Meaning(lambda given, seen: 1),
    "stuck at FALSE": Meaning(lambda given, seen: 0),
    "frozen": Meaning(lambda given, seen: seen, is_kept=True),
    "jams": Meaning(jams=True),
    "restart": Meaning(starts_again=True),
}
"""By the name of the kind; nothing else of it is read here."""


class _Kept(NamedTuple):
    """Something that a fault keeps as it was seen."""

    fault: int
    site: Site
    name: str


class _Move(NamedTuple):
    """A move with everything looked up."""

    act: Act
    machine: int
    source: int | None
    target: int
    when: Function
    also: list[tuple[int, Function]]
    is_owed: bool


class World:
    """A model in a class of runs.

    Attributes
    ----------
    first : State
        Power-up: a scan is due.
    owed : list of Act
        What happens in the end where its own condition stays true.
    timed : set of str
        The moves that take no turn: those whose durations say when they come, and of controls
        that bounce.
    chance : set of str
        The moves that may happen and need not, which nobody brings about.
    due : int
        What `State.moves` is where a scan has to come next.
    """

    def __init__(self, model: Model, run_class: Class) -> None:
        self._model = model
        self._class = run_class
        self._controller = Controller(model.program, model.settings)
        self._delays_of = Delays(model)
        self._machines = list(model.machines)
        self.faults = [fault for fault in model.live_faults if fault.id in run_class.faults]
        self._terms: dict[str, Function] = {}
        for name in model.terms:
            # A term may use one that is written below it, so it is looked up when it is used.
            self._terms[name] = self._term(name)
        self._reads = {name: self.function(s.reads) for name, s in model.sensors.items()}
        self._kept = [
            _Kept(number, effect.site, effect.name)
            for number, fault in enumerate(self.faults)
            for effect in fault.effects
            if MEANINGS[effect.kind.name].is_kept
        ]
        self._moves = [self._looked_up(move) for move in self._possible_moves()]
        self.timed = {m.name for m in model.moves if m.bounces or (model.timing and m.takes)}
        self.chance = {m.name for m in model.moves if m.may}
        between = str(model.between_scans)
        counted = re.fullmatch("(.*) in all", between)
        self._is_counted = counted is not None
        self.due = COUNTS.index(counted[1]) + 1 if counted else 2
        self._left = tuple(
            _moves_in_a_scan(model, name) if between == "each once" else 0
            for name in self._machines
        )
        self._scans: dict[tuple[tuple[int, ...], tuple[int, ...]], Scanned] = {}
        self.owed = [move.act for move in self._moves if move.is_owed]
        self.owed += [Act(Kind.TIMER, name) for name in self._controller.free_timers]
        self.first = State(
            tuple(machine.initial for machine in model.machines.values()),
            self._controller.first,
            self.due,
            (False,) * len(self.faults),
            (False,) * len(self.faults),
            (0,) * len(self._kept),
            self._left,
        )
        self._aged = [(s.name, s.age) for s in model.sensors.values() if s.age]
        self._in_time: set[str] = set()
        for s in model.sensors.values():
            if model.timing is not None and s.delay is not None and s.delay.in_time:
                # What was given in this unit of time, and in as many before as it reaches back.
                back = math.ceil(Fraction(str(s.delay.ms)) / model.timing.unit_ms)
                self._aged.append((s.name, back + 1))
                self._in_time.add(s.name)
        self.owed += [Act(Kind.FELT, name) for name in self._delays_of.units]
        self.first = self.first._replace(felt=self._delays_of.first(self.given(self.first)))
        begun = self.signals(self.first, self.truth(self.first))
        self.first = self.first._replace(
            given=tuple((frozenset([begun[name]]),) for name, _ in self._aged),
            late=(False,) * len(self._aged),
        )

    def function(self, formula: Formula | None, default: int = 1) -> Function:
        """The function of what `truth`, or truth and signals, say."""
        return self.function_of_tree(None if formula is None else formula.tree, default)

    def function_of_tree(self, tree: typed.Expression | None, default: int = 1) -> Function:
        """As `function`, of a part of a formula."""
        return (lambda values: default) if tree is None else function_of(tree, self._terms)

    def _term(self, name: str) -> Function:
        known: list[Function] = []

        def value(values: Values) -> int:
            if not known:
                known.append(self.function(self._model.terms[name]))
            return known[0](values)

        return value

    def _possible_moves(self) -> Iterable[ModelMove]:
        for move in self._model.moves:
            if self._class.human or move.kind is not MoveKind.HUMAN:
                yield move

    def _looked_up(self, move: ModelMove) -> _Move:
        return _Move(
            Act(Kind.MOVE, move.name),
            self._machines.index(move.machine),
            move.source,
            move.target,
            self.function(move.when),
            [(self._machines.index(m), self.function(f)) for m, f in move.also.items()],
            move.kind is MoveKind.PLANT and not move.may,
        )

    # What is there to be seen.

    def truth(self, state: State) -> dict[str, int]:
        """Machines, outputs as they act, and faults."""
        values = dict.fromkeys(self._model.faults, 0)
        values |= zip(self._machines, state.places, strict=True)
        values |= {fault.id: int(on) for fault, on in zip(self.faults, state.in_force, strict=True)}
        return values | self.given(state) | self._delays_of.felt(state.felt)

    def given(self, state: State) -> dict[str, int]:
        """What the outputs give, faults included, whatever is felt of it."""
        return {
            name: self._as_shown(state, Site.OUTPUT, name, self.remembered(state, name))
            for name in self._model.outputs
        }

    def remembered(self, state: State, name: str) -> int:
        """What the controller remembers under `name`."""
        return self._controller.value(state.memory, name)

    def signals(self, state: State, truth: dict[str, int]) -> dict[str, int]:
        """What each sensor says."""
        return {
            name: self._as_shown(state, Site.SIGNAL, name, reads(truth))
            for name, reads in self._reads.items()
        }

    def _as_shown(self, state: State, site: Site, name: str, given: int) -> int:
        """A value under the faults: of those in force the one declared last decides."""
        for number, effect in self._in_force(state):
            meaning = MEANINGS[effect.kind.name]
            if effect.site is site and effect.name == name and meaning.shown is not None:
                kept = _Kept(number, site, name)
                seen = state.held[self._kept.index(kept)] if meaning.is_kept else 0
                given = meaning.shown(given, seen)
        return given

    def _in_force(self, state: State) -> Iterator[tuple[int, Effect]]:
        for number, fault in enumerate(self.faults):
            if state.in_force[number]:
                yield from ((number, effect) for effect in fault.effects)

    def scanned(self, state: State, truth: dict[str, int]) -> Scanned:
        """What a scan makes of the memory."""
        signals = self.read(state, truth)
        key = (state.memory, tuple(signals.values()))
        if key not in self._scans:
            self._scans[key] = self._controller.scan(state.memory, signals)
        return self._scans[key]

    def read(self, state: State, truth: dict[str, int]) -> dict[str, int]:
        """What a scan reads: of a signal that is late the value that its sensor does not give."""
        signals = self.signals(state, truth)
        for (name, _), is_late in zip(self._aged, state.late, strict=True):
            if is_late:
                signals[name] = 1 - signals[name]
        return signals

    # What can happen.

    def owes(self, state: State, truth: dict[str, int]) -> set[Act]:
        """What is owed in `state`: conditions hold, whatever the scan."""
        found = {move.act for move in self._moves if move.is_owed and self._can(move, state, truth)}
        for name in self._controller.free_timers:
            if self._controller.is_running(state.memory, name):
                found.add(Act(Kind.TIMER, name))
        changes = self._delays_of.changes(state.felt)
        return found | {Act(Kind.FELT, name) for name, is_new, _ in changes if is_new}

    def successors(self, state: State, truth: dict[str, int]) -> Iterator[tuple[Act, State]]:
        """Everything that can happen in `state`, with the state it leads to."""
        for act, after in self._acts(state, truth):
            yield act, self._noted(act, state, after)

    def _noted(self, act: Act, before: State, after: State) -> State:
        """The state with what its signals and its outputs give noted in it."""
        if self._delays_of.units:
            after = after._replace(felt=self._delays_of.noted(after.felt, self.given(after)))
        if not self._aged:
            return after
        given = list(after.given)
        if act in (SCAN, TICK):
            read_off = self.signals(before, self.truth(before))
            for number, (name, age) in enumerate(self._aged):
                if (act == TICK) is (name in self._in_time):
                    given[number] = (frozenset([read_off[name]]), *given[number])[:age]
        if act == SCAN:
            after = after._replace(late=(False,) * len(self._aged))
        now = self.signals(after, self.truth(after))
        for number, (name, _) in enumerate(self._aged):
            latest, *earlier = given[number]
            given[number] = (latest | {now[name]}, *earlier)
        late = tuple(
            is_late and (name not in self._in_time or _others(given[number], now[name]))
            for number, ((name, _), is_late) in enumerate(zip(self._aged, after.late, strict=True))
        )
        return after._replace(given=tuple(given), late=late)

    def _acts(self, state: State, truth: dict[str, int]) -> Iterator[tuple[Act, State]]:
        memory = self.scanned(state, truth).memory
        yield SCAN, state._replace(memory=memory, moves=0, left=self._left)
        if state.moves != self.due:
            again = self._is_counted and state.moves < self.due
            moves = state.moves + 1 if again else 1
            for move in self._moves:
                has_a_turn = move.act.name not in self.timed and self._has_a_turn(move, state)
                if has_a_turn and self._can(move, state, truth):
                    places, left = self._moved(move, state, truth), list(state.left)
                    left[move.machine] -= left[move.machine] > 0
                    yield move.act, state._replace(places=places, moves=moves, left=tuple(left))
        # What follows takes no slot; after a scan it makes a state that is no longer that scan's.
        aside = state._replace(moves=state.moves or self.due + 1)
        for move in self._moves:
            if move.act.name in self.timed and self._can(move, state, truth):
                yield move.act, aside._replace(places=self._moved(move, state, truth))
        for name in self._controller.free_timers:
            if self._controller.is_running(state.memory, name):
                memory = self._controller.ended(state.memory, name)
                yield Act(Kind.TIMER, name), aside._replace(memory=memory)
        for number, fault in enumerate(self.faults):
            if state.in_force[number]:
                if fault.intermittent:
                    yield Act(Kind.CLEARING, fault.id), self._cleared(number, aside)
            elif self._may_strike(state, number):
                yield Act(Kind.STRIKE, fault.id), self._struck(number, fault, aside, truth)
        yield from self._delays(aside, truth)

    def _delays(self, state: State, truth: dict[str, int]) -> Iterator[tuple[Act, State]]:
        signals = self.signals(state, truth) if self._aged else {}
        for number, (name, _) in enumerate(self._aged):
            if _others(state.given[number], signals[name]) and not state.late[number]:
                yield Act(Kind.LATE, name), state._replace(late=_with(state.late, number, True))
        for name, is_new, felt in self._delays_of.changes(state.felt):
            kind = Kind.FELT if is_new else Kind.FELT_AGAIN
            yield Act(kind, name), state._replace(felt=felt)

    def _may_strike(self, state: State, number: int) -> bool:
        most = self._class.at_most
        return state.struck[number] or most is None or sum(state.struck) < most

    def _struck(self, number: int, fault: Fault, state: State, truth: dict[str, int]) -> State:
        held = list(state.held)
        signals, given = self.signals(state, truth), self.given(state)
        for place, kept in enumerate(self._kept):
            if kept.fault == number:
                held[place] = (given if kept.site is Site.OUTPUT else signals)[kept.name]
        memory = state.memory
        if any(MEANINGS[effect.kind.name].starts_again for effect in fault.effects):
            memory = self._controller.restarted(memory)
        return state._replace(
            memory=memory,
            in_force=_with(state.in_force, number, True),
            struck=_with(state.struck, number, True),
            held=tuple(held),
        )

    def _cleared(self, number: int, state: State) -> State:
        values = zip(self._kept, state.held, strict=True)
        held = tuple(0 if kept.fault == number else value for kept, value in values)
        return state._replace(in_force=_with(state.in_force, number, False), held=held)

    def _has_a_turn(self, move: _Move, state: State) -> bool:
        return self._left[move.machine] == 0 or state.left[move.machine] > 0

    def _can(self, move: _Move, state: State, truth: dict[str, int]) -> bool:
        here = state.places[move.machine]
        is_there = here != move.target if move.source is None else here == move.source
        return bool(is_there and not self._jammed(move.machine, state) and move.when(truth))

    def _jammed(self, machine: int, state: State) -> bool:
        return any(
            MEANINGS[effect.kind.name].jams
            and effect.name == self._machines[machine]
            and (not effect.states or state.places[machine] in effect.states)
            for _, effect in self._in_force(state)
        )

    def _moved(self, move: _Move, state: State, truth: dict[str, int]) -> tuple[int, ...]:
        places = list(state.places)
        places[move.machine] = move.target
        for other, value in move.also:
            if not self._jammed(other, state):
                places[other] = value(truth)
        return tuple(places)


def _others(given: Iterable[frozenset[int]], now: int) -> bool:
    """Whether another value was given."""
    return any(values - {now} for values in given)


def _with(flags: tuple[bool, ...], number: int, value: bool) -> tuple[bool, ...]:
    return (*flags[:number], value, *flags[number + 1 :])


def _moves_in_a_scan(model: Model, machine: str) -> int:
    """How often a machine may move between two scans; 0 for as often as it likes."""
    own = [m for m in model.moves if m.machine == machine and m.kind is not MoveKind.INPUT]
    own = [m for m in own if not m.bounces and not (model.timing and m.takes)]
    shortest = min((m.takes.least for m in own if m.takes is not None), default=None)
    if shortest is None:
        return 1 if own else 0
    # Moves may end right behind a scan and every `shortest` later, but not at the next scan.
    for n in range(1, 9):
        if Decimal(str(shortest)) * n * 1000 >= model.settings.scan_ms:
            return n
    return 0
