"""A bus whose messages may be lost, short for what a model file could say at greater length.

``lost`` names a fault that freezes every signal of the bus; ``valid`` an input of the program that
is a sensor reading ``NOT`` that fault, as late as the bus. Fault and flag may have entries of
their own for what else there is to say: the fault then does what its entry says as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from interlock.base.errors import Place
from interlock.model.fault_kinds import BY_VALUE
from interlock.model.names import Mistakes
from interlock.model.schema import FaultShape, ModelShape
from interlock.model.schema_wired import BusShape, SensorShape
from interlock.model.yaml import Document, Path

_FROZEN = next(word for word, kind in BY_VALUE.items() if kind.holds)


def with_lost_messages(
    document: Document, shape: ModelShape, mistakes: Mistakes
) -> tuple[Document, ModelShape]:
    """A model file with the faults and flags of its buses as entries like any other."""
    written: dict[Path, Path] = {}
    for bus, given in shape.buses.items():
        path: Path = ("buses", bus)
        if given.valid is not None and given.lost is None:
            said = "'valid' needs 'lost': the fault of which it tells"
            mistakes.add(document.place((*path, "valid")), said)
        elif given.lost is not None:
            shape, more = _with_fault(document, shape, bus, given.lost, mistakes)
            written |= more
            if given.valid is not None:
                shape, more = _with_flag(document, shape, bus, given.valid, mistakes)
                written |= more
    return (_Expanded(document, written) if written else document), shape


def _with_fault(
    document: Document, shape: ModelShape, bus: str, lost: str, mistakes: Mistakes
) -> tuple[ModelShape, dict[Path, Path]]:
    """The fault that takes what comes by a bus, and where what is new of it was asked for."""
    at: Path = ("buses", bus, "lost")
    known = shape.faults.get(lost)
    says = f"nothing comes by {bus} any more"
    fault: Any = known or FaultShape(says=says, intermittent=True)
    frozen = dict.fromkeys(shape.buses[bus].sensors, _FROZEN)
    held = {name.casefold() for name in (*fault.sensors, fault.sensor or "")}
    for name in frozen:
        if name.casefold() in held:
            mistakes.add(document.place(at), f"'{lost}' says already how '{name}' is stuck")
    fault = fault.model_copy(update={"sensors": {**fault.sensors, **frozen}})
    where: Path = ("faults", lost)
    new: dict[Path, Path] = {(*where, "sensors", name): at for name in frozen}
    if known is None:
        new[where] = at
    return shape.model_copy(update={"faults": {**shape.faults, lost: fault}}), new


def _with_flag(
    document: Document, shape: ModelShape, bus: str, valid: str, mistakes: Mistakes
) -> tuple[ModelShape, dict[Path, Path]]:
    """The sensor that tells whether what comes by a bus is valid, late as the rest of it."""
    at: Path = ("buses", bus, "valid")
    given: BusShape = shape.buses[bus]
    folded = valid.casefold()
    name = next((name for name in shape.sensors if name.casefold() == folded), valid)
    flag = shape.sensors.get(name, SensorShape(says=f"what comes by {bus} is valid"))
    if flag.reads is not None:
        mistakes.add(document.place(at), f"'{name}' reads something else already")
    if folded in (other.casefold() for other in given.sensors):
        said = f"'{name}' tells of {bus} and cannot be lost with it; leave it out of its 'sensors'"
        mistakes.add(document.place(at), said)
        return shape, {}
    flag = flag.model_copy(update={"reads": f"NOT {given.lost}"})
    new: dict[Path, Path] = {("sensors", name, "reads"): at}
    if name not in shape.sensors:
        new[("sensors", name)] = at
    buses: Mapping[str, BusShape] = shape.buses
    if flag.age is None:
        new[("buses", bus, "sensors", len(given.sensors))] = at
        more = given.model_copy(update={"sensors": [*given.sensors, name]})
        buses = {**buses, bus: more}
    update = {"sensors": {**shape.sensors, name: flag}, "buses": buses}
    return shape.model_copy(update=update), new


class _Expanded(Document):
    """A model file with entries that a short form stands for: their place is that of the form."""

    def __init__(self, own: Document, written: Mapping[Path, Path]) -> None:
        super().__init__(own.file, own.value)
        self._own, self._written = own, written

    def place(self, path: Path, offset: int | None = None) -> Place:
        short = self._short(path)
        return self._own.place(path, offset) if short is None else self._own.place(short)

    def key_place(self, path: Path) -> Place:
        short = self._short(path)
        return self._own.key_place(path) if short is None else self._own.place(short)

    def _short(self, path: Path) -> Path | None:
        parts = (path[:n] for n in range(len(path), 0, -1))
        return next((self._written[part] for part in parts if part in self._written), None)
