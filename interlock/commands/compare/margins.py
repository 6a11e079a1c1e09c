"""How much of the time that requirements give is taken, in two models side by side."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.commands.compare.verdicts import VerdictComparison
from interlock.judgement.finding import Finding
from interlock.judgement.margin import Margin


@dataclass(frozen=True)
class MarginChange:
    """A margin that is not what it was; None where a model has none.

    Attributes
    ----------
    id : str
        Of the requirement.
    old, new : Margin or None
    """

    id: str
    old: Margin | None
    new: Margin | None

    @property
    def says(self) -> str:
        """The change in words."""
        old, new = self.old, self.new
        if old is None or new is None:
            kept = [f"before {old.says}" if old else "", f"now {new.says}" if new else ""]
            return ", ".join(word for word in kept if word) + ("" if new else ", now none")
        asked = (old.allowed_ms, old.is_least, old.is_beyond)
        if asked != (new.allowed_ms, new.is_least, False):
            return f"from {old.says} to {new.says}"
        verb = "demanded" if old.is_least else "allowed"
        taken = f"from {old.taken_ms / 1000:g} s to {new.taken_ms / 1000:g} s"
        return f"{taken} of the {verb} {old.allowed_ms / 1000:g} s"


def margin_changes(verdicts: Iterable[VerdictComparison]) -> tuple[MarginChange, ...]:
    """Every margin that is not what it was, in the order of the verdicts."""
    pairs = [(v.id, _margin(v.old), _margin(v.new)) for v in verdicts]
    return tuple(MarginChange(*pair) for pair in pairs if pair[1] != pair[2])


def _margin(finding: Finding | None) -> Margin | None:
    return None if finding is None else finding.margin
