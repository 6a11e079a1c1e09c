"""Runs for a set of faults, replayed on the model.

What is near is listed state by state, so its runs are shortest ones. What is not is a run in which
a scan answers each move, where one leads there, else one of the fewest moves and scans: such runs
are soon found, and no two moves between the same two scans are needed to understand them. One to a
state from which no way leads back ends, where it can, in what follows its faults striking right
behind power-up, though another such state may be nearer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from interlock.commands.faults.singles import shared
from interlock.engines import make
from interlock.independent_judge.behind import Behind
from interlock.independent_judge.judge import Replayed, replay
from interlock.judgement.fault_sets import FaultSet
from interlock.kernel.asking import Question, ask, ask_all, barring
from interlock.kernel.expr import Expr, and_, not_, or_, var
from interlock.kernel.query import Engine, Limits, Query, Trap
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built, RunClass, build, counted_flag
from interlock.model.model import Model

# Harm is mostly near. What is not is sought with decision diagrams, which bear more states.
NEAR_STATES = 100_000


@dataclass(frozen=True)
class HarmRun:
    """A run in which a set of faults breaks a requirement.

    Attributes
    ----------
    requirement : str
    faults : FaultSet
        In the order in which they strike in the run.
    run : Replayed
    is_near : bool
        Whether it was found by listing few states, and so is a shortest one.
    """

    requirement: str
    faults: FaultSet
    run: Replayed
    is_near: bool

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
        """A run to a violation of each requirement, where one was found within the limits.

        Raises
        ------
        InternalError
            Where a run does not replay.
        """
        found, far = self._near(faults, requirements)
        if far:
            found |= {id_: run for (id_, _), run in self._far({faults: far}).items()}
        return {id_: found[id_] for id_ in requirements if id_ in found}

    def of_all(
        self, wanted: Mapping[FaultSet, Sequence[str]], stage: Callable[[str], None]
    ) -> dict[tuple[str, FaultSet], HarmRun]:
        """As `shortest` for each set of faults, none of which may be larger than it has to be.

        Faults that are enough alone share the search for what is not near: of these a run breaks
        nothing before its fault has struck, and no other strikes after that.
        """
        runs: dict[tuple[str, FaultSet], HarmRun] = {}
        alone: dict[FaultSet, Sequence[str]] = {}
        for faults, ids in wanted.items():
            stage(f"runs to {', '.join(ids)} with {', '.join(faults) or 'no fault'}")
            near, far = self._near(faults, ids)
            runs |= {(id_, faults): run for id_, run in near.items()}
            if far and len(faults) == 1:
                alone[faults] = far
            elif far:
                runs |= self._far({faults: far})
        for some in shared(list(alone)):
            stage(f"runs with {' or '.join(fault for (fault,) in some)}")
            runs |= self._far({faults: alone[faults] for faults in some})
        return runs

    def _near(
        self, faults: FaultSet, requirements: Sequence[str]
    ) -> tuple[dict[str, HarmRun], list[str]]:
        """The runs that are soon found by listing states, and what is left to look for."""
        built = self._built(faults)
        questions = ask_all(built.system, [built.requirements[id_] for id_ in requirements])
        asked = [question.violations for question in questions]
        near = Limits(max_states=NEAR_STATES)
        witnesses, is_all = _search(self._engine, built.system, asked, near)
        behind: dict[tuple[str, ...], Behind] = {}
        found = {
            question.requirement.id: _replayed(
                built, question, witness, faults, behind, is_near=True
            )
            for question, witness in zip(questions, witnesses, strict=True)
            if witness is not None
        }
        return found, [] if is_all else [id_ for id_ in requirements if id_ not in found]

    def _far(self, wanted: Mapping[FaultSet, Sequence[str]]) -> dict[tuple[str, FaultSet], HarmRun]:
        """Runs by diagrams; of several sets of faults each must be one fault."""
        together = tuple(fault for faults in wanted for fault in faults)
        built = self._built(together, at_most=1 if len(wanted) > 1 else None)
        struck = {f: var(counted_flag(self._model.faults[f])) for f in together}
        pairs = [
            (faults, ask(built.system, built.requirements[id_]))
            for faults, ids in wanted.items()
            for id_ in ids
        ]
        asked = []
        for faults, question in pairs:
            others = or_(*(struck[fault] for fault in together if fault not in faults))
            with_all = and_(*(struck[fault] for fault in faults))
            asked.append([_asked(query, others, with_all) for query in question.violations])
        witnesses, _ = _search(
            make("symbolic", answered_first=True), built.system, asked, self._limits
        )
        behind: dict[tuple[str, ...], Behind] = {}
        return {
            (question.requirement.id, faults): _replayed(
                built, question, witness, faults, behind, is_near=False
            )
            for (faults, question), witness in zip(pairs, witnesses, strict=True)
            if witness is not None
        }

    def _built(self, faults: FaultSet, at_most: int | None = None) -> Built:
        return build(self._model, RunClass(faults, at_most if faults else 0, self._human))


def _asked(query: Query, others: Expr, with_all: Expr) -> Query:
    """What breaks a requirement with just these faults.

    A fault that has struck has struck on every way on. So what is lost with all of them is so
    whatever is said of states without one, and of these nothing has to be looked at.
    """
    if isinstance(query, Trap):
        return Trap(or_(query.goal, others, not_(with_all)))
    return barring(query, others)


def _search(
    engine: Engine, system: System, asked: Sequence[Sequence[Query]], limits: Limits
) -> tuple[list[Witness | None], bool]:
    """The shortest run to one of each of these, if any, and whether everything was looked at."""
    explored = engine.explore(system, [query for queries in asked for query in queries], limits)
    answers = iter(explored.answers)
    found = []
    for queries in asked:
        given = islice(answers, len(queries))
        runs = [answer.witness for answer in given if answer.witness is not None]
        found.append(min(runs, key=len, default=None))
    return found, explored.limit is None


def _replayed(
    built: Built,
    question: Question,
    witness: Witness,
    faults: FaultSet,
    behind: dict[tuple[str, ...], Behind],
    is_near: bool,
) -> HarmRun:
    run = replay(built, question, witness, behind=behind)
    struck = [h.origin.struck for h in run.happenings if h.origin is not None]
    order = [id_ for id_ in dict.fromkeys(struck) if id_ is not None and id_ in faults]
    return HarmRun(question.requirement.id, tuple(order), run, is_near)
