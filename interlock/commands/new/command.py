"""``interlock new NAME``: a small model that works, or one made of a program and its signals."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from importlib import resources
from pathlib import Path
from string import Template

import click

from interlock.base.errors import InputError, nearest
from interlock.base.files import write_each_whole
from interlock.base.visible import in_one_line
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS
from interlock.commands.new.signal_list import COLUMNS
from interlock.model.matrix_signs import MEANINGS

_FILES = ("model.yaml", "controller.st", "README.md")
_SCHEMA = "model.schema.json"
_LONGEST = 60


@click.command("new")
@click.argument("folder", metavar="NAME", type=click.Path(path_type=Path))
@click.argument("more", metavar="[FILES]...", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--program",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILES",
    help="A file or folder of your program in Structured Text; more may follow, or repeat.",
)
@click.option("--root", metavar="UNIT", help="The PROGRAM that is executed in each scan.")
@click.option(
    "--signals",
    type=click.Path(path_type=Path),
    metavar="LIST",
    help="The list of inputs and outputs: CSV or XLSX, columns known by their headings.",
)
@click.option(
    "--column",
    multiple=True,
    metavar="KEY=HEADING",
    help=f"Say which column is what, where it is not clear; repeat. Keys: {', '.join(COLUMNS)}.",
)
@click.option(
    "--matrix",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A matrix of causes and effects (CSV, XLSX): each of its signs becomes a requirement.",
)
@click.option(
    "--legend",
    multiple=True,
    metavar="SIGN=MEANING",
    help="What a sign of the matrix means, where it does not say so itself; repeat. Meanings: "
    f"{', '.join(MEANINGS)}.",
)
def command(
    folder: Path,
    more: tuple[Path, ...],
    program: tuple[Path, ...],
    root: str | None,
    signals: Path | None,
    column: tuple[str, ...],
    matrix: Path | None,
    legend: tuple[str, ...],
) -> int:
    """Start a model of your own in the folder NAME.

    Writes a loading ramp with a latch pin, its interlock and a README: a small model whose
    requirements hold. With --program the model is made for your own program instead, with
    --signals also from the list of its inputs and outputs: names, addresses, descriptions, colours
    of lamps. Every input is free until you model the plant, so the first 'verify' works at once;
    what is in the list or in the program alone, or differs, is told. With --matrix a matrix of
    causes and effects says what the program must do. Program and matrix are copied. Nothing that
    exists is overwritten.
    """
    name = folder.name
    _check(folder, name)
    given = (*program, *more) if program else ()
    if not given and (signals or root or column or more or matrix or legend):
        raise click.UsageError("a model of your own signals needs your program: --program FILES")
    if given:
        from interlock.commands.new.from_signals import Given, make

        named = _pairs("--column", column, "HEADING", COLUMNS)
        signs = _signs(legend)
        made = make(folder, Given(given, root, signals, named, matrix, signs))
        _check_free(folder, made.files)
        write_each_whole(folder, {**made.files, _SCHEMA: _schema()})
        for line in made.told:
            click.echo(in_one_line(line))
        return _told_next(folder)
    template = resources.files("interlock.commands.new").joinpath("template")
    shown = shlex.quote(str(folder))
    files = {}
    for file in _FILES:
        text = Template(template.joinpath(file).read_text("utf-8"))
        files[file] = text.safe_substitute(name=name, path=shown)
    files[_SCHEMA] = _schema()
    _check_free(folder, files)
    write_each_whole(folder, files)
    click.echo(f"wrote {', '.join(_FILES)} and {_SCHEMA} (for editors) to {shown}")
    click.echo("next:")
    click.echo(f"  interlock verify {shown}")
    click.echo(
        f"  then change {folder / 'model.yaml'} and {folder / 'controller.st'}, and verify again"
    )
    return EXIT_HOLDS


def _schema() -> str:
    return resources.files("interlock.model").joinpath(_SCHEMA).read_text("utf-8")


def _pairs(
    option: str, given: tuple[str, ...], what: str, known: Iterable[str] | None = None
) -> dict[str, str]:
    """What was given as ``KEY=WHAT``, by its key."""
    named = {}
    for text in given:
        key, sign, value = (part.strip() for part in text.partition("="))
        if known is not None and key not in known:
            raise click.UsageError(f"{option}: no key '{key[:40]}'{nearest(key, known)}")
        if not sign or not key or not value:
            raise click.UsageError(f"{option} '{text[:40]}': write it as KEY={what}")
        named[key] = value
    return named


def _signs(given: tuple[str, ...]) -> dict[str, str]:
    """The meaning of each sign that one was given for."""
    signs = _pairs("--legend", given, "MEANING")
    for sign, meaning in signs.items():
        if meaning not in MEANINGS:
            near = nearest(meaning, MEANINGS)
            raise click.UsageError(f"--legend {sign}: no meaning '{meaning[:40]}'{near}")
    return signs


def _told_next(folder: Path) -> int:
    """Read the model that was written, and say what to do next."""
    from interlock.model.load import load

    try:
        load(folder)
    except InputError as error:
        click.echo("before the first 'verify', mend this:", err=True)
        for mistake in error.mistakes:
            click.echo(str(mistake), err=True)
        return EXIT_BAD_INPUT
    click.echo("next:")
    click.echo(f"  interlock verify {shlex.quote(str(folder))}")
    click.echo(f"  then write your requirements into {folder / 'model.yaml'}")
    return EXIT_HOLDS


def _check(folder: Path, name: str) -> None:
    """Refuse what cannot be a model's folder, before anything is written."""
    if not name or name == "..":
        raise click.ClickException(f"'{folder}' names no new folder")
    plain = all(c.isascii() and (c.isalnum() or c in "-_") for c in name)
    if not plain or not name[0].isalnum() or len(name) > _LONGEST:
        shown = in_one_line(name[:_LONGEST])
        raise click.ClickException(
            f"'{shown}' cannot name a model: letters, digits, - and _ only, at most "
            f"{_LONGEST}, a letter or digit first"
        )
    around = folder.parent
    if not around.is_dir():
        raise click.ClickException(f"there is no folder '{around}'")
    if folder.exists() and not folder.is_dir():
        raise click.ClickException(f"'{folder}' exists and is no folder")


def _check_free(folder: Path, files: Mapping[str, object]) -> None:
    """Refuse to overwrite anything."""
    taken = [file for file in (*files, _SCHEMA) if (folder / file).exists()]
    if taken:
        raise click.ClickException(f"'{folder / taken[0]}' exists; nothing was written")
