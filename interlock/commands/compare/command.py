"""``interlock compare OLD NEW``: a design change, or several of them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from interlock.base import cores
from interlock.base.errors import NoClusterError, nearest
from interlock.base.files import write_each_whole, write_whole
from interlock.commands.compare.impact import Impact, find_impact
from interlock.commands.compare.revisions import Asked, compare_each, outcome_of, statement
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.options import (
    FIRST_LINE_S,
    OutputFile,
    assume_option,
    assuming,
    console_for,
    limit_options,
    limits_of,
    progress_line,
    stopped_softly,
    terminal_line,
)
from interlock.commands.outcomes import EXIT
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import Declined, load_for
from interlock.model.model import Model


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@click.option(
    "--faults",
    type=click.Choice(["claimed", "none"]),
    default="none",
    show_default=True,
    help="Compare also the minimal sets of faults, up to as many faults as requirements claim.",
)
@click.option(
    "--fault",
    "ids",
    multiple=True,
    metavar="ID",
    help="Compare also where this fault may strike, and look at no other; repeat.",
)
@click.option(
    "--ledger",
    "with_ledger",
    is_flag=True,
    help="Also ask which verdicts come to lean on an assumption, or on values of now.",
)
@assume_option
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Spread several revisions over a Dask cluster: tcp://host:port.",
)
@limit_options
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the change-impact statement: impact.md, impact.html, impact.json.",
)
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    old: Path,
    new: tuple[Path, ...],
    engine: str,
    faults: str,
    ids: tuple[str, ...],
    with_ledger: bool,
    assume: str | None,
    scheduler: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    folder: Path | None,
    json_file: Path | None,
    plain: bool,
) -> int:
    """Compare the model OLD with the model NEW, a design change of it.

    Tells what changed in the files by meaning, the verdicts side by side with what OLD asked judged
    on NEW, the shortest sequence after which an output of the two controllers differs on the same
    plant, the moves that are newly or no longer possible, and what was not looked at.

    With several NEW each is compared with OLD by itself, and they are told side by side; with -o
    each has its statement in a folder of its own.

    Exit codes: 0 if no requirement is worse in NEW (differences are told all the same); 1 if one
    is: violated or vacuous where OLD kept it, no longer asked, or asking or claiming less while
    what OLD asked is not shown to hold in NEW; 2 bad input; 3 if a limit left something undecided,
    or OLD asked of something that NEW does not have.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    if scheduler is not None and len(new) == 1:
        raise click.UsageError("--scheduler spreads several revisions, and there is one NEW")
    beyond = Declined.SEVERAL, Declined.ANY_VALUES
    before, *after = (
        assuming(load_for("'compare'", given, *beyond), assume) for given in (old, *new)
    )
    known = {id_ for model in (before, *after) for id_ in model.faults}
    for id_ in ids:
        if id_ not in known:
            raise click.UsageError(f"no fault '{id_}'{nearest(id_, sorted(known))}")
    limits = limits_of(max_states, max_seconds, max_memory)
    asked = Asked(engine, faults == "claimed", limits, ids, with_ledger)
    try:
        if len(after) > 1:
            return _several(before, after, asked, scheduler, (folder, json_file, plain))
        with stopped_softly(), progress_line() as progress:
            found = compare(
                before,
                after[0],
                engines[engine](),
                asked.with_faults,
                limits,
                progress,
                ids,
                with_ledger,
            )
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines these models: {reason}") from None
    except NoClusterError as reason:
        raise click.UsageError(str(reason)) from None
    impact = find_impact(found)
    if folder is not None:
        write_each_whole(folder, statement(found, impact))
    _tell(found, impact, json_file, plain)
    return EXIT[found.outcome]


def _several(
    old: Model,
    new: list[Model],
    asked: Asked,
    scheduler: str | None,
    wanted: tuple[Path | None, Path | None, bool],
) -> int:
    from interlock.commands.compare import tell_revisions
    from interlock.commands.compare.document import to_html, to_markdown

    folder, json_file, plain = wanted
    with stopped_softly(), _revisions_line(len(new)) as stage:
        found = compare_each(old, new, asked, cores.in_use(), scheduler, stage)
    text = tell_revisions.to_json(old, found)
    if folder is not None:
        blocks = tell_revisions.blocks(old, found)
        files = {
            f"{tell_revisions.folder_name(place, one)}/{name}": content
            for place, one in enumerate(found)
            for name, content in one.documents.items()
        }
        files["revisions.md"] = to_markdown(blocks)
        files["revisions.html"] = to_html(f"Change impact: {old.title}", blocks)
        files["revisions.json"] = text
        write_each_whole(folder, files)
    if str(json_file) == "-":
        click.echo(text, nl=False)
        return EXIT[outcome_of(found)]
    if json_file is not None:
        write_whole(json_file, text)
    tell_revisions.write(console_for(plain), old, found)
    return EXIT[outcome_of(found)]


@contextmanager
def _revisions_line(n: int) -> Iterator[Callable[[int], None]]:
    """Follows the revisions on a terminal; in a log there is a line where they are long work."""
    last = time.monotonic()

    def told(n_done: int) -> str:
        return f"{n_done} of {n} revisions compared"

    with terminal_line() as show:
        if show is None:

            def line(n_done: int) -> None:
                nonlocal last
                if time.monotonic() - last >= FIRST_LINE_S:
                    last = time.monotonic()
                    click.echo(told(n_done), err=True)

            yield line
            return
        show(told(0))
        yield lambda n_done: show(told(n_done))


def _tell(found: Comparison, impact: Impact, json_file: Path | None, plain: bool) -> None:
    from interlock.commands.compare import tell as comparison

    if json_file is not None:
        text = comparison.to_json(found, impact)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return
        write_whole(json_file, text)
    console = console_for(plain)
    comparison.write(console, found, impact)
