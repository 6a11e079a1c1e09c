"""``interlock export MODEL``: a model in open formats."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.errors import InternalError
from interlock.base.files import write_whole
from interlock.commands.exits import EXIT_HOLDS
from interlock.commands.options import OutputFile
from interlock.model.load import load
from interlock.model.model import Model

_FORMATS = ("scxml", "st")


@click.command("export")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "wanted",
    type=click.Choice(_FORMATS),
    required=True,
    help="scxml: the plant as a state chart (W3C SCXML); st: the program as Structured Text "
    "(IEC 61131-3), laid out anew.",
)
@click.option("-o", "--output", type=OutputFile(), help="File; else it is printed.")
def command(model: Path, wanted: str, output: Path | None) -> int:
    """Write MODEL in an open format, and tell what that format does not carry.

    The Structured Text is read again beforehand: it means the same, statement by statement.
    """
    loaded = load(model)
    text, losses = _chart(loaded) if wanted == "scxml" else _program(loaded)
    if output is None:
        click.echo(text, nl=False)
    else:
        write_whole(output, text)
    for loss in losses:
        click.echo(f"not carried: {loss}", err=True)
    return EXIT_HOLDS


def _chart(model: Model) -> tuple[str, tuple[str, ...]]:
    from interlock.commands.export.write_scxml import to_scxml

    chart = to_scxml(model)
    return chart.text, chart.losses


def _program(model: Model) -> tuple[str, tuple[str, ...]]:
    from interlock.st.load import load_project
    from interlock.st.write import write_file

    assert model.project is not None, "a model that was loaded has its project"
    file, root = model.program.place.file, model.project.root
    text = "\n".join(write_file(source) for source in model.project.files)
    # Places are no part of what is compared: names, types, values and statements are.
    written = load_project({file: text}, root).program
    if written != load_project(model.program_texts, root).program:
        raise InternalError(f"{file}: the program written anew does not mean the same")
    losses = ("comments, pragmas and layout",)
    is_one = len(model.project.files) == 1
    return text, losses if is_one else (*losses, "in which file each part stands")
