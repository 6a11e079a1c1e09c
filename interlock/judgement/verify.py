"""The main job: explore a model exhaustively and judge its requirements."""

from __future__ import annotations

import math
import time
from collections.abc import Collection, Sequence
from dataclasses import replace

from interlock.independent_judge.judge import replay
from interlock.judgement.finding import Finding, Verification
from interlock.kernel.observe import Question, ask, ask_together, by_memory, scans_taken
from interlock.kernel.query import (
    Answer,
    Engine,
    Exploration,
    Limits,
    ProgressSink,
    Query,
    Reach,
    labelled,
)
from interlock.kernel.requirement import Outcome, Requirement, Verdict
from interlock.kernel.system import System
from interlock.kernel.witness import Witness
from interlock.model.build import ARITHMETIC, FAULT_FREE, Built, RunClass, build
from interlock.model.model import Model
from interlock.model.reaction import ReactionTimes

# Enough to meet nearly every premise, and explored in a second.
FEW_STATES = 1_000_000

_Judged = dict[str, tuple[Question, Verdict]]


def verify(
    model: Model,
    engine: Engine,
    run_class: RunClass = FAULT_FREE,
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    beside: Sequence[Query] = (),
    tested: Collection[str] = (),
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
    tested : collection of str
        Ids of requirements known to be put to the test in a part of this class.

    Raises
    ------
    InternalError
        Where a violation does not replay on the model.
    """
    started = time.monotonic()
    built = build(model, run_class)
    # Every other verdict rests on the program's arithmetic.
    wanted = [
        r for r in built.requirements.values() if not only or r.id in only or r.id == ARITHMETIC
    ]
    plain, remembering = asked_apart(wanted, run_class)
    together = ask_together(built.system, plain)
    system = together[-1].system if together else built.system
    explored = _explore(engine, system, together, limits, progress, "the model", beside)
    verdicts = _verdicts(together, explored)
    verdicts |= _with_observers(engine, built, remembering, limits, progress)
    verdicts = _tested_in_scope(engine, built, verdicts, tested, limits, progress)
    timed = ReactionTimes(model)
    findings = []
    for requirement in wanted:
        asked, verdict = verdicts[requirement.id]
        run = None if verdict.witness is None else replay(built, asked, verdict.witness)
        reaction = timed.of(requirement.id, verdict)
        is_claim_cut = bool(model.independent_faults) and requirement.survives > _most(run_class)
        findings.append(
            Finding(
                requirement,
                verdict,
                run,
                run_class,
                reaction=reaction,
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
        tested = [id_ for id_ in ids if not findings[id_].verdict.vacuous]
        stage = verify(model, engine, classes[-1], ids, limits, progress, tested=tested)
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


def asked_apart(
    requirements: Sequence[Requirement], run_class: RunClass
) -> tuple[Sequence[Requirement], Sequence[Requirement]]:
    """What is asked of the model as it is, and what with observers beside it.

    With faults the exploration is the cost, and what observers add to it is little.
    """
    plain, remembering = by_memory(requirements)
    return (requirements, []) if run_class.faults and plain else (plain, remembering)


def _with_observers(
    engine: Engine,
    built: Built,
    requirements: Sequence[Requirement],
    limits: Limits,
    progress: ProgressSink | None,
) -> _Judged:
    """Judge the requirements that need observers: all at once, and one by one if that is too much.

    Observers mostly follow the plant, so all of them together add few states: on the demo
    vehicle seven of them cost one exploration of 1.3 times the states instead of seven.
    """
    if not requirements:
        return {}
    together = ask_together(built.system, requirements)
    explored = _explore(engine, together[-1].system, together, limits, progress, "with observers")
    verdicts = _verdicts(together, explored)
    for requirement in requirements if len(requirements) > 1 else ():
        if verdicts[requirement.id][1].outcome is Outcome.UNDECIDED:
            question = ask(built.system, requirement)
            label = requirement.id
            alone = _explore(engine, question.system, [question], limits, progress, label)
            verdicts |= _verdicts([question], alone)
    return verdicts


def _tested_in_scope(
    engine: Engine,
    built: Built,
    verdicts: _Judged,
    tested: Collection[str],
    limits: Limits,
    progress: ProgressSink | None,
) -> _Judged:
    """The verdicts; vacuous, too, where a premise occurs only outside the scope.

    What an observer must tell apart for that makes many states, and mostly a few of them show that
    the premise occurs. Only where they do not everything is explored.
    """
    doubted = [
        asked.requirement
        for id_, (asked, verdict) in verdicts.items()
        if asked.is_coarse
        and id_ not in tested
        and verdict.outcome is Outcome.HOLDS
        and not verdict.vacuous
    ]
    if not doubted:
        return verdicts
    most = FEW_STATES if limits.max_states is None else min(limits.max_states, FEW_STATES)
    few = replace(limits, max_states=most)
    together = ask_together(built.system, doubted, keeping_settled=True)
    open_ = _unmet(engine, together, few, labelled(progress, "premises in their scopes"))
    found = dict(verdicts)
    for requirement in [asked.requirement for asked in open_]:
        alone = ask(built.system, requirement, keeping_settled=True)
        label = f"premise of {requirement.id} in its scope"
        queries = [Reach(premise.where) for premise in alone.premises]
        explored = engine.explore(alone.system, queries, limits, labelled(progress, label))
        asked, verdict = verdicts[requirement.id]
        if any(answer.found is False for answer in explored.answers):
            found[requirement.id] = (asked, replace(verdict, n_premise=0))
        elif any(answer.found is None for answer in explored.answers):
            left_open = replace(verdict, outcome=Outcome.UNDECIDED, limit=explored.limit)
            found[requirement.id] = (asked, left_open)
    return found


def _unmet(
    engine: Engine, questions: Sequence[Question], limits: Limits, progress: ProgressSink | None
) -> list[Question]:
    """The questions of which some premise was not met within the limits."""
    queries = [Reach(premise.where) for asked in questions for premise in asked.premises]
    explored = engine.explore(questions[-1].system, queries, limits, progress)
    answers = iter(explored.answers)
    met = [[next(answers).found for _ in asked.premises] for asked in questions]
    return [asked for asked, found in zip(questions, met, strict=True) if not all(found)]


def _explore(
    engine: Engine,
    system: System,
    questions: Sequence[Question],
    limits: Limits,
    progress: ProgressSink | None,
    label: str,
    beside: Sequence[Query] = (),
) -> Exploration:
    queries: list[Query] = []
    for question in questions:
        queries += [*question.violations, *question.premises, *question.measures]
    queries += beside
    return engine.explore(system, queries, limits, labelled(progress, label))


def _verdicts(questions: Sequence[Question], explored: Exploration) -> _Judged:
    """The verdicts by requirement, each with the question that was really asked."""
    found = {}
    answers = iter(explored.answers)
    for question in questions:
        violations = [next(answers) for _ in question.violations]
        premises = [next(answers) for _ in question.premises]
        taken = [scans_taken(next(answers)) for _ in question.measures]
        verdict = _verdict(question, violations, premises, explored)
        if taken:
            verdict = replace(verdict, scans=taken[0])
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
