"""The root of a project: what the world outside sees and sets, and the program that comes of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.elaborate.addresses import bits_of, names_at, overlap, plain_address
from interlock.st.elaborate.assigned import assigned_in, mentioned_by
from interlock.st.elaborate.charts import Charts
from interlock.st.elaborate.declare import constants_first
from interlock.st.elaborate.project import Project
from interlock.st.elaborate.reading import all_read_by
from interlock.st.elaborate.shapes import (
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
    Found,
    Frame,
    Placed,
    Reading,
    ToldError,
    UnknowableError,
)
from interlock.st.elaborate.strangers import begun, in_each_scan, in_the_first_scan
from interlock.st.elaborate.taken_names import taken_names
from interlock.st.elaborate.unread import without_unread

# A reading finds at least one thing more than the one before; no real program needs many.
_MOST_READINGS = 200
_BORDER_KINDS = ("VAR_INPUT", "VAR_OUTPUT")


@dataclass(frozen=True)
class Elaborated:
    """A project as one program of scalars.

    Attributes
    ----------
    program : syntax.Program
    root : syntax.Unit
    notes : tuple of syntax.Note
        What was read over or left out, in the order of places.
    task : syntax.Task or None
        The task that a configuration gives the root, with an interval.
    left_out : dict of str to Mistake
        Outputs that are no part of the program, and why.
    """

    program: sx.Program
    root: sx.Unit
    notes: tuple[sx.Note, ...]
    task: sx.Task | None = None
    left_out: Mapping[str, Mistake] = field(default_factory=dict)


def elaborate(
    files: Iterable[sx.SourceFile], root: str | None = None, place: Place | None = None
) -> Elaborated:
    """Make one program of scalars from a project.

    Parameters
    ----------
    files : iterable of syntax.SourceFile
    root : str, optional
        The PROGRAM or FUNCTION_BLOCK that is executed in each scan; needed where there are several.
    place : Place, optional
        Where a project without a root is told.

    Raises
    ------
    InputError
        With every mistake that was found.
    """
    project = Project.of(files)
    unit = project.root(root)
    if isinstance(unit, str):
        where = place or next((u.place for u in project.units.values()), Place("project", 1, 1))
        raise InputError([*project.mistakes, Mistake(where, unit)])
    named = mentioned_by([unit], project)
    taken = taken_names([unit, *(project.units[key] for key in sorted(named))])
    if taken:
        raise InputError([*project.mistakes, *dict.fromkeys(taken)])
    found = Found()
    for _ in range(_MOST_READINGS):
        before, unknown, given = found.size, dict(found.unknown), dict(found.given)
        reading = Reading(project, found)
        read = Root(reading)
        program = read.read_unit(unit)
        if found.size == before:
            break
        if found.given != given:
            # What was unknown without them may be known with them.
            found.unknown = unknown
    else:
        says = "what depends on texts, dates and pointers could not be told apart from the rest"
        raise InputError([Mistake(unit.place, says)])
    mistakes = [*project.mistakes, *reading.mistakes]
    if mistakes:
        raise InputError(mistakes)
    notes = {note for file in project.files for note in file.notes} | set(reading.notes)
    in_order = sorted(notes, key=lambda note: (note.place, note.says))
    return Elaborated(program, unit, tuple(in_order), _task(project, unit), read.left_out)


def _task(project: Project, unit: sx.Unit) -> sx.Task | None:
    tasks = {task.name.casefold(): task for file in project.files for task in file.tasks}
    for file in project.files:
        for instance in file.instances:
            if instance.type_name.casefold() == unit.name.casefold():
                task = tasks.get(instance.task.casefold())
                if task is not None and task.interval_ms:
                    return task
    return None


class Root(Charts):
    """Reads the root.

    Parameters
    ----------
    reading : Reading
    """

    def __init__(self, reading: Reading) -> None:
        super().__init__(reading)
        self._outputs: set[str] = set()
        self.left_out: dict[str, Mistake] = {}
        self._names_at = names_at(self.project)

    def read_unit(self, unit: sx.Unit) -> sx.Program:
        """The program of scalars that `unit` is."""
        line = self.line(unit)
        block = Block(unit.name, line)
        frame = Frame(unit, {}, block=block, path="")
        self.reading.instances[""] = frame
        self.reading.reached.add(unit.name.casefold())
        for part in reversed(line):
            for declaration in constants_first(part.declarations):
                self._declare(declaration, frame)
        body: list[sx.Statement] = []
        own = replace(frame, names=frame.names)
        self.see_edges(own, unit.place, body)
        try:
            if unit.chart is not None:
                self.declare_chart(unit, frame)
            self.code(unit, own, body)
        except ToldError:
            pass
        except UnknowableError as reason:
            self.reading.refuse(reason.place, f"the chart depends on {reason.why}")
        self._find_shared()
        self._lose_pointed()
        self._leave_unknown_outputs()
        statements = self._with_any_values((*self.reading.prologue, *body), unit.place)
        return sx.Program(
            unit.name,
            self._enumerations(),
            tuple(self.reading.declarations),
            statements,
            unit.place,
        )

    def _with_any_values(
        self, body: Sequence[sx.Statement], place: Place
    ) -> tuple[sx.Statement, ...]:
        """`body` with the first values of what is not in the files, and no value that is unread."""
        read = self.reading
        if not read.any_values:
            return tuple(body)
        always = [one for one in read.foreign.values() if read.is_outside(one[0].path)]
        first = [one for one in read.foreign.values() if one not in always]
        body = (*in_each_scan(always), *body)
        if first:
            body = (*in_the_first_scan(first, place), *body)
            read.declarations.append(begun(place))
        lasting = {n.text for d in read.declarations if d.kind != "VAR_TEMP" for n in d.names}
        kept = without_unread(body, read.any_values, lasting)
        used = set(all_read_by(kept))
        read.declarations = [
            d
            for d in read.declarations
            if d.names[0].text not in read.any_values or d.names[0].text in used
        ]
        return kept

    # What the world outside sees and sets

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
            case _:
                own = replace(like, kind="VAR")
                frame.names[key] = self.add(name.text, shape, declaration.initial, frame, own)
        if declaration.edge:
            self.add_edge(frame, name, declaration.edge, replace(like, kind="VAR"))

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
        # Inputs that share bits are given each by itself: that is more than can be.
        is_input = address[:2].upper() == "%I"
        others = [
            other
            for other, placed in self.reading.at.items()
            if not is_input and overlap(address, other, bits, bits_of(placed.shape))
        ]
        if others or (known is not None and not _is_alike(known.shape, shape)):
            other = (others or [address])[0].upper()
            says = f"'{name.text}' shares bits with another variable, at {other}; declare one only"
            raise self.reading.refuse(name.place, says)
        if known is None:
            made = self._declare_outer(name, declaration, shape, frame)
            known = self.reading.at[address] = Placed(made, shape, declaration)
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

    def _declare_outer(
        self, name: sx.Name, declaration: sx.Declaration, shape: Shape, frame: Frame
    ) -> Reference:
        like = replace(declaration, place=name.place)
        address = plain_address(declaration.address)
        keys = {name.text.casefold(), address, *self._names_at.get(address, ())} - {""}
        is_shared = bool(keys & self.reading.found.shared)
        where = declaration.address[:2]
        if frame is self.reading.instances.get("") and declaration.kind in _BORDER_KINDS:
            return self._at_border(name.text, shape, declaration.kind, like, frame)
        if where == "%I":
            return self._at_border(name.text, shape, "VAR_INPUT", like, frame)
        if where == "%Q" and is_shared:
            says = f"output '{name.text}' is written by another PROGRAM, too; judge them together"
            raise self.reading.refuse(name.place, says)
        if where == "%Q":
            return self._at_border(name.text, shape, "VAR_OUTPUT", like, frame)
        if isinstance(shape, Block | Standard):
            return self.add(name.text, shape, declaration.initial, frame, replace(like, kind="VAR"))
        self.reading.outer |= {leaf.path: name.text for leaf in leaves(name.text, shape)}
        is_written = name.text in self.reading.found.written
        if not is_written and not is_shared:
            return self._unwritten(name, declaration, shape, like, frame)
        if is_shared or declaration.kind == "VAR_EXTERNAL":
            says = f"'{name.text}' may be written by others, too: any value in any scan"
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

    def _lose_pointed(self) -> None:
        """What something may write that is not known has no value that is known."""
        reason = self.reading.blind
        if reason is None:
            return
        for e, frame in self.reading.addresses:
            with suppress(UnknowableError):
                self.called(e, frame, [])
        for at in self.reading.pointed.values():
            if isinstance(at.shape, Block):
                says = f"{reason.why} may change '{at.path}', an instance; call it by its name"
                self.reading.refuse(reason.place, says)
            else:
                self.lose(at, reason)

    def _find_shared(self) -> None:
        """Globals that a PROGRAM writes which is not part of the root."""
        reached = self.reading.reached
        others = [
            unit
            for key, unit in self.project.units.items()
            if unit.kind == "PROGRAM" and key not in reached
        ]
        if not others:
            return
        # What they call may be called by the root, too, and yet be called by them.
        called = mentioned_by(others, self.project)
        elsewhere = {name for key in called for name in assigned_in(self.project.units[key])}
        for key, made in self.reading.globals.items():
            if key.rpartition(".")[2] in elsewhere and isinstance(made, Located):
                self.reading.found.shared.add(key)
                for leaf in leaves(made.path, made.shape):
                    if isinstance(leaf.shape, Block | Standard):
                        why = f"'{leaf.path}', which {others[0].name} may change, too"
                        self.reading.mark(leaf.path, others[0].place, why)
        for address in self.reading.at:
            if self._names_at.get(address, {address}) & elsewhere:
                self.reading.found.shared.add(address)

    def _leave_unknown_outputs(self) -> None:
        """Outputs that depend on what is unknown are left out, unless none remains."""
        unknown = self.reading.found.unknown
        lost = {path: unknown[path] for path in unknown if path in self._outputs}
        remain = self._outputs - lost.keys()
        for path, (place, why) in lost.items():
            if not why:
                continue  # A mistake that is told.
            if remain:
                self.left_out[path] = Mistake(place, f"it depends on {why}")
            else:
                self.reading.refuse(place, f"output '{path}' depends on {why}")

    # Types

    def _enumerations(self) -> tuple[sx.TypeDef, ...]:
        found = {
            type_def.name.casefold(): type_def
            for file in self.project.files
            for type_def in file.types
            if type_def.type.labels
        }
        return tuple(self._enumeration_of(t) for t in {**found, **self.reading.enums}.values())

    def _enumeration_of(self, type_def: sx.TypeDef) -> sx.TypeDef:
        nowhere = Frame(None, {})

        def known(label: sx.EnumLabel) -> sx.EnumLabel:
            if label.value is None:
                return label
            return replace(label, value=self.constant(label.value, nowhere))

        labels = tuple(known(label) for label in type_def.type.labels)
        return replace(type_def, type=replace(type_def.type, labels=labels))


def _is_alike(one: Shape, other: Shape) -> bool:
    """Whether two variables at one address are one: of the same type, limits included."""
    if isinstance(one, Scalar) and isinstance(other, Scalar):
        return (one.type.name, one.type.lo, one.type.hi) == (
            other.type.name,
            other.type.lo,
            other.type.hi,
        )
    return one == other
