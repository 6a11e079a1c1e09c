"""From the texts of a project to one checked program."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from interlock.base.errors import InputError, Mistake, MistakeList, Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.called_programs import with_called_programs
from interlock.st.check import check_program
from interlock.st.elaborate.root import Elaborated, elaborate
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.inference import infer_ranges
from interlock.st.left_out import without_unknown
from interlock.st.made_roots import STARTED, with_made_roots
from interlock.st.parser import parse_file
from interlock.st.quoted_globals import with_quoted_globals
from interlock.st.real_inputs import NO_LIMITS, Limits
from interlock.st.resource import with_resource
from interlock.st.types import RealType
from interlock.st.wired import NOT_WIRED, Wired, with_wired

_MOST_SHOWN = 4


@dataclass(frozen=True)
class Loaded:
    """A project that was read and checked.

    Attributes
    ----------
    program : typed.Program
        The root as one program of scalars.
    files : tuple of syntax.SourceFile
        The project as written.
    root : str
        The unit that is executed in each scan.
    notes : tuple of syntax.Note
        What was read over or left out.
    task : syntax.Task or None
        The task that a configuration gives the root, with an interval.
    is_plain : bool
        The project is one unit of scalars and standard blocks: nothing had to be made of it.
    """

    program: ty.Program
    files: tuple[sx.SourceFile, ...]
    root: str
    notes: tuple[sx.Note, ...]
    task: sx.Task | None
    is_plain: bool


def load_project(
    texts: Mapping[str, str],
    root: str | None = None,
    place: Place | None = None,
) -> Loaded:
    """Read a project of texts; see `load_files`.

    Parameters
    ----------
    texts : mapping of str to str
        The text of each file by its name.
    root : str, optional
    place : Place, optional

    Raises
    ------
    InputError
        With every mistake of the first step that finds any: reading, elaborating, checking.
    """
    mistakes = MistakeList()
    files = []
    for file, text in texts.items():
        try:
            files.append(parse_file(text, file))
        except InputError as error:
            mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    where = place or Place(next(iter(texts), "project"), 1, 1)
    return load_files(with_quoted_globals(files), root, where)


def load_files(
    files: Sequence[sx.SourceFile],
    root: str | None = None,
    place: Place | None = None,
    keeps: Collection[str] = (),
    limits: Limits = NO_LIMITS,
    wired: Wired = NOT_WIRED,
) -> Loaded:
    """Make one checked program of the files of a project.

    Parameters
    ----------
    files : sequence of syntax.SourceFile
    root : str, optional
        The PROGRAM or FUNCTION_BLOCK that is executed in each scan; needed where there are several.
    place : Place, optional
        Where a project without a root is told.
    keeps : collection of str
        Casefolded names of outputs that are not left out where no classes of values can be worked
        out for what they depend on: that is then taken as any value.
    limits : mapping
        As for `interlock.st.real_inputs.with_classes`.
    wired : Wired
        Plain variables that are inputs and outputs all the same.

    Raises
    ------
    InputError
        With every mistake of the first step that finds any: elaborating, checking.
    """
    given = place or Place("project", 1, 1)
    if not files:
        raise InputError([Mistake(given, "no file is given")])
    files = with_called_programs(with_made_roots(files), root)
    if root is None:
        files, root = with_resource(files)
    files = with_wired(files, wired)
    try:
        whole = _elaborated(files, root, given, keeps)
        program = _checked(whole.program, keeps, limits)
        gone = (ty.LeftOut(name, why) for name, why in whole.left_out.items())
        foreign = (
            ty.AnyValue(v.name, _why(whole.foreign[v.name]), v.place)
            for v in program.inputs
            if v.name in whole.foreign
        )
        program = replace(
            program,
            left_out=(*gone, *program.left_out),
            any_values=(*program.any_values, *foreign),
        )
    except InputError as error:
        if _declares_nothing(files):
            raise InputError([_nothing_declared(list(error.mistakes))]) from None
        raise
    left_out = tuple(
        sx.Note(left.why.place, f"output '{left.name}' is left out: {left.why.says}")
        for left in program.left_out
    )
    notes = (*whole.notes, *program.notes, *left_out)
    lost = (ty.LeftOut(name, why) for name, why in whole.of_missing_types.items())
    program = replace(program, left_out=(*program.left_out, *lost))
    units = [unit for file in files for unit in file.units]
    is_plain = len(units) == 1 and whole.program.body == units[0].body
    return Loaded(program, tuple(files), whole.root.name, notes, whole.task, is_plain)


def _elaborated(
    files: Sequence[sx.SourceFile], root: str | None, place: Place, keeps: Collection[str]
) -> Elaborated:
    """The project as one program of scalars.

    Comparisons of texts and dates have any answer only where else no output would be left, or not
    one that is kept.
    """
    try:
        whole = elaborate(files, root, place)
        if not {name.casefold() for name in whole.left_out} & set(keeps):
            return whole
    except InputError as error:
        if not any(" depends on " in mistake.says for mistake in error.mistakes):
            raise
        with suppress(InputError):
            return elaborate(files, root, place, takes_any_answer=True)
        raise
    with suppress(InputError):
        return elaborate(files, root, place, takes_any_answer=True)
    return whole


def _why(reason: str) -> str:
    return f"what is asked here depends on {reason}" if reason else ""


def _checked(whole: sx.Program, keeps: Collection[str], limits: Limits) -> ty.Program:
    """The program with types; a REAL with too many values is any value only where it must be."""
    try:
        program = _without_crowded(check_program(whole, keeps=keeps, limits=limits))
        if not {one.name.casefold() for one in program.left_out} & set(keeps):
            return program
    except InputError as error:
        if not any("too many values" in mistake.says for mistake in error.mistakes):
            raise
        with suppress(InputError):
            return _wide(whole, keeps, limits)
        raise
    with suppress(InputError):
        return _wide(whole, keeps, limits)
    return program


def _wide(whole: sx.Program, keeps: Collection[str], limits: Limits) -> ty.Program:
    return _without_crowded(check_program(whole, keeps=keeps, frees_wide=True, limits=limits))


def _without_crowded(program: ty.Program) -> ty.Program:
    """`program` without REAL variables of too many values, as far as anything reads them."""
    if not any(isinstance(v.type, RealType) for v in program.variables):
        return program
    read = without_idle(without_real_outputs(program))[0]
    ever = infer_ranges(read).ever
    crowded = {
        v.name.casefold(): Mistake(v.place, f"it depends on '{v.name}', which has too many values")
        for v in read.variables
        if ever.get(v.name.casefold(), ()) is None
    }
    return without_unknown(program, crowded, {})


def load_program(text: str, file: str) -> ty.Program:
    """Read a project of one file; see `load_project`."""
    return load_project({file: text}).program


def _declares_nothing(files: Iterable[sx.SourceFile]) -> bool:
    units = [unit for file in files for unit in file.units]
    declared = [d for u in units for d in u.declarations if d.names[0].text != STARTED]
    return len(units) == 1 and not declared and not any(f.globals for f in files)


def _nothing_declared(mistakes: list[Mistake]) -> Mistake:
    """One mistake for a text without any VAR, in place of one for each of its names."""
    quoted = [re.match(r"'([^']+)' is not declared", m.says) for m in mistakes]
    names = list(dict.fromkeys(found[1] for found in quoted if found is not None))
    shown = ", ".join(names[:_MOST_SHOWN]) + (", …" if len(names) > _MOST_SHOWN else "")
    if not names:
        return mistakes[0]
    says = f"nothing is declared: write VAR … END_VAR with {shown}, or give the file that does"
    return Mistake(mistakes[0].place, says)
