"""Statements over scalars."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.calls import Call, Calls
from interlock.st.elaborate.reading import leaves_of, written_by
from interlock.st.elaborate.shapes import (
    Bit,
    Bound,
    Constant,
    Indexed,
    Located,
    Reference,
    Scalar,
    Unknown,
)
from interlock.st.elaborate.state import Frame, Loop, ToldError, UnknowableError

_LEAVES = frozenset(("EXIT", "CONTINUE", "RETURN"))


class Statements(Calls):
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
            own.returned = self._flag("RETURN", statements[0].place, out)
        self.sequence(statements, own, out)

    def _flag(self, name: str, place: Place, out: list[sx.Statement]) -> str:
        flag = self.temporary(name, sx.TypeRef("BOOL", None, None, place), place)
        out.append(sx.Assign(flag, sx.Truth(False, place), place))
        return flag.text

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
                    going = self._none_of(flags, place)
                except UnknowableError as reason:
                    self._lose_written(inner, reason)
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

    def _none_of(self, flags: Sequence[str], place: Place) -> sx.Expression:
        names = [self.read(Located(f, _bool(place)), sx.Name(f, place)) for f in flags]
        both = names[0] if len(names) == 1 else sx.Junction("OR", tuple(names), place)
        return sx.Unary("NOT", both, place)

    def _lose_written(self, statements: Sequence[sx.Statement], reason: UnknowableError) -> None:
        for path in written_by(statements):
            self.reading.mark(path, reason.place, reason.why)

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
                    self._for(s, frame, out)
                case sx.While():
                    self._loop(s.condition, s.body, frame, out, s.place)
                case sx.Repeat():
                    self._repeat(s, frame, out)
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
        at = self.target(s.target, frame, out)
        if isinstance(at.shape, Bound):
            raise UnknowableError(s.place, f"the interface {at.shape.name}")
        if isinstance(at.shape, Unknown):
            # Whatever the value calls is done all the same.
            self._only_calls(s.value, frame, out)
            raise UnknowableError(s.place, at.shape.why)
        if isinstance(s.value, sx.ArrayValue | sx.StructValue):
            raise self.reading.refuse(s.value.place, "name the members one by one")
        self.assign(at, s.value, frame, out, s.place)

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
        self._lose_written([*before, *lost], reason)
        before.clear()
        self.reading.note(branches[0].place, f"left out: it depends on {reason.why}")

    def _case(self, s: sx.Case, frame: Frame, out: list[sx.Statement]) -> None:
        lost: list[sx.Statement] = []
        try:
            selector = self.value(s.selector, frame, out)
        except UnknowableError as reason:
            for branch in s.branches:
                self.sequence(branch.body, frame, lost)
            self.sequence(s.otherwise, frame, lost)
            self._lose_written(lost, reason)
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

    # Loops

    def _for(self, s: sx.For, frame: Frame, out: list[sx.Statement]) -> None:
        at = self.target(s.variable, frame, out)
        if not isinstance(at, Located) or not isinstance(at.shape, Scalar):
            raise self.reading.refuse(s.variable.place, "FOR counts with an integer variable")
        variable = sx.Name(self.writable(at), s.variable.place)
        try:
            first = self.value(s.first, frame, out)
            last = self._once(s.last, at.shape, frame, out)
            one: sx.Expression = sx.Number(1, s.place)
            step = one if s.step is None else self._once(s.step, at.shape, frame, out)
        except UnknowableError as reason:
            lost: list[sx.Statement] = []
            self._loop(sx.Truth(True, s.place), s.body, frame, lost, s.place)
            self.lose(at, reason)
            self._lose_written(lost, reason)
            raise
        self.write(at, first, out, s.place)
        going = self._not_past(variable, last, step, s.place)
        further = sx.Assign(variable, sx.Binary("+", variable, step, s.place), s.place)
        self._loop(going, s.body, frame, out, s.place, further)

    def _once(
        self, e: sx.Expression, shape: Scalar, frame: Frame, out: list[sx.Statement]
    ) -> sx.Expression:
        """The value of `e`, worked out once."""
        value = self.value(e, frame, out)
        if self.integer(value, Frame(None, {})) is not None:
            return value
        kept = self.temporary("FOR", replace(shape.type, lo=None, hi=None), e.place)
        out.append(sx.Assign(kept, value, e.place))
        return kept

    def _not_past(
        self, variable: sx.Name, last: sx.Expression, step: sx.Expression, place: Place
    ) -> sx.Expression:
        known = self.integer(step, Frame(None, {}))
        up = sx.Binary("<=", variable, last, place)
        down = sx.Binary(">=", variable, last, place)
        if known is not None:
            if known == 0:
                raise self.reading.refuse(place, "a step of 0 never comes to the end")
            return up if known > 0 else down
        zero = sx.Number(0, place)
        rising = sx.Junction("AND", (sx.Binary(">=", step, zero, place), up), place)
        falling = sx.Junction("AND", (sx.Binary("<", step, zero, place), down), place)
        return sx.Junction("OR", (rising, falling), place)

    def _loop(
        self,
        condition: sx.Expression,
        body: Sequence[sx.Statement],
        frame: Frame,
        out: list[sx.Statement],
        place: Place,
        further: sx.Statement | None = None,
    ) -> None:
        """WHILE; `further` comes after each pass, and `condition` is over scalars where given."""
        words = leaves_of(body, _LEAVES)
        loop = Loop()
        if words & {"EXIT", "RETURN"}:
            loop.left = self._flag("EXIT", place, out)
        inner: list[sx.Statement] = []
        if "CONTINUE" in words:
            loop.skipped = self._flag("CONTINUE", place, inner)
        before: list[sx.Statement] = []
        unknown: UnknowableError | None = None
        going = condition
        if further is None:
            try:
                going = self.value(condition, frame, before)
            except UnknowableError as reason:
                unknown = reason
        frame.loops.append(loop)
        self.sequence(body, frame, inner)
        frame.loops.pop()
        if unknown is None and loop.left:
            try:
                staying = self._none_of([loop.left], place)
                going = sx.Junction("AND", (staying, going), place)
            except UnknowableError as reason:
                unknown = reason
        if unknown is not None:
            self._lose_written([*before, *inner], unknown)
            raise unknown
        if further is not None:
            inner += self._unless_left(loop, further, place)
        if not before:
            out.append(sx.While(going, tuple(inner), place))
            return
        again = self.temporary("WHILE", sx.TypeRef("BOOL", None, None, place), place)
        out.append(sx.Assign(again, sx.Truth(True, place), place))
        branch = sx.Branch(again, tuple(inner), place)
        passes = (*before, sx.Assign(again, going, place), sx.If((branch,), (), place))
        out.append(sx.While(again, passes, place))

    def _unless_left(self, loop: Loop, further: sx.Statement, place: Place) -> list[sx.Statement]:
        if not loop.left:
            return [further]
        staying = self._none_of([loop.left], place)
        return [sx.If((sx.Branch(staying, (further,), place),), (), place)]

    def _repeat(self, s: sx.Repeat, frame: Frame, out: list[sx.Statement]) -> None:
        first = self.temporary("REPEAT", sx.TypeRef("BOOL", None, None, s.place), s.place)
        out.append(sx.Assign(first, sx.Truth(True, s.place), s.place))
        # The condition is asked before each pass but the first.
        frame.names[first.text.casefold()] = Located(first.text, _bool(s.place))
        going = sx.Junction("OR", (first, sx.Unary("NOT", s.until, s.place)), s.place)
        done = sx.Assign(first, sx.Truth(False, s.place), s.place)
        self._loop(going, (done, *s.body), frame, out, s.place)

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
        callee = self.callee(s.instance.text, s.on, frame, out, s.instance.place)
        if callee is None:
            if s.bare:
                raise self.reading.refuse(
                    s.place, f"'{s.instance.text}' alone is no statement; call it with ( )"
                )
            self._standard_function(s, frame, out)
            return
        self.run(callee, Call(s.inputs, s.outputs, s.place), frame, out)

    def _standard_function(self, s: sx.Invoke, frame: Frame, out: list[sx.Statement]) -> None:
        """A standard function called as a statement gives its result to an output, if at all."""
        target = next(
            (o for o in s.outputs if o.name.upper() in ("OUT", s.instance.text.upper())), None
        )
        if target is None:
            # The checker says that nothing is called so.
            out.append(sx.Invoke(s.instance, (), (), s.place))
            return
        positional = tuple(a.value for a in s.inputs if not a.name)
        named = tuple(a for a in s.inputs if a.name)
        e = sx.Call(s.instance.text, positional, s.place, named=named)
        self.assign(self.target(target.target, frame, out), e, frame, out, s.place)


def _bool(place: Place) -> Scalar:
    return Scalar(sx.TypeRef("BOOL", None, None, place))
