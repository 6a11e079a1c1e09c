"""The unit of time by which nothing is rounded: the greatest that divides all durations.

Which times are counted only the whole model tells: those of timers that are left when what nothing
reads is gone, of moves that are owed, of signals that come late. So it is read twice, first in so
coarse a unit that no time has too many of them. Whoever rounds a time later on is asked whether
that is one that was found here (`interlock.model.timing`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.base.errors import Place
from interlock.kernel.system import MoveKind
from interlock.model.clocks import spans_of
from interlock.model.durations import GOES_ON
from interlock.model.model import Model
from interlock.model.names import Mistakes
from interlock.model.schema import ModelShape
from interlock.model.schema_fields import BY_DELAY
from interlock.model.schema_time import EXACT
from interlock.model.timing import MOST_UNITS
from interlock.model.yaml import Document

# A year: no time in a model is longer, and none has too many of these units.
_COARSEST_MS = 366 * 86_400_000
_STEPS = (1, 2, 5)


@dataclass(frozen=True)
class CountedTime:
    """A time that is counted in units, with the place that gives it."""

    ms: Fraction
    place: Place


def with_its_unit(
    resolve: Callable[[ModelShape], Model | None],
    document: Document,
    shape: ModelShape,
    mistakes: Mistakes,
) -> Model | None:
    """The model in its unit of time, found first where the model file asks for the exact one.

    Parameters
    ----------
    resolve : callable
        The model of a shape, None where there are mistakes.
    document : Document
    shape : ModelShape
    mistakes : Mistakes
        Why there is no such unit is noted.
    """
    given = shape.run.time
    if given is None or given.unit != EXACT:
        return resolve(shape)
    _check_rounded(document, shape, mistakes)
    coarse = resolve(_in_units(shape, _COARSEST_MS))
    if coarse is None or mistakes.found:
        return None
    unit_ms = _unit_of(list(counted_times(coarse)), document.place(_UNIT), mistakes)
    model = None if unit_ms is None else resolve(_in_units(shape, unit_ms))
    if model is None or model.timing is None:
        return None
    return replace(model, timing=replace(model.timing, is_exact=True))


_UNIT = ("run", "time", "unit")


def counted_times(model: Model) -> Iterator[CountedTime]:
    """Every time that the model counts in units."""
    for _, span in spans_of(model):
        for ms in (span.least_ms, span.greatest_ms):
            if ms:
                yield CountedTime(ms, span.place)
    delays = [signal.delay for signal in model.late_sensors if not signal.age]
    for delay in (*delays, *(output.delay for output in model.delayed_outputs)):
        if delay is not None:
            yield CountedTime(Fraction(str(delay.ms)), delay.place)
    for statement in model.statements.values():
        bound = statement.within
        if bound is not None and bound.ms and bound.counted is MoveKind.TIME:
            yield CountedTime(Fraction(str(bound.ms)), statement.place)


def _in_units(shape: ModelShape, unit_ms: int) -> ModelShape:
    time = shape.run.time
    assert time is not None, "only a model with time has a unit"
    time = time.model_copy(update={"unit": f"{unit_ms} ms"})
    return shape.model_copy(update={"run": shape.run.model_copy(update={"time": time})})


def _check_rounded(document: Document, shape: ModelShape, mistakes: Mistakes) -> None:
    """Note what is rounded in every unit."""
    for name in shape.quantities:
        said = "a quantity takes way / rate for its way, which no unit divides, so 'unit: exact' "
        said += "has no meaning beside it; write a unit such as '100 ms', which rounds outwards"
        mistakes.add(document.key_place(("quantities", name)), said)
    for name, machine in shape.plant.items():
        for number, move in enumerate(machine.moves):
            if move.interrupted == GOES_ON and move.seconds and move.seconds[0] > 0:
                said = (
                    "what goes on counts for up to a unit more with each piece, so 'unit: exact' "
                )
                said += "has no meaning beside it; write a unit such as '10 ms', which is sound"
                mistakes.add(
                    document.key_place(("plant", name, "moves", number, "interrupted")), said
                )
    for name, sensor in shape.sensors.items():
        if sensor.age == BY_DELAY:
            said = "'age: delay' rounds the delay up to whole scans, whatever the unit; leave it "
            said += "out, so that 'delay_ms' is counted, or write a unit in place of 'exact'"
            mistakes.add(document.place(("sensors", name, "age")), said)


def _unit_of(times: list[CountedTime], place: Place, mistakes: Mistakes) -> int | None:
    """The greatest common divisor of all in milliseconds; why there is none is noted."""
    broken = next((one for one in times if one.ms.denominator != 1), None)
    if broken is not None:
        said = (
            f"'unit: exact' counts whole milliseconds, and {float(broken.ms):g} ms are none; give "
            "a whole number of them, or write a unit such as '10 ms', which rounds outwards"
        )
        mistakes.add(broken.place, said)
        return None
    unit_ms = _divisor(times)
    longest = max(times, key=lambda one: one.ms)
    n_units = int(longest.ms / unit_ms)
    if n_units <= MOST_UNITS:
        return unit_ms
    alone = next((t for t in times if _divisor(o for o in times if o.ms != t.ms) > unit_ms), None)
    why = "" if alone is None else f", for {_seconds(alone)} s at {alone.place} alone"
    said = (
        f"'exact' comes to units of {unit_ms} ms{why}, and {_seconds(longest)} s at "
        f"{longest.place} are {n_units:,} of them, where a clock counts up to {MOST_UNITS:,}; "
        f"write a unit such as '{_nice_unit_ms(longest.ms)} ms', which rounds outwards and is sound"
    )
    mistakes.add(place, said)
    return None


def _divisor(times: Iterable[CountedTime]) -> int:
    return math.gcd(*(int(one.ms) for one in times))


def _seconds(one: CountedTime) -> str:
    return f"{float(one.ms) / 1000:.10g}"


def _nice_unit_ms(longest_ms: Fraction) -> int:
    """The least of 1, 2, 5, 10, … ms in which nothing has too many units."""
    power = 1
    while True:
        for step in _STEPS:
            if longest_ms <= MOST_UNITS * step * power:
                return step * power
        power *= 10
