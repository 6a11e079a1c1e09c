"""``interlock schema``: the JSON Schema of model files."""

from __future__ import annotations

import json

import click


@click.command("schema")
def command() -> int:
    """Print the JSON Schema (2020-12) of model.yaml, for editors that complete and check."""
    from interlock.model.json_schema import json_schema

    click.echo(json.dumps(json_schema(), indent=2))
    return 0
