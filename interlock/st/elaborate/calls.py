"""Calls: the code of a user's function, method, action or block is read where it is called."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, input_called
from interlock.st.elaborate.arguments import Arguments
from interlock.st.elaborate.call import Call, call_of
from interlock.st.elaborate.callees import Callee
from interlock.st.elaborate.declare import constants_first
from interlock.st.elaborate.shapes import (
    Block,
    Indexed,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Unknown,
    located,
)
from interlock.st.elaborate.state import Frame, UnknowableError

_BOOL = "BOOL"
_LASTING = ("VAR_STAT", "VAR_INST")


class Calls(Arguments):
    """Reads calls."""

    # Values

    def user_call(self, e: sx.Call, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        """Read the call of a user's function or method that gives a value."""
        call = call_of(e)
        try:
            callee = self.called_by(e.function, e.on, call, frame, out)
        except UnknowableError as reason:
            given = None if reason.at is None else self.foreign_result(e)
            if given is None:
                raise
            return given
        if callee is None:
            return None
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

    # Code

    def run(
        self, callee: Callee, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """Read what is called; returns where its result is, where it has one."""
        if callee.through is not None:
            return self._run_bound(callee, callee.through, call, frame, out)
        given = {a.name.upper(): a for a in call.inputs if a.name}
        enabled = given.get("EN")
        if enabled is None or (callee.unit is not None and _declares(callee.unit, "EN")):
            return self._run_each(callee, call, frame, out)
        inputs = tuple(a for a in call.inputs if a is not enabled)
        flag = self.temporary("EN", sx.TypeRef(_BOOL, None, None, call.place), call.place)
        taken = tuple(o for o in call.outputs if o.name.upper() != "ENO")
        inner: list[sx.Statement] = []
        try:
            self.want(enabled.value, _BOOL)
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

    def _run_bound(
        self,
        callee: Callee,
        through: Located,
        call: Call,
        frame: Frame,
        out: list[sx.Statement],
    ) -> Reference | None:
        """Read a call by a variable of an interface: nothing is done while it has no instance."""
        inner: list[sx.Statement] = []
        result = self.run(replace(callee, through=None), call, frame, inner)
        says = f"'{through.path}' stands for no instance yet"
        otherwise: list[sx.Statement] = [sx.Defect(says, call.place)]
        for part in () if result is None else located(result):
            if isinstance(part.shape, Scalar):
                self.write(part, self.default(part.shape), otherwise, call.place)
        branch = sx.Branch(self.is_bound(through, call.place), tuple(inner), call.place)
        out.append(sx.If((branch,), tuple(otherwise), call.place))
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
                reason = UnknowableError(call.place, shape.why, callee.on)
                self.reading.blind = self.reading.blind or reason
                self.foreign_call(reason, call, frame, out)
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
        for argument in named:
            if argument.name in block.inputs:
                self.want(argument.value, str(block.inputs[argument.name]))
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
        """Call what finds the edges of inputs declared with R_EDGE or F_EDGE."""
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
        for declaration in constants_first(unit.declarations):
            if declaration.kind in ("VAR_IN_OUT", "VAR_EXTERNAL", "VAR_GLOBAL"):
                continue
            for name in declaration.names:
                shape = self.shape(declaration.type, own, name.text)
                key = name.text.casefold()
                if declaration.address:
                    says = f"a {unit.kind} has no variables at addresses; make it a VAR_GLOBAL"
                    raise self.reading.refuse(name.place, says)
                if self.is_constant(declaration, shape):
                    own.names[key] = self.constant_value(declaration, shape, own)
                elif declaration.kind in _LASTING:
                    own.names[key] = self._static(unit, name, declaration, shape, own)
                else:
                    self._refuse_memory(shape, name)
                    like = replace(declaration, kind="VAR_TEMP", retain=False, place=name.place)
                    given = declaration.initial if isinstance(shape, Block) else None
                    at = self.add(f"{own.path}.{name.text}", shape, given, own, like)
                    own.names[key] = at
                    anew.append((at, declaration.initial))
        return anew

    def _refuse_memory(self, shape: Shape, name: sx.Name) -> None:
        """An instance that lives as long as a call has no memory that could begin anew with it."""
        units = shape.line if isinstance(shape, Block) else ()
        if any(u.chart or any(d.edge for d in u.declarations) for u in units):
            says = f"'{name.text}' is an instance with edges or a chart; declare it in a block"
            raise self.reading.refuse(name.place, says)

    def _static(
        self, unit: sx.Unit, name: sx.Name, declaration: sx.Declaration, shape: Shape, own: Frame
    ) -> Reference:
        """A variable that stays from call to call; all calls share it."""
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


def _declares(unit: sx.Unit, name: str) -> bool:
    return any(n.text.upper() == name for d in unit.declarations for n in d.names)
