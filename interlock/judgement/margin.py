"""How much of the time that a requirement gives is ever taken: from the search that judged it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from interlock.kernel.patterns import MEASURED, PATTERNS
from interlock.kernel.requirement import Outcome, Verdict
from interlock.kernel.system import MoveKind
from interlock.model.model import Model


@dataclass(frozen=True)
class Margin:
    """The longest time that something takes on any run, or the shortest, beside what is asked.

    Attributes
    ----------
    taken_ms : int
        The least bound, in whole units of time, that would hold as well; of what is demanded at
        least the greatest.
    allowed_ms : float
        What is allowed at most, or demanded at least.
    is_least : bool
        Whether it is demanded at least.
    is_beyond : bool
        Whether no run breaks it within `taken_ms`, up to which it was measured.
    """

    taken_ms: int
    allowed_ms: float
    is_least: bool = False
    is_beyond: bool = False

    @property
    def says(self) -> str:
        """It in words."""
        taken, asked = f"{self.taken_ms / 1000:g} s", f"{self.allowed_ms / 1000:g} s"
        if self.is_beyond:
            return f"nothing breaks it within {taken}, where {asked} are demanded"
        if self.is_least:
            return f"at least {taken} of the demanded {asked}"
        return f"at most {taken} of the allowed {asked}"


def margin_data(margin: Margin) -> dict[str, Any]:
    """A margin as data."""
    return {
        "taken_ms": margin.taken_ms,
        "within_ms": margin.allowed_ms,
        **({"is_least": True} if margin.is_least else {}),
        **({"is_beyond": True} if margin.is_beyond else {}),
    }


def margin_of(model: Model, requirement: str, verdict: Verdict) -> Margin | None:
    """The margin of a requirement that holds; None where no time is given, or none ever taken."""
    statement = model.statements.get(requirement)
    if statement is None or statement.within is None or model.timing is None:
        return None
    bound, row = statement.within, PATTERNS[statement.pattern]
    if bound.counted is not MoveKind.TIME or bound.ms is None:
        return None
    if verdict.outcome is not Outcome.HOLDS or not row.is_measured(statement.scope):
        return None
    unit_ms = model.timing.unit_ms
    if verdict.scans is not None:
        return Margin(verdict.scans * unit_ms, bound.ms, row.is_least)
    if row.is_least and verdict.n_premise:
        return Margin(MEASURED * bound.scans * unit_ms, bound.ms, is_least=True, is_beyond=True)
    return None
