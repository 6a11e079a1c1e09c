"""Old values: what a scan reads of signals that come late, each on its own.

``scan.age.<signal>`` counts the scans since the sensor last gave its other value, up to the age
that its signal may have: a change sets it to 0, whatever brought it about, and a scan that changes
nothing adds one; of several controllers a scan of the one that reads it. While it is below the age,
that other value is young enough to be read. That it will be is an event that takes no turn: it sets
``scan.late.<signal>``, and the next scan reads the other value. A BOOL has only one, and when that
was last there decides, however often it came and went.

Of a delay that is counted in time it counts the units that have passed, and goes one beyond those
that the delay may last: both ends of a span of time belong to it. With the unit in which the other
value becomes too old, the signal is late no longer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, lt, not_, xor
from interlock.kernel.system import AGE, BOOL, LATE, Domain, Move, MoveKind, Origin, Role, Variable
from interlock.model.model import Model, Sensor


@dataclass(frozen=True)
class OldValues:
    """The signals of a model that may come late.

    Attributes
    ----------
    model : Model
    signals : mapping of str to Expr
        What every sensor gives, faults included, by casefolded name.
    """

    model: Model
    signals: Mapping[str, Expr]

    @cached_property
    def late(self) -> tuple[Sensor, ...]:
        """The signals that may come late."""
        return self.model.late_sensors

    @cached_property
    def scans(self) -> dict[str, str]:
        """The scan that reads each signal, by the sensor's name."""
        return {name: one.scan for one in self.model.controllers for name in one.inputs}

    @cached_property
    def most(self) -> dict[str, int]:
        """How far is counted for each, by the sensor's name: there the other value is too old."""
        return {s.name: most_counted(self.model, s) for s in self.late}

    def variables(self) -> list[Variable]:
        """How old the other value of each is, and whether it is the one to be read."""
        ages = [Variable(AGE + n, Domain(0, most), most, Role.AGE) for n, most in self.most.items()]
        return ages + [Variable(LATE + s.name, BOOL, 0, Role.AGE) for s in self.late]

    def read(self) -> dict[str, Expr]:
        """What a scan reads of every signal, by casefolded name."""
        late = {s.name.casefold(): ex.var(LATE + s.name) for s in self.late}
        return {n: xor(e, late[n]) if n in late else e for n, e in self.signals.items()}

    def events(self) -> Iterator[Move]:
        """That a signal is late, for each of them."""
        for sensor in self.late:
            young = lt(ex.var(AGE + sensor.name), ex.const(self.most[sensor.name]))
            guard = and_(young, not_(ex.var(LATE + sensor.name)))
            origin, updates = Origin.delay(sensor.name), {LATE + sensor.name: TRUE}
            says = late_in_words(sensor.name)
            name = origin.move_name
            yield Move(name, MoveKind.BUS, guard, updates, None, says, origin, is_chance=True)

    def noting(self, move: Move) -> Move:
        """The move with what it makes of the ages."""
        updates = dict(move.updates)
        for sensor in self.late:
            age, given = ex.var(AGE + sensor.name), self.signals[sensor.name.casefold()]
            (after,) = ex.substitute([given], move.updates)
            most = ex.const(self.most[sensor.name])
            one_more = ex.minimum(ex.add(age, ex.const(1)), most)
            passed, reads = age, move.kind is MoveKind.SCAN and move.name == self.scans[sensor.name]
            if sensor.age and reads:
                passed = one_more
            if not sensor.age and move.kind is MoveKind.TIME:
                passed = one_more
                updates[LATE + sensor.name] = and_(ex.var(LATE + sensor.name), lt(one_more, most))
            if reads:
                updates[LATE + sensor.name] = FALSE
            new = ex.ite(xor(given, after), ex.const(0), passed)
            if new is not age:
                updates[AGE + sensor.name] = new
        return replace(move, updates=updates)


def most_counted(model: Model, sensor: Sensor) -> int:
    """The scans, or the units of time, for which a signal's other value has been gone too long."""
    if sensor.age or sensor.delay is None or model.timing is None:
        return sensor.age
    return model.timing.units_of_delay(sensor.delay.ms) + 1


def late_in_words(signal: str) -> str:
    """What it means that a signal is late."""
    return f"{signal} comes late: the next scan reads its older value"
