"""New variables with the initial values that their declarations, types and units give."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product

from interlock.base.errors import Place, nearest
from interlock.st import syntax as sx
from interlock.st.direct.addresses import place_of
from interlock.st.direct.blocks import make_block, standard_block
from interlock.st.direct.charts_memory import make_chart
from interlock.st.direct.expressions import Evaluating
from interlock.st.direct.frames import Frame, Property
from interlock.st.direct.kinds import (
    ELEMENTARY,
    INT,
    REFERENCE,
    Family,
    Kind,
    Value,
    refusal,
)
from interlock.st.direct.project import INSTANTIATED
from interlock.st.direct.storage import (
    Bit,
    Cell,
    Elements,
    Instance,
    Record,
    Standard,
    Store,
    cells_of,
)

_POINTING = ("POINTER", "REFERENCE", "REF_TO", "REF")
_MOST_ELEMENTS = 100_000


class Making(Evaluating):
    """Makes variables."""

    def note_labels(self) -> None:
        """Know the values of every enumeration of the project by their names."""
        nowhere = Frame(sx.Unit("PROGRAM", "", (), (), Place("", 1, 1)))
        for defined in self.project.types():
            if defined.type.labels:
                self.enumeration(defined.type, defined.name, nowhere)
            self._note_within(defined.type, nowhere)
        for file in self.project.files:
            self._note_declared(file.globals, nowhere)
        for unit in self.project.units():
            for part in (unit, *unit.methods):
                self._note_declared(part.declarations, nowhere)

    def _note_declared(self, declarations: Iterable[sx.Declaration], frame: Frame) -> None:
        for declaration in declarations:
            if declaration.type.labels:
                self.enumeration(declaration.type, "", frame)
            self._note_within(declaration.type, frame)

    def _note_within(self, ref: sx.TypeRef, frame: Frame) -> None:
        if ref.of is not None and ref.of.labels:
            self.enumeration(ref.of, "", frame)
        self._note_declared(ref.fields, frame)

    def enumeration(self, ref: sx.TypeRef, name: str, frame: Frame) -> Kind:
        """The type of a list of values; a value without a number is one more than the last."""
        numbered: list[tuple[str, int]] = []
        number = 0
        for label in ref.labels:
            if label.value is not None:
                number = self._constant(label.value, frame, dict(numbered))
            numbered.append((label.name, number))
            number += 1
        kind = Kind(name, Family.ENUM, labels=tuple(numbered), base=ref.base)
        for label in ref.labels:
            owners = self.labels.setdefault(label.name.casefold(), [])
            if kind not in owners:
                owners.append(kind)
        return kind

    def _constant(
        self, e: sx.Expression, frame: Frame, labels: dict[str, int] | None = None
    ) -> int:
        own = {n.casefold(): v for n, v in (labels or {}).items()}
        if isinstance(e, sx.Name) and e.text.casefold() in own:
            return own[e.text.casefold()]
        return self.arithmetic.number(self.evaluate(e, frame), e.place).number

    # By type

    def make(self, ref: sx.TypeRef, name: str, frame: Frame, retain: bool = False) -> Store:
        """A new variable called `name`, with the initial value that its type has.

        Raises
        ------
        InputError
            Where the type is not known.
        """
        made = self._make(ref, name, frame, retain)
        if ref.initial is not None:
            self.initialise(made, ref.initial, frame)
        return made

    def _make(self, ref: sx.TypeRef, name: str, frame: Frame, retain: bool) -> Store:
        if ref.labels:
            kind = self.enumeration(ref, "", frame)
            return self._cell(name, kind, retain)
        word = ref.name.upper()
        if word == "UNION":
            raise refusal(ref.place, "a UNION has no meaning here")
        if ref.fields:
            return self._record(ref.fields, name, frame, retain)
        if word == "ARRAY":
            return self._array(ref, name, frame, retain)
        if word in _POINTING:
            return Cell(name, REFERENCE, None, initial=None)
        return self._named(ref, name, frame, retain)

    def _cell(self, name: str, kind: Kind, retain: bool) -> Cell:
        first: int | float | str = 0
        if kind.family is Family.ENUM:
            first = 0
        elif kind.family is Family.REAL:
            first = 0.0
        elif kind.family is Family.TEXT:
            first = ""
        return Cell(name, kind, first, initial=first, retain=retain)

    def _named(self, ref: sx.TypeRef, name: str, frame: Frame, retain: bool) -> Store:
        defined, unit = self.project.type(ref.name), self.project.unit(ref.name)
        if defined is not None:
            return self._defined(defined, ref, name, frame, retain)
        if unit is not None and unit.kind == "INTERFACE":
            return Cell(name, REFERENCE, None, initial=None, interface=unit)
        if unit is not None and unit.kind in INSTANTIATED:
            return self.instance(unit, name, retain)
        kind = ELEMENTARY.get(ref.name.upper())
        if kind is not None:
            cell = self._cell(name, kind, retain)
            self._limit(cell, ref, frame)
            return cell
        standard = standard_block(ref.name)
        if standard is not None:
            return make_block(*standard, name, self.settings, retain)
        near = nearest(ref.name, [*self.project.names(), *ELEMENTARY])
        raise refusal(ref.place, f"the type '{ref.name}' is not known{near}")

    def _defined(
        self, defined: sx.TypeDef, ref: sx.TypeRef, name: str, frame: Frame, retain: bool
    ) -> Store:
        inner = defined.type
        limits, frame = frame, Frame(frame.owner)
        if inner.labels:
            made: Store = self._cell(name, self.enumeration(inner, defined.name, frame), retain)
        elif inner.fields or defined.extends:
            made = self._record(self._fields(defined), name, frame, retain)
        else:
            made = self.make(inner, name, frame, retain)
        if isinstance(made, Cell):
            self._limit(made, ref, limits)
        if defined.initial is not None:
            self.initialise(made, defined.initial, frame)
        return made

    def _fields(self, defined: sx.TypeDef) -> tuple[sx.Declaration, ...]:
        if not defined.extends:
            return defined.type.fields
        parent = self.project.type(defined.extends)
        if parent is None or parent == defined:
            raise refusal(defined.place, f"'{defined.extends}' is no structure")
        return (*self._fields(parent), *defined.type.fields)

    def _limit(self, cell: Cell, ref: sx.TypeRef, frame: Frame) -> None:
        if ref.lo is None or ref.hi is None or cell.kind.family is Family.TEXT:
            return
        cell.lo, cell.hi = self._constant(ref.lo, frame), self._constant(ref.hi, frame)
        # IEC 61131-3: the first value of a subrange is its lower limit (from memory).
        cell.content = cell.initial = cell.lo

    def _array(self, ref: sx.TypeRef, name: str, frame: Frame, retain: bool) -> Store:
        spans = []
        for dimension in ref.dimensions:
            if dimension is None:
                raise refusal(ref.place, "an array of any length can only be VAR_IN_OUT")
            lo, hi = (self._constant(limit, frame) for limit in dimension)
            spans.append((lo, hi))
        assert ref.of is not None
        if math_product(spans) > _MOST_ELEMENTS:
            raise refusal(ref.place, f"an array of more than {_MOST_ELEMENTS:,} elements")
        made = Elements(name, tuple(spans), [])
        for indexes in product(*(range(lo, hi + 1) for lo, hi in spans)):
            place = ",".join(map(str, indexes))
            made.items.append(self.make(ref.of, f"{name}[{place}]", frame, retain))
        return made

    def _record(
        self, fields: tuple[sx.Declaration, ...], name: str, frame: Frame, retain: bool
    ) -> Record:
        made = Record(name, {})
        for declaration in fields:
            for member in declaration.names:
                inner = self.make(declaration.type, f"{name}.{member.text}", frame, retain)
                if declaration.initial is not None:
                    self.initialise(inner, declaration.initial, frame)
                made.members[member.text.casefold()] = inner
        return made

    # Instances and declarations

    def instance(
        self, unit: sx.Unit, name: str, retain: bool, prefix: str | None = None
    ) -> Instance:
        """A new instance of a unit with all its variables.

        Parameters
        ----------
        prefix : str or None
            What stands before the names of its variables; the name and a dot, unless given.
        """
        self.depth += 1
        if self.depth > 60:
            raise refusal(unit.place, f"'{unit.name}' contains itself")
        before = f"{name}." if prefix is None else prefix
        in_outs: set[str] = set()
        made = Instance(name, unit)
        # The limits of an array may name a constant that is declared behind it.
        in_order = sorted(self.project.declarations(unit), key=lambda pair: not pair[1].constant)
        for owner, declaration in in_order:
            frame = Frame(owner, {}, made)
            for variable in declaration.names:
                key = variable.text.casefold()
                if declaration.kind == "VAR_IN_OUT":
                    in_outs.add(key)
                if declaration.kind in ("VAR_IN_OUT", "VAR_EXTERNAL", "VAR_TEMP"):
                    continue
                new = self.declared(declaration, variable, before, frame, retain)
                made.members[key] = new
                if declaration.edge and isinstance(new, Cell):
                    self._add_edge(made, key, new, declaration)
        made.in_outs = frozenset(in_outs)
        chart = next((u.chart for u in self.project.lineage(unit) if u.chart), None)
        if chart is not None:
            make_chart(chart, made, before, self.settings)
        for owner in self.project.lineage(unit):
            for method in owner.methods:
                inner = Frame(owner, {}, made)
                made.inner |= self.statics_of(method, "VAR_INST", before, inner, retain)
        self.depth -= 1
        return made

    def statics_of(
        self, unit: sx.Unit, kind: str, before: str, frame: Frame, retain: bool = False
    ) -> dict[str, Store]:
        """The variables of a FUNCTION or METHOD that stay from call to call, by `static_key`.

        Those of the kind ``VAR_STAT`` are one for all instances, ``VAR_INST`` one for each.
        """
        return {
            static_key(frame.owner, unit, variable): self.declared(
                declaration, variable, f"{before}{unit.name}.", frame, retain
            )
            for declaration in unit.declarations
            if declaration.kind == kind
            for variable in declaration.names
        }

    def _add_edge(self, made: Instance, key: str, given: Cell, declaration: sx.Declaration) -> None:
        """Let the code see the edges of an input in the place of its value."""
        block = "R_TRIG" if declaration.edge.upper() == "R_EDGE" else "F_TRIG"
        edge = make_block(block, INT, f"{given.name}.edge", self.settings, given.retain)
        made.raw[key] = given
        made.inner[f"{key}.edge"] = edge
        made.members[key] = edge.members["Q"]

    def declared(
        self,
        declaration: sx.Declaration,
        variable: sx.Name,
        before: str,
        frame: Frame,
        retain: bool = False,
    ) -> Store:
        """The variable that a declaration makes; where one stands at its address, that one."""
        retains = retain or declaration.retain
        name, place = before + variable.text, place_of(declaration.address)
        made = self.placed.get(place)
        if made is None:
            made = self.make(declaration.type, name, frame, retains)
        if place:
            self.placed[place] = made
        if declaration.address:
            self.located.append((made, name, declaration))
        if declaration.initial is not None:
            self.initialise(made, declaration.initial, frame)
        if isinstance(made, Cell) and declaration.constant:
            made.constant = True
        elif declaration.constant:
            self._freeze(made)
        return made

    def _freeze(self, made: Store) -> None:
        match made:
            case Cell():
                made.constant = True
            case Elements():
                for item in made.items:
                    self._freeze(item)
            case Record():
                for member in made.members.values():
                    self._freeze(member)

    def temporaries(self, unit: sx.Unit, frame: Frame) -> None:
        """Add the VAR_TEMP of a unit to a frame, with their initial values."""
        for owner, declaration in self.project.declarations(unit):
            if declaration.kind == "VAR_TEMP":
                for variable in declaration.names:
                    new = self.declared(declaration, variable, "", Frame(owner, {}, frame.instance))
                    frame.names[variable.text.casefold()] = new

    # Initial values

    def initialise(self, store: Store, initial: sx.Expression, frame: Frame) -> None:
        """Give a new variable its initial value.

        Raises
        ------
        InputError
            Where it does not fit.
        """
        match store, initial:
            case Elements(), sx.ArrayValue():
                values = [e for count, e in initial.items for _ in range(count)]
                if len(values) > len(store.items):
                    raise refusal(initial.place, f"'{store.name}' has {len(store.items)} elements")
                for item, e in zip(store.items, values, strict=False):
                    if e is not None:
                        self.initialise(item, e, frame)
            case ((Record() | Instance() | Standard()), sx.StructValue()):
                for field in initial.fields:
                    inner = self.member(store, field.name, field.place)
                    if isinstance(inner, Property | Value):
                        raise refusal(field.place, f"'{field.name}' takes no initial value")
                    self.initialise(inner, field.value, frame)
            case ((Cell() | Bit()), _):
                self._initial_cell(store, initial, frame)
            case _:
                self.assign(store, self.evaluate(initial, frame), initial.place)
                for cell in cells_of(store):
                    cell.initial = cell.content

    def _initial_cell(self, store: Cell | Bit, initial: sx.Expression, frame: Frame) -> None:
        met = len(self.defects)
        value = self.evaluate(initial, frame, store.kind)
        store.write(value, initial.place, self.arithmetic)
        if isinstance(store, Cell):
            store.initial = store.content
        if len(self.defects) > met:
            raise_first = self.defects[met]
            raise refusal(raise_first.place, raise_first.says)


def static_key(owner: sx.Unit, unit: sx.Unit, variable: sx.Name) -> str:
    """Under which name a variable of `unit` in `owner` is kept; no variable has such a name."""
    return f"{owner.name} {unit.name} {variable.text}".casefold()


def math_product(spans: list[tuple[int, int]]) -> int:
    """How many elements an array with these limits has."""
    size = 1
    for lo, hi in spans:
        size *= max(hi - lo + 1, 0)
    return size
