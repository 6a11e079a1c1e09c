"""How much of the time that a requirement allows is ever taken: from the search that judged it."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel.requirement import Outcome, Verdict
from interlock.kernel.system import MoveKind
from interlock.model.model import Model


@dataclass(frozen=True)
class Margin:
    """The longest time that a response takes on any run, beside what is allowed.

    Attributes
    ----------
    taken_ms : int
        The least bound, in whole units of time, that would hold as well.
    allowed_ms : float
    """

    taken_ms: int
    allowed_ms: float

    @property
    def says(self) -> str:
        """It in words."""
        return f"at most {self.taken_ms / 1000:g} s of the allowed {self.allowed_ms / 1000:g} s"


def margin_of(model: Model, requirement: str, verdict: Verdict) -> Margin | None:
    """The margin of a requirement that holds; None where no time is allowed, or none ever taken."""
    statement = model.statements.get(requirement)
    if statement is None or statement.within is None or model.timing is None:
        return None
    bound = statement.within
    if bound.counted is not MoveKind.TIME or bound.ms is None:
        return None
    if verdict.outcome is not Outcome.HOLDS or verdict.scans is None:
        return None
    return Margin(verdict.scans * model.timing.unit_ms, bound.ms)
