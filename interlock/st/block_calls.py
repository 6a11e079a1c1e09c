"""The checker of calls of standard blocks: inputs, outputs, and what all calls of one tell."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from typing import Protocol

from interlock.base.errors import Place, nearest
from interlock.st import ranges
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS, Block
from interlock.st.declare import Declarations
from interlock.st.evaluate import constant_of
from interlock.st.expressions import ExpressionChecker
from interlock.st.inference import infer_ranges
from interlock.st.types import BOOL, LIMITS, TIME, IntType, Type, span_of
from interlock.st.unify import adapted, agree, whole


class Checker(Protocol):
    """What the calls need of the checker of statements."""

    declared: Declarations
    expressions: ExpressionChecker

    def target(self, target: sx.Target) -> tuple[ty.Declared, int | None] | None:
        """The variable that is assigned, and which bit of it where it is only one."""
        ...


class CallsOfBlocks:
    """Checks the calls of blocks.

    Parameters
    ----------
    checker : Checker
    """

    def __init__(self, checker: Checker) -> None:
        self._checker = checker
        self._declared = checker.declared
        self._expressions = checker.expressions
        self._refuse = checker.expressions.refuse
        # What each instance's calls give, to compare the calls with each other.
        self._calls: dict[str, list[sx.Invoke]] = {}
        self._presets: dict[str, list[ty.Expression]] = {}

    def invoke(self, s: sx.Invoke) -> Iterable[ty.Statement]:
        """The call `s`, and what follows it where an output is given to a bit or negated."""
        instance = self._declared.instances.get(s.instance.text.casefold())
        if instance is None or s.on is not None:
            self._refuse_call(s)
            return ()
        block = BLOCKS[instance.block]
        inputs = self._inputs(s, instance, block)
        self._calls.setdefault(instance.name, []).append(s)
        taken: list[ty.Taken] = []
        behind: list[ty.Statement] = []
        for output in s.outputs:
            found = self._output(output, instance, block)
            if isinstance(found, ty.Taken):
                taken.append(found)
            elif found is not None:
                behind.append(found)
        return (ty.Invoke(instance.name, inputs, tuple(taken), s.place), *behind)

    def _refuse_call(self, s: sx.Invoke) -> None:
        text = s.instance.text
        names = [i.name for i in self._declared.instances.values()]
        if text.upper() in BLOCKS:
            says = f"{text.upper()} is a block's type; declare an instance of it in VAR, call that"
        elif self._expressions.scope.find(text) is not None:
            says = f"'{text}' is no function block and cannot be called"
        elif self._declared.is_refused(text):
            says = f"'{text}' cannot be called before its declaration is mended"
        else:
            says = f"'{text}' is not declared as a function block{nearest(text, names)}"
        self._refuse(s.instance.place, says)
        for argument in s.inputs:
            self._expressions.check(argument.value, None)

    def _inputs(
        self, s: sx.Invoke, instance: ty.Instance, block: Block
    ) -> tuple[tuple[str, ty.Expression], ...]:
        given: dict[str, ty.Expression] = {}
        named: set[str] = set()
        for argument in s.inputs:
            name = argument.name.upper()
            if name not in block.inputs:
                known = ", ".join(block.inputs)
                self._refuse(
                    argument.place, f"{block.name} has no input '{argument.name}'; inputs: {known}"
                )
            elif name in named:
                self._refuse(argument.place, f"input {name} is given twice")
            else:
                value = self._input_value(argument, block.inputs[name], instance.counted)
                if value is not None:
                    given[name] = value
                if value is not None and name == "PT":
                    self._presets.setdefault(instance.name, []).append(value)
            named.add(name)
        for name in block.inputs:
            if name not in named and name in block.needed:
                self._refuse(s.place, f"{instance.name} is called without its input {name}")
        return tuple(given.items())

    def _input_value(
        self, argument: sx.InputArgument, wanted: object, counted: str
    ) -> ty.Expression | None:
        if wanted in (BOOL, TIME):
            return self._expressions.check(argument.value, BOOL if wanted == BOOL else TIME)
        value = self._expressions.check(argument.value, None)
        if value is None:
            return None
        integer = whole(adapted(value, IntType(0, 0), True).type)
        if integer is None:
            self._refuse(
                argument.value.place,
                f"input {argument.name} needs {counted}; this is of type {value.type}",
            )
            return None
        value = adapted(value, IntType(0, 0), True)
        if ranges.within((integer.lo, integer.hi), LIMITS[counted]):
            return value
        type_ = IntType(*LIMITS[counted], counted)
        return ty.Call(f"TO_{counted}", (value,), type_, argument.value.place)

    def _output(
        self, o: sx.OutputArgument, instance: ty.Instance, block: Block
    ) -> ty.Taken | ty.Assign | None:
        name = o.name.upper()
        source = self._expressions.scope.find(f"{instance.name}.{name}")
        if source is None:
            known = ", ".join(block.outputs)
            self._refuse(o.place, f"{block.name} has no output '{o.name}'; outputs: {known}")
            return None
        found = self._checker.target(o.target)
        if found is None:
            return None
        target, bit = found
        if name == "ET":
            self._expressions.elapsed_reads.append(o.place)
        wanted: Type = target.type if bit is None else BOOL
        if not agree(source.type, wanted) or (o.negated and source.type != BOOL):
            self._refuse(
                o.target.place,
                f"'{target.name}' is of type {target.type}; {name} is {block.outputs[name]}",
            )
            return None
        if bit is None and not o.negated:
            return ty.Taken(name, target.name, target.type, source.type, o.place)
        value: ty.Expression = ty.Read(source.name, source.type, o.place)
        if o.negated:
            value = ty.Unary("NOT", value, BOOL, o.place)
        if bit is not None:
            return set_bit(target, bit, value, o.place)
        return ty.Assign(target.name, target.type, value, o.place)

    def finished_instances(self) -> tuple[ty.Instance, ...]:
        """The instances with what their calls have shown; optional inputs are compared."""
        result = []
        for instance in self._declared.instances.values():
            calls = self._calls.get(instance.name, [])
            for name in BLOCKS[instance.block].inputs:
                giving = [any(a.name.upper() == name for a in call.inputs) for call in calls]
                if name not in BLOCKS[instance.block].needed and len(set(giving)) > 1:
                    bare = calls[giving.index(False)]
                    self._refuse(
                        bare.place,
                        f"{instance.name} is called without {name} here and with it elsewhere; "
                        "give it in every call",
                    )
            result.append(self._with_preset(instance))
        return tuple(result)

    def _with_preset(self, instance: ty.Instance) -> ty.Instance:
        """A preset time that is the same constant in every call is the instance's own."""
        presets = self._presets.get(instance.name, [])
        times = {constant_of(preset) for preset in presets}
        if None in times or len(times) > 1:
            greatest = max(span_of(preset.type)[1] for preset in presets)
            return replace(instance, preset_ms=max(greatest, 0), varies=True)
        fixed = next(iter(times), None)
        return replace(instance, preset_ms=max(fixed or 0, 0))


def set_bit(target: ty.Declared, bit: int, value: ty.Expression, place: Place) -> ty.Assign:
    """``target.bit := value``."""
    number = ty.Constant(bit, IntType(bit, bit, ""), str(bit), place)
    before = ty.Read(target.name, target.type, place)
    base = getattr(target.type, "base", "")
    type_ = IntType(*LIMITS[base], base) if isinstance(target.type, IntType) else target.type
    changed = ty.Call("WITH_BIT", (before, number, value), type_, place)
    return ty.Assign(target.name, target.type, changed, place)


def without_presets(
    body: Iterable[ty.Statement], varying: Collection[str]
) -> tuple[ty.Statement, ...]:
    """`body` with preset times only in calls of the instances whose preset time varies."""
    return tuple(_stripped(body, varying))


def _stripped(body: Iterable[ty.Statement], varying: Collection[str]) -> Iterator[ty.Statement]:
    for s in body:
        match s:
            case ty.Invoke():
                keeps = s.instance in varying
                inputs = tuple(pair for pair in s.inputs if keeps or pair[0] != "PT")
                yield replace(s, inputs=inputs)
            case ty.If():
                branches = tuple(
                    replace(b, body=without_presets(b.body, varying)) for b in s.branches
                )
                yield replace(s, branches=branches, otherwise=without_presets(s.otherwise, varying))
            case ty.Case():
                cases = tuple(replace(b, body=without_presets(b.body, varying)) for b in s.branches)
                yield replace(s, branches=cases, otherwise=without_presets(s.otherwise, varying))
            case _:
                yield s


def with_greatest_presets(program: ty.Program) -> ty.Program:
    """`program` with the greatest preset time that each timer with a varying one can have."""
    presets = infer_ranges(program).presets

    def known(instance: ty.Instance) -> ty.Instance:
        greatest = max(presets.get(instance.name, (0, 0))[1], 0)
        # A time that is never positive has always run out, as T#0s.
        return replace(instance, preset_ms=greatest, varies=greatest > 0)

    instances = tuple(known(i) if i.varies else i for i in program.instances)
    return replace(program, instances=instances)
