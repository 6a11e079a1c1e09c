"""Bodies in ST, LD and FBD as statements, and conditions of transitions as expressions."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.exchange.elements import Element, Text
from interlock.exchange.jumps import without_jumps
from interlock.exchange.logic import items_of
from interlock.exchange.making import Making
from interlock.exchange.nodes import CHART, read_drawn
from interlock.exchange.texts import condition_in, statements_of
from interlock.st import syntax as sx

LANGUAGES = ("ST", "LD", "FBD", "SFC", "IL")
_NAMES = {
    "ST": "Structured Text",
    "LD": "ladder",
    "FBD": "function blocks",
    "SFC": "chart",
    "IL": "Instruction List",
}


def language_of(body: Element) -> Element | None:
    """The element of a body that holds its code; None where it has none.

    Raises
    ------
    InputError
        Where it is in a language that is not read, or in several.
    """
    found = body.all(*LANGUAGES)
    if len(found) > 1:
        body.refuse(f"a body has one language, not {len(found)}")
    if not found:
        return None
    if found[0].name == "IL" and Text(found[0]).text.strip():
        found[0].refuse("Instruction List (IL) is not read; write it in ST, LD or FBD")
    return found[0]


def statements_in(holder: Element, making: Making, what: str) -> tuple[sx.Statement, ...]:
    """The statements of one body; `what` it is, for messages.

    Raises
    ------
    InputError
    """
    code = language_of(holder)
    if code is None or code.name == "IL":
        return ()
    if code.name == "ST":
        code.stand_in(making.unit)
        return statements_of(code, making.notes)
    if code.name == "SFC":
        code.refuse(f"a chart inside of {what} is not read; make it a FUNCTION_BLOCK of its own")
    drawn = read_drawn(code, making.unit, making.notes)
    for node in drawn.nodes:
        if node.kind in CHART:
            raise node.refuse(f"'{node.kind}' stands in a chart only")
    return without_jumps(items_of(drawn.nodes, making), making)


def condition_from(holder: Element, name: str, making: Making, node_name: str) -> sx.Expression:
    """The condition that a transition has as a body, in text or drawn.

    Where it needs statements it becomes a method of the unit, which the transition calls.

    Parameters
    ----------
    holder : Element
    name : str
        Of the transition; what the statements assign. Empty where it has none.
    making : Making
    node_name : str
        What it is called where it has no name.

    Raises
    ------
    InputError
    """
    code = language_of(holder)
    if code is None or code.name == "IL":
        holder.refuse("this condition is empty")
    own = making.method()
    if code.name == "ST":
        code.stand_in(making.unit, node_name)
        found = condition_in(code, name, making.notes)
        if not isinstance(found, tuple):
            return found
        statements = found
    else:
        statements = statements_in(holder, own, "a condition")
    if len(statements) == 1 and isinstance(statements[0], sx.Assign):
        only = statements[0]
        if isinstance(only.target, sx.Name) and only.target.text.casefold() == name.casefold():
            return only.value
    if not name or not _assigns(statements, name):
        wanted = f"'{name}'" if name else "the transition's name"
        code.refuse(f"nothing gives this condition its value: assign it to {wanted}")
    return method(name, statements, own, holder)


def _assigns(statements: Sequence[sx.Statement], name: str) -> bool:
    for statement in statements:
        match statement:
            case sx.Assign():
                target = statement.target
                if isinstance(target, sx.Name) and target.text.casefold() == name.casefold():
                    return True
            case sx.If() | sx.Case():
                bodies = [*(b.body for b in statement.branches), statement.otherwise]
                if any(_assigns(body, name) for body in bodies):
                    return True
            case sx.For() | sx.While() | sx.Repeat():
                if _assigns(statement.body, name):
                    return True
            case _:
                pass
    return False


def method(
    name: str, statements: Sequence[sx.Statement], own: Making, element: Element
) -> sx.Expression:
    """A method of the unit that gives a condition its value, and its call."""
    if name.casefold() in own.taken:
        element.refuse(f"the transition '{name}' is called like a variable of its unit")
    own.taken.add(name.casefold())
    returns = sx.TypeRef("BOOL", None, None, element.place)
    made = sx.Unit(
        "METHOD", name, tuple(own.temporaries), tuple(statements), element.place, returns=returns
    )
    own.methods.append(made)
    return sx.Call(name, (), element.place)
