"""Networks of ladder and blocks with the values of a state: SVG in our own look.

The signs are those of IEC 61131-3 (contacts, coils) and IEC 60617-12 (boxes with ``&``, ``≥1``).
What is TRUE is a heavy line and says so; what is FALSE a thin one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from interlock.exchange.arranging import Arrangement, Measures, Wire, arrange
from interlock.exchange.drawn_bodies import DrawnNetwork
from interlock.exchange.signs import RAIL, Port, Sign, all_signs
from interlock.pictures.joints import joints_of
from interlock.pictures.letters import laid_out_width
from interlock.pictures.network_values import Values, power_of
from interlock.pictures.style import INK, MANDATORY, MANDATORY_FILL, NEUTRAL_FILL, PALE, PAPER, SAFE
from interlock.pictures.svg import Look, element, path_through, picture, text, wrapped_to

Value = int | float | None
_SIZE, _SMALL = 12.0, 10.0
_LINE = 44.0
_SYMBOL = 26.0
_HEAD, _LEFT, _GAP = 30.0, 16.0, 16.0
_BOX_SIGNS = {"AND": "&", "OR": "≥1", "XOR": "=1", "NOT": "1"}
_THIN, _HEAVY = 1.0, 2.8
# A join is marked so that it is not taken for a crossing.
_DOT = 2.6


@dataclass
class Shown:
    """Networks that are shown together.

    Attributes
    ----------
    title : str
    says : str
        What it shows, for who cannot see it.
    networks : sequence of DrawnNetwork
    values : Values or None
        None where no state is shown.
    marked : Sign or None
        The element that decided.
    notes : sequence of str
        Lines below the title.
    """

    title: str
    says: str
    networks: Sequence[DrawnNetwork]
    values: Values | None = None
    marked: Sign | None = None
    notes: Sequence[str] = ()
    prefix: str = ""


def draw_networks(shown: Shown) -> str:
    """The SVG text of networks, one below the other."""
    body: list[str] = []
    width, y = 480.0, _HEAD
    for note in shown.notes:
        for line in wrapped_to(note, width - 2 * _LEFT, _SMALL + 1):
            body.append(text(_LEFT, y + 10, line, font_size=_SMALL + 1, fill=PALE))
            y += 15
    y += 8
    for network in shown.networks:
        try:
            part = _Network(network, shown)
        except ValueError as error:
            says = f"{network.number}: not shown, {error}"
            body.append(text(_LEFT, y + 12, says, font_size=_SIZE))
            y += 26
            continue
        body.append(element("g", *part.content, transform=f"translate(0 {y:.2f})"))
        width, y = max(width, part.width), y + part.height + _GAP
    width = max(width, laid_out_width(shown.title, 14, is_bold=True) + 2 * _LEFT)
    head = text(_LEFT, 22, shown.title, font_size=14.0, font_weight="bold")
    return picture(
        width, y + 6, [head, *body], title=shown.title, says=shown.says, prefix=shown.prefix
    )


def _text_width(words: str, size: float = _SIZE) -> float:
    return laid_out_width(words, size)


@dataclass
class _Network:
    """One network.

    Attributes
    ----------
    content : list of str
        Elements, from (0, 0) on.
    width, height : float
    """

    network: DrawnNetwork
    shown: Shown
    content: list[str] = field(default_factory=list)
    width: float = 0
    height: float = 0

    def __post_init__(self) -> None:
        values = self.shown.values
        self._power: Mapping[tuple[int, str], Value] = (
            {} if values is None else power_of(all_signs(self.network.roots), values)
        )
        arranged = arrange(self.network.roots, Measures(self._width_of, _LINE, 9, 12))
        self._arranged = arranged
        self._x0 = _LEFT + 12
        self._y0 = 20.0
        self.width = self._x0 + arranged.width + _LEFT
        self.height = self._y0 + arranged.height
        label = f"{self.network.label}:" if self.network.label else ""
        heading = f"{self.network.number}  {label}".strip()
        self.content.append(text(_LEFT, 12, heading, font_size=_SMALL, fill=PALE))
        rails = [w for w in arranged.wires if w.source.kind == RAIL]
        self._has_rail = bool(rails)
        if rails:
            self._rails(arranged)
        if any(sign is self.shown.marked for sign in arranged.signs):
            assert self.shown.marked is not None
            self._mark(self.shown.marked)
        for wire in arranged.wires:
            self._wire(wire)
        for x, y in joints_of(arranged.wires):
            at: Look = {"cx": x + self._x0, "cy": y + self._y0, "r": _DOT}
            self.content.append(element("circle", fill=INK, **at))
        for sign in arranged.signs:
            self._sign(sign)

    # Widths

    def _width_of(self, sign: Sign) -> float:
        own = _text_width(_words_of(sign))
        if sign.is_block:
            comes = [_text_width(port.name, _SMALL) for port in sign.ports]
            goes = [_text_width(name, _SMALL) for name in sign.outputs]
            inner = max(comes, default=0) + max(goes, default=0) + 24
            names = (own, _text_width(sign.instance))
            return max(inner, 48, *(name + 12 for name in names)) + 12
        if sign.kind in ("inVariable", "outVariable", "inOutVariable"):
            return own + 10 + (_text_width(self._said(sign), _SMALL) + 6 if self._said(sign) else 0)
        if sign.kind not in ("contact", "coil"):
            return own + 10
        return max(own + 8, _SYMBOL + 12, _text_width(self._said(sign), _SMALL) + 8)

    def _said(self, sign: Sign) -> str:
        """The value of the variable that a sign shows, in words."""
        values = self.shown.values
        return "" if values is None else values.said(sign.text)

    def _is_on(self, source: Sign, output: str) -> bool:
        """Whether a wire surely carries TRUE."""
        if self.shown.values is None:
            return False
        if source.kind == RAIL:
            return True
        found = self._power.get((id(source), _output(source, output)))
        return bool(found) and self.shown.values.is_truth(source, output)

    # Wires

    def _at(self, sign: Sign) -> tuple[float, float]:
        x, y = self._arranged.at[id(sign)]
        return x + self._x0, y + self._y0

    def _rails(self, arranged: Arrangement) -> None:
        lines = [w.points[0][1] + self._y0 for w in arranged.wires if w.source.kind == RAIL]
        ends = [self._at(s)[1] for s in arranged.signs if s.kind == "coil"]
        look: Look = {"stroke": INK, "stroke_width": 3.0}
        top, bottom = min(lines) - 14, max(lines) + 14
        self.content.append(element("line", x1=self._x0, x2=self._x0, y1=top, y2=bottom, **look))
        if ends:
            x = self._x0 + arranged.width
            top, bottom = min(ends) - 14, max(ends) + 14
            self.content.append(element("line", x1=x, x2=x, y1=top, y2=bottom, **look))

    def _wire(self, wire: Wire) -> None:
        points = [(x + self._x0, y + self._y0) for x, y in wire.points]
        if wire.source.kind != RAIL:
            points[0] = (self._right_of(wire.source), points[0][1])
        points[-1] = (self._left_of(wire.sink), points[-1][1])
        self.content.append(self._line(points, self._is_on(wire.source, wire.output)))

    def _line(self, points: Sequence[tuple[float, float]], is_on: bool) -> str:
        return element(
            "path",
            d=path_through(*points),
            fill="none",
            stroke=SAFE if is_on else INK,
            stroke_width=_HEAVY if is_on else _THIN,
        )

    def _left_of(self, sign: Sign) -> float:
        """Where a wire ends that comes into a sign."""
        x, _ = self._at(sign)
        column = self._arranged.width_of[id(sign)]
        if sign.kind in ("contact", "coil"):
            return x + (column - _SYMBOL) / 2
        return x + 6 if sign.is_block else x

    def _right_of(self, sign: Sign) -> float:
        x, _ = self._at(sign)
        column = self._arranged.width_of[id(sign)]
        if sign.kind in ("contact", "coil"):
            return x + (column + _SYMBOL) / 2
        if sign.kind in ("return", "jump", "outVariable"):
            return x + self._width_of(sign)
        return x + column - (6 if sign.is_block else 0)

    # Signs

    def _sign(self, sign: Sign) -> None:
        if sign.is_block:
            self._block(sign)
        elif sign.kind == "contact":
            self._contact(sign)
        elif sign.kind == "coil":
            self._coil(sign)
        else:
            self._variable(sign)

    def _mark(self, sign: Sign) -> None:
        x, y = self._at(sign)
        column = self._arranged.width_of[id(sign)]
        height = (sign.n_lines + (0.5 if sign.is_block else 0)) * _LINE - 6
        top = y - (34 if sign.is_block else 24)
        box: Look = {"x": x - 3, "y": top, "width": column + 6, "height": height + 4, "rx": 4.0}
        look: Look = {"fill": MANDATORY_FILL, "stroke": MANDATORY, "stroke_width": 1.6}
        self.content.append(element("rect", **box, **look))

    def _middle(self, sign: Sign) -> tuple[float, float]:
        x, y = self._at(sign)
        return x + self._arranged.width_of[id(sign)] / 2, y

    def _named(self, sign: Sign) -> None:
        """The name above a contact or a coil, and its value below."""
        x, y = self._middle(sign)
        look: Look = {"font_size": _SIZE, "text_anchor": "middle"}
        self.content.append(text(x, y - 11, sign.text, **look))
        said = self._said(sign)
        if said:
            heavy = "bold" if said == "TRUE" else None
            small: Look = {"font_size": _SMALL, "text_anchor": "middle", "font_weight": heavy}
            self.content.append(
                text(x, y + 20, said, fill=PALE if heavy is None else SAFE, **small)
            )

    def _contact(self, sign: Sign) -> None:
        x, y = self._middle(sign)
        self._named(sign)
        is_on = self._is_on(sign, "")
        wide: Look = {"stroke": INK, "stroke_width": 2.0}
        for side in (-1, 1):
            inner = x + side * 6
            self.content.append(element("line", x1=inner, x2=inner, y1=y - 9, y2=y + 9, **wide))
            comes = any(self._is_on(s, o) for p in sign.ports for s, o in p.sources)
            heavy = comes if side < 0 else is_on
            outer = x + side * _SYMBOL / 2
            self.content.append(self._line([(outer, y), (inner, y)], heavy))
        if sign.negated:
            ends: Look = {"x1": x - 5, "y1": y + 7, "x2": x + 5, "y2": y - 7}
            self.content.append(element("line", stroke=INK, stroke_width=1.4, **ends))
        elif sign.edge:
            self._letter(x, y, "P" if sign.edge == "rising" else "N")

    def _coil(self, sign: Sign) -> None:
        x, y = self._middle(sign)
        self._named(sign)
        for side in (-1, 1):
            start, end = (x + side * 7, y - 9), (x + side * 7, y + 9)
            bow = f"M{start[0]:.2f} {start[1]:.2f}Q{x + side * 14:.2f} {y:.2f} "
            bow += f"{end[0]:.2f} {end[1]:.2f}"
            self.content.append(element("path", d=bow, fill="none", stroke=INK, stroke_width=2.0))
            comes = any(self._is_on(s, o) for p in sign.ports for s, o in p.sources)
            outer = x + side * _SYMBOL / 2
            self.content.append(self._line([(outer, y), (x + side * 10.5, y)], comes))
        comes = any(self._is_on(s, o) for p in sign.ports for s, o in p.sources)
        if self._has_rail:
            way = [(x + _SYMBOL / 2, y), (self._x0 + self._arranged.width, y)]
            self.content.append(self._line(way, comes))
        letter = {"set": "S", "reset": "R"}.get(sign.storage, "")
        letter = letter or {"rising": "P", "falling": "N"}.get(sign.edge, "")
        if letter:
            self._letter(x, y, letter)
        if sign.negated:
            ends: Look = {"x1": x - 5, "y1": y + 7, "x2": x + 5, "y2": y - 7}
            self.content.append(element("line", stroke=INK, stroke_width=1.4, **ends))

    def _letter(self, x: float, y: float, letter: str) -> None:
        look: Look = {"font_size": 9.0, "text_anchor": "middle", "font_weight": "bold"}
        self.content.append(text(x, y + 3.2, letter, **look))

    def _variable(self, sign: Sign) -> None:
        x, y = self._at(sign)
        width = self._width_of(sign)
        column = self._arranged.width_of[id(sign)]
        if sign.kind in ("inVariable", "continuation"):
            x += column - width
        if sign.kind == "inVariable" and sign.negated:
            x -= 4
        box: Look = {"x": x, "y": y - 10, "width": width, "height": 20.0}
        is_end = sign.kind in ("return", "jump", "connector", "continuation")
        look: Look = {
            "fill": NEUTRAL_FILL if is_end else PAPER,
            "stroke": PALE,
            "stroke_width": 0.8,
        }
        self.content.append(element("rect", rx=10.0 if is_end else 0.0, **box, **look))
        self.content.append(text(x + 5, y + 4, _words_of(sign), font_size=_SIZE))
        said = self._said(sign)
        if said and not is_end:
            at = x + width - 4
            heavy = "bold" if said == "TRUE" else None
            value: Look = {"font_size": _SMALL, "text_anchor": "end", "font_weight": heavy}
            self.content.append(
                text(at, y + 3.5, said, fill=PALE if heavy is None else SAFE, **value)
            )
        if sign.negated:
            self._circle(x + width if sign.kind == "inVariable" else x, y)
        letter = {"set": "S", "reset": "R"}.get(sign.storage, "")
        letter = letter or {"rising": "P", "falling": "N"}.get(sign.edge, "")
        if letter:
            self._letter(x + width + 7 if sign.kind != "inVariable" else x - 7, y, letter)

    def _circle(self, x: float, y: float) -> None:
        look: Look = {"fill": PAPER, "stroke": INK, "stroke_width": 1.2}
        self.content.append(element("circle", cx=x, cy=y, r=3.6, **look))

    def _block(self, sign: Sign) -> None:
        x, y = self._at(sign)
        left, right = x + 6, x + self._arranged.width_of[id(sign)] - 6
        top, height = y - 30, (sign.n_lines - 1) * _LINE + 44
        box: Look = {"x": left, "y": top, "width": right - left, "height": height}
        self.content.append(element("rect", fill=PAPER, stroke=INK, stroke_width=1.4, **box))
        middle = (left + right) / 2
        bold: Look = {"font_size": _SIZE, "text_anchor": "middle", "font_weight": "bold"}
        words = _BOX_SIGNS.get(sign.text.upper(), sign.text)
        self.content.append(text(middle, top + 13, words, **bold))
        if sign.instance:
            named: Look = {"font_size": _SIZE, "text_anchor": "middle"}
            self.content.append(text(middle, top - 4, sign.instance, **named))
        plain = sign.text.upper() in _BOX_SIGNS
        for number, port in enumerate(sign.ports):
            self._pin(port, left, y + number * _LINE, plain)
        for number, name in enumerate(sign.outputs):
            at = y + number * _LINE
            # The box of a negation says 1: it is the circle that negates.
            if (name in sign.negated_outputs) != (sign.text.upper() == "NOT"):
                self._circle(right, at)
            if not plain:
                look: Look = {"font_size": _SMALL, "text_anchor": "end", "fill": INK}
                self.content.append(text(right - 5, at + 3.5, name, **look))
            said = self._value_at(sign, name)
            if said:
                heavy = "bold" if said == "TRUE" else None
                self.content.append(
                    text(right - 5, at + 14, said, font_size=9.0, text_anchor="end",
                         font_weight=heavy, fill=PALE if heavy is None else SAFE)
                )  # fmt: skip

    def _value_at(self, sign: Sign, output: str) -> str:
        values = self.shown.values
        if values is None or not sign.instance:
            return ""
        return values.said(f"{sign.instance}.{output}")

    def _pin(self, port: Port, left: float, y: float, plain: bool) -> None:
        if port.negated:
            self._circle(left, y)
        if port.edge:
            self._letter(left + 6, y - 5, "P" if port.edge == "rising" else "N")
        if not plain:
            x = left + (9 if port.negated else 5)
            self.content.append(text(x, y + 3.5, port.name, font_size=_SMALL))


def _words_of(sign: Sign) -> str:
    """What stands at a sign or in it."""
    if sign.kind == "jump":
        return f">> {sign.text}"
    return sign.text or (sign.kind.upper() if sign.kind == "return" else "")


def _output(sign: Sign, output: str) -> str:
    return sign.outputs[sign.line_of(output)] if sign.is_block and sign.outputs else ""
