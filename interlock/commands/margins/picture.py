"""Ranges as a picture: a row for each time, its value in the middle, on both sides what does."""

from __future__ import annotations

from fractions import Fraction
from textwrap import wrap

from interlock.commands.margins.search import Side
from interlock.commands.margins.study import Margins, Range, Verdicts
from interlock.commands.margins.tell import seconds, side_told
from interlock.pictures.style import DANGER, INK, PALE, SAFE, SAFE_FILL
from interlock.pictures.svg import element, picture, size_within, text
from interlock.telling.program import between_told

_LEFT, _HALF, _RIGHT, _ROW, _BAR = 300.0, 190.0, 24.0, 54.0, 14.0
_WIDTH = _LEFT + 2 * _HALF + _RIGHT
_SIZE = 12.0
_LETTERS = 100  # as many fit into the width
_ASSUMED = "Where not each value was tried, one edge in each direction is assumed."


def to_svg(found: Margins) -> str:
    """The picture of all ranges, the nearest to its edge first.

    Each half of a row has a scale of its own: from the value to the farthest that can be tried. The
    bar is what does; a red line with a cross is an edge; a bar with an open end was not decided.
    """
    assumed = [*wrap(between_told(found.model), _LETTERS), _ASSUMED]
    top = 82.0 + 15 * len(assumed)
    rows: list[str] = []
    for number, one in enumerate(found.ranges):
        rows += _row(one, top + number * _ROW)
    height = top + len(found.ranges) * _ROW + 16
    middle = _LEFT + _HALF
    head = [
        text(16, 28, found.model.title, font_size=16, font_weight="bold"),
        text(16, 48, "Times that would do: in the bar every verdict stays", font_size=_SIZE),
        *(text(16, 65 + 15 * n, says, font_size=11, fill=PALE) for n, says in enumerate(assumed)),
        text(middle, top - 10, "as it is", font_size=11, text_anchor="middle", fill=PALE),
        text(_LEFT, top - 10, "less", font_size=11, fill=PALE),
        text(_LEFT + 2 * _HALF, top - 10, "more", font_size=11, text_anchor="end", fill=PALE),
        element(
            "line", x1=middle, x2=middle, y1=top - 4, y2=height - 12, stroke=PALE,
            stroke_width=1, stroke_dasharray="3 3",
        ),
    ]  # fmt: skip
    says = "; ".join(_in_words(one) for one in found.ranges)
    return picture(
        _WIDTH, height, [*head, *rows], title=f"Times that would do: {found.model.title}", says=says
    )


def _in_words(one: Range) -> str:
    if not one.is_asked:
        return f"{one.quantity.name}: not asked"
    least, greatest = seconds(one.least_ms), seconds(one.greatest_ms)
    return f"{one.quantity.name}, {seconds(one.quantity.value_ms)}: {least} to {greatest}"


def _row(one: Range, y: float) -> list[str]:
    quantity, middle = one.quantity, _LEFT + _HALF
    name = f"{quantity.what}: {quantity.which}"
    size = size_within(name, _LEFT - 90, _SIZE)
    drawn = [
        text(16, y + 14, name, font_size=size),
        text(
            _LEFT - 14, y + 14, seconds(quantity.value_ms), font_size=_SIZE, text_anchor="end",
            font_weight="bold",
        ),
    ]  # fmt: skip
    if not one.is_asked:
        return [*drawn, text(_LEFT, y + 14, "not asked", font_size=11, fill=PALE)]
    for side, sign, most in ((one.down, -1, quantity.n_down), (one.up, 1, quantity.n_up)):
        drawn += _half(one, side, sign, most, y)
    drawn.append(element("circle", cx=middle, cy=y + 3 + _BAR / 2, r=4, fill=INK, stroke="none"))
    return drawn


def _half(one: Range, side: Side[Verdicts], sign: int, n_most: int, y: float) -> list[str]:
    middle, scale = _LEFT + _HALF, _HALF / max(n_most, 1)
    end = middle + sign * side.n_same * scale
    left, width = min(middle, end), abs(end - middle)
    drawn = []
    if width:
        drawn.append(
            element(
                "rect", x=left, y=y + 3, width=width, height=_BAR, fill=SAFE_FILL, stroke=SAFE,
                stroke_dasharray=None if side.is_decided else "4 3",
            )
        )  # fmt: skip
    if side.n_other is not None:
        x = middle + sign * side.n_other * scale
        top, bottom = y, y + 6 + _BAR
        drawn.append(element("line", x1=x, x2=x, y1=top, y2=bottom, stroke=DANGER, stroke_width=2))
        center = y + 3 + _BAR / 2
        drawn += [
            element(
                "line", x1=x - 3, x2=x + 3, y1=center - dy, y2=center + dy, stroke=DANGER,
                stroke_width=1.5,
            )
            for dy in (-3, 3)
        ]  # fmt: skip
    reach = seconds(one.quantity.value_ms + sign * Fraction(side.n_same) * one.unit_ms)
    said = f"{reach}; {side_told(one, side, sign)}"
    anchor = "end" if sign < 0 else "start"
    drawn.append(
        text(
            middle + sign * 8, y + 6 + _BAR + 14, said, text_anchor=anchor,
            font_size=size_within(said, _HALF - 12, 10.5),
            fill=DANGER if side.n_other is not None else PALE,
        )
    )  # fmt: skip
    return drawn
