"""What one fault does that strikes alone: sets, harm, effects, and how it shows.

The whole of it is asked of one small system, in which no other fault can strike. One system for
any one of many faults has the same states, but its diagrams tell all faults apart at once; the
way back from 'can always still' through them costs far more than all the small systems together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from interlock.engines import projector
from interlock.judgement.detection import Comparison, Difference, Harm, Telling
from interlock.judgement.effects import FaultEffects, IncompleteError, find_effects
from interlock.judgement.fault_sets import RequirementSets, ask_all, find_sets, flags_of
from interlock.judgement.harm import harm_of
from interlock.kernel.evaluate import python_function
from interlock.kernel.expr import Expr, and_, or_
from interlock.kernel.projected import Projected
from interlock.kernel.query import Limits
from interlock.kernel.system import Origin, System
from interlock.kernel.witness import Witness
from interlock.model.build import SCAN, Built, RunClass, build
from interlock.model.model import Model


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


@dataclass(frozen=True)
class Strike:
    """Which fault to let strike, and which requirements to look at.

    Attributes
    ----------
    fault : str or None
        One that is not excluded; None to look at the model without any.
    requirements : tuple of str
    only_sets : bool
        Not what it does otherwise, nor whether its harm was told of.
    """

    fault: str | None
    requirements: tuple[str, ...]
    only_sets: bool = False


@dataclass(frozen=True)
class Alone:
    """Everything that was found of one fault.

    Attributes
    ----------
    fault : str or None
    sets : mapping of str to RequirementSets
        By requirement: the empty set where no fault is needed, that of the fault where it is.
    harms : mapping of str to Harm
        For the requirements that it breaks.
    effects : FaultEffects or None
        None without a fault, and where a limit was hit.
    showing : Showing or None
        None where it never shows by itself.
    n_states : int
    limit : str or None
        The limit that was hit; then there are only the sets that say so.
    """

    fault: str | None
    sets: Mapping[str, RequirementSets]
    harms: Mapping[str, Harm]
    effects: FaultEffects | None
    showing: Showing | None
    n_states: int
    limit: str | None


def strike_alone(model: Model, limits: Limits, strike: Strike) -> Alone:
    """Let one fault strike, and nothing else.

    Parameters
    ----------
    model : Model
    limits : Limits
    strike : Strike
    """
    fault = strike.fault
    faults = () if fault is None else (fault,)
    built = build(model, RunClass(faults, len(faults)))
    ids = flags_of(model, faults)
    asked = ask_all(built.system, [built.requirements[id_] for id_ in strike.requirements])
    explored = projector().project(asked.system, tuple(ids), limits)
    sets = find_sets(built, explored, asked, ids)
    harms: dict[str, Harm] = {}
    effects, showing = None, None
    if fault is not None and explored.limit is None and not strike.only_sets:
        comparison = Comparison(built)
        broken = {id_: set(one.single_faults()) for id_, one in sets.items()}
        try:
            (effects,) = find_effects(built, explored, ids)
            showing = _showing(built, explored, comparison, effects)
            found = harm_of(built, explored, asked, ids, broken)
            harms = {id_: harm for (_, id_), harm in found.items()}
        except IncompleteError:
            effects, showing, harms = None, None, {}
    return Alone(fault, sets, harms, effects, showing, explored.n_states, explored.limit)


def _showing(
    built: Built, explored: Projected, comparison: Comparison, effects: FaultEffects
) -> Showing | None:
    """The quickest way to an alarm, else to a refusal."""
    told = comparison.by_flags()
    strike = built.system.event(Origin.strike(effects.fault.id))
    for is_alarm in (True, False):
        # A restart tells only by an alarm, as `Telling` has it.
        if effects.telling is not (Telling.ALARM if is_alarm else Telling.REFUSAL):
            continue
        sides = _sides(comparison, told, is_alarm)
        witness = explored.nearest(or_(*sides.values()))
        if witness is not None:
            shown = _holding(built.system, sides, witness)
            return Showing(shown, _event(built, witness), is_alarm)
        if effects.fault.restart:
            lost = _sides(comparison, comparison.by_restart(effects.fault), is_alarm)
            at = {name: and_(strike.guard, side) for name, side in lost.items()}
            witness = explored.nearest(or_(*at.values()))
            if witness is not None:
                return Showing(_holding(built.system, at, witness), _AT_ONCE, is_alarm)
    return None


_AT_ONCE = "as soon as it strikes"


def _sides(
    comparison: Comparison, differences: Mapping[str, Difference], is_alarm: bool
) -> dict[str, Expr]:
    return {
        name: difference.on if is_alarm else difference.off
        for name, difference in differences.items()
        if comparison.outputs[name].announces == is_alarm
    }


def _holding(system: System, sides: Mapping[str, Expr], witness: Witness) -> tuple[str, ...]:
    values = python_function(list(sides.values()), system.index)(witness.last)
    return tuple(name for name, value in zip(sides, values, strict=True) if value)


def _event(built: Built, witness: Witness) -> str:
    moves = [built.system.move(step.move) for step in witness.steps if step.move != SCAN]
    if not moves or (moves[-1].origin is not None and moves[-1].origin.struck):
        return _AT_ONCE
    return moves[-1].says or moves[-1].name
