"""The independent judge of a comparison: two controllers scan one plant, both interpreted.

The old model is played as it is. The new model's program runs beside it on signals that its own
sensors read off the old plant. Nothing of the lowering or of an engine is used.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from interlock.base.errors import InternalError, Place
from interlock.independent_judge.clocks import Clocks
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.player import Player
from interlock.independent_judge.values import Values
from interlock.kernel.system import MoveKind, Origin
from interlock.model.build import SCAN
from interlock.model.model import Model
from interlock.model.timing import CLOCK, TICK
from interlock.st.evaluate import evaluate_expression
from interlock.st.interpret import Controller


@dataclass(frozen=True)
class Parting:
    """A run after which an output differs.

    Attributes
    ----------
    output : str
        By its name in the old model.
    happenings : tuple of Happening
        What the old model does.
    before, after : int
        The output's value from the old controller and from the new one in the end.
    decided : str
        Place in the new program that changed the output in the last scan, as
        ``controller.st:12``; empty where it kept its value.
    decided_by_old : str
        The same in the old program.
    """

    output: str
    happenings: tuple[Happening, ...]
    before: int
    after: int
    decided: str
    decided_by_old: str = ""


class Lockstep:
    """Two controllers on the old model's plant.

    Parameters
    ----------
    old, new : Model
    counterparts : mapping of str to str
        The new model's name of each output that both have, by the old one's.
    timers : mapping of str to (str or None, str or None)
        Which timers of the old and of the new controller a move lets elapse.
    """

    def __init__(
        self,
        old: Model,
        new: Model,
        counterparts: Mapping[str, str],
        timers: Mapping[str, tuple[str | None, str | None]],
    ) -> None:
        self.player = Player(old)
        self.controller = Controller(new.program, new.settings)
        self._new = new
        self._terms = {name.casefold(): formula for name, formula in new.terms.items()}
        self._counterparts = counterparts
        self._timers = timers
        self._machines = {name.casefold(): name for name in old.machines}
        self._old = old
        # The plant, and the scan, have the old model's time; of the new one's only its timers run.
        self._clocks = Clocks(new)
        self._clocks.go_on("", ())
        self._decided: dict[str, Place] = {}
        self._decided_by_old: dict[str, Place] = {}

    def outputs(self) -> Iterator[tuple[str, int, int]]:
        """Each output that both have, with its value from either controller."""
        ours, theirs = self.player.controller.values(), self.controller.values()
        for name, counterpart in self._counterparts.items():
            yield name, ours[name], theirs[counterpart]

    def decided(self, output: str) -> str:
        """Where the new program changed an output in its last scan; empty where it did not."""
        return _told(self._decided.get(self._counterparts[output]))

    def decided_by_old(self, output: str) -> str:
        """Where the old program changed an output in its last scan; empty where it did not."""
        return _told(self._decided_by_old.get(output))

    def differing(self) -> set[str]:
        """The outputs that differ now."""
        return {name for name, ours, theirs in self.outputs() if ours != theirs}

    def signals(self) -> dict[str, int]:
        """What the new program's inputs read off the old plant."""
        names = Values(self._truth(), self._terms)
        sensors = self._new.sensors.items()
        given = {name: evaluate_expression(sensor.reads.tree, names) for name, sensor in sensors}
        # A signal is late for both, or it comes late in neither model.
        late = {name.casefold() for name in self.player.late()}
        return {n: 1 - value if n.casefold() in late else value for n, value in given.items()}

    def _truth(self) -> dict[str, int]:
        found = {id_.casefold(): 0 for id_ in self._new.faults}
        states = self.player.state()
        for name, machine in self._new.machines.items():
            own = self._machines.get(name.casefold())
            if own is None:
                continue
            label = self._old.machines[own].states[states[own]].casefold()
            folded = [state.casefold() for state in machine.states]
            if label in folded:
                found[name.casefold()] = folded.index(label)
        ours, theirs = self.player.outputs(), self.controller.values()
        driven_by = {new: old for old, new in self._counterparts.items()}
        for name in self._new.outputs:
            old = driven_by.get(name)
            found[name.casefold()] = theirs[name] if old is None else ours[old]
        return found

    def play(self, move: str) -> Happening:
        """Play a move of the plant, of a timer, or the scan of both controllers.

        Raises
        ------
        InternalError
            Where the old model does not allow it.
        """
        happening = self._played(move)
        running = (Origin.elapse(timer).move_name for timer in self.controller.running_timers())
        under_way = [name for name in running if name in self._clocks.names]
        self._clocks.go_on(TICK if move == TICK else "", under_way)
        return happening

    def _played(self, move: str) -> Happening:
        if move == TICK and self._clocks.due():
            raise InternalError(f"lockstep refuses '{move}': a timer of the new program is up")
        if move == SCAN:
            signals = self.signals()
            happening = self.player.play(SCAN)
            result = self.controller.scan(signals)
            self._decided = {d.name: d.place for d in result.decided}
            decided = () if happening.scan is None else happening.scan.decided
            self._decided_by_old = {d.name: d.place for d in decided}
            return happening
        if move not in self._timers:
            return self.player.play(move)
        ours, theirs = self._timers[move]
        try:
            if theirs is not None:
                if not self._clocks.is_ripe(Origin.elapse(theirs).move_name):
                    raise ValueError
                self.controller.elapse(theirs)
        except (KeyError, ValueError):
            raise InternalError(f"lockstep refuses '{move}': no such running timer") from None
        if ours is not None:
            return self.player.play(Origin.elapse(ours).move_name)
        self.player.pass_event()
        return Happening(move, MoveKind.TIMER, f"the time of the new {theirs} is up", ())

    def state(self, prefix: str) -> dict[str, int]:
        """Values by the names of the kernel's variables, the new controller's with a prefix."""
        values = self.player.state()
        values |= {prefix + name: v for name, v in self.controller.values().items()}
        ages = self._clocks.values()
        for timer in self._new.program.instances:
            own = CLOCK + Origin.elapse(timer.name).move_name
            if own in ages:
                values[CLOCK + Origin.elapse(prefix + timer.name).move_name] = ages[own]
        return values


def _told(place: Place | None) -> str:
    if place is None:
        return ""
    return place.short
