"""``interlock compare OLD NEW``: a design change."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_each_whole, write_whole
from interlock.commands.compare.impact import Impact, find_impact
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.options import (
    OutputFile,
    assume_option,
    assuming,
    console_for,
    limit_options,
    limits_of,
    progress_line,
)
from interlock.commands.outcomes import EXIT
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import Declined, load_for


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
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
    new: Path,
    engine: str,
    faults: str,
    ids: tuple[str, ...],
    with_ledger: bool,
    assume: str | None,
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

    Exit codes: 0 if no requirement is worse in NEW (differences are told all the same); 1 if one
    is: violated or vacuous where OLD kept it, no longer asked, or asking or claiming less while
    what OLD asked is not shown to hold in NEW; 2 bad input; 3 if a limit left something undecided,
    or OLD asked of something that NEW does not have.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    beyond = Declined.SEVERAL, Declined.ANY_VALUES
    before, after = (load_for("'compare'", folder, *beyond) for folder in (old, new))
    models = assuming(before, assume), assuming(after, assume)
    known = {**models[0].faults, **models[1].faults}
    for id_ in ids:
        if id_ not in known:
            raise click.UsageError(f"no fault '{id_}'{nearest(id_, known)}")
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with progress_line() as progress:
            found = compare(
                *models,
                engines[engine](),
                faults == "claimed",
                limits,
                progress,
                ids,
                with_ledger,
            )
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines these models: {reason}") from None
    impact = find_impact(found)
    if folder is not None:
        _write(found, impact, folder)
    _tell(found, impact, json_file, plain)
    return EXIT[found.outcome]


def _write(found: Comparison, impact: Impact, folder: Path) -> None:
    from interlock.commands.compare.document import to_html, to_markdown
    from interlock.commands.compare.tell import to_json
    from interlock.commands.compare.tell_impact import impact_blocks

    blocks = impact_blocks(found, impact)
    title = f"Change impact: {found.new_model.title}"
    files = {
        "impact.md": to_markdown(blocks),
        "impact.html": to_html(title, blocks),
        "impact.json": to_json(found, impact),
    }
    write_each_whole(folder, files)


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
