"""What became of a requirement, and of all requirements of a model: the one place that decides.

Whatever tells of a result asks a finding for its `outcome`, never the verdict behind it alone:
a response that comes too late in milliseconds is violated although every state keeps it, and what
was never put to the test does not count as holding.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.independent_judge.judge import Replayed
from interlock.judgement.detection import Harm
from interlock.judgement.margin import Margin
from interlock.kernel.query import Answer, Exploration
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.kernel.system import MoveKind
from interlock.model.build import FAULT_FREE, Built, RunClass
from interlock.model.model import Model
from interlock.model.reaction import ReactionTime

VACUOUS = "vacuous"
LEFT_FREE = (
    "Runs in time are among those that were explored; what takes longer than two scans are apart "
    "waits for a scan. That premises occur, and that what is worth a look does, was found in the "
    "same runs, some of which time may rule out; of the time taken on any run no more is said than "
    "that it is no worse."
)
"""What a verdict with durations left free leaves open."""


@dataclass(frozen=True)
class Finding:
    """A requirement with what became of it and, where a run violates it, that run replayed.

    Attributes
    ----------
    requirement : Requirement
    verdict : Verdict
        What the exploration answers.
    run : Replayed or None
    run_class : RunClass
        The class that it was judged in; where it is violated, of the fewest faults that do it.
    harm : Harm or None
        What faults mean for it, see `interlock.judgement.harm`.
    reaction : ReactionTime or None
        Of a response with a bound that came in time, as far as its scans go.
    margin : Margin or None
        Of a response with a bound in a model with time that came in time.
    is_left_out : bool
        Its premise never occurred, and it claims to survive faults that nobody asked for here.
    counted : tuple of str or None
        The moves whose times were counted: it was judged of more runs than there are in time, with
        every other duration left free. None where there is nothing of that.
    """

    requirement: Requirement
    verdict: Verdict
    run: Replayed | None
    run_class: RunClass = FAULT_FREE
    harm: Harm | None = None
    reaction: ReactionTime | None = None
    is_left_out: bool = False
    margin: Margin | None = None
    counted: tuple[str, ...] | None = None

    @property
    def is_too_late(self) -> bool:
        """Every response comes, but in the worst case later than its bound allows."""
        in_time = self.reaction is None or not self.reaction.exceeds
        return self.verdict.outcome is Outcome.HOLDS and not in_time

    @property
    def outcome(self) -> Outcome:
        """Violated, also where it is too late; undecided, also where it was never tested; holds."""
        if self.is_too_late:
            return Outcome.VIOLATED
        if self.verdict.vacuous:
            return Outcome.UNDECIDED
        return self.verdict.outcome

    @property
    def says(self) -> str:
        """The outcome in a few words, with what a reader must know of it."""
        if self.is_too_late:
            return f"{self.outcome.value} (too late)"
        if self.verdict.vacuous:
            return VACUOUS
        if self.verdict.limit is not None:
            return f"{self.outcome.value} ({self.verdict.limit})"
        return self.outcome.value

    def why(self, model: Model) -> str:
        """Why it is violated without a run, or without an answer; empty where nothing is to say."""
        if self.is_too_late and self.reaction is not None:
            return self.reaction.says_why
        if self.verdict.vacuous:
            return _why_vacuous(model, self)
        if self.verdict.doubt:
            return self.verdict.doubt
        if self.verdict.limit is not None:
            return f"limit hit, {self.verdict.limit}; nothing is known of it"
        return ""


def _why_vacuous(model: Model, finding: Finding) -> str:
    """Why a requirement was not put to the test, with what its run class leaves out."""
    run_class = finding.run_class
    may_err = any(move.kind is MoveKind.HUMAN for move in model.moves)
    without = ", without human errors" if may_err and not run_class.human else ""
    asked = "; it claims to survive faults, which were not asked for" if finding.is_left_out else ""
    return f"its premise never occurs ({run_class.says}{without}){asked}"


@dataclass(frozen=True)
class Verification:
    """Everything that one verification found.

    Attributes
    ----------
    built : Built
    findings : tuple of Finding
        In the order of the model.
    exploration : Exploration
        The exploration of the model in the first run class.
    seconds : float
        Wall time of it all.
    classes : tuple of RunClass
        The run classes that were explored, in order.
    beside : tuple of Answer
        To the queries that were asked beside the requirements.
    """

    built: Built
    findings: tuple[Finding, ...]
    exploration: Exploration
    seconds: float
    classes: tuple[RunClass, ...] = (FAULT_FREE,)
    beside: tuple[Answer, ...] = ()

    @property
    def outcome(self) -> Outcome:
        """Violated if anything is; else undecided if anything is; else holds.

        What was left out since nobody asked for faults decides nothing.
        """
        outcomes = {finding.outcome for finding in self.findings if not finding.is_left_out}
        for outcome in (Outcome.VIOLATED, Outcome.UNDECIDED):
            if outcome in outcomes:
                return outcome
        return Outcome.HOLDS

    @property
    def counts(self) -> str:
        """How many requirements there are of each outcome: ``3 holds, 1 violated, 1 vacuous``."""
        counts = dict.fromkeys([*(outcome.value for outcome in Outcome), VACUOUS], 0)
        for finding in self.findings:
            counts[VACUOUS if finding.verdict.vacuous else finding.outcome.value] += 1
        return ", ".join(f"{n} {says}" for says, n in counts.items() if n)

    @property
    def left_free(self) -> tuple[str, ...]:
        """In words which requirements were judged with durations left free, and with which."""
        alike: dict[tuple[str, ...], list[str]] = {}
        for finding in self.findings:
            if finding.counted is not None:
                alike.setdefault(finding.counted, []).append(finding.requirement.id)
        return tuple(
            f"judged with {self._free_but(counted)}: {', '.join(ids)}"
            for counted, ids in alike.items()
        )

    def _free_but(self, counted: tuple[str, ...]) -> str:
        if not counted:
            return "all durations left free"
        of = {move.name: move.machine for move in self.built.model.moves}
        whose = dict.fromkeys(of.get(name, name) for name in counted)
        return f"all durations left free but those of {', '.join(whose)}"

    @property
    def reaction_times(self) -> tuple[ReactionTime, ...]:
        """Of every finding that has one."""
        return tuple(f.reaction for f in self.findings if f.reaction is not None)
