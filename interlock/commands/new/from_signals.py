"""A model made of a program and, where there is one, the list of its signals."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from interlock.commands.new.against_program import Matched, match
from interlock.commands.new.given_program import GivenProgram, read_given
from interlock.commands.new.signal_list import SignalList, read_signals
from interlock.commands.new.written_model import Origin, model_text, quoted
from interlock.model.effect_matrix import read_effect_matrix
from interlock.telling.counts import counted

_MOST_TOLD = 40


@dataclass(frozen=True)
class Made:
    """What is to be written, by name, and what is to be told of it."""

    files: dict[str, str | bytes]
    told: list[str]


@dataclass(frozen=True)
class Given:
    """What a model is to be made of.

    Attributes
    ----------
    program : sequence of Path
        Files and folders of its program.
    root : str or None
        The unit that is executed in each scan.
    signals : Path or None
        The list of its inputs and outputs.
    columns : mapping of str to str
        Headings of the list that the user named.
    matrix : Path or None
        A matrix of causes and effects.
    legend : mapping of str to str
        Meanings of its signs that the user stated.
    """

    program: Sequence[Path]
    root: str | None = None
    signals: Path | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    matrix: Path | None = None
    legend: Mapping[str, str] = field(default_factory=dict)


def make(folder: Path, given: Given) -> Made:
    """Make a model in `folder`; nothing is written.

    Raises
    ------
    InputError
        Where the program, the list or the matrix is not right.
    """
    program = read_given(given.program, folder, given.root)
    signals = given.signals
    listed = SignalList() if signals is None else read_signals(signals, given.columns)
    undeclared = [name for file in program.project.files for name in file.undeclared]
    program = program.with_wired(
        [s.name for s in listed.signals if s.direction != "output"],
        [*undeclared, *(s.name for s in listed.signals if s.direction != "input")],
    )
    matched = match(listed.signals, program.project)
    if signals is None:
        matched = replace(matched, missing=(), differences=(), has_list=False)
    made_from = f"Made of {counted(len(program.project.files), 'file')} of a program"
    if signals is not None:
        made_from += f" and the list of signals {signals.name}"
    files: dict[str, str | bytes] = {**program.copies}
    entry: list[str] = []
    told: list[str] = []
    if given.matrix is not None:
        entry, told = _matrix(given.matrix, given.legend, folder, files)
    origin = Origin(folder.name, program.controller, program.root, [f"{made_from}."], entry)
    files = {"model.yaml": model_text(origin, matched), **files}
    told = [*_told(folder, program, matched, listed, signals), *told]
    return Made(files, told)


def _matrix(
    file: Path, legend: Mapping[str, str], folder: Path, files: dict[str, str | bytes]
) -> tuple[list[str], list[str]]:
    """The lines of the model file on a matrix, and what is told of it; a copy joins the files."""
    matrix = read_effect_matrix(file, legend)
    if file.resolve().parent != folder.resolve():
        files[file.name] = file.read_bytes()
    signs = ", ".join(f"{quoted(sign)}: {quoted(meaning)}" for sign, meaning in legend.items())
    stated = f", legend: {{{signs}}}" if signs else ""
    sheet = f", sheet: {quoted(matrix.sheet)}" if matrix.sheet else ""
    entry = [
        "",
        "# Causes in rows, effects in columns: each sign in it is a requirement, judged after each",
        "# scan of the program. What the signs mean stands in the matrix or in a 'legend' here.",
        f"matrix: {{file: {quoted(file.name)}{sheet}{stated}}}",
    ]
    lines = f"{counted(len(matrix.causes), 'cause')} and {counted(len(matrix.effects), 'effect')}"
    told = [f"{file.name} has {lines}; {counted(len(matrix.cells), 'sign')} are requirements"]
    told += [f"  {letter}: {meaning.says}" for letter, meaning in matrix.legend.items()]
    told += [f"  {note}" for note in matrix.notes]
    return entry, told


def _told(
    folder: Path,
    program: GivenProgram,
    matched: Matched,
    listed: SignalList,
    signals: Path | None,
) -> list[str]:
    wrote = "model.yaml"
    if program.copies:
        wrote += f", {counted(len(program.copies), 'copied file')} of the program"
    told = [f"wrote {wrote} and model.schema.json (for editors) to {shlex.quote(str(folder))}"]
    told += [f"  {line}" for line in program.told]
    inputs = sum(wire.is_input for wire in matched.wires)
    of_program = f"{counted(inputs, 'input')} and {counted(len(matched.wires) - inputs, 'output')}"
    told.append(f"the program has {of_program}; every input is free")
    if signals is None:
        return told
    n_found = sum(wire.signal is not None for wire in matched.wires)
    told.append(f"{signals.name} has {counted(len(listed.signals), 'signal')}; {n_found} are these")
    told += [f"  {line}" for line in listed.told]
    if matched.differences:
        told.append(f"to clear up, {len(matched.differences)} (the model follows the program):")
        told += [f"  {difference}" for difference in matched.differences[:_MOST_TOLD]]
        if len(matched.differences) > _MOST_TOLD:
            told.append(f"  all {len(matched.differences)} stand in model.yaml")
    else:
        told.append("list and program agree")
    return told
