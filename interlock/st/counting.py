"""How far the value of each counter of a program has to be kept apart.

A counter counts on past its preset value (IEC 61131-3). Nothing tells two of its values apart that
every reader treats alike, so they may be one: from the value given here on, the lowering keeps the
counter where it is. The interpreter counts on; what either of them makes of the counter must agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from interlock.st import typed as ty
from interlock.st.abstract import Meaning
from interlock.st.evaluate import operands_of
from interlock.st.inference import Ranges
from interlock.st.types import LIMITS, BoolType, RealType, Type, span_of

_COMPARISONS = frozenset(("=", "<>", "<", ">", "<=", ">="))
_Need = tuple[str, int]


def count_spans(program: ty.Program, found: Ranges) -> dict[str, tuple[int, int]]:
    """For each counter the values that something tells apart.

    Upwards a CTU ends at the greatest preset value that a call gives. Where CV is compared,
    assigned or in CASE, it is one more than the greatest value that CV is compared with, that fits
    the variable, or that a label names; in MIN and LIMIT it is the limit. Where CV is read in any
    other way, it is the greatest of its type: every value counts. A CTD likewise ends
    downwards at 0 or below what it is compared with, and upwards at the greatest preset value. A
    CTUD, which comes back from wherever it counted to, keeps every value apart.

    Parameters
    ----------
    program : typed.Program
    found : Ranges
        Of the same program.

    Returns
    -------
    dict of str to (int, int)
        By the instance's name as declared.

    Examples
    --------
    >>> from interlock.st.load import load_program
    >>> from interlock.st.inference import infer_ranges
    >>> text = '''PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
    ... VAR c, d : CTU; END_VAR
    ... c(CU := a, PV := 3); d(CU := a, PV := 3); q := c.Q OR d.CV > 5; END_PROGRAM'''
    >>> program = load_program(text, "p.st")
    >>> count_spans(program, infer_ranges(program))
    {'c': (0, 3), 'd': (0, 6)}
    """
    spans: dict[str, tuple[int, int]] = {}
    limits = {i.name: LIMITS[i.counted] for i in program.instances}
    for block, is_up in (("CTU", True), ("CTD", False)):
        names = {f"{i.name}.CV": i.name for i in program.instances if i.block == block}
        readers = _Readers(names, is_up, found)
        ends = dict.fromkeys(names.values(), 1 if is_up else 0)
        presets = dict.fromkeys(names.values(), 0)
        for name, needed in readers.of_body(program.body):
            least, most = limits[name]
            ends[name] = min(max(ends[name], needed), most if is_up else -least)
        for name, most in readers.presets:
            presets[name] = min(max(presets[name], most), limits[name][1])
        for name, end in ends.items():
            spans[name] = (0, end) if is_up else (-end, presets[name])
    for instance in program.instances:
        if instance.block == "CTUD":
            spans[instance.name] = limits[instance.name]
    return spans


class _Readers:
    """What reads counters, and how far each needs them; downwards numbers have the other sign.

    Parameters
    ----------
    counters : mapping of str to str
        The instance by the name of its value, as in ``c.CV``.
    is_up : bool
        Whether they count upwards.
    found : Ranges

    Attributes
    ----------
    presets : list of (str, int)
        The greatest preset value of each call, by the instance's name.
    """

    def __init__(self, counters: Mapping[str, str], is_up: bool, found: Ranges) -> None:
        self._counters = counters
        self._is_up = is_up
        self._meaning = Meaning(dict(found.ever), [])
        # Beyond all types; a counter ends at the limit of its own.
        self._whole = 1 << 64
        self.presets: list[_Need] = []

    def of_body(self, body: Iterable[ty.Statement]) -> Iterator[_Need]:
        for s in body:
            match s:
                case ty.Assign():
                    yield from self._up_to(s.value, self._end_of_type(s.type) + 1)
                case ty.Invoke():
                    yield from self._of_call(s)
                case ty.If():
                    for branch in s.branches:
                        yield from self._in(branch.condition)
                        yield from self.of_body(branch.body)
                    yield from self.of_body(s.otherwise)
                case ty.Case():
                    ends = [hi if self._is_up else -lo for b in s.branches for lo, hi in b.ranges]
                    yield from self._up_to(s.selector, max(ends, default=0) + 1)
                    for case in s.branches:
                        yield from self.of_body(case.body)
                    yield from self.of_body(s.otherwise)

    def _of_call(self, s: ty.Invoke) -> Iterator[_Need]:
        counter = self._counters.get(f"{s.instance}.CV")
        for name, value in s.inputs:
            if counter is not None and name == "PV":
                most = self._meaning.span(value)[1]
                self.presets.append((counter, most))
                if self._is_up:
                    yield counter, most
            yield from self._in(value)
        for taken in s.outputs:
            if taken.output == "CV" and counter is not None:
                yield counter, self._end_of_type(taken.type) + 1

    def _up_to(self, e: ty.Expression, needed: int) -> Iterator[_Need]:
        """The readers in `e`, which is itself read up to `needed`."""
        counter = self._counters.get(e.name) if isinstance(e, ty.Read) else None
        if counter is not None:
            yield counter, needed
        else:
            yield from self._in(e)

    def _in(self, e: ty.Expression) -> Iterator[_Need]:
        limiting, keeping = ("MIN", 2) if self._is_up else ("MAX", 0)
        match e:
            case ty.Read() if e.name in self._counters:
                yield self._counters[e.name], self._whole
            case ty.Binary() if e.op in _COMPARISONS:
                yield from self._up_to(e.left, self._end(e.right) + 1)
                yield from self._up_to(e.right, self._end(e.left) + 1)
            case ty.Call() if e.function == limiting:
                for number, argument in enumerate(e.arguments):
                    others = (*e.arguments[:number], *e.arguments[number + 1 :])
                    yield from self._up_to(argument, min(self._end(o) for o in others))
            case ty.Call(function="LIMIT"):  # LIMIT(MN, IN, MX)
                yield from self._up_to(e.arguments[1], self._end(e.arguments[keeping]))
                yield from self._in(e.arguments[0])
                yield from self._in(e.arguments[2])
            case _:
                for operand in operands_of(e):
                    yield from self._in(operand)

    def _end(self, e: ty.Expression) -> int:
        """The greatest value of `e`; downwards the least with the other sign."""
        if isinstance(e.type, BoolType | RealType):
            return self._whole
        lo, hi = self._meaning.span(e)
        return hi if self._is_up else -lo

    def _end_of_type(self, type_: Type) -> int:
        if isinstance(type_, BoolType | RealType):
            return self._whole
        lo, hi = span_of(type_)
        return hi if self._is_up else -lo
