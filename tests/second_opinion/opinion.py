"""Verdicts on a model: held or violated, vacuous or not, how short, by which faults."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.kernel.system import MoveKind
from interlock.model.model import Model, Statement
from interlock.st import typed
from tests.second_opinion.cycles import components
from tests.second_opinion.expressions import Function
from tests.second_opinion.reached import Reached, reach
from tests.second_opinion.timed_world import TICK, TimedWorld, world_of
from tests.second_opinion.watching import IN_TIME, Seen, Watch, Watcher
from tests.second_opinion.world import UNBIDDEN, Act, Class, Kind

ARITHMETIC = "ARITHMETIC"
TIME = "TIME"
# What is demanded for a time, rather than allowed.
AT_LEAST = (Pattern.AT_LEAST, Pattern.STAYS, Pattern.NOT_YET)


@dataclass(frozen=True)
class Opinion:
    """What is thought of one requirement.

    Attributes
    ----------
    is_violated : bool
    length : int or None
        Fewest steps of a run that violates it and ends; None where there is none that ends.
    never_occurs : tuple of str
        The parts of its premise that occur nowhere.
    sets : frozenset of frozenset of str
        The minimal sets of faults with which it is violated; the empty one where none is needed.
    """

    is_violated: bool
    length: int | None
    never_occurs: tuple[str, ...]
    sets: frozenset[frozenset[str]] = field(default=frozenset())

    @property
    def is_vacuous(self) -> bool:
        """It holds and part of its premise never occurs."""
        return not self.is_violated and bool(self.never_occurs)


def opinions(model: Model, run_class: Class, most: int | None = None) -> dict[str, Opinion]:
    """What is thought of each requirement of `model`, and of its arithmetic.

    Raises
    ------
    TooManyError
        Where more than `most` states can be reached.
    """
    return opinions_of(model, reach(world_of(model, run_class), most))


def opinions_of(model: Model, reached: Reached) -> dict[str, Opinion]:
    """As `opinions`, of what is reached already."""
    found = {ARITHMETIC: _arithmetic(reached)}
    if model.timing is not None:
        found[TIME] = _time_goes_on(reached)
    for id_, statement in model.statements.items():
        judge = _can_still if statement.pattern is Pattern.CAN_STILL else _watched
        found[id_] = judge(reached, statement)
    return found


def _arithmetic(reached: Reached) -> Opinion:
    bad = [number for number, broken in enumerate(reached.is_broken) if broken]
    distance = _distances(reached)
    length = min((distance[number] for number in bad), default=None)
    return Opinion(bool(bad), length, (), _minimal(reached, bad))


def _can_still(reached: Reached, statement: Statement) -> Opinion:
    """The goal counts where the requirement is judged. A scan always leads from one state without a
    way back to another, so the shortest run need not go on to a judged one.
    """
    return _never_lost(reached, _at_goal(reached, statement))


def lost_for_ever(reached: Reached, statement: Statement) -> set[int]:
    """The states from which the goal of a 'can still' cannot be reached any more."""
    return set(range(len(reached.states))) - _leading_to(reached, _at_goal(reached, statement))


def _at_goal(reached: Reached, statement: Statement) -> set[int]:
    goal = _Judged(reached, statement).function(statement.p.tree)
    values = _values(reached, statement)
    judged = [_is_judged(statement, state.moves) for state in reached.states]
    return {n for n, is_judged in enumerate(judged) if is_judged and goal(values[n])}


def _time_goes_on(reached: Reached) -> Opinion:
    """From everywhere a state can be reached in which time may pass."""
    ticking = {
        number for number, after in enumerate(reached.after) if any(act == TICK for act, _ in after)
    }
    return _never_lost(reached, ticking)


def _never_lost(reached: Reached, can: set[int]) -> Opinion:
    led = _leading_to(reached, can)
    bad = [number for number in range(len(reached.states)) if number not in led]
    distance = _distances(reached)
    length = min((distance[number] for number in bad), default=None)
    return Opinion(bool(bad), length, (), _minimal(reached, bad))


def _leading_to(reached: Reached, can: set[int]) -> set[int]:
    """The way back uses every move, scan and end of a timer, but no strike and no clearing.

    Nor does it use a move of the plant that need not happen, or that a signal is late.
    """
    back: dict[int, list[int]] = {}
    for number, after in enumerate(reached.after):
        for act, target in after:
            is_chance = act.kind is Kind.MOVE and act.name in reached.world.chance
            if act.kind not in UNBIDDEN and not is_chance:
                back.setdefault(target, []).append(number)
    todo = list(can)
    while todo:
        for before in back.get(todo.pop(), ()):
            if before not in can:
                can.add(before)
                todo.append(before)
    return can


def _watched(reached: Reached, statement: Statement) -> Opinion:
    watched = Watched(reached, statement)
    in_vain = watched.waiting_in_vain()
    bad = [watched.nodes[number].state for number in watched.violated + in_vain]
    length = min((watched.distance[number] for number in watched.violated), default=None)
    return Opinion(bool(bad), length, watched.never_occurs(), _minimal(reached, bad))


def _minimal(reached: Reached, states: Iterable[int]) -> frozenset[frozenset[str]]:
    """The smallest sets of faults that have struck in one of `states`."""
    ids = [fault.id for fault in reached.world.faults]
    found = {
        frozenset(id_ for id_, on in zip(ids, reached.states[number].struck, strict=True) if on)
        for number in states
    }
    return frozenset(one for one in found if not any(other < one for other in found))


def _distances(reached: Reached) -> list[int]:
    distance = [0] + [-1] * (len(reached.states) - 1)
    todo = deque([0])
    while todo:
        number = todo.popleft()
        for _, target in reached.after[number]:
            if distance[target] < 0:
                distance[target] = distance[number] + 1
                todo.append(target)
    return distance


def _is_judged(statement: Statement, moves: int) -> bool:
    return not statement.after_scan or moves == 0


def _values(reached: Reached, statement: Statement) -> list[dict[str, int]]:
    """What a requirement may read, by state: truth, or truth and signals that it does not hide."""
    if not statement.about_signals:
        return reached.truths
    both = zip(reached.truths, reached.signals, strict=True)
    return [{**signals, **truth} for truth, signals in both]


@dataclass(frozen=True)
class _Judged:
    """The predicates of a requirement as functions."""

    reached: Reached
    statement: Statement

    def function(self, tree: typed.Expression | None, default: int = 1) -> Function:
        return self.reached.world.function_of_tree(tree, default)

    @cached_property
    def all(self) -> tuple[Function, Function, Function, Function, Function]:
        """P, S, 'when', Q and R."""
        given = self.statement
        formulas = (given.p, given.s, given.when, given.opens, given.closes)
        return tuple(  # type: ignore[return-value]
            self.function(None if formula is None else formula.tree) for formula in formulas
        )

    def seen(self, values: dict[str, int]) -> Seen:
        p, s, when, opens, closes = (bool(function(values)) for function in self.all)
        if self.statement.pattern is Pattern.NEVER:
            p = p and when
        if self.statement.pattern is Pattern.ALWAYS:
            p = not p and when
        return Seen(p, s, opens, closes)

    def premises(self) -> Mapping[str, Function]:
        """The parts of the premise that must occur inside of the scope, by their text."""
        given = self.statement
        if given.when is not None:
            return {given.when.text: self.all[2]}
        if given.pattern in (Pattern.LEADS_TO, Pattern.ONLY_AFTER, *IN_TIME):
            if given.pattern is Pattern.RECURS:
                return {}
            return {given.p.text: self.all[0]}
        tree = given.p.tree
        if given.pattern is Pattern.NEVER and isinstance(tree, typed.Junction) and tree.op == "AND":
            return {f"part {n}": self.function(part) for n, part in enumerate(tree.operands, 1)}
        return {}


def _counted(reached: Reached, statement: Statement) -> tuple[Kind, int | None]:
    """What runs a bound out, and how many of them are too many; none without a bound."""
    bound = statement.within
    if bound is None:
        return Kind.SCAN, None
    if bound.counted is MoveKind.SCAN:
        return Kind.SCAN, bound.scans
    world = reached.world
    assert isinstance(world, TimedWorld)
    assert bound.ms is not None
    if statement.pattern in AT_LEAST:
        # What lasts for any less is too short, so a part of a unit counts as a whole one.
        return Kind.TICK, math.ceil(bound.ms / world.unit_ms)
    # A response may come in the last unit that begins within the bound.
    return Kind.TICK, math.floor(bound.ms / world.unit_ms) + 1


Steps = Sequence[Sequence[tuple[Act, int]]]
"""What follows each node."""


class _Node(NamedTuple):
    """A state together with a watch."""

    state: int
    watch: Watch
    is_violated: bool


class Watched:
    """Every way in which one requirement can be watched, as a graph of its own.

    Attributes
    ----------
    nodes : list of _Node
    distance : list of int
    after : list of list of (Act, int)
    violated : list of int
        Nodes at which a run is violated whatever comes.
    """

    def __init__(self, reached: Reached, statement: Statement) -> None:
        self._reached = reached
        self._statement = statement
        self._counted, within = _counted(reached, statement)
        self._watcher = Watcher(statement.pattern, statement.scope, within)
        judged = _Judged(reached, statement)
        self._values = _values(reached, statement)
        self._seen = [judged.seen(values) for values in self._values]
        self._premises = judged.premises()
        self._occurs: set[str] = set()
        self.nodes: list[_Node] = []
        self.distance: list[int] = []
        self.after: list[list[tuple[Act, int]]] = []
        self._numbers: dict[_Node, int] = {}
        self._explore()
        self.violated = [n for n, node in enumerate(self.nodes) if node.is_violated]

    def _explore(self) -> None:
        self._number(self._node(0, self._watcher.first), 0)
        number = 0
        while number < len(self.nodes):
            node = self.nodes[number]
            after = []
            # What is violated stays so; there is nothing more to be seen.
            for act, target in [] if node.is_violated else self._reached.after[node.state]:
                watch = node.watch
                if act.kind is self._counted:
                    watch = self._watcher.scanned(watch)
                after.append((act, self._number(self._node(target, watch), number)))
            self.after.append(after)
            number += 1

    def _number(self, node: _Node, parent: int) -> int:
        if node not in self._numbers:
            self._numbers[node] = len(self.nodes)
            self.nodes.append(node)
            self.distance.append(self.distance[parent] + 1 if self.distance else 0)
        return self._numbers[node]

    def _node(self, state: int, watch: Watch) -> _Node:
        if not _is_judged(self._statement, self._reached.states[state].moves):
            return _Node(state, watch, False)
        was_open = watch.is_open
        step = self._watcher.see(watch, self._seen[state])
        self._note(state, step.inside, was_open)
        return _Node(state, step.watch, step.is_violated)

    def _note(self, state: int, inside: bool, was_open: bool) -> None:
        """Note which parts of the premise occur in a judged state."""
        scope, seen = self._statement.scope, self._seen[state]
        if scope is ScopeKind.BEFORE and seen.closes:
            self._occurs.add("closes")
        if scope is ScopeKind.BETWEEN and was_open and seen.closes:
            self._occurs.add("closes")
        if inside and scope not in (ScopeKind.GLOBALLY, ScopeKind.BEFORE):
            self._occurs.add("opens")
        if inside:
            occurring = self._premises.items()
            self._occurs |= {text for text, holds in occurring if holds(self._values[state])}

    def never_occurs(self) -> tuple[str, ...]:
        """The parts of the premise that occur nowhere."""
        parts = list(self._premises)
        match self._statement.scope:
            case ScopeKind.BEFORE:
                parts.append("closes")
            case ScopeKind.AFTER | ScopeKind.AFTER_UNTIL:
                parts.append("opens")
            case ScopeKind.BETWEEN:
                parts += ["opens", "closes"]
        return tuple(part for part in parts if part not in self._occurs)

    def waiting_in_vain(
        self, after: Steps | None = None, among: Container[int] | None = None
    ) -> list[int]:
        """One node of each endless fair way on which something owed never comes.

        Where some steps or nodes are given, of those ways alone that keep to them.
        """
        after = self.after if after is None else after
        waiting = [
            not node.is_violated
            and self._watcher.waits_in_vain(node.watch)
            and (among is None or number in among)
            for number, node in enumerate(self.nodes)
        ]
        return [
            component[0]
            for component in components(waiting, after)
            if self._is_fair(set(component), after)
        ]

    def _is_fair(self, component: set[int], after: Steps) -> bool:
        """Whether a run may stay among these nodes, going everywhere, and owe nothing."""
        taken = {
            act for number in component for act, target in after[number] if target in component
        }
        # Where time stands still no bound runs out, and there may be no scan.
        may_lack_it = isinstance(self._reached.world, TimedWorld) and not self._statement.within
        if not may_lack_it and not any(act.kind is self._counted for act in taken):
            return False
        owed = set(self._reached.world.owed)
        for number in component:
            owed &= self._reached.owed[self.nodes[number].state]
        return owed <= taken
