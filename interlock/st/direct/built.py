"""A project made ready to be executed: its variables, and who sees and sets them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from interlock.st import syntax as sx
from interlock.st.direct.blocks import TIMERS, position_of
from interlock.st.direct.border import Border, Side, named_in, nodes_of
from interlock.st.direct.frames import Frame
from interlock.st.direct.kinds import Family
from interlock.st.direct.project import Project
from interlock.st.direct.statements import Machine
from interlock.st.direct.storage import (
    Cell,
    Elements,
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
        self._outer: list[tuple[Store, str, sx.Declaration]] = []
        self._sides: dict[int, Side] = {}
        # The names of each cell that the world outside sees or sets.
        self._names: dict[int, list[tuple[str, str]]] = {}
        self._build(files)
        self._try_out()
        self._note_sides()
        self.cells = {told: cell for cell in self._memory() for told in self._told(cell)}
        self.timers = {block.name: block for block in self._standards() if block.block in TIMERS}
        self.goes_on = {
            f"{PREFIX}{block.name}.{part}": block
            for block in self._standards()
            for part in ("CV", position_of(settings))
            if part in block.members
        }
        self.steps = list(self._steps())
        given_back = (Side.OUTPUT, Side.BOTH)
        self.outputs = [
            n for n, c in self.cells.items() if self._side(c) in given_back and is_number(c)
        ]
        given = (Side.INPUT, Side.BOTH)
        self.inputs = {
            name: cell
            for cell in self._all()
            if self._side(cell) in given
            for name, _ in self._names[id(cell)]
        }

    def _build(self, files: Sequence[sx.SourceFile]) -> None:
        machine = self.machine
        machine.note_labels()
        held = Counter(
            key
            for file in files
            for key in {name.text.casefold() for d in file.globals for name in d.names}
        )
        own = {
            name.text.casefold()
            for _, d in machine.project.declarations(self.unit)
            if d.kind not in ("VAR_EXTERNAL", "VAR_GLOBAL")
            for name in d.names
        }
        for file in files:
            list_ = machine.lists.setdefault(file.name.casefold(), {})
            prefixes = {key: f"{file.name}." for key, n_lists in held.items() if n_lists > 1}
            hidden = {key: f"{file.name}." for key in own if key not in prefixes}
            found = self._globals(file.globals, prefixes | hidden)
            list_.update(found)
            for key in found.keys() & hidden.keys():
                # Only the root has another variable of that name.
                machine.globals.setdefault(key, found[key])
        for file in files:
            for unit in file.units:
                self._globals(d for d in unit.declarations if d.kind == "VAR_GLOBAL")
        for unit in machine.project.units():
            if unit.kind == "FUNCTION":
                for kind in ("VAR_STAT", "VAR_INST"):
                    before = f"{unit.name}."
                    machine.statics |= machine.statics_of(unit, kind, before, Frame(unit))
            for method in unit.methods:
                before = f"{unit.name}."
                machine.statics |= machine.statics_of(method, "VAR_STAT", before, Frame(unit))
        self.root = machine.instance(self.unit, "", False, prefix="")
        self._own_in_outs()
        for _, declaration in machine.project.declarations(self.unit):
            unknown = {name.text.casefold() for name in declaration.names} - machine.globals.keys()
            if declaration.kind == "VAR_EXTERNAL" and unknown:
                self._globals([declaration])
        self._globals(self._direct_addresses())

    def _direct_addresses(self) -> Iterator[sx.Declaration]:
        """Declarations for the addresses that the code names, as they are written there."""
        seen: set[str] = set()
        for unit in self.machine.project.units():
            for node in nodes_of(unit):
                if isinstance(node, sx.Direct) and node.address not in seen:
                    seen.add(node.address)
                    type_ = sx.TypeRef(
                        _SIZES.get(node.address[2:3], "BOOL"), None, None, node.place
                    )
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
                if not declaration.address:
                    self._outer.append((made, before + variable.text, declaration))
        return found

    # Sides

    def _note_sides(self) -> None:
        """Find on which side each variable is, now that it is known what the code writes."""
        written = set(self.machine.writes)
        outer = [*self._outer, *self.machine.located]
        declared: dict[int, list[sx.Declaration]] = {}
        for made, _, declaration in outer:
            declared.setdefault(id(made), []).append(declaration)
        for made, name, declaration in outer:
            if not isinstance(made, Instance | Standard) and not declaration.constant:
                same = declared[id(made)]
                is_written = any(id(cell) in written for cell in cells_of(made))
                side = self._border.side_of(name.casefold(), same, is_written)
                self._note_side(made, name, side)
        # Nothing else lets the outside in.
        is_closed = all(d.constant or n.startswith("%") for _, n, d in outer) and not any(
            d.kind in ("VAR_INPUT", "VAR_IN_OUT", "VAR_EXTERNAL") or d.address
            for d in self.unit.declarations
        )
        sides = {"VAR_INPUT": Side.INPUT, "VAR_OUTPUT": Side.OUTPUT, "VAR_IN_OUT": Side.BOTH}
        for _, declaration in self.machine.project.declarations(self.unit):
            for variable in declaration.names:
                key = variable.text.casefold()
                store = self.root.raw.get(key) or self.root.members.get(key)
                if store is not None and declaration.kind in sides:
                    self._note_side(store, variable.text, sides[declaration.kind])
                elif store is not None and is_closed and self._is_set_outside(declaration, key):
                    items = store.items if isinstance(store, Elements) else [store]
                    plain = [c for c in items if isinstance(c, Cell) and is_number(c)]
                    if len(plain) == len(items) and not {id(c) for c in plain} & written:
                        self._note_side(store, variable.text, Side.INPUT)

    def _is_set_outside(self, declaration: sx.Declaration, key: str) -> bool:
        """Whether a variable of the root, which nothing writes, has only what others give it."""
        is_plain = declaration.kind == "VAR" and not declaration.address
        is_set = declaration.initial is None and not declaration.constant
        if self.unit.kind != "PROGRAM" or not is_plain or not is_set:
            return False
        code = replace(self.unit, declarations=())
        return key in named_in(code)

    def _note_side(self, store: Store, name: str, side: Side) -> None:
        stem = store.name
        for cell in cells_of(store):
            rest = cell.name[len(stem) :]
            told = f"{name}.out{rest}" if side is Side.BOTH else name + rest
            self._sides[id(cell)] = side
            names = self._names.setdefault(id(cell), [])
            names.append((name + rest, told))

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
        return self._sides.get(id(cell), Side.MEMORY)

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
        for name, store in (*self.machine.globals.items(), *self.machine.placed.items()):
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

    def _told(self, cell: Cell) -> list[str]:
        """The names of a variable in the layout; one for each of its names in the project."""
        side = self._side(cell)
        if side in (Side.OUTPUT, Side.BOTH):
            return [told for _, told in self._names[id(cell)]]
        names = self._names.get(id(cell), [(cell.name, "")])
        return [PREFIX + name for name, _ in names]


def is_number(cell: Cell) -> bool:
    """Whether a cell holds a number: no text, no date, no pointer."""
    return cell.kind.family not in (Family.TEXT, Family.REFERENCE)
