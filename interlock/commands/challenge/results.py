"""What became of a seeded defect: caught, equivalent, a gap, or undecided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import Enum
from typing import Any

from interlock.base.errors import Place
from interlock.independent_judge.story import Line
from interlock.model.build import FAULT_FREE


class DefectOutcome(Enum):
    """What became of a defect."""

    CAUGHT = "caught"
    EQUIVALENT = "equivalent"
    GAP = "gap"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class DefectResult:
    """What is known of one defect.

    Attributes
    ----------
    defect : str
        Its id.
    outcome : DefectOutcome
    run_class : str
        The run class in which it was caught or differs, in words.
    requirement : str
        The requirement that caught it.
    story : tuple of Line
        A run to the violation, or to the first difference; replayed.
    is_shortest : bool
        Whether every run to it is known to be as long or longer.
    loop_start : int or None
        Where the run is endless.
    differs : tuple of str
        For a gap: what the run ends in.
    shown_by : str
        For an equivalent defect: how that was shown.
    n_states : int
        Size of the exploration behind it.
    limit : str or None
        The limit that was hit, where undecided.
    """

    defect: str
    outcome: DefectOutcome
    run_class: str = FAULT_FREE.says
    requirement: str = ""
    story: tuple[Line, ...] = ()
    n_steps: int = 0
    loop_start: int | None = None
    differs: tuple[str, ...] = ()
    shown_by: str = ""
    n_states: int = 0
    limit: str | None = None
    is_shortest: bool = True

    def as_data(self) -> dict[str, Any]:
        """Plain data that `from_data` reads again."""
        return {**asdict(self), "outcome": self.outcome.value}

    @staticmethod
    def from_data(data: Mapping[str, Any]) -> DefectResult:
        """The result that `as_data` gave."""
        given = dict(data)
        given["outcome"] = DefectOutcome(given["outcome"])
        given["story"] = tuple(_line(line) for line in given["story"])
        given["differs"] = tuple(given["differs"])
        return DefectResult(**given)


def _line(data: Mapping[str, Any]) -> Line:
    places = tuple(Place(**place) for place in data["decided"])
    return Line(**{**data, "changes": tuple(data["changes"]), "decided": places})
