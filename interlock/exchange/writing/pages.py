"""Networks as elements with positions, one network below the other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from interlock.exchange.arranging import Arrangement, Measures, Wire, arrange
from interlock.exchange.signs import RAIL, Port, Sign
from interlock.exchange.writing.tags import Tag, formatted, tag, tag_of

LETTER = 7
"""The width of a letter in editors, about."""
SYMBOL_WIDTH, _SYMBOL_HEIGHT = 30, 20
_LEFT, _TOP, _BETWEEN = 20, 20, 30
_COMMENT_LINE = 20


def width_of(sign: Sign) -> float:
    """The width of a sign with what stands beside it."""
    text = LETTER * len(sign.text) + 6
    if sign.is_block:
        names = [LETTER * len(port.name) for port in sign.ports]
        gives = [LETTER * len(name) for name in sign.outputs]
        inner = max(names, default=0) + max(gives, default=0) + 24
        return max(inner, text + 10, LETTER * len(sign.instance) + 6, 60)
    return max(text, SYMBOL_WIDTH)


@dataclass
class Page:
    """A drawn body, network by network.

    Attributes
    ----------
    language : str
        ``LD`` or ``FBD``.
    """

    language: str
    _parts: list[Tag] = field(default_factory=list)
    _bottom: float = _TOP
    _count: int = 0

    def add(self, roots: Sequence[Sign], comments: Iterable[str]) -> None:
        """Draw a network below those that are there.

        Raises
        ------
        ValueError
            Where it has too many signs.
        """
        arranged = arrange(roots, Measures(width_of))
        self._comment("\n".join(comments))
        rail = next((w.source for w in arranged.wires if w.source.kind == RAIL), None)
        if rail is not None:
            self._rail(rail, arranged)
        for sign in arranged.signs:
            sign.id = self._next_id()
        into: dict[int, list[Wire]] = {}
        for wire in arranged.wires:
            into.setdefault(id(wire.port), []).append(wire)
        for sign in arranged.signs:
            self._parts.append(self._element(sign, arranged, into))
        self._bottom += arranged.height + _BETWEEN

    def body(self) -> Tag:
        """The body."""
        return Tag(self.language, {}, self._parts)

    def _next_id(self) -> str:
        self._count += 1
        return str(self._count)

    def _comment(self, text: str) -> None:
        if not text.strip():
            return
        lines = text.splitlines()
        height = _COMMENT_LINE * len(lines) + 4
        self._parts.append(
            tag(
                "comment",
                _position(_LEFT, self._bottom),
                tag("content", formatted(text)),
                localId=self._next_id(),
                height=height,
                width=LETTER * max(map(len, lines)) + 10,
            )
        )
        self._bottom += height + 6

    def _rail(self, rail: Sign, arranged: Arrangement) -> None:
        rail.id = self._next_id()
        heights = [wire.points[0][1] for wire in arranged.wires if wire.source is rail]
        top = self._bottom + min(heights) - 20
        out = tag("connectionPointOut", tag("relPosition", x=2, y=20), formalParameter="")
        self._parts.append(
            tag(
                RAIL,
                _position(_LEFT - 2, top),
                out,
                localId=rail.id,
                width=2,
                height=round(max(heights) - min(heights) + 40),
            )
        )

    # Elements

    def _element(self, sign: Sign, arranged: Arrangement, into: dict[int, list[Wire]]) -> Tag:
        left, top, width, height = self._box(sign, arranged)
        words: dict[str, object] = {"localId": sign.id, "width": width, "height": height}
        place = _position(left, top)
        points = [self._point(port, arranged, into) for port in sign.ports]
        if sign.is_block:
            return self._block(sign, place, words, points)
        comes = points[0] if points else None
        if comes is not None:
            comes.inner.insert(0, tag("relPosition", x=0, y=height // 2))
        goes = tag("connectionPointOut", tag("relPosition", x=width, y=height // 2))
        words |= {
            "negated": sign.negated or None,
            "edge": sign.edge or None,
            "storage": sign.storage or None,
        }
        match sign.kind:
            case "contact" | "coil":
                shown = tag("variable", text=sign.text)
                return tag_of(sign.kind, words, place, comes, goes, shown)
            case "inVariable":
                shown = tag("expression", text=sign.text)
                return tag_of(sign.kind, words, place, goes, shown)
            case "outVariable":
                shown = tag("expression", text=sign.text)
                return tag_of(sign.kind, words, place, comes, shown)
            case _:
                return tag_of(sign.kind, words, place, comes)

    def _block(self, sign: Sign, place: Tag, words: dict[str, object], points: list[Tag]) -> Tag:
        inputs: list[Tag] = []
        both: list[Tag] = []
        for port, point in zip(sign.ports, points, strict=True):
            pin = tag(
                "variable", point, formalParameter=port.name, negated=port.negated or None,
                edge=port.edge or None,
            )  # fmt: skip
            (both if port.name.casefold() in sign.in_outs else inputs).append(pin)
        gives = [
            tag(
                "variable",
                tag("connectionPointOut"),
                formalParameter=name,
                negated=name in sign.negated_outputs or None,
            )
            for name in sign.outputs
        ]
        words |= {"typeName": sign.text, "instanceName": sign.instance or None}
        return tag_of(
            "block",
            words,
            place,
            tag("inputVariables", *inputs),
            tag("inOutVariables", *both),
            tag("outputVariables", *gives),
        )

    def _box(self, sign: Sign, arranged: Arrangement) -> tuple[int, int, int, int]:
        """Left, top, width and height of a sign."""
        x, y = arranged.at[id(sign)]
        x, y = x + _LEFT, y + self._bottom
        column = arranged.width_of[id(sign)]
        if sign.is_block:
            height = sign.n_lines * 40 + 10
            return round(x), round(y - 30), round(column), height
        if sign.kind in ("contact", "coil"):
            left = x + (column - SYMBOL_WIDTH) / 2
            return round(left), round(y) - _SYMBOL_HEIGHT // 2, SYMBOL_WIDTH, _SYMBOL_HEIGHT
        own = round(width_of(sign))
        left = x + column - own if sign.kind == "inVariable" else x
        return round(left), round(y) - _SYMBOL_HEIGHT // 2, own, _SYMBOL_HEIGHT

    def _point(self, port: Port, arranged: Arrangement, into: dict[int, list[Wire]]) -> Tag:
        wires = into.get(id(port), [])
        return tag("connectionPointIn", *(self._connection(wire, arranged) for wire in wires))

    def _connection(self, wire: Wire, arranged: Arrangement) -> Tag:
        points = [(round(x) + _LEFT, round(y + self._bottom)) for x, y in wire.points]
        points[-1] = (self._box(wire.sink, arranged)[0], points[-1][1])
        if wire.source.kind != RAIL:
            left, _, width, _ = self._box(wire.source, arranged)
            points[0] = (left + width, points[0][1])
        # From where it comes in back to its source.
        positions = [tag("position", x=x, y=y) for x, y in reversed(points)]
        named = wire.output if wire.source.is_block else None
        return tag(
            "connection", *positions, refLocalId=wire.source.id, formalParameter=named or None
        )


def _position(x: float, y: float) -> Tag:
    return tag("position", x=round(x), y=round(y))
