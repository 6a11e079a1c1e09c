"""Why what nothing violates may still not hold: never put to the test, or too late."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.evidence.asked import is_met
from interlock.model.build import Built
from interlock.model.reaction import ReactionTimes


def why_not(
    built: Built, requirement: str, n_scans: int | None, runs: Sequence[Sequence[str]]
) -> str | None:
    """Why a requirement that nothing violates cannot be said to hold; None where it can.

    Parameters
    ----------
    built : Built
    requirement : str
    n_scans : int or None
        The scans that its response is shown to take at most; None for those that it is allowed.
    runs : sequence of sequence of str
        Moves that lead to each part of its premise.

    Raises
    ------
    ValueError
        Where a run does not lead there.
    """
    statement = built.model.statements.get(requirement)
    if statement is not None and statement.within is not None:
        taken = statement.within.scans if n_scans is None else n_scans
        reaction = ReactionTimes(built.model).after(requirement, taken)
        if reaction is not None and reaction.exceeds:
            return f"its scans come in time, its milliseconds may not: {reaction.says_why}"
    return None if is_met(built, requirement, runs) else "nothing shows that it was put to the test"
