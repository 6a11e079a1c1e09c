"""What several commands make of an outcome: an exit code."""

from __future__ import annotations

from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.judgement.finding import Verification
from interlock.kernel.requirement import Outcome

EXIT = {
    Outcome.HOLDS: EXIT_HOLDS,
    Outcome.VIOLATED: EXIT_VIOLATED,
    Outcome.UNDECIDED: EXIT_UNDECIDED,
}


def exit_code(result: Verification) -> int:
    """Of a verification as a whole."""
    return EXIT[result.outcome]
