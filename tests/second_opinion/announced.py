"""Whether harm that one fault does alone was told of before it: the third answer of the opinion.

Slow and obvious: every run is followed move by move as long as nothing tells, on the graph of all
states; what a machine without any fault shows is looked up in a list of its states.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass
from functools import cached_property, partial

from interlock.kernel.requirement import Pattern
from interlock.model.model import Model, Statement
from tests.second_opinion.opinion import ARITHMETIC, Watched, lost_for_ever, opinions_of
from tests.second_opinion.reached import Reached, reach
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import SCAN, Act, Class, Kind, State

SCANS_OF_POWER_UP = 8


@dataclass(frozen=True)
class Announced:
    """What one fault does alone.

    Attributes
    ----------
    harms : dict of str to bool
        For each requirement that it breaks, whether that was always told of before.
    by_memory_alone : int
        How many of them would be told of if what machines without a fault show did not matter.
    is_latent : bool
    """

    harms: dict[str, bool]
    by_memory_alone: int
    is_latent: bool


def announced(
    model: Model, fault: str, missed: Callable[[str], Container[str]], most: int | None = None
) -> Announced:
    """What is thought of a fault that strikes alone.

    Parameters
    ----------
    model : Model
    fault : str
    missed : callable
        For a requirement, the outputs whose absence is part of its harm.
    most : int, optional
        As for `reach`.
    """
    reached = with_notes(model, reach(world_of(model, Class((fault,), 1)), most))
    telling, harms, by_memory_alone = Telling(model, reached), {}, 0
    for id_, opinion in opinions_of(model, reached).items():
        if opinion.sets != {frozenset({fault})}:
            continue
        statement = model.statements.get(id_)
        assert statement is not None or id_ == ARITHMETIC
        silent, before = (
            _in_silence(reached, statement, partial(telling.tells, missed(id_), compared))
            for compared in (True, False)
        )
        harms[id_] = not silent
        by_memory_alone += silent and not before
    return Announced(harms, by_memory_alone, telling.is_latent(model.faults[fault].restart))


def with_notes(model: Model, reached: Reached) -> Reached:
    """The same, each state with the alarms that a restart since the last scan is to bring on."""
    telling, found = Telling(model, reached), Reached(reached.world)
    numbers = {(0, frozenset[str]()): 0}
    for number, noted in (todo := list(numbers)):
        after = []
        for act, target in reached.after[number]:
            notes = noted if act != SCAN else frozenset[str]()
            if act.kind is Kind.STRIKE:
                notes = frozenset(telling.by_restart(act, number))
            new = target, notes
            if new not in numbers:
                numbers[new] = len(numbers)
                todo.append(new)
            after.append((act, numbers[new]))
        found.states.append(reached.states[number]._replace(noted=noted))
        found.truths.append(reached.truths[number])
        found.signals.append(reached.signals[number])
        found.owed.append(reached.owed[number])
        found.is_broken.append(reached.is_broken[number])
        found.after.append(after)
    return found


class Telling:
    """What tells of a fault in each state that is reached."""

    def __init__(self, model: Model, reached: Reached) -> None:
        self._reached = reached
        self._world = reached.world
        self._lamps = {
            declared.name: model.outputs[declared.name].announces
            for declared in model.program.variables
            if declared.name in model.outputs and str(declared.type) == "BOOL"
        }
        self._known: dict[tuple[Act, int], dict[str, bool]] = {}

    def tells(self, missed: Container[str], compared: bool, act: Act, number: int) -> bool:
        """Whether what happens in a state tells of the fault; a restart does with the next scan.

        Parameters
        ----------
        missed : container of str
            Outputs whose absence tells nothing.
        compared : bool
            Whether it matters what a machine without a fault shows.
        act : Act
        number : int
            Of the state.
        """
        return act == SCAN and any(
            is_told or not compared
            for name, is_told in self._differing(act, number).items()
            if self._lamps[name] or name not in missed
        )

    def is_latent(self, restarts: bool) -> bool:
        """Whether nothing ever tells; a restart is told of by alarms alone."""
        return not any(
            is_told and (self._lamps[name] or not restarts)
            for number, after in enumerate(self._reached.after)
            for act in {act for act, _ in after}
            for name, is_told in self._differing(act, number).items()
        )

    def _differing(self, act: Act, number: int) -> dict[str, bool]:
        """The alarms that come, the others that stay away, each with whether that counts."""
        if (act, number) not in self._known:
            state = self._reached.states[number]
            self._known[act, number] = {
                name: self._counts(name, state.places) for name in self._different(act, number)
            }
        return self._known[act, number]

    def _different(self, act: Act, number: int) -> Iterator[str]:
        state = self._reached.states[number]
        if act == SCAN:
            seen = self._after_scan(state)
            without = self._after_scan(state._replace(in_force=(False,) * len(state.in_force)))
            for name, announces in self._lamps.items():
                is_noted = name in state.noted and seen[name]
                if is_noted or (seen[name] == announces and without[name] != announces):
                    yield name
        elif act.kind is Kind.STRIKE:
            yield from self.by_restart(act, number)

    def by_restart(self, strike: Act, number: int) -> Iterator[str]:
        """The alarms that the next scan brings on for what a strike takes of the memory."""
        state = self._reached.states[number]
        struck = next(n for a, n in self._reached.after[number] if a == strike)
        memory = self._reached.states[struck].memory
        seen, without = self._after_scan(state._replace(memory=memory)), self._after_scan(state)
        for name, announces in self._lamps.items():
            if announces and seen[name] and not without[name]:
                yield name

    def _after_scan(self, state: State) -> dict[str, int]:
        scanned = self._world.scanned(state, self._world.truth(state))
        return self._world.truth(state._replace(memory=scanned.memory))

    def _counts(self, name: str, places: tuple[int, ...]) -> bool:
        here = [shown for at, shown in self._without_a_fault if at == places]
        shown = here or [shown for _, shown in self._without_a_fault]
        return any(one[name] != self._lamps[name] for one in shown)

    @cached_property
    def _without_a_fault(self) -> list[tuple[tuple[int, ...], dict[str, int]]]:
        """The places and the next scan of each state that no fault led to, powered up."""
        found, todo = {(0, 0)}, [(0, 0)]
        while todo:
            number, n_scans = todo.pop()
            for act, target in self._reached.after[number]:
                new = target, min(SCANS_OF_POWER_UP, n_scans + (act == SCAN))
                if act.kind is not Kind.STRIKE and new not in found:
                    found.add(new)
                    todo.append(new)
        states = [self._reached.states[n] for n, scans in found if scans == SCANS_OF_POWER_UP]
        return [(state.places, self._after_scan(state)) for state in states]


def _in_silence(
    reached: Reached, statement: Statement | None, tells: Callable[[Act, int], bool]
) -> bool:
    """Whether a requirement is violated on a run on which nothing tells before the last move."""
    if statement is None or statement.pattern is Pattern.CAN_STILL:
        bad = _broken(reached) if statement is None else lost_for_ever(reached, statement)
        silent, beyond = _followed(reached.after, list(range(len(reached.states))), tells)
        return not bad.isdisjoint(silent | beyond)
    watched = Watched(reached, statement)
    at = [node.state for node in watched.nodes]
    silent, beyond = _followed(watched.after, at, tells)
    if not set(watched.violated).isdisjoint(silent | beyond):
        return True
    # An endless wait is told of where anything tells on it, so those are looked for that stay.
    quiet = [
        [(act, to) for act, to in after if not tells(act, at[number])]
        for number, after in enumerate(watched.after)
    ]
    return bool(watched.waiting_in_vain(quiet, silent))


def _broken(reached: Reached) -> set[int]:
    return {number for number, is_broken in enumerate(reached.is_broken) if is_broken}


def _followed(
    after: list[list[tuple[Act, int]]], at: list[int], tells: Callable[[Act, int], bool]
) -> tuple[set[int], set[int]]:
    """What is reached before anything tells, and what the first move that does leads to."""
    silent, beyond, todo = {0}, set(), [0]
    while todo:
        number = todo.pop()
        for act, target in after[number]:
            if tells(act, at[number]):
                beyond.add(target)
            elif target not in silent:
                silent.add(target)
                todo.append(target)
    return silent, beyond
