"""The checker: a syntax tree becomes a typed one, or every mistake in it is told."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.st import ranges
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.block_calls import (
    CallsOfBlocks,
    set_bit,
    with_greatest_presets,
    without_presets,
)
from interlock.st.blocks import BLOCKS
from interlock.st.declare import Declarations
from interlock.st.evaluate import constant_of
from interlock.st.expressions import ExpressionChecker
from interlock.st.names import bit_number
from interlock.st.real_inputs import NO_LIMITS, Limits, with_classes
from interlock.st.types import BOOL, BitsType, EnumType, IntType, Scope, Type, label_of


def check_expression(
    expression: sx.Expression,
    scope: Scope,
    expected: Type | None = BOOL,
    divides_surely: bool = False,
) -> ty.Expression:
    """Type an expression that stands by itself, as in a model file.

    Parameters
    ----------
    expression : syntax.Expression
    scope : Scope
    expected : Type or None
        The type it must have; an INT may have any range. None accepts every type.
    divides_surely : bool
        Whether a divisor that may be zero, as far as its range tells, is a mistake.

    Raises
    ------
    InputError
        With every mistake of the expression.

    Examples
    --------
    >>> from interlock.st.parser import parse_expression
    >>> scope = Scope.of({"lift": EnumType("lift", ("DOWN", "UP"))})
    >>> check_expression(parse_expression("Lift = up"), scope).right.value
    1
    """
    mistakes = MistakeList()
    checker = ExpressionChecker(scope, mistakes, divides_surely=divides_surely)
    found = checker.check(expression, expected)
    if mistakes or found is None:
        raise InputError(mistakes)
    return found


def check_program(
    program: sx.Program,
    enums: Iterable[EnumType] = (),
    keeps: Collection[str] = (),
    frees_wide: bool = False,
    limits: Limits = NO_LIMITS,
) -> ty.Program:
    """Type a program.

    Parameters
    ----------
    program : syntax.Program
    enums : iterable of EnumType
        Enumerations known besides the program's own.
    keeps : collection of str
        As for `interlock.st.load.load_files`.
    frees_wide : bool
    limits : mapping
        As for `interlock.st.real_inputs.with_classes`.

    Raises
    ------
    InputError
        With every mistake of the program.
    """
    mistakes = MistakeList()
    declarations = Declarations(program, enums, mistakes)
    checker = _ProgramChecker(declarations, mistakes)
    body = (*checker.edges(), *checker.body(program.body))
    instances = checker.finished_instances()
    if mistakes:
        raise InputError(mistakes)
    varying = frozenset(i.name for i in instances if i.varies)
    checked = ty.Program(
        program.name,
        tuple(declarations.enums.values()),
        tuple(declarations.variables.values()),
        instances,
        without_presets(body, varying),
        tuple(checker.expressions.elapsed_reads),
        program.place,
        notes=tuple(dict.fromkeys(checker.notes)),
    )
    checked = with_classes(checked, keeps, frees_wide, limits)
    return with_greatest_presets(checked) if varying else checked


class _ProgramChecker:
    def __init__(self, declarations: Declarations, mistakes: list[Mistake]) -> None:
        self.declared = declarations
        self.mistakes = mistakes
        self.expressions = ExpressionChecker(
            declarations.scope(), mistakes, declarations.is_refused, is_program=True
        )
        self.refuse = self.expressions.refuse
        self._calls = CallsOfBlocks(self)
        self.notes: list[sx.Note] = []

    def edges(self) -> tuple[ty.Statement, ...]:
        """The calls that find the edges of inputs, before everything else in a scan."""
        found = []
        for key, instance in self.declared.edges.items():
            variable = self.declared.variables[key]
            clock = ty.Read(variable.name, BOOL, variable.place)
            found.append(ty.Invoke(instance, (("CLK", clock),), (), variable.place))
        return tuple(found)

    def finished_instances(self) -> tuple[ty.Instance, ...]:
        """The instances with what their calls have shown."""
        return self._calls.finished_instances()

    def body(self, statements: Iterable[sx.Statement]) -> tuple[ty.Statement, ...]:
        return tuple(typed for statement in statements for typed in self._statement(statement))

    def _statement(self, s: sx.Statement) -> Iterable[ty.Statement]:
        found: ty.Statement | None = None
        match s:
            case sx.Assign():
                found = self._assign(s)
            case sx.If():
                found = self._if(s)
            case sx.Case():
                found = self._case(s)
            case sx.Invoke():
                return self._calls.invoke(s)
            case sx.Defect():
                found = ty.defect(s.says, s.place)
            case sx.Empty():
                pass
            case sx.Refused():
                self.refuse(s.place, s.says)
            case _:
                what = s.word if isinstance(s, sx.Leave) else type(s).__name__.upper()
                self.refuse(s.place, f"{what} is not supported here")
        return () if found is None else (found,)

    # Assignments

    def target(self, target: sx.Target) -> tuple[ty.Declared, int | None] | None:
        """The variable that is assigned, and which bit of it where it is only one."""
        if isinstance(target, sx.Member) and isinstance(target.base, sx.Name):
            target = sx.Name(f"{target.base.text}.{target.name}", target.place)
        if not isinstance(target, sx.Name):
            self.refuse(target.place, "only variables and bits of them can be assigned here")
            return None
        variable = self.declared.variables.get(target.text.casefold())
        if variable is not None and variable.kind != "VAR_INPUT":
            return variable, None
        owner, _, name = target.text.rpartition(".")
        whole = self.declared.variables.get(owner.casefold())
        if variable is None and whole is not None and whole.kind != "VAR_INPUT":
            number = bit_number(whole.type, name)
            if number is not None:
                return whole, number
        self.refuse(target.place, self._why_not_assigned(target.text, variable))
        return None

    def _why_not_assigned(self, text: str, variable: ty.Declared | None) -> str:
        if variable is not None:
            return f"'{variable.name}' is an input; inputs cannot be assigned"
        instance, dot, member = text.rpartition(".")
        owner = self.declared.instances.get((instance or text).casefold())
        if owner is not None and dot:
            block = BLOCKS[owner.block]
            if member.upper() in block.inputs:
                return f"give {text} in the call: {owner.name}({member.upper()} := …)"
            return f"'{text}' cannot be assigned; only {owner.block} itself writes it"
        if owner is not None:
            return f"'{owner.name}' is a {owner.block}; call it: {owner.name}(…)"
        if self.declared.is_constant(text):
            return f"'{text}' is a constant and cannot be assigned"
        if self.expressions.scope.owners_of(text):
            return f"'{text}' is a value of an enumeration and cannot be assigned"
        owned = [v for v in self.declared.variables.values() if v.kind != "VAR_INPUT"]
        names = [v.name for v in owned if "@" not in v.name]
        if self.declared.is_refused(text):
            return f"'{text}' cannot be assigned before its declaration is mended"
        return f"'{text}' is not declared{nearest(text, names)}"

    def _assign(self, s: sx.Assign) -> ty.Statement | None:
        found = self.target(s.target)
        wanted = BOOL if found and found[1] is not None else found[0].type if found else None
        value = self.expressions.given(s.value, wanted, s.place)
        if found is None or value is None:
            return None
        target, bit = found
        if bit is not None:
            return set_bit(target, bit, value, s.place)
        if _never_fits(value.type, target.type):
            self.refuse(
                s.value.place,
                f"the value is {_span(value.type)}, never within {_span(target.type)} "
                f"of '{target.name}'",
            )
            return None
        return ty.Assign(target.name, target.type, value, s.place)

    # Branches

    def _if(self, s: sx.If) -> ty.Statement | None:
        branches = []
        for branch in s.branches:
            condition = self.expressions.check(branch.condition, BOOL)
            body = self.body(branch.body)
            if condition is not None:
                branches.append(ty.Branch(condition, body, branch.place))
        return ty.If(tuple(branches), self.body(s.otherwise), s.place)

    def _case(self, s: sx.Case) -> ty.Statement | None:
        selector = self.expressions.check(s.selector, None)
        if selector is not None and not isinstance(selector.type, EnumType | IntType | BitsType):
            self.refuse(s.selector.place, f"CASE needs an enumeration or INT, not {selector.type}")
            selector = None
        taken: list[tuple[int, int]] = []
        branches = []
        for branch in s.branches:
            spans = [
                part for label in branch.labels for part in self._label(label, selector, taken)
            ]
            body = self.body(branch.body)
            if spans:
                branches.append(ty.CaseBranch(tuple(spans), body, branch.place))
        otherwise = self.body(s.otherwise)
        return ty.Case(selector, tuple(branches), otherwise, s.place) if selector else None

    def _label(
        self, label: sx.Label, selector: ty.Expression | None, taken: list[tuple[int, int]]
    ) -> list[tuple[int, int]]:
        """What a label adds to the values that earlier ones have `taken`."""
        if selector is None:
            return []
        first = self._label_value(label.first, selector.type)
        last = first if label.last is None else self._label_value(label.last, selector.type)
        if first is None or last is None:
            return []
        if last < first:
            self.refuse(label.place, "the range is empty; write the lower value first")
            return []
        type_ = selector.type
        if isinstance(type_, IntType) and (last < type_.lo or first > type_.hi):
            self.refuse(label.place, f"this label is never met: the selector is {_span(type_)}")
            return []
        left = [(first, last)]
        for lo, hi in taken:
            # IEC 61131-3, CASE: the first branch that has the value is executed.
            if max(lo, first) <= min(hi, last):
                met = _values(max(lo, first), min(hi, last), type_)
                says = f"an earlier branch of this CASE has {met}, so this one is never executed"
                self.notes.append(sx.Note(label.place, f"{says} for it"))
            left = [part for span in left for part in ranges.without(span, (lo, hi))]
        taken += left
        return left

    def _label_value(self, e: sx.Expression, type_: Type) -> int | None:
        numbered = isinstance(type_, EnumType) and isinstance(e, sx.Number)
        value = self.expressions.check(e, None if numbered else type_)
        if value is None:
            return None
        constant = constant_of(value)
        if constant is None:
            self.refuse(e.place, "a CASE label must be constant")
        elif isinstance(type_, EnumType) and numbered:
            numbers = [type_.number_at(number) for number in range(len(type_.labels))]
            if constant not in numbers:
                self.refuse(e.place, f"no value of {type_.name} has the number {constant}")
                return None
            return numbers.index(constant)
        return constant


def _values(first: int, last: int, type_: Type) -> str:
    shown = label_of(type_, first)
    return shown if first == last else f"{shown}..{label_of(type_, last)}"


def _never_fits(value: Type, target: Type) -> bool:
    if not (isinstance(value, IntType) and isinstance(target, IntType)):
        return False
    return value.lo > target.hi or value.hi < target.lo


def _span(type_: Type) -> str:
    if not isinstance(type_, IntType):
        return str(type_)
    return str(type_.lo) if type_.lo == type_.hi else f"{type_.lo}..{type_.hi}"
