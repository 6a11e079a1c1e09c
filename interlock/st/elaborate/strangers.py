"""Code and types that are not in the files given: what they may write, and what is read of them.

Such code may write each variable that it is given, since that may be an in-out, and each global.
From then on these have any value: each is assigned a new input of the root, which is free. Inputs
of the root and of a process image nobody writes (IEC 61131-3: an input variable is read only in its
unit, from memory).

A variable of such a type is what its readers take it for: a member that is read as a BOOL is a
BOOL. In the first scan it has any value; it keeps what is written there until such code may write
it. What the root is given from outside has any value in each scan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.elaborate.call import Call
from interlock.st.elaborate.shapes import (
    Bit,
    Block,
    Bound,
    Constant,
    Located,
    Reference,
    Scalar,
    Standard,
    Unknown,
    leaves,
)
from interlock.st.elaborate.state import Frame, Given, UnknowableError
from interlock.st.elaborate.writing import Writing

_VARIABLES = (sx.Name, sx.Element, sx.Member, sx.Direct)


class Strangers(Writing):
    """Does what code that is not in the files may do."""

    def foreign_call(
        self, reason: UnknowableError, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> None:
        """Let code that is not known write what a call gives it, and every global."""
        before = len(out)
        given = [] if reason.at is None else [reason.at]
        for e in (a.value for a in call.inputs):
            variable = self._given_to(e, frame, out)
            given += [] if variable is None else [variable]
        for e in (o.target for o in call.outputs):
            variable = self._given_to(e, frame, out)
            if variable is not None:
                self.for_each(variable, self._note_written, out)
                given.append(variable)
        for at in given:
            self.stir(at, reason.why, out, call.place)
        self._stir_globals(reason.why, out, call.place)
        if len(out) > before:
            says = "what it is given, and each global, may have any value from here on"
            self.reading.note(call.place, f"{says}: it depends on {reason.why}")

    def _given_to(
        self, e: sx.Expression, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """The variable that an argument is, where it is one; what it calls is done."""
        with suppress(UnknowableError):
            if not isinstance(e, _VARIABLES):
                self.value(e, frame, out)
            elif self.property_of(e, "GET", frame, out) is None:
                return self.reached(e, frame, out)
        return None

    # What may be written

    def _note_written(self, at: Reference, _: list[sx.Statement]) -> None:
        """What takes an output surely is written, even if it is an input of the root."""
        at = at.base if isinstance(at, Bit) else at
        for leaf in leaves(at.path, at.shape) if isinstance(at, Located) else ():
            if leaf.path in self.reading.inputs:
                self.reading.found.copied.add(leaf.path)

    def stir(self, at: Reference, who: str, out: list[sx.Statement], place: Place) -> None:
        """Let what `at` leads to have any value from here on."""
        self.for_each(at, lambda one, body: self._stir_one(one, who, body, place), out)

    def _stir_one(self, at: Reference, who: str, out: list[sx.Statement], place: Place) -> None:
        if isinstance(at, Bit):
            self.stir(at.base, who, out, place)
        for leaf in leaves(at.path, at.shape) if isinstance(at, Located) else ():
            match leaf.shape:
                case Scalar():
                    self._stir_scalar(leaf, out, place)
                case Unknown():
                    for member in self._members_read(leaf.path):
                        self._stir_scalar(member, out, place)
                case Bound():
                    self.note_bound(leaf.path, None)
                case Block() | Standard():
                    self.reading.mark(leaf.path, place, f"{who}, which may change '{leaf.path}'")

    def _stir_scalar(self, at: Located, out: list[sx.Statement], place: Place) -> None:
        is_input = at.path in self.reading.inputs and at.path not in self.reading.found.copied
        if is_input or at.path in self.reading.found.unknown:
            return
        assert isinstance(at.shape, Scalar)
        given = self.any_value(f"{at.path}.after_{place.line}", at.shape, place)
        out.append(sx.Assign(sx.Name(self.writable(at), place), given, place))

    def _stir_globals(self, who: str, out: list[sx.Statement], place: Place) -> None:
        for key in sorted(self.reading.found.met):
            at = self.global_reference(key)
            if at is None or isinstance(at, Constant):
                continue
            for leaf in leaves(at.path, at.shape) if isinstance(at, Located) else ():
                if leaf.path in self.reading.inputs and not self._is_of_process(key):
                    # No file given writes it: what does may be this.
                    self.reading.found.copied.add(leaf.path)
            self.stir(at, who, out, place)

    def _is_of_process(self, key: str) -> bool:
        """Whether a global is an input of the process image."""
        return self.project.globals[key][1].address[:2].upper() == "%I"

    # What is read of a variable of such a type

    def _members_read(self, path: str) -> Iterator[Located]:
        key = path.casefold()
        for inner, given in sorted(self.reading.found.given.items()):
            if inner == key or inner.startswith(f"{key}."):
                yield self.foreign_member(given)

    def copy_foreign(
        self, to: Reference, source: Reference, out: list[sx.Statement], place: Place
    ) -> None:
        """Assign a whole variable of such a type, as far as anything of it is read."""
        self.for_each(to, lambda one, body: self._copy_to(one, source, body, place), out)

    def _copy_to(
        self, to: Reference, source: Reference, out: list[sx.Statement], place: Place
    ) -> None:
        if not isinstance(to, Located):
            return
        for member in self._members_read(to.path):
            assert isinstance(member.shape, Scalar)
            if isinstance(source, Located) and isinstance(source.shape, Unknown):
                inner = f"{source.path}{member.path[len(to.path) :]}"
                given = Given(inner, member.shape.type.name, place)
                self.reading.found.give(given)
                self.copy(member, self.foreign_member(given), out, place)
            else:
                self._stir_scalar(member, out, place)


BEGUN = "foreign.begun"
"""What remembers that the first scan is over; no name of a program has its like."""


def in_each_scan(values: Iterable[tuple[Located, sx.Expression]]) -> tuple[sx.Statement, ...]:
    """Statements that give members of unknown types their values at the begin of a scan."""
    return tuple(sx.Assign(sx.Name(at.path, v.place), v, v.place) for at, v in values)


def in_the_first_scan(
    values: Iterable[tuple[Located, sx.Expression]], place: Place
) -> list[sx.Statement]:
    """The same, in the first scan only."""
    body = in_each_scan(values)
    over = sx.Name(BEGUN, place)
    return [
        sx.If((sx.Branch(sx.Unary("NOT", over, place), body, place),), (), place),
        sx.Assign(over, sx.Truth(True, place), place),
    ]


def begun(place: Place) -> sx.Declaration:
    """The variable that remembers that the first scan is over."""
    type_ = sx.TypeRef("BOOL", None, None, place)
    return sx.Declaration("VAR", False, (sx.Name(BEGUN, place),), type_, None, place)
