"""Which sensor gives each input of a model's controllers, and what their outputs are called.

An input of a name that several programs have is one signal, read by all of them, unless the model
has a sensor for it behind a controller's name: ``left.stop``. An output of a name that several
programs have is called so: ``left.pump`` and ``right.pump``; what becomes of both, a term says.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from interlock.model.controller import Controller
from interlock.model.model import Formula
from interlock.model.names import Mistakes, Names
from interlock.model.reading import names_behind
from interlock.model.schema import ModelShape
from interlock.model.timing import Timing
from interlock.model.yaml import Document
from interlock.st.types import BOOL, EnumType, Type


def wired(
    controllers: Sequence[Controller], document: Document, shape: ModelShape, mistakes: Mistakes
) -> tuple[Controller, ...]:
    """The controllers with the names of their signals and outputs; a single one as it is."""
    if len(controllers) < 2:
        return tuple(controllers)
    given = {name.casefold(): name for name in shape.sensors}
    found = []
    for one in controllers:
        others = [other for other in controllers if other is not one]
        inputs = [v.name for v in one.program.inputs]
        signals = {name: _signal(one, name, given, _has_input(others, name)) for name in inputs}
        outputs = {
            name: one.inside(name) if _has_output(others, name) else name for name in one.written
        }
        found.append(replace(one, signals=signals, outputs=outputs))
    _check_writers(found, document, shape, mistakes)
    _check_connected(found, given, document, mistakes)
    _check_types(found, document, mistakes)
    return tuple(found)


def _signal(one: Controller, name: str, given: dict[str, str], is_shared: bool) -> str:
    own = one.inside(name)
    if own.casefold() in given:
        return given[own.casefold()]
    if name.casefold() in given or not is_shared:
        return given.get(name.casefold(), name)
    return own


def _has_input(controllers: Iterable[Controller], name: str) -> bool:
    folded = name.casefold()
    return any(v.name.casefold() == folded for one in controllers for v in one.program.inputs)


def _has_output(controllers: Iterable[Controller], name: str) -> bool:
    folded = name.casefold()
    return any(n.casefold() == folded for one in controllers for n in _declared_outputs(one))


def _declared_outputs(one: Controller) -> list[str]:
    return [v.name for v in one.program.variables if v.kind == "VAR_OUTPUT"]


def shared_by(controllers: Sequence[Controller]) -> set[str]:
    """Casefolded names of the signals that several controllers read."""
    all_ = [name.casefold() for one in controllers for name in one.inputs]
    return {name for name in all_ if all_.count(name) > 1}


def periods_of(
    controllers: Sequence[Controller], shape: ModelShape, timing: Timing | None
) -> dict[str, int]:
    """Least milliseconds between two scans of who reads each signal, by its casefolded name.

    0 where the model does not say; what is taken elsewhere is no ground for a delay.
    """
    found: dict[str, int] = {}
    for one in controllers:
        given = shape.controllers[one.name].scan_ms if one.name else None
        is_known = given is not None or "scan_ms" in shape.run.model_fields_set
        period = one.settings.scan_ms if timing is None else timing.spacing(one.name).least_ms
        is_known |= timing is not None
        found |= dict.fromkeys(map(str.casefold, one.inputs), period if is_known else 0)
    return found


def usual_age(
    names: Names, controllers: Sequence[Controller], name: str, reads: Formula
) -> tuple[int, str]:
    """How old a signal may be of which nothing is said, and by what it comes.

    What another controller gives is as old as one scan of who reads it: that one latches its inputs
    at the begin of a scan and writes at its end, and in between the other may write, too.
    """
    folded = name.casefold()
    readers = [one for one in controllers if folded in map(str.casefold, one.inputs)]
    read = names_behind(names.terms, reads.tree)
    is_foreign = any(
        other is not reader and read & {output.casefold() for output in other.written}
        for reader in readers
        for other in controllers
    )
    if not is_foreign:
        return 0, ""
    place, says = names.document.key_place(("sensors", name)), ""
    if len(readers) > 1:
        says = f"'{name}' comes from a controller and several read it, each late on its own; "
        says += f"give each a sensor of its own, such as {readers[-1].inside(name)}"
    elif names.inputs.get(name, BOOL) != BOOL:
        says = f"'{name}' comes from another controller, which may be late, and only a BOOL can be;"
        says += " leave 'reads' out, so that it has any value, or say 'age: 0 scans' where their"
        says += " scans never overlap"
    if says:
        names.mistakes.add(place, says)
    return 1, ""


def _check_writers(
    controllers: Sequence[Controller], document: Document, shape: ModelShape, mistakes: Mistakes
) -> None:
    """Each output has one writer, or a term says what becomes of what several write."""
    terms = {name.casefold() for name in shape.terms}
    writers: dict[str, list[Controller]] = {}
    for one in controllers:
        for declared in one.written.values():
            writers.setdefault(declared.name.casefold(), []).append(one)
    for name, those in writers.items():
        declared = next(v for v in those[0].written.values() if v.name.casefold() == name)
        if len(those) < 2 or name in terms or declared.type != BOOL:
            continue
        *first, last = (one.name for one in those)
        either = " OR ".join(f"{one.name}.{declared.name}" for one in those)
        says = (
            f"the output '{declared.name}' is written by {', '.join(first)} and {last}; say in "
            f"'terms' what becomes of it, such as '{declared.name}: {either}'"
        )
        mistakes.add(document.key_place(("controllers", those[-1].name)), says)


def _check_connected(
    controllers: Sequence[Controller],
    given: dict[str, str],
    document: Document,
    mistakes: Mistakes,
) -> None:
    """An input that is called like another's output is given by a sensor, or it is a mistake."""
    for one in controllers:
        others = [other for other in controllers if other is not one]
        for sensor, declared in one.inputs.items():
            if sensor.casefold() not in given and _has_output(others, declared.name):
                says = (
                    f"'{declared.name}' is an input of {one.name} and an output of another "
                    f"controller; if it is that signal, give a sensor '{sensor}' that reads it"
                )
                mistakes.add(document.key_place(("controllers", one.name)), says)


def _check_types(controllers: Sequence[Controller], document: Document, mistakes: Mistakes) -> None:
    """A signal has one type for all who read it, and so has an enumeration of a name."""
    types: dict[str, Type] = {}
    enums: dict[str, EnumType] = {}
    for one in controllers:
        place = document.key_place(("controllers", one.name))
        for sensor, declared in one.inputs.items():
            known = types.setdefault(sensor.casefold(), declared.type)
            if known != declared.type:
                says = f"'{sensor}' is of type {known} for another controller, here {declared.type}"
                mistakes.add(place, f"{says}; give it a sensor '{one.inside(declared.name)}'")
        for variable in one.program.variables:
            if isinstance(variable.type, EnumType):
                type_ = enums.setdefault(variable.type.name.casefold(), variable.type)
                if type_.labels != variable.type.labels:
                    says = f"the type {type_.name} has other values in another controller's program"
                    mistakes.add(place, says)
