"""The checker: a syntax tree becomes a typed one, or every mistake in it is told."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.base.errors import InputError, Mistake, MistakeList, nearest
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, Block
from interlock.st.core import refuse_beyond_core
from interlock.st.declare import Declarations
from interlock.st.evaluate import constant_of
from interlock.st.expressions import ExpressionChecker
from interlock.st.parser import parse_program
from interlock.st.types import BOOL, EnumType, IntType, Scope, Type


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
    refuse_beyond_core(expression)
    mistakes = MistakeList()
    checker = ExpressionChecker(scope, mistakes, divides_surely=divides_surely)
    found = checker.check(expression, expected)
    if mistakes or found is None:
        raise InputError(mistakes)
    return found


def check_program(program: sx.Program, enums: Iterable[EnumType] = ()) -> ty.Program:
    """Type a program.

    Parameters
    ----------
    program : syntax.Program
    enums : iterable of EnumType
        Enumerations known besides the program's own.

    Raises
    ------
    InputError
        With every mistake of the program.
    """
    refuse_beyond_core(program)
    mistakes = MistakeList()
    declarations = Declarations(program, enums, mistakes)
    checker = _ProgramChecker(declarations, mistakes)
    body = checker.body(program.body)
    instances = checker.finished_instances()
    if mistakes:
        raise InputError(mistakes)
    return ty.Program(
        program.name,
        tuple(declarations.enums.values()),
        tuple(declarations.variables.values()),
        instances,
        body,
        tuple(checker.expressions.elapsed_reads),
        program.place,
    )


def load_program(text: str, file: str, enums: Iterable[EnumType] = ()) -> ty.Program:
    """Parse and type the program in `text`.

    Raises
    ------
    InputError
        With every mistake of the first of the two that finds any.
    """
    return check_program(parse_program(text, file), enums)


class _ProgramChecker:
    def __init__(self, declarations: Declarations, mistakes: list[Mistake]) -> None:
        self.declared = declarations
        self.mistakes = mistakes
        self.expressions = ExpressionChecker(
            declarations.scope(), mistakes, declarations.is_refused
        )
        self.refuse = self.expressions.refuse
        # What each instance's calls give, to compare the calls with each other.
        self._calls: dict[str, list[sx.Invoke]] = {}
        self._presets_ms: dict[str, int] = {}

    def body(self, statements: Iterable[sx.Statement]) -> tuple[ty.Statement, ...]:
        checked = [self._statement(statement) for statement in statements]
        return tuple(statement for statement in checked if statement is not None)

    def _statement(self, s: sx.Statement) -> ty.Statement | None:
        match s:
            case sx.Assign():
                return self._assign(s)
            case sx.If():
                return self._if(s)
            case sx.Case():
                return self._case(s)
            case sx.Invoke():
                return self._invoke(s)
            case _:
                return None

    # Assignments

    def _target(self, name: sx.Target) -> ty.Declared | None:
        assert isinstance(name, sx.Name), "the core assigns to names only"
        variable = self.declared.variables.get(name.text.casefold())
        if variable is not None and variable.kind != "VAR_INPUT":
            return variable
        self.refuse(name.place, self._why_not_assigned(name.text, variable))
        return None

    def _why_not_assigned(self, text: str, variable: ty.Declared | None) -> str:
        if variable is not None:
            return f"'{variable.name}' is an input; inputs cannot be assigned"
        instance, dot, member = text.partition(".")
        owner = self.declared.instances.get(instance.casefold())
        if owner is not None and dot:
            block = BLOCKS[owner.block]
            if member.upper() in block.inputs:
                return f"give {text} in the call: {owner.name}({member.upper()} := …)"
            return f"'{text}' cannot be assigned; only {owner.block} itself writes it"
        if owner is not None:
            return f"'{owner.name}' is a {owner.block}; call it: {owner.name}(…)"
        if self.expressions.scope.owners_of(text):
            return f"'{text}' is a value of an enumeration and cannot be assigned"
        names = [v.name for v in self.declared.variables.values() if v.kind != "VAR_INPUT"]
        if self.declared.is_refused(text):
            return f"'{text}' cannot be assigned before its declaration is mended"
        return f"'{text}' is not declared{nearest(text, names)}"

    def _assign(self, s: sx.Assign) -> ty.Statement | None:
        target = self._target(s.target)
        value = self.expressions.check(s.value, target.type if target else None)
        if target is None or value is None:
            return None
        if self._never_fits(value.type, target.type):
            self.refuse(
                s.value.place,
                f"the value is {_span(value.type)}, never within {_span(target.type)} "
                f"of '{target.name}'",
            )
            return None
        return ty.Assign(target.name, target.type, value, s.place)

    @staticmethod
    def _never_fits(value: Type, target: Type) -> bool:
        if not (isinstance(value, IntType) and isinstance(target, IntType)):
            return False
        return value.lo > target.hi or value.hi < target.lo

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
        if selector is not None and not isinstance(selector.type, EnumType | IntType):
            self.refuse(s.selector.place, f"CASE needs an enumeration or INT, not {selector.type}")
            selector = None
        taken: list[tuple[int, int]] = []
        branches = []
        for branch in s.branches:
            found = [self._label(label, selector, taken) for label in branch.labels]
            spans = tuple(span for span in found if span is not None)
            branches.append(ty.CaseBranch(spans, self.body(branch.body), branch.place))
        otherwise = self.body(s.otherwise)
        return ty.Case(selector, tuple(branches), otherwise, s.place) if selector else None

    def _label(
        self, label: sx.Label, selector: ty.Expression | None, taken: list[tuple[int, int]]
    ) -> tuple[int, int] | None:
        if selector is None:
            return None
        first = self._label_value(label.first, selector.type)
        last = first if label.last is None else self._label_value(label.last, selector.type)
        if first is None or last is None:
            return None
        if last < first:
            self.refuse(label.place, "the range is empty; write the lower value first")
            return None
        if any(first <= hi and lo <= last for lo, hi in taken):
            self.refuse(label.place, "this label overlaps an earlier one of the same CASE")
            return None
        type_ = selector.type
        if isinstance(type_, IntType) and (last < type_.lo or first > type_.hi):
            self.refuse(label.place, f"this label is never met: the selector is {_span(type_)}")
            return None
        taken.append((first, last))
        return first, last

    def _label_value(self, e: sx.Expression, type_: Type) -> int | None:
        value = self.expressions.check(e, type_)
        if value is None:
            return None
        constant = constant_of(value)
        if constant is None:
            self.refuse(e.place, "a CASE label must be constant")
        return constant

    # Blocks

    def _invoke(self, s: sx.Invoke) -> ty.Statement | None:
        instance = self.declared.instances.get(s.instance.text.casefold())
        if instance is None:
            self._refuse_call(s)
            return None
        block = BLOCKS[instance.block]
        inputs = self._inputs(s, instance, block)
        outputs = [self._output(o, instance, block) for o in s.outputs]
        self._calls.setdefault(instance.name, []).append(s)
        taken = tuple(o for o in outputs if o is not None)
        return ty.Invoke(instance.name, inputs, taken, s.place)

    def _refuse_call(self, s: sx.Invoke) -> None:
        text = s.instance.text
        names = [i.name for i in self.declared.instances.values()]
        if text.upper() in BLOCKS:
            says = f"{text.upper()} is a block's type; declare an instance of it in VAR, call that"
        elif self.expressions.scope.find(text) is not None:
            says = f"'{text}' is no function block and cannot be called"
        elif self.declared.is_refused(text):
            says = f"'{text}' cannot be called before its declaration is mended"
        else:
            says = f"'{text}' is not declared as a function block{nearest(text, names)}"
        self.refuse(s.instance.place, says)
        for argument in s.inputs:
            self.expressions.check(argument.value, None)

    def _inputs(
        self, s: sx.Invoke, instance: ty.Instance, block: Block
    ) -> tuple[tuple[str, ty.Expression], ...]:
        given: dict[str, ty.Expression] = {}
        named: set[str] = set()
        for argument in s.inputs:
            name = argument.name.upper()
            if name not in block.inputs:
                known = ", ".join(block.inputs)
                self.refuse(
                    argument.place, f"{block.name} has no input '{argument.name}'; inputs: {known}"
                )
            elif name in named:
                self.refuse(argument.place, f"input {name} is given twice")
            elif name == "PT":
                self._preset(argument, instance)
            else:
                wanted = block.inputs[name]
                value = self._input_value(argument, wanted if wanted == BOOL else None)
                if value is not None:
                    given[name] = value
            named.add(name)
        for name in block.inputs:
            if name not in named and name in block.needed:
                self.refuse(s.place, f"{instance.name} is called without its input {name}")
        return tuple(given.items())

    def _input_value(
        self, argument: sx.InputArgument, expected: Type | None
    ) -> ty.Expression | None:
        value = self.expressions.check(argument.value, expected)
        if value is None or expected is not None or isinstance(value.type, IntType):
            return value
        self.refuse(
            argument.value.place, f"input {argument.name} needs INT; this is of type {value.type}"
        )
        return None

    def _preset(self, argument: sx.InputArgument, instance: ty.Instance) -> None:
        if not isinstance(argument.value, sx.Duration):
            self.refuse(argument.value.place, "PT must be a TIME constant, such as T#5s")
            return
        before = self._presets_ms.setdefault(instance.name, argument.value.ms)
        if before != argument.value.ms:
            self.refuse(argument.value.place, f"{instance.name} has another PT in an earlier call")

    def _output(self, o: sx.OutputArgument, instance: ty.Instance, block: Block) -> ty.Taken | None:
        name = o.name.upper()
        source = self.expressions.scope.find(f"{instance.name}.{name}")
        if source is None:
            known = ", ".join(block.outputs)
            self.refuse(o.place, f"{block.name} has no output '{o.name}'; outputs: {known}")
            return None
        target = self._target(o.target)
        if target is None:
            return None
        both_int = isinstance(source.type, IntType) and isinstance(target.type, IntType)
        if source.type != target.type and not both_int:
            self.refuse(
                o.target.place,
                f"'{target.name}' is of type {target.type}; {name} is {block.outputs[name]}",
            )
            return None
        return ty.Taken(name, target.name, target.type, source.type, o.place)

    def finished_instances(self) -> tuple[ty.Instance, ...]:
        """The instances with what their calls have shown; optional inputs are compared."""
        result = []
        for instance in self.declared.instances.values():
            calls = self._calls.get(instance.name, [])
            for name in BLOCKS[instance.block].inputs:
                giving = [any(a.name.upper() == name for a in call.inputs) for call in calls]
                if name not in BLOCKS[instance.block].needed and len(set(giving)) > 1:
                    bare = calls[giving.index(False)]
                    self.refuse(
                        bare.place,
                        f"{instance.name} is called without {name} here and with it elsewhere; "
                        "give it in every call",
                    )
            result.append(
                ty.Instance(
                    instance.name,
                    instance.block,
                    instance.retain,
                    self._presets_ms.get(instance.name, 0),
                    instance.place,
                )
            )
        return tuple(result)


def _span(type_: Type) -> str:
    if not isinstance(type_, IntType):
        return str(type_)
    return str(type_.lo) if type_.lo == type_.hi else f"{type_.lo}..{type_.hi}"
