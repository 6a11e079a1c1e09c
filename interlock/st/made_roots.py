"""What an environment executes though the text does not spell it out as one program.

Some environments keep a program in parts, executed once at the start, in each scan and at the end,
and its variables in a file of their own. A library may hold functions alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from interlock.st import syntax as sx
from interlock.st.called_programs import names_in
from interlock.st.elaborate.types import ELEMENTARY

_INIT, _CYCLIC, _EXIT = "_init", "_cyclic", "_exit"
_PARTS = (_INIT, _CYCLIC, _EXIT)
_VARIABLES = frozenset(("VAR", "VAR_GLOBAL"))
STARTED = "_STARTED"
"""What remembers that the part for the start was executed."""


def with_made_roots(files: Sequence[sx.SourceFile]) -> tuple[sx.SourceFile, ...]:
    """The files with a program made of its parts, and one for a function where nothing else is."""
    files = _with_shared_variables(files)
    parts = [u for file in files for u in file.units if u.name.casefold() in _PARTS]
    if any(u.name.casefold() == _CYCLIC and u.kind == "PROGRAM" for u in parts):
        return _with_whole_programs(files)
    if all(u.kind == "FUNCTION" for file in files for u in file.units):
        return _with_functions_executed(files)
    return tuple(files)


# Variables in a file of their own


def _with_shared_variables(files: Sequence[sx.SourceFile]) -> tuple[sx.SourceFile, ...]:
    """Sections of variables that no unit holds are those of all units."""
    if sum(len(file.units) for file in files) < 2:
        return tuple(files)
    return tuple(_shared(file) if _holds_variables_only(file) else file for file in files)


def _holds_variables_only(file: sx.SourceFile) -> bool:
    if len(file.units) != 1 or not any("no PROGRAM line" in note.says for note in file.notes):
        return False
    (unit,) = file.units
    kinds = {d.kind for d in unit.declarations}
    return not unit.body and unit.chart is None and kinds <= _VARIABLES


def _shared(file: sx.SourceFile) -> sx.SourceFile:
    (unit,) = file.units
    shared = tuple(replace(d, kind="VAR_GLOBAL") for d in unit.declarations)
    says = "variables without a unit: read as VAR_GLOBAL"
    notes = tuple(
        sx.Note(note.place, says) if "no PROGRAM line" in note.says else note for note in file.notes
    )
    return replace(file, units=(), globals=(*file.globals, *shared), notes=notes)


# Programs in parts


def _with_whole_programs(files: Sequence[sx.SourceFile]) -> tuple[sx.SourceFile, ...]:
    """One program for each cyclic part, with what is executed once before its first scan."""
    cyclic = [
        number
        for number, file in enumerate(files)
        if any(unit.name.casefold() == _CYCLIC for unit in file.units)
    ]
    found = []
    for number, file in enumerate(files):
        if number not in cyclic:
            # Parts in files of their own belong to the one cyclic part that there is.
            rest = tuple(u for u in file.units if u.name.casefold() not in _PARTS)
            found.append(replace(file, units=rest) if len(cyclic) == 1 else file)
            continue
        givers = files if len(cyclic) == 1 else [file]
        parts = {u.name.casefold(): u for giver in givers for u in giver.units}
        whole = _whole(file.name, parts[_CYCLIC], parts.get(_INIT))
        rest = tuple(u for u in file.units if u.name.casefold() not in _PARTS)
        left = parts.get(_EXIT)
        notes = () if left is None or not left.body else (_not_executed(left),)
        found.append(replace(file, units=(*rest, whole), notes=(*file.notes, *notes)))
    return tuple(found)


def _not_executed(unit: sx.Unit) -> sx.Note:
    return sx.Note(unit.place, f"{unit.name} was left out: it is executed when the program ends")


def _whole(name: str, cyclic: sx.Unit, init: sx.Unit | None) -> sx.Unit:
    """The cyclic part, which calls the first part in its first scan, also after a restart."""
    cyclic = replace(cyclic, name="".join(c if c.isalnum() else "_" for c in name))
    if init is None or not init.body:
        return cyclic
    place = init.place
    started = sx.Name(STARTED, place)
    flag = sx.TypeRef("BOOL", None, None, place)
    declared = sx.Declaration("VAR", False, (started,), flag, None, place)
    call = sx.Invoke(sx.Name(init.name, place), (), (), place)
    once = (call, sx.Assign(started, sx.Truth(True, place), place))
    first = sx.If((sx.Branch(sx.Unary("NOT", started, place), once, place),), (), place)
    return replace(
        cyclic,
        declarations=(*cyclic.declarations, *init.declarations, declared),
        body=(first, *cyclic.body),
        actions=(*cyclic.actions, sx.Action(init.name, init.body, place)),
    )


# Functions alone


def _with_functions_executed(files: Sequence[sx.SourceFile]) -> tuple[sx.SourceFile, ...]:
    units = [unit for file in files for unit in file.units]
    called = {
        name for unit in units for name in names_in(unit.body) if name != unit.name.casefold()
    }
    return tuple(
        replace(
            file,
            units=(*file.units, *(_executed(u) for u in _alone(file, called))),
            notes=(*file.notes, *(_told(u) for u in _alone(file, called))),
        )
        for file in files
    )


def _alone(file: sx.SourceFile, called: set[str]) -> Iterator[sx.Unit]:
    """Functions that no other calls, and whose inputs and result have values that can be tried."""
    for unit in file.units:
        kinds = {d.kind for d in unit.declarations}
        result = unit.returns
        fits = "VAR_OUTPUT" in kinds if result is None else result.name.upper() in ELEMENTARY
        if unit.name.casefold() not in called and fits and "VAR_IN_OUT" not in kinds:
            yield unit


def _told(unit: sx.Unit) -> sx.Note:
    return sx.Note(unit.place, f"there is no PROGRAM: {unit.name} is called once in each scan")


def _executed(unit: sx.Unit) -> sx.Unit:
    """A program that calls a function with inputs of its own."""
    place, result = unit.place, sx.Name(f"{unit.name}_result", unit.place)
    declared = tuple(d for d in unit.declarations if d.kind in ("VAR_INPUT", "VAR_OUTPUT"))
    inputs = tuple(sx.InputArgument(n.text, n, place) for n in _names(declared, "VAR_INPUT"))
    outputs = tuple(sx.OutputArgument(n.text, n, place) for n in _names(declared, "VAR_OUTPUT"))
    if unit.returns is None:
        called: sx.Statement = sx.Invoke(sx.Name(unit.name, place), inputs, outputs, place)
    else:
        own = sx.Declaration("VAR_OUTPUT", False, (result,), unit.returns, None, place)
        declared = (*declared, own)
        called = sx.Assign(result, sx.Call(unit.name, (), place, inputs, outputs), place)
    return sx.Unit("PROGRAM", f"{unit.name}_alone", declared, (called,), place)


def _names(declarations: Sequence[sx.Declaration], kind: str) -> list[sx.Name]:
    return [name for d in declarations if d.kind == kind for name in d.names]
