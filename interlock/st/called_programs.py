"""Programs that others call by their names, as some environments allow.

IEC 61131-3 has no calls of programs. Where the text calls one, or names a variable of it, it is one
instance of a block that is called like it: its variables stay from call to call.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace

from interlock.st import syntax as sx


def with_called_programs(
    files: Sequence[sx.SourceFile], root: str | None = None
) -> tuple[sx.SourceFile, ...]:
    """The files with each program that the code of another names as a block with one instance.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    root : str, optional
        The unit that is executed in each scan; it stays what it is, and so does what a task starts.
    """
    units = [unit for file in files for unit in file.units]
    started = {i.type_name.casefold() for file in files for i in file.instances}
    kept = started | {(root or "").casefold()}
    programs = {u.name.casefold() for u in units if u.kind == "PROGRAM"} - kept
    called: set[str] = set()
    for unit in units:
        own = {name.text.casefold() for d in unit.declarations for name in d.names}
        named = set(names_in((unit.body, unit.actions, unit.methods, unit.chart)))
        called |= named & programs - own - {unit.name.casefold()}
    if programs <= called and not kept & {unit.name.casefold() for unit in units}:
        # Each is called by another: none is left to begin with.
        return tuple(files)
    return tuple(_with_instances(file, called) for file in files) if called else tuple(files)


def _with_instances(file: sx.SourceFile, called: set[str]) -> sx.SourceFile:
    units, instances = [], []
    for unit in file.units:
        if unit.kind == "PROGRAM" and unit.name.casefold() in called:
            type_ = sx.TypeRef(unit.name, None, None, unit.place)
            own = (sx.Name(unit.name, unit.place),)
            instances.append(sx.Declaration("VAR_GLOBAL", False, own, type_, None, unit.place))
            units.append(replace(unit, kind="FUNCTION_BLOCK"))
        else:
            units.append(unit)
    if not instances:
        return file
    return replace(file, units=tuple(units), globals=(*file.globals, *instances))


def names_in(node: object) -> Iterator[str]:
    """The first part of every name in a part of the text, casefolded."""
    stack = [node]
    while stack:
        match stack.pop():
            case sx.Name() as name:
                yield name.text.casefold().partition(".")[0]
            case sx.Call() as call:
                yield call.function.casefold().partition(".")[0]
                stack += [call.arguments, call.named, call.outputs, call.on]
            case tuple() as parts:
                stack += parts
            case part if is_dataclass(part):
                stack += [getattr(part, f.name) for f in fields(part)]
            case _:
                pass
