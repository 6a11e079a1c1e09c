"""Why what nothing violates may still not hold, and how much of its time is shown to be taken."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.evidence.asked import is_met
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.system import MoveKind
from interlock.model.build import Built
from interlock.model.model import Model
from interlock.model.reaction import ReactionTimes
from interlock.model.timing import MOST_UNITS


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


def why_not_shown(model: Model, requirement: str, n: int) -> str | None:
    """Why evidence may not show `n` scans or units of time in place of a requirement's own bound.

    More may be shown than the model asks for, never less: a response may take less than it is
    allowed, what is demanded at least may last for more.
    """
    statement = model.statements.get(requirement)
    bound = None if statement is None else statement.within
    least, most, what = 1, 0, "scans"
    if statement is not None and bound is not None:
        is_least = PATTERNS[statement.pattern].is_least
        least, most = (bound.scans, MOST_UNITS) if is_least else (1, bound.scans)
        what = "units of time" if bound.counted is MoveKind.TIME else what
    if least <= n <= most:
        return None
    return f"{requirement} within {n} {what} is not what the model allows"


def time_shown(model: Model, requirement: str, n_units: int | None) -> str:
    """How much of its time a requirement is shown to take, if more is shown than it asks for.

    Parameters
    ----------
    model : Model
    requirement : str
    n_units : int or None
        The bound that is shown; None for its own.
    """
    statement = model.statements.get(requirement)
    bound = None if statement is None else statement.within
    if statement is None or bound is None or model.timing is None or n_units is None:
        return ""
    if bound.counted is not MoveKind.TIME:
        return ""
    is_least = PATTERNS[statement.pattern].is_least
    taken = bound.ms_kept(n_units, model.timing.unit_ms, is_least) / 1000
    if is_least:
        return f"; at least {taken:g} s of the demanded {bound.says}"
    return f"; at most {taken:g} s of the allowed {bound.says}"
