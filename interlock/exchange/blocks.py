"""What a block in a network stands for: an instance, a function, an action; and its outputs."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.base.errors import nearest
from interlock.exchange.making import Making
from interlock.exchange.nodes import Node, Output, Pin
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, FUNCTIONS, OPERATORS
from interlock.st.parse_expressions import divided
from interlock.st.parser import parse_expression

_SIGNS = {"&": "AND", ">=1": "OR", "=1": "XOR", "+": "ADD", "-": "SUB", "*": "MUL", "/": "DIV"}
_JUNCTIONS = ("AND", "OR")
_FOLDED = frozenset(("ADD", "MUL", "XOR"))
_ENABLES = frozenset(("EN", "ENO"))


def type_name(node: Node) -> str:
    """What a block is, as written; a sign of a function by its name."""
    name = node.element.get("typeName")
    return _SIGNS.get(name, name)


def is_instance(node: Node) -> bool:
    """Whether a block is the call of an instance."""
    return bool(node.element.get("instanceName"))


def is_function(node: Node, making: Making) -> bool:
    """Whether a block is a function without effect that is always executed."""
    is_own = type_name(node).casefold() in making.actions
    return not (
        is_instance(node)
        or is_own
        or enabling(node) is not None
        or making.scope.known.is_user_function(type_name(node))
        or node.in_outs
        or "." in type_name(node)
    )


def enabling(node: Node) -> Pin | None:
    """The pin EN of a block where something comes in."""
    return next((p for p in node.pins if p.name.upper() == "EN" and not p.is_open), None)


def check_block(node: Node, making: Making) -> None:
    """Refuse a block that is not complete.

    Raises
    ------
    InputError
    """
    name = type_name(node)
    if not name:
        raise node.refuse("a block needs typeName")
    unit = making.scope.known.units.get(name.casefold())
    is_block = name.upper() in BLOCKS or (unit is not None and unit.kind != "FUNCTION")
    if is_block and not is_instance(node) and name.casefold() not in making.actions:
        raise node.refuse(f"a {name} needs an instance: its instanceName")


def instance_of(node: Node) -> sx.Target:
    """The variable whose instance a block calls.

    Raises
    ------
    InputError
    """
    text = node.element.get("instanceName")
    found = parse_expression(text, locate=lambda _: node.place)
    if not isinstance(found, sx.Name | sx.Element | sx.Member):
        raise node.refuse(f"'{text[:40]}' names no instance")
    return found


def called(target: sx.Target) -> tuple[sx.Expression | None, sx.Name]:
    """What a call is on and what it calls, as a statement has it."""
    return divided(target)


def member(target: sx.Target, name: str) -> sx.Expression:
    """A variable of an instance."""
    if isinstance(target, sx.Name):
        return sx.Name(f"{target.text}.{name}", target.place)
    return sx.Member(target, name, target.place)


def output_of(node: Node, formal: str) -> str:
    """Which output of a node a connection means: its name in upper case, empty for all but blocks.

    Raises
    ------
    InputError
        Where a block does not have it, or nothing says which of several is meant.
    """
    if node.kind != "block":
        return ""
    names = {output.name.upper(): output.name for output in node.outputs}
    if formal.upper() in names and (formal or len(names) == 1):
        return formal.upper()
    results = [name for name in names if name != "ENO"]
    if len(results) == 1 and not formal:
        return results[0]
    known = [output.name for output in node.outputs]
    if formal:
        says = f"a connection leads to its output '{formal[:40]}', which it does not have"
        raise node.refuse(says + nearest(formal[:40], known))
    raise node.refuse(f"a connection does not say which output is meant: {', '.join(known)}")


def variable_of(node: Node, pin: Pin) -> sx.Expression:
    """The variable that an in-out of a block is; it may come through the in-out of another block.

    Raises
    ------
    InputError
        Where no variable comes in.
    """
    seen: set[int] = set()
    while len(pin.sources) == 1 and not pin.negated and not pin.edge:
        source, formal = pin.sources[0]
        if source.kind in ("inVariable", "inOutVariable") and source.shown is not None:
            if isinstance(source.shown, sx.Name | sx.Element | sx.Member | sx.Direct):
                return source.shown
            break
        named = [p for p in source.pins if p.name.casefold() == formal.casefold()]
        if formal.casefold() not in source.in_outs or not named or id(source) in seen:
            break
        seen.add(id(source))
        pin = named[0]
    if isinstance(pin.expression, sx.Name | sx.Element | sx.Member | sx.Direct):
        return pin.expression
    raise node.refuse(f"the in-out {pin.name} needs a variable")


def main_output(node: Node, making: Making) -> str | None:
    """The output of a function that is its result, in upper case; None where it has none.

    Some editors leave its name empty.

    Raises
    ------
    InputError
        Where several outputs may be it.
    """
    unit = making.scope.known.units.get(type_name(node).casefold())
    others = {
        n.text.upper()
        for d in (unit.declarations if unit is not None else ())
        if d.kind == "VAR_OUTPUT"
        for n in d.names
    }
    in_outs = {name.upper() for name in node.in_outs}
    results = [
        output.name.upper()
        for output in node.outputs
        if output.name.upper() not in others | in_outs | _ENABLES
    ]
    if len(results) > 1:
        says = f"a function has one result, and {len(results)} outputs may be it"
        raise node.refuse(f"{says}: {', '.join(results)}")
    return results[0] if results else None


def written_output(node: Node, name: str) -> Output:
    """The output of a block by its name in upper case."""
    return next(output for output in node.outputs if output.name.upper() == name)


def function_value(node: Node, given: Sequence[tuple[Pin, sx.Expression]]) -> sx.Expression:
    """The value of a function of the standard, or of one that is not known.

    Parameters
    ----------
    node : Node
    given : sequence of (Pin, syntax.Expression)
        What comes in, without EN.

    Raises
    ------
    InputError
        Where nothing comes in.
    """
    name = type_name(node)
    if not given:
        raise node.refuse(f"nothing comes into this {name}")
    arguments = tuple(value for _, value in _in_order(name, given))
    place, upper = node.place, name.upper()
    if upper in _JUNCTIONS and len(arguments) > 1:
        return sx.Junction(upper, arguments, place)
    if upper in _JUNCTIONS or upper in ("MOVE", "XOR", "ADD", "MUL"):
        found = arguments[0]
        if upper in _FOLDED:
            for argument in arguments[1:]:
                found = sx.Binary(OPERATORS[upper], found, argument, place)
        if upper != "MOVE" or len(arguments) == 1:
            return found
    if upper == "NOT" and len(arguments) == 1:
        return sx.Unary("NOT", arguments[0], place)
    if upper in OPERATORS and len(arguments) == 2:
        return sx.Binary(OPERATORS[upper], *arguments, place)
    if upper in FUNCTIONS or not all(pin.name for pin, _ in given):
        return sx.Call(name, arguments, place)
    named = tuple(sx.InputArgument(pin.name, value, pin.place) for pin, value in given)
    return sx.Call(name, arguments, place) if len(given) == 1 else sx.Call(name, (), place, named)


def _in_order(
    name: str, given: Sequence[tuple[Pin, sx.Expression]]
) -> list[tuple[Pin, sx.Expression]]:
    """The arguments in the order of their names, where these are those of the standard."""
    function = FUNCTIONS.get(name.upper())
    if function is None:
        return list(given)
    places = [function.place_of(pin.name) if pin.name else None for pin, _ in given]
    if None in places:
        return list(given)
    numbered = sorted(zip(places, range(len(given)), strict=True))
    return [given[number] for _, number in numbered]
