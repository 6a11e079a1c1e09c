"""Which type a value must have where it is read, and so what is not in the files given is."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from interlock.st import syntax as sx
from interlock.st.elaborate.bindings import Bindings
from interlock.st.elaborate.shapes import Located, Reference, Scalar, Unknown, located
from interlock.st.elaborate.standard import CONVERSION, is_standard
from interlock.st.elaborate.state import Frame, Given, ToldError, UnknowableError, Wanted
from interlock.st.elaborate.types import ELEMENTARY

_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))
_OF_ONE_TYPE = frozenset(
    ("MIN", "MAX", "LIMIT", "ABS", "MOVE", "ADD", "SUB", "MUL", "DIV", "MOD", "AND", "OR", "XOR")
)
_COMPARING = frozenset(("EQ", "NE", "LT", "GT", "LE", "GE"))
_FIRST_CHOOSES = {"SEL": "BOOL", "MUX": "INT"}


class Wanting(Bindings):
    """Hands on from the outside of an expression to its inside which type is wanted."""

    def want(self, e: sx.Expression, type_: str, is_sure: bool = True) -> None:
        """Note that the value of `e` must have a type, by its name."""
        # With the node itself, so that no other may ever be taken for it.
        self.reading.wanted[id(e)] = e, Wanted(type_, is_sure)

    def wanted_of(self, e: sx.Expression) -> Wanted | None:
        """The type that the value of `e` must have, where that is known."""
        found = self.reading.wanted.get(id(e))
        return None if found is None else found[1]

    def want_operands(self, e: sx.Expression, parts: Sequence[sx.Expression], frame: Frame) -> None:
        """Note what the operands of an operator must have."""
        if not any(_may_be_foreign(part) for part in _leaves(parts)):
            return
        wanted = self.wanted_of(e)
        match e:
            case sx.Binary() if e.op in _COMPARISONS:
                wanted = None
            case sx.Unary(op="NOT") | sx.Junction() if wanted is None:
                wanted = Wanted("BOOL")
        if wanted is None:
            known = [self._type_of(part, frame) for part in parts]
            sure = [one for one in known if one is not None and one.is_sure]
            wanted = next((one for one in (*sure, *known) if one is not None), None)
        if wanted is not None:
            for part in parts:
                self.want(part, wanted.type, wanted.is_sure)

    def want_arguments(
        self, e: sx.Call, name: str, arguments: Sequence[sx.Expression], frame: Frame
    ) -> None:
        """Note what the arguments of a standard function must have."""
        conversion = CONVERSION.fullmatch(name)
        if conversion is not None and conversion[1] in ELEMENTARY:
            self.want(arguments[0], conversion[1])
        elif name in _FIRST_CHOOSES and arguments:
            self.want(arguments[0], _FIRST_CHOOSES[name])
            self.want_operands(e, arguments[1:], frame)
        elif name in _OF_ONE_TYPE:
            self.want_operands(e, arguments, frame)
        elif name in _COMPARING:
            self.want_operands(sx.Binary("=", e, e, e.place), arguments, frame)
        elif name == "NOT" and arguments:
            self.want(arguments[0], "BOOL")

    def _type_of(self, e: sx.Expression, frame: Frame) -> Wanted | None:
        match e:
            case sx.Truth():
                return Wanted("BOOL")
            case sx.Real():
                return Wanted(e.prefix or "REAL", bool(e.prefix))
            case sx.Duration():
                return Wanted("TIME")
            case sx.Number():
                return Wanted(e.prefix or "DINT", bool(e.prefix))
            case sx.Unary(op="-"):
                return self._type_of(e.operand, frame)
            case sx.Name() if not _may_be_foreign(e) or frame.find(e.text.partition(".")[0]):
                return self._type_of_variable(e, frame)
            case sx.Member() | sx.Element():
                return self._type_of_variable(e, frame)
            case sx.Junction():
                return Wanted("BOOL")
            case sx.Binary() if e.op in _COMPARISONS:
                return Wanted("BOOL")
            case sx.Binary():
                both = [self._type_of(part, frame) for part in (e.left, e.right)]
                return next((one for one in both if one is not None), None)
            case _:
                return None

    def _type_of_variable(self, e: sx.Expression, frame: Frame) -> Wanted | None:
        with suppress(UnknowableError, ToldError):
            returns = self.property_type(e, frame)
            if returns is not None:
                return Wanted(returns.name)
            at = self.reference(e, frame, [])
            if at is not None and isinstance(at.shape, Scalar):
                return Wanted(at.shape.type.name)
        return None

    def take_for_value(self, at: Reference, e: sx.Expression) -> None:
        """Note that `at`, of a type that is not in the files, is read as a value."""
        wanted = self.wanted_of(e)
        if wanted is None:
            return
        for part in located(at):
            if isinstance(part.shape, Unknown) and part.shape.is_foreign:
                given = Given(part.path, wanted.type, e.place, wanted.is_sure)
                self.reading.found.give(given)

    def foreign_result(self, e: sx.Call) -> Located | None:
        """What a function gives that is not in the files, where its type is known: any value."""
        wanted = self.wanted_of(e)
        if wanted is None:
            return None
        shape = Scalar(sx.TypeRef(wanted.type, None, None, e.place))
        name = self.any_value(f"{e.function}.line_{e.place.line}", shape, e.place)
        return Located(name.text, shape)


def _may_be_foreign(e: sx.Expression) -> bool:
    match e:
        case sx.Name():
            return "." in e.text
        case sx.Member() | sx.Element():
            return True
        case sx.Call():
            return not is_standard(e.function)
        case _:
            return False


def _leaves(parts: Sequence[sx.Expression]) -> list[sx.Expression]:
    found: list[sx.Expression] = []
    stack = list(parts)
    while stack:
        e = stack.pop()
        match e:
            case sx.Unary():
                stack.append(e.operand)
            case sx.Binary():
                stack += [e.left, e.right]
            case sx.Junction():
                stack += e.operands
            case sx.Call() if is_standard(e.function):
                stack += [*e.arguments, *(a.value for a in e.named)]
            case _:
                found.append(e)
    return found
