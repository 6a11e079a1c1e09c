"""``interlock adopt FILE``: a state chart as the plant of a model."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from interlock.base.files import write_whole
from interlock.commands.exits import EXIT_HOLDS
from interlock.commands.options import OutputFile

# Words that other readers of YAML take for truth values; in a model they are texts all the same.
_WORD = re.compile(
    r"(?!(?:true|false|on|off|yes|no|null)\Z)[A-Za-z_][A-Za-z0-9_]*\Z", re.IGNORECASE
)


@click.command("adopt")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=OutputFile(), help="File; else it is printed.")
def command(file: Path, output: Path | None) -> int:
    """Take a state chart (W3C SCXML) over as the plant of a model.

    FILE holds flat machines: one, or several as the regions of a <parallel>. Each transition has
    one event, which becomes the move's name. What a plant cannot say is refused with its place.
    """
    from interlock.commands.export.plant_yaml import to_yaml
    from interlock.commands.export.read_scxml import read_scxml

    text = to_yaml(read_scxml(file), quoted)
    if output is None:
        click.echo(text, nl=False)
    else:
        write_whole(output, text)
    return EXIT_HOLDS


def quoted(text: str) -> str:
    """The text as YAML reads it back: bare where it is a plain word, else in quotes."""
    return text if _WORD.match(text) else json.dumps(text, ensure_ascii=False)
