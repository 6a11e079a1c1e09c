"""``interlock rating FILE``: arithmetic of claimed safety functions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from interlock.base.files import write_whole
from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import console_for, limit_options, limits_of, progress_line

if TYPE_CHECKING:
    from interlock.commands.rating.study import Rated


@click.command("rating")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--no-model", is_flag=True, help="Only the arithmetic; insert no faults.")
@click.option("--json", "json_file", type=click.Path(path_type=Path), help="Write JSON (- prints).")
@limit_options
@click.option("--plain", is_flag=True, help="No colours and 120 columns, for logs.")
def command(
    file: Path,
    no_model: bool,
    json_file: Path | None,
    max_states: int | None,
    max_seconds: float | None,
    max_memory: int | None,
    plain: bool,
) -> int:
    """Work out the claimed safety functions in FILE, by ISO 13849-1, IEC 62061 and IEC 61508-6.

    FILE is YAML: for each function its risk, claimed category and level, and what it is known by:
    the parts of its channels, their bands, subsystems in series known by level only, or like
    channels that vote. Where it names a model, the faults of that model are inserted, and what
    they say against a claimed category is told. No performance level is awarded.

    The row of Table K.1 that a figure was read in is told; between two rows the one with the
    lower MTTFd counts. Category 2 needs its test equipment declared.

    The exit code is 1 if a claim contradicts itself, its figures, its risk or the inserted faults.
    """
    from interlock.commands.rating import data as rating_data
    from interlock.commands.rating import tell as rating_text
    from interlock.commands.rating.file import load_rating
    from interlock.commands.rating.study import rate
    from interlock.engines import catalogue
    from interlock.model.declined import Declined, load_for

    rating = load_rating(file)
    model = None
    if rating.model is not None:
        model = load_for("'rating'", rating.model, Declined.SEVERAL, Declined.ANY_VALUES)
    engine = None if no_model else catalogue()["enumerate"]()
    limits = limits_of(max_states, max_seconds, max_memory)
    with progress_line() as progress:
        rated = rate(rating, model, engine, limits, progress)
    if json_file is not None and str(json_file) == "-":
        click.echo(rating_data.to_json(rating, rated), nl=False)
        return _exit_of(rated)
    if json_file is not None:
        write_whole(json_file, rating_data.to_json(rating, rated))
    console_for(plain).print(rating_text.render(rating, rated))
    return _exit_of(rated)


def _exit_of(rated: Sequence[Rated]) -> int:
    from interlock.commands.rating.study import outcomes

    if any(outcomes(rated).values()):
        return EXIT_VIOLATED
    return EXIT_UNDECIDED if any(one.undecided for one in rated) else EXIT_HOLDS
