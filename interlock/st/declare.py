"""The checker of declarations: enumerations, variables, constants and instances of blocks."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from interlock.base.errors import Mistake, Place, nearest
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, FUNCTIONS, Integer
from interlock.st.evaluate import number_of_constant
from interlock.st.expressions import ExpressionChecker
from interlock.st.types import (
    BOOL,
    LIMITS,
    EnumType,
    IntType,
    RealType,
    Scope,
    Type,
    Variable,
    elementary,
    elementary_names,
    initial_of,
    span_of,
)
from interlock.st.words import DAYS_AND_LETTERS, OTHER_BLOCKS, OTHER_TYPES

# Instances are often called like their block, and nothing confuses a variable with a function.
_TYPES_OF_THE_STANDARD = OTHER_TYPES | frozenset(elementary_names())
# Types of days, and of letters, are no types of the older programs in which dt is a time step.
_TAKEN = _TYPES_OF_THE_STANDARD - DAYS_AND_LETTERS
_TAKEN_BY_TYPES = _TYPES_OF_THE_STANDARD | frozenset(BLOCKS) | frozenset(FUNCTIONS)
_KINDS = ("VAR_INPUT", "VAR_OUTPUT", "VAR", "VAR_TEMP")
_TYPES = ", ".join(("BOOL", "enumerations", *elementary_names()[1:]))


class Declarations:
    """What a program declares; mistakes are collected, never raised.

    Attributes
    ----------
    enums, variables, instances : dict
        Keys are casefolded names; in order of declaration.
    edges : dict of str to str
        The instance that finds the edge, by the casefolded name of an input with R_EDGE or F_EDGE.
    """

    def __init__(
        self, program: sx.Program, enums: Iterable[EnumType], mistakes: list[Mistake]
    ) -> None:
        self._mistakes = mistakes
        self.enums = {enum.name.casefold(): enum for enum in enums}
        self.variables: dict[str, ty.Declared] = {}
        self.instances: dict[str, ty.Instance] = {}
        self.edges: dict[str, str] = {}
        self._names: dict[str, Variable] = {}
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

    def is_constant(self, name: str) -> bool:
        """Whether `name` is a constant."""
        found = self._names.get(name.casefold())
        return found is not None and found.constant is not None

    def scope(self) -> Scope:
        """Every name that an expression may read."""
        names = dict(self._names)
        for instance in self.instances.values():
            for output, type_ in BLOCKS[instance.block].outputs.items():
                name = f"{instance.name}.{output}"
                known = type_ if not isinstance(type_, Integer) else _count_of(instance)
                names[name.casefold()] = Variable(name, known)
        for key, edge in self.edges.items():
            names[key] = Variable(f"{edge}.Q", BOOL)
        return Scope(names, self.enums)

    # Enumerations

    def _define(self, d: sx.TypeDef) -> None:
        is_free = self._is_free(d.name, d.place, _TAKEN_BY_TYPES)
        if not is_free or d.name.casefold() in self.enums:
            if d.name.casefold() in self.enums:
                self._refuse(d.place, f"type '{d.name}' is declared twice")
            return
        if not d.type.labels:
            self._refuse(d.place, f"type '{d.name}' is no enumeration; it is not supported here")
            return
        seen: set[str] = set()
        for label in d.type.labels:
            if label.name.casefold() in seen:
                self._refuse(label.place, f"value '{label.name}' is named twice")
            seen.add(label.name.casefold())
        enum = EnumType(
            d.name,
            tuple(label.name for label in d.type.labels),
            numbers=self._numbers(d.type),
            base=self._base(d.type),
        )
        self.enums[d.name.casefold()] = enum
        if d.initial is not None:
            value = int(self._initial(d.initial, enum))
            self.enums[d.name.casefold()] = replace(enum, initial=value)

    def _numbers(self, ref: sx.TypeRef) -> tuple[int, ...]:
        """The numbers of an enumeration's values, each one more than the last unless given."""
        numbers: list[int] = []
        lo, hi = LIMITS[self._base(ref)]
        for label in ref.labels:
            number = numbers[-1] + 1 if numbers else 0
            if label.value is not None:
                given = self._constant(label.value, IntType(*LIMITS["LINT"], "LINT"))
                number = number if given is None else int(given)
            if not lo <= number <= hi:
                self._refuse(label.place, f"{label.name} is {number}, outside {lo}..{hi}")
            numbers.append(number)
        return () if numbers == list(range(len(numbers))) else tuple(numbers)

    @staticmethod
    def _base(ref: sx.TypeRef) -> str:
        return ref.base.upper() if ref.base.upper() in LIMITS else "INT"

    def _is_free(self, name: str, place: Place, taken: Collection[str] = _TAKEN) -> bool:
        if name.upper() in taken:
            self._refuse(place, f"'{name}' is a name of the standard; choose another")
            return False
        return True

    # Variables and instances

    def _declare(self, d: sx.Declaration) -> None:
        is_block = d.type.name.upper() in BLOCKS
        type_ = None if is_block else self._type(d.type)
        if d.kind not in _KINDS:
            self._refuse(d.place, f"{d.kind} is not supported here; supported: {', '.join(_KINDS)}")
        if is_block:
            self._check_block(d)
        initial: float = 0
        if type_ is not None:
            initial = self._initial(d.initial, type_) if d.initial else initial_of(type_)
        for name in d.names:
            if not self._is_new(name):
                continue
            key = name.text.casefold()
            if is_block:
                block = BLOCKS[d.type.name.upper()]
                self.instances[key] = ty.Instance(
                    name.text, block.base, d.retain, 0, name.place, counted=block.counted
                )
            elif type_ is None:
                self._refused.add(key)
            elif d.constant:
                self._names[key] = Variable(name.text, type_, initial)
            else:
                self._names[key] = Variable(name.text, type_)
                self.variables[key] = _declared(d, name, type_, initial)
                self._watch_edge(d, name)

    def _watch_edge(self, d: sx.Declaration, name: sx.Name) -> None:
        """IEC 61131-3: an input with R_EDGE or F_EDGE is read as the edge of what is given."""
        if not d.edge:
            return
        if d.kind != "VAR_INPUT" or self.variables[name.text.casefold()].type != BOOL:
            self._refuse(name.place, f"only a BOOL in VAR_INPUT has {d.edge}")
            return
        edge = f"{name.text}.{d.edge}"
        block = "R_TRIG" if d.edge == "R_EDGE" else "F_TRIG"
        self.edges[name.text.casefold()] = edge
        self.instances[edge.casefold()] = ty.Instance(edge, block, d.retain, 0, name.place)

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
        return self._is_free(name.text, name.place)

    def _type(self, ref: sx.TypeRef) -> Type | None:
        found = elementary(ref.name) or self.enums.get(ref.name.casefold())
        if found is None:
            self._refuse(ref.place, self._why_no_type(ref.name))
        elif ref.lo is not None and ref.hi is not None:
            if isinstance(found, IntType):
                return self._range(ref, ref.lo, ref.hi, found)
            self._refuse(ref.place, f"{ref.name} has no range; only integers have")
            return None
        return found

    def _why_no_type(self, name: str) -> str:
        if name.upper() in OTHER_TYPES:
            return f"{name.upper()} is not supported; supported types: {_TYPES}"
        if name.upper() in OTHER_BLOCKS:
            return f"{name.upper()} is not supported; supported blocks: {', '.join(sorted(BLOCKS))}"
        known = [e.name for e in self.enums.values()]
        names = [*known, *elementary_names(), *BLOCKS]
        return f"type '{name}' is not declared{nearest(name, names)}"

    def _range(
        self, ref: sx.TypeRef, low: sx.Expression, high: sx.Expression, whole: IntType
    ) -> Type | None:
        lo, hi = self._limit(low, whole), self._limit(high, whole)
        if lo is None or hi is None:
            return None
        if lo > hi:
            self._refuse(ref.place, f"the range {lo}..{hi} is empty; write the lower limit first")
            return None
        return IntType(lo, hi, whole.base)

    def _limit(self, e: sx.Expression, whole: IntType) -> int | None:
        value = self._constant(e, whole)
        if value is not None and not whole.lo <= value <= whole.hi:
            self._refuse(e.place, f"{int(value)} is outside {whole} ({whole.lo}..{whole.hi})")
            return None
        return None if value is None else int(value)

    def _constant(self, e: sx.Expression, type_: Type) -> float | None:
        before = len(self._mistakes)
        scope = Scope(self._names, self.enums)
        value = ExpressionChecker(scope, self._mistakes, is_program=True).given(e, type_, e.place)
        if value is None:
            return None
        constant = number_of_constant(value)
        if constant is None and len(self._mistakes) == before:
            self._refuse(e.place, "this must be constant")
        return constant

    def _initial(self, e: sx.Expression, type_: Type) -> float:
        value = self._constant(e, type_)
        if isinstance(type_, RealType):
            return value or 0.0
        lo, hi = span_of(type_)
        if value is None:
            return lo
        if not lo <= value <= hi:
            self._refuse(e.place, f"initial value {value} is outside {lo}..{hi}")
            return lo
        return int(value)


def _count_of(counter: ty.Instance) -> IntType:
    """IEC 61131-3: a counter counts on to the limits of its type."""
    least, most = LIMITS[counter.counted]
    return IntType(0 if counter.block == "CTU" else least, most, counter.counted)


def _declared(d: sx.Declaration, name: sx.Name, type_: Type, initial: float) -> ty.Declared:
    is_real = isinstance(type_, RealType)
    return ty.Declared(
        name.text,
        type_,
        0 if is_real else int(initial),
        d.kind,
        d.retain,
        name.place,
        float(initial) if is_real else 0.0,
    )
