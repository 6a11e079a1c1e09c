"""``interlock verify MODEL``: the main job."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_whole
from interlock.commands.exits import EXIT_HOLDS, EXIT_VIOLATED
from interlock.commands.options import (
    OutputFile,
    assume_option,
    assuming,
    check_requirements,
    console_for,
    faults_option,
    limit_options,
    limits_of,
    progress_line,
    stopped_softly,
)
from interlock.commands.outcomes import exit_code
from interlock.judgement.engines import AUTOMATIC, available
from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Judge, Ledger, find_ledger
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import DeclinedError, Engine, Limits, ProgressSink, labelled
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.found import Looked, because_of_strict
from interlock.oversights.study import look, questions_for

_JUDGES: dict[str, Judge] = {"claimed": verify_claims, "none": verify}


@click.command("verify")
@click.argument("model", type=click.Path(path_type=Path))
@click.option("--only", multiple=True, metavar="ID", help="Judge only this requirement; repeat.")
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@faults_option
@assume_option
@limit_options
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--junit", "junit_file", type=OutputFile(), help="Write JUnit XML.")
@click.option("--sarif", "sarif_file", type=OutputFile(), help="Write SARIF 2.1.0.")
@click.option(
    "--evidence",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write evidence that 'recheck' can check without any engine.",
)
@click.option(
    "--runs",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Write the run of each violation: side views, timing diagram, CSV, VCD and run file.",
)
@click.option("--every-signal", is_flag=True, help="With --runs: also time what never changes.")
@click.option(
    "--ledger",
    "with_ledger",
    is_flag=True,
    help="Also ask which verdicts fall under a weaker assumption between two scans.",
)
@click.option("--strict", is_flag=True, help="End with 1 if anything is worth a look.")
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    model: Path,
    only: tuple[str, ...],
    engine: str,
    faults: str,
    assume: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    json_file: Path | None,
    junit_file: Path | None,
    sarif_file: Path | None,
    evidence: Path | None,
    runs: Path | None,
    every_signal: bool,
    with_ledger: bool,
    strict: bool,
    plain: bool,
) -> int:
    """Explore MODEL exhaustively and judge its requirements.

    MODEL is a folder with a model.yaml. For each violated requirement a shortest run is told,
    replayed beforehand on the model itself. Faults are 'harmless' where a requirement holds under
    them; else 'detected' if an alarm or a refusal comes first on every run, or 'dangerous'. What
    else is worth a look is listed with its place, and changes the exit code only with --strict.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    loaded = assuming(load(model), assume)
    check_requirements(loaded, only)
    if evidence is not None:
        from interlock.evidence.folder import check_may_write

        check_may_write(evidence)
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with stopped_softly(), progress_line() as progress:
            result, looked = _judge(loaded, engines[engine](), faults, only, limits, progress)
            ledger = None
            if with_ledger:
                judge = _JUDGES[faults]
                ledger = find_ledger(result, judge, engines[engine](), limits, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    written = [] if evidence is None else _write_evidence(evidence, result, limits)
    written += [] if runs is None else _write_runs(runs, result, every_signal)
    code = exit_code(result)
    by_strict = strict and code == EXIT_HOLDS and bool(looked.oversights)
    code = EXIT_VIOLATED if by_strict else code
    if sarif_file is not None:
        from interlock.commands.verify.sarif import LOSSES, to_sarif

        write_whole(sarif_file, to_sarif(result, looked))
        for loss in LOSSES:
            click.echo(f"not carried by SARIF: {loss}", err=True)
    if _write_data(result, looked, ledger, json_file, junit_file):
        if by_strict:
            click.echo(because_of_strict(looked), err=True)
        return code
    from interlock.commands.verify import tell as report

    report.write(console_for(plain), result, looked, by_strict, ledger)
    for line in written:
        click.echo(line)
    return code


def _judge(
    model: Model,
    engine: Engine,
    faults: str,
    only: tuple[str, ...],
    limits: Limits,
    progress: ProgressSink | None,
) -> tuple[Verification, Looked]:
    """The verdicts, and what is worth a look besides."""
    asked = questions_for(model).queries
    result = _JUDGES[faults](
        model, engine, only=only, limits=limits, progress=progress, beside=asked
    )
    cut = result.exploration.limit
    looked = look(model, result.beside, cut, engine, limits, labelled(progress, "worth a look"))
    return _with_harm(result, limits, progress), looked


def _write_data(
    result: Verification,
    looked: Looked,
    ledger: Ledger | None,
    json_file: Path | None,
    junit_file: Path | None,
) -> bool:
    """Write the files of data; tell whether the JSON was printed in place of the result."""
    if json_file is None and junit_file is None:
        return False
    from interlock.commands.verify import data

    if junit_file is not None:
        write_whole(junit_file, data.to_junit(result))
    if json_file is not None:
        text = data.to_json(result, looked, ledger)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return True
        write_whole(json_file, text)
    return False


def _with_harm(result: Verification, limits: Limits, progress: ProgressSink | None) -> Verification:
    if all(len(finding.run_class.faults) == 0 for finding in result.findings):
        return result
    # Imported only here: without faults nobody waits for the diagrams' library.
    from interlock.judgement.harm import with_harm

    return with_harm(result, limits, progress)


def _write_evidence(folder: Path, result: Verification, limits: Limits) -> list[str]:
    """Write the evidence; what is to be told of it, one line each."""
    from interlock.commands.verify.evidence import write_evidence

    with progress_line() as progress:
        written = write_evidence(folder, result, limits, progress)
    told = f"evidence: {written.folder}, {written.n_files} files, {written.n_bytes / 1e6:.1f} MB"
    open_ = [f"  {id_} is not re-checkable: {why}" for id_, why in written.not_recheckable.items()]
    return [told, *open_]


def _write_runs(folder: Path, result: Verification, every: bool) -> list[str]:
    """Write the files of each violation; what is to be told of them, one line each."""
    from interlock.commands.verify.run_files import write_runs

    missing = write_runs(folder, result, every)
    ids = [finding.requirement.id for finding in result.findings if finding.run is not None]
    told = f"runs: {', '.join(str(folder / id_) for id_ in ids) or 'no violation, none written'}"
    return [told, *(f"  {reason}" for reason in missing)]
