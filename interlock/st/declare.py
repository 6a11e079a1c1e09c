"""The checker of declarations: enumerations, variables and instances of blocks."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.base.errors import Mistake, Place, nearest
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, FUNCTIONS, Integer
from interlock.st.evaluate import constant_of
from interlock.st.expressions import ExpressionChecker
from interlock.st.types import (
    BOOL,
    INT_MAX,
    INT_MIN,
    EnumType,
    IntType,
    Scope,
    Type,
    Variable,
    domain_of,
    initial_of,
)
from interlock.st.words import OTHER_BLOCKS, OTHER_TYPES, TYPES

_TAKEN = frozenset(BLOCKS) | frozenset(FUNCTIONS) | OTHER_TYPES | {"BOOL", "INT"}


class Declarations:
    """What a program declares; mistakes are collected, never raised.

    Attributes
    ----------
    enums, variables, instances : dict
        Keys are casefolded names; in order of declaration.
    """

    def __init__(
        self, program: sx.Program, enums: Iterable[EnumType], mistakes: list[Mistake]
    ) -> None:
        self._mistakes = mistakes
        self.enums = {enum.name.casefold(): enum for enum in enums}
        self.variables: dict[str, ty.Declared] = {}
        self.instances: dict[str, ty.Instance] = {}
        self._refused: set[str] = set()
        self._places: dict[str, Place] = {}
        for type_def in program.types:
            self._define(type_def)
        for declaration in program.declarations:
            self._declare(declaration)

    def _refuse(self, place: Place, says: str) -> None:
        self._mistakes.append(Mistake(place, says))

    def is_refused(self, name: str) -> bool:
        """Whether `name` was declared wrongly, so that nothing else needs saying about it."""
        return name.casefold() in self._refused

    def scope(self) -> Scope:
        """Every name that an expression may read."""
        names = {key: Variable(v.name, v.type) for key, v in self.variables.items()}
        for instance in self.instances.values():
            for output, type_ in BLOCKS[instance.block].outputs.items():
                name = f"{instance.name}.{output}"
                # IEC 61131-3: a counter counts on to the greatest value of its type.
                known = type_ if not isinstance(type_, Integer) else IntType(0, INT_MAX)
                names[name.casefold()] = Variable(name, known)
        return Scope(names, self.enums)

    # Enumerations

    def _define(self, d: sx.TypeDef) -> None:
        if not self._is_free(d.name, d.place) or d.name.casefold() in self.enums:
            if d.name.casefold() in self.enums:
                self._refuse(d.place, f"type '{d.name}' is declared twice")
            return
        seen: set[str] = set()
        for label in d.type.labels:
            if label.name.casefold() in seen:
                self._refuse(label.place, f"value '{label.name}' is named twice")
            seen.add(label.name.casefold())
        enum = EnumType(d.name, tuple(label.name for label in d.type.labels))
        self.enums[d.name.casefold()] = enum
        if d.initial is not None:
            value = self._initial(d.initial, enum)
            self.enums[d.name.casefold()] = EnumType(enum.name, enum.labels, value)

    def _is_free(self, name: str, place: Place) -> bool:
        if name.upper() in _TAKEN:
            self._refuse(place, f"'{name}' is a name of the standard; choose another")
            return False
        return True

    # Variables and instances

    def _declare(self, d: sx.Declaration) -> None:
        is_block = d.type.name.upper() in BLOCKS
        type_ = None if is_block else self._type(d.type)
        if is_block:
            self._check_block(d)
        if d.kind == "VAR_INPUT" and d.initial is not None:
            self._refuse(
                d.initial.place, "an input is latched before every scan; it has no initial value"
            )
        initial = 0
        if type_ is not None:
            initial = self._initial(d.initial, type_) if d.initial else initial_of(type_)
        for name in d.names:
            if not self._is_new(name):
                continue
            key = name.text.casefold()
            if is_block:
                block = d.type.name.upper()
                self.instances[key] = ty.Instance(name.text, block, d.retain, 0, name.place)
            elif type_ is None:
                self._refused.add(key)
            else:
                self.variables[key] = ty.Declared(
                    name.text, type_, initial, d.kind, d.retain, name.place
                )

    def _check_block(self, d: sx.Declaration) -> None:
        if d.kind != "VAR":
            self._refuse(d.type.place, f"declare a {d.type.name.upper()} in VAR, not in {d.kind}")
        if d.initial is not None:
            self._refuse(d.initial.place, "a block's instance has no initial value")
        if d.type.lo is not None:
            self._refuse(d.type.place, f"{d.type.name.upper()} has no range")

    def _is_new(self, name: sx.Name) -> bool:
        key = name.text.casefold()
        before = self._places.setdefault(key, name.place)
        if before is not name.place:
            self._refuse(
                name.place, f"'{name.text}' is declared twice, first in line {before.line}"
            )
            return False
        if key in self.enums:
            self._refuse(name.place, f"'{name.text}' is a type; choose another name")
            return False
        return self._is_free(name.text, name.place)

    def _type(self, ref: sx.TypeRef) -> Type | None:
        name = ref.name.upper()
        if name == "INT":
            return self._range(ref)
        found = BOOL if name == "BOOL" else self.enums.get(ref.name.casefold())
        if found is None:
            self._refuse(ref.place, self._why_no_type(ref.name))
        elif ref.lo is not None:
            self._refuse(ref.place, f"{ref.name} has no range; only INT has")
            return None
        return found

    def _why_no_type(self, name: str) -> str:
        if name.upper() == "TIME":
            return "TIME variables are not supported; write the time as a constant at PT"
        if name.upper() in OTHER_TYPES:
            return f"{name.upper()} is not supported; {TYPES}"
        if name.upper() in OTHER_BLOCKS:
            return f"{name.upper()} is not supported; supported blocks: {', '.join(sorted(BLOCKS))}"
        known = [e.name for e in self.enums.values()]
        return f"type '{name}' is not declared{nearest(name, [*known, 'BOOL', 'INT', *BLOCKS])}"

    def _range(self, ref: sx.TypeRef) -> Type | None:
        if ref.lo is None or ref.hi is None:
            self._refuse(ref.place, "plain INT has too many values; give a range, as in INT (0..7)")
            return None
        lo, hi = self._limit(ref.lo), self._limit(ref.hi)
        if lo is None or hi is None:
            return None
        if lo > hi:
            self._refuse(ref.place, f"the range {lo}..{hi} is empty; write the lower limit first")
            return None
        return IntType(lo, hi)

    def _limit(self, e: sx.Expression) -> int | None:
        return self._constant(e, IntType(INT_MIN, INT_MAX))

    def _constant(self, e: sx.Expression, type_: Type) -> int | None:
        before = len(self._mistakes)
        value = ExpressionChecker(self.scope(), self._mistakes).check(e, type_)
        if value is None:
            return None
        constant = constant_of(value)
        if constant is None and len(self._mistakes) == before:
            self._refuse(e.place, "this must be constant")
        return constant

    def _initial(self, e: sx.Expression, type_: Type) -> int:
        value = self._constant(e, type_)
        domain = domain_of(type_)
        if value is None:
            return domain.lo
        if not domain.lo <= value <= domain.hi:
            self._refuse(e.place, f"initial value {value} is outside {domain.lo}..{domain.hi}")
            return domain.lo
        return value
