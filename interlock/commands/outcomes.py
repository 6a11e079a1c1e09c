"""What several commands make of an outcome: an exit code."""

from __future__ import annotations

from interlock.commands.exits import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.judgement.reaction import reaction_times
from interlock.judgement.verify import Verification
from interlock.kernel.requirement import Outcome

EXIT = {
    Outcome.HOLDS: EXIT_HOLDS,
    Outcome.VIOLATED: EXIT_VIOLATED,
    Outcome.UNDECIDED: EXIT_UNDECIDED,
}


def exit_code(result: Verification) -> int:
    """A reaction time that is too long is a violation, whatever its program does."""
    if result.outcome is Outcome.HOLDS and any(t.exceeds for t in reaction_times(result)):
        return EXIT_VIOLATED
    return EXIT[result.outcome]
