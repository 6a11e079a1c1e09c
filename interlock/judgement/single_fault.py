"""What faults do that strike alone: sets, harm, effects, and how they show.

A few faults share one system, in which any one of them can strike: what goes before the strike is
then compiled and searched once for all of them. In one system for all faults diagrams would have
to tell too many apart at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from interlock.base.errors import InternalError
from interlock.engines import projector
from interlock.independent_judge.telling import Telltale
from interlock.judgement.detection import (
    Comparison,
    Difference,
    Harm,
    IncompleteError,
    Telling,
    noting_restarts,
)
from interlock.judgement.effects import FaultEffects, find_effects
from interlock.judgement.fault_sets import RequirementSets, ask_all, find_sets, flags_of
from interlock.judgement.harm import harm_of
from interlock.kernel.evaluate import python_function
from interlock.kernel.expr import Expr, and_, const, eq, not_, or_, var
from interlock.kernel.projected import Projected
from interlock.kernel.query import Limits
from interlock.kernel.system import MoveKind, Origin, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built, RunClass, build, counted_flag, fault_flag
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
    is_confirmed : bool
        Whether a run without any fault was replayed, too, that ends with everybody in the same
        places and shows each of the outputs otherwise. The run that tells of it always was.
    """

    outputs: tuple[str, ...]
    event: str
    is_alarm: bool
    is_confirmed: bool = True


@dataclass(frozen=True)
class Strike:
    """Which faults to let strike, one in a run, and which requirements to look at.

    Attributes
    ----------
    faults : tuple of str
        None that is excluded; empty to look at the model without any.
    requirements : tuple of str
    only_sets : bool
        Not what they do otherwise, nor whether their harm was told of.
    kept : frozenset of str
        Requirements of which it is known that they are kept as long as no fault strikes.
    """

    faults: tuple[str, ...]
    requirements: tuple[str, ...]
    only_sets: bool = False
    kept: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Alone:
    """Everything that was found of faults that strike alone.

    Attributes
    ----------
    sets : mapping of str to RequirementSets
        By requirement: the empty set where no fault is needed, that of each fault that is enough.
    harms : mapping of (str, str) to Harm
        By fault and requirement, for the faults that break it.
    effects : tuple of FaultEffects
        Empty where nothing but sets was asked, and where a limit was hit.
    showings : mapping of str to Showing
        By fault; without those that never show by themselves.
    n_states : int
    limit : str or None
        The limit that was hit; then there are only the sets that say so.
    """

    sets: Mapping[str, RequirementSets]
    harms: Mapping[tuple[str, str], Harm]
    effects: tuple[FaultEffects, ...]
    showings: Mapping[str, Showing]
    n_states: int
    limit: str | None


def strike_alone(model: Model, limits: Limits, strike: Strike) -> Alone:
    """Let one of some faults strike, and nothing else.

    Parameters
    ----------
    model : Model
    limits : Limits
    strike : Strike
    """
    built = noting_restarts(build(model, RunClass(strike.faults, min(1, len(strike.faults)))))
    ids = flags_of(model, strike.faults)
    asked = ask_all(built.system, [built.requirements[id_] for id_ in strike.requirements])
    explored = projector().project(asked.system, tuple(ids), limits)
    explored.rule_out(query for id_ in strike.kept for query in asked.queries[id_])
    sets = find_sets(built, explored, asked, ids)
    nothing = Alone(sets, {}, (), {}, explored.n_states, explored.limit)
    if not strike.faults or explored.limit is not None or strike.only_sets:
        return nothing
    comparison = Comparison(built, explored)
    broken = {id_: set(one.single_faults()) for id_, one in sets.items()}
    try:
        effects = tuple(find_effects(built, explored, ids))
        shown = {found.fault.id: _showing(built, explored, comparison, found) for found in effects}
        harms = harm_of(built, explored, asked, ids, broken)
    except IncompleteError:
        return replace(nothing, limit=explored.limit)
    showings = {id_: showing for id_, showing in shown.items() if showing is not None}
    return Alone(sets, harms, effects, showings, explored.n_states, explored.limit)


def _showing(
    built: Built, explored: Projected, comparison: Comparison, effects: FaultEffects
) -> Showing | None:
    """The nearest run to an alarm, else to a refusal, as `Projected.nearest` has it."""
    told = comparison.telling(comparison.by_flags())
    strike = built.system.event(Origin.strike(effects.fault.id))
    in_force = var(fault_flag(effects.fault.id))
    for is_alarm in (True, False):
        # A restart tells only by an alarm, as `Telling` has it.
        if effects.telling is not (Telling.ALARM if is_alarm else Telling.REFUSAL):
            continue
        sides = _sides(comparison, told, is_alarm)
        witness = explored.nearest(and_(in_force, or_(*sides.values())))
        if witness is not None:
            shown = _holding(built.system, sides, witness)
            said = Showing(shown, _event(built, witness), is_alarm)
            return _replayed(built, explored, comparison, said, witness)
        if effects.fault.restart:
            by_it = comparison.telling(comparison.by_restart(effects.fault))
            lost = _sides(comparison, by_it, is_alarm)
            at = {name: and_(strike.guard, side) for name, side in lost.items()}
            witness = explored.nearest(or_(*at.values()))
            if witness is not None:
                said = Showing(_holding(built.system, at, witness), _AT_ONCE, is_alarm)
                restarts = effects.fault.id
                return _replayed(built, explored, comparison, said, witness, restarts)
    return None


def _replayed(
    built: Built,
    explored: Projected,
    comparison: Comparison,
    showing: Showing,
    witness: Witness,
    restarts: str | None = None,
) -> Showing:
    """The showing, replayed on the independent judge, and the same places without any fault.

    Raises
    ------
    InternalError
        Where the replay does not show what the engine says.
    """
    judge = Telltale(built.model, [step.move for step in witness.steps], restarts)
    places = dict(zip(built.system.index, witness.last, strict=False))
    there = [eq(var(name), const(places[name])) for name in comparison.places]
    unstruck = [not_(var(counted_flag(fault))) for fault in comparison.live]
    is_confirmed = True
    for output in showing.outputs:
        if not judge.tells(output, showing.is_alarm):
            raise InternalError(
                f"the engine says that the next scan tells of a fault by '{output}', "
                f"the replay that it does not: {', '.join(step.move for step in witness.steps)}"
            )
        # Mostly the run itself leads there without the strike; only else another is looked for.
        if not judge.is_otherwise(output, showing.is_alarm):
            shown = comparison.scanned(output)
            usual = not_(shown) if showing.is_alarm else shown
            other = explored.nearest(and_(*unstruck, *there, usual))
            moves = [] if other is None else [step.move for step in other.steps]
            is_confirmed &= judge.is_otherwise(output, showing.is_alarm, moves)
    return replace(showing, is_confirmed=is_confirmed)


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
    moves = [built.system.move(step.move) for step in witness.steps]
    moves = [move for move in moves if move.kind is not MoveKind.SCAN]
    if not moves or (moves[-1].origin is not None and moves[-1].origin.struck):
        return _AT_ONCE
    return moves[-1].says or moves[-1].name
