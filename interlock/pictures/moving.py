"""Drawings that move: compiled once, then put together for each state.

What stays the same is text; what the state decides is asked of small functions in between. The
marker stands where the caller's prefix goes; no text of a drawing can hold it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

from interlock.drawings.drawing import looks_of
from interlock.drawings.elements import Node
from interlock.drawings.rules import NOT_DRAWN, URL
from interlock.model.model import Choice, MovingDrawing, Part
from interlock.pictures.svg import coded, number
from interlock.st.evaluate import evaluate_expression

Truth = Mapping[str, int]
Piece = str | Callable[[Truth], str]
Result = TypeVar("Result")

_MARKER = "\0"
# The picture has a title and words of its own, and no style sheet.
_LEFT_OUT = ("title", "desc", "style")
# What places the root in a page; in the picture a group stands for it.
_OF_ROOT = ("id", "x", "y", "width", "height", "viewBox", "preserveAspectRatio")


def chosen(choice: Choice[Result], truth: Truth) -> Result:
    """The result for the value that the choice's expression has now."""
    return choice.results[evaluate_expression(choice.formula.tree, truth)]


class Moving:
    """A drawing compiled for one model.

    Parameters
    ----------
    moving : MovingDrawing
    """

    def __init__(self, moving: MovingDrawing) -> None:
        self._parts = {part.id: part for part in moving.parts}
        self._classes = moving.drawing.classes
        self.box = moving.drawing.box
        self.window = moving.window
        self._pieces: list[Piece] = []
        root = moving.drawing.root
        kept = {n: v for n, v in root.attributes.items() if n not in _OF_ROOT}
        self._element(Node("g", kept, root.place, root.style, root.children))
        self._pieces = _joined(self._pieces)

    def draw(self, truth: Truth, prefix: str) -> str:
        """The elements of the drawing in the state that `truth` tells of."""
        found = [piece if isinstance(piece, str) else piece(truth) for piece in self._pieces]
        return "".join(found).replace(_MARKER, coded(prefix))

    def _element(self, node: Node) -> None:
        part = self._parts.get(node.id or "")
        self._pieces.append(f"<{node.tag}")
        self._attributes(node, part)
        self._pieces.append(">")
        if part is not None and part.text is not None:
            self._pieces.append(_words(part.text))
        else:
            for child in node.children:
                if isinstance(child, str):
                    self._pieces.append(coded(child))
                elif child.tag not in _LEFT_OUT:
                    self._element(child)
        self._pieces.append(f"</{node.tag}>")

    def _attributes(self, node: Node, part: Part | None) -> None:
        if part is None:
            self._pieces.append(_written(looks_of(node, self._classes)))
            return
        own = node.attributes.get("transform", "")
        classes = self._classes
        without = Node(
            node.tag,
            {name: value for name, value in node.attributes.items() if name != "transform"},
            node.place,
            node.style,
        )
        written: dict[str, str] = {}  # by the further classes

        def look(truth: Truth) -> str:
            more = " ".join(chosen(choice, truth) for choice in part.look)
            if more not in written:
                written[more] = _written(looks_of(without, classes, more))
            return written[more]

        self._pieces.append(look if part.look else look({}))
        if part.moved:
            self._pieces.append(_transform(part, own))
        elif own:
            self._pieces.append(f' transform="{coded(own)}"')
        if part.shown is not None:
            shown = part.shown.tree
            self._pieces.append(
                lambda truth: "" if evaluate_expression(shown, truth) else ' display="none"'
            )


def _words(text: Choice[str]) -> Piece:
    written = Choice(text.formula, tuple(coded(words) for words in text.results))
    return lambda truth: chosen(written, truth)


def _transform(part: Part, own: str) -> Piece:
    rest = f" {coded(own)}" if own else ""

    def transform(truth: Truth) -> str:
        shifts = [chosen(choice, truth) for choice in part.moved]
        dx, dy = (number(sum(shift[axis] for shift in shifts)) for axis in (0, 1))
        return f' transform="translate({dx} {dy}){rest}"'

    return transform


def _written(looks: Mapping[str, str]) -> str:
    return "".join(
        f' {name}="{_value(name, value)}"' for name, value in looks.items() if name not in NOT_DRAWN
    )


def _value(name: str, value: str) -> str:
    if name == "id":
        return _MARKER + coded(value)
    if name == "href":
        return "#" + _MARKER + coded(value[1:])
    reference = URL.fullmatch(value.strip())
    return f"url(#{_MARKER}{coded(reference[2])})" if reference else coded(value)


def _joined(pieces: list[Piece]) -> list[Piece]:
    """The pieces with neighbouring texts put together."""
    joined: list[Piece] = []
    for piece in pieces:
        if isinstance(piece, str) and joined and isinstance(joined[-1], str):
            joined[-1] += piece
        else:
            joined.append(piece)
    return joined
