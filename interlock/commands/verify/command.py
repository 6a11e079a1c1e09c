"""``interlock verify MODEL``: the main job."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import is_there, write_whole
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
from interlock.commands.verify.judging import JUDGES, Judged, judge, judge_with_less_memory
from interlock.judgement.engines import AUTOMATIC, available
from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Ledger, find_ledger
from interlock.kernel.query import DeclinedError, Engine, Limits, ProgressSink
from interlock.model.files import MODEL_FILE
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.found import Looked, because_of_strict

# What is written or asked for once, by the name of its parameter.
_ONCE = {
    "json_file": "--json",
    "junit_file": "--junit",
    "sarif_file": "--sarif",
    "evidence": "--evidence",
    "runs": "--runs",
    "every_signal": "--every-signal",
    "with_ledger": "--ledger",
}


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
    help="Also ask which verdicts fall under a weaker assumption, or with older values.",
)
@click.option("--strict", is_flag=True, help="End with 1 if anything is worth a look.")
@click.option(
    "--watch",
    "watched",
    is_flag=True,
    help="Judge again what is saved, and tell what is otherwise, until Ctrl-C.",
)
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
    watched: bool,
    plain: bool,
) -> int:
    """Explore MODEL exhaustively and judge its requirements.

    MODEL is a folder with a model.yaml. For each violated requirement a shortest run is told,
    replayed beforehand on the model itself. Faults are 'harmless' where a requirement holds under
    them; else 'detected' if an alarm or a refusal comes first on every run, or 'dangerous'. What
    else is worth a look is listed with its place, and changes the exit code only with --strict.
    """
    limited = (max_states, max_seconds, max_memory)
    asked = _Asked(model, only, engine, faults, assume, limited, strict)
    if watched:
        return _watch(asked, plain)
    loaded = asked.read()
    if evidence is not None:
        from interlock.evidence.folder import check_may_write
        from interlock.model.declined import Declined, decline

        decline("'--evidence'", loaded, Declined.SEVERAL, Declined.ANY_VALUES)
        check_may_write(evidence)
    limits, ledger = asked.limits(), None
    with stopped_softly(), progress_line() as progress, asked.declining():
        # Evidence and run files are of the program itself.
        is_shown = evidence is None and runs is None
        judged = asked.judged(loaded, limits, progress, is_shown)
        result, looked = judged.result, judged.looked
        if with_ledger:
            ledger = find_ledger(result, JUDGES[faults], asked.new_engine(), limits, progress)
    written = [] if evidence is None else _write_evidence(evidence, result, limits)
    written += [] if runs is None else _write_runs(runs, result, every_signal)
    if sarif_file is not None:
        from interlock.commands.verify.sarif import LOSSES, to_sarif

        write_whole(sarif_file, to_sarif(result, looked, ledger))
        for loss in LOSSES:
            click.echo(f"not carried by SARIF: {loss}", err=True)
    if _write_data(result, looked, ledger, json_file, junit_file):
        if judged.by_strict:
            click.echo(because_of_strict(looked), err=True)
        return judged.code
    from interlock.commands.verify import tell as report

    report.write(console_for(plain), result, looked, judged.by_strict, ledger)
    for line in written:
        click.echo(line)
    return judged.code


@dataclass(frozen=True)
class _Asked:
    """What the options ask of a model, whenever it is read and judged."""

    model: Path
    only: tuple[str, ...]
    engine: str
    faults: str
    assume: str | None
    limited: tuple[int | None, float | None, int | None]
    strict: bool

    def __post_init__(self) -> None:
        engines = available()
        if self.engine not in engines:
            raise click.UsageError(f"no engine '{self.engine}'{nearest(self.engine, engines)}")

    def new_engine(self) -> Engine:
        return available()[self.engine]()

    def read(self) -> Model:
        loaded = assuming(load(self.model), self.assume)
        check_requirements(loaded, self.only)
        return loaded

    def limits(self) -> Limits:
        return limits_of(*self.limited)

    def judged(
        self,
        model: Model,
        limits: Limits,
        progress: ProgressSink | None,
        is_shown: bool = True,
    ) -> Judged:
        """The verdicts; if no more than `is_shown`, more than the program does may be explored."""
        engine = self.new_engine()
        judging = judge_with_less_memory if is_shown else judge
        return judging(model, engine, self.faults, self.only, limits, progress, self.strict)

    @contextmanager
    def declining(self) -> Iterator[None]:
        try:
            yield
        except DeclinedError as reason:
            says = f"engine {self.engine} declines this model: {reason}"
            raise click.UsageError(says) from None


def _watch(asked: _Asked, plain: bool) -> int:
    """Judge the model again and again until Ctrl-C."""
    given = click.get_current_context().params
    for name, option in _ONCE.items():
        if given[name]:
            raise click.UsageError(f"{option} is for one verification; leave it or --watch out")
    from interlock.commands.verify.tell_changes import Telling
    from interlock.commands.verify.watch import Watch

    file = asked.model if asked.model.name == MODEL_FILE else asked.model / MODEL_FILE
    if asked.only or not is_there(file):
        # What is wrong with the command itself is no matter of waiting.
        asked.read()

    def judged(model: Model) -> Judged:
        with progress_line() as progress, asked.declining():
            return asked.judged(model, asked.limits(), progress)

    return Watch(asked.read, judged, Telling(console_for(plain))).run()


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
        write_whole(junit_file, data.to_junit(result, ledger))
    if json_file is not None:
        text = data.to_json(result, looked, ledger)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return True
        write_whole(json_file, text)
    return False


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
