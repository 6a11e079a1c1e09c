"""The sketch of power domains: what each supply feeds and what goes on without it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.model.model import Model, ModelMove
from interlock.pictures.picture import Picture
from interlock.pictures.shown.supplies import Fed, what_is_fed
from interlock.pictures.style import INK, PALE, PAPER
from interlock.pictures.svg import (
    element,
    path_through,
    picture,
    size_within,
    text,
    width_of,
    wrapped_to,
)
from interlock.st.evaluate import as_written
from interlock.st.write import write_expression

_WIDTH = 960.0
_SOURCE, _SWITCH, _BOX, _RIGHT = 16.0, 200.0, 330.0, 944.0
_LINE, _SIZE = 16.0, 11.5
_HEAD = 84.0


def draw_supplies(model: Model) -> Iterator[Picture]:
    """One sketch of all supplies that `model` declares; none where it declares none."""
    if not model.supplies:
        return
    sheet = _Sheet(model)
    for fed in what_is_fed(model):
        sheet.supply(fed)
    title = f"{model.title}: what acts on which supply alone"
    notes = (
        "Worked out from guards and signals with every output and every fault free: it holds "
        "whatever the program computes.",
        "Solid box behind the switch: dead with the supply off. Dashed box: goes on without it.",
    )
    parts = [
        text(16, 30, title, font_size=size_within(title, _RIGHT - 16, 15), font_weight="bold"),
        *(text(16, 48 + 14 * n, note, font_size=11, fill=PALE) for n, note in enumerate(notes)),
        *sheet.parts,
    ]
    says = " ".join(sheet.says)
    drawn = picture(_WIDTH, sheet.y, parts, title=title, says=says)
    yield Picture("supplies", "what each supply feeds", drawn, is_svg=True)


class _Sheet:
    """Supplies from the top down; `y` is the lower edge of the last one."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self.parts: list[str] = []
        self.says: list[str] = []
        self.y = _HEAD

    def supply(self, fed: Fed) -> None:
        """Draw a supply, its switch, and the boxes behind and before it."""
        top = self.y
        model = self._model
        outputs = [_named(name, model.outputs[name].says) for name in fed.isolated]
        stopped = list(_moves(model, fed.stopped))
        inputs = [_named(name, model.sensors[name].says) for name in fed.silent]
        going_on = list(_moves(model, fed.going_on, with_guards=True))
        acting = [_named(name, model.outputs[name].says) for name in fed.acting]
        middles = [
            self._box("outputs that act on nothing without it", outputs, True),
            self._box("moves that are possible only with it", stopped, True),
            self._box("inputs that say one thing only without it", inputs, True),
        ]
        behind = [middle for middle in middles if middle is not None]
        free = [
            self._box("moves that go on without it", going_on, False),
            self._box("outputs that act without it", acting, False),
        ]
        before = [middle for middle in free if middle is not None]
        self._wires(fed, top, behind, before)
        self.y += 24
        for words, found in (
            ("acts on nothing without it", outputs),
            ("possible only with it", stopped),
            ("silent without it", inputs),
            ("goes on without it", [*going_on, *acting]),
        ):
            said = "; ".join(found) or "nothing"
            self.says.append(f"{fed.supply.name}, {words}: {said}.")

    def _box(self, heading: str, lines: Sequence[str], is_fed: bool) -> float | None:
        """Draw a box, unless nothing is in it; the height of its middle."""
        if not lines:
            return None
        room = _RIGHT - _BOX - 24
        is_short = len(lines) > 3 and all(width_of(line, _SIZE) < room / 2 for line in lines)
        rows = [row for line in lines for row in wrapped_to(line, room, _SIZE)]
        n_rows = (len(rows) + 1) // 2 if is_short else len(rows)
        top, height = self.y, 30 + _LINE * n_rows
        self.parts.append(
            element(
                "rect",
                x=_BOX,
                y=top,
                width=_RIGHT - _BOX,
                height=height,
                rx=3,
                fill="#f2f4f6" if is_fed else PAPER,
                stroke=INK if is_fed else PALE,
                stroke_width=1.6 if is_fed else 1.2,
                stroke_dasharray=None if is_fed else "6 4",
            )
        )
        self.parts.append(text(_BOX + 12, top + 18, heading, font_size=12, font_weight="bold"))
        for n, row in enumerate(rows):
            x = _BOX + 12 + n // n_rows * room / 2
            self.parts.append(text(x, top + 36 + _LINE * (n % n_rows), row, font_size=_SIZE))
        self.y = top + height + 12
        return top + height / 2

    def _wires(self, fed: Fed, top: float, behind: list[float], before: list[float]) -> None:
        """The source, the switch that its condition closes, and the lines to the boxes."""
        middle = top + 26
        self.parts += _source(fed, top)
        bus = _BOX - 24
        self._wire((_SOURCE + 130, middle), (_SWITCH, middle))
        # The sign of IEC 60617 for a make contact: an open arm between two ends (from memory).
        self._wire((_SWITCH, middle), (_SWITCH + 36, middle - 16))
        self._wire((_SWITCH + 40, middle), (bus, middle))
        for end in (_SWITCH, _SWITCH + 40):
            self.parts.append(element("circle", cx=end, cy=middle, r=3, fill=INK))
        if behind:
            self._wire((bus, middle), (bus, max(behind)))
        for y in behind:
            self._wire((bus, y), (_BOX, y))
        condition = write_expression(as_written(fed.supply.feeds_while.tree))
        for n, line in enumerate(wrapped_to(f"closed while {condition}", 140, 11)):
            y = middle + 20 + 14 * n
            self.parts.append(text(_SOURCE + 138, y, line, font_size=11, fill=PALE))
        if before:
            words = f"not fed by {fed.supply.name}"
            self.parts.append(
                text(_BOX - 12, min(before) + 4, words, font_size=11, text_anchor="end", fill=PALE)
            )

    def _wire(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        path = path_through(start, end)
        self.parts.append(element("path", d=path, fill="none", stroke=INK, stroke_width=2))


def _source(fed: Fed, top: float) -> Iterator[str]:
    yield element(
        "rect", x=_SOURCE, y=top, width=130, height=52, fill=PAPER, stroke=INK, stroke_width=2
    )
    yield text(_SOURCE + 10, top + 20, fed.supply.name, font_size=13, font_weight="bold")
    lines = wrapped_to(fed.supply.says, 112, 10.5)
    for n, line in enumerate(lines[:2]):
        yield text(_SOURCE + 10, top + 34 + 13 * n, line, font_size=10.5)


def _named(name: str, says: str) -> str:
    return f"{name} ({says})" if says else name


def _moves(model: Model, moves: Sequence[ModelMove], with_guards: bool = False) -> Iterator[str]:
    """The moves of each machine in a line; with guards, each move in its own."""
    by_machine: dict[str, list[ModelMove]] = {}
    for move in moves:
        by_machine.setdefault(move.machine, []).append(move)
    for name, found in by_machine.items():
        states = model.machines[name].states
        told = [f"{_label(states, move.source)} → {states[move.target]}" for move in found]
        if with_guards:
            for words, move in zip(told, found, strict=True):
                guard = "" if move.when is None else f", when {move.when.text}"
                yield f"{name} {words}: {move.says or move.name}{guard}"
        else:
            yield f"{name}: {', '.join(told)}"


def _label(states: Sequence[str], source: int | None) -> str:
    return "any" if source is None else states[source]
