"""What is known of the types of a project before it is elaborated: enough to name a wire's type."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, FUNCTIONS
from interlock.st.types import BIT_STRINGS, LIMITS, REALS, SIGNED, TIMES, UNSIGNED

_COMPARISONS = frozenset(("GT", "GE", "EQ", "LE", "LT", "NE"))
_LOGIC = frozenset(("AND", "OR", "XOR", "NOT"))
_COMPARES = frozenset(("=", "<>", "<", ">", "<=", ">="))
_SIZES = {"X": "BOOL", "B": "BYTE", "W": "WORD", "D": "DWORD", "L": "LWORD"}
_ELEMENTARY = frozenset(("BOOL", *LIMITS, *REALS))
_CONVERSION = re.compile(r"(?:[A-Z]+_)?(?:TRUNC|TO)_([A-Z]+)")
_DEEPEST = 40


@dataclass
class KnownTypes:
    """The units, types and globals of all files of a project, by casefolded names.

    Attributes
    ----------
    units : dict of str to syntax.Unit
    types : dict of str to syntax.TypeDef
    globals : dict of str to syntax.TypeRef
    """

    units: dict[str, sx.Unit] = field(default_factory=dict)
    types: dict[str, sx.TypeDef] = field(default_factory=dict)
    globals: dict[str, sx.TypeRef] = field(default_factory=dict)

    @classmethod
    def of(cls, files: Iterable[sx.SourceFile]) -> KnownTypes:
        """What `files` declare."""
        found = cls()
        for file in files:
            found.types |= {t.name.casefold(): t for t in file.types}
            found.units |= {unit.name.casefold(): unit for unit in file.units}
            outer = [d for u in file.units for d in u.declarations if d.kind == "VAR_GLOBAL"]
            found.globals |= by_name((*file.globals, *outer))
        return found

    def plain(self, type_: sx.TypeRef) -> sx.TypeRef:
        """The type that a name of a type stands for; without the limits of a subrange."""
        for _ in range(_DEEPEST):
            named = self.types.get(type_.name.casefold())
            if named is None or named.type.labels or type_.of is not None:
                break
            type_ = named.type
        if type_.lo is not None and type_.hi is not None:
            return sx.TypeRef(type_.name, None, None, type_.place)
        return type_

    def is_user_function(self, name: str) -> bool:
        """Whether the project declares a FUNCTION of this name."""
        unit = self.units.get(name.casefold())
        return unit is not None and unit.kind == "FUNCTION"


def by_name(declarations: Iterable[sx.Declaration]) -> dict[str, sx.TypeRef]:
    """The types of variables by their casefolded names."""
    return {n.text.casefold(): d.type for d in declarations for n in d.names}


@dataclass(frozen=True)
class Scope:
    """What may be named in the code of a unit.

    Attributes
    ----------
    known : KnownTypes
    names : dict of str to syntax.TypeRef
        The unit's own variables, and what is added to them.
    """

    known: KnownTypes
    names: dict[str, sx.TypeRef]

    def type_of(self, e: sx.Expression) -> sx.TypeRef | None:
        """The type of an expression where it is sure; a literal without one has none."""
        match e:
            case sx.Truth() | sx.Number() | sx.Real() | sx.Duration():
                return _of_literal(e)
            case sx.Name():
                return self._of_name(e)
            case sx.Element():
                base = self.type_of(e.base)
                return None if base is None or base.of is None else self.known.plain(base.of)
            case sx.Member():
                return self._member(self.type_of(e.base), e.name)
            case sx.Direct():
                return _named(_SIZES.get(e.address[2:3], "BOOL"), e)
            case sx.Qualified():
                return _named(e.type_name, e)
            case sx.Unary():
                return self.type_of(e.operand)
            case sx.Binary():
                compares = e.op in _COMPARES
                return _named("BOOL", e) if compares else self._common((e.left, e.right))
            case sx.Junction():
                return self._common(e.operands)
            case sx.Call():
                return self._of_call(e)
        return None

    def member(self, type_: sx.TypeRef, name: str) -> sx.TypeRef | None:
        """The type of a member of something of a type."""
        return self._member(self.known.plain(type_), name)

    def _of_name(self, e: sx.Name) -> sx.TypeRef | None:
        first, *rest = e.text.casefold().split(".")
        if first == "this" and rest:
            first, *rest = rest
        type_ = self.names.get(first) or self.known.globals.get(first)
        if type_ is None:
            labelled = self.known.types.get(first)
            if labelled is not None and labelled.type.labels:
                return _named(labelled.name, e)
            # A global by the name of its list.
            outer = self.known.globals.get(rest[0]) if rest else None
            if outer is None:
                return self._label(first, e)
            type_, rest = outer, rest[1:]
        found: sx.TypeRef | None = self.known.plain(type_)
        for name in rest:
            found = self._member(found, name)
        return found

    def _label(self, label: str, e: sx.Name) -> sx.TypeRef | None:
        having = [
            t.name
            for t in self.known.types.values()
            if label in (one.name.casefold() for one in t.type.labels)
        ]
        return _named(having[0], e) if len(having) == 1 else None

    def _member(self, type_: sx.TypeRef | None, name: str) -> sx.TypeRef | None:
        if type_ is None:
            return None
        if name.isdecimal():
            return sx.TypeRef("BOOL", None, None, type_.place)
        block = BLOCKS.get(type_.name.upper())
        if block is not None:
            given = {**block.inputs, **block.outputs}.get(name.upper())
            if given is None:
                return None
            return sx.TypeRef(str(given), None, None, type_.place)
        unit = self.known.units.get(type_.name.casefold())
        fields = unit.declarations if unit is not None else type_.fields
        found = by_name(fields).get(name.casefold())
        return None if found is None else self.known.plain(found)

    def _of_call(self, e: sx.Call) -> sx.TypeRef | None:
        types = [self.type_of(argument) for argument in e.arguments]
        are_literals = [isinstance(argument, sx.Number) for argument in e.arguments]
        known = [t for t, plain in zip(types, are_literals, strict=True) if not plain or t]
        return self.type_of_call(e.function, known, e.place)

    def type_of_call(
        self, function: str, arguments: Sequence[sx.TypeRef | None], place: Place
    ) -> sx.TypeRef | None:
        """The type of a function's value where it is sure.

        Parameters
        ----------
        function : str
        arguments : sequence of syntax.TypeRef or None
            The types of its arguments by their places; literals without one left out.
        place : Place
        """
        name = function.upper()
        unit = self.known.units.get(function.casefold())
        if unit is not None and unit.returns is not None:
            return unit.returns
        conversion = _CONVERSION.fullmatch(name)
        if conversion and conversion[1] in _ELEMENTARY:
            return sx.TypeRef(conversion[1], None, None, place)
        if name in _COMPARISONS:
            return sx.TypeRef("BOOL", None, None, place)
        if name == "TRUNC" or name not in FUNCTIONS:
            return None
        if name in _LOGIC and not arguments:
            # Nothing but what leads back comes in: of a truth value that makes sense.
            return sx.TypeRef("BOOL", None, None, place)
        if name in ("SEL", "MUX"):
            arguments = arguments[1:]
        elif name in ("SHL", "SHR", "ROL", "ROR", "EXPT"):
            arguments = arguments[:1]
        return _largest(arguments)

    def _common(self, operands: Iterable[sx.Expression]) -> sx.TypeRef | None:
        """The larger of the types of operands of one kind; literals have that of the others."""
        types = ((self.type_of(e), isinstance(e, sx.Number)) for e in operands)
        return _largest([t for t, is_literal in types if t is not None or not is_literal])


def _largest(types: Iterable[sx.TypeRef | None]) -> sx.TypeRef | None:
    found: sx.TypeRef | None = None
    for number, type_ in enumerate(types):
        if type_ is None or (number and found is None):
            return None
        found = type_ if found is None else _larger(found, type_)
    return found


def _larger(one: sx.TypeRef, other: sx.TypeRef) -> sx.TypeRef | None:
    if one.name.casefold() == other.name.casefold():
        return one
    for kind in (SIGNED, UNSIGNED, BIT_STRINGS, REALS, TIMES):
        widths = [kind.get(type_.name.upper()) for type_ in (one, other)]
        if widths[0] is not None and widths[1] is not None:
            return one if widths[0] >= widths[1] else other
    return None


def _of_literal(e: sx.Truth | sx.Number | sx.Real | sx.Duration) -> sx.TypeRef | None:
    match e:
        case sx.Truth():
            return _named("BOOL", e)
        case sx.Number():
            return _named(e.prefix.upper(), e) if e.prefix else None
        case sx.Real():
            return _named(e.prefix.upper() or "REAL", e)
    return _named(e.prefix.upper() or "TIME", e)


def _named(name: str, e: sx.Expression) -> sx.TypeRef:
    return sx.TypeRef(name, None, None, e.place)
