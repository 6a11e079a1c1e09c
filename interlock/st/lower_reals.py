"""Real numbers in the kernel: finitely many, each where its condition holds.

A number that depends on one whole number only is kept as a list over the values of that number;
every other is a list of numbers with their conditions, of which always one holds.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from interlock.base.errors import InputError, Mistake, Place
from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr, and_, const, or_

# Beyond so many values, or combinations of values, there is no telling them apart any more.
MOST_VALUES, MOST_COMBINED = 512, 1 << 16

NoteFlaw = Callable[[Place, str, Expr], None]
"""Receives the place, the text and the condition of a flaw."""


@dataclass(frozen=True)
class Real:
    """A real number: of the whole number `at`, counted from `lo`, or guarded by conditions.

    Attributes
    ----------
    at : Expr or None
        None where `guards` tell which of `values` it is.
    """

    values: tuple[float, ...]
    at: Expr | None = None
    lo: int = 0
    guards: tuple[Expr, ...] = ()

    def guarded(self) -> list[tuple[Expr, float]]:
        """Each number once, with the condition under which it is this one."""
        groups: dict[float, list[int]] = {}
        for number, value in enumerate(self.values):
            groups.setdefault(value, []).append(number)
        return [(self.where(numbers), value) for value, numbers in groups.items()]

    def where(self, numbers: Sequence[int]) -> Expr:
        """Where it is one of its `values` at these places, in order."""
        if self.at is None:
            return or_(*(self.guards[number] for number in numbers))
        if len(numbers) == len(self.values):
            return TRUE
        return or_(*(self._in_run(first, last) for first, last in _runs(numbers)))

    def _in_run(self, first: int, last: int) -> Expr:
        assert self.at is not None
        lo, hi = const(self.lo + first), const(self.lo + last)
        if first == last:
            return ex.eq(self.at, lo)
        from_lo = TRUE if first == 0 else ex.le(lo, self.at)
        to_hi = TRUE if last == len(self.values) - 1 else ex.le(self.at, hi)
        return and_(from_lo, to_hi)


def _runs(numbers: Sequence[int]) -> Iterable[tuple[int, int]]:
    first = last = numbers[0]
    for number in numbers[1:]:
        if number != last + 1:
            yield first, last
            first = number
        last = number
    yield first, last


def constant(value: float) -> Real:
    """A number that is always the same."""
    return Real((value,), guards=(TRUE,))


def of_integer(e: Expr, span: tuple[int, int], table: Callable[[int], float], place: Place) -> Real:
    """The real number that `table` gives for each value of `e` within `span`.

    Raises
    ------
    InputError
        If these are too many.
    """
    lo, hi = span
    if lo == hi:
        return constant(table(lo))
    if hi - lo >= MOST_VALUES:
        says = f"{hi - lo + 1} values are too many to be taken as real numbers; limit them"
        raise InputError([Mistake(place, says)])
    return Real(tuple(table(number) for number in range(lo, hi + 1)), e, lo)


def combined(operands: Sequence[Real], place: Place) -> list[tuple[Expr, tuple[float, ...]]]:
    """What the operands may be together, each combination with its condition.

    Raises
    ------
    InputError
        If these are too many.
    """
    varying = {id(o.at): o for o in operands if o.at is not None}
    fixed = all(o.at is not None or len(o.values) == 1 for o in operands)
    if len(varying) == 1 and fixed:
        (one,) = varying.values()
        last = one.lo + len(one.values)
        return [
            (one.where([number - one.lo]), tuple(_at(o, number) for o in operands))
            for number in range(one.lo, last)
        ]
    parts = [operand.guarded() for operand in operands]
    count = 1
    for part in parts:
        count *= len(part)
    if count > MOST_COMBINED:
        raise InputError([Mistake(place, "too many real numbers meet here; limit their values")])
    found = [
        (and_(*(guard for guard, _ in choice)), tuple(value for _, value in choice))
        for choice in product(*parts)
    ]
    return [(guard, values) for guard, values in found if guard is not FALSE]


def _at(real: Real, number: int) -> float:
    return real.values[0 if real.at is None else number - real.lo]


def applied(
    operands: Sequence[Real],
    function: Callable[..., float],
    place: Place,
    refuses: Callable[..., str] | None = None,
    note: NoteFlaw | None = None,
) -> Real:
    """A function of real numbers; where `refuses` gives a text, that is a flaw.

    Raises
    ------
    InputError
        If there are too many values.
    """
    choices = combined(operands, place)
    if note is not None and refuses is not None:
        wrong: dict[str, list[Expr]] = {}
        for guard, values in choices:
            says = refuses(*values)
            if says:
                wrong.setdefault(says, []).append(guard)
        for says, guards in wrong.items():
            note(place, says, or_(*guards))
    results = tuple(function(*values) for _, values in choices)
    sources = [o for o in operands if o.at is not None]
    one = sources[0] if sources else None
    if one is not None and len(choices) == len(one.values) and _is_alone(operands):
        return Real(results, one.at, one.lo)
    return merged(zip((guard for guard, _ in choices), results, strict=True), place)


def _is_alone(operands: Sequence[Real]) -> bool:
    sources = {id(o.at) for o in operands if o.at is not None}
    return len(sources) == 1 and all(o.at is not None or len(o.values) == 1 for o in operands)


def merged(choices: Iterable[tuple[Expr, float]], place: Place) -> Real:
    """A number given by its choices, equal ones together.

    Raises
    ------
    InputError
        If there are too many values.
    """
    groups: dict[float, list[Expr]] = {}
    for guard, value in choices:
        groups.setdefault(value, []).append(guard)
    if len(groups) > MOST_VALUES:
        raise InputError([Mistake(place, "this REAL has too many values; limit them")])
    return Real(tuple(groups), guards=tuple(or_(*guards) for guards in groups.values()))


def holds(operands: Sequence[Real], test: Callable[..., bool], place: Place) -> Expr:
    """Where `test` of the operands is true.

    Raises
    ------
    InputError
        If there are too many values.
    """
    if _is_alone(operands):
        one = next(o for o in operands if o.at is not None)
        numbers = range(one.lo, one.lo + len(one.values))
        met = [n - one.lo for n in numbers if test(*(_at(o, n) for o in operands))]
        return one.where(met) if met else FALSE
    return or_(*(guard for guard, values in combined(operands, place) if test(*values)))


def whole_number(real: Real, function: Callable[[float], int]) -> Expr:
    """A whole number for each real number."""
    groups: dict[int, list[int]] = {}
    for number, value in enumerate(real.values):
        groups.setdefault(function(value), []).append(number)
    *others, last = groups.items()
    result = const(last[0])
    for value, numbers in reversed(others):
        result = ex.ite(real.where(numbers), const(value), result)
    return result


def place_in(real: Real, table: Sequence[float]) -> Expr:
    """Which value of a sorted table the number is."""
    if real.at is not None and real.lo == 0 and real.values == tuple(table):
        return real.at
    return whole_number(real, lambda value: min(bisect_left(table, value), len(table) - 1))
