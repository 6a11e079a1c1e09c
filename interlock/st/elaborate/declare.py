"""Declarations: every variable of the project becomes variables of scalars."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS
from interlock.st.elaborate.constants import is_nothing
from interlock.st.elaborate.shapes import (
    Array,
    Block,
    Bound,
    Constant,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Structure,
    Unknown,
    element_path,
    every_index,
)
from interlock.st.elaborate.state import Frame, Given, ToldError
from interlock.st.elaborate.types import A_REFERENCE, BIT_STRINGS, INTEGERS, Types

_NUMBERS = frozenset((*INTEGERS, *BIT_STRINGS))


class Declaring(Types):
    """Declares variables in the program of scalars."""

    # Variables

    def add(
        self,
        path: str,
        shape: Shape,
        initial: sx.Expression | None,
        frame: Frame,
        like: sx.Declaration,
    ) -> Located:
        """Declare a variable of any shape.

        Parameters
        ----------
        path : str
        shape : Shape
        initial : syntax.Expression or None
            As written; its names are looked up in `frame`.
        frame : Frame
        like : syntax.Declaration
            Gives kind, place and whether it is retained or constant.
        """
        match shape:
            case Scalar():
                self._add_scalar(path, shape, initial, frame, like)
            case Array():
                items = self._items(initial, shape)
                for number, indexes in enumerate(every_index(shape.limits)):
                    item = items[number] if number < len(items) else None
                    self.add(element_path(path, indexes), shape.of, item, frame, like)
            case Structure():
                given = self._given(initial)
                for member in shape.fields:
                    item = given.pop(member.name.casefold(), member.initial)
                    self.add(f"{path}.{member.name}", member.shape, item, frame, like)
                for name, value in given.items():
                    self.reading.refuse(value.place, f"{shape.name} has no member '{name}'")
            case Standard() if like.kind == "VAR_TEMP":
                # It would begin anew at each call, and what it remembers would be of no use.
                return Located(path, Unknown("an instance that lives as long as a call"))
            case Standard():
                self._add_standard(path, shape, like, self._given_to_block(initial))
            case Block():
                self.add_instance(path, shape, self._given(initial), frame, like)
            case Bound():
                self._add_bound(path, initial, frame, like)
            case Unknown() if initial is not None and _leads_on(shape, initial):
                # It may lead to what is declared later.
                self.reading.addresses.append((initial, frame))
        return Located(path, shape)

    def _add_scalar(
        self,
        path: str,
        shape: Scalar,
        initial: sx.Expression | None,
        frame: Frame,
        like: sx.Declaration,
    ) -> None:
        if path in self.reading.found.unknown:
            return
        written = initial if initial is not None else shape.initial
        value = None if written is None else self.constant(written, frame)
        name = sx.Name(path, like.place)
        self.reading.declarations.append(
            replace(
                like, names=(name,), type=shape.type, initial=value, address="", edge="", words=()
            )
        )

    def _add_bound(
        self, path: str, initial: sx.Expression | None, frame: Frame, like: sx.Declaration
    ) -> None:
        """What a variable of an interface remembers: whether it stands for its instance yet."""
        if initial is not None and not is_nothing(initial):
            self.reading.bound_at_start.append((path, initial, frame))
        known = self.reading.found.bound.get(path, {})
        if len(known) == 1:
            is_given = initial is not None and not is_nothing(initial)
            first = sx.Truth(True, like.place) if is_given else None
            flag = Scalar(sx.TypeRef("BOOL", None, None, like.place))
            self._add_scalar(f"{path}.bound", flag, first, frame, replace(like, retain=False))

    def _given_to_block(self, initial: sx.Expression | None) -> dict[str, sx.Expression]:
        if initial is not None and not isinstance(initial, sx.StructValue):
            says = "a block's instance has no initial value, its inputs have: (PT := T#5s)"
            raise self.reading.refuse(initial.place, says)
        return self._given(initial)

    def _add_standard(
        self,
        path: str,
        shape: Standard,
        like: sx.Declaration,
        given: Mapping[str, sx.Expression] = MappingProxyType({}),
    ) -> None:
        if path in self.reading.found.unknown:
            return
        if given:
            self.reading.found.explicit.add(path)
        type_ = sx.TypeRef(shape.name, None, None, like.type.place)
        plain = sx.Declaration(
            "VAR", like.retain, (sx.Name(path, like.place),), type_, None, like.place
        )
        self.reading.declarations.append(plain)
        if path in self.reading.found.explicit:
            for name, kind in BLOCKS[shape.name].inputs.items():
                ref = sx.TypeRef(str(kind), None, None, like.type.place)
                value = given.get(name.casefold())
                self.reading.declarations.append(
                    replace(
                        plain,
                        names=(sx.Name(f"{path}.{name}", like.place),),
                        type=ref,
                        initial=None if value is None else self.constant(value, Frame(None, {})),
                    )
                )

    def _items(self, initial: sx.Expression | None, shape: Array) -> list[sx.Expression | None]:
        if initial is None:
            return []
        if not isinstance(initial, sx.ArrayValue):
            raise self.reading.refuse(initial.place, "an array's initial values stand in [ ]")
        items = [value for count, value in initial.items for _ in range(count)]
        if len(shape.limits) > 1 and items and all(isinstance(i, sx.ArrayValue) for i in items):
            # One list of values for each row.
            inner = Array(shape.limits[1:], shape.of)
            return [value for item in items for value in self._items(item, inner)]
        return items

    def _given(self, initial: sx.Expression | None) -> dict[str, sx.Expression]:
        if initial is None:
            return {}
        if not isinstance(initial, sx.StructValue):
            raise self.reading.refuse(
                initial.place, "initial values of members are written (name := value, …)"
            )
        return {field.name.casefold(): field.value for field in initial.fields}

    # What is not in the files

    def any_value(self, name: str, shape: Scalar, place: Place) -> sx.Name:
        """A new input of the root: any value in any scan, where no sensor is given for it."""
        free, number = name, 2
        while free in self.reading.any_values:
            free, number = f"{name}_{number}", number + 1
        self.reading.any_values.add(free)
        made = sx.Name(free, place)
        self.reading.declarations.append(
            sx.Declaration("VAR_INPUT", False, (made,), shape.type, None, place)
        )
        return made

    def foreign_member(self, given: Given) -> Located:
        """What is read of a variable whose type is not in the files; declared when asked for."""
        key = given.path.casefold()
        if key not in self.reading.foreign:
            shape = Scalar(sx.TypeRef(given.type, None, None, given.place))
            at = Located(given.path, shape)
            name = sx.Name(given.path, given.place)
            self.reading.declarations.append(
                sx.Declaration("VAR", False, (name,), shape.type, None, given.place)
            )
            when = "given" if self.reading.is_outside(given.path) else "at_first"
            first = self.any_value(f"{given.path}.{when}", shape, given.place)
            self.reading.foreign[key] = at, first
        return self.reading.foreign[key][0]

    # Instances

    def add_instance(
        self,
        path: str,
        shape: Block,
        given: dict[str, sx.Expression],
        outside: Frame,
        like: sx.Declaration,
    ) -> Frame:
        """Declare the variables of an instance of a user's block; returns their frame."""
        frame = Frame(shape.line[0], {}, block=shape, path=path)
        self.reading.instances[path] = frame
        if path.count(".") > 40:
            raise self.reading.refuse(like.place, f"'{shape.name}' contains itself")
        for unit in reversed(shape.line):
            for declaration in constants_first(unit.declarations):
                self.add_member(frame, declaration, given, outside, like)
        if shape.line[0].chart is not None:
            self.declare_chart(shape.line[0], frame)
        for name, value in given.items():
            if name not in frame.names:
                self.reading.refuse(value.place, f"{shape.name} has no variable '{name}'")
        return frame

    def declare_chart(self, unit: sx.Unit, frame: Frame) -> None:
        """Declare what the chart of `unit` remembers in an instance of it."""
        raise NotImplementedError

    def add_member(
        self,
        frame: Frame,
        declaration: sx.Declaration,
        given: dict[str, sx.Expression],
        outside: Frame,
        like: sx.Declaration,
    ) -> None:
        """Declare what one declaration of a unit adds to an instance of it."""
        if declaration.kind in ("VAR_IN_OUT", "VAR_EXTERNAL", "VAR_GLOBAL"):
            return
        for name in declaration.names:
            key = name.text.casefold()
            before = frame.places.setdefault(key, name.place)
            if before is not name.place:
                says = f"'{name.text}' is declared twice, first in line {before.line}"
                self.reading.refuse(name.place, says)
                continue
            try:
                shape = self.shape(declaration.type, frame, name.text)
                if self.is_constant(declaration, shape):
                    frame.names[key] = self.constant_value(declaration, shape, frame)
                    continue
                is_brief = "VAR_TEMP" in (declaration.kind, like.kind)
                kind = "VAR_TEMP" if is_brief else "VAR"
                retain = declaration.retain or like.retain
                own = replace(declaration, kind=kind, retain=retain, place=name.place)
                value, place_of = declaration.initial, frame
                if key in given:
                    value, place_of = given[key], outside
                inner = f"{frame.path}.{name.text}"
                if declaration.address:
                    at = sx.Name(inner, name.place)
                    frame.names[key] = self.declare_outer(at, declaration, shape, frame)
                    continue
                added = frame.names[key] = self.add(inner, shape, value, place_of, own)
                frame.anew.append((added, value, place_of))
                if declaration.edge:
                    self.add_edge(frame, name, declaration.edge, own)
            except ToldError:
                frame.names.setdefault(key, Located(f"{frame.path}.{name.text}", Unknown("")))

    def declare_outer(
        self, name: sx.Name, declaration: sx.Declaration, shape: Shape, frame: Frame
    ) -> Reference:
        """Declare a variable that the world outside the program may see or set."""
        raise NotImplementedError

    def add_edge(self, frame: Frame, name: sx.Name, edge: str, like: sx.Declaration) -> None:
        """Let the code see the edges of an input in place of its value."""
        key = name.text.casefold()
        raw = frame.names[key]
        assert isinstance(raw, Located)
        path = edge_path(raw.path)
        self._add_standard(path, Standard("R_TRIG" if edge == "R_EDGE" else "F_TRIG"), like)
        frame.raw[key] = raw
        frame.names[key] = Located(f"{path}.Q", raw.shape)

    # Constants

    def is_constant(self, declaration: sx.Declaration, shape: Shape) -> bool:
        """Whether a name only stands for a value."""
        return declaration.constant and isinstance(shape, Scalar)

    def constant_value(self, declaration: sx.Declaration, shape: Shape, frame: Frame) -> Reference:
        """What the name of a constant stands for."""
        assert isinstance(shape, Scalar)
        written = declaration.initial if declaration.initial is not None else shape.initial
        value = self.default(shape) if written is None else self.constant(written, frame)
        name = shape.type.name
        if isinstance(value, sx.Number) and not value.prefix and name in _NUMBERS:
            value = replace(value, prefix=name)
        elif isinstance(value, sx.Number | sx.Real) and name in ("REAL", "LREAL"):
            text = value.text if isinstance(value, sx.Real) else f"{value.value}.0"
            value = sx.Real(text, value.place, name)
        return Constant(value, shape)

    def default(self, shape: Scalar) -> sx.Expression:
        """The value of a variable that is declared without one.

        Source: IEC 61131-3: 0, FALSE, the first value of an enumeration, the lower limit of a
        subrange (from memory).
        """
        place = shape.type.place
        match shape.type.name:
            case "BOOL":
                return sx.Truth(False, place)
            case "TIME" | "LTIME":
                return sx.Duration(0, place)
            case "REAL" | "LREAL":
                return sx.Real("0.0", place)
            case name if name in _NUMBERS:
                return sx.Number(0, place) if shape.type.lo is None else shape.type.lo
            case name:
                known = self.reading.enums[name.casefold()]
                if known.initial is not None:
                    return known.initial
                return sx.Qualified(known.name, known.type.labels[0].name, place)

    def constant(self, e: sx.Expression, frame: Frame) -> sx.Expression:
        """`e` with the values of constants in place of their names."""
        raise NotImplementedError

    def initials(
        self, names: Iterable[tuple[Located, sx.Expression | None]], frame: Frame, place: Place
    ) -> list[sx.Statement]:
        """Assignments that give temporaries their initial values."""
        statements: list[sx.Statement] = []
        for located, initial in names:
            self._initialise(located, initial, frame, place, statements)
        return statements

    def _initialise(
        self,
        at: Located,
        initial: sx.Expression | None,
        frame: Frame,
        place: Place,
        out: list[sx.Statement],
    ) -> None:
        match at.shape:
            case Scalar():
                if at.path in self.reading.found.unknown:
                    return
                written = initial if initial is not None else at.shape.initial
                value = self.default(at.shape) if written is None else self.constant(written, frame)
                out.append(sx.Assign(sx.Name(at.path, place), value, place))
            case Array():
                items = self._items(initial, at.shape)
                for number, indexes in enumerate(every_index(at.shape.limits)):
                    item = items[number] if number < len(items) else None
                    inner = Located(element_path(at.path, indexes), at.shape.of)
                    self._initialise(inner, item, frame, place, out)
            case Structure():
                given = self._given(initial)
                for member in at.shape.fields:
                    item = given.get(member.name.casefold(), member.initial)
                    inner = Located(f"{at.path}.{member.name}", member.shape)
                    self._initialise(inner, item, frame, place, out)
            case Block():
                for inner, given_value, outside in self.reading.instances[at.path].anew:
                    self._initialise(inner, given_value, outside, place, out)
            case _:
                pass


def _leads_on(shape: Unknown, initial: sx.Expression) -> bool:
    """Whether a pointer or a reference begins with something that it leads to."""
    is_variable = isinstance(initial, sx.Name | sx.Element | sx.Member)
    return isinstance(initial, sx.Call) or (shape.why == A_REFERENCE and is_variable)


def constants_first(declarations: Iterable[sx.Declaration]) -> list[sx.Declaration]:
    """Declarations in an order in which limits of arrays may name any constant of the unit."""
    return sorted(declarations, key=lambda declaration: not declaration.constant)


def edge_path(path: str) -> str:
    """The instance that finds the edges of an input declared with R_EDGE or F_EDGE."""
    return f"{path}.edge"
