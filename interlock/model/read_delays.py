"""The delays of signals and outputs in a model file."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from interlock.model.model import Delay, Sensor
from interlock.model.names import Names
from interlock.model.schema_fields import BY_DELAY
from interlock.model.schema_wired import OutputShape, SensorShape
from interlock.model.timing import MOST_UNITS, Timing
from interlock.st.types import BOOL


def delay_of(names: Names, section: str, name: str) -> Delay | None:
    """The delay that a signal or an output is given, spelled as it is there; None for none."""
    given: SensorShape | OutputShape = getattr(names.shape, section)[name]
    if given.delay_ms is None:
        return None
    place = names.document.place((section, name, "delay_ms"))
    in_scans = isinstance(given, SensorShape) and given.age == BY_DELAY
    time = names.shape.run.time
    is_counted = time is not None and time.delays == "counted"
    in_time = is_counted and not in_scans and given.delay_ms > 0
    founded = given.delay_source, given.delay_assumed
    return Delay(given.delay_ms, *founded, in_scans, in_time, place)


def check_delays(
    names: Names,
    sensors: Mapping[str, Sensor],
    timing: Timing | None,
    shared: Collection[str] = (),
) -> None:
    """Note every delay without a source, and what cannot be delayed in time.

    Of what is in `shared`, several controllers read a signal of that casefolded name.
    """
    ages = {name.casefold() for name, sensor in sensors.items() if sensor.age}
    inputs = {name.casefold(): type_ for name, type_ in names.inputs.items()}
    outputs = {name.casefold(): type_ for name, type_ in names.outputs.items()}
    for section, types in (("sensors", inputs), ("outputs", outputs)):
        for name, given in getattr(names.shape, section).items():
            if given.delay_ms is None:
                continue
            place = names.document.place((section, name, "delay_ms"))
            if not given.delay_assumed and given.delay_source is None:
                said = "a delay needs its 'delay_source', or 'delay_assumed: true'"
                names.mistakes.add(place, said)
            delay, folded = delay_of(names, section, name), name.casefold()
            if delay is None or not delay.in_time or timing is None:
                continue
            n_units, type_ = timing.units_of_delay(delay.ms), types.get(folded, BOOL)
            said = ""
            if type_ != BOOL:
                said = f"'{name}' is of type {type_}; with 'run: time' only a BOOL can have a delay"
            elif section == "sensors" and given.reads is None:
                said = f"'{name}' reads nothing, so it has any value anyway; leave its delay out"
            elif section == "sensors" and folded in shared:
                said = f"several controllers read '{name}', and it comes late to each on its own; "
                said += f"give each a sensor of its own, such as NAME.{name}"
            elif folded in ages:
                said = f"'{name}' is late by its age, and its delay would come on top of that; "
                said += "count both in scans by its age, or leave one of them out"
            elif n_units >= MOST_UNITS:
                said = f"{delay.ms / 1000:g} s are {n_units:,} units of {timing.unit_ms} ms, and "
                said += f"less than {MOST_UNITS:,} are counted; a greater unit is sound, too"
            if said:
                names.mistakes.add(place, said)
