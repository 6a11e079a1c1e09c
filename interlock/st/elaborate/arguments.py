"""Arguments: what a call gives to a unit, and what it takes back."""

from __future__ import annotations

from contextlib import suppress

from interlock.base.errors import nearest
from interlock.st import syntax as sx
from interlock.st.elaborate.call import Call
from interlock.st.elaborate.shapes import (
    Block,
    Bound,
    Constant,
    Located,
    Reference,
    Standard,
    Unknown,
)
from interlock.st.elaborate.state import Frame, UnknowableError
from interlock.st.elaborate.strangers import Strangers
from interlock.st.elaborate.types import A_REFERENCE

_FORMAL_KINDS = ("VAR_INPUT", "VAR_IN_OUT", "VAR_OUTPUT")


class Arguments(Strangers):
    """Passes arguments."""

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
