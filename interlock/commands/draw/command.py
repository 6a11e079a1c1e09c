"""``interlock draw MODEL``: diagrams."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import nearest
from interlock.base.files import write_whole
from interlock.base.targets import check_target
from interlock.commands.options import (
    assume_option,
    assuming,
    limit_options,
    limits_of,
    progress_line,
)
from interlock.commands.outcomes import EXIT
from interlock.engines import catalogue
from interlock.independent_judge.run_file import read_run
from interlock.kernel.query import DeclinedError
from interlock.kernel.requirement import Outcome
from interlock.model.declined import Declined, decline
from interlock.model.load import load
from interlock.model.model import Model
from interlock.pictures.collection import (
    KINDS,
    OF_SAVED_RUNS,
    UNTIMED,
    Drawn,
    draw_model,
    draw_saved_run,
)
from interlock.pictures.dot import FORMATS, NotDrawnError, render
from interlock.pictures.picture import Picture

_ONLY = "Draw only this; repeat. " + "; ".join(f"{k}: {says}" for k, says in KINDS.items()) + "."


@click.command("draw")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write to.  [default: diagrams/<name of the model>]",
)
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=click.Choice([*FORMATS, "gv"]),
    help="Format of the pictures; repeat.  [default: svg and gv]",
)
@click.option("--only", multiple=True, metavar="KIND", help=_ONLY)
@click.option(
    "--run",
    "run_file",
    type=click.Path(path_type=Path),
    help="Draw this saved run instead: its side views and its timing diagram.",
)
@click.option("--engine", default="symbolic", show_default=True, help="Engine to use.")
@click.option("--every-signal", is_flag=True, help="Time what never changes, too.")
@click.option("--dpi", type=click.IntRange(30, 600), help="Dots per inch of PNG pictures.")
@assume_option
@limit_options
def command(
    model: Path,
    folder: Path | None,
    formats: tuple[str, ...],
    only: tuple[str, ...],
    run_file: Path | None,
    engine: str,
    every_signal: bool,
    dpi: int | None,
    assume: str | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
) -> int:
    """Draw the diagrams of MODEL.

    The folder gets a file for each picture and format; a gv file is the DOT text that the others
    are drawn from. Side views and timing diagrams are SVG whatever the format. With 'runs',
    'steps', 'timing' or a matrix of the model's own ('demands') the requirements are judged, too,
    and a violated one ends in exit code 1.
    Without a program that draws, the DOT texts are left.
    """
    engines = catalogue()
    if engine not in engines:
        raise click.UsageError(f"no engine '{engine}'{nearest(engine, engines)}")
    for kind in only:
        if kind not in KINDS:
            raise click.UsageError(f"no picture '{kind}'{nearest(kind, KINDS)}")
    loaded = assuming(load(model), assume)
    decline("'draw'", loaded, Declined.ANY_VALUES, Declined.SEVERAL)
    kinds = _kinds_of(loaded, only)
    if run_file is not None:
        drawn = _saved(loaded, run_file, only, every_signal)
    else:
        limits = limits_of(max_states, max_seconds, max_memory)
        try:
            with progress_line() as progress:
                drawn = draw_model(
                    loaded,
                    engines[engine](),
                    kinds,
                    limits=limits,
                    progress=progress,
                    every=every_signal,
                )
        except DeclinedError as reason:
            raise click.UsageError(f"engine {engine} declines this model: {reason}") from None
    target = folder if folder is not None else Path("diagrams") / loaded.name
    has_time = loaded.timing is not None and not only and run_file is None
    left_out = UNTIMED if has_time else ()
    _write(drawn, target, formats or ("svg", "gv"), dpi, only, left_out)
    return EXIT[drawn.outcome]


def _kinds_of(model: Model, only: tuple[str, ...]) -> tuple[str, ...]:
    """What to draw: what is asked for, else all that can be."""
    if model.timing is None:
        return only or tuple(KINDS)
    for kind in only:
        if kind in UNTIMED:
            decline(f"'draw --only {kind}'", model, Declined.TIME)
    return only or tuple(kind for kind in KINDS if kind not in UNTIMED)


def _saved(model: Model, file: Path, only: tuple[str, ...], every: bool) -> Drawn:
    for kind in only:
        if kind not in OF_SAVED_RUNS:
            said = f"a saved run has no picture '{kind}'{nearest(kind, OF_SAVED_RUNS)}"
            raise click.UsageError(said)
    kinds = only or OF_SAVED_RUNS
    return Drawn(tuple(draw_saved_run(model, file.stem, read_run(file), kinds, every)), None)


def _write(
    drawn: Drawn,
    folder: Path,
    formats: tuple[str, ...],
    dpi: int | None,
    kinds: tuple[str, ...],
    left_out: tuple[str, ...] = (),
) -> None:
    for picture in drawn.pictures:
        ends = ("svg",) if picture.is_svg else formats if picture.text else ()
        for name in (*(f"{picture.name}.{end}" for end in ends), *picture.tables):
            check_target(folder / name)
    for picture in drawn.pictures:
        ends = ("svg",) if picture.is_svg else tuple(dict.fromkeys(formats))
        for format_ in ends if picture.text else ():
            _write_one(picture, folder, format_, dpi)
        for name, content in picture.tables.items():
            write_whole(folder / name, content)
            click.echo(str(folder / name))
    if drawn.left_out:
        names = ", ".join(drawn.left_out)
        click.echo(f"remembered, with too much to be drawn: {names}", err=True)
    if left_out:
        click.echo(f"not drawn of a model with time: {', '.join(left_out)}", err=True)
    if drawn.verification is not None and drawn.outcome is Outcome.HOLDS:
        click.echo("no requirement is violated: no run to draw", err=True)
    elif not drawn.pictures:
        click.echo(f"nothing to draw: the model has no {', '.join(kinds)}", err=True)


def _write_one(picture: Picture, folder: Path, format_: str, dpi: int | None) -> None:
    if picture.is_svg:
        write_whole(folder / f"{picture.name}.svg", picture.text)
        click.echo(str(folder / f"{picture.name}.svg"))
        return
    if format_ != "gv":
        try:
            content = render(picture.text, format_, dpi)
        except NotDrawnError as reason:
            click.echo(
                f"{picture.name}: not drawn ({reason}); the DOT text is left, see "
                "'interlock doctor'",
                err=True,
            )
            format_ = "gv"
        else:
            write_whole(folder / f"{picture.name}.{format_}", content)
    if format_ == "gv":
        write_whole(folder / f"{picture.name}.gv", picture.text)
    click.echo(str(folder / f"{picture.name}.{format_}"))
