"""Which values of a network are written where they are used, and which are kept in a variable.

Every element is evaluated once, when its turn comes. Its value may be written where it is used,
instead, if nothing that it reads is written in between and nobody else needs it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field

from interlock.exchange.blocks import (
    instance_of,
    is_function,
    is_instance,
    output_of,
    type_name,
    variable_of,
)
from interlock.exchange.making import ADDRESSED, SHARED, Making, names_in
from interlock.exchange.nodes import Node
from interlock.exchange.order import Evaluation
from interlock.st import syntax as sx

Key = tuple[int, str]
# Deeper or wider values are kept, so that no statement grows without bounds.
_DEEPEST = 24
_WIDEST = 60
EVERYTHING = "*"
_VALUES = frozenset(("contact", "inVariable", "connector", "continuation"))


@dataclass(frozen=True)
class Use:
    """Where a value is used: by which node, and whether it moves with that node's own value."""

    node: Node
    moves: bool


@dataclass
class Plan:
    """What becomes of the values of a network.

    Attributes
    ----------
    uses : dict of Key to list of Use
        By node and output, without those by wires that lead back.
    kept : set of Key
        Values that get a variable.
    remembered : set of Key
        Values that are used before they are evaluated anew.
    """

    uses: dict[Key, list[Use]] = field(default_factory=dict)
    kept: set[Key] = field(default_factory=set)
    remembered: set[Key] = field(default_factory=set)


def is_value(node: Node, making: Making) -> bool:
    """Whether all that a node does is to have a value."""
    if node.kind == "block":
        return is_function(node, making)
    return node.kind in _VALUES or (node.kind == "inOutVariable" and not node.pins)


class Planner:
    """Makes the plan of one evaluation.

    Parameters
    ----------
    evaluation : Evaluation
    making : Making
    """

    def __init__(self, evaluation: Evaluation, making: Making) -> None:
        self._nodes = evaluation.nodes
        self._back = evaluation.back
        self._making = making
        self._at = {id(node): n for n, node in enumerate(self._nodes)}
        self._reads: dict[int, set[str]] = {}
        self._writes: dict[str, list[int]] = {}
        self._ends: dict[int, int] = {}
        self.plan = Plan()

    def make(self) -> Plan:
        """The plan."""
        for node in self._nodes:
            self._note_uses(node)
            self._reads[id(node)] = self._read_by(node)
            for name in self._written_by(node):
                self._writes.setdefault(name, []).append(self._at[id(node)])
        large = self._large()
        for node in reversed(self._nodes):
            self._decide(node, id(node) in large)
        return self.plan

    def _note_uses(self, node: Node) -> None:
        # Whether an edge is there is found when its own turn comes.
        value = is_value(node, self._making) and not any(o.edge for o in node.outputs)
        for pin in node.pins:
            if pin.name.casefold() in node.in_outs:
                continue
            for source, formal in pin.sources:
                if id(source) not in self._at and (source, node) not in self._back:
                    continue
                key = (id(source), output_of(source, formal))
                uses = self.plan.uses.setdefault(key, [])
                if (source, node) in self._back:
                    self.plan.remembered.add(key)
                else:
                    uses.append(Use(node, value and not pin.edge))

    def _read_by(self, node: Node) -> set[str]:
        found: set[str] = set()
        for pin in node.pins:
            if pin.expression is not None:
                found |= self._making.keys(pin.expression)
        reads = node.kind in ("contact", "inVariable", "inOutVariable") and not node.edge
        if reads and node.shown is not None:
            found |= self._making.keys(node.shown)
        return found

    def _written_by(self, node: Node) -> set[str]:
        found: set[str] = set()
        if is_value(node, self._making):
            return found
        if node.kind in ("coil", "outVariable", "inOutVariable"):
            return found if node.shown is None else self._making.keys(node.shown)
        if node.kind != "block":
            return found
        for output in node.outputs:
            if output.expression is not None:
                found |= self._making.keys(output.expression)
        if is_instance(node):
            found |= names_in(instance_of(node))
        is_own = type_name(node).casefold() in self._making.actions and not is_instance(node)
        if is_own or "." in type_name(node):
            found.add(EVERYTHING)
        if type_name(node).casefold() in self._making.scope.known.units:
            found |= {ADDRESSED, SHARED}
        return found | self._in_outs(node)

    def _in_outs(self, node: Node) -> set[str]:
        """The variables that a block may write because they are its in-outs."""
        found: set[str] = set()
        for pin in node.pins:
            if pin.name.casefold() in node.in_outs and not pin.is_open:
                found |= self._making.keys(variable_of(node, pin))
        return found

    def _large(self) -> set[int]:
        """Nodes whose values would make too deep or too wide an expression."""
        depth: dict[int, int] = {}
        width: dict[int, int] = {}
        found: set[int] = set()
        for node in self._nodes:
            inner = [s for pin in node.pins for s, _ in pin.sources if id(s) in depth]
            series = node.kind == "contact" and len(inner) == 1 and inner[0].kind == "contact"
            deep = max((depth[id(s)] for s in inner), default=0) + (0 if series else 2)
            wide = sum(width[id(s)] for s in inner) + 1
            if (deep > _DEEPEST or wide > _WIDEST) and is_value(node, self._making):
                found.add(id(node))
            is_kept = id(node) in found or not is_value(node, self._making)
            depth[id(node)] = 0 if is_kept else deep
            width[id(node)] = 1 if is_kept else wide
        return found

    def _decide(self, node: Node, is_large: bool) -> None:
        here = self._at[id(node)]
        outputs = {o.name.upper() for o in node.outputs} if node.kind == "block" else {""}
        ends = here
        for output in outputs:
            key = (id(node), output)
            uses = self.plan.uses.get(key)
            if uses is None:
                continue
            last = max((self._end(use) for use in uses), default=here)
            ends = max(ends, last)
            # What an instance gave can be read from it; anything else must be remembered.
            back = key in self.plan.remembered and not is_instance(node)
            if is_large or back or self._must_be_kept(node, len(uses), last):
                self.plan.kept.add(key)
        is_kept = any((id(node), output) in self.plan.kept for output in outputs)
        self._ends[id(node)] = here if is_kept else ends

    def _end(self, use: Use) -> int:
        """Where a value that is used is written, at the latest."""
        node = use.node
        return self._ends[id(node)] if use.moves else self._at[id(node)]

    def _must_be_kept(self, node: Node, n_uses: int, last: int) -> bool:
        here = self._at[id(node)]
        reads = set(self._reads[id(node)])
        if is_instance(node):
            # What an instance gives is there to be read until it is called again.
            return self._is_written(names_in(instance_of(node)) | self._in_outs(node), here, last)
        if not is_value(node, self._making):
            return True
        used_back = [source for source, taker in self._back if taker is node]
        if any(self._at.get(id(source), last) < last for source in used_back):
            return True
        if any(self._making.calls_user(e) for e in self._shown(node)):
            return True
        if n_uses > 1 and not self._is_atomic(node):
            return True
        return self._is_written(reads, here, last)

    def _shown(self, node: Node) -> Iterable[sx.Expression]:
        found = [*(pin.expression for pin in node.pins), node.shown]
        return [e for e in found if e is not None]

    def _is_atomic(self, node: Node) -> bool:
        """Whether its value is so short that it may stand in several places."""
        from_rail = all(s.kind == "leftPowerRail" for pin in node.pins for s, _ in pin.sources)
        short = all(isinstance(e, _SHORT) for e in self._shown(node))
        return node.kind in _VALUES | {"inOutVariable"} and from_rail and short

    def _is_written(self, reads: set[str], here: int, last: int) -> bool:
        if not reads:
            return False
        for name in (*reads, EVERYTHING):
            places = self._writes.get(name, ())
            after = bisect_right(places, here)
            if after < len(places) and places[after] < last:
                return True
        return False


_SHORT = (sx.Name, sx.Truth, sx.Number, sx.Real, sx.Duration, sx.Qualified, sx.Direct, sx.Opaque)
