"""Where a name leads: variables, members, elements, bits, properties and globals."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

from interlock.base.errors import Place, meant, nearest
from interlock.st import syntax as sx
from interlock.st.blocks import BLOCKS, input_called
from interlock.st.elaborate.addresses import plain_address
from interlock.st.elaborate.assigned import assigned_in
from interlock.st.elaborate.declare import Declaring
from interlock.st.elaborate.shapes import (
    Array,
    Bit,
    Block,
    Bound,
    Constant,
    Indexed,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Structure,
    Unknown,
    element_path,
    with_choices,
)
from interlock.st.elaborate.state import Frame, PointedError, UnknowableError
from interlock.st.elaborate.types import A_POINTER, POINTING

_ADDRESS = re.compile(r"%([IQM])([XBWDL]?)[0-9*.]+")
_SIZES = {"": "BOOL", "X": "BOOL", "B": "BYTE", "W": "WORD", "D": "DWORD", "L": "LWORD"}
_OUTER = ("VAR_EXTERNAL", "VAR_GLOBAL")
_WIDTHS = {"BYTE": 8, "WORD": 16, "DWORD": 32, "LWORD": 64}

UNKNOWN_INDEX = "index"
"""The kind of literal that stands for an index without a finite meaning; its text says why."""


class References(Declaring):
    """Resolves what can be read and written."""

    def reference(
        self, e: sx.Expression, frame: Frame, out: list[sx.Statement]
    ) -> Reference | None:
        """Where `e` leads; None for a single name that is no variable.

        Parameters
        ----------
        e : syntax.Expression
        frame : Frame
        out : list of syntax.Statement
            Receives what has to be done before, where an index calls a function.

        Raises
        ------
        ToldError, UnknowableError
        """
        found = self._written(e, frame, out)
        return None if found is None else self._as_read(found)

    def _as_read(self, at: Reference) -> Reference:
        """`at` as a value where it is of a type that is not in the files, and read as a value."""
        match at:
            case Indexed():
                return with_choices(at, tuple(self._as_read(choice) for choice in at.choices))
            case Located(shape=Unknown(is_foreign=True)):
                given = self.reading.found.given.get(at.path.casefold())
                return at if given is None else self.foreign_member(given)
            case _:
                return at

    def _written(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference | None:
        match e:
            case sx.Name():
                return self._named(e, frame)
            case sx.Element():
                base = self._base(e.base, frame, out)
                indexes = [self._index(index, frame, out) for index in e.indexes]
                return self._element(base, indexes, e.place)
            case sx.Member():
                return self.member(self._base(e.base, frame, out), e.name, e.place)
            case sx.Direct():
                return self._direct(e)
            case sx.Pointed():
                if isinstance(e.base, sx.Name | sx.Element | sx.Member):
                    # What it points to at first stands with its declaration.
                    with suppress(UnknowableError):
                        self.reference(e.base, frame, out)
                raise PointedError(e.place, A_POINTER)
            case _:
                raise self.reading.refuse(e.place, "this is no variable")

    def _base(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> Reference:
        found = self.reference(e, frame, out)
        if found is None:
            assert isinstance(e, sx.Name)
            raise self.undeclared(e, frame)
        return found

    def _index(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        """An index over scalars; one that is not known leads to every element."""
        try:
            return self.value(e, frame, out)
        except UnknowableError as reason:
            return sx.Opaque(reason.why, UNKNOWN_INDEX, reason.place)

    def undeclared(self, e: sx.Name, frame: Frame) -> Exception:
        """Tells that a name is not known; raise what is returned."""
        first, _, second = e.text.partition(".")
        for name in (first, second.partition(".")[0]):
            lists = self.project.shared.get(name.casefold(), ())
            if lists:
                ways = " or ".join(f"{list_}.{name}" for list_ in lists)
                says = f"'{name}' is in several lists of globals; write {ways}"
                return self.reading.refuse(e.place, says)
        known = [*frame.known(), *(name.text for name, _ in self.project.globals.values())]
        known += [unit.name for unit in self.project.units.values()]
        if second and not meant(first, known):
            return self._from_elsewhere(first, e.place)
        return self.reading.refuse(e.place, f"'{first}' is not declared{nearest(first, known)}")

    def _from_elsewhere(self, name: str, place: Place) -> Exception:
        """Take what is called `name` for globals of a file that is not given, from now on."""
        type_ = sx.TypeRef(name, None, None, place)
        declared = sx.Name(name, place)
        declaration = sx.Declaration("VAR_GLOBAL", False, (declared,), type_, None, place)
        self.project.globals[name.casefold()] = declared, declaration
        self.reading.found.elsewhere[name] = place
        return UnknowableError(place, f"{name}, which is not in the files given")

    def _named(self, e: sx.Name, frame: Frame) -> Reference | None:
        first, *rest = e.text.split(".")
        found = self._first(first, frame)
        if found is None and rest and first.casefold() not in self.project.types:
            # A list of globals or a namespace comes first.
            in_list = self.project.lists.get(first.casefold())
            if in_list is None or rest[0].casefold() in in_list:
                found = self.global_reference(f"{first}.{rest[0]}")
                # A list that is called by its own name has no other.
                homes = {home.casefold() for home in self.project.homes.get(rest[0].casefold(), ())}
                if in_list is not None or not homes & self.project.addressed:
                    found = found or self.global_reference(rest[0])
            found = found or self.global_reference(e.text)
            if found is not None:
                rest = rest[1:]
            elif in_list is not None:
                hint = nearest(rest[0], [n.text for n, _ in self.project.globals.values()])
                raise self.reading.refuse(e.place, f"'{rest[0]}' is not in '{first}'{hint}")
        if found is None:
            if first.casefold() in self.project.shared:
                raise self.undeclared(e, frame)
            return None
        for part in rest:
            found = self.member(found, part, e.place)
        return found

    def _first(self, name: str, frame: Frame) -> Reference | None:
        if name.upper() in ("THIS", "SUPER"):
            instance = frame.instance or frame
            if instance.block is not None:
                return Located(instance.path, instance.block)
        return frame.find(name) or self.global_reference(name)

    # Members and elements

    def member(self, base: Reference, name: str, place: Place) -> Reference:
        """The member `name` of what `base` leads to."""
        if isinstance(base, Indexed):
            return with_choices(base, tuple(self.member(c, name, place) for c in base.choices))
        shape = base.shape
        if name.isdigit():
            return self._bit(base, shape, name, place)
        if isinstance(base, Located):
            match shape:
                case Structure():
                    return self._field(base, shape, name, place)
                case Block():
                    return self._of_instance(base, shape, name, place)
                case Standard():
                    return self._of_standard(base, shape, name, place)
                case Unknown():
                    return Located(f"{base.path}.{name}", shape)
                case Bound():
                    raise self.unbound(shape, name, place)
        hint = self._value_of_type(base, name)
        raise self.reading.refuse(place, f"'{name}' is asked of what has no members{hint}")

    def _value_of_type(self, base: Reference, name: str) -> str:
        """What is meant where a variable hides the enumeration that it is named like."""
        named = self.project.types.get(getattr(base, "path", "").casefold().rpartition(".")[2])
        labels = {label.name.casefold() for label in named.type.labels} if named else set()
        if named is None or name.casefold() not in labels:
            return ""
        return f"; the variable hides the type of its name, so write {named.name}#{name}"

    def unbound(self, shape: Bound, name: str, place: Place) -> Exception:
        """What is asked of an interface that no call has bound; raise what is returned."""
        for unit in self.project.units.values():
            for method in unit.methods:
                is_it = unit.kind != "INTERFACE" and method.name.casefold() == name.casefold()
                if not is_it:
                    continue
                if method.kind != "GET" or assigned_in(method, self.project) - {name.casefold()}:
                    says = (
                        f"which instance '{name}' of the interface {shape.name} works on is not "
                        f"known here, and {unit.name} has one; call it by the instance's name"
                    )
                    return self.reading.refuse(place, says)
        return UnknowableError(place, f"the interface {shape.name}")

    def _bit(self, base: Reference, shape: Shape, name: str, place: Place) -> Reference:
        if not isinstance(shape, Scalar) or isinstance(base, Bit):
            raise self.reading.refuse(place, f"bit {name} is asked of what is no bit string")
        width = _WIDTHS.get(shape.type.name)
        if width is not None and int(name) >= width:
            says = f"{shape.type.name} has no bit {name}; its bits are 0 to {width - 1}"
            raise self.reading.refuse(place, says)
        return Bit(base, str(int(name)), Scalar(replace(shape.type, name="BOOL", lo=None, hi=None)))

    def _field(self, base: Located, shape: Structure, name: str, place: Place) -> Reference:
        for member in shape.fields:
            if member.name.casefold() == name.casefold():
                return Located(f"{base.path}.{member.name}", member.shape)
        hint = nearest(name, [member.name for member in shape.fields])
        raise self.reading.refuse(place, f"{shape.name} has no member '{name}'{hint}")

    def _of_instance(self, base: Located, shape: Block, name: str, place: Place) -> Reference:
        frame = self.reading.instances[base.path]
        found = frame.names.get(name.casefold())
        if found is not None:
            return found
        known = list(frame.names)
        if self.accessor(shape, name, "GET") or self.accessor(shape, name, "SET"):
            says = f"the property '{name}' can only be read or assigned by itself"
            raise self.reading.refuse(place, says)
        raise self.reading.refuse(place, f"{shape.name} has no '{name}'{nearest(name, known)}")

    def accessor(self, shape: Block, name: str, kind: str) -> sx.Unit | None:
        """The GET or SET of a property, or a METHOD, as `kind` says."""
        for unit in shape.line:
            for method in unit.methods:
                if method.kind == kind and method.name.casefold() == name.casefold():
                    return method
        return None

    def _of_standard(self, base: Located, shape: Standard, name: str, place: Place) -> Reference:
        block = BLOCKS[shape.name]
        upper = name.upper()
        if upper not in block.outputs:
            upper = input_called(block, name)
        if upper in block.outputs:
            kind = str(block.outputs[upper])
            return Located(f"{base.path}.{upper}", Scalar(sx.TypeRef(kind, None, None, place)))
        if upper in block.inputs:
            self.reading.found.explicit.add(base.path)
            kind = str(block.inputs[upper])
            return Located(f"{base.path}.{upper}", Scalar(sx.TypeRef(kind, None, None, place)))
        hint = nearest(name, block.outputs)
        raise self.reading.refuse(place, f"'{base.path}' has no output '{name}'{hint}")

    def _element(
        self, base: Reference, indexes: Sequence[sx.Expression], place: Place
    ) -> Reference:
        if isinstance(base, Indexed):
            choices = tuple(self._element(choice, indexes, place) for choice in base.choices)
            return with_choices(base, choices)
        shape = base.shape
        if isinstance(shape, Unknown):
            leads_on = shape.why in POINTING
            raise (PointedError if leads_on else UnknowableError)(place, shape.why)
        if not isinstance(base, Located) or not isinstance(shape, Array):
            raise self.reading.refuse(place, "an index is given to what is no array")
        dimensions = len(shape.limits)
        if len(indexes) < dimensions:
            says = f"the array has {dimensions} dimensions, and {len(indexes)} are given"
            raise self.reading.refuse(place, says)
        found = self._chosen(base.path, shape, indexes[:dimensions], (), place)
        rest = indexes[dimensions:]
        return self._element(found, rest, place) if rest else found

    def _chosen(
        self,
        path: str,
        shape: Array,
        indexes: Sequence[sx.Expression],
        before: tuple[int, ...],
        place: Place,
    ) -> Reference:
        if not indexes:
            return Located(element_path(path, before), shape.of)
        lo, hi = shape.limits[len(before)]
        index, rest = indexes[0], indexes[1:]
        known = self.known_integer(index)
        if known is not None and not lo <= known <= hi:
            if self.is_the_same_in_each_pass(index):
                raise self.reading.refuse(index.place, f"index {known} is outside {lo}..{hi}")
            # It may stand behind a condition that this pass does not meet.
            known = None
        if known is not None:
            return self._chosen(path, shape, rest, (*before, known), place)
        choices = tuple(
            self._chosen(path, shape, rest, (*before, number), place)
            for number in range(lo, hi + 1)
        )
        return Indexed(index, lo, choices, index.place)

    # Globals

    def global_reference(self, name: str) -> Reference | None:
        """The global called `name`; it is declared when it is first asked for."""
        key = name.casefold()
        found = self.reading.globals.get(key)
        if found is not None or key not in self.project.globals:
            return found
        written, declaration = self.project.globals[key]
        if self._is_hidden(key):
            written = replace(written, text=f"{self.project.homes[key][0]}.{written.text}")
        nowhere = Frame(None, {})
        # Found while its own initial value is read, it would be looked up for ever.
        self.reading.globals[key] = Located(written.text, Unknown("itself"))
        shape = self.shape(declaration.type, nowhere, written.text)
        if self.is_constant(declaration, shape):
            made = self.constant_value(declaration, shape, nowhere)
        else:
            made = self.declare_outer(written, declaration, shape, nowhere)
        self.reading.globals[key] = made
        if not isinstance(made, Constant):
            self.reading.found.met.add(key)
        return made

    def _is_hidden(self, key: str) -> bool:
        """Whether the root has a variable of its own that is called like a global of a list."""
        root = self.reading.instances.get("")
        if key not in self.project.homes or root is None or root.block is None:
            return False
        own = (d for unit in root.block.line for d in unit.declarations if d.kind not in _OUTER)
        return any(name.text.casefold() == key for d in own for name in d.names)

    def constant_global(self, name: str) -> Constant | None:
        """The global constant called `name`, with or without its list."""
        for candidate in (name, name.rpartition(".")[2]):
            key = candidate.casefold()
            if key in self.project.globals and self.project.globals[key][1].constant:
                found = self.global_reference(candidate)
                return found if isinstance(found, Constant) else None
        return None

    def _direct(self, e: sx.Direct) -> Reference:
        match = _ADDRESS.fullmatch(e.address)
        if match is None:
            raise self.reading.refuse(e.place, f"'{e.address}' is no address; write %IX1.0, %QW3")
        key = e.address.casefold()
        known = self.reading.at.get(plain_address(key))
        if known is not None:
            return known.reference
        for name, declaration in self.project.globals.values():
            if plain_address(declaration.address) == plain_address(key):
                found = self.global_reference(name.text)
                assert found is not None
                return found
        if key not in self.reading.globals:
            type_ = sx.TypeRef(_SIZES[match[2]], None, None, e.place)
            name = sx.Name(e.address, e.place)
            made = sx.Declaration("VAR", False, (name,), type_, None, e.place, address=e.address)
            nowhere = Frame(None, {})
            self.reading.globals[key] = self.declare_outer(name, made, Scalar(type_), nowhere)
        return self.reading.globals[key]

    def value(self, e: sx.Expression, frame: Frame, out: list[sx.Statement]) -> sx.Expression:
        """`e` as an expression over scalars."""
        raise NotImplementedError
