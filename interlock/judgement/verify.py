"""The main job: explore a model exhaustively and judge its requirements."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace

from interlock.independent_judge.judge import Replayed, ReplayTimeError, replay
from interlock.judgement.doubt import doubted
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.margin import margin_of
from interlock.kernel.asking import Question, ask_all, scans_taken
from interlock.kernel.query import (
    Answer,
    Count,
    Engine,
    Exploration,
    Limits,
    Occurs,
    ProgressSink,
    Query,
    labelled,
)
from interlock.kernel.requirement import Outcome, Verdict
from interlock.kernel.system import System
from interlock.kernel.witness import Witness
from interlock.model.build import FAULT_FREE, GENERATED, Built, RunClass, build
from interlock.model.model import Model
from interlock.model.reaction import ReactionTimes

_Judged = dict[str, tuple[Question, Verdict]]


def verify(
    model: Model,
    engine: Engine,
    run_class: RunClass = FAULT_FREE,
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    beside: Sequence[Query] = (),
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
    beside : sequence of Query
        More questions about the model, answered by the same exploration.

    Raises
    ------
    InternalError
        Where a violation does not replay on the model.
    """
    started = time.monotonic()
    built = build(model, run_class)
    # Every other verdict rests on the program's arithmetic, and on time that can go on.
    wanted = [
        r for r in built.requirements.values() if not only or r.id in only or r.id in GENERATED
    ]
    questions = ask_all(built.system, wanted)
    explored = _explore(engine, built.system, questions, limits, progress, beside)
    verdicts = _verdicts(questions, explored)
    timed = ReactionTimes(model)
    findings = []
    for requirement in wanted:
        asked, verdict = verdicts[requirement.id]
        verdict, run = _replayed(built, asked, doubted(model, requirement, verdict), limits)
        reaction = timed.of(requirement.id, verdict)
        is_claim_cut = bool(model.independent_faults) and requirement.survives > _most(run_class)
        findings.append(
            Finding(
                requirement,
                verdict,
                run,
                run_class,
                reaction=reaction,
                margin=margin_of(model, requirement.id, verdict),
                is_left_out=verdict.vacuous and is_claim_cut,
            )
        )
    seconds = time.monotonic() - started
    answers = explored.answers[len(explored.answers) - len(beside) :]
    return Verification(built, tuple(findings), explored, seconds, (run_class,), answers)


def verify_claims(
    model: Model,
    engine: Engine,
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    beside: Sequence[Query] = (),
) -> Verification:
    """Judge every requirement without faults, then under one, two, … as far as it claims.

    What is violated under some faults is violated under more, so it is judged no further. Common
    causes are left out: a claim counts independent component faults. The arithmetic of the program
    is judged in every class that any other requirement is judged in.

    Parameters and errors as for `verify`; what is asked `beside` is asked without faults.
    """
    first = verify(model, engine, FAULT_FREE, only, limits, progress, beside)
    independent = model.independent_faults
    findings = {finding.requirement.id: finding for finding in first.findings}
    classes = [FAULT_FREE]
    claimed = max((f.requirement.survives for f in first.findings), default=0)
    seconds = first.seconds
    for n_faults in range(1, claimed + 1) if independent else ():
        ids = [
            id_
            for id_, finding in findings.items()
            if finding.requirement.survives >= n_faults and finding.verdict.outcome is Outcome.HOLDS
        ]
        if not ids:
            break
        classes.append(RunClass(independent, n_faults))
        stage = verify(model, engine, classes[-1], ids, limits, progress)
        for found in stage.findings:
            if findings[found.requirement.id].verdict.outcome is Outcome.HOLDS:
                findings[found.requirement.id] = found
        seconds += stage.seconds
    return replace(
        first, findings=tuple(findings.values()), classes=tuple(classes), seconds=seconds
    )


def _most(run_class: RunClass) -> float:
    """The most faults that may strike in a run class."""
    if not run_class.faults:
        return 0
    return math.inf if run_class.at_most is None else run_class.at_most


def _explore(
    engine: Engine,
    system: System,
    questions: Sequence[Question],
    limits: Limits,
    progress: ProgressSink | None,
    beside: Sequence[Query],
) -> Exploration:
    queries: list[Query] = []
    for question in questions:
        queries += [*question.violations, *question.premises, *question.measures]
    queries += beside
    return engine.explore(system, queries, limits, labelled(progress, "the model"))


def _replayed(
    built: Built, asked: Question, verdict: Verdict, limits: Limits
) -> tuple[Verdict, Replayed | None]:
    """The run of a violation on the model; what could not be replayed in time is undecided."""
    if verdict.witness is None:
        return verdict, None
    try:
        return verdict, replay(built, asked, verdict.witness, until=limits.until)
    except ReplayTimeError:
        limit = f"seconds {limits.max_seconds:g}"
        return replace(verdict, outcome=Outcome.UNDECIDED, limit=limit, witness=None), None


def _verdicts(questions: Sequence[Question], explored: Exploration) -> _Judged:
    """The verdicts by requirement, each with the question that was really asked."""
    found = {}
    answers = iter(explored.answers)
    for question in questions:
        violations = [next(answers) for _ in question.violations]
        premises = [next(answers) for _ in question.premises]
        taken = scans_taken(question.requirement, [next(answers) for _ in question.measures])
        verdict = _verdict(question, violations, premises, explored)
        verdict = replace(verdict, scans=taken)
        found[question.requirement.id] = (question, verdict)
    return found


def _verdict(
    question: Question, violations: list[Answer], premises: list[Answer], explored: Exploration
) -> Verdict:
    witness: Witness | None = None
    outcome, limit = Outcome.HOLDS, None
    runs = [answer.witness for answer in violations if answer.found and answer.witness is not None]
    if any(answer.found for answer in violations):
        outcome = Outcome.VIOLATED
        witness = min(runs, key=len)
    elif any(answer.found is None for answer in (*violations, *premises)):
        outcome, limit = Outcome.UNDECIDED, explored.limit
    return Verdict(
        requirement=question.requirement.id,
        outcome=outcome,
        witness=witness,
        n_premise=_n_premise(question, premises),
        n_states=explored.n_states,
        depth=explored.depth,
        limit=limit,
        seconds=explored.seconds,
        engine=explored.engine,
        because=explored.because,
    )


def _n_premise(question: Question, premises: list[Answer]) -> int:
    """In how many states the premise holds; 0 where part of it never does in the scope."""
    asked = list(zip(question.premises, premises, strict=True))
    if any(isinstance(query, Occurs) and not answer.n_states for query, answer in asked):
        return 0
    return min(answer.n_states for query, answer in asked if isinstance(query, Count))
