"""``interlock explain WORD``: what a word of programs and model files means here."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from interlock.base.files import write_whole
from interlock.commands.exits import EXIT_HOLDS
from interlock.commands.options import OutputFile


@click.command("explain")
@click.argument("words", nargs=-1, metavar="[WORD]")
@click.option("--json", "json_file", type=OutputFile(), help="Write JSON (- prints).")
def command(words: tuple[str, ...], json_file: Path | None) -> int:
    """Explain a construct of Structured Text, a pattern, a scope, a kind of fault or an assumption.

    Of a construct: whether it is taken, left out or refused, what it means here, and an example.
    Of a pattern: its sentence, its formulas with their source, and a run that keeps it and one
    that does not. Without WORD all topics are listed.

    The exit code is 2 where nothing is called so; the nearest name is told.
    """
    from interlock.commands.explain.tell import listed, told
    from interlock.commands.explain.topics import UnknownTopicError, found, topics

    word = " ".join(words)
    try:
        chosen = found(word) if word else list(topics())
    except UnknownTopicError as unknown:
        raise click.ClickException(str(unknown)) from None
    if json_file is not None:
        text = json.dumps({"topics": [asdict(topic) for topic in chosen]}, indent=2) + "\n"
        if str(json_file) == "-":
            click.echo(text, nl=False)
            return EXIT_HOLDS
        write_whole(json_file, text)
    click.echo("\n\n".join(map(told, chosen)) if word else listed(chosen))
    return EXIT_HOLDS
