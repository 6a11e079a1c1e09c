"""``interlock advise MODEL``: when may each output be on?"""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_whole
from interlock.commands.advise.study import Advices, advise
from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import (
    OutputFile,
    console_for,
    limit_options,
    limits_of,
    progress_line,
)
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.declined import IN_TIME, load_for


@click.command("advise")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--output",
    "outputs",
    multiple=True,
    metavar="NAME",
    help="Only this output, or variable that outputs follow; repeat.",
)
@click.option("--fault", "faults", multiple=True, metavar="ID", help="May strike; repeat.")
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine of runs and checks.")
@limit_options
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    model: Path,
    outputs: tuple[str, ...],
    faults: tuple[str, ...],
    engine: str,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    json_file: Path | None,
    plain: bool,
) -> int:
    """Advise the weakest permissive of each output of MODEL that keeps its requirements.

    Two outputs in series each make the other's permissive weaker; ask for the variable that both
    follow (--output) to see what they need together.

    It is made to keep each 'never' and 'always' of single states; the other requirements are
    judged with it, and named where it does not keep them. It stands
    beside what the program says, with a run to where the program has the output on against it,
    and one to where the program has it off without need. With --fault it must also be right when
    that fault has struck; two plant states are named where no logic over the signals can be.

    Exit codes: 0 no output is on against its permissive, and that keeps every requirement; 1 one
    is on against it; 2 bad input; 3 a permissive does not keep all, or nothing could be advised.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    loaded = load_for("'advise'", model, *IN_TIME)
    known = [v.name for v in loaded.program.variables if v.kind != "VAR_INPUT"]
    for name in outputs:
        if name not in known:
            raise click.UsageError(f"the program has no '{name}' to decide{nearest(name, known)}")
    for id_ in faults:
        if id_ not in loaded.faults:
            raise click.UsageError(f"no fault '{id_}'{nearest(id_, loaded.faults)}")
    run_class = RunClass(faults, len(faults)) if faults else FAULT_FREE
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with progress_line() as progress:
            result = advise(loaded, engines[engine](), outputs, run_class, limits, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"this model is declined: {reason}") from None
    _tell(result, json_file, plain)
    if any(advice.permits_more for advice in result.advices):
        return EXIT_VIOLATED
    is_decided = all(advice.is_decided for advice in result.advices)
    return EXIT_HOLDS if is_decided else EXIT_UNDECIDED


def _tell(result: Advices, json_file: Path | None, plain: bool) -> None:
    from interlock.commands.advise import tell as report

    if json_file is not None:
        text = report.to_json(result)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return
        write_whole(json_file, text)
    console = console_for(plain)
    report.write(console, result)
