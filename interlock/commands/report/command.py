"""``interlock report MODEL``: everything about a model for its assessor, as one page and as PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from interlock.base import cores
from interlock.base.errors import nearest
from interlock.base.folders import write_whole_folder
from interlock.base.targets import cannot_write, check_target
from interlock.commands.options import (
    assume_option,
    assuming,
    faults_option,
    limit_options,
    limits_of,
    order_of,
    print_line,
    progress_line,
    terminal_line,
)
from interlock.commands.outcomes import exit_code
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import Declined, decline, load_for

if TYPE_CHECKING:
    from interlock.commands.rating.file import Rating
    from interlock.commands.report.dossier import Dossier
    from interlock.model.model import Model

PAGE, PRINTED = "report.html", "report.pdf"
RATING = "rating.yaml"


@click.command("report")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path),
    help=f"Folder for {PAGE} and {PRINTED}.  [default: report/<name of the model>]",
)
@click.option("--pdf/--no-pdf", default=True, help="Whether to write the PDF.  [default: write]")
@click.option(
    "--leave-out",
    multiple=True,
    metavar="PARTS",
    help="Parts to leave out, with commas or repeated: faults, matrix, diagrams, procedures, "
    "rating, program. The report names them.",
)
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine for the verdicts.")
@faults_option
@click.option(
    "--order",
    metavar="K",
    help="Most faults in a run of the study of faults, or 'all'.  [default: as 'faults']",
)
@click.option(
    "--ledger",
    "with_ledger",
    is_flag=True,
    help="Also ask which verdicts fall under a weaker assumption, or with older values.",
)
@assume_option
@limit_options
def command(
    model: Path,
    folder: Path | None,
    pdf: bool,
    leave_out: tuple[str, ...],
    engine: str,
    faults: str,
    order: str | None,
    with_ledger: bool,
    assume: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
) -> int:
    """Write the report on MODEL for its assessor: one HTML page, complete in itself, and PDF.

    Scope, assumptions, boundary and cautions come first; then the thread from each hazard over
    requirements and verdicts to faults and evidence, the runs with a player, cut sets, failure
    modes, fault trees, the cause-and-effect matrix, diagrams, procedures with the operator card,
    hashes of all inputs, and a page for the assessor's own remarks. The list of inputs and outputs,
    and a matrix that the model names, are written beside it as XLSX.

    The exit code is that of 'verify'. A limit leaves undecided what it cuts short, and the report
    says so.
    """
    from interlock.commands.report.dossier import Choice, gather
    from interlock.commands.report.findings_in_words import summary
    from interlock.telling.pdf import NoPdfError, check_pdf

    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    absent = _parts(leave_out)
    loaded = assuming(load_for("'report'", model, Declined.SEVERAL), assume)
    if loaded.live_faults or loaded.map_machines:
        who = "'report' of a model with a plant or faults"
        decline(who, loaded, Declined.ANY_VALUES)
    target = folder if folder is not None else Path("report") / loaded.name
    _check_target(target)
    if pdf:
        try:
            check_pdf()
        except NoPdfError as missing:
            raise click.UsageError(f"{missing}; --no-pdf writes the page alone") from None
    procedures = None
    if "procedures" not in absent:
        from interlock.model.procedures import find_procedures

        procedures = find_procedures(loaded)
    rating = None if "rating" in absent else _rating(loaded)
    limits = limits_of(max_states, max_seconds, max_memory)
    choice = Choice(
        left_out=absent,
        claimed=faults == "claimed",
        order=order_of(order, len(loaded.faults)),
        limits=limits,
        n_processes=cores.in_use(),
        with_ledger=with_ledger,
    )
    try:
        with progress_line() as progress:
            dossier = gather(loaded, engines[engine](), choice, procedures, rating, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    for name in _write(dossier, target, pdf):
        click.echo(str(target / name))
    print_line(summary(dossier))
    return exit_code(dossier.verification)


def _parts(given: tuple[str, ...]) -> frozenset[str]:
    from interlock.commands.report.dossier import PARTS

    names = [name.strip() for text in given for name in text.split(",")]
    for name in names:
        if name not in PARTS:
            raise click.UsageError(f"no part '{name}' to leave out{nearest(name, PARTS)}")
    return frozenset(names)


def _rating(model: Model) -> Rating | None:
    """The claimed safety functions beside a model, where there are any."""
    from interlock.commands.rating.file import load_rating
    from interlock.commands.rating.study import check_names

    file = model.folder / RATING
    if not file.is_file():
        return None
    rating = load_rating(file)
    check_names(rating, model)
    return rating


def _check_target(folder: Path) -> None:
    """Refuse to replace what is no report."""
    from interlock.commands.report.wiring import MATRIX, SIGNALS

    check_target(folder, folder=True)
    own = {PAGE, PRINTED, MATRIX, SIGNALS}
    if folder.is_dir() and {file.name for file in folder.iterdir()} - own:
        says = "the folder holds something else than a report; nothing was written"
        raise cannot_write(folder, says)


def _write(dossier: Dossier, folder: Path, pdf: bool) -> list[str]:
    """Write the report, page and print in one step; the names of the files."""
    from interlock.commands.report.page import to_html
    from interlock.commands.report.wiring import workbooks
    from interlock.telling.pdf import to_pdf

    with terminal_line() as show:
        if show is not None:
            show("writing the page")
        page = to_html(dossier)
        files = {PAGE: page.encode("utf-8")}
        if pdf:
            if show is not None:
                show("printing the page")
            files[PRINTED] = to_pdf(page)
        files |= workbooks(dossier)
    write_whole_folder(folder, files)
    return list(files)
