"""``interlock margins MODEL``: which other times would do?"""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import InputError, Mistake, Place, nearest
from interlock.base.files import write_whole
from interlock.commands.margins.quantities import quantities_of
from interlock.commands.margins.study import Margins, margins
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
)
from interlock.commands.outcomes import EXIT
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import Declined, decline
from interlock.model.load import load


@click.command("margins")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--only", multiple=True, metavar="ID", help="Only this requirement's verdict counts; repeat."
)
@click.option(
    "--time",
    "times",
    multiple=True,
    metavar="NAME",
    help="Only this time, by its name in the table; repeat.",
)
@faults_option
@assume_option
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@limit_options
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--svg", "svg_file", type=OutputFile(), help="Write the picture of the ranges.")
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    model: Path,
    only: tuple[str, ...],
    times: tuple[str, ...],
    faults: str,
    assume: str | None,
    engine: str,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    json_file: Path | None,
    svg_file: Path | None,
    plain: bool,
) -> int:
    """Find for each time of MODEL the values with which every verdict stays as it is.

    MODEL must have time. Each duration, preset time, bound and time from scan to scan is given
    other values, one at a time, and the model is explored with each: at doubling distances, then
    by bisection. That assumes one edge in each direction; the neighbours of each edge are tried,
    and where they tell otherwise every value up to the first change. What is nearest to its edge
    for its size comes first. A value goes up to four times what it is.

    Exit codes: 0 every requirement holds and all edges are known; 1 one is violated; 2 bad input;
    3 a limit left a verdict or an edge open.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    loaded = assuming(load(model), assume)
    decline("'margins'", loaded, Declined.ANY_VALUES)
    if loaded.timing is None:
        says = "'margins' needs a model with time: 'run: {time: {unit: 100 ms}}'"
        raise InputError([Mistake(Place(str(loaded.folder / "model.yaml"), 1, 1), says)])
    check_requirements(loaded, only)
    known = [quantity.name for quantity in quantities_of(loaded)]
    for name in times:
        if name not in known:
            raise click.UsageError(f"the model has no time '{name}'{nearest(name, known)}")
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with progress_line() as progress:
            found = margins(loaded, engines[engine](), faults, only, limits, progress, times)
    except DeclinedError as reason:
        raise click.UsageError(f"this model is declined: {reason}") from None
    if svg_file is not None:
        from interlock.commands.margins.picture import to_svg

        text = to_svg(found)
        write_whole(svg_file, text)
    _tell(found, json_file, plain)
    return EXIT[found.outcome]


def _tell(found: Margins, json_file: Path | None, plain: bool) -> None:
    from interlock.commands.margins import tell

    if json_file is not None:
        text = tell.to_json(found)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return
        write_whole(json_file, text)
    tell.write(console_for(plain), found)
