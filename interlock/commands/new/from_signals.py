"""A model made of a program and, where there is one, the list of its signals."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from interlock.commands.new.against_program import Matched, match
from interlock.commands.new.given_program import read_given
from interlock.commands.new.signal_list import SignalList, read_signals
from interlock.commands.new.written_model import Origin, model_text
from interlock.telling.counts import counted

_MOST_TOLD = 40


@dataclass(frozen=True)
class Made:
    """What is to be written, by name, and what is to be told of it."""

    files: dict[str, str | bytes]
    told: list[str]


def make(
    folder: Path,
    program: Sequence[Path],
    root: str | None,
    signals: Path | None,
    columns: Mapping[str, str],
) -> Made:
    """Make a model; nothing is written.

    Parameters
    ----------
    folder : Path
        The model's own.
    program : sequence of Path
        Files and folders of its program.
    root : str, optional
        The unit that is executed in each scan.
    signals : Path, optional
        The list of its inputs and outputs.
    columns : mapping of str to str
        Headings that the user named.

    Raises
    ------
    InputError
        Where the program or the list is not right.
    """
    given = read_given(program, folder, root)
    listed = SignalList() if signals is None else read_signals(signals, columns)
    matched = match(listed.signals, given.project)
    if signals is None:
        matched = Matched(matched.wires, (), ())
    made_from = f"Made of {counted(len(given.project.files), 'file')} of a program"
    if signals is not None:
        made_from += f" and the list of signals {signals.name}"
    origin = Origin(folder.name, given.controller, given.root, [f"{made_from}."])
    files: dict[str, str | bytes] = {"model.yaml": model_text(origin, matched), **given.copies}
    return Made(files, list(_told(folder, files, matched, listed, signals)))


def _told(
    folder: Path,
    files: Mapping[str, str | bytes],
    matched: Matched,
    listed: SignalList,
    signals: Path | None,
) -> list[str]:
    copied = [name for name in files if name != "model.yaml"]
    wrote = "model.yaml" + (
        f", {counted(len(copied), 'copied file')} of the program" * bool(copied)
    )
    told = [f"wrote {wrote} and model.schema.json (for editors) to {shlex.quote(str(folder))}"]
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
