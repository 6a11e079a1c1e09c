"""What the world outside a root sees and sets: inputs, outputs, globals, and addresses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.base.errors import Mistake
from interlock.st import syntax as sx
from interlock.st.elaborate.addresses import bits_of, names_at, overlap, plain_address
from interlock.st.elaborate.charts import Charts
from interlock.st.elaborate.project import words_of
from interlock.st.elaborate.shapes import (
    Array,
    Block,
    Bound,
    Located,
    Reference,
    Scalar,
    Shape,
    Standard,
    Unknown,
    leaves,
)
from interlock.st.elaborate.state import (
    Frame,
    Placed,
    Reading,
    ToldError,
)

_BORDER_KINDS = ("VAR_INPUT", "VAR_OUTPUT")
_WAYS_IN = ("VAR_INPUT", "VAR_IN_OUT", "VAR_EXTERNAL")


class Border(Charts):
    """Declares the variables of a root and what it shares with others.

    Parameters
    ----------
    reading : Reading
    """

    def __init__(self, reading: Reading) -> None:
        super().__init__(reading)
        self._outputs: set[str] = set()
        self.of_missing_types: dict[str, Mistake] = {}
        self._names_at = names_at(self.project)

    def _declare(self, declaration: sx.Declaration, frame: Frame) -> None:
        for name in declaration.names:
            try:
                self._declare_one(name, declaration, frame)
            except ToldError:
                frame.names[name.text.casefold()] = Located(name.text, Unknown(""))

    def _declare_one(self, name: sx.Name, declaration: sx.Declaration, frame: Frame) -> None:
        key = name.text.casefold()
        like = replace(declaration, place=name.place)
        is_outer = declaration.kind in ("VAR_EXTERNAL", "VAR_GLOBAL")
        if declaration.kind == "VAR_EXTERNAL" and key in self.project.shared:
            raise self.undeclared(name, frame)
        if is_outer and key in self.project.globals:
            self.global_reference(name.text)
            return
        shape = self.shape(declaration.type, frame, name.text)
        if self.is_constant(declaration, shape):
            frame.names[key] = self.constant_value(declaration, shape, frame)
            return
        match declaration.kind:
            case "VAR_IN_OUT":
                frame.names[key] = self._both_ways(name.text, shape, like, frame)
            case "VAR_EXTERNAL":
                frame.names[key] = self.declare_outer(name, declaration, shape, frame)
            case "VAR_INPUT" | "VAR_OUTPUT" if not declaration.address:
                frame.names[key] = self._at_border(name.text, shape, declaration.kind, like, frame)
            case "VAR_TEMP" if not declaration.address:
                frame.names[key] = self.add(name.text, shape, declaration.initial, frame, like)
            case _ if declaration.address:
                frame.names[key] = self.declare_outer(name, declaration, shape, frame)
            case "VAR" if self._may_be_set_from_outside(name, declaration, shape, frame):
                self.reading.outer |= {leaf.path: name.text for leaf in leaves(name.text, shape)}
                says = f"'{name.text}' is an input: nothing that is executed writes it"
                self.reading.note(name.place, says)
                frame.names[key] = self._at_border(name.text, shape, "VAR_INPUT", like, frame)
            case _:
                own = replace(like, kind="VAR")
                frame.names[key] = self.add(name.text, shape, declaration.initial, frame, own)
        if declaration.edge:
            self.add_edge(frame, name, declaration.edge, replace(like, kind="VAR"))

    def _may_be_set_from_outside(
        self, name: sx.Name, declaration: sx.Declaration, shape: Shape, frame: Frame
    ) -> bool:
        """Whether a variable of a root PROGRAM has a value only if somebody outside sets it.

        Some environments give all addresses outside of the text. Where a text has any way in of its
        own, what nothing writes is more likely forgotten, and stays what it is at power-up.
        """
        unit = frame.unit
        is_own = unit is not None and unit.kind == "PROGRAM" and frame is self._root_frame()
        if not is_own or unit is None or declaration.initial is not None:
            return False
        if self._has_ways_in(unit):
            return False
        plain = shape.of if isinstance(shape, Array) else shape
        found = self.reading.found
        is_lost = any(leaf.path in found.unknown for leaf in leaves(name.text, shape))
        if not isinstance(plain, Scalar) or name.text in found.written or is_lost:
            return False
        return name.text.casefold() in words_of((unit.body, unit.actions, unit.methods, unit.chart))

    def _has_ways_in(self, unit: sx.Unit) -> bool:
        if any(not declared.constant for _, declared in self.project.globals.values()):
            return True
        return any(d.kind in _WAYS_IN or d.address for d in unit.declarations)

    def _root_frame(self) -> Frame | None:
        return self.reading.instances.get("")

    def _at_border(
        self, path: str, shape: Shape, kind: str, like: sx.Declaration, frame: Frame
    ) -> Located:
        """An input or output of the root."""
        if kind == "VAR_INPUT" and isinstance(shape, Block | Bound):
            return Located(path, Unknown(f"an instance that the root is given as '{path}'"))
        if isinstance(shape, Standard):
            says = f"declare a {shape.name} in VAR, not in {kind}"
            raise self.reading.refuse(like.type.place, says)
        if kind == "VAR_INPUT":
            self.reading.outside.add(path)
        self._note_missing_type(path, shape)
        own = replace(like, kind=kind, retain=like.retain and kind != "VAR_INPUT")
        if kind == "VAR_OUTPUT":
            self._outputs |= {leaf.path for leaf in leaves(path, shape)}
        if kind == "VAR_OUTPUT" or not any(
            leaf.path in self.reading.found.copied for leaf in leaves(path, shape)
        ):
            made = self.add(path, shape, like.initial, frame, own)
            if kind == "VAR_INPUT":
                self.reading.inputs |= {leaf.path for leaf in leaves(path, shape)}
            return made
        self.add(path, shape, like.initial, frame, own)
        return self._copied(path, f"{path}.now", shape, "VAR_TEMP", like, frame)

    def _note_missing_type(self, path: str, shape: Shape) -> None:
        if isinstance(shape, Unknown) and shape.why in self.reading.found.missing:
            self.of_missing_types[path] = self.reading.found.missing[shape.why]

    def _copied(
        self,
        path: str,
        inner: str,
        shape: Shape,
        kind: str,
        like: sx.Declaration,
        frame: Frame,
    ) -> Located:
        """A variable that begins each scan with the value of the input at `path`."""
        made = self.add(inner, shape, like.initial, frame, replace(like, kind=kind, retain=False))
        if kind == "VAR_OUTPUT":
            self._outputs |= {leaf.path for leaf in leaves(inner, shape)}
        self.copy(made, Located(path, shape), self.reading.prologue, like.place)
        return made

    def _both_ways(self, path: str, shape: Shape, like: sx.Declaration, frame: Frame) -> Located:
        """What somebody else may change between two scans and the program may change, too."""
        if isinstance(shape, Block | Standard | Bound):
            return Located(path, Unknown(f"an instance that the root is given as '{path}'"))
        own = replace(like, kind="VAR_INPUT", retain=False)
        self.reading.outside.add(path)
        self.add(path, shape, like.initial, frame, own)
        return self._copied(path, f"{path}.out", shape, "VAR_OUTPUT", like, frame)

    def declare_outer(
        self, name: sx.Name, declaration: sx.Declaration, shape: Shape, frame: Frame
    ) -> Reference:
        """Declare a global or a variable at an address; variables at one address are one."""
        address = plain_address(declaration.address)
        if not address:
            return self._declare_outer(name, declaration, shape, frame)
        known = self.reading.at.get(address)
        bits = bits_of(shape)
        others = [
            other
            for other, placed in self.reading.at.items()
            if overlap(address, other, bits, bits_of(placed.shape))
        ]
        sharing = [self.reading.at[other] for other in others]
        if address[:2] == "%i":
            others = []
        if others or (known is not None and not _is_alike(known.shape, shape)):
            other = (others or [address])[0].upper()
            says = f"'{name.text}' shares bits with another variable, at {other}; declare one only"
            raise self.reading.refuse(name.place, says)
        if known is None:
            made = self._declare_outer(name, declaration, shape, frame)
            known = self.reading.at[address] = Placed(made, shape, declaration)
            if address[:2] == "%i" and sharing:
                self._note_sharing(name, [known, *sharing])
        first = known.declaration
        if first is not declaration and (
            declaration.retain != first.retain
            or (declaration.initial is not None and declaration.initial != first.initial)
        ):
            says = (
                f"'{name.text}' is the variable that line {first.place.line} declares at "
                f"{address.upper()}; say only there what it begins with and whether it is retained"
            )
            raise self.reading.refuse(name.place, says)
        return known.reference

    def _note_sharing(self, name: sx.Name, inputs: Sequence[Placed]) -> None:
        """Inputs that share bits are given each by itself, which is more than can be."""
        for one in inputs:
            if isinstance(one.reference, Located):
                paths = {leaf.path for leaf in leaves(one.reference.path, one.shape)}
                self.reading.sharing_bits |= paths
        others = ", ".join(f"'{one.declaration.names[0].text}'" for one in inputs[1:])
        says = f"'{name.text}' shares bits with {others}; each is given any value by itself"
        self.reading.note(name.place, says)

    def _declare_outer(
        self, name: sx.Name, declaration: sx.Declaration, shape: Shape, frame: Frame
    ) -> Reference:
        like = replace(declaration, place=name.place)
        address = plain_address(declaration.address)
        plain = name.text.casefold()
        keys = {plain, plain.rpartition(".")[2], address, *self._names_at.get(address, ())} - {""}
        is_shared = bool(keys & self.reading.found.shared)
        where = declaration.address[:2]
        if frame is self._root_frame() and declaration.kind in _BORDER_KINDS:
            return self._at_border(name.text, shape, declaration.kind, like, frame)
        if where == "%I":
            return self._at_border(name.text, shape, "VAR_INPUT", like, frame)
        if where == "%Q" and is_shared:
            says = f"output '{name.text}' is written by another PROGRAM, too; judge them together"
            raise self.reading.refuse(name.place, says)
        if where == "%Q":
            return self._at_border(name.text, shape, "VAR_OUTPUT", like, frame)
        if isinstance(shape.of if isinstance(shape, Array) else shape, Block | Standard):
            return self.add(name.text, shape, declaration.initial, frame, replace(like, kind="VAR"))
        self.reading.outer |= {leaf.path: name.text for leaf in leaves(name.text, shape)}
        is_written = name.text in self.reading.found.written
        if not is_written and not is_shared:
            return self._unwritten(name, declaration, shape, like, frame)
        if is_shared or declaration.kind == "VAR_EXTERNAL":
            says = (
                f"'{name.text}' may be written by others, too: any value when a scan begins; "
                "assumed: they do not write it within the scan"
            )
            self.reading.note(name.place, says)
            return self._both_ways(name.text, shape, like, frame)
        return self.add(name.text, shape, declaration.initial, frame, replace(like, kind="VAR"))

    def _unwritten(
        self,
        name: sx.Name,
        declaration: sx.Declaration,
        shape: Shape,
        like: sx.Declaration,
        frame: Frame,
    ) -> Reference:
        if declaration.kind == "VAR" and not declaration.address:
            return self.add(name.text, shape, declaration.initial, frame, like)
        if declaration.initial is not None or declaration.constant:
            says = f"'{name.text}' keeps its initial value: nothing that is executed writes it"
            self.reading.note(name.place, says)
            own = replace(like, kind="VAR")
            return self.add(name.text, shape, declaration.initial, frame, own)
        says = f"'{name.text}' is an input: nothing that is executed writes it"
        self.reading.note(name.place, says)
        return self._at_border(name.text, shape, "VAR_INPUT", like, frame)


def _is_alike(one: Shape, other: Shape) -> bool:
    """Whether two variables at one address are one: of the same type, limits included."""
    if isinstance(one, Scalar) and isinstance(other, Scalar):
        return (one.type.name, one.type.lo, one.type.hi) == (
            other.type.name,
            other.type.lo,
            other.type.hi,
        )
    return one == other
