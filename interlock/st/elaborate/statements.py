"""Statements over scalars."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS
from interlock.st.elaborate.call import Call
from interlock.st.elaborate.loops import Loops, Passes
from interlock.st.elaborate.reading import leaves_of
from interlock.st.elaborate.shapes import (
    Bit,
    Block,
    Bound,
    Constant,
    Indexed,
    Located,
    Reference,
    Scalar,
    Standard,
    Unknown,
)
from interlock.st.elaborate.standard import is_standard
from interlock.st.elaborate.state import Frame, Loop, ToldError, UnknowableError
from interlock.st.elaborate.types import A_REFERENCE

_LEAVES = frozenset(("EXIT", "CONTINUE", "RETURN"))

_TYPES_OF_INSTANCES = ("FUNCTION_BLOCK", "CLASS", "INTERFACE")


def _is_of_an_instance(target: sx.Expression) -> bool:
    return isinstance(target, sx.Member) or (isinstance(target, sx.Name) and "." in target.text)


class Statements(Loops):
    """Reads statements."""

    def code(self, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        """Read the statements or the chart of a unit."""
        if unit.chart is not None:
            self.chart(unit, own, out)
        else:
            self.body(unit.body, own, out)

    def chart(self, unit: sx.Unit, own: Frame, out: list[sx.Statement]) -> None:
        """Read a chart."""
        raise NotImplementedError

    def body(self, statements: Sequence[sx.Statement], own: Frame, out: list[sx.Statement]) -> None:
        """Read statements that RETURN leaves."""
        if leaves_of(statements, frozenset(("RETURN",))):
            own.returned = self.flag("RETURN", statements[0].place, out)
        self.sequence(statements, own, out)

    def sequence(
        self, statements: Sequence[sx.Statement], frame: Frame, out: list[sx.Statement]
    ) -> None:
        """Read statements one after the other; what may be left is guarded from there on."""
        for number, statement in enumerate(statements):
            self.statement(statement, frame, out)
            rest = statements[number + 1 :]
            flags = self._flags(leaves_of([statement], _LEAVES), frame) if rest else []
            if flags:
                place = rest[0].place
                inner: list[sx.Statement] = []
                self.sequence(rest, frame, inner)
                try:
                    going = self.none_of(flags, place)
                except UnknowableError as reason:
                    self.lose_written(inner, reason)
                    return
                branch = sx.Branch(going, tuple(inner), place)
                out.append(sx.If((branch,), (), place))
                return

    def _flags(self, words: frozenset[str], frame: Frame) -> list[str]:
        flags = [frame.returned] if "RETURN" in words else []
        loop = frame.loops[-1] if frame.loops else Loop()
        flags += [loop.left] if words & {"EXIT", "RETURN"} and loop.left else []
        flags += [loop.skipped] if "CONTINUE" in words and loop.skipped else []
        return [flag for flag in flags if flag]

    def statement(self, s: sx.Statement, frame: Frame, out: list[sx.Statement]) -> None:
        """Read one statement."""
        try:
            match s:
                case sx.Assign():
                    self._assign(s, frame, out)
                case sx.If():
                    self._if(s.branches, s, frame, out)
                case sx.Case():
                    self._case(s, frame, out)
                case sx.Invoke():
                    self._invoke(s, frame, out)
                case sx.For():
                    self.count(s, frame, out)
                case sx.While():
                    self.pass_by_pass(Passes(s.body, s.place, s.condition), frame, out)
                case sx.Repeat():
                    until = Passes(s.body, s.place, s.until, is_late=True)
                    self.pass_by_pass(until, frame, out)
                case sx.Leave():
                    self._leave(s, frame, out)
                case sx.Refused():
                    raise self.reading.refuse(s.place, s.says)
                case _:
                    out.append(s)
        except ToldError:
            pass
        except UnknowableError as reason:
            self.reading.note(s.place, f"left out: it depends on {reason.why}")

    # Assignments

    def _assign(self, s: sx.Assign, frame: Frame, out: list[sx.Statement]) -> None:
        setter = self.property_of(s.target, "SET", frame, out)
        if setter is not None:
            assert setter.unit is not None
            given = sx.InputArgument(setter.unit.name, s.value, s.place)
            self.run(setter, Call((given,), (), s.place), frame, out)
            return
        start = len(out)
        at = self.target(s.target, frame, out)
        found = len(out)
        if isinstance(at.shape, Bound):
            self.bind(at, s.value, frame, out, s.place)
            return
        if isinstance(at.shape, Unknown):
            # Whatever the value calls is done all the same.
            self._only_calls(s.value, frame, out)
            if at.shape == Unknown(A_REFERENCE) and _is_of_an_instance(s.target):
                # A reference that an instance is given from outside may be bound so.
                self._bound_to(s.value, frame)
            self.stir(at, at.shape.why, out, s.place)
            raise UnknowableError(s.place, at.shape.why)
        if isinstance(s.value, sx.ArrayValue | sx.StructValue):
            raise self.reading.refuse(s.value.place, "name the members one by one")
        self.assign(at, s.value, frame, out, s.place)
        if isinstance(at, Indexed | Bit):
            self.refuse_entwined(at, out[start:found], out[found:], s.place)

    def _bound_to(self, e: sx.Expression, frame: Frame) -> None:
        if isinstance(e, sx.Name | sx.Element | sx.Member):
            with suppress(UnknowableError):
                self.point_at(e, frame)

    def _only_calls(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> None:
        with suppress(UnknowableError):
            self.value(e, frame, out)

    def write(
        self, at: Reference, value: sx.Expression, out: list[sx.Statement], place: Place
    ) -> None:
        """Assign a value over scalars where `at` leads."""
        match at:
            case Constant():
                raise self.reading.refuse(place, "a constant cannot be assigned")
            case Located(shape=Scalar()):
                if at.path not in self.reading.found.unknown:
                    out.append(sx.Assign(sx.Name(self.writable(at), place), value, place))
            case Indexed():
                self.for_each(at, lambda one, body: self.write(one, value, body, place), out)
            case Bit():
                self.for_each(at.base, lambda b, o: self._write_bit(b, at, value, o, place), out)
            case Located(shape=Unknown()):
                pass
            case Located(shape=Standard() | Block() as shape):
                says = f"'{at.path}' is an instance of {shape.name}, and instances are not copied"
                says += f"; call it: {at.path}(…), or assign its variables one by one"
                raise self.reading.refuse(place, says)
            case _:
                raise self.reading.refuse(place, "this cannot be assigned; name the part meant")

    def _write_bit(
        self,
        base: Reference,
        at: Bit,
        value: sx.Expression,
        out: list[sx.Statement],
        place: Place,
    ) -> None:
        if not isinstance(base, Located):
            raise self.reading.refuse(place, "a constant cannot be assigned")
        if base.path not in self.reading.found.unknown:
            target = sx.Member(sx.Name(self.writable(base), place), at.number, place)
            out.append(sx.Assign(target, value, place))

    # Branches

    def _if(
        self,
        branches: Sequence[sx.Branch],
        s: sx.If,
        frame: Frame,
        out: list[sx.Statement],
    ) -> None:
        made: list[sx.Branch] = []
        otherwise: list[sx.Statement] = []
        for number, branch in enumerate(branches):
            before: list[sx.Statement] = []
            self.want(branch.condition, "BOOL")
            try:
                condition = self.value(branch.condition, frame, before)
            except UnknowableError as reason:
                # Which branch is taken is not known from here on.
                self._lose_branches(branches[number:], s, frame, before, reason)
                otherwise = before
                break
            if before and made:
                # What this condition calls is called only where the ones before did not hold.
                self._if(branches[number:], s, frame, otherwise)
                break
            out += before
            body: list[sx.Statement] = []
            self.sequence(branch.body, frame, body)
            made.append(replace(branch, condition=condition, body=tuple(body)))
        else:
            self.sequence(s.otherwise, frame, otherwise)
        if made:
            out.append(replace(s, branches=tuple(made), otherwise=tuple(otherwise)))
        else:
            out += otherwise

    def _lose_branches(
        self,
        branches: Sequence[sx.Branch],
        s: sx.If,
        frame: Frame,
        before: list[sx.Statement],
        reason: UnknowableError,
    ) -> None:
        lost: list[sx.Statement] = []
        for branch in branches:
            with suppress(UnknowableError):
                self.value(branch.condition, frame, lost)
            self.sequence(branch.body, frame, lost)
        self.sequence(s.otherwise, frame, lost)
        self.lose_written([*before, *lost], reason)
        before.clear()
        self.reading.note(branches[0].place, f"left out: it depends on {reason.why}")

    def _case(self, s: sx.Case, frame: Frame, out: list[sx.Statement]) -> None:
        lost: list[sx.Statement] = []
        if s.branches and isinstance(s.branches[0].labels[0].first, sx.Number):
            self.want(s.selector, "DINT", is_sure=False)
        try:
            selector = self.value(s.selector, frame, out)
        except UnknowableError as reason:
            for branch in s.branches:
                self.sequence(branch.body, frame, lost)
            self.sequence(s.otherwise, frame, lost)
            self.lose_written(lost, reason)
            raise
        branches = []
        for branch in s.branches:
            labels = tuple(
                replace(
                    label,
                    first=self.constant(label.first, frame),
                    last=None if label.last is None else self.constant(label.last, frame),
                )
                for label in branch.labels
            )
            body: list[sx.Statement] = []
            self.sequence(branch.body, frame, body)
            branches.append(replace(branch, labels=labels, body=tuple(body)))
        otherwise: list[sx.Statement] = []
        self.sequence(s.otherwise, frame, otherwise)
        out.append(
            replace(s, selector=selector, branches=tuple(branches), otherwise=tuple(otherwise))
        )

    def _leave(self, s: sx.Leave, frame: Frame, out: list[sx.Statement]) -> None:
        if s.word == "RETURN":
            flags = [frame.returned, *(loop.left for loop in frame.loops)]
        elif not frame.loops:
            raise self.reading.refuse(s.place, f"{s.word} stands in no loop")
        else:
            loop = frame.loops[-1]
            flags = [loop.left if s.word == "EXIT" else loop.skipped]
        for flag in flags:
            if flag and flag not in self.reading.found.unknown:
                name = sx.Name(flag, s.place)
                out.append(sx.Assign(name, sx.Truth(True, s.place), s.place))

    # Calls

    def _invoke(self, s: sx.Invoke, frame: Frame, out: list[sx.Statement]) -> None:
        call = Call(s.inputs, s.outputs, s.place)
        callee = self.called_by(s.instance.text, s.on, call, frame, out)
        if callee is None:
            if s.bare:
                raise self.reading.refuse(
                    s.place, f"'{s.instance.text}' alone is no statement; call it with ( )"
                )
            self._standard_function(s, frame, out)
            return
        self.run(callee, call, frame, out)

    def _refuse_type(self, name: str, place: Place, frame: Frame) -> None:
        """A block is called by an instance, not by the name of its type."""
        unit = self.project.unit(name)
        is_type = name.upper() in BLOCKS or (unit is not None and unit.kind in _TYPES_OF_INSTANCES)
        if is_type and frame.find(name) is None:
            says = f"'{name}' is a type of blocks; declare an instance of it in VAR and call that"
            raise self.reading.refuse(place, says)

    def _standard_function(self, s: sx.Invoke, frame: Frame, out: list[sx.Statement]) -> None:
        """A standard function called as a statement gives its result to an output, if at all."""
        target = next(
            (o for o in s.outputs if o.name.upper() in ("OUT", s.instance.text.upper())), None
        )
        name = s.instance.text
        self._refuse_type(name, s.place, frame)
        is_declared = frame.find(name) is not None or name.upper() in BLOCKS
        if not is_standard(name) and not is_declared:
            reason = self.no_such_function(name, s.place, frame)
            self.foreign_call(reason, Call(s.inputs, s.outputs, s.place), frame, out)
            if not (s.inputs or s.outputs):
                # It may be an action of this very unit, whose variables are its own.
                for at in list((frame.instance or frame).names.values()):
                    self.stir(at, reason.why, out, s.place)
            raise reason
        if target is None:
            # The checker says that nothing is called so.
            out.append(sx.Invoke(s.instance, (), (), s.place))
            return
        positional = tuple(a.value for a in s.inputs if not a.name)
        named = tuple(a for a in s.inputs if a.name)
        e = sx.Call(s.instance.text, positional, s.place, named=named)
        self.assign(self.target(target.target, frame, out), e, frame, out, s.place)
