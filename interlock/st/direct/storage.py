"""Variables at run time: single ones, arrays, structures and instances, nested as declared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.direct.arithmetic import Arithmetic
from interlock.st.direct.conversions import assigned
from interlock.st.direct.kinds import BOOL, Content, Family, Kind, Value


@dataclass(eq=False)
class Cell:
    """A variable with one value.

    Attributes
    ----------
    name : str
        Flattened, as declared: ``m1.x``, ``a[1]``.
    kind : Kind
    content : int, float, str or object
    lo, hi : int or None
        Limits of a subrange.
    initial : int, float, str or object
        What it holds after power-up.
    constant : bool
    retain : bool
    interface : syntax.Unit or None
        Of a variable that stands for an instance of any block with it.
    latest : object
        Of such a variable the instance that it stood for last.
    """

    name: str
    kind: Kind
    content: Content = 0
    lo: int | None = None
    hi: int | None = None
    initial: Content = 0
    constant: bool = False
    retain: bool = False
    interface: sx.Unit | None = None
    latest: Content = None

    def read(self) -> Value:
        """The value with its type."""
        return Value(self.kind, self.content)

    def write(self, value: Value, place: Place, arithmetic: Arithmetic, target: str = "") -> None:
        """Take `value`, as a variable of this type does."""
        told = target or self.name
        if value.kind.family is Family.INTEGER and self.lo is not None:
            new: Content = value.number
        else:
            new = assigned(value, self.kind, place, arithmetic, told)
        if self.lo is not None and self.hi is not None and isinstance(new, int):
            if not self.lo <= new <= self.hi:
                says = f"'{told}' is assigned a value outside {self.lo}..{self.hi}"
                arithmetic.note(place, says)
            new = min(max(new, self.lo), self.hi)
        self.content = new


class Shadow(Cell):
    """What stands for a variable where an index was outside: it is read, and writes are dropped."""

    def __init__(self, of: Cell) -> None:
        super().__init__(of.name, of.kind, of.content, of.lo, of.hi)
        self._of = of

    def read(self) -> Value:
        """The value of the variable itself."""
        return self._of.read()

    def write(self, value: Value, place: Place, arithmetic: Arithmetic, target: str = "") -> None:
        """Nothing happens."""


class Bit:
    """One bit of a bit string or an integer, as a variable of its own."""

    def __init__(self, of: Cell, number: int) -> None:
        self.of = of
        self.number = number
        self.kind = BOOL
        self.name = f"{of.name}.{number}"

    def read(self) -> Value:
        """Whether it is set."""
        return Value(BOOL, self.of.read().number >> self.number & 1)

    def write(self, value: Value, place: Place, arithmetic: Arithmetic, target: str = "") -> None:
        """Set or reset it."""
        on = assigned(value, BOOL, place, arithmetic, target or self.name)
        whole = self.of.read()
        mask = 1 << self.number
        new = whole.number | mask if on else whole.number & ~mask
        if whole.kind.signed and new > whole.kind.hi:
            new -= 1 << whole.kind.bits
        if whole.kind.signed and new < whole.kind.lo:
            new += 1 << whole.kind.bits
        self.of.content = new


@dataclass(eq=False)
class Elements:
    """An array: its limits, and its elements with the last index running fastest."""

    name: str
    spans: tuple[tuple[int, int], ...]
    items: list[Store]

    def indexes(self) -> Iterator[tuple[int, ...]]:
        """The indexes of the elements, in their order."""
        return product(*(range(lo, hi + 1) for lo, hi in self.spans))

    def nearest(self, indexes: tuple[int, ...]) -> tuple[Store, bool]:
        """The element nearest to `indexes`, and whether these are inside."""
        at, inside = 0, True
        for index, (lo, hi) in zip(indexes, self.spans, strict=True):
            near = min(max(index, lo), hi)
            inside = inside and near == index
            at = at * (hi - lo + 1) + near - lo
        return self.items[at], inside


@dataclass(eq=False)
class Record:
    """A structure: its members by casefolded name."""

    name: str
    members: dict[str, Store]


@dataclass(eq=False)
class Instance:
    """An instance of a PROGRAM, FUNCTION_BLOCK or CLASS.

    Attributes
    ----------
    unit : syntax.Unit
    members : dict of str to Store
        Its variables by casefolded name, those inherited included. A VAR_IN_OUT is the caller's.
    inner : dict of str to Store
        What the standard needs besides: steps and action controls of a chart, edges of inputs.
    in_outs : frozenset of str
        Names of those members that belong to somebody else.
    raw : dict of str to Cell
        What an input with R_EDGE or F_EDGE was given; the member is the edge.
    """

    name: str
    unit: sx.Unit
    members: dict[str, Store] = field(default_factory=dict)
    inner: dict[str, Store] = field(default_factory=dict)
    in_outs: frozenset[str] = frozenset()
    raw: dict[str, Cell] = field(default_factory=dict)


@dataclass(eq=False)
class Standard:
    """An instance of a standard function block: its inputs, outputs and memory by upper case."""

    name: str
    block: str
    members: dict[str, Cell] = field(default_factory=dict)


Store = Cell | Elements | Record | Instance | Standard | Bit


def cells_of(store: Store) -> Iterator[Cell]:
    """Every single variable in `store`, in the order declared."""
    match store:
        case Cell():
            yield store
        case Elements():
            for item in store.items:
                yield from cells_of(item)
        case Record():
            for member in store.members.values():
                yield from cells_of(member)
        case Standard():
            yield from store.members.values()
        case Instance():
            for name, member in store.members.items():
                if name in store.raw:
                    yield store.raw[name]
                elif name not in store.in_outs:
                    yield from cells_of(member)
            for member in store.inner.values():
                yield from cells_of(member)


def standards_of(store: Store) -> Iterator[Standard]:
    """Every instance of a standard block in `store`, in the order declared."""
    match store:
        case Standard():
            yield store
        case Elements():
            for item in store.items:
                yield from standards_of(item)
        case Record():
            for member in store.members.values():
                yield from standards_of(member)
        case Instance():
            for name, member in (*store.members.items(), *store.inner.items()):
                if name not in store.in_outs:
                    yield from standards_of(member)


def instances_of(store: Store) -> Iterator[Instance]:
    """Every instance of a user's unit in `store`, itself first."""
    match store:
        case Elements():
            for item in store.items:
                yield from instances_of(item)
        case Record():
            for member in store.members.values():
                yield from instances_of(member)
        case Instance():
            yield store
            for name, member in (*store.members.items(), *store.inner.items()):
                if name not in store.in_outs:
                    yield from instances_of(member)


def detached(store: Store) -> Store:
    """What reads like `store` and drops what is written to it."""
    match store:
        case Cell():
            return Shadow(store)
        case Bit():
            return Cell(store.name, BOOL, store.read().content)
        case Elements():
            return Elements(store.name, store.spans, [detached(item) for item in store.items])
        case Record():
            return Record(store.name, {n: detached(m) for n, m in store.members.items()})
        case Instance():
            members = {n: detached(m) for n, m in store.members.items()}
            inner = {n: detached(m) for n, m in store.inner.items()}
            raw: dict[str, Cell] = {n: Shadow(cell) for n, cell in store.raw.items()}
            return Instance(store.name, store.unit, members, inner, store.in_outs, raw)
        case Standard():
            copies = {n: detached(cell) for n, cell in store.members.items()}
            cells = {n: cell for n, cell in copies.items() if isinstance(cell, Cell)}
            return Standard(store.name, store.block, cells)
