"""Cut sets, probabilities and importance of a fault tree.

Everything is exact but for the rounding of floating-point numbers, except where a bound is asked
for by its name. Basic events are taken to be independent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from interlock.reliability.diagram import MAX_NODES, Diagram, Families, TooLargeError
from interlock.reliability.fault_tree import BasicEvent, FaultTree, Gate, GateKind, HouseEvent

MAX_SETS = 200_000


@dataclass(frozen=True)
class CutSet:
    """Events that together bring about the top event, none of them to spare.

    Attributes
    ----------
    occur : frozenset of str
        Events that occur.
    absent : frozenset of str
        Events that must not occur; empty in a coherent tree. Such a set is a prime implicant.
    """

    occur: frozenset[str]
    absent: frozenset[str] = frozenset()

    @property
    def order(self) -> int:
        """How many events the set speaks of."""
        return len(self.occur) + len(self.absent)

    @property
    def _sorting(self) -> tuple[int, list[str], list[str]]:
        return self.order, sorted(self.occur), sorted(self.absent)


@dataclass(frozen=True)
class CutSets:
    """The minimal sets up to an order, and how many there are of each.

    Attributes
    ----------
    sets : tuple of CutSet
        By order, then by name.
    n_by_order : tuple of int
        How many there are in all of order 0, 1, 2 and so on, listed or not.
    """

    sets: tuple[CutSet, ...]
    n_by_order: tuple[int, ...]

    @property
    def complete(self) -> bool:
        """Whether every minimal set is listed."""
        return len(self.sets) == sum(self.n_by_order)


@dataclass(frozen=True)
class Measure:
    """A figure, or None; where it is None or infinite, `reason` says why."""

    value: float | None
    reason: str = ""


@dataclass(frozen=True)
class Importance:
    """How much an event matters for the top event, whose probability is P.

    Attributes
    ----------
    event : BasicEvent
    if_certain : float
        P(top | the event occurs).
    if_impossible : float
        P(top | the event does not occur).
    birnbaum : float
        The difference of the two.
    criticality : Measure
        Birnbaum · P(event) / P. This is also the part of P that goes if the event is made
        impossible, which some books call Fussell–Vesely.
    fussell_vesely : Measure
        P(at least one minimal cut set with the event occurs) / P.
    raw : Measure
        Risk achievement worth, P(top | the event occurs) / P.
    rrw : Measure
        Risk reduction worth, P / P(top | the event does not occur).
    """

    event: BasicEvent
    if_certain: float
    if_impossible: float
    birnbaum: float
    criticality: Measure
    fussell_vesely: Measure
    raw: Measure
    rrw: Measure


class Solution:
    """What there is to know of a fault tree, worked out as far as it is asked for.

    Parameters
    ----------
    tree : FaultTree
    max_nodes : int, optional
        Limit of each of the two decision diagrams.

    Raises
    ------
    TooLargeError
        When made or asked, if a limit is hit.

    Examples
    --------
    >>> from interlock.reliability.tree_loader import tree_from_cut_sets
    >>> pairs = [{"A", "B"}, {"A", "C"}, {"B", "C"}]
    >>> two_of_three = Solution(tree_from_cut_sets("top", pairs, dict.fromkeys("ABC", 0.1)))
    >>> round(two_of_three.probability, 9)
    0.028
    """

    def __init__(self, tree: FaultTree, max_nodes: int = MAX_NODES) -> None:
        self.tree = tree
        self._events = tree.events
        self._level = {event.name: number for number, event in enumerate(self._events)}
        self._chances = [event.probability for event in self._events]
        self._diagram = Diagram(len(self._events), max_nodes)
        self._families = Families(len(self._events), max_nodes)
        self._root = self._build()

    def _build(self) -> int:
        function: dict[str, int] = {}
        for node in self.tree.upwards():
            if isinstance(node, BasicEvent):
                function[node.name] = self._diagram.variable(self._level[node.name])
            elif isinstance(node, HouseEvent):
                function[node.name] = Diagram.TRUE if node.occurs else Diagram.FALSE
            else:
                function[node.name] = self._gate(node, [function[name] for name in node.inputs])
        return function[self.tree.top]

    def _gate(self, gate: Gate, inputs: list[int]) -> int:
        diagram = self._diagram
        match gate.kind:
            case GateKind.ANY:
                return diagram.at_least(1, inputs)
            case GateKind.ALL:
                return diagram.at_least(len(inputs), inputs)
            case GateKind.AT_LEAST:
                return diagram.at_least(gate.k, inputs)
            case GateKind.EXACTLY_ONE:
                two = diagram.at_least(2, inputs)
                return diagram.and_(diagram.at_least(1, inputs), diagram.not_(two))
            case GateKind.NOT:
                return diagram.not_(inputs[0])

    @cached_property
    def probability(self) -> float:
        """Exact probability of the top event, by Shannon expansion."""
        return self._diagram.probability(self._root, self._chances)

    @cached_property
    def _primes(self) -> int:
        return self._families.primes(self._diagram, self._root)

    @cached_property
    def coherent(self) -> bool:
        """Whether no event's absence can help to bring about the top event.

        Judged by the function, not the drawing: a tree with 'not' gates may be coherent.
        """
        return all(literal % 2 == 0 for literal in self._families.literals(self._primes))

    def cut_sets(self, max_order: int | None = None, max_sets: int = MAX_SETS) -> CutSets:
        """The minimal cut sets; the prime implicants where the tree is not coherent.

        Parameters
        ----------
        max_order : int, optional
            List only the sets with at most so many events.
        max_sets : int, optional

        Raises
        ------
        TooLargeError
            If more than `max_sets` would be listed.
        """
        family = self._primes
        counts = self._families.counts(family)
        longest = len(self._events) if max_order is None else max_order
        n_listed = sum(counts[: longest + 1])
        if n_listed > max_sets:
            raise TooLargeError(f"{n_listed} minimal sets to list; the limit is {max_sets}")
        found = [self._named(literals) for literals in self._families.sets(family, longest)]
        return CutSets(tuple(sorted(found, key=lambda s: s._sorting)), tuple(counts))

    def _named(self, literals: frozenset[int]) -> CutSet:
        names = [(self._events[literal // 2].name, literal % 2) for literal in literals]
        occur = frozenset(name for name, is_false in names if not is_false)
        return CutSet(occur, frozenset(name for name, is_false in names if is_false))

    def _weight(self, literal: int) -> float:
        p = self._chances[literal // 2]
        return 1 - p if literal % 2 else p

    def set_probability(self, cut_set: CutSet) -> float:
        """Probability that all of a set comes true."""
        chance = self._chances
        occur = (chance[self._level[name]] for name in sorted(cut_set.occur))
        absent = (1 - chance[self._level[name]] for name in sorted(cut_set.absent))
        return math.prod(occur) * math.prod(absent)

    @cached_property
    def rare_event_sum(self) -> float:
        """Sum of the minimal sets' probabilities: an upper bound, and above 1 a useless one."""
        return self._families.total(self._primes, self._weight)

    @cached_property
    def min_cut_upper_bound(self) -> Measure:
        """1 − Π(1 − P(cut set)), an upper bound for coherent trees with not too many sets."""
        if not self.coherent:
            reason = "the tree is not coherent, so its cut sets need not favour each other"
            return Measure(None, reason)
        try:
            found = self.cut_sets()
        except TooLargeError as limit:
            return Measure(None, str(limit))
        chances = [self.set_probability(one) for one in found.sets]
        if any(chance == 1 for chance in chances):
            return Measure(1.0)
        return Measure(-math.expm1(math.fsum(math.log1p(-chance) for chance in chances)))

    def importance(self) -> list[Importance]:
        """Every basic event's importance, in the order of `FaultTree.walk`."""
        return [self._importance(event) for event in self._events]

    def _importance(self, event: BasicEvent) -> Importance:
        level = self._level[event.name]
        if_certain = self._conditional(level, 1.0)
        if_impossible = self._conditional(level, 0.0)
        birnbaum = if_certain - if_impossible
        family = self._families.containing(self._primes, 2 * level)
        contributes = self._diagram.probability(
            self._families.union(family, self._diagram), self._chances
        )
        return Importance(
            event=event,
            if_certain=if_certain,
            if_impossible=if_impossible,
            birnbaum=birnbaum,
            criticality=self._of_top(birnbaum * event.probability),
            fussell_vesely=self._of_top(contributes),
            raw=self._of_top(if_certain),
            rrw=self._rrw(if_impossible),
        )

    def _conditional(self, level: int, chance: float) -> float:
        chances = [*self._chances[:level], chance, *self._chances[level + 1 :]]
        return self._diagram.probability(self._root, chances)

    def _of_top(self, figure: float) -> Measure:
        if self.probability == 0:
            return Measure(None, "the top event has probability 0")
        return Measure(figure / self.probability)

    def _rrw(self, if_impossible: float) -> Measure:
        if if_impossible > 0:
            return Measure(self.probability / if_impossible)
        if self.probability == 0:
            return Measure(None, "the top event has probability 0")
        return Measure(math.inf, "the top event cannot occur without this event")
