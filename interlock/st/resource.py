"""Several programs of one task as one program that calls each in turn.

IEC 61131-3 leaves the order of programs of one task to the environment; here it is the order
written. What a configuration connects is given to the program at its call; an input or output that
it leaves open is one of the whole, called by the instance and its name.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from interlock.st import syntax as sx

_OPEN = {"VAR_INPUT": "VAR_INPUT", "VAR_OUTPUT": "VAR_OUTPUT"}


def with_resource(files: Sequence[sx.SourceFile]) -> tuple[tuple[sx.SourceFile, ...], str | None]:
    """The files with one more where they start several programs in one task, and its root.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    """
    instances = [instance for file in files for instance in file.instances]
    units = {unit.name.casefold(): unit for file in files for unit in file.units}
    known = all(i.type_name.casefold() in units for i in instances)
    tasks = {instance.task.casefold() for instance in instances}
    if len(instances) < 2 or not known or len(tasks) != 1:
        return tuple(_with_note(file) for file in files), None
    name = f"{instances[0].task or 'all'}_programs"
    while name.casefold() in units:
        name += "_"
    started = {instance.type_name.casefold() for instance in instances}
    made = tuple(replace(file, units=tuple(_as_types(file.units, started))) for file in files)
    declarations: list[sx.Declaration] = []
    body: list[sx.Statement] = []
    for instance in instances:
        unit = units[instance.type_name.casefold()]
        called, opened = _calls(instance, unit)
        type_ = sx.TypeRef(unit.name, None, None, instance.place)
        own = (sx.Name(instance.name, instance.place),)
        declarations += [sx.Declaration("VAR", False, own, type_, None, instance.place), *opened]
        body += called
    place = instances[0].place
    root = sx.Unit("PROGRAM", name, tuple(declarations), tuple(body), place)
    listed = ", ".join(instance.name for instance in instances)
    note = sx.Note(place, f"the programs of one task run in the order written: {listed}")
    start = sx.ProgramInstance(name, instances[0].task, name, place)
    return (*made, sx.SourceFile(name, (), (root,), (), (), (start,), (note,))), name


def _as_types(units: Sequence[sx.Unit], started: set[str]) -> Iterator[sx.Unit]:
    for unit in units:
        is_type = unit.kind == "PROGRAM" and unit.name.casefold() in started
        yield replace(unit, kind="FUNCTION_BLOCK") if is_type else unit


def _with_note(file: sx.SourceFile) -> sx.SourceFile:
    notes = tuple(
        sx.Note(i.place, f"what is connected to the program {i.name} was read over")
        for i in file.instances
        if i.inputs or i.outputs
    )
    return replace(file, notes=(*file.notes, *notes))


def _calls(
    instance: sx.ProgramInstance, unit: sx.Unit
) -> tuple[list[sx.Statement], list[sx.Declaration]]:
    """The call of a program, and the inputs and outputs that nothing is connected to."""
    given = {argument.name.casefold() for argument in instance.inputs}
    given |= {argument.name.casefold() for argument in instance.outputs}
    inputs, outputs = [*instance.inputs], [*instance.outputs]
    opened = []
    for declaration in unit.declarations:
        for name in declaration.names:
            if declaration.kind not in _OPEN or name.text.casefold() in given:
                continue
            outer = sx.Name(f"{instance.name}_{name.text}", name.place)
            opened.append(replace(declaration, names=(outer,), place=name.place, edge=""))
            if declaration.kind == "VAR_INPUT":
                inputs.append(sx.InputArgument(name.text, outer, instance.place))
            else:
                outputs.append(sx.OutputArgument(name.text, outer, instance.place))
    place = instance.place
    called = sx.Name(instance.name, place)
    both = {
        name.text.casefold()
        for declaration in unit.declarations
        if declaration.kind == "VAR_IN_OUT"
        for name in declaration.names
    }
    # An input is assigned before the call: what is only read is nobody's variable to write.
    before: list[sx.Statement] = [
        sx.Assign(sx.Member(called, argument.name, place), argument.value, place)
        for argument in inputs
        if argument.name.casefold() not in both
    ]
    kept = tuple(argument for argument in inputs if argument.name.casefold() in both)
    return [*before, sx.Invoke(called, kept, tuple(outputs), place)], opened
