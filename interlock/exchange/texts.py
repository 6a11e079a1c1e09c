"""Structured Text that stands in elements and attributes: bodies, expressions, values."""

from __future__ import annotations

import re
from collections.abc import Callable

from interlock.base.errors import InputError, Mistake, Place
from interlock.exchange.elements import Element, Text
from interlock.st import syntax as sx
from interlock.st.parser import parse_expression, parse_statements, parse_value
from interlock.st.tokens import tokenize

_SHOWN = 60
_ASSIGNS = re.compile(r"\s*(?:(\w+)\s*)?:=")


def statements_of(element: Element, notes: list[sx.Note]) -> tuple[sx.Statement, ...]:
    """The statements that the words of an element are.

    Raises
    ------
    InputError
        With every syntax mistake that could be told apart.
    """
    text = Text(element)
    found, told = parse_statements(text.text, text.locate)
    notes += told
    return found


def expression_in(element: Element) -> sx.Expression | None:
    """The expression that the words of an element are; None where there are none.

    Raises
    ------
    InputError
    """
    text = Text(element)
    if not text.text.strip():
        return None
    if not text.text.strip().strip("?"):
        element.refuse(f"'{text.text.strip()}' stands for a name that was never given")
    return parse_expression(text.text, locate=text.locate)


def expression_of(attribute: str, element: Element) -> sx.Expression:
    """The expression in an attribute of an element.

    Raises
    ------
    InputError
    """
    return parse_expression(element.attributes.get(attribute, ""), locate=lambda _: element.place)


def value_of(attribute: str, element: Element) -> sx.Expression:
    """The initial value in an attribute of an element.

    Raises
    ------
    InputError
    """
    return parse_value(element.attributes.get(attribute, ""), lambda _: element.place)


def target_in(element: Element, what: str) -> sx.Target | None:
    """The variable that the words of an element name, to be assigned; None without words.

    Raises
    ------
    InputError
    """
    found = expression_in(element)
    if found is None or isinstance(
        found, sx.Name | sx.Element | sx.Member | sx.Direct | sx.Pointed
    ):
        return found
    said = Text(element).text.strip()[:_SHOWN]
    raise InputError([Mistake(found.place, f"{what} assigns a variable; '{said}' is none")])


def condition_in(
    element: Element, name: str, notes: list[sx.Note]
) -> sx.Expression | tuple[sx.Statement, ...]:
    """The condition of a transition that stands as text, or the statements that assign it.

    An expression may stand alone, behind ``:=``, or behind the transition's name and ``:=``, with
    or without a semicolon.

    Raises
    ------
    InputError
    """
    text = Text(element)
    words = text.text
    shift = 0
    begins = _ASSIGNS.match(words)
    if begins and (begins[1] is None or begins[1].casefold() == name.casefold()):
        shift = begins.end()
    tokens = tokenize(words[shift:])
    ends = [token for token in tokens.tokens if token.upper == ";"]
    last = tokens.tokens[-2] if len(tokens.tokens) > 1 else None
    locate = _shifted(text, shift)
    if last is None:
        raise InputError([Mistake(element.place, f"the condition {name} is empty".rstrip())])
    if not ends:
        return parse_expression(words[shift:], locate=locate)
    assigns = tokens.tokens[1].upper == ":="
    if len(ends) == 1 and ends[0] is last and not assigns:
        return parse_expression(words[shift : shift + last.start], locate=locate)
    return statements_of(element, notes)


def _shifted(text: Text, shift: int) -> Callable[[int], Place]:
    return lambda offset: text.locate(offset + shift)
