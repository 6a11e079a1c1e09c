"""What an operator card says: the next action from every configuration that can be reached.

A configuration is a combination of states of the machines on the model's map. Many states share
one; the way told is that from a representative: the state in which the configuration is reached
with the fewest moves, after a scan, with nothing pressed and nothing moving where there is such a
state. From another state with the same configuration the way may be longer.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.commands.rehearse.recovery import Recovery, Way, calm
from interlock.commands.rehearse.successors import UNATTENDED
from interlock.kernel import expr as ex
from interlock.kernel.expr import and_, eq
from interlock.kernel.query import Query, Reach, Values
from interlock.kernel.system import PHASE, MoveKind, System
from interlock.kernel.witness import Witness


@dataclass(frozen=True)
class Instruction:
    """One action of a person and what is waited for before the next one."""

    who: str
    says: str
    until: str


@dataclass(frozen=True)
class CardRow:
    """A configuration and the way from it to the goal.

    Attributes
    ----------
    states : tuple of str
        In the order of the map's machines.
    is_goal : bool
        The representative is at the goal already.
    way : Way
    instructions : tuple of Instruction
    n_steps_to : int
        Moves of the run to the representative.
    is_calm : bool
        In the representative nothing is pressed and nothing moves.
    """

    states: tuple[str, ...]
    is_goal: bool
    way: Way
    instructions: tuple[Instruction, ...]
    n_steps_to: int
    is_calm: bool


@dataclass(frozen=True)
class Card:
    """The way to the goal from every configuration.

    Attributes
    ----------
    machines : tuple of str
    rows : tuple of CardRow
    limit : str or None
        The limit that was hit: configurations may be missing.
    """

    machines: tuple[str, ...]
    rows: tuple[CardRow, ...]
    limit: str | None


def make_card(recovery: Recovery) -> Card:
    """Find every configuration, a representative of each, and the way from there."""
    built = recovery.built
    model = built.model
    machines = tuple(n for n in model.map_machines if not model.machines[n].is_control)
    here = tuple(ex.var(name) for name in machines)
    explored = recovery.explore(recovery.full, [Values(here)])
    rows = []
    places = list(explored.answers[0].values)
    found = _representatives(recovery, machines, places)
    for place in places:
        known = found.get(place)
        if known is None:
            continue
        witness, is_calm = known
        way = recovery.way(recovery.world.play([step.move for step in witness.steps])[-1])
        states = tuple(
            model.machines[n].states[value] for n, value in zip(machines, place, strict=True)
        )
        told = instructions(recovery.full, way.moves)
        is_goal = way.found is True and not way.moves
        rows.append(CardRow(states, is_goal, way, told, len(witness), is_calm))
    missing = len(places) - len(rows)
    limit = explored.limit or (f"{missing} configurations without a run" if missing else None)
    return Card(machines, tuple(rows), limit)


def _representatives(
    recovery: Recovery, machines: tuple[str, ...], places: list[tuple[int, ...]]
) -> dict[tuple[int, ...], tuple[Witness, bool]]:
    """A run to a representative of each configuration, and whether it is calm there."""
    scanned = eq(ex.var(PHASE), ex.const(0))
    found: dict[tuple[int, ...], tuple[Witness, bool]] = {}
    for system in (recovery.taught, recovery.full):
        # A run takes long to find, and one that ends calmly makes the other needless.
        for condition, is_calm in ((calm(recovery.built), True), (scanned, False)):
            missing = [place for place in places if place not in found]
            if not missing:
                return found
            queries: list[Query] = []
            for place in missing:
                at = [eq(ex.var(n), ex.const(v)) for n, v in zip(machines, place, strict=True)]
                queries.append(Reach(and_(condition, *at)))
            answers = recovery.explore(system, queries).answers
            for place, answer in zip(missing, answers, strict=True):
                if answer.witness is not None:
                    found[place] = (answer.witness, is_calm)
    return found


def instructions(system: System, moves: tuple[str, ...]) -> tuple[Instruction, ...]:
    """A run as instructions: people's actions, each with what the plant does before the next."""
    told: list[Instruction] = []
    for name in moves:
        move = system.move(name)
        if move.kind not in UNATTENDED:
            who = "driver" if move.kind is MoveKind.DRIVER else "operator"
            told.append(Instruction(who, move.says or name, ""))
        elif move.kind is MoveKind.PLANT and told:
            last = told[-1]
            told[-1] = Instruction(last.who, last.says, move.says or name)
    return tuple(told)
