"""What another PROGRAM may change between two scans of the root, as far as the text alone tells."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import is_dataclass

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS
from interlock.st.elaborate.assigned import assigned_in, mentioned_by
from interlock.st.elaborate.project import Project
from interlock.st.elaborate.standard import is_of_the_language
from interlock.st.elaborate.types import ELEMENTARY, TEXTS


def changed_by(programs: Sequence[sx.Unit], project: Project) -> set[str]:
    """Casefolded names of what these, and what they call, may assign.

    Where they call code that is not in the files, that is each global but for inputs of the process
    image.
    """
    called = mentioned_by(programs, project)
    units = [*programs, *(project.units[key] for key in sorted(called))]
    found = {name for unit in units for name in assigned_in(unit, project)}
    if any(_calls_strangers(unit, units, project) for unit in units):
        found |= {
            key.rpartition(".")[2]
            for key, (_, declaration) in project.globals.items()
            if declaration.address[:2].upper() != "%I"
        }
    return found


def _calls_strangers(unit: sx.Unit, units: Sequence[sx.Unit], project: Project) -> bool:
    own = {method.name.casefold() for one in units for method in one.methods}
    own |= {action.name.casefold() for one in units for action in one.actions}
    types = {key: declaration.type for key, (_, declaration) in project.globals.items()}
    # What is declared in the base of a block is among the rest; what is its own comes last.
    for one in (*units, unit, *unit.methods):
        for declaration in one.declarations:
            types |= {name.text.casefold(): declaration.type for name in declaration.names}
    known = {*own, *project.units, *project.lists, *project.shared, "this", "super", ""}
    return any(not _is_known(name, types, known, project) for name in _called_in(unit))


def _is_known(
    name: str, types: Mapping[str, sx.TypeRef], known: Iterable[str], project: Project
) -> bool:
    first = name.partition(".")[0].casefold()
    if first in types:
        type_ = types[first]
        while type_.of is not None:
            type_ = type_.of
        last = type_.name.rpartition(".")[2]
        given = {*project.types, *project.units, ""}
        return last.upper() in {*ELEMENTARY, *TEXTS, *BLOCKS} or last.casefold() in given
    return first in known or is_of_the_language(name)


def _called_in(unit: sx.Unit) -> Iterator[str]:
    """The name that each call begins with, of an instance, a function or an action."""
    stack: list[object] = [unit]
    while stack:
        part = stack.pop()
        if isinstance(part, sx.Call):
            yield part.function
        elif isinstance(part, sx.Invoke):
            yield part.instance.text if part.on is None else _root(part.on)
        if isinstance(part, tuple):
            stack += part
        elif is_dataclass(part) and not isinstance(part, Place):
            stack += vars(part).values()


def _root(e: sx.Expression) -> str:
    while isinstance(e, sx.Element | sx.Member | sx.Pointed):
        e = e.base
    return e.text if isinstance(e, sx.Name) else ""
