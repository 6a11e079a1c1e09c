"""Statements over scalars."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.assigned import assigned_by
from interlock.st.elaborate.calls import Call, Calls
from interlock.st.elaborate.reading import leaves_of, written_by
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
from interlock.st.elaborate.state import Frame, Loop, ToldError, UnknowableError

_LEAVES = frozenset(("EXIT", "CONTINUE", "RETURN"))

MOST_PASSES = 1000
"""How many passes of a loop with constant limits are read one after the other."""

MOST_OPEN_PASSES = 32
"""How many passes of any other loop; that it needs more is a defect of the program."""


@dataclass(frozen=True)
class _Passes:
    """A loop whose number of passes the text does not tell.

    Attributes
    ----------
    body : sequence of syntax.Statement
    place : Place
    condition : syntax.Expression or None
        As written: of WHILE, or of UNTIL, which `is_late`.
    going : syntax.Expression or None
        The condition over scalars, of FOR.
    further : syntax.Statement or None
        What comes after each pass, over scalars.
    """

    body: Sequence[sx.Statement]
    place: Place
    condition: sx.Expression | None = None
    is_late: bool = False
    going: sx.Expression | None = None
    further: sx.Statement | None = None
    most: int = MOST_OPEN_PASSES


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

    def _none_of(self, flags: Sequence[str], place: Place) -> sx.Expression:
        names = [self.read(Located(f, _bool(place)), sx.Name(f, place)) for f in flags]
        both = names[0] if len(names) == 1 else sx.Junction("OR", tuple(names), place)
        return sx.Unary("NOT", both, place)

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
                    self._pass_by_pass(_Passes(s.body, s.place, s.condition), frame, out)
                case sx.Repeat():
                    until = _Passes(s.body, s.place, s.until, is_late=True)
                    self._pass_by_pass(until, frame, out)
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
            case Located(shape=Standard() | Block() as shape):
                says = f"'{at.path}' is a {shape.name}; call it: {at.path}(…)"
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
            self.sequence(s.body, frame, lost)
            self.lose(at, reason)
            self.lose_written(lost, reason)
            raise
        numbers = [self.known_integer(e) for e in (first, last, step)]
        if 0 in numbers[2:]:
            raise self.reading.refuse(s.place, "a step of 0 never comes to the end")
        own = s.variable.text.casefold().split(".")
        if None in numbers or set(own) & set(assigned_by(s.body)):
            self.write(at, first, out, s.place)
            going = self._not_past(variable, last, step, s.place)
            further = sx.Assign(variable, sx.Binary("+", variable, step, s.place), s.place)
            self._pass_by_pass(_Passes(s.body, s.place, going=going, further=further), frame, out)
            return
        begin, end, by = (number for number in numbers if number is not None)
        self._each(s, at, range(begin, end + (1 if by > 0 else -1), by), frame, out)

    def _each(
        self, s: sx.For, at: Located, numbers: range, frame: Frame, out: list[sx.Statement]
    ) -> None:
        """The passes of a loop that are known: one after the other."""
        if len(numbers) > MOST_PASSES:
            says = f"the loop has {len(numbers)} passes; at most {MOST_PASSES} are explored"
            raise self.reading.refuse(s.place, says)
        words = leaves_of(s.body, _LEAVES)
        loop = Loop()
        if words & {"EXIT", "RETURN"}:
            loop.left = self._flag("EXIT", s.place, out)
        frame.loops.append(loop)
        for number in numbers:
            inner: list[sx.Statement] = []
            self.write(at, _number(number, s.place), inner, s.place)
            if "CONTINUE" in words:
                loop.skipped = self._flag("CONTINUE", s.place, inner)
            self.reading.passing[at.path] = number
            self.sequence(s.body, frame, inner)
            del self.reading.passing[at.path]
            if at.path in written_by(inner[1:]):
                says = "a call in the loop changes the variable that the loop counts with"
                raise self.reading.refuse(s.variable.place, says)
            self._unless_left(loop, inner, out, s.place)
        frame.loops.pop()
        inner = []
        past = numbers.start + len(numbers) * numbers.step
        self.write(at, _number(past, s.place), inner, s.place)
        self._unless_left(loop, inner, out, s.place)

    def _unless_left(
        self, loop: Loop, inner: list[sx.Statement], out: list[sx.Statement], place: Place
    ) -> None:
        if not loop.left:
            out += inner
            return
        try:
            staying = self._none_of([loop.left], place)
        except UnknowableError as reason:
            self.lose_written(inner, reason)
            return
        out.append(sx.If((sx.Branch(staying, tuple(inner), place),), (), place))

    def _once(
        self, e: sx.Expression, shape: Scalar, frame: Frame, out: list[sx.Statement]
    ) -> sx.Expression:
        """The value of `e`, worked out once."""
        value = self.value(e, frame, out)
        if self.known_integer(value) is not None:
            return value
        kept = self.temporary("FOR", replace(shape.type, lo=None, hi=None), e.place)
        out.append(sx.Assign(kept, value, e.place))
        return kept

    def _not_past(
        self, variable: sx.Name, last: sx.Expression, step: sx.Expression, place: Place
    ) -> sx.Expression:
        known = self.known_integer(step)
        up = sx.Binary("<=", variable, last, place)
        down = sx.Binary(">=", variable, last, place)
        if known is not None:
            return up if known > 0 else down
        zero = sx.Number(0, place)
        rising = sx.Junction("AND", (sx.Binary(">=", step, zero, place), up), place)
        falling = sx.Junction("AND", (sx.Binary("<", step, zero, place), down), place)
        return sx.Junction("OR", (rising, falling), place)

    def _pass_by_pass(self, passes: _Passes, frame: Frame, out: list[sx.Statement]) -> None:
        """A loop whose condition is asked before each pass, up to a bound."""
        says = f"explored up to {passes.most} passes; one more is a defect"
        self.reading.note(passes.place, says)
        loop = Loop()
        if leaves_of(passes.body, frozenset(("EXIT", "RETURN"))):
            loop.left = self._flag("EXIT", passes.place, out)
        frame.loops.append(loop)
        self._pass(passes, 0, frame, out)
        frame.loops.pop()

    def _pass(self, passes: _Passes, number: int, frame: Frame, out: list[sx.Statement]) -> None:
        place = passes.place
        going: sx.Expression | None = passes.going
        if passes.condition is not None and (number or not passes.is_late):
            try:
                going = self.value(passes.condition, frame, out)
            except UnknowableError as reason:
                lost: list[sx.Statement] = []
                with suppress(UnknowableError):
                    self.value(passes.condition, frame, lost)
                self.sequence(passes.body, frame, lost)
                self.lose_written(lost, reason)
                raise
            if passes.is_late:
                going = sx.Unary("NOT", going, place)
        inner: list[sx.Statement] = []
        if number == passes.most:
            inner.append(sx.Defect(f"the loop runs more than {passes.most} times", place))
        else:
            loop = frame.loops[-1]
            if "CONTINUE" in leaves_of(passes.body, _LEAVES):
                loop.skipped = self._flag("CONTINUE", place, inner)
            self.sequence(passes.body, frame, inner)
            after: list[sx.Statement] = [] if passes.further is None else [passes.further]
            self._pass(passes, number + 1, frame, after)
            self._unless_left(loop, after, inner, place)
        if going is None:
            out += inner
        else:
            out.append(sx.If((sx.Branch(going, tuple(inner), place),), (), place))

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
        text, place = s.instance.text, s.instance.place
        callee = self.called_by(text, s.on, s.outputs, frame, out, place)
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


def _number(value: int, place: Place) -> sx.Expression:
    number = sx.Number(abs(value), place)
    return number if value >= 0 else sx.Unary("-", number, place)


def _bool(place: Place) -> Scalar:
    return Scalar(sx.TypeRef("BOOL", None, None, place))
