"""What the world outside a project sees and sets, and which code of it is ever executed.

A variable of the root at an input's address is an input, at an output's an output. A global that
nothing given writes and that has no initial value is an input; one that another program writes,
too, and a VAR_IN_OUT of the root, are both: the input comes before each scan and the output, with
``.out`` behind its name, after it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.direct.addresses import place_of
from interlock.st.direct.project import Project


class Side(Enum):
    """On which side of the controller a variable is."""

    INPUT = "input"
    OUTPUT = "output"
    BOTH = "both"
    MEMORY = "memory"


def nodes_of(tree: object) -> Iterator[object]:
    """`tree` and every part of it, whatever they are."""
    stack = [tree]
    while stack:
        node = stack.pop()
        if isinstance(node, tuple):
            stack.extend(node)
        elif is_dataclass(node) and not isinstance(node, Place):
            yield node
            stack.extend(getattr(node, field.name) for field in fields(node))


def _parts(e: object) -> set[str]:
    """The casefolded names in what may be a variable; indexes are not among them."""
    match e:
        case sx.Name():
            return set(e.text.casefold().split("."))
        case sx.Element() | sx.Pointed():
            return _parts(e.base)
        case sx.Member():
            return {e.name.casefold()} | _parts(e.base)
        case sx.Direct():
            return {place_of(e.address)}
        case _:
            return set()


def assigned_in(unit: sx.Unit) -> set[str]:
    """Casefolded names that the code of a unit may assign; what a call is given counts."""
    found: set[str] = set()
    for node in nodes_of((unit.body, unit.actions, unit.methods, unit.chart or ())):
        match node:
            case sx.Assign() | sx.OutputArgument():
                found |= _parts(node.target)
            case sx.InputArgument():
                found |= _parts(node.value)
            case sx.Call():
                for argument in node.arguments:
                    found |= _parts(argument)
            case sx.Invoke():
                found |= _parts(node.instance)
            case sx.For():
                found |= _parts(node.variable)
            case sx.ActionUse():
                found.add(node.name.casefold())
    return found


def named_in(unit: sx.Unit) -> set[str]:
    """Every casefolded name that stands in a unit, in its declarations and its code."""
    found: set[str] = set()
    for node in nodes_of(unit):
        match node:
            case sx.Name() | sx.Member() | sx.Direct():
                found |= _parts(node)
            case sx.Call():
                found |= set(node.function.casefold().split("."))
            case sx.TypeRef() | sx.ActionUse():
                found |= set(node.name.casefold().split("."))
            case sx.Unit():
                found.add(node.extends.casefold().rpartition(".")[2])
    return found


class Border:
    """Which names and units the root reaches, and who else writes.

    Parameters
    ----------
    project : Project
    root : syntax.Unit
    """

    def __init__(self, project: Project, root: sx.Unit) -> None:
        self._units = {u.name.casefold(): u for u in project.units()}
        self._types = {t.name.casefold(): t for t in project.types()}
        self._at: dict[str, set[str]] = {}
        declared = [d for unit in project.units() for d in unit.declarations]
        for declaration in (*(d for file in project.files for d in file.globals), *declared):
            if place_of(declaration.address):
                names = {n.text.casefold() for n in declaration.names}
                self._at.setdefault(place_of(declaration.address), set()).update(names)
        self.names, reached = self._reach(root)
        self._elsewhere: set[str] = set()
        for unit in project.units():
            if unit.kind == "PROGRAM" and not any(unit is r for r in reached):
                for other in self._reach(unit)[1]:
                    self._elsewhere |= assigned_in(other)

    def _reach(self, unit: sx.Unit) -> tuple[set[str], list[sx.Unit]]:
        """The names that a unit and all that it names mention, and these units."""
        names: set[str] = set()
        reached: list[sx.Unit] = []
        waiting = [unit]
        while waiting:
            now = waiting.pop()
            if any(now is seen for seen in reached):
                continue
            reached.append(now)
            new = named_in(now) - names
            names |= new
            waiting += [self._units[name] for name in new if name in self._units]
            for name in new & self._types.keys():
                inner = {
                    n.name.casefold()
                    for n in nodes_of(self._types[name])
                    if isinstance(n, sx.TypeRef)
                }
                waiting += [self._units[n] for n in inner if n in self._units]
        return names, reached

    def side_of(self, name: str, declarations: Sequence[sx.Declaration], is_written: bool) -> Side:
        """Where a global is, or a variable at an address; no instance, and no constant.

        Parameters
        ----------
        name : str
            Casefolded, perhaps with that of its list before it.
        declarations : sequence of syntax.Declaration
            All that declare it.
        is_written : bool
            Whether the code that is executed writes it.
        """
        first = declarations[0]
        place = place_of(first.address)
        sides = {"%I": Side.INPUT, "%Q": Side.OUTPUT}
        if first.address[:2] in sides:
            return sides[first.address[:2]]
        if {name.rpartition(".")[2], place, *self._at.get(place, ())} & self._elsewhere:
            return Side.BOTH
        if is_written:
            return Side.BOTH if first.kind == "VAR_EXTERNAL" else Side.MEMORY
        if any(d.initial is not None for d in declarations):
            return Side.MEMORY
        return Side.INPUT
