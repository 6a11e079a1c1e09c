"""The faults of a model file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.base.errors import nearest
from interlock.model.fault import Effect, Fault
from interlock.model.fault_kinds import BY_VALUE, FaultKind, Site, kinds_at
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
        *words, last = BY_VALUE
        said = f"{', '.join(words)} or {last}"
        mistakes.add(place, f"{id_}: 'stuck' is missing: {said}")
    if shape.stuck and not (shape.sensor or shape.output):
        mistakes.add(place, f"{id_}: 'stuck' needs a 'sensor' or an 'output'")
    for kind in kinds_at(Site.MACHINE):
        if kind.only_in and getattr(shape, kind.only_in) and getattr(shape, kind.key) is None:
            mistakes.add(place, f"{id_}: '{kind.only_in}' needs a '{kind.key}'")
    _check_controllers(names, id_, shape)
    if shape.rate is not None and shape.probability is not None:
        mistakes.add(place, f"{id_}: give a 'rate' or a 'probability', not both")
    if (shape.rate or shape.probability) and not (shape.source or shape.assumed):
        mistakes.add(place, f"{id_}: a figure needs its 'source', or 'assumed: true'")
    effects = tuple(_effects(names, shape, path))
    _check_effects(names, id_, shape, effects)
    return Fault(
        id=id_,
        says=shape.says,
        effects=effects,
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


def _check_controllers(names: Names, id_: str, shape: FaultShape) -> None:
    """Which controllers a fault sits at, where there are several."""
    path: Path = ("faults", id_)
    sits = any(getattr(shape, kind.key) for kind in kinds_at(Site.CONTROLLER))
    several = names.shape.controllers
    if several and sits and not shape.controllers:
        said = f"{id_}: say at which of the controllers: 'controllers: [{', '.join(several)}]'"
        names.mistakes.add(names.document.key_place(path), said)
    if shape.controllers and not sits:
        keys = " or ".join(f"'{kind.key}'" for kind in kinds_at(Site.CONTROLLER))
        names.mistakes.add(
            names.document.key_place((*path, "controllers")), f"{id_}: 'controllers' needs {keys}"
        )
    for number, name in enumerate(shape.controllers):
        names.known(name, several, (*path, "controllers", number), "a controller")


def _check_effects(names: Names, id_: str, shape: FaultShape, effects: Sequence[Effect]) -> None:
    path: Path = ("faults", id_)
    held = [effect.kind for effect in effects if effect.kind.shows is not None]
    is_known = bool(held) and all(kind.constant is not None for kind in held)
    if shape.injectable and not (is_known or any(effect.kind.restarts for effect in effects)):
        said = "only what a fault does to signals, outputs or the supply can be injected"
        names.mistakes.add(names.document.place((*path, "injectable")), f"{id_}: {said}")
    for kind in dict.fromkeys(effect.kind for effect in effects if not effect.kind.may_clear):
        if shape.intermittent:
            said = f"{id_}: what is called '{kind.name}' never clears by itself"
            names.mistakes.add(names.document.place((*path, "intermittent")), said)


def _effects(names: Names, shape: FaultShape, path: Path) -> Iterator[Effect]:
    """What the fault does, as the program and the plant spell the names."""
    for site, known in ((Site.SIGNAL, names.inputs), (Site.OUTPUT, names.outputs)):
        given = dict(getattr(shape, f"{site.value}s"))
        one = getattr(shape, site.value)
        if one and shape.stuck:
            given[one] = shape.stuck
        for name, word in _declared(names, given, known, path, site.value).items():
            yield Effect(BY_VALUE[word], site, name)
    for kind in kinds_at(Site.MACHINE):
        name = getattr(shape, kind.key)
        if name and names.known(name, names.shape.plant, (*path, kind.key), "a machine"):
            yield Effect(kind, Site.MACHINE, name, tuple(_states(names, shape, kind, path)))
    for kind in kinds_at(Site.CONTROLLER):
        if getattr(shape, kind.key):
            for name in shape.controllers or ([] if names.shape.controllers else [""]):
                yield Effect(kind, Site.CONTROLLER, name)


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


def _states(names: Names, shape: FaultShape, kind: FaultKind, path: Path) -> Iterator[int]:
    if kind.only_in is None:
        return
    machine = names.machines[getattr(shape, kind.key)]
    known = {state.casefold(): number for number, state in enumerate(machine.states)}
    for number, state in enumerate(getattr(shape, kind.only_in)):
        if state.casefold() in known:
            yield known[state.casefold()]
        else:
            said = f"'{state}' is not a state{nearest(state, machine.states)}"
            names.mistakes.add(names.document.place((*path, kind.only_in, number)), said)
