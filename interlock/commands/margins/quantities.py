"""What can have another value in a model with time: durations, timers, delays, scans, bounds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.base.errors import Place
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.system import MoveKind
from interlock.model import patterns
from interlock.model.bound import Bound
from interlock.model.controller import Controller
from interlock.model.model import Delay, Duration, Model, ModelMove, Output, Sensor, Statement
from interlock.model.read_ages import by_its_delay
from interlock.model.schema_fields import MAX_AGE
from interlock.model.timing import (
    MOST_UNITS,
    Spacing,
    Timing,
    ms_of,
    scans_of_delay,
    with_spacing,
)
from interlock.st.blocks import TIMERS
from interlock.st.typed import Instance, Program

# A quantity is tried up to so many times its value, and at least so many units beyond it.
FARTHEST, FEWEST_STEPS = 4, 8


@dataclass(frozen=True)
class Quantity:
    """A time of a model that can be given another value.

    Attributes
    ----------
    what : str
        Whose time it is.
    which : str
        Which of its times: the least, the greatest, the preset one, or the key of a bound.
    value_ms : Fraction
        As the model has it.
    n_down, n_up : int
        So many units less, or more, can be tried.
    why_down, why_up : str
        Why no more than these are tried.
    place : Place
    other : callable
        The model with another value, in milliseconds.
    requirement : str
        The only requirement that depends on it; empty where any may.
    """

    what: str
    which: str
    value_ms: Fraction
    n_down: int
    n_up: int
    why_down: str
    why_up: str
    place: Place
    other: Callable[[Fraction], Model]
    requirement: str = ""

    @property
    def name(self) -> str:
        """It in words."""
        return f"{self.what}: {self.which}"


def quantities_of(model: Model) -> list[Quantity]:
    """All that can be given another value, in the order of the model.

    Raises
    ------
    ValueError
        For a model without time.
    """
    if model.timing is None:
        raise ValueError("a model without time has nothing of this sort")
    found = [*_of_moves(model), *_of_timers(model), *_of_delays(model)]
    found += [*_of_delays_in_scans(model, model.timing), *_of_scans(model, model.timing)]
    return [*found, *_of_bounds(model)]


@dataclass(frozen=True)
class _Room:
    """How far a value may go, in milliseconds; None where nothing but the trying ends it."""

    least_ms: Fraction
    why_least: str
    greatest_ms: Fraction | None = None
    why_greatest: str = ""


_FROM_NOTHING = _Room(Fraction(0), "no time at all")


def _quantity(
    model: Model,
    what: str,
    which: str,
    value_ms: Fraction,
    room: _Room,
    place: Place,
    other: Callable[[Fraction], Model],
    requirement: str = "",
) -> Quantity:
    assert model.timing is not None
    unit_ms = model.timing.unit_ms
    n_down = max(0, math.floor((value_ms - room.least_ms) / unit_ms))
    n_up = max(FEWEST_STEPS, math.ceil((FARTHEST - 1) * value_ms / unit_ms))
    n_up = max(0, min(n_up, MOST_UNITS - math.ceil(value_ms / unit_ms)))
    why_up = "tried no further"
    if room.greatest_ms is not None:
        most = max(0, math.floor((room.greatest_ms - value_ms) / unit_ms))
        n_up, why_up = (most, room.why_greatest) if most <= n_up else (n_up, why_up)
    return Quantity(
        what, which, value_ms, n_down, n_up, room.why_least, why_up, place, other, requirement
    )


def _of_moves(model: Model) -> Iterator[Quantity]:
    entries: dict[tuple[Place, str], list[ModelMove]] = {}
    for move in model.moves:
        # What a quantity takes from step to step follows from its rates, all at once.
        if move.takes is not None and model.machines[move.machine].bands is None:
            # An entry with several states to come from is several moves with one duration.
            entries.setdefault((move.place, move.machine), []).append(move)
    for moves in entries.values():
        yield from _of_entry(model, moves)


def _of_entry(model: Model, moves: list[ModelMove]) -> Iterator[Quantity]:
    move, takes = moves[0], moves[0].takes
    assert takes is not None
    names = {one.name for one in moves}
    least, greatest = ms_of(takes.least), ms_of(takes.greatest)
    what = move.says or move.name

    def with_times(least_ms: Fraction, greatest_ms: Fraction) -> Model:
        both = float(least_ms / 1000), float(greatest_ms / 1000)
        given = Duration(*both, None, assumed=True, goes_on=takes.goes_on)
        return replace(
            model,
            moves=tuple(replace(m, takes=given) if m.name in names else m for m in model.moves),
        )

    if move.kind is not MoveKind.PLANT:
        # What people do takes its least time and is never owed.
        yield _quantity(
            model, what, "least", least, _FROM_NOTHING, move.place,
            lambda ms: with_times(ms, max(ms, greatest)),
        )  # fmt: skip
    elif least == greatest:
        yield _quantity(
            model, what, "duration", least, _FROM_NOTHING, move.place,
            lambda ms: with_times(ms, ms),
        )  # fmt: skip
    else:
        up_to = replace(_FROM_NOTHING, greatest_ms=greatest, why_greatest="its greatest")
        yield _quantity(
            model, what, "least", least, up_to, move.place, lambda ms: with_times(ms, greatest)
        )
        yield _quantity(
            model, what, "greatest", greatest, _Room(least, "its least"), move.place,
            lambda ms: with_times(least, ms),
        )  # fmt: skip


def _of_timers(model: Model) -> Iterator[Quantity]:
    for one in model.controllers:
        for instance in one.program.instances:
            # One that varies is computed; one without a preset time is up at once, by another
            # meaning.
            if instance.block not in TIMERS or instance.varies or not instance.preset_ms:
                continue

            def other(ms: Fraction, one: Controller = one, changed: Instance = instance) -> Model:
                instances = tuple(
                    replace(i, preset_ms=int(ms)) if i.name == changed.name else i
                    for i in one.program.instances
                )
                return _with_program(model, one, replace(one.program, instances=instances))

            room, value = _Room(Fraction(1), "a timer has a time"), Fraction(instance.preset_ms)
            what = f"timer {one.inside(instance.name)}"
            yield _quantity(model, what, "preset time", value, room, instance.place, other)


def _with_program(model: Model, changed: Controller, program: Program) -> Model:
    """The model with another program of one of its controllers."""
    if not model.several:
        return replace(model, program=program)
    several = (replace(o, program=program) if o is changed else o for o in model.several)
    return replace(model, several=tuple(several))


def _of_delays_in_scans(model: Model, timing: Timing) -> Iterator[Quantity]:
    """Of delays that are counted in scans: so many as they last for at most."""
    for one in model.controllers:
        period_ms = timing.spacing(one.name).least_ms
        room = _Room(
            Fraction(1), "a delay in scans is some", Fraction(MAX_AGE * period_ms), _MOST_LATE
        )
        for sensor, delay in _delayed_in_scans(model, one):

            def other(
                ms: Fraction, sensor: Sensor = sensor, delay: Delay = delay, every: int = period_ms
            ) -> Model:
                given = replace(delay, ms=float(ms))
                aged = replace(
                    sensor,
                    delay=given,
                    age=scans_of_delay(given.ms, every),
                    bus=by_its_delay(given.ms),
                )
                return replace(model, sensors={**model.sensors, sensor.name: aged})

            value = Fraction(str(delay.ms))
            yield _quantity(model, sensor.name, "delay", value, room, delay.place, other)


def _delayed_in_scans(model: Model, one: Controller) -> Iterator[tuple[Sensor, Delay]]:
    """The signals of a controller whose delay is counted in scans."""
    for name in one.inputs:
        sensor = model.sensors.get(name)
        delay = None if sensor is None else sensor.delay
        if sensor is not None and delay is not None and delay.in_scans:
            yield sensor, delay


_MOST_LATE = f"a signal is late by {MAX_AGE} scans at most"


def _of_delays(model: Model) -> Iterator[Quantity]:
    for sensor in model.late_sensors:
        if not sensor.age and sensor.delay is not None:

            def read(delay: Delay, one: Sensor = sensor) -> Model:
                sensors = {**model.sensors, one.name: replace(one, delay=delay)}
                return replace(model, sensors=sensors)

            yield _of_delay(model, sensor.name, sensor.delay, read)
    for output in model.delayed_outputs:
        if output.delay is not None:

            def effected(delay: Delay, one: Output = output) -> Model:
                outputs = {**model.outputs, one.name: replace(one, delay=delay)}
                return replace(model, outputs=outputs)

            yield _of_delay(model, output.name, output.delay, effected)


def _of_delay(model: Model, name: str, delay: Delay, given: Callable[[Delay], Model]) -> Quantity:
    def other(ms: Fraction) -> Model:
        return given(replace(delay, ms=float(ms), in_time=ms > 0))

    value = Fraction(str(delay.ms))
    return _quantity(model, name, "delay", value, _FROM_NOTHING, delay.place, other)


def _of_scans(model: Model, timing: Timing) -> Iterator[Quantity]:
    for one in model.controllers:
        yield from _of_the_scans_of(model, timing, one)


def _of_the_scans_of(model: Model, timing: Timing, one: Controller) -> Iterator[Quantity]:
    spacing = timing.spacing(one.name)
    least, greatest = Fraction(spacing.least_ms), Fraction(spacing.greatest_ms)
    what = f"from scan to scan of {one.name}" if one.name else "from scan to scan"
    room = _Room(Fraction(1), "a scan takes time")
    # A delay in scans is so many as it lasts for at most, and no signal is more than MAX_AGE late.
    aged = list(_delayed_in_scans(model, one))
    longest = max((Fraction(str(delay.ms)) for _, delay in aged), default=Fraction(0))
    if longest / MAX_AGE > 1:
        room = _Room(longest / MAX_AGE, _MOST_LATE)

    def with_times(least_ms: Fraction, greatest_ms: Fraction) -> Model:
        given = Spacing(one.name, int(least_ms), int(greatest_ms))
        ages = {
            s.name: replace(s, age=scans_of_delay(delay.ms, given.least_ms)) for s, delay in aged
        }
        times = with_spacing(timing, given)
        return replace(model, timing=times, sensors={**model.sensors, **ages})

    if least == greatest:
        yield _quantity(
            model, what, "duration", least, room, timing.place, lambda ms: with_times(ms, ms)
        )
        return
    up_to = replace(room, greatest_ms=greatest, why_greatest="its greatest")
    yield _quantity(
        model, what, "least", least, up_to, timing.place, lambda ms: with_times(ms, greatest)
    )
    down_to = _Room(least, "its least")
    yield _quantity(
        model, what, "greatest", greatest, down_to, timing.place, lambda ms: with_times(least, ms)
    )


def _of_bounds(model: Model) -> Iterator[Quantity]:
    for statement in model.statements.values():
        bound = statement.within
        if bound is None or bound.counted is not MoveKind.TIME or bound.ms is None:
            continue
        row = PATTERNS[statement.pattern]
        room = _Room(Fraction(1), "it asks for some time") if row.is_least else _FROM_NOTHING
        key = patterns.PATTERNS[statement.pattern].bound.replace("_", " ")

        def other(ms: Fraction, statement: Statement = statement) -> Model:
            return with_bound(model, statement.id, ms)

        yield _quantity(
            model, statement.id, key, Fraction(str(bound.ms)), room, statement.place, other,
            statement.id,
        )  # fmt: skip


def with_bound(model: Model, requirement: str, ms: Fraction) -> Model:
    """The model with another bound in time of a requirement that has one."""
    assert model.timing is not None
    statement = model.statements[requirement]
    is_least = PATTERNS[statement.pattern].is_least
    bound = Bound.of_time(ms, model.timing.unit_ms, is_least, f"{float(ms):g} ms")
    return replace(
        model, statements={**model.statements, requirement: replace(statement, within=bound)}
    )
