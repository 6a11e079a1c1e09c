"""From names, indexes and members to the variables that they mean."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from interlock.base.errors import InputError, Place, nearest
from interlock.st import syntax as sx
from interlock.st.direct.addresses import place_of
from interlock.st.direct.frames import Base, Frame, NothingThereError, Property
from interlock.st.direct.kinds import REFERENCE, Family, Kind, Value, refusal
from interlock.st.direct.storage import (
    Bit,
    Cell,
    Elements,
    Instance,
    Record,
    Standard,
    Store,
    detached,
)

Reached = Store | Property | Value

ELAPSED_READ = "ET cannot be read from a free timer; the model must set timers to counted"
OUTSIDE = "the index is outside"

# Older spellings of the inputs of bistable blocks (IEC 61131-3, second edition, from memory).
_OLD_INPUTS = {"SET1": "S1", "RESET": "R", "SET": "S", "RESET1": "R1", "LOAD": "LD"}


class Locating(Base):
    """Finds what names mean."""

    def reach(self, e: sx.Expression, frame: Frame, writes: bool = False) -> Reached:
        """What `e` names: a variable, a property, or a value.

        Parameters
        ----------
        e : syntax.Expression
        frame : Frame
        writes : bool
            Whether it is to be written: then what an index outside names is written nowhere.

        Raises
        ------
        InputError
            Where there is no such thing.
        """
        match e:
            case sx.Name():
                return self._name(e, frame)
            case sx.Element():
                return self._element(e, frame, writes)
            case sx.Member():
                base = self.reach(e.base, frame, writes)
                return self.member(base, e.name, e.place)
            case sx.Pointed():
                return self.pointed(self.reach(e.base, frame, writes), e.place)
            case sx.Direct():
                found = self._at_address(e.address)
                if found is None:
                    raise refusal(e.place, f"no variable is declared AT {e.address}")
                return found
            case _:
                return self.evaluate(e, frame)

    def _at_address(self, address: str) -> Store | None:
        return self.placed.get(place_of(address))

    def _element(self, e: sx.Element, frame: Frame, writes: bool) -> Reached:
        base = self.settled(self.reach(e.base, frame, writes), e.place)
        if not isinstance(base, Elements):
            raise refusal(e.place, "only an array has elements")
        indexes = tuple(self._index(index, frame) for index in e.indexes)
        return self._pick(base, indexes, [index.place for index in e.indexes], writes)

    def _pick(
        self, base: Elements, indexes: tuple[int, ...], places: list[Place], writes: bool
    ) -> Reached:
        place = places[0]
        own, rest = indexes[: len(base.spans)], indexes[len(base.spans) :]
        if len(own) != len(base.spans):
            raise refusal(place, f"the array has {len(base.spans)} indexes")
        found, inside = base.nearest(own)
        if not inside:
            for index, where, (lo, hi) in zip(own, places, base.spans, strict=False):
                if not lo <= index <= hi:
                    self.note(where, f"{OUTSIDE} {lo}..{hi}")
            # What is tried out may be written where another index leads, and is forgotten.
            found = detached(found) if writes and not self.is_trial else found
        if not rest:
            return found
        # An array of arrays takes its indexes in one bracket, too.
        if not isinstance(found, Elements):
            raise refusal(place, f"the array has {len(base.spans)} indexes")
        return self._pick(found, rest, places[len(own) :], writes)

    def _index(self, e: sx.Expression, frame: Frame) -> int:
        value = self.evaluate(e, frame)
        number = self.arithmetic.number(value, e.place)
        if number.kind.family is not Family.INTEGER:
            raise refusal(e.place, f"an index is an integer, not {value.kind.name}")
        return number.number

    # Names

    def _name(self, e: sx.Name, frame: Frame) -> Reached:
        parts = e.text.split(".")
        found, used = self._first(parts, frame)
        if found is None:
            raise self._unknown(e, frame)
        for part in parts[used:]:
            found = self.member(found, part, e.place)
        return found

    def _first(self, parts: list[str], frame: Frame) -> tuple[Reached | None, int]:
        """What the first parts of a name mean, and how many they are."""
        first = parts[0].casefold()
        if first in ("this", "super") and frame.instance is not None:
            return frame.instance, 1
        variable = self.variable(first, frame)
        if variable is not None:
            return variable, 1
        if first in self.lists and len(parts) > 1:
            found = self.lists[first].get(parts[1].casefold())
            if found is not None:
                return found, 2
        for used in range(1, len(parts) + 1):
            label = self._label(parts[:used])
            if label is not None:
                return label, used
        if first in self.project.namespaces and len(parts) > 1:
            found_later, used = self._first(parts[1:], frame)
            return found_later, used + 1
        return None, 0

    def variable(self, name: str, frame: Frame) -> Store | Property | None:
        """The variable or property with a casefolded name, the nearest first."""
        if name in frame.names:
            return frame.names[name]
        if frame.instance is not None:
            found = self._of_instance(frame.instance, name)
            if found is not None:
                return found
        return self.globals.get(name)

    def _of_instance(self, instance: Instance, name: str) -> Store | Property | None:
        found = instance.members.get(name) or instance.inner.get(name)
        if found is not None:
            return found
        for kind in ("GET", "SET"):
            if self.project.method(instance.unit, name, kind):
                return Property(instance, name)
        return None

    def _label(self, parts: list[str]) -> Value | None:
        """An enumeration's value, with or without its type before it."""
        kinds = self.labels.get(parts[-1].casefold(), [])
        if len(parts) > 1:
            owner = parts[-2].casefold()
            kinds = [k for k in kinds if k.name.casefold().rpartition(".")[2] == owner]
        if not kinds:
            return None
        return Value(kinds[0], kinds[0].place_of(parts[-1]))

    def _unknown(self, e: sx.Name, frame: Frame) -> InputError:
        known = [*self._known(frame), *self.project.names()]
        return refusal(e.place, f"'{e.text}' is not declared{nearest(e.text, known)}")

    def _known(self, frame: Frame) -> Iterator[str]:
        owner = frame.instance.unit if frame.instance else frame.owner
        declared = (d for _, d in self.project.declarations(owner))
        for declaration in chain(frame.owner.declarations, declared):
            yield from (name.text for name in declaration.names)

    def alternatives(self, e: sx.Expression, frame: Frame) -> list[Kind]:
        """The enumerations that the name of a value may belong to; empty for anything else."""
        if not isinstance(e, sx.Name) or "." in e.text:
            return []
        if self.variable(e.text.casefold(), frame) is not None:
            return []
        return self.labels.get(e.text.casefold(), [])

    # Members

    def member(self, base: Reached, name: str, place: Place) -> Reached:
        """The member `name` of what `base` is."""
        base = self.settled(base, place)
        key = name.casefold()
        found: Reached | None = None
        match base:
            case Cell() if key.isdigit():
                return self._bit(base, int(key), place)
            case Value() if key.isdigit() and isinstance(base.content, int):
                cell = Cell("", base.kind, base.content)
                return self._bit(cell, int(key), place).read()
            case Record():
                found = base.members.get(key)
            case Instance():
                found = self._of_instance(base, key)
            case Standard():
                found = self._of_standard(base, name.upper(), place)
            case _:
                raise refusal(place, f"'.{name}' does not go with what stands before it")
        if found is None:
            known = [] if isinstance(base, Cell | Bit | Value) else list(base.members)
            if isinstance(base, Standard):
                known = [part for part in known if part.isupper()]
            raise refusal(place, f"'{base.name}' has no member '{name}'{nearest(name, known)}")
        return found

    def _bit(self, cell: Cell, number: int, place: Place) -> Bit:
        if cell.kind.family not in (Family.BITS, Family.INTEGER) or number >= cell.kind.bits:
            raise refusal(place, f"{cell.kind.name} has no bit {number}")
        return Bit(cell, number)

    def _of_standard(self, block: Standard, name: str, place: Place) -> Reached | None:
        name = name if name in block.members else _OLD_INPUTS.get(name, name)
        if name != "ET" or "PT" not in block.members:
            return block.members.get(name)
        if not self.is_counted:
            raise refusal(place, ELAPSED_READ)
        return block.members["ET"]

    def pointed(self, base: Reached, place: Place) -> Reached:
        """What a pointer or reference points to."""
        value = base.read() if isinstance(base, Cell) else base
        if not isinstance(value, Value) or value.kind != REFERENCE:
            raise refusal(place, "'^' stands behind pointers only")
        if value.content is None and isinstance(base, Cell) and base.interface is not None:
            # What the interface declares has no code: it does nothing and gives first values.
            self.note(place, f"'{base.name}' stands for no instance yet")
            return Instance(base.name, base.interface, {})
        if value.content is None:
            if self.is_trial:
                raise NothingThereError
            raise refusal(place, "the pointer points to nothing")
        assert isinstance(value.content, Cell | Bit | Elements | Record | Instance | Standard)
        return value.content

    def settled(self, found: Reached, place: Place) -> Reached:
        """`found` with properties read and references followed."""
        if isinstance(found, Property):
            found = self.get(found, place)
        if isinstance(found, Cell | Value) and found.kind == REFERENCE:
            return self.pointed(found, place)
        return found
