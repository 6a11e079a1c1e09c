"""``interlock challenge MODEL``: would the requirements notice a mistake?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from interlock.base import cores
from interlock.base.errors import NoClusterError, nearest
from interlock.base.files import write_whole
from interlock.commands.challenge.defects import Region
from interlock.commands.challenge.results import DefectOutcome
from interlock.commands.challenge.study import Challenge, Choice, Progress, challenge
from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import (
    OutputFile,
    console_for,
    limit_options,
    limits_of,
    terminal_line,
)
from interlock.judgement.engines import AUTOMATIC, available
from interlock.kernel.query import DeclinedError
from interlock.model.declined import IN_TIME, load_for


@click.command("challenge")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--only",
    multiple=True,
    type=click.Choice([region.value for region in Region]),
    help="Seed defects only here; repeat.",
)
@click.option("--sample", type=click.IntRange(1), metavar="N", help="Seed N defects, drawn.")
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of the draw.")
@click.option(
    "--faults",
    type=click.Choice(["none", "claimed"]),
    default="none",
    show_default=True,
    help="Try each defect also under as many faults as requirements claim to survive.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Spread over a Dask cluster: tcp://host:port.")
@click.option("-o", "folder", type=click.Path(path_type=Path), help="Folder of the journal.")
@click.option("--engine", default=AUTOMATIC, show_default=True, help="Engine to use.")
@limit_options
@click.option("--runs", default=20, show_default=True, metavar="N", help="Tell the runs of N gaps.")
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    model: Path,
    only: tuple[str, ...],
    sample: int | None,
    seed: int,
    faults: str,
    scheduler: str | None,
    folder: Path | None,
    engine: str,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    runs: int,
    json_file: Path | None,
    plain: bool,
) -> int:
    """Seed defects in MODEL, one at a time, and see which requirement notices each.

    Defects are seeded in the program, in the sensors and in the plant's guards. Each is caught by
    a requirement, or shown to make no difference, or told as a gap with a run that ends in the
    difference. A gap that is harmless is accepted in a file gaps.yaml beside the model, with the
    reason. With a journal (-o) an interrupted run goes on where it stopped. The limits of
    states and memory are for each exploration.

    Exit codes: 0 no gap but accepted ones, 1 gaps, 2 bad input, 3 some undecided and no gap known.
    """
    engines = available()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    choice = Choice(
        regions=tuple(region for region in Region if not only or region.value in only),
        sample=sample,
        seed=seed,
        claimed=faults == "claimed",
        folder=folder,
        n_processes=cores.in_use(),
        scheduler=scheduler,
    )
    loaded = load_for("'challenge'", model, *IN_TIME)
    limits = limits_of(max_states, max_seconds, max_memory)
    try:
        with _progress_line() as progress:
            result = challenge(loaded, engines[engine](), choice, limits, progress)
    except DeclinedError as reason:
        raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    except NoClusterError as reason:
        raise click.UsageError(str(reason)) from None
    _tell(result, runs, json_file, plain)
    if result.open_gaps:
        return EXIT_VIOLATED
    return EXIT_UNDECIDED if result.with_outcome(DefectOutcome.UNDECIDED) else EXIT_HOLDS


def _tell(result: Challenge, runs: int, json_file: Path | None, plain: bool) -> None:
    from interlock.commands.challenge import tell as report

    if json_file is not None:
        text = report.to_json(result)
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return
        write_whole(json_file, text)
    console = console_for(plain)
    report.write(console, result, runs)


@contextmanager
def _progress_line() -> Iterator[Progress | None]:
    with terminal_line() as show:
        if show is None:
            yield None
            return
        yield lambda says, n_done, n_all: show(f"{n_done:,} of {n_all:,}: {says}")
