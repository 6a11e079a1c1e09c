"""A project made ready to be executed: its variables, and who sees and sets them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from interlock.st import syntax as sx
from interlock.st.direct.blocks import TIMERS, position_of
from interlock.st.direct.border import Border, Side, nodes_of
from interlock.st.direct.frames import Frame
from interlock.st.direct.kinds import Family
from interlock.st.direct.project import Project
from interlock.st.direct.statements import Machine
from interlock.st.direct.storage import (
    Cell,
    Instance,
    Record,
    Standard,
    Store,
    cells_of,
    instances_of,
    standards_of,
)
from interlock.st.layout import PREFIX, Settings

_SIZES = {"X": "BOOL", "B": "BYTE", "W": "WORD", "D": "DWORD", "L": "LWORD"}


class Built:
    """A project with its memory.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    root : str
    settings : Settings

    Attributes
    ----------
    machine : Machine
    unit : syntax.Unit
        The root.
    root : Instance
    cells : dict of str to Cell
        The memory, outputs included, by the layout's names.
    inputs : dict of str to Cell
        By their own names.
    outputs : list of str
    timers : dict of str to Standard
    steps : list of pairs of Cell
        Of each step of a chart whether its time counts, and its time.
    goes_on : dict of str to Standard
        Counters and timers by the layout's name of the count or the time.
    """

    def __init__(self, files: Sequence[sx.SourceFile], root: str, settings: Settings) -> None:
        self.machine = Machine(Project(files), settings)
        self.unit = self.machine.project.root(root)
        self._border = Border(self.machine.project, self.unit)
        self._sides: dict[int, tuple[Side, str]] = {}
        self._build(files)
        self.cells = {self._told(cell): cell for cell in self._memory()}
        self.timers = {block.name: block for block in self._standards() if block.block in TIMERS}
        self.goes_on = {
            f"{PREFIX}{block.name}.{part}": block
            for block in self._standards()
            for part in ("CV", position_of(settings))
            if part in block.members
        }
        self._try_out()
        self.steps = list(self._steps())
        given_back = (Side.OUTPUT, Side.BOTH)
        self.outputs = [
            n for n, c in self.cells.items() if self._side(c) in given_back and is_number(c)
        ]
        given = (Side.INPUT, Side.BOTH)
        self.inputs = {cell.name: cell for cell in self._all() if self._side(cell) in given}

    def _build(self, files: Sequence[sx.SourceFile]) -> None:
        machine = self.machine
        machine.note_labels()
        held = Counter(
            key
            for file in files
            for key in {name.text.casefold() for d in file.globals for name in d.names}
        )
        for file in files:
            list_ = machine.lists.setdefault(file.name.casefold(), {})
            prefixes = {key: f"{file.name}." for key, n_lists in held.items() if n_lists > 1}
            list_.update(self._globals(file.globals, prefixes))
        for file in files:
            for unit in file.units:
                self._globals(d for d in unit.declarations if d.kind == "VAR_GLOBAL")
        for declaration in self._direct_addresses():
            self._globals([declaration])
        for unit in machine.project.units():
            if unit.kind == "FUNCTION":
                machine.statics |= machine.statics_of(unit, "", Frame(unit))
        self.root = machine.instance(self.unit, "", False, prefix="")
        self._own_in_outs()
        for _, declaration in machine.project.declarations(self.unit):
            for variable in declaration.names:
                self._note_root(variable, declaration)

    def _direct_addresses(self) -> Iterator[sx.Declaration]:
        """Declarations for addresses that the code names without one."""
        declared = {key for key in self.machine.globals if key.startswith("%")}
        for unit in (*self.machine.project.units(),):
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

    def _globals(
        self, declarations: Iterable[sx.Declaration], prefixes: Mapping[str, str] | None = None
    ) -> dict[str, Store]:
        """Declare globals; those that several lists have are called by their lists, too."""
        machine = self.machine
        found: dict[str, Store] = {}
        frame = Frame(self.unit)
        for declaration in declarations:
            for variable in declaration.names:
                before = (prefixes or {}).get(variable.text.casefold(), "")
                made = machine.declared(declaration, variable, before, frame)
                found[variable.text.casefold()] = made
                machine.globals.setdefault((before + variable.text).casefold(), made)
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
            if key not in self.machine.globals:
                self._globals([declaration])
            return
        if store is None:
            return
        side = sides.get(declaration.kind, Side.MEMORY)
        if declaration.address and side is Side.MEMORY:
            side = self._border.side_of_global(variable.text, declaration, False)
        if declaration.address:
            self.machine.globals.setdefault(declaration.address.casefold(), store)
        self._note_side(store, variable.text, side)

    def _note_side(self, store: Store, name: str, side: Side) -> None:
        for cell in cells_of(store):
            told = cell.name
            if side is Side.BOTH:
                told = f"{name}.out{cell.name[len(name) :]}"
            self._sides[id(cell)] = (side, told)

    def _own_in_outs(self) -> None:
        """What a root takes from outside as VAR_IN_OUT is its own variable."""
        machine = self.machine
        frame = Frame(self.unit, {}, self.root)
        for _, declaration in machine.project.declarations(self.unit):
            if declaration.kind == "VAR_IN_OUT":
                for variable in declaration.names:
                    made = machine.declared(declaration, variable, "", frame)
                    self.root.members[variable.text.casefold()] = made
        self.root.in_outs = frozenset()

    def _side(self, cell: Cell) -> Side:
        return self._sides.get(id(cell), (Side.MEMORY, ""))[0]

    def _steps(self) -> Iterator[tuple[Cell, Cell]]:
        for store in self.stores():
            for instance in instances_of(store):
                for inner in instance.inner.values():
                    if isinstance(inner, Record):
                        seen, time = inner.members.get("seen"), inner.members.get("t")
                        if isinstance(seen, Cell) and isinstance(time, Cell):
                            yield seen, time

    def _try_out(self) -> None:
        """Find what cannot be executed, and forget what was done for it."""
        before = [(cell, cell.content) for cell in self._all()]
        self.machine.try_out(self.root, self.unit)
        for cell, content in before:
            cell.content = content

    def stores(self) -> Iterator[Store]:
        """The root, the globals that it reaches, and what functions keep."""
        yield self.root
        seen: set[int] = set()
        for name, store in self.machine.globals.items():
            if id(store) not in seen and self._border.names & {name, name.rpartition(".")[2]}:
                seen.add(id(store))
                yield store
        for name, store in self.machine.statics.items():
            if name.partition(" ")[0] in self._border.names:
                yield store

    def _all(self) -> Iterator[Cell]:
        seen: set[int] = set()
        for store in self.stores():
            for cell in cells_of(store):
                if id(cell) not in seen and not cell.constant:
                    seen.add(id(cell))
                    yield cell

    def _memory(self) -> Iterator[Cell]:
        return (cell for cell in self._all() if self._side(cell) is not Side.INPUT)

    def _standards(self) -> Iterator[Standard]:
        seen: set[int] = set()
        for store in self.stores():
            for block in standards_of(store):
                if id(block) not in seen:
                    seen.add(id(block))
                    yield block

    def _told(self, cell: Cell) -> str:
        """The name of a variable in the layout."""
        side, told = self._sides.get(id(cell), (Side.MEMORY, ""))
        return told if side in (Side.OUTPUT, Side.BOTH) else PREFIX + cell.name


def is_number(cell: Cell) -> bool:
    """Whether a cell holds a number: no text, no date, no pointer."""
    return cell.kind.family not in (Family.TEXT, Family.REFERENCE)
