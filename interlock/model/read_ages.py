"""How old the signals of a model file may be when the program reads them."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from interlock.base.errors import nearest
from interlock.model.names import Names
from interlock.model.schema_fields import MAX_AGE
from interlock.model.yaml import Path
from interlock.st.types import BOOL

_SCANS = re.compile(r"([0-9]{1,9}) +scans?")


def read_ages(names: Names, shared: Collection[str] = ()) -> dict[str, tuple[int, str]]:
    """How many scans old each late signal may be and what brings it, by its casefolded name.

    What is wrong with an age, or with what is said to have one, is noted.

    Parameters
    ----------
    names : Names
    shared : collection of str
        Casefolded names of signals that several controllers read.
    """
    inputs = {name.casefold(): type_ for name, type_ in names.inputs.items()}
    reading = {name.casefold() for name in names.read_by_sensors}
    found: dict[str, tuple[int, str]] = {}
    for name, bus, n_scans, path in _given(names):
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


def _given(names: Names) -> Iterator[tuple[str, str, int, Path]]:
    """Each sensor that is given an age: by which bus, the age, and where it is given."""
    for name, sensor in names.shape.sensors.items():
        path: Path = ("sensors", name, "age")
        n_scans = None if sensor.age is None else _scans(names, sensor.age, path)
        if n_scans is not None:
            yield name, "", n_scans, path
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
