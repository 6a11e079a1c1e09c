"""A controller that executes a project on its tree as written, with its memory."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.direct.blocks import TIMERS, pass_scan, position_of
from interlock.st.direct.border import Border, Side, nodes_of
from interlock.st.direct.frames import Frame
from interlock.st.direct.kinds import TIME, Family, refusal
from interlock.st.direct.project import Project
from interlock.st.direct.statements import Machine
from interlock.st.direct.storage import (
    Cell,
    Instance,
    Record,
    Standard,
    Store,
    cells_of,
    standards_of,
)
from interlock.st.layout import PREFIX, Settings, Timers

Number = int | float
"""What a variable of the memory holds; a real number only where it is a REAL or LREAL."""


_SIZES = {"X": "BOOL", "B": "BYTE", "W": "WORD", "D": "DWORD", "L": "LWORD"}


@dataclass(frozen=True)
class Decision:
    """The assignment that decided an output in a scan, and what it changed."""

    place: Place
    name: str
    old: Number
    new: Number


@dataclass(frozen=True)
class ScanResult:
    """What one scan did.

    Attributes
    ----------
    outputs : dict of str to int or float
    decided : tuple of Decision
        For each output that the scan changed, the last assignment to it.
    executed : tuple of Place
        Assignments, calls and taken branches, in the order executed.
    defects : tuple of Mistake
        Flaws that were met: values that did not fit, divisions by zero, indexes outside.
    """

    outputs: dict[str, Number]
    decided: tuple[Decision, ...]
    executed: tuple[Place, ...]
    defects: tuple[Mistake, ...]


class DirectController:
    """A controller with its memory, executed on the tree of its project.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    root : str
        Name of the PROGRAM or FUNCTION_BLOCK that a scan executes.
    settings : Settings
    counts : mapping of str to int, optional
        Where the lowering lets a counter stay, by the instance's name: it stands for every
        greater count, too.

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
        counts: Mapping[str, int] | None = None,
    ) -> None:
        self.settings = settings
        self._machine = Machine(Project(files), settings)
        self._unit = self._machine.project.root(root)
        self._stays = {f"{PREFIX}{name}.CV": most for name, most in (counts or {}).items()}
        self._border = Border(self._machine.project, self._unit)
        self._sides: dict[int, tuple[Side, str]] = {}
        self._build(files)
        self._cells = {self._told(cell): cell for cell in self._memory()}
        self._timers = {block.name: block for block in self._standards() if block.block in TIMERS}
        given_back = (Side.OUTPUT, Side.BOTH)
        self._outputs = [n for n, c in self._cells.items() if self._side(c) in given_back]
        given = (Side.INPUT, Side.BOTH)
        self._inputs = {cell.name: cell for cell in self._all() if self._side(cell) in given}
        self._start_scan()

    # Building

    def _build(self, files: Sequence[sx.SourceFile]) -> None:
        machine = self._machine
        machine.note_labels()
        for file in files:
            list_ = machine.lists.setdefault(file.name.casefold(), {})
            list_.update(self._globals(file.globals))
        for file in files:
            for unit in file.units:
                self._globals(d for d in unit.declarations if d.kind == "VAR_GLOBAL")
        for declaration in self._direct_addresses():
            self._globals([declaration])
        for unit in machine.project.units():
            if unit.kind == "FUNCTION":
                machine.statics |= machine.statics_of(unit, "", Frame(unit))
        self.root = machine.instance(self._unit, "", False, prefix="")
        self._own_in_outs()
        for _, declaration in machine.project.declarations(self._unit):
            for variable in declaration.names:
                self._note_root(variable, declaration)

    def _direct_addresses(self) -> Iterator[sx.Declaration]:
        """Declarations for addresses that the code names without one."""
        declared = {key for key in self._machine.globals if key.startswith("%")}
        for unit in (*self._machine.project.units(),):
            for node in nodes_of(unit):
                match node:
                    case sx.Declaration() if node.address:
                        declared.add(node.address.casefold())
                    case sx.Direct() if node.address.casefold() not in declared:
                        declared.add(node.address.casefold())
                        size = node.address[2:3]
                        type_ = sx.TypeRef(_SIZES.get(size, "BOOL"), None, None, node.place)
                        name = sx.Name(node.address, node.place)
                        yield sx.Declaration(
                            *("VAR", False, (name,), type_, None, node.place), address=node.address
                        )

    def _globals(self, declarations: Iterable[sx.Declaration]) -> dict[str, Store]:
        machine = self._machine
        found: dict[str, Store] = {}
        frame = Frame(self._unit)
        for declaration in declarations:
            for variable in declaration.names:
                made = machine.declared(declaration, variable, "", frame)
                found[variable.text.casefold()] = made
                machine.globals.setdefault(variable.text.casefold(), made)
                if declaration.address:
                    machine.globals.setdefault(declaration.address.casefold(), made)
                is_block = isinstance(made, Instance | Standard)
                side = self._border.side_of_global(variable.text, declaration, is_block)
                self._note_side(made, variable.text, side)
        return found

    def _note_root(self, variable: sx.Name, declaration: sx.Declaration) -> None:
        """Note on which side a variable of the root is."""
        key = variable.text.casefold()
        store = self.root.raw.get(key) or self.root.members.get(key)
        sides = {"VAR_INPUT": Side.INPUT, "VAR_OUTPUT": Side.OUTPUT, "VAR_IN_OUT": Side.BOTH}
        if declaration.kind in ("VAR_GLOBAL", "VAR_TEMP"):
            return
        if declaration.kind == "VAR_EXTERNAL":
            if key not in self._machine.globals:
                self._globals([declaration])
            return
        if store is None:
            return
        side = sides.get(declaration.kind, Side.MEMORY)
        if declaration.address and side is Side.MEMORY:
            side = self._border.side_of_global(variable.text, declaration, False)
        if declaration.address:
            self._machine.globals.setdefault(declaration.address.casefold(), store)
        self._note_side(store, variable.text, side)

    def _note_side(self, store: Store, name: str, side: Side) -> None:
        for cell in cells_of(store):
            told = cell.name
            if side is Side.BOTH:
                told = f"{name}.out{cell.name[len(name) :]}"
            self._sides[id(cell)] = (side, told)

    def _own_in_outs(self) -> None:
        """What a root takes from outside as VAR_IN_OUT is its own variable."""
        machine = self._machine
        frame = Frame(self._unit, {}, self.root)
        for _, declaration in machine.project.declarations(self._unit):
            if declaration.kind == "VAR_IN_OUT":
                for variable in declaration.names:
                    made = machine.declared(declaration, variable, "", frame)
                    self.root.members[variable.text.casefold()] = made
        self.root.in_outs = frozenset()

    def _side(self, cell: Cell) -> Side:
        return self._sides.get(id(cell), (Side.MEMORY, ""))[0]

    def _stores(self) -> Iterator[Store]:
        yield self.root
        seen: set[int] = set()
        for name, store in self._machine.globals.items():
            if id(store) not in seen and name in self._border.names:
                seen.add(id(store))
                yield store
        for name, store in self._machine.statics.items():
            if name.partition(" ")[0] in self._border.names:
                yield store

    def _all(self) -> Iterator[Cell]:
        seen: set[int] = set()
        for store in self._stores():
            for cell in cells_of(store):
                if id(cell) not in seen and not cell.constant:
                    seen.add(id(cell))
                    yield cell

    def _memory(self) -> Iterator[Cell]:
        return (cell for cell in self._all() if self._side(cell) is not Side.INPUT)

    def _standards(self) -> Iterator[Standard]:
        seen: set[int] = set()
        for store in self._stores():
            for block in standards_of(store):
                if id(block) not in seen:
                    seen.add(id(block))
                    yield block

    def _told(self, cell: Cell) -> str:
        """The name of a variable in the layout."""
        side, told = self._sides.get(id(cell), (Side.MEMORY, ""))
        return told if side in (Side.OUTPUT, Side.BOTH) else PREFIX + cell.name

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
        found = {name: _number(cell) for name, cell in self._cells.items() if _is_number(cell)}
        return found | {n: min(found[n], most) for n, most in self._stays.items() if n in found}

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
            cell = self._cells[name]
            if value == self._stays.get(name):
                value = max(value, _number(cell))
            cell.content = value

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
        if self.settings.timers is not Timers.FREE or block.members["PT"].read().number <= 0:
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
        for store in self._stores():
            self._pass_steps(store)

    def _pass_steps(self, store: Store) -> None:
        """Let the active steps of charts see that a scan has passed."""
        if not isinstance(store, Instance):
            return
        for inner in (*store.inner.values(), *store.members.values()):
            if isinstance(inner, Instance):
                self._pass_steps(inner)
            elif isinstance(inner, Record):
                active, time = inner.members.get("x"), inner.members.get("t")
                is_step = isinstance(active, Cell) and inner in store.inner.values()
                if is_step and isinstance(time, Cell) and active.content:  # type: ignore[union-attr]
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
                cell.content = inputs[name]
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
            if new != before[name]
        )
        done = self._machine
        return ScanResult(outputs, decided, tuple(done.executed), tuple(done.defects))

    # Names

    def names(self) -> tuple[str, ...]:
        """Every casefolded name that `read` knows."""
        cells = [*self._inputs.values(), *self._cells.values()]
        return tuple(cell.name.casefold() for cell in cells if _is_number(cell))

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


def _is_number(cell: Cell) -> bool:
    return cell.kind.family not in (Family.TEXT, Family.REFERENCE)


def _number(cell: Cell) -> Number:
    assert isinstance(cell.content, int | float)
    return cell.content
