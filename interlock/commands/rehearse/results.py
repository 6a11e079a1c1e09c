"""What a rehearsal finds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from interlock.commands.rehearse.deviations import Anchor, Deviation
from interlock.commands.rehearse.durations import PlantTime, founded_on
from interlock.commands.rehearse.recovery import Way
from interlock.commands.rehearse.why import Reason
from interlock.independent_judge.judge import Replayed
from interlock.kernel.evaluate import State
from interlock.kernel.requirement import Outcome
from interlock.model.model import Duration, Model
from interlock.model.procedures import Procedure, Procedures, ProcedureStep


class Class(Enum):
    """What comes of a deviation, the worst first."""

    VIOLATING = "violating"
    STUCK = "stuck"
    RECOVERABLE = "recoverable"
    BLOCKED = "blocked"
    HARMLESS = "harmless"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Stand:
    """Where the procedure does not go on.

    Attributes
    ----------
    step : str or None
        Id of the step; None where all steps were done and the end is not what it should be.
    state : State
        Of the model's system, after a scan.
    reason : Reason or None
        Why it does not go on.
    """

    step: str | None
    state: State
    reason: Reason | None


@dataclass(frozen=True)
class StepResult:
    """What is known of a step as written.

    Attributes
    ----------
    step : ProcedureStep
    executable : bool
        Some run comes to its end.
    inevitable : bool or None
        Every fair run does; None where a limit was hit.
    n_starts : int
        States in which it may begin under the procedure.
    stand : Stand or None
        Where it does not go on.
    plant : PlantTime or None
        What the plant's moves take in it; None where none of them has a duration.
    also : tuple of (str, tuple of str)
        Machines of the plant that may be elsewhere when the step ends than on the run of the
        fewest moves, with the states that they may be in.
    """

    step: ProcedureStep
    executable: bool
    inevitable: bool | None
    n_starts: int
    stand: Stand | None
    plant: PlantTime | None = None
    also: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def takes(self) -> Duration | None:
        """What the procedure says, else what the plant takes; None where neither is known."""
        if self.step.takes is not None:
            return self.step.takes
        return None if self.plant is None else self.plant.takes

    @property
    def is_too_short(self) -> bool:
        """Whether the plant cannot be done in the time that the procedure gives."""
        if self.step.takes is None or self.plant is None:
            return False
        return self.step.takes.greatest < self.plant.takes.least


@dataclass(frozen=True)
class DeviationResult:
    """What comes of one deviation, or of two.

    Attributes
    ----------
    deviations : tuple of Deviation
    outcome : Class
    anchors : tuple of Anchor
        How likely each of them is, where a figure is known.
    requirement : str or None
        The violated requirement, with its replayed run.
    run : Replayed or None
    stand : Stand or None
        The first place where the procedure does not go on.
    way : Way or None
        The longest of the shortest ways back from where it does not go on; where there is none
        because of what it violates, the shortest of all, which is none.
    n_stands : int
        Different states in which it may stand.
    n_searched : int
        From how many of them the way back was looked for.
    limit : str or None
    """

    deviations: tuple[Deviation, ...]
    outcome: Class
    anchors: tuple[Anchor, ...]
    requirement: str | None = None
    run: Replayed | None = None
    stand: Stand | None = None
    way: Way | None = None
    n_stands: int = 0
    n_searched: int = 0
    limit: str | None = None


@dataclass(frozen=True)
class Rehearsed:
    """Everything about one procedure.

    Attributes
    ----------
    procedure : Procedure
    start : tuple of str or None
        Moves of a shortest run from the initial state to where it starts; None where no state to
        start from was found.
    steps : tuple of StepResult
    ends : bool
        Every run as written ends in the procedure's end condition.
    requirement : str or None
        Requirement that is violated though everything is done as written.
    singles, pairs : tuple of DeviationResult
    limit : str or None
        The limit that left something open.
    """

    procedure: Procedure
    start: tuple[str, ...] | None
    steps: tuple[StepResult, ...]
    ends: bool
    requirement: str | None
    run: Replayed | None
    singles: tuple[DeviationResult, ...] = ()
    pairs: tuple[DeviationResult, ...] = ()
    limit: str | None = None

    @property
    def takes(self) -> Duration | None:
        """Of all steps, one after the other; None where the duration of one is not known."""
        found = [step.takes for step in self.steps]
        known = [takes for takes in found if takes is not None]
        if not known or len(known) < len(found):
            return None
        return founded_on(known, sum(t.least for t in known), sum(t.greatest for t in known))

    @property
    def outcome(self) -> Outcome:
        """Holds if every step surely ends and no single deviation violates a requirement."""
        violating = any(d.outcome is Class.VIOLATING for d in self.singles)
        failing = any(step.inevitable is False for step in self.steps)
        if violating or failing or self.requirement is not None:
            return Outcome.VIOLATED
        undecided = any(d.outcome is Class.UNDECIDED for d in self.singles)
        if undecided or self.limit is not None or any(s.inevitable is None for s in self.steps):
            return Outcome.UNDECIDED
        return Outcome.HOLDS if self.start is not None and self.ends else Outcome.VIOLATED


@dataclass(frozen=True)
class Rehearsal:
    """A rehearsal of all procedures."""

    model: Model
    procedures: Procedures
    rehearsed: tuple[Rehearsed, ...]

    @property
    def outcome(self) -> Outcome:
        """Violated if anything is; else undecided if anything is; else holds."""
        outcomes = {rehearsed.outcome for rehearsed in self.rehearsed}
        order = (Outcome.VIOLATED, Outcome.UNDECIDED)
        return next((o for o in order if o in outcomes), Outcome.HOLDS)
