"""Names in quotes: globals, whatever variables of a unit are called.

Some environments put the names of globals in quotes, those of a unit's own variables behind a
``#``, and keep the list of globals, with their types and addresses, outside of the text. A name in
quotes that no file declares is then nobody's mistake: it is a global, of a type that is read off
what stands beside it. What nothing that is executed writes is an input then, like any other global
without an initial value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.elaborate.project import nodes_of
from interlock.st.quoted_types import Evidence, types_of, types_shown
from interlock.st.renaming import with_names
from interlock.st.words import RESERVED

_SAYS = "'{}' is not declared: taken for a global {} of a file not given"
_ASSUMED = "; assumed: nobody else writes it"


@dataclass
class _Use:
    """How a name is used: where first, what shows its type, and whether it is a whole variable."""

    name: str
    place: Place
    file: int
    shown: list[Evidence] = field(default_factory=list)
    is_written: bool = False
    is_plain: bool = True


def with_quoted_globals(files: Sequence[sx.SourceFile]) -> list[sx.SourceFile]:
    """The files, with a global for each name in quotes that is a whole variable and not declared.

    One that stands beside a variable of the unit with the same name is called otherwise, in all
    files.

    Raises
    ------
    InputError
        Where a name in quotes is that of a global and of a variable of the unit, or where its type
        cannot be told.
    """
    if not any(file.quotes_names for file in files):
        return list(files)
    files = _with_globals_apart(files)
    declared = _declared(files)
    uses: dict[str, _Use] = {}
    for number, file in enumerate(files):
        for unit in file.units:
            _note_uses(files, unit, number, declared, uses)
    mistakes = [
        Mistake(use.place, f"the global '{use.name}' is not declared, and {evidence.says}")
        for use in uses.values()
        if use.is_plain and (evidence := Evidence.of_all(use.shown)).says
    ]
    if mistakes:
        raise InputError(mistakes)
    return [_with_globals(file, number, uses) for number, file in enumerate(files)]


# A global beside a variable of the same name


def _with_globals_apart(files: Sequence[sx.SourceFile]) -> list[sx.SourceFile]:
    beside: dict[str, sx.Name] = {}
    bases = {unit.name.casefold(): unit for file in files for unit in file.units}
    labels = _of_one_unit(files) | {word.casefold() for word in RESERVED}
    for unit in bases.values():
        # A unit in quotes is that unit, whatever variables are called.
        own = (_own(unit, bases) | labels) - bases.keys()
        for name in _names((unit.body, unit.actions, unit.methods, unit.chart)):
            if name.in_quotes and _first(name.text) in own:
                beside.setdefault(_first(name.text), name)
    if not beside:
        return list(files)
    shared = _globals(files)
    mistakes = [
        Mistake(
            name.place,
            f"'{name.text}' in quotes is a global, and a variable of the unit has its name, too; "
            "give one of them another",
        )
        for key, name in beside.items()
        if key in shared
    ]
    if mistakes:
        raise InputError(mistakes)
    taken = _declared(files) | labels
    taken |= {_first(name.text) for file in files for name in _names((file.units, file.globals))}
    called: dict[str, str] = {}
    notes = []
    for key, name in beside.items():
        own_name = name.text.partition(".")[0]
        new = f"{own_name}_"
        while new.casefold() in taken:
            new += "_"
        called[key] = new
        taken.add(new.casefold())
        says = f'"{own_name}" is a global beside another {own_name}: it is called {new} here'
        notes.append(sx.Note(name.place, says))

    def renamed(name: sx.Name) -> sx.Name:
        first, dot, rest = name.text.partition(".")
        new = called.get(first.casefold(), first) if name.in_quotes else first
        return name if new == first else replace(name, text=f"{new}{dot}{rest}")

    first, *others = [replace(file, units=with_names(file.units, renamed)) for file in files]
    return [replace(first, notes=(*first.notes, *notes)), *others]


def _own(unit: sx.Unit, bases: Mapping[str, sx.Unit]) -> set[str]:
    """The casefolded names of a unit's variables, those of its methods and its bases included."""
    found: set[str] = set()
    seen = set()
    at: sx.Unit | None = unit
    while at is not None and at.name not in seen:
        seen.add(at.name)
        declared = [*at.declarations, *(d for method in at.methods for d in method.declarations)]
        found |= {
            name.text.casefold()
            for d in declared
            if d.kind not in ("VAR_GLOBAL", "VAR_EXTERNAL")
            for name in d.names
        }
        at = bases.get(at.extends.casefold())
    return found - {unit.name.casefold()}


# Globals that are not declared


def _globals(files: Sequence[sx.SourceFile]) -> set[str]:
    declared = [d for file in files for d in file.globals]
    declared += [
        d
        for file in files
        for unit in file.units
        for d in unit.declarations
        if d.kind in ("VAR_GLOBAL", "VAR_EXTERNAL")
    ]
    return {name.text.casefold() for d in declared for name in d.names}


def _declared(files: Sequence[sx.SourceFile]) -> set[str]:
    """Every casefolded name of a global, a type or a unit."""
    types = {one.name.casefold() for file in files for one in file.types}
    return _globals(files) | types | {u.name.casefold() for file in files for u in file.units}


def _of_one_unit(files: Sequence[sx.SourceFile]) -> set[str]:
    """Casefolded names of what is no variable and never in quotes: labels, steps, actions."""
    found = set()
    for node in nodes_of(tuple((file.types, file.units) for file in files)):
        match node:
            case sx.EnumLabel() | sx.Step() | sx.Action():
                found.add(node.name.casefold())
    return found


def _with_globals(file: sx.SourceFile, number: int, uses: Mapping[str, _Use]) -> sx.SourceFile:
    own = [use for use in uses.values() if use.file == number and use.is_plain]
    made, notes = [], []
    for use in own:
        type_ = sx.TypeRef(Evidence.of_all(use.shown).type, None, None, use.place)
        names = (sx.Name(use.name, use.place),)
        made.append(sx.Declaration("VAR_GLOBAL", False, names, type_, None, use.place))
        says = _SAYS.format(use.name, type_.name) + (_ASSUMED if use.is_written else "")
        notes.append(sx.Note(use.place, says))
    return replace(
        file,
        globals=(*file.globals, *made),
        notes=(*file.notes, *notes),
        undeclared=tuple(use.name for use in own),
    )


def _note_uses(
    files: Sequence[sx.SourceFile],
    unit: sx.Unit,
    number: int,
    declared: set[str],
    uses: dict[str, _Use],
) -> None:
    """Note how the code of one unit uses names in quotes that are not declared."""

    def use(e: object) -> _Use | None:
        if not isinstance(e, sx.Name) or not e.in_quotes or "." in e.text:
            return None
        key = e.text.casefold()
        return None if key in declared else uses.setdefault(key, _Use(e.text, e.place, number))

    units = {one.name.casefold(): one for file in files for one in file.units}
    defined = {one.name.casefold(): one.type for file in files for one in file.types}
    shared = [d for file in files for d in file.globals]
    bodies: list[tuple[Sequence[sx.Declaration], object]]
    bodies = [(unit.declarations, (unit.body, unit.actions, unit.chart))]
    bodies += [((*unit.declarations, *m.declarations), m.body) for m in unit.methods]
    for declarations, code in bodies:
        types = types_of([*shared, *declarations], defined)
        for node in nodes_of(code):
            use(node)
            for part in _parts(node):
                if (whole := use(part)) is not None:
                    whole.is_plain = False
            if isinstance(node, sx.Assign | sx.OutputArgument) and (to := use(node.target)):
                to.is_written = True
            for e, shown in types_shown(node, types, units, defined):
                if (of := use(e)) is not None:
                    of.shown.append(shown)


def _parts(node: object) -> Iterator[object]:
    """What stands for more than one value, or is called: no type can be read off that."""
    match node:
        case sx.Element() | sx.Member() | sx.Pointed():
            yield node.base
        case sx.Invoke():
            yield node.instance
        case sx.Call():
            yield node.on


def _first(text: str) -> str:
    return text.casefold().partition(".")[0]


def _names(tree: object) -> Iterator[sx.Name]:
    return (node for node in nodes_of(tree) if isinstance(node, sx.Name))
