"""``interlock faults MODEL``: fault insertion, minimal sets, failure modes and effects."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from interlock.base import cores
from interlock.base.errors import NoClusterError
from interlock.base.files import write_each_whole, write_whole
from interlock.base.targets import check_target
from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED
from interlock.commands.options import (
    MOST_AT_ONCE,
    OutputFile,
    assume_option,
    assuming,
    check_requirements,
    console_for,
    limit_options,
    limits_of,
    order_of,
    print_line,
    progress_line,
    stopped_softly,
)
from interlock.commands.outcomes import EXIT
from interlock.kernel.query import DeclinedError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from interlock.commands.faults.study import FaultStudy
    from interlock.pictures.picture import Picture
    from interlock.reliability.fault_tree import FaultTree

# What to write as JSON and as CSV: None for nothing, '-' to print it.
_Files = tuple[Path | None, Path | None]
# The figures of a tree that is given directly are its author's; a model's bear two digits.
_DIGITS_OF_A_TREE = 5
# What can be asked of a tree; nothing is explored for it.
_OF_A_TREE = frozenset(("model", "order", "folder", "json_file", "csv_file", "digits", "plain"))


@click.command("faults")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--order",
    metavar="K",
    help="Most faults in a run, of a tree most events in a set that is listed; or 'all'.  "
    f"[default: all of up to {MOST_AT_ONCE} faults, else 1]",
)
@click.option("--only", multiple=True, metavar="ID", help="Look at this requirement only; repeat.")
@click.option(
    "--common-cause/--no-common-cause",
    "common_cause",
    default=None,
    help="Judge claims with common causes, too; or leave them out altogether.  "
    "[default: told, not judged]",
)
@click.option("--human", is_flag=True, help="Look at human errors, too, as a class of its own.")
@click.option(
    "--sensors/--no-sensors", default=True, help="Ask what each sensor is worth.  [default: ask]"
)
@click.option(
    "--runs",
    "n_runs",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    metavar="N",
    help="Sets of each requirement that are shown with a run: a shortest one where that is near, "
    "else one in which a scan answers each move, if there is such a run.",
)
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for trees and tables.  [default: faults/<name of the model>]",
)
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--csv", "csv_file", type=OutputFile(), help="Write the sets as CSV (- prints).")
@click.option(
    "--digits",
    type=click.IntRange(1, 12),
    metavar="N",
    help="Significant digits, for a tree given directly.  [default: 5]",
)
@assume_option
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Let a Dask cluster strike the faults that strike alone: tcp://host:port.",
)
@limit_options
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    model: Path,
    order: str | None,
    only: tuple[str, ...],
    common_cause: bool | None,
    human: bool,
    sensors: bool,
    n_runs: int,
    folder: Path | None,
    json_file: Path | None,
    csv_file: Path | None,
    digits: int | None,
    assume: str | None,
    scheduler: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    plain: bool,
) -> int:
    """Insert the faults of MODEL and find every smallest set that breaks a requirement.

    MODEL is a folder with a model.yaml, or with a fault tree (tree.yaml). The folder gets a fault
    tree for each broken requirement and the table of failure modes and effects.

    A fault is detected if on every run to harm an alarm (a red, yellow or blue lamp, a sound) or
    a refusal (another output withheld) came before; latent if it never brings either by itself.
    The exit code is 0 if every requirement survives as many faults as it claims, without common
    causes unless --common-cause is given; 3 if that was not decided.
    """
    from interlock.commands.faults.tree_file import TREE_FILE, load_tree

    if (model / TREE_FILE).is_file() or model.name == TREE_FILE:
        _refuse_others(click.get_current_context())
        files, most = (json_file, csv_file), order_of(order, 0)
        return _tree(load_tree(model), model, folder, files, digits, most, plain)
    if digits is not None:
        raise click.UsageError("--digits has no meaning for a model; its figures bear two digits")
    from interlock.commands.faults import data as fault_data
    from interlock.commands.faults.study import Options, study_faults
    from interlock.engines import catalogue
    from interlock.model.declined import Declined, decline
    from interlock.model.load import load

    loaded = assuming(load(model), assume)
    decline("'faults'", loaded, Declined.ANY_VALUES)
    check_requirements(loaded, only)
    options = Options(
        order=order_of(order, len(loaded.faults)),
        only=only,
        common_cause=common_cause is not False,
        claim_common_cause=common_cause is True,
        human=human,
        sensors=sensors,
        n_runs=n_runs,
        limits=limits_of(max_states, max_seconds, max_memory),
        n_processes=cores.in_use(),
        scheduler=scheduler,
    )
    try:
        with stopped_softly(), progress_line() as progress:
            study = study_faults(loaded, catalogue()["enumerate"](), options, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"the symbolic engine declines this model: {reason}") from None
    except NoClusterError as reason:
        raise click.UsageError(str(reason)) from None
    outcome = EXIT[study.outcome]
    makers = (partial(fault_data.to_json, study), partial(fault_data.sets_to_csv, study))
    if _is_printed((json_file, csv_file), makers):
        return outcome
    from interlock.commands.faults import tell as fault_text

    _print(fault_text.render(study), plain)
    _write(study, folder if folder is not None else Path("faults") / loaded.name)
    return outcome


def _refuse_others(asked: click.Context) -> None:
    """Refuse every option on the command line that a tree has no use for, by its name."""
    names = []
    for option in asked.command.params:
        name = option.name or ""
        is_given = asked.get_parameter_source(name) is ParameterSource.COMMANDLINE
        if is_given and name not in _OF_A_TREE:
            is_off = asked.params.get(name) is False
            names.append((option.secondary_opts if is_off else option.opts)[0])
    if names:
        listed = " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
        verb = "has" if len(names) == 1 else "have"
        raise click.UsageError(
            f"{listed} {verb} no meaning for a fault tree that is given directly"
        )


def _is_printed(files: _Files, makers: Sequence[Callable[[], str]]) -> bool:
    """Write each file that is asked for; whether one of them was printed in place of the text."""
    for file, make in zip(files, makers, strict=True):
        if file is not None and str(file) == "-":
            click.echo(make(), nl=False)
            return True
        if file is not None:
            write_whole(file, make())
    return False


def _print(what: RenderableType, plain: bool) -> None:
    console_for(plain).print(what)


def _write(study: FaultStudy, folder: Path) -> None:
    from interlock.commands.faults import fmea
    from interlock.commands.faults.pictures import draw_fault_trees

    rows = fmea.rows_of(study)
    files = {"fmea.csv": fmea.to_csv(rows), "fmea.html": fmea.to_html(rows)}
    write_each_whole(folder, files)
    for name in files:
        click.echo(str(folder / name))
    for picture in draw_fault_trees(study):
        _write_picture(picture, folder)


def _write_picture(picture: Picture, folder: Path) -> None:
    from interlock.pictures.dot import NotDrawnError, render

    check_target(folder / f"{picture.name}.svg")
    write_whole(folder / f"{picture.name}.gv", picture.text)
    try:
        write_whole(folder / f"{picture.name}.svg", render(picture.text, "svg"))
    except NotDrawnError as reason:
        click.echo(f"{picture.name}: not drawn ({reason}); the DOT text is left", err=True)
        click.echo(str(folder / f"{picture.name}.gv"))
    else:
        click.echo(str(folder / f"{picture.name}.svg"))


def _tree(
    tree: FaultTree,
    model: Path,
    folder: Path | None,
    files: _Files,
    digits: int | None,
    order: int | None,
    plain: bool,
) -> int:
    from interlock.commands.faults import tell_tree as tree_text
    from interlock.commands.faults import tree_data
    from interlock.commands.faults.tree_picture import draw_fault_tree
    from interlock.reliability.diagram import TooLargeError
    from interlock.reliability.quantify import Solution

    name = (model if model.is_dir() else model.parent).resolve().name
    try:
        solution, n_digits = Solution(tree), digits or _DIGITS_OF_A_TREE
        shown = tree_text.render(solution, n_digits, order)
        make_json = partial(tree_data.tree_to_json, solution, n_digits)
        if _is_printed(files, (make_json, partial(tree_data.tree_to_csv, solution, n_digits))):
            return EXIT_HOLDS
    except TooLargeError as limit:
        print_line(f"undecided: {limit}", err=True)
        return EXIT_UNDECIDED
    _print(shown, plain)
    _write_picture(draw_fault_tree(tree), folder if folder is not None else Path("faults") / name)
    return EXIT_HOLDS
