"""Shortest runs for a set of faults, replayed on the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from interlock.engines import make
from interlock.independent_judge.behind import Behind
from interlock.independent_judge.judge import Replayed, replay
from interlock.judgement.fault_sets import FaultSet
from interlock.kernel.asking import Question, ask_all
from interlock.kernel.query import Engine, Limits
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built, RunClass, build
from interlock.model.model import Model

# Harm is mostly near. What is not is sought with decision diagrams, which bear more states.
NEAR_STATES = 100_000


@dataclass(frozen=True)
class HarmRun:
    """A shortest run in which a set of faults breaks a requirement.

    Attributes
    ----------
    requirement : str
    faults : FaultSet
        In the order in which they strike in the run.
    run : Replayed
    """

    requirement: str
    faults: FaultSet
    run: Replayed

    @property
    def human_errors(self) -> tuple[str, ...]:
        """The human errors on the way, in order."""
        made = (h for h in self.run.happenings if h.kind is MoveKind.HUMAN)
        return tuple(happening.says or happening.move for happening in made)


class RunFinder:
    """Finds runs of a model in which exactly the given faults may strike.

    Parameters
    ----------
    model : Model
    engine : Engine
        One that searches breadth first.
    human : bool
        Whether human errors may happen.
    limits : Limits
        For each search.
    """

    def __init__(
        self, model: Model, engine: Engine, human: bool = False, limits: Limits = Limits()
    ) -> None:
        self._model = model
        self._engine = engine
        self._human = human
        self._limits = limits

    def shortest(self, faults: FaultSet, requirements: Sequence[str]) -> dict[str, HarmRun]:
        """A shortest run to a violation of each requirement, where one was found within the limits.

        Raises
        ------
        InternalError
            Where a run does not replay.
        """
        built = self._built(faults)
        questions = ask_all(built.system, [built.requirements[id_] for id_ in requirements])
        near = Limits(max_states=NEAR_STATES)
        witnesses, is_all = _search(self._engine, built.system, questions, near)
        far = [q for q in questions if q.requirement.id not in witnesses]
        if far and not is_all:
            witnesses |= _search(make("symbolic"), built.system, far, self._limits)[0]
        behind: dict[tuple[str, ...], Behind] = {}
        return {
            q.requirement.id: _replayed(built, q, witnesses[q.requirement.id], faults, behind)
            for q in questions
            if q.requirement.id in witnesses
        }

    def _built(self, faults: FaultSet) -> Built:
        return build(self._model, RunClass(faults, None if faults else 0, self._human))


def _search(
    engine: Engine, system: System, questions: Sequence[Question], limits: Limits
) -> tuple[dict[str, Witness], bool]:
    """The shortest run for each question that has one, and whether everything was looked at."""
    queries = [query for question in questions for query in question.violations]
    explored = engine.explore(system, queries, limits)
    answers = iter(explored.answers)
    found = {}
    for question in questions:
        given = islice(answers, len(question.violations))
        runs = [answer.witness for answer in given if answer.witness is not None]
        if runs:
            found[question.requirement.id] = min(runs, key=len)
    return found, explored.limit is None


def _replayed(
    built: Built,
    question: Question,
    witness: Witness,
    faults: FaultSet,
    behind: dict[tuple[str, ...], Behind],
) -> HarmRun:
    run = replay(built, question, witness, behind=behind)
    struck = [h.origin.struck for h in run.happenings if h.origin is not None]
    order = [id_ for id_ in dict.fromkeys(struck) if id_ is not None and id_ in faults]
    return HarmRun(question.requirement.id, tuple(order), run)
