"""``interlock testsheet MODEL``: the commissioning sheet, and its results read back."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_each_whole
from interlock.base.visible import made_visible
from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import (
    assume_option,
    assuming,
    limit_options,
    limits_of,
    progress_line,
)
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import UNTIMED, Declined, load_for


@click.command("testsheet")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for testsheet.csv, testsheet.html and with --pdf testsheet.pdf.",
)
@click.option("--pdf", is_flag=True, help="Write testsheet.pdf, too.")
@click.option(
    "--results",
    "results_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A filled-in testsheet.csv: tell what was shown and what is open.",
)
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@assume_option
@limit_options
def command(
    model: Path,
    folder: Path | None,
    pdf: bool,
    results_file: Path | None,
    engine: str,
    assume: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
) -> int:
    """Compute the commissioning sheet of MODEL: what to try in the yard and what must be seen.

    Few moves lead past everything that is to be shown: every move made, every lamp seen on and
    off, every signal shown to decide its outputs alone, every fault that can be injected.
    Exit code 0: all of it is shown, or shown impossible; 3: something is open. With --results 0:
    every row passed; 1: a row failed; 3: rows are not done.
    """
    from interlock.commands.testsheet import tell as report
    from interlock.commands.testsheet.study import make_sheet

    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    if pdf and folder is None:
        raise click.UsageError("--pdf needs a folder: -o FOLDER")
    beyond = *UNTIMED, Declined.CHANCE, Declined.LATE
    loaded = assuming(load_for("'testsheet'", model, *beyond), assume)
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with progress_line() as progress:
            sheet = make_sheet(loaded, engines[engine](), limits, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    results = None
    if results_file is not None:
        from interlock.commands.testsheet.results import read_results

        results = read_results(sheet, results_file)
    if folder is not None:
        page = report.to_html(sheet, results)
        files: dict[str, str | bytes] = {"testsheet.html": page}
        if pdf:
            files["testsheet.pdf"] = _pdf(page)
        if results is None:
            # Whoever filled it in would not want it emptied.
            files["testsheet.csv"] = report.to_csv(sheet)
        write_each_whole(folder, files)
    if results is not None:
        click.echo(made_visible(report.results_to_text(results)), nl=False)
        if results.failed:
            return EXIT_VIOLATED
        return EXIT_UNDECIDED if results.undone or results.missing else EXIT_HOLDS
    click.echo(made_visible(report.to_text(sheet)), nl=False)
    return EXIT_UNDECIDED if sheet.open else EXIT_HOLDS


def _pdf(page: str) -> bytes:
    from interlock.telling.pdf import NoPdfError, to_pdf

    try:
        return to_pdf(page)
    except NoPdfError as missing:
        raise click.UsageError(str(missing)) from None
