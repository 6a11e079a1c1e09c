"""The files of a project: what each name of a type, unit or global stands for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, is_dataclass, replace
from functools import cached_property

from interlock.base.errors import Mistake, Place, nearest
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS

ROOTS = ("PROGRAM", "FUNCTION_BLOCK")


@dataclass
class Project:
    """An index over files; names are casefolded, in order of appearance.

    Attributes
    ----------
    types : dict of str to syntax.TypeDef
    units : dict of str to syntax.Unit
        Also under their names with namespaces.
    globals : dict of str to syntax.Declaration
        Each with the one name it is found under: its own, or ``list.name`` where several lists
        have one with that name.
    lists : dict of str to set of str
        What each file that holds globals has: ``list.name`` is a global, too.
    homes : dict of str to list of str
        The names of the lists that have a global of a name.
    shared : dict of str to list of str
        The same of names that several lists have.
    """

    files: tuple[sx.SourceFile, ...]
    types: dict[str, sx.TypeDef] = field(default_factory=dict)
    units: dict[str, sx.Unit] = field(default_factory=dict)
    globals: dict[str, tuple[sx.Name, sx.Declaration]] = field(default_factory=dict)
    lists: dict[str, set[str]] = field(default_factory=dict)
    homes: dict[str, list[str]] = field(default_factory=dict)
    shared: dict[str, list[str]] = field(default_factory=dict)
    mistakes: list[Mistake] = field(default_factory=list)

    @cached_property
    def addressed(self) -> set[str]:
        """What stands before the first dot of a name anywhere in the text, casefolded."""
        dotted = (name for name in words_of(tuple(self.units.values())) if "." in name)
        return {name.partition(".")[0] for name in dotted}

    @classmethod
    def of(cls, files: Iterable[sx.SourceFile]) -> Project:
        """The project of `files`; names declared twice are mistakes."""
        project = cls(tuple(files))
        for file in project.files:
            for type_def in file.types:
                project._add_type(type_def)
            for unit in file.units:
                project._add_unit(unit)
        project._add_globals()
        return project

    def _add_globals(self) -> None:
        for file in self.files:
            for key in {name.text.casefold() for d in file.globals for name in d.names}:
                held = self.lists.setdefault(file.name.casefold(), set())
                if key not in held:
                    held.add(key)
                    self.homes.setdefault(key, []).append(file.name)
        self.shared = {key: lists for key, lists in self.homes.items() if len(lists) > 1}
        for file in self.files:
            for declaration in file.globals:
                for name in declaration.names:
                    own = name
                    if name.text.casefold() in self.shared:
                        own = replace(name, text=f"{file.name}.{name.text}")
                    self.globals.setdefault(own.text.casefold(), (own, declaration))
        for file in self.files:
            for declaration in _unit_globals(file.units):
                for name in declaration.names:
                    self.globals.setdefault(name.text.casefold(), (name, declaration))

    def _add_type(self, type_def: sx.TypeDef) -> None:
        before = self.types.setdefault(type_def.name.casefold(), type_def)
        if before is not type_def and before != type_def:
            says = f"type '{type_def.name}' is declared twice, first in {before.place}"
            self.mistakes.append(Mistake(type_def.place, says))

    def _add_unit(self, unit: sx.Unit) -> None:
        before = self.units.setdefault(unit.name.casefold(), unit)
        if unit.namespace:
            self.units.setdefault(f"{unit.namespace}.{unit.name}".casefold(), unit)
        elif before is not unit and before != unit and not before.namespace:
            says = f"'{unit.name}' is declared twice, first in {before.place}"
            self.mistakes.append(Mistake(unit.place, says))

    def unit(self, name: str) -> sx.Unit | None:
        """The unit called `name`, with or without its namespace."""
        found = self.units.get(name.casefold())
        return found or self.units.get(name.casefold().rpartition(".")[2])

    def type(self, name: str) -> sx.TypeDef | None:
        """The type called `name`, with or without a namespace."""
        found = self.types.get(name.casefold())
        return found or self.types.get(name.casefold().rpartition(".")[2])

    def roots(self) -> list[sx.Unit]:
        """The units that may be the root."""
        return [unit for file in self.files for unit in file.units if unit.kind in ROOTS]

    def root(self, name: str | None) -> sx.Unit | str:
        """The unit called `name`, or the one that a project has; else why there is none."""
        roots = self.roots()
        if name is not None:
            named = [unit for unit in roots if unit.name.casefold() == name.casefold()]
            return named[0] if named else self._no_root(name, roots)
        programs = [unit for unit in roots if unit.kind == "PROGRAM"]
        chosen = self._outermost(programs or roots)
        if len(chosen) == 1:
            return chosen[0]
        if not chosen:
            says = "there is no PROGRAM and no FUNCTION_BLOCK in it"
            has_more = self.types or self.globals or self.units
            return f"{says}, only what one could use; give its file as well" if has_more else says
        names = ", ".join(unit.name for unit in chosen)
        says = f"there are several programs ({names}); say which one each scan executes"
        return f"{says}, as in 'root: {chosen[0].name}'"

    def _no_root(self, name: str, roots: Sequence[sx.Unit]) -> str:
        known = [unit.name for unit in roots]
        return f"'{name}' is no PROGRAM or FUNCTION_BLOCK of the project{nearest(name, known)}"

    def _outermost(self, units: Sequence[sx.Unit]) -> list[sx.Unit]:
        """Those that no other declares an instance of."""
        if len(units) < 2:
            return list(units)
        used = {
            declaration.type.name.casefold()
            for file in self.files
            for unit in file.units
            for declaration in unit.declarations
        }
        free = [unit for unit in units if unit.name.casefold() not in used]
        return free or list(units)

    def known_types(self) -> list[str]:
        """Names worth suggesting for a type that is not known."""
        names = [type_def.name for type_def in self.types.values()]
        kinds = ("FUNCTION_BLOCK", "CLASS")
        names += [unit.name for unit in self.units.values() if unit.kind in kinds]
        return [*names, *BLOCKS, "BOOL", "INT", "DINT", "REAL", "TIME", "WORD"]


def _unit_globals(units: Iterable[sx.Unit]) -> list[sx.Declaration]:
    return [d for unit in units for d in unit.declarations if d.kind == "VAR_GLOBAL"]


def nodes_of(code: object) -> Iterator[object]:
    """Every part of a part of the text, itself included, in order: of the tree, and every word."""
    stack = [code]
    while stack:
        part = stack.pop()
        if isinstance(part, tuple):
            stack += reversed(part)
        elif isinstance(part, str):
            yield part
        elif is_dataclass(part) and not isinstance(part, Place):
            yield part
            stack += reversed(vars(part).values())


def words_of(code: object) -> set[str]:
    """Every name in a part of the text, casefolded, and the parts of those with dots."""
    names = {word.casefold() for word in nodes_of(code) if isinstance(word, str)}
    return names.union(*(name.split(".") for name in names if "." in name))
