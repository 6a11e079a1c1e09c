"""Loops: their passes are read one after the other, up to a bound."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.assigned import assigned_by
from interlock.st.elaborate.calls import Calls
from interlock.st.elaborate.reading import leaves_of, written_by
from interlock.st.elaborate.shapes import (
    Located,
    Scalar,
    bool_scalar,
    integer_literal,
)
from interlock.st.elaborate.state import Frame, Loop, UnknowableError
from interlock.st.types import LIMITS

_LEAVES = frozenset(("EXIT", "CONTINUE", "RETURN"))

MOST_PASSES = 1000
"""How many passes of a loop with constant limits are read one after the other."""

MOST_OPEN_PASSES = 32
"""How many passes of any other loop; that it needs more is a defect of the program."""


@dataclass(frozen=True)
class Passes:
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


class Loops(Calls):
    """Reads loops."""

    def sequence(
        self, statements: Sequence[sx.Statement], frame: Frame, out: list[sx.Statement]
    ) -> None:
        """Read statements one after the other."""
        raise NotImplementedError

    def flag(self, name: str, place: Place, out: list[sx.Statement]) -> str:
        """A new BOOL that is FALSE from here on, by its name."""
        flag = self.temporary(name, sx.TypeRef("BOOL", None, None, place), place)
        out.append(sx.Assign(flag, sx.Truth(False, place), place))
        return flag.text

    def none_of(self, flags: Sequence[str], place: Place) -> sx.Expression:
        """That no flag is set."""
        names = [self.read(Located(f, bool_scalar(place)), sx.Name(f, place)) for f in flags]
        both = names[0] if len(names) == 1 else sx.Junction("OR", tuple(names), place)
        return sx.Unary("NOT", both, place)

    def count(self, s: sx.For, frame: Frame, out: list[sx.Statement]) -> None:
        """Read FOR."""
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
        if None in numbers or set(own) & assigned_by(s.body, self.project, but_for_values=True):
            self.write(at, first, out, s.place)
            going = self._not_past(variable, last, step, s.place)
            further = sx.Assign(variable, sx.Binary("+", variable, step, s.place), s.place)
            self.pass_by_pass(Passes(s.body, s.place, going=going, further=further), frame, out)
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
        past = numbers.start + len(numbers) * numbers.step
        self._check_end(s, at, past)
        words = leaves_of(s.body, _LEAVES)
        loop = Loop()
        if words & {"EXIT", "RETURN"}:
            loop.left = self.flag("EXIT", s.place, out)
        frame.loops.append(loop)
        for number in numbers:
            inner: list[sx.Statement] = []
            self.write(at, integer_literal(number, s.place), inner, s.place)
            if "CONTINUE" in words:
                loop.skipped = self.flag("CONTINUE", s.place, inner)
            self.reading.passing[at.path] = number
            self.sequence(s.body, frame, inner)
            del self.reading.passing[at.path]
            if at.path in written_by(inner[1:]):
                says = "a call in the loop changes the variable that the loop counts with"
                raise self.reading.refuse(s.variable.place, says)
            self._unless_left(loop, inner, out, s.place)
        frame.loops.pop()
        inner = []
        self.write(at, integer_literal(past, s.place), inner, s.place)
        self._unless_left(loop, inner, out, s.place)

    def _check_end(self, s: sx.For, at: Located, past: int) -> None:
        """Refuse a loop that can only end where its variable leaves its type."""
        assert isinstance(at.shape, Scalar)
        type_ = at.shape.type.name.upper()
        lo, hi = LIMITS.get(type_, (past, past))
        if not lo <= past <= hi:
            says = f"this loop never ends: it ends where '{at.path}' is {past}, which {type_} "
            says += f"({lo}..{hi}) does not hold; count in a wider type"
            raise self.reading.refuse(s.place, says)

    def _unless_left(
        self, loop: Loop, inner: list[sx.Statement], out: list[sx.Statement], place: Place
    ) -> None:
        if not loop.left:
            out += inner
            return
        try:
            staying = self.none_of([loop.left], place)
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

    def pass_by_pass(self, passes: Passes, frame: Frame, out: list[sx.Statement]) -> None:
        """A loop whose condition is asked before each pass, up to a bound."""
        says = f"explored up to {passes.most} passes; one more is a defect"
        self.reading.note(passes.place, says)
        loop = Loop()
        if leaves_of(passes.body, frozenset(("EXIT", "RETURN"))):
            loop.left = self.flag("EXIT", passes.place, out)
        frame.loops.append(loop)
        self._pass(passes, 0, frame, out)
        frame.loops.pop()

    def _pass(self, passes: Passes, number: int, frame: Frame, out: list[sx.Statement]) -> None:
        place = passes.place
        going: sx.Expression | None = passes.going
        if passes.condition is not None and (number or not passes.is_late):
            self.want(passes.condition, "BOOL")
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
                loop.skipped = self.flag("CONTINUE", place, inner)
            self.sequence(passes.body, frame, inner)
            after: list[sx.Statement] = [] if passes.further is None else [passes.further]
            self._pass(passes, number + 1, frame, after)
            self._unless_left(loop, after, inner, place)
        if going is None:
            out += inner
        else:
            out.append(sx.If((sx.Branch(going, tuple(inner), place),), (), place))
