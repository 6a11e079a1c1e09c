"""The faults of a model file."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.base.errors import nearest
from interlock.model.model import Fault
from interlock.model.names import Names
from interlock.model.schema import FaultShape
from interlock.model.yaml import Path
from interlock.st.types import BOOL, Type


def read_faults(names: Names) -> dict[str, Fault]:
    """Every declared fault; what is wrong with one is noted."""
    return {id_: _fault(names, id_, shape) for id_, shape in names.shape.faults.items()}


def _fault(names: Names, id_: str, shape: FaultShape) -> Fault:
    path: Path = ("faults", id_)
    mistakes = names.mistakes
    place = names.document.key_place(path)
    if (shape.sensor or shape.output) and shape.stuck is None:
        mistakes.add(place, f"{id_}: 'stuck' is missing: TRUE, FALSE or frozen")
    if shape.stuck and not (shape.sensor or shape.output):
        mistakes.add(place, f"{id_}: 'stuck' needs a 'sensor' or an 'output'")
    if shape.jams_in and shape.machine is None:
        mistakes.add(place, f"{id_}: 'jams_in' needs a 'machine'")
    if shape.injectable and not (_holds_something(shape) or shape.restart):
        at = names.document.place((*path, "injectable"))
        said = "only what a fault does to signals, outputs or the supply can be injected"
        mistakes.add(at, f"{id_}: {said}")
    if shape.rate is not None and shape.probability is not None:
        mistakes.add(place, f"{id_}: give a 'rate' or a 'probability', not both")
    if (shape.rate or shape.probability) and not (shape.source or shape.assumed):
        mistakes.add(place, f"{id_}: a figure needs its 'source', or 'assumed: true'")
    sensors: dict[str, str] = dict(shape.sensors)
    outputs: dict[str, str] = dict(shape.outputs)
    if shape.sensor and shape.stuck:
        sensors[shape.sensor] = shape.stuck
    if shape.output and shape.stuck:
        outputs[shape.output] = shape.stuck
    return Fault(
        id=id_,
        says=shape.says,
        sensors=_declared(names, sensors, names.inputs, path, "sensor"),
        outputs=_declared(names, outputs, names.outputs, path, "output"),
        machine=shape.machine,
        jams_in=_jams(names, shape, path),
        restart=shape.restart,
        intermittent=shape.intermittent,
        common_cause=shape.common_cause,
        rate=shape.rate,
        probability=shape.probability,
        exposure_h=shape.exposure_h,
        source=shape.source,
        assumed=shape.assumed,
        excluded=shape.excluded,
        place=place,
        injectable=shape.injectable,
    )


def _holds_something(shape: FaultShape) -> bool:
    """Whether a fault holds a signal or an output at a known value."""
    given = [*shape.sensors.values(), *shape.outputs.values()]
    given += [shape.stuck] if shape.stuck and (shape.sensor or shape.output) else []
    return bool(given) and "frozen" not in given


def _declared(
    names: Names, given: dict[str, str], known: Mapping[str, Type], path: Path, kind: str
) -> dict[str, str]:
    """The given names as the program spells them."""
    declared = {name.casefold(): name for name in known}
    found = {}
    for name, stuck in given.items():
        many = (*path, kind + "s", name)
        place = names.document.place((*path, kind))
        if name in dict(getattr(names.shape.faults[str(path[-1])], kind + "s")):
            place = names.document.key_place(many)
        if name.casefold() in declared:
            spelled = declared[name.casefold()]
            found[spelled] = stuck
            if known[spelled] != BOOL:
                said = f"'{name}' is of type {known[spelled]}; only a BOOL can be stuck"
                names.mistakes.add(place, said)
            continue
        article = "a" if kind == "sensor" else "an"
        near = nearest(name, declared.values())
        names.mistakes.add(place, f"'{name}' is not {article} {kind}{near}")
    return found


def _jams(names: Names, shape: FaultShape, path: Path) -> tuple[int, ...]:
    if shape.machine is None:
        return ()
    if not names.known(shape.machine, names.shape.plant, (*path, "machine"), "a machine"):
        return ()
    machine = names.machines[shape.machine]
    known = {state.casefold(): number for number, state in enumerate(machine.states)}
    found = []
    for number, state in enumerate(shape.jams_in):
        if state.casefold() in known:
            found.append(known[state.casefold()])
        else:
            said = f"'{state}' is not a state{nearest(state, machine.states)}"
            names.mistakes.add(names.document.place((*path, "jams_in", number)), said)
    return tuple(found)
