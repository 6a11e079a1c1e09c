"""A shortest run for a set of faults, replayed on the model."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.kernel.evaluate import python_function
from interlock.kernel.expr import Expr, and_, or_
from interlock.kernel.observe import Question, ask
from interlock.kernel.query import Engine, Limits, Query, Reach
from interlock.kernel.system import MoveKind, System
from interlock.kernel.witness import Witness
from interlock.model.build import SCAN, Built, RunClass, build
from interlock.model.model import Model
from interlock.replay.judge import Replayed, replay
from interlock.studies.faults.sets import FaultSet
from interlock.studies.faults.telling import Comparison, Difference

# Harm is mostly near: each search goes on with more states than the one before, up to the most.
FIRST_STATES = 100_000
GROWTH = 8
MOST_STATES = 60_000_000


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


@dataclass(frozen=True)
class Showing:
    """How a fault that strikes alone can show for the first time.

    Attributes
    ----------
    outputs : tuple of str
        What comes on because of it, or, if `is_alarm` is False, stays off.
    event : str
        What happens right before the scan that tells of it.
    """

    outputs: tuple[str, ...]
    event: str
    is_alarm: bool


class RunFinder:
    """Finds runs of a model in which exactly the given faults may strike.

    Parameters
    ----------
    model : Model
    engine : Engine
        One that searches breadth first.
    human : bool
        Whether human errors may happen.
    most_states : int
        Where a search is given up.
    """

    def __init__(
        self, model: Model, engine: Engine, human: bool = False, most_states: int = MOST_STATES
    ) -> None:
        self._model = model
        self._engine = engine
        self._human = human
        self._most_states = most_states

    def shortest(self, faults: FaultSet, requirement: str) -> HarmRun | None:
        """A shortest run to a violation; None where none was found within the most states.

        Raises
        ------
        InternalError
            Where the run does not replay.
        """
        built = self._built(faults)
        question = ask(built.system, built.requirements[requirement])
        witness = self._search(question.system, question.violations)
        return None if witness is None else _replayed(built, question, witness, faults)

    def first_showing(self, fault: str) -> Showing | None:
        """The quickest way to an alarm, else to a refusal; None where none was found."""
        built = self._built((fault,))
        comparison = Comparison(built)
        told = comparison.by_flags()
        strike = built.system.move(f"{fault} strikes")
        for is_alarm in (True, False):
            sides = _sides(comparison, told, is_alarm)
            witness = self._search(built.system, [Reach(or_(*sides.values()))])
            if witness is not None:
                return _showing(built, witness, sides, is_alarm)
            if built.model.faults[fault].restart:
                lost = _sides(
                    comparison, comparison.by_restart(built.model.faults[fault]), is_alarm
                )
                at = {name: and_(strike.guard, side) for name, side in lost.items()}
                witness = self._search(built.system, [Reach(or_(*at.values()))])
                if witness is not None:
                    shown = _holding(built.system, at, witness)
                    return Showing(shown, "as soon as it strikes", is_alarm)
        return None

    def _built(self, faults: FaultSet) -> Built:
        return build(self._model, RunClass(faults, None if faults else 0, self._human))

    def _search(self, system: System, queries: Iterable[Query]) -> Witness | None:
        asked = list(queries)
        most = FIRST_STATES
        while True:
            explored = self._engine.explore(system, asked, Limits(max_states=most))
            found = [a.witness for a in explored.answers if a.found and a.witness is not None]
            if found:
                return min(found, key=len)
            if explored.limit is None or most >= self._most_states:
                return None
            most = min(most * GROWTH, self._most_states)


def _replayed(built: Built, question: Question, witness: Witness, faults: FaultSet) -> HarmRun:
    struck = [step.move.removesuffix(" strikes") for step in witness.steps]
    order = [id_ for id_ in dict.fromkeys(struck) if id_ in faults]
    return HarmRun(question.requirement.id, tuple(order), replay(built, question, witness))


def _sides(
    comparison: Comparison, differences: dict[str, Difference], is_alarm: bool
) -> dict[str, Expr]:
    return {
        name: difference.on if is_alarm else difference.off
        for name, difference in differences.items()
        if comparison.outputs[name].announces == is_alarm
    }


def _holding(system: System, sides: dict[str, Expr], witness: Witness) -> tuple[str, ...]:
    values = python_function(list(sides.values()), system.index)(witness.last)
    return tuple(name for name, value in zip(sides, values, strict=True) if value)


def _showing(built: Built, witness: Witness, sides: dict[str, Expr], is_alarm: bool) -> Showing:
    moves = [step.move for step in witness.steps if step.move != SCAN]
    shown = _holding(built.system, sides, witness)
    if not moves or moves[-1].endswith(" strikes"):
        return Showing(shown, "as soon as it strikes", is_alarm)
    move = built.system.move(moves[-1])
    return Showing(shown, move.says or move.name, is_alarm)
