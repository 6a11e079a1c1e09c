"""Of what type a variable is that no file declares: what its uses show.

A literal shows only what has to fit: 3 is an INT as well as a DINT. What has a declared type beside
it is of that type. Where two uses show different types, none is chosen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.st import syntax as sx
from interlock.st.types import LIMITS

_COMPARED = frozenset(("=", "<>", "<", "<=", ">", ">="))
_TIMERS = frozenset(("TON", "TOF", "TP"))
_COUNTERS = frozenset(("CTU", "CTD", "CTUD"))
_ELEMENTARY = frozenset((*LIMITS, "BOOL", "TIME", "REAL", "LREAL"))
_BY_LITERALS = ("INT", "DINT", "LINT")


@dataclass(frozen=True)
class Evidence:
    """What one use shows, or all of them.

    Attributes
    ----------
    type : str
        An elementary type; empty where only a literal shows something, or nothing does.
    least, most : int or None
        Whole numbers that it is compared with, or given.
    is_real : bool
        Whether a literal with a fraction stands beside it.
    says : str
        Why the type cannot be told; empty where it can.
    """

    type: str = ""
    least: int | None = None
    most: int | None = None
    is_real: bool = False
    says: str = ""

    @classmethod
    def of_all(cls, shown: Sequence[Evidence]) -> Evidence:
        """What several uses show together; BOOL where none shows anything."""
        types = list(dict.fromkeys(one.type for one in shown if one.type))
        numbers = [n for one in shown for n in (one.least, one.most) if n is not None]
        is_real = any(one.is_real for one in shown)
        if len(types) > 1:
            return cls(says=f"{' as well as '.join(types)} stands beside it; {_DECLARE}")
        if not types:
            return cls(_by_literals(numbers, is_real))
        lo, hi = LIMITS.get(types[0], (0, 0))
        if is_real and types[0] not in ("REAL", "LREAL"):
            return cls(says=f"{types[0]} as well as a fraction stands beside it; {_DECLARE}")
        if types[0] in LIMITS and any(not lo <= n <= hi for n in numbers):
            return cls(says=f"{types[0]} as well as a larger number stands beside it; {_DECLARE}")
        return cls(types[0])


_DECLARE = "declare it: VAR_GLOBAL … END_VAR, in a file of its own"


def _by_literals(numbers: Sequence[int], is_real: bool) -> str:
    if is_real:
        return "REAL"
    if not numbers:
        return "BOOL"
    fits = (t for t in _BY_LITERALS if all(LIMITS[t][0] <= n <= LIMITS[t][1] for n in numbers))
    return next(fits, _BY_LITERALS[-1])


def types_shown(
    node: object, types: Mapping[str, str], units: Mapping[str, sx.Unit]
) -> Iterator[tuple[sx.Expression, Evidence]]:
    """The operands of one node of code, each with what the others show of its type.

    Parameters
    ----------
    node : a node of syntax
    types : mapping of str to str
        Of the variables that the code sees, by their casefolded names; see `types_of`.
    units : mapping of str to syntax.Unit
        By their casefolded names.
    """
    match node:
        case sx.Assign():
            groups: list[tuple[sx.Expression, ...]] = [(node.target, node.value)]
        case sx.Binary():
            groups = [(node.left, node.right)]
        case sx.Junction():
            groups = [node.operands]
        case sx.For():
            yield node.variable, Evidence(least=0)
            return
        case sx.Case():
            yield node.selector, Evidence(least=0)
            return
        case sx.Invoke() | sx.Call():
            yield from _arguments(node, types, units)
            return
        case _:
            return
    for group in groups:
        shown = [_shown(e, types) for e in group]
        for at, e in enumerate(group):
            yield from ((e, other) for n, other in enumerate(shown) if n != at)


def _arguments(
    call: sx.Invoke | sx.Call, types: Mapping[str, str], units: Mapping[str, sx.Unit]
) -> Iterator[tuple[sx.Expression, Evidence]]:
    """The arguments of a call, each of the type that the block or function declares."""
    if isinstance(call, sx.Call):
        called, inputs = call.function, call.named
        source, _, to = called.upper().partition("_TO_")
        if to and source in _ELEMENTARY:
            yield from ((e, Evidence(source)) for e in call.arguments)
            return
    else:
        called, inputs = types.get(call.instance.text.casefold(), ""), call.inputs
    wanted = _of_block(called, units)
    for given in inputs:
        yield given.value, Evidence(wanted.get(given.name.casefold(), ""))
    for taken in call.outputs:
        yield taken.target, Evidence(wanted.get(taken.name.casefold(), ""))


def _of_block(called: str, units: Mapping[str, sx.Unit]) -> Mapping[str, str]:
    """The types of the variables of a block, by casefolded names."""
    if called.upper() in _TIMERS:
        return {"pt": "TIME", "et": "TIME", "in": "BOOL", "q": "BOOL"}
    if called.upper() in _COUNTERS:
        return {"pv": "INT", "cv": "INT"}
    unit = units.get(called.casefold())
    return {} if unit is None else types_of(unit.declarations)


def _shown(e: sx.Expression, types: Mapping[str, str]) -> Evidence:
    """What an expression shows of its own type."""
    match e:
        case sx.Number():
            return Evidence(e.prefix) if e.prefix else Evidence(least=e.value, most=e.value)
        case sx.Real():
            return Evidence(e.prefix) if e.prefix else Evidence(is_real=True)
        case sx.Duration():
            return Evidence("TIME")
        case sx.Truth():
            return Evidence("BOOL")
        case sx.Binary() if e.op in _COMPARED:
            return Evidence("BOOL")
        case sx.Binary():
            left, right = _shown(e.left, types), _shown(e.right, types)
            return left if left.type or left.is_real else right
        case sx.Unary() if e.op != "NOT" and isinstance(e.operand, sx.Number):
            return Evidence(least=-e.operand.value, most=-e.operand.value)
        case sx.Unary():
            return _shown(e.operand, types)
        case sx.Junction():
            shown = [_shown(one, types) for one in e.operands]
            return next((one for one in shown if one.type), Evidence())
        case sx.Name():
            return Evidence(types.get(e.text.casefold(), ""))
        case sx.Call() if "_TO_" in e.function.upper():
            of = e.function.upper().rpartition("_TO_")[2]
            return Evidence(of if of in _ELEMENTARY else "")
        case _:
            return Evidence()


def types_of(declarations: Iterable[sx.Declaration]) -> dict[str, str]:
    """The names of types by the casefolded names of variables; a later one hides an earlier one.

    Empty where it is more than a name: a subrange, an array.
    """
    found: dict[str, str] = {}
    for d in declarations:
        upper = d.type.name.upper()
        name = upper if upper in _ELEMENTARY else d.type.name
        found |= dict.fromkeys(
            (one.text.casefold() for one in d.names),
            "" if d.type.lo is not None or d.type.dimensions else name,
        )
    return found
