"""The main job: explore a model exhaustively and judge its requirements."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from interlock.independent_judge.judge import Replayed, ReplayTimeError, replay
from interlock.judgement.answers import Asked, explore, queries_of, verdicts_of
from interlock.judgement.doubt import doubted
from interlock.judgement.engines import AUTOMATIC, listed_in_time
from interlock.judgement.few_clocks import judge_with_few_clocks
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.margin import margin_of
from interlock.kernel.asking import Question, ask_all
from interlock.kernel.query import (
    Answer,
    Engine,
    Exploration,
    Limits,
    ProgressSink,
    Query,
    labelled,
)
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.model.build import FAULT_FREE, GENERATED, Built, RunClass, build
from interlock.model.freed import can_be_freed
from interlock.model.model import Model
from interlock.model.reaction import ReactionTimes


def verify(
    model: Model,
    engine: Engine,
    run_class: RunClass = FAULT_FREE,
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    beside: Sequence[Query] = (),
    is_large: bool = False,
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
    is_large : bool
        Whether with all its clocks it is known to have more states than can be listed.

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
    judged = _judged(built, wanted, engine, limits, progress, beside, is_large)
    timed = ReactionTimes(model)
    findings = []
    for requirement in wanted:
        asked, verdict = judged.verdicts[requirement.id]
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
                counted=judged.counted.get(requirement.id),
            )
        )
    seconds = time.monotonic() - started
    return Verification(
        built, tuple(findings), judged.explored, seconds, (run_class,), judged.beside
    )


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
    is_large = any(finding.counted is not None for finding in first.findings)
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
        stage = verify(model, engine, classes[-1], ids, limits, progress, is_large=is_large)
        for found in stage.findings:
            if findings[found.requirement.id].verdict.outcome is Outcome.HOLDS:
                findings[found.requirement.id] = found
        seconds += stage.seconds
    return replace(
        first, findings=tuple(findings.values()), classes=tuple(classes), seconds=seconds
    )


@dataclass(frozen=True)
class _Judged:
    """What became of the requirements, the first exploration, and what it answers beside.

    `counted` has the moves whose times were counted, where not all were.
    """

    verdicts: Asked
    explored: Exploration
    beside: tuple[Answer, ...]
    counted: Mapping[str, tuple[str, ...] | None]


def _judged(
    built: Built,
    wanted: Sequence[Requirement],
    engine: Engine,
    limits: Limits,
    progress: ProgressSink | None,
    beside: Sequence[Query],
    is_large: bool,
) -> _Judged:
    """Judge with all clocks, or with few where those make more states than can be listed."""
    questions = ask_all(built.system, wanted)
    explored: Exploration | None = None
    may_free = engine.name == AUTOMATIC and can_be_freed(built.model)
    if not may_free:
        explored = explore(engine, built.system, questions, limits, progress, beside)
    elif not is_large:
        queries = queries_of(questions, beside)
        explored = listed_in_time(built.system, queries, limits, labelled(progress, "the model"))
    if explored is not None:
        answers = explored.answers[len(explored.answers) - len(beside) :]
        return _Judged(verdicts_of(questions, explored), explored, answers, {})
    found = judge_with_few_clocks(built, wanted, limits, progress, beside)
    verdicts = {id_: (one.question, one.verdict) for id_, one in found.judged.items()}
    counted = {id_: one.kept for id_, one in found.judged.items()}
    rest = [question for question in questions if question.requirement.id not in verdicts]
    answers, explored = found.beside, found.explored
    if rest or explored is None:
        whole = explore(engine, built.system, rest, limits, progress, () if explored else beside)
        verdicts |= verdicts_of(rest, whole)
        answers = answers if explored else whole.answers[len(whole.answers) - len(beside) :]
        explored = explored or whole
    return _Judged(verdicts, explored, answers, counted)


def _most(run_class: RunClass) -> float:
    """The most faults that may strike in a run class."""
    if not run_class.faults:
        return 0
    return math.inf if run_class.at_most is None else run_class.at_most


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
