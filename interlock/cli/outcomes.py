"""What several commands make of an outcome: an exit code."""

from __future__ import annotations

from interlock.cli.main import EXIT_HOLDS, EXIT_UNDECIDED, EXIT_VIOLATED
from interlock.kernel.requirement import Outcome
from interlock.studies.reaction import reaction_times
from interlock.studies.verify import Verification

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
