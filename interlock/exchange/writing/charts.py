"""Charts as elements with positions."""

from __future__ import annotations

from interlock.exchange.chart_places import ChartPlaces, Placed
from interlock.exchange.writing.tags import Tag, formatted, tag, tag_of
from interlock.st import syntax as sx
from interlock.st.write_expressions import write_expression

_LETTER, _ROW, _LEFT, _TOP = 7, 50, 20, 20
_STEP_HEIGHT, _ACTION_HEIGHT, _GAP = 30, 20, 20


class ChartDrawing:
    """Draws a chart.

    Parameters
    ----------
    chart : syntax.Chart
    """

    def __init__(self, chart: sx.Chart) -> None:
        self._chart = chart
        self._all = ChartPlaces(chart).find()
        self._count = 0

    def body(self) -> Tag:
        """The body of the chart."""
        for one in self._all:
            one.id = self._next_id()
        n_columns = max(max(one.column, one.last) for one in self._all) + 1
        widths = [120] * n_columns
        for one in self._all:
            widths[one.column] = max(widths[one.column], _width(one))
        self._lefts = [_LEFT + sum(widths[:column]) for column in range(n_columns)]
        self._ordered = self._in_written_order()
        self._ranked = self._by_written_rank()
        parts: list[Tag] = []
        for one in self._all:
            parts += self._elements(one)
        return Tag("SFC", {}, parts)

    def _next_id(self) -> str:
        self._count += 1
        return str(self._count)

    def _in_written_order(self) -> bool:
        """Whether steps are read from the drawing in the order of the chart."""
        steps = [p for p in self._all if p.kind == "step"]
        steps.sort(key=lambda p: (p.row, p.column))
        return [p.of for p in steps] == list(self._chart.steps)

    def _by_written_rank(self) -> bool:
        """Whether the leftmost of several true transitions is the first of the chart."""
        at = {id(p.of): (p.column, p.row) for p in self._all if p.kind == "transition"}
        effective = sorted(
            enumerate(self._chart.transitions),
            key=lambda pair: (pair[1].priority is None, pair[1].priority or 0, pair[0]),
        )
        kept = {
            id(t): (t.priority is None, t.priority or 0, *at[id(t)])
            for t in self._chart.transitions
        }
        in_order = [t for _, t in effective]
        return all(
            kept[id(one)] < kept[id(other)]
            for n, one in enumerate(in_order)
            for other in in_order[n + 1 :]
            if any(_named(other.sources, name) for name in one.sources)
        )

    def _elements(self, one: Placed) -> list[Tag]:
        x, y = self._lefts[one.column], _TOP + one.row * _ROW
        comes = [self._comes(one, n, *before) for n, before in enumerate(one.before)]
        words: dict[str, object] = {"localId": one.id}
        place = tag("position", x=x, y=y)
        if isinstance(one.of, sx.Step):
            return self._step_tags(one, one.of, comes, place)
        if isinstance(one.of, sx.Transition):
            t = one.of
            rank = t.priority if self._ranked else self._chart.transitions.index(t) + 1
            words |= {"priority": rank, "width": 30, "height": 4}
            place = tag("position", x=x + 25, y=y + 12)
            plain = tag("connectionPointOut")
            return [tag_of("transition", words, place, *comes, plain, _condition(t))]
        if one.kind == "jumpStep":
            words |= {"targetName": one.of, "width": 80, "height": 20}
            return [tag_of("jumpStep", words, place, *comes)]
        words |= {"width": self._lefts[one.last] - x + 80, "height": 3}
        leading = [output for p in self._all for source, output in p.before if source is one]
        if one.kind.endswith("Divergence"):
            outs = [tag("connectionPointOut", formalParameter=name) for name in leading]
            return [tag_of(one.kind, words, place, *comes, *outs)]
        return [tag_of(one.kind, words, place, *comes, tag("connectionPointOut"))]

    def _comes(self, one: Placed, number: int, source: Placed, output: str) -> Tag:
        """What leads to an element, with a wire from above."""
        x = self._lefts[one.column] + 40
        y = _TOP + one.row * _ROW + (12 if one.kind == "transition" else 0)
        above = _TOP + source.row * _ROW
        if source.kind == "step":
            above += _STEP_HEIGHT
        elif source.kind == "transition":
            above += 16
        left = self._lefts[source.column] + 40
        if one.kind == "simultaneousConvergence" or source.kind.endswith("Divergence"):
            # Along the double or single line, both are where the lane is.
            lane = one.lanes[number] if one.lanes else one.column
            x = left = self._lefts[lane] + 40
        points = [tag("position", x=x, y=y), tag("position", x=left, y=above)]
        wire = tag("connection", *points, refLocalId=source.id, formalParameter=output or None)
        return tag("connectionPointIn", wire)

    def _step_tags(self, one: Placed, step: sx.Step, comes: list[Tag], place: Tag) -> list[Tag]:
        found = tag(
            "step",
            place,
            *comes,
            tag("connectionPointOut", formalParameter=""),
            tag("connectionPointOutAction", formalParameter=""),
            localId=one.id,
            width=80,
            height=_STEP_HEIGHT,
            name=step.name,
            initialStep=step.initial or None,
            executionOrderId=None if self._ordered else self._chart.steps.index(step) + 1,
        )
        if not step.actions:
            return [found]
        x, y = self._lefts[one.column] + 80 + _GAP, _TOP + one.row * _ROW
        points = [tag("position", x=x, y=y + 15), tag("position", x=x - _GAP, y=y + 15)]
        wire = tag("connection", *points, refLocalId=one.id, formalParameter="")
        actions = [
            tag(
                "action",
                tag("relPosition", x=0, y=n * _ACTION_HEIGHT),
                tag("reference", name=use.name),
                localId=self._next_id(),
                qualifier=use.qualifier or "N",
                duration=None if use.duration is None else write_expression(use.duration),
            )
            for n, use in enumerate(step.actions)
        ]
        block = tag(
            "actionBlock",
            tag("position", x=x, y=y + 5),
            tag("connectionPointIn", wire),
            *actions,
            localId=self._next_id(),
            width=_actions_width(step),
            height=_ACTION_HEIGHT * len(step.actions),
        )
        return [found, block]


def _condition(t: sx.Transition) -> Tag:
    if t.name:
        return tag("condition", tag("reference", name=t.name))
    text = tag("ST", formatted(write_expression(t.condition)))
    return tag("condition", tag("inline", text, name=""))


def named_transitions(chart: sx.Chart) -> list[Tag]:
    """The transitions with a name, each with its condition as a body."""
    return [
        tag(
            "transition",
            tag("body", tag("ST", formatted(f":= {write_expression(t.condition)};"))),
            name=t.name,
        )
        for t in chart.transitions
        if t.name
    ]


def _named(names: tuple[sx.Name, ...], wanted: sx.Name) -> bool:
    return any(name.text.casefold() == wanted.text.casefold() for name in names)


def _actions_width(step: sx.Step) -> int:
    texts = (
        f"{use.qualifier} {write_expression(use.duration) if use.duration else ''} {use.name}"
        for use in step.actions
    )
    return _LETTER * max(map(len, texts)) + 20


def _width(one: Placed) -> int:
    if isinstance(one.of, sx.Step):
        own = max(80, _LETTER * len(one.of.name) + 10)
        return own + _GAP + (_actions_width(one.of) + _GAP if one.of.actions else 0)
    if isinstance(one.of, sx.Transition):
        return 65 + _LETTER * len(one.of.name or write_expression(one.of.condition)) + _GAP
    return 100
