"""The main job: explore a model exhaustively and judge its requirements."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from interlock.kernel.observe import Question, ask, needs_observer
from interlock.kernel.query import (
    Answer,
    Engine,
    Exploration,
    Limits,
    Progress,
    ProgressSink,
    Query,
)
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.kernel.system import System
from interlock.kernel.witness import Witness
from interlock.model.build import FAULT_FREE, Built, RunClass, build
from interlock.model.model import Model
from interlock.replay.judge import Replayed, replay


@dataclass(frozen=True)
class Finding:
    """A requirement with its verdict and, where violated, the replayed run."""

    requirement: Requirement
    verdict: Verdict
    run: Replayed | None


@dataclass(frozen=True)
class Verification:
    """Everything that one verification found.

    Attributes
    ----------
    built : Built
    findings : tuple of Finding
        In the order of the model.
    exploration : Exploration
        The exploration of the model itself, without observers.
    seconds : float
        Wall time of it all.
    """

    built: Built
    findings: tuple[Finding, ...]
    exploration: Exploration
    seconds: float

    @property
    def outcome(self) -> Outcome:
        """Violated if anything is; else undecided if anything is; else holds."""
        outcomes = {finding.verdict.outcome for finding in self.findings}
        for outcome in (Outcome.VIOLATED, Outcome.UNDECIDED):
            if outcome in outcomes:
                return outcome
        return Outcome.HOLDS


def verify(
    model: Model,
    engine: Engine,
    run_class: RunClass = FAULT_FREE,
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Verification:
    """Judge the requirements of `model` in a run class.

    Parameters
    ----------
    model : Model
    engine : Engine
    run_class : RunClass
    only : sequence of str
        Ids of the requirements to judge; all where empty.
    limits : Limits
        For each exploration; what they cut short is undecided.
    progress : callable, optional

    Raises
    ------
    InternalError
        Where a violation does not replay on the model.
    """
    started = time.monotonic()
    built = build(model, run_class)
    wanted = [r for r in built.requirements.values() if not only or r.id in only]
    questions = [ask(built.system, requirement) for requirement in wanted]
    plain = [q for q in questions if not needs_observer(q.requirement)]
    explored = _explore(engine, built.system, plain, limits, progress, "the model")
    verdicts = _verdicts(plain, explored)
    for question in questions:
        if needs_observer(question.requirement):
            label = question.requirement.id
            alone = _explore(engine, question.system, [question], limits, progress, label)
            verdicts |= _verdicts([question], alone)
    findings = []
    for question in questions:
        verdict = verdicts[question.requirement.id]
        run = None
        if verdict.witness is not None:
            run = replay(built, question, verdict.witness)
        findings.append(Finding(question.requirement, verdict, run))
    return Verification(built, tuple(findings), explored, time.monotonic() - started)


def _explore(
    engine: Engine,
    system: System,
    questions: Sequence[Question],
    limits: Limits,
    progress: ProgressSink | None,
    label: str,
) -> Exploration:
    queries: list[Query] = []
    for question in questions:
        queries += [*question.violations, *question.premises]
    return engine.explore(system, queries, limits, _labelled(progress, label))


def _labelled(progress: ProgressSink | None, label: str) -> ProgressSink | None:
    if progress is None:
        return None
    sink: Callable[[Progress], None] = progress

    def labelled(now: Progress) -> None:
        sink(Progress(f"{label}: {now.stage}", now.n_states, now.depth, now.seconds))

    return labelled


def _verdicts(questions: Sequence[Question], explored: Exploration) -> dict[str, Verdict]:
    found = {}
    answers = iter(explored.answers)
    for question in questions:
        violations = [next(answers) for _ in question.violations]
        premises = [next(answers) for _ in question.premises]
        found[question.requirement.id] = _verdict(question, violations, premises, explored)
    return found


def _verdict(
    question: Question, violations: list[Answer], premises: list[Answer], explored: Exploration
) -> Verdict:
    witness: Witness | None = None
    outcome, limit = Outcome.HOLDS, None
    runs = [answer.witness for answer in violations if answer.found and answer.witness]
    if any(answer.found for answer in violations):
        outcome = Outcome.VIOLATED
        witness = min(runs, key=len)
    elif any(answer.found is None for answer in violations):
        outcome, limit = Outcome.UNDECIDED, explored.limit
    return Verdict(
        requirement=question.requirement.id,
        outcome=outcome,
        witness=witness,
        n_premise=min((answer.n_states for answer in premises), default=0),
        n_states=explored.n_states,
        depth=explored.depth,
        limit=limit,
        seconds=explored.seconds,
        engine=explored.engine,
    )
