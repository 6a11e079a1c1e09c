"""Drawings that a model brings along: SVG, read so that nothing in them can do harm.

The door to ``expat``. What is not on the lists of `rules` is a mistake with its place;
document types, entities and processing instructions are refused before they mean anything.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from typing import NoReturn
from xml.parsers import expat

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest, place_after
from interlock.drawings import rules
from interlock.drawings.elements import Drawing, Node
from interlock.drawings.references import References
from interlock.drawings.style_sheet import Rules, read_declarations, read_sheet


def read_drawing(text: str, file: str) -> Drawing:
    """Read a drawing.

    Raises
    ------
    InputError
        With every mistake, or the first that leaves the rest unreadable.
    """
    start = Place(file, 1, 1)
    if len(text.encode()) > rules.MAX_BYTES:
        raise InputError([Mistake(start, f"the drawing is larger than {rules.MAX_BYTES:,} bytes")])
    reader = _Reader(file)
    root = reader.read(text)
    mistakes = reader.mistakes
    box = _box(root, mistakes)
    classes = Rules()
    for sheet in reader.sheets:
        classes |= read_sheet(sheet.text, sheet.place, mistakes)
    _check_ids(root, mistakes)
    says = next((node.words for node in root.elements if node.tag == "desc"), "")
    drawing = Drawing(file, root, box, classes, says)
    if not mistakes:
        References(drawing, lambda node: references_of(node, classes)).check(mistakes)
    if mistakes:
        raise InputError(mistakes)
    return drawing


class _RefusedError(Exception):
    """Ends the parsing at once."""


class _Sheet:
    """The words of a ``style`` element, each with its place."""

    def __init__(self, start: Place) -> None:
        self._starts = [0]
        self._places = [start]
        self._words: list[str] = []

    def add(self, words: str, place: Place) -> None:
        """Add words of one line."""
        self._starts.append(self._starts[-1] + len(self._words[-1]) if self._words else 0)
        self._places.append(place)
        self._words.append(words)

    @property
    def text(self) -> str:
        """All of the words."""
        return "".join(self._words)

    def place(self, at: int) -> Place:
        """The place of a character of the text, counted from 0."""
        piece = bisect_right(self._starts, at) - 1
        start = self._places[piece]
        return Place(start.file, start.line, start.column + at - self._starts[piece])


class _Reader:
    """Builds nodes from the events of ``expat``."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._open: list[Node] = []
        self._root: Node | None = None
        self._n = 0
        self._text = ""
        self.mistakes = MistakeList()
        self.sheets: list[_Sheet] = []
        parser = self._parser
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._words
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype
        parser.ProcessingInstructionHandler = self._instruction

    def read(self, text: str) -> Node:
        """The root; what leaves the rest readable is in `mistakes`."""
        self._text = text
        try:
            self._parser.Parse(text, True)
        except expat.ExpatError as error:
            says = f"not valid XML: {expat.ErrorString(error.code)}"
            place = Place(self._file, error.lineno, error.offset + 1)
            raise InputError([*self.mistakes, Mistake(place, says)]) from None
        except _RefusedError:
            raise InputError(self.mistakes) from None
        assert self._root is not None, "a document without an element is not valid XML"
        return self._root

    @property
    def _here(self) -> Place:
        line = self._parser.CurrentLineNumber
        return Place(self._file, line, self._parser.CurrentColumnNumber + 1)

    def _refuse(self, says: str, place: Place | None = None) -> NoReturn:
        self.mistakes.append(Mistake(place or self._here, says))
        raise _RefusedError

    def _doctype(self, *_: object) -> None:
        # The parser tells of it only at its end.
        place = place_after(self._file, self._text[: max(0, self._text.find("<!DOCTYPE"))])
        self._refuse("a document type or an entity has no place in a drawing; leave it out", place)

    def _instruction(self, target: str, _: str) -> None:
        self._refuse(f"a processing instruction ('{target[:40]}') has no place in a drawing")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._n += 1
        if self._n > rules.MAX_ELEMENTS:
            self._refuse(f"the drawing has more than {rules.MAX_ELEMENTS:,} elements")
        if len(self._open) >= rules.MAX_DEPTH:
            self._refuse(f"elements stand more than {rules.MAX_DEPTH} deep in each other")
        tag = self._tag(name)
        found = self._checked(tag, attributes)
        here = self._here
        style = read_declarations(found.pop("style", ""), lambda _: here, self.mistakes)
        node = Node(tag, found, here, style)
        if tag == "style":
            self.sheets.append(_Sheet(here))
        if self._open:
            self._open[-1].children.append(node)
        else:
            self._root = node
            if tag != "svg":
                self._refuse(f"expected 'svg' of the namespace {rules.SVG}, not '{tag}'")
        self._open.append(node)

    def _tag(self, name: str) -> str:
        namespace, _, tag = name.rpartition(" ")
        if namespace != rules.SVG and self._open:
            says = f"'{tag[:40]}' is not of SVG; save the drawing as plain SVG"
            self.mistakes.append(Mistake(self._here, says))
        elif namespace != rules.SVG:
            return f"{tag[:40]} of another namespace"
        elif tag not in rules.ELEMENTS:
            reason = rules.why_not_element(tag)
            shown = tag[:40]
            said = f": {reason}" if reason else nearest(shown, rules.ELEMENTS)
            self.mistakes.append(Mistake(self._here, f"'{shown}' has no place in a drawing{said}"))
        return tag

    def _checked(self, tag: str, attributes: dict[str, str]) -> dict[str, str]:
        found: dict[str, str] = {}
        for full, value in attributes.items():
            namespace, _, name = full.rpartition(" ")
            says = None
            shown = name[:40]
            if namespace not in ("", rules.XLINK, rules.XML) or (namespace and name == "id"):
                says = f"'{shown}' of '{tag[:40]}' is not of SVG; save the drawing as plain SVG"
            elif name.lower().startswith("on"):
                says = f"'{shown}' has no place in a drawing: a drawing runs nothing"
            elif name == "href" and tag not in ("use", *rules.GRADIENTS):
                says = f"'href' has no place in '{tag[:40]}'"
            elif name not in rules.ATTRIBUTES:
                says = f"'{shown}' has no place in a drawing{nearest(shown, rules.ATTRIBUTES)}"
            elif name != "style":
                says = rules.why_not_value(name, value)
            if says is not None:
                self.mistakes.append(Mistake(self._here, says))
            else:
                found.setdefault(name, value)
        return found

    def _end(self, _: str) -> None:
        self._open.pop()

    def _words(self, words: str) -> None:
        node = self._open[-1]
        if node.tag in rules.HOLD_WORDS:
            node.children.append(words)
            if node.tag == "style":
                self.sheets[-1].add(words, self._here)
        elif words.strip() and node.tag in rules.ELEMENTS:
            here = self._here
            column = here.column + len(words) - len(words.lstrip())
            says = f"words have no place in '{node.tag}'; they go into a 'text'"
            self.mistakes.append(Mistake(Place(here.file, here.line, column), says))


_NUMBER = re.compile(r"[-+]?[0-9]{1,7}(\.[0-9]+)?")


def _box(root: Node, mistakes: list[Mistake]) -> tuple[float, float, float, float]:
    given = root.attributes.get("viewBox", "").replace(",", " ").split()
    if len(given) == 4 and all(_NUMBER.fullmatch(part) for part in given):
        left, top, width, height = (float(part) for part in given)
        if width > 0 and height > 0:
            return left, top, width, height
    says = "the drawing needs a viewBox of four numbers: left, top, width and height"
    mistakes.append(Mistake(root.place, says))
    return 0, 0, 1, 1


def _check_ids(root: Node, mistakes: list[Mistake]) -> None:
    seen: dict[str, int] = {}
    for node in root.all():
        if node.id is None:
            continue
        if not rules.ID.fullmatch(node.id):
            says = f"'{node.id[:40]}' is no id: letters, digits, _ . - and no digit first"
            mistakes.append(Mistake(node.place, says))
        elif node.id in seen:
            says = f"the id '{node.id[:40]}' is given twice; first in line {seen[node.id]}"
            mistakes.append(Mistake(node.place, says))
        seen.setdefault(node.id, node.place.line)


def looks_of(node: Node, classes: Rules, more: str = "") -> dict[str, str]:
    """What an element's attributes, classes and style make of it together.

    Parameters
    ----------
    node : Node
    classes : Rules
    more : str
        Further classes, parted by spaces.

    Source: CSS Cascading and Inheritance: rules of a style sheet come after attributes, in the
    order of the sheet, and a style attribute after them (from memory).
    """
    looks = dict(node.attributes)
    for name in classes.in_order((node.attributes.get("class", "") + " " + more).split()):
        looks |= classes[name]
    return looks | node.style


def references_of(node: Node, classes: Rules) -> Iterator[tuple[str, str]]:
    """By what an element itself refers to another, and the id of that."""
    for name, value in looks_of(node, classes).items():
        found = rules.REFERENCE.fullmatch(value) if name == "href" else None
        if found:
            yield name, found[1]
        yield from ((name, match[2]) for match in rules.URL.finditer(value))
