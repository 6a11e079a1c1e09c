"""A shortest run for a set of faults, replayed on the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.engines import make
from interlock.independent_judge.judge import Replayed, replay
from interlock.judgement.fault_sets import FaultSet
from interlock.kernel.asking import Question, ask
from interlock.kernel.query import Engine, Limits, Query
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

    def shortest(self, faults: FaultSet, requirement: str) -> HarmRun | None:
        """A shortest run to a violation; None where none was found within the limits.

        Raises
        ------
        InternalError
            Where the run does not replay.
        """
        built = self._built(faults)
        question = ask(built.system, built.requirements[requirement])
        witness = self._search(question.system, question.violations)
        return None if witness is None else _replayed(built, question, witness, faults)

    def _built(self, faults: FaultSet) -> Built:
        return build(self._model, RunClass(faults, None if faults else 0, self._human))

    def _search(self, system: System, queries: Sequence[Query]) -> Witness | None:
        near = Limits(max_states=NEAR_STATES)
        explored = self._engine.explore(system, queries, near)
        if not any(answer.found for answer in explored.answers) and explored.limit is not None:
            explored = make("symbolic").explore(system, queries, self._limits)
        runs = [a.witness for a in explored.answers if a.found and a.witness is not None]
        return min(runs, key=len, default=None)


def _replayed(built: Built, question: Question, witness: Witness, faults: FaultSet) -> HarmRun:
    run = replay(built, question, witness)
    struck = [h.origin.struck for h in run.happenings if h.origin is not None]
    order = [id_ for id_ in dict.fromkeys(struck) if id_ is not None and id_ in faults]
    return HarmRun(question.requirement.id, tuple(order), run)
