"""A controller that executes a project on its tree as written, with its memory."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

from interlock.base.errors import InputError, InternalError, Place
from interlock.st import syntax as sx
from interlock.st.direct.blocks import TIMERS, pass_scan, position_of, top_of
from interlock.st.direct.built import Built, is_number
from interlock.st.direct.frames import Frame
from interlock.st.direct.kinds import TIME, refusal
from interlock.st.direct.storage import (
    Cell,
    Standard,
)
from interlock.st.layout import PREFIX, Settings, Timers
from interlock.st.scans import Decision, ScanResult

Number = int | float
"""What a variable of the memory holds; a real number only where it is a REAL or LREAL."""


class DirectController:
    """A controller with its memory, executed on the tree of its project.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    root : str
        Name of the PROGRAM or FUNCTION_BLOCK that a scan executes.
    settings : Settings
    spans : mapping of str to (int, int), optional
        How far the lowering keeps the values of its variables apart, by their names. A counter or
        timer that has come to an end of it stays there in the lowering and goes on here.
    tables : mapping of str to tuple of float, optional
        The values of each REAL in the lowering, by its name; there its value is a place in these.
    stand_ins : mapping of str to tuple of float, optional
        By the casefolded name of an input that is given the number of a class: what stands for it.

    Raises
    ------
    InputError
        Where the project cannot be executed.
    """

    def __init__(
        self,
        files: Sequence[sx.SourceFile],
        root: str,
        settings: Settings,
        spans: Mapping[str, tuple[int, int]] | None = None,
        tables: Mapping[str, tuple[float, ...]] | None = None,
        stand_ins: Mapping[str, tuple[float, ...]] | None = None,
    ) -> None:
        self.settings = settings
        self._spans = dict(spans or {})
        self._tables = dict(tables or {})
        self._stand_ins = dict(stand_ins or {})
        built = Built(files, root, settings)
        self._built = built
        self._machine, self._unit, self.root = built.machine, built.unit, built.root
        self._cells, self._inputs = built.cells, built.inputs
        # Variables of an interface by what the layout calls it that they stand for something.
        self._bound = {f"{n}.bound": c for n, c in self._cells.items() if c.interface is not None}
        # A text or a date among the outputs is no part of what a scan is judged by.
        self._outputs = [name for name in built.outputs if is_number(built.cells[name])]
        self._timers, self._goes_on = built.timers, built.goes_on
        self._start_scan()

    # Memory

    def _start_scan(self) -> None:
        self._machine.executed = []
        self._machine.defects = []
        self._machine.arithmetic.note = self._machine.note
        self._machine.writes = {}
        self._machine.depth = 0

    def values(self) -> dict[str, Number]:
        """Every variable of the memory that is a number, outputs included.

        Where a counter stays in the lowering, it does here.
        """
        found = {name: _number(cell) for name, cell in self._cells.items() if is_number(cell)}
        found |= {name: int(cell.content is not None) for name, cell in self._bound.items()}
        for name, table in self._tables.items():
            if name in found:
                found[name] = _place_in(table, found[name], name)
        for name, block in self._goes_on.items():
            lo, hi = self._span(name, block)
            found[name] = min(max(found[name], lo), hi)
        for block in self._timers.values():
            name = f"{PREFIX}{block.name}.ET"
            if name in found and not self._shows_ms(block):
                found[name] = -(-found[name] // self.settings.scan_ms)
        return found

    def _span(self, name: str, block: Standard) -> tuple[int, int]:
        """How far the value of a counter or the position of a timer is told apart."""
        if block.block in TIMERS:
            return self._spans.get(name, (0, top_of(block, self.settings)))
        kind = block.members["CV"].kind
        return self._spans.get(name, (kind.lo, kind.hi))

    def _shows_ms(self, block: Standard) -> bool:
        """Whether the layout keeps ET in milliseconds: where the preset time varies."""
        names = (f"{PREFIX}{block.name}.{part}" for part in ("ET", position_of(self.settings)))
        shown, position = (self._spans.get(name) for name in names)
        return shown is not None and shown != position

    def exact_values(self) -> dict[str, object]:
        """Every variable of the memory as it is, with texts and references, for `remember`."""
        return {name: cell.content for name, cell in self._cells.items()}

    def memory(self) -> dict[str, Number]:
        """As `values`, without the outputs."""
        return {name: v for name, v in self.values().items() if name not in self._outputs}

    def load(self, values: Mapping[str, Number]) -> None:
        """Set variables of the memory by name, as `values` has them.

        Where a counter stays in the lowering, the value says 'or more': one that has counted on
        here keeps its count.

        Raises
        ------
        KeyError
            For a name that the memory does not have.
        """
        for name, value in values.items():
            if name in self._bound:
                self._bound[name].content = self._bound[name].latest if value else None
                continue
            cell = self._cells[name]
            block = self._goes_on.get(name)
            if block is not None:
                lo, hi = self._span(name, block)
                if value == hi:
                    value = max(value, _number(cell))
                elif value == lo:
                    value = min(value, _number(cell))
            table = self._tables.get(name)
            cell.content = value if table is None else table[int(value)]
        for block in self._timers.values():
            name = f"{PREFIX}{block.name}.ET"
            if name in values and not self._shows_ms(block):
                shown = values[name] * self.settings.scan_ms
                block.members["ET"].content = min(shown, block.members["PT"].read().number)

    def remember(self, values: Mapping[str, object]) -> None:
        """Go back to what `exact_values` told."""
        for name, content in values.items():
            self._cells[name].content = content

    def restart(self) -> None:
        """Switch off and on: RETAIN keeps its values, everything else starts anew."""
        for cell in self._cells.values():
            if not cell.retain:
                cell.content = cell.initial

    # Time

    def running_timers(self) -> list[str]:
        """The instances that may elapse now; only free timers do."""
        return [name for name, block in self._timers.items() if self._is_due(block)]

    def _is_due(self, block: Standard) -> bool:
        position = f"{PREFIX}{block.name}.{position_of(self.settings)}"
        if self.settings.timers is not Timers.FREE or self._span(position, block)[1] == 0:
            return False
        elapsed = block.members[position_of(self.settings)].content
        return bool(block.members["running"].content) and not elapsed

    def elapse(self, instance: str) -> None:
        """Let the time of a running free timer elapse; the next call will see it.

        Raises
        ------
        KeyError
            For a name of no timer.
        ValueError
            If it is not running, or has elapsed already.
        """
        block = self._timers[instance]
        if not self._is_due(block):
            raise ValueError(f"timer {instance} is not running")
        block.members[position_of(self.settings)].content = 1

    def _pass_time(self) -> None:
        for block in self._timers.values():
            pass_scan(block, self.settings)
        for seen, time in self._built.steps:
            if seen.content:
                time.content = min(time.read().number + self.settings.scan_ms, TIME.hi)

    # Scans

    def scan(self, inputs: Mapping[str, Number]) -> ScanResult:
        """Latch `inputs`, execute the root once, write the outputs.

        Parameters
        ----------
        inputs : mapping of str to int or float
            A value for every declared input, by its name.

        Raises
        ------
        InputError
            Where a statement cannot be executed.
        """
        self._start_scan()
        before = {name: _number(self._cells[name]) for name in self._outputs}
        for name, cell in self._inputs.items():
            if name in inputs:
                classes = self._stand_ins.get(name.casefold())
                cell.content = inputs[name] if classes is None else classes[int(inputs[name])]
        if self.settings.timers is Timers.COUNTED:
            self._pass_time()
        try:
            self._machine.run_unit(self.root, self._unit)
        except RecursionError:
            raise refusal(self._unit.place, "nested too deeply to be executed") from None
        outputs = {name: _number(self._cells[name]) for name in self._outputs}
        decided = tuple(
            Decision(self._machine.writes[id(self._cells[name])], name, before[name], new)
            for name, new in outputs.items()
            # What somebody else may set, too, is not always decided here.
            if new != before[name] and id(self._cells[name]) in self._machine.writes
        )
        done = self._machine
        return ScanResult(outputs, decided, tuple(done.executed), tuple(done.defects))

    # Names

    def takes(self, inputs: Iterable[str]) -> bool:
        """Whether each of the names is one that a scan is given a value for."""
        return all(name in self._inputs for name in inputs)

    def names(self) -> tuple[str, ...]:
        """Every casefolded name that `read` knows."""
        return self._readable

    @cached_property
    def _readable(self) -> tuple[str, ...]:
        # What timers and actions of charts remember for themselves has no name in the language.
        cells = [*self._inputs.values(), *self._cells.values()]
        names = (cell.name.casefold() for cell in cells if is_number(cell))
        return tuple(name for name in names if self._is_named(name))

    def _is_named(self, name: str) -> bool:
        try:
            self.read(name)
        except KeyError:
            return False
        return True

    def read(self, name: str) -> Number:
        """The value of a casefolded name of the project; a timer's ET in milliseconds.

        Raises
        ------
        KeyError
            For a name that is none.
        """
        place = self._unit.place
        frame = Frame(self._unit, {}, self.root)
        try:
            value = self._machine.evaluate(_as_expression(name, place), frame)
        except InputError:
            raise KeyError(name) from None
        assert isinstance(value.content, int | float)
        return value.content


def _as_expression(name: str, place: Place) -> sx.Expression:
    """A flattened name, ``m[1].x``, as an expression."""
    first, *rest = name.replace("]", "").split("[")
    found: sx.Expression = sx.Name(first, place)
    for part in rest:
        indexes, _, members = part.partition(".")
        numbers = tuple(sx.Number(int(number), place) for number in indexes.split(","))
        found = sx.Element(found, numbers, place)
        for member in members.split(".") if members else ():
            found = sx.Member(found, member, place)
    return found


def _place_in(table: tuple[float, ...], value: Number, name: str) -> int:
    if value not in table:
        raise InternalError(f"'{name}' is {value}, which the lowering does not expect")
    return table.index(value)


def _number(cell: Cell) -> Number:
    assert isinstance(cell.content, int | float)
    return cell.content
