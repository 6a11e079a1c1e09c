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
    is_truth : bool
        Whether it stands where a BOOL most likely does: as a condition, beside AND, or copied.
    says : str
        Why the type cannot be told; empty where it can.
    """

    type: str = ""
    least: int | None = None
    most: int | None = None
    is_real: bool = False
    is_truth: bool = False
    says: str = ""

    @classmethod
    def of_all(cls, shown: Sequence[Evidence]) -> Evidence:
        """What several uses show together."""
        doubtful = next((one.says for one in shown if one.says), "")
        types = list(dict.fromkeys(one.type for one in shown if one.type))
        numbers = [n for one in shown for n in (one.least, one.most) if n is not None]
        is_real = any(one.is_real for one in shown)
        if doubtful:
            return cls(says=doubtful)
        if len(types) > 1:
            return cls(says=f"{' as well as '.join(types)} stands beside it; {_DECLARE}")
        if not types and not numbers and not is_real:
            if any(one.is_truth for one in shown):
                return cls("BOOL")
            return cls(says=f"nothing beside it shows its type; {_DECLARE}")
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
    """The least type that also goes beyond all these numbers: they are compared with something."""
    if is_real:
        return "REAL"
    fits = (t for t in _BY_LITERALS if all(LIMITS[t][0] < n < LIMITS[t][1] for n in numbers))
    return next(fits, _BY_LITERALS[-1])


def types_shown(
    node: object,
    types: Mapping[str, str],
    units: Mapping[str, sx.Unit],
    defined: Mapping[str, sx.TypeRef],
) -> Iterator[tuple[sx.Expression, Evidence]]:
    """The operands of one node of code, each with what the others show of its type.

    Parameters
    ----------
    node : a node of syntax
    types : mapping of str to str
        Of the variables that the code sees, by their casefolded names; see `types_of`.
    units : mapping of str to syntax.Unit
    defined : mapping of str to syntax.TypeRef
        Both by their casefolded names.
    """
    yield from ((e, Evidence(is_truth=True)) for e in _truths(node))
    match node:
        case sx.Assign():
            group: tuple[sx.Expression, ...] = (node.target, node.value)
        case sx.Binary():
            group = (node.left, node.right)
        case sx.Junction():
            group = node.operands
        case sx.For() | sx.Case():
            counted = node.variable if isinstance(node, sx.For) else node.selector
            yield counted, Evidence(least=0)
            return
        case sx.Invoke() | sx.Call():
            yield from _arguments(node, types, units, defined)
            return
        case _:
            return
    shown = [_shown(e, types) for e in group]
    for at, e in enumerate(group):
        yield from ((e, other) for n, other in enumerate(shown) if n != at)


def _truths(node: object) -> Iterator[sx.Expression]:
    """Where a BOOL most likely stands, if nothing shows another type."""
    match node:
        case sx.If():
            yield from (branch.condition for branch in node.branches)
        case sx.While():
            yield node.condition
        case sx.Repeat():
            yield node.until
        case sx.Unary() if node.op == "NOT":
            yield node.operand
        case sx.Assign():
            yield from (node.target, node.value)
        case sx.Junction():
            yield from node.operands
        case sx.Binary() if node.op == "XOR":
            yield from (node.left, node.right)


def _arguments(
    call: sx.Invoke | sx.Call,
    types: Mapping[str, str],
    units: Mapping[str, sx.Unit],
    defined: Mapping[str, sx.TypeRef],
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
    wanted = _of_block(called, units, defined)
    for given in inputs:
        yield given.value, _of_type(wanted.get(given.name.casefold(), ""))
    for taken in call.outputs:
        yield taken.target, _of_type(wanted.get(taken.name.casefold(), ""))


def _of_block(
    called: str, units: Mapping[str, sx.Unit], defined: Mapping[str, sx.TypeRef]
) -> Mapping[str, str]:
    """The types of the variables of a block, by casefolded names."""
    if called.upper() in _TIMERS:
        return {"pt": "TIME", "et": "TIME", "in": "BOOL", "q": "BOOL"}
    if called.upper() in _COUNTERS:
        return {"pv": "INT", "cv": "INT"}
    unit = units.get(called.casefold())
    return {} if unit is None else types_of(unit.declarations, defined)


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
            return left if left.type or left.is_real or left.says else right
        case sx.Unary() if e.op != "NOT" and isinstance(e.operand, sx.Number):
            return Evidence(least=-e.operand.value, most=-e.operand.value)
        case sx.Unary():
            return _shown(e.operand, types)
        case sx.Junction():
            shown = [_shown(one, types) for one in e.operands]
            return next((one for one in shown if one.type), Evidence())
        case sx.Name():
            return _of_type(types.get(e.text.casefold(), ""))
        case sx.Call() if "_TO_" in e.function.upper():
            of = e.function.upper().rpartition("_TO_")[2]
            return Evidence(of if of in _ELEMENTARY else "")
        case _:
            return Evidence()


def _of_type(name: str) -> Evidence:
    if name and name not in _ELEMENTARY:
        return Evidence(says=f"{name} stands beside it, which it need not be; {_DECLARE}")
    return Evidence(name)


def types_of(
    declarations: Iterable[sx.Declaration], defined: Mapping[str, sx.TypeRef]
) -> dict[str, str]:
    """The names of types by the casefolded names of variables; a later one hides an earlier one.

    What has another name, or limits, for an elementary type is of that type.

    Parameters
    ----------
    declarations : iterable of syntax.Declaration
    defined : mapping of str to syntax.TypeRef
        The types of the files, by casefolded names.
    """
    found: dict[str, str] = {}
    for d in declarations:
        name = _plain_type(d.type, defined)
        found |= dict.fromkeys((one.text.casefold() for one in d.names), name)
    return found


def _plain_type(given: sx.TypeRef, defined: Mapping[str, sx.TypeRef]) -> str:
    seen: set[str] = set()
    type_ = given
    while type_.name.casefold() in defined and type_.name.casefold() not in seen:
        seen.add(type_.name.casefold())
        type_ = defined[type_.name.casefold()]
    upper = type_.name.upper()
    return upper if upper in _ELEMENTARY else given.name
