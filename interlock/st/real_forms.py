"""What each REAL variable of a program may be: formulas over one input, or numbers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import product

from interlock.base.errors import Mistake, Place
from interlock.st import typed as ty
from interlock.st.copies import written_in
from interlock.st.evaluate import evaluate_number, operands_of, reads_of
from interlock.st.typed_parts import expressions_in, replaced
from interlock.st.types import IntType, RealType

_MOST_FORMS = 24
_KEEPS_ORDER = frozenset(("MIN", "MAX", "LIMIT", "SQRT", "MOVE", "TO_REAL", "ABS"))


class MixedError(Exception):
    """An input meets something else that varies."""

    def __init__(self, place: Place, name: str) -> None:
        super().__init__()
        self.place = place
        self.says = (
            f"'{name}' holds a REAL input and another number that varies, so every value matters"
        )


class Forms:
    """What each REAL variable may be: formulas over one input, or numbers.

    An empty list stands for numbers of which nothing is known but that no input is in them; None
    for what an input is in without end.
    """

    def __init__(self, program: ty.Program, inputs: Sequence[ty.Declared]) -> None:
        self.inputs = {v.name.casefold() for v in inputs}
        overwritten = set(_overwritten(program.body))
        self._known: dict[str, dict[ty.Expression, None] | None] = {}
        for v in program.variables:
            key = v.name.casefold()
            if isinstance(v.type, RealType) and key not in self.inputs:
                first = ty.Constant(0, v.type, "", v.place, v.real)
                self._known[key] = {} if key in overwritten else {first: None}
        # A number that nothing writes, as of a structure with initial values, is a constant.
        written = set(written_in(program.body))
        self._fixed = {
            v.name.casefold(): ty.Constant(v.initial, v.type, str(v.initial), v.place)
            for v in program.variables
            if isinstance(v.type, IntType)
            and v.kind != "VAR_INPUT"
            and v.name.casefold() not in written
        }
        self._loose: set[str] = set()
        self._places: dict[str, Mistake] = {}
        self.ends: list[ty.Assign] = []
        """Where inputs are mixed without end, but for what only reads the outcome of that."""
        self._find([a for a in assignments(program.body) if isinstance(a.type, RealType)])

    def endless(self) -> dict[str, Mistake]:
        """The variables that an input is in without end, and where they become so."""
        return {name: self._places[name] for name, known in self._known.items() if known is None}

    def _find(self, assignments: Sequence[ty.Assign]) -> None:
        grown = True
        while grown:
            grown = False
            for a in assignments:
                grown |= self._grow(a)

    def _grow(self, a: ty.Assign) -> bool:
        key = a.target.casefold()
        known = self._known[key]
        if known is None:
            return False
        try:
            forms = self.of(a.value)
        except MixedError as mixed:
            return self._end(a, mixed.says)
        if not forms:
            grown = key not in self._loose
            self._loose.add(key)
            return grown
        before = len(known)
        known.update(dict.fromkeys(forms))
        # Inputs as they are come to an end by themselves.
        if sum(not isinstance(form, ty.Read) for form in known) <= _MOST_FORMS:
            return len(known) > before
        if any(map(input_of, known)):
            return self._end(a, f"the values of '{a.target}' never end")
        self._loose.add(key)
        self._known[key] = {}
        return True

    def _end(self, a: ty.Assign, says: str) -> bool:
        key = a.target.casefold()
        if not any(self._known.get(r.name.casefold(), {}) is None for r in reads_of(a.value)):
            self.ends.append(a)
        self._known[key] = None
        self._places[key] = Mistake(a.place, says)
        return True

    def is_looked_at(self, e: ty.Expression) -> bool:
        """Whether `e` is a REAL, or one of the whole numbers that are treated like one."""
        is_input = isinstance(e, ty.Read) and e.name.casefold() in self.inputs
        return is_input or isinstance(e.type, RealType)

    def of(self, e: ty.Expression) -> list[ty.Expression]:
        """The formulas that the REAL `e` may be; none where it is another unknown number.

        Raises
        ------
        MixedError
            Where an input meets what varies as well.
        """
        match e:
            case ty.Constant():
                return [e]
            case ty.Read():
                return self._variable(e)
            case ty.Call(function="SEL", arguments=(_, first, second)):
                return self._either(e, (first, second))
            case ty.Call(function="CHOICE"):
                return self._either(e, e.arguments[2:])
            case _:
                return self._combined(e)

    def _variable(self, e: ty.Read) -> list[ty.Expression]:
        key = e.name.casefold()
        if key in self.inputs:
            return [e]
        known = self._known.get(key, {})
        if known is None or (known and key in self._loose and any(map(input_of, known))):
            raise MixedError(e.place, first_name(e))
        return [] if key in self._loose else list(known)

    def _either(self, e: ty.Expression, parts: Sequence[ty.Expression]) -> list[ty.Expression]:
        forms = [self.of(part) for part in parts]
        flat = list(dict.fromkeys(form for part in forms for form in part))
        if all(forms):
            return flat
        if any(map(input_of, flat)):
            raise MixedError(e.place, first_name(e))
        return []

    def _combined(self, e: ty.Expression) -> list[ty.Expression]:
        before = operands_of(e)
        parts = [
            self._fixed.get(p.name.casefold(), p) if isinstance(p, ty.Read) else p for p in before
        ]
        e = replaced(e, before, parts) if parts else e
        forms = [self.of(part) if self.is_looked_at(part) else [part] for part in parts]
        if any(not self.is_looked_at(p) and next(reads_of(p), None) for p in parts):
            # A whole number that varies.
            return []
        varying = [f for part in forms for f in part if input_of(f)]
        if not varying:
            numbers = [folded(replaced(e, parts, c)) for c in product(*forms)] if all(forms) else []
            return list(dict.fromkeys(numbers)) if len(numbers) <= _MOST_FORMS else []
        made = [replaced(e, parts, choice) for choice in product(*forms)]
        if not all(forms) or len(made) > _MOST_FORMS or not all(map(_keeps_order, made)):
            raise MixedError(e.place, first_name(e))
        return [form if input_of(form) else folded(form) for form in made]


def first_name(e: ty.Expression) -> str:
    """The first REAL variable that `e` reads, for messages."""
    read = next((read for read in reads_of(e) if isinstance(read.type, RealType)), None)
    return read.name if read is not None else "this"


def input_of(form: ty.Expression) -> str:
    """The input that a formula is over, by its casefolded name; empty for a number."""
    read = next(reads_of(form), None)
    return read.name.casefold() if read is not None else ""


def folded(e: ty.Expression, failed: list[Mistake] | None = None) -> ty.Expression:
    """The number that `e`, which reads nothing, is; `failed` receives the flaws on the way."""
    return ty.Constant(0, e.type, "", e.place, evaluate_number(e, {}, failed))


def _keeps_order(e: ty.Expression) -> bool:
    """Whether `e` rises or falls with the one operand that varies, but for turning points."""
    varying = [operand for operand in operands_of(e) if input_of(operand)]
    if not varying:
        return True
    if len(varying) > 1:
        return False
    match e:
        case ty.Unary():
            return e.op == "-"
        case ty.Binary():
            return e.op in "+-*" or (e.op == "/" and varying[0] is e.left)
        case ty.Call():
            converts = len(e.arguments) == 1 and "TO_" in e.function
            return e.function in _KEEPS_ORDER or converts
        case _:
            return False


def _overwritten(body: Iterable[ty.Statement]) -> Iterator[str]:
    """Variables that each scan assigns before it reads them: nobody sees what they begin with."""
    seen: set[str] = set()
    for s in body:
        seen |= {e.name.casefold() for e in expressions_in([s]) if isinstance(e, ty.Read)}
        if isinstance(s, ty.Assign) and s.target.casefold() not in seen:
            yield s.target.casefold()
        seen |= set(written_in([s]))


def assignments(body: Iterable[ty.Statement]) -> Iterator[ty.Assign]:
    """Every assignment within the statements."""
    for s in body:
        match s:
            case ty.Assign():
                yield s
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from assignments(branch.body)
                yield from assignments(s.otherwise)
