"""``interlock export MODEL``: a model in open formats."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base.files import write_each_whole, write_whole
from interlock.base.targets import cannot_write, check_target
from interlock.commands.exits import EXIT_HOLDS
from interlock.commands.export import write_st as programs
from interlock.model.declined import Declined, load_for
from interlock.model.files import ENDINGS
from interlock.model.model import Model

_FORMATS = ("scxml", "st", "xml")


@click.command("export")
@click.argument("model", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "wanted",
    type=click.Choice(_FORMATS),
    required=True,
    help="scxml: the plant as a state chart (W3C SCXML); st: the program as Structured Text "
    "(IEC 61131-3), laid out anew; xml: the program in the open XML exchange format (TC6 2.01).",
)
@click.option(
    "--draw",
    "drawn",
    type=click.Choice(("ladder", "blocks")),
    help="With xml: draw bodies as ladder (LD) or function blocks (FBD) where that means the same; "
    "else they are text. Charts are drawn as charts anyway.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="File, or for a program of several files a folder for these; else it is printed.",
)
def command(model: Path, wanted: str, drawn: str | None, output: Path | None) -> int:
    """Write MODEL in an open format, and tell what that format does not carry.

    The Structured Text is read again beforehand: it means the same, statement
    by statement. A program of several files is written as several, or as one
    text where the output ends in .st or is printed. In the exchange format it
    is one file. A drawn program is read again and tried beside the original
    over random scans; interlock compare decides whether they differ at all.
    """
    if drawn is not None and wanted != "xml":
        raise click.UsageError("--draw goes with --as xml")
    if output is not None and not output.is_dir():
        check_target(output)
    loaded = load_for("'export'", model, Declined.SEVERAL, Declined.ANY_VALUES)
    if wanted == "st" and output is not None and _takes_files(loaded, output):
        written = programs.of_each_file(loaded)
        for name in written.texts:
            _check_not_read(loaded, output / name)
        write_each_whole(output, written.texts)
    else:
        written = _in_one(loaded, wanted, drawn or "")
        (text,) = written.texts.values()
        if output is None:
            click.echo(text, nl=False)
        else:
            _check_not_read(loaded, output)
            write_whole(output, text)
    for loss in written.losses:
        click.echo(f"not carried: {loss}", err=True)
    return EXIT_HOLDS


def _check_not_read(model: Model, target: Path) -> None:
    """Refuse to write over what the model is read from."""
    if target.resolve() in {Path(name).resolve() for name in model.sources}:
        raise cannot_write(target, "the model itself is read from this file; nothing was written")


def _takes_files(model: Model, output: Path) -> bool:
    return len(model.program_files) > 1 and output.suffix.lower() not in ENDINGS


def _in_one(model: Model, wanted: str, drawn: str) -> programs.Written:
    if wanted == "scxml":
        return _chart(model)
    if wanted == "st":
        return programs.in_one_text(model)
    from interlock.commands.export.write_xml import in_exchange_format

    return in_exchange_format(model, drawn)


def _chart(model: Model) -> programs.Written:
    from interlock.commands.export.write_scxml import to_scxml

    chart = to_scxml(model)
    return programs.Written({"": chart.text}, chart.losses)
