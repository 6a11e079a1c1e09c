"""The built system, the judge's player and the second opinion, walked state by state."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.base.errors import InternalError
from interlock.independent_judge.player import Moment, Player
from interlock.kernel.evaluate import State
from interlock.kernel.system import Event, Origin, Stepper
from interlock.model.build import SCAN, Built, RunClass, build
from interlock.model.model import Model
from interlock.model.timing import TICK
from tests.second_opinion import timed_world
from tests.second_opinion import world as second_opinion
from tests.second_opinion.world import Act, Class, Kind

MOST_STATES = 250


class Walk:
    """The states that the built system reaches, each with the same state of the other two."""

    def __init__(self, model: Model, most: int = MOST_STATES) -> None:
        self.model, self.most = model, most
        self.built: Built = build(model, RunClass(tuple(model.faults), None, human=True))
        self.world = timed_world.world_of(model, Class(tuple(model.faults), None, human=True))
        self.player = Player(model)
        self.stepper = Stepper(self.built.system)
        self.told: set[str] = set()

    def disagreements(self) -> Iterator[str]:
        """Where one of the three says something else, in words."""
        first = self.built.system.initial
        todo: list[tuple[State, Moment, second_opinion.State]] = [
            (first, self.player.moment(), self.world.first)
        ]
        known = {first}
        for state, moment, other in todo:
            yield from self._differing(state, moment, other)
            truth = self.world.truth(other)
            after = {_name(act): found for act, found in self.world.successors(other, truth)}
            possible = {move.name: new for move, new in self.stepper.successors(state)}
            if after.keys() != possible.keys():
                yield f"{state}: {sorted(after.keys() ^ possible.keys())} by one only"
                continue
            for move in self.built.system.moves:
                self.player.go_back(moment)
                if move.name not in possible:
                    yield from self._refused(move.name)
                    continue
                self.told.add(move.name)
                self.player.play(move.name)
                new = possible[move.name]
                if new not in known and len(known) < self.most:
                    known.add(new)
                    todo.append((new, self.player.moment(), after[move.name]))

    def _refused(self, name: str) -> Iterator[str]:
        try:
            self.player.play(name)
        except InternalError:
            return
        yield f"the player makes {name}, the system does not"

    def _differing(
        self, state: State, moment: Moment, other: second_opinion.State
    ) -> Iterator[str]:
        self.player.go_back(moment)
        named, played = self.built.system.named(state), self.player.state()
        if any(played[name] != value for name, value in named.items()):
            yield f"the player: {played}, the system: {named}"
        truth = self.world.truth(other)
        if {name: self.player.truth[name.casefold()] for name in truth} != truth:
            yield f"the second opinion: {truth}, the player: {played}"
        if self.world.signals(other, truth) != self.player.signals():
            yield f"signals in {named}"
        if self.world.read(other, truth) != self.player.as_read():
            yield f"what a scan reads in {named}"


def _name(act: Act) -> str:
    match act.kind:
        case Kind.SCAN:
            return SCAN
        case Kind.STRIKE:
            return Origin.strike(act.name).move_name
        case Kind.CLEARING:
            return Origin.clearing(act.name).move_name
        case Kind.TIMER:
            return Origin.elapse(act.name).move_name
        case Kind.LATE:
            return Origin.delay(act.name).move_name
        case Kind.FELT:
            return Origin(Event.EFFECT, act.name).move_name
        case Kind.FELT_AGAIN:
            return Origin(Event.LAG, act.name).move_name
        case Kind.TICK:
            return TICK
        case _:
            return act.name
