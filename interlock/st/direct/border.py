"""What the world outside a project sees and sets, and which code of it is ever executed.

A variable of the root at an input's address is an input, at an output's an output. A global that
nothing given writes and that has no initial value is an input; one that another program writes,
too, and a VAR_IN_OUT of the root, are both: the input comes before each scan and the output, with
``.out`` behind its name, after it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from enum import Enum

from interlock.base.errors import Place
from interlock.st import syntax as sx
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
            return {e.address.casefold()}
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
        self.names: set[str] = set()
        self._reached: list[sx.Unit] = []
        types = {t.name.casefold(): t for t in project.types()}
        self._reach(root, {u.name.casefold(): u for u in project.units()}, types)
        units = list(project.units())
        self._assigned = {name for unit in units for name in assigned_in(unit)}
        others = [unit for unit in units if not any(unit is r for r in self._reached)]
        has_other_program = any(unit.kind == "PROGRAM" for unit in others)
        self._elsewhere = {
            name for unit in others if has_other_program for name in assigned_in(unit)
        }

    def _reach(
        self, unit: sx.Unit, units: dict[str, sx.Unit], types: dict[str, sx.TypeDef]
    ) -> None:
        waiting = [unit]
        while waiting:
            now = waiting.pop()
            if any(now is seen for seen in self._reached):
                continue
            self._reached.append(now)
            new = named_in(now) - self.names
            self.names |= new
            waiting += [units[name] for name in new if name in units]
            for name in new & types.keys():
                inner = {
                    n.name.casefold() for n in nodes_of(types[name]) if isinstance(n, sx.TypeRef)
                }
                waiting += [units[n] for n in inner if n in units]

    def side_of_global(self, name: str, declaration: sx.Declaration, holds_blocks: bool) -> Side:
        """Where a global is, or a variable of the root at an address.

        Parameters
        ----------
        name : str
        declaration : syntax.Declaration
        holds_blocks : bool
            Whether it is an instance.
        """
        sides = {"%I": Side.INPUT, "%Q": Side.OUTPUT}
        if declaration.address[:2] in sides:
            return sides[declaration.address[:2]]
        key = name.casefold()
        if holds_blocks or declaration.constant:
            return Side.MEMORY
        if key in self._assigned:
            is_shared = key in self._elsewhere or declaration.kind == "VAR_EXTERNAL"
            return Side.BOTH if is_shared else Side.MEMORY
        if declaration.kind == "VAR" and not declaration.address:
            return Side.MEMORY
        return Side.INPUT if declaration.initial is None else Side.MEMORY
