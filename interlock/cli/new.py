"""``interlock new NAME``: a small model that works, to begin with."""

from __future__ import annotations

import shlex
from importlib import resources
from pathlib import Path
from string import Template

import click

from interlock.base.files import write_each_whole
from interlock.base.visible import in_one_line

_FILES = ("model.yaml", "controller.st", "README.md")
_SCHEMA = "model.schema.json"
_LONGEST = 60


@click.command("new")
@click.argument("folder", metavar="NAME", type=click.Path(path_type=Path))
def command(folder: Path) -> int:
    """Start a model of your own in the folder NAME.

    Writes a loading ramp with a latch pin, its interlock and a README: a small model whose
    requirements hold. Nothing that exists is overwritten.
    """
    name = folder.name
    _check(folder, name)
    template = resources.files("interlock.cli").joinpath("template")
    shown = shlex.quote(str(folder))
    files = {}
    for file in _FILES:
        text = Template(template.joinpath(file).read_text("utf-8"))
        files[file] = text.safe_substitute(name=name, path=shown)
    files[_SCHEMA] = resources.files("interlock.model").joinpath(_SCHEMA).read_text("utf-8")
    write_each_whole(folder, files)
    click.echo(f"wrote {', '.join(_FILES)} and {_SCHEMA} (for editors) to {shown}")
    click.echo("next:")
    click.echo(f"  interlock verify {shown}")
    click.echo(
        f"  then change {folder / 'model.yaml'} and {folder / 'controller.st'}, and verify again"
    )
    return 0


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
    taken = [file for file in (*_FILES, _SCHEMA) if (folder / file).exists()]
    if taken:
        raise click.ClickException(f"'{folder / taken[0]}' exists; nothing was written")
