"""What a project holds: its units, types and globals, found by name in any case of letters."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.direct.kinds import refusal

INSTANTIATED = ("PROGRAM", "FUNCTION_BLOCK", "CLASS")


class Project:
    """The files of a project.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    """

    def __init__(self, files: Sequence[sx.SourceFile]) -> None:
        self.files = tuple(files)
        self._units: dict[str, sx.Unit] = {}
        self._types: dict[str, sx.TypeDef] = {}
        self.namespaces: set[str] = set()
        for file in files:
            for unit in file.units:
                self._units.setdefault(unit.name.casefold(), unit)
                if unit.namespace:
                    self._note_namespace(unit)
            for defined in file.types:
                self._types.setdefault(defined.name.casefold(), defined)
                self._types.setdefault(_last(defined.name), defined)

    def _note_namespace(self, unit: sx.Unit) -> None:
        full = f"{unit.namespace}.{unit.name}".casefold()
        self._units.setdefault(full, unit)
        parts = unit.namespace.casefold().split(".")
        self.namespaces |= {".".join(parts[: n + 1]) for n in range(len(parts))}

    def unit(self, name: str) -> sx.Unit | None:
        """The unit called `name`, with or without its namespace."""
        return self._units.get(name.casefold()) or self._units.get(_last(name))

    def type(self, name: str) -> sx.TypeDef | None:
        """The type called `name`, with or without its namespace."""
        return self._types.get(name.casefold()) or self._types.get(_last(name))

    def units(self) -> Iterable[sx.Unit]:
        """Every unit once."""
        return [unit for file in self.files for unit in file.units]

    def types(self) -> Iterable[sx.TypeDef]:
        """Every type once."""
        return [defined for file in self.files for defined in file.types]

    def names(self) -> list[str]:
        """Names of units and types, to suggest one."""
        return [u.name for u in self.units()] + [t.name for t in self.types()]

    def lineage(self, unit: sx.Unit) -> list[sx.Unit]:
        """`unit` and what it extends, itself first.

        Raises
        ------
        InputError
            Where one is missing or extends itself.
        """
        found = [unit]
        while found[-1].extends:
            parent = self.unit(found[-1].extends)
            if parent is None:
                near = nearest(found[-1].extends, self.names())
                raise refusal(found[-1].place, f"'{found[-1].extends}' is not defined{near}")
            if parent in found:
                raise refusal(parent.place, f"'{parent.name}' extends itself")
            found.append(parent)
        return found

    def declarations(self, unit: sx.Unit) -> Iterator[tuple[sx.Unit, sx.Declaration]]:
        """The declarations of a unit with their owners, what is inherited first."""
        for owner in reversed(self.lineage(unit)):
            for declaration in owner.declarations:
                yield owner, declaration

    def method(
        self, unit: sx.Unit, name: str, kind: str = "METHOD"
    ) -> tuple[sx.Unit, sx.Unit] | None:
        """A method, GET or SET with the unit it stands in; a derived unit's comes first."""
        for owner in self.lineage(unit):
            for method in owner.methods:
                if method.kind == kind and method.name.casefold() == name.casefold():
                    return owner, method
        return None

    def action(self, unit: sx.Unit, name: str) -> tuple[sx.Unit, sx.Action] | None:
        """An action with the unit it stands in."""
        for owner in self.lineage(unit):
            for action in owner.actions:
                if action.name.casefold() == name.casefold():
                    return owner, action
        return None

    def root(self, name: str) -> sx.Unit:
        """The unit that is executed.

        Raises
        ------
        InputError
            Where there is none that can be.
        """
        unit = self.unit(name)
        if unit is None or unit.kind not in INSTANTIATED:
            known = [u.name for u in self.units() if u.kind in INSTANTIATED]
            place = unit.place if unit else _first_place(self.files)
            says = f"there is no PROGRAM or FUNCTION_BLOCK '{name}'"
            raise refusal(place, says + nearest(name, known))
        return unit


def _last(name: str) -> str:
    return name.casefold().rpartition(".")[2]


def _first_place(files: Sequence[sx.SourceFile]) -> Place:
    units = [unit.place for file in files for unit in file.units]
    return units[0] if units else Place(files[0].name if files else "project", 1, 1)
