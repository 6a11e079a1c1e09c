"""How old the signals of a model file may be when the program reads them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping

from interlock.base.errors import nearest
from interlock.model.names import Names
from interlock.model.schema_fields import BY_DELAY, MAX_AGE
from interlock.model.timing import scans_of_delay
from interlock.model.yaml import Path
from interlock.st.types import BOOL

_SCANS = re.compile(r"([0-9]{1,9}) +scans?")


def read_ages(
    names: Names, periods: Mapping[str, int], shared: Collection[str] = ()
) -> dict[str, tuple[int, str]]:
    """How many scans old each late signal may be and what brings it, by its casefolded name.

    What is wrong with an age, or with what is said to have one, is noted.

    Parameters
    ----------
    names : Names
    periods : mapping of str to int
        Least milliseconds between two scans of who reads a signal, by its casefolded name.
    shared : collection of str
        Casefolded names of signals that several controllers read.
    """
    inputs = {name.casefold(): type_ for name, type_ in names.inputs.items()}
    reading = {name.casefold() for name in names.read_by_sensors}
    found: dict[str, tuple[int, str]] = {}
    for name, bus, n_scans, path in _given(names, periods):
        folded, said = name.casefold(), ""
        if folded in found:
            said = f"'{name}' has an age already"
        elif folded not in reading:
            said = f"'{name}' reads nothing, so it has any value anyway; an age is for what reads"
        elif n_scans and inputs.get(folded, BOOL) != BOOL:
            said = f"'{name}' is of type {inputs[folded]}; only a BOOL can have an age"
        elif n_scans and folded in shared:
            said = f"several controllers read '{name}', and it comes late to each on its own"
            said += "; give each a sensor of its own, such as NAME." + name
        if said:
            names.mistakes.add(names.document.place(path), said)
        else:
            found[folded] = n_scans, bus
    return found


def _given(names: Names, periods: Mapping[str, int]) -> Iterator[tuple[str, str, int, Path]]:
    """Each sensor that is given an age: by which bus, the age, and where it is given."""
    for name, sensor in names.shape.sensors.items():
        path: Path = ("sensors", name, "age")
        if sensor.age == BY_DELAY:
            n_scans = _scans_of_delay(names, name, periods.get(name.casefold()), path)
            bus = by_its_delay(sensor.delay_ms) if sensor.delay_ms else ""
        else:
            n_scans = None if sensor.age is None else _scans(names, sensor.age, path)
            bus = ""
        if n_scans is not None:
            yield name, bus, n_scans, path
    known = {name.casefold(): name for name in names.shape.sensors}
    for bus, shape in names.shape.buses.items():
        n_scans = _scans(names, shape.age, ("buses", bus, "age"))
        for number, name in enumerate(shape.sensors):
            path = ("buses", bus, "sensors", number)
            if name.casefold() not in known:
                said = f"'{name}' is not a sensor{nearest(name, known.values())}"
                names.mistakes.add(names.document.place(path), said)
            elif n_scans is not None:
                yield name, bus, n_scans, path


def by_its_delay(ms: float) -> str:
    """What brings a signal late whose delay is counted in scans."""
    return f"its delay of {ms:g} ms"


def _scans_of_delay(names: Names, name: str, period_ms: int | None, path: Path) -> int | None:
    """In how many scans a delay is surely over; None where there is none, which is noted.

    What a signal was at the N-th scan before is N periods old at least, so these must not be fewer
    milliseconds than the delay.
    """
    ms, said = names.shape.sensors[name].delay_ms, ""
    if period_ms is None:
        return None  # The program has no such input, which is told where sensors are read.
    n_scans = scans_of_delay(ms or 0, period_ms or 1)
    if not ms:
        said = f"the age of '{name}' is that of its delay, and it has none; give its 'delay_ms'"
    elif not period_ms:
        said = "a delay in scans needs the period of the scan: give 'scan_ms'"
    elif n_scans > MAX_AGE:
        said = f"a delay of {ms:g} ms is {n_scans} scans of {period_ms} ms, and an age can have "
        said += f"{MAX_AGE} at most"
    if said:
        names.mistakes.add(names.document.place(path), said)
        return None
    return n_scans


def _scans(names: Names, age: str, path: Path) -> int | None:
    """An age in scans; None where it is none, which is noted.

    0 has a meaning only where another controller's signals come late unless that is said.
    """
    given = _SCANS.fullmatch(age)
    least = 0 if names.shape.controllers else 1
    if given is not None and least <= int(given[1]) <= MAX_AGE:
        return int(given[1])
    said = f"'{age}' is no age; write '1 scan' to '{MAX_AGE} scans'"
    names.mistakes.add(names.document.place(path), said)
    return None
