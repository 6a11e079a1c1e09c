"""XML to elements with their places: no document type, no entity, nothing from elsewhere.

Reading is linear in the text, and what is too large or too deep ends it at once.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import NoReturn
from xml.parsers import expat

from interlock.base.errors import InputError, Mistake, Place, place_after

MAX_BYTES = 8_000_000
MAX_ELEMENTS = 200_000
MAX_DEPTH = 100

_SHOWN = 60


@dataclass(frozen=True)
class Words:
    """Characters that stand in an element, and where they begin."""

    text: str
    place: Place


@dataclass(eq=False)
class Element:
    """An element of a document.

    Attributes
    ----------
    name : str
        Without its namespace.
    namespace : str
    attributes : dict of str to str
        By their names without namespaces.
    place : Place
        Of its ``<``.
    content : list of Element and Words
        In the order of the document.
    """

    name: str
    namespace: str
    attributes: dict[str, str]
    place: Place
    content: list[Element | Words] = field(default_factory=list)

    @property
    def children(self) -> list[Element]:
        """The elements that stand in it."""
        return [part for part in self.content if isinstance(part, Element)]

    def all(self, *names: str) -> list[Element]:
        """The elements with one of these names that stand in it."""
        return [child for child in self.children if child.name in names]

    def first(self, *names: str) -> Element | None:
        """The first element with one of these names that stands in it."""
        return next(iter(self.all(*names)), None)

    def at(self, *path: str) -> Element | None:
        """The element that is reached by going down along `path`."""
        found: Element | None = self
        for name in path:
            found = None if found is None else found.first(name)
        return found

    def get(self, name: str) -> str:
        """An attribute without blanks around it; empty where there is none."""
        return self.attributes.get(name, "").strip()

    def is_true(self, name: str) -> bool:
        """Whether an attribute of a truth value is there and true.

        Raises
        ------
        InputError
            Where it is neither true nor false.
        """
        value = self.get(name).casefold()
        if value not in ("", "true", "false", "1", "0"):
            self.refuse(f"{name} is 'true' or 'false', not '{self.get(name)[:_SHOWN]}'")
        return value in ("true", "1")

    def refuse(self, says: str) -> NoReturn:
        """Tell what is wrong here.

        Raises
        ------
        InputError
            Always.
        """
        raise InputError([Mistake(self.place, says)])

    def walk(self) -> Iterator[Element]:
        """This element and all that stand in it, in the order of the document."""
        waiting = [self]
        while waiting:
            node = waiting.pop()
            yield node
            waiting.extend(reversed(node.children))

    def stand_in(self, unit: str, element: str = "") -> None:
        """Say of all places in here in which unit, or in which element of a network, they are."""
        for node in self.walk():
            node.place = replace(node.place, unit=unit, element=element)
            node.content = [
                Words(part.text, replace(part.place, unit=unit, element=element))
                if isinstance(part, Words)
                else part
                for part in node.content
            ]


class Text:
    """The words of an element as one text, each character with its place.

    Parameters
    ----------
    element : Element
        Paragraphs and breaks that stand in it begin new lines.
    """

    def __init__(self, element: Element) -> None:
        self._starts: list[int] = []
        self._places: list[Place] = []
        parts: list[str] = []
        length = 0
        waiting: list[Element | Words | str] = [element]
        while waiting:
            part = waiting.pop()
            if isinstance(part, Element):
                ends = ["\n"] if part is not element and part.name in _NEW_LINES else []
                waiting.extend([*ends, *reversed(part.content)])
                continue
            text, place = (part, None) if isinstance(part, str) else (part.text, part.place)
            self._starts.append(length)
            self._places.append(place or (self._places[-1] if self._places else element.place))
            parts.append(text)
            length += len(text)
        self.text = "".join(parts)
        self._end = element.place

    def locate(self, offset: int) -> Place:
        """The place of a character of the text, counted from 0."""
        piece = bisect_right(self._starts, offset) - 1
        if piece < 0:
            return self._end
        start = self._places[piece]
        return replace(start, column=start.column + offset - self._starts[piece])


_NEW_LINES = frozenset(("p", "br", "div"))


def parse(text: str, file: str) -> Element:
    """The root of a document.

    Raises
    ------
    InputError
        Where it is not well formed, has a document type, or is too large or too deep.

    Examples
    --------
    >>> root = parse("<project>\\n <types/></project>", "plant.xml")
    >>> str(root.children[0].place)
    'plant.xml:2:2'
    """
    if len(text.encode()) > MAX_BYTES:
        says = f"the file is larger than {MAX_BYTES:,} bytes; export the units that are needed"
        raise InputError([Mistake(Place(file, 1, 1), says)])
    return _Reader(text, file).read()


class _Reader:
    """Builds elements from the events of ``expat``."""

    def __init__(self, text: str, file: str) -> None:
        self._text, self._file = text, file
        # What the text was decoded from may have been called by another name.
        self._parser = parser = expat.ParserCreate("utf-8", " ")
        self._open: list[Element] = []
        self._root: Element | None = None
        self._n = 0
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._words
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype

    def read(self) -> Element:
        try:
            self._parser.Parse(self._text.encode(), True)
        except expat.ExpatError as error:
            says = f"not valid XML: {expat.ErrorString(error.code)}"
            place = Place(self._file, error.lineno, error.offset + 1)
            raise InputError([Mistake(place, says)]) from None
        assert self._root is not None, "a document without an element is not valid XML"
        return self._root

    @property
    def _here(self) -> Place:
        line = self._parser.CurrentLineNumber
        return Place(self._file, line, self._parser.CurrentColumnNumber + 1)

    def _refuse(self, says: str, place: Place | None = None) -> NoReturn:
        raise InputError([Mistake(place or self._here, says)])

    def _doctype(self, *_: object) -> None:
        # The parser tells of it only at its end.
        place = place_after(self._file, self._text[: max(0, self._text.find("<!DOCTYPE"))])
        self._refuse("a document type or an entity has no place in an exchange file", place)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._n += 1
        if self._n > MAX_ELEMENTS:
            self._refuse(f"the file has more than {MAX_ELEMENTS:,} elements")
        if len(self._open) >= MAX_DEPTH:
            self._refuse(f"elements stand more than {MAX_DEPTH} deep in each other")
        namespace, _, tag = name.rpartition(" ")
        own = {full.rpartition(" ")[2]: value for full, value in attributes.items()}
        element = Element(tag, namespace, own, self._here)
        if self._open:
            self._open[-1].content.append(element)
        else:
            self._root = element
        self._open.append(element)

    def _end(self, _: str) -> None:
        self._open.pop()

    def _words(self, words: str) -> None:
        self._open[-1].content.append(Words(words, self._here))
