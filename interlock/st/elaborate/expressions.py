"""Expressions over scalars; what calls a function is done before the statement it stands in."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace

from interlock.base.errors import Place, is_slip, nearest
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, FUNCTIONS
from interlock.st.elaborate.call import Call, call_of
from interlock.st.elaborate.shapes import (
    Array,
    Bit,
    Block,
    Bound,
    Constant,
    Indexed,
    Located,
    Reference,
    Scalar,
    Standard,
    Structure,
    Unknown,
    bool_scalar,
    located,
)
from interlock.st.elaborate.standard import BOUNDS, CONVERSION, is_of_texts, is_standard
from interlock.st.elaborate.state import Frame, UnknowableError
from interlock.st.elaborate.types import ELEMENTARY
from interlock.st.elaborate.wanted import Wanting

# Names of the inputs of standard functions, where they are no IN, IN1, IN2 … (IEC 61131-3).
_FORMAL = {
    "SEL": ("G", "IN0", "IN1"),
    "LIMIT": ("MN", "IN", "MX"),
    **dict.fromkeys(("SHL", "SHR", "ROL", "ROR"), ("IN", "N")),
    "MUX": ("K", *(f"IN{n}" for n in range(15))),
    **dict.fromkeys(BOUNDS, ("ARR", "DIM")),
}


_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))


class Expressions(Wanting):
    """Makes expressions over scalars."""

    def value(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        """`e` as an expression over scalars.

        Parameters
        ----------
        e : syntax.Expression
        frame : Frame
        out : list of syntax.Statement
            Receives what has to be done before.

        Raises
        ------
        ToldError, UnknowableError
        """
        match e:
            case sx.Number() | sx.Real() | sx.Truth() | sx.Duration() | sx.Qualified():
                return e
            case sx.Opaque():
                raise UnknowableError(e.place, f"a {e.kind}")
            case sx.Name() | sx.Element() | sx.Member() | sx.Direct() | sx.Pointed():
                return self._read_at(e, frame, out)
            case sx.Unary():
                self.want_operands(e, (e.operand,), frame)
                return replace(e, operand=self.value(e.operand, frame, out))
            case sx.Binary():
                return self._binary(e, frame, out)
            case sx.Junction():
                self.want_operands(e, e.operands, frame)
                return replace(e, operands=tuple(self.operands(e.operands, frame, out)))
            case sx.Call():
                return self.read(self.called(e, frame, out), e)
            case sx.Choice():
                return e
            case _:
                says = "a list of values only stands where a variable is declared"
                raise self.reading.refuse(e.place, says)

    def _binary(self, e: sx.Binary, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        asked = self.asked_for_an_instance(e, frame)
        if asked is not None:
            return asked
        self.want_operands(e, (e.left, e.right), frame)
        try:
            left, right = self.operands((e.left, e.right), frame, out)
        except UnknowableError as reason:
            if self.reading.answers is None or e.op not in _COMPARISONS:
                raise
            return self._any_answer(e, reason)
        if e.op == "**":
            return sx.Call("EXPT", (left, right), e.place)
        return replace(e, left=left, right=right)

    def _any_answer(self, e: sx.Binary, reason: UnknowableError) -> sx.Name:
        """Either answer, in any scan, of what compares something without a finite meaning."""
        assert self.reading.answers is not None
        where = f"answer_{e.place.line}_{e.place.column}"
        answer = self.any_value(where, bool_scalar(e.place), e.place)
        self.reading.answers[answer.text] = reason.why
        return answer

    def _read_at(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        got = self.property_value(e, frame, out)
        if got is not None:
            return self.read(got, e)
        found = self.reference(e, frame, out)
        if found is not None:
            self.take_for_value(found, e)
            return self.read(found, e)
        assert isinstance(e, sx.Name)
        return self._label(e, frame)

    def _label(self, e: sx.Name, frame: Frame) -> sx.Expression:
        type_name, _, label = e.text.rpartition(".")
        if not type_name:
            # An enumeration's value, or nothing at all: the checker knows which is expected.
            return e
        type_def = self.project.type(type_name)
        if type_def is None:
            raise self.undeclared(e, frame)
        shape = self.shape(
            sx.TypeRef(type_def.name, None, None, e.place), Frame(None, {}), type_def.name
        )
        if not isinstance(shape, Scalar) or shape.type.name.casefold() not in self.reading.enums:
            raise self.reading.refuse(e.place, f"'{type_name}' is no enumeration")
        return sx.Qualified(shape.type.name, label, e.place)

    def read(self, at: Reference | sx.Expression, e: sx.Expression) -> sx.Expression:
        """The value kept where `at` leads; `e` is how that was written."""
        match at:
            case Constant():
                return replace(at.value, place=e.place)
            case Bit():
                return sx.Member(self.read(at.base, e), at.number, e.place)
            case Indexed():
                if isinstance(at.index, sx.Opaque):
                    raise UnknowableError(at.index.place, at.index.text)
                values = tuple(self.read(choice, e) for choice in at.choices)
                index = _standing_at(at.index, at.place)
                return sx.Choice(index, at.first, values, e.place)
            case Located():
                return self._read_located(at, e)
            case _:
                return at

    def _read_located(self, at: Located, e: sx.Expression) -> sx.Expression:
        self.check_known(at.path)
        match at.shape:
            case Scalar():
                return sx.Name(at.path, e.place)
            case Unknown():
                raise UnknowableError(e.place, at.shape.why)
            case Bound():
                raise UnknowableError(e.place, f"the interface {at.shape.name}")
            case Array() | Structure():
                what = "an array" if isinstance(at.shape, Array) else "a structure"
                says = f"'{at.path}' is {what}; name the part that is meant"
                raise self.reading.refuse(e.place, says)
            case Standard() | Block():
                says = f"'{at.path}' is a {at.shape.name}; read an output of it"
                raise self.reading.refuse(e.place, says)

    def check_known(self, path: str) -> None:
        """Raise UnknowableError where the variable at `path`, or its whole, has no meaning."""
        unknown = self.reading.found.unknown
        if not unknown:
            return
        parts = path.split(".")
        for length in range(1, len(parts) + 1):
            why = unknown.get(".".join(parts[:length]))
            if why is not None:
                raise UnknowableError(*why)

    def constant(self, e: sx.Expression, frame: Frame) -> sx.Expression:
        """`e` with the values of constants in place of their names."""
        if isinstance(e, sx.ArrayValue | sx.StructValue):
            raise self.reading.refuse(e.place, "one value is expected, not a list")
        before: list[sx.Statement] = []
        value = self.value(e, frame, before)
        if before:
            raise self.reading.refuse(e.place, "this must be constant")
        return value

    # Functions

    def called(
        self, e: sx.Call, frame: Frame, out: list[sx.Statement]
    ) -> Reference | sx.Expression:
        """What a call gives: where a user's function left its result, or an expression."""
        user = self.user_call(e, frame, out)
        if user is not None:
            return user
        name = e.function.upper()
        if name in ("ADR", "REF") and len(e.arguments) == 1:
            self.point_at(e.arguments[0], frame)
            raise UnknowableError(e.place, "a pointer")
        if is_of_texts(name):
            self._only_arguments(e, frame, out)
            reason = UnknowableError(e.place, f"the function {name}")
            self.lose_outputs(e.outputs, reason, frame)
            raise reason
        if name in BOUNDS:
            return self._bound(e, name, frame, out)
        name = self._known_conversion(name)
        if not is_standard(name) and name not in BLOCKS:
            if frame.find(e.function) is not None or "." in e.function:
                says = f"'{e.function}' is no function and no method that is known here"
                raise self.reading.refuse(e.place, says)
            reason = self.no_such_function(e.function, e.place, frame)
            self.foreign_call(reason, call_of(e), frame, out)
            result = self.foreign_result(e)
            if result is None:
                raise reason
            return result
        in_order = self._in_order(e, name)
        self.want_arguments(e, name, in_order, frame)
        try:
            arguments = self.operands(in_order, frame, out)
        except UnknowableError as reason:
            self.lose_outputs(e.outputs, reason, frame)
            raise
        return replace(e, function=name, arguments=tuple(arguments), named=(), outputs=())

    def _bound(self, e: sx.Call, name: str, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        """A limit of an array's indexes, which is known wherever the array is."""
        given = self._in_order(e, name)
        if not 1 <= len(given) <= len(_FORMAL[name]):
            raise self.reading.refuse(e.place, f"{name} takes an array and which of its indexes")
        array = self.reference(given[0], frame, out)
        if array is not None and isinstance(array.shape, Unknown):
            raise UnknowableError(given[0].place, array.shape.why)
        if array is None or not isinstance(array.shape, Array):
            raise self.reading.refuse(given[0].place, f"{name} takes an array")
        which = 1
        if len(given) > 1:
            known = self.known_integer(self.value(given[1], frame, out))
            if known is None or not 1 <= known <= len(array.shape.limits):
                says = f"this must be a constant from 1 to {len(array.shape.limits)}"
                raise self.reading.refuse(given[1].place, f"{says}, which index is meant")
            which = known
        # Source: IEC 61131-3, third edition, variable-length arrays (from memory, DINT assumed).
        return sx.Number(array.shape.limits[which - 1][name == "UPPER_BOUND"], e.place, "DINT")

    def _known_conversion(self, name: str) -> str:
        """What `name` is called where it converts a value of an enumeration of the project."""
        found = CONVERSION.fullmatch(name)
        type_def = self.project.type(found[1]) if found is not None and found[1] else None
        is_enumeration = type_def is not None and bool(type_def.type.labels)
        return name.partition("_")[2] if is_enumeration else name

    def _only_arguments(self, e: sx.Call, frame: Frame, out: list[sx.Statement]) -> None:
        """What the arguments of a call call themselves is done all the same."""
        for argument in (*e.arguments, *(a.value for a in e.named)):
            with suppress(UnknowableError):
                if not isinstance(argument, sx.Name):
                    self.value(argument, frame, out)
                elif frame.find(argument.text.partition(".")[0]) is not None:
                    self.property_value(argument, frame, out)

    def point_at(self, e: sx.Expression, frame: Frame) -> None:
        """Remember that a pointer may point to `e`, and to any other part of the same variable.

        A pointer can be counted on from an element or a member to its neighbours.
        """
        whole = e
        while isinstance(whole, sx.Element | sx.Member):
            whole = whole.base
        if isinstance(whole, sx.Name):
            whole = self._variable_of(whole, frame)
        at = self.reference(whole, frame, [])
        for part in () if at is None else located(at):
            self.reading.pointed[part.path] = part

    def _variable_of(self, name: sx.Name, frame: Frame) -> sx.Name:
        """The variable that a name with dots is a part of; what an instance holds is apart."""
        parts = name.text.split(".")
        for n in range(1, len(parts)):
            text = ".".join(parts[:n])
            found = frame.find(text)
            if isinstance(found, Located) and isinstance(found.shape, Structure | Array):
                return sx.Name(text, name.place)
            if found is None and text.casefold() in self.project.globals:
                return sx.Name(text, name.place)
        return name

    def no_such_function(self, name: str, place: Place, frame: Frame) -> UnknowableError:
        """Why nothing is known of a function; a slip of the pen is refused."""
        conversions = (f"{a}_TO_{b}" for a in ELEMENTARY for b in ELEMENTARY)
        own = (unit.name for unit in self.project.units.values())
        known = [*FUNCTIONS, *conversions, *own, *frame.known()]
        if is_slip(name, known):
            says = f"there is no function '{name}'{nearest(name, known)}"
            raise self.reading.refuse(place, says)
        reason = UnknowableError(place, f"the function {name}, which is not in the files given")
        self.reading.blind = self.reading.blind or reason
        return reason

    def lose_outputs(
        self, outputs: Iterable[sx.OutputArgument], reason: UnknowableError, frame: Frame
    ) -> None:
        """What the outputs of a call are given to has no value that is known."""
        raise NotImplementedError

    def _in_order(self, e: sx.Call, name: str) -> tuple[sx.Expression, ...]:
        if not e.named:
            return e.arguments
        formal = _FORMAL.get(name, ("IN", *(f"IN{n}" for n in range(1, 17))))
        order = {f: number for number, f in enumerate(formal)}
        found: dict[int, sx.Expression] = {}
        for argument in e.named:
            number = order.get(argument.name.upper())
            if argument.name.upper() == "EN":
                says = f"call {name} with EN in an assignment of its own"
                raise self.reading.refuse(argument.place, says)
            if number is None:
                says = f"{name} has no input '{argument.name}'; inputs: {', '.join(formal[:3])}"
                raise self.reading.refuse(argument.place, says)
            found[number] = argument.value
        return (*e.arguments, *(found[number] for number in sorted(found)))

    def operands(
        self, expressions: Iterable[sx.Expression], frame: Frame, out: list[sx.Statement]
    ) -> list[sx.Expression]:
        """Several values that belong together, from left to right."""
        raise NotImplementedError

    def foreign_call(
        self, reason: UnknowableError, call: Call, frame: Frame, out: list[sx.Statement]
    ) -> None:
        """Let code that is not known write what a call gives it, and every global."""
        raise NotImplementedError

    def user_call(self, e: sx.Call, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        """Read the call of a user's function or method; None where it is none."""
        raise NotImplementedError

    def property_value(
        self, e: sx.Expression, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """Read the GET of a property; None where `e` is none."""
        raise NotImplementedError


def _standing_at(index: sx.Expression, place: Place) -> sx.Expression:
    """An index with the place of what was written, also where it is a temporary."""
    return index if index.place == place else replace(index, place=place)
