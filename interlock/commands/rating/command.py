"""``interlock rating FILE``: arithmetic of claimed safety functions."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import console_for, limit_options, limits_of, progress_line


@click.command("rating")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--no-model", is_flag=True, help="Only the arithmetic; insert no faults.")
@limit_options
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    file: Path,
    no_model: bool,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    plain: bool,
) -> int:
    """Work out the claimed safety functions in FILE, by ISO 13849-1 and IEC 62061.

    FILE is YAML: for each function its risk, claimed category and level, and the parts of its
    channels. Where it names a model, the faults of that model are inserted, and what they say
    against a claimed category is told. No performance level is awarded.

    The exit code is 1 if a claim contradicts itself, its figures, its risk or the inserted faults.
    """
    from interlock.commands.rating import tell as rating_text
    from interlock.commands.rating.file import load_rating
    from interlock.commands.rating.study import outcomes, rate
    from interlock.engines import catalogue
    from interlock.model.load import load

    rating = load_rating(file)
    model = None if rating.model is None else load(rating.model)
    engine = None if no_model else catalogue()["enumerate"]()
    limits = limits_of(max_states, max_seconds, max_memory)
    with progress_line() as progress:
        rated = rate(rating, model, engine, limits, progress)
    console = console_for(plain)
    console.print(rating_text.render(rating, rated))
    if any(outcomes(rated).values()):
        return EXIT_VIOLATED
    return EXIT_UNDECIDED if any(one.undecided for one in rated) else EXIT_HOLDS
