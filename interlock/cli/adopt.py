"""``interlock adopt FILE``: a state chart as the plant of a model."""

from __future__ import annotations

import json
import re
from pathlib import Path

import click

from interlock.base.files import write_whole
from interlock.cli.main import EXIT_HOLDS
from interlock.cli.options import OutputFile

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
    from interlock.model.scxml import read_scxml, to_yaml

    text = to_yaml(read_scxml(file), _quoted)
    if output is None:
        click.echo(text, nl=False)
    else:
        write_whole(output, text)
    return EXIT_HOLDS


def _quoted(text: str) -> str:
    return text if _WORD.match(text) else json.dumps(text, ensure_ascii=False)
