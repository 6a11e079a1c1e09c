"""Where the elements of a chart stand: branches side by side, what leads back as a jump."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from interlock.st import syntax as sx

# So many actions stand beside a step before it needs a further row.
_ACTIONS_A_ROW = 2


@dataclass
class Placed:
    """An element of a chart.

    Attributes
    ----------
    kind : str
        The name of its element in the exchange format.
    column, row : int
        Counted from 0; a line that divides or joins goes on to the column `last`.
    of : syntax.Step, syntax.Transition, str or None
        What it shows; of a jump the name of its step.
    before : list of (Placed, str)
        What leads to it, with the output of a line that divides.
    lanes : list of int
        Of a line that joins: the column of each of `before`.
    id : str
        Its localId.
    """

    kind: str
    column: int
    row: int
    of: sx.Step | sx.Transition | str | None = None
    before: list[tuple[Placed, str]] = field(default_factory=list)
    lanes: list[int] = field(default_factory=list)
    id: str = ""
    last: int = 0


class ChartPlaces:
    """Finds the places of a chart's elements.

    Parameters
    ----------
    chart : syntax.Chart
    """

    def __init__(self, chart: sx.Chart) -> None:
        self._chart = chart
        self._steps = {step.name.casefold(): step for step in chart.steps}
        self._placed: dict[str, Placed] = {}
        self._all: list[Placed] = []
        # Lanes that wait for the other steps of a transition that joins them.
        self._waiting: dict[int, list[tuple[Placed, str, int, int]]] = {}
        self._drawn: set[int] = set()

    def find(self) -> list[Placed]:
        """The elements.

        Raises
        ------
        KeyError
            Where a transition names a step that there is not.
        """
        column, bottom = 0, 0
        starts = sorted(self._chart.steps, key=lambda step: not step.initial)
        for step in starts:
            if step.name.casefold() not in self._placed:
                column, low = self._step(step, column, 0, None)
                bottom = max(bottom, low)
        for transition in self._chart.transitions:
            if id(transition) not in self._drawn:
                column, bottom = self._join(transition, column, bottom + 1)
        return self._all

    # Columns and rows

    def _put(
        self, kind: str, column: int, row: int, of: sx.Step | sx.Transition | str | None,
        *before: tuple[Placed, str],
    ) -> Placed:  # fmt: skip
        found = Placed(kind, column, row, of, list(before), last=column)
        self._all.append(found)
        return found

    def _step(
        self, step: sx.Step, column: int, row: int, before: tuple[Placed, str] | None
    ) -> tuple[int, int]:
        """Place a step and what follows it: the first free column, and the last row."""
        given = [before] if before is not None else []
        here = self._put("step", column, row, step, *given)
        self._placed[step.name.casefold()] = here
        row += 1 + max(0, len(step.actions) - 1) // _ACTIONS_A_ROW
        leading = [t for t in self._chart.transitions if _has(t.sources, step)]
        if not leading:
            return column + 1, row
        source, output = here, ""
        if len(leading) > 1:
            source = self._put("selectionDivergence", column, row, None, (here, ""))
            row += 1
        free, low = column, row
        for number, transition in enumerate(leading):
            output = str(number + 1) if len(leading) > 1 else ""
            source.last = free
            if len(transition.sources) > 1:
                self._waiting.setdefault(id(transition), []).append((source, output, free, row))
                free, bottom = free + 1, row
            else:
                free, bottom = self._transition(transition, free, row, [(source, output)])
            low = max(low, bottom)
        return free, low

    def _transition(
        self, t: sx.Transition, column: int, row: int, before: Sequence[tuple[Placed, str]]
    ) -> tuple[int, int]:
        self._drawn.add(id(t))
        here = self._put("transition", column, row, t, *before)
        if len(t.targets) == 1:
            return self._target(t.targets[0], column, row + 1, (here, ""))
        divide = self._put("simultaneousDivergence", column, row + 1, None, (here, ""))
        free, low = column, row + 2
        for number, target in enumerate(t.targets):
            divide.last = free
            free, bottom = self._target(target, free, row + 2, (divide, str(number + 1)))
            low = max(low, bottom)
        for other in self._chart.transitions:
            lanes = self._waiting.get(id(other), [])
            inside = all(column <= lane[2] < free for lane in lanes)
            if len(lanes) == len(other.sources) > 1 and inside and id(other) not in self._drawn:
                free, low = self._join(other, free, low + 1)
        return free, low

    def _target(
        self, name: sx.Name, column: int, row: int, before: tuple[Placed, str]
    ) -> tuple[int, int]:
        step = self._steps[name.text.casefold()]
        if name.text.casefold() in self._placed:
            self._put("jumpStep", column, row, step.name, before)
            return column + 1, row
        return self._step(step, column, row, before)

    def _join(self, t: sx.Transition, free: int, row: int) -> tuple[int, int]:
        """Join the lanes that lead to a transition, below all of them."""
        lanes = self._waiting[id(t)]
        column = min(lane[2] for lane in lanes)
        line = self._put("simultaneousConvergence", column, row, None)
        line.last = max(lane[2] for lane in lanes)
        line.before = [(source, output) for source, output, _, _ in lanes]
        line.lanes = [lane[2] for lane in lanes]
        below, low = self._transition(t, column, row + 1, [(line, "")])
        return max(free, below), low


def _has(names: tuple[sx.Name, ...], step: sx.Step) -> bool:
    return any(name.text.casefold() == step.name.casefold() for name in names)
