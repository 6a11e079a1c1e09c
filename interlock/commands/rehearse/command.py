"""``interlock rehearse MODEL``: procedures and human deviations."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_each_whole
from interlock.commands.options import (
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
from interlock.model.declined import load_for


@click.command("rehearse")
@click.argument("model", type=click.Path(path_type=Path))
@click.option("--procedure", multiple=True, metavar="ID", help="Only this procedure; repeat.")
@click.option("--pairs", is_flag=True, help="Two deviations in one procedure, too; takes longer.")
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for card.html, rehearsal.json and rehearsal.csv.",
)
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@assume_option
@limit_options
@click.option("--plain", is_flag=True, help="No colours and 160 columns, for logs.")
def command(
    model: Path,
    procedure: tuple[str, ...],
    pairs: bool,
    folder: Path | None,
    engine: str,
    assume: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    plain: bool,
) -> int:
    """Rehearse the procedures of MODEL: as written, and with human deviations.

    MODEL is a folder with a model.yaml and a procedures.yaml. Exit code 0: every step can be
    done and surely ends, and no single deviation violates a requirement.
    """
    from interlock.commands.rehearse.study import BEYOND, Rehearser
    from interlock.model.procedures import load_procedures

    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    loaded = assuming(load_for("'rehearse'", model, *BEYOND), assume)
    procedures = load_procedures(loaded)
    for id_ in procedure:
        if id_ not in procedures.procedures:
            near = nearest(id_, procedures.procedures)
            raise click.UsageError(f"no procedure '{id_}'{near}")
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with progress_line() as progress:
            rehearser = Rehearser(loaded, procedures, engines[engine](), limits, progress)
            result = rehearser.rehearse(procedure, pairs)
            if folder is not None:
                from interlock.commands.rehearse import printed_card as rehearsal_card
                from interlock.commands.rehearse.card import make_card

                card = rehearsal_card.to_html(result, make_card(rehearser.recovery))
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    from interlock.commands.rehearse import tell as report

    if folder is not None:
        files = {"rehearsal.json": report.to_json(result), "rehearsal.csv": report.to_csv(result)}
        write_each_whole(folder, {"card.html": card, **files})
    console = console_for(plain, 160)
    report.write(console, result)
    return EXIT[result.outcome]
