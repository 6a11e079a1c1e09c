"""Globals that a text names in quotes and no file declares.

Some environments keep the list of globals, with their types and addresses, outside of the text and
put their names in quotes there. Such a name is nobody's mistake: it is a global, of a type that is
read off what stands beside it. What nothing that is executed writes is an input then, like any
other global without an initial value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace

from interlock.base.errors import Place
from interlock.st import syntax as sx

_COMPARED = frozenset(("=", "<>", "<", "<=", ">", ">="))
_BLOCK_INPUTS = {"pt": "TIME", "pv": "INT"}
_SAYS = "'{}' is not declared: taken for a global {} of a file not given"
_ASSUMED = "; assumed: nobody else writes it"


@dataclass
class _Use:
    """How a name is used: where first, of what type it seems to be, and whether it is a whole."""

    name: str
    place: Place
    file: int
    type: str = ""
    is_written: bool = False
    is_plain: bool = True


def with_quoted_globals(files: Sequence[sx.SourceFile]) -> list[sx.SourceFile]:
    """The files with a global for each name in quotes that is a whole variable and not declared."""
    quoted = frozenset().union(*(file.quoted for file in files))
    wanted = quoted - _declared(files) if quoted else quoted
    if not wanted:
        return list(files)
    uses: dict[str, _Use] = {}
    for number, file in enumerate(files):
        for unit in file.units:
            _Uses(files, unit, number, wanted, uses).follow()
    return [_with_globals(file, number, uses) for number, file in enumerate(files)]


def _declared(files: Sequence[sx.SourceFile]) -> set[str]:
    """Every casefolded name that some file declares as whatever."""
    found = {file.name.casefold() for file in files}
    found |= {type_.name.casefold() for file in files for type_ in file.types}
    for node in _nodes([(file.types, file.units, file.globals) for file in files]):
        match node:
            case sx.Declaration():
                found |= {name.text.casefold() for name in node.names}
            case sx.EnumLabel() | sx.Step() | sx.Action():
                found.add(node.name.casefold())
            case sx.Unit():
                found.add(node.name.casefold())
    return found


def _with_globals(file: sx.SourceFile, number: int, uses: Mapping[str, _Use]) -> sx.SourceFile:
    own = [use for use in uses.values() if use.file == number and use.is_plain]
    made, notes = [], []
    for use in own:
        type_ = sx.TypeRef(use.type or "BOOL", None, None, use.place)
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


class _Uses:
    """Notes how the code of one unit uses names."""

    def __init__(
        self,
        files: Sequence[sx.SourceFile],
        unit: sx.Unit,
        number: int,
        wanted: frozenset[str],
        uses: dict[str, _Use],
    ) -> None:
        self._number = number
        self._wanted = wanted
        self._uses = uses
        self._code = (unit.body, unit.actions, unit.methods, unit.chart)
        listed = [d for file in files for d in file.globals]
        self._types = _types([*listed, *unit.declarations, *_of_methods(unit)])
        inputs = [d for file in files for u in file.units for d in u.declarations]
        self._inputs = _BLOCK_INPUTS | _types([d for d in inputs if d.kind != "VAR"])

    def follow(self) -> None:
        """Note every use in the unit's code."""
        for node in _nodes(self._code):
            self._note_whole(node)
            match node:
                case sx.Name():
                    self._use(node)
                case sx.Assign():
                    self._written(node.target)
                    self._alike(node.target, node.value)
                case sx.OutputArgument():
                    self._written(node.target)
                    self._typed(node.target, self._inputs.get(node.name.casefold(), ""))
                case sx.InputArgument():
                    self._typed(node.value, self._inputs.get(node.name.casefold(), ""))
                case sx.Binary():
                    self._alike(node.left, node.right)
                case sx.Junction():
                    self._alike(*node.operands)
                case sx.For():
                    self._typed(node.variable, "INT")
                case sx.Case():
                    self._typed(node.selector, "INT")

    def _note_whole(self, node: object) -> None:
        """Note what stands for more than one value, or is called: no type can be read off that."""
        match node:
            case sx.Element() | sx.Member() | sx.Pointed():
                part: sx.Expression | None = node.base
            case sx.Invoke():
                part = node.instance
            case sx.Call():
                part = node.on
            case _:
                return
        use = None if part is None else self._use(part)
        if use is not None:
            use.is_plain = False

    def _use(self, name: sx.Expression) -> _Use | None:
        """What is known of a name that is wanted."""
        if not isinstance(name, sx.Name) or name.text.casefold() not in self._wanted:
            return None
        return self._uses.setdefault(
            name.text.casefold(), _Use(name.text, name.place, self._number)
        )

    def _written(self, target: sx.Expression) -> None:
        use = self._use(target)
        if use is not None:
            use.is_written = True

    def _alike(self, *expressions: sx.Expression) -> None:
        """What stands side by side has one type."""
        known = next(filter(None, map(self._type_of, expressions)), "")
        for e in expressions:
            self._typed(e, known)

    def _typed(self, e: sx.Expression, type_: str) -> None:
        use = self._use(e)
        if use is not None and not use.type:
            use.type = type_

    def _type_of(self, e: sx.Expression) -> str:
        """The elementary type that an expression shows, or nothing."""
        match e:
            case sx.Number():
                return e.prefix or "INT"
            case sx.Real():
                return e.prefix or "REAL"
            case sx.Duration():
                return "TIME"
            case sx.Truth() | sx.Junction():
                return "BOOL"
            case sx.Binary() if e.op in _COMPARED:
                return "BOOL"
            case sx.Binary():
                return self._type_of(e.left) or self._type_of(e.right)
            case sx.Unary():
                return "BOOL" if e.op == "NOT" else self._type_of(e.operand)
            case sx.Name():
                return self._types.get(e.text.casefold(), "")
            case sx.Call():
                return e.function.upper().rpartition("_TO_")[2] if "_TO_" in e.function else ""
            case _:
                return ""


def _types(declarations: Sequence[sx.Declaration]) -> dict[str, str]:
    """The names of types without limits, by the casefolded names of variables."""
    return {
        name.text.casefold(): d.type.name
        for d in declarations
        for name in d.names
        if d.type.name and d.type.lo is None and not d.type.dimensions
    }


def _of_methods(unit: sx.Unit) -> list[sx.Declaration]:
    return [d for method in unit.methods for d in method.declarations]


def _nodes(tree: object) -> Iterator[object]:
    """`tree` and every part of it, in the order in which they stand."""
    stack = [tree]
    while stack:
        node = stack.pop()
        if isinstance(node, tuple | list):
            stack.extend(reversed(node))
        elif is_dataclass(node) and not isinstance(node, Place):
            yield node
            stack.extend(getattr(node, f.name) for f in reversed(fields(node)))
