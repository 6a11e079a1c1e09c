"""What a check of evidence finds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from interlock.model.build import RunClass
from interlock.model.model import Model


class Status(Enum):
    """What became of one verdict of the evidence."""

    CONFIRMED = "confirmed"
    FOR_LESS = "confirmed for less than it claims"  # under fewer faults
    UNDECIDED = "undecided"  # the solver ran out of time, or the verdict was none
    OPEN = "not re-checkable"  # the evidence says why
    REFUTED = "refuted"


@dataclass(frozen=True)
class Rechecked:
    """One requirement: what the evidence says of it and what became of that.

    Attributes
    ----------
    requirement : str
    outcome : str
        The verdict that the evidence is of.
    run_class : RunClass
        Derived from the model's claims, never what the evidence makes of it.
    n_claimed : int
        Under so many faults it is to be judged.
    status : Status
    says : str
    """

    requirement: str
    outcome: str
    run_class: RunClass
    n_claimed: int
    status: Status
    says: str


@dataclass(frozen=True)
class Recheck:
    """Everything that a check of evidence found.

    Attributes
    ----------
    model : Model
    solver : str
        Version of the solver.
    results : tuple of Rechecked
    not_asked : tuple of str
        Requirements of the model that the evidence says nothing of.
    n_obligations : int
    slowest : tuple of str and float
        The obligation that took longest, with its seconds.
    """

    model: Model
    solver: str
    results: tuple[Rechecked, ...]
    not_asked: tuple[str, ...]
    n_obligations: int
    slowest: tuple[str, float]
