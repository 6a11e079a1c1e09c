"""``interlock replay MODEL LOG``: a recorded run against the model."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import print_line, terminal_line

if TYPE_CHECKING:
    from interlock.model.model import Model


@click.command("replay")
@click.argument("model", type=click.Path(path_type=Path))
@click.argument("log", type=click.Path(path_type=Path))
@click.option(
    "--mapping",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="YAML file that says which column shows what, and how its values read.",
)
@click.option(
    "--moves",
    type=click.IntRange(0, 1000),
    default=3,
    show_default=True,
    help="How many moves, ends of timers and faults may lie between two samples.",
)
@click.option(
    "--faults",
    type=click.IntRange(0, 100),
    default=0,
    show_default=True,
    help="How many component faults or common causes may help to explain it.",
)
@click.option("--human", is_flag=True, help="Human errors may help to explain it.")
@click.option("--anywhere", is_flag=True, help="It may begin in any state, not only at power-up.")
@click.option(
    "--max-states",
    type=click.IntRange(1),
    default=20_000,
    show_default=True,
    help="How many possible states are listed one by one; more are followed as one set.",
)
def command(
    model: Path,
    log: Path,
    mapping: Path | None,
    moves: int,
    faults: int,
    human: bool,
    anywhere: bool,
    max_states: int,
) -> int:
    """Find the first moment at which the record LOG cannot be explained by MODEL.

    LOG is a CSV file whose first row names machines, outputs, in:INPUT and fault:FAULT, with a
    column time_s or time_ms if there is one, or a value change dump (.vcd). Empty cells are
    samples that are missing. What is not recorded is whatever fits. Where the model has time, the
    times of the samples must be possible, too. A run file (.json) is replayed move by move.

    Exit code 0: explained to its end. 1: not explained from some sample on. 2: malformed.
    3: even as a set the possible states could not be followed.
    """
    from interlock.model.build import RunClass
    from interlock.model.declined import Declined, decline
    from interlock.model.load import load

    loaded = load(model)
    if log.suffix.casefold() == ".json":
        _refuse_options()
        return _replay_run(loaded, log)
    decline("'replay' of a record", loaded, Declined.SEVERAL, Declined.ANY_VALUES)
    from interlock.commands.replay.columns import AS_NAMED, read_mapping
    from interlock.commands.replay.study import explain
    from interlock.commands.replay.tell import lines_of

    mapped = AS_NAMED if mapping is None else read_mapping(mapping)
    known = tuple(fault.id for fault in loaded.live_faults) if faults else ()
    run_class = RunClass(known, faults, human)
    with terminal_line() as show:
        progress = None if show is None else lambda n_rows: show(f"{n_rows:,} samples")
        found = explain(loaded, log, mapped, run_class, moves, anywhere, max_states, progress)
    for line in lines_of(found):
        print_line(line)
    if found.limit is not None:
        return EXIT_UNDECIDED
    return EXIT_HOLDS if found.deviation is None else EXIT_VIOLATED


def _refuse_options() -> None:
    """A run file says which moves were made, so nothing is left to be explained."""
    context = click.get_current_context()
    given = [
        parameter.opts[0]
        for parameter in context.command.params
        if isinstance(parameter, click.Option)
        and parameter.name is not None
        and context.get_parameter_source(parameter.name) is ParameterSource.COMMANDLINE
    ]
    if given:
        raise click.UsageError(f"{given[0]} has no meaning for a run file, which is played")


def _replay_run(model: Model, file: Path) -> int:
    from interlock.independent_judge.run_file import read_run, replay_file

    played = replay_file(model, read_run(file))
    n_moves = len(played.happenings)
    run = f"the run of {n_moves:,} move{'s' * (n_moves != 1)}"
    print_line(f"{model.title}: {run} is one of the model")
    for id_ in played.violates:
        says = f": {model.statements[id_].says}" if id_ in model.statements else ""
        print_line(f"it violates {id_}{says}")
    for note in played.notes:
        print_line(note)
    return EXIT_VIOLATED if played.violates else EXIT_HOLDS
