"""Additional data of editors: what carries meaning is read or refused, the rest told.

The format leaves room for data with a name of the editor's own. Which of them mean something for
the program is told by the last part of the name.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from interlock.exchange.elements import Element, Text
from interlock.exchange.texts import expression_in, value_of
from interlock.st import syntax as sx

# Data that are read, by the last part of their name in lower case.
READ = frozenset(
    (
        *("method", "property", "pou", "interface", "datatype", "globalvars", "pouinheritance"),
        *("inheritance", "interfaceasplaintext", "inputassignments"),
    )
)
# Whatever else sounds like this is refused: it might be a part of the program.
_MEANS = re.compile(
    r"method|propert|inherit|globalvar|assign|code|accessor|entry|exit|body|action|transition"
)
# Settings of the editor or the machine whose names sound so.
_HARMLESS = frozenset(("buildproperties", "visibleproperties", "propertyflags"))
_NAME_KEYS = ("name", "formalParameter", "param", "parameter", "member", "variable")
_SHOWN = 60


def last_part(data: Element) -> str:
    """What a ``data`` element is called behind the last slash, in lower case."""
    return re.split(r"[/#:]", data.get("name").rstrip("/"))[-1].casefold()


@dataclass
class Additional:
    """Additional data of a file, as far as they were looked at.

    Attributes
    ----------
    notes : list of syntax.Note
        One for each name that was not considered.
    """

    notes: list[sx.Note] = field(default_factory=list)
    _told: set[str] = field(default_factory=set)

    def data(self, element: Element, *names: str) -> list[Element]:
        """The ``data`` of an element with one of these names, each an element that holds it."""
        return [
            data
            for added in element.all("addData")
            for data in added.all("data")
            if last_part(data) in names
        ]

    def look_over(self, root: Element) -> None:
        """Note what is not considered, once for each name.

        Raises
        ------
        InputError
            Where the name says that it is a part of the program.
        """
        for element in root.walk():
            if element.name != "data" or "name" not in element.attributes:
                continue
            name = last_part(element)
            if name in READ or name in self._told:
                continue
            if _MEANS.search(name) and name not in _HARMLESS and _says_something(element):
                says = f"the additional data '{element.get('name')[:_SHOWN]}' are not read"
                element.refuse(f"{says}, and may be a part of the program")
            self._told.add(name)
            says = f"additional data '{name[:_SHOWN]}' were not considered"
            self.notes.append(sx.Note(element.place, says))


def _says_something(data: Element) -> bool:
    return any(child.attributes or Text(child).text.strip() for child in data.children)


def assignments_in(data: Element) -> tuple[sx.InputArgument, ...]:
    """Values that are given to inputs beside a declaration.

    Raises
    ------
    InputError
        Where it does not say which input has which value.
    """
    found = []
    holders = data.children
    while len(holders) == 1 and holders[0].children and not _named(holders[0]):
        holders = holders[0].children
    for holder in holders:
        name, value = _named(holder), _given(holder)
        if not name or value is None:
            holder.refuse("an assignment of an input needs its name and one value")
        found.append(sx.InputArgument(name, value, holder.place))
    return tuple(found)


def _named(holder: Element) -> str:
    keys = {key.casefold() for key in _NAME_KEYS}
    for key, value in holder.attributes.items():
        if key.casefold() in keys:
            return value.strip()
    for child in holder.children:
        if child.name.casefold() in keys:
            return Text(child).text.strip()
    return ""


def _given(holder: Element) -> sx.Expression | None:
    if "value" in holder.attributes:
        return value_of("value", holder)
    for child in holder.children:
        if child.name.casefold() in ("value", "expression", "simplevalue"):
            return value_of("value", child) if "value" in child.attributes else expression_in(child)
    return None
