"""Calls: the code of a user's function, method, action or block is read where it is called."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, input_called
from interlock.st.elaborate.expressions import Expressions
from interlock.st.elaborate.reading import read_by, written_by
from interlock.st.elaborate.shapes import (
    Array,
    Block,
    Bound,
    Constant,
    Indexed,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Structure,
    Unknown,
    leaves,
    located,
)
from interlock.st.elaborate.state import Frame, PointedError, UnknowableError
from interlock.st.elaborate.types import A_REFERENCE

_FORMAL_KINDS = ("VAR_INPUT", "VAR_IN_OUT", "VAR_OUTPUT")
_BOOL = "BOOL"
_LASTING = ("VAR_STAT", "VAR_INST")


@dataclass(frozen=True)
class Call:
    """The arguments of a call, and where it stands."""

    inputs: tuple[sx.InputArgument, ...]
    outputs: tuple[sx.OutputArgument, ...]
    place: Place


@dataclass(frozen=True)
class Callee:
    """What is called: `unit` on the instance `on`, or the instance itself.

    Attributes
    ----------
    unit : syntax.Unit or None
        A function or a method.
    action : syntax.Action or None
    on : Reference or None
        The instance; None for a function, and for an action of a program.
    base_of : syntax.Unit or None
        Where the base of this unit is called, as by SUPER.
    """

    unit: sx.Unit | None = None
    action: sx.Action | None = None
    on: Reference | None = None
    base_of: sx.Unit | None = None


class Calls(Expressions):
    """Reads calls."""

    # What is called

    def callee(
        self,
        text: str,
        on: sx.Expression | None,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> Callee | None:
        """What ``text`` names as a callee; None where it is no user's code and no instance."""
        if on is not None:
            base = self.reached(on, frame, out)
            if base is None:
                assert isinstance(on, sx.Name)
                raise self.undeclared(on, frame)
            return Callee(on=base) if not text else self._on_instance(base, text, place)
        owner, _, last = text.rpartition(".")
        if not owner:
            return self._by_name(text, frame)
        if owner.upper() == "SUPER":
            return self._on_super(last, frame, place)
        found = self.reached(sx.Name(owner, place), frame, out)
        if found is None:
            unit = self.project.unit(text)
            return Callee(unit) if unit is not None and unit.kind == "FUNCTION" else None
        return self._on_instance(found, last, place)

    def called_by(
        self,
        text: str,
        on: sx.Expression | None,
        outputs: Iterable[sx.OutputArgument],
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> Callee | None:
        """As `callee`; where that is not known, nothing is of what the outputs are given to."""
        try:
            return self.callee(text, on, frame, out, place)
        except UnknowableError as reason:
            self.lose_outputs(outputs, reason, frame)
            raise

    def _by_name(self, name: str, frame: Frame) -> Callee | None:
        instance = frame.instance or frame
        if name.upper() == "SUPER" and instance.block is not None:
            return Callee(on=Located(instance.path, instance.block), base_of=frame.unit)
        variable = frame.find(name)
        if variable is not None and not isinstance(variable.shape, Scalar):
            return Callee(on=variable)
        if instance.block is not None:
            own = Located(instance.path, instance.block)
            method = self.accessor(instance.block, name, "METHOD")
            if method is not None:
                return Callee(method, on=own)
            action = _action(instance.block.line, name)
            if action is not None:
                return Callee(action=action, on=own)
        elif frame.unit is not None:
            action = _action((frame.unit,), name)
            if action is not None:
                return Callee(action=action)
        unit = self.project.unit(name)
        if unit is not None and unit.kind == "FUNCTION":
            return Callee(unit)
        outer = self.global_reference(name)
        return None if outer is None or isinstance(outer.shape, Scalar) else Callee(on=outer)

    def _on_instance(self, base: Reference, name: str, place: Place) -> Callee:
        shape = base.shape
        if isinstance(shape, Unknown):
            raise UnknowableError(place, shape.why)
        if isinstance(shape, Bound):
            raise self.unbound(shape, name, place)
        if isinstance(shape, Block):
            method = self.accessor(shape, name, "METHOD")
            if method is not None:
                return Callee(method, on=base)
            action = _action(shape.line, name)
            if action is not None:
                return Callee(action=action, on=base)
        return Callee(on=self.member(base, name, place))

    def _on_super(self, name: str, frame: Frame, place: Place) -> Callee:
        instance = frame.instance or frame
        if instance.block is None or frame.unit is None:
            raise self.reading.refuse(place, "SUPER stands in the code of a FUNCTION_BLOCK only")
        line = self._after(instance.block, self.owner_of(frame))
        method = self.accessor(replace(instance.block, line=line), name, "METHOD")
        if method is None:
            known = [m.name for unit in line for m in unit.methods]
            says = f"the base of {self.owner_of(frame).name} has no method '{name}'"
            raise self.reading.refuse(place, says + nearest(name, known))
        return Callee(method, on=Located(instance.path, instance.block))

    def owner_of(self, frame: Frame) -> sx.Unit:
        """The block in whose text the code of `frame` stands."""
        assert frame.unit is not None
        if frame.instance is not None and frame.instance.block is not None:
            for unit in frame.instance.block.line:
                if frame.unit in unit.methods or frame.unit is unit:
                    return unit
        return frame.unit

    def _after(self, block: Block, unit: sx.Unit) -> tuple[sx.Unit, ...]:
        numbers = [number for number, other in enumerate(block.line) if other is unit]
        return block.line[numbers[0] + 1 :] if numbers else ()

    # Values

    def user_call(self, e: sx.Call, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        """Read the call of a user's function or method that gives a value."""
        callee = self.called_by(e.function, e.on, e.outputs, frame, out, e.place)
        if callee is None:
            return None
        positional = tuple(sx.InputArgument("", a, a.place) for a in e.arguments)
        call = Call((*positional, *e.named), e.outputs, e.place)
        if callee.unit is None:
            says = (
                f"{e.function} gives no value; call a block as a statement of its own and read its "
                "output, as in t1.Q"
            )
            raise self.reading.refuse(e.place, says)
        result = self.run(callee, call, frame, out)
        if result is None:
            raise self.reading.refuse(e.place, f"{e.function} gives no value")
        return result

    def property_value(
        self, e: sx.Expression, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """Read the GET of a property; None where `e` is none."""
        got = self.property_of(e, "GET", frame, out)
        return None if got is None else self.run(got, Call((), (), e.place), frame, out)

    def property_of(
        self, e: sx.Expression, kind: str, frame: Frame, out: list[sx.Statement]
    ) -> Callee | None:
        """The GET or SET of the property that `e` names, or None."""
        if not any(m.kind == kind for unit in self.project.units.values() for m in unit.methods):
            return None
        match e:
            case sx.Name():
                owner, _, name = e.text.rpartition(".")
                instance = frame.instance or frame
                if not owner:
                    if instance.block is None or frame.find(name) is not None:
                        return None
                    base: Reference | None = Located(instance.path, instance.block)
                else:
                    base = self.reference(sx.Name(owner, e.place), frame, out)
            case sx.Member():
                base, name = self.reference(e.base, frame, out), e.name
            case _:
                return None
        if base is None or not isinstance(base.shape, Block):
            return None
        unit = self.accessor(base.shape, name, kind)
        return None if unit is None else Callee(unit, on=base)

    # Code

    def run(
        self, callee: Callee, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """Read what is called; returns where its result is, where it has one."""
        given = {a.name.upper(): a for a in call.inputs if a.name}
        enabled = given.get("EN")
        if enabled is None or (callee.unit is not None and _declares(callee.unit, "EN")):
            return self._run_each(callee, call, frame, out)
        inputs = tuple(a for a in call.inputs if a is not enabled)
        flag = self.temporary("EN", sx.TypeRef(_BOOL, None, None, call.place), call.place)
        taken = tuple(o for o in call.outputs if o.name.upper() != "ENO")
        inner: list[sx.Statement] = []
        try:
            out.append(sx.Assign(flag, self.value(enabled.value, frame, out), call.place))
        except UnknowableError as reason:
            # Whether it is executed is not known, so nothing is of what it writes.
            self._run_each(callee, Call(inputs, taken, call.place), frame, inner)
            self.lose_written(inner, reason)
            self.lose_outputs(call.outputs, reason, frame)
            raise
        result = self._run_each(callee, Call(inputs, taken, call.place), frame, inner)
        out.append(sx.If((sx.Branch(flag, tuple(inner), call.place),), (), call.place))
        for output in call.outputs:
            if output.name.upper() == "ENO":
                self.assign_to(output.target, flag, frame, out, output.place)
        return result

    def lose_outputs(
        self, outputs: Iterable[sx.OutputArgument], reason: UnknowableError, frame: Frame
    ) -> None:
        """What the outputs of a call are given to has no value that is known."""
        for output in outputs:
            with suppress(UnknowableError):
                self.lose(self.target(output.target, frame, []), reason)

    def _run_each(
        self, callee: Callee, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        if not isinstance(callee.on, Indexed):
            return self._run_one(callee, call, frame, out)
        result: Reference | None = None
        if callee.unit is not None and callee.unit.returns is not None:
            shape = self.shape(callee.unit.returns, frame, callee.unit.name)
            result = self.temporaries(callee.unit.name, shape, call.place)

        def one(choice: Reference, inner: list[sx.Statement]) -> None:
            got = self._run_one(replace(callee, on=choice), call, frame, inner)
            if result is not None and got is not None:
                self.copy(result, got, inner, call.place)

        self.for_each(callee.on, one, out)
        return result

    def for_each(
        self,
        at: Reference,
        act: Callable[[Reference, list[sx.Statement]], None],
        out: list[sx.Statement],
    ) -> None:
        """Do something with the one place that `at` leads to when it is executed."""
        if not isinstance(at, Indexed):
            act(at, out)
            return
        if isinstance(at.index, sx.Opaque):
            lost: list[sx.Statement] = []
            for choice in at.choices:
                self.for_each(choice, act, lost)
            self.lose_written(lost, UnknowableError(at.index.place, at.index.text))
            self.reading.note(at.place, f"left out: it depends on {at.index.text}")
            return
        branches = []
        for number, choice in enumerate(at.choices, at.first):
            body: list[sx.Statement] = []
            self.for_each(choice, act, body)
            value = sx.Number(abs(number), at.place)
            first = value if number >= 0 else sx.Unary("-", value, at.place)
            branches.append(
                sx.CaseBranch((sx.Label(first, None, at.place),), tuple(body), at.place)
            )
        last = at.first + len(at.choices) - 1
        says = f"the index is outside {at.first}..{last}"
        outside = (sx.Defect(says, at.place),)
        out.append(sx.Case(at.index, tuple(branches), outside, at.place))

    def _run_one(
        self, callee: Callee, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        if callee.action is not None:
            self.run_action(callee, frame, out)
            return None
        if callee.unit is not None:
            return self._call_unit(callee.unit, callee.on, call, frame, out)
        match callee.on:
            case Located(shape=Standard()):
                self._call_standard(callee.on, call, frame, out)
            case Located(shape=Block()):
                self._call_block(callee, call, frame, out)
            case Located(shape=Unknown() as shape):
                reason = UnknowableError(call.place, shape.why)
                self.reading.blind = self.reading.blind or reason
                self.lose_outputs(call.outputs, reason, frame)
                raise reason
            case _:
                raise self.reading.refuse(
                    call.place, "this is no function block and cannot be called"
                )
        return None

    def run_action(self, callee: Callee, frame: Frame, out: list[sx.Statement]) -> None:
        """Read the statements of an action on the variables of its instance."""
        assert callee.action is not None
        inner = frame
        if callee.on is not None:
            assert isinstance(callee.on, Located)
            instance = self.reading.instances[callee.on.path]
            if (frame.instance or frame) is not instance:
                inner = instance
        key = f"{inner.path}.{callee.action.name}"
        self._enter(key, callee.action.place, callee.action.name)
        own = replace(inner, returned="", loops=[])
        self.body(callee.action.body, own, out)
        self.reading.calling.pop()

    def _enter(self, key: str, place: Place, name: str) -> None:
        if key in self.reading.calling:
            raise self.reading.refuse(place, f"'{name}' calls itself, which IEC 61131-3 forbids")
        self.reading.calling.append(key)

    # Standard blocks

    def _call_standard(
        self, at: Located, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> None:
        try:
            self._standard_call(at, call, frame, out)
        except UnknowableError as reason:
            self.reading.mark(at.path, reason.place, reason.why)
            self.lose_outputs(call.outputs, reason, frame)
            raise

    def _standard_call(
        self, at: Located, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> None:
        assert isinstance(at.shape, Standard)
        self.check_known(at.path)
        block = BLOCKS[at.shape.name]
        named = [
            replace(argument, name=input_called(block, argument.name or name))
            for argument, name in zip(call.inputs, [*block.inputs, *[""] * 9], strict=False)
        ]
        given = {argument.name.upper() for argument in named}
        bad = [a for a in named if a.name not in block.inputs]
        is_short = not bad and len(given) == len(named) and not block.needed <= given
        if is_short:
            self.reading.found.explicit.add(at.path)
        values = self.operands([a.value for a in named], frame, out)
        inputs = [replace(a, value=v) for a, v in zip(named, values, strict=True)]
        if at.path in self.reading.found.explicit and not bad:
            for argument in inputs:
                name = sx.Name(f"{at.path}.{argument.name.upper()}", argument.place)
                out.append(sx.Assign(name, argument.value, argument.place))
            inputs = [
                sx.InputArgument(name, sx.Name(f"{at.path}.{name}", call.place), call.place)
                for name in block.inputs
            ]
        plain: list[tuple[sx.OutputArgument, Reference]] = []
        rest: list[tuple[sx.OutputArgument, Reference]] = []
        for output in call.outputs:
            target = self.target(output.target, frame, out)
            simple = isinstance(target, Located) and not output.negated
            (plain if simple else rest).append((output, target))
        taken = tuple(
            replace(o, target=sx.Name(self.writable(t), o.target.place))
            for o, t in plain
            if isinstance(t, Located) and t.path not in self.reading.found.unknown
        )
        instance = sx.Name(at.path, call.place)
        out.append(sx.Invoke(instance, tuple(inputs), taken, call.place))
        for output, target in rest:
            source: sx.Expression = sx.Name(f"{at.path}.{output.name.upper()}", output.place)
            if output.negated:
                source = sx.Unary("NOT", source, output.place)
            self.write(target, source, out, output.place)

    # Users' units

    def _call_block(
        self, callee: Callee, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> None:
        assert isinstance(callee.on, Located)
        assert isinstance(callee.on.shape, Block)
        instance = self.reading.instances[callee.on.path]
        shape = callee.on.shape
        own = replace(instance, names=dict(instance.names), returned="", loops=[])
        line = shape.line
        if callee.base_of is not None:
            line = self._after(shape, self.owner_of(frame))
            if not line:
                raise self.reading.refuse(call.place, f"{callee.base_of.name} extends nothing")
            own = replace(own, names={**own.names, **frame.names}, unit=line[0])
        self.pass_inputs(line, own, call, frame, out)
        self._enter(callee.on.path + f"/{line[0].name}", call.place, line[0].name)
        self.reading.reached.add(line[0].name.casefold())
        self.see_edges(own, call.place, out)
        out += self._temporaries_anew(line[0], own, call.place)
        self.code(line[0], own, out)
        self.reading.calling.pop()
        self.pass_outputs(own, call, frame, out)

    def see_edges(self, own: Frame, place: Place, out: list[sx.Statement]) -> None:
        for key, raw in own.raw.items():
            seen = own.names[key]
            assert isinstance(raw, Located)
            assert isinstance(seen, Located)
            given = sx.InputArgument("CLK", sx.Name(raw.path, place), place)
            out.append(sx.Invoke(sx.Name(seen.path[:-2], place), (given,), (), place))

    def _temporaries_anew(self, unit: sx.Unit, own: Frame, place: Place) -> list[sx.Statement]:
        anew = []
        for declaration in unit.declarations:
            if declaration.kind == "VAR_TEMP" and not declaration.constant:
                for name in declaration.names:
                    at = own.names[name.text.casefold()]
                    assert isinstance(at, Located)
                    anew.append((at, declaration.initial))
        return self.initials(anew, own, place)

    def _call_unit(
        self,
        unit: sx.Unit,
        on: Reference | None,
        call: Call,
        frame: Frame,
        out: list[sx.Statement],
    ) -> Reference | None:
        instance = None
        if on is not None:
            assert isinstance(on, Located)
            instance = self.reading.instances[on.path]
            here = frame.instance or frame
            if here.path == on.path and here.block is not None:
                # In-outs of the call that is being read are seen by its methods, too.
                instance = here
        path = f"{unit.name}@{self.reading.number()}"
        own = Frame(unit, {}, instance=instance, path=path)
        anew = self._locals(unit, own)
        result = None
        if unit.returns is not None:
            shape = self.shape(unit.returns, own, unit.name)
            like = sx.Declaration("VAR_TEMP", False, (), unit.returns, None, call.place)
            result = self.add(path, shape, None, own, like)
            own.names[unit.name.casefold()] = result
            anew.append((result, None))
        out += self.initials(anew, own, call.place)
        # An argument may call the same function: only the code must not.
        self.pass_inputs((unit,), own, call, frame, out)
        self._enter(f"{instance.path if instance else ''}.{id(unit)}", call.place, unit.name)
        self.reading.reached.add(unit.name.casefold())
        self.code(unit, own, out)
        self.reading.calling.pop()
        self.pass_outputs(own, call, frame, out)
        return result

    def _locals(self, unit: sx.Unit, own: Frame) -> list[tuple[Located, sx.Expression | None]]:
        anew: list[tuple[Located, sx.Expression | None]] = []
        for declaration in unit.declarations:
            if declaration.kind in ("VAR_IN_OUT", "VAR_EXTERNAL", "VAR_GLOBAL"):
                continue
            for name in declaration.names:
                shape = self.shape(declaration.type, own, name.text)
                key = name.text.casefold()
                if self.is_constant(declaration, shape):
                    own.names[key] = self.constant_value(declaration, shape, own)
                elif declaration.kind in _LASTING or isinstance(shape, Block | Standard):
                    own.names[key] = self._static(unit, name, declaration, shape, own)
                else:
                    like = replace(declaration, kind="VAR_TEMP", retain=False, place=name.place)
                    at = self.add(f"{own.path}.{name.text}", shape, None, own, like)
                    own.names[key] = at
                    anew.append((at, declaration.initial))
        return anew

    def _static(
        self, unit: sx.Unit, name: sx.Name, declaration: sx.Declaration, shape: Shape, own: Frame
    ) -> Reference:
        """A variable that stays from call to call; all calls share it."""
        if declaration.kind not in _LASTING:
            # It would begin anew at each call, and what it remembers would be of no use.
            return Located(f"{own.path}.{name.text}", Unknown(f"an instance in {unit.name}"))
        is_shared = declaration.kind == "VAR_STAT" or own.instance is None
        place = self.owner_of(own).name if is_shared else own.instance.path  # type: ignore[union-attr]
        path = f"{place}.{unit.name}.{name.text}".lstrip(".")
        known = self.reading.globals.get(f"static {path}")
        if known is None:
            like = replace(declaration, kind="VAR", place=name.place)
            known = self.add(path, shape, declaration.initial, own, like)
            self.reading.globals[f"static {path}"] = known
        return known

    def code(self, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        """Read the statements or the chart of a unit."""
        raise NotImplementedError

    def body(self, statements: Sequence[sx.Statement], own: Frame, out: list[sx.Statement]) -> None:
        """Read statements that RETURN leaves."""
        raise NotImplementedError

    # Arguments

    def pass_inputs(
        self,
        line: tuple[sx.Unit, ...],
        own: Frame,
        call: Call,
        frame: Frame,
        out: list[sx.Statement],
    ) -> None:
        """Give a unit its inputs and in-outs."""
        formal = {
            name.text.casefold(): (name, declaration)
            for unit in reversed(line)
            for declaration in unit.declarations
            if declaration.kind in _FORMAL_KINDS and not declaration.constant
            for name in declaration.names
        }
        if line[0].kind == "SET":
            # The code of a SET finds the new value under the property's name.
            (argument,) = call.inputs
            value = own.names[line[0].name.casefold()]
            self.assign(value, argument.value, frame, out, argument.place)
            return
        order = iter(formal)
        in_outs = {key for key, (_, d) in formal.items() if d.kind == "VAR_IN_OUT"}
        for argument in call.inputs:
            key = argument.name.casefold() if argument.name else next(order, "")
            if key not in formal:
                known = [n.text for n, d in formal.values() if d.kind != "VAR_OUTPUT"]
                says = (
                    f"{line[0].name} has no input '{argument.name}'{nearest(argument.name, known)}"
                )
                if not argument.name:
                    says = f"{line[0].name} takes {len(formal)} arguments; this is one too many"
                raise self.reading.refuse(argument.place, says)
            name, declaration = formal[key]
            in_outs.discard(key)
            self._pass_input(key, declaration, argument, own, frame, out)
        for key in in_outs - own.names.keys():
            name, _ = formal[key]
            says = f"{line[0].name} is called without its in-out '{name.text}'"
            raise self.reading.refuse(call.place, says)

    def _pass_input(
        self,
        key: str,
        declaration: sx.Declaration,
        argument: sx.InputArgument,
        own: Frame,
        frame: Frame,
        out: list[sx.Statement],
    ) -> None:
        shape = None
        if declaration.kind != "VAR_IN_OUT":
            shape = (own.raw.get(key) or own.names[key]).shape
        by_reference = shape is None or isinstance(shape, Bound | Block | Standard)
        if by_reference:
            try:
                at = self.reached(argument.value, frame, out)
            except UnknowableError as reason:
                at = Located(f"{own.path}.{key}", Unknown(reason.why))
            if at is None:
                assert isinstance(argument.value, sx.Name)
                raise self.undeclared(argument.value, frame)
            if isinstance(at, Constant) and declaration.kind == "VAR_IN_OUT":
                says = "an in-out needs a variable, and this is a constant"
                raise self.reading.refuse(argument.place, says)
            own.names[key] = self.fixed(at, out)
            return
        if shape == Unknown(A_REFERENCE):
            with suppress(UnknowableError):
                self.point_at(argument.value, frame)
        if declaration.kind == "VAR_OUTPUT":
            raise self.reading.refuse(argument.place, f"'{argument.name}' is an output; write =>")
        self.assign(own.raw.get(key) or own.names[key], argument.value, frame, out, argument.place)

    def fixed(self, at: Reference, out: list[sx.Statement]) -> Reference:
        """`at` with its index worked out now, so that it stays where it leads."""
        if not isinstance(at, Indexed):
            return at
        known: dict[sx.Expression, sx.Name] = {}

        def fix(part: Reference) -> Reference:
            if not isinstance(part, Indexed) or isinstance(part.index, sx.Opaque):
                return part
            if isinstance(part.index, sx.Name) and part.index.text.startswith("index@"):
                known[part.index] = part.index
            if part.index not in known:
                type_ = sx.TypeRef("DINT", None, None, part.place)
                known[part.index] = self.temporary("index", type_, part.place)
                out.append(sx.Assign(known[part.index], part.index, part.place))
            return replace(
                part, index=known[part.index], choices=tuple(fix(c) for c in part.choices)
            )

        return fix(at)

    def pass_outputs(self, own: Frame, call: Call, frame: Frame, out: list[sx.Statement]) -> None:
        """Give the outputs of a unit to the variables of its caller."""
        for output in call.outputs:
            source = own.names.get(output.name.casefold())
            if source is None:
                known = list(own.names)
                says = f"there is no output '{output.name}'{nearest(output.name, known)}"
                raise self.reading.refuse(output.place, says)
            with suppress(UnknowableError):
                self._pass_output(output, source, frame, out)

    def _pass_output(
        self,
        output: sx.OutputArgument,
        source: Reference,
        frame: Frame,
        out: list[sx.Statement],
    ) -> None:
        target = self.target(output.target, frame, out)
        if not output.negated:
            self.copy(target, source, out, output.place)
            return
        try:
            value = sx.Unary("NOT", self.read(source, output.target), output.place)
            self.write(target, value, out, output.place)
        except UnknowableError as reason:
            self.lose(target, reason)

    # Temporaries

    def temporary(self, name: str, type_: sx.TypeRef, place: Place) -> sx.Name:
        """A new variable that does not outlive the scan."""
        made = sx.Name(f"{name}@{self.reading.number()}", place)
        self.reading.declarations.append(
            sx.Declaration("VAR_TEMP", False, (made,), type_, None, place)
        )
        return made

    def temporaries(self, name: str, shape: Shape, place: Place) -> Located:
        """As `temporary`, of any shape."""
        type_ = sx.TypeRef(_BOOL, None, None, place)
        like = sx.Declaration("VAR_TEMP", False, (), type_, None, place)
        return self.add(f"{name}@{self.reading.number()}", shape, None, Frame(None, {}), like)

    def operands(
        self, expressions: Iterable[sx.Expression], frame: Frame, out: list[sx.Statement]
    ) -> list[sx.Expression]:
        """Several values that belong together, from left to right."""
        found: list[sx.Expression] = []
        unknown: UnknowableError | None = None
        for e in expressions:
            before = len(out)
            try:
                found.append(self.value(e, frame, out))
            except UnknowableError as reason:
                # What the others call is done all the same.
                unknown = unknown or reason
            if len(out) > before:
                changed = {path for path in written_by(out[before:]) if "@" not in path}
                both = sorted(changed & {name for f in found[:-1] for name in read_by(f)})
                if both:
                    says = (
                        f"this call changes '{both[0]}', which is read before it in the same "
                        "statement; call it in a statement of its own"
                    )
                    raise self.reading.refuse(e.place, says)
        if unknown is not None:
            raise unknown
        return found

    # Writing

    def reached(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        """Where `e` leads, that may be written there; None for a name that is no variable."""
        try:
            at = self.reference(e, frame, out)
        except PointedError as reason:
            self.reading.blind = reason
            raise
        if at is not None and at.shape == Unknown(A_REFERENCE):
            self.reading.blind = UnknowableError(e.place, A_REFERENCE)
        return at

    def target(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference:
        """Where an assignment to `e` goes."""
        at = self.reached(e, frame, out)
        if at is None:
            assert isinstance(e, sx.Name)
            # The checker says what is wrong with a name that nothing is known of.
            return Located(e.text, Scalar(sx.TypeRef(_BOOL, None, None, e.place)))
        return at

    def assign_to(
        self,
        target: sx.Expression,
        value: sx.Expression,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign a value over scalars."""
        self.write(self.target(target, frame, out), value, out, place)

    def assign(
        self,
        at: Reference,
        value: sx.Expression,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign a value as written, of any shape; where it has no meaning, nor has the target."""
        try:
            if isinstance(value, sx.Call) and self._is_enabled_standard(value, frame, place):
                self._assign_enabled(at, value, frame, out, place)
                return
            if isinstance(at.shape, Scalar):
                self.write(at, self.value(value, frame, out), out, place)
                return
            if isinstance(at.shape, Standard | Block):
                self.write(at, sx.Truth(False, place), out, place)
            if isinstance(value, sx.Call):
                source = self.called(value, frame, out)
            else:
                found = self.property_value(value, frame, out)
                source = found or self.reference(value, frame, out) or value
            if not isinstance(source, Located | Indexed):
                raise self.reading.refuse(place, "one value cannot be assigned to many")
            self.copy(at, source, out, place)
        except UnknowableError as reason:
            self.lose(at, reason)
            self.reading.note(place, f"left out: it depends on {reason.why}")

    def _is_enabled_standard(self, e: sx.Call, frame: Frame, place: Place) -> bool:
        """Whether a standard function is called with EN or ENO."""
        named = {a.name.upper() for a in e.named} | {o.name.upper() for o in e.outputs}
        return (
            bool(named & {"EN", "ENO"}) and self.callee(e.function, e.on, frame, [], place) is None
        )

    def _assign_enabled(
        self,
        at: Reference,
        e: sx.Call,
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        """Assign what a standard function gives, or the first value of the type without EN."""
        if not isinstance(at.shape, Scalar):
            raise self.reading.refuse(place, "one value cannot be assigned to many")
        given = next((a.value for a in e.named if a.name.upper() == "EN"), sx.Truth(True, place))
        flag = self.temporary("EN", sx.TypeRef(_BOOL, None, None, place), place)
        out.append(sx.Assign(flag, self.value(given, frame, out), place))
        named = tuple(a for a in e.named if a.name.upper() != "EN")
        taken = tuple(o for o in e.outputs if o.name.upper() != "ENO")
        inner: list[sx.Statement] = []
        self.assign(at, replace(e, named=named, outputs=taken), frame, inner, place)
        otherwise: list[sx.Statement] = []
        self.write(at, self.default(at.shape), otherwise, place)
        branch = sx.Branch(flag, tuple(inner), place)
        out.append(sx.If((branch,), tuple(otherwise), place))
        for output in e.outputs:
            if output.name.upper() == "ENO":
                self.assign_to(output.target, flag, frame, out, output.place)

    def lose_written(self, statements: Iterable[sx.Statement], reason: UnknowableError) -> None:
        """What `statements` write has no value that is known."""
        for path in written_by(statements):
            self.reading.mark(path, reason.place, reason.why)

    def lose(self, at: Reference, reason: UnknowableError) -> None:
        """What `at` leads to has no value that is known."""
        for part in located(at):
            for leaf in leaves(part.path, part.shape):
                self.reading.mark(leaf.path, reason.place, reason.why)

    def copy(self, to: Reference, source: Reference, out: list[sx.Statement], place: Place) -> None:
        """Assign a variable of any shape to one of the same shape."""
        if isinstance(to.shape, Unknown):
            return
        if isinstance(source.shape, Unknown):
            self.lose(to, UnknowableError(place, source.shape.why))
            return
        if isinstance(to.shape, Scalar) and isinstance(source.shape, Scalar):
            try:
                self.write(to, self.read(source, sx.Name("", place)), out, place)
            except UnknowableError as reason:
                self.lose(to, reason)
            return
        # What is copied first may be what the index is worked out from.
        to, source = self.fixed(to, out), self.fixed(source, out)
        pairs = self._parts(to, source, place)
        for inner_to, inner_source in pairs:
            self.copy(inner_to, inner_source, out, place)

    def _parts(
        self, to: Reference, source: Reference, place: Place
    ) -> list[tuple[Reference, Reference]]:
        a, b = to.shape, source.shape
        if isinstance(a, Structure) and isinstance(b, Structure) and a.name == b.name:
            names = [member.name for member in a.fields]
            return [(self.member(to, n, place), self.member(source, n, place)) for n in names]
        if isinstance(a, Array) and isinstance(b, Array):
            sizes = [[hi - lo for lo, hi in shape.limits] for shape in (a, b)]
            if sizes[0] == sizes[1]:
                return self._elements(to, a, source, b, place)
        raise self.reading.refuse(place, "these are not of the same type")

    def _elements(
        self, to: Reference, a: Array, source: Reference, b: Array, place: Place
    ) -> list[tuple[Reference, Reference]]:
        def numbers(shape: Array, offsets: tuple[int, ...]) -> list[sx.Expression]:
            values = [lo + o for (lo, _), o in zip(shape.limits, offsets, strict=True)]
            return [
                sx.Number(v, place) if v >= 0 else sx.Unary("-", sx.Number(-v, place), place)
                for v in values
            ]

        found = []
        for offsets in _offsets([hi - lo + 1 for lo, hi in a.limits]):
            left = self._element(to, numbers(a, offsets), place)
            right = self._element(source, numbers(b, offsets), place)
            found.append((left, right))
        return found

    def write(
        self, at: Reference, value: sx.Expression, out: list[sx.Statement], place: Place
    ) -> None:
        """Assign a value over scalars where `at` leads."""
        raise NotImplementedError

    def writable(self, at: Located) -> str:
        """The path to assign to; an input of the root that is assigned gets a copy."""
        if at.path in self.reading.inputs:
            self.reading.found.copied.add(at.path)
        return at.path


def _offsets(sizes: Sequence[int]) -> list[tuple[int, ...]]:
    if not sizes:
        return [()]
    return [(n, *rest) for n in range(sizes[0]) for rest in _offsets(sizes[1:])]


def _action(line: Iterable[sx.Unit], name: str) -> sx.Action | None:
    for unit in line:
        for action in unit.actions:
            if action.name.casefold() == name.casefold():
                return action
    return None


def _declares(unit: sx.Unit, name: str) -> bool:
    return any(n.text.upper() == name for d in unit.declarations for n in d.names)
