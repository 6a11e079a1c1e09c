"""``interlock recheck DIR``: verdicts again, from their evidence."""

from __future__ import annotations

from pathlib import Path

import click

from interlock.base import cores
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.commands.options import assume_option, jobs_option, print_line, terminal_line
from interlock.commands.recheck.results import Recheck, Status


@click.command("recheck")
@click.argument("evidence", type=click.Path(path_type=Path))
@click.option(
    "--model",
    type=click.Path(path_type=Path),
    help="The model that the evidence is of; by default where it was when that was written.",
)
@click.option(
    "--max-seconds",
    type=click.FloatRange(0, min_open=True),
    metavar="S",
    help="Time limit for each obligation.",
)
@assume_option
@jobs_option
def command(
    evidence: Path, model: Path | None, max_seconds: float | None, assume: str | None
) -> int:
    """Check the EVIDENCE that 'verify --evidence' wrote, without any engine.

    The system is built again from the model's files and translated again; of the evidence only the
    sets of states are used. The solver z3 must show that they are what they have to be: an
    invariant that implies each requirement. Runs are replayed on the model itself. Under how many
    faults a requirement is to be judged is what it claims to survive, whatever the evidence says.

    Exit code 0: every requirement of the model holds and was confirmed. 1: a violation was
    confirmed, and nothing refuted. 2: the evidence is not whole, not of this model, or does not
    show what it says. 3: of some requirement the evidence says nothing, or nothing that could be
    decided here or can be checked again, or it is of fewer faults than the requirement claims.
    """
    from interlock.commands.recheck.check import recheck
    from interlock.commands.recheck.tell import lines_of

    with terminal_line() as show:
        result = recheck(evidence, model, max_seconds, show, cores.in_use(), assume)
    for line in lines_of(result):
        print_line(line)
    return exit_code(result)


def exit_code(result: Recheck) -> int:
    """As for `verify`: a violation outweighs what is undecided; false evidence outweighs both."""
    statuses = {r.status for r in result.results}
    if Status.REFUTED in statuses:
        return EXIT_BAD_INPUT
    if any(r.outcome == "violated" and r.status is Status.CONFIRMED for r in result.results):
        return EXIT_VIOLATED
    is_whole = statuses == {Status.CONFIRMED} and not result.not_asked
    return EXIT_HOLDS if is_whole else EXIT_UNDECIDED
