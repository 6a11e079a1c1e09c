"""A sequential function chart with its active steps: SVG in our own look, signs of IEC 61131-3."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.exchange.chart_places import ChartPlaces, Placed
from interlock.pictures.letters import laid_out_width
from interlock.pictures.style import INK, PALE, PAPER, SAFE, SAFE_FILL
from interlock.pictures.svg import Look, element, path_through, picture, text, wrapped_to
from interlock.st import syntax as sx
from interlock.st.write_expressions import write_expression

_SIZE, _SMALL, _ROW, _STEP_HEIGHT, _ACTION_HEIGHT = 12.0, 10.0, 54.0, 30.0, 20.0
_LEFT, _GAP, _HALF = 20.0, 24.0, 44.0
_MOST_LETTERS = 60
IsActive = Callable[[str], "bool | None"]
"""Whether a step is active, by its name; None where that is not known."""


def draw_chart(
    chart: sx.Chart,
    title: str,
    is_active: IsActive | None = None,
    notes: Sequence[str] = (),
    prefix: str = "",
) -> str:
    """The SVG text of a chart.

    Parameters
    ----------
    chart : syntax.Chart
    title : str
    is_active : callable, optional
    notes : sequence of str, optional
        Lines below the title.
    prefix : str, optional
        Stands before its ids.
    """
    return _Chart(chart, is_active or (lambda _: None)).draw(title, notes, prefix)


def _cut(words: str) -> str:
    return words if len(words) <= _MOST_LETTERS else words[: _MOST_LETTERS - 3] + "..."


def _width(words: str, size: float = _SIZE) -> float:
    return laid_out_width(words, size)


class _Chart:
    def __init__(self, chart: sx.Chart, is_active: IsActive) -> None:
        self._is_active = is_active
        self._all = ChartPlaces(chart).find()
        n_columns = max(max(one.column, one.last) for one in self._all) + 1
        widths = [2 * _HALF + _GAP] * n_columns
        for one in self._all:
            widths[one.column] = max(widths[one.column], self._width_of(one))
        self._lefts = [_LEFT + sum(widths[:column]) for column in range(n_columns)]
        self._right = _LEFT + sum(widths)
        self._content: list[str] = []
        self._top = 0.0

    def draw(self, title: str, notes: Sequence[str], prefix: str) -> str:
        y = 34.0
        head = [text(_LEFT, 22, title, font_size=14.0, font_weight="bold")]
        for note in notes:
            for line in wrapped_to(note, 640, _SMALL + 1):
                head.append(text(_LEFT, y + 8, line, font_size=_SMALL + 1, fill=PALE))
                y += 15
        self._top = y + 14
        for one in self._all:
            for number, (source, _) in enumerate(one.before):
                self._line(one, number, source)
        for one in self._all:
            self._element(one)
        width = max(self._right, _width(title, 15.5) + 2 * _LEFT, 320)
        bottom = self._top + (max(one.row for one in self._all) + 1) * _ROW
        active = [
            one.of.name
            for one in self._all
            if isinstance(one.of, sx.Step) and self._is_active(one.of.name)
        ]
        says = f"Active: {', '.join(active)}." if active else "The chart without a state."
        return picture(
            width, bottom, [*head, *self._content], title=title, says=says, prefix=prefix
        )

    # Lengths

    def _width_of(self, one: Placed) -> float:
        if isinstance(one.of, sx.Step):
            actions = max(
                (_width(words, _SMALL) + 12 for words in self._actions(one.of)), default=0
            )
            return self._step_width(one.of) / 2 + _HALF + (actions + 16 if actions else 0) + _GAP
        if isinstance(one.of, sx.Transition):
            return _HALF + 24 + _width(self._condition(one.of), _SMALL) + _GAP
        if isinstance(one.of, str):
            return _HALF + _width(one.of, _SMALL) + _GAP
        return 0.0

    def _step_width(self, step: sx.Step) -> float:
        return max(64.0, min(2 * _HALF, _width(step.name) + 20))

    @staticmethod
    def _actions(step: sx.Step) -> list[str]:
        found = []
        for use in step.actions:
            time = f" {write_expression(use.duration)}" if use.duration is not None else ""
            found.append(_cut(f"{use.qualifier or 'N'}{time}  {use.name}"))
        return found

    @staticmethod
    def _condition(t: sx.Transition) -> str:
        return _cut(t.name or write_expression(t.condition))

    def _x(self, column: int) -> float:
        """The middle line of a column."""
        return self._lefts[column] + _HALF

    def _y(self, one: Placed) -> float:
        return self._top + one.row * _ROW

    # Lines

    def _line(self, one: Placed, number: int, source: Placed) -> None:
        column = one.lanes[number] if one.lanes else one.column
        x = self._x(column)
        begins = self._y(source) + {"step": _STEP_HEIGHT, "transition": 14.0}.get(source.kind, 0.0)
        if source.kind == "simultaneousDivergence":
            begins += 4
        ends = self._y(one) + (14.0 if one.kind == "transition" else 0.0)
        points = [(self._x(source.column), begins), (x, begins), (x, ends)]
        if source.kind.endswith("Divergence") or self._x(source.column) == x:
            points = [(x, begins), (x, ends)]
        self._content.append(
            element("path", d=path_through(*points), fill="none", stroke=INK, stroke_width=1.0)
        )

    # Elements

    def _element(self, one: Placed) -> None:
        if isinstance(one.of, sx.Step):
            self._step(one, one.of)
        elif isinstance(one.of, sx.Transition):
            self._transition(one, one.of)
        elif one.kind == "jumpStep":
            x, y = self._x(one.column), self._y(one)
            points = [(x - 5, y + 2), (x, y + 11), (x + 5, y + 2)]
            look: Look = {"fill": INK, "stroke": INK, "stroke_width": 1.0}
            self._content.append(element("path", d=path_through(*points) + "Z", **look))
            self._content.append(text(x + 9, y + 11, str(one.of), font_size=_SMALL))
        else:
            self._bar(one)

    def _bar(self, one: Placed) -> None:
        y, columns = self._y(one), [one.column, one.last]
        is_double = one.kind.startswith("simultaneous")
        left, right = self._x(min(columns)), self._x(max(columns))
        over = 10 if is_double else 0
        for shift in (0, 4) if is_double else (0,):
            ends: Look = {"x1": left - over, "x2": right + over, "y1": y + shift, "y2": y + shift}
            self._content.append(element("line", stroke=INK, stroke_width=1.2, **ends))

    def _step(self, one: Placed, step: sx.Step) -> None:
        x, y, width = self._x(one.column), self._y(one), self._step_width(step)
        is_active = bool(self._is_active(step.name))
        look: Look = {
            "fill": SAFE_FILL if is_active else PAPER,
            "stroke": SAFE if is_active else INK,
            "stroke_width": 2.6 if is_active else 1.2,
        }
        box: Look = {"x": x - width / 2, "y": y, "width": width, "height": _STEP_HEIGHT}
        self._content.append(element("rect", **box, **look))
        if step.initial:
            inner: Look = {"x": x - width / 2 + 3, "y": y + 3, "width": width - 6, "height": 24.0}
            self._content.append(
                element("rect", fill="none", stroke=INK, stroke_width=1.0, **inner)
            )
        size = min(_SIZE, _SIZE * (width - 14) / max(1.0, _width(step.name)))
        weight = "bold" if is_active else None
        self._content.append(
            text(x, y + 17, step.name, font_size=size, text_anchor="middle", font_weight=weight)
        )
        if is_active:
            # The token of an active step, so that it is seen without colours as well.
            self._content.append(element("circle", cx=x, cy=y + 23.5, r=2.6, fill=INK))
        left = x + width / 2 + 16
        words = self._actions(step)
        wide = max((_width(word, _SMALL) + 12 for word in words), default=0)
        if words:
            ends: Look = {"x1": x + width / 2, "x2": left, "y1": y + 15, "y2": y + 15}
            self._content.append(element("line", stroke=INK, stroke_width=1.0, **ends))
        for number, word in enumerate(words):
            at = y + 5 + number * _ACTION_HEIGHT
            cell: Look = {"x": left, "y": at, "width": wide, "height": _ACTION_HEIGHT}
            self._content.append(element("rect", fill=PAPER, stroke=INK, stroke_width=0.8, **cell))
            self._content.append(text(left + 6, at + 13.5, word, font_size=_SMALL))

    def _transition(self, one: Placed, t: sx.Transition) -> None:
        x, y = self._x(one.column), self._y(one) + 14
        ends: Look = {"x1": x - 12, "x2": x + 12, "y1": y, "y2": y}
        self._content.append(element("line", stroke=INK, stroke_width=2.6, **ends))
        self._content.append(text(x + 18, y + 3.5, self._condition(t), font_size=_SMALL))
