"""Where whole numbers that come from wide inputs are mixed, and what then takes their place.

An input is wide here if it has no classes of values that are few enough to be tried (see
`interlock.model.value_classes`). What such inputs and their copies are mixed in is taken as any
value, as far as it must be: sums before comparisons, and last of all what asks one input alone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from interlock.st import typed as ty
from interlock.st.any_values import AnyValues, innermost
from interlock.st.evaluate import operands_of, reads_of
from interlock.st.inference import infer_ranges
from interlock.st.typed_parts import expressions_in
from interlock.st.types import BitsType, IntType, TimeType, Type, span_of

FEW = 256
"""A variable with no more values may be remembered as it is."""

# These hand on one of their arguments, or look one of them up by another.
_HANDS_ON = frozenset(("SEL", "CHOICE", "VALUE", "MOVE"))


def with_any_values(program: ty.Program, unclassed: Collection[str]) -> ty.Program | None:
    """`program` with any value in place of some of what mixes these inputs; None if nothing does.

    Parameters
    ----------
    program : typed.Program
    unclassed : collection of str
        Inputs with more values that matter than can be tried.
    """
    wide = _Wide(program, unclassed)
    for kind in (wide.is_sum_of_several, wide.is_mixed, wide.is_mixed_with_few, wide.is_asked):
        found = [e for e in expressions_in(program.body) if kind(e)]
        if found:
            made = AnyValues()
            changed = made.instead_of(program, (), innermost(found))
            return made.kept(program, changed)
    return _without_counters(program, _counted_to(program.body, wide.tainted))


def _without_counters(program: ty.Program, counters: Collection[str]) -> ty.Program | None:
    """`program` with any value for what these give; they have a preset value that is one."""
    asked = [
        e
        for e in expressions_in(program.body)
        if isinstance(e, ty.Read) and e.name.casefold().rpartition(".")[0] in counters
    ]
    if not counters:
        return None
    made = AnyValues()
    changed = made.instead_of(program, (), asked)
    body = tuple(_preset_to_0(changed.body, counters))
    return made.kept(program, replace(changed, body=body))


def _preset_to_0(body: Iterable[ty.Statement], counters: Collection[str]) -> Iterator[ty.Statement]:
    """The statements with these counters counting to nothing, since nobody looks at them."""
    for s in body:
        match s:
            case ty.Invoke() if s.instance.casefold() in counters:
                zero = ty.Constant(0, IntType(0, 0), "0", s.place)
                inputs = tuple((n, zero if n == "PV" else value) for n, value in s.inputs)
                yield replace(s, inputs=inputs)
            case ty.If():
                branches = tuple(
                    replace(b, body=tuple(_preset_to_0(b.body, counters))) for b in s.branches
                )
                otherwise = tuple(_preset_to_0(s.otherwise, counters))
                yield replace(s, branches=branches, otherwise=otherwise)
            case ty.Case():
                cases = tuple(
                    replace(b, body=tuple(_preset_to_0(b.body, counters))) for b in s.branches
                )
                otherwise = tuple(_preset_to_0(s.otherwise, counters))
                yield replace(s, branches=cases, otherwise=otherwise)
            case _:
                yield s


class _Wide:
    """Which expressions of a program hold what comes from the inputs that have no classes."""

    def __init__(self, program: ty.Program, unclassed: Collection[str]) -> None:
        self._ever = infer_ranges(program).ever
        self.tainted = {name.casefold() for name in unclassed}
        grown = True
        while grown:
            before = len(self.tainted)
            for target, value in _assignments(program.body):
                if self._is_wide(value) and self._is_tainted(value):
                    self.tainted.add(target.casefold())
            grown = len(self.tainted) > before

    def _is_tainted(self, e: ty.Expression) -> bool:
        return any(read.name.casefold() in self.tainted for read in reads_of(e))

    def _is_wide(self, e: ty.Expression) -> bool:
        known = self._ever.get(e.name.casefold()) if isinstance(e, ty.Read) else None
        lo, hi = known if isinstance(known, tuple) else _span(e.type)
        return hi - lo >= FEW

    def _wide_reads(self, e: ty.Expression) -> bool:
        return any(self._is_wide(read) for read in reads_of(e))

    def _varying(self, e: ty.Expression) -> list[ty.Expression]:
        """The operands that are wide and vary, of what computes something of them."""
        if isinstance(e, ty.Call) and e.function in _HANDS_ON:
            return []
        return [p for p in operands_of(e) if self._is_wide(p) and self._wide_reads(p)]

    def is_sum_of_several(self, e: ty.Expression) -> bool:
        """Whether it is a wide number computed of several."""
        return self._is_wide(e) and self.is_mixed(e)

    def is_mixed(self, e: ty.Expression) -> bool:
        """Whether it is computed of, or compares, several wide numbers."""
        return len(self._varying(e)) > 1 and self._is_tainted(e)

    def is_mixed_with_few(self, e: ty.Expression) -> bool:
        """Whether a wide number is mixed with what has few values and varies."""
        varying = self._varying(e)
        if not any(map(self._is_tainted, varying)):
            return False
        return sum(next(reads_of(p), None) is not None for p in operands_of(e)) > 1

    def is_asked(self, e: ty.Expression) -> bool:
        """Whether something with few values is asked of a wide number."""
        return not self._is_wide(e) and any(map(self._is_tainted, self._varying(e)))


def _span(type_: Type) -> tuple[int, int]:
    return span_of(type_) if isinstance(type_, IntType | BitsType | TimeType) else (0, 1)


def _assignments(body: Iterable[ty.Statement]) -> Iterator[tuple[str, ty.Expression]]:
    """What each variable is assigned; what a block counts to counts as what it gives."""
    for s in body:
        match s:
            case ty.Assign():
                yield s.target, s.value
            case ty.Invoke():
                yield from ((taken.target, value) for taken in s.outputs for _, value in s.inputs)
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from _assignments(branch.body)
                yield from _assignments(s.otherwise)


def _counted_to(body: Iterable[ty.Statement], tainted: Collection[str]) -> set[str]:
    """Counters whose preset value is such a number, by casefolded name."""
    found: set[str] = set()
    for s in body:
        match s:
            case ty.Invoke():
                reads = (
                    r.name.casefold() for name, v in s.inputs if name == "PV" for r in reads_of(v)
                )
                found |= {s.instance.casefold() for name in reads if name in tainted}
            case ty.If() | ty.Case():
                for branch in s.branches:
                    found |= _counted_to(branch.body, tainted)
                found |= _counted_to(s.otherwise, tainted)
    return found
