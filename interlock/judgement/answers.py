"""From what an engine answers to the verdicts on the requirements that it was asked about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interlock.kernel.asking import Question, scans_taken
from interlock.kernel.query import (
    Answer,
    Count,
    Engine,
    Exploration,
    Limits,
    MostScans,
    Occurs,
    ProgressSink,
    Query,
    labelled,
)
from interlock.kernel.requirement import Outcome, Verdict
from interlock.kernel.system import System
from interlock.kernel.witness import Witness

Asked = dict[str, tuple[Question, Verdict]]
"""Verdicts by requirement, each with the question that was really asked."""


def queries_of(questions: Sequence[Question], beside: Sequence[Query] = ()) -> list[Query]:
    """All that is to be asked, in the order that `verdicts_of` reads the answers in."""
    queries: list[Query] = []
    for question in questions:
        queries += [*question.violations, *question.premises, *question.measures]
    return [*queries, *beside]


def explore(
    engine: Engine,
    system: System,
    questions: Sequence[Question],
    limits: Limits,
    progress: ProgressSink | None,
    beside: Sequence[Query] = (),
) -> Exploration:
    """Everything reachable in `system`, and what it answers to the questions."""
    queries = queries_of(questions, beside)
    return engine.explore(system, queries, limits, labelled(progress, "the model"))


def verdicts_of(questions: Sequence[Question], explored: Exploration) -> Asked:
    """The verdicts by requirement."""
    found = {}
    answers = iter(explored.answers)
    for question in questions:
        violations = [next(answers) for _ in question.violations]
        premises = [next(answers) for _ in question.premises]
        asked = zip(question.violations, violations, strict=True)
        measures = [answer for query, answer in asked if isinstance(query, MostScans)]
        measures += [next(answers) for _ in question.measures]
        taken = scans_taken(question.requirement, measures)
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
    asked = zip(question.violations, violations, strict=True)
    if any(_is_violated(query, answer) for query, answer in asked):
        outcome = Outcome.VIOLATED
        witness = min(runs, key=len, default=None)
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


def _is_violated(query: Query, answer: Answer) -> bool:
    """Whether a violation is found, with a run or, where none was asked for, without one."""
    if isinstance(query, Occurs | Count):
        return answer.n_states > 0
    if isinstance(query, MostScans):
        return ((query.along[-1].scans,),) == answer.values
    return bool(answer.found)


def _n_premise(question: Question, premises: list[Answer]) -> int:
    """In how many states the premise holds; 0 where part of it never does in the scope."""
    asked = list(zip(question.premises, premises, strict=True))
    if any(isinstance(query, Occurs) and not answer.n_states for query, answer in asked):
        return 0
    return min(answer.n_states for query, answer in asked if isinstance(query, Count))
