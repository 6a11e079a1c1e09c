"""The root of a project: what the world outside sees and sets, and the program that comes of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from interlock.base.errors import InputError, Mistake, Place
from interlock.st import syntax as sx
from interlock.st.elaborate.addresses import bits_of, overlap
from interlock.st.elaborate.assigned import mentioned_by
from interlock.st.elaborate.border import Border
from interlock.st.elaborate.constants import is_nothing
from interlock.st.elaborate.declare import constants_first
from interlock.st.elaborate.elsewhere import changed_by
from interlock.st.elaborate.project import Project
from interlock.st.elaborate.reading import all_read_by
from interlock.st.elaborate.shapes import (
    Block,
    Bound,
    Located,
    Standard,
    leaves,
)
from interlock.st.elaborate.state import (
    Found,
    Frame,
    Reading,
    ToldError,
    UnknowableError,
)
from interlock.st.elaborate.strangers import begun, in_each_scan, in_the_first_scan
from interlock.st.elaborate.taken_names import taken_names
from interlock.st.elaborate.types import A_POINTER
from interlock.st.elaborate.unread import without_unread

# A reading finds at least one thing more than the one before; no real program needs many.
_MOST_READINGS = 200
_NAMES_SHOWN = 6


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
    of_missing_types : dict of str to Mistake
        Inputs and outputs of types that are not in the files.
    foreign : dict of str to str
        Inputs that code which is not in the files takes the place of; and those that are the answer
        to a comparison which is not known, with the reason.
    """

    program: sx.Program
    root: sx.Unit
    notes: tuple[sx.Note, ...]
    task: sx.Task | None = None
    left_out: Mapping[str, Mistake] = field(default_factory=dict)
    of_missing_types: Mapping[str, Mistake] = field(default_factory=dict)
    foreign: Mapping[str, str] = field(default_factory=dict)


def elaborate(
    files: Iterable[sx.SourceFile],
    root: str | None = None,
    place: Place | None = None,
    takes_any_answer: bool = False,
) -> Elaborated:
    """Make one program of scalars from a project.

    Parameters
    ----------
    files : iterable of syntax.SourceFile
    root : str, optional
        The PROGRAM or FUNCTION_BLOCK that is executed in each scan; needed where there are several.
    place : Place, optional
        Where a project without a root is told.
    takes_any_answer : bool
        Whether what compares texts, dates and the like has either answer in any scan; else what
        depends on that is left out.

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
        n_bound, n_elsewhere = found.n_bound, len(found.elsewhere)
        reading = Reading(project, found, answers={} if takes_any_answer else None)
        read = Root(reading)
        try:
            program = read.read_unit(unit)
        except ToldError:
            raise InputError([*project.mistakes, *reading.mistakes]) from None
        if found.size == before:
            break
        is_more = found.n_bound != n_bound or len(found.elsewhere) != n_elsewhere
        if found.given != given or is_more:
            # What was unknown without them may be known with them.
            found.unknown = unknown
    else:
        says = "what depends on texts, dates and pointers could not be told apart from the rest"
        raise InputError([Mistake(unit.place, says)])
    mistakes = [*project.mistakes, *reading.mistakes]
    if mistakes:
        raise InputError(mistakes)
    notes = {note for file in project.files for note in file.notes} | set(reading.notes)
    for name, at in found.elsewhere.items():
        notes.add(sx.Note(at, f"'{name}' is not declared: taken for globals of a file not given"))
    in_order = sorted(notes, key=lambda note: (note.place, note.says))
    task = _task(project, unit)
    free = sorted(reading.any_values | reading.sharing_bits)
    foreign = dict.fromkeys(free, "") | (reading.answers or {})
    lost = read.of_missing_types
    return Elaborated(program, unit, tuple(in_order), task, read.left_out, lost, foreign)


def _task(project: Project, unit: sx.Unit) -> sx.Task | None:
    tasks = {task.name.casefold(): task for file in project.files for task in file.tasks}
    for file in project.files:
        for instance in file.instances:
            if instance.type_name.casefold() == unit.name.casefold():
                task = tasks.get(instance.task.casefold())
                if task is not None and task.interval_ms:
                    return task
    return None


class Root(Border):
    """Reads the root.

    Parameters
    ----------
    reading : Reading
    """

    def __init__(self, reading: Reading) -> None:
        super().__init__(reading)
        self.left_out: dict[str, Mistake] = {}

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
        self.bind_at_start()
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

    def _lose_pointed(self) -> None:
        """What something may write that is not known has no value that is known."""
        reason = self.reading.blind
        if reason is None:
            return
        for e, frame in self.reading.addresses:
            with suppress(UnknowableError):
                if isinstance(e, sx.Call):
                    self.called(e, frame, [])
                elif not is_nothing(e):
                    self.point_at(e, frame)
        for at in self.reading.pointed.values():
            if isinstance(at.shape, Block):
                says = f"{reason.why} may change '{at.path}', an instance; call it by its name"
                self.reading.refuse(reason.place, says)
            else:
                self.lose(at, reason)
        if reason.why == A_POINTER or self.reading.pointed:
            self._tell_where_pointers_stay(reason)

    def _tell_where_pointers_stay(self, reason: UnknowableError) -> None:
        # Where variables lie in memory is not in the text, so neither is what lies behind them.
        within = sorted({re.split(r"[.\[]", path)[0] for path in self.reading.pointed})
        shown = [repr(name) for name in within[:_NAMES_SHOWN]]
        if len(within) > _NAMES_SHOWN:
            shown.append(f"{len(within) - _NAMES_SHOWN} more")
        says = f"assumed: what is written by way of {reason.why} lies within " + (
            f"the variables whose addresses are taken: {', '.join(shown)}"
            if shown
            else "no variable of this program, which takes the address of none"
        )
        self.reading.note(reason.place, says)

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
        elsewhere = changed_by(others, self.project)
        for key, made in self.reading.globals.items():
            if key.rpartition(".")[2] in elsewhere and isinstance(made, Located):
                self.reading.found.shared.add(key)
                for leaf in leaves(made.path, made.shape):
                    if isinstance(leaf.shape, Bound):
                        self.reading.found.bound.setdefault(leaf.path, {})[""] = Block("", ())
                    if isinstance(leaf.shape, Block | Standard):
                        why = f"'{leaf.path}', which {others[0].name} may change, too"
                        self.reading.mark(leaf.path, others[0].place, why)
        there = {other for other, names in self._names_at.items() if names & elsewhere}
        there |= {name for name in elsewhere if name.startswith("%")}
        for address, placed in self.reading.at.items():
            bits = bits_of(placed.shape)
            if any(other == address or overlap(address, other, bits) for other in there):
                self.reading.found.shared.add(address)

    def _leave_unknown_outputs(self) -> None:
        """Outputs that depend on what is unknown are left out, unless none remains."""
        unknown = self.reading.found.unknown
        lost = {path: unknown[path] for path in unknown if path in self._outputs}
        remain = self._outputs - lost.keys()
        told: set[str] = set()
        for path, (place, why) in sorted(lost.items(), key=lambda pair: (pair[1][0], pair[0])):
            missing = self.reading.found.missing.get(why)
            if remain and why:
                self.left_out[path] = missing or Mistake(place, f"it depends on {why}")
            elif why not in told and missing is not None:
                self.reading.refuse(missing.place, missing.says)
            elif why and why not in told:
                self.reading.refuse(place, f"output '{path}' depends on {why}")
            # Where it is empty, a mistake is told.
            told.add(why)

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
