"""How far the value of each counter of a program has to be kept apart.

A counter counts on past its preset value (IEC 61131-3). Nothing tells two of its values apart that
every reader treats alike, so they may be one: from the value given here on, the lowering keeps the
counter where it is. The interpreter counts on; what either of them makes of the counter must agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from interlock.st import typed as ty
from interlock.st.evaluate import operands_of
from interlock.st.types import INT_MAX, IntType, Type

_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))
_Need = tuple[str, int]


def greatest_counts(program: ty.Program) -> dict[str, int]:
    """For each counter the least value that nothing tells apart from a greater one.

    It is the greatest preset value that a call gives. Where CV is compared, assigned or in CASE, it
    is one more than the greatest value that CV is compared with, that fits the variable, or that a
    label names; in MIN and LIMIT it is the limit. Where CV is read in any other way, it is the
    greatest INT: every value counts.

    Parameters
    ----------
    program : typed.Program

    Returns
    -------
    dict of str to int
        By the instance's name as declared; at least 1.

    Examples
    --------
    >>> from interlock.st.load import load_program
    >>> text = '''PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    ... VAR c, d : CTU; END_VAR
    ... c(CU := a, PV := 3); d(CU := a, PV := 3); q := c.Q OR d.CV > 5; END_PROGRAM'''
    >>> greatest_counts(load_program(text, "p.st"))
    {'c': 3, 'd': 6}
    """
    counters = {f"{i.name}.CV": i.name for i in program.instances if i.block == "CTU"}
    counts = dict.fromkeys(counters.values(), 1)
    for name, needed in _Readers(counters).of_body(program.body):
        counts[name] = min(max(counts[name], needed), INT_MAX)
    return counts


class _Readers:
    """What reads counters, and how far each needs them.

    Parameters
    ----------
    counters : mapping of str to str
        The instance by the name of its value, as in ``c.CV``.
    """

    def __init__(self, counters: Mapping[str, str]) -> None:
        self._counters = counters

    def of_body(self, body: Iterable[ty.Statement]) -> Iterator[_Need]:
        for s in body:
            match s:
                case ty.Assign():
                    yield from self._up_to(s.value, _greatest(s.type) + 1)
                case ty.Invoke():
                    yield from self._of_call(s)
                case ty.If():
                    for branch in s.branches:
                        yield from self._in(branch.condition)
                        yield from self.of_body(branch.body)
                    yield from self.of_body(s.otherwise)
                case ty.Case():
                    labels = [hi for branch in s.branches for _, hi in branch.ranges]
                    yield from self._up_to(s.selector, max(labels, default=0) + 1)
                    for case in s.branches:
                        yield from self.of_body(case.body)
                    yield from self.of_body(s.otherwise)

    def _of_call(self, s: ty.Invoke) -> Iterator[_Need]:
        counter = self._counters.get(f"{s.instance}.CV")
        for name, value in s.inputs:
            if counter is not None and name == "PV":
                yield counter, _greatest(value.type)
            yield from self._in(value)
        for taken in s.outputs:
            if taken.output == "CV" and counter is not None:
                yield counter, _greatest(taken.type) + 1

    def _up_to(self, e: ty.Expression, needed: int) -> Iterator[_Need]:
        """The readers in `e`, which is itself read up to `needed`."""
        counter = self._counters.get(e.name) if isinstance(e, ty.Read) else None
        if counter is not None:
            yield counter, needed
        else:
            yield from self._in(e)

    def _in(self, e: ty.Expression) -> Iterator[_Need]:
        match e:
            case ty.Read() if e.name in self._counters:
                yield self._counters[e.name], INT_MAX
            case ty.Binary() if e.op in _COMPARISONS:
                yield from self._up_to(e.left, _greatest(e.right.type) + 1)
                yield from self._up_to(e.right, _greatest(e.left.type) + 1)
            case ty.Call(function="MIN"):
                for number, argument in enumerate(e.arguments):
                    others = (*e.arguments[:number], *e.arguments[number + 1 :])
                    yield from self._up_to(argument, min(_greatest(o.type) for o in others))
            case ty.Call(function="LIMIT"):  # LIMIT(MN, IN, MX)
                low, value, high = e.arguments
                yield from self._up_to(value, _greatest(high.type))
                yield from self._in(low)
                yield from self._in(high)
            case _:
                for operand in operands_of(e):
                    yield from self._in(operand)


def _greatest(type_: Type) -> int:
    return type_.hi if isinstance(type_, IntType) else INT_MAX
