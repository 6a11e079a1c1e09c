"""Documents of state charts as elements with their places."""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

from interlock.base.errors import InputError, Mistake, Place

NAMESPACE = "http://www.w3.org/2005/07/scxml"
# Attributes of other namespaces are allowed anywhere (section 3.1 of the recommendation).
OWN_NAMESPACE = "urn:interlock:model"


@dataclass
class Element:
    """An element of a document with its place; attributes by local name, own ones behind ``:``."""

    name: str
    attributes: dict[str, str]
    place: Place
    children: list[Element] = field(default_factory=list)


def parse(text: str, file: str) -> Element:
    """The elements of a document.

    Raises
    ------
    InputError
        Where it is not well formed, or has a document type: that could define anything.
    """
    parser = expat.ParserCreate(namespace_separator=" ")
    top: list[Element] = []
    stack: list[Element] = []

    def here() -> Place:
        return Place(file, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def start(name: str, attributes: dict[str, str]) -> None:
        space, _, local = name.rpartition(" ")
        own = {_local(key): value for key, value in attributes.items()}
        element = Element(local if space == NAMESPACE else f"{space}:{local}", own, here())
        (stack[-1].children if stack else top).append(element)
        stack.append(element)
        if len(stack) > 200:
            raise InputError([Mistake(element.place, "nested more than 200 levels deep")])

    def refuse(*_: object) -> None:
        raise InputError([Mistake(here(), "a document type is not supported in a chart")])

    parser.StartElementHandler = start
    parser.EndElementHandler = lambda _name: stack.pop()
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(text.encode("utf-8"), True)
    except expat.ExpatError as error:
        place = Place(file, error.lineno, error.offset + 1)
        raise InputError(
            [Mistake(place, f"not well-formed XML: {expat.ErrorString(error.code)}")]
        ) from None
    return top[0]


def _local(key: str) -> str:
    space, _, local = key.rpartition(" ")
    return local if not space else f":{local}" if space == OWN_NAMESPACE else f"{space}:{local}"
